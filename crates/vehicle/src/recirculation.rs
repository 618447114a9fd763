//! External exhaust-gas recirculation: the valve, its passage, and what the orifice of both lets through.
//!
//! An electric valve whose opening follows its duty, with a sensor on its stem; the passage behind it may be choked with
//! carbon, and carbon on the seat may hold the stem up. Sizes calibrated: a share of 5-12 % of the charge at
//! 40-100 km/h needs 3-10 mm².

use twotrip_units::Limit;

use crate::{Lag, knobs::Knobs};

/// The valve.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Effective area of the open valve, m².
    pub(crate) open_m2: f64,
    /// Time constant of its position, s (calibrated).
    pub(crate) lag: Lag,
}

impl Params {
    /// The 2.0-litre four-cylinder.
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            open_m2: 60e-6,
            lag: Lag::new(0.06),
        }
    }
}

/// The valve's stem.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct State {
    /// Lift as a share of the whole.
    pub(crate) lift: f64,
}

/// One step under a duty of 0..1: the stem follows, between what carbon on the seat leaves open and what a seized stem
/// allows.
#[inline]
pub(crate) fn step(params: &Params, state: &State, duty: f64, knobs: &Knobs, dt: f64) -> State {
    let seat = (1e-6 * knobs.recirculation_leak_mm2 / params.open_m2).at_most(1.0);
    let target = (duty * knobs.recirculation_travel).at_least(seat);
    State {
        lift: state.lift + (target - state.lift) * params.lag.share(dt),
    }
}

/// Effective area of valve and passage together, m²; nothing while the stem is down.
#[inline]
pub(crate) fn area(params: &Params, state: &State, knobs: &Knobs) -> f64 {
    const SHUT: f64 = 1e-4;
    if state.lift < SHUT {
        return 0.0;
    }
    params.open_m2 * state.lift * knobs.recirculation_passage
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settled(duty: f64, knobs: &Knobs) -> (State, f64) {
        let params = Params::compact_2_0();
        let mut state = State::default();
        for _ in 0..100 {
            state = step(&params, &state, duty, knobs, 0.01);
        }
        (state, 1e6 * area(&params, &state, knobs))
    }

    /// Lift and effective area, mm², of a good valve and of spoiled ones: a choked passage shows in the flow alone, a
    /// seized stem in both, carbon on the seat while shut only.
    #[test]
    fn what_a_technician_sees_tells_valve_from_passage() {
        let good = Knobs::default();
        let choked = Knobs {
            recirculation_passage: 0.1,
            ..good
        };
        let seized = Knobs {
            recirculation_travel: 0.0,
            ..good
        };
        let seat = Knobs {
            recirculation_leak_mm2: 4.0,
            ..good
        };
        for (knobs, duty, lift, mm2) in [
            (&good, 0.0, 0.0, 0.0),
            (&good, 0.2, 0.2, 12.0),
            (&choked, 0.2, 0.2, 1.2),
            (&seized, 0.2, 0.0, 0.0),
            (&seat, 0.0, 4.0 / 60.0, 4.0),
            (&seat, 0.2, 0.2, 12.0),
        ] {
            let (state, found) = settled(duty, knobs);
            assert!((state.lift - lift).abs() < 1e-3, "{duty}: lift {}", state.lift);
            assert!((found - mm2).abs() < 0.05, "{duty}: {found} mm²");
        }
    }
}
