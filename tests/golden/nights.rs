//! The leak test of the parked car, and what nights make of leaks.

use twotrip_ecu::monitors::frame::Monitor as _;
use twotrip_sim::Timing;

use crate::desk::Desk;

const P0456: u16 = 0x0456;

/// One cold drive that qualifies, and the hour after it.
const DAY: &[&str] = &["soak 9 h", "drive udds", "key off", "wait 1 h"];

fn nights(desk: &Desk) -> (f64, u8) {
    let average = desk.car.car().ecu().monitors().natural_vacuum().average();
    (average.index(), average.results())
}

/// Evap in PID $01: complete.
fn evap_complete(desk: &mut Desk) -> bool {
    desk.pid(0x01)[3] & 0x04 == 0
}

/// Three volatilities, cold and hot, half full and nearly full, by the sea and at 1500 m: a tight tank passes.
#[test]
fn a_tight_tank_passes_whatever_fuel_is_in_it() {
    for (seed, air, reid, level, height) in [
        (1, "4 C", "62 kPa", "50 %", "0 m"),
        (2, "20 C", "62 kPa", "84 %", "1500 m"),
        (3, "31 C", "62 kPa", "80 %", "0 m"),
        (4, "4 C", "75 kPa", "80 %", "1500 m"),
        (5, "20 C", "75 kPa", "50 %", "0 m"),
        (6, "31 C", "75 kPa", "50 %", "1500 m"),
        (7, "4 C", "100 kPa", "84 %", "0 m"),
        (8, "20 C", "100 kPa", "50 %", "1500 m"),
        (9, "31 C", "100 kPa", "80 %", "0 m"),
    ] {
        let mut desk = Desk::new(seed, Timing::FAST);
        let place = [
            format!("ambient {air}"),
            format!("altitude {height}"),
            format!("fuel volatility {reid}"),
        ];
        desk.tell(&place.each_ref().map(String::as_str));
        if level != "50 %" {
            desk.tell(&[&format!("refuel to {level}")]);
        }
        desk.tell(DAY);
        let (index, results) = nights(&desk);
        assert!(
            results == 1 && index < 0.1,
            "{air}, {reid}, {level}, {height}: {index} of {results}"
        );
        desk.tell(&["key on"]);
        assert!(desk.codes(0x07).is_empty(), "{air}, {reid}, {level}, {height}");
        assert!(evap_complete(&mut desk), "{air}, {reid}, {level}, {height}");
    }
}

/// Half a millimetre: nothing in three nights, pending after the fourth, confirmed after the fifth; the code names a very
/// small leak and no other. Mended and cleared, one night proves it; cleared alone, one night brings it back.
#[test]
fn a_very_small_leak_is_found_about_the_fourth_night() {
    let mut desk = Desk::new(5, Timing::FAST);
    desk.tell(&["ambient 20 C", "defect vapour-hose hole 0.5 mm"]);
    for night in 1..=5 {
        desk.tell(DAY);
        desk.tell(&["key on"]);
        let lists = [0x03, 0x07].map(|service| desk.codes(service));
        let expected = match night {
            1..=3 => [vec![], vec![]],
            4 => [vec![], vec![P0456]],
            _ => [vec![P0456], vec![P0456]],
        };
        assert_eq!(lists, expected, "night {night}: {:?}", nights(&desk));
        // Frozen with the key off and the engine still warm.
        if night == 4 {
            let frozen = |desk: &mut Desk, pid| desk.ask(&[0x02, pid, 0x00]).expect("a frame")[3..].to_vec();
            assert_eq!(frozen(&mut desk, 0x02), [0x04, 0x56]);
            assert_eq!(frozen(&mut desk, 0x0C), [0, 0], "engine speed");
            assert!(frozen(&mut desk, 0x05)[0] > 40 + 60, "coolant");
        }
    }
    let mut cleared = desk.clone();
    for (desk, mend) in [(&mut desk, true), (&mut cleared, false)] {
        if mend {
            desk.tell(&["replace vapour-hose"]);
        }
        assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
        desk.tell(DAY);
        desk.tell(&["key on"]);
        let pending = if mend { vec![] } else { vec![P0456] };
        assert_eq!(desk.codes(0x07), pending);
        assert_eq!(evap_complete(desk), mend);
        let index = desk.ask(&[0x06, 0x3C]).expect("it answers");
        assert_eq!(index[..4], [0x46, 0x3C, 0x84, 0x04]);
        let value = u16::from_be_bytes([index[4], index[5]]);
        assert!(if mend { value < 100 } else { value > 900 }, "{index:02X?}");
        assert_eq!(index[8..], [0x02, 0x8A], "at most 0.650");
    }
}

