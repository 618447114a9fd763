//! The phaser of a bank's intake cam: oil through a control valve turns the cam against its wheel.
//!
//! Half duty of the valve holds, more advances, less retards, at a rate that grows with the distance from half (common
//! practice, no source). Figures calibrated: under a controller that asks for `distance / 30°` of duty beyond half, the cam
//! goes its way in first order with 0.15 s, at 100 °/s at most, and with 0.4 s in oil of 0 °C. A pin locks it retarded
//! until the oil pressure is up.

use twotrip_units::{Limit, Table};

use crate::{Divisor, Lag, knobs::Knobs};

/// The phaser.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Fastest turn in warm oil, degrees of crank a second, at full duty.
    pub(crate) rate: f64,
    /// Its stop, degrees of advance.
    pub(crate) stop: f64,
    /// Build-up and loss of oil pressure, s.
    pub(crate) pressure_lag: Lag,
}

impl Params {
    /// The 2.0-litre four-cylinder.
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            rate: 100.0,
            stop: 40.0,
            pressure_lag: Lag::new(0.6),
        }
    }
}

/// Rate against warm oil over oil temperature, °C.
const COLD_OIL: Table<6> = Table::new([
    (-30.0, 0.10),
    (-10.0, 0.26),
    (0.0, 0.375),
    (20.0, 0.60),
    (60.0, 1.0),
    (120.0, 1.0),
]);
/// Viscosity against that at 90 °C over oil temperature, °C, as far as a strainer feels it (shape common practice, no source).
const THICKNESS: Table<6> = Table::new([
    (-20.0, 40.0),
    (0.0, 18.0),
    (20.0, 9.0),
    (40.0, 4.5),
    (60.0, 2.2),
    (90.0, 1.0),
]);
/// Engine speed from which the pump makes pressure, rpm, and the share of it at which the pin lets go.
const PUMPS_FROM: f64 = 350.0;
const UNLOCKS_AT: f64 = 0.7;
/// What the spring and the drag of the valve train do without pressure, degrees a second, retarding.
const RETURN_RATE: f64 = 40.0;

/// Phaser and oil.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct State {
    /// Advance from the locked place, degrees of crank.
    pub(crate) advance: f64,
    /// Oil pressure as a share of what is usual.
    pub(crate) pressure: f64,
}

/// How fast the phaser of a bank turns in this oil at full duty, degrees a second. Worked out once a second.
pub(crate) fn rate(params: &Params, oil_celsius: f64, knobs: &Knobs, bank: usize) -> f64 {
    let slew = knobs.phaser_slew[bank].unwrap_or(params.rate);
    let rate = params.rate.at_most(slew) * COLD_OIL.at(oil_celsius);
    let blocked = knobs.oil_strainer[bank];
    if blocked > 0.0 {
        // What the strainer holds back grows with the thickness of the oil.
        rate / (1.0 + 2.5 * blocked * THICKNESS.at(oil_celsius))
    } else {
        rate
    }
}

/// One step: `duty` of the oil control valve, 0..1, [`rate`], and where the phaser is stuck, if it is.
#[inline]
pub(crate) fn step(
    params: &Params,
    state: &State,
    duty: f64,
    rate: f64,
    engine_rpm: f64,
    stuck: Option<f64>,
    dt: f64,
) -> State {
    let pumping = if engine_rpm > PUMPS_FROM { 1.0 } else { 0.0 };
    let pressure = state.pressure + (pumping - state.pressure) * params.pressure_lag.share(dt);
    if let Some(stuck) = stuck {
        return State {
            advance: stuck,
            pressure,
        };
    }
    let turn = if pressure > UNLOCKS_AT {
        rate * (2.0 * duty - 1.0)
    } else {
        -RETURN_RATE
    };
    State {
        advance: (state.advance + turn * dt).within(0.0, params.stop),
        pressure,
    }
}

/// Growth of the residual gas for each degree of advance at idle, and the speed of the idle meant, rpm; it falls with the
/// square of speed (calibrated).
const OVERLAP: f64 = 0.033;
const IDLE_RPM: f64 = 700.0;
/// Gain of filling for each degree at standstill, and the speed where it ends, rpm (calibrated).
const EARLY_CLOSING: f64 = 0.002;
const EARLY_CLOSING_UP_TO: Divisor = Divisor::new(4000.0);

/// What the intake cam's advance makes of the filling.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Filling {
    /// Residual gas against the locked cam's.
    pub(crate) residual: f64,
    /// Filling against the locked cam's.
    pub(crate) filling: f64,
}

impl Filling {
    pub(crate) const LOCKED: Self = Self {
        residual: 1.0,
        filling: 1.0,
    };

