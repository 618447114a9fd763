//! Circuits of the sensors and the supply, one row of data each: low, high, and for the throttle's tracks whether they
//! agree (limits and times of the kind that makers publish in their service information).
//!
//! Each direction has an up/down counter, one step per 100 ms, that ends after so many bad readings more than good
//! ones; the tank pressure's also a sum of all bad readings in one driving cycle. A circuit passes after as many good
//! readings in a row. Judged with the engine running only (a choice: whether a fault seen before the start belongs to
//! the cycle before or after it is open in 13 CCR 1968.2).

use core::time::Duration;

use twotrip_harness::Circuit;
use twotrip_obd::Dtc;
use twotrip_units::AngularSpeed;

use super::{
    AIR_METER_CIRCUIT, CAM_SENSOR_CIRCUIT, CAM_SENSOR_CIRCUIT_2, COOLANT_CIRCUIT, EGR_POSITION_CIRCUIT,
    FUEL_LEVEL_CIRCUIT, INTAKE_AIR_CIRCUIT, MANIFOLD_PRESSURE_CIRCUIT, P0102, P0103, P0107, P0108, P0112,
    P0113, P0117, P0118, P0122, P0123, P0192, P0193, P0222, P0223, P0340, P0345, P0405, P0406, P0452, P0453,
    P0462, P0463, P0562, P0563, P2135, RAIL_PRESSURE_CIRCUIT, SYSTEM_VOLTAGE, TANK_PRESSURE_CIRCUIT,
    THROTTLE_A_CIRCUIT, THROTTLE_B_CIRCUIT, THROTTLE_CORRELATION, TestResult,
    frame::{Gate, Monitor, Rules, gated},
};
use super::{Inhibits, MonitorSet, Signals};
use crate::{circuits::Readings, memory::MonitorId};

/// What a row watches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Watch {
    /// A circuit within its limits ([`crate::circuits::limits`]).
    Range {
        /// The circuit.
        circuit: Circuit,
        /// Code of the low side.
        low: Dtc,
        /// Code of the high side.
        high: Dtc,
    },
    /// The throttle's tracks against each other ([`crate::circuits::TRACKS_APART`]).
    Tracks {
        /// Its code.
        code: Dtc,
    },
    /// Teeth of a cam sensor.
    Cam {
        /// Its bank, from 0 on.
        bank: usize,
        /// Its code.
        code: Dtc,
    },
    /// The supply of the control module ([`crate::circuits::SUPPLY`]).
    Supply {
        /// Code of the low side.
        low: Dtc,
        /// Code of the high side.
        high: Dtc,
    },
}

/// One monitor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Params {
    /// Its place in the catalogue.
    pub monitor: MonitorId,
    /// What it watches.
    pub watch: Watch,
    /// Bad readings, 100 ms each, more than good ones; and good ones in a row that pass.
    pub samples: u16,
    /// Bad readings in sum.
    pub total_samples: Option<u16>,
    /// Engine speed above which it judges.
    pub above: AngularSpeed,
    /// Time since the start from which it judges.
    pub after: Duration,
}

const fn range(monitor: MonitorId, circuit: Circuit, low: Dtc, high: Dtc, samples: u16) -> Params {
    Params {
        monitor,
        watch: Watch::Range { circuit, low, high },
        samples,
        total_samples: None,
        above: AngularSpeed::ZERO,
        after: Duration::ZERO,
    }
}

const fn cam(monitor: MonitorId, bank: usize, code: Dtc) -> Params {
    Params {
        monitor,
        watch: Watch::Cam { bank, code },
        samples: 50,
        total_samples: None,
        above: AngularSpeed::from_rpm(400.0),
        after: Duration::ZERO,
    }
}

