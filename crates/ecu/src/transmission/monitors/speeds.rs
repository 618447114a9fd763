//! Whether the speed sensors give pulses while the other shaft says that theirs turns.

use super::{
    super::catalogue::{OUTPUT_SPEED, P0717, P0722, TURBINE_SPEED},
    Debounce, Look, Need, Report, Stand, hold, runs,
};
use crate::{
    memory::FaultMemory,
    monitors::frame::{Condition, Test},
};

/// Steps of 100 ms without pulses that fail, and with them that pass.
const TIMES: [u32; 2] = [20, 20];
/// The turbine has to turn from this output speed on, rpm: some 15 km/h; and the output shaft from this turbine speed on.
const OUTPUT_TURNS: f64 = 440.0;
const TURBINE_TURNS: f64 = 600.0;
/// After a shift or a move of the selector the shafts get this time, s.
const SETTLED_S: f64 = 1.0;

const DRIVE_TIME: Need = Need::of(
    Condition::own("time in a driving position", "s").at_least(SETTLED_S),
    |look| look.in_drive_s,
);
const SHIFT_TIME: Need = Need::of(
    Condition::own("time since the last shift", "s").at_least(SETTLED_S),
    |look| look.control.since_shift_s(),
);
static OF_TURBINE: [Need; 3] = [
    DRIVE_TIME,
    SHIFT_TIME,
    Need::of(
        Condition::own("output speed", "rpm").at_least(OUTPUT_TURNS),
        |look| look.measured.output.rpm(),
    ),
];
static OF_OUTPUT: [Need; 3] = [
    DRIVE_TIME,
    SHIFT_TIME,
    Need::of(
        Condition::own("turbine speed", "rpm").at_least(TURBINE_TURNS),
        |look| look.measured.turbine.rpm(),
    ),
];

static TURBINE: Test = Test::new("turbine speed, the car driving", "rpm")
    .at_least(50.0)
    .of(&[P0717]);
static OUTPUT: Test = Test::new("output speed, the turbine turning in a gear", "rpm")
    .at_least(20.0)
    .of(&[P0722]);

#[derive(Clone, Debug, Default)]
pub(super) struct Speeds {
    turbine: Debounce,
    output: Debounce,
}

impl Speeds {
    pub(super) const fn turbine_lost(&self) -> bool {
        self.turbine.failed
    }

    pub(super) const fn output_lost(&self) -> bool {
        self.output.failed
    }

    pub(super) fn stands(&self, look: &Look<'_>, memory: &FaultMemory) -> [Stand; 2] {
        [
            Stand::of(TURBINE_SPEED, &OF_TURBINE, look, memory, self.turbine.failed),
            Stand::of(OUTPUT_SPEED, &OF_OUTPUT, look, memory, self.output.failed),
        ]
    }

    pub(super) fn step(&mut self, look: Look<'_>, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let measured = look.measured;
        let (turbine, output) = (measured.turbine.rpm(), measured.output.rpm());
        if hold(&OF_TURBINE, &look) && runs(memory, TURBINE_SPEED) {
            self.turbine.judge(&TURBINE, turbine, TIMES, memory, report);
        }
        if hold(&OF_OUTPUT, &look) && runs(memory, OUTPUT_SPEED) {
            self.output.judge(&OUTPUT, output, TIMES, memory, report);
        }
    }
}
