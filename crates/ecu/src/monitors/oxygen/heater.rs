//! Heaters of the oxygen sensors, by their current (published: a fault outside 0.2 to 1.5 A, 0.6 to 0.7 A usual, judged
//! after 60 s of running above 10 V, 2002 model year).

use twotrip_harness::BANKS;
use twotrip_obd::Dtc;

use super::SECONDS;
use crate::control::Requests;
use crate::monitors::{
    FRONT_HEATER_1, FRONT_HEATER_2, Inhibits, P0135, P0141, P0155, P0161, REAR_HEATER_1, REAR_HEATER_2,
    Signals, TestResult,
    frame::{Condition, Gate, Monitor, RUN_TIME, Rules, SUPPLY, Test, gated},
};

static CONDITIONS: [Condition; 2] = [RUN_TIME.at_least(60.0), SUPPLY.at_least(10.5)];

/// By bank, then front and rear.
static RULES: [[Rules; 2]; BANKS] = [
    [
        Rules::continuous(&[FRONT_HEATER_1], &CONDITIONS),
        Rules::continuous(&[REAR_HEATER_1], &CONDITIONS),
    ],
    [
        Rules::continuous(&[FRONT_HEATER_2], &CONDITIONS),
        Rules::continuous(&[REAR_HEATER_2], &CONDITIONS),
    ],
];

const fn current(codes: &'static [Dtc], mid: u8) -> Test {
    let mut test = Test::new("heater current", "A")
        .at_most(1.5)
        .of(codes)
        .reported_as(mid, 0x81, 0x0E);
    test.least = Some(0.25);
    test
}

/// Mean current of the heater that is switched on.
pub(super) static CURRENT: [[Test; 2]; BANKS] = [
    [current(&[P0135], 0x41), current(&[P0141], 0x42)],
    [current(&[P0155], 0x45), current(&[P0161], 0x46)],
];

/// Readings on one side in a row that decide, s.
const DECIDES: f64 = 10.0;
/// Time constant of the reported current, s.
const SMOOTHING: f64 = 2.0;

/// The monitor of one heater: front 0, rear 1.
#[derive(Clone, Debug, Default)]
pub struct Heater<const BANK: usize, const SENSOR: usize> {
    gate: Gate,
    amperes: f64,
    /// Seconds of bad readings, or of good ones if negative.
    bad_seconds: f64,
    failed: bool,
    passed: bool,
    /// What the loop would go by is a wide-range cell that nothing warms but the exhaust: its pump current means little
    /// then, and falls to nothing at idle (common practice, no source).
    cold_cell: bool,
}

impl<const BANK: usize, const SENSOR: usize> Monitor for Heater<BANK, SENSOR> {
    gated!(&RULES[BANK][SENSOR], forgets all);

    fn requests(&self) -> Requests {
        let mut requests = Requests::default();
        if SENSOR == 0 {
            requests.open_loop[BANK] = self.cold_cell;
        }
        requests
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES[BANK][SENSOR], signals, inhibits).runs() {
            self.bad_seconds = 0.0;
            return;
        }
        let bank = &signals.banks[BANK];
        let amperes = [bank.heater_front, bank.heater_rear][SENSOR].amperes();
        self.amperes += (amperes - self.amperes) * (SECONDS / SMOOTHING);
        let test = &CURRENT[BANK][SENSOR];
        let good = test.found(amperes).passed;
        self.bad_seconds = if good {
            self.bad_seconds.min(0.0) - SECONDS
        } else {
            self.bad_seconds.max(0.0) + SECONDS
        };
        let decided = self.bad_seconds.abs() > DECIDES;
        if !decided || self.failed || self.passed && good {
            return;
        }
        self.failed = !good;
        self.passed = good;
        self.cold_cell = !good && signals.banks[BANK].wide_range_pin.is_some();
        test.found(self.amperes).with_verdict(good).judge(report);
        self.gate.complete(&RULES[BANK][SENSOR], report);
    }
}
