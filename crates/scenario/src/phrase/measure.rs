//! Numbers with units, metric and US, and their limits.

use core::time::Duration;

use nom::{
    Parser as _,
    branch::alt,
    bytes::complete::take_while,
    character::complete::{char, digit0, digit1, one_of},
    combinator::{opt, recognize},
    sequence::preceded,
};
use twotrip_harness::WiringFault;
use twotrip_units::{AngularSpeed, Length, Pressure, Ratio, Resistance, Speed, Temperature, Voltage, Volume};

use super::{
    Fill,
    fault::{Fault, Parsed},
    rule::{Explanation, Rule, end, first_of},
};
use crate::{
    limits,
    problem::{Expected, Problem, ProblemKind},
};

/// How one kind of value is written, and what of it is allowed.
pub(super) struct Measure<T: 'static> {
    /// The value's name in messages, such as `ambient temperature`.
    pub(super) what: &'static str,
    /// The word in capitals that stands for it in patterns.
    pub(super) slot: &'static str,
    /// What the units are units of.
    pub(super) of: &'static str,
    /// The units with their doors; one without a name for a bare number.
    pub(super) units: &'static [Unit<T>],
    /// The smallest and the largest value allowed.
    pub(super) range: [T; 2],
    /// The canonical number.
    pub(super) show: fn(T) -> String,
    /// The unit of that number; empty if the number brings it.
    pub(super) unit: &'static str,
}

/// A unit and the door from it.
pub(super) type Unit<T> = (&'static str, fn(f64) -> T);

/// The next word: up to white space or a comma; empty at the end.
pub(super) fn word(input: &str) -> Parsed<'_, &str> {
    preceded(
        blank,
        take_while(|character: char| !character.is_whitespace() && character != ','),
    )
    .parse(input)
}

/// White space, of which a line end may leave a carriage return.
pub(super) fn blank(input: &str) -> Parsed<'_, &str> {
    take_while(char::is_whitespace).parse(input)
}

/// A decimal number: no exponent, no thousands separators.
fn decimal(input: &str) -> Parsed<'_, &str> {
    let digits = alt((
        recognize((digit1, opt((char('.'), digit0)))),
        recognize((char('.'), digit1)),
    ));
    preceded(blank, recognize((opt(one_of("+-")), digits))).parse(input)
}

/// What a number without its unit lacks.
pub(super) const UNIT: &str = "unit";

impl<T: Copy + PartialOrd + Sync> Rule for Measure<T> {
    type Out = T;

    /// Reads a number and its unit.
    fn read<'a>(&self, input: &'a str) -> Parsed<'a, T> {
        let Ok((after_number, number)) = decimal(input) else {
            let (_, found) = word(input)?;
            return Err(Fault::new(
                found,
                ProblemKind::NotANumber(self.what),
                self.what,
                [self.allowed()],
            ));
        };
        let (rest, &(unit, door)) = self.unit_of(after_number)?;
        let within = |value: &T| *value >= self.range[0] && *value <= self.range[1];
        match number.parse().ok().map(door).filter(within) {
            Some(value) => Ok((rest, value)),
            None => {
                let start = input.trim_start();
                let found = &start[..start.len() - rest.len()];
                Err(Fault::new(
                    found,
                    ProblemKind::OutOfRange(self.what),
                    self.what,
                    [self.allowed_in(unit, door)],
                ))
            }
        }
    }

    fn explain(&self, help: &mut Explanation) {
        help.slot(self.slot, || {
            let units: Vec<&str> = self.units.iter().map(|(name, _)| *name).collect();
            format!(
                "{} to {}, in {}",
                self.text(self.range[0]),
                self.text(self.range[1]),
                units.join(", ")
            )
        });
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let magnitude = [0.01, 0.1, 1.0, 10.0, 1000.0][dice.below(5)];
        for _ in 0..20 {
            let number = f64::from(u32::try_from(dice.below(2000)).unwrap()) - 300.0;
            let (unit, _) = self.units[dice.below(self.units.len())];
            let text = format!("{} {unit}", precise(number * magnitude));
            if self.read(&text).is_ok() {
                return text;
            }
        }
        self.text(self.range[dice.below(2)])
    }
}

