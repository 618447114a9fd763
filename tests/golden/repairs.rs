//! Every shipped fault as a repair order: its codes and no others, no repair but the right one, and a proof that proves.
//!
//! Five runs of each scenario that names its codes: without its defects (no code), as told (its codes, and the freeze
//! frame in the state that favours the fault), after each trap (the code comes back), repaired and cleared (the monitor
//! runs and passes), repaired and not cleared (it heals). What names a symptom shows it while it is broken, also after
//! each trap, and no more once it is mended; a fault that sets no code is judged by that alone.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Mutex,
};

use twotrip_ecu::{memory::FaultMemory, transmission::Transmission};
use twotrip_scenario::{
    Phrase, RepairOrder, Scenario,
    phrase::{Claim, Quantity, Source},
    shipped,
};
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_tests::exceptions;
use twotrip_units::BusInstant;

use crate::desk::Desk;

fn desk(scenario: &Scenario) -> Desk {
    let settings = Settings::of(scenario, scenario.seed(), Timing::FAST);
    Desk {
        car: Simulator::new(settings),
        now: BusInstant::ZERO,
    }
}

fn live(desk: &mut Desk, name: &str, phrases: impl IntoIterator<Item = Phrase>) {
    let phrases: Vec<String> = phrases.into_iter().map(|phrase| phrase.to_string()).collect();
    let outcomes = desk.outcomes(&phrases.iter().map(String::as_str).collect::<Vec<_>>());
    for (phrase, outcome) in phrases.iter().zip(outcomes) {
        assert!(outcome.ok, "{name}: {phrase}: {}", outcome.text);
    }
}

/// Pending and confirmed codes.
fn stored(desk: &Desk) -> BTreeSet<String> {
    desk.pending().into_iter().chain(desk.confirmed()).collect()
}

fn clear(desk: &mut Desk, name: &str) {
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]), "{name}: cleared");
}

const fn changes_the_car(phrase: &Phrase) -> bool {
    matches!(
        phrase,
        Phrase::Defect(_)
            | Phrase::BreakWire(..)
            | Phrase::MendWire(_)
            | Phrase::Work(..)
            | Phrase::Expect(_)
    )
}

/// A claim about the freeze frame.
fn is_about_the_frame(phrase: &Phrase) -> bool {
    matches!(
        phrase,
        Phrase::Expect(expectation)
            if matches!(expectation.claim, Claim::Reported { from: Source::FreezeFrame, .. })
    )
}

/// How many of the order's symptoms show.
fn shown(desk: &Desk, order: &RepairOrder) -> usize {
    let mut asked = desk.clone();
    let phrases: Vec<String> = order.symptom().iter().map(ToString::to_string).collect();
    let outcomes = asked.outcomes(&phrases.iter().map(String::as_str).collect::<Vec<_>>());
    outcomes.iter().filter(|outcome| outcome.ok).count()
}

/// Codes of a sound car after a story. Many stories are the same but for their defects: such a one is driven once.
fn without_its_defects(name: &str, scenario: &Scenario, story: Vec<Phrase>) -> BTreeSet<String> {
    static DRIVEN: Mutex<BTreeMap<String, BTreeSet<String>>> = Mutex::new(BTreeMap::new());
    let settings = Settings::of(scenario, scenario.seed(), Timing::FAST);
    let key = format!("{settings:?} {story:?}");
    let known = DRIVEN.lock().expect("nothing panics with it").get(&key).cloned();
    known.unwrap_or_else(|| {
        let mut desk = desk(scenario);
        live(&mut desk, name, story);
        let found = stored(&desk);
        let mut driven = DRIVEN.lock().expect("nothing panics with it");
        driven.insert(key, found.clone());
        found
    })
}

