//! By which rule each disturbance is judged.

use alloc::boxed::Box;

use super::{
    Observe,
    beside::Beside,
    busy::Repeats,
    debts::Debts,
    goes_on::GoesOn,
    moves_on::MovesOn,
    once_more::{ReadsAgain, TakesRefusal},
    pending::Waits,
    steered::Steered,
};

/// A rule.
pub(super) struct Rule {
    /// The disturbance.
    name: &'static str,
    /// Watches for it.
    pub(super) observer: fn() -> Box<dyn Observe>,
    /// Where it stands.
    pub(super) source: &'static str,
}

/// To ask again is not written where it could be cited; that there is no answer to wait for any more is.
const AFTER_P2: &str =
    "no answer comes after P2 (ISO 15765-4, from memory); to ask again is common practice, no source";

const fn asks_again(name: &'static str, source: &'static str) -> Rule {
    Rule {
        name,
        observer: || Box::<Debts>::default(),
        source,
    }
}

const fn goes_on(name: &'static str, source: &'static str) -> Rule {
    Rule {
        name,
        observer: || Box::<GoesOn>::default(),
        source,
    }
}

/// After an ECU has asked for time.
const PENDING: &str =
    "after 7F xx 78 an answer is waited for 5 s (P2*: ISO 15765-3, ISO 14229-1, from public summaries)";
const WRONG_SN: &str = "a wrong sequence number ends a message (ISO 15765-2:2016 9.6.4.4, from public summaries); to ask again is \
                        common practice, no source";
const N_CR: &str = "a message whose next frame does not come in 150 ms is given up (N_Cr, ISO 15765-4, from public summaries); to \
                    ask again is common practice, no source";
const SHAPE: &str =
    "an answer that is not as it should be is no better the tenth time (common practice, no source)";

const fn moves_on(name: &'static str, source: &'static str) -> Rule {
    Rule {
        name,
        observer: || Box::<MovesOn>::default(),
        source,
    }
}

const fn steered(name: &'static str) -> Rule {
    Rule {
        name,
        observer: || Box::<Steered>::default(),
        source: "a sender does what flow control says (ISO 15765-2:2016 9.6.5, from public summaries)",
    }
}

static RULES: &[Rule] = &[
    asks_again("drop", AFTER_P2),
    asks_again("delay", AFTER_P2),
    asks_again("jitter", AFTER_P2),
    asks_again(
        "duplicate",
        "a wrong sequence number ends a message (ISO 15765-2, N_WRONG_SN); to ask again is common practice, no source",
    ),
    asks_again("reorder", AFTER_P2),
    asks_again(
        "bus-error",
        "controllers repeat by themselves (ISO 11898-1, from memory); what is lost by a bus-off has to be asked again, common \
         practice, no source",
    ),
    goes_on(
        "error-passive",
        "an error-passive node takes part (ISO 11898-1, from memory)",
    ),
    asks_again("bus-off", AFTER_P2),
    goes_on(
        "background-load",
        "diagnostics share the bus (ISO 15765-4, from memory)",
    ),
    asks_again("interface-down", AFTER_P2),
    asks_again("late-answer", AFTER_P2),
    Rule {
        name: "response-pending",
        observer: || Box::<Waits>::default(),
        source: PENDING,
    },
    Rule {
        name: "pending-forever",
        observer: || Box::new(Waits::in_vain()),
        source: PENDING,
    },
    Rule {
        name: "busy",
        observer: || Box::<Repeats>::default(),
        source: "after 7F xx 21 the request is repeated after 200 ms, up to six times (SAE J1979, ISO 15765-4, from memory)",
    },
    Rule {
        name: "refuse-clear",
        observer: || Box::<TakesRefusal>::default(),
        source: "7F 04 22 asks for other conditions (SAE J1979 service $04); not to repeat it at once is common practice, no source",
    },
    asks_again("silent", AFTER_P2),
    moves_on("silent-refusal", AFTER_P2),
    moves_on(
        "refusal-for-silence",
        "a refusal is an answer (ISO 14229-1, from memory)",
    ),
    moves_on("padding", "padding is not looked at (ISO 15765-2, from memory)"),
    moves_on(
        "short-frames",
        "a frame of fewer than eight bytes is none of ISO 15765-4 (from memory)",
    ),
    asks_again(
        "other-identifier",
        "answers come by 7E8 to 7EF, 18DAF1xx (ISO 15765-4, from memory)",
    ),
    moves_on("truncated", SHAPE),
    moves_on("over-long", SHAPE),
    asks_again("wrong-length", N_CR),
    asks_again("wrong-sequence", WRONG_SN),
    asks_again("missing-frame", WRONG_SN),
    asks_again("repeated-frame", WRONG_SN),
    asks_again("deaf-to-flow-control", N_CR),
    moves_on(
        "impatient",
        "flow control (ISO 15765-2:2016 9.6.5, from public summaries)",
    ),
    steered("flow-wait"),
    steered("flow-overflow"),
    steered("no-flow-control"),
    steered("reserved-st-min"),
    Rule {
        name: "code-left-out",
        observer: || Box::<ReadsAgain>::default(),
        source: "PID $01 tells the number of codes (SAE J1979); to read again where they differ is common practice, no source",
    },
    moves_on("vin-missing", SHAPE),
    moves_on("vin-short", SHAPE),
    moves_on("vin-garbled", SHAPE),
    moves_on("mask-lies", AFTER_P2),
    asks_again("reset", N_CR),
    asks_again("sleep", AFTER_P2),
    Rule {
        name: "second-tester",
        observer: || Box::<Beside>::default(),
        source: "answers echo the parameter (SAE J1979)",
    },
];

/// The rule for a disturbance of this name.
pub(super) fn of(name: &str) -> Option<&'static Rule> {
    RULES.iter().find(|rule| rule.name == name)
}

/// The disturbances that there are rules for.
pub fn names() -> impl Iterator<Item = &'static str> {
    RULES.iter().map(|rule| rule.name)
}