/// This car's.
pub static PARAMS: [Params; 14] = [
    range(COOLANT_CIRCUIT, Circuit::CoolantSensor, P0117, P0118, 50),
    range(INTAKE_AIR_CIRCUIT, Circuit::IntakeAirSensor, P0112, P0113, 50),
    range(
        MANIFOLD_PRESSURE_CIRCUIT,
        Circuit::ManifoldPressureSensor,
        P0107,
        P0108,
        50,
    ),
    Params {
        above: AngularSpeed::from_rpm(400.0),
        ..range(AIR_METER_CIRCUIT, Circuit::AirMeter, P0102, P0103, 5)
    },
    range(THROTTLE_A_CIRCUIT, Circuit::ThrottleSensorA, P0122, P0123, 3),
    range(THROTTLE_B_CIRCUIT, Circuit::ThrottleSensorB, P0222, P0223, 3),
    Params {
        watch: Watch::Tracks { code: P2135 },
        ..range(THROTTLE_CORRELATION, Circuit::ThrottleSensorA, P2135, P2135, 2)
    },
    Params {
        total_samples: Some(300),
        ..range(
            TANK_PRESSURE_CIRCUIT,
            Circuit::TankPressureSensor,
            P0452,
            P0453,
            40,
        )
    },
    range(FUEL_LEVEL_CIRCUIT, Circuit::FuelLevelSensor, P0462, P0463, 300),
    range(EGR_POSITION_CIRCUIT, Circuit::EgrPositionSensor, P0405, P0406, 50),
    range(
        RAIL_PRESSURE_CIRCUIT,
        Circuit::RailPressureSensor,
        P0192,
        P0193,
        50,
    ),
    cam(CAM_SENSOR_CIRCUIT, 0, P0340),
    cam(CAM_SENSOR_CIRCUIT_2, 1, P0345),
    Params {
        monitor: SYSTEM_VOLTAGE,
        watch: Watch::Supply {
            low: P0562,
            high: P0563,
        },
        samples: 100,
        total_samples: None,
        above: AngularSpeed::ZERO,
        after: Duration::from_secs(60),
    },
];

/// Debounce of one direction.
#[derive(Clone, Copy, Debug, Default)]
struct Debounce {
    counter: u16,
    total: u16,
    failed: bool,
}

impl Debounce {
    /// Whether this reading decides for a fault.
    fn step(&mut self, bad: bool, params: &Params) -> bool {
        if bad {
            self.counter = (self.counter + 1).min(params.samples);
            self.total = self.total.saturating_add(1);
        } else {
            self.counter = self.counter.saturating_sub(1);
        }
        let in_sum = params.total_samples.is_some_and(|most| self.total >= most);
        let decided = bad && !self.failed && (self.counter >= params.samples || in_sum);
        self.failed |= decided;
        decided
    }
}

/// One row at work.
#[derive(Clone, Copy, Debug, Default)]
struct Row {
    low: Debounce,
    high: Debounce,
    good: u16,
    passed: bool,
}

impl Row {
    /// Whether good readings change nothing any more.
    const fn is_settled(&self) -> bool {
        self.passed && self.low.counter == 0 && self.high.counter == 0
    }

    /// One reading.
    fn step(
        &mut self,
        params: &Params,
        low: bool,
        high: bool,
        codes: &[Dtc],
        report: &mut dyn FnMut(TestResult),
    ) {
        for ((debounce, bad), &dtc) in [(&mut self.low, low), (&mut self.high, high)]
            .into_iter()
            .zip(codes)
        {
            if debounce.step(bad, params) {
                self.passed = false;
                report(TestResult::Failed(dtc));
                report(TestResult::Completed(params.monitor));
            }
        }
        if low || high {
            self.good = 0;
        } else if !self.passed {
            self.good += 1;
            if self.good >= params.samples {
                self.good = 0;
                self.passed = true;
                self.low.failed = false;
                self.high.failed = false;
                for &dtc in codes {
                    report(TestResult::Passed(dtc));
                }
                report(TestResult::Completed(params.monitor));
            }
        }
    }
}

/// All circuit monitors.
#[derive(Clone, Debug, Default)]
pub struct CircuitMonitors {
    rows: [Row; PARAMS.len()],
    /// Every row has passed and has nothing to count down: good readings change nothing.
    settled: bool,
    gate: Gate,
}

/// Watched all the time.
static RULES: Rules = Rules::continuous(
    &[
        TANK_PRESSURE_CIRCUIT,
        COOLANT_CIRCUIT,
        INTAKE_AIR_CIRCUIT,
        MANIFOLD_PRESSURE_CIRCUIT,
        AIR_METER_CIRCUIT,
        THROTTLE_A_CIRCUIT,
        THROTTLE_B_CIRCUIT,
        THROTTLE_CORRELATION,
        FUEL_LEVEL_CIRCUIT,
        SYSTEM_VOLTAGE,
        EGR_POSITION_CIRCUIT,
        CAM_SENSOR_CIRCUIT,
        CAM_SENSOR_CIRCUIT_2,
        RAIL_PRESSURE_CIRCUIT,
    ],
    &[],
);

