//! What hangs on the ECU's drivers: coils and valves, each watched by its driver all the time, whatever is commanded
//! (comprehensive component, output: 13 CCR 1968.2(e)(15)). An open circuit and a short have a code each where SAE J2012
//! has one for each. Three seconds decide either way (common practice, no source).

use twotrip_harness::Output;
use twotrip_obd::Dtc;

use super::{
    CAM_VALVE_CIRCUIT, CAM_VALVE_CIRCUIT_2, COIL_CIRCUIT, EGR_VALVE_CIRCUIT, Inhibits, P0010, P0020, P0351,
    P0352, P0353, P0354, P0355, P0356, P0403, P0444, P0445, P0447, P0448, PURGE_VALVE_CIRCUIT, Signals,
    TestResult, VENT_VALVE_CIRCUIT,
    frame::{Condition, ENGINE_SPEED, Gate, Monitor, Rules, SUPPLY, gated},
};
use crate::memory::MonitorId;

/// One output.
struct Row {
    output: Output,
    monitor: MonitorId,
    open: Dtc,
    shorted: Dtc,
}

const fn row(output: Output, monitor: MonitorId, open: Dtc, shorted: Dtc) -> Row {
    Row {
        output,
        monitor,
        open,
        shorted,
    }
}

static ROWS: [Row; 11] = [
    row(Output::Coil1, COIL_CIRCUIT, P0351, P0351),
    row(Output::Coil2, COIL_CIRCUIT, P0352, P0352),
    row(Output::Coil3, COIL_CIRCUIT, P0353, P0353),
    row(Output::Coil4, COIL_CIRCUIT, P0354, P0354),
    row(Output::Coil5, COIL_CIRCUIT, P0355, P0355),
    row(Output::Coil6, COIL_CIRCUIT, P0356, P0356),
    row(Output::EgrValve, EGR_VALVE_CIRCUIT, P0403, P0403),
    row(Output::CamValve, CAM_VALVE_CIRCUIT, P0010, P0010),
    row(Output::CamValve2, CAM_VALVE_CIRCUIT_2, P0020, P0020),
    row(Output::PurgeValve, PURGE_VALVE_CIRCUIT, P0444, P0445),
    row(Output::VentValve, VENT_VALVE_CIRCUIT, P0447, P0448),
];

static RULES: Rules = Rules::continuous(
    &[
        COIL_CIRCUIT,
        EGR_VALVE_CIRCUIT,
        CAM_VALVE_CIRCUIT,
        CAM_VALVE_CIRCUIT_2,
        PURGE_VALVE_CIRCUIT,
        VENT_VALVE_CIRCUIT,
    ],
    &CONDITIONS,
);
static CONDITIONS: [Condition; 2] = [ENGINE_SPEED.at_least(400.0), SUPPLY.at_least(9.0)];

/// Steps of 100 ms that decide.
const DECIDED: u8 = 30;

/// How an output looks to its driver.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Sight {
    #[default]
    Sound,
    Open,
    Shorted,
}

/// One row at work: what it looks like, and for how many steps in a row.
#[derive(Clone, Copy, Debug, Default)]
struct Watch {
    sight: Sight,
    steps: u8,
}

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct Drivers {
    gate: Gate,
    watches: [Watch; ROWS.len()],
    /// All are sound, and have been for long enough.
    settled: bool,
}

impl Monitor for Drivers {
    gated!(&RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES, signals, inhibits).runs() {
            return;
        }
        let drivers = signals.drivers;
        if self.settled && drivers.open.is_empty() && drivers.shorted.is_empty() {
            return;
        }
        self.settled = true;
        for (watch, row) in self.watches.iter_mut().zip(&ROWS) {
            if inhibits.absent.contains(row.monitor) {
                continue;
            }
            let sight = if drivers.open.contains(row.output) {
                Sight::Open
            } else if drivers.shorted.contains(row.output) {
                Sight::Shorted
            } else {
                Sight::Sound
            };
            if watch.sight != sight {
                *watch = Watch { sight, steps: 0 };
            }
            if watch.steps < DECIDED {
                watch.steps += 1;
                if watch.steps == DECIDED {
                    row.decide(sight, report);
                }
            }
            self.settled &= sight == Sight::Sound && watch.steps == DECIDED;
        }
    }
}

impl Row {
    fn decide(&self, sight: Sight, report: &mut dyn FnMut(TestResult)) {
        match sight {
            Sight::Sound => {
                report(TestResult::Passed(self.open));
                if self.shorted != self.open {
                    report(TestResult::Passed(self.shorted));
                }
            }
            Sight::Open => report(TestResult::Failed(self.open)),
            Sight::Shorted => report(TestResult::Failed(self.shorted)),
        }
        report(TestResult::Completed(self.monitor));
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use core::time::Duration;
    use std::{vec, vec::Vec};

    use twotrip_harness::OutputSet;
    use twotrip_units::{AngularSpeed, Voltage};

    use super::*;

    fn lives(monitor: &mut Drivers, sight: Option<(Output, Sight)>, steps: u32) -> Vec<TestResult> {
        let mut signals = Signals {
            run_time: Some(Duration::from_secs(10)),
            engine_speed: AngularSpeed::from_rpm(700.0),
            supply: Voltage::from_volts(14.0),
            ..Signals::default()
        };
        if let Some((output, sight)) = sight {
            let mut set = OutputSet::NONE;
            set.insert(output);
            match sight {
                Sight::Open => signals.drivers.open = set,
                Sight::Shorted => signals.drivers.shorted = set,
                Sight::Sound => {}
            }
        }
        let mut said = Vec::new();
        for _ in 0..steps {
            monitor.step(&signals, Inhibits::default(), &mut |result| {
                if matches!(result, TestResult::Passed(_) | TestResult::Failed(_)) {
                    said.push(result);
                }
            });
        }
        said
    }

    /// Each opens or is shorted for too short, then for good, then is mended: only its code fails, and passes again.
    #[test]
    fn each_output_is_named_after_three_seconds() {
        for row in &ROWS {
            for (sight, code) in [(Sight::Open, row.open), (Sight::Shorted, row.shorted)] {
                let mut monitor = Drivers::default();
                assert_eq!(lives(&mut monitor, None, 40).len(), 13, "all pass");
                let bad = Some((row.output, sight));
                assert_eq!(lives(&mut monitor, bad, 29), []);
                assert_eq!(lives(&mut monitor, None, 1), []);
                assert_eq!(lives(&mut monitor, bad, 40), [TestResult::Failed(code)]);
                let mut passed = vec![TestResult::Passed(row.open)];
                if row.shorted != row.open {
                    passed.push(TestResult::Passed(row.shorted));
                }
                assert_eq!(lives(&mut monitor, None, 40), passed);
                assert_eq!(lives(&mut monitor, None, 40), []);
            }
        }
    }
}
