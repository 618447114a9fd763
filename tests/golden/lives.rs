//! The life of codes in the whole car, as a scan tool reads it from the bus.

use std::time::Duration;

use twotrip_sim::Timing;

use crate::desk::Desk;

const P0452: u16 = 0x0452;
const P0455: u16 = 0x0455;
const P0457: u16 = 0x0457;

/// Confirmed, pending, permanent.
fn lists(desk: &mut Desk) -> [Vec<u16>; 3] {
    [0x03, 0x07, 0x0A].map(|service| desk.codes(service))
}

fn mil(desk: &mut Desk) -> bool {
    desk.pid(0x01)[0] & 0x80 != 0
}

/// Evap in PID $01 or $41: enabled or supported, complete.
fn evap(desk: &mut Desk, pid: u8) -> (bool, bool) {
    let bytes = desk.pid(pid);
    (bytes[2] & 0x04 != 0, bytes[3] & 0x04 == 0)
}

const COLD_DRIVE: &[&str] = &["soak 9 h", "drive udds", "drive hwfet", "soak 1 h", "key on"];

/// The level rose by a quarter since key-off: P0457, and it stays this one code over both trips.
#[test]
fn a_cap_left_loose_at_the_pump_is_one_code_with_one_name() {
    let mut desk = Desk::new(71, Timing::FAST);
    desk.tell(&["ambient 18 C", "soak 9 h", "drive udds", "key off"]);
    desk.tell(&["refuel to 75 %", "defect fuel-cap loose"]);
    desk.tell(COLD_DRIVE);
    assert_eq!(lists(&mut desk), [vec![], vec![P0457], vec![]]);
    assert_eq!(
        desk.ask(&[0x02, 0x02, 0x00]),
        Some(vec![0x42, 0x02, 0x00, 0x04, 0x57])
    );
    // No refuelling before the second trip, and a key-on in between.
    desk.tell(&["key off"]);
    desk.tell(COLD_DRIVE);
    assert_eq!(lists(&mut desk), [vec![P0457], vec![P0457], vec![P0457]]);
    assert!(mil(&mut desk));
    // Refuelled once more, to a third trip: still the one code.
    desk.tell(&["key off", "refuel to 84 %"]);
    desk.tell(COLD_DRIVE);
    assert_eq!(lists(&mut desk), [vec![P0457], vec![P0457], vec![P0457]]);

    // Repaired but not cleared: three passing trips.
    desk.tell(&["key off", "tighten fuel-cap"]);
    for (passed, lit) in [(1, true), (2, true), (3, false)] {
        desk.tell(COLD_DRIVE);
        assert_eq!(mil(&mut desk), lit, "after {passed} passing trips");
        let permanent = if lit { vec![P0457] } else { vec![] };
        assert_eq!(lists(&mut desk), [vec![P0457], vec![], permanent]);
        assert_eq!(desk.pid(0x01)[0] & 0x7F, 1);
        desk.tell(&["key off"]);
    }
    desk.tell(&["key on"]);
    assert_eq!(
        desk.ask(&[0x02, 0x02, 0x00]),
        Some(vec![0x42, 0x02, 0x00, 0x04, 0x57])
    );
    // Lamp: checked at key-on, dark after; bit 7 never.
    desk.tell(&["expect lamp lit", "wait 25 s"]);
    desk.tell(&["expect lamp dark", "expect no permanent"]);
}

/// Found before the fuel was taken on: the name of the first trip stays.
#[test]
fn refuelling_between_the_trips_does_not_rename_a_leak() {
    let mut desk = Desk::new(77, Timing::FAST);
    desk.tell(&["ambient 18 C", "defect fuel-cap loose"]);
    desk.tell(COLD_DRIVE);
    assert_eq!(lists(&mut desk), [vec![], vec![P0455], vec![]]);
    desk.tell(&["key off", "refuel to 80 %"]);
    desk.tell(COLD_DRIVE);
    assert_eq!(lists(&mut desk), [vec![P0455], vec![P0455], vec![P0455]]);
}

