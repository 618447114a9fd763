//! Oxygen in the exhaust: the way to the front sensor, the catalyst's store, both sensors: narrow-band ones, or a
//! wide-range one in front.
//!
//! Delay, lags and sensor curves calibrated; the store is our own
//! simplification of published simple three-way catalyst models for control and diagnosis (abstract seen). The slip past the
//! store is what makes a tired catalyst show before it is dead.

use twotrip_harness::transfer;
use twotrip_units::{Limit, Ratio};

use crate::{
    Divisor, Lag,
    curve::{EXP_FALLING, TANH},
    knobs::Knobs,
};

/// Sensors and catalyst.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Delay to the front sensor: s, and s by (g/s).
    pub(crate) delay: (f64, f64),
    /// The pipe of bank 2 is not as long as that of bank 1: s more (our choice).
    pub(crate) second_delay_s: f64,
    /// Mixing on the way, s.
    pub(crate) mixing_lag: Lag,
    /// Front sensor: a wide-range one, and what it gives cold, V.
    pub(crate) wide_range: bool,
    pub(crate) front_still_v: f64,
    /// Narrow-band front sensor: half-width of its step in lambda.
    pub(crate) front_width: Divisor,
    /// Lags of the front sensor towards rich and towards lean, s.
    pub(crate) front_lag: (Lag, Lag),
    /// Oxygen the catalyst holds when hot, g: used but healthy.
    pub(crate) capacity_g: f64,
    /// Capacity over which the slip falls by e, g.
    pub(crate) slip_g: Divisor,
    /// Lag behind the brick, s.
    pub(crate) behind_lag: Lag,
    /// Rear sensor: half-width of its step in lambda.
    pub(crate) rear_width: Divisor,
    /// The rear sensor's shift towards rich, in half-widths.
    pub(crate) rear_shift: f64,
    /// Lag of the rear sensor, s.
    pub(crate) rear_lag: Lag,
    /// Sensors: bias and half swing, V.
    pub(crate) volts: (f64, f64),
    /// Tip temperature at which a sensor begins to speak, °C, and the range until it speaks alone.
    pub(crate) awake: (f64, Divisor),
    /// Air drawn in between the pulses by a hole ahead of a sensor, g/s for each mm² of its bore squared, and the flow at
    /// which the exhaust's own pressure has ended that, g/s (calibrated on a false lean of some 15 % at idle from 6 mm,
    /// so that the largest leaks just reach the limit of the fuel trims, of 2 to 5 % at 2500 rpm and none at 100 km/h:
    /// common practice, no source).
    pub(crate) hole: (f64, Divisor),
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            delay: (0.14, 1.02),
            second_delay_s: 0.05,
            mixing_lag: Lag::new(0.10),
            wide_range: false,
            front_still_v: 0.45,
            front_width: Divisor::new(0.006),
            front_lag: (Lag::new(0.045), Lag::new(0.060)),
            capacity_g: 0.6,
            slip_g: Divisor::new(0.10),
            behind_lag: Lag::new(0.10),
            rear_width: Divisor::new(0.004),
            rear_shift: 0.35,
            rear_lag: Lag::new(0.12),
            volts: (0.45, 0.42),
            awake: (300.0, Divisor::new(80.0)),
            hole: (0.0092, Divisor::new(15.0)),
        }
    }
}

/// The sensors of one bank, and a hole ahead of them, as defects leave them. Worked out anew when one comes or goes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sensors {
    front_lag: (Lag, Lag),
    front_delay_s: f64,
    front_bias_v: f64,
    /// What the front sensor takes 1 / lambda for, against what it is.
    front_factor: f64,
    rear_lag: Lag,
    rear_stuck_v: Option<f64>,
    /// Air through a hole ahead of the front sensor, and one ahead of the rear one, at no flow, g/s.
    hole: f64,
    joint: f64,
}

impl Sensors {
    /// Those of a bank.
    pub(crate) fn new(params: &Params, knobs: &Knobs, bank: usize) -> Self {
        let slower = |lag: Lag, factor: f64| Lag::new(lag.seconds * factor.at_least(0.1));
        let hole = |bore: f64| params.hole.0 * bore * bore;
        Self {
            front_lag: (
                slower(params.front_lag.0, knobs.front_lag[bank]),
                slower(params.front_lag.1, knobs.front_lag[bank]),
            ),
            front_delay_s: knobs.front_delay_s[bank],
            front_bias_v: knobs.front_bias_v[bank],
            front_factor: 1.0 + knobs.front_shift[bank],
            rear_lag: slower(params.rear_lag, knobs.rear_lag[bank]),
            rear_stuck_v: knobs.rear_stuck_v[bank],
            hole: hole(knobs.exhaust_hole_mm[bank]),
            joint: hole(knobs.joint_hole_mm[bank]),
        }
    }
}

