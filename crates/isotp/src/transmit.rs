//! The sending state machine of ISO 15765-2: first frame, flow control, consecutive frames in blocks.

use alloc::{boxed::Box, vec};

use twotrip_units::BusInstant;

use crate::{Config, FlowParameters, FlowStatus, NResult, Payload, Pdu, StMin, frames::Rooms};

/// How much of the message has been handed over, and the sequence number that comes next.
#[derive(Clone, Copy, Debug)]
struct Progress {
    sent: usize,
    next_sn: u8,
}

#[derive(Clone, Copy, Debug)]
enum State {
    Idle,
    /// The message, short enough for a single frame or a first frame, has not been handed over.
    Beginning,
    /// Waiting for flow control; `n_bs` runs once the frame before it has passed on the bus.
    AwaitingFlowControl {
        progress: Progress,
        n_bs: Option<BusInstant>,
    },
    /// Consecutive frames flow; `earliest` is set once the frame before has passed.
    Sending {
        progress: Progress,
        /// Frames left in the block; `None` without a limit.
        block_left: Option<u8>,
        st_min: StMin,
        earliest: Option<BusInstant>,
    },
    /// The last frame has been handed over and has not passed yet.
    Finishing,
}

/// What an acknowledged frame or a flow control did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// The transfer goes on (or there is none).
    Continues,
    /// The message has left.
    Sent,
    /// The transfer is given up.
    Failed(NResult),
    /// Nobody waited for this flow control.
    Unexpected,
}

#[derive(Clone, Debug)]
pub(crate) struct Transmitter {
    state: State,
    message: Box<[u8]>,
    len: usize,
    /// How much each frame holds.
    rooms: Rooms,
    /// Block size and STmin of the first ContinueToSend, where that one counts.
    latched: Option<(u8, StMin)>,
}

impl Transmitter {
    pub(crate) fn new(limit: usize, rooms: Rooms) -> Self {
        Self {
            state: State::Idle,
            message: vec![0; limit].into_boxed_slice(),
            len: 0,
            rooms,
            latched: None,
        }
    }

    /// Whether a message of several frames is leaving whose last one has not been handed over.
    pub(crate) const fn is_in_the_middle(&self) -> bool {
        self.len > self.rooms.single() && !matches!(self.state, State::Idle | State::Finishing)
    }

    pub(crate) const fn is_idle(&self) -> bool {
        matches!(self.state, State::Idle)
    }

    pub(crate) fn limit(&self) -> usize {
        self.message.len()
    }

    /// Takes a message of one byte up to the limit.
    pub(crate) fn start(&mut self, message: &[u8]) {
        self.message[..message.len()].copy_from_slice(message);
        self.len = message.len();
        self.latched = None;
        self.state = State::Beginning;
    }

    /// The message just begun has another length than it should: cut, or filled up.
    pub(crate) fn falsify(&mut self, len: usize, fill: u8) {
        let len = len.min(self.message.len());
        if let Some(excess) = self.message.get_mut(self.len..len) {
            excess.fill(fill);
        }
        self.len = len;
    }

    pub(crate) const fn abort(&mut self) {
        self.state = State::Idle;
    }

    /// The next frame that may be handed over at `now`.
    pub(crate) fn next(&mut self, now: BusInstant) -> Option<Pdu> {
        match self.state {
            State::Beginning if self.len <= self.rooms.single() => {
                self.state = State::Finishing;
                Some(Pdu::SingleFrame {
                    payload: Payload::head(&self.message[..self.len]),
                })
            }
            State::Beginning => {
                let sent = self.rooms.first(self.len);
                self.state = State::AwaitingFlowControl {
                    progress: Progress { sent, next_sn: 1 },
                    n_bs: None,
                };
                Some(Pdu::FirstFrame {
                    length: u32::try_from(self.len).ok()?,
                    payload: Payload::head(&self.message[..sent]),
                })
            }
            State::Sending {
                progress: Progress { sent, next_sn },
                block_left,
                st_min,
                earliest: Some(earliest),
            } if earliest <= now => {
                let end = self.len.min(sent + self.rooms.consecutive());
                let payload = Payload::head(&self.message[sent..end]);
                let progress = Progress {
                    sent: end,
                    next_sn: (next_sn + 1) % 16,
                };
                let block_left = block_left.map(|left| left.saturating_sub(1));
                self.state = if progress.sent == self.len {
                    State::Finishing
                } else if block_left == Some(0) {
                    State::AwaitingFlowControl { progress, n_bs: None }
                } else {
                    State::Sending {
                        progress,
                        block_left,
                        st_min,
                        earliest: None,
                    }
                };
                Some(Pdu::ConsecutiveFrame {
                    sequence_number: next_sn,
                    payload,
                })
            }
            _ => None,
        }
    }

    /// The frame handed over last has passed on the bus at `now`.
    pub(crate) fn on_transmitted(&mut self, now: BusInstant, config: &Config) -> Outcome {
        match &mut self.state {
            State::AwaitingFlowControl { n_bs, .. } if n_bs.is_none() => {
                *n_bs = Some(now + config.profile.timers.n_bs)
            }
            State::Sending {
                st_min,
                earliest: earliest @ None,
                ..
            } => *earliest = Some(now + st_min.gap()),
            State::Finishing => {
                self.state = State::Idle;
                return Outcome::Sent;
            }
            _ => {}
        }
        Outcome::Continues
    }

    /// Flow control counts only while it is awaited. It may overtake the acknowledgement of the frame that it
    /// answers: where frames and acknowledgements come by different ways, their order is not certain.
    pub(crate) fn on_flow_control(
        &mut self,
        now: BusInstant,
        config: &Config,
        status: FlowStatus,
        block_size: u8,
        st_min: StMin,
    ) -> Outcome {
        let State::AwaitingFlowControl { progress, n_bs } = &mut self.state else {
            return Outcome::Unexpected;
        };
        let failure = match status {
            FlowStatus::ContinueToSend => {
                let (block_size, st_min) = match config.flow_parameters {
                    FlowParameters::Dynamic => (block_size, st_min),
                    FlowParameters::Static => *self.latched.get_or_insert((block_size, st_min)),
                };
                self.state = State::Sending {
                    progress: *progress,
                    block_left: (block_size > 0).then_some(block_size),
                    st_min,
                    earliest: Some(now),
                };
                return Outcome::Continues;
            }
            FlowStatus::Wait => {
                *n_bs = Some(now + config.profile.timers.n_bs);
                return Outcome::Continues;
            }
            FlowStatus::Overflow => NResult::BufferOvflw,
            FlowStatus::Reserved(found) => NResult::InvalidFs { found },
        };
        self.state = State::Idle;
        Outcome::Failed(failure)
    }

    /// When N_Bs runs out.
    pub(crate) const fn n_bs(&self) -> Option<BusInstant> {
        match self.state {
            State::AwaitingFlowControl { n_bs, .. } => n_bs,
            _ => None,
        }
    }

    /// From when on [`Self::next`] has a frame, with no other input.
    pub(crate) const fn next_at(&self) -> Option<BusInstant> {
        match self.state {
            State::Beginning => Some(BusInstant::ZERO),
            State::Sending { earliest, .. } => earliest,
            _ => None,
        }
    }
}
