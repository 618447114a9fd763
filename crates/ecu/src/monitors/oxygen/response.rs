//! How fast the front oxygen sensor answers: transition times and switches over steady closed-loop driving, windows summed
//! up, once a driving cycle; what is a little too slow is measured a second time before it is said (common practice, no
//! source).
//!
//! A slow element shows in the transition times and hardly in the switches, dead time shows in the switches and hardly
//! in the transition times: both are judged. Published: mean transitions above 90 ms (1997 model year) or 94 and 125 ms
//! (1999) at 1000-3200 rpm, 8 switches or fewer in 10 s (2003).

use super::{
    Gathered, PurgeSteps, SECONDS, STEADY_PURGE, learned,
    trace::{HIGH_VOLTS, LOW_VOLTS},
};
use crate::monitors::{
    FRONT_RESPONSE_1, FRONT_RESPONSE_2, Inhibits, P0133, P0153, Signals, TestResult,
    frame::{
        ACCELERATION, AIR_FLOW, COOLANT, Condition, ENGINE_SPEED, Gate, LongMean, Monitor, RUN_TIME, Rules,
        Test, gated, loop_time,
    },
};
use twotrip_harness::BANKS;

const fn conditions<const BANK: usize>() -> [Condition; 7] {
    [
        RUN_TIME.at_least(120.0),
        COOLANT.at_least(60.0),
        loop_time::<BANK>().at_least(3.0),
        ENGINE_SPEED.between(1200.0, 3000.0),
        // Published: 7 to 25 g/s (1999 model year). With less the gas is long on its way, and the loop of a good sensor slow.
        AIR_FLOW.between(7.0, 25.0),
        ACCELERATION.at_most(0.6),
        learned::<BANK>(),
    ]
}
static CONDITIONS: [[Condition; 7]; BANKS] = [conditions::<0>(), conditions::<1>()];

static RULES: [Rules; BANKS] = [
    Rules {
        pause: Rules::PAUSES,
        ..Rules::once(&[FRONT_RESPONSE_1], &CONDITIONS[0])
    },
    Rules {
        pause: Rules::PAUSES,
        ..Rules::once(&[FRONT_RESPONSE_2], &CONDITIONS[1])
    },
];

/// Monitors of service $06: front sensor of bank 1 and 2.
const MIDS: [u8; BANKS] = [0x01, 0x05];

/// Tests of both banks.
const fn of_banks(test: Test, tid: u8, uasid: u8, factor: f64) -> [Test; BANKS] {
    [
        test.of(&[P0133]).reported_scaled(MIDS[0], tid, uasid, factor),
        test.of(&[P0153]).reported_scaled(MIDS[1], tid, uasid, factor),
    ]
}

/// The voltages that transitions are timed between: constants, whose value is both of their limits (SAE J1979, from
/// memory).
pub(super) static FROM: [Test; BANKS] = of_banks(
    Test::new("low sensor voltage of the transition times", "V")
        .at_least(LOW_VOLTS)
        .at_most(LOW_VOLTS),
    0x03,
    0x0B,
    1.0,
);
pub(super) static TO: [Test; BANKS] = of_banks(
    Test::new("high sensor voltage of the transition times", "V")
        .at_least(HIGH_VOLTS)
        .at_most(HIGH_VOLTS),
    0x04,
    0x0B,
    1.0,
);
/// LongMean transition from lean to rich.
pub(super) static RISE: [Test; BANKS] = of_banks(
    Test::new("mean time from 0.3 to 0.6 V", "ms").at_most(125.0),
    0x06,
    0x10,
    1.0,
);
/// LongMean transition from rich to lean.
pub(super) static FALL: [Test; BANKS] = of_banks(
    Test::new("mean time from 0.6 to 0.3 V", "ms").at_most(145.0),
    0x05,
    0x10,
    1.0,
);
/// Lowest volts.
pub(super) static LOWEST: [Test; BANKS] =
    of_banks(Test::new("lowest volts", "V").at_most(0.30), 0x07, 0x0B, 1.0);
/// Highest volts.
pub(super) static HIGHEST: [Test; BANKS] =
    of_banks(Test::new("highest volts", "V").at_least(0.60), 0x08, 0x0B, 1.0);
