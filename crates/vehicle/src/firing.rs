//! Firings one by one: which cylinder is due, whether and how strongly it fires, and how unevenly the crank turns for
//! it.
//!
//! The engine's torque is worked out as a mean ([`crate::engine`]); a firing is what it departs from that mean by, a
//! torque that lasts from one firing to the next. Crank and flywheel take it up at once and pass it on to gearbox and
//! car through the springs of converter and clutch, so that a missing firing shows at the crank sensor in every gear.
//! Scatter of work by cycle: 5 to 8 % at idle, 2 to 3 % at part load, 1.5 % at full load (Heywood, from memory);
//! error of a timed segment after the teeth are learned 0.03 %; springs: calibrated.

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use twotrip_harness::{BANKS, CrankSegments};
use twotrip_units::{Interval, Limit};

use crate::{
    Divisor,
    curve::Grid,
    engine::burning,
    knobs::{CYLINDERS, Knobs},
};

/// The cylinders of an engine.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// How many there are.
    pub(crate) cylinders: u8,
    /// Which fires when, counted from 0.
    pub(crate) order: [u8; CYLINDERS],
    /// The bank of each.
    pub(crate) bank: [u8; CYLINDERS],
    /// Banks in use.
    pub(crate) banks: f64,
    /// From one firing to the next, rad.
    pub(crate) segment: f64,
    /// What turns with the crank before the springs, kg m².
    pub(crate) inertia: Divisor,
    /// How quickly the springs pass on what they took up, 1/s: converter open and locked.
    pub(crate) pass_on: (f64, f64),
    /// Standard deviation of a timed segment, as a share of it.
    pub(crate) timing_error: f64,
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            cylinders: 4,
            order: [0, 2, 3, 1, 0, 0],
            bank: [0; CYLINDERS],
            banks: 1.0,
            segment: core::f64::consts::PI,
            inertia: Divisor::new(crate::engine::Params::compact_2_0().inertia),
            pass_on: (1.0 / 0.03, 1.0 / 0.15),
            timing_error: 0.0003,
        }
    }
}

/// Scatter of the work from firing to firing over absolute load in per cent, as a share of the mean.
static SCATTER: Grid<11> = Grid::through([
    (0.0, 0.035),
    (20.0, 0.03),
    (50.0, 0.02),
    (90.0, 0.015),
    (100.0, 0.015),
]);
/// By how much idling slowly scatters more: up to twice at 700 rpm and below.
const SLOW_RPM: (f64, f64) = (1500.0, 800.0);

/// Scatter of the work at a point, as a share of its mean.
#[inline]
pub(crate) fn scatter(rpm: f64, load: f64) -> f64 {
    let slow = ((SLOW_RPM.0 - rpm) * (1.0 / SLOW_RPM.1)).within(0.0, 1.0);
    SCATTER.at(load) * (1.0 + slow)
}

/// Fuel by air of a cylinder (1 / lambda) below which firings begin to fail, at no load and at full load: lambda 1.28
/// and 1.47, and the width over which all of them do (1.3 to 1.4 from memory; the rest calibrated). What burnt gas among
/// the charge puts out, [`crate::dilution`] knows.
const LEAN_LIMIT: (f64, f64) = (0.78, 0.68);
const LEAN_WIDTH: f64 = 0.21;
/// Below this there is no fuel to speak of: the cylinder is cut off, and misses nothing.
const NO_FUEL: f64 = 0.25;

/// The mixture below which a cylinder may fail to fire, as 1 / lambda.
#[inline]
pub(crate) fn lean_limit(load: f64) -> f64 {
    LEAN_LIMIT.0 + (LEAN_LIMIT.1 - LEAN_LIMIT.0) * (load * 0.01).within(0.0, 1.0)
}

/// How probably a cylinder with this mixture (1 / lambda) fails to fire below a limit.
pub(crate) fn lean_chance(equivalence: f64, limit: f64) -> f64 {
    if equivalence < NO_FUEL {
        return 0.0;
    }
    let beyond = ((limit - equivalence) * (1.0 / LEAN_WIDTH)).within(0.0, 1.0);
    beyond * beyond
}

/// By how much a charge that does not burn makes the exhaust lean, as a share of 1 / lambda: 0.7 of lambda for all of
/// them, 1.17 for a quarter (calibrated).
const UNBURNT_LEAN: f64 = 0.6;

/// 1 / lambda as the oxygen sensors take it, where a share of the charge did not burn: they see its oxygen, and hardly
/// its fuel.
#[inline]
pub(crate) fn sensed(equivalence: f64, unburnt: f64) -> f64 {
    equivalence * (1.0 - UNBURNT_LEAN * unburnt).at_least(0.0)
}

