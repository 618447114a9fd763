//! Error message frames of a run: all are counted, few are told. A faulty wire makes thousands of them a second.

use twotrip_can::error_frame::{ErrorFrame, ErrorState};
use twotrip_units::BusInstant;

use super::seldom::Seldom;

/// Kinds that are told apart: the four states of a node, and what says nothing of its state.
const KINDS: usize = 5;

/// What has been seen and told.
#[derive(Debug, Default)]
pub(super) struct BusErrors {
    seen: u64,
    kinds: [Seldom; KINDS],
}

impl BusErrors {
    /// All error frames so far.
    pub(super) const fn seen(&self) -> u64 {
        self.seen
    }

    /// Takes note of one. If it is to be told: how many of its kind have not been since the last that was.
    pub(super) fn note(&mut self, now: BusInstant, error: ErrorFrame) -> Option<u64> {
        self.seen += 1;
        let kind = match error.state() {
            Some(ErrorState::Active) => 0,
            Some(ErrorState::Warning) => 1,
            Some(ErrorState::Passive) => 2,
            Some(ErrorState::BusOff) => 3,
            None => 4,
        };
        self.kinds[kind].note(now)
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use twotrip_can::Frame;

    use super::*;

    /// Class and detail bits: linux/can/error.h.
    #[test]
    fn a_flood_is_told_once_a_second_and_a_new_state_at_once() {
        let frame = |class, detail| ErrorFrame::decode(&Frame::error(class, detail)).expect("an error frame");
        let stuff = frame(0x88, [0, 0, 4, 0, 0, 0, 0, 0]);
        let passive = frame(0x04, [0, 0x20, 0, 0, 0, 0, 0, 0]);
        let off = frame(0x40, [0; 8]);
        let restarted = frame(0x100, [0; 8]);
        let mut errors = BusErrors::default();
        let at = |ms| BusInstant::ZERO + Duration::from_millis(ms);
        assert_eq!(errors.note(at(0), stuff), Some(0));
        for ms in 1..100 {
            assert_eq!(errors.note(at(ms), stuff), None);
        }
        assert_eq!(
            errors.note(at(100), passive),
            Some(0),
            "a new state is told at once"
        );
        assert_eq!(errors.note(at(101), off), Some(0));
        assert_eq!(errors.note(at(201), restarted), Some(0));
        assert_eq!(errors.note(at(301), off), None, "bus off, restarted, bus off ...");
        assert_eq!(errors.note(at(1000), stuff), Some(99));
        assert_eq!(errors.note(at(1101), off), Some(1));
        assert_eq!(errors.seen(), 106);
    }
}
