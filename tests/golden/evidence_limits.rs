//! Evidence, not regression: limits and figures that makers publish in their service information, beside those of the
//! monitors here. Three tables: our limits within the published range, a healthy car on the good side of every published
//! limit, and each fault on its bad side.
//!
//! Sources in words: published service information of the named model years; excerpts as read, makers are not named.

use twotrip_ecu::{circuits::limits, monitors::frame::Test};
use twotrip_harness::Circuit;
use twotrip_sim::Timing;

use crate::desk::Desk;

/// The first test of this name.
fn test(what: &str) -> &'static Test {
    let mut tests = twotrip_ecu::monitors::tests();
    tests
        .find(|test| test.what == what)
        .unwrap_or_else(|| panic!("no monitor measures \"{what}\""))
}

/// The test in this row of service $06.
pub(crate) fn in_row(mid: u8, tid: u8) -> Option<&'static Test> {
    twotrip_ecu::monitors::tests().find(|test| test.reported.is_some_and(|row| row.row() == (mid, tid)))
}

/// A limit of ours and the range that publications leave for it.
struct Published {
    what: &'static str,
    /// Our least and most, or `None` for the limit that is not looked at.
    ours: fn(&Test) -> Option<f64>,
    range: [f64; 2],
    source: &'static str,
}

/// Whether a figure lies where publications leave it to lie.
fn lies_in([least, most]: [f64; 2], figure: f64) -> bool {
    (least - 1e-9..=most + 1e-9).contains(&figure)
}

const LEAST: fn(&Test) -> Option<f64> = |test| test.least;
const MOST: fn(&Test) -> Option<f64> = |test| test.most;

const LIMITS: &[Published] = &[
    Published {
        what: "lowest tank pressure of the pull",
        ours: MOST,
        range: [-3050.0, -1400.0],
        source: "-1.4 kPa within 35 s for the 1 mm test, -3.05 kPa within 62 s for the 0.5 mm test, 2005",
    },
    Published {
        what: "size of the hole",
        ours: MOST,
        range: [0.762, 1.016],
        source: "an estimate of 0.030 in fails, 2015; 0.040 in has to be found, 13 CCR 1968.2(e)(4.2.2)",
    },
    Published {
        what: "change of the tank pressure by purging",
        ours: LEAST,
        range: [300.0, 500.0],
        source: "0.5 kPa, 2005; 0.3 kPa in 10 s, 2021",
    },
    Published {
        what: "share of the natural vacuum that is missing, averaged",
        ours: MOST,
        range: [0.65, 0.65],
        source: "index of 0.65, 2010",
    },
    Published {
        what: "heater current",
        ours: LEAST,
        range: [0.2, 0.6],
        source: "a fault below 0.2 A, 0.6 to 0.7 A usual, 2002",
    },
    Published {
        what: "heater current",
        ours: MOST,
        range: [1.5, 1.5],
        source: "a fault above 1.5 A, 2002",
    },
    Published {
        what: "mean time from 0.3 to 0.6 V",
        ours: MOST,
        range: [90.0, 125.0],
        source: "90 ms, 1997; 94 and 125 ms, 1999",
    },
    Published {
        what: "mean period of the switches",
        ours: MOST,
        range: [2000.0, 2500.0],
        source: "fewer than 10 switches in 10 s, 1999; 8 or fewer, 2003",
    },
    Published {
        what: "time from 0.36 to 0.19 V in a fuel cut",
        ours: MOST,
        range: [0.0, 2.0],
        source: "2.0 s for as large a share of the fall, 2023: ours is stricter",
    },
    Published {
        what: "length of the rear sensor's signal over the front's",
        ours: MOST,
        range: [0.5, 1.0],
        source: "switching ratio near 1 is a dead catalyst, 0.7 common practice, 2003",
    },
    Published {
        what: "worst total correction",
        ours: MOST,
        range: [25.0, 30.0],
        source: "factor of 1.25 to 1.30, 2011; 1.30, 2008",
    },
    Published {
        what: "worst total correction",
        ours: LEAST,
        range: [-30.0, -25.0],
        source: "factor of 0.70 to 0.75, 2011; 0.70, 2008",
    },
    Published {
        what: "misfires in 1000 turns",
        ours: MOST,
        range: [1.0, 5.0],
        source: "2 in 100 turns (1 % of a four-cylinder's firings), 2000; 3.25 %, 2014; 5 %, 2016",
    },
    Published {
        what: "coolant above intake air after the soak",
        ours: MOST,
        range: [16.6, 42.0],
        source: "16.6 K after 6 h; 32 to 42 K, 2009 and 2012",
    },
    Published {
        what: "highest coolant when the model of the warm-up reaches 80 C",
        ours: LEAST,
        range: [71.0, 76.5],
        source: "76.5 and 75 C, 2006; 11 K below the thermostat's, 2008",
    },
    Published {
        what: "cam movement 0.8 s after a step of 12 degrees, lower quartile",
        ours: LEAST,
        range: [3.4, 3.4],
        source: "3.4 degrees within 0.8 s, 2014",
    },
    Published {
        what: "cam ahead of its target, degrees times seconds",
        ours: MOST,
        range: [45.0, 45.0],
        source: "45 degrees times seconds, 2014",
    },
];

