//! Air that reaches the manifold without passing the meter: leaks of gaskets and hoses, and the crankcase ventilation
//! with its hose off.
//!
//! A leak is an orifice from the air outside, as the throttle is ([`crate::air::orifice`]). The ventilation valve lets
//! less through at idle, where the vacuum pulls its plunger into the seat, than at load: an orifice of 2 mm² growing to
//! 4 mm².

use twotrip_units::Limit;

use crate::knobs::Knobs;

/// The ventilation valve.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Its effective area at strong and at weak vacuum, mm² (calibrated).
    pub(crate) valve_mm2: [f64; 2],
    /// Manifold pressures between which its plunger moves, as shares of the air outside (common practice, no source).
    pub(crate) plunger: [f64; 2],
}

impl Params {
    /// That of the 2.0-litre four-cylinder.
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            valve_mm2: [2.0, 4.0],
            plunger: [0.35, 0.70],
        }
    }
}

/// Effective area of all ways past the meter into the manifold, m², at the last pressure in it.
#[inline]
pub(crate) fn area_m2(params: &Params, knobs: &Knobs, manifold_kpa: f64, ambient_kpa: f64) -> f64 {
    let leak = 1e-6 * knobs.intake_leak_mm2;
    if knobs.crankcase_hose_off {
        leak + valve_m2(params, manifold_kpa / ambient_kpa)
    } else {
        leak
    }
}

/// Effective area of the ventilation valve over the pressure ratio across it, m².
#[cold]
fn valve_m2(params: &Params, ratio: f64) -> f64 {
    let [strong, weak] = params.plunger;
    let [small, wide] = params.valve_mm2;
    1e-6 * (small + (wide - small) * ((ratio - strong) / (weak - strong)).within(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    const VALVE: Params = Params::compact_2_0();

    #[test]
    fn the_valve_opens_as_the_vacuum_falls() {
        let off = Knobs {
            crankcase_hose_off: true,
            ..Knobs::default()
        };
        let mm2 = |kpa| 1e6 * area_m2(&VALVE, &off, kpa, 101.3);
        assert!((mm2(20.0) - 2.0).abs() < 1e-9 && (mm2(31.0) - 2.0).abs() < 1e-9);
        assert!((mm2(85.0) - 4.0).abs() < 1e-9);
        assert!(mm2(50.0) > mm2(40.0));
        let split = Knobs {
            intake_leak_mm2: 1.5,
            ..off
        };
        assert!(
            (1e6 * area_m2(&VALVE, &split, 31.0, 101.3) - 3.5).abs() < 1e-9,
            "leaks add up"
        );
        assert!(area_m2(&VALVE, &Knobs::default(), 31.0, 101.3).abs() < 1e-15);
    }
}
