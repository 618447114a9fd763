//! Clients of the embedded bus that were turned away: few are told, each kind by itself. One program that knocks
//! without end must not hide what is wrong with another.

use twotrip_units::BusInstant;

use super::seldom::Seldom;
use crate::bus::local::TurnedAway;

/// Kinds that are told apart: the variants of [`TurnedAway`].
const KINDS: usize = 4;

/// What has been told.
#[derive(Debug, Default)]
pub(super) struct ClientsTurnedAway {
    kinds: [Seldom; KINDS],
}

impl ClientsTurnedAway {
    /// Takes note of one. If it is to be told: how many of its kind have not been since the last that was.
    pub(super) fn note(&mut self, now: BusInstant, why: TurnedAway) -> Option<u64> {
        let kind = match why {
            TurnedAway::OtherVersion(_) => 0,
            TurnedAway::NoHello => 1,
            TurnedAway::Full => 2,
            TurnedAway::NotAFrame(_) => 3,
        };
        self.kinds[kind].note(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_kind_does_not_hide_another() {
        let mut clients = ClientsTurnedAway::default();
        let mut note = |millis, why| clients.note(BusInstant::from_millis(millis), why);
        assert_eq!(note(0, TurnedAway::Full), Some(0));
        assert_eq!(note(1, TurnedAway::Full), None);
        assert_eq!(note(2, TurnedAway::NoHello), Some(0), "told though others knock");
        assert_eq!(note(3, TurnedAway::OtherVersion(2)), Some(0));
        assert_eq!(note(1000, TurnedAway::Full), Some(1), "those of its kind only");
    }
}
