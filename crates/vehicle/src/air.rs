//! Air: throttle plate, manifold filling, air into the cylinders.
//!
//! Orifice and residual-gas terms of the textbook mean-value model (Heywood; Guzzella and Onder; Hendricks and
//! Sorenson, SAE 900616; all from memory); figures calibrated, `vehicle-model.md` sections 3 and 5.
//! No exhaust-gas recirculation and no cam phaser in this car; crankcase ventilation is part of the plate leak.

use crate::curve::{self, EXP_FALLING, Grid, grid, pow};

/// Gas constant of air, J/(kg K).
pub(crate) const GAS_CONSTANT: f64 = 287.0;
const KELVIN: f64 = 273.15;

/// Throttle, manifold and cylinder filling.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Bore of the throttle body, m.
    pub(crate) bore_m: f64,
    /// Plate angle when closed, degrees.
    pub(crate) closed_degrees: f64,
    /// Where the springs hold the plate without motor current, degrees.
    pub(crate) spring_degrees: f64,
    /// Time constant of the position loop, s (calibrated).
    pub(crate) plate_lag_s: f64,
    /// Discharge coefficient.
    pub(crate) discharge: f64,
    /// Leak past the closed plate, m².
    pub(crate) plate_leak_m2: f64,
    /// Volume of the manifold, m³.
    pub(crate) manifold_m3: f64,
    /// Swept volume of the engine, m³.
    pub(crate) displacement_m3: f64,
    /// Clearance volume by swept volume: 1 / (compression ratio - 1).
    pub(crate) clearance: f64,
    /// Exhaust back pressure at the reference flow, kPa above ambient.
    pub(crate) back_pressure_kpa: f64,
    /// The reference flow, g/s.
    pub(crate) back_pressure_flow: f64,
    /// Share of the way from intake air to coolant that the charge warms at no flow.
    pub(crate) charge_heating: f64,
    /// Flow over which that share falls by e, g/s.
    pub(crate) charge_heating_flow: f64,
    /// Lag of the air-mass meter, s.
    pub(crate) meter_lag_s: f64,
    /// Lag of the manifold pressure sensor, s.
    pub(crate) pressure_sensor_lag_s: f64,
}

impl Params {
    /// The 2.0-litre four-cylinder of `vehicle-model.md`.
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            bore_m: 0.055,
            closed_degrees: 7.0,
            spring_degrees: 10.0,
            plate_lag_s: 0.05,
            discharge: 0.8,
            plate_leak_m2: 3e-6,
            manifold_m3: 3.0e-3,
            displacement_m3: 1.998e-3,
            clearance: 1.0 / 9.3,
            back_pressure_kpa: 12.0,
            back_pressure_flow: 75.0,
            charge_heating: 0.35,
            charge_heating_flow: 30.0,
            meter_lag_s: 0.030,
            pressure_sensor_lag_s: 0.010,
        }
    }
}

/// Volumetric efficiency without residual gas over rpm (calibrated), on a 100 rpm grid.
static BREATHING: Grid<66> = Grid::through([
    (0.0, 0.66),
    (500.0, 0.74),
    (700.0, 0.78),
    (1000.0, 0.81),
    (1500.0, 0.845),
    (2000.0, 0.87),
    (2500.0, 0.89),
    (3000.0, 0.91),
    (3500.0, 0.93),
    (4000.0, 0.955),
    (4500.0, 0.97),
    (5000.0, 0.975),
    (5500.0, 0.965),
    (6000.0, 0.945),
    (6500.0, 0.90),
]);

/// Critical pressure ratio of air.
const CRITICAL: f64 = 0.528;
/// From here to no flow the flow function is a straight line: its slope at 1 has no limit.
const STRAIGHT: f64 = 0.95;

/// The flow function of a nozzle over the pressure ratio, k = 1.4; beyond 1 the line goes on below zero.
static FLOW: Grid<601> = grid!(601, 0.5, 1.1, x => {
    if x <= CRITICAL {
        flow_function(CRITICAL)
    } else if x <= STRAIGHT {
        flow_function(x)
    } else {
        flow_function(STRAIGHT) * (1.0 - x) / (1.0 - STRAIGHT)
    }
});

const fn flow_function(x: f64) -> f64 {
    const K: f64 = 1.4;
    let square = 2.0 * K / (K - 1.0) * (pow(x, 2.0 / K) - pow(x, (K + 1.0) / K));
    pow(square, 0.5)
}

/// `x^(1/1.3)` of the residual-gas term, x = exhaust by manifold pressure.
static RESIDUAL: Grid<321> = grid!(321, 0.5, 16.5, x => pow(x, 1.0 / 1.3));

/// Mass flow through an orifice, kg/s, and its slope over the downstream pressure, kg/(s kPa).
#[inline]
pub(crate) fn orifice(
    effective_area_m2: f64,
    upstream_kpa: f64,
    upstream_celsius: f64,
    downstream_kpa: f64,
) -> (f64, f64) {
    let choked =
        effective_area_m2 * 1e3 * upstream_kpa / libm::sqrt(GAS_CONSTANT * (upstream_celsius + KELVIN));
    let (flow, slope) = FLOW.at_with_slope(downstream_kpa / upstream_kpa);
    (choked * flow, choked * slope / upstream_kpa)
}

