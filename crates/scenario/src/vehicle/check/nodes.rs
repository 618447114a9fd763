//! The tables `[bus]` and `[[ecu]]`: which ECUs there are, by which identifiers, and what is listed of those that are
//! not simulated.

use core::{ops::Range, time::Duration};

use twotrip_ecu::listed::{self, ListedEcu, Listing};
use twotrip_obd::{Dialect, Service};

use super::{amount_of, data};
use crate::{
    file::{
        check::check_codes,
        document::{Reader, Text},
    },
    problem::{Expected, Problem, ProblemKind},
    vehicle::{
        ecus::{BusEntry, EcuEntry, Identifiers, Role},
        format::{ACRONYM, BIT_RATES, DELAY, ECU_NAME, ECUS, IDENTIFIERS, JITTER, LISTED_CALIBRATION, ROLES},
    },
};

/// Address of the external test equipment (ISO 15765-4, from memory).
const TESTER: u8 = 0xF1;
/// Address of the transmission ECU (common, from memory).
const TRANSMISSION: u8 = 0x18;
/// Where addresses of listed ECUs begin that are not given: our choice.
const LISTED_FROM: u8 = 0x40;
/// Latest start of an answer: P2 of 50 ms (ISO 15765-4), less what bus and computer need of it.
const LATEST: Duration = Duration::from_millis(40);
/// What to do about one that is taken.
const FREE: &str = "without this key it gets the next that is free";
/// What is said of listed ECUs only.
const OF_LISTED: [&str; 8] = [
    "acronym",
    "name",
    "calibration",
    "services",
    "data",
    "confirmed",
    "pending",
    "permanent",
];

