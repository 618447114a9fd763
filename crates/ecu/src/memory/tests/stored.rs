//! Power off and on: what survives, what does not, and contents that no memory can have.

use std::{format, string::ToString as _, vec::Vec};

use serde_json::{Value, json};

use super::{super::StoredMemory, *};

/// Dice that fall alike every time (xorshift64).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, count: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 >> 33).unwrap() % count
    }

    fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.roll(from.len())]
    }

    fn event(&mut self) -> Event {
        let code = CATALOGUE.codes[self.roll(CATALOGUE.codes.len())].dtc;
        let monitor = MonitorId(u8::try_from(self.roll(CATALOGUE.monitors.len())).unwrap());
        let window = self.pick(&[
            MisfireWindow::Catalyst { in_test_area: true },
            MisfireWindow::EmissionAtStart,
            MisfireWindow::EmissionLater,
        ]);
        match self.roll(20) {
            0..=2 => Start,
            3 | 4 => KeyOff,
            5 => KeyOn,
            6..=8 => Fail(code),
            9 | 10 => Pass(code),
            11 => Done(monitor),
            12 => CouldDetect(monitor),
            13 => Misfire(MISFIRE_RANDOM, window),
            14 => WarmUp,
            15 => self.pick(&DRIVE),
            16 => At(self.pick(&[1000.0, 2000.0, 3000.0]), self.pick(&[20.0, 40.0])),
            17 => Drive(20, 200.0),
            18 if self.roll(4) == 0 => Clear,
            _ => Idle(3),
        }
    }
}

/// Everything that services report out of what is kept.
fn told(memory: &FaultMemory) -> String {
    let statuses: Vec<_> = CATALOGUE
        .codes
        .iter()
        .map(|code| memory.status(code.dtc))
        .collect();
    let statuses = statuses.into_iter().flatten().map(|status| {
        let kept = (
            status.pending,
            status.confirmed,
            status.permanent,
            status.failed_cycles,
            status.passed_cycles,
            status.warm_ups,
        );
        let proof = (status.permanent_passed, status.permanent_driven);
        let similar = (status.similar_to, status.cycles_without_similar);
        (kept, proof, similar)
    });
    format!(
        "{:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?}",
        memory.pending().collect::<Vec<_>>(),
        memory.confirmed().collect::<Vec<_>>(),
        memory.permanent().collect::<Vec<_>>(),
        memory.mil_commanded(),
        memory.freeze_frame(),
        memory.readiness_since_clear(),
        memory.counters(),
        memory.in_use(),
        statuses.collect::<Vec<_>>(),
    )
}

/// The content as it is after the way through a file.
fn through_text(stored: &StoredMemory) -> StoredMemory {
    serde_json::from_str(&serde_json::to_string(stored).unwrap()).unwrap()
}

#[test]
fn whatever_has_happened_what_is_told_survives_the_power() {
    let mut dice = Dice(0x1968_0002);
    for _ in 0..200 {
        let mut car = Car::new();
        for _ in 0..dice.roll(60) {
            let event = dice.event();
            car.happen(event);
        }
        let stored = through_text(&car.memory.store());
        let mut next = Car::new();
        next.happen_all(&[KeyOn, Start, Fail(COOLANT_HIGH), Pass(CATALYST_WEAK), KeyOff]);
        next.memory.restore(&stored).unwrap();
        assert_eq!(told(&next.memory), told(&car.memory));
        assert!(!next.memory.is_driving_cycle());
        let again = next.memory.store();
        next.memory.restore(&again).unwrap();
        assert_eq!(next.memory.store(), again);
        // It goes on as before.
        for _ in 0..20 {
            let event = dice.event();
            next.happen(event);
        }
    }
}

/// What tells a change from none must see every change that a service would report.
#[test]
fn every_change_that_could_be_told_is_noticed() {
    let mut dice = Dice(0x1968_0003);
    let (mut changes, mut repeats) = (0, 0);
    for _ in 0..100 {
        let mut car = Car::new();
        for _ in 0..60 {
            let before = car.memory.clone();
            let event = dice.event();
            car.happen(event);
            let same = car.memory.keeps_the_same_as(&before);
            assert_eq!(same, before.keeps_the_same_as(&car.memory), "{event:?}");
            if told(&before) != told(&car.memory) {
                assert!(!same, "{event:?}\n{}\n{}", told(&before), told(&car.memory));
            }
            changes += i32::from(!same);
            repeats += i32::from(same);
        }
    }
    assert!(
        changes > 1000 && repeats > 1000,
        "{changes} changes, {repeats} repeats"
    );
}

