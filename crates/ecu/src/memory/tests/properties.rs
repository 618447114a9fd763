//! Whatever happens to a car, in whatever order: what must hold after each event.
//!
//! Sequences are drawn from a seed, small cars and large ones, under each regulation. One that breaks a rule is made
//! shorter as long as it still does, and printed.

use std::{collections::BTreeSet, vec, vec::Vec};

use super::{wide::*, *};
use crate::memory::{Counters, Lamp};
use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};

/// Sequences, and events in each.
const SEQUENCES: u64 = 240;
const EVENTS: usize = 250;

/// Something that happens, beyond single facts.
#[derive(Clone, Copy, Debug)]
enum Step {
    Event(Event),
    /// Seconds at km/h in one span, pedal released below walking speed.
    Long(u64, f64),
    PreloadConfirmed(Dtc),
    PreloadPending(Dtc),
}

/// What a tester could read, and where the key stands.
#[derive(Clone, Debug)]
struct Seen {
    pending: Vec<Dtc>,
    confirmed: Vec<Dtc>,
    permanent: Vec<Dtc>,
    frame: Option<Dtc>,
    mil: bool,
    lamp: Lamp,
    counters: Counters,
    /// General denominator, ignition cycles, then the pairs monitor by monitor.
    in_use: Vec<u16>,
    complete: Vec<Group>,
    driving: bool,
}

fn in_use(memory: &FaultMemory) -> Vec<u16> {
    let pairs = (0..=u8::MAX).map(MonitorId).zip(memory.catalogue().monitors);
    let counts = pairs.flat_map(|(id, _)| {
        let pair = memory.in_use.stored_pair(id);
        [pair.numerator, pair.denominator]
    });
    let [general, ignition, ..] = *memory.in_use().counters();
    [general, ignition].into_iter().chain(counts).collect()
}

impl Seen {
    fn of(car: &Car) -> Self {
        let memory = &car.memory;
        let readiness = memory.readiness_since_clear();
        Self {
            pending: memory.pending().collect(),
            confirmed: memory.confirmed().collect(),
            permanent: memory.permanent().collect(),
            frame: memory.freeze_frame().map(|frame| frame.dtc),
            mil: memory.mil_commanded(),
            lamp: memory.lamp(car.now),
            counters: memory.counters(),
            in_use: in_use(memory),
            complete: Group::ALL
                .into_iter()
                .filter(|&group| readiness.is_supported(group) && readiness.is_complete(group))
                .collect(),
            driving: memory.is_driving_cycle(),
        }
    }

    fn stores(&self, dtc: Dtc) -> bool {
        self.pending.contains(&dtc) || self.confirmed.contains(&dtc)
    }
}

/// What the rules need to know of the past, kept apart from the memory under test.
#[derive(Clone, Debug, Default)]
struct Past {
    key_on: bool,
    /// Pending, or put in by hand, since the last clear.
    was_pending: BTreeSet<Dtc>,
    by_hand: BTreeSet<Dtc>,
    /// Driving cycle, and code that failed in it, since the last clear.
    failed: BTreeSet<(u64, Dtc)>,
    cycle: u64,
    /// Counts of this driving cycle.
    counted: Vec<u16>,
    most_counted: u16,
    misfire_told: bool,
}

/// What differs between two lists that only lose and gain: lost, gained.
fn changes(before: &[Dtc], after: &[Dtc]) -> (Vec<Dtc>, Vec<Dtc>) {
    let without = |one: &[Dtc], other: &[Dtc]| {
        one.iter()
            .copied()
            .filter(|dtc| !other.contains(dtc))
            .collect::<Vec<_>>()
    };
    (without(before, after), without(after, before))
}

macro_rules! rule {
    ($holds:expr, $($said:tt)*) => {
        if !$holds {
            return Err(std::format!($($said)*));
        }
    };
}

