use super::*;
use crate::monitors::P0117;

fn end(records: &mut Records, now: CarInstant, pins: &SensorPins) {
    records.end_of_step(now, &Monitors::default(), &Signals::default(), pins);
}

#[test]
fn grounds_stand_beside_what_was_judged() {
    let mut records = Records::default();
    let now = CarInstant::from_secs(5);
    records.cycle_began(now, Duration::from_secs(60), &Signals::default());
    records.heard(now, TestResult::Failed(P0117));
    records.changed(now, Effect::PendingStored(P0117));
    end(&mut records, now, &SensorPins::default());
    let ground = Evidence {
        what: "pin of the coolant sensor",
        value: 0.0,
        unit: "V",
        limits: (Some(0.2), Some(4.9)),
    };
    let what: Vec<What> = records.entries().skip(1).map(|entry| entry.what).collect();
    assert_eq!(
        what,
        [
            What::Failed(P0117, Some(ground)),
            What::Memory(Effect::PendingStored(P0117))
        ]
    );
    assert_eq!(records.last_pass(P0117), None);
}

/// A pass is an entry only where it ends a failure; the last one of each code is kept besides.
#[test]
fn passes_are_kept_by_code() {
    let mut records = Records::default();
    for second in 1..=9 {
        let now = CarInstant::from_secs(second);
        records.heard(now, TestResult::Passed(P0117));
        end(&mut records, now, &SensorPins::default());
    }
    assert_eq!(records.entries().count(), 0);
    assert_eq!(
        records.last_pass(P0117).map(|pass| pass.at),
        Some(CarInstant::from_secs(9))
    );
    let now = CarInstant::from_secs(10);
    records.heard(now, TestResult::Failed(P0117));
    records.heard(now, TestResult::Passed(P0117));
    end(&mut records, now, &SensorPins::default());
    assert_eq!(records.entries().count(), 2);
    records.changed(now, Effect::Cleared);
    assert_eq!(records.last_pass(P0117), None);
}

#[test]
fn the_records_are_bounded_and_say_when_they_forgot() {
    let mut records = Records::default();
    for second in 0..3000 {
        let now = CarInstant::from_secs(second);
        records.heard(now, TestResult::Failed(P0117));
        end(&mut records, now, &SensorPins::default());
    }
    assert_eq!(records.entries().count(), Records::ENTRIES);
    assert!(records.forgotten() && records.judged.is_empty());
    assert_eq!(
        records.entries.capacity(),
        VecDeque::<Entry>::with_capacity(Records::ENTRIES).capacity()
    );
}
