//! What the answers of a survey mean, by the rules of SAE J1979 and SAE J1979-2: the same words for both.

use std::collections::{BTreeMap, BTreeSet};

use twotrip_obd::{
    Information, Readiness, Record, Service, code_text,
    pid::{Field, Value},
    uds::FIRST_FRAME,
};
use twotrip_tester::{EcuNumber, Finding as Heard, Survey, Target, Topic};

use super::{
    finding::{Code, Finding, Reading, Test},
    told::{Told, ToldCode, asked_for, is_mask, number, number_of},
};

/// Everything that a survey heard about one topic, ECU by ECU.
pub(super) fn findings(survey: &Survey, topic: Topic) -> Vec<Finding> {
    survey.ecus().flat_map(|ecu| of_ecu(survey, topic, ecu)).collect()
}

/// What the ECUs have announced and then not told: whole questions, and parameters left out of an answer to several.
pub(super) fn unanswered(survey: &Survey) -> Vec<Finding> {
    let mut missing: BTreeMap<(EcuNumber, u8), BTreeSet<u16>> = BTreeMap::new();
    for question in survey.unanswered() {
        let Target::Ecu(ecu) = question.target else {
            continue;
        };
        let (service, numbers) = asked_for(question.request());
        missing.entry((ecu, service)).or_default().extend(numbers);
    }
    for heard in survey.findings() {
        let (service, numbers) = asked_for(&heard.request);
        // Of freeze frames and tests each is asked for by itself.
        if !matches!(service, 0x01 | 0x22) {
            continue;
        }
        let Told::Parameters(records) = Told::of(heard) else {
            continue;
        };
        // What cannot be read to its end is shown as such.
        let Ok(told) = records
            .iter()
            .map(|record| record.as_ref().map(|record| number_of(service, record)))
            .collect::<Result<BTreeSet<u16>, _>>()
        else {
            continue;
        };
        let left_out = numbers.into_iter().filter(|number| !told.contains(number));
        missing.entry((heard.ecu, service)).or_default().extend(left_out);
    }
    missing.retain(|_, numbers| !numbers.is_empty());
    missing
        .iter()
        .map(|(&(ecu, service), numbers)| Finding::Unanswered {
            ecu: ecu.to_string(),
            service: format!("${service:02X}"),
            parameters: numbers.iter().map(|&found| number(service, found)).collect(),
            unknown_from: numbers
                .iter()
                .find(|&&found| is_mask(found))
                .map(|mask| number(service, mask.saturating_add(1))),
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
        Topic::FreezeFrame => freeze_frames(&heard, name),
        Topic::Live => {
            let (readings, mut odd) = readings(&heard, "live data");
            odd.insert(0, Finding::Live { ecu: name, readings });
            odd
        }
        Topic::Vehicle => {
            let (mut items, mut odd) = (Vec::new(), Vec::new());
            for heard in heard {
                match Told::of(heard) {
                    Told::Information(information) => items.extend(say_information(information)),
                    other => odd.push(not_asked_for(heard, "vehicle information", &other)),
                }
            }
            odd.insert(0, Finding::Vehicle { ecu: name, items });
            odd
        }
        Topic::Tests => {
            let (mut tests, mut odd) = (Vec::new(), Vec::new());
            for heard in heard {
                match Told::of(heard) {
                    Told::Tests(results) => tests.extend(results.iter().map(Test::new)),
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

/// The freeze frame; in SAE J1979-2 the first and the latest of each code that has them.
fn freeze_frames(heard: &[&Heard], ecu: String) -> Vec<Finding> {
    let mut frames = Vec::new();
    let (mut readings, mut odd, mut cause) = (Vec::new(), Vec::new(), None);
    for heard in heard {
        match Told::of(heard) {
            Told::Parameters(records) => {
                // PID $02 tells whose frame it is.
                let of_frame = |record: &&Result<Record<'_>, String>| {
                    record.as_ref().is_ok_and(|record| record.pid.number() == CAUSE)
                };
                let told = records
                    .iter()
                    .find(of_frame)
                    .and_then(|record| record.as_ref().ok());
                cause = cause.or_else(|| told.and_then(causing));
                readings.extend(values(records));
            }
            Told::Frames(code_told, told) => {
                frames.extend(told.into_iter().map(|(record, records)| Finding::FreezeFrame {
                    ecu: ecu.clone(),
                    code: Some(code(code_told)),
                    frame: Some(if record == FIRST_FRAME { "first" } else { "latest" }),
                    readings: values(records),
                }));
            }
            // Which codes may have frames.
            Told::Codes(_) => {}
            other => odd.push(not_asked_for(heard, "freeze frame", &other)),
        }
    }
    if frames.is_empty() {
        readings.retain(|reading| reading.pid != "$02");
        frames.push(Finding::FreezeFrame {
            ecu,
            code: cause,
            frame: None,
            readings,
        });
    }
    frames.extend(odd);
    frames
}

/// PID $02 of service $02.
const CAUSE: u8 = 0x02;

/// The code that a frame was stored for.
fn causing(record: &Record<'_>) -> Option<Code> {
    let fields = record.pid.definition()?.fields;
    match fields.first()?.decode(record.data)? {
        Value::Code(Some(dtc)) => Some(code((dtc, None))),
        _ => None,
    }
}

fn lists(heard: &[&Heard], list: &'static str) -> Vec<Finding> {
    let found = |heard: &&Heard| match Told::of(heard) {
        Told::Codes(codes) => Finding::Codes {
            ecu: heard.ecu.to_string(),
            list,
            codes: codes.into_iter().map(code).collect(),
        },
        other => not_asked_for(heard, list, &other),
    };
    heard.iter().map(found).collect()
}

/// PIDs $01 and $41 of one answer: since the clear, and in this driving cycle.
fn readiness(heard: &Heard) -> Finding {
    let records = match Told::of(heard) {
        Told::Parameters(records) => records,
        other => return not_asked_for(heard, "readiness", &other),
    };
    let (mut a, mut since_clear, mut this_cycle) = (0, None, None);
    for record in records.iter().flatten() {
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
    match Told::of(heard) {
        Told::Cleared => Finding::Cleared {
            ecu,
            cleared: true,
            answer: String::new(),
        },
        Told::Refused(code) => Finding::Cleared {
            ecu,
            cleared: false,
            answer: code.name().to_owned(),
        },
        other => not_asked_for(heard, "clear", &other),
    }
}

fn code((dtc, failure): ToldCode) -> Code {
    Code {
        code: dtc.to_string(),
        meaning: code_text(dtc),
        makers_own: dtc.is_makers_own(),
        failure_type: failure.map(|failure| failure.to_string()),
        failure: failure.and_then(|failure| failure.name()),
    }
}

/// An answer that is not what was asked for.
fn not_asked_for(heard: &Heard, question: &str, told: &Told<'_>) -> Finding {
    Finding::Odd {
        ecu: heard.ecu.to_string(),
        question: question.to_owned(),
        why: told.why_not(),
    }
}

fn readings(heard: &[&Heard], question: &str) -> (Vec<Reading>, Vec<Finding>) {
    let (mut readings, mut odd) = (Vec::new(), Vec::new());
    for heard in heard {
        match Told::of(heard) {
            Told::Parameters(records) => readings.extend(values(records)),
            other => odd.push(not_asked_for(heard, question, &other)),
        }
    }
    (readings, odd)
}

/// The values of an answer, masks apart; what cannot be read ends it with a line that says why.
fn values(records: Vec<Result<Record<'_>, String>>) -> Vec<Reading> {
    let mut readings = Vec::new();
    for record in records {
        match record {
            Ok(record) if record.pid.is_mask() => {}
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
