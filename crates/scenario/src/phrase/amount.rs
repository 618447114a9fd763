//! A value by its name and how much of it, in a unit of that value: `engine-speed 3000 rpm`.

use twotrip_units::{MassFlow, Pressure, Speed, Temperature, Volume};

use super::{
    fault::Parsed,
    measure::{Measure, Unit, precise},
    rule::{Explanation, Named, Rule},
};

/// One of the values that another crate owns, with an amount in its own unit or a related one.
pub(super) struct Amount<T: 'static> {
    pub(super) slot: &'static str,
    pub(super) what: &'static str,
    pub(super) all: &'static [T],
    pub(super) name: fn(T) -> &'static str,
    pub(super) unit: fn(T) -> &'static str,
    pub(super) range: fn(T) -> [f64; 2],
}

impl<T: Copy + Sync> Amount<T> {
    pub(super) const fn named(&self) -> Named<T> {
        Named {
            slot: self.slot,
            what: self.what,
            all: self.all,
            name: self.name,
        }
    }

    pub(super) fn measure(&self, thing: T) -> Measure<f64> {
        amount((self.name)(thing), (self.unit)(thing), (self.range)(thing))
    }

    pub(super) fn explain_name(&self, help: &mut Explanation) {
        let values = self.all.iter().map(|thing| {
            let [least, most] = (self.range)(*thing);
            let text = format!(
                "{} ({} to {} {}",
                (self.name)(*thing),
                precise(least),
                precise(most),
                (self.unit)(*thing)
            );
            format!("{})", text.trim_end())
        });
        help.slot(self.slot, || values.collect::<Vec<_>>().join(", "));
    }

    pub(super) fn explain_amount(&self, help: &mut Explanation) {
        help.slot("AMOUNT", || {
            let mut units: Vec<&str> = Vec::new();
            let mut plain = "";
            for thing in self.all {
                for (unit, _) in written_as((self.unit)(*thing)) {
                    if unit.is_empty() {
                        plain = "; a plain ratio has none";
                    } else if !units.contains(unit) {
                        units.push(unit);
                    }
                }
            }
            format!(
                "a number and a unit of the value, one of {}{plain}",
                units.join(", ")
            )
        });
    }
}

impl<T: Copy + Sync> Rule for Amount<T> {
    type Out = (T, f64);

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, (T, f64)> {
        let (rest, thing) = self.named().read(input)?;
        let (rest, value) = self.measure(thing).read(rest)?;
        Ok((rest, (thing, value)))
    }

    fn explain(&self, help: &mut Explanation) {
        self.explain_name(help);
        self.explain_amount(help);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let thing = self.all[dice.below(self.all.len())];
        format!("{} {}", (self.name)(thing), self.measure(thing).sample(dice))
    }
}

/// An amount of the value of this name, whose own unit and range these are.
pub(super) fn amount(name: &'static str, unit: &'static str, range: [f64; 2]) -> Measure<f64> {
    Measure {
        slot: "AMOUNT",
        what: name,
        of: name,
        units: written_as(unit),
        range,
        show: precise,
        unit,
    }
}

/// The doors into a unit: itself, and what else means the same kind of thing.
fn written_as(unit: &str) -> &'static [Unit<f64>] {
    match unit {
        "%" => &[("%", |value| value)],
        "bytes" => &[("bytes", f64::round), ("byte", f64::round)],
        "frames" => &[("frames", f64::round), ("frame", f64::round)],
        "characters" => &[("characters", f64::round), ("character", f64::round)],
        "C" => &[
            ("C", |value| value),
            ("F", |value| Temperature::from_fahrenheit(value).celsius()),
        ],
        "kPa" => &[
            ("kPa", |value| value),
            ("Pa", |value| value / 1000.0),
            ("bar", |value| value * 100.0),
            ("mbar", |value| value / 10.0),
            ("psi", |value| Pressure::from_psi(value).kilopascals()),
            ("inHg", |value| {
                Pressure::from_inches_of_mercury(value).kilopascals()
            }),
            ("inH2O", |value| {
                Pressure::from_inches_of_water(value).kilopascals()
            }),
        ],
        "Pa" => &[
            ("Pa", |value| value),
            ("kPa", |value| value * 1000.0),
            ("bar", |value| value * 1e5),
            ("mbar", |value| value * 100.0),
            ("psi", |value| Pressure::from_psi(value).pascals()),
            ("inHg", |value| Pressure::from_inches_of_mercury(value).pascals()),
            ("inH2O", |value| Pressure::from_inches_of_water(value).pascals()),
        ],
        "mm" => &[
            ("mm", |value| value),
            ("cm", |value| value * 10.0),
            ("in", |value| value * 25.4),
        ],
        "mm2" => &[("mm2", |value| value), ("cm2", |value| value * 100.0)],
        "x" => &[("x", |value| value)],
        "g" => &[("g", |value| value), ("mg", |value| value / 1000.0)],
        "V" => &[("V", |value| value), ("mV", |value| value / 1000.0)],
        "deg" => &[("deg", |value| value)],
        "deg/s" => &[("deg/s", |value| value)],
        "ohm" => &[("ohm", |value| value), ("mohm", |value| value / 1000.0)],
        "g/s" => &[
            ("g/s", |value| value),
            ("kg/h", |value| value / 3.6),
            ("lb/min", |value| {
                MassFlow::from_pounds_per_minute(value).grams_per_second()
            }),
        ],
        "kg/h" => &[("kg/h", |value| value), ("g/s", |value| value * 3.6)],
        "Nm" => &[("Nm", |value| value)],
        "mg" => &[("mg", |value| value)],
        "km/h" => &[
            ("km/h", |value| value),
            ("mph", |value| {
                Speed::from_miles_per_hour(value).kilometres_per_hour()
            }),
        ],
        "l/h" => &[
            ("l/h", |value| value),
            ("gal/h", |value| Volume::from_us_gallons(value).litres()),
        ],
        // A difference of temperatures.
        "K" => &[
            ("K", |value| value),
            ("C", |value| value),
            ("F", |value| value / 1.8),
        ],
        "rpm" => &[("rpm", |value| value)],
        "s" => &[
            ("s", |value| value),
            ("min", |value| value * 60.0),
            ("h", |value| value * 3600.0),
        ],
        "ms" => &[("ms", |value| value), ("s", |value| value * 1000.0)],
        _ => &[("", |value| value)],
    }
}
