//! Second pass: from keys and values to a [`VehicleModel`], or to everything that is wrong.

mod data;
mod nodes;

use core::ops::Range;

use twotrip_ecu::{
    Averaging, Calibration,
    memory::Profile,
    monitors::CATALOGUE,
    server::{Identity, VinError},
};
use twotrip_obd::{Dialect, Dtc};
use twotrip_units::{Length, Mass, MassFlow, Volume};
use twotrip_vehicle::Specification;

use super::{
    MakerCode, VehicleModel,
    ecus::Role,
    format::{
        BORE, CALIBRATION_NAME, CYLINDERS, DISPLACEMENT, GEARS, INJECTOR, MAKER_CODES, MASS, OXYGEN,
        PROTOCOLS, SENSORS, TABLES, TANK, TYRE,
    },
};
use crate::{
    file::{
        check::{check_regulation, check_title, check_version, in_order, text_of},
        document::{self, Reader},
        format::Amount,
    },
    problem::{Expected, Problem, ProblemKind},
};

/// Reads and checks a file.
pub(super) fn check(file: &[u8]) -> Result<VehicleModel, Vec<Problem>> {
    let text = text_of(file).map_err(|problem| vec![problem])?;
    let document = document::parse(text).map_err(in_order)?;
    let mut problems = Vec::new();
    let reader = Reader::top(text, &document, TABLES, &mut problems);
    let model = check_document(&reader, &mut problems);
    match model {
        Some(model) if problems.is_empty() => Ok(model),
        _ => Err(in_order(problems)),
    }
}

/// Whether there is an engine in it.
pub(super) fn has_engine(text: &str) -> bool {
    let (table, _) = toml::de::DeTable::parse_recoverable(text);
    table.get_ref().iter().any(|(name, _)| name.get_ref() == "engine")
}

