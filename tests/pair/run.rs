//! The body that plays a case on an arm. An arm is a bus with the ECU under test on it; the body knows only frames
//! and instants, and looks inside the ECU only where the arm can.

use std::{collections::VecDeque, fmt::Write, time::Duration};

use twotrip_can::{
    CanId, Frame,
    timing::{self, BitRate},
};
use twotrip_isotp::{Direction, NResult};
use twotrip_units::BusInstant;

use crate::{
    cases::{Case, Step},
    notation,
};

/// A frame that has passed on the arm's bus.
#[derive(Clone, Copy)]
pub struct Passed {
    /// Sent by the body.
    pub own: bool,
    /// End of the frame.
    pub at: BusInstant,
    pub frame: Frame,
}

/// A bus with the ECU under test.
pub trait Arm {
    fn now(&self) -> BusInstant;
    /// Hands a frame to the bus, behind those handed over before.
    fn send(&mut self, frame: Frame);
    /// Lets time pass until the next frame has passed, or until `until`.
    fn next(&mut self, until: BusInstant) -> Option<Passed>;
    /// Messages that the ECU's application got since the last call, or `None` if the arm cannot see them.
    fn delivered(&mut self) -> Option<Vec<Vec<u8>>>;
    /// Transfers that the ECU's transport gave up since the last call, or `None` if the arm cannot see them.
    fn reported(&mut self) -> Option<Vec<(Direction, NResult)>>;
}

/// An answer of counted bytes, so that a lost or doubled frame shows.
pub fn counting(len: usize) -> Vec<u8> {
    (0..len)
        .map(|i| u8::try_from(i % 251).expect("below 251"))
        .collect()
}

/// Plays a case.
///
/// # Errors
/// The step that does not hold, with case, source and all frames up to it.
pub fn play(case: &Case, arm: &mut dyn Arm) -> Result<(), String> {
    let mut player = Player {
        case,
        arm,
        seen: VecDeque::new(),
        reference: BusInstant::ZERO,
        transcript: String::new(),
    };
    let result = player
        .play(case.steps)
        .and_then(|()| player.silence(Duration::from_millis(1)));
    result.map_err(|problem| {
        let Case {
            number, rule, source, ..
        } = case;
        format!(
            "case {number}: {rule} [{source}]\n{}  {problem}",
            player.transcript
        )
    })
}

struct Player<'a> {
    case: &'a Case,
    arm: &'a mut dyn Arm,
    /// Frames of the ECU that no step has claimed.
    seen: VecDeque<Passed>,
    /// End of the frame before, or of the wait: what the next limit counts from.
    reference: BusInstant,
    transcript: String,
}

