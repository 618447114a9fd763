//! Data sheets of the sensors: the quantity at the sensor against the voltage at the pin, both ways.
//!
//! Figures are those of this project's vehicle model (calibrated) unless another
//! source stands beside them. Both directions read one set of points, so that a healthy sensor is read exactly.

use twotrip_units::{Angle, Current, Grid, Limit, MassFlow, Pressure, Ratio, Table, Temperature, Voltage};

/// The reference supply of the sensors, V.
pub const SENSOR_SUPPLY_VOLTS: f64 = 5.0;

/// A sensor whose voltage rises on a straight line, from nothing of its quantity on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// The quantity up to which it reads.
    full: f64,
    /// Voltages at nothing and at `full`.
    volts: (f64, f64),
    volts_per_unit: f64,
    units_per_volt: f64,
}

impl Line {
    const fn new(full: f64, volts: (f64, f64)) -> Self {
        Self {
            full,
            volts,
            volts_per_unit: (volts.1 - volts.0) / full,
            units_per_volt: full / (volts.1 - volts.0),
        }
    }

    /// The voltage for a quantity, held at both ends.
    #[inline]
    fn volts(&self, quantity: f64) -> f64 {
        self.volts.0 + quantity.within(0.0, self.full) * self.volts_per_unit
    }

    /// The quantity for a voltage, held at both ends.
    #[inline]
    fn quantity(&self, volts: f64) -> f64 {
        (volts.within(self.volts.0, self.volts.1) - self.volts.0) * self.units_per_volt
    }

    /// Voltage for a pressure.
    #[must_use]
    #[inline]
    pub fn from_pressure(&self, pressure: Pressure) -> Voltage {
        Voltage::from_volts(self.volts(pressure.kilopascals()))
    }

    /// Pressure for a voltage.
    #[must_use]
    #[inline]
    pub fn to_pressure(&self, voltage: Voltage) -> Pressure {
        Pressure::from_kilopascals(self.quantity(voltage.volts()))
    }

    /// Voltage for a share.
    #[must_use]
    #[inline]
    pub fn from_ratio(&self, ratio: Ratio) -> Voltage {
        Voltage::from_volts(self.volts(ratio.percent()))
    }

    /// Share for a voltage.
    #[must_use]
    #[inline]
    pub fn to_ratio(&self, voltage: Voltage) -> Ratio {
        Ratio::from_percent(self.quantity(voltage.volts()))
    }
}

/// Manifold and barometric pressure, kPa absolute: 0.25 V + 0.04375 V/kPa.
pub const PRESSURE: Line = Line::new(110.0, (0.25, 5.0625));

/// Fuel level sender, % of the nominal tank.
pub const FUEL_LEVEL: Line = Line::new(100.0, (0.5, 4.5));

/// Lift of the exhaust-gas recirculation valve, %.
pub const VALVE_LIFT: Line = Line::new(100.0, (0.5, 4.5));

/// Fuel rail pressure, kPa gauge.
const RAIL_PRESSURE: Line = Line::new(600.0, (0.5, 4.5));
/// Where the output of that sensor ends below, V: one that reads too low shows it at no pressure.
const RAIL_PRESSURE_ENDS: f64 = 0.3;

/// An air-mass meter. It is read in every step, so both directions lie on even grids that all its points fall on.
#[derive(Clone, Copy, Debug)]
pub struct AirMeter {
    volts: Grid<261>,
    grams_per_second: Grid<449>,
}

impl AirMeter {
    const fn new<const N: usize>(points: [(f64, f64); N]) -> Self {
        Self {
            volts: Grid::through(points),
            grams_per_second: Grid::through(swapped(points)),
        }
    }

    /// Voltage for an air flow, held at both ends.
    #[must_use]
    #[inline]
    pub fn from_flow(&self, flow: MassFlow) -> Voltage {
        Voltage::from_volts(self.volts.at(flow.grams_per_second()))
    }

    /// Air flow for a voltage, held at both ends.
    #[must_use]
    #[inline]
    pub fn to_flow(&self, voltage: Voltage) -> MassFlow {
        MassFlow::from_grams_per_second(self.grams_per_second.at(voltage.volts()))
    }
}

/// Air-mass meter, g/s (typical analogue output: 0.6-1.0 V at idle, 1.7-2.0 V at 3000 rpm, 4.3-4.8 V at full load).
pub static AIR_METER: AirMeter = AirMeter::new([
    (0.0, 0.40),
    (1.0, 0.62),
    (2.5, 0.90),
    (5.0, 1.35),
    (9.5, 1.85),
    (20.0, 2.60),
    (40.0, 3.40),
    (70.0, 4.10),
    (105.0, 4.60),
    (130.0, 4.88),
]);

/// A thermistor with its pull-up: the warmer, the lower the voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thermistor {
    volts: Table<13>,
    celsius: Table<13>,
}

