//! Battery, alternator, starter and the loads on them.
//!
//! Battery figures from memory, the rest calibrated: resting voltage, resistance and a
//! slow surface charge; the starter is a plain DC motor, so that current and cranking speed follow from the battery.

use twotrip_units::Limit;

use crate::{Divisor, Lag, curve::Grid};

/// Battery, alternator, starter.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Capacity, A s.
    pub(crate) capacity: Divisor,
    /// Share of charge the car starts with.
    pub(crate) initial_charge: f64,
    /// Cables and ground strap that all current passes, Ω.
    pub(crate) cable_ohms: f64,
    /// Harness to the module, Ω, passed by the loads.
    pub(crate) harness_ohms: f64,
    /// Settling of the surface charge, s.
    pub(crate) surface_lag: Lag,
    /// Largest current of the alternator, A.
    pub(crate) alternator_amperes: f64,
    /// Lag of its regulator, s.
    pub(crate) regulator_lag: Lag,
    /// Resistance of the starter, Ω: 500 A from a full battery at standstill.
    pub(crate) starter_ohms: f64,
    /// Back voltage of the starter by crank speed, V/rpm: about 180 A at 195 rpm.
    pub(crate) starter_volts_per_rpm: f64,
    /// Torque at the crank by current, N m/A.
    pub(crate) starter_torque: f64,
    /// Control modules, ignition, instruments with the key on, W.
    pub(crate) key_on_watts: f64,
    /// Parked, W.
    pub(crate) parked_watts: f64,
    /// Fuel pump, W.
    pub(crate) pump_watts: f64,
    /// Radiator fan, W.
    pub(crate) fan_watts: f64,
    /// Blower and heated screen while the engine is cold, W.
    pub(crate) cold_watts: f64,
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            capacity: Divisor::new(60.0 * 3600.0),
            initial_charge: 0.9,
            cable_ohms: 0.0015,
            harness_ohms: 0.006,
            surface_lag: Lag::new(5.0),
            alternator_amperes: 100.0,
            regulator_lag: Lag::new(0.2),
            starter_ohms: 0.0176,
            starter_volts_per_rpm: 0.0413,
            starter_torque: 0.125,
            key_on_watts: 110.0,
            parked_watts: 0.3,
            pump_watts: 65.0,
            fan_watts: 250.0,
            cold_watts: 150.0,
        }
    }
}

/// Resting voltage at 25 °C over the share of charge.
static RESTING: Grid<21> = Grid::through([
    (0.0, 11.89),
    (0.25, 12.06),
    (0.5, 12.24),
    (0.75, 12.45),
    (1.0, 12.65),
]);

/// Resistance over °C, Ω: 6 mΩ at 25, 9 at 0, 14 at -18.
static RESISTANCE: Grid<81> = Grid::through([
    (-35.0, 0.020),
    (-18.0, 0.014),
    (0.0, 0.009),
    (25.0, 0.006),
    (45.0, 0.005),
]);

/// Resistance to charging over the share of charge, Ω: a full battery takes 3 A at 14.2 V, a flat one all there is
/// (calibrated).
static CHARGING: Grid<11> = Grid::through([
    (0.0, 0.04),
    (0.5, 0.042),
    (0.7, 0.067),
    (0.8, 0.117),
    (0.9, 0.238),
    (1.0, 0.50),
]);

/// What the alternator can give over rpm, as a share: full from 1500 rpm.
static OUTPUT: Grid<23> = Grid::through([(400.0, 0.0), (700.0, 0.55), (1500.0, 1.0)]);

/// The electrical system.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    /// Share of charge.
    pub(crate) charge: f64,
    /// Surface charge, V.
    pub(crate) surface_volts: f64,
    /// Battery terminals, V.
    pub(crate) battery_volts: f64,
    /// Supply of the modules, V.
    pub(crate) supply_volts: f64,
    /// Alternator current, A.
    pub(crate) alternator_amperes: f64,
    /// Current into the battery, A.
    pub(crate) battery_amperes: f64,
    /// Starter torque at the crank, N m.
    pub(crate) starter_torque: f64,
    /// Starter current, A.
    pub(crate) starter_amperes: f64,
    /// What charge and temperature make of the battery; they move slowly.
    pub(crate) battery: Battery,
}

