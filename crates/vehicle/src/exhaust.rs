//! Heat of the exhaust: gas at the ports, pipe wall, catalyst brick, tips of the oxygen sensors.
//!
//! Calibrated. Stepped at 100 ms. Catalyst heating at a cold start comes from
//! late ignition, as in a car, not from a timer.

use crate::mixture::STOICHIOMETRIC;

/// Exhaust system.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Port gas: °C, and °C by logarithm of the flow.
    pub(crate) port_celsius: (f64, f64),
    /// Coolant temperature at which the engine counts as warm, °C.
    pub(crate) warm_celsius: f64,
    /// Late ignition heats the gas by this much at most, K ...
    pub(crate) late_kelvins: f64,
    /// ... from this many degrees after best timing ...
    pub(crate) late_from: f64,
    /// ... over so many degrees.
    pub(crate) late_over: f64,
    /// Gas without combustion, °C.
    pub(crate) fuel_cut_celsius: f64,
    /// Heat of the exhaust gas, J/(g K).
    pub(crate) gas_heat: f64,
    /// Pipe wall, J/K.
    pub(crate) wall_heat: f64,
    /// Loss of the wall: W/K standing, W/K for each km/h.
    pub(crate) wall_loss: (f64, f64),
    /// Brick, J/K.
    pub(crate) brick_heat: f64,
    /// Share of the gas heat that the brick takes up.
    pub(crate) brick_exchange: f64,
    /// Loss of the brick: W/K standing, W/K for each km/h.
    pub(crate) brick_loss: (f64, f64),
    /// Light-off, °C, and its width.
    pub(crate) light_off: (f64, f64),
    /// Share of the fuel's heat released in the brick.
    pub(crate) brick_share: f64,
    /// The same of fuel from firings that failed.
    pub(crate) unburnt_share: f64,
    /// Lag of a sensor tip, s.
    pub(crate) tip_lag_s: f64,
    /// Tip temperature that the heater reaches, °C.
    pub(crate) heater_celsius: f64,
    /// Resistance of a heater: Ω at 0 °C, Ω/K (a hot one takes 12.5 W at 14.1 V; calibrated).
    pub(crate) heater_ohms: (f64, f64),
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            port_celsius: (300.0, 130.0),
            warm_celsius: 70.0,
            late_kelvins: 220.0,
            late_from: 15.0,
            late_over: 10.0,
            fuel_cut_celsius: 160.0,
            gas_heat: 1.1,
            wall_heat: 500.0,
            wall_loss: (0.5, 0.012),
            brick_heat: 450.0,
            brick_exchange: 0.92,
            brick_loss: (0.35, 0.008),
            light_off: (265.0, 18.0),
            brick_share: 0.03,
            unburnt_share: 0.9,
            tip_lag_s: 8.0,
            heater_celsius: 720.0,
            heater_ohms: (5.7, 0.0142),
        }
    }
}

/// Temperatures of one bank's exhaust, °C.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    pub(crate) wall: f64,
    pub(crate) brick: f64,
    /// Gas before the brick.
    pub(crate) gas: f64,
    pub(crate) front_tip: f64,
    pub(crate) rear_tip: f64,
    /// What the heaters conduct, S.
    pub(crate) front_heater: f64,
    pub(crate) rear_heater: f64,
    /// How well the catalyst works, 0..1.
    pub(crate) conversion: f64,
}

impl State {
    /// A soaked car.
    pub(crate) const fn at_rest(params: &Params, ambient_celsius: f64) -> Self {
        let heater = conductance(params, ambient_celsius);
        Self {
            wall: ambient_celsius,
            brick: ambient_celsius,
            gas: ambient_celsius,
            front_tip: ambient_celsius,
            rear_tip: ambient_celsius,
            front_heater: heater,
            rear_heater: heater,
            conversion: 0.0,
        }
    }
}