fn judge(name: &str, scenario: &Scenario) {
    let Some(order) = scenario
        .repair_order()
        .filter(|order| !order.correction().is_empty())
    else {
        return;
    };
    assert!(
        !order.codes().is_empty() || !order.symptom().is_empty(),
        "{name}: neither codes nor a symptom: nothing judges its traps"
    );
    let all = order.symptom().len();
    let story = || scenario.story().iter().map(|phrase| phrase.value.clone());
    let named: BTreeSet<String> = order.codes().iter().map(ToString::to_string).collect();
    let companions: BTreeSet<String> = exceptions::of("codes", name)
        .into_iter()
        .map(String::from)
        .collect();

    let sound = story().filter(|phrase| !changes_the_car(phrase)).collect();
    let found = without_its_defects(name, scenario, sound);
    assert_eq!(
        found,
        BTreeSet::new(),
        "{name}: the same story without its defects"
    );

    let mut broken = desk(scenario);
    live(&mut broken, name, story());
    assert_eq!(shown(&broken, order), all, "{name}: the symptom shows");
    let frames: Vec<String> = broken
        .memories()
        .filter_map(FaultMemory::freeze_frame)
        .map(|frame| frame.dtc.to_string())
        .collect();
    if !frames.is_empty() {
        for dtc in frames {
            assert!(named.contains(&dtc), "{name}: the freeze frame is of {dtc}");
        }
        let told = scenario.story().iter().chain(scenario.expectations());
        let states: Vec<Phrase> = told
            .map(|phrase| phrase.value.clone())
            .filter(is_about_the_frame)
            .collect();
        assert!(!states.is_empty(), "{name}: nothing is said of the freeze frame");
        live(&mut broken, name, states);
    }
    let found = stored(&broken);
    assert!(named.is_subset(&found), "{name}: {found:?} instead of {named:?}");
    let others: Vec<_> = found
        .difference(&named)
        .filter(|code| !companions.contains(*code))
        .collect();
    assert!(others.is_empty(), "{name}: besides {named:?} also {others:?}");

    for trap in order.traps() {
        let mut desk = broken.clone();
        live(&mut desk, name, [trap.clone()]);
        clear(&mut desk, name);
        // The engine may die on the way, as with an empty battery: the code has to come all the same.
        let proof: Vec<String> = order.proof().map(|phrase| phrase.to_string()).collect();
        desk.outcomes(&proof.iter().map(String::as_str).collect::<Vec<_>>());
        assert_eq!(shown(&desk, order), all, "{name}: the symptom after `{trap}`");
        let found = stored(&desk);
        assert!(
            named.is_empty() || !found.is_disjoint(&named),
            "{name}: `{trap}` hides the fault: {found:?}"
        );
    }

    let mut repaired = broken.clone();
    live(&mut repaired, name, order.correction().iter().cloned());
    let mut proven = repaired.clone();
    clear(&mut proven, name);
    live(&mut proven, name, order.proof());
    assert_eq!(stored(&proven), BTreeSet::new(), "{name}: after the right work");
    assert_eq!(
        shown(&proven, order),
        0,
        "{name}: the symptom after the right work"
    );
    let readiness = proven.car.car().ecu().memory().readiness_since_clear();
    let unready: Vec<&str> = readiness
        .groups()
        .filter(|group| group.supported && !group.complete)
        .map(|group| group.name)
        .collect();
    assert!(
        unready.is_empty(),
        "{name}: the proof leaves {unready:?} incomplete"
    );
    let unproven = exceptions::of("proof", name);
    for code in order.codes() {
        // A code of the maker's own passes with the one that it goes with.
        let ecu = proven.car.car().ecu();
        let own = ecu.memory().companions().iter().find(|own| own.dtc == *code);
        let judged = own.map_or(*code, |own| own.with);
        let transmission = proven.car.car().transmission();
        let records = [Some(ecu.records()), transmission.map(Transmission::records)];
        let mut records = records.into_iter().flatten();
        let passed = records.any(|records| records.last_pass(judged).is_some());
        assert!(
            passed || unproven.contains(&code.to_string().as_str()),
            "{name}: the proof did not let the monitor of {code} run"
        );
    }

    // Three driving cycles with a pass put the lamp out, at the beginning of the next.
    if broken.car.car().ecu().memory().mil_commanded() && exceptions::of("healing", name).is_empty() {
        for _ in 0..4 {
            live(&mut repaired, name, order.proof());
        }
        assert!(
            !repaired.car.car().ecu().memory().mil_commanded(),
            "{name}: the lamp goes out"
        );
        assert!(
            !repaired
                .memories()
                .flat_map(FaultMemory::pending)
                .any(|code| order.codes().contains(&code)),
            "{name}"
        );
    }
}

/// One test for each share of the scenarios, so that they run side by side.
macro_rules! shares {
    ($($test:ident: $share:literal;)*) => {$(
        #[test]
        fn $test() {
            for shipped in shipped::ALL.iter().skip($share).step_by(4) {
                let scenario = Scenario::parse(shipped.text.as_bytes()).expect("it is shipped");
                judge(shipped.name, &scenario);
            }
        }
    )*};
}

shares! {
    repair_orders_hold_first_share: 0;
    repair_orders_hold_second_share: 1;
    repair_orders_hold_third_share: 2;
    repair_orders_hold_fourth_share: 3;
}