/// Throttle, manifold and the sensors in the stream.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    /// Plate angle, degrees.
    pub(crate) plate_degrees: f64,
    /// Manifold pressure, kPa absolute.
    pub(crate) manifold_kpa: f64,
    /// Air past the throttle, g/s: what the meter sees.
    pub(crate) throttle_flow: f64,
    /// Gas into the cylinders, g/s.
    pub(crate) cylinder_flow: f64,
    /// Exhaust pressure at the ports, kPa absolute.
    pub(crate) exhaust_kpa: f64,
    /// What the meter shows, g/s, before noise.
    pub(crate) metered_flow: f64,
    /// What the pressure sensor shows, kPa, before noise.
    pub(crate) sensed_kpa: f64,
}

impl State {
    /// An engine at rest.
    pub(crate) const fn at_rest(params: &Params, ambient_kpa: f64) -> Self {
        Self {
            plate_degrees: params.spring_degrees,
            manifold_kpa: ambient_kpa,
            throttle_flow: 0.0,
            cylinder_flow: 0.0,
            exhaust_kpa: ambient_kpa,
            metered_flow: 0.0,
            sensed_kpa: ambient_kpa,
        }
    }
}

/// What the air path depends on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    /// Target of the throttle's position loop, degrees; `None` without motor current.
    pub(crate) throttle_target: Option<f64>,
    pub(crate) engine_rpm: f64,
    /// Gas through the purge valve, g/s.
    pub(crate) purge_flow: f64,
    pub(crate) ambient_kpa: f64,
    pub(crate) intake_celsius: f64,
    pub(crate) coolant_celsius: f64,
}

/// Effective area of the throttle at a plate angle, m².
#[inline]
fn throttle_area(params: &Params, plate_degrees: f64) -> f64 {
    let bore_area = core::f64::consts::FRAC_PI_4 * params.bore_m * params.bore_m;
    let closed = curve::cos(params.closed_degrees.to_radians());
    let open = (1.0 - curve::cos(plate_degrees.to_radians()) / closed).max(0.0);
    params.discharge * (bore_area * open + params.plate_leak_m2)
}

/// Flow into the cylinders by manifold pressure, g/s, and its slope, g/(s kPa).
#[inline]
fn cylinder_flow(
    params: &Params,
    rpm: f64,
    manifold_kpa: f64,
    exhaust_kpa: f64,
    charge_kelvin: f64,
) -> (f64, f64) {
    // g/s for each kPa at a volumetric efficiency of one
    let per_kpa =
        1e6 * params.displacement_m3 * rpm / (120.0 * GAS_CONSTANT * charge_kelvin) * BREATHING.at(rpm);
    let residual = params.clearance * RESIDUAL.at(exhaust_kpa / manifold_kpa);
    let share = 1.0 + params.clearance - residual;
    let slope = 1.0 + params.clearance - residual * (1.0 - 1.0 / 1.3);
    (per_kpa * manifold_kpa * share.max(0.0), per_kpa * slope)
}

/// One step. The manifold's time constant falls from 0.4 s at idle to 0.03 s at 6000 rpm and the throttle's slope
/// grows without limit towards full load, so the pressure is stepped linearly-implicitly: stable at any step.
pub(crate) fn step(params: &Params, state: &State, inputs: &Inputs, dt: f64) -> State {
    let target = inputs
        .throttle_target
        .unwrap_or(params.spring_degrees)
        .clamp(params.closed_degrees, 90.0);
    let plate_degrees = state.plate_degrees + (target - state.plate_degrees) * dt / (params.plate_lag_s + dt);

    let (into, into_slope) = orifice(
        throttle_area(params, plate_degrees),
        inputs.ambient_kpa,
        inputs.intake_celsius,
        state.manifold_kpa,
    );
    let heating = params.charge_heating * EXP_FALLING.at(state.cylinder_flow / params.charge_heating_flow);
    let charge_celsius = inputs.intake_celsius + heating * (inputs.coolant_celsius - inputs.intake_celsius);
    let charge_kelvin = charge_celsius + KELVIN;
    let load = state.cylinder_flow / params.back_pressure_flow;
    let exhaust_kpa = inputs.ambient_kpa + params.back_pressure_kpa * load * load;
    let (out, out_slope) = cylinder_flow(
        params,
        inputs.engine_rpm,
        state.manifold_kpa,
        exhaust_kpa,
        charge_kelvin,
    );

    // kPa for each g in the manifold
    let stiffness = 1e-6 * GAS_CONSTANT * (inputs.intake_celsius + KELVIN) / params.manifold_m3;
    let net = into * 1e3 + inputs.purge_flow - out;
    let damping = out_slope - into_slope * 1e3;
    let change = dt * stiffness * net / (1.0 + dt * stiffness * damping.max(0.0));
    let manifold_kpa = (state.manifold_kpa + change).clamp(5.0, 1.2 * inputs.ambient_kpa);
    // The flows of the end of the step, on the same straight lines, so that no mass is lost.
    let moved = manifold_kpa - state.manifold_kpa;
    let throttle_flow = into * 1e3 + into_slope * 1e3 * moved;
    let cylinder_flow = (out + out_slope * moved).max(0.0);

    State {
        plate_degrees,
        manifold_kpa,
        throttle_flow,
        cylinder_flow,
        exhaust_kpa,
        metered_flow: state.metered_flow
            + (throttle_flow.max(0.0) - state.metered_flow) * dt / (params.meter_lag_s + dt),
        sensed_kpa: state.sensed_kpa
            + (manifold_kpa - state.sensed_kpa) * dt / (params.pressure_sensor_lag_s + dt),
    }
}
