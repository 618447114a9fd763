//! What the answers of a survey mean, by the rules of SAE J1979.

use std::collections::{BTreeMap, BTreeSet};

use twotrip_obd::{
    Dtc, Information, Readiness, Record, Records, Response, ResponseError, Service, code_text,
    mask::is_mask,
    pid::{Field, Value},
};
use twotrip_tester::{EcuNumber, Finding as Heard, Survey, Target, Topic};

use super::finding::{Code, Finding, Reading, Test};

/// Everything that a survey heard about one topic, ECU by ECU.
pub(super) fn findings(survey: &Survey, topic: Topic) -> Vec<Finding> {
    survey.ecus().flat_map(|ecu| of_ecu(survey, topic, ecu)).collect()
}

/// What the ECUs have announced and then not told: whole questions, and parameters left out of an answer to several.
pub(super) fn unanswered(survey: &Survey) -> Vec<Finding> {
    let mut missing: BTreeMap<(EcuNumber, u8), BTreeSet<u8>> = BTreeMap::new();
    for question in survey.unanswered() {
        let Target::Ecu(ecu) = question.target else {
            continue;
        };
        let (service, numbers) = asked_for(question.request());
        missing.entry((ecu, service)).or_default().extend(numbers);
    }
    for heard in survey.findings() {
        let (service, numbers) = asked_for(&heard.request);
        let Ok(Response::CurrentData(records)) = Response::parse(&heard.answer) else {
            continue;
        };
        // What cannot be read to its end is shown as such.
        let Ok(told) = records
            .map(|record| record.map(|record| record.pid.number()))
            .collect::<Result<BTreeSet<u8>, _>>()
        else {
            continue;
        };
        let left_out = numbers.iter().filter(|number| !told.contains(number));
        for &number in left_out {
            missing.entry((heard.ecu, service)).or_default().insert(number);
        }
    }
    let number = |number: &u8| format!("${number:02X}");
    missing
        .iter()
        .map(|((ecu, service), numbers)| Finding::Unanswered {
            ecu: ecu.to_string(),
            service: number(service),
            parameters: numbers.iter().map(number).collect(),
            unknown_from: numbers
                .iter()
                .find(|&&number| is_mask(number))
                .map(|mask| number(&mask.saturating_add(1))),
        })
        .chain(
            survey
                .given_up()
                .map(|ecu| Finding::GivenUp { ecu: ecu.to_string() }),
        )
        .chain(has_no_vin(survey).then_some(Finding::NoVin))
        .collect()
}

/// Whether vehicle information was asked for, and no ECU says that it tells the number.
fn has_no_vin(survey: &Survey) -> bool {
    let supports_vin = |ecu| {
        let support = survey.support(ecu, Service::VehicleInformation);
        support.contains(0x02)
    };
    let mut findings = survey.findings().iter();
    findings.any(|heard| heard.topic == Topic::Vehicle) && !survey.ecus().any(supports_vin)
}

/// Service and parameters of a request; the last byte of service $02 is the frame's number.
fn asked_for(request: &[u8]) -> (u8, &[u8]) {
    match *request {
        [0x02, ref numbers @ .., _] => (0x02, numbers),
        [service, ref numbers @ ..] => (service, numbers),
        [] => (0, &[]),
    }
}