/// One step, and all rules after it.
fn step(car: &mut Car, past: &mut Past, step: Step) -> Result<(), String> {
    let before = Seen::of(car);
    let effects = carry_out(car, step);
    let after = Seen::of(car);
    let ended = effects.contains(Effect::DrivingCycleEnded);
    note(past, step, &before, &after, &effects);
    let cleared = matches!(step, Step::Event(Clear));

    // Lists and effects tell the same; what stays keeps its order.
    let lists = [
        (&before.pending, &after.pending, "pending"),
        (&before.confirmed, &after.confirmed, "confirmed"),
        (&before.permanent, &after.permanent, "permanent"),
    ];
    for (was, is, name) in lists {
        let (lost, gained) = changes(was, is);
        let stays = |list: &[Dtc], other: &[Dtc]| {
            list.iter()
                .copied()
                .filter(|dtc| other.contains(dtc))
                .collect::<Vec<_>>()
        };
        // A code of the list may be erased and found again in one event only where a driving cycle is cut.
        rule!(stays(was, is) == stays(is, was), "{name}: the order changed");
        for dtc in gained {
            let told = match name {
                "pending" => Effect::PendingStored(dtc),
                "confirmed" => Effect::Confirmed(dtc),
                _ => Effect::PermanentStored(dtc),
            };
            rule!(effects.contains(told), "{name}: {dtc} came unheard");
        }
        for dtc in lost {
            let told = match name {
                "pending" => Effect::PendingErased(dtc),
                "confirmed" => Effect::ConfirmedErased(dtc),
                _ => Effect::PermanentErased(dtc),
            };
            rule!(cleared || effects.contains(told), "{name}: {dtc} went unheard");
            let late = matches!(step, Step::Event(Pass(_))) && !before.driving;
            rule!(
                cleared || ended || late,
                "{name}: {dtc} went without the end of a driving cycle"
            );
        }
    }
    if cleared {
        rule!(
            before.permanent == after.permanent,
            "a clear touched permanent codes"
        );
        rule!(before.in_use == after.in_use, "a clear touched in-use counters");
        rule!(
            after.pending.is_empty() && after.confirmed.is_empty() && after.frame.is_none() && !after.mil,
            "a clear left something"
        );
        rule!(after.counters == Counters::default(), "a clear left counts");
    }
    codes(car, past, &before, &after)?;
    lamp(car, past, &after)?;
    frame(car, &before, &after)?;
    counts(past, &before, &after, cleared, ended)?;
    readiness(&before, &after, cleared, step)?;
    renewed(car)
}

fn carry_out(car: &mut Car, step: Step) -> Effects {
    match step {
        Step::Event(event) => car.happen(event),
        Step::Long(seconds, speed) => {
            let span = Duration::from_secs(seconds);
            car.conditions.span = span;
            car.conditions.vehicle_speed = Speed::from_kilometres_per_hour(speed);
            car.conditions.pedal_released = speed < 5.0;
            car.now += span;
            let effects = car.apply(Fact::Conditions(car.conditions));
            car.conditions.span = Duration::from_millis(100);
            effects
        }
        Step::PreloadConfirmed(dtc) => car
            .memory
            .preload_confirmed(dtc, &car.live)
            .unwrap_or(Effects::NONE),
        Step::PreloadPending(dtc) => car
            .memory
            .preload_pending(dtc, &car.live)
            .unwrap_or(Effects::NONE),
    }
}

/// Keeps the books.
fn note(past: &mut Past, step: Step, before: &Seen, after: &Seen, effects: &Effects) {
    if let Step::Event(event) = step {
        match event {
            KeyOn => past.key_on = true,
            KeyOff => past.key_on = false,
            Clear => {
                past.was_pending.clear();
                past.by_hand.clear();
                past.failed.clear();
            }
            Fail(dtc) | Misfire(dtc, _) => {
                past.failed.insert((past.cycle, dtc));
            }
            Catalyst(_) => past.misfire_told = true,
            _ => {}
        }
    }
    if let Step::PreloadConfirmed(dtc) | Step::PreloadPending(dtc) = step {
        past.by_hand.insert(dtc);
    }
    past.counted.resize(after.in_use.len(), 0);
    let counters = before.in_use.iter().zip(&after.in_use);
    for (counted, (was, is)) in past.counted.iter_mut().zip(counters) {
        *counted += is.saturating_sub(*was);
    }
    past.most_counted = past.counted.iter().copied().max().unwrap_or_default();
    // Where a run is cut, what was counted belongs to the piece that has ended.
    if effects.contains(Effect::DrivingCycleStarted) {
        past.cycle += 1;
        past.counted.fill(0);
    }
    past.was_pending.extend(&after.pending);
}

