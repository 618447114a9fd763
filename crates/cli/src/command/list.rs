//! `twotrip list`: what there is, from the tables that the parsers read.

mod broadcasts;
mod disturbances;
mod messages;

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;
use twotrip_ecu::Averaging;
use twotrip_harness::{Circuit, Input, Wire, WiringFault, WiringFaultKind};
use twotrip_obd::Dialect;
use twotrip_scenario::{
    Phrase, RepairOrder, Scenario, VehicleModel,
    file::USUAL_PROOF,
    findings::{self, Finding},
    phrase, shipped,
    vehicle::{
        self, MakerCode,
        ecus::{BusEntry, EcuEntry},
    },
};
use twotrip_sim::EcuSettings;
use twotrip_units::Speed;
use twotrip_vehicle::{
    Part, VehicleParams, Work,
    defect::{Entry, Size, catalogue},
    schedule,
};

use crate::{
    args::{self, ListWhat},
    exit::Failure,
    output::{self, PLAIN, STRONG, WIDTH},
    schema,
};

/// One line of a list.
#[derive(Debug, Serialize)]
struct Item {
    name: String,
    meaning: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    example: Option<String>,
    /// What may stand for the words in capitals.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    slots: BTreeMap<&'static str, String>,
}

impl Item {
    fn new(name: impl Into<String>, meaning: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            meaning: meaning.into(),
            example: None,
            slots: BTreeMap::new(),
        }
    }
}

/// Runs the command.
pub(super) fn run(args: &args::List) -> Result<(), Failure> {
    let items = match args.what {
        ListWhat::Scenarios => scenarios(),
        ListWhat::Vehicles => vehicles(),
        ListWhat::Defects => defects(),
        ListWhat::Parts => parts(),
        ListWhat::Drives => drives(),
        ListWhat::Phrases => phrases(phrase::help()),
        ListWhat::Services => messages::services(),
        ListWhat::Parameters => messages::parameters(),
        ListWhat::Events => phrases(phrase::events()),
        ListWhat::Broadcasts => return broadcasts::list(args.json),
        ListWhat::Disturbances => return disturbances::list(args.json),
        ListWhat::Schema => return output::json_pretty(&schema::scenario()),
        ListWhat::VehicleSchema => return output::json_pretty(&schema::vehicle()),
    };
    let mut told = BTreeSet::new();
    for item in &items {
        if args.json {
            output::json(item)?;
            continue;
        }
        output::line(&format!("{STRONG}{}{PLAIN}", item.name))?;
        for line in output::wrap(&item.meaning, 4, WIDTH) {
            output::line(&line)?;
        }
        if let Some(example) = &item.example {
            output::line(&format!("    example: {example}"))?;
        }
        // What has been said once is not said again.
        for (name, meaning) in &item.slots {
            if told.insert((name, meaning)) {
                for line in output::wrap(&format!("{name}: {meaning}"), 4, WIDTH) {
                    output::line(&line)?;
                }
            }
        }
    }
    Ok(())
}

fn scenarios() -> Vec<Item> {
    let meaning = |text: &str| {
        // The shipped ones are checked by a test; a bad one would show as empty.
        let scenario = Scenario::parse(text.as_bytes()).ok()?;
        let complaint = scenario.repair_order().map_or("", |order| order.complaint());
        Some(format!("{}. {complaint}", scenario.title()))
    };
    shipped::ALL
        .iter()
        .map(|shipped| Item::new(shipped.name, meaning(shipped.text).unwrap_or_default()))
        .collect()
}

/// What codes of the maker's own there are.
fn maker_codes(model: &VehicleModel) -> String {
    let say = |own: &MakerCode| {
        let meaning = own.meaning.as_deref().unwrap_or("without a public definition");
        let set = match own.with {
            Some(with) => format!("with {with}"),
            None => "by preload only".to_owned(),
        };
        format!("{} ({set}): {meaning}", own.code)
    };
    let all: Vec<String> = model.maker_codes().iter().map(say).collect();
    if all.is_empty() {
        String::new()
    } else {
        format!("; codes of the maker's own: {}", all.join("; "))
    }
}

