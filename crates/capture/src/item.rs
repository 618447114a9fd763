//! What a recording consists of.

use twotrip_can::Frame;

use crate::{
    ByteOrder, LINK_TYPE_CAN, Options, Text,
    frame::{self, FrameError},
    options::code,
};

/// One thing in a recording, where it lies in the bytes.
#[derive(Clone, Copy, Debug)]
pub enum Item<'a> {
    /// A section begins: one run of a recorder.
    Section(Section<'a>),
    /// An interface is described; its packets follow.
    Interface(Interface<'a>),
    /// A packet.
    Packet(Packet<'a>),
    /// What an interface has counted.
    Statistics(Statistics<'a>),
    /// A block that this crate does not read, of this type.
    Other(u32),
}

/// The header of a section.
#[derive(Clone, Copy, Debug)]
pub struct Section<'a> {
    /// Its byte order.
    pub order: ByteOrder,
    /// Its options.
    pub options: Options<'a>,
}

impl<'a> Section<'a> {
    /// Who wrote it.
    #[must_use]
    pub fn application(&self) -> Option<Text<'a>> {
        self.options.text(code::SECTION_APPLICATION)
    }

    /// Under what operating system.
    #[must_use]
    pub fn system(&self) -> Option<Text<'a>> {
        self.options.text(code::SECTION_SYSTEM)
    }
}

/// The description of an interface.
#[derive(Clone, Copy, Debug)]
pub struct Interface<'a> {
    /// Its number, counted from 0 through the whole file, sections or no.
    pub number: u32,
    /// What its packets are; [`LINK_TYPE_CAN`] for frames.
    pub link_type: u16,
    /// Its options.
    pub options: Options<'a>,
}

impl<'a> Interface<'a> {
    /// Its name, such as `vcan0`.
    #[must_use]
    pub fn name(&self) -> Option<Text<'a>> {
        self.options.text(code::INTERFACE_NAME)
    }

    /// What it is for.
    #[must_use]
    pub fn description(&self) -> Option<Text<'a>> {
        self.options.text(code::INTERFACE_DESCRIPTION)
    }

    /// Its bit rate, bit/s.
    #[must_use]
    pub fn bit_rate(&self) -> Option<u64> {
        self.options.u64(code::INTERFACE_SPEED)
    }
}

/// Which way a packet went, seen from the recorder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// It came from the bus.
    Inbound,
    /// It was sent from here.
    Outbound,
}

/// One packet.
#[derive(Clone, Copy, Debug)]
pub struct Packet<'a> {
    /// The number of its interface ([`Interface::number`]).
    pub interface: u32,
    /// The link type of its interface.
    pub link_type: u16,
    /// When, nanoseconds since 1970; a simple packet block has no time.
    pub at: Option<u64>,
    /// Its bytes.
    pub data: &'a [u8],
    /// Its length on the wire, of which `data` may be the front only.
    pub original_length: u32,
    /// Its options.
    pub options: Options<'a>,
}

impl<'a> Packet<'a> {
    /// The frame in it.
    ///
    /// # Errors
    /// [`FrameError`] if there is none.
    pub fn frame(&self) -> Result<Frame, FrameError> {
        if self.link_type != LINK_TYPE_CAN {
            return Err(FrameError::LinkType(self.link_type));
        }
        frame::decode(self.data)
    }

    /// Which way it went, if it says so.
    #[must_use]
    pub fn direction(&self) -> Option<Direction> {
        match self.options.u32(code::PACKET_FLAGS)? & 0b11 {
            1 => Some(Direction::Inbound),
            2 => Some(Direction::Outbound),
            _ => None,
        }
    }

    /// Packets of this interface lost since the one before, if it says so.
    #[must_use]
    pub fn dropped(&self) -> Option<u64> {
        self.options.u64(code::PACKET_DROPPED)
    }

    /// Its comments.
    pub fn comments(&self) -> impl Iterator<Item = Text<'a>> {
        self.options.comments()
    }
}

/// The counts of an interface, since its recording began.
#[derive(Clone, Copy, Debug)]
pub struct Statistics<'a> {
    /// The number of the interface ([`Interface::number`]).
    pub interface: u32,
    /// When they were taken, nanoseconds since 1970.
    pub at: u64,
    /// Its options.
    pub options: Options<'a>,
}

impl Statistics<'_> {
    /// Packets received.
    #[must_use]
    pub fn received(&self) -> Option<u64> {
        self.options.u64(code::STATISTICS_RECEIVED)
    }

    /// Packets lost by the controller or its driver.
    #[must_use]
    pub fn dropped_by_interface(&self) -> Option<u64> {
        self.options.u64(code::STATISTICS_DROPPED_BY_INTERFACE)
    }

    /// Packets lost by the operating system.
    #[must_use]
    pub fn dropped_by_system(&self) -> Option<u64> {
        self.options.u64(code::STATISTICS_DROPPED_BY_SYSTEM)
    }
}
