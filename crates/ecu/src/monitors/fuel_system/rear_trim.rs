//! The trim by the rear sensor: a loop that it has shifted to the end without coming to rest there means that the front
//! sensor reads wrong (published: averages beyond 2.8 %, 2011 model year; this car's shift reaches 1.5 %, so it is judged
//! at its end).

use twotrip_harness::BANKS;
use twotrip_obd::Dtc;

use super::SECONDS;
use crate::monitors::{
    Inhibits, P2096, P2097, P2098, P2099, REAR_TRIM_1, REAR_TRIM_2, Signals, TestResult,
    frame::{COOLANT, Condition, Gate, Monitor, Rules, SINCE_FUEL_CUT, Test, catalyst, gated, loop_time},
    oxygen::learned,
};

const fn conditions<const BANK: usize>() -> [Condition; 5] {
    [
        COOLANT.at_least(70.0),
        catalyst::<BANK>().at_least(450.0),
        loop_time::<BANK>().at_least(5.0),
        SINCE_FUEL_CUT.at_least(30.0),
        learned::<BANK>(),
    ]
}
static CONDITIONS: [[Condition; 5]; BANKS] = [conditions::<0>(), conditions::<1>()];
static MOVING_SENSOR: Condition = Condition::own("a rear oxygen sensor that has been on both sides", "");

static RULES: [Rules; BANKS] = [
    Rules::continuous(&[REAR_TRIM_1], &CONDITIONS[0]),
    Rules::continuous(&[REAR_TRIM_2], &CONDITIONS[1]),
];

const fn shift(codes: &'static [Dtc]) -> Test {
    let mut test = Test::new("shift of the loop by the rear sensor, of what it may", "%")
        .at_most(95.0)
        .of(codes);
    test.least = Some(-95.0);
    test
}

/// The shift of the loop.
pub(super) static SHIFT: [Test; BANKS] = [shift(&[P2096, P2097]), shift(&[P2098, P2099])];
/// Too lean and too rich behind the catalyst, of each bank.
const CODES: [[Dtc; 2]; BANKS] = [[P2096, P2097], [P2098, P2099]];
/// The rear sensor is still beyond these, V.
const BEYOND: [f64; 2] = [0.40, 0.75];
/// A sensor that has not been on both sides of these in this driving cycle is its own monitor's to judge, V.
const SIDES: [f64; 2] = [0.40, 0.50];
/// Time at the end that fails, and time within that passes, s.
const FAILS_AFTER: f64 = 60.0;
const PASSES_AFTER: f64 = 60.0;

/// The monitor of one bank.
#[derive(Clone, Debug, Default)]
pub struct RearTrim<const BANK: usize> {
    gate: Gate,
    sides: [bool; 2],
    lean_seconds: f64,
    rich_seconds: f64,
    good_seconds: f64,
    failed: bool,
    passed: bool,
}

impl<const BANK: usize> Monitor for RearTrim<BANK> {
    gated!(&RULES[BANK], forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let bank = &signals.banks[BANK];
        self.sides[0] |= bank.oxygen_rear.volts() < SIDES[0];
        self.sides[1] |= bank.oxygen_rear.volts() > SIDES[1];
        if !self.gate.step(&RULES[BANK], signals, inhibits).runs() || self.failed {
            return;
        }
        if self.sides != [true; 2] {
            self.gate.wait_for(MOVING_SENSOR.with(0.0));
            return;
        }
        let measured = SHIFT[BANK].found(bank.rear_shift.percent());
        let volts = bank.oxygen_rear.volts();
        let lean = !measured.passed && measured.value > 0.0 && volts < BEYOND[0];
        let rich = !measured.passed && measured.value < 0.0 && volts > BEYOND[1];
        let time = |holds: bool, seconds: f64| if holds { seconds + SECONDS } else { 0.0 };
        self.lean_seconds = time(lean, self.lean_seconds);
        self.rich_seconds = time(rich, self.rich_seconds);
        self.good_seconds = time(measured.passed, self.good_seconds);
        let [too_lean, too_rich] = CODES[BANK];
        let failed = if self.lean_seconds > FAILS_AFTER {
            Some(too_lean)
        } else if self.rich_seconds > FAILS_AFTER {
            Some(too_rich)
        } else {
            None
        };
        if let Some(dtc) = failed {
            self.failed = true;
            measured.report(report);
            report(TestResult::Failed(dtc));
            self.gate.complete(&RULES[BANK], report);
        } else if self.good_seconds > PASSES_AFTER && !self.passed {
            self.passed = true;
            measured.judge(report);
            self.gate.complete(&RULES[BANK], report);
        }
    }
}
