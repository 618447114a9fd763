//! Messages of SAE J1979-2 compared by what they say: data of $62 as those of $41, $46 and $49, codes of $59 with their status.
//!
//! Of a status the bits that tell of the last test and of this driving cycle live, as readiness of this driving cycle does (PID
//! $41); the others last. Extended data have no published layout: they are bytes, but for the in-use counts.

use alloc::{format, string::String, vec::Vec};

use twotrip_obd::{
    Information, Response as Classic, ResponseBuffer, Service,
    uds::{
        Codes, Data, Datum, Did, FIRST_FRAME, Frame, Frames, FullDtc, GradedCodes, IN_USE_RECORD,
        LATEST_FRAME, Response, Severity, Status, Subject,
    },
};

use super::{Change, Comparison, Differences, content, pairs::in_pairs};

/// What a healthy car tells differently from one moment to the next.
const LIVING: Status = Status::FAILING
    .with(Status::FAILED_THIS_CYCLE, true)
    .with(Status::NOT_RUN_THIS_CYCLE, true);

/// Two different answers to one service; whether they are of this dialect and could be read.
pub(super) fn compare(recorded: &[u8], found: &[u8], comparison: Comparison, out: &mut Differences) -> bool {
    let (Ok(a), Ok(b)) = (Response::parse(recorded), Response::parse(found)) else {
        return false;
    };
    match (a, b) {
        (Response::Data(a), Response::Data(b)) => data(a, b, String::new, comparison, out),
        (
            Response::CodesByMask {
                group,
                available,
                codes: a,
            },
            Response::CodesByMask {
                group: other,
                available: others,
                codes: b,
            },
        ) if group == other => {
            bits_there_are(available, others, out);
            codes("", graded(a), graded(b), comparison, out);
        }
        (
            Response::PermanentCodes {
                group,
                available,
                codes: a,
            },
            Response::PermanentCodes {
                group: other,
                available: others,
                codes: b,
            },
        ) if group == other => {
            bits_there_are(available, others, out);
            codes("permanent ", plain(a), plain(b), comparison, out);
        }
        (
            Response::CodesByReadiness {
                group,
                available,
                readiness,
                codes: a,
            },
            Response::CodesByReadiness {
                group: other,
                available: others,
                readiness: same,
                codes: b,
            },
        ) if (group, readiness) == (other, same) => {
            bits_there_are(available, others, out);
            codes("", plain(a), plain(b), comparison, out);
        }
        (
            Response::CodesWithRecord {
                available,
                record,
                codes: a,
            },
            Response::CodesWithRecord {
                available: others,
                record: other,
                codes: b,
            },
        ) if record == other => {
            bits_there_are(available, others, out);
            codes("", plain(a), plain(b), comparison, out);
        }
        (
            Response::FreezeFrames {
                code,
                status: a,
                frames: first,
            },
            Response::FreezeFrames {
                code: other,
                status: b,
                frames: second,
            },
        ) if code == other => {
            status(code, a, b, comparison, out);
            if !frames(code, first, second, comparison, out) {
                content::unread("unread freeze frames", recorded, found, comparison, out);
            }
        }
        (
            Response::ExtendedData {
                code,
                status: a,
                data: first,
            },
            Response::ExtendedData {
                code: other,
                status: b,
                data: second,
            },
        ) if code == other => {
            status(code, a, b, comparison, out);
            extended_data(code, first, second, comparison, out);
        }
        (
            Response::Routine {
                what,
                routine,
                data: a,
            },
            Response::Routine {
                what: other,
                routine: same,
                data: b,
            },
        ) if (what, routine) == (other, same) => {
            content::unread("data of the routine", a, b, comparison, out);
        }
        _ => content::whole(recorded, found, out),
    }
    true
}

/// The data of a message, and what cannot be read after them.
fn split(mut data: Data<'_>) -> (Vec<(Did, Datum<'_>)>, &[u8]) {
    let mut keyed = Vec::new();
    loop {
        let rest = data.rest();
        match data.next() {
            Some(Ok(datum)) => keyed.push((datum.did(), datum)),
            Some(Err(_)) => return (keyed, rest),
            None => return (keyed, &[]),
        }
    }
}

/// Data identifiers with their data; `of` stands behind their names.
fn data(
    recorded: Data<'_>,
    found: Data<'_>,
    of: impl Fn() -> String,
    comparison: Comparison,
    out: &mut Differences,
) {
    let ((a, rest_of_a), (b, rest_of_b)) = (split(recorded), split(found));
    in_pairs(a, b, |did, a, b| datum(did, &of, (a, b), comparison, out));
    content::unread("unread data", rest_of_a, rest_of_b, comparison, out);
}

fn datum(
    did: Did,
    of: impl Fn() -> String,
    (a, b): (Option<Datum<'_>>, Option<Datum<'_>>),
    comparison: Comparison,
    out: &mut Differences,
) {
    let [_, number] = did.to_bytes();
    let name = || format!("{}{}", did.name(), of());
    if let Some(service) = masked(did) {
        let word = |datum: Option<Datum<'_>>| datum.and_then(Datum::mask).map(u32::from_be_bytes);
        return content::mask(service, number, word(a), word(b), out);
    }
    match (a, b) {
        (Some(Datum::Parameter(a)), Some(Datum::Parameter(b))) => {
            content::parameter(a.pid, of, (Some(a.data), Some(b.data)), comparison, out);
        }
        (Some(a @ Datum::Tests(..)), Some(b @ Datum::Tests(..))) => {
            content::tests(a.results(), b.results(), comparison, out);
        }
        (Some(Datum::Information(a)), Some(Datum::Information(b))) => {
            // What is said of them is said of service $09's.
            let (recorded, found) = (as_classic(a), as_classic(b));
            content::information(&recorded, &found, (a, b), comparison, out);
        }
        (Some(Datum::Other(_, a)), Some(Datum::Other(_, b))) => {
            content::unread(&name(), a, b, comparison, out);
        }
        (Some(_), None) => out.add(false, name, Change::Gone),
        (None, _) => out.add(false, name, Change::Appeared),
        // One identifier has data of one kind.
        (Some(_), Some(_)) => {}
    }
}

