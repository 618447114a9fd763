//! A rough road: it shakes the body, and through wheels and axle the crank.
//!
//! The wheels hop and twist the axle's springs, which swing at some 7 Hz (common practice, no source); with the lock-up
//! clutch shut the crank goes with them, an open converter lets little of it through. How much: calibrated, so that an
//! ECU that did not know of the road would take it for misfire. A smooth road costs nothing.

use rand_chacha::{ChaCha8Rng, rand_core::SeedableRng as _};
use twotrip_units::Limit;

use crate::dice;

/// What the wheels run on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Surface {
    /// Asphalt, with a pothole now and then.
    #[default]
    Smooth,
    /// Cobbles, washboard, a track.
    Rough,
}

impl Surface {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::Smooth, Self::Rough];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Smooth => "smooth",
            Self::Rough => "rough",
        }
    }
}

/// Road speed from which it is felt, and from which on in full, m/s.
const FELT: [f64; 2] = [3.0, 10.0];
/// The axle's springs: rad/s, and their damping.
const AXLE: (f64, f64) = (44.0, 0.15);
/// Twist that the wheels are thrown by at most, rad/s at the crank.
const THROWN: f64 = 6.0;
/// Share of it that an open converter lets through.
const THROUGH_CONVERTER: f64 = 0.2;
/// Greatest vertical acceleration of the body, m/s².
const BODY: f64 = 8.0;

/// The road under the car.
#[derive(Clone, Debug)]
pub(crate) struct Road {
    pub(crate) surface: Surface,
    dice: ChaCha8Rng,
    /// Twist of the axle as speed at the crank, rad/s, and its change, rad/s².
    twist: f64,
    change: f64,
}

/// What comes of it in a step.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Shaking {
    /// Added to the speed of the crank, rad/s.
    pub(crate) crank: f64,
    /// Vertical acceleration of the body, m/s².
    pub(crate) body: f64,
}

impl Road {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            surface: Surface::Smooth,
            dice: ChaCha8Rng::seed_from_u64(seed ^ 0x0052_4f41_4453),
            twist: 0.0,
            change: 0.0,
        }
    }

    /// Even between -1 and 1.
    fn throw(&mut self) -> f64 {
        dice::between(&mut self.dice, [-1.0, 1.0])
    }

    /// One step over the present surface, at a road speed in m/s; `locked` is the lock-up clutch.
    #[inline]
    pub(crate) fn step(&mut self, speed: f64, locked: bool, dt: f64) -> Shaking {
        if self.surface == Surface::Smooth {
            return Shaking::default();
        }
        self.shake(speed, locked, dt)
    }

    #[cold]
    fn shake(&mut self, speed: f64, locked: bool, dt: f64) -> Shaking {
        let strength = ((speed - FELT[0]) * (1.0 / (FELT[1] - FELT[0]))).within(0.0, 1.0);
        let thrown = THROWN * strength * self.throw();
        let (omega, damping) = AXLE;
        // Speed before place: stable while a swing takes more than six steps.
        self.change += (omega * omega * (thrown - self.twist) - 2.0 * damping * omega * self.change) * dt;
        self.twist += self.change * dt;
        Shaking {
            crank: self.twist * if locked { 1.0 } else { THROUGH_CONVERTER },
            body: BODY * strength * self.throw(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Swings of both, as standard deviations, over a minute.
    fn swings(surface: Surface, speed: f64, locked: bool) -> [f64; 2] {
        let mut road = Road::new(3);
        road.surface = surface;
        let mut squares = [0.0; 2];
        for _ in 0..6000 {
            let shaking = road.step(speed, locked, 0.01);
            squares[0] += shaking.crank * shaking.crank;
            squares[1] += shaking.body * shaking.body;
        }
        squares.map(|square: f64| (square / 6000.0).sqrt())
    }

    #[test]
    fn only_a_rough_road_shakes_and_only_a_moving_car() {
        for (surface, speed) in [
            (Surface::Smooth, 20.0),
            (Surface::Rough, 0.0),
            (Surface::Rough, 2.9),
        ] {
            let still = swings(surface, speed, true)
                .iter()
                .all(|swing| swing.abs() < 1e-12);
            assert!(still, "{surface:?}, {speed} m/s");
        }
        let [slow, _] = swings(Surface::Rough, 5.0, true);
        let [fast, body] = swings(Surface::Rough, 20.0, true);
        let [open, _] = swings(Surface::Rough, 20.0, false);
        assert!(
            slow > 0.3 && fast > 2.0 * slow && fast < 10.0,
            "{slow} and {fast} rad/s"
        );
        assert!((open / fast - THROUGH_CONVERTER).abs() < 1e-9, "{open} rad/s");
        // More than the 0.3 g that are published as the limit of such monitors (service information, 2000 model year).
        assert!(body > 3.0, "{body} m/s2");
    }
}
