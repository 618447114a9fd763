//! Is the coolant warm enough for closed loop in time (13 CCR 1968.2(e)(10.2.2)(B), from memory: 2 min from starts at 10 °C
//! up, 5 min from -7 °C up; below, the maker says).

use core::time::Duration;

use super::{Idling, PER_SECOND, SOUND};
use crate::{
    control::CLOSED_LOOP_COOLANT,
    monitors::{
        CLOSED_LOOP_TEMPERATURE, Inhibits, P0125, Signals, TestResult,
        frame::{Condition, Gate, Monitor, Rules, Test, gated},
    },
};

const WARM_CELSIUS: f64 = CLOSED_LOOP_COOLANT.celsius();
/// Coolant at the start, °C, and the time it is given.
const MILD: (f64, u32) = (10.0, 120 * PER_SECOND);
const COLD: (f64, u32) = (-7.0, 300 * PER_SECOND);

pub(super) static REACHED: Test = Test::new("coolant at the time limit for closed loop", "C")
    .at_least(WARM_CELSIUS)
    .of(&[P0125])
    .reported_as(0xE1, 0x85, 0x96);

static NOT_COLDER: Condition = Condition::own("coolant at the start", "C").at_least(COLD.0);
/// A sensor that does not move at all says nothing of the engine: the check of the sensor is for that.
static MOVING: Condition = Condition::own("movement of the coolant since the start", "K").at_least(0.5);
static NOT_IDLING: Condition = Condition::own("share of idling and fuel cut", "%").at_most(50.0);
static CONDITIONS: [Condition; 1] = [SOUND];
static RULES: Rules = Rules {
    pause: Rules::PAUSES,
    ..Rules::once(&[CLOSED_LOOP_TEMPERATURE], &CONDITIONS)
};

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct ClosedLoopTemperature {
    gate: Gate,
    start: f64,
    idling: Idling,
}

impl Monitor for ClosedLoopTemperature {
    gated!(&RULES);

    fn reset(&mut self) {
        self.idling = Idling::default();
    }

    fn engine_started(&mut self, signals: &Signals, _soak: Duration, report: &mut dyn FnMut(TestResult)) {
        self.reset();
        self.gate.begin_cycle();
        self.start = signals.coolant.celsius();
        if self.start < COLD.0 {
            self.gate.rule_out(&RULES, NOT_COLDER.with(self.start), report);
        }
    }

    /// The time since the start goes on.
    fn clear(&mut self) {
        self.gate.clear();
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES, signals, inhibits).runs() {
            return;
        }
        self.idling.step(signals);
        let coolant = signals.coolant.celsius();
        let limit = if self.start >= MILD.0 { MILD.1 } else { COLD.1 };
        if coolant < WARM_CELSIUS && self.idling.steps < limit {
            return;
        }
        let moved = (coolant - self.start).abs();
        let unfit = [(&NOT_IDLING, self.idling.percent()), (&MOVING, moved)];
        if coolant < WARM_CELSIUS
            && let Some((condition, value)) = unfit
                .into_iter()
                .find(|(condition, value)| !condition.admits(*value))
        {
            self.gate.rule_out(&RULES, condition.with(value), report);
            return;
        }
        REACHED.judge(coolant, report);
        self.gate.complete(&RULES, report);
    }
}
