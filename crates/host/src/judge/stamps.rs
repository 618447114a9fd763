//! The kernel's times of frames, which are of the real-time clock, in bus time, which is of a clock that nobody sets.
//!
//! The two are compared each time frames are thought about, not with each frame. Where the real-time clock was set meanwhile,
//! the stamps of those frames say nothing.

use std::time::{Duration, Instant, SystemTime};

use twotrip_units::BusInstant;

/// The oldest that a frame can be when it is heard: more means that the real-time clock was set.
const MOST_AGE: Duration = Duration::from_secs(1);
/// Two readings of the clocks by which they differ by so much more or less tell that the real-time clock was set. Both are slewed
/// alike (clock_gettime(2)). Our choice: a rule's tolerance is half a millisecond.
const SET: Duration = Duration::from_micros(250);
/// Readings of both clocks this near to each other are good enough.
const NEAR: Duration = Duration::from_micros(20);
/// Readings tried.
const TRIES: usize = 5;

/// What joins the two clocks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stamps {
    /// When bus time began.
    begun: Instant,
    /// The same by the real-time clock.
    zero: SystemTime,
}

impl Stamps {
    /// Bus time began at that instant.
    pub(super) fn new(begun: Instant) -> Self {
        Self {
            begun,
            zero: zero(begun),
        }
    }

    /// Reads both clocks; says whether they go together since they were read the last time.
    pub(super) fn compare(&mut self) -> bool {
        self.compare_with(zero(self.begun))
    }

    fn compare_with(&mut self, zero: SystemTime) -> bool {
        let before = std::mem::replace(&mut self.zero, zero);
        let moved = before
            .duration_since(zero)
            .unwrap_or_else(|later| later.duration());
        moved <= SET
    }

    /// When a frame came in that was heard at this instant.
    pub(super) fn bus_time(&self, noted: SystemTime, heard: BusInstant) -> BusInstant {
        let since = noted.duration_since(self.zero).unwrap_or_default();
        (BusInstant::ZERO + since).clamp(heard - MOST_AGE, heard)
    }
}

/// What the real-time clock said at an instant of the other one.
fn zero(begun: Instant) -> SystemTime {
    // The thread may be held up between two readings.
    let mut best = (Duration::MAX, SystemTime::UNIX_EPOCH);
    for _ in 0..TRIES {
        let before = Instant::now();
        let real = SystemTime::now();
        let between = before.elapsed();
        let ago = before.saturating_duration_since(begun) + between / 2;
        if between < best.0 {
            best = (between, real.checked_sub(ago).unwrap_or(SystemTime::UNIX_EPOCH));
        }
        if between <= NEAR {
            break;
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamps() -> Stamps {
        Stamps {
            begun: Instant::now(),
            zero: SystemTime::UNIX_EPOCH + Duration::from_secs(1000),
        }
    }

    #[test]
    fn a_frame_came_when_the_kernel_had_it_and_not_after_it_was_heard() {
        let (stamps, at) = (stamps(), BusInstant::from_millis);
        let noted = |millis| stamps.zero + Duration::from_millis(millis);
        for (noted, heard, expected) in [
            (noted(5), at(60), at(5)),
            (noted(60), at(60), at(60)),
            // Not after it was heard, and not more than a second before.
            (noted(70), at(60), at(60)),
            (noted(5), at(2000), at(1000)),
            (SystemTime::UNIX_EPOCH, at(60), at(0)),
        ] {
            assert_eq!(stamps.bus_time(noted, heard), expected, "{heard:?}");
        }
    }

    #[test]
    fn a_clock_that_was_set_is_noticed_once() {
        let mut stamps = stamps();
        let zero = stamps.zero;
        assert!(stamps.compare_with(zero + Duration::from_micros(100)));
        assert!(stamps.compare_with(zero));
        assert!(
            !stamps.compare_with(zero + Duration::from_millis(3)),
            "set forward"
        );
        assert!(stamps.compare_with(zero + Duration::from_millis(3)));
        assert!(!stamps.compare_with(zero), "set back");
    }

    #[test]
    fn the_clocks_of_this_computer_go_together() {
        let mut stamps = Stamps::new(Instant::now());
        let (before, noted) = (BusInstant::ZERO + stamps.begun.elapsed(), SystemTime::now());
        let after = BusInstant::ZERO + stamps.begun.elapsed();
        // Unless it is set right now, and a halt of the thread at each of five readings aside.
        if stamps.compare() {
            let at = stamps.bus_time(noted, after + SET);
            assert!(
                at + SET >= before && at <= after + SET,
                "{before:?} {at:?} {after:?}"
            );
        }
    }
}