fn of_ecu(survey: &Survey, topic: Topic, ecu: EcuNumber) -> Vec<Finding> {
    let heard: Vec<&Heard> = survey
        .findings()
        .iter()
        .filter(|heard| heard.ecu == ecu && heard.topic == topic)
        .collect();
    if heard.is_empty() {
        return Vec::new();
    }
    let name = ecu.to_string();
    match topic {
        Topic::Codes => {
            let mut found = lists(&heard, "confirmed");
            found.extend(
                survey
                    .miscounts(ecu)
                    .map(|(counted, listed)| Finding::Miscounted {
                        ecu: name,
                        counted,
                        listed,
                    }),
            );
            found
        }
        Topic::Pending => lists(&heard, "pending"),
        Topic::Permanent => lists(&heard, "permanent"),
        Topic::Readiness => heard.iter().map(|heard| readiness(heard)).collect(),
        Topic::Clear => heard.iter().map(|heard| cleared(heard)).collect(),
        Topic::FreezeFrame => {
            let code = heard.iter().find_map(|heard| match heard.answer[..] {
                [0x42, 0x02, _, high, low] if (high, low) != (0, 0) => {
                    Some(code(Dtc::from_bytes([high, low])))
                }
                _ => None,
            });
            let (readings, mut odd) = readings(&heard, "freeze frame");
            let readings = readings
                .into_iter()
                .filter(|reading| reading.pid != "$02")
                .collect();
            odd.insert(
                0,
                Finding::FreezeFrame {
                    ecu: name,
                    code,
                    readings,
                },
            );
            odd
        }
        Topic::Live => {
            let (readings, mut odd) = readings(&heard, "live data");
            odd.insert(0, Finding::Live { ecu: name, readings });
            odd
        }
        Topic::Vehicle => {
            let (mut items, mut odd) = (Vec::new(), Vec::new());
            for heard in heard {
                match Response::parse(&heard.answer) {
                    Ok(Response::Information(information)) => items.extend(say_information(information)),
                    other => odd.push(not_asked_for(heard, "vehicle information", &other)),
                }
            }
            odd.insert(0, Finding::Vehicle { ecu: name, items });
            odd
        }
        Topic::Tests => {
            let (mut tests, mut odd) = (Vec::new(), Vec::new());
            for heard in heard {
                match Response::parse(&heard.answer) {
                    Ok(Response::TestResults(results)) => {
                        tests.extend(results.iter().map(|test| Test::new(&test)))
                    }
                    other => odd.push(not_asked_for(heard, "test results", &other)),
                }
            }
            odd.insert(0, Finding::Tests { ecu: name, tests });
            odd
        }
        // Read for an inspection, and shown there.
        Topic::SinceClear | Topic::Vin | Topic::CodeCount => Vec::new(),
    }
}

fn lists(heard: &[&Heard], list: &'static str) -> Vec<Finding> {
    let found = |heard: &&Heard| match Response::parse(&heard.answer) {
        Ok(Response::Codes(_, codes)) => Finding::Codes {
            ecu: heard.ecu.to_string(),
            list,
            codes: codes.iter().map(code).collect(),
        },
        other => not_asked_for(heard, list, &other),
    };
    heard.iter().map(found).collect()
}

/// PIDs $01 and $41 of one answer: since the clear, and in this driving cycle.
fn readiness(heard: &Heard) -> Finding {
    let Ok(Response::CurrentData(records)) = Response::parse(&heard.answer) else {
        return not_asked_for(heard, "readiness", &Response::parse(&heard.answer));
    };
    let (mut a, mut since_clear, mut this_cycle) = (0, None, None);
    for record in records.flatten() {
        let &[first, b, c, d] = record.data else { continue };
        match record.pid.number() {
            0x01 => (a, since_clear) = (first, Some(Readiness::from_bytes([b, c, d]))),
            _ => this_cycle = Some(Readiness::from_bytes([b, c, d])),
        }
    }
    Finding::Readiness {
        ecu: heard.ecu.to_string(),
        mil_commanded: a & 0x80 != 0,
        confirmed_codes: a & 0x7F,
        groups: groups(since_clear.unwrap_or_default()),
        this_cycle: groups(this_cycle.unwrap_or_default()),
    }
}

fn groups(readiness: Readiness) -> BTreeMap<&'static str, &'static str> {
    let state = |complete| if complete { "complete" } else { "not complete" };
    let supported = readiness.groups().filter(|group| group.supported);
    supported
        .map(|group| (group.name, state(group.complete)))
        .collect()
}

fn cleared(heard: &Heard) -> Finding {
    let ecu = heard.ecu.to_string();
    match Response::parse(&heard.answer) {
        Ok(Response::Cleared) => Finding::Cleared {
            ecu,
            cleared: true,
            answer: String::new(),
        },
        Ok(Response::Negative(Service::Clear, code)) => Finding::Cleared {
            ecu,
            cleared: false,
            answer: code.name().to_owned(),
        },
        other => not_asked_for(heard, "clear", &other),
    }
}

fn code(dtc: Dtc) -> Code {
    Code {
        code: dtc.to_string(),
        meaning: code_text(dtc),
        makers_own: dtc.is_makers_own(),
    }
}

/// An answer that is not what was asked for.
fn not_asked_for(heard: &Heard, question: &str, response: &Result<Response<'_>, ResponseError>) -> Finding {
    let why = match response {
        Ok(Response::Negative(_, code)) => format!("refused: {}", code.name()),
        Ok(_) => "the answer belongs to another question".to_owned(),
        Err(error) => error.to_string(),
    };
    Finding::Odd {
        ecu: heard.ecu.to_string(),
        question: question.to_owned(),
        why,
    }
}

