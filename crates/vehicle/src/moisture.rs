//! Water in the wiring: rain and spray wet connectors and coils, a hot engine and time dry them. What is damp leaks for a
//! while, is dried by its own current, and leaks again.
//!
//! Times: our choice, of the kind that workshops tell of (a car that stumbles after a wash or in rain, and not the next day).

use rand_chacha::{ChaCha8Rng, rand_core::SeedableRng as _};
use twotrip_units::Limit;

use crate::dice;

/// Time in which rain wets a car that stands, and one at [`SPRAY`], s.
const WETS_STANDING: f64 = 2400.0;
const WETS_DRIVING: f64 = 300.0;
/// Speed at which the wheels throw up all that they do, m/s.
const SPRAY: f64 = 15.0;
/// How wet a car that only stands in the rain becomes.
const STANDING_WET: f64 = 0.5;
/// Time in which a hot engine dries it, and in which it dries parked, s.
const DRIES_HOT: f64 = 1800.0;
const DRIES_COLD: f64 = 14_400.0;
/// Coolant that makes an engine hot, deg C.
const HOT: f64 = 60.0;
/// Below this nothing leaks.
const DAMP: f64 = 0.2;
/// Shortest and longest leak, and shortest and longest pause, of what is soaked, s; what is less wet leaks for less long
/// and pauses for longer.
const LEAK: [f64; 2] = [4.0, 30.0];
const PAUSE: [f64; 2] = [2.0, 20.0];
/// What sets these dice apart.
const STREAM: u64 = 0x6d6f_6973_7475;

/// The water in the wiring.
#[derive(Clone, Debug)]
pub(crate) struct Moisture {
    raining: bool,
    /// 0 dry to 1 soaked.
    wet: f64,
    dice: ChaCha8Rng,
    leaks: bool,
    /// Until it begins or ends to leak, s.
    left: f64,
}

impl Moisture {
    pub(crate) fn new(seed: u64) -> Self {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        dice.set_stream(STREAM);
        Self {
            raining: false,
            wet: 0.0,
            dice,
            leaks: false,
            left: 0.0,
        }
    }

    /// How wet it is, 0 to 1.
    pub(crate) const fn wetness(&self) -> f64 {
        self.wet
    }

    /// It rains from now on, or no longer.
    pub(crate) const fn rain(&mut self, raining: bool) {
        self.raining = raining;
    }

    /// The engine bay and the underbody are hosed down.
    pub(crate) const fn wash(&mut self) {
        self.wet = 1.0;
    }

    /// Over `span` seconds at a road speed in m/s with so hot a coolant; next to nothing for a dry car in dry weather.
    #[inline]
    pub(crate) fn step(&mut self, speed: f64, coolant_celsius: f64, span: f64) {
        if self.raining || self.wet > 0.0 {
            self.soak_or_dry(speed, coolant_celsius, span);
        }
    }

    #[cold]
    fn soak_or_dry(&mut self, speed: f64, coolant_celsius: f64, span: f64) {
        let spray = (speed * (1.0 / SPRAY)).within(0.0, 1.0);
        let (to, seconds) = if self.raining {
            (
                STANDING_WET + (1.0 - STANDING_WET) * spray,
                WETS_STANDING + (WETS_DRIVING - WETS_STANDING) * spray,
            )
        } else if coolant_celsius > HOT {
            (0.0, DRIES_HOT)
        } else {
            (0.0, DRIES_COLD)
        };
        // A longer span than the time it takes is its end, and no further.
        self.wet += (to - self.wet) * (span / (seconds + span));
        if self.wet < 1e-3 && !self.raining {
            self.wet = 0.0;
        }
    }

    /// Whether what water disturbs is disturbed over the next `span` seconds.
    pub(crate) fn leaks(&mut self, span: f64) -> bool {
        if self.wet < DAMP {
            self.leaks = false;
            self.left = 0.0;
            return false;
        }
        self.left -= span;
        if self.left <= 0.0 {
            self.leaks = !self.leaks;
            let (range, share) = if self.leaks {
                (LEAK, self.wet)
            } else {
                (PAUSE, 1.0 / self.wet)
            };
            self.left = dice::between(&mut self.dice, range) * share;
        }
        self.leaks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Share of an hour in which a car of this wetness leaks, and the longest leak, s.
    fn hour(wet: f64, seed: u64) -> (f64, f64) {
        let mut moisture = Moisture::new(seed);
        moisture.wet = wet;
        let (mut leaking, mut longest, mut now) = (0.0, 0.0_f64, 0.0);
        for _ in 0..36_000 {
            now = if moisture.leaks(0.1) { now + 0.1 } else { 0.0 };
            leaking += if now > 0.0 { 0.1 } else { 0.0 };
            longest = longest.max(now);
        }
        (leaking / 3600.0, longest)
    }

    #[test]
    fn what_is_wetter_leaks_more_and_dry_wires_never() {
        assert_eq!(hour(0.0, 1), (0.0, 0.0));
        assert_eq!(hour(0.19, 1), (0.0, 0.0));
        let (damp, _) = hour(0.3, 1);
        let (soaked, longest) = hour(1.0, 1);
        assert!(0.02 < damp && damp < 0.3, "{damp}");
        assert!(0.4 < soaked && soaked < 0.8, "{soaked}");
        assert!(5.0 < longest && longest < 31.0, "{longest} s");
        assert_eq!(hour(0.7, 5), hour(0.7, 5));
        assert_ne!(hour(0.7, 5), hour(0.7, 6));
    }

    #[test]
    fn rain_wets_and_heat_dries() {
        let mut moisture = Moisture::new(1);
        let go = |moisture: &mut Moisture, speed, coolant, seconds: u32| {
            for _ in 0..seconds {
                moisture.step(speed, coolant, 1.0);
            }
            moisture.wetness()
        };
        assert!(go(&mut moisture, 20.0, 90.0, 3600) <= 0.0, "no rain");
        moisture.rain(true);
        let stood = go(&mut moisture, 0.0, 20.0, 600);
        assert!((0.05..0.2).contains(&stood), "{stood}");
        let driven = go(&mut moisture, 20.0, 90.0, 600);
        assert!((0.8..0.95).contains(&driven), "{driven}");
        moisture.rain(false);
        let hot = go(&mut moisture.clone(), 20.0, 90.0, 3600);
        assert!((0.05..0.2).contains(&hot), "{hot}");
        let parked = go(&mut moisture, 0.0, 20.0, 3600);
        assert!((0.6..0.8).contains(&parked), "{parked}");
        for _ in 0..60 * 24 {
            moisture.step(0.0, 20.0, 60.0);
        }
        assert!(moisture.wetness() < DAMP, "dry the next day");
        moisture.wash();
        assert!(moisture.wetness() >= 1.0);
    }
}
