//! One direction of one pair: units put together to messages, as an onlooker can.

use alloc::vec::Vec;
use core::time::Duration;

use twotrip_isotp::{Config, FlowStatus, Payload, Pdu, StMin, Timers};
use twotrip_units::BusInstant;

use crate::{Breach, Sign};

/// An onlooker's clock and the sender's are not the same: frames closer than STmin by less than this pass.
pub(crate) const CLOCK_TOLERANCE: Duration = Duration::from_micros(500);
/// Flow control is on the bus within this time: N_Br and N_Ar (ISO 15765-4, from public summaries).
const N_BR: Duration = Duration::from_millis(25);

/// Longer messages than diagnostics on CAN have are read up to here, so that what is in a recording can be seen. Our choice.
const LONGEST_READ: u32 = 0x1_0000;

/// A message that is whole.
#[derive(Clone, Debug)]
pub(crate) struct Whole {
    pub(crate) bytes: Vec<u8>,
    pub(crate) first_frame: u64,
    pub(crate) began: BusInstant,
    pub(crate) pieces: u32,
}

/// The message under way.
#[derive(Clone, Debug)]
struct Open {
    length: u32,
    bytes: Vec<u8>,
    next: u8,
    first_frame: u64,
    began: BusInstant,
    last: BusInstant,
    pieces: u32,
    flow: Flow,
    st_min: StMin,
    /// Told already; not again for each frame that follows.
    told: bool,
    /// Message bytes in a full consecutive frame, where they are counted: on CAN FD the first frame sets it (RX_DL).
    room: Option<usize>,
    /// The flow control went elsewhere: that it does not come here is told.
    misdirected: bool,
    /// Another request came while a flow control was waited for.
    passed_over: bool,
}

/// What a flow control met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Steered {
    /// Somebody who waits for it.
    Awaited,
    /// Somebody who has had one.
    Released,
    /// Nobody.
    Nobody,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Flow {
    /// A flow control is due, since then.
    Awaited(BusInstant),
    /// Frames left in the block; `None`: all.
    Open(Option<u8>),
}

/// Buffers that are given back, for messages to come: so that in the long run none is allocated for a message.
#[derive(Clone, Debug, Default)]
pub(crate) struct Spare(Vec<Vec<u8>>);

impl Spare {
    /// Most short buffers kept: who tells many messages at once gives many back.
    const MOST: usize = 4096;
    /// Most long ones.
    const LONG: usize = 64;
    /// From here on a buffer is long, bytes.
    const SHORT: usize = 64;

    fn filled(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut buffer = self.0.pop().unwrap_or_default();
        buffer.clear();
        buffer.extend_from_slice(bytes);
        buffer
    }

    pub(crate) fn take_back(&mut self, buffer: Vec<u8>) {
        let most = if buffer.capacity() > Self::SHORT {
            Self::LONG
        } else {
            Self::MOST
        };
        if self.0.len() < most {
            self.0.push(buffer);
        }
    }
}

/// A direction.
#[derive(Clone, Debug, Default)]
pub(crate) struct Assembly {
    open: Option<Open>,
    /// What was broken off last: the number of its next frame, and when its last frame came.
    broken: Option<(u8, BusInstant)>,
}

impl Assembly {
    /// Takes a unit of the sender; from the later of the two instants on it can have been heard.
    pub(crate) fn on_unit(
        &mut self,
        frame: u64,
        (at, latest): (BusInstant, BusInstant),
        pdu: &Pdu,
        is_fd: bool,
        spare: &mut Spare,
        breach: &mut impl FnMut(Breach),
    ) -> Option<Whole> {
        match *pdu {
            Pdu::SingleFrame { payload } => {
                self.break_off(breach);
                Some(Whole {
                    bytes: spare.filled(payload.as_slice()),
                    first_frame: frame,
                    began: at,
                    pieces: 1,
                })
            }
            Pdu::FirstFrame { length, payload } => {
                self.break_off(breach);
                let is_escape = usize::try_from(length).map_or(true, |length| length > Config::LONGEST);
                if is_escape {
                    breach(Breach::TooLong { length });
                }
                if length > LONGEST_READ {
                    return None;
                }
                let header = if is_escape { 6 } else { 2 };
                let room = is_fd.then(|| header + payload.as_slice().len() - 1);
                self.open = Some(Open {
                    length,
                    bytes: spare.filled(payload.as_slice()),
                    next: 1,
                    first_frame: frame,
                    began: at,
                    last: at,
                    pieces: 1,
                    flow: Flow::Awaited(latest),
                    st_min: StMin::ZERO,
                    told: false,
                    room,
                    misdirected: false,
                    passed_over: false,
                });
                None
            }
            Pdu::ConsecutiveFrame {
                sequence_number,
                payload,
            } => self.on_consecutive((at, latest), sequence_number, payload, breach),
            // Of the other direction: see `on_flow_control`.
            Pdu::FlowControl { .. } => None,
        }
    }

