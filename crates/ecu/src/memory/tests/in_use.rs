//! In-use performance counters: 13 CCR 1968.2(d)(4), (d)(5), (g)(5), mostly from memory; the numbers of the
//! general denominator also in the public source of J1699-3 (test 10).

use super::{wide::*, *};

fn pair(car: &Car, group: Group) -> (u16, u16) {
    car.memory.in_use().group(group).unwrap()
}

fn general(car: &Car) -> u16 {
    car.memory.in_use().counters()[0]
}

/// The three conditions of (d)(4.3.2)(A), and that time outside the weather does not count.
#[test]
fn the_general_denominator_has_limits_of_weather() {
    let counts = |weather: Event, drive: &[Event]| {
        let mut car = Car::new();
        car.happen_all(&[weather, KeyOn, Start]);
        car.happen_all(drive);
        general(&car) == 1
    };
    assert!(counts(Ambient(-6.0), &DRIVE));
    assert!(!counts(Ambient(-8.0), &DRIVE));
    assert!(counts(Barometer(75.0), &DRIVE));
    assert!(!counts(Barometer(74.0), &DRIVE), "above 2,440 m");
    assert!(!counts(
        Ambient(20.0),
        &[Drive(330, 50.0), Drive(240, 30.0), Idle(29)]
    ));
    assert!(!counts(
        Ambient(20.0),
        &[Drive(330, 50.0), Drive(230, 30.0), Idle(39)]
    ));
    assert!(!counts(
        Ambient(20.0),
        &[Drive(290, 50.0), Drive(280, 30.0), Idle(60)]
    ));
    // A moment above the limit cuts the idle in two.
    let cut_in_two = [
        Drive(580, 50.0),
        Idle(20),
        Barometer(70.0),
        Idle(5),
        Barometer(90.0),
        Idle(20),
    ];
    assert!(!counts(Ambient(20.0), &cut_in_two));
}

/// (d)(4.3.2)(C): evap counts in mild weather after a cold start only; catalyst with every general
/// denominator.
#[test]
fn the_evap_denominator_needs_a_cold_start_in_mild_weather() {
    let counts = |events: &[Event]| {
        let mut car = Car::new();
        car.happen_all(events);
        car.happen_all(&[KeyOn, Start]);
        car.happen_all(&DRIVE);
        assert_eq!((general(&car), pair(&car, Group::Catalyst)), (1, (0, 1)));
        pair(&car, Group::Evap).1
    };
    assert_eq!(counts(&[]), 1);
    assert_eq!(counts(&[Coolant(26.0)]), 1);
    assert_eq!(counts(&[Coolant(27.0)]), 0, "7 K above ambient");
    assert_eq!(counts(&[Coolant(10.0)]), 1, "colder than ambient");
    assert_eq!(counts(&[Ambient(4.0), Coolant(5.0)]), 0, "ambient too cold");
    assert_eq!(counts(&[Ambient(36.0), Coolant(34.0)]), 0, "ambient too hot");
    assert_eq!(counts(&[Coolant(4.0)]), 0, "start too cold");
}

/// (d)(4.2): the numerator counts once per driving cycle, when a fault could have been found.
#[test]
fn a_numerator_counts_once_per_driving_cycle() {
    let mut car = Car::new();
    car.happen_all(&[CouldDetect(CATALYST), KeyOn, Start]);
    assert_eq!(pair(&car, Group::Catalyst).0, 0);
    assert!(
        car.happen(CouldDetect(CATALYST))
            .contains(Effect::NumeratorCounted(CATALYST))
    );
    assert!(car.happen(CouldDetect(CATALYST)).is_empty());
    assert_eq!(pair(&car, Group::Catalyst), (1, 0));
    car.happen_all(&[Stop, Start, CouldDetect(CATALYST)]);
    assert_eq!(pair(&car, Group::Catalyst), (2, 0));
    assert!(
        car.happen(CouldDetect(COOLANT_CIRCUIT)).is_empty(),
        "a circuit has no pair"
    );
}

/// (d)(5.2.2): of several monitors of a group the pair with the lowest ratio; equal ratios, the higher
/// denominator.
#[test]
fn the_lowest_ratio_of_a_group_is_reported() {
    let mut car = Car::new();
    for could in [
        &[CouldDetect(LEAK), CouldDetect(PURGE_FLOW)][..],
        &[CouldDetect(LEAK)],
        &[],
    ] {
        car.happen_all(&[Coolant(20.0), KeyOn, Start]);
        car.happen_all(could);
        car.happen_all(&DRIVE);
        car.happen(KeyOff);
    }
    assert_eq!(pair(&car, Group::Evap), (1, 3));
}

