//! The monotonic clock, and sleeping to an instant of it.

use std::{num::NonZeroU64, time::Duration};

use rustix::{
    thread::{ClockId as Sleeper, clock_nanosleep_absolute, set_current_timer_slack},
    time::{ClockId, Timespec, clock_gettime},
};
use twotrip_units::BusInstant;

/// The system's monotonic clock, counted from when this was made.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    /// Nanoseconds of the system's clock.
    zero: u64,
}

impl Default for Clock {
    fn default() -> Self {
        Self { zero: monotonic() }
    }
}

impl Clock {
    /// The present instant.
    #[must_use]
    pub fn now(self) -> BusInstant {
        BusInstant::from_nanos(monotonic().saturating_sub(self.zero))
    }

    /// Sleeps with the whole thread until an instant: to an instant and not for a span, so that what happens between
    /// the question for the time and the sleep makes nobody late (clock_nanosleep(2), `TIMER_ABSTIME`). A signal may end it
    /// early: look at the clock again.
    pub fn sleep_until(self, instant: BusInstant) {
        let nanos = self.zero.saturating_add(instant.as_nanos());
        let span = Duration::from_nanos(nanos);
        let request = Timespec {
            tv_sec: i64::try_from(span.as_secs()).unwrap_or(i64::MAX),
            tv_nsec: span.subsec_nanos().into(),
        };
        // Interrupted, or an instant that the clock does not know: the caller looks again.
        let _ = clock_nanosleep_absolute(Sleeper::Monotonic, &request);
    }

    /// Asks the kernel to wake this thread without the 50 us by which it may otherwise put off a wake to save power
    /// (prctl(2), `PR_SET_TIMERSLACK`). A wish.
    pub fn want_precision() {
        let _ = set_current_timer_slack(NonZeroU64::new(1));
    }
}

fn monotonic() -> u64 {
    let now = clock_gettime(ClockId::Monotonic);
    let seconds = u64::try_from(now.tv_sec).unwrap_or(0);
    let nanos = u64::try_from(now.tv_nsec).unwrap_or(0);
    seconds.saturating_mul(1_000_000_000).saturating_add(nanos)
}