    fn on_consecutive(
        &mut self,
        (at, latest): (BusInstant, BusInstant),
        found: u8,
        payload: Payload,
        breach: &mut impl FnMut(Breach),
    ) -> Option<Whole> {
        let Some(open) = &mut self.open else {
            breach(Breach::NothingToContinue);
            return None;
        };
        if found != open.next {
            breach(Breach::WrongSequence {
                expected: open.next,
                found,
            });
            self.open = None;
            return None;
        }
        let room = usize::try_from(open.length).unwrap_or(usize::MAX) - open.bytes.len();
        let data = payload.as_slice();
        if let Some(full) = open.room
            && (data.len() > full || data.len() < full.min(room))
        {
            // A receiver does not take it.
            breach(Breach::Uneven {
                found: data.len() + 1,
                expected: full + 1,
            });
            return None;
        }
        open.judge_pace((at, latest), breach);
        open.next = (open.next + 1) & 0x0F;
        open.last = at;
        open.pieces += 1;
        open.bytes.extend_from_slice(&data[..data.len().min(room)]);
        if open.bytes.len() < usize::try_from(open.length).unwrap_or(usize::MAX) {
            return None;
        }
        self.open.take().map(|open| Whole {
            bytes: open.bytes,
            first_frame: open.first_frame,
            began: open.began,
            pieces: open.pieces,
        })
    }

    /// Takes a flow control that the receiver sends back.
    pub(crate) fn on_flow_control(
        &mut self,
        at: BusInstant,
        (status, block_size, st_min): (FlowStatus, u8, StMin),
        is_testers: bool,
        breach: &mut impl FnMut(Breach),
    ) -> Steered {
        let Some(open) = &mut self.open else {
            return Steered::Nobody;
        };
        let Flow::Awaited(since) = open.flow else {
            return Steered::Released;
        };
        let gap = at.saturating_since(since);
        let limit = Timers::OBD.n_bs;
        if is_testers && core::mem::take(&mut open.passed_over) {
            breach(Breach::TwoAtOnce(Sign::SteersBehindRequest));
        }
        if gap > limit {
            breach(Breach::LateFlowControl { gap, limit });
        } else if gap > N_BR {
            breach(Breach::SlowFlowControl { gap, limit: N_BR });
        }
        if is_testers {
            open.judge_steering(status, block_size, st_min, breach);
        }
        match status {
            FlowStatus::ContinueToSend => {
                open.flow = Flow::Open((block_size > 0).then_some(block_size));
                open.st_min = st_min;
                open.last = at;
            }
            FlowStatus::Wait => open.flow = Flow::Awaited(at),
            // The receiver gives up, and so does the sender.
            FlowStatus::Overflow | FlowStatus::Reserved(_) => self.open = None,
        }
        Steered::Awaited
    }

    /// Whether a flow control is waited for that has not gone elsewhere.
    pub(crate) fn is_waiting(&self) -> bool {
        let waits = |open: &Open| matches!(open.flow, Flow::Awaited(_)) && !open.misdirected;
        self.open.as_ref().is_some_and(waits)
    }

    /// The flow control that is waited for has gone elsewhere.
    pub(crate) const fn misdirect(&mut self) {
        if let Some(open) = &mut self.open {
            open.misdirected = true;
        }
    }

    /// Whether the flow control that is waited for can no longer come in time.
    pub(crate) fn is_late(&self, at: BusInstant) -> bool {
        let late = |open: &Open| match open.flow {
            Flow::Awaited(since) => at.saturating_since(since) > Timers::OBD.n_bs,
            Flow::Open(_) => false,
        };
        self.open.as_ref().is_none_or(late)
    }

    /// Another request comes while a flow control is waited for; says whether one is.
    pub(crate) fn pass_over(&mut self) -> bool {
        let waiting = self
            .open
            .as_mut()
            .filter(|open| matches!(open.flow, Flow::Awaited(_)));
        waiting.map(|open| open.passed_over = true).is_some()
    }

    /// Whether that has happened, and the flow control has not come.
    pub(crate) fn is_passed_over(&self) -> bool {
        self.open.as_ref().is_some_and(|open| open.passed_over)
    }

