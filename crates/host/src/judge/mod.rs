//! The judge of a run: what the car heard and sent, and what the testers did by it (crate `dialogue`, module `conduct`).
//!
//! A frame is put aside when it passes, a matter of nanoseconds, and thought about when nothing else is to be done, or when many
//! have come together. Memory is bounded.

mod stamps;
mod summary;

use std::{
    mem,
    time::{Duration, Instant, SystemTime},
};

use twotrip_can::{CanId, Frame};
use twotrip_dialogue::{Dialogue, Event, conduct::Conduct};
use twotrip_units::BusInstant;

use self::stamps::Stamps;
pub use self::summary::{Breaches, CodeList, CodesRead, Said, Summary, Tester};
use crate::bus::{Filter, Noted};

/// Frames put aside at the most.
const ASIDE: usize = 256;
/// How much later than on the wire a frame may be heard, where no kernel notes when that was: what a busy computer does to this
/// program. Our choice.
const SLACK: Duration = Duration::from_millis(5);

/// How long a frame is kept aside where the kernel notes times: one that came before it may still be unread. Our choice.
const KEPT: Duration = Duration::from_millis(50);

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
    aside: Vec<Aside>,
    dialogue: Dialogue,
    conduct: Conduct,
    frames: u64,
    /// The kernel or the sender notes when frames came.
    stamps: Option<Stamps>,
    /// How much later than on the wire a frame may be heard all the same.
    slack: Duration,
    /// When the last frame was that was thought about.
    latest: BusInstant,
}

/// A frame put aside.
#[derive(Clone, Copy, Debug)]
struct Aside {
    /// It was heard then, or was given to the bus not before then.
    at: BusInstant,
    /// The same, or when the bus had taken it.
    latest: BusInstant,
    /// When the kernel had it.
    noted: Option<SystemTime>,
    frame: Frame,
}

impl Default for Judge {
    fn default() -> Self {
        Self {
            aside: Vec::with_capacity(ASIDE),
            dialogue: Dialogue::without_units().with_slack(SLACK),
            conduct: Conduct::default(),
            frames: 0,
            stamps: None,
            slack: SLACK,
            latest: BusInstant::ZERO,
        }
    }
}

impl Judge {
    /// From now on a frame counts from when it is noted that it came, if it is; bus time began then.
    pub(crate) fn go_by_noted_times(&mut self, begun: Instant, by: Noted) {
        self.slack = match by {
            Noted::ByKernel => Duration::ZERO,
            // Not all of them do.
            Noted::BySender => SLACK,
            Noted::ByNobody => return,
        };
        self.stamps = Some(Stamps::new(begun));
    }

    /// A frame of another passed, or one of the car of which that was to be told; the kernel had it when it has `noted`.
    #[inline]
    pub(crate) fn hear(&mut self, at: BusInstant, noted: Option<SystemTime>, frame: &Frame) {
        self.put_aside(Aside {
            at,
            latest: at,
            noted,
            frame: *frame,
        });
    }

    /// A frame of the car was given to the bus between the two instants.
    #[inline]
    pub(crate) fn hear_sent(&mut self, begun: BusInstant, written: BusInstant, frame: &Frame) {
        // Among frames that count from when they were heard, it counts from when it was written.
        let at = if self.stamps.is_some() { begun } else { written };
        self.put_aside(Aside {
            at,
            latest: written,
            noted: None,
            frame: *frame,
        });
    }

    #[inline]
    fn put_aside(&mut self, heard: Aside) {
        if self.aside.len() == ASIDE {
            self.think();
        }
        self.aside.push(heard);
    }

    /// While much is to be done: thinks about what was put aside if there is much of it.
    #[inline]
    pub(crate) fn think_if_many(&mut self, now: BusInstant) {
        if self.aside.len() >= ASIDE / 2 {
            self.think();
        } else if self.stamps.is_some() {
            self.think_if_old(now);
        }
    }

    /// While nothing else is to be done: thinks about what was put aside.
    pub(crate) fn think_at_leisure(&mut self, now: BusInstant) {
        if self.stamps.is_some() {
            self.think_if_old(now);
        } else {
            self.think();
        }
    }

    /// Thinks about what was put aside long enough ago, once a good part of it was.
    #[inline]
    fn think_if_old(&mut self, now: BusInstant) {
        if self
            .aside
            .first()
            .is_some_and(|oldest| oldest.at + 2 * KEPT < now)
        {
            self.think_until(now - KEPT);
        }
    }

    /// Thinks about all that was put aside.
    fn think(&mut self) {
        self.think_until(BusInstant::MAX);
    }

