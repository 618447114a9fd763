//! The front oxygen sensor, all the time: no activity, a stuck signal, a signal out of range.
//!
//! Where the signal is low enough for a short to ground, or too high for any sensor, the circuit's code is stored and
//! not the one of a stuck signal. Where the rear sensor agrees with the front one it is the mixture's fault, and the
//! fuel system monitor's to find.

use twotrip_harness::BANKS;
use twotrip_obd::Dtc;

use super::{AtLimit, Limited, SECONDS};
use crate::control::Requests;
use crate::monitors::{
    FRONT_CIRCUIT_1, FRONT_CIRCUIT_2, Inhibits, P0131, P0132, P0134, P0151, P0152, P0154, P2195, P2196,
    P2197, P2198, Signals, TestResult,
    frame::{Condition, Gate, Monitor, RUN_TIME, Rules, SUPPLY, gated},
};

static CONDITIONS: [Condition; 2] = [RUN_TIME.at_least(60.0), SUPPLY.at_least(10.5)];

static RULES: [Rules; BANKS] = [
    Rules::continuous(&[FRONT_CIRCUIT_1], &CONDITIONS),
    Rules::continuous(&[FRONT_CIRCUIT_2], &CONDITIONS),
];

/// The codes of a bank.
struct Codes {
    low: Dtc,
    high: Dtc,
    dead: Dtc,
    lean: Dtc,
    rich: Dtc,
}

impl Codes {
    fn all(&self) -> [Dtc; 5] {
        [self.low, self.high, self.dead, self.lean, self.rich]
    }
}

static CODES: [Codes; BANKS] = [
    Codes {
        low: P0131,
        high: P0132,
        dead: P0134,
        lean: P2195,
        rich: P2196,
    },
    Codes {
        low: P0151,
        high: P0152,
        dead: P0154,
        lean: P2197,
        rich: P2198,
    },
];

/// Time at the loop's limit that decides, s.
const STUCK_SECONDS: f64 = 10.0;
/// Lower than any sensor gives while the exhaust is rich, and higher than any gives at all, V.
const LOW: f64 = 0.05;
const HIGH: f64 = 1.2;
const HIGH_SECONDS: f64 = 10.0;
/// What the amplifier of a wide-range sensor never gives: its line goes from 0.4 to 2.8 V
/// ([`twotrip_harness::transfer::WIDE_RANGE`]).
const WIDE_RANGE: [f64; 2] = [0.25, 3.5];
/// No activity: between these, V, for so long, s, from so long after the start on, s, with a heater that draws, A.
const DEAD: [f64; 2] = [0.35, 0.55];
/// Where an input stands that nothing drives, V: a biased sensor comes near it, and moves.
const UNDRIVEN: [f64; 2] = [0.43, 0.47];
const DEAD_SECONDS: f64 = 60.0;
const DEAD_AFTER: f64 = 120.0;
const HEATED: f64 = 0.25;
/// A sensor that has been on both sides of these in closed loop is well, V.
const LEAN: f64 = 0.3;
const RICH: f64 = 0.6;

/// The monitor of one bank.
#[derive(Clone, Debug, Default)]
pub struct FrontCircuit<const BANK: usize> {
    gate: Gate,
    limit: AtLimit,
    dead_seconds: f64,
    high_seconds: f64,
    low_seconds: f64,
    seen: [bool; 2],
    failed: bool,
    passed: bool,
}

impl<const BANK: usize> FrontCircuit<BANK> {
    /// The code of what is wrong by now, if anything is.
    fn fault(&mut self, signals: &Signals) -> Option<Dtc> {
        let bank = &signals.banks[BANK];
        let codes = &CODES[BANK];
        let volts = bank.oxygen_front.volts();
        let late = signals.run_time.unwrap_or_default().as_secs_f64() > DEAD_AFTER;
        let dead = late
            && bank.seen.front[0] > DEAD[0]
            && bank.seen.front[1] < DEAD[1]
            && bank.heater_front.amperes() > HEATED;
        let time = |holds: bool, seconds: f64| if holds { seconds + SECONDS } else { 0.0 };
        self.dead_seconds = time(dead, self.dead_seconds);
        // The pin of a wide-range sensor shows what its amplifier gives, which a short puts out of range.
        let pin = bank.wide_range_pin.map_or(volts, |pin| pin.volts());
        let [low, high] = if bank.wide_range_pin.is_some() {
            WIDE_RANGE
        } else {
            [f64::NEG_INFINITY, HIGH]
        };
        self.high_seconds = time(pin > high, self.high_seconds);
        self.low_seconds = time(pin < low, self.low_seconds);
        let side = self.limit.step(bank);
        if self.high_seconds > HIGH_SECONDS {
            return Some(codes.high);
        }
        if self.low_seconds > HIGH_SECONDS {
            return Some(codes.low);
        }
        if self.dead_seconds > DEAD_SECONDS {
            return Some(codes.dead);
        }
        if self.limit.seconds < STUCK_SECONDS {
            return None;
        }
        // It stands where an input with nothing on it does.
        let idle = self.limit.front[0] > UNDRIVEN[0] && self.limit.front[1] < UNDRIVEN[1];
        side.map(|side| match side {
            _ if idle => codes.dead,
            Limited::Lean if self.limit.front[1] < LOW => codes.low,
            Limited::Lean => codes.lean,
            Limited::Rich => codes.rich,
        })
    }
}

impl<const BANK: usize> Monitor for FrontCircuit<BANK> {
    gated!(&RULES[BANK], forgets all);

    fn requests(&self) -> Requests {
        let mut requests = Requests::default();
        requests.open_loop[BANK] = self.failed;
        requests
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES[BANK], signals, inhibits).runs() || self.failed {
            return;
        }
        let bank = &signals.banks[BANK];
        self.seen[0] |= bank.closed_loop && bank.seen.front[0] < LEAN;
        self.seen[1] |= bank.closed_loop && bank.seen.front[1] > RICH;
        if let Some(dtc) = self.fault(signals) {
            self.failed = true;
            report(TestResult::Failed(dtc));
            self.gate.complete(&RULES[BANK], report);
        } else if self.seen == [true; 2] && !self.passed {
            self.passed = true;
            for dtc in CODES[BANK].all() {
                report(TestResult::Passed(dtc));
            }
            self.gate.complete(&RULES[BANK], report);
        }
    }
}
