//! The throttle body: how much air its plate lets through at an angle, and its position sensor where that is worn.
//!
//! The plate is a disc across a round bore (textbook formula). Dirt collects where the plate nearly touches the bore:
//! it closes the leak, and takes a share of the opening up to 3 degrees above closed, less with each degree beyond and
//! none from 11 degrees on.

use twotrip_harness::{SensorPins, transfer::SENSOR_SUPPLY_VOLTS};
use twotrip_units::{Limit, Voltage};

use crate::{Divisor, Lag, curve, knobs::Knobs};

/// Bore, plate and the loop that moves it.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Bore, m.
    pub(crate) bore_m: f64,
    /// Plate angle when closed, degrees.
    pub(crate) closed_degrees: f64,
    /// Its cosine.
    pub(crate) closed_cosine: Divisor,
    /// Where the springs hold the plate without motor current, degrees.
    pub(crate) spring_degrees: f64,
    /// Time constant of the position loop, s (calibrated).
    pub(crate) lag: Lag,
    /// Discharge coefficient.
    pub(crate) discharge: f64,
    /// Leak past the closed plate, m².
    pub(crate) leak_m2: f64,
    /// Degrees above closed up to which dirt takes its share, and from which it takes none (calibrated).
    pub(crate) dirt_degrees: [f64; 2],
}

impl Params {
    /// That of the 2.0-litre four-cylinder.
    pub(crate) const fn compact_2_0() -> Self {
        const CLOSED_DEGREES: f64 = 7.0;
        Self {
            bore_m: 0.055,
            closed_degrees: CLOSED_DEGREES,
            closed_cosine: Divisor::new(curve::cos(CLOSED_DEGREES.to_radians())),
            spring_degrees: 10.0,
            lag: Lag::new(0.05),
            discharge: 0.8,
            leak_m2: 3e-6,
            dirt_degrees: [3.0, 11.0],
        }
    }
}

/// Plate angle after a step, degrees; `target` is that of its position loop, `None` without motor current.
#[inline]
pub(crate) fn step(params: &Params, plate_degrees: f64, target: Option<f64>, dt: f64) -> f64 {
    let target = target
        .unwrap_or(params.spring_degrees)
        .within(params.closed_degrees, 90.0);
    plate_degrees + (target - plate_degrees) * params.lag.share(dt)
}

/// Effective area at a plate angle, m².
#[inline]
pub(crate) fn area_m2(params: &Params, knobs: &Knobs, plate_degrees: f64) -> f64 {
    let bore_area = core::f64::consts::FRAC_PI_4 * params.bore_m * params.bore_m;
    let open = (1.0 - curve::cos(plate_degrees.to_radians()) / params.closed_cosine).at_least(0.0);
    let [leak, gain] = knobs.plate;
    let gain = if gain < 1.0 {
        let [from, to] = params.dirt_degrees;
        let left = (to - (plate_degrees - params.closed_degrees)) / (to - from);
        1.0 + (gain - 1.0) * left.within(0.0, 1.0)
    } else {
        1.0
    };
    params.discharge * (bore_area * open * gain + params.leak_m2 * leak)
}

/// What worn tracks make of their pins: a wiper without contact gives nothing, a worn-down resistance is off.
#[inline]
pub(crate) fn wear_tracks(knobs: &Knobs, plate_degrees: f64, pins: &mut SensorPins) {
    if knobs.track_a_worn.is_some() || knobs.track_b_off != 0.0 {
        show_wear(knobs, plate_degrees, pins);
    }
}

#[cold]
fn show_wear(knobs: &Knobs, plate_degrees: f64, pins: &mut SensorPins) {
    if let Some([from, to]) = knobs.track_a_worn
        && (from..=to).contains(&plate_degrees)
    {
        pins.throttle_a = Voltage::ZERO;
    }
    let off = SENSOR_SUPPLY_VOLTS * knobs.track_b_off;
    pins.throttle_b = Voltage::from_volts((pins.throttle_b.volts() + off).within(0.0, SENSOR_SUPPLY_VOLTS));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clean() -> Knobs {
        Knobs::default()
    }

    /// The idle plate is 1 to 3 degrees further open, so that a tester shows 1 to 3 % more; full throttle is as it was.
    #[test]
    fn dirt_opens_the_idle_plate_and_no_other() {
        let params = Params::compact_2_0();
        for (gain, low, high) in [(0.7, 9.8, 10.4), (0.4, 10.6, 12.0)] {
            let dirty = Knobs {
                plate: [0.0, gain],
                ..clean()
            };
            let idle = area_m2(&params, &clean(), 8.8);
            let mut degrees = 8.8;
            while area_m2(&params, &dirty, degrees) < idle {
                degrees += 0.05;
            }
            assert!((low..high).contains(&degrees), "{gain}: {degrees}");
            for degrees in [20.0, 60.0] {
                let lost = 1.0 - area_m2(&params, &dirty, degrees) / area_m2(&params, &clean(), degrees);
                assert!(lost < 0.03, "{degrees}: {lost}");
            }
        }
    }

    #[test]
    fn worn_tracks_show_where_they_are_worn() {
        let worn = Knobs {
            track_a_worn: Some([11.0, 13.0]),
            track_b_off: 0.1,
            ..clean()
        };
        for (degrees, lost) in [(10.9, false), (11.0, true), (13.0, true), (13.1, false)] {
            let (throttle_a, throttle_b) =
                twotrip_harness::transfer::throttle_volts(twotrip_units::Angle::from_degrees(degrees));
            let mut pins = SensorPins {
                throttle_a,
                throttle_b,
                ..SensorPins::default()
            };
            wear_tracks(&worn, degrees, &mut pins);
            assert_eq!(pins.throttle_a == Voltage::ZERO, lost, "{degrees}");
            assert!(((pins.throttle_b - throttle_b).volts() - 0.5).abs() < 1e-9);
        }
    }
}