/// (d)(4.5.1) (from memory): a stored code that disables a monitor freezes its pair; gone, the pair counts
/// again. Ignition cycles and the general denominator count on.
#[test]
fn a_code_that_disables_a_monitor_freezes_its_pair() {
    let mut car = Car::new();
    car.happen_all(&[
        KeyOn,
        Start,
        Fail(COOLANT_HIGH),
        CouldDetect(LEAK),
        CouldDetect(PURGE_FLOW),
    ]);
    car.happen_all(&DRIVE);
    car.happen(KeyOff);
    assert_eq!(car.memory.in_use().counters()[..2], [1, 1]);
    // The leak test stands at (0, 0), purge flow at (1, 1): equal in product, so the higher denominator is
    // reported.
    assert_eq!(pair(&car, Group::Evap), (1, 1));
    car.happen_all(&[KeyOn, Clear, Start, CouldDetect(LEAK)]);
    car.happen_all(&DRIVE);
    // The leak test at (1, 1) again, purge flow at (1, 2).
    assert_eq!(pair(&car, Group::Evap), (1, 2));
    car.happen_all(&[KeyOff, KeyOn, Start]);
    car.happen_all(&DRIVE);
    car.happen(KeyOff);
    // Leak (1, 2), purge flow (1, 3).
    assert_eq!(pair(&car, Group::Evap), (1, 3));
}

/// (g)(5.2.1)(B) (from memory): a full pair is halved before the next count.
#[test]
fn a_full_pair_is_halved() {
    let mut car = Car::new();
    car.happen_all(&[Start, CouldDetect(CATALYST)]);
    car.happen_all(&DRIVE);
    car.happen(Stop);
    for _ in 1..65_535_u32 {
        car.happen_all(&[Start, CouldDetect(CATALYST), Stop]);
    }
    assert_eq!(pair(&car, Group::Catalyst), (65_535, 1));
    car.happen_all(&[Start, CouldDetect(CATALYST), Stop]);
    assert_eq!(pair(&car, Group::Catalyst), (32_768, 0));
}

/// 1968.2(c), (d)(5.5), (g)(5.2.1)(C) (from memory): an engine that ran 2 s is an ignition cycle; at the end
/// of its range the counter rolls to 0.
#[test]
fn ignition_cycles_roll_over() {
    let mut car = Car::new();
    car.conditions.span = Duration::from_secs(1);
    let cycles = |car: &Car| car.memory.in_use().counters()[1];
    for counted in [0, 1] {
        car.happen(Start);
        for _ in 0..1 + counted {
            car.apply(Fact::Conditions(car.conditions));
        }
        car.happen(Stop);
        assert_eq!(cycles(&car), counted);
    }
    car.conditions.span = Duration::from_secs(2);
    for _ in 1..65_535_u32 {
        car.happen(Start);
        car.apply(Fact::Conditions(car.conditions));
        car.happen(Stop);
    }
    assert_eq!(cycles(&car), 65_535);
    car.happen(Start);
    car.apply(Fact::Conditions(car.conditions));
    assert_eq!(cycles(&car), 0);
}

/// (d)(4.3.2)(E) (from memory): commanded twice, or for 10 s in sum, in the driving cycle, beyond the general drive.
#[test]
fn an_output_counts_when_commanded_twice_or_for_ten_seconds() {
    let on = Command(VALVE_TIMING, true);
    let off = Command(VALVE_TIMING, false);
    let counts = |events: &[Event]| {
        let mut car = wide_car();
        car.happen_all(&[KeyOn, Start]);
        car.happen_all(events);
        assert_eq!(pair(&car, Group::Egr), (0, 0), "before the general drive");
        car.happen_all(&DRIVE);
        pair(&car, Group::Egr) == (0, 1)
    };
    assert!(!counts(&[]));
    assert!(!counts(&[on, Idle(9), on, off]), "told twice that it is on");
    assert!(counts(&[on, Idle(9), off, on, off]));
    assert!(counts(&[on, Idle(10), off]));
    assert!(counts(&[on]), "on all the time");
    assert!(
        !counts(&[on, Idle(9), off, Stop, Start, on, off]),
        "once each in two"
    );
}

/// (d)(4.3.2)(B) (from memory): secondary air, 10 s; commands alone do not count.
#[test]
fn secondary_air_counts_after_ten_seconds() {
    let on = Command(SECONDARY_AIR, true);
    let off = Command(SECONDARY_AIR, false);
    let counts = |events: &[Event]| {
        let mut car = wide_car();
        car.happen_all(&[KeyOn, Start]);
        car.happen_all(events);
        car.happen_all(&DRIVE);
        pair(&car, Group::SecondaryAir) == (0, 1)
    };
    assert!(!counts(&[on, Idle(3), off, on, Idle(3), off, on, Idle(3), off]));
    assert!(counts(&[on, Idle(5), off, on, Idle(5), off]));
}