impl<T: Copy + PartialOrd> Measure<T> {
    /// Reads the unit after a number.
    fn unit_of<'a>(&self, input: &'a str) -> Parsed<'a, &'static Unit<T>>
    where
        T: 'static,
    {
        if let [bare @ ("", _)] = self.units {
            return Ok((input, bare));
        }
        let (rest, written) = word(input)?;
        match self.units.iter().find(|(name, _)| same_unit(name, written)) {
            Some(unit) => Ok((rest, unit)),
            None if written.is_empty() => Err(self.unit_fault(input)),
            None => Err(self.unit_fault(written)),
        }
    }

    /// Whether it is counted in this unit.
    pub(super) fn knows_unit(&self, written: &str) -> bool {
        self.units.iter().any(|(name, _)| same_unit(name, written))
    }

    /// The canonical text of a value.
    pub(super) fn text(&self, value: T) -> String {
        format!("{} {}", (self.show)(value), self.unit)
            .trim_end()
            .to_owned()
    }

    fn allowed(&self) -> Expected {
        Expected::text(format!(
            "{} to {}",
            (self.show)(self.range[0]),
            self.text(self.range[1])
        ))
    }

    /// The same, and beside it in the unit that was written, if that is another.
    fn allowed_in(&self, unit: &str, door: fn(f64) -> T) -> Expected {
        if self.unit.is_empty() || unit == self.unit {
            return self.allowed();
        }
        let [least, most] = self.range;
        Expected::text(format!(
            "{} to {} ({} to {} {unit})",
            (self.show)(least),
            self.text(most),
            number(reach(door, least, 1.0)),
            number(reach(door, most, -1.0)),
        ))
    }

    fn unit_fault<'a>(&self, found: &'a str) -> nom::Err<Fault<'a>> {
        let decimal_comma = found.starts_with(',');
        let found = if decimal_comma { &found[..1] } else { found };
        let units = self.units.iter().map(|(name, _)| Expected::Word(name));
        let fault = Fault::new(found, ProblemKind::UnknownUnit(self.of), UNIT, units);
        if decimal_comma {
            Fault::with_hint(fault, "decimals follow a point: 0.5")
        } else {
            fault
        }
    }
}

/// The number whose door leads to `limit`, to three decimals, none of them beyond it (`inward` is the way back).
///
/// Every door rises steadily, so halving finds it: no door needs a way out beside its way in.
fn reach<T: PartialOrd>(door: fn(f64) -> T, limit: T, inward: f64) -> f64 {
    let (mut below, mut above) = (-1e9, 1e9);
    for _ in 0..100 {
        let middle = f64::midpoint(below, above);
        if door(middle) < limit {
            below = middle;
        } else {
            above = middle;
        }
    }
    let rounded = (above * 1000.0).round() / 1000.0;
    let beyond = if inward > 0.0 {
        door(rounded) < limit
    } else {
        door(rounded) > limit
    };
    if beyond { rounded + inward * 0.001 } else { rounded }
}

/// Whether a unit as written is this one, in either case, a temperature with or without its degree sign.
fn same_unit(name: &str, written: &str) -> bool {
    let bare = match name {
        "C" | "F" => written
            .strip_prefix('°')
            .or_else(|| written.strip_prefix("deg"))
            .unwrap_or(written),
        _ => written,
    };
    name.eq_ignore_ascii_case(bare)
}

const TIME_UNITS: &[Unit<Duration>] = &[
    ("s", |value| span(value, 1.0)),
    ("min", |value| span(value, 60.0)),
    ("h", |value| span(value, 3600.0)),
    ("d", |value| span(value, 86_400.0)),
];

/// Beyond what a `Duration` holds, its ends, which are beyond every limit too.
fn span(value: f64, seconds: f64) -> Duration {
    Duration::try_from_secs_f64((value * seconds).max(0.0)).unwrap_or(Duration::MAX)
}

const fn time(what: &'static str, range: [Duration; 2]) -> Measure<Duration> {
    Measure {
        what,
        slot: "TIME",
        of: "time",
        units: TIME_UNITS,
        range,
        show: show_time,
        unit: "",
    }
}

pub(super) const SOAK: Measure<Duration> = time("soak time", limits::SOAK);
pub(super) const WAIT: Measure<Duration> = time("waiting time", limits::WAIT);
pub(super) const WITHIN: Measure<Duration> = time("time", limits::WITHIN);
pub(super) const LEG: Measure<Duration> = time("time of the leg", limits::LEG);
pub(super) const ENGINE_SPEED: Measure<AngularSpeed> = Measure {
    what: "engine speed",
    slot: "ENGINE-SPEED",
    of: "engine speed",
    units: &[("rpm", AngularSpeed::from_rpm)],
    range: limits::ENGINE_SPEED,
    show: |value| number(value.rpm()),
    unit: "rpm",
};
pub(super) const SPEED: Measure<Speed> = Measure {
    what: "speed",
    slot: "SPEED",
    of: "speed",
    units: &[
        ("km/h", Speed::from_kilometres_per_hour),
        ("mph", Speed::from_miles_per_hour),
    ],
    range: limits::SPEED,
    show: |value| number(value.kilometres_per_hour()),
    unit: "km/h",
};
pub(super) const AMBIENT: Measure<Temperature> = Measure {
    what: "ambient temperature",
    slot: "TEMPERATURE",
    of: "temperature",
    units: &[
        ("C", Temperature::from_celsius),
        ("F", Temperature::from_fahrenheit),
    ],
    range: limits::AMBIENT,
    show: |value| number(value.celsius()),
    unit: "C",
};
pub(super) const ALTITUDE: Measure<Length> = Measure {
    what: "altitude",
    slot: "HEIGHT",
    of: "length",
    units: &[
        ("m", Length::from_metres),
        ("km", Length::from_kilometres),
        ("ft", Length::from_feet),
    ],
    range: limits::ALTITUDE,
    show: |value| number(value.metres()),
    unit: "m",
};
/// How much vapour the fuel gives off.
pub(super) const REID: Measure<Pressure> = Measure {
    what: "Reid vapour pressure",
    slot: "PRESSURE",
    of: "pressure",
    units: &[("kPa", Pressure::from_kilopascals), ("psi", Pressure::from_psi)],
    range: limits::REID,
    show: |value| number(value.kilopascals()),
    unit: "kPa",
};
/// How full the tank gets.
pub(super) const LEVEL: Measure<Ratio> = Measure {
    what: "fuel level",
    slot: "LEVEL",
    of: "fuel level",
    units: &[("%", Ratio::from_percent)],
    range: limits::REFUEL,
    show: |value| number(value.percent()),
    unit: "%",
};