fn readings(heard: &[&Heard], question: &str) -> (Vec<Reading>, Vec<Finding>) {
    let (mut readings, mut odd) = (Vec::new(), Vec::new());
    for heard in heard {
        match Response::parse(&heard.answer) {
            Ok(Response::CurrentData(records) | Response::FreezeFrame(records)) => {
                readings.extend(values(records))
            }
            other => odd.push(not_asked_for(heard, question, &other)),
        }
    }
    (readings, odd)
}

/// The values of an answer, masks apart; what cannot be read ends it with a line that says why.
fn values(records: Records<'_>) -> Vec<Reading> {
    let mut readings = Vec::new();
    for record in records {
        match record {
            Ok(record) if is_mask(record.pid.number()) => {}
            Ok(record) => readings.extend(fields(&record)),
            Err(error) => readings.push(Reading::unreadable(&error)),
        }
    }
    readings
}

fn fields(record: &Record<'_>) -> Vec<Reading> {
    let Some(definition) = record.pid.definition() else {
        return Vec::new();
    };
    let reading = |field: &Field| {
        let value = field.decode(record.data)?;
        if value == Value::Absent && field.announced_by.is_some() {
            return None;
        }
        let (number, unit) = match value {
            Value::Number(number, scaling) => (Some(number), Some(scaling.unit.symbol().to_owned())),
            _ => (None, None),
        };
        let name = match field.name {
            "" => definition.name.to_owned(),
            field => format!("{}: {field}", definition.name),
        };
        Some(Reading {
            pid: record.pid.to_string(),
            name,
            shown: value.to_string(),
            value: number,
            unit,
        })
    };
    definition.fields.iter().filter_map(reading).collect()
}

fn say_information(information: Information<'_>) -> Vec<(String, String)> {
    let text = |bytes: &[u8]| {
        String::from_utf8_lossy(bytes)
            .replace('\0', " ")
            .trim()
            .to_owned()
    };
    let hex = |number: &[u8; 4]| format!("{:08X}", u32::from_be_bytes(*number));
    match information {
        Information::Vin(vin) if !vin.iter().all(u8::is_ascii_alphanumeric) => {
            let shown = vin.escape_ascii().to_string();
            vec![("VIN, with characters that none has".to_owned(), shown)]
        }
        Information::Vin(vin) => vec![("VIN".to_owned(), text(vin))],
        Information::CalibrationIds(ids) => ids
            .iter()
            .map(|id| ("calibration id".to_owned(), text(id)))
            .collect(),
        Information::VerificationNumbers(numbers) => numbers
            .iter()
            .map(|number| ("calibration verification number".to_owned(), hex(number)))
            .collect(),
        Information::EcuName(name) => vec![("ECU".to_owned(), text(name))],
        Information::InUse(_) | Information::InUseCompression(_) => information
            .counters()
            .filter_map(|(name, count)| Some((name?.to_owned(), count.to_string())))
            .collect(),
        Information::Text(info_type, bytes) => {
            vec![(info_type.name().unwrap_or_default().to_owned(), text(bytes))]
        }
        Information::Number(info_type, _) => vec![(
            info_type.name().unwrap_or_default().to_owned(),
            information.number().unwrap_or_default().to_string(),
        )],
        Information::Other(info_type, bytes) => vec![(format!("{info_type:?}"), format!("{bytes:02X?}"))],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The mask from $21 on and the VIN are owed and never come, $05 is left out of a list: all of it is said, in the service's
    /// own line. What is told is not.
    #[test]
    fn what_was_promised_and_not_told_is_said() {
        let mut survey = Survey::new(&[Topic::Live, Topic::Vehicle]);
        while let Some(question) = survey.next_question() {
            let answer: Option<&[u8]> = match question.request() {
                // 04 05 0C, and more from $21 on.
                [0x01, 0x00] => Some(&[0x41, 0x00, 0x18, 0x10, 0x00, 0x01]),
                [0x01, 0x04, 0x05, 0x0C] => Some(&[0x41, 0x04, 0x80, 0x0C, 0x1A, 0xF8]),
                [0x09, 0x00] => Some(&[0x49, 0x00, 0x40, 0x00, 0x00, 0x00]),
                _ => None,
            };
            if let Some(answer) = answer {
                survey.on_answer(EcuNumber::ENGINE, answer);
            }
            survey.on_finished();
        }
        let lines: Vec<String> = unanswered(&survey).iter().flat_map(Finding::lines).collect();
        let said = lines.join("\n");
        for expected in [
            "7E8 no answer to service $01, asked 7 times: $05 $20; what it supports from $21",
            "7E8 no answer to service $09, asked 7 times: $02",
        ] {
            assert!(said.contains(expected), "{expected} is missing from\n{said}");
        }
    }
}
