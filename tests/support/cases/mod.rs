//! The conformance cases as data. A case names its rule and where the rule comes from: ISO 15765-2 and ISO 15765-4 as
//! public summaries state them; "kernel" is the Linux `isotp` module, measured; "from memory" is not confirmed.

mod reception;
mod transmission;

use twotrip_isotp::{Config, Direction, Dlc, Duplex, FlowParameters, NResult, Profile, Timers};

/// Identifier size of the ECU.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Identifiers {
    /// 7DF, 7E0.., 7E8..
    Standard,
    /// 18DB33F1, 18DA10F1.., 18DAF110..
    Extended,
}

/// The ECU that a case needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setup {
    /// Identifier size.
    pub identifiers: Identifiers,
    /// How many ECUs, from 7E0 on.
    pub ecus: u8,
    /// Timeouts, padding, frame lengths.
    pub profile: Profile,
    /// Longest message taken, bytes.
    pub receive_limit: usize,
    /// Its own block size.
    pub block_size: u8,
    /// Both directions at once or not.
    pub duplex: Duplex,
    /// Which flow control counts.
    pub flow_parameters: FlowParameters,
    /// Length of the answer that [`Step::Ask`] asks for; `None` is the vehicle identification number.
    pub answer: Option<usize>,
}

impl Setup {
    /// The ECU as ISO 15765-4 wants it.
    pub const OBD: Self = Self {
        identifiers: Identifiers::Standard,
        ecus: 1,
        profile: Profile::OBD,
        receive_limit: Config::LONGEST,
        block_size: 0,
        duplex: Duplex::Full,
        flow_parameters: FlowParameters::Dynamic,
        answer: None,
    };
    /// One that takes short frames too.
    pub const LENIENT: Self = Self {
        profile: Profile {
            dlc: Dlc::Lenient,
            ..Profile::OBD
        },
        ..Self::OBD
    };
    /// One with the timeouts of ISO 15765-2.
    pub const GENERIC: Self = Self {
        profile: Profile {
            timers: Timers::GENERIC,
            ..Profile::OBD
        },
        ..Self::OBD
    };

    /// As [`Self::OBD`], with an answer of `len` bytes.
    #[must_use]
    pub const fn answering(len: usize) -> Self {
        Self {
            answer: Some(len),
            ..Self::OBD
        }
    }
}

/// One thing that happens in a case.
#[derive(Clone, Copy, Debug)]
pub enum Step {
    /// The tester sends a frame (`notation`); the step ends when it has passed.
    Send(&'static str),
    /// The tester asks for what [`Setup::answer`] says.
    Ask,
    /// The tester sends a frame many times in a row.
    Burst {
        /// How many times.
        count: usize,
        /// The frame.
        frame: &'static str,
    },
    /// The ECU's next frame matches, at the latest so long after the frame or wait before.
    Expect {
        /// The pattern.
        frame: &'static str,
        /// The limit, milliseconds.
        within_ms: u64,
    },
    /// The first frame or the single frame of what was asked for comes, within 50 ms.
    Begins,
    /// Consecutive frames number `from` to `from + count - 1` come, each within the limit, with at least the gap between
    /// the end of one and the start of the next.
    Consecutive {
        /// Number of the first, from 1.
        from: usize,
        /// How many.
        count: usize,
        /// The gap, microseconds.
        gap_us: u64,
        /// The limit, milliseconds.
        within_ms: u64,
    },
    /// So long only frames of this pattern come, so many of them.
    Drain {
        /// The pattern.
        frame: &'static str,
        /// How many at the least.
        at_least: usize,
        /// How many at the most.
        at_most: usize,
        /// For how long, milliseconds.
        ms: u64,
    },
    /// The ECU sends nothing for so many milliseconds.
    Silence(u64),
    /// For so many milliseconds the bus takes no frame of the ECU.
    QueueFull(u64),
    /// The interface goes up or down.
    Link(bool),
    /// Steps over and over.
    Repeat(usize, &'static [Self]),
    /// The ECU's application has got just these messages since the last look (in hex).
    Delivered(&'static [&'static str]),
    /// The ECU's transport has given up just these transfers since the last look.
    Reported(&'static [(Direction, NResult)]),
}

/// One case.
#[derive(Clone, Copy, Debug)]
pub struct Case {
    /// Its number in the project's list of transport cases.
    pub number: u8,
    /// What it shows.
    pub rule: &'static str,
    /// Where the rule comes from.
    pub source: &'static str,
    /// The ECU it needs.
    pub setup: Setup,
    /// What happens.
    pub steps: &'static [Step],
}

impl Case {
    /// The ECU for a bus of the kernel, where neither side is always on time: it waits as long as ISO 15765-2 allows, unless
    /// how long it waits is what the case is about.
    #[must_use]
    pub fn live_setup(&self) -> Setup {
        let is_about_time = self.steps.iter().any(|step| {
            matches!(step, Step::Reported(found) if found.iter().any(|(_, result)| {
                matches!(result, NResult::TimeoutBs | NResult::TimeoutCr)
            }))
        });
        if is_about_time {
            return self.setup;
        }
        Setup {
            profile: Profile {
                timers: Timers::GENERIC,
                ..self.setup.profile
            },
            ..self.setup
        }
    }

    /// Whether its ECU is one that the program is, given its options.
    #[must_use]
    pub fn is_for_the_program(&self) -> bool {
        let like_obd = Setup {
            identifiers: self.setup.identifiers,
            profile: self.setup.profile,
            answer: self.setup.answer,
            ..Setup::OBD
        };
        self.setup == like_obd && self.setup.answer.is_none_or(|len| CAR_ANSWERS.contains(&len))
    }

    /// Why a bus of the kernel cannot show it, if so.
    #[must_use]
    pub fn only_in_memory(&self) -> Option<&'static str> {
        match self.number {
            16 | 45 if self.setup.profile.timers == Timers::OBD => {
                Some("asks the tester to be on time by 10 or 25 ms; the same without a profile leaves more")
            }
            59 => Some("a virtual interface refuses no frame; with a traffic shaper it does: tests/guest"),
            61 => Some("a virtual interface has no arbitration"),
            _ => None,
        }
    }
}

/// Lengths of answers that a car gives without its values mattering, bytes; what asks for them is the arm's to know.
pub const CAR_ANSWERS: [usize; 5] = [7, 8, 13, 19, 43];

/// All cases.
pub fn all() -> impl Iterator<Item = &'static Case> {
    reception::CASES.iter().chain(transmission::CASES)
}

// Shorthands of the tables.

const fn expect(frame: &'static str, within_ms: u64) -> Step {
    Step::Expect { frame, within_ms }
}

/// Consecutive frames back to back.
const fn consecutive(from: usize, count: usize) -> Step {
    spaced(from, count, 0)
}

/// Consecutive frames with a gap of at least `gap_us`, and not much more (N_Cs + N_As below 50 ms beyond it).
const fn spaced(from: usize, count: usize, gap_us: u64) -> Step {
    Step::Consecutive {
        from,
        count,
        gap_us,
        within_ms: gap_us / 1000 + 50,
    }
}

const fn receive(result: NResult) -> (Direction, NResult) {
    (Direction::Receive, result)
}

const fn transmit(result: NResult) -> (Direction, NResult) {
    (Direction::Transmit, result)
}