/// Which results of its ECU are averaged.
fn averaged(averaging: &Averaging) -> String {
    let Averaging {
        engine_off_leak,
        leak,
        catalyst,
        front_sensor,
        egr_flow,
    } = *averaging;
    let named: Vec<&str> = [
        (engine_off_leak, "leak with the engine off"),
        (leak, "leak"),
        (catalyst, "catalyst"),
        (front_sensor, "front oxygen sensor response"),
        (egr_flow, "EGR flow"),
    ]
    .into_iter()
    .filter_map(|(averaged, name)| averaged.then_some(name))
    .collect();
    if named.is_empty() {
        "each result judged by itself".to_owned()
    } else {
        format!("results averaged: {}", named.join(", "))
    }
}

/// Bus and ECUs, where they are not the usual ones.
fn on_bus(model: &VehicleModel) -> String {
    let bus = model.bus();
    if model.ecus().len() == 1 && bus == BusEntry::default() {
        return String::new();
    }
    let named = |ecu: &EcuEntry| {
        let address = EcuSettings::of(ecu).identifiers(bus.identifiers);
        format!("{} {}/{}", ecu.acronym(), address.request, address.response)
    };
    let ecus: Vec<String> = model.ecus().iter().map(named).collect();
    let rate = bus.kbit_per_second;
    format!(
        "; {} identifiers, {rate} kbit/s: {}",
        bus.identifiers.word(),
        ecus.join(", ")
    )
}

fn vehicles() -> Vec<Item> {
    let described = |name: &str| {
        // The shipped ones are checked by a test; a bad one would show as empty.
        let model = vehicle::find(name)?;
        let (car, ecu) = (model.specification(), model.calibration());
        let firing: Vec<String> = car.firing_order[..car.cylinders()]
            .iter()
            .map(ToString::to_string)
            .collect();
        let banks = if car.banks() == 1 { "one bank" } else { "two banks" };
        let sensor = if car.wide_range {
            "wide-range"
        } else {
            "narrow-band"
        };
        let with = |fitted: bool| if fitted { "with" } else { "without" };
        Some(format!(
            "{}: {:.3} l, firing order {}, {banks}, {sensor} front sensor, {} exhaust-gas recirculation, {} cam \
             phaser; {:.0} kg, tank {:.0} l; {}{}; {}{}{}",
            model.title(),
            car.displacement.litres(),
            firing.join("-"),
            with(ecu.recirculation),
            with(ecu.phaser),
            car.mass.kilograms(),
            car.tank.litres(),
            model.regulation().key,
            asked_by(model.dialect()),
            averaged(&ecu.averaging),
            maker_codes(&model),
            on_bus(&model),
        ))
    };
    vehicle::SHIPPED
        .iter()
        .map(|shipped| Item::new(shipped.name, described(shipped.name).unwrap_or_default()))
        .collect()
}

/// The standard by which it is asked, where that is not the usual one.
const fn asked_by(dialect: Dialect) -> &'static str {
    match dialect {
        Dialect::Classic => "",
        Dialect::OnUds => "; asked by SAE J1979-2 (OBD on UDS)",
    }
}

fn defects() -> Vec<Item> {
    let orders: Vec<RepairOrder> = shipped::ALL
        .iter()
        .filter_map(|shipped| {
            Scenario::parse(shipped.text.as_bytes())
                .ok()?
                .repair_order()
                .cloned()
        })
        .collect();
    let mut items: Vec<Item> = catalogue()
        .map(|entry| {
            let part = entry.part.name();
            let (words, size) = match entry.size {
                Size::None => ("", String::new()),
                Size::Fixed { unit, amount } => ("", format!(" ({amount} {unit})")),
                Size::Amount { unit, range } => (" SIZE", format!(" ({} to {} {unit})", range[0], range[1])),
            };
            let cures: Vec<String> = entry
                .cures
                .iter()
                .map(|(work, part)| format!("{} {}", work.name(), part.name()))
                .collect();
            Item::new(
                format!("defect {part} {}{words}", entry.kind),
                format!(
                    "{}{size}{}; {}; cure: {}; proof: {}",
                    entry.description,
                    cars(entry),
                    found(entry),
                    cures.join(", or "),
                    proof(entry, &orders)
                ),
            )
        })
        .collect();
    items.extend(WiringFaultKind::ALL.map(wiring));
    items
}