/// The battery is taken off in the middle of a driving cycle.
#[test]
fn a_driving_cycle_that_is_cut_off_is_not_settled() {
    let cut = |car: &mut Car, events: &[Event]| {
        car.happen_all(&[Coolant(20.0), KeyOn, Crank, Start, Idle(5)]);
        car.happen_all(events);
        let stored = car.memory.store();
        *car = Car::new();
        car.memory.restore(&stored).unwrap();
    };
    // What was found in it is found: the next failure confirms.
    let mut car = Car::new();
    cut(&mut car, &[Fail(COOLANT_HIGH)]);
    assert_eq!(car.stored(), "P0118 | - | - | off | P0118");
    cut(&mut car, &[Fail(COOLANT_HIGH)]);
    assert_eq!(car.stored(), "P0118 | P0118 | P0118 | on | P0118");
    // What passed in it does not heal.
    for _ in 0..3 {
        cut(&mut car, &[Pass(COOLANT_HIGH), WarmUp]);
    }
    assert_eq!(car.stored(), "P0118 | P0118 | P0118 | on | P0118");
    assert_eq!(
        car.memory.counters().warm_ups_since_clear,
        3,
        "counted when reached"
    );
    for _ in 0..3 {
        cycle(&mut car, &[Pass(COOLANT_HIGH)]);
    }
    assert_eq!(car.stored(), "- | P0118 | - | off | P0118");
    // Misfire of the cycle that was cut counts as that of an earlier one.
    let mut car = Car::new();
    let raised = [Misfire(MISFIRE_RANDOM, MisfireWindow::EmissionLater); 4];
    cut(&mut car, &raised);
    assert_eq!(car.stored(), "P0300 | - | - | off | P0300");
    cycle(&mut car, &raised);
    assert_eq!(car.stored(), "P0300 | P0300 | P0300 | on | P0300");
}

/// An engine that runs when the power comes back begins a driving cycle.
#[test]
fn a_running_engine_begins_a_driving_cycle() {
    let stored = confirmed_car(COOLANT_HIGH).memory.store();
    let mut car = Car::new();
    car.happen_all(&[KeyOn, Start, Pass(COOLANT_HIGH)]);
    car.memory.restore(&stored).unwrap();
    assert!(car.memory.is_driving_cycle());
    assert!(!car.memory.status(COOLANT_HIGH).unwrap().passed_this_cycle);
    car.happen_all(&[Pass(COOLANT_HIGH), KeyOff]);
    assert_eq!(car.memory.status(COOLANT_HIGH).unwrap().passed_cycles, 1);
}

/// A program with other monitors: codes that it has no monitor for stay as they are, and monitors find their own
/// counters wherever they stand now.
#[test]
fn a_memory_moves_to_another_catalogue() {
    static OTHER: Catalogue = Catalogue {
        monitors: &[
            monitor("new", Group::Components, false, true),
            monitor("leak", Group::Evap, true, false),
        ],
        codes: &[code(GROSS_LEAK, MonitorId(1))],
    };
    let mut car = confirmed_car(COOLANT_HIGH);
    cycle(&mut car, &[Fail(GROSS_LEAK), Done(LEAK), CouldDetect(LEAK)]);
    let (stored, before) = (car.memory.store(), car.stored());
    let mut next = Car::with(&Profile::US_2010, &OTHER);
    next.memory.restore(&stored).unwrap();
    assert_eq!(next.stored(), before);
    assert_eq!(next.memory.in_use(), car.memory.in_use());
    cycle(&mut next, &[Pass(GROSS_LEAK)]);
    assert_eq!(
        next.stored(),
        "P0118 | P0118 | P0118 | on | P0118",
        "its monitor judges, and no other"
    );
    let mut back = Car::new();
    back.memory.restore(&next.memory.store()).unwrap();
    assert_eq!(back.stored(), next.stored());
}