impl Thermistor {
    const fn new(points: [(f64, f64); 13]) -> Self {
        Self {
            volts: Table::new(points),
            celsius: Table::new(reversed(swapped(points))),
        }
    }

    /// Voltage for a temperature, held at both ends.
    #[must_use]
    pub fn from_temperature(&self, temperature: Temperature) -> Voltage {
        Voltage::from_volts(self.volts.at(temperature.celsius()))
    }

    /// Temperature for a voltage, held at both ends.
    #[must_use]
    pub fn to_temperature(&self, voltage: Voltage) -> Temperature {
        Temperature::from_celsius(self.celsius.at(voltage.volts()))
    }
}

/// Thermistor with a 1.0 kΩ pull-up to 5 V, °C; resistances of a published table, ends continued.
pub static THERMISTOR: Thermistor = Thermistor::new([
    (-45.0, 4.925),
    (-40.0, 4.898_2),
    (-20.0, 4.696_6),
    (0.0, 4.263_6),
    (20.0, 3.550_7),
    (40.0, 2.672_3),
    (60.0, 1.847_4),
    (80.0, 1.217_9),
    (90.0, 0.983_9),
    (100.0, 0.791_2),
    (120.0, 0.519_7),
    (150.0, 0.265),
    (165.0, 0.20),
]);

/// A wide-range oxygen sensor with the amplifier that drives it: lambda over pump current in mA (from memory), and
/// 1.5 V + 0.5 V/mA at the pin (our choice). The pump stands still while the cell is cold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WideRange {
    milliamperes: Table<10>,
    lambda: Table<10>,
}

impl WideRange {
    /// The pin without pump current.
    pub const STILL: Voltage = Voltage::from_volts(1.5);
    const VOLTS_PER_MILLIAMPERE: f64 = 0.5;

    const fn new(points: [(f64, f64); 10]) -> Self {
        Self {
            milliamperes: Table::new(points),
            lambda: Table::new(swapped(points)),
        }
    }

    /// Voltage for lambda, held at both ends.
    #[must_use]
    pub fn from_lambda(&self, lambda: Ratio) -> Voltage {
        let milliamperes = self.milliamperes.at(lambda.fraction());
        Voltage::from_volts(Self::STILL.volts() + Self::VOLTS_PER_MILLIAMPERE * milliamperes)
    }

    /// Pump current for a voltage.
    #[must_use]
    pub fn to_current(&self, pin: Voltage) -> Current {
        Current::from_amperes((pin.volts() - Self::STILL.volts()) / Self::VOLTS_PER_MILLIAMPERE * 1e-3)
    }

    /// Lambda for a voltage, held at both ends.
    #[must_use]
    pub fn to_lambda(&self, pin: Voltage) -> Ratio {
        Ratio::from_fraction(self.lambda.at(self.to_current(pin).amperes() * 1e3))
    }
}

/// The wide-range sensor.
pub static WIDE_RANGE: WideRange = WideRange::new([
    (0.65, -2.22),
    (0.70, -1.82),
    (0.80, -1.11),
    (0.90, -0.50),
    (1.00, 0.0),
    (1.18, 0.33),
    (1.43, 0.67),
    (1.70, 0.94),
    (2.42, 1.38),
    (8.0, 2.54),
]);

/// Points of the curve read the other way.
const fn swapped<const N: usize>(points: [(f64, f64); N]) -> [(f64, f64); N] {
    let mut turned = points;
    let mut i = 0;
    while i < N {
        turned[i] = (points[i].1, points[i].0);
        i += 1;
    }
    turned
}

/// The last point first.
const fn reversed<const N: usize>(points: [(f64, f64); N]) -> [(f64, f64); N] {
    let mut turned = points;
    let mut i = 0;
    while i < N {
        turned[i] = points[N - 1 - i];
        i += 1;
    }
    turned
}

/// Plate angle at which the throttle is closed, degrees.
pub const THROTTLE_CLOSED_DEGREES: f64 = 7.0;

/// Track A of the throttle: 13 % of the supply when closed and 0.9 % more for each degree; track B is its mirror.
#[must_use]
#[inline]
pub fn throttle_volts(plate: Angle) -> (Voltage, Voltage) {
    let share = (0.13 + 0.009 * (plate.degrees() - THROTTLE_CLOSED_DEGREES)).within(0.0, 1.0);
    let a = SENSOR_SUPPLY_VOLTS * share;
    (
        Voltage::from_volts(a),
        Voltage::from_volts(SENSOR_SUPPLY_VOLTS - a),
    )
}

/// Plate angle from track A.
#[must_use]
#[inline]
pub fn throttle_angle(a: Voltage) -> Angle {
    Angle::from_degrees(THROTTLE_CLOSED_DEGREES + (a.volts() / SENSOR_SUPPLY_VOLTS - 0.13) / 0.009)
}