/// The battery at one charge and temperature.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Battery {
    /// Resting voltage, V.
    resting_volts: f64,
    /// Resistance with the cables, Ω.
    ohms: f64,
    /// Resistance to charging, Ω.
    charging_ohms: f64,
}

impl Battery {
    /// Looks the battery up; once a second is enough.
    pub(crate) fn new(params: &Params, charge: f64, celsius: f64) -> Self {
        Self {
            resting_volts: RESTING.at(charge),
            ohms: RESISTANCE.at(celsius) + params.cable_ohms,
            charging_ohms: CHARGING.at(charge),
        }
    }
}

impl State {
    /// A battery at rest.
    pub(crate) fn at_rest(params: &Params, celsius: f64) -> Self {
        let volts = RESTING.at(params.initial_charge);
        Self {
            charge: params.initial_charge,
            surface_volts: 0.0,
            battery_volts: volts,
            supply_volts: volts,
            alternator_amperes: 0.0,
            battery_amperes: 0.0,
            starter_torque: 0.0,
            starter_amperes: 0.0,
            battery: Battery::new(params, params.initial_charge, celsius),
        }
    }

    /// Electrical output of the alternator, W.
    #[inline]
    pub(crate) fn alternator_watts(&self) -> f64 {
        self.alternator_amperes * self.battery_volts
    }
}

/// What hangs on the battery.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    pub(crate) key_on: bool,
    pub(crate) starter: bool,
    pub(crate) pump: bool,
    /// Current of the oxygen sensor heaters, A.
    pub(crate) heater_amperes: f64,
    pub(crate) fan: bool,
    /// Set point of the regulator, V; zero switches it off.
    pub(crate) set_point_volts: f64,
    pub(crate) engine_rpm: f64,
    pub(crate) coolant_celsius: f64,
}