/// Work of a cylinder that holds this share of the compression of a good one, and how probably it does not fire:
/// at half of it every third charge does not (calibrated).
fn compressed(share: f64) -> (f64, f64) {
    let lost = (1.0 - share).within(0.0, 1.0);
    let beyond = ((lost - 0.25) * (1.0 / 0.45)).within(0.0, 1.0);
    (1.0 - 0.6 * lost, beyond * beyond)
}

/// What all cylinders share, and whether they are alike: worked out every 100 ms.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Charge {
    /// Scatter of the work, as a share of its mean.
    pub(crate) scatter: f64,
    /// 1 / lambda below which firings fail.
    lean_limit: f64,
    /// No cylinder differs from the others.
    even: bool,
}

impl Charge {
    /// `load` in per cent.
    pub(crate) fn new(knobs: &Knobs, rpm: f64, load: f64) -> Self {
        let good = |figures: &[f64], good: f64| figures.iter().all(|figure| (figure - good).abs() < 1e-9);
        Self {
            scatter: scatter(rpm, load),
            lean_limit: lean_limit(load),
            even: !knobs.coil_open.contains(&true)
                && good(&knobs.injector, 1.0)
                && good(&knobs.misfire, 0.0)
                && good(&knobs.compression, 1.0),
        }
    }

    /// The cylinder that is due, with 1 / lambda of its bank and what burnt gas in the charge puts out.
    #[inline]
    pub(crate) fn due(
        &self,
        params: &Params,
        knobs: &Knobs,
        cylinder: usize,
        equivalence: f64,
        put_out: f64,
    ) -> Due {
        let burns = equivalence >= self.lean_limit || equivalence < NO_FUEL;
        if self.even && burns && put_out <= 0.0 {
            Due::EVEN
        } else {
            self.uneven(params, knobs, cylinder, equivalence, put_out)
        }
    }

    #[cold]
    fn uneven(&self, params: &Params, knobs: &Knobs, cylinder: usize, equivalence: f64, put_out: f64) -> Due {
        let mean_flow = injector_mean(params, knobs, usize::from(params.bank[cylinder]));
        let own = equivalence * knobs.injector[cylinder] / mean_flow;
        let mean = burning(equivalence);
        let (work, lost) = compressed(knobs.compression[cylinder]);
        let sparks = f64::from(u8::from(!knobs.coil_open[cylinder]));
        let fires = sparks
            * (1.0 - knobs.misfire[cylinder])
            * (1.0 - lost)
            * (1.0 - put_out)
            * (1.0 - lean_chance(own, self.lean_limit));
        Due {
            work: if mean > 0.0 {
                work * burning(own) / mean
            } else {
                1.0
            },
            misfire: 1.0 - fires,
        }
    }
}

/// Mean flow of a bank's injectors against nominal.
pub(crate) fn injector_mean(params: &Params, knobs: &Knobs, bank: usize) -> f64 {
    let cylinders = usize::from(params.cylinders);
    let of_bank = (0..cylinders).filter(|&cylinder| usize::from(params.bank[cylinder]) == bank);
    let (sum, count) = of_bank.fold((0.0, 0.0), |(sum, count), cylinder| {
        (sum + knobs.injector[cylinder], count + 1.0)
    });
    if count > 0.0 {
        (sum / count).at_least(1e-3)
    } else {
        1.0
    }
}

/// What a cylinder is up to when it is due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Due {
    /// Work when it fires, against the mean that the engine's torque stands for.
    pub(crate) work: f64,
    /// Probability that it does not.
    pub(crate) misfire: f64,
}

impl Due {
    /// A cylinder like all others.
    pub(crate) const EVEN: Self = Self {
        work: 1.0,
        misfire: 0.0,
    };
}

/// Crank between two firings.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    /// Place in the firing order of the cylinder that works now.
    place: u8,
    /// It did not fire.
    missed: bool,
    /// Its work against the mean, less 1.
    departure: f64,
    /// Until the next firing, rad.
    left: f64,
    /// Since its firing, s.
    elapsed: f64,
    /// Speed of the crank before the springs against behind them, rad/s.
    pub(crate) ripple: f64,
    /// Speed behind the springs a step ago, rad/s.
    behind: f64,
    /// Firings that failed since the car was made.
    pub(crate) missed_firings: u64,
}

impl State {
    /// An engine at rest.
    pub(crate) const fn at_rest() -> Self {
        Self {
            place: 0,
            missed: false,
            departure: 0.0,
            left: 1.0,
            elapsed: 0.0,
            ripple: 0.0,
            behind: 0.0,
            missed_firings: 0,
        }
    }
}