/// The shipped vehicles that have the part, where not all do.
fn cars(entry: &Entry) -> String {
    let has = |name: &str| {
        vehicle::find(name).is_some_and(|model| VehicleParams::new(model.specification()).has(entry.part))
    };
    let shipped = vehicle::SHIPPED.iter().map(|shipped| shipped.name);
    let names: Vec<&str> = shipped.filter(|name| has(name)).collect();
    if names.len() == vehicle::SHIPPED.len() {
        return String::new();
    }
    format!("; only in {}", names.join(", "))
}

/// What a defect comes to, and from which size on.
fn found(entry: &Entry) -> String {
    let Some(finding) = findings::finding(entry) else {
        return "codes: not driven yet".to_owned();
    };
    let codes: Vec<&str> = finding.codes().collect();
    if codes.is_empty() {
        return "no monitor finds it".to_owned();
    }
    format!("codes: {}{}", codes.join(", "), zones(entry, &finding))
}

/// The sizes that are never found, those that are always found, and the grey zone in which it depends on the car.
fn zones(entry: &Entry, finding: &Finding) -> String {
    let Size::Amount { unit, range } = entry.size else {
        return String::new();
    };
    let is_end = |amount: &str| range.iter().any(|end| end.to_string() == amount);
    match (finding.never, finding.always) {
        (Some(never), Some(always)) => {
            format!(", never at {never} {unit}, always at {always} {unit}, at times between them (grey zone)")
        }
        (None, Some(always)) if is_end(always) => ", at every size".to_owned(),
        (None, Some(always)) => {
            format!(", always at {always} {unit}, at times where less is wrong (grey zone)")
        }
        (Some(never), None) => format!(", never at {never} {unit}, at times where more is wrong (grey zone)"),
        (None, None) => ", at times at any size (grey zone)".to_owned(),
    }
}

/// What proves the repair: as in the shipped order for this defect, else a cold start and both schedules.
fn proof(entry: &Entry, orders: &[RepairOrder]) -> String {
    let has = |phrase: &Phrase| matches!(phrase, Phrase::Defect(defect) if defect.entry() == entry);
    match orders.iter().find(|order| order.cause().iter().any(has)) {
        Some(order) => {
            let phrases: Vec<String> = order.proof().map(|phrase| phrase.to_string()).collect();
            phrases.join(", ")
        }
        None => USUAL_PROOF.join(", "),
    }
}

