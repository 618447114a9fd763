//! Where driving cycles begin and end: 13 CCR 1968.2(c), from memory.

use super::{wide::*, *};

const THROUGH_THE_NIGHT: u64 = 4 * 3600;

/// A stall and a restart without key-off: the driving cycle ended with the engine, the next begins with it.
#[test]
fn a_restart_without_key_off_is_a_new_driving_cycle() {
    let mut car = Car::new();
    car.play(&[
        (
            &[KeyOn, Crank, Start, Fail(GROSS_LEAK)],
            "P0455 | - | - | off | P0455",
        ),
        (&[Stop, Crank, Start], "P0455 | - | - | off | P0455"),
        (&[Fail(GROSS_LEAK)], "P0455 | P0455 | P0455 | on | P0455"),
        (&[Stop], "P0455 | P0455 | P0455 | on | P0455"),
        (&[Start, Pass(GROSS_LEAK), Stop], "- | P0455 | P0455 | on | P0455"),
        (&[KeyOff], "- | P0455 | P0455 | on | P0455"),
    ]);
}

/// The key goes off while the car rolls and the engine still turns: settled at once, and once; what is rolled after
/// it is distance, but neither time nor drive.
#[test]
fn key_off_while_moving_ends_the_driving_cycle_at_once() {
    let mut car = Car::new();
    car.happen_all(&[KeyOn, Start, Fail(GROSS_LEAK), KeyOff]);
    car.happen_all(&[KeyOn, Start, Pass(GROSS_LEAK), Drive(600, 60.0)]);
    let effects = car.happen(KeyOff);
    assert!(
        effects.contains(Effect::DrivingCycleEnded) && effects.contains(Effect::PendingErased(GROSS_LEAK))
    );
    let before = car.memory.counters();
    assert!(car.happen(Coast(60, 60.0)).is_empty());
    assert!(car.happen(Stop).is_empty(), "the engine has run down");
    let after = car.memory.counters();
    assert_eq!(after.distance_since_clear, before.distance_since_clear + 1);
    assert_eq!(after.time_since_clear, before.time_since_clear);
}

/// As amended after 2007 (from memory): four hours of uninterrupted running are cut, and each piece is a driving cycle
/// that can hold the second detection.
#[test]
fn four_hours_of_running_are_one_driving_cycle() {
    let mut car = Car::new();
    car.conditions.span = Duration::from_secs(1);
    car.happen_all(&[KeyOn, Start, Fail(GROSS_LEAK)]);
    let drive = |car: &mut Car, seconds: u64| {
        let mut all = Effects::NONE;
        for _ in 0..seconds {
            for effect in car.apply(Fact::Conditions(car.conditions)).iter() {
                all.push(effect);
            }
        }
        all
    };
    let effects = drive(&mut car, THROUGH_THE_NIGHT - 1);
    assert!(!effects.contains(Effect::DrivingCycleEnded));
    car.play(&[(&[Fail(GROSS_LEAK)], "P0455 | - | - | off | P0455")]);
    let effects = drive(&mut car, 1);
    let cut = [Effect::DrivingCycleEnded, Effect::DrivingCycleStarted];
    assert_eq!(effects.iter().collect::<std::vec::Vec<_>>(), cut);
    assert!(car.memory.is_driving_cycle());
    car.play(&[(&[Fail(GROSS_LEAK)], "P0455 | P0455 | P0455 | on | P0455")]);
    let effects = drive(&mut car, 2 * THROUGH_THE_NIGHT + 1);
    let cuts = effects
        .iter()
        .filter(|effect| *effect == Effect::DrivingCycleEnded);
    assert_eq!(cuts.count(), 2);
    car.happen_all(&[KeyOff]);
}

/// 1968.2(c) (from memory): an ignition cycle begins with an engine start; the piece after a cut has none. Its drive
/// and its warm-up begin anew.
#[test]
fn a_piece_after_a_cut_is_no_ignition_cycle() {
    let mut car = Car::new();
    car.happen_all(&[KeyOn, Start, WarmUp]);
    car.happen_all(&DRIVE);
    car.conditions.span = Duration::from_secs(60);
    for _ in 0..4 * 60 {
        car.apply(Fact::Conditions(car.conditions));
    }
    car.conditions.span = Duration::from_millis(100);
    let counters = |car: &Car| car.memory.in_use().counters()[..2].to_vec();
    assert_eq!(counters(&car), [1, 1]);
    car.happen_all(&DRIVE);
    assert_eq!(counters(&car), [2, 1]);
    assert_eq!(car.memory.counters().warm_ups_since_clear, 1, "warm already");
    car.happen_all(&[Stop, Start, Idle(3)]);
    assert_eq!(counters(&car), [2, 2]);
}

/// An output that is on when the run is cut is on from the beginning of the next piece.
#[test]
fn an_output_stays_on_over_a_cut() {
    let mut car = wide_car();
    car.happen_all(&[KeyOn, Start, Command(SECONDARY_AIR, true)]);
    car.conditions.span = Duration::from_secs(4 * 3600);
    car.apply(Fact::Conditions(car.conditions));
    car.conditions.span = Duration::from_millis(100);
    car.happen_all(&DRIVE);
    assert_eq!(car.memory.in_use().item(InUseItem::SecondaryAir), (0, 1));
}

/// Results of the first seconds after key-off, while the ECU still holds its power, belong to no driving cycle.
#[test]
fn power_hold_after_key_off_decides_nothing() {
    let mut car = Car::new();
    car.play(&[
        (
            &[KeyOn, Start, Fail(GROSS_LEAK), KeyOff],
            "P0455 | - | - | off | P0455",
        ),
        (
            &[Fail(COOLANT_LOW), Pass(GROSS_LEAK), Fail(GROSS_LEAK), Idle(5)],
            "P0455 | - | - | off | P0455",
        ),
        (
            &[KeyOn, KeyOff, KeyOn, Idle(60), KeyOff],
            "P0455 | - | - | off | P0455",
        ),
    ]);
    assert!(car.happen(CouldDetect(CATALYST)).is_empty());
}