/// From switch to switch and back: 8 switches in 10 s are 2.5 s.
pub(super) static PERIOD: [Test; BANKS] = of_banks(
    Test::new("mean period of the switches", "ms").at_most(2499.0),
    0x0A,
    0x10,
    1.0,
);

/// Whole transitions that make a result, half of them in each direction.
const EDGES: u32 = 40;
/// And enabled time, s.
const LONG_ENOUGH: f64 = 40.0;
/// Enabled time after which what there is decides, s: a sensor that makes no transitions fails by its period.
const LONGEST: f64 = 100.0;

/// Over the limits by less than this a result is in doubt.
const DOUBT: f64 = 1.25;

/// Whether a sensor that moved like this answers fast enough.
pub(super) fn is_fast(gathered: &Gathered, bank: usize) -> bool {
    is_within(gathered, bank, 1.0)
}

/// Whether its times are within so many times their limits.
fn is_within(gathered: &Gathered, bank: usize, times: f64) -> bool {
    gathered.rise.count > 0
        && gathered.fall.count > 0
        && RISE[bank].found(gathered.rise.mean() / times).passed
        && FALL[bank].found(gathered.fall.mean() / times).passed
        && PERIOD[bank].found(gathered.period() / times).passed
}

/// The monitor of one bank.
#[derive(Clone, Debug, Default)]
pub struct FrontResponse<const BANK: usize> {
    gate: Gate,
    purge: PurgeSteps,
    gathered: Gathered,
    seconds: f64,
    /// A first window was a little too slow: a second one decides. Slow gas makes the loop of a good sensor slow now and then.
    was_in_doubt: bool,
    /// Of both transitions and the period.
    means: [LongMean; 3],
}

impl<const BANK: usize> FrontResponse<BANK> {
    /// What several driving cycles say, to be kept without power.
    pub(in crate::monitors) const fn means(&self) -> &[LongMean; 3] {
        &self.means
    }

    /// Puts it back.
    pub(in crate::monitors) const fn take_over(&mut self, means: [LongMean; 3]) {
        self.means = means;
    }
}

impl<const BANK: usize> Monitor for FrontResponse<BANK> {
    gated!(&RULES[BANK]);

    fn reset(&mut self) {
        *self = Self {
            gate: self.gate,
            means: self.means,
            ..Self::default()
        };
    }

    fn clear(&mut self) {
        self.means = Default::default();
        self.reset();
        self.gate.clear();
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let quiet = self.purge.step(signals.purge.fraction());
        if !self.gate.step(&RULES[BANK], signals, inhibits).runs() {
            return;
        }
        if !quiet {
            self.gate.wait_for(STEADY_PURGE.with(0.0));
            return;
        }
        self.gathered.add(&signals.banks[BANK].seen);
        self.seconds += SECONDS;
        let each = self.gathered.rise.count.min(self.gathered.fall.count);
        let enough = each * 2 >= EDGES && self.seconds >= LONG_ENOUGH;
        if !enough && self.seconds < LONGEST {
            return;
        }
        let in_doubt = !is_fast(&self.gathered, BANK) && is_within(&self.gathered, BANK, DOUBT);
        if in_doubt && !self.was_in_doubt {
            self.was_in_doubt = true;
            self.gathered = Gathered::default();
            self.seconds = 0.0;
            return;
        }
        let found = &self.gathered;
        let averages = signals.averaging.front_sensor;
        let [falls, rises, periods] = &mut self.means;
        let mut passed = found.rise.count > 0 && found.fall.count > 0;
        for (test, value) in [
            (&FROM[BANK], LOW_VOLTS),
            (&TO[BANK], HIGH_VOLTS),
            (&FALL[BANK], falls.take(averages, found.fall.mean())),
            (&RISE[BANK], rises.take(averages, found.rise.mean())),
            (&LOWEST[BANK], found.front[0]),
            (&HIGHEST[BANK], found.front[1]),
            (
                &PERIOD[BANK],
                periods.take(averages, found.period().min(60_000.0)),
            ),
        ] {
            let measured = test.found(value);
            passed &= measured.passed;
            measured.report(report);
        }
        for &dtc in RISE[BANK].codes {
            report(TestResult::verdict(dtc, passed));
        }
        self.gate.complete(&RULES[BANK], report);
    }
}