/// Where there is no frame, or nothing to measure, nothing is as expected; pinned values count as a tester reads them.
#[test]
fn values_are_expected_of_tester_and_gauge() {
    let mut desk = Desk::new(1, Timing::FAST);
    for (phrase, ok, says) in [
        (
            "expect freeze-frame engine-speed below 9000 rpm",
            false,
            "no freeze frame",
        ),
        ("expect measured alternator above 0 V", false, "the engine is off"),
        ("expect measured battery above 12 V", true, "battery shows 12."),
        ("key on", true, ""),
        ("override engine-speed 3000 rpm", true, ""),
        (
            "expect live engine-speed above 2999 rpm",
            true,
            "engine-speed is 3000 rpm",
        ),
        (
            "expect live engine-speed below 3000 rpm",
            false,
            "engine-speed is 3000 rpm",
        ),
        ("release engine-speed", true, ""),
        ("start", true, ""),
        ("wait 30 s", true, ""),
        ("expect live engine-speed below 2999 rpm", true, ""),
        (
            "expect measured alternator above 13.5 V",
            true,
            "alternator shows 14.",
        ),
        (
            "expect measured manifold-vacuum above 40 kPa",
            true,
            "manifold-vacuum shows",
        ),
        ("preload confirmed P0301", true, ""),
        (
            "expect freeze-frame engine-speed above 500 rpm",
            true,
            "the freeze frame of P0301",
        ),
    ] {
        let outcome = &desk.outcomes(&[phrase])[0];
        assert!(
            outcome.ok == ok && outcome.text.contains(says),
            "{phrase}: {}",
            outcome.text
        );
    }
}

/// The freeze frame of each, and what is not as its scenario expects, with several seeds: `cargo test -p twotrip-tests --test
/// golden repairs::frames -- --ignored --nocapture`, one alone by `TWOTRIP_SCENARIO`.
#[test]
#[ignore = "prints"]
fn frames() {
    let wanted = std::env::var("TWOTRIP_SCENARIO").ok();
    for shipped in shipped::ALL {
        if wanted.as_deref().is_some_and(|name| name != shipped.name) {
            continue;
        }
        let scenario = Scenario::parse(shipped.text.as_bytes()).expect("it is shipped");
        for seed in 1..=4 {
            let name = format!("{} with seed {seed}", shipped.name);
            let mut desk = Desk::of(Simulator::new(Settings::of(&scenario, seed, Timing::FAST)));
            let phrases = scenario.story().iter().chain(scenario.expectations());
            let phrases: Vec<String> = phrases.map(|phrase| phrase.value.to_string()).collect();
            let outcomes = desk.outcomes(&phrases.iter().map(String::as_str).collect::<Vec<_>>());
            for (phrase, outcome) in phrases.iter().zip(outcomes) {
                if !outcome.ok {
                    println!("{name}: {phrase}: {}", outcome.text);
                }
            }
            let Some(frame) = desk.memories().find_map(FaultMemory::freeze_frame) else {
                println!("{name}: no frame");
                continue;
            };
            let values: Vec<String> = SHOWN
                .iter()
                .map(|value| format!("{} {:.1}", value.name(), value.of(&frame.data)))
                .collect();
            println!("{name}: {} {}", frame.dtc, values.join(", "));
        }
    }
}

const SHOWN: &[Quantity] = &[
    Quantity::EngineSpeed,
    Quantity::VehicleSpeed,
    Quantity::CalculatedLoad,
    Quantity::CoolantTemperature,
    Quantity::RunTime,
    Quantity::IntakeAirTemperature,
    Quantity::ManifoldPressure,
    Quantity::ShortTermTrim,
    Quantity::LongTermTrim,
    Quantity::CommandedPurge,
    Quantity::FuelLevel,
    Quantity::TankPressure,
    Quantity::ModuleVoltage,
    Quantity::AirFlow,
    Quantity::ThrottlePosition,
    Quantity::CatalystTemperature,
    Quantity::OxygenFront,
    Quantity::OxygenRear,
    Quantity::OilTemperature,
];

/// One scenario by name or file, for whoever writes it: `TWOTRIP_SCENARIO=loose-fuel-cap cargo test -p twotrip-tests --test
/// golden repairs::one -- --ignored`. A file needs no new build.
#[test]
#[ignore = "wants TWOTRIP_SCENARIO"]
fn one() {
    let name = std::env::var("TWOTRIP_SCENARIO").expect("TWOTRIP_SCENARIO names one");
    let text = match std::fs::read(&name) {
        Ok(text) => text,
        Err(_) => shipped::find(&name)
            .expect("it is shipped, or a file")
            .text
            .into(),
    };
    judge(&name, &Scenario::parse(&text).expect("it is checked"));
}
