//! Air: how much the cylinders draw, how much a wide-open throttle would give, and which plate angle lets a
//! wanted flow through (the textbook mean-value model of the manifold; figures calibrated).

use twotrip_units::{Angle, Grid, Limit, Ratio};

use crate::{Calibration, control::measured::Measured};

/// Volume of the manifold of the calibrated engine, m³.
const MANIFOLD_VOLUME: f64 = 3.0e-3;
/// Gas constant of air, J/kg K.
const GAS_CONSTANT: f64 = 287.0;
/// Density at which absolute load is defined, g/l (J1979, from memory).
pub(super) const LOAD_DENSITY: f64 = 1.184;

/// Volumetric efficiency over engine speed, rpm (calibrated).
static EFFICIENCY: Grid<61> = Grid::through([
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

/// Share of fresh charge over manifold pressure / exhaust pressure: `(1 + r) - r (p_ex/p_m)^(1/1.3)`, r = 0.1075.
static FRESH_SHARE: Grid<18> = Grid::through([
    (0.15, 0.6449),
    (0.2, 0.7368),
    (0.25, 0.7952),
    (0.3, 0.8361),
    (0.35, 0.8664),
    (0.4, 0.8900),
    (0.5, 0.9243),
    (0.6, 0.9483),
    (0.7, 0.9661),
    (0.8, 0.9799),
    (0.9, 0.9909),
    (1.0, 1.0),
]);

/// Flow at full throttle of the calibrated engine, sea level, 25 °C, g/s over rpm.
static FULL_THROTTLE_FLOW: Grid<13> = Grid::through([
    (0.0, 0.0),
    (1000.0, 15.1),
    (1500.0, 23.8),
    (2000.0, 32.8),
    (2500.0, 42.1),
    (3000.0, 51.7),
    (4000.0, 72.0),
    (4500.0, 81.9),
    (5000.0, 91.0),
    (5500.0, 98.5),
    (6000.0, 104.5),
]);

/// Flow function of an orifice over the pressure ratio across it, isentropic exponent 1.4.
static FLOW_FUNCTION: Grid<51> = Grid::through([
    (0.5, 0.6847),
    (0.53, 0.6847),
    (0.6, 0.6769),
    (0.65, 0.6619),
    (0.7, 0.6383),
    (0.75, 0.6052),
    (0.8, 0.5607),
    (0.85, 0.5018),
    (0.9, 0.4226),
    (0.95, 0.3076),
    (1.0, 0.05),
]);

/// Discharge coefficient of the throttle.
const THROTTLE_DISCHARGE: f64 = 0.8;
/// Bore of the throttle, mm² (55 mm).
const THROTTLE_BORE_AREA: f64 = 2375.83;
/// What passes a shut plate, mm².
const THROTTLE_LEAK_AREA: f64 = 3.0;
/// Cosine of the shut plate's angle, 7°.
const COSINE_SHUT: f64 = 0.992_546_151_641_322;
/// The widest the plate is driven.
pub(crate) const WIDEST: Angle = Angle::from_degrees(87.0);

/// Clearance by swept volume, the r of [`FRESH_SHARE`].
const CLEARANCE: f64 = 0.1075;
/// Growth of the residual gas by degree of cam advance at 700 rpm, falling with the square of speed; gain of filling by
/// degree at standstill, and the speed where it ends, rpm (calibrated).
const OVERLAP: f64 = 0.033;
const OVERLAP_RPM: f64 = 700.0;
const EARLY_CLOSING: f64 = 0.002;
const EARLY_CLOSING_UP_TO: f64 = 4000.0;

/// Share of metered air in the smoothed values behind the loads, a step of 10 ms over 0.1 s.
const SMOOTHING: f64 = 0.1;

/// What the ECU knows of the engine's air at one instant.
#[derive(Clone, Debug, Default)]
pub(crate) struct Air {
    /// Size of the engine against the calibrated one, and its reciprocal.
    size: f64,
    per_size: f64,
    /// Swept volume, m³.
    displacement: f64,
    /// Speed-density: what the cylinders draw, g/s.
    pub(crate) drawn: f64,
    /// What the cylinders draw, as the meter would have seen it: the speed-density flow, corrected by what the meter
    /// reads beside it in the long run, g/s. Equal to the meter at rest, quicker and calmer in between.
    pub(crate) metered: f64,
    /// PID $04.
    pub(crate) calculated_load: Ratio,
    /// PID $43.
    pub(crate) absolute_load: Ratio,
    /// Flow at full throttle at this speed, g/s.
    pub(crate) full: f64,
    /// Air that enters the manifold behind the meter: what is drawn, less what is metered, and what the manifold itself
    /// took in meanwhile, g/s over the last slow step.
    pub(crate) behind_meter: f64,
    /// Drawn less metered since then, and for how many steps; manifold pressure then, kPa.
    difference: f64,
    steps: f64,
    manifold_before: f64,
    /// Meter / speed-density, slow.
    meter_share: f64,
    /// Smoothed: the meter's reading, and `metered` by rpm.
    meter: f64,
    metered_by_turn: f64,
    /// Worked out in slow steps: air by kPa of manifold pressure and rpm at a full cylinder, full-throttle flow against
    /// the table's day, 1 / exhaust pressure.
    per_pressure: f64,
    load_correction: f64,
    per_exhaust: f64,
    /// Burnt gas as a share of the charge; residual gas and filling against those of a locked cam, less one.
    burnt: f64,
    cam_residual: f64,
    cam_filling: f64,
}

impl Air {
    pub(crate) fn new(calibration: &Calibration) -> Self {
        let displacement = calibration.displacement.cubic_metres();
        Self {
            size: calibration.size(),
            per_size: 1.0 / calibration.size(),
            displacement,
            meter_share: 1.0,
            per_pressure: 1e6 * displacement / (120.0 * GAS_CONSTANT * 293.0),
            load_correction: calibration.size(),
            per_exhaust: 1.0 / 101.3,
            ..Self::default()
        }
    }

    /// 1 / size of the engine against the calibrated one.
    pub(crate) const fn per_size(&self) -> f64 {
        self.per_size
    }

    /// Air that the cylinders draw in two turns, g, smoothed.
    pub(crate) const fn grams_a_cycle(&self) -> f64 {
        self.metered_by_turn * 120.0
    }

    /// Burnt gas as a share of the charge, from now on.
    pub(crate) const fn set_burnt(&mut self, burnt: f64) {
        self.burnt = burnt;
    }

    /// What the cams of so many banks make of the filling, from now on: their mean.
    #[inline]
    pub(crate) fn set_cam(&mut self, measured: &Measured, banks: usize) {
        let [one, other] = measured.cam_advance;
        let degrees = if banks > 1 {
            0.5 * (one + other).degrees()
        } else {
            one.degrees()
        };
        if degrees > 0.1 {
            let rpm = measured.rpm.at_least(600.0);
            let slow = OVERLAP_RPM / rpm;
            self.cam_residual = OVERLAP * degrees * slow * slow;
            self.cam_filling = EARLY_CLOSING * degrees * (1.0 - rpm * (1.0 / EARLY_CLOSING_UP_TO));
        } else {
            self.cam_residual = 0.0;
            self.cam_filling = 0.0;
        }
    }

    /// Gas that the cylinders draw, burnt gas with it, g/s: what speed-density alone would take for air.
    pub(crate) fn drawn_gas(&self) -> f64 {
        self.drawn / (1.0 - self.burnt)
    }

    /// Works out the slow parts: air behind the meter, charge temperature, exhaust pressure, the correction of
    /// full-throttle flow, loads; `seconds` since the last time.
    pub(crate) fn step_slow(&mut self, measured: &Measured, seconds: f64) {
        let intake = measured.intake_air.kelvins();
        let rise = 0.35 * (measured.coolant.kelvins() - intake);
        let manifold = measured.manifold_kilopascals;
        let filling = self.size * MANIFOLD_VOLUME * 1e6 / (GAS_CONSTANT * intake)
            * (manifold - self.manifold_before)
            / seconds;
        self.behind_meter = if self.steps > 0.0 {
            self.difference / self.steps + filling
        } else {
            0.0
        };
        self.difference = 0.0;
        self.steps = 0.0;
        self.manifold_before = manifold;
        let charge = intake + rise * libm::exp(-self.drawn * self.per_size / 30.0);
        self.per_pressure = 1e6 * self.displacement / (120.0 * GAS_CONSTANT * charge);
        let barometer = measured.barometer.kilopascals().at_least(40.0);
        let share = self.drawn * self.per_size / 75.0;
        self.per_exhaust = 1.0 / (barometer + 12.0 * share * share);
        self.load_correction =
            self.size * barometer / 101.325 * libm::sqrt(298.15 / measured.ambient.kelvins());
        self.calculated_load = Ratio::from_fraction((self.meter / self.full.at_least(1.0)).at_most(1.0));
        // Air mass per intake stroke against 1.184 g/l in one cylinder: two strokes a turn in four cylinders.
        self.absolute_load =
            Ratio::from_fraction(self.metered_by_turn * 120.0 / (LOAD_DENSITY * self.displacement * 1000.0));
    }

    /// What the cylinders would draw by turn at this speed and manifold pressure, g/s by rpm.
    #[inline]
    fn by_turn(&self, rpm: f64, kilopascals: f64) -> f64 {
        let manifold = kilopascals.at_least(5.0);
        let mut fresh = FRESH_SHARE.at(manifold * self.per_exhaust);
        fresh -= self.cam_residual * (1.0 + CLEARANCE - fresh);
        let filling = (1.0 + self.cam_filling) * (1.0 - self.burnt);
        self.per_pressure * manifold * EFFICIENCY.at(rpm) * fresh.at_least(0.0) * filling
    }

    /// What the cylinders would draw at this speed and manifold pressure, g/s.
    pub(crate) fn drawn_at(&self, rpm: f64, kilopascals: f64) -> f64 {
        self.by_turn(rpm, kilopascals) * rpm
    }

    /// One step of `seconds`; `running` while the engine draws air by itself.
    pub(crate) fn step(&mut self, measured: &Measured, running: bool, seconds: f64) {
        let rpm = measured.rpm;
        if rpm < 20.0 {
            self.drawn = 0.0;
            self.metered = 0.0;
            self.meter = 0.0;
            self.metered_by_turn = 0.0;
            self.full = 0.0;
            return;
        }
        let by_turn = self.by_turn(rpm, measured.manifold_kilopascals);
        self.drawn = by_turn * rpm;
        let meter = measured.air_grams;
        if running {
            let share = (meter / self.drawn.at_least(0.2)).within(0.5, 1.5);
            self.meter_share += (share - self.meter_share) * (seconds / 0.6);
        } else {
            self.meter_share = 1.0;
        }
        self.metered = self.drawn * self.meter_share;
        self.difference += self.drawn - meter;
        self.steps += 1.0;
        self.full = FULL_THROTTLE_FLOW.at(rpm) * self.load_correction;
        self.meter += (meter - self.meter) * SMOOTHING;
        self.metered_by_turn += (by_turn * self.meter_share - self.metered_by_turn) * SMOOTHING;
    }
}

/// Flow of the calibrated engine at full throttle, sea level, 25 °C, g/s.
pub(super) fn full_throttle_flow(rpm: f64) -> f64 {
    FULL_THROTTLE_FLOW.at(rpm)
}

/// Choked flow through one square millimetre of throttle, g/s.
pub(crate) fn choked_flow_per_area(measured: &Measured) -> f64 {
    let upstream = measured.barometer.pascals().at_least(40_000.0);
    THROTTLE_DISCHARGE * 1e-6 * upstream * 0.6847 / libm::sqrt(GAS_CONSTANT * measured.intake_air.kelvins())
        * 1000.0
}

/// What the manifold holds, g.
pub(crate) fn manifold_grams(measured: &Measured) -> f64 {
    MANIFOLD_VOLUME * 1e6 / GAS_CONSTANT * measured.manifold_kilopascals / measured.intake_air.kelvins()
}

/// How much less than choked the flow is at this pressure ratio across the plate.
pub(crate) fn flow_share(ratio: f64) -> f64 {
    FLOW_FUNCTION.at(ratio) / 0.6847
}

/// The area that this plate angle opens, mm².
pub(crate) fn throttle_area(plate: Angle) -> f64 {
    let open = (1.0 - libm::cos(plate.radians()) / COSINE_SHUT).at_least(0.0);
    THROTTLE_BORE_AREA * open + THROTTLE_LEAK_AREA
}

/// The plate angle that opens this area, mm².
pub(crate) fn throttle_angle_for_area(area: f64) -> Angle {
    let open = ((area - THROTTLE_LEAK_AREA) / THROTTLE_BORE_AREA).within(0.0, 1.0);
    // arccos(1 - z) as a series: exact to 0.1° up to 87°, and cheaper than the function.
    let z = 1.0 - COSINE_SHUT * (1.0 - open);
    let radians = libm::sqrt(2.0 * z) * (1.0 + z * (1.0 / 12.0 + z * (3.0 / 160.0 + z * 5.0 / 896.0)));
    Angle::from_radians(radians).min(WIDEST)
}

#[cfg(test)]
mod tests {
    use super::*;
    use twotrip_units::{AngularSpeed, Pressure, Temperature};

    fn drawn_at(rpm: f64, kilopascals: f64, intake: f64, coolant: f64) -> (Air, Measured) {
        let measured = Measured {
            engine_speed: AngularSpeed::from_rpm(rpm),
            rpm,
            manifold_pressure: Pressure::from_kilopascals(kilopascals),
            manifold_kilopascals: kilopascals,
            barometer: Pressure::from_kilopascals(101.325),
            intake_air: Temperature::from_celsius(intake),
            coolant: Temperature::from_celsius(coolant),
            ..Measured::default()
        };
        let mut air = Air::new(&Calibration::compact_2_0());
        for _ in 0..50 {
            air.step(&measured, false, 0.01);
            air.step_slow(&measured, 0.1);
        }
        (air, measured)
    }

    /// The worked example of the warm idle (2.52 g/s) and operating points computed on a prototype of this car's model.
    #[test]
    fn speed_density_meets_the_worked_examples() {
        for (rpm, kilopascals, intake, coolant, flow) in [
            (700.0, 31.1, 40.0, 90.0, 2.52),
            (2500.0, 25.0, 35.0, 92.0, 7.8),
            (1704.0, 34.0, 27.0, 87.0, 7.8),
            (4500.0, 99.0, 26.0, 88.0, 82.0),
        ] {
            let drawn = drawn_at(rpm, kilopascals, intake, coolant).0.drawn;
            assert!(
                (drawn / flow - 1.0).abs() < 0.04,
                "{rpm} rpm, {kilopascals} kPa: {drawn} g/s, not {flow}"
            );
        }
    }

    /// Plate angles computed on a prototype of this car: warm idle 8.8°, 2500 rpm without load 12.4°, 100 km/h 17.2°.
    #[test]
    fn the_inverse_throttle_meets_the_computed_angles() {
        let mut measured = drawn_at(700.0, 31.0, 20.0, 90.0).1;
        measured.intake_air = Temperature::from_celsius(25.0);
        let per_area = choked_flow_per_area(&measured);
        for (flow, manifold, degrees) in [(2.5, 31.0, 8.8), (7.8, 25.0, 12.4), (17.7, 57.0, 17.2)] {
            let share = flow_share(manifold / 101.325);
            let angle = throttle_angle_for_area(flow / (per_area * share)).degrees();
            assert!(
                (angle - degrees).abs() < 0.35,
                "{flow} g/s at {angle} degrees, not {degrees}"
            );
        }
        for degrees in [7.0, 10.0, 40.0, 80.0] {
            let area = throttle_area(Angle::from_degrees(degrees));
            assert!((throttle_angle_for_area(area).degrees() - degrees).abs() < 0.1);
        }
        assert!((throttle_angle_for_area(1e6).degrees() - 87.0).abs() < 0.01);
    }
}