/// A value each 10 ms, the longest way 1.27 s.
#[derive(Clone, Debug)]
struct Ring {
    values: [f64; 128],
    at: usize,
}

impl Ring {
    const fn full_of(value: f64) -> Self {
        Self {
            values: [value; 128],
            at: 0,
        }
    }

    /// Takes the newest value, gives the one of `steps` ago (fractions between two).
    #[inline]
    fn pass(&mut self, value: f64, steps: f64) -> f64 {
        self.at = (self.at + 1) % 128;
        self.values[self.at] = value;
        let steps = steps.within(0.0, 126.0);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped to the ring the line before; the whole part is what is wanted"
        )]
        let whole = steps as u8;
        let share = steps - f64::from(whole);
        let newer = self.values[(self.at + 128 - usize::from(whole)) % 128];
        let older = self.values[(self.at + 127 - usize::from(whole)) % 128];
        newer + (older - newer) * share
    }
}

/// What is on its way: from the valves to the front sensor, and inside of one that answers late.
#[derive(Clone, Debug)]
pub(crate) struct Delay {
    to_front: Ring,
    in_sensor: Ring,
    /// Whether the second way was in use in the last step.
    late: bool,
}

impl Delay {
    pub(crate) const fn new() -> Self {
        Self {
            to_front: Ring::full_of(0.0),
            in_sensor: Ring::full_of(0.0),
            late: false,
        }
    }

    /// What the element of a sensor with added dead time sees.
    #[cold]
    fn pass_late(&mut self, value: f64, steps: f64) -> f64 {
        if !self.late {
            self.in_sensor = Ring::full_of(value);
            self.late = true;
        }
        self.in_sensor.pass(value, steps)
    }
}

/// Oxygen along the exhaust of one bank.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    /// 1 / lambda at the front sensor.
    pub(crate) front_equivalence: f64,
    /// How full the store is, 0..1.
    pub(crate) level: f64,
    /// 1 / lambda behind the brick.
    pub(crate) rear_equivalence: f64,
    /// What the sensors' elements give, V, whatever their temperature.
    pub(crate) front_element: f64,
    pub(crate) rear_element: f64,
    /// Front sensor at its plug, V.
    pub(crate) front_volts: f64,
    /// Rear sensor at its plug, V.
    pub(crate) rear_volts: f64,
}

impl State {
    /// Air everywhere, sensors asleep, the store half full.
    pub(crate) const fn at_rest(params: &Params) -> Self {
        Self {
            front_equivalence: 0.0,
            level: 0.5,
            rear_equivalence: 0.0,
            front_element: params.front_still_v,
            rear_element: params.volts.0,
            front_volts: params.front_still_v,
            rear_volts: params.volts.0,
        }
    }
}

/// What the brick can store at its temperature.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Brick {
    capacity_g: f64,
    per_capacity: f64,
    /// Share of the stream that passes by the store.
    slip: f64,
}

impl Brick {
    /// By what it holds when hot (`None` as long as it is good), and how well it converts, 0..1.
    pub(crate) fn new(params: &Params, aged_g: Option<f64>, conversion: f64) -> Self {
        let capacity_g = (aged_g.unwrap_or(params.capacity_g) * conversion).at_least(1e-4);
        Self {
            capacity_g,
            per_capacity: 1.0 / capacity_g,
            slip: EXP_FALLING.at(capacity_g / params.slip_g),
        }
    }
}

/// What the oxygen depends on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    /// Whether it is bank 2.
    pub(crate) second: bool,
    /// 1 / lambda in the cylinders of the bank.
    pub(crate) equivalence: f64,
    /// Gas into them, g/s.
    pub(crate) flow: f64,
    pub(crate) brick: Brick,
    pub(crate) sensors: Sensors,
    pub(crate) front_tip_celsius: f64,
    pub(crate) rear_tip_celsius: f64,
}

/// Oxygen in air, by mass.
const OXYGEN_SHARE: f64 = 0.232;

/// Excess air as the sensors count it: 1 - lambda, held where the curve is flat.
#[inline]
fn richness(equivalence: f64) -> f64 {
    1.0 - 1.0 / equivalence.at_least(0.3)
}