#[test]
fn our_limits_lie_where_published_ones_lie() {
    for published in LIMITS {
        let limit = (published.ours)(test(published.what)).expect(published.what);
        assert!(
            lies_in(published.range, limit),
            "{}: {limit}, published: {}",
            published.what,
            published.source
        );
    }
}

/// Volts below and above which a circuit has failed: coolant and intake air 0.2 and 4.9 (2009), intake air 0.13 (2009), manifold
/// pressure 0.04 (2009), tank pressure 0.12 and 4.85 (2011), 0.1 (2000, 2006), 4.9 (2001, 2003); supply 10 to 11 V (2013).
#[test]
fn our_circuits_fail_where_published_ones_do() {
    for (circuit, low, high) in [
        (Circuit::CoolantSensor, [0.2, 0.2], [4.9, 4.9]),
        (Circuit::IntakeAirSensor, [0.13, 0.2], [4.9, 4.9]),
        (Circuit::ManifoldPressureSensor, [0.04, 0.05], [4.9, 4.9]),
        (Circuit::TankPressureSensor, [0.1, 0.12], [4.85, 4.9]),
    ] {
        let ours = limits(circuit);
        for (limit, published) in [(ours.low, low), (ours.high, high)] {
            let volts = limit.volts();
            assert!(lies_in(published, volts), "{circuit:?}: {volts} V");
        }
    }
    let low = twotrip_ecu::circuits::SUPPLY.low.volts();
    assert!((10.0..=11.0).contains(&low), "{low} V");
}

/// What a row of service $06 holds, in the unit of the test.
fn found(desk: &Desk, mid: u8, tid: u8) -> f64 {
    let test = in_row(mid, tid).expect("it is reported");
    let results = desk.car.car().ecu().monitors().results();
    let found = results
        .of(test)
        .unwrap_or_else(|| panic!("${mid:02X} ${tid:02X} has not run"));
    found.value / test.reported.expect("it is").factor
}

/// A day with everything in it: a cold start, town, a motorway, an hour of standing.
const DAY: &[&str] = &[
    "soak 9 h",
    "drive udds",
    "drive hwfet",
    "drive idle 60 s",
    "key off",
    "wait 1 h",
];

