//! What a controller says of its bus: the error message frames of SocketCAN, taken apart.
//!
//! Layout and values: linux/can/error.h. Ten class bits stand in the identifier's place; several can be set at
//! once, so a frame is a set of causes ([`ErrorFrame::causes`]), some with detail in the data bytes. Who only wants
//! to know whether the node can still speak asks [`ErrorFrame::state`]. Each type has plain words (`Display`).
//!
//! A vcan carries an error frame that a process writes to all sockets that asked for its classes, so all this can be
//! met without hardware. Bits that the header does not know are kept and shown, never dropped.

mod flags;
#[cfg(test)]
mod tests;
mod words;

use crate::{CanId, Frame, FrameKind};

pub use flags::{
    ControllerEvent, ControllerEvents, ErrorClass, ErrorClasses, Location, Violation, Violations,
};

/// An error message frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ErrorFrame {
    classes: ErrorClasses,
    detail: [u8; 8],
}

/// One of the things that an error message frame says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// The driver gave up waiting for a frame to leave.
    TransmitTimeout,
    /// Another node's identifier won.
    LostArbitration {
        /// The bit of the frame in which it happened, if the controller says.
        bit: Option<u8>,
    },
    /// The controller's buffers or its error state.
    Controller(ControllerEvents),
    /// The bits on the wire broke the protocol.
    Protocol {
        /// How; none if the controller does not say.
        violations: Violations,
        /// Where in the frame.
        location: Location,
    },
    /// The transceiver sees something wrong with the wires.
    Transceiver {
        /// The wire CAN_H.
        high: LineFault,
        /// The wire CAN_L.
        low: LineFault,
    },
    /// No other node acknowledged the frame.
    NoAcknowledge,
    /// The controller has taken itself off the bus.
    BusOff,
    /// An error on the bus, of no nearer kind.
    BusError,
    /// The controller is back after bus-off.
    Restarted,
    /// The controller's error counters.
    Counters(ErrorCounters),
    /// Class bits that linux/can/error.h does not name.
    Unknown(u32),
}

/// The error counters of a controller, ISO 11898-1 fault confinement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct ErrorCounters {
    /// Transmit error counter.
    pub transmit: u8,
    /// Receive error counter.
    pub receive: u8,
}

/// What a transceiver found on one wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineFault {
    /// Nothing said of this wire.
    Unspecified,
    /// The wire is open.
    NoWire,
    /// Short to the battery.
    ShortToBattery,
    /// Short to the transceiver's supply.
    ShortToSupply,
    /// Short to ground.
    ShortToGround,
    /// CAN_L touches CAN_H.
    ShortToOtherWire,
    /// A value that linux/can/error.h does not name.
    Unknown(u8),
}

/// Error state of a node, ISO 11898-1 fault confinement (thresholds: linux/can/error.h).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ErrorState {
    /// Both counters below 96: it takes part in full.
    Active,
    /// A counter at 96 or more: still in full, but something is wrong.
    Warning,
    /// A counter at 128 or more: it may no longer destroy others' frames, and waits longer between its own.
    Passive,
    /// Transmit counter beyond 255: it neither sends nor acknowledges.
    BusOff,
}

impl ErrorFrame {
    /// Takes an error message frame apart; `None` for any other frame.
    #[must_use]
    pub fn decode(frame: &Frame) -> Option<Self> {
        if frame.kind() != FrameKind::Error {
            return None;
        }
        Some(Self {
            classes: ErrorClasses::from_bits(frame.id().raw()),
            detail: frame.data().first_chunk().copied()?,
        })
    }

    /// The classes that are set.
    #[must_use]
    pub const fn classes(self) -> ErrorClasses {
        self.classes
    }

    /// All that the frame says, in the order of the class bits.
    pub fn causes(self) -> impl Iterator<Item = Cause> {
        let unknown = self.classes.unknown() & CanId::EXTENDED_MAX;
        self.classes
            .iter()
            .map(move |class| self.cause(class))
            .chain((unknown != 0).then_some(Cause::Unknown(unknown)))
    }

    /// The state that the node is in from now on, or `None` if the frame does not say. The worse of the states of
    /// transmitter and receiver counts: the kernel sets both where they are equal (drivers/net/can/dev).
    #[must_use]
    pub fn state(self) -> Option<ErrorState> {
        use ControllerEvent as E;
        if self.classes.contains(ErrorClass::BusOff) {
            return Some(ErrorState::BusOff);
        }
        let events = ControllerEvents::from_bits(self.detail[1]);
        let any = |wanted: [E; 2]| wanted.iter().any(|&event| events.contains(event));
        if self.classes.contains(ErrorClass::Controller) {
            if any([E::ReceiverPassive, E::TransmitterPassive]) {
                return Some(ErrorState::Passive);
            }
            if any([E::ReceiverWarning, E::TransmitterWarning]) {
                return Some(ErrorState::Warning);
            }
            if events.contains(E::BackToActive) {
                return Some(ErrorState::Active);
            }
        }
        self.classes
            .contains(ErrorClass::Restarted)
            .then_some(ErrorState::Active)
    }

    /// The error counters. Without their class bit the two bytes mean nothing.
    #[must_use]
    pub fn counters(self) -> Option<ErrorCounters> {
        self.classes
            .contains(ErrorClass::Counters)
            .then_some(ErrorCounters {
                transmit: self.detail[6],
                receive: self.detail[7],
            })
    }

    fn cause(self, class: ErrorClass) -> Cause {
        let detail = self.detail;
        match class {
            ErrorClass::TransmitTimeout => Cause::TransmitTimeout,
            ErrorClass::LostArbitration => Cause::LostArbitration {
                bit: (detail[0] != 0).then_some(detail[0]),
            },
            ErrorClass::Controller => Cause::Controller(ControllerEvents::from_bits(detail[1])),
            ErrorClass::Protocol => Cause::Protocol {
                violations: Violations::from_bits(detail[2]),
                location: Location::from_code(detail[3]),
            },
            ErrorClass::Transceiver => Cause::Transceiver {
                high: LineFault::from_nibble(detail[4] & 0x0F),
                low: LineFault::from_nibble(detail[4] >> 4),
            },
            ErrorClass::NoAcknowledge => Cause::NoAcknowledge,
            ErrorClass::BusOff => Cause::BusOff,
            ErrorClass::BusError => Cause::BusError,
            ErrorClass::Restarted => Cause::Restarted,
            ErrorClass::Counters => Cause::Counters(ErrorCounters {
                transmit: detail[6],
                receive: detail[7],
            }),
        }
    }
}

impl ErrorCounters {
    /// The state that these counters mean; bus-off does not fit into the bytes and has its own class.
    #[must_use]
    pub fn state(self) -> ErrorState {
        match self.transmit.max(self.receive) {
            0..96 => ErrorState::Active,
            96..128 => ErrorState::Warning,
            128.. => ErrorState::Passive,
        }
    }
}

impl LineFault {
    const fn from_nibble(nibble: u8) -> Self {
        match nibble {
            0 => Self::Unspecified,
            4 => Self::NoWire,
            5 => Self::ShortToBattery,
            6 => Self::ShortToSupply,
            7 => Self::ShortToGround,
            8 => Self::ShortToOtherWire,
            other => Self::Unknown(other),
        }
    }
}
