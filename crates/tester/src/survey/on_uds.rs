//! The same questions in the dialect of SAE J1979-2.
//!
//! Readiness is read from PIDs $01 and $41, which that standard keeps under data identifiers, not by readiness groups ($19 $56):
//! the numbers of those are in no published source that we have. Tests and vehicle information are asked one at a time,
//! since nothing in an answer says where the data of one identifier end.

use alloc::{vec, vec::Vec};

use twotrip_obd::{
    Pid, Service, SupportMask,
    uds::{ALL_EMISSION_CODES, ALL_RECORDS, Datum, Did, EMISSIONS, Request, Response, Severity, Status},
};

use super::{CODE_COUNT, Masked, Question, READINESS, SINCE_CLEAR, Topic, VIN};
use crate::{EcuNumber, Target};

/// `22 F8 10` to all: who speaks this dialect (ISO 15765-4, initialisation; from memory).
pub(super) const WHO_IS_THERE: [u8; 3] = [0x22, 0xF8, 0x10];
/// Data identifiers in one request: as many as fit one frame.
const AT_ONCE: usize = 3;

/// A request about identifiers of one range.
fn read(target: Target, topic: Option<Topic>, range: u8, numbers: &[u8]) -> Question {
    let mut request = [Service::ReadData.to_byte(); 1 + 2 * AT_ONCE];
    let mut end = 1;
    for &number in numbers.iter().take(AT_ONCE) {
        request[end..end + 2].copy_from_slice(&[range, number]);
        end += 2;
    }
    Question::new(target, topic, &request[..end])
}

fn question(target: Target, topic: Topic, request: Request<'_>) -> Question {
    let mut bytes = Vec::new();
    request.emit(&mut bytes);
    Question::new(target, Some(topic), &bytes)
}

/// Codes with any of these status bits.
fn codes(topic: Topic, status: Status) -> Question {
    let request = Request::CodesByMask {
        quiet: false,
        group: EMISSIONS,
        status,
        severity: Severity::ALL,
    };
    question(Target::Functional, topic, request)
}

/// The identifiers of a service with masks; the freeze frame has none.
const fn range(masked: Masked) -> Option<u8> {
    match masked {
        Masked::CurrentData => Some(Did::PARAMETERS),
        Masked::FreezeFrame => None,
        Masked::TestResults => Some(Did::MONITORS),
        Masked::VehicleInformation => Some(Did::INFORMATION),
    }
}

/// The service with masks that a range of identifiers stands for.
pub(super) fn masked(range_asked: u8) -> Option<Masked> {
    let all = [
        Masked::CurrentData,
        Masked::TestResults,
        Masked::VehicleInformation,
    ];
    all.into_iter().find(|&masked| range(masked) == Some(range_asked))
}

pub(super) fn about_masks(target: Target, masked: Masked, base: u8) -> Option<Question> {
    range(masked).map(|range| read(target, None, range, &[base]))
}

/// What a topic asks of all at once; `None` for one that only asks each ECU what that supports.
pub(super) fn to_all(topic: Topic) -> Option<Vec<Question>> {
    Some(vec![match topic {
        Topic::Codes => codes(topic, Status::CONFIRMED),
        Topic::Pending => codes(topic, Status::PENDING),
        // Which codes have frames: those that are pending or confirmed.
        Topic::FreezeFrame => codes(topic, Status::PENDING.with(Status::CONFIRMED, true)),
        Topic::Permanent => {
            let (quiet, group) = (false, EMISSIONS);
            question(
                Target::Functional,
                topic,
                Request::PermanentCodes { quiet, group },
            )
        }
        Topic::Clear => question(Target::Functional, topic, Request::Clear(ALL_EMISSION_CODES)),
        _ => return None,
    }])
}

/// The confirmed codes of one ECU.
pub(super) fn codes_of(ecu: EcuNumber) -> Question {
    Question {
        target: Target::Ecu(ecu),
        ..codes(Topic::Codes, Status::CONFIRMED)
    }
}

/// Their number, of PID $01.
pub(super) fn code_count(ecu: EcuNumber) -> Question {
    read(
        Target::Ecu(ecu),
        Some(Topic::CodeCount),
        Did::PARAMETERS,
        &CODE_COUNT[1..],
    )
}