/// Cleared with the fault there: it comes back over two trips, and the permanent code never goes.
#[test]
fn a_clear_does_not_repair() {
    let mut desk = Desk::new(72, Timing::FAST);
    desk.tell(&["ambient 18 C", "refuel to 60 %", "defect fuel-cap loose"]);
    desk.tell(COLD_DRIVE);
    desk.tell(COLD_DRIVE);
    assert_eq!(lists(&mut desk), [vec![P0455], vec![P0455], vec![P0455]]);
    let counters = desk.in_use();
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    assert_eq!(lists(&mut desk), [vec![], vec![], vec![P0455]]);
    assert!(!mil(&mut desk));
    assert_eq!(desk.ask(&[0x02, 0x02, 0x00]), Some(vec![0x42, 0x02, 0x00, 0, 0]));
    assert_eq!(desk.ask(&[0x02, 0x0C, 0x00]), None);
    assert_eq!(evap(&mut desk, 0x01), (true, false));
    assert!(!evap(&mut desk, 0x41).1, "J1699-3 test 5.6");
    for counter in [0x21, 0x30, 0x31, 0x4D, 0x4E, 0x1F] {
        assert!(
            desk.pid(counter).iter().all(|&byte| byte == 0),
            "PID {counter:02X}"
        );
    }
    assert_eq!(desk.in_use(), counters);
    desk.tell(COLD_DRIVE);
    assert_eq!(lists(&mut desk), [vec![], vec![P0455], vec![P0455]]);
    assert!(!mil(&mut desk));
    assert_eq!(
        evap(&mut desk, 0x01),
        (true, false),
        "one failure decides nothing"
    );
    desk.tell(COLD_DRIVE);
    assert_eq!(lists(&mut desk), [vec![P0455], vec![P0455], vec![P0455]]);
    assert!(mil(&mut desk));
    assert_eq!(evap(&mut desk, 0x01), (true, true));
}

/// Readiness, this cycle's readiness, in-use counters and distances of a car that is cleared, repaired and driven.
#[test]
fn the_counters_of_one_cold_drive() {
    let mut desk = Desk::new(73, Timing::FAST);
    desk.tell(&["ambient 18 C", "refuel to 60 %", "key on"]);
    let before = desk.in_use();
    assert_eq!(before, [0; 20]);
    assert_eq!(
        (mil(&mut desk), desk.car.car().lamp_lit()),
        (false, true),
        "bulb check"
    );
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    desk.tell(&["key off", "soak 9 h", "start"]);
    assert_eq!(evap(&mut desk, 0x41), (true, false), "it can still run");
    assert!(!desk.car.car().lamp_lit());
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x7F, 0x04, 0x22]));
    desk.tell(&["drive udds"]);
    assert_eq!(
        evap(&mut desk, 0x41),
        (true, false),
        "the test of the parked car is to come"
    );
    assert_eq!(evap(&mut desk, 0x01), (true, false));
    // GD, ignition cycles, evap completions, evap conditions (SAE J1979 order, from memory).
    // A cold drive of this schedule lets everything run: catalyst, front and rear oxygen sensor as well.
    let one = |counters: Vec<u16>| [counters[0], counters[1], counters[14], counters[15]];
    let drive = desk.in_use();
    assert_eq!(one(drive.clone()), [1, 1, 0, 1], "{drive:?}");
    // Catalyst, front oxygen sensor, recirculation and cam as one, rear oxygen sensor.
    for place in [2, 6, 10, 16] {
        assert_eq!(drive[place..place + 2], [1, 1], "{drive:?}");
    }
    desk.tell(&["drive hwfet"]);
    assert_eq!(one(desk.in_use()), [1, 1, 0, 1], "once a driving cycle");
    assert_eq!(desk.pid(0x30), [1]);
    let kilometres = desk.pid(0x31)[1];
    // 12.07 and 16.51 km: 40 CFR Part 86 Appendix I and Part 600 Appendix I.
    assert!((27..=29).contains(&kilometres), "{kilometres}");
    let minutes = desk.pid(0x4E)[1];
    // 1369 s and 765 s.
    assert!((35..=37).contains(&minutes), "{minutes}");
    assert_eq!((desk.pid(0x21), desk.pid(0x4D)), (vec![0, 0], vec![0, 0]));
    // A hot restart: one more ignition cycle, no cold start.
    desk.tell(&["key off", "wait 15 min", "drive udds"]);
    let hot = desk.in_use();
    assert_eq!(one(hot.clone()), [2, 2, 1, 1], "{hot:?}");
    assert_eq!(evap(&mut desk, 0x41), (false, false));
    assert_eq!(evap(&mut desk, 0x01), (true, true));
    assert_eq!(desk.pid(0x30), [1], "warm already: no warm-up cycle");
    // Rolling.
    let id = desk.ask(&[0x09, 0x06]).expect("CVN");
    desk.tell(&["key off", "key on"]);
    assert_eq!(desk.ask(&[0x09, 0x06]), Some(id));
    assert_eq!(desk.pid(0x1F), [0, 0], "key on, engine off");
    assert_eq!(desk.pid(0x0C), [0, 0]);
    assert_eq!((desk.pid(0x04), desk.pid(0x43)), (vec![0], vec![0, 0]));
    assert_eq!(desk.pid(0x03), [0, 0]);
}

