//! The drive schedules: speed over time, one sample a second, carried over from EPA's published traces.
//!
//! The csv files stand in `scenarios/drives` with their provenance; they are read at compile time, so that a
//! malformed file does not build.

use core::time::Duration;

use twotrip_units::{Acceleration, Length, Speed};

/// A speed trace, one sample a second, straight lines between samples.
#[derive(Debug, PartialEq, Eq)]
pub struct Schedule {
    name: &'static str,
    title: &'static str,
    /// µm/s: the six decimals of the files, exactly.
    samples: &'static [u32],
}

/// The Urban Dynamometer Driving Schedule, 40 CFR Part 86 Appendix I.
pub static UDDS: Schedule = Schedule {
    name: "udds",
    title: "US EPA city schedule",
    samples: &parse::<1370>(include_str!("../../../scenarios/drives/udds.csv")),
};

/// The Highway Fuel Economy Test schedule, 40 CFR Part 600 Appendix I.
pub static HWFET: Schedule = Schedule {
    name: "hwfet",
    title: "US EPA highway schedule",
    samples: &parse::<766>(include_str!("../../../scenarios/drives/hwfet.csv")),
};

/// The US06 supplemental schedule, fast and hard driving, 40 CFR Part 86 Appendix I (from memory).
pub static US06: Schedule = Schedule {
    name: "us06",
    title: "US EPA supplemental schedule, fast and hard driving",
    samples: &parse::<601>(include_str!("../../../scenarios/drives/us06.csv")),
};

impl Schedule {
    /// All of them.
    pub const ALL: [&'static Self; 3] = [&UDDS, &HWFET, &US06];

    /// What it is, in a few words.
    #[must_use]
    pub const fn title(&self) -> &'static str {
        self.title
    }

    /// The name that phrases use.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        self.name
    }

    /// The schedule of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static Self> {
        Self::ALL.into_iter().find(|schedule| schedule.name == name)
    }

    /// How many samples it has.
    #[must_use]
    pub const fn samples(&self) -> usize {
        self.samples.len()
    }

    /// From the first sample to the last.
    #[must_use]
    pub fn duration(&self) -> Duration {
        Duration::from_secs(u64::try_from(self.samples.len() - 1).unwrap_or(u64::MAX))
    }

    /// The speed at a sample; the last one beyond the end.
    #[must_use]
    pub fn sample(&self, second: usize) -> Speed {
        let index = second.min(self.samples.len() - 1);
        Speed::from_metres_per_second(f64::from(self.samples[index]) * 1e-6)
    }

    /// The speed at an instant of the schedule.
    #[must_use]
    pub fn speed(&self, at: Duration) -> Speed {
        let second = usize::try_from(at.as_secs()).unwrap_or(usize::MAX - 1);
        let share = f64::from(at.subsec_nanos()) * 1e-9;
        let low = self.sample(second);
        low + (self.sample(second.saturating_add(1)) - low) * share
    }

    /// The slope of the trace at an instant.
    #[must_use]
    pub fn acceleration(&self, at: Duration) -> Acceleration {
        let second = usize::try_from(at.as_secs()).unwrap_or(usize::MAX - 1);
        let rise = self.sample(second.saturating_add(1)) - self.sample(second);
        Acceleration::from_metres_per_second_squared(rise.metres_per_second())
    }

    /// The distance by the trapezium rule, as the published figures are counted.
    #[must_use]
    pub fn distance(&self) -> Length {
        let micrometres: f64 = self
            .samples
            .windows(2)
            .map(|pair| (f64::from(pair[0]) + f64::from(pair[1])) / 2.0)
            .sum();
        Length::from_metres(micrometres * 1e-6)
    }
}

/// Reads `time_s,speed_mps` lines whose times count 0, 1, 2, .. and whose speeds have six decimals.
const fn parse<const N: usize>(csv: &str) -> [u32; N] {
    let bytes = csv.as_bytes();
    let mut samples = [0; N];
    let mut i = 0;
    while bytes[i] != b'\n' {
        i += 1;
    }
    i += 1;
    let mut row = 0;
    while i < bytes.len() {
        let mut time = 0;
        while bytes[i] != b',' {
            time = time * 10 + digit(bytes[i]) as usize;
            i += 1;
        }
        assert!(time == row, "the samples of a schedule are one second apart");
        i += 1;
        let mut micrometres = 0;
        let mut decimals = 0;
        let mut after_point = false;
        while i < bytes.len() && bytes[i] != b'\n' && bytes[i] != b'\r' {
            if bytes[i] == b'.' {
                after_point = true;
            } else {
                micrometres = micrometres * 10 + digit(bytes[i]);
                if after_point {
                    decimals += 1;
                }
            }
            i += 1;
        }
        assert!(decimals == 6, "the speeds of a schedule have six decimals");
        samples[row] = micrometres;
        row += 1;
        while i < bytes.len() && (bytes[i] == b'\n' || bytes[i] == b'\r') {
            i += 1;
        }
    }
    assert!(row == N, "the schedule has another number of samples");
    samples
}