    /// Whether this continues what another message has broken off: told once.
    pub(crate) fn goes_on_behind(&mut self, at: BusInstant, pdu: &Pdu) -> bool {
        let Pdu::ConsecutiveFrame { sequence_number, .. } = pdu else {
            return false;
        };
        let goes_on = |&mut (next, last): &mut (u8, BusInstant)| {
            next == *sequence_number && at.saturating_since(last) <= Timers::OBD.n_cr
        };
        self.open.is_none() && self.broken.take_if(goes_on).is_some()
    }

    /// Whether a message is under way, or given up without a word.
    #[inline]
    pub(crate) const fn is_open(&self) -> bool {
        self.open.is_some()
    }

    /// Whether the sender goes on.
    pub(crate) fn is_under_way(&self, at: BusInstant) -> bool {
        let goes_on = |open: &Open| {
            matches!(open.flow, Flow::Open(_)) && at.saturating_since(open.last) <= Timers::OBD.n_cr
        };
        self.open.as_ref().is_some_and(goes_on)
    }

    /// Gives up what waits for a flow control that will not come any more.
    pub(crate) fn abandon(&mut self) -> Option<Breach> {
        let open = self.open.take_if(|open| matches!(open.flow, Flow::Awaited(_)))?;
        Some(open.unfinished())
    }

    /// What was announced and has not come, though it is time. A flow control that was due is its receiver's: see
    /// [`Breach::MissingFlowControl`].
    pub(crate) fn end(&mut self, at: BusInstant) -> Option<Breach> {
        let open = self.open.take()?;
        let (since, limit) = match open.flow {
            Flow::Awaited(since) => (since, Timers::OBD.n_bs),
            Flow::Open(_) => (open.last, Timers::OBD.n_cr),
        };
        (at.saturating_since(since) > limit).then(|| open.unfinished())
    }

    fn break_off(&mut self, breach: &mut impl FnMut(Breach)) {
        if let Some(open) = self.open.take() {
            let flows = matches!(open.flow, Flow::Open(_));
            self.broken = flows.then_some((open.next, open.last));
            breach(Breach::BrokenOff {
                received: open.received(),
                length: open.length,
            });
        }
    }
}

impl Open {
    fn received(&self) -> u32 {
        u32::try_from(self.bytes.len()).unwrap_or(u32::MAX)
    }

    /// The rest did not come, for want of a flow control or without a reason.
    fn unfinished(&self) -> Breach {
        let (received, length) = (self.received(), self.length);
        if matches!(self.flow, Flow::Awaited(_)) && !self.misdirected {
            Breach::MissingFlowControl { received, length }
        } else {
            Breach::Unfinished { received, length }
        }
    }

    /// What a tester asks for, once a message.
    fn judge_steering(
        &self,
        status: FlowStatus,
        block_size: u8,
        st_min: StMin,
        breach: &mut impl FnMut(Breach),
    ) {
        match status {
            FlowStatus::Wait => breach(Breach::Wait),
            FlowStatus::Overflow | FlowStatus::Reserved(_) => breach(Breach::NotTaken(status)),
            FlowStatus::ContinueToSend if self.pieces == 1 => {
                if block_size != 0 {
                    breach(Breach::BlockSize(block_size));
                }
                if st_min != StMin::ZERO {
                    breach(Breach::Pause(st_min));
                }
            }
            FlowStatus::ContinueToSend => {}
        }
    }

    /// Flow control, block, STmin and N_Cr.
    fn judge_pace(&mut self, (at, latest): (BusInstant, BusInstant), breach: &mut impl FnMut(Breach)) {
        let mut tell = |what| {
            if !self.told {
                breach(what);
            }
            self.told = true;
        };
        match self.flow {
            Flow::Awaited(_) if self.next == 1 && self.pieces == 1 => tell(Breach::NoFlowControl),
            Flow::Awaited(_) => tell(Breach::BlockOverrun),
            Flow::Open(left) => {
                let gap = at.saturating_since(self.last);
                let limit = Timers::OBD.n_cr;
                let st_min = self.st_min.gap();
                // The first frame of a block may follow the flow control at once.
                if gap + CLOCK_TOLERANCE < st_min && self.pieces > 1 {
                    tell(Breach::TooClose { gap, st_min });
                }
                if gap > limit {
                    tell(Breach::LateFrame { gap, limit });
                }
                if let Some(left) = left {
                    self.flow = match left - 1 {
                        0 => Flow::Awaited(latest),
                        left => Flow::Open(Some(left)),
                    };
                }
            }
        }
    }
}
