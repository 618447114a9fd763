//! Disturbances as values: what goes wrong on cue between a tool and the car.

use core::{fmt, time::Duration};

use twotrip_can::CanId;
use twotrip_scenario::{Phrase, disturbance::Kind, parse_phrase};

use crate::{Error, error::of_text};

/// How often it acts, as a phrase has it behind the rest.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Often {
    Usual,
    Times(u32),
    Chance(f64),
}

/// How much of it.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Size {
    Usual,
    Amount(f64),
    Time(Duration),
}

/// A disturbance, to be switched on by [`Car::disturb`](crate::Car::disturb). What each does, what a good tool does about it and
/// what may be said with it stands in `twotrip list disturbances`; `Display` gives the phrase.
///
/// ```
/// use std::time::Duration;
/// use twotrip::{CanId, Disturbance, DisturbanceKind as Kind};
///
/// let lossy = Disturbance::of(Kind::Drop).on(CanId::Standard(0x7E8)).chance(0.2);
/// assert_eq!(lossy.to_string(), "disturb drop 7E8 20 %");
/// let slow = Disturbance::of(Kind::LateAnswer).time(Duration::from_millis(200)).times(3);
/// assert_eq!(slow.to_string(), "disturb late-answer 200 ms 3 times");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disturbance {
    kind: Kind,
    on: Option<CanId>,
    size: Size,
    often: Often,
}

impl Disturbance {
    /// As it is where nothing else is said of it.
    #[must_use]
    pub const fn of(kind: Kind) -> Self {
        Self {
            kind,
            on: None,
            size: Size::Usual,
            often: Often::Usual,
        }
    }

    /// Only frames with this identifier, those of the tool too; of what an ECU does wrong, only the ECU that answers by it.
    #[must_use]
    pub const fn on(mut self, id: CanId) -> Self {
        self.on = Some(id);
        self
    }

    /// How much of it, in the unit that the list gives: ms, s, %, bytes, frames, characters.
    #[must_use]
    pub const fn amount(mut self, amount: f64) -> Self {
        self.size = Size::Amount(amount);
        self
    }

    /// How much of it, where that is a time.
    #[must_use]
    pub const fn time(mut self, time: Duration) -> Self {
        self.size = Size::Time(time);
        self
    }

    /// So many times, then it is over.
    #[must_use]
    pub const fn times(mut self, times: u32) -> Self {
        self.often = Often::Times(times);
        self
    }

    /// This share of the times, 0.001 to 1, by dice of its own: the same ones with the same seed.
    #[must_use]
    pub const fn chance(mut self, share: f64) -> Self {
        self.often = Often::Chance(share);
        self
    }

    /// What it is, by the one grammar that there is of disturbances.
    pub(crate) fn phrase(&self) -> Result<Phrase, Error> {
        let row = self.kind.row();
        let problem = match self.size {
            Size::Amount(_) | Size::Time(_) if row.size.is_none() => {
                Some("there is no more or less of it".to_owned())
            }
            Size::Time(_) => row
                .size
                .filter(|size| !matches!(size.unit, "ms" | "s"))
                .map(|size| format!("the {} is no time: it has the unit `{}`", size.what, size.unit)),
            Size::Usual | Size::Amount(_) => None,
        };
        let text = self.to_string();
        match problem {
            Some(problem) => Err(Error::Text(vec![format!("{text}: {problem}")])),
            None => parse_phrase(&text).map_err(|problem| of_text(&text, &[problem])),
        }
    }
}

impl fmt::Display for Disturbance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "disturb {}", self.kind.name())?;
        match self.on {
            Some(CanId::Standard(id)) => write!(f, " {id:03X}")?,
            Some(CanId::Extended(id)) => write!(f, " {id:08X}")?,
            None => {}
        }
        let unit = self.kind.row().size.map_or("", |size| size.unit);
        match self.size {
            Size::Usual => {}
            Size::Amount(amount) => write!(f, " {amount} {unit}")?,
            Size::Time(time) if unit == "ms" => write!(f, " {} ms", time.as_secs_f64() * 1e3)?,
            Size::Time(time) => write!(f, " {} s", time.as_secs_f64())?,
        }
        match self.often {
            Often::Usual => Ok(()),
            Often::Times(1) => f.write_str(" once"),
            Often::Times(times) => write!(f, " {times} times"),
            Often::Chance(share) => write!(f, " {} %", share * 100.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every kind can be switched on, by what its row says that has to be given.
    #[test]
    fn each_kind_is_a_phrase() {
        for &kind in Kind::ALL {
            let needed = kind.row().size.filter(|size| size.usual.is_none());
            let usual = Disturbance::of(kind);
            assert_eq!(usual.phrase().is_ok(), needed.is_none(), "{usual}");
            let size = needed.map_or(usual, |size| usual.amount(size.range[0]));
            let Ok(Phrase::Disturb(said)) = size.phrase() else {
                panic!("{size}")
            };
            assert_eq!(said.kind, kind);
        }
    }

    #[test]
    fn what_cannot_be_is_refused_with_words() {
        let refused: &[(Disturbance, &str)] = &[
            (Disturbance::of(Kind::Drop).amount(3.0), "no more or less"),
            (
                Disturbance::of(Kind::Truncated).time(Duration::from_millis(3)),
                "no time",
            ),
            (Disturbance::of(Kind::Delay), "delay"),
            (Disturbance::of(Kind::Delay).amount(1e9), "10000"),
            (Disturbance::of(Kind::Delay).amount(f64::NAN), "delay"),
            (Disturbance::of(Kind::Drop).chance(1.5), "100"),
            (Disturbance::of(Kind::Drop).chance(-0.5), "line 1"),
            (Disturbance::of(Kind::Drop).times(0), "times"),
            (Disturbance::of(Kind::ErrorPassive).times(2), "line 1"),
            (
                Disturbance::of(Kind::ErrorPassive).on(CanId::Standard(0x7E8)),
                "no identifier",
            ),
        ];
        for (disturbance, word) in refused {
            let Err(Error::Text(lines)) = disturbance.phrase() else {
                panic!("{disturbance} is taken")
            };
            assert!(lines.join(" ").contains(word), "{disturbance}: {lines:?}");
        }
    }
}
