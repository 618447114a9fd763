//! Every shipped fault as a repair order: its codes and no others, no repair but the right one, and a proof that proves.
//!
//! Five runs of each scenario that names its codes: without its defects (no code), as told (its codes), after each
//! trap (the code comes back), repaired and cleared (the monitor runs and passes), repaired and not cleared (it heals).

use std::collections::BTreeSet;

use twotrip_obd::Dtc;
use twotrip_scenario::{Phrase, Scenario, shipped};
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
    let memory = desk.car.car().ecu().memory();
    let codes: Vec<Dtc> = memory.pending().chain(memory.confirmed()).collect();
    codes.iter().map(ToString::to_string).collect()
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

fn judge(name: &str, scenario: &Scenario) {
    let Some(order) = scenario.repair_order().filter(|order| !order.codes().is_empty()) else {
        return;
    };
    let story = || scenario.story().iter().map(|phrase| phrase.value.clone());
    let named: BTreeSet<String> = order.codes().iter().map(ToString::to_string).collect();
    let companions: BTreeSet<String> = exceptions::of("codes", name)
        .into_iter()
        .map(String::from)
        .collect();

    let mut healthy = desk(scenario);
    live(
        &mut healthy,
        name,
        story().filter(|phrase| !changes_the_car(phrase)),
    );
    assert_eq!(
        stored(&healthy),
        BTreeSet::new(),
        "{name}: the same story without its defects"
    );

    let mut broken = desk(scenario);
    live(&mut broken, name, story());
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
        live(&mut desk, name, order.proof());
        let found = stored(&desk);
        assert!(
            !found.is_disjoint(&named),
            "{name}: `{trap}` hides the fault: {found:?}"
        );
    }

    let mut repaired = broken.clone();
    live(&mut repaired, name, order.correction().iter().cloned());
    let mut proven = repaired.clone();
    clear(&mut proven, name);
    live(&mut proven, name, order.proof());
    assert_eq!(stored(&proven), BTreeSet::new(), "{name}: after the right work");
    let unproven = exceptions::of("proof", name);
    for code in order.codes() {
        // A code of the maker's own passes with the one that it goes with.
        let ecu = proven.car.car().ecu();
        let own = ecu.memory().companions().iter().find(|own| own.dtc == *code);
        let judged = own.map_or(*code, |own| own.with);
        let passed = ecu.records().last_pass(judged).is_some();
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
                .car
                .car()
                .ecu()
                .memory()
                .pending()
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

/// One scenario by name, for whoever writes it: `TWOTRIP_SCENARIO=loose-fuel-cap cargo test -p twotrip-tests --test
/// golden repairs::one -- --ignored`.
#[test]
#[ignore = "wants TWOTRIP_SCENARIO"]
fn one() {
    let name = std::env::var("TWOTRIP_SCENARIO").expect("TWOTRIP_SCENARIO names one");
    let shipped = shipped::find(&name).expect("it is shipped");
    judge(
        &name,
        &Scenario::parse(shipped.text.as_bytes()).expect("it is checked"),
    );
}
