//! Messages compared by what they say (SAE J1979 layouts as `twotrip-obd` reads them); [`on_uds`] those of SAE J1979-2.
//!
//! What lives, and so may differ between two moments of the same healthy car: numbers of services $01 and $02 but for PID $01 and plain
//! codes, their states (fuel system, power take-off, monitors complete in this driving cycle), values of service $06, counters of service $09. Everything else lasts.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use twotrip_obd::{
    Codes, InfoType, Information, Pid, Readiness, Records, Response, Service, TestResult, describe_response,
    pid::{Definition, Field, Kind, Unit, Value},
    write_data,
};

use super::{Change, Comparison, Differences, on_uds, pairs::in_pairs};

/// Two different messages.
pub(super) fn compare(recorded: &[u8], found: &[u8], comparison: Comparison, out: &mut Differences) {
    let both = (Response::parse(recorded), Response::parse(found));
    match both {
        (Ok(Response::CurrentData(a)), Ok(Response::CurrentData(b)))
        | (Ok(Response::FreezeFrame(a)), Ok(Response::FreezeFrame(b))) => {
            records((recorded, a), (found, b), comparison, out);
        }
        (Ok(Response::Codes(service, a)), Ok(Response::Codes(other, b))) if service == other => {
            codes(service, a, b, out);
        }
        (Ok(Response::Masks(service, a)), Ok(Response::Masks(other, b))) if service == other => {
            let masks = |masks: &[[u8; 5]]| -> Vec<_> {
                let split = |&[base, ref mask @ ..]: &[u8; 5]| (base, u32::from_be_bytes(*mask));
                masks.iter().map(split).collect()
            };
            in_pairs(masks(a), masks(b), |base, a, b| mask(service, base, a, b, out));
        }
        (Ok(Response::TestResults(a)), Ok(Response::TestResults(b))) => {
            tests(a.iter(), b.iter(), comparison, out);
        }
        (Ok(Response::Information(a)), Ok(Response::Information(b))) if a.info_type() == b.info_type() => {
            information(recorded, found, (a, b), comparison, out);
        }
        (Ok(Response::Other(service, a)), Ok(Response::Other(other, b))) if service == other => {
            if !on_uds::compare(recorded, found, comparison, out) {
                unread("data", a, b, comparison, out);
            }
        }
        _ => whole(recorded, found, out),
    }
    if out.is_empty() {
        // Reserved bits, or another order.
        let tolerated = !comparison.counts_every_byte();
        out.add_value(tolerated, || "bytes".into(), hex(recorded), hex(found));
    }
}

/// Answers of different kinds: as a whole.
pub(super) fn whole(recorded: &[u8], found: &[u8], out: &mut Differences) {
    let (mut a, mut b) = (describe_response(recorded), describe_response(found));
    if a == b {
        (a, b) = (hex(recorded), hex(found));
    }
    out.add_value(false, || "answer:".into(), a, b);
}

/// Bytes in hexadecimal. Long ones are cut.
fn hex(bytes: &[u8]) -> String {
    if bytes.is_empty() {
        return "nothing".into();
    }
    let mut text = String::new();
    // A string takes everything.
    let _ = write_data(&mut text, bytes);
    text
}

/// Bytes that are not taken apart: they may live.
pub(super) fn unread(
    subject: &str,
    recorded: &[u8],
    found: &[u8],
    comparison: Comparison,
    out: &mut Differences,
) {
    if recorded.len() != found.len() {
        let length = |bytes: &[u8]| format!("{} bytes", bytes.len());
        out.add_value(
            false,
            || format!("length of {subject}"),
            length(recorded),
            length(found),
        );
    } else if recorded != found {
        let tolerated = comparison.lets_states_pass();
        out.add_value(tolerated, || subject.into(), hex(recorded), hex(found));
    }
}

type Keyed<'a> = Vec<((Pid, Option<u8>), &'a [u8])>;

/// The records of a message, and what cannot be read after them.
fn split<'a>(message: &'a [u8], records: Records<'a>) -> (Keyed<'a>, &'a [u8]) {
    let mut read = 1;
    let mut keyed = Vec::new();
    for record in records.map_while(Result::ok) {
        read += 1 + usize::from(record.frame.is_some()) + record.data.len();
        keyed.push(((record.pid, record.frame), record.data));
    }
    (keyed, message.get(read..).unwrap_or_default())
}

