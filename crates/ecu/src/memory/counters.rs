//! Distances, times and warm-ups since the clear and with the MIL on: PIDs $21, $30, $31, $4D, $4E (SAE
//! J1979).

use core::time::Duration;

use serde::{Deserialize, Serialize};

use super::Conditions;

/// The counters as they go on the wire; each holds at its highest value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counters {
    /// PID $21: kilometres with the MIL commanded on; holds when it goes out.
    pub distance_with_mil: u16,
    /// PID $4D: engine minutes with the MIL commanded on; holds when it goes out.
    pub time_with_mil: u16,
    /// PID $30: warm-up cycles since the clear.
    pub warm_ups_since_clear: u8,
    /// PID $31: kilometres since the clear.
    pub distance_since_clear: u16,
    /// PID $4E: engine minutes since the clear.
    pub time_since_clear: u16,
}

/// What has been driven, and for how long the engine ran.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Travelled {
    #[serde(with = "twotrip_units::stored")]
    metres: f64,
    engine_time: Duration,
}

impl Travelled {
    fn add(&mut self, metres: f64, engine_time: Duration) {
        self.metres += metres;
        self.engine_time = self.engine_time.saturating_add(engine_time);
    }

    fn kilometres(&self) -> u16 {
        let kilometres = (self.metres / 1e3).min(f64::from(u16::MAX));
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "never negative, and held at the limit above; a begun kilometre does not count"
        )]
        let whole = kilometres as u16;
        whole
    }

    fn minutes(&self) -> u16 {
        u16::try_from(self.engine_time.as_secs() / 60).unwrap_or(u16::MAX)
    }
}

/// The facts behind [`Counters`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Odometers {
    with_mil: Travelled,
    since_clear: Travelled,
    warm_ups_since_clear: u8,
    warm_ups_with_mil_off: u8,
}

impl Odometers {
    pub(super) fn step(&mut self, conditions: &Conditions, engine_running: bool, mil_commanded: bool) {
        let metres = conditions.vehicle_speed.metres_per_second() * conditions.span.as_secs_f64();
        let metres = if metres.is_finite() { metres.max(0.0) } else { 0.0 };
        let engine_time = if engine_running {
            conditions.span
        } else {
            Duration::ZERO
        };
        self.since_clear.add(metres, engine_time);
        if mil_commanded {
            self.with_mil.add(metres, engine_time);
        }
    }

    pub(super) const fn warm_up(&mut self) {
        self.warm_ups_since_clear = self.warm_ups_since_clear.saturating_add(1);
    }

    /// A driving cycle with a warm-up ended, the MIL off all the time: enough of them forget what was driven
    /// with it.
    pub(super) fn warm_up_with_mil_off(&mut self, enough: u8) {
        self.warm_ups_with_mil_off = self.warm_ups_with_mil_off.saturating_add(1);
        if self.warm_ups_with_mil_off == enough {
            self.with_mil = Travelled::default();
        }
    }

    /// The MIL went from off to on.
    pub(super) fn mil_on(&mut self) {
        self.with_mil = Travelled::default();
        self.warm_ups_with_mil_off = 0;
    }

    pub(super) fn clear(&mut self) {
        *self = Self::default();
    }

    pub(super) fn counters(&self) -> Counters {
        Counters {
            distance_with_mil: self.with_mil.kilometres(),
            time_with_mil: self.with_mil.minutes(),
            warm_ups_since_clear: self.warm_ups_since_clear,
            distance_since_clear: self.since_clear.kilometres(),
            time_since_clear: self.since_clear.minutes(),
        }
    }

    /// Whether both report the same: whole kilometres and minutes.
    pub(super) fn tell_the_same_as(&self, other: &Self) -> bool {
        self.counters() == other.counters() && self.warm_ups_with_mil_off == other.warm_ups_with_mil_off
    }

    /// Whether a car can have driven this.
    pub(super) fn is_possible(&self) -> bool {
        [self.with_mil, self.since_clear]
            .iter()
            .all(|travelled| travelled.metres.is_finite() && travelled.metres >= 0.0)
    }
}