const fn digit(byte: u8) -> u32 {
    assert!(byte.is_ascii_digit(), "a schedule holds digits");
    (byte - b'0') as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a schedule is known by: name, s, miles, mean mph, top mph and when, stops, seconds at rest.
    struct Published {
        schedule: &'static Schedule,
        seconds: u64,
        miles: f64,
        mean_mph: f64,
        top_mph: f64,
        top_at: usize,
        hardest_braking_mph_per_s: f64,
        stops: usize,
        at_rest: usize,
    }

    /// EPA's schedule descriptions: duration, distance, mean and greatest speed; stops and rest counted.
    #[test]
    fn schedules_have_the_published_duration_distance_and_speeds() {
        for published in [
            Published {
                schedule: &UDDS,
                seconds: 1369,
                miles: 7.45,
                mean_mph: 19.59,
                top_mph: 56.7,
                top_at: 240,
                hardest_braking_mph_per_s: -3.3,
                stops: 17,
                at_rest: 259,
            },
            Published {
                schedule: &HWFET,
                seconds: 765,
                miles: 10.26,
                mean_mph: 48.3,
                top_mph: 59.9,
                top_at: 422,
                hardest_braking_mph_per_s: -3.3,
                stops: 1,
                at_rest: 6,
            },
            // Published are 596 s and 48.4 mph: EPA's file stands still for four seconds more.
            Published {
                schedule: &US06,
                seconds: 600,
                miles: 8.01,
                mean_mph: 48.4 * 596.0 / 600.0,
                top_mph: 80.3,
                top_at: 334,
                hardest_braking_mph_per_s: -6.9,
                stops: 5,
                at_rest: 45,
            },
        ] {
            let schedule = published.schedule;
            let mph = |second| schedule.sample(second).miles_per_hour();
            let count = schedule.samples();
            assert_eq!(schedule.duration(), Duration::from_secs(published.seconds));
            assert!((schedule.distance().miles() - published.miles).abs() < 0.006);
            let mean = schedule.distance().miles() / schedule.duration().as_secs_f64() * 3600.0;
            assert!((mean - published.mean_mph).abs() < 0.05, "mean {mean}");
            let top = (0..count).max_by(|&a, &b| mph(a).total_cmp(&mph(b)).then(b.cmp(&a)));
            assert_eq!(top, Some(published.top_at));
            assert!((mph(published.top_at) - published.top_mph).abs() < 1e-3);
            let braking = (1..count).map(|i| mph(i) - mph(i - 1)).fold(0.0, f64::min);
            assert!((braking - published.hardest_braking_mph_per_s).abs() < 0.06);
            let stops = (1..count).filter(|&i| mph(i) == 0.0 && mph(i - 1) > 0.0).count();
            assert_eq!(stops, published.stops);
            assert_eq!((0..count).filter(|&i| mph(i) == 0.0).count(), published.at_rest);
            assert!(Schedule::named(schedule.name()) == Some(schedule));
        }
    }

    /// EPA publishes tenths of a mile per hour.
    #[test]
    fn every_sample_is_a_whole_tenth_of_a_mile_per_hour() {
        for schedule in Schedule::ALL {
            for second in 0..schedule.samples() {
                let tenths = schedule.sample(second).miles_per_hour() * 10.0;
                assert!(
                    (tenths - libm::round(tenths)).abs() < 1e-4,
                    "{} at {second} s",
                    schedule.name()
                );
            }
        }
    }

    #[test]
    fn speed_runs_straight_between_samples_and_holds_at_the_end() {
        let half = UDDS.speed(Duration::from_millis(240_500));
        let mean = (UDDS.sample(240) + UDDS.sample(241)) / 2.0;
        assert!((half - mean).abs().metres_per_second() < 1e-9);
        assert_eq!(UDDS.speed(Duration::MAX), UDDS.sample(1369));
        assert_eq!(UDDS.acceleration(Duration::MAX), Acceleration::ZERO);
    }
}