/// Confirmed, permanent and the counts behind them.
fn codes(car: &Car, past: &Past, before: &Seen, after: &Seen) -> Result<(), String> {
    let profile = car.memory.profile();
    for &dtc in &after.confirmed {
        rule!(
            past.was_pending.contains(&dtc) || past.by_hand.contains(&dtc),
            "{dtc} is confirmed and was never pending"
        );
        let logic = car
            .memory
            .catalogue()
            .code(dtc)
            .map_or_else(|| Logic::assumed(dtc), |code| code.logic);
        let needed = match logic {
            Logic::OneCycle => 1,
            Logic::Standard => usize::from(profile.driving_cycles_to_confirm),
            Logic::Misfire | Logic::FuelSystem => 2,
        };
        let cycles = past.failed.iter().filter(|(_, failed)| *failed == dtc).count();
        rule!(
            cycles >= needed || past.by_hand.contains(&dtc) || before.confirmed.contains(&dtc),
            "{dtc} is confirmed after {cycles} driving cycles with a failure"
        );
    }
    rule!(
        profile.permanent_codes || after.permanent.is_empty(),
        "a permanent code under {}",
        profile.name
    );
    for &dtc in after
        .pending
        .iter()
        .chain(&after.confirmed)
        .chain(&after.permanent)
    {
        let Some(status) = car.memory.status(dtc) else {
            return Err(std::format!("{dtc} is listed and has no status"));
        };
        rule!(
            !status.commands_mil || status.confirmed,
            "{dtc} commands the MIL unconfirmed"
        );
        rule!(
            !status.commands_mil || status.permanent || !profile.permanent_codes,
            "{dtc} commands the MIL and is not permanent"
        );
        rule!(
            status.passed_cycles < profile.passing_cycles_to_mil_off,
            "{dtc} healed and burns on"
        );
        rule!(status.warm_ups < profile.warm_ups_to_erase, "{dtc} is too old");
        rule!(
            status.cycles_without_similar < profile.similar.cycles_to_expire,
            "{dtc} has waited too long"
        );
    }
    rule!(
        usize::from(car.memory.confirmed_count()) == after.confirmed.len(),
        "the count of confirmed codes is not their number"
    );
    Ok(())
}

/// The MIL follows from the codes, and the lamp from MIL and key.
fn lamp(car: &Car, past: &Past, after: &Seen) -> Result<(), String> {
    let commanding = after
        .confirmed
        .iter()
        .any(|&dtc| car.memory.status(dtc).is_some_and(|status| status.commands_mil));
    rule!(!commanding || after.mil, "a code commands the MIL, and it is off");
    rule!(
        !after.mil || commanding || past.misfire_told && after.driving && !after.pending.is_empty(),
        "the MIL is on for nothing"
    );
    rule!(past.key_on || after.lamp == Lamp::Off, "lit with the key off");
    rule!(
        !past.key_on || !after.mil || after.lamp != Lamp::Off,
        "commanded, and dark"
    );
    rule!(
        after.lamp != Lamp::Blinking || after.mil,
        "it blinks without a command"
    );
    Ok(())
}

/// The frame belongs to a stored code; the first stays, but for misfire and fuel system.
fn frame(car: &Car, before: &Seen, after: &Seen) -> Result<(), String> {
    let rank = |dtc| {
        car.memory
            .catalogue()
            .code(dtc)
            .map_or_else(|| Logic::assumed(dtc), |code| code.logic)
            .is_similar_conditions()
    };
    if let Some(dtc) = after.frame {
        rule!(after.stores(dtc), "a frame of {dtc}, which is not stored");
    }
    if let (Some(was), Some(is)) = (before.frame, after.frame)
        && was != is
    {
        rule!(
            rank(is) && !rank(was) || !after.stores(was),
            "the frame of {was} gave way to that of {is}"
        );
    }
    if let (Some(was), None) = (before.frame, after.frame) {
        rule!(!after.stores(was), "{was} lost its frame");
    }
    Ok(())
}

/// Counters only grow, by one a driving cycle, but where a rule takes them back.
fn counts(past: &Past, before: &Seen, after: &Seen, cleared: bool, ended: bool) -> Result<(), String> {
    let (was, is) = (before.counters, after.counters);
    if !cleared {
        rule!(
            is.warm_ups_since_clear >= was.warm_ups_since_clear
                && is.distance_since_clear >= was.distance_since_clear
                && is.time_since_clear >= was.time_since_clear,
            "a count since the clear went back: {was:?}, {is:?}"
        );
        let lit = !before.mil && after.mil;
        rule!(
            lit || ended
                || is.distance_with_mil >= was.distance_with_mil && is.time_with_mil >= was.time_with_mil,
            "a count with the MIL on went back: {was:?}, {is:?}"
        );
    }
    for (place, (was, is)) in before.in_use.iter().zip(&after.in_use).enumerate() {
        rule!(is >= was, "in-use counter {place} went back");
    }
    rule!(
        past.most_counted <= 1,
        "an in-use counter counted more than once in a driving cycle"
    );
    Ok(())
}

