//! Does the sensor on the fuel rail tell what is (13 CCR 1968.2(e)(15.2), from memory: rationality of inputs; conditions and
//! limits are ours): after a night there is no pressure in the rail, until the pump runs.
//!
//! The lowest reading since the engine ran counts: at a key-on the pump fills the rail, and the key may have been on between.
//! A sensor that is stuck, or off by so much that a good pump would be accused, shows there.

use core::time::Duration;

use twotrip_harness::Circuit;
use twotrip_units::Limit;

use super::{
    Inhibits, P0191, RAIL_PRESSURE_RATIONALITY, Signals, TestResult,
    frame::{Condition, Gate, Monitor, Rules, SOAK, Test, gated},
};

/// The reading without pressure: a good sensor is within 2 % of its 600 kPa; a rest of pressure may be left.
static WITHOUT_PRESSURE: Test = Test::new(
    "reading of the rail pressure sensor after the soak, pump off",
    "kPa",
)
.at_least(-20.0)
.at_most(REST)
.of(&[P0191]);
/// What the monitor measures.
pub(super) static TESTS: &[&Test] = &[&WITHOUT_PRESSURE];

/// Standing after which the check valve of a good pump has let the pressure go (calibrated: 350 kPa are 0.04 then).
static LONG_SOAK: Condition = SOAK.at_least(6.0);
static READ: Condition = Condition::own("a reading of the rail pressure sensor before the start", "");
static CONDITIONS: [Condition; 1] = [RAIL_SENSOR_SOUND];
static RULES: Rules = Rules::once(&[RAIL_PRESSURE_RATIONALITY], &CONDITIONS);

/// The circuit of the sensor is in range.
pub(super) const RAIL_SENSOR_SOUND: Condition =
    Condition::state("the circuit of the rail pressure sensor", |signals| {
        !signals
            .circuits
            .out_of_range()
            .contains(Circuit::RailPressureSensor)
    });

/// The monitor.
#[derive(Clone, Debug, Default)]
pub(super) struct RailSensor {
    gate: Gate,
    /// The lowest reading since the engine ran, kPa; `None` where the ECU has not looked.
    lowest: Option<f64>,
    running: bool,
    /// The memory was cleared since, with the key on: the pump has filled the rail, and pressure says nothing of the sensor.
    filled: bool,
}

/// Most that is left in the rail after a night, kPa.
const REST: f64 = 50.0;

impl Monitor for RailSensor {
    gated!(&RULES);

    fn reset(&mut self) {}

    fn key_on(&mut self, signals: &Signals) {
        self.look(signals);
    }

    fn step_off(&mut self, signals: &Signals, _inhibits: Inhibits, _report: &mut dyn FnMut(TestResult)) {
        self.look(signals);
    }

    fn engine_started(&mut self, _signals: &Signals, soak: Duration, report: &mut dyn FnMut(TestResult)) {
        self.running = true;
        if self.filled {
            self.lowest = self.lowest.filter(|lowest| *lowest <= REST);
        }
        self.gate.begin_after_soak(&RULES, &LONG_SOAK, soak, report);
        if self.lowest.is_none() && !self.gate.is_ruled_out() {
            self.gate.rule_out(&RULES, READ.with(0.0), report);
        }
    }

    fn engine_stopped(&mut self) {
        self.gate.stop();
        self.lowest = None;
        self.running = false;
        self.filled = false;
    }

    /// What was read before the start holds for this driving cycle; before the start it is of a sensor that may have been
    /// renewed since.
    fn clear(&mut self) {
        self.gate.clear();
        if !self.running {
            self.lowest = None;
            self.filled = true;
        }
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES, signals, inhibits).runs() {
            return;
        }
        if let Some(kilopascals) = self.lowest {
            WITHOUT_PRESSURE.found(kilopascals).judge(report);
            self.gate.complete(&RULES, report);
        }
    }
}

