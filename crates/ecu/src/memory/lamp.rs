//! The malfunction indicator lamp itself, with its check at key-on (13 CCR 1968.2(d)(2.1)).
//!
//! After the check the lamp may show readiness, if the maker wants it to: (d)(2.1.3).

use core::time::Duration;

use twotrip_units::CarInstant;

use super::Profile;

/// For so long the lamp blinks where a monitor is not complete: (g)(4.1.3), 5 to 10 s (from memory).
const NOT_READY: Duration = Duration::from_secs(10);

/// What the driver sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lamp {
    /// Dark.
    Off,
    /// Steady.
    On,
    /// Once per second: reserved to misfire that endangers the catalyst.
    Blinking,
}

impl Lamp {
    /// Whether the bulb shines at this instant: blinking is half a second on, half a second off (once per second:
    /// 1968.2(e)(3.4.1)(A)(ii); the halves are our choice).
    #[must_use]
    pub const fn shines(self, now: CarInstant) -> bool {
        match self {
            Self::Off => false,
            Self::On => true,
            Self::Blinking => (now.as_nanos() / 500_000_000).is_multiple_of(2),
        }
    }
}

/// Key and bulb check.
#[derive(Clone, Copy, Debug, Default)]
pub(super) enum Key {
    #[default]
    Off,
    /// On, bulb check since then.
    Checking(CarInstant),
    /// On, check over: cranked.
    On,
}

impl Key {
    /// Switched on; repeated, it begins no second check.
    pub(super) const fn on(&mut self, now: CarInstant) {
        if matches!(self, Self::Off) {
            *self = Self::Checking(now);
        }
    }

    pub(super) const fn off(&mut self) {
        *self = Self::Off;
    }

    pub(super) const fn end_check(&mut self) {
        if matches!(self, Self::Checking(_)) {
            *self = Self::On;
        }
    }

    /// `all_ready` is asked after the check: whether every monitor is complete, if the lamp is to show it.
    pub(super) fn lamp(
        self,
        profile: &Profile,
        now: CarInstant,
        commanded: Lamp,
        all_ready: impl FnOnce() -> Option<bool>,
    ) -> Lamp {
        match self {
            Self::Off => Lamp::Off,
            _ if commanded != Lamp::Off => commanded,
            Self::Checking(since) => {
                let Some(after) = now.saturating_since(since).checked_sub(profile.bulb_check) else {
                    return Lamp::On;
                };
                match all_ready() {
                    Some(true) => Lamp::On,
                    Some(false) if after < NOT_READY => Lamp::Blinking,
                    _ => Lamp::Off,
                }
            }
            Self::On => Lamp::Off,
        }
    }
}
