//! Misbehaviour on purpose: what an end of ISO 15765-2 can do wrong, for testing the other one.
//!
//! A [`Deviation`] is handed to [`Channel::deviate`](crate::Channel::deviate), and is empty by default. The state machines
//! know nothing of it: it stands between them and the frames, and one that is empty changes none.

use core::time::Duration;

use twotrip_can::{CanId, Frame, FrameKind};
use twotrip_units::BusInstant;

use crate::{Config, FlowStatus, Pdu, StMin, frames::CLASSIC, receive::Receiver};

/// What fills a message that is longer than it should be.
pub(crate) const EXCESS: u8 = 0x55;

/// What one end does wrong, with everything it sends and takes while it has this. Nothing by default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Deviation {
    /// Frames are filled up with this byte.
    pub pad: Option<u8>,
    /// Frames end with what they carry, and are not filled up to eight bytes.
    pub unpadded: bool,
    /// Messages leave under this identifier. Flow control does not.
    pub transmit_id: Option<CanId>,
    /// Messages are so many bytes longer (55 at the end), or shorter; one byte is left of them at the least.
    pub excess: i32,
    /// The first frame announces so many bytes more, or fewer.
    pub announced: i32,
    /// A consecutive frame that goes wrong in each message.
    pub consecutive: Option<ConsecutiveFault>,
    /// What a sender makes of flow control.
    pub heeds: Heed,
    /// What a receiver makes of it.
    pub grants: Grant,
}

/// Which consecutive frame goes wrong, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ConsecutiveFault {
    /// Its number in the message, from 1.
    pub number: u32,
    /// What becomes of it.
    pub fault: Fault,
}

/// What becomes of a consecutive frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Its sequence number is one too high; those after it go on as if it were right.
    WrongNumber,
    /// It is left out.
    Missing,
    /// It is sent twice.
    Repeated,
}

/// What a sender makes of the flow control that it gets.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Heed {
    /// What ISO 15765-2 says.
    #[default]
    Right,
    /// It does not hear any, and gives up its message after N_Bs.
    Deaf,
    /// It does not wait for any: all consecutive frames follow the first one, whatever block size and STmin are.
    Impatient,
}

/// The flow control that a receiver sends in place of ContinueToSend.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Grant {
    /// The right one.
    #[default]
    Right,
    /// So many WAITs, one after the other, and then the right one.
    Wait {
        /// How many.
        count: u8,
        /// From one to the next, and from the last to the right one.
        every: Duration,
    },
    /// OVERFLOW: the message is given up.
    Overflow,
    /// None.
    Nothing,
    /// The right one with this STmin.
    StMin(StMin),
}

/// A deviation at work.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Deviating {
    pub(crate) policy: Deviation,
    /// Consecutive frames of the message so far.
    consecutive: u32,
    /// The frame that goes out once more.
    again: Option<Frame>,
    /// WAITs sent so far, and when the next flow control may go out.
    waits: u8,
    resumes: BusInstant,
}

/// What becomes of a unit of our message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fate {
    Goes,
    GoesTwice,
    IsLost,
}

impl Deviating {
    pub(crate) const fn new(policy: Deviation) -> Self {
        Self {
            policy,
            consecutive: 0,
            again: None,
            waits: 0,
            resumes: BusInstant::ZERO,
        }
    }

    /// A message begins to leave; says how many bytes of it do.
    pub(crate) fn begin_message(&mut self, len: usize, limit: usize) -> usize {
        self.consecutive = 0;
        self.again = None;
        let excess = isize::try_from(self.policy.excess).unwrap_or_default();
        len.saturating_add_signed(excess).clamp(1, limit.max(1))
    }

    /// A message begins to arrive.
    pub(crate) const fn begin_reception(&mut self) {
        self.waits = 0;
        self.resumes = BusInstant::ZERO;
    }

    /// The message that leaves is given up.
    pub(crate) const fn abort(&mut self) {
        self.again = None;
    }