/// How many codes a list has; nothing if it is none.
pub(super) fn number_of_codes(answer: &[u8]) -> Option<u8> {
    match Response::parse(answer) {
        Ok(Response::CodesByMask { codes, .. }) => u8::try_from(codes.iter().count()).ok(),
        _ => None,
    }
}

/// What a topic asks of an ECU by what that supports, beside what all are asked.
pub(super) fn by_support(topic: Topic, ecu: EcuNumber, support: SupportMask) -> Vec<Question> {
    let target = Target::Ecu(ecu);
    let only = |wanted: &[u8]| -> Vec<u8> {
        wanted
            .iter()
            .copied()
            .filter(|&number| support.contains(number))
            .collect()
    };
    let one_by_one = |range| {
        let ask = |number| read(target, Some(topic), range, &[number]);
        support.iter().map(ask).collect()
    };
    match topic {
        Topic::Readiness => parameters(target, topic, only(&READINESS)),
        Topic::SinceClear => parameters(target, topic, only(&SINCE_CLEAR)),
        Topic::Live => parameters(target, topic, support.iter()),
        Topic::Tests => one_by_one(Did::MONITORS),
        Topic::Vehicle => one_by_one(Did::INFORMATION),
        Topic::Vin => {
            let vin = only(&VIN[1..]);
            vin.iter()
                .map(|&number| read(target, Some(topic), Did::INFORMATION, &[number]))
                .collect()
        }
        Topic::Codes => Vec::from_iter(support.contains(CODE_COUNT[1]).then(|| code_count(ecu))),
        Topic::CodeCount | Topic::Pending | Topic::Permanent | Topic::FreezeFrame | Topic::Clear => {
            Vec::new()
        }
    }
}

/// Parameters, three at once, and those of unknown length alone.
fn parameters(target: Target, topic: Topic, numbers: impl IntoIterator<Item = u8>) -> Vec<Question> {
    let is_known = |number: &u8| Pid::new(*number).definition().is_some();
    let (known, unknown): (Vec<u8>, Vec<u8>) = numbers.into_iter().partition(is_known);
    known
        .chunks(AT_ONCE)
        .chain(unknown.chunks(1))
        .map(|numbers| read(target, Some(topic), Did::PARAMETERS, numbers))
        .collect()
}

/// All freeze frames of each code that an answer names.
pub(super) fn freeze_frames(ecu: EcuNumber, answer: &[u8]) -> Vec<Question> {
    let Ok(Response::CodesByMask { codes, .. }) = Response::parse(answer) else {
        return Vec::new();
    };
    let ask = |(_, code, _)| {
        let (quiet, record) = (false, ALL_RECORDS);
        let request = Request::FreezeFrame { quiet, code, record };
        question(Target::Ecu(ecu), Topic::FreezeFrame, request)
    };
    codes.iter().map(ask).collect()
}

/// The mask of this identifier in an answer.
pub(super) fn mask_in(answer: &[u8], wanted: Did) -> Option<[u8; 4]> {
    let Ok(Response::Data(data)) = Response::parse(answer) else {
        return None;
    };
    let mut data = data.filter_map(Result::ok);
    data.find(|datum| datum.did() == wanted).and_then(Datum::mask)
}