impl Monitor for CircuitMonitors {
    gated!(&RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let run_time = signals.run_time.unwrap_or_default();
        self.gate.run("watching");
        self.judge(
            signals.circuits,
            signals.engine_speed,
            run_time,
            inhibits.absent,
            report,
        );
    }
}

impl CircuitMonitors {
    /// One reading; every 100 ms while the engine runs.
    fn judge(
        &mut self,
        readings: Readings,
        engine_speed: AngularSpeed,
        run_time: Duration,
        absent: MonitorSet,
        report: &mut dyn FnMut(TestResult),
    ) {
        if self.settled
            && readings.is_sound()
            && readings.supply_is_sound()
            && readings.cam_silent == [false; 2]
        {
            return;
        }
        self.settled = true;
        for (row, params) in self.rows.iter_mut().zip(&PARAMS) {
            if absent.contains(params.monitor) {
                continue;
            }
            if engine_speed >= params.above && run_time >= params.after {
                match params.watch {
                    Watch::Range { circuit, low, high } => row.step(
                        params,
                        readings.low.contains(circuit),
                        readings.high.contains(circuit),
                        &[low, high],
                        report,
                    ),
                    Watch::Tracks { code } => row.step(params, readings.tracks_apart, false, &[code], report),
                    Watch::Cam { bank, code } => {
                        row.step(params, readings.cam_silent[bank], false, &[code], report);
                    }
                    Watch::Supply { low, high } => row.step(
                        params,
                        readings.supply_low,
                        readings.supply_high,
                        &[low, high],
                        report,
                    ),
                }
            }
            self.settled &= row.is_settled();
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::circuits::CircuitSet;
    use std::{vec, vec::Vec};

    #[derive(Clone, Copy)]
    enum Reading {
        Good,
        Low(Circuit),
        High(Circuit),
        Apart,
        CamSilent(usize),
        SupplyLow,
        SupplyHigh,
    }
    use Reading::{Apart, CamSilent, Good, High, Low, SupplyHigh, SupplyLow};

    /// Feeds (samples, reading) one after another; tells which codes failed, and which of `watched` passed, with the
    /// sample's number.
    fn run_at(rpm: f64, pieces: &[(usize, Reading)], watched: &[Dtc]) -> Vec<(usize, TestResult)> {
        let mut monitors = CircuitMonitors::default();
        let mut found = Vec::new();
        let mut sample = 0;
        for &(count, reading) in pieces {
            let mut readings = Readings::default();
            match reading {
                Good => {}
                Low(circuit) => readings.low = CircuitSet::of(&[circuit]),
                High(circuit) => readings.high = CircuitSet::of(&[circuit]),
                Apart => readings.tracks_apart = true,
                CamSilent(bank) => readings.cam_silent[bank] = true,
                SupplyLow => readings.supply_low = true,
                SupplyHigh => readings.supply_high = true,
            }
            for _ in 0..count {
                sample += 1;
                monitors.judge(
                    readings,
                    AngularSpeed::from_rpm(rpm),
                    Duration::from_millis(100) * u32::try_from(sample).expect("few"),
                    MonitorSet::default(),
                    &mut |result| match result {
                        TestResult::Failed(_) => found.push((sample, result)),
                        TestResult::Passed(dtc) if watched.contains(&dtc) => found.push((sample, result)),
                        _ => {}
                    },
                );
            }
        }
        found
    }

    fn run(pieces: &[(usize, Reading)], watched: &[Dtc]) -> Vec<(usize, TestResult)> {
        run_at(800.0, pieces, watched)
    }

    /// Codes and times of each circuit, in samples of 100 ms.
    #[test]
    fn each_circuit_fails_by_its_direction_after_its_time() {
        for (circuit, low, high, samples) in [
            (Circuit::CoolantSensor, 0x0117, 0x0118, 50),
            (Circuit::IntakeAirSensor, 0x0112, 0x0113, 50),
            (Circuit::ManifoldPressureSensor, 0x0107, 0x0108, 50),
            (Circuit::AirMeter, 0x0102, 0x0103, 5),
            (Circuit::ThrottleSensorA, 0x0122, 0x0123, 3),
            (Circuit::ThrottleSensorB, 0x0222, 0x0223, 3),
            (Circuit::TankPressureSensor, 0x0452, 0x0453, 40),
            (Circuit::FuelLevelSensor, 0x0462, 0x0463, 300),
            (Circuit::EgrPositionSensor, 0x0405, 0x0406, 50),
            (Circuit::RailPressureSensor, 0x0192, 0x0193, 50),
        ] {
            let (low, high) = (Dtc::p(low), Dtc::p(high));
            for (reading, code) in [(Low(circuit), low), (High(circuit), high)] {
                assert_eq!(run(&[(samples - 1, reading)], &[low, high]), [], "{code}");
                assert_eq!(
                    run(&[(2 * samples, reading)], &[low, high]),
                    [(samples, TestResult::Failed(code))],
                    "{code} once, and nothing else"
                );
            }
            assert_eq!(
                run(&[(samples - 1, Low(circuit)), (samples, Good)], &[low, high]),
                [
                    (2 * samples - 1, TestResult::Passed(low)),
                    (2 * samples - 1, TestResult::Passed(high))
                ]
            );
        }
        assert_eq!(
            run(&[(5, Apart)], &[P2135]),
            [(2, TestResult::Failed(P2135))],
            "two tracks that do not agree"
        );
        assert_eq!(run(&[(9, Good)], &[P2135]), [(2, TestResult::Passed(P2135))]);
        for (bank, code) in [(0, P0340), (1, P0345)] {
            assert_eq!(run(&[(49, CamSilent(bank))], &[]), []);
            assert_eq!(
                run(&[(60, CamSilent(bank))], &[]),
                [(50, TestResult::Failed(code))]
            );
        }
        assert_eq!(run_at(300.0, &[(60, CamSilent(0))], &[]), [], "hardly turning");
    }

    #[test]
    fn thirty_seconds_in_sum_decide_for_the_tank_pressure() {
        // 1 s bad, 1.5 s good, again and again: the up/down counter never gets there, the sum does after 30 s bad.
        let tank = [(10, Low(Circuit::TankPressureSensor)), (15, Good)];
        let found = run(&vec![tank; 31].concat(), &[]);
        assert_eq!(found, [(29 * 25 + 10, TestResult::Failed(P0452))]);
        let coolant = [(10, Low(Circuit::CoolantSensor)), (15, Good)];
        assert_eq!(run(&vec![coolant; 100].concat(), &[]), []);
    }

    #[test]
    fn a_circuit_that_comes_back_passes_after_the_failure() {
        let found = run(&[(60, High(Circuit::CoolantSensor)), (60, Good)], &[P0117, P0118]);
        assert_eq!(
            found,
            [
                (50, TestResult::Failed(P0118)),
                (110, TestResult::Passed(P0117)),
                (110, TestResult::Passed(P0118))
            ]
        );
    }

    /// A cycle in which everything has passed still finds what comes later.
    #[test]
    fn a_fault_late_in_a_long_drive_is_found() {
        let found = run(&[(3000, Good), (10, Low(Circuit::AirMeter))], &[]);
        assert_eq!(found, [(3005, TestResult::Failed(P0102))]);
    }

    /// No air flows through an engine that hardly turns.
    #[test]
    fn the_air_meter_is_judged_above_400_rpm() {
        let pieces = [(50, Low(Circuit::AirMeter)), (50, Good)];
        assert_eq!(run_at(350.0, &pieces, &[P0102, P0103]), []);
        assert_eq!(run_at(410.0, &pieces, &[])[0].1, TestResult::Failed(P0102));
    }
    /// The alternator is given a minute after the start.
    #[test]
    fn the_supply_is_judged_for_ten_seconds_from_one_minute_on() {
        for (reading, code) in [(SupplyLow, P0562), (SupplyHigh, P0563)] {
            assert_eq!(run(&[(698, reading)], &[]), []);
            assert_eq!(run(&[(800, reading)], &[]), [(699, TestResult::Failed(code))]);
        }
        assert_eq!(run(&[(800, Good)], &[P0562]), [(699, TestResult::Passed(P0562))]);
    }
}
