//! Burnt gas among the fresh charge: how much of it the flame bears.
//!
//! Misfires begin where 12-18 % of an idling engine's charge is recirculated exhaust (from memory); the rest calibrated.

use twotrip_units::Limit;

/// A cubic metre of air as absolute load has it (1.184 g/l), g.
const FULL_G: f64 = 1.184e3;
/// Share of the charge that may be burnt gas at idle before firings fail (12-18 %, from memory), and what load, rpm and
/// their turbulence add to it.
const DILUTION_AT_IDLE: f64 = 0.12;
const DILUTION_BY_FILLING: f64 = 0.5;
const DILUTION_BY_RPM: f64 = 5e-5;
/// Filling, as a share of a cylinder full of air, and speed, rpm, of the idle meant.
const IDLE_FILLING: f64 = 0.18;
const IDLE_RPM: f64 = 700.0;
/// Firings lost, by the square of what is beyond; the most.
const DILUTION_LOSS: f64 = 12.0;
const DILUTION_MOST: f64 = 0.9;
/// Residual gas that overlap adds lies apart from the charge and counts for more (calibrated).
pub(crate) const RESIDUAL_WEIGHT: f64 = 1.3;

/// Share of firings that so much burnt gas beyond the engine's own residual puts out, at an air flow, g/s, and a speed, rpm.
#[inline]
pub(crate) fn misfire(dilution: f64, air_flow: f64, displacement_m3: f64, rpm: f64) -> f64 {
    if dilution < DILUTION_AT_IDLE {
        return 0.0;
    }
    let filling = air_flow * (120.0 / FULL_G) / (displacement_m3 * rpm.at_least(50.0));
    let bearable = DILUTION_AT_IDLE
        + (DILUTION_BY_FILLING * (filling - IDLE_FILLING)).at_least(0.0)
        + (DILUTION_BY_RPM * (rpm - IDLE_RPM)).at_least(0.0);
    let beyond = (dilution - bearable).at_least(0.0);
    (DILUTION_LOSS * beyond * beyond).at_most(DILUTION_MOST)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An idle of 2.5 g/s at 700 rpm has a filling of 0.18; 50 km/h 7.8 g/s at 1704 rpm.
    #[test]
    fn too_much_burnt_gas_puts_firings_out() {
        let displacement = 1.998e-3;
        let at_idle = |share| misfire(share, 2.5, displacement, 700.0);
        assert!(at_idle(0.11) <= 0.0);
        assert!(at_idle(0.18) > 0.01 && at_idle(0.18) < 0.15);
        assert!(at_idle(0.25) > 0.15);
        assert!(misfire(0.18, 7.8, displacement, 1704.0) <= 0.0);
    }
}