/// A fault that wires can have.
fn wiring(kind: WiringFaultKind) -> Item {
    let (words, size, example) = match kind {
        WiringFaultKind::Open => {
            let pulled_up: Vec<&str> = Circuit::ALL
                .into_iter()
                .filter(|circuit| matches!(circuit.input(), Input::PulledUp(_)))
                .map(Circuit::name)
                .collect();
            let up = pulled_up.join(", ");
            let size = format!(
                "5.00 V at the ECU for {up}; 0.45 V for oxygen sensors, 1.50 V if wide-range; 0.00 V for other sensors; what the \
                 ECU drives has no current; no messages of the gearbox controller without its supply, messages lost in \
                 bursts without the end of the data bus"
            );
            ("", size, "open on bumps")
        }
        WiringFaultKind::ShortToGround => (
            "",
            "0.00 V at the ECU; what it drives is on as long as the key is, but a coil does not fire, and the motor of the \
             EGR valve is switched off"
                .to_owned(),
            "short-to-ground",
        ),
        WiringFaultKind::ShortToSupply => (
            "",
            "5.00 V at the ECU; what it drives has 12 V on both sides and is off".to_owned(),
            "short-to-supply",
        ),
        WiringFaultKind::Resistance => {
            let [least, most] = WiringFault::RESISTANCE.map(|resistance| resistance.ohms());
            let size = format!("{least:.0} to {most:.0} ohm");
            (" OHMS", size, "resistance 500 ohm when hotter than 80 C")
        }
        WiringFaultKind::Bias => {
            let [lowest, highest] = WiringFault::BIAS.map(|offset| offset.volts());
            (" OFFSET", format!("{lowest} to {highest} V"), "bias 0.3 V")
        }
        WiringFaultKind::PulledDown => {
            let [lowest, highest] = WiringFault::PULLED_DOWN.map(|volts| volts.volts());
            let fed: Vec<&str> = Circuit::ALL
                .into_iter()
                .filter(|circuit| circuit.on_shared_supply())
                .map(Circuit::name)
                .collect();
            let size = format!("{lowest} to {highest} V; it feeds {}", fed.join(", "));
            (" VOLTAGE", size, "pulled-down 3.5 V")
        }
        WiringFaultKind::Swapped => (
            " OTHER",
            "each shows the other's signal, or follows the other's command; of what the ECU drives only its own kind fits"
                .to_owned(),
            "swapped-with tank-pressure-sensor",
        ),
    };
    let wires: Vec<&str> = Wire::ALL
        .into_iter()
        .filter(|wire| wire.can_be(kind))
        .map(Wire::name)
        .collect();
    let wire = wires.first().copied().unwrap_or_default();
    Item {
        example: Some(format!("defect wiring {wire} {example}")),
        ..Item::new(
            format!("defect wiring WIRE {}{words} [WHEN]", kind.name()),
            format!(
                "{} ({size}); WIRE: {}; WHEN, if not all the time: on bumps, when hotter than or colder than a \
                 temperature of the coolant, when load over a share, when wet (after `weather rain` or `wash`)",
                kind.description(),
                wires.join(", ")
            ),
        )
    }
}

fn parts() -> Vec<Item> {
    let work: Vec<&str> = Work::ALL.iter().map(|work| work.name()).collect();
    let parts = Part::ALL.iter().map(|part| {
        Item::new(
            part.name(),
            format!(
                "work: {}; to look at it: inspect {}",
                work.join(", "),
                part.name()
            ),
        )
    });
    let circuits = Wire::ALL.iter().map(|wire| {
        let name = wire.name();
        Item::new(
            format!("wiring {name}"),
            format!("work: mend wiring {name}; to measure it: measure {name}"),
        )
    });
    parts.chain(circuits).collect()
}

fn drives() -> Vec<Item> {
    let schedule = |schedule: &schedule::Schedule| {
        let (seconds, distance) = (schedule.duration().as_secs(), schedule.distance());
        let top = (0..schedule.samples())
            .map(|second| schedule.sample(second))
            .fold(Speed::ZERO, Speed::max);
        let mean = Speed::from_metres_per_second(distance.metres() / schedule.duration().as_secs_f64());
        let meaning = format!(
            "{}: {seconds} s, {:.2} km, mean {:.1} km/h, top {:.1} km/h",
            schedule.title(),
            distance.kilometres(),
            mean.kilometres_per_hour(),
            top.kilometres_per_hour()
        );
        Item::new(format!("drive {}", schedule.name()), meaning)
    };
    let mut items: Vec<Item> = schedule::Schedule::ALL.map(schedule).into();
    items.push(Item {
        example: Some("drive idle 60 s, 50 km/h for 5 min, stop".to_owned()),
        ..Item::new(
            "drive LEG, LEG, ...",
            "a plan of your own: idle TIME, rev ENGINE-SPEED for TIME, SPEED for TIME, full throttle to SPEED, coast to SPEED, stop",
        )
    });
    items
}

/// Phrases, or events.
fn phrases(all: Vec<phrase::Help>) -> Vec<Item> {
    let item = |help: phrase::Help| Item {
        example: Some(help.example.to_owned()),
        slots: help
            .slots
            .into_iter()
            .map(|slot| (slot.name, slot.meaning))
            .collect(),
        ..Item::new(help.pattern, help.meaning)
    };
    all.into_iter().map(item).collect()
}
