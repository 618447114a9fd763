//! Car time for people: how spans and instants are said; and amounts.

use std::time::Duration;

use twotrip_units::CarInstant;

/// `9 h`, `22 min 49 s`, `1.5 s`.
pub(crate) fn say(span: Duration) -> String {
    let seconds = span.as_secs();
    let (hours, minutes) = (seconds / 3600, seconds / 60 % 60);
    match (hours, minutes, seconds % 60) {
        (0, 0, _) => format!("{:.1} s", span.as_secs_f64()),
        (0, minutes, 0) => format!("{minutes} min"),
        (0, minutes, seconds) => format!("{minutes} min {seconds} s"),
        (hours, 0, _) => format!("{hours} h"),
        (hours, minutes, _) => format!("{hours} h {minutes} min"),
    }
}

/// An instant as days, hours, minutes, seconds: `1 d 09:30:00`.
pub(crate) fn stamp(at: CarInstant) -> String {
    let seconds = at.saturating_since(CarInstant::ZERO).as_secs();
    format!(
        "{} d {:02}:{:02}:{:02}",
        seconds / 86_400,
        seconds / 3600 % 24,
        seconds / 60 % 60,
        seconds % 60
    )
}

/// An amount with its unit, to three decimals at the most: `96.527 kPa` for what was written as 14 psi.
pub(crate) fn amount(value: f64, unit: &str) -> String {
    let decimals = format!("{value:.3}");
    let number = decimals.trim_end_matches('0').trim_end_matches('.');
    let number = if number == "-0" { "0" } else { number };
    format!("{number} {unit}").trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::amount;

    #[test]
    fn amounts_have_no_more_decimals_than_people_read() {
        assert_eq!(amount(96.526_597_999_999_99, "kPa"), "96.527 kPa");
        assert_eq!(amount(3000.0, "rpm"), "3000 rpm");
        assert_eq!(amount(-0.000_01, "V"), "0 V");
        assert_eq!(amount(1.0, ""), "1");
    }
}