/// Of a mask, the service that has the same ones.
const fn masked(did: Did) -> Option<Service> {
    if !did.is_mask() {
        return None;
    }
    match did.subject() {
        Subject::Parameter(_) => Some(Service::CurrentData),
        Subject::Monitor(_) => Some(Service::TestResults),
        Subject::Information(_) => Some(Service::VehicleInformation),
        // Numbers beyond $FF have the names of no service.
        Subject::HighParameter(_) => Some(Service::ReadData),
        Subject::Other => None,
    }
}

/// The message of service $09 with the same content.
fn as_classic(information: Information<'_>) -> Vec<u8> {
    let mut buffer = ResponseBuffer::new();
    // Of what would be too long nothing is said.
    let _ = Classic::Information(information).emit(&mut buffer);
    buffer.to_vec()
}

fn bits_there_are(a: Status, b: Status, out: &mut Differences) {
    if a != b {
        out.add_value(false, || "status bits that there are:".into(), a, b);
    }
}

type Listed = Vec<(FullDtc, (Option<Severity>, Status))>;

fn graded(codes: GradedCodes<'_>) -> Listed {
    let codes = codes.iter();
    codes
        .map(|(severity, code, status)| (code, (Some(severity), status)))
        .collect()
}

fn plain(codes: Codes<'_>) -> Listed {
    codes
        .iter()
        .map(|(code, status)| (code, (None, status)))
        .collect()
}

/// Lists of codes; `kind` says which, where the answer does.
fn codes(kind: &str, a: Listed, b: Listed, comparison: Comparison, out: &mut Differences) {
    let kind = |status: Status| match kind {
        "" if status.has(Status::CONFIRMED) => "confirmed ",
        "" if status.has(Status::PENDING) => "pending ",
        kind => kind,
    };
    in_pairs(a, b, |code, a, b| match (a, b) {
        (Some((severity, before)), Some((other, after))) => {
            if let (Some(a), Some(b)) = (severity, other)
                && a != b
            {
                out.add_value(false, || format!("severity of {code}:"), a, b);
            }
            status(code, before, after, comparison, out);
        }
        (Some((_, before)), None) => {
            out.add(false, || format!("{}code {code}", kind(before)), Change::Gone);
        }
        (None, Some((_, after))) => {
            out.add(false, || format!("{}code {code}", kind(after)), Change::Appeared);
        }
        (None, None) => {}
    });
}

/// The bits of a status that differ.
fn status(code: FullDtc, a: Status, b: Status, comparison: Comparison, out: &mut Differences) {
    let differing = a.to_byte() ^ b.to_byte();
    for (bits, lives) in [(!LIVING.to_byte(), false), (LIVING.to_byte(), true)] {
        let differing = differing & bits;
        if differing != 0 {
            let tolerated = lives && comparison.lets_states_pass();
            let told = |status: Status| Status::from_byte(status.to_byte() & differing);
            out.add_value(tolerated, || format!("status of {code}:"), told(a), told(b));
        }
    }
}

/// The freeze frames of a code, and whether those are all.
fn split_frames(frames: Frames<'_>) -> (Vec<(u8, Data<'_>)>, bool) {
    let mut keyed = Vec::new();
    for frame in frames {
        match frame {
            Ok(Frame { record, data }) => keyed.push((record, data)),
            Err(_) => return (keyed, false),
        }
    }
    (keyed, true)
}

/// Frames of a code; whether those of one message could be read.
fn frames(
    code: FullDtc,
    a: Frames<'_>,
    b: Frames<'_>,
    comparison: Comparison,
    out: &mut Differences,
) -> bool {
    let ((a, all_of_a), (b, all_of_b)) = (split_frames(a), split_frames(b));
    in_pairs(a, b, |record, a, b| {
        let which = || match record {
            FIRST_FRAME => format!("first freeze frame of {code}"),
            LATEST_FRAME => format!("latest freeze frame of {code}"),
            record => format!("freeze frame ${record:02X} of {code}"),
        };
        match (a, b) {
            (Some(a), Some(b)) => data(a, b, || format!(" ({})", which()), comparison, out),
            (Some(_), None) => out.add(false, which, Change::Gone),
            (None, _) => out.add(false, which, Change::Appeared),
        }
    });
    if all_of_a != all_of_b {
        let told = |all: bool| if all { "readable" } else { "not readable" };
        let name = || format!("freeze frames of {code}:");
        out.add_value(false, name, told(all_of_a), told(all_of_b));
    }
    all_of_a || all_of_b
}

fn extended_data(code: FullDtc, a: &[u8], b: &[u8], comparison: Comparison, out: &mut Differences) {
    let counts = |data: &[u8]| match *data {
        [IN_USE_RECORD, a, b, c, d] => Some([[a, b], [c, d]].map(u16::from_be_bytes)),
        _ => None,
    };
    let (Some(before), Some(after)) = (counts(a), counts(b)) else {
        return content::unread(&format!("extended data of {code}"), a, b, comparison, out);
    };
    for (place, what) in ["completions", "conditions"].into_iter().enumerate() {
        let (x, y) = (before[place], after[place]);
        if x != y {
            let tolerated = comparison.lets_pass(x.into(), y.into(), 1.0);
            out.add_value(tolerated, || format!("in-use {what} of {code}"), x, y);
        }
    }
}