/// Whether an answer says that its ECU speaks this dialect.
pub(super) fn is_yes(answer: &[u8]) -> bool {
    let [high, low] = Did::PROTOCOL.to_bytes();
    matches!(answer, [0x62, a, b, ..] if (*a, *b) == (high, low))
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::{string::String, vec::Vec};

    use crate::{
        EcuNumber,
        survey::{ASKED_AT_MOST, Survey, Topic, tests::play},
    };

    /// A car of one ECU: PIDs $01, $0C, $0D, $41, monitor $21, InfoTypes $02 and $10, one code with frames. Silent to SAE J1979.
    fn car(ecu: u8, request: &[u8]) -> Option<&'static [u8]> {
        Some(match (ecu, request) {
            (0, [0x22, 0xF8, 0x10]) => &[0x62, 0xF8, 0x10, 0x01],
            (0, [0x22, 0xF4, 0x00]) => &[0x62, 0xF4, 0x00, 0x80, 0x18, 0x00, 0x01],
            (0, [0x22, 0xF4, 0x20]) => &[0x62, 0xF4, 0x20, 0x00, 0x00, 0x00, 0x01],
            (0, [0x22, 0xF4, 0x40]) => &[0x62, 0xF4, 0x40, 0x80, 0x00, 0x00, 0x00],
            (0, [0x22, 0xF6, 0x00]) => &[0x62, 0xF6, 0x00, 0x00, 0x00, 0x00, 0x01],
            (0, [0x22, 0xF6, 0x20]) => &[0x62, 0xF6, 0x20, 0x80, 0x00, 0x00, 0x00],
            (0, [0x22, 0xF8, 0x00]) => &[0x62, 0xF8, 0x00, 0x40, 0x01, 0x00, 0x00],
            (0, [0x22, ..]) => &[0x62, 0xF4, 0x0D, 0x50],
            (0, [0x19, 0x42, 0x33, 0x0C, 0xFF]) => {
                &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41, 0x04, 0x55, 0x7A, 0x2F]
            }
            (0, [0x19, 0x42, ..]) => &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04],
            (0, [0x19, 0x04, ..]) => &[0x59, 0x04, 0x04, 0x55, 0x7A, 0x2F],
            (0, [0x19, 0x55, 0x33]) => &[0x59, 0x55, 0x33, 0xFF, 0x04],
            (0, [0x14, 0xFF, 0xFF, 0x33]) => &[0x54],
            _ => return None,
        })
    }

    /// The order of ISO 15765-4 as we read it: the classic question first, to which such a car is silent.
    #[test]
    fn the_dialect_is_found_and_every_topic_asked_in_it() {
        let topics = [
            &Topic::READING[..],
            &[Topic::Vin, Topic::SinceClear, Topic::Clear],
        ]
        .concat();
        let mut survey = Survey::new(&topics);
        let asked: Vec<String> = play(&mut survey, car);
        assert_eq!(
            asked,
            [
                "all [01, 00]",
                "all [22, F8, 10]",
                "all [22, F4, 00]",
                "7E8 [22, F4, 20]",
                "7E8 [22, F4, 40]",
                "all [19, 42, 33, 08, FF]",
                "7E8 [22, F4, 01]",
                "all [19, 42, 33, 04, FF]",
                "all [19, 55, 33]",
                "all [19, 42, 33, 0C, FF]",
                "7E8 [19, 04, 04, 55, 7A, FF]",
                "7E8 [22, F4, 01, F4, 41]",
                "7E8 [22, F4, 01, F4, 0C, F4, 0D]",
                "7E8 [22, F4, 41]",
                "all [22, F6, 00]",
                "7E8 [22, F6, 20]",
                "7E8 [22, F6, 21]",
                "all [22, F8, 00]",
                "7E8 [22, F8, 02]",
                "7E8 [22, F8, 10]",
                "7E8 [22, F8, 02]",
                "all [14, FF, FF, 33]",
            ]
        );
        assert!(!survey.is_nobody_there());
        let again: Vec<String> = {
            survey.repeat();
            play(&mut survey, car)
        };
        assert_eq!(
            again[0], "all [19, 42, 33, 08, FF]",
            "who is there and what is supported is known"
        );
    }

    /// One whose answer came too late is asked for its dialect by itself, and goes on in it.
    #[test]
    fn an_ecu_that_was_heard_too_late_is_asked_for_its_dialect() {
        let mut survey = Survey::new(&[Topic::Codes]);
        assert!(survey.next_question().is_some());
        survey.on_finished();
        survey.hear_of(EcuNumber::ENGINE);
        let asked = play(&mut survey, car);
        assert_eq!(asked[..2], ["7E8 [22, F8, 10]", "all [22, F4, 00]"]);
        let end = ["all [19, 42, 33, 08, FF]", "7E8 [22, F4, 01]"];
        assert_eq!(asked[asked.len() - 2..], end);
    }

    /// An ECU that is away for a while is met again: both dialects are asked in turn.
    #[test]
    fn nobody_is_there_only_after_both_were_asked_some_times() {
        let mut survey = Survey::new(&[]);
        for round in 0..ASKED_AT_MOST {
            let other = round.is_multiple_of(2).then_some(&[0x22, 0xF8, 0x10][..]);
            for request in [&[0x01, 0x00][..]].into_iter().chain(other) {
                let question = survey.next_question().expect("a question");
                assert_eq!(question.request(), request, "round {round}");
                assert!(!survey.is_nobody_there());
                survey.on_finished();
            }
        }
        assert!(survey.is_nobody_there());
    }
}