impl RailSensor {
    fn look(&mut self, signals: &Signals) {
        if RAIL_SENSOR_SOUND.missing(signals).is_none() {
            let now = signals.rail_pressure.kilopascals();
            self.lowest = Some(self.lowest.map_or(now, |lowest| lowest.at_most(now)));
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::{string::ToString as _, vec::Vec};

    use twotrip_units::Pressure;

    use super::*;
    use crate::circuits::CircuitSet;

    fn signals(kilopascals: f64) -> Signals {
        Signals {
            run_time: Some(Duration::from_secs(1)),
            rail_pressure: Pressure::from_kilopascals(kilopascals),
            ..Signals::default()
        }
    }

    /// Verdicts of a start after so many hours, where each key-on before it reads so much; `circuit` says whether it is sound.
    fn started(key_ons: &[f64], hours: u64, circuit: bool) -> Vec<TestResult> {
        let mut monitor = RailSensor::default();
        let mut said = Vec::new();
        for &reading in key_ons {
            monitor.key_on(&signals(reading));
            monitor.key_off(&signals(350.0));
        }
        let mut running = signals(350.0);
        if !circuit {
            running.circuits.low = CircuitSet::of(&[Circuit::RailPressureSensor]);
        }
        let mut report = |result| said.push(result);
        monitor.engine_started(&running, Duration::from_secs(hours * 3600), &mut report);
        for _ in 0..100 {
            monitor.step(&running, Inhibits::default(), &mut report);
        }
        said.retain(|result| matches!(result, TestResult::Passed(_) | TestResult::Failed(_)));
        said
    }

    #[test]
    fn the_sensor_is_judged_once_after_a_night_without_pressure() {
        let [failed, passed] = [TestResult::Failed(P0191), TestResult::Passed(P0191)];
        for (what, key_ons, hours, circuit, said) in [
            ("good", &[0.0][..], 9, true, &[passed][..]),
            ("a rest of pressure", &[49.0], 9, true, &[passed]),
            ("reads high", &[51.0], 9, true, &[failed]),
            ("reads low", &[-21.0], 9, true, &[failed]),
            ("stuck where the regulator holds it", &[350.0], 9, true, &[failed]),
            ("a short stop", &[350.0], 1, true, &[]),
            ("primed at a key-on before", &[0.0, 300.0], 9, true, &[passed]),
            (
                "looked at just after the stop too",
                &[350.0, 0.0],
                9,
                true,
                &[passed],
            ),
            ("high each time", &[350.0, 350.0], 9, true, &[failed]),
            ("out of range", &[-30.0], 9, false, &[]),
            ("no key-on was seen", &[], 9, true, &[]),
        ] {
            assert_eq!(started(key_ons, hours, circuit), said, "{what}");
        }
    }

    /// Whoever asks why it does not run is told of the soak or of the reading, whichever there was not.
    #[test]
    fn what_it_waits_for_is_what_was_missing() {
        for (looked, hours, missing) in [
            (true, 1, "standing before the start 1 h, needs at least 6 h"),
            (false, 1, "standing before the start 1 h, needs at least 6 h"),
            (
                false,
                9,
                "needs a reading of the rail pressure sensor before the start",
            ),
        ] {
            let mut monitor = RailSensor::default();
            if looked {
                monitor.key_on(&signals(0.0));
            }
            monitor.engine_started(&signals(350.0), Duration::from_secs(hours * 3600), &mut |_| {});
            let found = monitor.gate.missing().expect("it cannot run");
            assert_eq!(found.to_string(), missing);
        }
    }

    /// A clear before the start takes the reading of the sensor that was there then; one after it does not.
    #[test]
    fn a_clear_before_the_start_asks_for_a_new_reading() {
        let mut monitor = RailSensor::default();
        monitor.key_on(&signals(-150.0));
        monitor.clear();
        assert_eq!(monitor.lowest, None);
        monitor.key_on(&signals(0.0));
        monitor.engine_started(&signals(350.0), Duration::from_secs(9 * 3600), &mut |_| {});
        monitor.clear();
        assert_eq!(monitor.lowest, Some(0.0));
        // With the key on for the clear the pump has run.
        let mut monitor = RailSensor::default();
        monitor.clear();
        monitor.key_on(&signals(340.0));
        monitor.engine_started(&signals(350.0), Duration::from_secs(9 * 3600), &mut |_| {});
        assert!(monitor.gate.missing().is_some());
    }

    /// What was read at one start is not judged at the next.
    #[test]
    fn each_stop_asks_for_a_new_reading() {
        let mut monitor = RailSensor::default();
        monitor.key_on(&signals(0.0));
        monitor.engine_stopped();
        monitor.key_on(&signals(350.0));
        monitor.step_off(&signals(340.0), Inhibits::default(), &mut |_| {});
        assert_eq!(monitor.lowest, Some(340.0));
    }
}
