//! By which rule each disturbance is judged.

use alloc::boxed::Box;

use super::{Observe, debts::Debts, goes_on::GoesOn};

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
];

/// The rule for a disturbance of this name.
pub(super) fn of(name: &str) -> Option<&'static Rule> {
    RULES.iter().find(|rule| rule.name == name)
}

/// The disturbances that there are rules for.
pub fn names() -> impl Iterator<Item = &'static str> {
    RULES.iter().map(|rule| rule.name)
}
