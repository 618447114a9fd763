//! What may happen any number of times and is told at most once a second.

use std::{mem, time::Duration};

use twotrip_units::BusInstant;

/// Least time between two that are told.
const PAUSE: Duration = Duration::from_secs(1);

/// When something was told last, and how often it has happened since.
#[derive(Debug, Default)]
pub(super) struct Seldom {
    told: Option<BusInstant>,
    untold: u64,
}

impl Seldom {
    /// Takes note of another one. If it is to be told: how many have not been since the last that was.
    pub(super) fn note(&mut self, now: BusInstant) -> Option<u64> {
        if self.told.is_some_and(|told| now.saturating_since(told) < PAUSE) {
            self.untold += 1;
            return None;
        }
        self.told = Some(now);
        Some(mem::take(&mut self.untold))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_crowd_is_told_once_a_second_with_its_number() {
        let mut seldom = Seldom::default();
        let told = [0, 1, 999, 1000, 1001, 5000].map(|millis| seldom.note(BusInstant::from_millis(millis)));
        assert_eq!(told, [Some(0), None, None, Some(2), None, Some(1)]);
    }
}
