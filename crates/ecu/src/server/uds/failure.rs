//! How each code failed, and how bad that is: failure type byte (SAE J2012-DA, from memory) and severity byte (ISO 14229-1,
//! annex D.3, from memory). Makers choose both; this one goes by what the catalogue says of a code.

use twotrip_obd::uds::{FailureType, Severity};

use crate::memory::{CodeDefinition, CodeDetail, Logic};

/// Words of the catalogue, and the failure type of a code that is described by them; the first that is found counts.
const BY_WORDS: &[(&str, u8)] = &[
    ("circuit open", 0x13),
    // Voltage at the pin of a sensor, whatever pulls it there.
    ("circuit low", 0x16),
    ("circuit high", 0x17),
    ("system voltage: low", 0x16),
    ("system voltage: high", 0x17),
    ("circuit", 0x01),
    ("lost communication", 0x87),
    ("no signal", 0x31),
    ("no activity", 0x2A),
    ("slow response", 0x26),
    ("stuck lean", 0x23),
    ("stuck rich", 0x24),
    ("valve range or performance", 0x92),
    ("range or performance", 0x64),
    ("do not agree", 0x62),
    ("do not fit", 0x64),
    ("too far", 0x77),
    ("leak", 0x7A),
    ("purge flow", 0x92),
    ("vent control", 0x92),
    ("flow insufficient", 0x92),
    ("flow excessive", 0x92),
    ("flow while not purging", 0x94),
    ("efficiency", 0x92),
    ("checksum", 0x41),
    ("keep-alive memory", 0x42),
    ("RAM", 0x44),
    ("ROM", 0x45),
    ("processor", 0x49),
    // Of the transmission ECU: valves that do not move, and what the gearbox does.
    ("implausible", 0x64),
    ("stuck o", 0x71),
    ("wrong ratio", 0x92),
    ("wrong gear ratio", 0x92),
];

/// How a code failed; of one without a definition nothing is said.
pub(super) fn failure_type(definition: Option<&CodeDefinition>) -> FailureType {
    definition.map_or(FailureType::NONE, |definition| {
        let found = BY_WORDS.iter().find(|(words, _)| definition.text.contains(words));
        found.map_or(FailureType::NONE, |&(_, number)| FailureType::new(number))
    })
}

/// How bad it is: misfire may ruin the catalyst; what lights the lamp wants to be looked at; the rest can wait.
pub(super) fn severity(code: &CodeDetail) -> Severity {
    let definition = code.definition;
    let grade = match definition.map(|definition| definition.logic) {
        Some(Logic::Misfire) => Severity::AT_ONCE,
        _ if definition.is_none_or(|definition| definition.commands_mil) => Severity::NEXT_HALT,
        _ => Severity::MAINTENANCE,
    };
    grade.and(Severity::NO_CLASS)
}

#[cfg(test)]
mod tests {
    use twotrip_obd::Dtc;

    use super::*;
    use crate::{monitors::CATALOGUE, transmission};

    /// Failure types by the words of the catalogue (from memory).
    #[test]
    fn codes_have_failure_types_by_what_they_say() {
        for (code, number) in [
            (0x0113, 0x17),
            (0x0117, 0x16),
            (0x0444, 0x13),
            (0x0420, 0x92),
            (0x0455, 0x7A),
            (0x0101, 0x64),
            (0x2135, 0x62),
            (0x0133, 0x26),
            (0x0351, 0x01),
            (0x0601, 0x41),
            // Nothing that the code does not say by itself.
            (0x0171, 0x00),
            (0x0301, 0x00),
            (0x0506, 0x00),
        ] {
            let definition = CATALOGUE.code(Dtc::p(code));
            assert!(definition.is_some(), "P{code:04X}");
            assert_eq!(failure_type(definition).number(), number, "P{code:04X}");
        }
        for (code, number) in [
            (0x0711, 0x64),
            (0x0712, 0x16),
            (0x0717, 0x31),
            (0x0730, 0x92),
            (0x0731, 0x92),
            (0x0741, 0x71),
            (0x0752, 0x71),
            (0x0753, 0x01),
        ] {
            let definition = transmission::CATALOGUE.code(Dtc::p(code));
            assert!(definition.is_some(), "P{code:04X}");
            assert_eq!(failure_type(definition).number(), number, "P{code:04X}");
        }
        let all = CATALOGUE.codes.iter().chain(transmission::CATALOGUE.codes);
        for definition in all {
            let failure = failure_type(Some(definition));
            assert!(failure.name().is_some(), "{}: {failure}", definition.dtc);
        }
    }
}