/// Tracks D and E of the pedal: D runs from 15 % to 85 % of the supply, E is half of it.
#[must_use]
#[inline]
pub fn pedal_volts(pressed: Ratio) -> (Voltage, Voltage) {
    let d = SENSOR_SUPPLY_VOLTS * (0.15 + 0.70 * pressed.fraction().within(0.0, 1.0));
    (Voltage::from_volts(d), Voltage::from_volts(d / 2.0))
}

/// How far the pedal is pressed, from track D.
#[must_use]
#[inline]
pub fn pedal_pressed(d: Voltage) -> Ratio {
    Ratio::from_fraction(((d.volts() / SENSOR_SUPPLY_VOLTS - 0.15) / 0.70).within(0.0, 1.0))
}

/// Fuel rail pressure sensor, gauge: 0.5 V at nothing, 4.5 V at 600 kPa.
#[must_use]
#[inline]
pub fn rail_pressure_volts(gauge: Pressure) -> Voltage {
    let volts = RAIL_PRESSURE.volts.0 + gauge.kilopascals() * RAIL_PRESSURE.volts_per_unit;
    Voltage::from_volts(volts.within(RAIL_PRESSURE_ENDS, RAIL_PRESSURE.volts.1))
}

/// Fuel rail pressure, gauge, from the pin; -30..600 kPa where the sensor's output ends.
#[must_use]
#[inline]
pub fn rail_pressure(pin: Voltage) -> Pressure {
    let volts = pin.volts().within(RAIL_PRESSURE_ENDS, RAIL_PRESSURE.volts.1);
    Pressure::from_kilopascals((volts - RAIL_PRESSURE.volts.0) * RAIL_PRESSURE.units_per_volt)
}

/// Tank pressure sensor, gauge: 2.5 V + 0.5 V/kPa.
#[must_use]
#[inline]
pub fn tank_pressure_volts(gauge: Pressure) -> Voltage {
    Voltage::from_volts((2.5 + gauge.kilopascals() / 2.0).within(0.3, 4.7))
}

/// Tank pressure, gauge, from the pin; -5..+5 kPa over the whole range of the pin.
#[must_use]
#[inline]
pub fn tank_pressure(pin: Voltage) -> Pressure {
    Pressure::from_kilopascals((pin.volts() - 2.5) * 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Volts at 20, 60 and 90 °C: published 3.6, 1.9 and 1.0 V (a maker's service information of 2002).
    #[test]
    fn thermistor_meets_published_voltages_and_inverts() {
        for (celsius, volts) in [(20.0, 3.6), (60.0, 1.9), (90.0, 1.0)] {
            let pin = THERMISTOR.from_temperature(Temperature::from_celsius(celsius));
            assert!(
                (pin.volts() - volts).abs() < 0.06,
                "{celsius} degC gives {} V",
                pin.volts()
            );
        }
        for celsius in [-40.0, -13.0, 0.0, 37.0, 87.5, 119.0] {
            let pin = THERMISTOR.from_temperature(Temperature::from_celsius(celsius));
            assert!((THERMISTOR.to_temperature(pin).celsius() - celsius).abs() < 1e-9);
        }
    }

    #[test]
    fn every_curve_reads_back_what_it_was_given() {
        for flow in [0.0, 0.3, 2.5, 7.7, 55.0, 129.0] {
            let pin = AIR_METER.from_flow(MassFlow::from_grams_per_second(flow));
            assert!((AIR_METER.to_flow(pin).grams_per_second() - flow).abs() < 1e-9);
        }
        for kpa in [0.0, 31.0, 101.3] {
            let pin = PRESSURE.from_pressure(Pressure::from_kilopascals(kpa));
            assert!((PRESSURE.to_pressure(pin).kilopascals() - kpa).abs() < 1e-9);
        }
        for degrees in [7.0, 8.8, 80.0] {
            let (a, b) = throttle_volts(Angle::from_degrees(degrees));
            assert!((throttle_angle(a).degrees() - degrees).abs() < 1e-9);
            assert!((a.volts() + b.volts() - 5.0).abs() < 1e-9);
        }
        for lambda in [0.7, 0.85, 0.99, 1.0, 1.01, 1.3, 2.0] {
            let pin = WIDE_RANGE.from_lambda(Ratio::from_fraction(lambda));
            assert!((WIDE_RANGE.to_lambda(pin).fraction() - lambda).abs() < 1e-9);
        }
        for kpa in [-20.0, 0.0, 350.0, 600.0] {
            let pin = rail_pressure_volts(Pressure::from_kilopascals(kpa));
            assert!((rail_pressure(pin).kilopascals() - kpa).abs() < 1e-9);
        }
        assert!(WIDE_RANGE.to_current(WideRange::STILL).amperes().abs() < 1e-12);
        for pascals in [-2000.0, 0.0, 350.0] {
            let pin = tank_pressure_volts(Pressure::from_pascals(pascals));
            assert!((tank_pressure(pin).pascals() - pascals).abs() < 1e-6);
        }
    }
}