/// A circuit fault is found at idle; what it costs and when it goes (J1699-3 tests 6 to 9).
#[test]
fn a_wire_to_ground_from_idle_to_idle() {
    let mut desk = Desk::new(74, Timing::FAST);
    desk.tell(&[
        "ambient 18 C",
        "refuel to 60 %",
        "defect wiring tank-pressure-sensor short-to-ground",
        "start",
        "wait 10 s",
    ]);
    assert_eq!(lists(&mut desk), [vec![], vec![P0452], vec![]]);
    assert!(!mil(&mut desk));
    assert_eq!(
        desk.ask(&[0x02, 0x02, 0x00]),
        Some(vec![0x42, 0x02, 0x00, 0x04, 0x52])
    );
    assert!(desk.ask(&[0x02, 0x0C, 0x00]).is_some());
    assert_eq!(evap(&mut desk, 0x41), (false, false), "the leak test cannot run");
    desk.tell(&["key off", "wait 30 s", "start", "wait 10 s"]);
    assert_eq!(lists(&mut desk), [vec![P0452], vec![P0452], vec![P0452]]);
    assert!(mil(&mut desk) && desk.car.car().lamp_lit());
    assert_eq!(desk.pid(0x01)[0], 0x81);
    desk.tell(&[
        "key off",
        "wait 30 s",
        "mend wiring tank-pressure-sensor",
        "key on",
    ]);
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    desk.tell(&["start", "drive idle 60 s", "key off", "wait 30 s", "start"]);
    assert_eq!(lists(&mut desk), [vec![], vec![], vec![P0452]], "not driven yet");
    desk.tell(&["drive udds", "key off", "wait 30 s", "key on"]);
    assert_eq!(lists(&mut desk), [vec![], vec![], vec![]]);
}

/// Key off: the after-run of five seconds answers, then nobody does.
#[test]
fn a_sleeping_car_is_silent_and_wakes_whole() {
    for timing in [Timing::FAST, Timing::REAL] {
        let mut desk = Desk::new(75, timing);
        assert_eq!(desk.ask(&[0x01, 0x00]), None);
        desk.tell(&["key on"]);
        assert!(desk.ask(&[0x01, 0x00]).is_some());
        // A long answer is under way when the ECU falls asleep.
        desk.hears(&twotrip_can::Frame::padded(
            crate::desk::FUNCTIONAL,
            &[2, 0x09, 0x02],
            0,
        ));
        let _ = desk.sends(Duration::from_millis(20));
        desk.tell(&["key off", "wait 10 s"]);
        assert_eq!(desk.ask(&[0x01, 0x00]), None);
        desk.hears(&twotrip_can::Frame::padded(
            crate::desk::PHYSICAL,
            &[0x30, 0, 0],
            0,
        ));
        assert_eq!(desk.sends(Duration::from_millis(200)), []);
        desk.tell(&["key on"]);
        assert_eq!(desk.ask(&[0x09, 0x02]).map(|vin| vin.len()), Some(20));
    }
}

/// What was put in by hand, and how it leaves.
#[test]
fn preload_and_override_are_marked_and_can_be_undone() {
    let mut desk = Desk::new(76, Timing::FAST);
    desk.tell(&["key on"]);
    assert!(!desk.car.not_physical());
    let readiness = desk.pid(0x01);
    desk.tell(&["preload confirmed P0301 P0455", "preload pending P0171"]);
    assert!(desk.car.not_physical());
    assert_eq!(
        lists(&mut desk),
        [vec![0x0301, P0455], vec![0x0171], vec![0x0301, P0455]]
    );
    assert_eq!(desk.pid(0x01), [0x82, readiness[1], readiness[2], readiness[3]]);
    desk.tell(&["override engine-speed 3000 rpm"]);
    assert_eq!(desk.pid(0x0C), 12_000_u16.to_be_bytes());
    desk.tell(&["release engine-speed"]);
    assert_eq!(desk.pid(0x0C), [0, 0]);
    assert!(desk.car.not_physical(), "the run was not");
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    assert_eq!(lists(&mut desk), [vec![], vec![], vec![0x0301, P0455]]);
    // More codes than fit, of a gearbox that this ECU has no monitor for.
    let outcomes = desk.outcomes(&[
        "preload confirmed P0700 P0701 P0702 P0703 P0704 P0705 P0706 P0707 P0708 P0709 P0710 P0711 P0712 P0713 P0714",
        "preload confirmed P0715 P0716 P0717 P0718 P0719 P0720 P0721 P0722 P0723 P0724 P0725 P0726 P0727 P0728 P0729",
        "preload confirmed P0730 P0731 P0732 P0733 P0734",
    ]);
    assert!(!outcomes[2].ok, "{}", outcomes[2].text);
    assert_eq!(desk.codes(0x03).len(), usize::from(desk.pid(0x01)[0] & 0x7F));
}

/// Twelve thousand phrases at once: each has its outcome, none is lost on the way.
#[test]
fn no_outcome_is_lost_in_a_long_story() {
    let mut desk = Desk::new(78, Timing::FAST);
    let phrases = vec!["expect no pending"; 12_000];
    assert_eq!(desk.outcomes(&phrases).len(), phrases.len());
}