#[test]
fn impossible_contents_are_refused_and_change_nothing() {
    let good = serde_json::to_value(confirmed_car(COOLANT_HIGH).memory.store()).unwrap();
    let with = |change: &dyn Fn(&mut Value)| {
        let mut value = good.clone();
        change(&mut value);
        serde_json::from_value::<StoredMemory>(value).unwrap()
    };
    let twice = with(&|value| {
        let again = value["codes"][0].clone();
        value["codes"].as_array_mut().unwrap().push(again);
    });
    let order = |number: u64| with(&|value| value["codes"][0]["confirmed"]["since"] = json!(number));
    let guests = with(&|value| {
        let codes = value["codes"].as_array_mut().unwrap();
        for (number, dtc) in (100..).zip(0x1000..0x1021) {
            let pending = json!({ "since": number, "failed_cycles": 1, "age": 1 });
            codes.push(json!({ "code": Dtc::p(dtc), "pending": pending }));
        }
    });
    let metres = |metres: f64| with(&|value| value["driven"]["with_mil"]["metres"] = json!(metres));
    for (stored, text) in [
        (twice, "`P0118` has two entries"),
        (order(0), "the entry `0` of `P0118` is out of order"),
        (order(1), "the entry `1` of `P0118` is out of order"),
        (
            order(u64::MAX),
            "the entry `18446744073709551615` of `P0118` is out of order",
        ),
        (guests, "`33` codes have no monitor, at most `32` can be held"),
        (metres(-1.0), "a distance is below zero or no number"),
        (metres(f64::NAN), "a distance is below zero or no number"),
    ] {
        let mut car = Car::new();
        cycle(&mut car, &[Fail(GROSS_LEAK)]);
        let before = told(&car.memory);
        assert_eq!(car.memory.restore(&stored).unwrap_err().to_string(), text);
        assert_eq!(told(&car.memory), before);
    }
}

/// Numbers at the ends of their ranges, wherever a content has a number: refused, or lived with.
#[test]
fn no_number_is_too_large_to_live_with() {
    let mut source = confirmed_car(COOLANT_HIGH);
    cycle(
        &mut source,
        &[Misfire(MISFIRE_RANDOM, MisfireWindow::EmissionLater); 4],
    );
    cycle(&mut source, &[Fail(THROTTLE_TRACKS), Drive(60, 50.0), Done(LEAK)]);
    let good = serde_json::to_value(source.memory.store()).unwrap();
    let mut dice = Dice(0x1968_0004);
    let (mut taken, mut places) = (0, 0);
    for extreme in [
        json!(0),
        json!(255),
        json!(65_535),
        json!(u32::MAX),
        json!(1_u64 << 53),
        json!(1e300),
    ] {
        for place in 0.. {
            let mut value = good.clone();
            if !replace_number(&mut value, &mut { place }, &extreme) {
                break;
            }
            places += 1;
            let mut car = Car::new();
            let Ok(stored) = serde_json::from_value(value) else {
                continue;
            };
            if car.memory.restore(&stored).is_err() {
                continue;
            }
            taken += 1;
            for _ in 0..5 {
                for dtc in [COOLANT_HIGH, MISFIRE_RANDOM, THROTTLE_TRACKS] {
                    let outcome = if dice.roll(3) == 0 { Fail(dtc) } else { Pass(dtc) };
                    cycle(&mut car, &[outcome, WarmUp, Drive(20, 100.0), CouldDetect(LEAK)]);
                }
            }
            car.happen(Clear);
        }
    }
    assert!(places > 300 && taken > 100, "{taken} of {places}");
}

/// Replaces the number that comes after so many others; whether there is one.
fn replace_number(value: &mut Value, place: &mut usize, by: &Value) -> bool {
    match value {
        Value::Number(_) if *place == 0 => {
            *value = by.clone();
            true
        }
        Value::Number(_) => {
            *place -= 1;
            false
        }
        Value::Array(list) => list.iter_mut().any(|item| replace_number(item, place, by)),
        Value::Object(map) => map.values_mut().any(|item| replace_number(item, place, by)),
        _ => false,
    }
}
