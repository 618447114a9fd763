//! Whether the speed sensors give pulses while the other shaft says that theirs turns.

use super::{
    super::catalogue::{OUTPUT_SPEED, P0717, P0722, TURBINE_SPEED},
    Debounce, Look, Report, runs,
};
use crate::{memory::FaultMemory, monitors::frame::Test};

/// Steps of 100 ms without pulses that fail, and with them that pass.
const TIMES: [u32; 2] = [20, 20];
/// The turbine has to turn from this output speed on, rpm: some 15 km/h; and the output shaft from this turbine speed on.
const OUTPUT_TURNS: f64 = 440.0;
const TURBINE_TURNS: f64 = 600.0;
/// After a shift or a move of the selector the shafts get this time, s.
const SETTLED_S: f64 = 1.0;

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
    in_drive_s: f64,
}

impl Speeds {
    pub(super) const fn turbine_lost(&self) -> bool {
        self.turbine.failed
    }

    pub(super) const fn output_lost(&self) -> bool {
        self.output.failed
    }

    pub(super) fn step(&mut self, look: Look<'_>, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let measured = look.measured;
        self.in_drive_s = if measured.in_drive {
            self.in_drive_s + 0.1
        } else {
            0.0
        };
        if self.in_drive_s < SETTLED_S || look.control.since_shift_s() < SETTLED_S {
            return;
        }
        let (turbine, output) = (measured.turbine.rpm(), measured.output.rpm());
        if output >= OUTPUT_TURNS && runs(memory, TURBINE_SPEED) {
            self.turbine.judge(&TURBINE, turbine, TIMES, memory, report);
        }
        if turbine >= TURBINE_TURNS && runs(memory, OUTPUT_SPEED) {
            self.output.judge(&OUTPUT, output, TIMES, memory, report);
        }
    }
}