fn records(
    (recorded, a): (&[u8], Records<'_>),
    (found, b): (&[u8], Records<'_>),
    comparison: Comparison,
    out: &mut Differences,
) {
    let ((a, rest_of_a), (b, rest_of_b)) = (split(recorded, a), split(found, b));
    in_pairs(a, b, |(pid, frame), a, b| {
        let of = || match frame {
            None | Some(0) => String::new(),
            Some(frame) => format!(" (frame {frame})"),
        };
        parameter(pid, of, (a, b), comparison, out);
    });
    unread("unread data", rest_of_a, rest_of_b, comparison, out);
}

/// Data of a parameter; `of` stands behind its name.
pub(super) fn parameter(
    pid: Pid,
    of: impl Fn() -> String,
    (a, b): (Option<&[u8]>, Option<&[u8]>),
    comparison: Comparison,
    out: &mut Differences,
) {
    let Some(definition) = pid.definition() else {
        return;
    };
    let name = || match pid.is_mask() {
        true => format!(
            "mask of PIDs from ${:02X}{}",
            pid.number().saturating_add(1),
            of()
        ),
        false => format!("{}{}", definition.name, of()),
    };
    match (a, b) {
        (Some(a), Some(b)) => {
            for field in definition.fields {
                compare_field(definition, field, (a, b), name, comparison, out);
            }
        }
        (Some(_), None) => out.add(false, name, Change::Gone),
        (None, _) => out.add(false, name, Change::Appeared),
    }
}

fn compare_field(
    definition: &Definition,
    field: &Field,
    (a, b): (&[u8], &[u8]),
    name: impl Fn() -> String,
    comparison: Comparison,
    out: &mut Differences,
) {
    let (Some(a), Some(b)) = (field.decode(a), field.decode(b)) else {
        return;
    };
    if a == b {
        return;
    }
    let name = || match field.name {
        "" => name(),
        part => format!("{}: {part}", name()),
    };
    match (a, b) {
        (Value::Readiness(a), Value::Readiness(b)) => {
            readiness(definition.pid, a, b, comparison, out);
        }
        (Value::Mask(a), Value::Mask(b)) => {
            mask(
                Service::CurrentData,
                definition.pid.number(),
                Some(a),
                Some(b),
                out,
            );
        }
        (Value::Number(x, scaling), Value::Number(y, _)) => {
            let lives = definition.pid.number() != 0x01 && scaling.unit != Unit::Code;
            let tolerated = lives && comparison.lets_pass_scaled(x, y, &scaling);
            out.add_value(tolerated, name, a, b);
        }
        (a, b) => {
            // What an ECU was built for does not live.
            let lives = matches!(field.kind, Kind::Choice(_) | Kind::Flag | Kind::Bits)
                && a != Value::Absent
                && b != Value::Absent
                && !matches!(definition.pid.number(), 0x01 | 0x1C | 0x51 | 0x5F);
            out.add_value(lives && comparison.lets_states_pass(), name, a, b);
        }
    }
}

/// Readiness since the clear lasts; that of the driving cycle (PID $41) lives, which groups there are does not.
fn readiness(pid: Pid, a: Readiness, b: Readiness, comparison: Comparison, out: &mut Differences) {
    let groups = |readiness: Readiness| -> Vec<_> {
        let groups = readiness.groups();
        groups
            .map(|group| (group.name, (group.supported, group.complete)))
            .collect()
    };
    let say = |(supported, complete): (bool, bool)| match (supported, complete) {
        (false, _) => "not supported",
        (true, true) => "complete",
        (true, false) => "not complete",
    };
    let (lives, when) = match pid.number() {
        0x41 => (true, " this driving cycle"),
        _ => (false, ""),
    };
    in_pairs(groups(a), groups(b), |name, a, b| {
        let (a, b) = (a.unwrap_or_default(), b.unwrap_or_default());
        if say(a) != say(b) {
            let tolerated = lives && a.0 == b.0 && comparison.lets_states_pass();
            out.add_value(
                tolerated,
                || format!("readiness{when} of {name}:"),
                say(a),
                say(b),
            );
        }
    });
}

/// A mask of 32 numbers from `base + 1` on.
pub(super) fn mask(
    service: Service,
    base: u8,
    recorded: Option<u32>,
    found: Option<u32>,
    out: &mut Differences,
) {
    let what = service.parameter();
    let (Some(recorded), Some(found)) = (recorded, found) else {
        let change = if found.is_none() {
            Change::Gone
        } else {
            Change::Appeared
        };
        let subject = || format!("mask of {what}s from ${:02X}", base.saturating_add(1));
        return out.add(false, subject, change);
    };
    for place in 0..32_u8 {
        let of = |mask: u32| mask << place & 0x8000_0000 != 0;
        let change = match (of(recorded), of(found)) {
            (true, false) => Change::Gone,
            (false, true) => Change::Appeared,
            _ => continue,
        };
        let number = u16::from(base) + u16::from(place) + 1;
        let name = u8::try_from(number)
            .ok()
            .filter(|_| service == Service::CurrentData)
            .map(Pid::new);
        let name = name
            .and_then(Pid::definition)
            .filter(|definition| !definition.pid.is_mask())
            .map_or_else(String::new, |definition| format!(" ({})", definition.name));
        out.add(false, || format!("support of {what} ${number:02X}{name}"), change);
    }
}

fn codes(service: Service, a: Codes<'_>, b: Codes<'_>, out: &mut Differences) {
    let kind = service.kind_of_codes();
    let keyed = |codes: Codes<'_>| codes.iter().map(|code| (code, ())).collect();
    in_pairs(keyed(a), keyed(b), |code, a, b| {
        let change = match (a, b) {
            (Some(()), None) => Change::Gone,
            (None, _) => Change::Appeared,
            _ => return,
        };
        out.add(false, || format!("{kind} code {code}"), change);
    });
}

pub(super) fn tests(
    a: impl Iterator<Item = TestResult>,
    b: impl Iterator<Item = TestResult>,
    comparison: Comparison,
    out: &mut Differences,
) {
    let key = |result: TestResult| ((result.mid, result.tid), result);
    in_pairs(a.map(key).collect(), b.map(key).collect(), |(mid, tid), a, b| {
        let name = || match tid.test_name() {
            Some(test) => format!("{}, {test}", mid.name()),
            None => format!("{}, test {tid}", mid.name()),
        };
        match (a, b) {
            (Some(a), Some(b)) => test(&a, &b, name, comparison, out),
            (Some(_), None) => out.add(false, name, Change::Gone),
            (None, _) => out.add(false, name, Change::Appeared),
        }
    });
}

fn test(
    a: &TestResult,
    b: &TestResult,
    name: impl Fn() -> String,
    comparison: Comparison,
    out: &mut Differences,
) {
    if a == b {
        return;
    }
    if a.uasid != b.uasid {
        return out.add_value(false, || format!("unit of {}:", name()), a.uasid, b.uasid);
    }
    let verdict = |result: &TestResult| match result.verdict() {
        Some(true) => "passed",
        Some(false) => "failed",
        None => "not run since clear",
    };
    if a.verdict() != b.verdict() {
        out.add_value(false, || format!("{}:", name()), verdict(a), verdict(b));
    }
    if !a.has_run() || !b.has_run() {
        return;
    }
    let say = |result: &TestResult, raw: u16| {
        let of = TestResult {
            value: raw,
            ..*result
        };
        // A value of 0 between limits of 0 would read as not run.
        of.value()
            .map_or_else(|| format!("{raw:04X}"), |value| value.to_string())
    };
    if a.value != b.value {
        let tolerated = match (a.value(), b.value()) {
            (Some(Value::Number(x, scaling)), Some(Value::Number(y, _))) => {
                comparison.lets_pass_scaled(x, y, &scaling)
            }
            _ => comparison.lets_states_pass(),
        };
        out.add_value(tolerated, &name, say(a, a.value), say(b, b.value));
    }
    for (which, x, y) in [("lower", a.minimum, b.minimum), ("upper", a.maximum, b.maximum)] {
        if x != y {
            out.add_value(
                false,
                || format!("{which} limit of {}", name()),
                say(a, x),
                say(b, y),
            );
        }
    }
}

pub(super) fn information(
    recorded: &[u8],
    found: &[u8],
    (a, b): (Information<'_>, Information<'_>),
    comparison: Comparison,
    out: &mut Differences,
) {
    let info_type = a.info_type();
    let name = || info_type.to_string();
    match (a, b) {
        (Information::InUse(_) | Information::InUseCompression(_), _) => {
            let keyed =
                |information: &Information<'_>| -> Vec<_> { information.counters().enumerate().collect() };
            in_pairs(keyed(&a), keyed(&b), |place, a, b| {
                let named = |named: Option<&str>| match named {
                    Some(counter) => format!("counter of {counter}"),
                    None => format!("counter {}", place + 1),
                };
                match (a, b) {
                    (Some((name, x)), Some((_, y))) if x != y => {
                        let tolerated = comparison.lets_pass(x.into(), y.into(), 1.0);
                        out.add_value(tolerated, || named(name), x, y);
                    }
                    (Some((name, _)), None) => out.add(false, || named(name), Change::Gone),
                    (None, Some((name, _))) => out.add(false, || named(name), Change::Appeared),
                    _ => {}
                }
            });
        }
        _ if info_type != InfoType::PROTOCOL
            && let (Some(x), Some(y)) = (a.number(), b.number()) =>
        {
            out.add_value(comparison.lets_pass(x.into(), y.into(), 1.0), name, x, y);
        }
        (Information::Other(_, x), Information::Other(_, y)) => {
            unread(&name(), x, y, comparison, out);
        }
        _ => {
            let (a, b) = (describe_response(recorded), describe_response(found));
            let name = name();
            let bare = |text: &str| {
                text.strip_prefix(name.as_str())
                    .unwrap_or(text)
                    .trim()
                    .to_string()
            };
            let (a, b) = (bare(&a), bare(&b));
            if a == b {
                // Only filling bytes differ.
                out.add_value(false, || name.clone(), hex(recorded), hex(found));
            } else {
                out.add_value(false, || name.clone(), a, b);
            }
        }
    }
}