/// How much fuel is in the tank then.
pub(super) const VOLUME: Measure<Volume> = Measure {
    what: "fuel level",
    slot: "VOLUME",
    of: "fuel level",
    units: &[("l", Volume::from_litres), ("gal", Volume::from_us_gallons)],
    range: limits::REFUEL_VOLUME,
    show: |value| number(value.litres()),
    unit: "l",
};

/// Where refuelling ends, either way.
pub(super) struct FillRule;
pub(super) const FILL: FillRule = FillRule;

impl Rule for FillRule {
    type Out = Fill;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Fill> {
        let share = || LEVEL.read(input).map(|(rest, level)| (rest, Fill::Level(level)));
        let volume = || {
            VOLUME
                .read(input)
                .map(|(rest, volume)| (rest, Fill::Volume(volume)))
        };
        match share() {
            Err(fault) if Fault::is_of_a_unit(&fault) => match volume() {
                Err(other) if Fault::is_of_a_unit(&other) => first_of([Err(fault), Err(other)].into_iter()),
                read => read,
            },
            read => read,
        }
    }

    fn explain(&self, help: &mut Explanation) {
        LEVEL.explain(help);
        help.words("|");
        VOLUME.explain(help);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        match dice.below(2) {
            0 => LEVEL.sample(dice),
            _ => VOLUME.sample(dice),
        }
    }
}

/// In a wire; the limits are those of the harness.
pub(super) const RESISTANCE: Measure<Resistance> = Measure {
    what: "resistance",
    slot: "RESISTANCE",
    of: "resistance",
    units: &[
        ("ohm", Resistance::from_ohms),
        ("kohm", |value| Resistance::from_ohms(value * 1000.0)),
    ],
    range: WiringFault::RESISTANCE,
    show: |value| number(value.ohms()),
    unit: "ohm",
};

/// Of a sensor's ground; the limits are those of the harness.
pub(super) const BIAS: Measure<Voltage> = Measure {
    what: "offset",
    slot: "OFFSET",
    of: "voltage",
    units: &[
        ("V", Voltage::from_volts),
        ("mV", |value| Voltage::from_volts(value / 1000.0)),
    ],
    range: WiringFault::BIAS,
    show: |value| number(value.volts()),
    unit: "V",
};

/// What the sensor supply is dragged down to; the limits are those of the harness.
pub(super) const PULLED_DOWN: Measure<Voltage> = Measure {
    what: "voltage",
    slot: "VOLTAGE",
    range: WiringFault::PULLED_DOWN,
    ..BIAS
};

/// Reads a time that stands by itself, all of `text`.
pub(crate) fn parse_time(what: &'static str, range: [Duration; 2], text: &str) -> Result<Duration, Problem> {
    let read = || {
        let (rest, time) = time(what, range).read(text.trim_end())?;
        end(rest).map(|(rest, ())| (rest, time))
    };
    match read() {
        Ok((_, time)) => Ok(time),
        Err(error) => Err(Fault::out_of(error).into_problem(text)),
    }
}

/// The longest unit that leaves a whole number, seconds otherwise.
pub(super) fn show_time(time: Duration) -> String {
    let seconds = time.as_secs();
    match (time.subsec_nanos(), seconds % 3600, seconds % 60) {
        (0, 0, _) if seconds > 0 => format!("{} h", seconds / 3600),
        (0, _, 0) if seconds > 60 => format!("{} min", seconds / 60),
        _ => format!("{} s", number(time.as_secs_f64())),
    }
}

/// A number for people: at most three decimals, none that are zero.
pub(super) fn number(value: f64) -> String {
    trimmed(&format!("{value:.3}"))
}

/// A number with the five decimals that the finest resolution of a data byte needs.
pub(super) fn precise(value: f64) -> String {
    trimmed(&format!("{value:.5}"))
}

fn trimmed(decimals: &str) -> String {
    let text = decimals.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}