/// What heats and cools it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    /// Gas into the cylinders of the bank, g/s for each share of the calibrated engine that the bank is.
    pub(crate) flow: f64,
    /// Fuel into them, likewise.
    pub(crate) fuel: f64,
    /// Fuel that came through unburnt, g/s.
    pub(crate) unburnt: f64,
    pub(crate) late_degrees: f64,
    pub(crate) coolant_celsius: f64,
    pub(crate) ambient_celsius: f64,
    pub(crate) speed_kmh: f64,
    pub(crate) heater_front: bool,
    pub(crate) heater_rear: bool,
}

/// The ceramic melts, °C, and takes up what would heat it further (from memory: about 1400).
const MELTS: f64 = 1400.0;

/// One slow step, any length: implicit in every temperature.
pub(crate) fn step(params: &Params, state: &State, inputs: &Inputs, dt: f64) -> State {
    let air = inputs.ambient_celsius;
    let wall_loss = params.wall_loss.0 + params.wall_loss.1 * inputs.speed_kmh;
    let brick_loss = params.brick_loss.0 + params.brick_loss.1 * inputs.speed_kmh;

    // Without flow the gas in the pipe is as warm as the wall.
    let (mut wall, mut gas, mut brick_gas, mut heat) = (state.wall, state.wall, 0.0, 0.0);
    if inputs.flow > 0.05 {
        let burning = inputs.fuel > 0.1 * inputs.flow / STOICHIOMETRIC;
        let port = if burning {
            let late = ((inputs.late_degrees - params.late_from) / params.late_over).clamp(0.0, 1.0);
            params.port_celsius.0 + params.port_celsius.1 * libm::log(1.0 + inputs.flow)
                - (params.warm_celsius - inputs.coolant_celsius).max(0.0)
                + params.late_kelvins * late
        } else {
            params.fuel_cut_celsius
        };
        let stream = params.gas_heat * (inputs.flow + inputs.fuel);
        // 1 + flow^0.8 W/K from gas to wall; the gas cools along it.
        let exchange = 1.0 + libm::exp(0.8 * libm::log(inputs.flow));
        let taken = stream * (1.0 - libm::exp(-exchange / stream));
        wall = (params.wall_heat * state.wall + dt * (taken * port + wall_loss * air))
            / (params.wall_heat + dt * (taken + wall_loss));
        gas = port - taken / stream * (port - wall);
        brick_gas = params.brick_exchange * stream;
        heat = if burning {
            (params.brick_share * inputs.fuel + params.unburnt_share * inputs.unburnt)
                * crate::engine::HEATING_VALUE
                * state.conversion
        } else {
            0.0
        };
    } else {
        wall = (params.wall_heat * wall + dt * wall_loss * air) / (params.wall_heat + dt * wall_loss);
    }
    let brick = ((params.brick_heat * state.brick + dt * (brick_gas * gas + brick_loss * air + heat))
        / (params.brick_heat + dt * (brick_gas + brick_loss)))
        .min(MELTS);
    let tip = |tip: f64, around: f64, heater: bool| {
        let target = if heater {
            around.max(params.heater_celsius)
        } else {
            (around - 50.0).max(air)
        };
        tip + (target - tip) * dt / (params.tip_lag_s + dt)
    };
    let front_tip = tip(state.front_tip, gas, inputs.heater_front);
    let rear_tip = tip(state.rear_tip, brick, inputs.heater_rear);
    State {
        wall,
        brick,
        gas,
        front_tip,
        rear_tip,
        front_heater: conductance(params, front_tip),
        rear_heater: conductance(params, rear_tip),
        // Nothing arrives that could be converted while the engine stands.
        conversion: if inputs.flow > 0.05 {
            conversion(params, brick)
        } else {
            state.conversion
        },
    }
}

/// What a heater conducts at a tip temperature, S: the hotter, the less.
const fn conductance(params: &Params, celsius: f64) -> f64 {
    1.0 / (params.heater_ohms.0 + params.heater_ohms.1 * celsius)
}

/// How well the catalyst works at a temperature of its brick, 0..1.
pub(crate) fn conversion(params: &Params, brick_celsius: f64) -> f64 {
    1.0 / (1.0 + libm::exp(-(brick_celsius - params.light_off.0) / params.light_off.1))
}
