//! Where driving cycles begin and end in the whole car: stalls, restarts, the key off on the way, long runs, and the
//! seconds in which the ECU holds its power (13 CCR 1968.2(c), from memory).

use std::time::Duration;

use twotrip_ecu::{
    EcuConfig,
    memory::{Effect, Profile},
};
use twotrip_harness::KeyPosition;
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_units::BusInstant;
use twotrip_vehicle::DriverControls;

use crate::{bench::Bench, desk::Desk};

const P0452: u16 = 0x0452;
const SHORT: &str = "defect wiring tank-pressure-sensor short-to-ground";
const MEND: &str = "mend wiring tank-pressure-sensor";

/// Confirmed, pending.
fn lists(desk: &mut Desk) -> [Vec<u16>; 2] {
    [0x03, 0x07].map(|service| desk.codes(service))
}

/// General denominator, ignition cycles.
fn general(desk: &mut Desk) -> [u16; 2] {
    let counters = desk.in_use();
    [counters[0], counters[1]]
}

/// The crank sensor gives nothing for a moment: the engine dies with the key on, and is started again. Two driving
/// cycles, so that the second failure confirms, and two ignition cycles.
#[test]
fn a_stall_and_a_restart_without_key_off_are_two_driving_cycles() {
    let mut desk = Desk::new(81, Timing::FAST);
    desk.tell(&["ambient 18 C", SHORT, "start", "wait 10 s"]);
    assert_eq!(lists(&mut desk), [vec![], vec![P0452]]);
    assert_eq!(general(&mut desk), [0, 1]);
    desk.tell(&[
        "hold engine-speed 0 rpm",
        "wait 6 s",
        "release engine-speed",
        "wait 1 s",
    ]);
    assert!(
        desk.car.car().vehicle().engine_speed().rpm() < 1.0,
        "the engine has died"
    );
    assert_eq!(desk.pid(0x1F), [0, 0], "the key is on, the ECU answers");
    assert_eq!(
        lists(&mut desk),
        [vec![], vec![P0452]],
        "a stall alone confirms nothing"
    );
    desk.tell(&["expect lamp dark"]);
    desk.tell(&["start", "wait 10 s"]);
    assert_eq!(lists(&mut desk), [vec![P0452], vec![P0452]]);
    assert_eq!(general(&mut desk), [0, 2]);
    desk.tell(&[
        "expect mil commanded",
        "expect permanent P0452",
        "expect lamp lit",
    ]);
}

/// The key goes off at speed: the driving cycle is settled there and then. It had passed, so the pending code goes.
#[test]
fn key_off_on_the_way_settles_the_driving_cycle() {
    let mut desk = Desk::new(82, Timing::FAST);
    desk.tell(&["ambient 18 C", SHORT, "start", "wait 10 s", "key off", MEND]);
    let outcomes = desk.outcomes(&["drive idle 40 s, 60 km/h for 10 min, key off"]);
    assert!(
        outcomes[0].ok && outcomes[0].text.contains("key off on the way"),
        "{}",
        outcomes[0].text
    );
    assert!(desk.car.car().vehicle().road_speed().kilometres_per_hour() < 0.2);
    assert_eq!(desk.ask(&[0x03]), None, "it sleeps");
    desk.tell(&["key on"]);
    assert_eq!(lists(&mut desk), [vec![], vec![]]);
    assert_eq!(general(&mut desk), [1, 2]);
    let kilometres = desk.pid(0x31)[1];
    assert!((10..=11).contains(&kilometres), "{kilometres}");
}

/// A car that dies before the end of such a drive says so.
#[test]
fn a_drive_that_never_begins_does_not_end_with_the_key_off() {
    let mut desk = Desk::new(83, Timing::FAST);
    desk.tell(&["hold engine-speed 0 rpm"]);
    let outcomes = desk.outcomes(&["drive 30 km/h for 5 s, key off"]);
    assert!(!outcomes[0].ok, "{}", outcomes[0].text);
}

/// Text as amended after 2007 (from memory): an uninterrupted run is cut after four hours. The fault is there all the
/// time and is found in both pieces; the engine was started once. The European rule has no such cut.
#[test]
fn a_run_of_more_than_four_hours_is_two_driving_cycles() {
    for (profile, confirmed) in [(&Profile::US_2010, vec![P0452]), (&Profile::EOBD, vec![])] {
        let mut desk = Desk {
            car: Simulator::new(Settings {
                ecu: EcuConfig::under(profile),
                ..Settings::compact(84, Timing::FAST)
            }),
            now: BusInstant::ZERO,
        };
        desk.tell(&["ambient 18 C", SHORT, "drive idle 239 min"]);
        assert_eq!(lists(&mut desk), [vec![], vec![P0452]], "{}", profile.name);
        desk.tell(&["drive idle 2 min"]);
        assert_eq!(lists(&mut desk), [confirmed, vec![P0452]], "{}", profile.name);
        assert_eq!(general(&mut desk), [0, 1], "one start, one ignition cycle");
        let run_time = u16::from_be_bytes(desk.pid(0x1F).try_into().expect("two bytes"));
        assert!(run_time > 14_400, "PID $1F counts from the start: {run_time} s");
    }
}