/// Complete by a result, incomplete by a clear.
fn readiness(before: &Seen, after: &Seen, cleared: bool, step: Step) -> Result<(), String> {
    let result = matches!(step, Step::Event(Pass(_) | Fail(_) | Done(_) | Misfire(..)));
    // Similar conditions, when they come last, make a failure of misfire count.
    let reconsidered = |group: &Group| {
        matches!(step, Step::Event(_) | Step::Long(..)) && matches!(group, Group::Misfire | Group::FuelSystem)
    };
    for group in &after.complete {
        rule!(
            before.complete.contains(group) || result || reconsidered(group),
            "{group:?} became complete without a run"
        );
    }
    for group in &before.complete {
        rule!(
            after.complete.contains(group) || cleared,
            "{group:?} became incomplete without a clear"
        );
    }
    Ok(())
}

/// What is renewed with the records is what they say.
fn renewed(car: &Car) -> Result<(), String> {
    rule!(
        car.memory.disabled == car.memory.disabled_by_records(),
        "other monitors are kept from running than the codes present keep"
    );
    Ok(())
}

/// What comes back after the power was off is what was there.
fn power_off(car: &Car) -> Result<(), String> {
    let mut other = Car::with(car.memory.profile(), car.memory.catalogue());
    let restored = other.memory.restore(&car.memory.store());
    rule!(
        restored.is_ok(),
        "it does not take back its own content: {restored:?}"
    );
    // In a driving cycle the content tells that it has ended, and tells it the second time as the first.
    rule!(
        car.memory.is_driving_cycle() || other.memory.keeps_the_same_as(&car.memory),
        "the content has changed"
    );
    let mut again = Car::with(car.memory.profile(), car.memory.catalogue());
    let restored = again.memory.restore(&other.memory.store());
    rule!(
        restored.is_ok() && again.memory.keeps_the_same_as(&other.memory),
        "the content changes each time"
    );
    let (was, is) = (Seen::of(car), Seen::of(&other));
    rule!(
        was.pending == is.pending && was.confirmed == is.confirmed && was.permanent == is.permanent,
        "codes got lost without power"
    );
    rule!(
        was.frame == is.frame && was.complete == is.complete && was.in_use == is.in_use,
        "frame, readiness or in-use counters got lost without power"
    );
    Ok(())
}

/// Steps drawn from a seed.
fn steps(seed: u64, catalogue: &Catalogue) -> Vec<Step> {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let mut below = move |bound: usize| -> usize {
        usize::try_from(dice.next_u64() % u64::try_from(bound).expect("small")).expect("small")
    };
    let mut steps = Vec::new();
    while steps.len() < EVENTS {
        let code = catalogue.codes[below(catalogue.codes.len())].dtc;
        let monitor = MonitorId(u8::try_from(below(catalogue.monitors.len())).expect("few"));
        let window = [
            MisfireWindow::Catalyst { in_test_area: true },
            MisfireWindow::Catalyst { in_test_area: false },
            MisfireWindow::EmissionAtStart,
            MisfireWindow::EmissionLater,
        ][below(4)];
        let misfire = [
            CatalystMisfire::Present,
            CatalystMisfire::Gone,
            CatalystMisfire::CutOff,
        ][below(3)];
        let guest = [Dtc::p(0x0303), Dtc::p(0x0175), Dtc::p(0x1234)][below(3)];
        let event = match below(40) {
            0..=2 => Start,
            3 => Stop,
            4..=5 => KeyOff,
            6 => KeyOn,
            7 => Crank,
            8..=14 => Pass(code),
            15..=19 => Fail(code),
            20..=22 => Done(monitor),
            23 => CouldDetect(monitor),
            24 => Possible(monitor, below(2) == 0),
            25 => Command(monitor, below(2) == 0),
            26..=28 => Misfire(code, window),
            29 => Catalyst(misfire),
            30 => At([900.0, 2000.0, 4000.0][below(3)], [20.0, 40.0, 90.0][below(3)]),
            31 => Coolant([20.0, 50.0, 90.0][below(3)]),
            32 => WarmUp,
            33 => Ambient([-20.0, 20.0, 40.0][below(3)]),
            34 if below(4) == 0 => Clear,
            35 if below(3) == 0 => {
                // A fault that is there for some trips, then a repair for many.
                for trip in 0..3 + below(50) {
                    let result = if trip < 3 { Fail(code) } else { Pass(code) };
                    let trip = [KeyOn, Crank, Start, WarmUp, result, Done(monitor), KeyOff];
                    steps.extend(trip.map(Step::Event));
                }
                continue;
            }
            36 if below(6) == 0 => {
                steps.push(Step::PreloadConfirmed([code, guest][below(2)]));
                continue;
            }
            37 if below(6) == 0 => {
                steps.push(Step::PreloadPending([code, guest][below(2)]));
                continue;
            }
            _ => {
                let seconds = [1, 31, 301, 601, 15_000][below(5)];
                steps.push(Step::Long(seconds, [0.0, 30.0, 60.0][below(3)]));
                continue;
            }
        };
        steps.push(Step::Event(event));
    }
    steps
}

