//! Judging an expectation against the car as it is.

use twotrip_obd::Dtc;
use twotrip_scenario::phrase::{CodeList, Expectation};

use crate::{Car, Outcome};

/// Whether the expectation holds, and what was found.
pub(crate) fn judge(car: &Car, expectation: &Expectation) -> Outcome {
    let memory = car.ecu.memory();
    let (met, found) = match *expectation {
        Expectation::Mil { commanded } => {
            let is = memory.mil_commanded();
            (
                is == commanded,
                format!("the lamp is {}commanded on", if is { "" } else { "not " }),
            )
        }
        Expectation::Lamp { lit } => {
            let is = car.lamp_lit();
            (
                is == lit,
                format!("the lamp is {}", if is { "lit" } else { "dark" }),
            )
        }
        Expectation::Code(list, dtc) => {
            let codes = codes(car, list);
            (codes.contains(&dtc), say(list, &codes))
        }
        Expectation::NoCode(list) => {
            let codes = codes(car, list);
            (codes.is_empty(), say(list, &codes))
        }
        Expectation::Readiness { group, complete } => {
            let readiness = memory.readiness_since_clear();
            let is = readiness.is_complete(group);
            let state = match (readiness.is_supported(group), is) {
                (false, _) => "not fitted in this car",
                (true, true) => "complete",
                (true, false) => "not complete",
            };
            (is == complete, format!("{} is {state}", group.name()))
        }
    };
    if met {
        Outcome::done(format!("as expected: {found}"))
    } else {
        Outcome::refused(format!("not as expected: {found}"))
    }
}

fn codes(car: &Car, list: CodeList) -> Vec<Dtc> {
    let memory = car.ecu.memory();
    match list {
        CodeList::Confirmed => memory.confirmed().collect(),
        CodeList::Pending => memory.pending().collect(),
        CodeList::Permanent => memory.permanent().collect(),
    }
}

fn say(list: CodeList, codes: &[Dtc]) -> String {
    let name = match list {
        CodeList::Confirmed => "confirmed",
        CodeList::Pending => "pending",
        CodeList::Permanent => "permanent",
    };
    if codes.is_empty() {
        return format!("no {name} code");
    }
    let names: Vec<String> = codes.iter().map(|dtc| format!("{dtc}")).collect();
    format!("{name} {}", names.join(" "))
}
