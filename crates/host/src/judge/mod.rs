//! The judge of a run: what the car heard and sent, and what the testers did by it (crate `dialogue`, module `conduct`).
//!
//! A frame is put aside when it passes, a matter of nanoseconds, and thought about when nothing else is to be done, or when many
//! have come together. Memory is bounded.

mod summary;

use std::{mem, time::Duration};

use twotrip_can::{CanId, Frame};
use twotrip_dialogue::{Dialogue, Event, conduct::Conduct};
use twotrip_units::BusInstant;

pub use self::summary::{Breaches, CodeList, CodesRead, Said, Summary, Tester};
use crate::bus::Filter;

/// Frames put aside at the most.
const ASIDE: usize = 256;
/// How much later than on the wire a frame may be heard: what a busy computer does to this program. Our choice.
const SLACK: Duration = Duration::from_millis(5);

/// All identifiers of diagnostics, of both sizes (ISO 15765-4, from memory): what a judge wants to hear besides what the car does.
pub const IDENTIFIERS: [Filter; 4] = [
    Filter::exact(CanId::Standard(0x7DF)),
    Filter::exact(CanId::Standard(0x7E0)).but_for(0xF),
    Filter::exact(CanId::Extended(0x18DA_0000)).but_for(0xFFFF),
    Filter::exact(CanId::Extended(0x18DB_3300)).but_for(0xFF),
];

/// Judges what testers do to a running car.
#[derive(Debug)]
pub(crate) struct Judge {
    aside: Vec<(BusInstant, Frame)>,
    dialogue: Dialogue,
    conduct: Conduct,
    frames: u64,
}

impl Default for Judge {
    fn default() -> Self {
        Self {
            aside: Vec::with_capacity(ASIDE),
            dialogue: Dialogue::without_units().with_slack(SLACK),
            conduct: Conduct::default(),
            frames: 0,
        }
    }
}

impl Judge {
    /// A frame passed, of the car or of another.
    #[inline]
    pub(crate) fn hear(&mut self, at: BusInstant, frame: &Frame) {
        if self.aside.len() == ASIDE {
            self.think();
        }
        self.aside.push((at, *frame));
    }

    /// Thinks about what was put aside if there is much of it.
    #[inline]
    pub(crate) fn think_if_many(&mut self) {
        if self.aside.len() >= ASIDE / 2 {
            self.think();
        }
    }

    /// Thinks about what was put aside.
    pub(crate) fn think(&mut self) {
        let mut aside = mem::take(&mut self.aside);
        for (at, frame) in aside.drain(..) {
            self.frames += 1;
            self.dialogue.on_frame(self.frames, at, &frame);
            take(&mut self.dialogue, &mut self.conduct);
        }
        self.aside = aside;
    }

    /// What was done so far, as if nothing more came.
    pub(crate) fn summary(&mut self, now: BusInstant) -> Summary {
        self.think();
        let (mut dialogue, mut conduct) = (self.dialogue.clone(), self.conduct.clone());
        dialogue.on_end(now);
        take(&mut dialogue, &mut conduct);
        Summary::of(&conduct, |at| at.saturating_since(BusInstant::ZERO).as_secs_f64())
    }
}

fn take(dialogue: &mut Dialogue, conduct: &mut Conduct) {
    while let Some(event) = dialogue.poll_event() {
        conduct.on_event(&event);
        if let Event::Message(message) = event {
            dialogue.recycle(message);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(id: u16, bytes: &[u8]) -> Frame {
        Frame::padded(CanId::Standard(id), bytes, 0)
    }

    /// What is still open is judged as if the run were over, and goes on all the same.
    #[test]
    fn a_summary_in_between_changes_nothing() {
        let mut judge = Judge::default();
        let at = BusInstant::from_millis;
        judge.hear(at(0), &frame(0x7DF, &[1, 0x04]));
        let summary = judge.summary(at(10));
        assert_eq!((summary.testers[0].requests, summary.unwise), (1, 1));
        judge.hear(at(20), &frame(0x7E8, &[1, 0x44]));
        judge.hear(at(30), &frame(0x7DF, &[1, 0x03]));
        let summary = judge.summary(at(200));
        assert_eq!(summary.answers, 1);
        assert_eq!(summary.testers[0].unanswered, 1);
        assert_eq!(summary.violations, 0, "{summary:?}");
        assert!(
            summary
                .lines()
                .iter()
                .any(|line| line.contains("common practice")),
            "{summary:?}"
        );
    }

    #[test]
    fn any_number_of_frames_takes_no_more_room() {
        let mut judge = Judge::default();
        for number in 0..10_000_u64 {
            judge.hear(
                BusInstant::from_millis(number * 60),
                &frame(0x7DF, &[2, 0x01, 0x0C]),
            );
        }
        assert_eq!(judge.aside.capacity(), ASIDE);
        assert_eq!(
            judge.summary(BusInstant::from_secs(1000)).testers[0].requests,
            10_000
        );
    }

    #[test]
    fn the_judge_hears_all_of_diagnostics_and_nothing_else() {
        let hears = |id| {
            let frame = Frame::padded(id, &[0], 0);
            IDENTIFIERS.iter().any(|filter| filter.passes(&frame))
        };
        for id in [0x7DF, 0x7E0, 0x7E7, 0x7E8, 0x7EF] {
            assert!(hears(CanId::Standard(id)), "{id:X}");
        }
        for id in [0x18DB_33F1, 0x18DB_33FA, 0x18DA_10F1, 0x18DA_F110] {
            assert!(hears(CanId::Extended(id)), "{id:X}");
        }
        for id in [
            CanId::Standard(0x7F0),
            CanId::Standard(0x1F0),
            CanId::Extended(0x7DF),
            CanId::Extended(0x18FE_F100),
        ] {
            assert!(!hears(id), "{id}");
        }
    }
}