/// The key ends a night without a result, and a drive that has not warmed the fuel begins none.
#[test]
fn a_night_needs_its_drive_and_its_rest() {
    let mut desk = Desk::new(6, Timing::FAST);
    desk.tell(&["ambient 20 C", "soak 9 h", "drive udds", "key off", "wait 3 min"]);
    let vacuum = desk.car.car().ecu().monitors().natural_vacuum();
    assert!(vacuum.night().is_some(), "{:?}", vacuum.gate());
    desk.tell(&["key on", "wait 1 s", "key off", "wait 1 h"]);
    assert_eq!(nights(&desk).1, 0);
    desk.tell(&["soak 9 h", "drive hwfet", "key off", "wait 1 h"]);
    assert_eq!(nights(&desk).1, 0, "13 min");
    desk.tell(&["drive udds", "key off", "wait 1 h"]);
    assert_eq!(nights(&desk).1, 0, "a warm start");
}

/// A filled tank says nothing about its tightness.
#[test]
fn refuelling_ends_a_night() {
    let mut desk = Desk::new(7, Timing::FAST);
    desk.tell(&[
        "ambient 20 C",
        "soak 9 h",
        "drive udds",
        "key off",
        "wait 1 min",
        "refuel to 70 %",
        "wait 1 h",
    ]);
    assert_eq!(nights(&desk).1, 0);
}

/// Time at rest may be given in any pieces: the night sees the same.
#[test]
fn a_night_may_be_cut_anywhere() {
    let mut whole = Desk::new(8, Timing::FAST);
    whole.tell(&[
        "ambient 20 C",
        "defect vapour-hose hole 0.2 mm",
        "soak 9 h",
        "drive udds",
        "key off",
    ]);
    let mut cut = whole.clone();
    whole.tell(&["wait 1 h"]);
    cut.tell(&["wait 0.35 s", "wait 12.4 s", "wait 20 min", "wait 0.99 s"]);
    cut.tell(&["wait 39 min", "wait 46.26 s"]);
    assert_eq!(nights(&whole), nights(&cut));
    let pressure = |desk: &Desk| desk.car.car().vehicle().tank_pressure().pascals();
    assert!((pressure(&whole) - pressure(&cut)).abs() < 0.1);
}

/// 13 CCR 1968.2(d)(3.2) (from memory): at least 0.260 for the leak of 0.020 in, 0.520 for that of 0.040 in. A month of days
/// as they come: city, highway, errands, mild and hot, full and nearly empty, three volatilities. Nobody is accused.
#[test]
fn the_leak_tests_run_often_enough_and_accuse_nobody() {
    const DAYS: [&[&str]; 6] = [
        &["drive udds", "key off", "soak 2 h", "drive udds"],
        &["drive hwfet"],
        &["drive idle 40 s, 60 km/h for 18 min, stop, idle 40 s"],
        &[
            "drive 50 km/h for 3 min, stop, idle 60 s",
            "key off",
            "soak 1 h",
            "drive 50 km/h for 3 min, stop",
        ],
        &["drive idle 60 s, 90 km/h for 25 min, stop"],
        &["drive udds"],
    ];
    let mut desk = Desk::new(9, Timing::FAST);
    let (mut cold_days, mut ran) = (0, 0);
    for day in 0..30 {
        let air = [
            "ambient 6 C",
            "ambient 15 C",
            "ambient 20 C",
            "ambient 27 C",
            "ambient 34 C",
        ][day % 5];
        let fuel = [
            "fuel volatility 62 kPa",
            "fuel volatility 75 kPa",
            "fuel volatility 95 kPa",
        ][day / 10];
        desk.tell(&[air, fuel, "soak 11 h"]);
        if desk.car.car().vehicle().fuel_level().percent() < 12.0 {
            desk.tell(&["refuel to 100 %"]);
        }
        let before = desk
            .car
            .car()
            .ecu()
            .monitors()
            .evap_leak()
            .figures()
            .map(|figures| figures.pull);
        let drives = DAYS[day % 6];
        desk.tell(&drives[..1]);
        let monitors = desk.car.car().ecu().monitors();
        let after = monitors.evap_leak().figures().map(|figures| figures.pull);
        cold_days += 1;
        ran += i32::from(after != before);
        desk.tell(&drives[1..]);
        desk.tell(&["key off", "soak 1 h"]);
        let accused = (desk.pending(), desk.confirmed());
        assert_eq!(accused, (vec![], vec![]), "day {day}");
    }
    desk.tell(&["key on"]);
    let counters = desk.in_use();
    let [general, completions, conditions] = [counters[0], counters[14], counters[15]].map(f64::from);
    assert!(conditions >= 10.0, "{counters:?}");
    assert!(completions / conditions >= 0.26, "0.020 in: {counters:?}");
    assert!(
        f64::from(ran) / conditions >= 0.52,
        "0.040 in: {ran} of {cold_days} days, {general}: {counters:?}"
    );
}
