//! The body that plays a case on an arm. An arm is a bus with the ECU under test on it: in memory or of the kernel, the
//! ECU a small one or the program. The body knows only frames and instants, and looks inside the ECU only where the arm
//! can.

use std::{collections::VecDeque, fmt::Write, time::Duration};

use twotrip_can::{CanId, Frame};
use twotrip_isotp::{Direction, NResult};
use twotrip_units::BusInstant;

use crate::{
    cases::{Case, Step},
    notation,
};

/// A frame that has passed on the arm's bus.
#[derive(Clone, Copy, Debug)]
pub struct Passed {
    /// Sent by the body.
    pub own: bool,
    /// Start of the frame; on a bus without a bit rate the same as its end.
    pub starts: BusInstant,
    /// End of the frame.
    pub at: BusInstant,
    /// The frame.
    pub frame: Frame,
}

/// The request that has the answer a case is about.
#[derive(Clone, Debug)]
pub struct Question {
    /// The frame of the request.
    pub frame: Frame,
    /// The whole message that answers it.
    pub answer: Vec<u8>,
}

/// A bus with the ECU under test.
pub trait Arm {
    /// The present.
    fn now(&self) -> BusInstant;
    /// What upper limits of time are widened by, where the machine and not the ECU sets them.
    fn slack(&self) -> Duration {
        Duration::ZERO
    }
    /// The request that has the case's answer.
    fn question(&mut self) -> Question;
    /// Hands a frame to the bus, behind those handed over before.
    fn send(&mut self, frame: Frame);
    /// Lets time pass until the next frame has passed, or until `until`.
    fn next(&mut self, until: BusInstant) -> Option<Passed>;
    /// From now on the bus takes no frame of the ECU for so long.
    fn fill_queue(&mut self, span: Duration);
    /// Takes the interface down or up.
    fn set_link(&mut self, up: bool);
    /// Messages that the ECU's application got since the last call, or `None` if the arm cannot see them.
    fn delivered(&mut self) -> Option<Vec<Vec<u8>>>;
    /// Transfers that the ECU's transport gave up since the last call, or `None` if the arm cannot see them.
    fn reported(&mut self) -> Option<Vec<(Direction, NResult)>>;
}

/// Plays a case.
///
/// # Errors
/// The step that does not hold, with case, source and all frames up to it.
pub fn play(case: &Case, arm: &mut dyn Arm) -> Result<(), String> {
    let mut player = Player {
        arm,
        answer: Vec::new(),
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
    arm: &'a mut dyn Arm,
    /// What was asked for last, whole.
    answer: Vec<u8>,
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
            Step::Send(text) => self.send(notation::frame(text), 1),
            Step::Burst { count, frame } => self.send(notation::frame(frame), count),
            Step::Ask => {
                let Question { frame, answer } = self.arm.question();
                self.answer = answer;
                self.send(frame, 1)
            }
            Step::Begins => self.begins(),
            Step::QueueFull(ms) => {
                self.arm.fill_queue(Duration::from_millis(ms));
                Ok(())
            }
            Step::Link(up) => {
                self.arm.set_link(up);
                // What passed while it fell is neither side's.
                while self.next(self.arm.now()).is_some() {}
                self.seen.clear();
                self.reference = self.arm.now();
                Ok(())
            }
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
                self.wait(Duration::from_millis(ms) + self.arm.slack());
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

    fn send(&mut self, frame: Frame, count: usize) -> Result<(), String> {
        for _ in 0..count {
            self.arm.send(frame);
        }
        let mut passed = 0;
        let limit = self.arm.now() + Duration::from_secs(1);
        while passed < count {
            match self.next(limit) {
                Some(frame) if frame.own => passed += 1,
                Some(_) => {}
                None => return Err(format!("{frame} never passed on the bus")),
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
        let limit = self.reference + within + self.arm.slack();
        while self.seen.is_empty() && self.next(limit).is_some() {}
        let found = self.seen.pop_front().filter(|found| found.at <= limit);
        let found = found.ok_or_else(|| format!("expected {what} by {limit}, found nothing"))?;
        self.reference = self.reference.max(found.at);
        Ok(found)
    }

    /// The first frame or the single frame of what was asked for, whole.
    fn begins(&mut self) -> Result<(), String> {
        let Passed { frame, .. } = self.take(Duration::from_millis(50), "the start of the answer")?;
        let len = self.answer.len();
        let mut expected = match (u8::try_from(len), len.to_be_bytes()) {
            (Ok(len @ ..=7), _) => vec![len],
            (_, [.., high, low]) => vec![0x10 | high, low],
        };
        expected.extend(self.answer.iter().take(8 - expected.len()));
        expected.resize(8, 0);
        if frame.id() == CanId::Standard(0x7E8) && frame.data() == expected {
            Ok(())
        } else {
            Err(format!("expected {expected:02X?} on 7E8, found {frame}"))
        }
    }

    /// Consecutive frame number `index` (from 1) of what was asked for.
    fn consecutive(&mut self, index: usize, gap: Option<Duration>, within: Duration) -> Result<(), String> {
        let before = self.reference;
        let Passed { starts, frame, .. } = self.take(within, &format!("consecutive frame {index}"))?;
        let mut expected = vec![0x20 | u8::try_from(index % 16).expect("below 16")];
        expected.extend(self.answer.iter().skip(6 + 7 * (index - 1)).take(7));
        expected.resize(8, 0);
        if frame.id() != CanId::Standard(0x7E8) || frame.data() != expected {
            return Err(format!(
                "expected consecutive frame {expected:02X?}, found {frame}"
            ));
        }
        let passed = starts.saturating_since(before);
        match gap {
            Some(gap) if passed < gap => Err(format!(
                "consecutive frame {index} starts {passed:?} after the end of the one before, expected {gap:?}",
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