/// The whole file. `None` only where a problem was reported.
fn check_document(file: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<VehicleModel> {
    // Every line reads on after a problem, so that the next lines report theirs.
    check_version(file, problems);
    let title = file
        .required("title", Reader::text, problems)
        .and_then(|title| check_title(&title, problems));
    let dialect = check_protocol(file, problems);
    let regulation = check_regulation(file, problems);
    let engine = file
        .required("engine", Reader::table, problems)
        .map(|engine| check_engine(&engine, problems));
    let exhaust = file
        .required("exhaust", Reader::table, problems)
        .map(|exhaust| check_exhaust(&exhaust, problems));
    let body = file
        .required("body", Reader::table, problems)
        .map(|body| check_body(&body, problems));
    let identity = file
        .required("identity", Reader::table, problems)
        .map(|identity| check_identity(&identity, problems));
    let averaging = if file.has("averaging") {
        file.table("averaging", problems)
            .and_then(|table| check_averaging(&table, problems))
    } else {
        Some(Averaging::USUAL)
    };
    let maker_codes = check_maker_codes(file, problems);
    let bus = nodes::check_bus(file, problems);
    let ecus = nodes::check_ecus(file, dialect.unwrap_or_default(), problems);
    let (engine, (wide_range, oxygen_capacity)) = (engine??, exhaust??);
    let (vin, calibration_name) = identity??;
    let ecus = ecus?;
    let specification = Specification {
        displacement: engine.displacement,
        firing_order: engine.firing_order,
        second_bank: engine.second_bank,
        throttle_bore: engine.throttle_bore,
        injector_flow: engine.injector_flow,
        recirculation: engine.recirculation,
        cam_phaser: engine.phaser,
        wide_range,
        oxygen_capacity,
        transmission_ecu: ecus.iter().any(|ecu| ecu.role == Role::Transmission),
        ..body??
    };
    Some(VehicleModel {
        title: title?,
        dialect: dialect?,
        regulation: regulation?.unwrap_or(&Profile::US_2010),
        specification,
        calibration: Calibration {
            wide_range,
            averaging: averaging?,
            ..engine
        },
        vin,
        calibration_name,
        maker_codes: maker_codes?,
        bus: bus?,
        ecus,
    })
}

/// The dialect of the car's ECUs; the classic one, if nothing is said.
fn check_protocol(file: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Dialect> {
    if !file.has("protocol") {
        return Some(Dialect::Classic);
    }
    let word = file.text("protocol", problems)?;
    let known = Dialect::from_name(word.value);
    if known.is_none() {
        let place = word.place(0..word.value.len());
        let words = PROTOCOLS.iter().map(|&name| Expected::Word(name));
        problems.push(Problem::new(ProblemKind::UnknownWord("protocol"), place, word.value).expecting(words));
    }
    known
}

fn check_engine(engine: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Calibration> {
    let displacement = amount(engine, "displacement", &DISPLACEMENT, problems);
    let firing_order = check_firing_order(engine, problems);
    let second_bank = check_second_bank(engine, firing_order, problems);
    let throttle_bore = amount(engine, "throttle-bore", &BORE, problems);
    let injector_flow = amount(engine, "injector-flow", &INJECTOR, problems);
    let recirculation = fitted(engine, "exhaust-gas-recirculation", problems);
    let cam_phaser = fitted(engine, "cam-phaser", problems);
    Some(Calibration {
        displacement: Volume::from_litres(displacement?),
        firing_order: firing_order?,
        second_bank: second_bank?,
        throttle_bore: Length::from_millimetres(throttle_bore?),
        injector_flow: MassFlow::from_grams_per_second(injector_flow?),
        recirculation: recirculation?,
        phaser: cam_phaser?,
        wide_range: false,
        averaging: Averaging::USUAL,
    })
}

/// Which monitors judge means; what is left out is as usual.
fn check_averaging(table: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Averaging> {
    let mut flag = |key: &'static str, usual: bool| {
        if table.has(key) {
            table.flag(key, problems)
        } else {
            Some(usual)
        }
    };
    let usual = Averaging::USUAL;
    let engine_off_leak = flag("engine-off-leak", usual.engine_off_leak);
    let leak = flag("leak", usual.leak);
    let catalyst = flag("catalyst", usual.catalyst);
    let front_sensor = flag("front-sensor", usual.front_sensor);
    let egr_flow = flag("egr-flow", usual.egr_flow);
    Some(Averaging {
        engine_off_leak: engine_off_leak?,
        leak: leak?,
        catalyst: catalyst?,
        front_sensor: front_sensor?,
        egr_flow: egr_flow?,
    })
}

/// Whether something is there; it is, if nothing is said.
fn fitted(table: &Reader<'_, '_>, key: &'static str, problems: &mut Vec<Problem>) -> Option<bool> {
    if table.has(key) {
        table.flag(key, problems)
    } else {
        Some(true)
    }
}

/// Cylinders with their places: whole numbers from 1 to the most; and the place of the list.
fn cylinders(
    engine: &Reader<'_, '_>,
    key: &'static str,
    [fewest, most]: [usize; 2],
    problems: &mut Vec<Problem>,
) -> Option<(Vec<u8>, Range<usize>)> {
    let (numbers, place) = engine.numbers(key, problems)?;
    if !(fewest..=most).contains(&numbers.len()) {
        let wanted = Expected::text(format!("{fewest} to {most} cylinders"));
        let found = engine.written(place.clone());
        problems.push(Problem::new(ProblemKind::OutOfRange(key), place, found).expecting([wanted]));
        return None;
    }
    let mut cylinders = Vec::new();
    for (number, span) in numbers {
        let cylinder = (1..=6_u8).find(|&cylinder| (f64::from(cylinder) - number).abs() < 1e-9);
        match cylinder {
            Some(cylinder) if !cylinders.contains(&cylinder) => cylinders.push(cylinder),
            _ => {
                let wanted = Expected::text("each cylinder once: 1, 2, 3 ...");
                let found = engine.written(span.clone());
                problems.push(Problem::new(ProblemKind::OutOfRange(key), span, found).expecting([wanted]));
                return None;
            }
        }
    }
    Some((cylinders, place))
}

fn check_firing_order(engine: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<[u8; CYLINDERS]> {
    const KEY: &str = "firing-order";
    let (order, place) = engine.required(
        KEY,
        |engine, key, problems| cylinders(engine, key, [3, CYLINDERS], problems),
        problems,
    )?;
    if order.iter().any(|&cylinder| usize::from(cylinder) > order.len()) {
        let wanted = Expected::text(format!("the cylinders 1 to {}, each once", order.len()));
        let found = engine.written(place.clone());
        problems.push(Problem::new(ProblemKind::OutOfRange(KEY), place, found).expecting([wanted]));
        return None;
    }
    let mut firing_order = [0; CYLINDERS];
    firing_order[..order.len()].copy_from_slice(&order);
    Some(firing_order)
}

fn check_second_bank(
    engine: &Reader<'_, '_>,
    firing_order: Option<[u8; CYLINDERS]>,
    problems: &mut Vec<Problem>,
) -> Option<[bool; CYLINDERS]> {
    const KEY: &str = "bank-2";
    let mut second_bank = [false; CYLINDERS];
    if !engine.has(KEY) {
        return Some(second_bank);
    }
    let (bank, place) = cylinders(engine, KEY, [1, CYLINDERS / 2], problems)?;
    let count = firing_order?.iter().filter(|&&cylinder| cylinder != 0).count();
    let fits = |&cylinder: &u8| cylinder != 1 && usize::from(cylinder) <= count;
    if bank.len() * 2 != count || !bank.iter().all(fits) {
        let wanted = Expected::text("half of the engine's cylinders, and not the first");
        let found = engine.written(place.clone());
        problems.push(Problem::new(ProblemKind::OutOfRange(KEY), place, found).expecting([wanted]));
        return None;
    }
    for cylinder in bank {
        second_bank[usize::from(cylinder) - 1] = true;
    }
    Some(second_bank)
}

/// Whether the front sensors are wide-range ones, and the oxygen that a catalyst holds.
fn check_exhaust(exhaust: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<(bool, Mass)> {
    let kind = if exhaust.has("front-sensor") {
        exhaust.text("front-sensor", problems).and_then(|word| {
            let known = SENSORS.iter().position(|&sensor| sensor == word.value);
            if known.is_none() {
                let place = word.place(0..word.value.len());
                let words = SENSORS.iter().map(|&sensor| Expected::Word(sensor));
                problems.push(
                    Problem::new(ProblemKind::UnknownWord("front sensor"), place, word.value)
                        .expecting(words),
                );
            }
            known
        })
    } else {
        Some(0)
    };
    let capacity = amount(exhaust, "oxygen-capacity", &OXYGEN, problems);
    Some((kind? == 1, Mass::from_grams(capacity?)))
}

/// The car around the engine; what the engine is stays that of the compact car.
fn check_body(body: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Specification> {
    let mass = amount(body, "mass", &MASS, problems);
    let road_load = numbers::<3>(body, "road-load", [0.0, 1000.0], problems);
    let ratios = numbers::<GEARS>(body, "gear-ratios", [0.3, 7.0], problems);
    let final_drive = body
        .required("final-drive", Reader::number, problems)
        .and_then(|(number, span)| in_range(body, "final-drive", (number, span), [1.5, 7.0], problems));
    let tyre_radius = amount(body, "tyre-radius", &TYRE, problems);
    let tank = amount(body, "tank", &TANK, problems);
    Some(Specification {
        mass: Mass::from_kilograms(mass?),
        road_load: road_load?,
        ratios: ratios?,
        final_drive: final_drive?,
        tyre_radius: Length::from_millimetres(tyre_radius?),
        tank: Volume::from_litres(tank?),
        ..Specification::compact_2_0()
    })
}

/// VIN and beginning of the calibration's name.
fn check_identity(identity: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<(String, String)> {
    let vin = identity.required("vin", Reader::text, problems).and_then(|vin| {
        match Identity::read_vin(vin.value) {
            Ok(_) => Some(vin.value.to_owned()),
            Err(error) => {
                let digit = match error {
                    VinError::CheckDigit(_) => vin.place(8..9),
                    _ => vin.place(0..vin.value.len()),
                };
                let found = identity.written(digit.clone());
                let problem = Problem::new(ProblemKind::OutOfRange("vin"), digit, found);
                problems.push(problem.expecting([Expected::text(error.to_string())]));
                None
            }
        }
    });
    let name = identity
        .required("calibration", Reader::text, problems)
        .and_then(|name| {
            let fits = |byte: u8| byte.is_ascii_uppercase() || byte.is_ascii_digit() || byte == b'-';
            if (1..=CALIBRATION_NAME).contains(&name.value.len()) && name.value.bytes().all(fits) {
                return Some(name.value.to_owned());
            }
            let wanted = Expected::text(format!(
                "1 to {CALIBRATION_NAME} capital letters, digits and hyphens"
            ));
            let place = name.place(0..name.value.len());
            problems.push(
                Problem::new(ProblemKind::OutOfRange("calibration"), place, name.value).expecting([wanted]),
            );
            None
        });
    Some((vin?, name?))
}

/// The codes of the maker's own. `None` only where a problem was reported.
fn check_maker_codes(file: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Vec<MakerCode>> {
    let tables = file.tables("maker-code", "codes of the maker's own", MAKER_CODES, problems);
    let mut codes: Vec<MakerCode> = Vec::new();
    let mut good = true;
    for table in tables {
        let Some(own) = check_maker_code(&table, &codes, problems) else {
            good = false;
            continue;
        };
        codes.push(own);
    }
    good.then_some(codes)
}

fn check_maker_code(
    table: &Reader<'_, '_>,
    before: &[MakerCode],
    problems: &mut Vec<Problem>,
) -> Option<MakerCode> {
    let code = table.required("code", Reader::text, problems).and_then(|text| {
        let own = |code: &Dtc| {
            let powertrain = code.to_bytes()[0] < 0x40;
            powertrain && code.is_makers_own() && before.iter().all(|other| other.code != *code)
        };
        let code = text.value.parse().ok().filter(own);
        if code.is_none() {
            let wanted = Expected::text("P1000 to P1FFF or P3000 to P33FF, each once");
            let place = text.place(0..text.value.len());
            let problem = Problem::new(ProblemKind::OutOfRange("code"), place, text.value);
            problems.push(problem.expecting([wanted]));
        }
        code
    });
    let meaning = if table.has("meaning") {
        let text = table.text("meaning", problems);
        text.and_then(|text| check_title(&text, problems)).map(Some)
    } else {
        Some(None)
    };
    let with = if table.has("with") {
        table.text("with", problems).and_then(|text| {
            let watched = |code: &Dtc| {
                let known = CATALOGUE.code(*code);
                known.is_some_and(|known| !known.logic.is_similar_conditions())
            };
            let code = text.value.parse().ok().filter(watched);
            if code.is_none() {
                let wanted =
                    Expected::text("a code that the ECU has a monitor for, but for misfire and fuel trim");
                let place = text.place(0..text.value.len());
                let problem = Problem::new(ProblemKind::OutOfRange("with"), place, text.value);
                problems.push(problem.expecting([wanted]));
            }
            code.map(Some)
        })
    } else {
        Some(None)
    };
    Some(MakerCode {
        code: code?,
        meaning: meaning?,
        with: with?,
    })
}

/// An amount with its unit, in the first unit.
fn amount(
    table: &Reader<'_, '_>,
    key: &'static str,
    amount: &'static Amount,
    problems: &mut Vec<Problem>,
) -> Option<f64> {
    amount_of(table, key, amount, problems).map(|(value, _)| value)
}

/// The same with its place.
fn amount_of(
    table: &Reader<'_, '_>,
    key: &'static str,
    amount: &'static Amount,
    problems: &mut Vec<Problem>,
) -> Option<(f64, Range<usize>)> {
    let text = table.required(key, Reader::text, problems)?;
    let written = text.value.trim();
    let begins = text.value.len() - text.value.trim_start().len();
    let digits = written
        .find(|character: char| !(character.is_ascii_digit() || character == '.'))
        .unwrap_or(written.len());
    let (number, unit) = written.split_at(digits);
    let Ok(number) = number.parse::<f64>() else {
        let place = text.place(begins..begins + written.len());
        let example = Expected::text(format!("a number and a unit, as in `1 {}`", amount.units[0].0));
        problems.push(Problem::new(ProblemKind::NotANumber(key), place, written).expecting([example]));
        return None;
    };
    let unit_begins = begins + digits + (unit.len() - unit.trim_start().len());
    let unit = unit.trim();
    let Some((_, factor)) = amount.units.iter().find(|(name, _)| *name == unit) else {
        let place = text.place(unit_begins..unit_begins + unit.len());
        let kind = if unit.is_empty() {
            ProblemKind::Missing("the unit")
        } else {
            ProblemKind::UnknownUnit(key)
        };
        let units = amount.units.iter().map(|&(name, _)| Expected::Word(name));
        problems.push(Problem::new(kind, place, unit).expecting(units));
        return None;
    };
    let value = number * factor;
    let [least, most] = amount.range;
    if !(least..=most).contains(&value) {
        let wanted = Expected::text(format!("{least} to {most} {}", amount.units[0].0));
        let place = text.place(begins..begins + written.len());
        problems.push(Problem::new(ProblemKind::OutOfRange(key), place, written).expecting([wanted]));
        return None;
    }
    Some((value, text.place(begins..begins + written.len())))
}

fn in_range(
    table: &Reader<'_, '_>,
    key: &'static str,
    (number, span): (f64, Range<usize>),
    [least, most]: [f64; 2],
    problems: &mut Vec<Problem>,
) -> Option<f64> {
    if (least..=most).contains(&number) {
        return Some(number);
    }
    let wanted = Expected::text(format!("{least} to {most}"));
    let found = table.written(span.clone());
    problems.push(Problem::new(ProblemKind::OutOfRange(key), span, found).expecting([wanted]));
    None
}

/// A list of so many numbers.
fn numbers<const N: usize>(
    table: &Reader<'_, '_>,
    key: &'static str,
    range: [f64; 2],
    problems: &mut Vec<Problem>,
) -> Option<[f64; N]> {
    let (list, place) = table.required(key, Reader::numbers, problems)?;
    if list.len() != N {
        let wanted = Expected::text(format!("{N} numbers"));
        let found = table.written(place.clone());
        problems.push(Problem::new(ProblemKind::OutOfRange(key), place, found).expecting([wanted]));
        return None;
    }
    let mut numbers = [0.0; N];
    for (slot, number) in numbers.iter_mut().zip(list) {
        *slot = in_range(table, key, number, range, problems)?;
    }
    Some(numbers)
}