/// What air through a hole leaves of 1 / lambda.
#[cold]
fn thinned(params: &Params, hole: f64, flow: f64) -> f64 {
    let strong = flow / params.hole.1;
    let drawn_in = hole * (1.0 - strong * strong).at_least(0.0);
    flow / (flow + drawn_in)
}

/// One step; `delay` is moved on in place because it is long.
#[inline]
pub(crate) fn step(params: &Params, delay: &mut Delay, state: &State, inputs: &Inputs, dt: f64) -> State {
    let mut next = *state;
    let sensors = &inputs.sensors;
    if inputs.flow > 0.05 {
        let per_flow = 1.0 / inputs.flow;
        let more_s = if inputs.second { params.second_delay_s } else { 0.0 };
        let delay_s = params.delay.0 + params.delay.1 * per_flow + more_s;
        let mut arriving = delay.to_front.pass(inputs.equivalence, delay_s * (1.0 / dt));
        if sensors.hole > 0.0 {
            arriving *= thinned(params, sensors.hole, inputs.flow);
        }
        next.front_equivalence += (arriving - state.front_equivalence) * params.mixing_lag.share(dt);

        // Oxygen beyond what the fuel needs, g/s; negative when it lacks.
        let stream = OXYGEN_SHARE * inputs.flow;
        let excess = stream * (1.0 - next.front_equivalence);
        let brick = &inputs.brick;
        let room = if excess > 0.0 {
            state.level
        } else {
            1.0 - state.level
        };
        let square = room * room;
        let stored = excess * (1.0 - brick.slip) * (1.0 - square * square * square);
        let level = state.level + stored * dt * brick.per_capacity;
        next.level = level.within(0.0, 1.0);
        // Without room for all of it the rest goes through.
        let stored = (next.level - state.level) * brick.capacity_g * (1.0 / dt);
        let mut behind = 1.0 - (excess - stored) * per_flow * (1.0 / OXYGEN_SHARE);
        if sensors.joint > 0.0 {
            behind *= thinned(params, sensors.joint, inputs.flow);
        }
        next.rear_equivalence += (behind - state.rear_equivalence) * params.behind_lag.share(dt);
    }

    let (bias, swing) = params.volts;
    let seen = if sensors.front_delay_s > 0.0 {
        delay.pass_late(next.front_equivalence, sensors.front_delay_s * (1.0 / dt))
    } else {
        delay.late = false;
        next.front_equivalence
    } * sensors.front_factor;
    let front = if params.wide_range {
        let lambda = Ratio::from_fraction(1.0 / seen.at_least(0.1));
        transfer::WIDE_RANGE.from_lambda(lambda).volts()
    } else {
        bias + swing * TANH.at(richness(seen) / params.front_width)
    };
    // A wide-range sensor rises towards lean.
    let lag = if (front > state.front_element) == params.wide_range {
        sensors.front_lag.1
    } else {
        sensors.front_lag.0
    };
    next.front_element += (front - state.front_element) * lag.share(dt);
    let rear = bias
        + swing
            * TANH.at(richness(next.rear_equivalence) / params.rear_width
                + params.rear_shift
                + (0.5 - next.level));
    next.rear_element += (rear - state.rear_element) * sensors.rear_lag.share(dt);
    with_plugs(
        params,
        &next,
        sensors,
        inputs.front_tip_celsius,
        inputs.rear_tip_celsius,
    )
}

/// A cold element floats to the bias through its own resistance; a sensor that is off adds its own, and gives no less
/// than nothing.
fn with_plugs(
    params: &Params,
    state: &State,
    sensors: &Sensors,
    front_tip_celsius: f64,
    rear_tip_celsius: f64,
) -> State {
    let bias = params.volts.0;
    let awake = |tip: f64| ((tip - params.awake.0) / params.awake.1).within(0.0, 1.0);
    let still = params.front_still_v;
    let front_volts = still + (state.front_element - still) * awake(front_tip_celsius) + sensors.front_bias_v;
    let rear_volts = match sensors.rear_stuck_v {
        None => bias + (state.rear_element - bias) * awake(rear_tip_celsius),
        Some(volts) => volts,
    };
    State {
        front_volts: front_volts.at_least(0.0),
        rear_volts,
        ..*state
    }
}

/// The engine stands: no stream, so only the tips change what the plugs show.
pub(crate) fn asleep(
    params: &Params,
    state: &State,
    sensors: &Sensors,
    front_tip_celsius: f64,
    rear_tip_celsius: f64,
) -> State {
    with_plugs(params, state, sensors, front_tip_celsius, rear_tip_celsius)
}

#[cfg(test)]
mod tests;
