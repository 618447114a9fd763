//! Too lean, too rich: the total correction of the fuel, short-term and long-term trim together.
//!
//! Published: 1.30 and 0.70 of the learned cell (2008 model year); 1.25-1.30 and 0.70-0.75 for 30 s (2011); 50 s (2008).
//! A rich engine is confirmed with the purge shut, so that a full canister is not called a fuel fault; while vapour
//! counts as known it hides in the vapour estimate, which is why the suspicion looks at both together. A loop that is
//! misled by a stuck front sensor is left to that sensor's monitor.

use twotrip_harness::BANKS;
use twotrip_obd::Dtc;
use twotrip_units::Ratio;

use super::SECONDS;
use crate::{
    control::Requests,
    monitors::{
        FUEL_TRIM_1, FUEL_TRIM_2, Inhibits, P0171, P0172, P0174, P0175, Signals, TestResult,
        frame::{
            BAROMETER, COOLANT, Condition, ENGINE_SPEED, Gate, INTAKE_AIR, Monitor, Rules, SUPPLY, Test,
            gated, loop_time, no_misfire,
        },
        oxygen::AtLimit,
    },
};

const fn conditions<const BANK: usize>() -> [Condition; 8] {
    [
        COOLANT.at_least(70.0),
        loop_time::<BANK>().at_least(3.0),
        ENGINE_SPEED.at_least(500.0),
        INTAKE_AIR.at_least(-10.0),
        BAROMETER.at_least(72.0),
        SUPPLY.at_least(10.5),
        no_misfire::<BANK>(),
        Condition::state("injectors that open for longer than a moment", |signals| {
            !signals.injectors_hardly_open
        }),
    ]
}
static CONDITIONS: [[Condition; 8]; BANKS] = [conditions::<0>(), conditions::<1>()];

static RULES: [Rules; BANKS] = [
    Rules::continuous(&[FUEL_TRIM_1], &CONDITIONS[0]),
    Rules::continuous(&[FUEL_TRIM_2], &CONDITIONS[1]),
];

const fn correction(codes: &'static [Dtc], mid: u8) -> Test {
    let mut test = Test::new("worst total correction", "%")
        .at_most(27.0)
        .of(codes)
        .reported_as(mid, 0x80, 0xB0);
    test.least = Some(-26.0);
    test
}

/// The largest of the driving cycle, either way, as held for the time that decides.
pub(super) static CORRECTION: [Test; BANKS] = [
    correction(&[P0171, P0172], 0x81),
    correction(&[P0174, P0175], 0x82),
];
/// Lean and rich code of each bank.
const CODES: [[Dtc; 2]; BANKS] = [[P0171, P0172], [P0174, P0175]];

/// Time constant of the mean that is judged, s.
const MEAN_SECONDS: f64 = 10.0;
/// Time beyond a limit that decides, and time within both that passes, s.
const FAILS_AFTER: f64 = 30.0;
const PASSES_AFTER: f64 = 60.0;
/// Share of the limit that the correction of the moment has to be beyond for the time to count: the mean hangs on for some
/// seconds when a car whose fault shows at idle pulls away, and the freeze frame is to show the state that found it.
const OF_THE_MOMENT: f64 = 0.75;
/// Correction with vapour taken for what it is believed to be, below which richness is suspected, and for how long, s.
const SUSPECT: f64 = 0.80;
const SUSPECT_SECONDS: f64 = 15.0;
/// With the purge shut: time until the loop has followed, the longest that the proof may take, and the time before the
/// next, s.
const SETTLE_SECONDS: f64 = 15.0;
const PROOF_SECONDS: f64 = 90.0;
const NEXT_PROOF_SECONDS: f64 = 300.0;

/// The monitor of one bank.
#[derive(Clone, Debug)]
pub struct FuelTrim<const BANK: usize> {
    gate: Gate,
    limit: AtLimit,
    /// Total correction as a factor: mean, and with believed vapour.
    mean: f64,
    with_vapour: f64,
    lean_seconds: f64,
    rich_seconds: f64,
    suspect_seconds: f64,
    proof_seconds: f64,
    /// Cell in which it was suspected.
    proof_cell: usize,
    pause_seconds: f64,
    good_seconds: f64,
    failed: bool,
    passed: bool,
}

