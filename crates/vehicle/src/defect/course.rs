//! How a defect behaves in time: it stays, it grows, or it comes and goes.

use core::fmt;

use rand_chacha::{ChaCha8Rng, rand_core::SeedableRng as _};

use crate::{dice, road::Surface};

/// How a defect behaves in time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Course {
    /// There all the time, as large as it is.
    #[default]
    Steady,
    /// Larger by this with each 100 km, up to the most that there can be; in the unit of the defect.
    Growing(f64),
    /// There only at times.
    When(When),
}

/// When a defect is there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum When {
    /// With the coolant hotter than this, °C.
    HotterThan(f64),
    /// With the coolant colder than this, °C.
    ColderThan(f64),
    /// With the engine loaded above this share of a full charge, %.
    LoadOver(f64),
    /// For moments after bumps in the road: seeded, about four a minute of driving, twenty on a rough road.
    OnBumps,
    /// For a while and again, as long as there is water in the wiring: seeded, the more of it the more often.
    Wet,
}

impl Course {
    /// Temperatures that can be asked for, °C.
    pub const TEMPERATURES: [f64; 2] = [-40.0, 150.0];
    /// Loads that can be asked for, %.
    pub const LOADS: [f64; 2] = [0.0, 100.0];
}

impl When {
    /// Whether it is so now; `before` says whether it was a moment ago: some way back, so that it does not flutter.
    pub(crate) fn holds(self, now: &Circumstances, before: bool) -> bool {
        let slack = if before { 2.0 } else { 0.0 };
        match self {
            Self::HotterThan(celsius) => now.coolant_celsius > celsius - slack,
            Self::ColderThan(celsius) => now.coolant_celsius < celsius + slack,
            Self::LoadOver(percent) => now.load_percent > percent - slack,
            Self::OnBumps => now.shaken,
            Self::Wet => now.wet,
        }
    }
}

impl fmt::Display for When {
    /// As in phrases.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::HotterThan(celsius) => write!(f, "when hotter than {celsius} C"),
            Self::ColderThan(celsius) => write!(f, "when colder than {celsius} C"),
            Self::LoadOver(percent) => write!(f, "when load over {percent} %"),
            Self::OnBumps => f.write_str("on bumps"),
            Self::Wet => f.write_str("when wet"),
        }
    }
}

/// What the courses of defects follow.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Circumstances {
    /// Coolant, °C.
    pub(crate) coolant_celsius: f64,
    /// Charge of a cylinder against a full one, %.
    pub(crate) load_percent: f64,
    /// A bump has just shaken the car.
    pub(crate) shaken: bool,
    /// Water in the wiring leaks at the moment.
    pub(crate) wet: bool,
    /// Metres on the odometer.
    pub(crate) metres: f64,
}

/// Mean time between bumps, s, on a smooth and on a rough road, and the shortest and the longest time that one opens a loose
/// contact for (our choice).
const BETWEEN_BUMPS: [f64; 2] = [15.0, 1.5];
const BUMP: [f64; 2] = [0.5, 3.0];
/// Road speed from which bumps are felt, m/s.
const FELT_FROM: f64 = 3.0;

/// The road's bumps.
#[derive(Clone, Debug)]
pub(crate) struct Bumps {
    dice: ChaCha8Rng,
    left: f64,
}

impl Bumps {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            dice: ChaCha8Rng::seed_from_u64(seed ^ 0x0042_554d_5053),
            left: 0.0,
        }
    }

    /// Whether a bump is at work over the next `span` seconds.
    pub(crate) fn step(&mut self, speed: f64, surface: Surface, span: f64) -> bool {
        let [smooth, rough] = BETWEEN_BUMPS;
        let between = match surface {
            Surface::Smooth => smooth,
            Surface::Rough => rough,
        };
        if self.left > 0.0 {
            self.left -= span;
        } else if speed > FELT_FROM && dice::even(&mut self.dice) < span / between {
            self.left = dice::between(&mut self.dice, BUMP);
        }
        self.left > 0.0
    }
}