    /// Of two banks together.
    pub(crate) fn mean(banks: [Self; 2]) -> Self {
        let [one, other] = banks;
        Self {
            residual: 0.5 * (one.residual + other.residual),
            filling: 0.5 * (one.filling + other.filling),
        }
    }

    /// At so many degrees of advance.
    #[inline]
    pub(crate) fn at(degrees: f64, rpm: f64) -> Self {
        if degrees < 0.01 {
            return Self::LOCKED;
        }
        let slow = IDLE_RPM / rpm.at_least(600.0);
        Self {
            residual: 1.0 + OVERLAP * degrees * slow * slow,
            filling: 1.0 + EARLY_CLOSING * degrees * (1.0 - rpm / EARLY_CLOSING_UP_TO),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The usual controller.
    fn duty(target: f64, advance: f64) -> f64 {
        (0.5 + (target - advance) / 30.0).clamp(0.0, 1.0)
    }

    /// Advance after 0.8 s of a step of 12 degrees, and the time to 63 % of it, s.
    fn stepped(oil_celsius: f64, knobs: &Knobs) -> (f64, f64) {
        let params = Params::compact_2_0();
        let rate = rate(&params, oil_celsius, knobs, 0);
        let mut state = State {
            advance: 0.0,
            pressure: 1.0,
        };
        let mut reached = f64::INFINITY;
        let mut at = 0.0;
        while at < 0.8 {
            state = step(
                &params,
                &state,
                duty(12.0, state.advance),
                rate,
                1500.0,
                knobs.phaser_stuck[0],
                0.01,
            );
            at += 0.01;
            if state.advance >= 12.0 * 0.632 {
                reached = reached.min(at);
            }
        }
        (state.advance, reached)
    }

    /// First order, 0.15 s warm, 0.4 s in oil of 0 °C, 12 degrees within 0.2-0.4 s.
    #[test]
    fn the_cam_follows_in_first_order() {
        let good = Knobs::default();
        for (oil, time, moved) in [(90.0, 0.15, 11.9), (60.0, 0.15, 11.9), (0.0, 0.40, 10.4)] {
            let (advance, reached) = stepped(oil, &good);
            assert!((reached - time).abs() < 0.02, "{oil} °C: {reached} s");
            assert!((advance - moved).abs() < 0.3, "{oil} °C: {advance} degrees");
        }
    }

    /// A step far from home goes at 100 degrees a second, between the stops.
    #[test]
    fn the_rate_has_an_end_and_so_has_the_way() {
        let params = Params::compact_2_0();
        let mut state = State {
            advance: 0.0,
            pressure: 1.0,
        };
        for _ in 0..10 {
            state = step(&params, &state, 1.0, 100.0, 1500.0, None, 0.01);
        }
        assert!((state.advance - 10.0).abs() < 1e-9, "{}", state.advance);
        for _ in 0..1000 {
            state = step(&params, &state, 1.0, 100.0, 1500.0, None, 0.01);
        }
        assert!((state.advance - params.stop).abs() < 1e-9);
    }

    /// Locked until the oil pressure is up, and home again when it is gone.
    #[test]
    fn without_oil_pressure_it_stays_locked() {
        let params = Params::compact_2_0();
        let mut state = State::default();
        for _ in 0..40 {
            state = step(&params, &state, 1.0, 100.0, 700.0, None, 0.01);
            assert!(state.advance <= 0.0, "locked");
        }
        for _ in 0..200 {
            state = step(&params, &state, 1.0, 100.0, 700.0, None, 0.01);
        }
        assert!(state.advance > 30.0, "free");
        for _ in 0..300 {
            state = step(&params, &state, 1.0, 100.0, 0.0, None, 0.01);
        }
        assert!(state.advance <= 0.0, "home");
    }

    /// A worn phaser crawls in any oil; a blocked strainer starves it in cold oil and hardly in hot. A published limit for
    /// slow response: less than 3.4 degrees moved 0.8 s after a step of 12 (published service information, 2014 model year).
    #[test]
    fn what_slows_it() {
        let slow = |rate| Knobs {
            phaser_slew: [Some(rate), None],
            ..Knobs::default()
        };
        assert!(stepped(90.0, &slow(4.0)).0 < 3.4);
        assert!(stepped(90.0, &slow(20.0)).0 > 6.0);
        let strainer = Knobs {
            oil_strainer: [1.0, 0.0],
            ..Knobs::default()
        };
        let (cold, hot) = (stepped(20.0, &strainer).0, stepped(90.0, &strainer).0);
        assert!(cold < 3.0 && hot > 7.0, "{cold} degrees cold, {hot} hot");
        let stuck = Knobs {
            phaser_stuck: [Some(15.0), None],
            ..Knobs::default()
        };
        assert!((stepped(90.0, &stuck).0 - 15.0).abs() < 1e-9);
    }
}