/// Dice of the firings.
#[derive(Clone, Debug)]
pub(crate) struct Dice(ChaCha8Rng);

/// The purpose that sets this stream of dice apart from all others of a run.
const STREAM: u64 = 0x0066_6972_696e_6773;

/// What one throw gives.
struct Throw {
    /// Mean 0, deviation 1.
    work: f64,
    timing: f64,
    /// Even between 0 and 1.
    chance: f64,
}

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        dice.set_stream(STREAM);
        Self(dice)
    }

    /// One draw for a firing, cut in pieces: four bytes sum to 510 with a deviation of 147.8, two to 255 with 104.5.
    #[inline]
    fn throw(&mut self) -> Throw {
        let [a, b, c, d, e, f, g, h] = self.0.next_u64().to_le_bytes();
        let four = i32::from(a) + i32::from(b) + i32::from(c) + i32::from(d) - 510;
        let two = i32::from(e) + i32::from(f) - 255;
        Throw {
            work: f64::from(four) * (1.0 / 147.8),
            timing: f64::from(two) * (1.0 / 104.5),
            chance: f64::from(u16::from_le_bytes([g, h])) * (1.0 / 65_536.0),
        }
    }
}

/// What the firings of a step depend on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    /// Speed behind the springs, rad/s.
    pub(crate) omega: f64,
    /// Mean torque of the combustion, N m.
    pub(crate) indicated: f64,
    /// Scatter of the work, as a share of its mean.
    pub(crate) scatter: f64,
    /// Whether the lock-up clutch holds.
    pub(crate) locked: bool,
}

/// What came of them.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Output {
    /// Torque that the springs pass on, beyond the mean, N m.
    pub(crate) torque: f64,
    /// Share of each bank's charge in this step that did not burn.
    pub(crate) unburnt: [f64; BANKS],
    /// The segments that ended.
    pub(crate) segments: CrankSegments,
}

/// Below this speed, rad/s, the engine counts as standing.
const STANDING: f64 = 5.0;

/// The firings that fall in a step; `due` is asked of each cylinder (counted from 0) when its turn comes.
#[inline]
pub(crate) fn step(
    params: &Params,
    state: &mut State,
    dice: &mut Dice,
    inputs: &Inputs,
    dt: f64,
    mut due: impl FnMut(usize) -> Due,
) -> Output {
    let mut output = Output::default();
    let behind = core::mem::replace(&mut state.behind, inputs.omega);
    if inputs.omega < STANDING {
        *state = State {
            place: state.place,
            missed_firings: state.missed_firings,
            ..State::at_rest()
        };
        return output;
    }
    let pass_on = if inputs.locked {
        params.pass_on.1
    } else {
        params.pass_on.0
    };
    // The crank goes with what is behind the springs, which pull on it, and departs from it by the firings.
    let carried = (inputs.omega - behind) / dt - state.ripple * pass_on;
    let mut omega = inputs.omega + state.ripple;
    let mut left = dt;
    let mut impulse = 0.0;
    for _ in 0..CrankSegments::MOST {
        let torque = inputs.indicated * state.departure;
        let acceleration = carried + torque / params.inertia;
        let turned = (omega + 0.5 * acceleration * left) * left;
        let ends = turned >= state.left;
        let span = if ends {
            let first = state.left / omega;
            (state.left / (omega + 0.5 * acceleration * first)).within(0.0, left)
        } else {
            state.left -= turned;
            left
        };
        impulse += torque * span;
        omega = (omega + acceleration * span).at_least(STANDING);
        state.elapsed += span;
        left -= span;
        if state.missed {
            output.unburnt[usize::from(params.bank[usize::from(params.order[usize::from(state.place)])])] +=
                span;
        }
        if !ends {
            break;
        }
        let throw = dice.throw();
        let time = state.elapsed * (1.0 + params.timing_error * throw.timing);
        output.segments.push(state.place, Interval::from_seconds(time));
        state.place = if state.place + 1 < params.cylinders {
            state.place + 1
        } else {
            0
        };
        let cylinder = due(usize::from(params.order[usize::from(state.place)]));
        state.missed = throw.chance < cylinder.misfire;
        state.departure = if state.missed {
            state.missed_firings += 1;
            -1.0
        } else {
            cylinder.work * (1.0 + inputs.scatter * throw.work) - 1.0
        };
        state.left = params.segment;
        state.elapsed = 0.0;
    }
    for unburnt in &mut output.unburnt {
        *unburnt *= params.banks / dt;
    }
    state.ripple = (state.ripple + impulse / params.inertia) / (1.0 + dt * pass_on);
    output.torque = params.inertia.figure * state.ripple * pass_on;
    output
}

#[cfg(test)]
mod tests;
