//! When a recorded frame is due, and when the wire is free for it.
//!
//! A frame's own time on the wire is that of its bits ([`frame_bits`]: exact stuffing for classic frames), because a
//! recorder stamps it at its end: two stamps on a busy wire are as far apart as the second frame is long.

use std::time::Duration;

use twotrip_can::{Frame, FrameKind, timing::frame_bits};
use twotrip_units::BusInstant;

use super::{Due, Entry};

/// How fast a recording is sent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Speed {
    /// So many times as fast as it was recorded; above 0.
    Times(f64),
    /// As fast as the wire carries it: recorded times do not count.
    Max,
}

/// How fast the wire of a lane is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wire {
    /// So many bit/s; frames never follow each other faster.
    Known(u64),
    /// Nobody knows. So many bit/s are thought of, but frames that were recorded closer together may be so again.
    Thought(u64),
    /// There is none: frames may follow each other at once.
    None,
}

/// Tells of each frame when it goes.
#[derive(Clone, Debug)]
pub struct Pacer {
    speed: Speed,
    lanes: Vec<Lane>,
    /// A recorded time, and when that is. `None` before the first frame.
    zero: Option<(u64, BusInstant)>,
    /// Where the recording begins.
    start: BusInstant,
    /// Of all frames so far the latest.
    last: BusInstant,
}

#[derive(Clone, Copy, Debug)]
struct Lane {
    wire: Wire,
    /// When its last frame was due.
    due: BusInstant,
    /// When the wire was free behind it; `None` before the first.
    free: Option<BusInstant>,
}

impl Pacer {
    /// The first frame is due at `start`.
    #[must_use]
    pub fn new(speed: Speed, wires: impl IntoIterator<Item = Wire>, start: BusInstant) -> Self {
        let lane = |wire| Lane {
            wire,
            due: BusInstant::ZERO,
            free: None,
        };
        Self {
            speed,
            lanes: wires.into_iter().map(lane).collect(),
            zero: None,
            start,
            last: start,
        }
    }

    /// When a frame is due by the recording; frames come in the order of the file.
    pub fn due(&mut self, entry: &Entry) -> Due {
        let at = match self.speed {
            Speed::Max => self.start,
            Speed::Times(times) => {
                let zero = self.zero.filter(|_| !entry.begins);
                let (recorded, zero) = zero.unwrap_or_else(|| {
                    let wire = self.lanes.get(entry.lane).map_or(Wire::None, |lane| lane.wire);
                    let first = self.zero.is_none();
                    // The time between two runs of a recorder is nobody's: the second follows the first at once.
                    let behind = if first {
                        Duration::ZERO
                    } else {
                        time(&entry.frame, wire)
                    };
                    (entry.at, self.last + behind)
                });
                self.zero = Some((recorded, zero));
                // Earlier than the first one: of another bus, or by a clock that was set.
                zero + scaled(entry.at.saturating_sub(recorded), times)
            }
        };
        self.last = self.last.max(at);
        Due {
            lane: entry.lane,
            at,
            frame: entry.frame,
        }
    }

    /// When a frame may go: not before it is due, nor before the wire has carried it behind the one before it.
    #[must_use]
    pub fn ready(&self, due: &Due) -> BusInstant {
        let Some(lane) = self.lanes.get(due.lane) else {
            return due.at;
        };
        lane.free
            .map_or(due.at, |free| due.at.max(free + self.spacing(lane, due)))
    }

    /// A frame that was [`ready`](Self::ready) at one instant went at another.
    pub fn sent(&mut self, due: &Due, ready: BusInstant, went: BusInstant) {
        let Some(lane) = self.lanes.get_mut(due.lane) else {
            return;
        };
        // A thread that is woken late each time would never catch up on a busy bus if each frame waited for the whole of
        // the next one: so it may be ahead of the wire by one frame, and no more however late it was.
        lane.free = Some(ready.max(went - time(&due.frame, lane.wire)));
        lane.due = due.at;
    }

    /// How far behind the one before it a frame has to be.
    fn spacing(&self, lane: &Lane, due: &Due) -> Duration {
        let wire = time(&due.frame, lane.wire);
        // How long an FD frame takes is known as an upper bound only.
        let is_bound = matches!(due.frame.kind(), FrameKind::Fd { .. });
        let may_be_closer = matches!(lane.wire, Wire::Thought(_)) || is_bound;
        if may_be_closer && self.speed != Speed::Max {
            wire.min(due.at.saturating_since(lane.due))
        } else {
            wire
        }
    }
}

/// A recorded span at another speed.
fn scaled(nanos: u64, times: f64) -> Duration {
    #[expect(
        clippy::float_cmp,
        reason = "exactly one is what the user writes, and then nothing is rounded"
    )]
    if times == 1.0 {
        return Duration::from_nanos(nanos);
    }
    Duration::try_from_secs_f64(Duration::from_nanos(nanos).as_secs_f64() / times).unwrap_or(Duration::MAX)
}

/// How long a wire carries a frame, the pause behind it included.
fn time(frame: &Frame, wire: Wire) -> Duration {
    match wire {
        Wire::Known(rate) | Wire::Thought(rate) => {
            let bits = u64::from(frame_bits(frame).at_most());
            Duration::from_nanos((bits * 1_000_000_000).div_ceil(rate.max(1)))
        }
        Wire::None => Duration::ZERO,
    }
}