/// A healthy car is on the good side of every published limit of its kind, not only of ours: monitor and test of service $06,
/// least and most, published.
#[test]
fn a_healthy_car_meets_the_published_limits() {
    for seed in [3, 4] {
        let mut desk = Desk::new(seed, Timing::FAST);
        desk.tell(&["ambient 20 C"]);
        desk.tell(DAY);
        for (mid, tid, least, most, source) in [
            (0x01, 0x05, 0.0, 90.0, "transitions: 90 ms, 1997; 125 ms, 1999"),
            (0x01, 0x06, 0.0, 90.0, "transitions: 90 ms, 1997; 94 ms, 1999"),
            (0x01, 0x08, 0.55, 1.1, "above 0.55 V, 2006"),
            (0x01, 0x0A, 0.0, 2000.0, "10 switches in 10 s, 1999"),
            (0x02, 0x05, 0.0, 2.0, "2.0 s in a fuel cut, 2023"),
            (0x02, 0x07, -0.1, 0.2, "below 0.2 V in a fuel cut, 2004"),
            (0x21, 0x80, 0.0, 0.5, "far from a ratio of 0.7 to 1, 2003"),
            (0x39, 0x80, -3100.0, -1400.0, "-1.4 kPa, 2005"),
            (0x3B, 0x81, 0.0, 0.762, "0.030 in, 2015"),
            (0x3C, 0x84, 0.0, 0.65, "0.65, 2010"),
            (0x3D, 0x83, 500.0, 1e9, "0.5 kPa, 2005"),
            (0x41, 0x81, 0.2, 1.5, "0.2 to 1.5 A, 2002"),
            (0x42, 0x81, 0.2, 1.5, "0.2 to 1.5 A, 2002"),
            (0x81, 0x80, -25.0, 25.0, "factors of 0.75 and 1.25, 2011"),
            (0x35, 0x80, 3.4, 1e9, "3.4 degrees, 2014"),
            (0xE1, 0x80, 75.0, 120.0, "75 C when the model is warm, 2006"),
            (0xE1, 0x81, -16.6, 16.6, "16.6 K after 6 h, 2009"),
            (0xE1, 0x82, 2.0, 1e9, "moves within 190 s, 2023"),
            (0xE1, 0x84, 2.2, 1e9, "2.2 K on a drive, 2009"),
        ] {
            let value = found(&desk, mid, tid);
            assert!(
                (least..=most).contains(&value),
                "seed {seed}, ${mid:02X} ${tid:02X}: {value}, published: {source}"
            );
        }
    }
}

/// A car with a fault is beyond what is published of it: the row of service $06, the limit, and which side is bad.
#[test]
fn faults_are_beyond_the_published_limits() {
    const ABOVE: bool = true;
    const BELOW: bool = false;
    for (defect, mid, tid, limit, side, source) in [
        (
            "front-oxygen-sensor lazy 6 x",
            0x01,
            0x06,
            125.0,
            ABOVE,
            "90 to 125 ms, 1997 and 1999",
        ),
        (
            "catalyst aged 0.02 g",
            0x21,
            0x80,
            0.7,
            ABOVE,
            "ratio of 0.7 to 1, 2003",
        ),
        (
            "fuel-cap missing",
            0x39,
            0x80,
            -1400.0,
            ABOVE,
            "-1.4 kPa not reached, 2005",
        ),
        (
            "filler-neck hole 1.02 mm",
            0x3B,
            0x81,
            0.762,
            ABOVE,
            "0.030 in, 2015; 0.040 in, 13 CCR 1968.2(e)(4.2.2)",
        ),
        (
            "purge-valve stuck-shut",
            0x3D,
            0x83,
            300.0,
            BELOW,
            "0.3 kPa, 2021",
        ),
        (
            "front-oxygen-sensor heater-open",
            0x41,
            0x81,
            0.2,
            BELOW,
            "0.2 A, 2002",
        ),
        (
            "pressure-regulator low 180 kPa",
            0x81,
            0x80,
            25.0,
            ABOVE,
            "factor of 1.25, 2011",
        ),
        (
            "thermostat stuck-open 100 %",
            0xE1,
            0x80,
            75.0,
            BELOW,
            "75 C, 2006",
        ),
        (
            "coolant-sensor bias 24 K",
            0xE1,
            0x81,
            16.6,
            ABOVE,
            "16.6 K, 2009",
        ),
        (
            "cam-phaser slow 3 deg/s",
            0x35,
            0x80,
            3.4,
            BELOW,
            "3.4 degrees, 2014",
        ),
    ] {
        let mut desk = Desk::new(3, Timing::FAST);
        desk.tell(&["ambient 15 C", &format!("defect {defect}")]);
        desk.tell(DAY);
        let value = found(&desk, mid, tid);
        assert_eq!(value > limit, side, "{defect}: {value}, published: {source}");
    }
}