/// The bus; as usual where the file does not say. `None` only where a problem was reported.
pub(super) fn check_bus(file: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<BusEntry> {
    let usual = BusEntry::default();
    if !file.has("bus") {
        return Some(usual);
    }
    let bus = file.table("bus", problems)?;
    let identifiers = if bus.has("identifiers") {
        bus.text("identifiers", problems)
            .and_then(|word| one_of(&word, "size of identifiers", &IDENTIFIERS, problems))
            .and_then(Identifiers::find)
    } else {
        Some(usual.identifiers)
    };
    let bit_rate = if bus.has("bit-rate") {
        check_bit_rate(&bus, problems)
    } else {
        Some(usual.kbit_per_second)
    };
    Some(BusEntry {
        identifiers: identifiers?,
        kbit_per_second: bit_rate?,
    })
}

fn check_bit_rate(bus: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<u32> {
    let (number, place) = bus.integer("bit-rate", problems)?;
    let rate = BIT_RATES.into_iter().find(|&rate| i128::from(rate) == number);
    if rate.is_none() {
        let found = bus.written(place.clone());
        let rates = BIT_RATES.map(|rate| Expected::text(format!("{rate} (kbit/s)")));
        problems.push(Problem::new(ProblemKind::OutOfRange("bit-rate"), place, found).expecting(rates));
    }
    rate.and_then(|rate| u32::try_from(rate).ok())
}

/// The ECUs; the engine's alone where the file names none. `None` only where a problem was reported.
pub(super) fn check_ecus(
    file: &Reader<'_, '_>,
    dialect: Dialect,
    problems: &mut Vec<Problem>,
) -> Option<Vec<EcuEntry>> {
    let tables = file.tables("ecu", "ECUs", ECUS, problems);
    if tables.is_empty() {
        return Some(vec![EcuEntry::engine()]);
    }
    let mut ecus: Vec<EcuEntry> = Vec::new();
    let mut good = true;
    for table in tables {
        match check_ecu(&table, dialect, &ecus, problems) {
            Some(ecu) => ecus.push(ecu),
            None => good = false,
        }
    }
    good.then_some(ecus)
}

fn check_ecu(
    table: &Reader<'_, '_>,
    dialect: Dialect,
    before: &[EcuEntry],
    problems: &mut Vec<Problem>,
) -> Option<EcuEntry> {
    let role = table.required("role", Reader::text, problems).and_then(|text| {
        let role = one_of(&text, "role", &ROLES, problems)?;
        let misfit = match (role, before) {
            ("engine", []) => None,
            ("engine", _) => Some("is the role of the first ECU and of no other"),
            ("transmission", [_, ..]) if before.iter().any(|other| other.role == Role::Transmission) => {
                Some("is the role of one ECU only")
            }
            (_, []) => Some("is no role for the first ECU, which is the engine's"),
            _ => None,
        };
        match misfit {
            None => Some(role),
            Some(why) => {
                problems.push(misfitting(&text, why));
                None
            }
        }
    });
    let number = check_number(table, role, before, problems);
    let address = check_address(table, role, before, problems);
    let reply = check_reply(table, problems);
    let role = match role? {
        "engine" => {
            only_of_listed(table, problems)?;
            Role::Engine
        }
        "transmission" => {
            only_of_listed(table, problems)?;
            Role::Transmission
        }
        _ => Role::Listed(Box::new(ListedEcu::new(check_listing(table, dialect, problems)?))),
    };
    Some(EcuEntry {
        role,
        number: number?,
        address: address?,
        reply: reply?,
    })
}

/// Reports what only a listed ECU can be told. `None` where there was such a thing.
fn only_of_listed(table: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<()> {
    let before = problems.len();
    for key in OF_LISTED.into_iter().filter(|key| table.has(key)) {
        if let Some(text) = table.text(key, problems) {
            let hint =
                format!("`{key}` is said of listed ECUs; this one finds out by itself what it reports");
            problems.push(misfitting(&text, "is for listed ECUs").hint(hint));
        }
    }
    (problems.len() == before).then_some(())
}

fn misfitting(text: &Text<'_>, why: &'static str) -> Problem {
    let place = text.place(0..text.value.len());
    Problem::new(ProblemKind::Misfit(why), place, text.value)
}

/// One of some words.
fn one_of(
    text: &Text<'_>,
    what: &'static str,
    words: &'static [&'static str],
    problems: &mut Vec<Problem>,
) -> Option<&'static str> {
    let found = words.iter().copied().find(|&word| word == text.value);
    if found.is_none() {
        let place = text.place(0..text.value.len());
        let expected = words.iter().map(|&word| Expected::Word(word));
        problems.push(Problem::new(ProblemKind::UnknownWord(what), place, text.value).expecting(expected));
    }
    found
}

/// A number in capital hexadecimal digits.
fn hexadecimal(text: &str, digits: usize) -> Option<u16> {
    let fits = |byte: u8| byte.is_ascii_digit() || matches!(byte, b'A'..=b'F');
    if text.len() != digits || !text.bytes().all(fits) {
        return None;
    }
    u16::from_str_radix(text, 16).ok()
}

/// The number of an ECU on 11 bits, by the identifier of its requests.
fn check_number(
    table: &Reader<'_, '_>,
    role: Option<&str>,
    before: &[EcuEntry],
    problems: &mut Vec<Problem>,
) -> Option<u8> {
    let taken = |number: u8| before.iter().any(|other| other.number == number);
    if !table.has("request") {
        let from = u8::from(role != Some("engine"));
        return (from..8).find(|&number| !taken(number));
    }
    let text = table.text("request", problems)?;
    let number = hexadecimal(text.value, 3)
        .filter(|id| (0x7E0..=0x7E7).contains(id))
        .and_then(|id| u8::try_from(id - 0x7E0).ok());
    match number {
        Some(number) if taken(number) => {
            problems.push(misfitting(&text, "is another ECU's identifier").hint(FREE));
            None
        }
        Some(number) => Some(number),
        None => {
            let wanted = Expected::text("7E0 to 7E7; answers go by the identifier 8 above");
            let place = text.place(0..text.value.len());
            let problem = Problem::new(ProblemKind::OutOfRange("request"), place, text.value);
            problems.push(problem.expecting([wanted]));
            None
        }
    }
}

/// The address of an ECU on 29 bits.
fn check_address(
    table: &Reader<'_, '_>,
    role: Option<&str>,
    before: &[EcuEntry],
    problems: &mut Vec<Problem>,
) -> Option<u8> {
    let taken = |address: u8| before.iter().any(|other| other.address == address);
    if !table.has("address") {
        let from = match role {
            Some("engine") => EcuEntry::engine().address,
            Some("transmission") => TRANSMISSION,
            _ => LISTED_FROM,
        };
        return (from..TESTER).find(|&address| !taken(address));
    }
    let text = table.text("address", problems)?;
    let address = hexadecimal(text.value, 2).and_then(|address| u8::try_from(address).ok());
    match address {
        Some(address) if taken(address) => {
            problems.push(misfitting(&text, "is another ECU's address").hint(FREE));
            None
        }
        Some(TESTER) => {
            problems.push(misfitting(&text, "is the tester's address"));
            None
        }
        Some(address) => Some(address),
        None => {
            let wanted = Expected::text("two hexadecimal digits, such as 28");
            let place = text.place(0..text.value.len());
            let problem = Problem::new(ProblemKind::OutOfRange("address"), place, text.value);
            problems.push(problem.expecting([wanted]));
            None
        }
    }
}

/// Least and greatest delay of answers; the inner `None` if nothing is said.
fn check_reply(table: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Option<(Duration, Duration)>> {
    if !table.has("reply-delay") && !table.has("jitter") {
        return Some(None);
    }
    let least = amount_of(table, "reply-delay", &DELAY, problems).map(|(millis, _)| millis);
    let jitter = if table.has("jitter") {
        amount_of(table, "jitter", &JITTER, problems)
    } else {
        Some((0.0, 0..0))
    };
    let (least, (jitter, place)) = (least?, jitter?);
    let millis = |millis: f64| Duration::from_secs_f64(millis / 1e3);
    let greatest = millis(least + jitter);
    if greatest > LATEST {
        let found = table.written(place.clone());
        let wanted = Expected::text(format!(
            "at most {} ms with the delay before it: an answer begins within 50 ms (P2)",
            LATEST.as_millis()
        ));
        problems.push(Problem::new(ProblemKind::OutOfRange("jitter"), place, found).expecting([wanted]));
        return None;
    }
    Some(Some((millis(least), greatest)))
}

/// What is listed of an ECU.
fn check_listing(table: &Reader<'_, '_>, dialect: Dialect, problems: &mut Vec<Problem>) -> Option<Listing> {
    let acronym = label(table, "acronym", ACRONYM, is_of_acronym, problems);
    let name = label(
        table,
        "name",
        ECU_NAME,
        |byte| (b' '..=b'~').contains(&byte),
        problems,
    );
    let calibration = label(table, "calibration", LISTED_CALIBRATION, is_of_label, problems);
    let services = if table.has("services") {
        table
            .text("services", problems)
            .and_then(|text| check_services(&text, dialect, problems))
    } else {
        Some(listed::services(dialect).to_vec())
    };
    let data = if table.has("data") {
        table
            .text("data", problems)
            .and_then(|text| data::check(&text, problems))
    } else {
        Some(Vec::new())
    };
    let mut codes = |key: &'static str| {
        if !table.has(key) {
            return Some(Vec::new());
        }
        let before = problems.len();
        let text = table.text(key, problems)?;
        let codes = check_codes(&text, problems);
        (problems.len() == before).then_some(codes)
    };
    let [confirmed, pending, permanent] = ["confirmed", "pending", "permanent"].map(&mut codes);
    let mut ecu_name = [0; 20];
    let (acronym, text) = (acronym?, name?);
    ecu_name[..acronym.len()].copy_from_slice(acronym.as_bytes());
    ecu_name[ACRONYM] = b'-';
    ecu_name[ACRONYM + 1..][..text.len()].copy_from_slice(text.as_bytes());
    let mut calibration_id = [0; LISTED_CALIBRATION];
    let calibration = calibration?;
    calibration_id[..calibration.len()].copy_from_slice(calibration.as_bytes());
    Some(Listing {
        dialect,
        services: services?,
        data: data?,
        name: ecu_name,
        calibration_id,
        confirmed: confirmed?,
        pending: pending?,
        permanent: permanent?,
    })
}

const fn is_of_acronym(byte: u8) -> bool {
    byte.is_ascii_uppercase() || byte.is_ascii_digit()
}

const fn is_of_label(byte: u8) -> bool {
    is_of_acronym(byte) || byte == b'-'
}

/// A short text of some characters.
fn label<'t>(
    table: &Reader<'t, '_>,
    key: &'static str,
    most: usize,
    fits: impl Fn(u8) -> bool,
    problems: &mut Vec<Problem>,
) -> Option<&'t str> {
    let text = table.required(key, Reader::text, problems)?;
    if (1..=most).contains(&text.value.len()) && text.value.bytes().all(fits) {
        return Some(text.value);
    }
    let wanted = Expected::text(match key {
        "name" => format!("1 to {most} characters of ASCII"),
        "acronym" => format!("1 to {most} capital letters and digits"),
        _ => format!("1 to {most} capital letters, digits and hyphens"),
    });
    let place = text.place(0..text.value.len());
    problems.push(Problem::new(ProblemKind::OutOfRange(key), place, text.value).expecting([wanted]));
    None
}