/// The car's time does not run ahead of a pace, however finely it is cut.
#[test]
fn a_phrase_takes_its_time_in_pieces_of_any_size() {
    for piece in [
        Duration::from_micros(300),
        Duration::from_millis(7),
        Duration::from_secs(1),
    ] {
        let mut desk = Desk::new(79, Timing::FAST);
        desk.tell(&["key on"]);
        let begun = desk.car.car().now();
        desk.car
            .tell(twotrip_scenario::parse_phrase("wait 10 s").expect("a phrase"));
        let mut given = Duration::ZERO;
        let mut used = Duration::ZERO;
        while desk.car.is_busy() {
            used += desk.car.work(piece);
            given += piece;
            let passed = desk.car.car().now().saturating_since(begun);
            assert!(
                passed < given + Duration::from_millis(10),
                "{passed:?} in {given:?}"
            );
        }
        let grain = Duration::from_millis(10);
        assert!(
            used <= given && used + piece + grain > Duration::from_secs(10),
            "{used:?} of {given:?}"
        );
        assert_eq!(
            desk.car.car().now().saturating_since(begun),
            Duration::from_secs(10)
        );
    }
}

/// A circuit code keeps the leak test and its in-use counters still; gone, they go on (13 CCR 1968.2(d)(4.5.1), from
/// memory). Forty warm-ups after the lamp went out the code is gone too (13 CCR 1968.2(d)(2.4), from memory).
#[test]
fn a_blocked_monitor_does_not_count_and_an_old_code_leaves() {
    let mut desk = Desk::new(80, Timing::FAST);
    desk.tell(&[
        "ambient 18 C",
        "refuel to 80 %",
        "defect wiring tank-pressure-sensor open",
    ]);
    for trip in 1..=2 {
        desk.tell(COLD_DRIVE);
        let counters = desk.in_use();
        assert_eq!(
            [counters[0], counters[1], counters[14], counters[15]],
            [trip, trip, 0, 0]
        );
        assert_eq!(evap(&mut desk, 0x01), (true, false));
        desk.tell(&["key off"]);
    }
    desk.tell(&["mend wiring tank-pressure-sensor"]);
    for _ in 0..3 {
        desk.tell(&["key on"]);
        assert!(mil(&mut desk));
        desk.tell(COLD_DRIVE);
        desk.tell(&["key off"]);
    }
    desk.tell(&["key on"]);
    assert_eq!(lists(&mut desk), [vec![0x0453], vec![], vec![]]);
    assert_eq!(desk.pid(0x01)[0], 0x01, "a code without the lamp");
    let driven = u16::from_be_bytes(desk.pid(0x21).try_into().expect("two bytes"));
    assert!(driven > 0, "held when the lamp went out");
    let counters = desk.in_use();
    assert_eq!(
        [counters[0], counters[14], counters[15]],
        [5, 0, 0],
        "while the code commanded the lamp, the test was kept from running"
    );
    let warm_up: &[&str] = &[
        "key off",
        "soak 9 h",
        "drive idle 30 s, 60 km/h for 10 min, stop",
        "key off",
        "key on",
    ];
    for trip in 1..=40 {
        let there = lists(&mut desk)[0].len();
        assert_eq!(there, 1, "before warm-up {trip}");
        if trip % 10 == 0 {
            desk.tell(&["key off", "refuel to 80 %"]);
        }
        desk.tell(warm_up);
    }
    assert_eq!(lists(&mut desk), [vec![], vec![], vec![]]);
    assert_eq!(desk.ask(&[0x02, 0x02, 0x00]), Some(vec![0x42, 0x02, 0x00, 0, 0]));
    assert_eq!(desk.pid(0x21), [0, 0]);
    let counters = desk.in_use();
    assert_eq!([counters[0], counters[1], counters[15]], [45, 45, 40]);
    assert_eq!(
        counters[14], 0,
        "ten minutes warm the fuel too little for the test of the parked car"
    );
}

/// 13 CCR 1968.2(c) (from memory): a warm-up cycle is one that the coolant was seen to reach, not one that the ECU's
/// model of it went through.
#[test]
fn without_a_reading_of_the_coolant_there_is_no_warm_up_cycle() {
    let mut desk = Desk::new(79, Timing::FAST);
    desk.tell(&[
        "ambient 18 C",
        "soak 9 h",
        "defect wiring coolant-sensor open",
        "drive udds",
    ]);
    assert_eq!(desk.pid(0x30), [0]);
    desk.tell(&["key off", "mend wiring coolant-sensor", "soak 9 h", "drive udds"]);
    assert_eq!(desk.pid(0x30), [1]);
}
