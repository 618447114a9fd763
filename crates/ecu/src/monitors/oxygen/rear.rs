//! The rear oxygen sensor: whether it answers, and how fast.
//!
//! In a fuel cut the catalyst fills with oxygen and the voltage must fall. Published: from 0.6 to 0.3 V within 2 s (2023
//! model year), below 0.2 V (2004); the time is calibrated to this car, whose sensors take 0.1 to 0.25 s. It is timed from
//! 0.36 to 0.19 V, for which a first-order lag towards 0.03 V takes as long: a rear sensor does not always stand high
//! when a cut begins, and down to 0.38 V it follows a store that slowly fills. A voltage that has not crossed its middle in
//! 8 min of driving (2004) is asked again, by a mixture driven to the other side, before it is called stuck.

use twotrip_harness::BANKS;
use twotrip_obd::Dtc;
use twotrip_units::Ratio;

use super::SECONDS;
use crate::{
    control::Requests,
    monitors::{
        Inhibits, P0137, P0138, P0139, P0140, P0157, P0158, P0159, P0160, P2270, P2271, P2272, P2273,
        REAR_SENSOR_1, REAR_SENSOR_2, Signals, TestResult,
        frame::{COOLANT, Condition, Gate, Monitor, RUN_TIME, Rules, Test, catalyst, gated},
    },
};

const fn conditions<const BANK: usize>() -> [Condition; 4] {
    [
        RUN_TIME.at_least(120.0),
        COOLANT.at_least(40.0),
        catalyst::<BANK>().at_least(350.0),
        Condition::state("closed-loop fuel control or a fuel cut", |signals| {
            signals.banks[BANK].closed_loop || signals.fuel_cut
        }),
    ]
}
static CONDITIONS: [[Condition; 4]; BANKS] = [conditions::<0>(), conditions::<1>()];

static RULES: [Rules; BANKS] = [
    Rules {
        pause: Rules::PAUSES,
        ..Rules::once(&[REAR_SENSOR_1], &CONDITIONS[0])
    },
    Rules {
        pause: Rules::PAUSES,
        ..Rules::once(&[REAR_SENSOR_2], &CONDITIONS[1])
    },
];

/// The codes of a bank.
struct Codes {
    low: Dtc,
    high: Dtc,
    slow: Dtc,
    dead: Dtc,
    lean: Dtc,
    rich: Dtc,
}

impl Codes {
    fn all(&self) -> [Dtc; 6] {
        [self.low, self.high, self.slow, self.dead, self.lean, self.rich]
    }
}

static CODES: [Codes; BANKS] = [
    Codes {
        low: P0137,
        high: P0138,
        slow: P0139,
        dead: P0140,
        lean: P2270,
        rich: P2271,
    },
    Codes {
        low: P0157,
        high: P0158,
        slow: P0159,
        dead: P0160,
        lean: P2272,
        rich: P2273,
    },
];

/// Monitors of service $06: rear sensor of bank 1 and 2.
const MIDS: [u8; BANKS] = [0x02, 0x06];