fn check_services(text: &Text<'_>, dialect: Dialect, problems: &mut Vec<Problem>) -> Option<Vec<Service>> {
    let all = listed::services(dialect);
    let hint = match dialect {
        Dialect::Classic => {
            "a listed ECU has no freeze frame, no test results and nothing to control: services 02, 06 and 08"
        }
        Dialect::OnUds => "by SAE J1979-2; a listed ECU has nothing to control: service 31",
    };
    let mut services = Vec::new();
    let before = problems.len();
    for (place, word) in words(text.value) {
        let service = hexadecimal(word, 2)
            .and_then(|number| u8::try_from(number).ok())
            .map(Service::from_byte)
            .filter(|service| all.contains(service) && !services.contains(service));
        match service {
            Some(service) => services.push(service),
            None => {
                let known: Vec<String> = all
                    .iter()
                    .map(|service| format!("{:02X}", service.to_byte()))
                    .collect();
                let wanted = Expected::text(format!("{}, each once", known.join(", ")));
                let problem = Problem::new(ProblemKind::UnknownWord("service"), text.place(place), word);
                problems.push(problem.expecting([wanted]).hint(hint));
            }
        }
    }
    if services.is_empty() && problems.len() == before {
        let problem = Problem::new(ProblemKind::Empty("services"), text.span.clone(), "");
        problems.push(problem.hint("leave the key out for all services that a listed ECU can have"));
    }
    (problems.len() == before).then_some(services)
}

/// The words of a text with their places.
fn words(text: &str) -> impl Iterator<Item = (Range<usize>, &str)> {
    let mut end = 0;
    text.split_ascii_whitespace().map(move |word| {
        // Nothing but white space stands before it.
        let start = end + text[end..].find(word).unwrap_or(0);
        end = start + word.len();
        (start..end, word)
    })
}
