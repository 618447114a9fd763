//! Units of scaled numbers, as they are shown.

macro_rules! units {
    ($($variant:ident $symbol:literal $doc:literal;)+) => {
        /// The unit of a scaled number, as it is shown.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Unit {
            $(#[doc = $doc] $variant,)+
        }

        impl Unit {
            /// The symbol; empty where there is none.
            #[must_use]
            pub const fn symbol(self) -> &'static str {
                match self { $(Self::$variant => $symbol),+ }
            }
        }
    };
}

units! {
    AirFuelRatio "" "Air to fuel by mass.";
    Amperes "A" "Amperes.";
    Code "" "A number without a scale, such as a type.";
    Count "" "A plain number of events.";
    DegreesCelsius "°C" "Degrees Celsius.";
    DegreesOfAngle "°" "Degrees of crankshaft angle.";
    Gear "" "A gear of the transmission, 0 = neutral.";
    Grams "g" "Grams.";
    GramsPerCylinder "g/cyl" "Grams per cylinder.";
    GramsPerSecond "g/s" "Grams per second.";
    Hertz "Hz" "Hertz.";
    Hours "h" "Hours.";
    Inches "in" "Inches.";
    KilogramsPerHour "kg/h" "Kilograms per hour.";
    Kilohertz "kHz" "Kilohertz.";
    Kilometres "km" "Kilometres.";
    KilometresPerHour "km/h" "Kilometres per hour.";
    Kiloohms "kohm" "Kiloohms.";
    Kilopascals "kPa" "Kilopascals.";
    Litres "l" "Litres.";
    LitresPerHour "l/h" "Litres per hour.";
    Microamperes "µA" "Microamperes.";
    Microseconds "µs" "Microseconds.";
    Milliamperes "mA" "Milliamperes.";
    MilligramsPerCubicMetre "mg/m³" "Milligrams per cubic metre.";
    MilligramsPerStroke "mg/stroke" "Milligrams per stroke.";
    Millihertz "mHz" "Millihertz.";
    Milliohms "mohm" "Milliohms.";
    Milliseconds "ms" "Milliseconds.";
    Millivolts "mV" "Millivolts.";
    MillivoltsPerMillisecond "mV/ms" "Millivolts per millisecond.";
    MillivoltsPerSecond "mV/s" "Millivolts per second.";
    Minutes "min" "Minutes.";
    NewtonMetres "Nm" "Newton metres.";
    Ohms "ohm" "Ohms.";
    PartsPerMillion "ppm" "Parts per million.";
    Pascals "Pa" "Pascals.";
    PascalsPerSecond "Pa/s" "Pascals per second.";
    Percent "%" "Percent.";
    Ratio "" "A ratio; of mixture: 1 = stoichiometric.";
    RevolutionsPerMinute "rpm" "Revolutions per minute.";
    Seconds "s" "Seconds.";
    SquareMillimetres "mm²" "Square millimetres.";
    Switches "switches" "Changes of a signal.";
    TrueOrFalse "" "A state: 0 = false, 1 = true.";
    Volts "V" "Volts.";
}
