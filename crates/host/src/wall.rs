//! Bus time in wall time: counted from when it began.
//!
//! A frame counts from when the kernel had it, where it tells, and not from when this program got round to reading it: a busy
//! computer then makes nobody late.

use std::time::{Duration, Instant, SystemTime};

use twotrip_units::BusInstant;

/// The oldest that a frame can be: more means that the real-time clock was set.
const MOST_AGE: Duration = Duration::from_secs(1);

/// Bus time that never goes back.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wall {
    begun: Instant,
    /// The latest instant that it has told.
    latest: BusInstant,
}

impl Wall {
    /// Bus time begins now.
    pub(crate) fn begin() -> Self {
        Self {
            begun: Instant::now(),
            latest: BusInstant::ZERO,
        }
    }

    pub(crate) fn now(&mut self) -> BusInstant {
        self.latest = self.latest.max(self.elapsed());
        self.latest
    }

    /// When a frame came in that has just been read: by the real-time clock, where the kernel noted it.
    pub(crate) fn arrival(&mut self, noted: Option<SystemTime>) -> BusInstant {
        let now = self.elapsed();
        // The two clocks are read one after the other here; a step of the real-time clock in between would be odd luck.
        let age = noted.and_then(|at| SystemTime::now().duration_since(at).ok());
        self.latest = self.latest.max(now - age.unwrap_or_default().min(MOST_AGE));
        self.latest
    }

    /// The instant that it told last.
    pub(crate) const fn latest(self) -> BusInstant {
        self.latest
    }

    /// An instant of bus time, by the clock of this process.
    pub(crate) fn instant(self, at: BusInstant) -> Instant {
        self.begun + at.saturating_since(BusInstant::ZERO)
    }

    fn elapsed(self) -> BusInstant {
        BusInstant::ZERO + self.begun.elapsed()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_counts_from_when_the_kernel_had_it_and_time_never_goes_back() {
        const AGO: Duration = Duration::from_secs(3600);
        let mut wall = Wall {
            begun: Instant::now()
                .checked_sub(2 * MOST_AGE)
                .expect("the computer runs longer"),
            latest: BusInstant::ZERO,
        };
        // Noted by a clock that was set meanwhile: it is a second old at the most.
        let before = wall.elapsed();
        let came = wall.arrival(SystemTime::now().checked_sub(AGO));
        assert!(came >= before - MOST_AGE && came <= wall.elapsed() - MOST_AGE);
        // Noted by nobody, or in what is the future by now: it comes now.
        for noted in [None, SystemTime::now().checked_add(AGO)] {
            let before = wall.elapsed();
            assert!(wall.arrival(noted) >= before);
        }
        let told = wall.now() + AGO;
        wall.latest = told;
        assert_eq!(wall.arrival(None), told);
        assert_eq!(wall.now(), told);
        assert_eq!(wall.latest(), told);
    }
}