    /// Thinks about what was put aside up to an instant.
    fn think_until(&mut self, until: BusInstant) {
        let mut aside = mem::take(&mut self.aside);
        self.go_by_stamps(&mut aside);
        let kept = aside.partition_point(|heard| heard.at <= until);
        for heard in aside.drain(..kept) {
            self.frames += 1;
            self.latest = self.latest.max(heard.at);
            let latest = self.latest.max(heard.latest);
            self.dialogue
                .on_frame_between(self.frames, self.latest, latest, &heard.frame);
            take(&mut self.dialogue, &mut self.conduct);
        }
        self.aside = aside;
    }

    /// Puts frames at the instants that the kernel noted, and into their order: one of a tester may have come while the program
    /// was still writing, or did not run at all.
    fn go_by_stamps(&mut self, aside: &mut [Aside]) {
        let Some(stamps) = self.stamps.as_mut().filter(|_| !aside.is_empty()) else {
            return;
        };
        let sound = stamps.compare();
        self.dialogue.set_slack(if sound { self.slack } else { SLACK });
        for place in 0..aside.len() {
            let heard = &mut aside[place];
            if let Some(noted) = heard.noted.take().filter(|_| sound) {
                heard.at = stamps.bus_time(noted, heard.at);
                heard.latest = heard.at;
            }
            // They are nearly in order, and where two are the same they stay as they were.
            let mut place = place;
            while place > 0 && aside[place - 1].at > aside[place].at {
                aside.swap(place - 1, place);
                place -= 1;
            }
        }
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
        judge.hear(at(0), None, &frame(0x7DF, &[1, 0x04]));
        let summary = judge.summary(at(10));
        assert_eq!((summary.testers[0].requests, summary.unwise), (1, 1));
        judge.hear(at(20), None, &frame(0x7E8, &[1, 0x44]));
        judge.hear(at(30), None, &frame(0x7DF, &[1, 0x03]));
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

    /// Frames that the program was late to hear, and what was noted of them: milliseconds.
    #[test]
    fn a_tester_is_judged_by_the_times_that_are_noted() {
        const FORCED: &[u8] = &[2, 0x01, 0x0C];
        // It asks, and asks again after P2; nobody answers. The program stood still meanwhile.
        // What a sender says it need not say of each: among such 5 ms are forgiven as ever.
        for (by, noted, expected) in [
            (Noted::ByKernel, [0, 51], 0),
            (Noted::ByKernel, [0, 49], 1),
            (Noted::BySender, [0, 51], 0),
            (Noted::BySender, [0, 46], 0),
            (Noted::BySender, [0, 44], 1),
            (Noted::ByNobody, [0, 51], 1),
        ] {
            let mut judge = Judge::default();
            let (begun, unix) = (Instant::now(), SystemTime::now());
            judge.go_by_noted_times(begun, by);
            for (heard, noted) in [49, 52].into_iter().zip(noted) {
                let noted = unix + Duration::from_millis(noted);
                judge.hear(BusInstant::from_millis(heard), Some(noted), &frame(0x7DF, FORCED));
            }
            let breaches = judge.summary(BusInstant::from_millis(60)).violations;
            assert_eq!(breaches, expected, "asked at {noted:?}, {by:?}");
        }
        // By its own clock alone, it forgives 5 ms at the most.
        let mut judge = Judge::default();
        for heard in [49, 52] {
            judge.hear(BusInstant::from_millis(heard), None, &frame(0x7DF, FORCED));
        }
        assert_eq!(judge.summary(BusInstant::from_millis(60)).violations, 1);
    }

    /// A frame of the tester that came before one of the car, and was read after it.
    #[test]
    fn frames_are_judged_in_the_order_of_the_wire() {
        let mut judge = Judge::default();
        let (begun, unix) = (Instant::now(), SystemTime::now());
        judge.go_by_noted_times(begun, Noted::ByKernel);
        let at = BusInstant::from_millis;
        let noted = |millis| Some(unix + Duration::from_millis(millis));
        judge.hear(at(0), noted(0), &frame(0x7DF, &[2, 0x01, 0x0C]));
        // The thread stood still over the write: the answer is out, its reader asks on before the thread goes on.
        judge.hear_sent(at(10), at(90), &frame(0x7E8, &[4, 0x41, 0x0C, 0, 0]));
        judge.hear(at(90), noted(70), &frame(0x7DF, &[2, 0x01, 0x0D]));
        judge.hear_sent(at(91), at(91), &frame(0x7E8, &[3, 0x41, 0x0D, 0]));
        let summary = judge.summary(at(200));
        assert_eq!((summary.answers, summary.violations), (2, 0), "{summary:?}");
        assert_eq!(
            summary.testers[0].last_s.map(|last| (last * 1000.0).round()),
            Some(70.0)
        );
    }

    #[test]
    fn any_number_of_frames_takes_no_more_room() {
        let mut judge = Judge::default();
        for number in 0..10_000_u64 {
            judge.hear(
                BusInstant::from_millis(number * 60),
                None,
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