impl Player<'_> {
    fn play(&mut self, steps: &[Step]) -> Result<(), String> {
        steps.iter().try_for_each(|step| self.step(step))
    }

    fn step(&mut self, step: &Step) -> Result<(), String> {
        match *step {
            Step::Send(text) => self.send(text, 1),
            Step::Burst { count, frame } => self.send(frame, count),
            Step::Expect { frame, within_ms } => {
                let found = self.take(Duration::from_millis(within_ms), frame)?;
                if notation::matches(frame, &found.frame) {
                    Ok(())
                } else {
                    Err(format!("expected {frame}, found {}", found.frame))
                }
            }
            Step::Consecutive {
                from,
                count,
                gap_us,
                within_ms,
            } => (from..from + count).try_for_each(|index| {
                let gap = (index > from).then_some(Duration::from_micros(gap_us));
                self.consecutive(index, gap, Duration::from_millis(within_ms))
            }),
            Step::Drain {
                frame,
                at_least,
                at_most,
                ms,
            } => {
                self.wait(Duration::from_millis(ms));
                let count = self.seen.len();
                if let Some(other) = self
                    .seen
                    .iter()
                    .find(|seen| !notation::matches(frame, &seen.frame))
                {
                    return Err(format!("expected only {frame}, found {}", other.frame));
                }
                self.seen.clear();
                if (at_least..=at_most).contains(&count) {
                    Ok(())
                } else {
                    Err(format!(
                        "expected {at_least} to {at_most} of {frame}, found {count}"
                    ))
                }
            }
            Step::Silence(ms) => self.silence(Duration::from_millis(ms)),
            Step::Repeat(times, steps) => (0..times).try_for_each(|_| self.play(steps)),
            Step::Delivered(expected) => match self.arm.delivered() {
                Some(found)
                    if found
                        != expected
                            .iter()
                            .map(|text| notation::bytes(text))
                            .collect::<Vec<_>>() =>
                {
                    Err(format!("expected {expected:?} delivered, found {found:02X?}"))
                }
                _ => Ok(()),
            },
            Step::Reported(expected) => match self.arm.reported() {
                Some(found) if found != expected => {
                    Err(format!("expected {expected:?} reported, found {found:?}"))
                }
                _ => Ok(()),
            },
        }
    }

    fn send(&mut self, text: &str, count: usize) -> Result<(), String> {
        for _ in 0..count {
            self.arm.send(notation::frame(text));
        }
        let mut passed = 0;
        let limit = self.arm.now() + Duration::from_secs(1);
        while passed < count {
            match self.next(limit) {
                Some(frame) if frame.own => passed += 1,
                Some(_) => {}
                None => return Err(format!("{text} never passed on the bus")),
            }
        }
        self.reference = self.arm.now();
        Ok(())
    }

    fn next(&mut self, until: BusInstant) -> Option<Passed> {
        let passed = self.arm.next(until)?;
        let who = if passed.own { "tester" } else { "   ECU" };
        let _ = writeln!(self.transcript, "  {} {who} {}", passed.at, passed.frame);
        if !passed.own {
            self.seen.push_back(passed);
        }
        Some(passed)
    }

    /// The next frame of the ECU, at the latest `within` after the frame before.
    fn take(&mut self, within: Duration, what: &str) -> Result<Passed, String> {
        let limit = self.reference + within;
        while self.seen.is_empty() && self.next(limit).is_some() {}
        let found = self.seen.pop_front().filter(|found| found.at <= limit);
        let found = found.ok_or_else(|| format!("expected {what} by {limit}, found nothing"))?;
        self.reference = self.reference.max(found.at);
        Ok(found)
    }

    /// Consecutive frame number `index` (from 1) of the counting answer, or of any if the case has none.
    fn consecutive(&mut self, index: usize, gap: Option<Duration>, within: Duration) -> Result<(), String> {
        let before = self.reference;
        let Passed { at, frame, .. } = self.take(within, &format!("consecutive frame {index}"))?;
        let mut expected = vec![0x20 | u8::try_from(index % 16).expect("below 16")];
        let wrong = |expected: &[u8]| {
            Err(format!(
                "expected consecutive frame {expected:02X?}, found {frame}"
            ))
        };
        if frame.id() != CanId::Standard(0x7E8) || frame.len() != 8 || frame.data()[0] != expected[0] {
            return wrong(&expected);
        }
        if let Some(len) = self.case.setup.counting_answer {
            expected.extend(counting(len).iter().skip(6 + 7 * (index - 1)).take(7));
            expected.resize(8, 0);
            if frame.data() != expected {
                return wrong(&expected);
            }
        }
        let start = at - timing::frame_time(&frame, BitRate::Kbit500);
        match gap {
            Some(gap) if start.saturating_since(before) < gap => Err(format!(
                "consecutive frame {index} starts {:?} after the end of the one before, expected {gap:?}",
                start.saturating_since(before)
            )),
            _ => Ok(()),
        }
    }

    fn wait(&mut self, span: Duration) {
        let until = self.arm.now() + span;
        while self.next(until).is_some() {}
        self.reference = self.arm.now();
    }

    fn silence(&mut self, span: Duration) -> Result<(), String> {
        self.wait(span);
        match self.seen.front() {
            Some(found) => Err(format!("expected silence for {span:?}, found {}", found.frame)),
            None => Ok(()),
        }
    }
}