/// Plays the steps; the first rule that is broken, and where.
fn play(
    profile: &'static Profile,
    catalogue: &'static Catalogue,
    steps: &[Step],
) -> Result<(), (usize, String)> {
    let mut car = Car::with(profile, catalogue);
    let mut past = Past::default();
    for (place, &event) in steps.iter().enumerate() {
        step(&mut car, &mut past, event).map_err(|broken| (place, broken))?;
        power_off(&car).map_err(|broken| (place, broken))?;
    }
    Ok(())
}

/// The same rule broken by as few steps as leaving out single ones can reach.
fn shortest(
    profile: &'static Profile,
    catalogue: &'static Catalogue,
    mut steps: Vec<Step>,
    broken: &str,
) -> Vec<Step> {
    let mut place = 0;
    while place < steps.len() {
        let mut fewer = steps.clone();
        fewer.remove(place);
        match play(profile, catalogue, &fewer) {
            Err((end, same)) if same == broken => {
                fewer.truncate(end + 1);
                steps = fewer;
                place = 0;
            }
            _ => place += 1,
        }
    }
    steps
}

/// 13 CCR 1968.2(d), (e), (g) as far as they are invariants: a permanent code never leaves by service $04; confirmed
/// means once pending, in enough driving cycles; the MIL is on if and only if a confirmed code commands it, misfire
/// apart; counters never go back but where a rule says so; readiness completes by a run only.
#[test]
fn whatever_happens_the_rules_hold() {
    for seed in 0..SEQUENCES {
        let profile = Profile::ALL[usize::from(seed % 4 == 3)];
        let catalogue = if seed % 2 == 0 { &CATALOGUE } else { &WIDE };
        let steps = steps(seed, catalogue);
        if let Err((place, broken)) = play(profile, catalogue, &steps) {
            let steps = shortest(profile, catalogue, steps[..=place].to_vec(), &broken);
            panic!("seed {seed}, {}: {broken}, after {steps:#?}", profile.name);
        }
    }
}

/// The sequences reach what the rules are about; without this the property could hold for nothing.
#[test]
fn the_sequences_reach_every_corner() {
    let mut reached = BTreeSet::new();
    let mut blinked = false;
    for seed in 0..SEQUENCES {
        let profile = Profile::ALL[usize::from(seed % 4 == 3)];
        let catalogue = if seed % 2 == 0 { &CATALOGUE } else { &WIDE };
        let mut car = Car::with(profile, catalogue);
        for step in steps(seed, catalogue) {
            for effect in carry_out(&mut car, step).iter() {
                let name = std::format!("{effect:?}");
                reached.insert(String::from(name.split('(').next().unwrap_or_default()));
            }
            blinked |= car.memory.lamp(car.now) == Lamp::Blinking;
        }
    }
    let wanted = vec![
        "Cleared",
        "Confirmed",
        "ConfirmedErased",
        "DenominatorCounted",
        "DrivingCycleEnded",
        "DrivingCycleStarted",
        "FreezeFrameErased",
        "FreezeFrameStored",
        "GeneralDenominatorCounted",
        "GroupCompleted",
        "MilOff",
        "MilOn",
        "MisfireLamp",
        "NumeratorCounted",
        "PendingErased",
        "PendingStored",
        "PermanentErased",
        "PermanentStored",
        "WarmUpCycle",
    ];
    assert_eq!(reached.iter().map(String::as_str).collect::<Vec<_>>(), wanted);
    assert!(blinked);
}