/// One step.
#[inline]
pub(crate) fn step(params: &Params, state: &State, inputs: &Inputs, dt: f64) -> State {
    let mut watts = if inputs.key_on {
        params.key_on_watts
    } else {
        params.parked_watts
    };
    if inputs.pump {
        watts += params.pump_watts;
    }
    if inputs.fan {
        watts += params.fan_watts;
    }
    if inputs.engine_rpm > 400.0 && inputs.coolant_celsius < 60.0 {
        watts += params.cold_watts;
    }
    let load_amperes = watts / state.supply_volts.at_least(7.0) + inputs.heater_amperes;

    let Battery {
        resting_volts: resting,
        ohms,
        charging_ohms,
    } = state.battery;
    let starter_amperes = if inputs.starter {
        let behind = resting + state.surface_volts - load_amperes * ohms;
        ((behind - params.starter_volts_per_rpm * inputs.engine_rpm) / (params.starter_ohms + ohms))
            .at_least(0.0)
    } else {
        0.0
    };

    let wanted = if inputs.set_point_volts > 0.0 {
        let available = params.alternator_amperes * OUTPUT.at(inputs.engine_rpm);
        let charging = (inputs.set_point_volts - resting - state.surface_volts) / ohms;
        (load_amperes + charging).within(0.0, available)
    } else {
        0.0
    };
    let alternator_amperes =
        state.alternator_amperes + (wanted - state.alternator_amperes) * params.regulator_lag.share(dt);

    let into_battery = alternator_amperes - load_amperes - starter_amperes;
    let settled = if into_battery > 0.0 {
        into_battery * charging_ohms
    } else {
        0.0
    };
    let surface_volts =
        state.surface_volts + (settled.at_most(3.0) - state.surface_volts) * params.surface_lag.share(dt);
    let battery_volts = (resting + state.surface_volts + into_battery * ohms).within(0.0, 18.0);
    State {
        charge: (state.charge + into_battery * dt / params.capacity).within(0.0, 1.0),
        surface_volts,
        battery_volts,
        supply_volts: (battery_volts - load_amperes * params.harness_ohms).at_least(0.0),
        alternator_amperes,
        battery_amperes: into_battery,
        starter_torque: params.starter_torque * starter_amperes,
        starter_amperes,
        battery: state.battery,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RUNNING: Inputs = Inputs {
        key_on: true,
        starter: false,
        pump: true,
        heater_amperes: 1.8,
        fan: false,
        set_point_volts: 14.3,
        engine_rpm: 1500.0,
        coolant_celsius: 90.0,
    };

    fn charged(charge: f64, celsius: f64) -> State {
        let params = Params::compact_2_0();
        State {
            charge,
            battery: Battery::new(&params, charge, celsius),
            ..State::at_rest(&params, celsius)
        }
    }

    fn run(state: State, inputs: &Inputs, seconds: u32) -> State {
        let params = Params::compact_2_0();
        (0..seconds * 100).fold(state, |state, _| step(&params, &state, inputs, 0.01))
    }

    /// A lead-acid battery at rest (from memory): 12.65 V full, 12.45 at 75 %, 12.24 at 50, 12.06 at 25, 11.89 flat.
    #[test]
    fn resting_voltage_tells_the_charge() {
        let parked = Inputs {
            key_on: false,
            pump: false,
            heater_amperes: 0.0,
            engine_rpm: 0.0,
            set_point_volts: 0.0,
            ..RUNNING
        };
        for (charge, volts) in [
            (1.0, 12.65),
            (0.75, 12.45),
            (0.5, 12.24),
            (0.25, 12.06),
            (0.0, 11.89),
        ] {
            let state = run(charged(charge, 25.0), &parked, 60);
            assert!(
                (state.battery_volts - volts).abs() < 0.01,
                "{charge}: {} V",
                state.battery_volts
            );
        }
    }

    /// Section 14: 6 mΩ at 25 °C, 9 at 0, 14 at -18, and about 500 A through the starter at first, less where it is cold.
    #[test]
    fn cold_costs_cranking_voltage() {
        let params = Params::compact_2_0();
        let mut last = 20.0;
        for (celsius, milliohms) in [(25.0, 6.0), (0.0, 9.0), (-18.0, 14.0)] {
            assert!((RESISTANCE.at(celsius) * 1e3 - milliohms).abs() < 0.1);
            let crank = Inputs {
                starter: true,
                engine_rpm: 0.0,
                set_point_volts: 0.0,
                ..RUNNING
            };
            let state = step(&params, &charged(0.9, celsius), &crank, 0.01);
            assert!(
                (340.0..520.0).contains(&state.starter_amperes),
                "{} A",
                state.starter_amperes
            );
            assert!(state.battery_volts < last);
            last = state.battery_volts;
        }
    }

    /// Section 14: running shows 13.8-14.6 V; a full battery takes little, a flat one all the alternator has.
    #[test]
    fn the_alternator_holds_its_set_point_and_charges() {
        let full = run(charged(0.98, 25.0), &RUNNING, 60);
        assert!(
            (full.battery_volts - 14.3).abs() < 0.05,
            "{} V",
            full.battery_volts
        );
        assert!((13.8..14.6).contains(&full.supply_volts));
        assert!(full.alternator_amperes < 30.0, "{} A", full.alternator_amperes);
        let flat = run(charged(0.1, 25.0), &RUNNING, 60);
        assert!(flat.alternator_amperes > 45.0 && flat.charge > 0.1);
        let idle = run(
            charged(0.1, 25.0),
            &Inputs {
                engine_rpm: 500.0,
                ..RUNNING
            },
            60,
        );
        assert!(
            idle.alternator_amperes < flat.alternator_amperes,
            "less at low speed"
        );
    }

    /// A switched load may not throw the voltage about.
    #[test]
    fn a_fan_that_stops_does_not_lift_the_voltage_far() {
        let params = Params::compact_2_0();
        let mut state = run(charged(0.95, 25.0), &Inputs { fan: true, ..RUNNING }, 60);
        let mut highest = 0.0_f64;
        for _ in 0..300 {
            state = step(&params, &state, &RUNNING, 0.01);
            highest = highest.max(state.battery_volts);
        }
        assert!(highest < 14.7, "{highest} V");
    }

    /// What goes in comes out: charge follows the current in the battery.
    #[test]
    fn charge_is_the_sum_of_current() {
        let start = charged(0.5, 25.0);
        let off = Inputs {
            set_point_volts: 0.0,
            ..RUNNING
        };
        let after = run(start, &off, 600);
        let amperes = (110.0 + 65.0 + 25.0) / after.supply_volts;
        let expected = amperes * 600.0 / (60.0 * 3600.0);
        assert!((start.charge - after.charge - expected).abs() < 0.03 * expected);
    }
}
