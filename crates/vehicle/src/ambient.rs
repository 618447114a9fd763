//! The air around the car. It is dry: humidity is left out, in the filling of the cylinders as in the loads of J1979.

/// Weather and place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct State {
    /// Air temperature, °C.
    pub(crate) celsius: f64,
    /// Height above the sea, m.
    pub(crate) altitude_m: f64,
    /// Air pressure there, kPa.
    pub(crate) pressure_kpa: f64,
}

impl State {
    /// The air on a day of `celsius` at a height.
    pub(crate) fn new(celsius: f64, altitude_m: f64) -> Self {
        Self {
            celsius,
            altitude_m,
            pressure_kpa: pressure_kpa(altitude_m),
        }
    }
}

/// Air pressure at a height, kPa: US Standard Atmosphere 1976, the layer below 11 km.
fn pressure_kpa(altitude_m: f64) -> f64 {
    101.325 * libm::pow(1.0 - 2.255_77e-5 * altitude_m, 5.255_88)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// US Standard Atmosphere 1976, its table.
    #[test]
    fn pressure_falls_with_height_as_in_the_standard_atmosphere() {
        for (metres, kpa) in [
            (0.0, 101.3),
            (300.0, 97.8),
            (500.0, 95.5),
            (1000.0, 89.9),
            (1500.0, 84.6),
            (2500.0, 74.7),
        ] {
            let found = State::new(20.0, metres).pressure_kpa;
            assert!((found - kpa).abs() < 0.06, "{metres} m: {found} kPa");
        }
    }
}