    pub(crate) fn is_deaf(&self) -> bool {
        self.policy.heeds == Heed::Deaf
    }

    pub(crate) fn is_impatient(&self) -> bool {
        self.policy.heeds == Heed::Impatient
    }

    /// Falsifies a unit of our message.
    pub(crate) fn on_unit(&mut self, unit: &mut Pdu) -> Fate {
        match unit {
            Pdu::FirstFrame { length, .. } if self.policy.announced != 0 => {
                // The frame has room for twelve bits, and below eight it would be no first frame.
                *length = length.saturating_add_signed(self.policy.announced).clamp(8, 4095);
            }
            Pdu::ConsecutiveFrame { sequence_number, .. } => {
                self.consecutive = self.consecutive.saturating_add(1);
                let fault = self
                    .policy
                    .consecutive
                    .filter(|fault| fault.number == self.consecutive);
                match fault.map(|fault| fault.fault) {
                    Some(Fault::WrongNumber) => *sequence_number = (*sequence_number + 1) % 16,
                    Some(Fault::Missing) => return Fate::IsLost,
                    Some(Fault::Repeated) => return Fate::GoesTwice,
                    None => {}
                }
            }
            Pdu::SingleFrame { .. } | Pdu::FirstFrame { .. } | Pdu::FlowControl { .. } => {}
        }
        Fate::Goes
    }

    /// The frame of a unit.
    pub(crate) fn frame(&mut self, unit: &Pdu, config: &Config, fate: Fate) -> Frame {
        let policy = &self.policy;
        let id = match unit {
            Pdu::FlowControl { .. } => config.transmit_id,
            _ => policy.transmit_id.unwrap_or(config.transmit_id),
        };
        let pad = policy.pad.unwrap_or(config.profile.pad);
        let mut frame = unit.to_frame(id, pad, config.profile.frames);
        let used = unit.bytes_in_frame();
        if policy.unpadded && used < CLASSIC {
            let data = &frame.data()[..used];
            let short = match frame.kind() {
                FrameKind::Fd { bit_rate_switch, .. } => Frame::fd(id, data, bit_rate_switch, false),
                _ => Frame::new(id, data),
            };
            frame = short.unwrap_or(frame);
        }
        if fate == Fate::GoesTwice {
            self.again = Some(frame);
        }
        frame
    }

    pub(crate) const fn has_frame_again(&self) -> bool {
        self.again.is_some()
    }

    pub(crate) const fn take_again(&mut self) -> Option<Frame> {
        self.again.take()
    }

    /// The flow control that goes out now.
    pub(crate) fn grant(&mut self, now: BusInstant, receiver: &mut Receiver, config: &Config) -> Option<Pdu> {
        let answer = |status, st_min| {
            Some(Pdu::FlowControl {
                status,
                block_size: config.block_size,
                st_min,
            })
        };
        if receiver.owed() != Some(FlowStatus::ContinueToSend) {
            return receiver.next(config);
        }
        match self.policy.grants {
            Grant::Right => receiver.next(config),
            Grant::Wait { .. } if now < self.resumes => None,
            Grant::Wait { count, .. } if self.waits >= count => {
                self.waits = 0;
                receiver.next(config)
            }
            Grant::Wait { every, .. } => {
                self.waits += 1;
                self.resumes = now + every;
                answer(FlowStatus::Wait, config.st_min)
            }
            Grant::Overflow => {
                receiver.abort();
                answer(FlowStatus::Overflow, config.st_min)
            }
            Grant::Nothing => {
                receiver.next(config)?;
                receiver.on_transmitted(now, config);
                None
            }
            Grant::StMin(st_min) => {
                receiver.next(config)?;
                answer(FlowStatus::ContinueToSend, st_min)
            }
        }
    }

    /// When the flow control that is owed goes out.
    pub(crate) const fn resumes(&self) -> BusInstant {
        self.resumes
    }
}
