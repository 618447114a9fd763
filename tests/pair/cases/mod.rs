//! The conformance cases as data. A case names its rule and where the rule comes from: ISO 15765-2 and ISO 15765-4 as
//! public summaries state them; "kernel" is the Linux `isotp` module, measured; "from memory" is not confirmed.

mod reception;
mod transmission;

use twotrip_isotp::{Config, Direction, Dlc, Duplex, FlowParameters, NResult, Timers};

/// Identifier size of the ECU.
#[derive(Clone, Copy, Debug)]
pub enum Identifiers {
    /// 7DF, 7E0.., 7E8..
    Standard,
    /// 18DB33F1, 18DA10F1.., 18DAF110..
    Extended,
}

/// The ECU that a case needs. An arm whose ECU cannot be so skips the case and says so.
#[derive(Clone, Copy, Debug)]
pub struct Setup {
    pub identifiers: Identifiers,
    pub ecus: u8,
    pub timers: Timers,
    pub dlc: Dlc,
    pub receive_limit: usize,
    pub block_size: u8,
    pub duplex: Duplex,
    pub flow_parameters: FlowParameters,
    /// Every request is answered with this many counted bytes (`run::counting`), instead of 01 00 and 09 02 only.
    pub counting_answer: Option<usize>,
}

impl Setup {
    /// The ECU as ISO 15765-4 wants it.
    pub const OBD: Self = Self {
        identifiers: Identifiers::Standard,
        ecus: 1,
        timers: Timers::OBD,
        dlc: Dlc::Strict,
        receive_limit: Config::LONGEST,
        block_size: 0,
        duplex: Duplex::Full,
        flow_parameters: FlowParameters::Dynamic,
        counting_answer: None,
    };
    pub const LENIENT: Self = Self {
        dlc: Dlc::Lenient,
        ..Self::OBD
    };

    /// As [`Self::OBD`], with answers of `len` counted bytes.
    pub const fn answering(len: usize) -> Self {
        Self {
            counting_answer: Some(len),
            ..Self::OBD
        }
    }
}

/// One thing that happens in a case.
#[derive(Clone, Copy, Debug)]
pub enum Step {
    /// The tester sends a frame (`notation`); the step ends when it has passed.
    Send(&'static str),
    /// The tester sends a frame many times in a row.
    Burst { count: usize, frame: &'static str },
    /// The ECU's next frame matches, at the latest so long after the frame or wait before.
    Expect { frame: &'static str, within_ms: u64 },
    /// Consecutive frames number `from` to `from + count - 1` come, each within the limit, with at least the gap between
    /// the end of one and the start of the next.
    Consecutive {
        from: usize,
        count: usize,
        gap_us: u64,
        within_ms: u64,
    },
    /// So long only frames of this pattern come, so many of them.
    Drain {
        frame: &'static str,
        at_least: usize,
        at_most: usize,
        ms: u64,
    },
    /// The ECU sends nothing for so many milliseconds.
    Silence(u64),
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
    pub rule: &'static str,
    pub source: &'static str,
    pub setup: Setup,
    pub steps: &'static [Step],
}

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
