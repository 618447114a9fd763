//! The monitors: each takes measured signals and its own commands, and returns results. None knows the car, the
//! wires or the fault memory; of the memory's content they see [`Inhibits`] alone.

mod catalogue;
pub mod evap_leak;
mod results;
pub mod tank_pressure_circuit;

use core::time::Duration;

use twotrip_obd::Dtc;
use twotrip_units::{Acceleration, MassFlow, Pressure, Ratio, Speed, Temperature, Voltage};

use crate::{control::Requests, memory::MonitorId};

pub use catalogue::{
    BLOCK_LEAK_TEST, CATALOGUE, EVAP_LEAK, P0441, P0442, P0446, P0451, P0452, P0453, P0455, P0457, P0496,
    TANK_PRESSURE, TANK_PRESSURE_CIRCUIT,
};
pub use evap_leak::EvapLeak;
pub use results::MONITORED;
pub use tank_pressure_circuit::TankPressureCircuit;

/// What the monitors see every 100 ms.
#[derive(Clone, Copy, Debug, Default)]
pub struct Signals {
    /// Time since engine start; `None` while the engine does not run.
    pub run_time: Option<Duration>,
    /// Voltage at the tank pressure pin.
    pub tank_pressure_pin: Voltage,
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
    circuit: TankPressureCircuit,
}

impl Monitors {
    /// The leak test.
    #[must_use]
    pub const fn evap_leak(&self) -> &EvapLeak {
        &self.leak
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
        self.circuit.engine_started();
        self.leak.engine_started(signals, soak, report);
    }

    /// The engine stopped.
    pub(crate) fn engine_stopped(&mut self) {
        self.leak.engine_stopped();
    }

    /// Service $04: counters, filters and marks to zero (our choice).
    pub(crate) fn clear(&mut self) {
        self.circuit.clear();
        self.leak.clear();
    }

    /// One step of 100 ms. Outside of a driving cycle nothing is judged.
    pub(crate) fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if signals.run_time.is_some() {
            self.circuit.step(signals.tank_pressure_pin, report);
            self.leak.step(signals, inhibits, report);
        }
    }
}