/// The ECU holds its power for five seconds after key-off. A restart in that time is a new driving cycle and a new lamp
/// check, without the ECU having slept; the driving cycle before it was settled once.
#[test]
fn a_restart_within_the_power_hold_is_a_new_driving_cycle() {
    let mut bench = Bench::new(85);
    bench.start();
    bench.idle(Duration::from_secs(10));
    let off = DriverControls::default();
    bench.hold(&off, Duration::from_secs(3));
    assert!(!bench.ecu.asleep() && !bench.ecu.memory().is_driving_cycle());
    assert!(!bench.actuators().mil, "dark with the key off");
    let on = DriverControls {
        key: KeyPosition::On,
        ..DriverControls::default()
    };
    bench.hold(&on, Duration::from_secs(1));
    assert!(bench.actuators().mil, "the lamp is checked again");
    bench.start();
    bench.idle(Duration::from_secs(3));
    assert!(!bench.ecu.asleep());
    let count = |wanted| {
        bench
            .effects
            .iter()
            .filter(|(_, effect)| *effect == wanted)
            .count()
    };
    assert_eq!(
        (
            count(Effect::DrivingCycleStarted),
            count(Effect::DrivingCycleEnded)
        ),
        (2, 1)
    );
    assert_eq!(bench.ecu.memory().in_use().counters()[1], 2);
}

/// A pending code of the fuel system waits for conditions similar to those of its first event, here a standing engine,
/// which no driving cycle meets: it goes after 80 of them (13 CCR 1968.2(e)(6.4.3)). A code of the standard logic stays.
#[test]
fn a_preloaded_fuel_system_code_expires_after_80_driving_cycles() {
    let mut desk = Desk::new(86, Timing::FAST);
    desk.tell(&["key on", "preload pending P0171 P0420"]);
    for _ in 0..79 {
        desk.tell(&["start", "wait 1 s", "stop"]);
    }
    assert_eq!(lists(&mut desk), [vec![], vec![0x0171, 0x0420]]);
    let why = desk.outcomes(&["why P0171"]).remove(0).details.join("\n");
    for said in [
        "first found at 0 rpm and 0 % load, engine cold",
        "79 of 80 driving cycles",
    ] {
        assert!(why.contains(said), "{said:?} is not in {why:?}");
    }
    desk.tell(&["start", "stop"]);
    assert_eq!(lists(&mut desk), [vec![], vec![0x0420]]);
}

/// The bulb of a car whose maker lets it show readiness: after the check of 20 s it blinks for ten seconds, or stays lit
/// once the monitors have run (13 CCR 1968.2(d)(2.1.3), (g)(4.1.3), timing from memory).
#[test]
fn the_lamp_shows_readiness_where_the_scenario_says_so() {
    let mut desk = Desk {
        car: Simulator::new(Settings {
            ecu: EcuConfig {
                readiness_display: true,
                ..EcuConfig::default()
            },
            ..Settings::compact(87, Timing::FAST)
        }),
        now: BusInstant::ZERO,
    };
    // How often the bulb changes in ten seconds.
    let changes = |desk: &mut Desk| {
        let mut lit = Vec::new();
        for _ in 0..100 {
            desk.tell(&["wait 0.1 s"]);
            lit.push(desk.car.car().lamp_lit());
        }
        lit.windows(2).filter(|pair| pair[0] != pair[1]).count()
    };
    desk.tell(&[
        "ambient 18 C",
        "refuel to 60 %",
        "soak 9 h",
        "key on",
        "wait 19.6 s",
    ]);
    let counted = changes(&mut desk);
    assert!(
        (18..=21).contains(&counted),
        "{counted} changes in ten seconds of blinking"
    );
    assert_eq!(desk.pid(0x01)[0], 0x00, "the status bit does not follow");
    desk.tell(&["wait 2 s", "expect lamp dark"]);
    desk.tell(&[
        "drive udds",
        "key off",
        "wait 1 h",
        "key on",
        "expect evap complete",
        "wait 60 s",
    ]);
    desk.tell(&["expect lamp lit", "expect mil off"]);
    assert_eq!(changes(&mut desk), 0);
    desk.tell(&["start", "expect lamp dark"]);
}