const fn of_banks(
    test: Test,
    codes: [&'static [Dtc]; BANKS],
    tid: u8,
    uasid: u8,
    factor: f64,
) -> [Test; BANKS] {
    [
        test.of(codes[0]).reported_scaled(MIDS[0], tid, uasid, factor),
        test.of(codes[1]).reported_scaled(MIDS[1], tid, uasid, factor),
    ]
}

/// The fall in a fuel cut.
pub(super) static FALL: [Test; BANKS] = of_banks(
    Test::new("time from 0.36 to 0.19 V in a fuel cut", "s").at_most(0.7),
    [&[P0139], &[P0159]],
    0x05,
    0x10,
    1000.0,
);
/// Lowest volts of the driving cycle.
pub(super) static LOWEST: [Test; BANKS] = of_banks(
    Test::new("lowest volts", "V").at_most(0.20),
    [&[P0138, P2271], &[P0158, P2273]],
    0x07,
    0x0B,
    1.0,
);
/// Highest volts of the driving cycle.
pub(super) static HIGHEST: [Test; BANKS] = of_banks(
    Test::new("highest volts", "V").at_least(0.60),
    [&[P0137, P2270], &[P0157, P2272]],
    0x08,
    0x0B,
    1.0,
);

/// A fall is timed between these, V; so many slow ones fail, a fast one passes. Single falls of sensors aged within their
/// life scatter: of 2,500 healthy cars two showed one of 0.72 and 0.77 s.
const FALLS_FROM: f64 = 0.36;
const FALLS_TO: f64 = 0.19;
const SLOW_FALLS: u32 = 2;
/// Driving without a crossing of the middle after which the mixture is driven to the other side, s; by how much, for how
/// long, s.
const LONGEST: f64 = 480.0;
const FORCED: Ratio = Ratio::from_percent(8.0);
const FORCED_SECONDS: f64 = 10.0;
/// The middle: both sides of it seen is a crossing, and a sensor that never leaves it shows no activity, V.
const MIDDLE: [f64; 2] = [0.40, 0.50];
/// A stuck voltage beyond these is the circuit's fault, V; too high a one needs no more proof than so long, s.
const LOW: f64 = 0.05;
const HIGH: f64 = 1.1;
const HIGH_SECONDS: f64 = 10.0;

/// The monitor of one bank.
#[derive(Clone, Debug)]
pub struct RearSensor<const BANK: usize> {
    gate: Gate,
    before: f64,
    /// The voltage has stood above the upper level in this fuel cut.
    armed: bool,
    falling: Option<f64>,
    fall: Option<f64>,
    slow_falls: u32,
    fast: bool,
    range: [f64; 2],
    driven_seconds: f64,
    forced_seconds: f64,
    high_seconds: f64,
}

impl<const BANK: usize> Default for RearSensor<BANK> {
    fn default() -> Self {
        Self {
            gate: Gate::default(),
            before: 0.0,
            armed: false,
            falling: None,
            fall: None,
            slow_falls: 0,
            fast: false,
            range: [f64::INFINITY, f64::NEG_INFINITY],
            driven_seconds: 0.0,
            forced_seconds: 0.0,
            high_seconds: 0.0,
        }
    }
}

impl<const BANK: usize> RearSensor<BANK> {
    /// A fall in a fuel cut, its ends by straight lines between the readings.
    fn watch_fall(&mut self, before: f64, volts: f64) {
        self.armed |= volts > FALLS_FROM;
        let ago = |level: f64| SECONDS * ((volts - level) / (volts - before)).clamp(0.0, 1.0);
        if let Some(seconds) = &mut self.falling {
            *seconds += SECONDS;
            let lasted = *seconds;
            if volts > FALLS_FROM {
                self.falling = None;
            } else if volts < FALLS_TO {
                self.fell(lasted - ago(FALLS_TO));
            } else if !FALL[BANK].found(lasted - 0.5).passed {
                // Slow enough already; a cut may end any moment.
                self.fell(lasted);
            }
        } else if self.armed && volts <= FALLS_FROM {
            self.armed = false;
            self.falling = Some(ago(FALLS_FROM));
            if volts < FALLS_TO {
                self.fell(ago(FALLS_FROM) - ago(FALLS_TO));
            }
        }
    }

    fn fell(&mut self, seconds: f64) {
        self.falling = None;
        self.fall = Some(seconds);
        if FALL[BANK].found(seconds).passed {
            self.fast = true;
        } else {
            self.slow_falls += 1;
        }
    }

    const fn stuck_code(&self) -> Dtc {
        let codes = &CODES[BANK];
        let [low, high] = self.range;
        if high < LOW {
            codes.low
        } else if low > MIDDLE[0] && high < MIDDLE[1] {
            codes.dead
        } else if high < MIDDLE[1] {
            codes.lean
        } else {
            codes.rich
        }
    }

    fn end(&mut self, failed: Option<Dtc>, report: &mut dyn FnMut(TestResult)) {
        if let Some(fall) = self.fall {
            FALL[BANK].found(fall).report(report);
        }
        LOWEST[BANK].found(self.range[0]).report(report);
        HIGHEST[BANK].found(self.range[1]).report(report);
        match failed {
            Some(dtc) => report(TestResult::Failed(dtc)),
            None => CODES[BANK]
                .all()
                .into_iter()
                .for_each(|dtc| report(TestResult::Passed(dtc))),
        }
        self.gate.complete(&RULES[BANK], report);
        self.forced_seconds = 0.0;
    }
}

impl<const BANK: usize> Monitor for RearSensor<BANK> {
    gated!(&RULES[BANK], forgets all);

    fn requests(&self) -> Requests {
        let mut requests = Requests::default();
        if self.forced_seconds > 0.0 {
            requests.mixture[BANK] = Some(if self.range[1] < MIDDLE[1] {
                FORCED
            } else {
                -FORCED
            });
        }
        requests
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let volts = signals.banks[BANK].oxygen_rear.volts();
        let before = core::mem::replace(&mut self.before, volts);
        if !self.gate.step(&RULES[BANK], signals, inhibits).runs() {
            self.forced_seconds = 0.0;
            self.falling = None;
            self.armed = false;
            return;
        }
        self.range = [self.range[0].min(volts), self.range[1].max(volts)];
        if signals.fuel_cut {
            self.watch_fall(before, volts);
        } else {
            self.falling = None;
            self.armed = false;
        }
        self.high_seconds = if volts > HIGH {
            self.high_seconds + SECONDS
        } else {
            0.0
        };
        let moved = self.range[0] < MIDDLE[0] && self.range[1] > MIDDLE[1];
        let far = LOWEST[BANK].found(self.range[0]).passed && HIGHEST[BANK].found(self.range[1]).passed;
        if self.high_seconds > HIGH_SECONDS {
            self.end(Some(CODES[BANK].high), report);
        } else if self.slow_falls >= SLOW_FALLS {
            self.end(Some(CODES[BANK].slow), report);
        } else if far && self.fast {
            self.end(None, report);
        } else if moved {
            self.forced_seconds = 0.0;
        } else {
            self.driven_seconds += SECONDS;
            if self.driven_seconds > LONGEST && signals.banks[BANK].closed_loop {
                self.forced_seconds += SECONDS;
                self.gate.run("driving the mixture to the other side");
            } else {
                self.forced_seconds = 0.0;
            }
            if self.forced_seconds > FORCED_SECONDS {
                self.end(Some(self.stuck_code()), report);
            }
        }
    }
}