/// (d)(5.1): front and rear sensor have a pair each, though they share a readiness bit.
#[test]
fn front_and_rear_sensor_are_tracked_apart() {
    let mut car = wide_car();
    car.happen_all(&[KeyOn, Start, CouldDetect(REAR_SENSOR), Stop, Start]);
    car.happen_all(&[CouldDetect(FRONT_SENSOR), CouldDetect(REAR_SENSOR)]);
    car.happen_all(&DRIVE);
    let in_use = car.memory.in_use();
    assert_eq!(in_use.item(InUseItem::PrimarySensorBank1), (1, 1));
    assert_eq!(in_use.item(InUseItem::SecondarySensorBank1), (2, 1));
    assert_eq!(in_use.item(InUseItem::PrimarySensorBank2), (0, 0), "not fitted");
}

/// (d)(4.5.3) (from memory): a fault of what the drive is judged by freezes all pairs and the general denominator,
/// not the ignition cycles; gone, they count again.
#[test]
fn a_fault_of_the_speed_signal_freezes_everything_but_ignition_cycles() {
    let mut car = wide_car();
    car.happen_all(&[KeyOn, Start, Fail(NO_SPEED), CouldDetect(FRONT_SENSOR)]);
    car.happen_all(&DRIVE);
    let mut expected = [0; 20];
    expected[1] = 1;
    assert_eq!(car.memory.in_use().counters(), &expected);
    car.happen_all(&[KeyOff, KeyOn, Clear, Start, CouldDetect(FRONT_SENSOR)]);
    car.happen_all(&DRIVE);
    assert_eq!(car.memory.in_use().counters()[..2], [1, 2]);
    assert_eq!(car.memory.in_use().item(InUseItem::PrimarySensorBank1), (1, 1));
    // Healed in the dark: counting resumes although the code is still stored as confirmed.
    for event in [
        Fail(NO_SPEED),
        Fail(NO_SPEED),
        Pass(NO_SPEED),
        Pass(NO_SPEED),
        Pass(NO_SPEED),
    ] {
        car.happen_all(&[KeyOff, KeyOn, Start, event]);
        car.happen_all(&DRIVE);
        assert_eq!(car.memory.in_use().counters()[0], 1);
    }
    car.happen_all(&[KeyOff, KeyOn, Start]);
    car.happen_all(&DRIVE);
    assert_eq!(
        (car.stored().as_str(), general(&car)),
        ("- | P0500 | - | off | P0500", 2)
    );
}

/// (g)(5.2.1)(D) (from memory): the general denominator rolls to 0 like the ignition cycles; it and the pairs grow by
/// one a driving cycle at most.
#[test]
fn the_general_denominator_rolls_over() {
    let mut car = Car::new();
    car.conditions.span = Duration::from_secs(600);
    let drive = |car: &mut Car| {
        car.happen(Start);
        car.conditions.vehicle_speed = Speed::from_kilometres_per_hour(60.0);
        car.apply(Fact::Conditions(car.conditions));
        car.conditions.vehicle_speed = Speed::ZERO;
        car.apply(Fact::Conditions(car.conditions));
        car.apply(Fact::Conditions(car.conditions));
        car.happen(Stop);
    };
    for _ in 0..65_535_u32 {
        drive(&mut car);
    }
    assert_eq!(
        (general(&car), pair(&car, Group::Catalyst)),
        (65_535, (0, 65_535))
    );
    drive(&mut car);
    assert_eq!((general(&car), pair(&car, Group::Catalyst)), (0, (0, 32_768)));
}

/// Equipment not fitted: both values always 0 (13 CCR 1968.2(g)(5.2), from memory), and no readiness.
#[test]
fn what_the_engine_has_nothing_for_is_counted_nowhere() {
    let leak = super::super::MonitorSet::of(&[LEAK, PURGE_FLOW]);
    let mut memory = FaultMemory::new(&Profile::US_2010, &CATALOGUE).without(leak);
    let report = memory.readiness_since_clear();
    assert!(!report.is_supported(Group::Evap) && report.is_supported(Group::Catalyst));
    for _ in 0..2 {
        memory.apply(CarInstant::ZERO, &Fact::EngineStarted, &LiveData::default());
        memory.apply(
            CarInstant::ZERO,
            &Fact::CouldDetect { monitor: LEAK },
            &LiveData::default(),
        );
        memory.apply(CarInstant::ZERO, &Fact::EngineStopped, &LiveData::default());
    }
    assert_eq!(memory.in_use().item(InUseItem::Evap), (0, 0));
    assert!(!memory.readiness_this_cycle().is_supported(Group::Evap));
}
