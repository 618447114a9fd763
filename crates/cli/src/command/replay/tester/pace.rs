//! When the next request goes out: never earlier than recorded, after the request before it and after what that was answered.

use std::time::{Duration, Instant};

use twotrip_dialogue::Conversation;
use twotrip_units::BusInstant;

use crate::args::Pace;

/// The request before, as recorded and as it was now.
#[derive(Clone, Copy, Debug)]
pub(super) struct Before {
    recorded: (BusInstant, BusInstant),
    /// When it was asked, and when its last answer was complete.
    pub(super) asked: Instant,
    pub(super) over: Instant,
}

impl Before {
    pub(super) fn new(conversation: &Conversation, asked: Instant, over: Instant) -> Self {
        Self {
            recorded: (conversation.began, conversation.over()),
            asked,
            over,
        }
    }

    /// When the next one is due.
    pub(super) fn due(&self, next: &Conversation, pace: Pace) -> Instant {
        let gap = |since: BusInstant| at_pace(next.began.saturating_since(since), pace);
        let (asked, over) = self.recorded;
        (self.asked + gap(asked)).max(self.over + gap(over))
    }
}

/// A recorded time at this pace.
fn at_pace(span: Duration, pace: Pace) -> Duration {
    match pace {
        Pace::Max => Duration::ZERO,
        Pace::Times(times) => Duration::try_from_secs_f64(span.as_secs_f64() / times).unwrap_or(MOST),
    }
}

/// The longest wait between two requests: a year. A recording that says more has a broken clock.
const MOST: Duration = Duration::from_secs(365 * 24 * 3600);

#[cfg(test)]
mod tests {
    use twotrip_can::CanId;
    use twotrip_dialogue::{Reply, Role};

    use super::*;

    fn conversation(began: u64, replied: u64) -> Conversation {
        let Some(Role::Answer(ecu)) = Role::of(CanId::Standard(0x7E8)) else {
            panic!("7E8 answers");
        };
        let mut reply = Reply::new(ecu, vec![0x43, 0]);
        reply.ended = BusInstant::from_millis(replied);
        Conversation {
            number: 0,
            role: Role::AskAll { extended: false },
            request: vec![0x03],
            frames: (0, 0),
            began: BusInstant::from_millis(began),
            ended: BusInstant::from_millis(began),
            replies: vec![reply],
            more: 0,
            broken: Vec::new(),
        }
    }

    /// Recorded: asked at 1000, answered at 1010, the next one asked at 1100. `(asked, answered, pace, due)`, in ms.
    #[test]
    fn a_request_is_never_earlier_than_recorded() {
        let begun = Instant::now();
        let millis = Duration::from_millis;
        for (asked, answered, pace, due) in [
            (0, 10, Pace::Times(1.0), 100),
            // Answered sooner than recorded: the request before counts.
            (0, 2, Pace::Times(1.0), 100),
            // Answered later: the answer counts.
            (0, 70, Pace::Times(1.0), 160),
            (0, 10, Pace::Times(10.0), 19),
            (0, 10, Pace::Times(0.5), 200),
            (0, 10, Pace::Max, 10),
        ] {
            let recorded = conversation(1000, 1010);
            let before = Before::new(&recorded, begun + millis(asked), begun + millis(answered));
            let next = before.due(&conversation(1100, 1110), pace);
            assert_eq!(next, begun + millis(due), "{answered} {pace:?}");
        }
    }

    #[test]
    fn requests_that_overlapped_follow_each_other() {
        let begun = Instant::now();
        let before = Before::new(&conversation(0, 500), begun, begun + Duration::from_millis(20));
        let next = before.due(&conversation(10, 30), Pace::Times(1.0));
        assert_eq!(
            next,
            begun + Duration::from_millis(20),
            "at once after the answer"
        );
    }

    #[test]
    fn a_broken_clock_makes_no_endless_wait_and_no_panic() {
        let begun = Instant::now();
        let before = Before::new(&conversation(0, 0), begun, begun);
        let mut next = conversation(0, 0);
        next.began = BusInstant::MAX;
        assert!(before.due(&next, Pace::Times(1e-9)) <= begun + MOST);
    }
}
