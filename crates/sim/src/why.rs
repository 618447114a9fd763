//! `why` and `why not`: what the ECU holds of a code.

use twotrip_obd::Dtc;

use crate::{Car, Outcome};

/// What is stored of a code, in words; `asked_stored` is whether the question took it for stored.
pub(crate) fn answer(car: &Car, dtc: Dtc, asked_stored: bool) -> Outcome {
    let memory = car.ecu.memory();
    let Some(status) = memory.status(dtc) else {
        return Outcome::refused(format!("this ECU has no monitor for {dtc}, and does not hold it"));
    };
    let mut states = Vec::new();
    for (is, name) in [
        (status.confirmed, "confirmed"),
        (status.pending, "pending"),
        (status.permanent, "permanent"),
    ] {
        if is {
            states.push(name);
        }
    }
    let stored = !states.is_empty();
    let text = if stored {
        format!("{dtc} is {}", states.join(", "))
    } else {
        format!("{dtc} is not stored")
    };
    if stored == asked_stored {
        Outcome::done(text)
    } else {
        Outcome::refused(text)
    }
}
