//! The monitors: each takes measured signals and its own commands, and returns results. None knows the car, the
//! wires or the fault memory; of the memory's content they see [`Inhibits`] alone.

mod catalogue;
pub mod circuit;
pub mod evap_leak;
mod results;

use core::time::Duration;

use twotrip_obd::Dtc;
use twotrip_units::{Acceleration, AngularSpeed, MassFlow, Pressure, Ratio, Speed, Temperature};

use crate::{circuits::Readings, control::Requests, memory::MonitorId};

pub use catalogue::*;
pub use circuit::CircuitMonitors;
pub use evap_leak::EvapLeak;
pub use results::MONITORED;

/// What the monitors see every 100 ms.
#[derive(Clone, Copy, Debug, Default)]
pub struct Signals {
    /// Time since engine start; `None` while the engine does not run.
    pub run_time: Option<Duration>,
    /// How the sensor circuits stand.
    pub circuits: Readings,
    /// Engine speed.
    pub engine_speed: AngularSpeed,
    /// Tank pressure, gauge.
    pub tank_pressure: Pressure,
    /// Fuel level as the sender stands.
    pub level_now: Ratio,
    /// Fuel level as the gauge shows it.
    pub level: Ratio,
    /// Manifold pressure, absolute.
    pub manifold_pressure: Pressure,
    /// Barometric pressure, absolute.
    pub barometer: Pressure,
    /// Coolant.
    pub coolant: Temperature,
    /// Intake air.
    pub intake_air: Temperature,
    /// Road speed.
    pub vehicle_speed: Speed,
    /// Change of road speed.
    pub acceleration: Acceleration,
    /// Mixture in closed loop.
    pub closed_loop: bool,
    /// What closed loop and vapour estimate together change of the fuel.
    pub fuel_correction: Ratio,
    /// Air that enters the manifold behind the meter.
    pub air_behind_meter: MassFlow,
}

/// What the monitors may know of the fault memory.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Inhibits {
    /// A code that blocks the leak test is pending or commands the MIL.
    pub leak_test_blocked: bool,
    /// The name under which a gross leak is already held.
    pub gross_leak_held: Option<Dtc>,
}

/// What a monitor has found out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TestResult {
    /// No fault behind this code.
    Passed(Dtc),
    /// A fault behind this code.
    Failed(Dtc),
    /// The monitor ran to its end.
    Completed(MonitorId),
    /// Everything needed to find a fault was met: the in-use numerator counts.
    CouldDetect(MonitorId),
    /// Whether the monitor can still run in this driving cycle.
    Possible(MonitorId, bool),
}

/// All monitors of this ECU.
#[derive(Clone, Debug, Default)]
pub struct Monitors {
    leak: EvapLeak,
    circuits: CircuitMonitors,
}

impl Monitors {
    /// The leak test.
    #[must_use]
    pub const fn evap_leak(&self) -> &EvapLeak {
        &self.leak
    }

    /// Puts back results that were kept without power.
    pub(crate) const fn take_over(&mut self, results: evap_leak::Results) {
        self.leak.set_results(results);
    }

    /// What the monitors ask of engine management now.
    #[must_use]
    pub const fn requests(&self) -> Requests {
        self.leak.requests()
    }

    /// The key came on.
    pub(crate) fn key_on(&mut self, signals: &Signals) {
        self.leak.key_on(signals);
    }

    /// The key went off.
    pub(crate) fn key_off(&mut self, signals: &Signals) {
        self.leak.key_off(signals);
    }

    /// The engine started after `soak` of standing: a driving cycle begins.
    pub(crate) fn engine_started(
        &mut self,
        signals: &Signals,
        soak: Duration,
        report: &mut dyn FnMut(TestResult),
    ) {
        self.circuits.engine_started();
        self.leak.engine_started(signals, soak, report);
    }

    /// The engine stopped.
    pub(crate) fn engine_stopped(&mut self) {
        self.leak.engine_stopped();
    }

    /// Service $04: counters, filters and marks to zero (our choice).
    pub(crate) fn clear(&mut self) {
        self.circuits.clear();
        self.leak.clear();
    }

    /// One step of 100 ms. Outside of a driving cycle nothing is judged.
    pub(crate) fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if let Some(run_time) = signals.run_time {
            self.circuits
                .step(signals.circuits, signals.engine_speed, run_time, report);
            self.leak.step(signals, inhibits, report);
        }
    }
}
