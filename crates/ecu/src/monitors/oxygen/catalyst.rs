//! The catalyst, by how much of the front sensor's movement reaches the rear one: a store of oxygen smooths it out, a
//! tired one lets it through.
//!
//! The length index is the way that the rear sensor's voltage went over the front's, over a minute of steady driving in
//! sum. Published monitors of this kind: signal length over 10 to 20 s at part throttle with purge off (2007 model
//! year), inversions at 1500-3000 rpm, 28-120 km/h and 15-48 % load (2003), amplitudes above 500 degC at 1720-2800 rpm
//! (2013). Limits calibrated on this car. What was seen while the front sensor was slow is thrown away: the index of a
//! lazy front sensor says nothing of the catalyst.

use twotrip_harness::BANKS;
use twotrip_obd::Dtc;

use super::{Gathered, PurgeSteps, SECONDS, STEADY_PURGE, learned, response::is_fast};
use crate::monitors::{
    CATALYST_1, CATALYST_2, Inhibits, P0420, P0430, Signals, TestResult,
    frame::{
        ACCELERATION, AIR_FLOW, COOLANT, Condition, ENGINE_SPEED, Gate, LongMean, Monitor, Rules,
        SINCE_FUEL_CUT, SPEED, Test, catalyst, gated, loop_time,
    },
};

/// Least temperature of the brick, °C, and for how long, s.
const HOT: f64 = 450.0;
const HOT_SECONDS: f64 = 60.0;

const fn conditions<const BANK: usize>() -> [Condition; 9] {
    [
        COOLANT.at_least(70.0),
        catalyst::<BANK>().at_least(HOT),
        loop_time::<BANK>().at_least(5.0),
        SINCE_FUEL_CUT.at_least(10.0),
        ENGINE_SPEED.between(1200.0, 2800.0),
        SPEED.between(40.0, 100.0),
        AIR_FLOW.between(5.0, 14.0),
        ACCELERATION.at_most(0.6),
        learned::<BANK>(),
    ]
}
static CONDITIONS: [[Condition; 9]; BANKS] = [conditions::<0>(), conditions::<1>()];
static HOT_LONG: Condition = Condition::own("time of a hot catalyst", "s").at_least(HOT_SECONDS);
static FAST_FRONT: Condition = Condition::own("a front oxygen sensor that answers fast", "");

static RULES: [Rules; BANKS] = [
    Rules {
        pause: Rules::PAUSES,
        ..Rules::once(&[CATALYST_1], &CONDITIONS[0])
    },
    Rules {
        pause: Rules::PAUSES,
        ..Rules::once(&[CATALYST_2], &CONDITIONS[1])
    },
];

const fn index(codes: &'static [Dtc], mid: u8) -> Test {
    Test::new("length of the rear sensor's signal over the front's", "")
        .at_most(0.60)
        .of(codes)
        .reported_as(mid, 0x80, 0x20)
}

/// The length index.
pub(super) static INDEX: [Test; BANKS] = [index(&[P0420], 0x21), index(&[P0430], 0x22)];

/// A catalyst that has failed passes again below this.
const PASSES_AGAIN: f64 = 0.50;
/// What makes a result: seconds, and switches of the front sensor.
const LONG_ENOUGH: f64 = 60.0;
const SWITCHES: u32 = 40;

/// The monitor of one bank.
#[derive(Clone, Debug, Default)]
pub struct Catalyst<const BANK: usize> {
    gate: Gate,
    purge: PurgeSteps,
    gathered: Gathered,
    seconds: f64,
    hot_seconds: f64,
    /// The last result since the clear was a failure.
    failed: bool,
    mean: LongMean,
}

impl<const BANK: usize> Catalyst<BANK> {
    /// What several driving cycles say, to be kept without power.
    pub(in crate::monitors) const fn mean(&self) -> LongMean {
        self.mean
    }

    /// Puts it back.
    pub(in crate::monitors) const fn take_over(&mut self, mean: LongMean) {
        self.mean = mean;
    }
}

impl<const BANK: usize> Monitor for Catalyst<BANK> {
    gated!(&RULES[BANK]);

    fn reset(&mut self) {
        *self = Self {
            gate: self.gate,
            failed: self.failed,
            mean: self.mean,
            ..Self::default()
        };
    }

    fn clear(&mut self) {
        self.failed = false;
        self.mean.clear();
        self.reset();
        self.gate.clear();
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let quiet = self.purge.step(signals.purge.fraction());
        let hot = signals.banks[BANK].catalyst.celsius() >= HOT;
        self.hot_seconds = if hot { self.hot_seconds + SECONDS } else { 0.0 };
        if !self.gate.step(&RULES[BANK], signals, inhibits).runs() {
            return;
        }
        if !quiet {
            self.gate.wait_for(STEADY_PURGE.with(0.0));
            return;
        }
        if !HOT_LONG.admits(self.hot_seconds) {
            self.gate.wait_for(HOT_LONG.with(self.hot_seconds));
            return;
        }
        self.gathered.add(&signals.banks[BANK].seen);
        self.seconds += SECONDS;
        if self.seconds < LONG_ENOUGH || self.gathered.switches < SWITCHES && self.seconds < 2.0 * LONG_ENOUGH
        {
            return;
        }
        let gathered = core::mem::take(&mut self.gathered);
        self.seconds = 0.0;
        if gathered.switches < SWITCHES || !is_fast(&gathered, BANK) {
            self.gate.wait_for(FAST_FRONT.with(0.0));
            return;
        }
        let index = gathered.rear_path / gathered.front_path.max(1e-3);
        let index = self.mean.take(signals.averaging.catalyst, index);
        let mut measured = INDEX[BANK].found(index);
        if self.failed {
            measured = measured.within(None, Some(PASSES_AGAIN));
        }
        self.failed = !measured.judge(report);
        self.gate.complete(&RULES[BANK], report);
    }
}