impl<const BANK: usize> Default for FuelTrim<BANK> {
    fn default() -> Self {
        Self {
            gate: Gate::default(),
            limit: AtLimit::default(),
            mean: 1.0,
            with_vapour: 1.0,
            lean_seconds: 0.0,
            rich_seconds: 0.0,
            suspect_seconds: 0.0,
            proof_seconds: 0.0,
            proof_cell: 0,
            pause_seconds: 0.0,
            good_seconds: 0.0,
            failed: false,
            passed: false,
        }
    }
}

impl<const BANK: usize> FuelTrim<BANK> {
    /// Begins, goes on with or ends the proof that it is no vapour.
    fn prove_rich(&mut self, cell: usize) {
        self.pause_seconds = (self.pause_seconds - SECONDS).max(0.0);
        if self.proof_seconds > 0.0 && cell != self.proof_cell {
            // Elsewhere the mixture may be another: later again.
            self.proof_seconds = 0.0;
            self.rich_seconds = 0.0;
        }
        if self.proof_seconds > 0.0 {
            self.proof_seconds += SECONDS;
            let counted = CORRECTION[BANK].found(100.0 * (self.mean - 1.0));
            let settled = self.proof_seconds > SETTLE_SECONDS;
            self.rich_seconds = if settled && self.mean < 1.0 && !counted.passed {
                self.rich_seconds + SECONDS
            } else {
                0.0
            };
            // A loop that has not come near in time says that it was vapour.
            let cleared = settled && self.mean > SUSPECT;
            if cleared || self.proof_seconds > PROOF_SECONDS {
                self.proof_seconds = 0.0;
                self.rich_seconds = 0.0;
                self.pause_seconds = NEXT_PROOF_SECONDS;
            }
            return;
        }
        let suspect = self.with_vapour < SUSPECT && self.pause_seconds <= 0.0;
        self.suspect_seconds = if suspect {
            self.suspect_seconds + SECONDS
        } else {
            0.0
        };
        if self.suspect_seconds > SUSPECT_SECONDS {
            self.suspect_seconds = 0.0;
            self.proof_seconds = SECONDS;
            self.proof_cell = cell;
        }
    }
}

impl<const BANK: usize> Monitor for FuelTrim<BANK> {
    gated!(&RULES[BANK], forgets all);

    fn requests(&self) -> Requests {
        Requests {
            purge: (self.proof_seconds > 0.0).then_some(Ratio::ZERO),
            ..Requests::default()
        }
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let bank = &signals.banks[BANK];
        let misled = self.limit.step(bank).is_some();
        if !self.gate.step(&RULES[BANK], signals, inhibits).runs() || self.failed || misled {
            if self.failed {
                self.proof_seconds = 0.0;
            }
            return;
        }
        let learned = 1.0 + bank.long_term.fraction();
        let share = SECONDS / MEAN_SECONDS;
        let now = (1.0 + bank.short_term.fraction()) * learned;
        self.mean += (now - self.mean) * share;
        self.with_vapour += ((1.0 + signals.fuel_correction.fraction()) * learned - self.with_vapour) * share;
        let counted = CORRECTION[BANK].found(100.0 * (self.mean - 1.0));
        if self.mean < 1.0 || counted.passed {
            self.lean_seconds = 0.0;
        } else if CORRECTION[BANK]
            .most
            .is_none_or(|most| 100.0 * (now - 1.0) > OF_THE_MOMENT * most)
        {
            self.lean_seconds += SECONDS;
        }
        self.prove_rich(bank.cell);
        let [lean, rich] = CODES[BANK];
        let failed = if self.lean_seconds > FAILS_AFTER {
            Some(lean)
        } else if self.rich_seconds > FAILS_AFTER {
            Some(rich)
        } else {
            None
        };
        if let Some(dtc) = failed {
            self.failed = true;
            self.proof_seconds = 0.0;
            counted.report(report);
            report(TestResult::Failed(dtc));
            self.gate.complete(&RULES[BANK], report);
            return;
        }
        let good = counted.passed && self.with_vapour > SUSPECT && self.proof_seconds <= 0.0;
        self.good_seconds = if good { self.good_seconds + SECONDS } else { 0.0 };
        if self.good_seconds > PASSES_AFTER && !self.passed {
            self.passed = true;
            counted.report(report);
            for dtc in CODES[BANK] {
                report(TestResult::Passed(dtc));
            }
            self.gate.complete(&RULES[BANK], report);
        }
    }
}
