//! Processor time as a criterion measurement, for claims "on one core": what else runs on the machine then counts less.

use std::time::Duration;

use criterion::measurement::{Measurement, ValueFormatter, WallTime};
use rustix::time::{ClockId, clock_gettime};

/// Processor time of this process.
#[derive(Debug)]
pub struct CpuTime;

/// Processor time that this process has used.
#[must_use]
pub fn used() -> Duration {
    let time = clock_gettime(ClockId::ProcessCPUTime);
    let part = |value: i64| u64::try_from(value).unwrap_or(0);
    Duration::from_secs(part(time.tv_sec)) + Duration::from_nanos(part(time.tv_nsec))
}

impl Measurement for CpuTime {
    type Intermediate = Duration;
    type Value = Duration;

    fn start(&self) -> Duration {
        used()
    }

    fn end(&self, begun: Duration) -> Duration {
        used().saturating_sub(begun)
    }

    fn add(&self, one: &Duration, other: &Duration) -> Duration {
        *one + *other
    }

    fn zero(&self) -> Duration {
        Duration::ZERO
    }

    fn to_f64(&self, value: &Duration) -> f64 {
        value.as_secs_f64() * 1e9
    }

    fn formatter(&self) -> &dyn ValueFormatter {
        WallTime.formatter()
    }
}
