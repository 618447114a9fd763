//! Quantities as newtypes over `f64` in SI, each with named doors in the units of the trade.
//!
//! Only arithmetic with a meaning exists. A new product of two quantities is one line here and one test.

use core::ops::{Add, Div, Mul, Neg, Sub};

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident { $($(#[$door_doc:meta])* $from:ident / $to:ident = $factor:expr;)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        pub struct $name(#[serde(with = "crate::stored")] f64);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);

            $(
                $(#[$door_doc])*
                #[inline]
                #[must_use]
                pub const fn $from(value: f64) -> Self {
                    Self(value * $factor)
                }

                $(#[$door_doc])*
                #[inline]
                #[must_use]
                pub const fn $to(self) -> f64 {
                    self.0 / $factor
                }
            )+

            /// The absolute value.
            #[inline]
            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// Held between two limits.
            ///
            /// # Panics
            /// If `low > high` or either is not a number.
            #[inline]
            #[must_use]
            pub const fn clamp(self, low: Self, high: Self) -> Self {
                Self(self.0.clamp(low.0, high.0))
            }

            /// The smaller of the two.
            #[inline]
            #[must_use]
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The larger of the two.
            #[inline]
            #[must_use]
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }
        }
    };
}

macro_rules! linear {
    ($($name:ident),+) => { $(
        impl Add for $name { type Output = Self; #[inline] fn add(self, other: Self) -> Self { Self(self.0 + other.0) } }
        impl Sub for $name { type Output = Self; #[inline] fn sub(self, other: Self) -> Self { Self(self.0 - other.0) } }
        impl Neg for $name { type Output = Self; #[inline] fn neg(self) -> Self { Self(-self.0) } }
        impl Mul<f64> for $name { type Output = Self; #[inline] fn mul(self, factor: f64) -> Self { Self(self.0 * factor) } }
        impl Div<f64> for $name { type Output = Self; #[inline] fn div(self, divisor: f64) -> Self { Self(self.0 / divisor) } }
        impl Div for $name { type Output = f64; #[inline] fn div(self, other: Self) -> f64 { self.0 / other.0 } }
    )+ };
}

quantity! {
    /// Acceleration, m/s².
    Acceleration {
        /// Metres per second squared.
        from_metres_per_second_squared / metres_per_second_squared = 1.0;
    }
}
quantity! {
    /// Plane angle, rad.
    Angle {
        /// Radians.
        from_radians / radians = 1.0;
        /// Degrees.
        from_degrees / degrees = core::f64::consts::PI / 180.0;
    }
}
quantity! {
    /// Angular speed, rad/s.
    AngularSpeed {
        /// Radians per second.
        from_radians_per_second / radians_per_second = 1.0;
        /// Revolutions per minute.
        from_rpm / rpm = core::f64::consts::PI / 30.0;
    }
}
quantity! {
    /// Area, m².
    Area {
        /// Square metres.
        from_square_metres / square_metres = 1.0;
        /// Square millimetres.
        from_square_millimetres / square_millimetres = 1e-6;
    }
}
quantity! {
    /// Electric current, A.
    Current {
        /// Amperes.
        from_amperes / amperes = 1.0;
    }
}
quantity! {
    /// A continuous span of time, s: pulse widths and time constants. Deadlines are integer `Duration`s.
    Interval {
        /// Seconds.
        from_seconds / seconds = 1.0;
        /// Milliseconds.
        from_milliseconds / milliseconds = 1e-3;
    }
}
quantity! {
    /// Length or distance, m.
    Length {
        /// Metres.
        from_metres / metres = 1.0;
        /// Millimetres.
        from_millimetres / millimetres = 1e-3;
        /// Inches (exactly 25.4 mm, NIST SP 811).
        from_inches / inches = 0.0254;
        /// Kilometres.
        from_kilometres / kilometres = 1e3;
        /// International miles (exactly 1609.344 m, NIST SP 811).
        from_miles / miles = 1609.344;
        /// Feet (exactly 0.3048 m, NIST SP 811).
        from_feet / feet = 0.3048;
    }
}
quantity! {
    /// Mass, kg.
    Mass {
        /// Kilograms.
        from_kilograms / kilograms = 1.0;
        /// Grams.
        from_grams / grams = 1e-3;
    }
}
quantity! {
    /// Mass flow, kg/s.
    MassFlow {
        /// Kilograms per second.
        from_kilograms_per_second / kilograms_per_second = 1.0;
        /// Grams per second.
        from_grams_per_second / grams_per_second = 1e-3;
        /// Pounds per minute.
        from_pounds_per_minute / pounds_per_minute = 0.453_592_37 / 60.0;
        /// Kilograms per hour.
        from_kilograms_per_hour / kilograms_per_hour = 1.0 / 3600.0;
    }
}
quantity! {
    /// Power, W.
    Power {
        /// Watts.
        from_watts / watts = 1.0;
        /// Kilowatts.
        from_kilowatts / kilowatts = 1e3;
    }
}
quantity! {
    /// Pressure, Pa; whether absolute or gauge stands in the name that holds it.
    Pressure {
        /// Pascals.
        from_pascals / pascals = 1.0;
        /// Kilopascals.
        from_kilopascals / kilopascals = 1e3;
        /// Pounds-force per square inch.
        from_psi / psi = 6894.757;
        /// Inches of mercury, conventional.
        from_inches_of_mercury / inches_of_mercury = 3386.389;
        /// Inches of water, conventional.
        from_inches_of_water / inches_of_water = 249.0889;
    }
}
quantity! {
    /// A share, 1 = all of it.
    Ratio {
        /// As a fraction of one.
        from_fraction / fraction = 1.0;
        /// In percent.
        from_percent / percent = 0.01;
    }
}
quantity! {
    /// Electric resistance, Ω.
    Resistance {
        /// Ohms.
        from_ohms / ohms = 1.0;
    }
}
quantity! {
    /// Speed, m/s.
    Speed {
        /// Metres per second.
        from_metres_per_second / metres_per_second = 1.0;
        /// Kilometres per hour.
        from_kilometres_per_hour / kilometres_per_hour = 1.0 / 3.6;
        /// Miles per hour (exactly 0.44704 m/s, NIST SP 811).
        from_miles_per_hour / miles_per_hour = 0.44704;
    }
}
quantity! {
    /// A difference of temperatures, K.
    TemperatureDelta {
        /// Kelvins.
        from_kelvins / kelvins = 1.0;
    }
}
quantity! {
    /// Torque, N m.
    Torque {
        /// Newton metres.
        from_newton_metres / newton_metres = 1.0;
    }
}
quantity! {
    /// Electric tension, V.
    Voltage {
        /// Volts.
        from_volts / volts = 1.0;
    }
}
quantity! {
    /// Volume, m³.
    Volume {
        /// Cubic metres.
        from_cubic_metres / cubic_metres = 1.0;
        /// Litres.
        from_litres / litres = 1e-3;
        /// US gallons of 231 cubic inches.
        from_us_gallons / us_gallons = 3.785_411_784e-3;
    }
}

linear!(
    Acceleration,
    Angle,
    AngularSpeed,
    Area,
    Current,
    Length,
    Mass,
    MassFlow,
    Power,
    Pressure,
    Ratio,
    Resistance,
    Speed,
    TemperatureDelta,
    Torque,
    Voltage,
    Volume
);

/// A temperature, K inside; a difference of two is a [`TemperatureDelta`].
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct Temperature(#[serde(with = "crate::stored")] f64);

const CELSIUS_ZERO: f64 = 273.15;

impl Temperature {
    /// Kelvins.
    #[inline]
    #[must_use]
    pub const fn from_kelvins(kelvins: f64) -> Self {
        Self(kelvins)
    }

    /// Kelvins.
    #[inline]
    #[must_use]
    pub const fn kelvins(self) -> f64 {
        self.0
    }

    /// Degrees Celsius.
    #[inline]
    #[must_use]
    pub const fn from_celsius(celsius: f64) -> Self {
        Self(celsius + CELSIUS_ZERO)
    }

    /// Degrees Celsius.
    #[inline]
    #[must_use]
    pub const fn celsius(self) -> f64 {
        self.0 - CELSIUS_ZERO
    }

    /// Degrees Fahrenheit.
    #[inline]
    #[must_use]
    pub const fn from_fahrenheit(fahrenheit: f64) -> Self {
        Self::from_celsius((fahrenheit - 32.0) / 1.8)
    }

    /// Degrees Fahrenheit.
    #[inline]
    #[must_use]
    pub const fn fahrenheit(self) -> f64 {
        self.celsius() * 1.8 + 32.0
    }

    /// Held between two limits.
    #[inline]
    #[must_use]
    pub const fn clamp(self, low: Self, high: Self) -> Self {
        Self(self.0.clamp(low.0, high.0))
    }

    /// The colder of the two.
    #[inline]
    #[must_use]
    pub const fn min(self, other: Self) -> Self {
        Self(self.0.min(other.0))
    }

    /// The warmer of the two.
    #[inline]
    #[must_use]
    pub const fn max(self, other: Self) -> Self {
        Self(self.0.max(other.0))
    }
}

impl Default for Temperature {
    /// 20 °C, a mild day.
    fn default() -> Self {
        Self::from_celsius(20.0)
    }
}

impl Sub for Temperature {
    type Output = TemperatureDelta;
    #[inline]
    fn sub(self, other: Self) -> TemperatureDelta {
        TemperatureDelta(self.0 - other.0)
    }
}

impl Add<TemperatureDelta> for Temperature {
    type Output = Self;
    #[inline]
    fn add(self, delta: TemperatureDelta) -> Self {
        Self(self.0 + delta.0)
    }
}

impl Sub<TemperatureDelta> for Temperature {
    type Output = Self;
    #[inline]
    fn sub(self, delta: TemperatureDelta) -> Self {
        Self(self.0 - delta.0)
    }
}

impl Mul<AngularSpeed> for Torque {
    type Output = Power;
    #[inline]
    fn mul(self, speed: AngularSpeed) -> Power {
        Power(self.0 * speed.0)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-9 * b.abs().max(1.0), "{a} is not {b}");
    }

    /// Exact factors: NIST Special Publication 811, appendix B.
    #[test]
    fn doors_agree_with_published_factors() {
        near(Speed::from_miles_per_hour(60.0).kilometres_per_hour(), 96.560_64);
        near(Length::from_miles(7.45).metres(), 11_989.612_8);
        near(Length::from_inches(0.040).millimetres(), 1.016);
        near(Temperature::from_fahrenheit(160.0).celsius(), 640.0 / 9.0);
        near(Temperature::from_celsius(-40.0).fahrenheit(), -40.0);
        near(
            AngularSpeed::from_rpm(3000.0).radians_per_second(),
            314.159_265_358_979_3,
        );
        near(Angle::from_degrees(180.0).radians(), core::f64::consts::PI);
        near(Pressure::from_psi(14.5).kilopascals(), 99.973_976_5);
        near(
            Pressure::from_inches_of_mercury(29.92).kilopascals(),
            101.320_758_88,
        );
        near(Pressure::from_inches_of_water(-8.0).pascals(), -1_992.711_2);
        near(Volume::from_us_gallons(13.2).litres(), 49.967_435_548_8);
        near(
            MassFlow::from_pounds_per_minute(1.0).grams_per_second(),
            7.559_872_833_333_333,
        );
    }

    #[test]
    fn arithmetic_keeps_its_meaning() {
        let warm = Temperature::from_celsius(90.0) - Temperature::from_celsius(20.0);
        near(warm.kelvins(), 70.0);
        near(
            (Torque::from_newton_metres(100.0) * AngularSpeed::from_rpm(3000.0)).kilowatts(),
            31.415_926_535_897_93,
        );
        near(Ratio::from_percent(25.0) / Ratio::from_percent(50.0), 0.5);
    }
}
