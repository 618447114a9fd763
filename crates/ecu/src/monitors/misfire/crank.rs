//! From the times between firings to the firings that failed.
//!
//! A firing raises the crank's energy, a missing one lets it fall by the work that was due. From the segments before
//! and after a firing its share is known: `D = J/2 (w(k+1)^2 - w(k-1)^2) / W`, `w = angle / time`, `W` the work
//! expected at this load. What speeds the whole engine up or slows it down is taken out: the median of `D` over the
//! neighbours in the firing order. A lone miss gives -1. A dead cylinder settles at -0.51, for the mean torque falls
//! with it and the others push in between; so the limit lies below that. Neighbours in the firing order that both
//! miss merge into one deep dip, which counts for both. (Our own arrangement of a known method; figures calibrated.)

/// Energy below which a firing failed, as a share of the work expected, if it is also the least of its neighbours'.
const LIMIT: f64 = -0.38;
/// Energy below which it failed whatever the neighbours.
const DEEP: f64 = -1.25;
/// Segments after a disturbance until a firing can be judged again: those that its judgement rests on.
const SETTLE: u8 = 9;
/// How many firings a judgement comes late.
const LATE: u8 = 4;

/// What is kept of the last segments.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crank {
    /// From firing to firing, rad.
    angle: f64,
    /// Places in the firing order.
    places: u8,
    /// Squares of the last two speeds, (rad/s)²; the newer last.
    squares: [f64; 2],
    /// Gain of each firing over its two neighbours, (rad/s)², oldest first.
    gains: [f64; 7],
    /// Segments until the next judgement.
    settle: u8,
}

/// A firing that has been judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Judged {
    /// Place in the firing order.
    pub(super) place: u8,
    /// Whether it failed.
    pub(super) missed: bool,
}

impl Crank {
    /// An engine with so many cylinders.
    pub(super) fn new(cylinders: u8) -> Self {
        Self {
            angle: 4.0 * core::f64::consts::PI / f64::from(cylinders),
            places: cylinders,
            squares: [0.0; 2],
            gains: [0.0; 7],
            settle: SETTLE,
        }
    }

    /// From firing to firing, rad.
    #[cfg(test)]
    const fn angle(&self) -> f64 {
        self.angle
    }

    /// Nothing of what came before counts.
    pub(super) const fn disturb(&mut self) {
        self.settle = SETTLE;
    }

    /// Takes a segment: its place in the firing order, its time in seconds, and half the crank's inertia by the work expected
    /// of a firing.
    /// Gives the firing of some segments ago, now that its neighbours are known too.
    #[inline]
    pub(super) fn take(&mut self, place: u8, seconds: f64, scale: f64) -> Option<Judged> {
        let omega = self.angle / seconds;
        let square = omega * omega;
        let gain = square - self.squares[0];
        self.squares = [self.squares[1], square];
        let [_, a, b, c, d, e, f] = self.gains;
        self.gains = [a, b, c, d, e, f, gain];
        if self.settle > 0 {
            self.settle -= 1;
            return None;
        }
        // Before, middle and after: the firing that is judged is `d`'s.
        let trend = median([a, b, d, f, gain]);
        let energy = (d - trend) * scale;
        let least = d <= c && d <= e;
        let late = (place + self.places * LATE - LATE) % self.places;
        Some(Judged {
            place: late,
            missed: energy < DEEP || least && energy < LIMIT,
        })
    }
}

/// The middle one of five.
#[inline]
fn median([a, b, c, d, e]: [f64; 5]) -> f64 {
    let sort = |x: f64, y: f64| if x < y { (x, y) } else { (y, x) };
    let (a, b) = sort(a, b);
    let (c, d) = sort(c, d);
    // The least of the four lower ends and the greatest of the upper ones are not the middle.
    let (_, lower) = sort(a, c);
    let (upper, _) = sort(b, d);
    let (low, high) = sort(lower, upper);
    if e < low {
        low
    } else if e > high {
        high
    } else {
        e
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use rand_chacha::{
        ChaCha8Rng,
        rand_core::{Rng, SeedableRng},
    };

    use super::*;

    #[test]
    fn the_median_is_the_middle_one() {
        let mut values = [5.0, 1.0, 4.0, 2.0, 3.0];
        // All orders, by swapping in Heap's way.
        fn orders(k: usize, values: &mut [f64; 5]) {
            if k == 1 {
                assert!((median(*values) - 3.0).abs() < 1e-12, "{values:?}");
                return;
            }
            for i in 0..k {
                orders(k - 1, values);
                values.swap(if k.is_multiple_of(2) { i } else { 0 }, k - 1);
            }
        }
        orders(5, &mut values);
        assert!((median([1.0, 1.0, 2.0, 2.0, 2.0]) - 2.0).abs() < 1e-12);
    }

    /// A crank by itself: work of the firings, a load that holds the speed, teeth with their error.
    struct Bench {
        crank: Crank,
        dice: ChaCha8Rng,
        omega: f64,
        nominal: f64,
        work: f64,
        scatter: f64,
        cylinders: u8,
        /// Share of firings missing in the long run, which the load allows for.
        missing: f64,
        place: u8,
        /// The last firings, newest last: whether each missed.
        truth: std::vec::Vec<bool>,
    }

    #[derive(Debug, Default)]
    struct Rates {
        misses: u32,
        hits: u32,
        good: u32,
        false_alarms: u32,
    }

    impl Rates {
        fn percent(part: u32, of: u32) -> f64 {
            100.0 * f64::from(part) / f64::from(of.max(1))
        }
    }

    impl Bench {
        fn new(cylinders: u8, rpm: f64, work: f64, scatter: f64, missing: f64) -> Self {
            Self {
                crank: Crank::new(cylinders),
                dice: ChaCha8Rng::seed_from_u64(11),
                omega: rpm * core::f64::consts::PI / 30.0,
                nominal: rpm * core::f64::consts::PI / 30.0,
                work,
                scatter,
                cylinders,
                missing,
                place: 0,
                truth: std::vec::Vec::new(),
            }
        }

        /// Even between 0 and 1.
        fn even(&mut self) -> f64 {
            f64::from(self.dice.next_u32()) / f64::from(u32::MAX)
        }

        /// Mean 0, deviation 1: the sum of twelve even ones.
        fn normal(&mut self) -> f64 {
            (0..12).map(|_| self.even()).sum::<f64>() - 6.0
        }

        /// One firing; `pull`: extra torque on the crank from outside, N m.
        fn fire(&mut self, chance: impl Fn(u8) -> f64, pull: f64) -> Option<(Judged, bool)> {
            let missed = self.even() < chance(self.place);
            let work = if missed {
                0.0
            } else {
                self.work * (1.0 + self.scatter * self.normal())
            };
            let angle = self.crank.angle();
            let load = self.work * (1.0 - self.missing) + 0.05 * (self.omega - self.nominal) * angle;
            let square = self.omega * self.omega + 2.0 * (work - load + pull * angle) / 0.20;
            let after = square.max(100.0).sqrt();
            let time = 2.0 * angle / (self.omega + after) * (1.0 + 0.0003 * self.normal());
            self.omega = after;
            self.truth.push(missed);
            let place = self.place;
            self.place = (place + 1) % self.cylinders;
            let judged = self.crank.take(place, time, 0.10 / self.work)?;
            Some((judged, self.truth[self.truth.len() - 1 - usize::from(LATE)]))
        }

        fn rates(&mut self, firings: u32, chance: impl Fn(u8) -> f64) -> Rates {
            let mut rates = Rates::default();
            for _ in 0..firings {
                let Some((judged, missed)) = self.fire(&chance, 0.0) else {
                    continue;
                };
                if missed {
                    rates.misses += 1;
                    rates.hits += u32::from(judged.missed);
                } else {
                    rates.good += 1;
                    rates.false_alarms += u32::from(judged.missed);
                }
            }
            rates
        }
    }

    /// rpm, work of a firing in J, its scatter.
    const POINTS: [(f64, f64, f64); 4] = [
        (700.0, 102.0, 0.06),
        (2000.0, 184.0, 0.025),
        (2500.0, 108.0, 0.03),
        (4500.0, 649.0, 0.015),
    ];

    /// Hit rates and false alarms in per cent, beside those that a prototype of this method computed without taking the
    /// trend out: random misses 2, 10, 25 %: 99, 87, 58 % at most 0, 0.3, 1.1 % false; one cylinder 5, 30, 100 %: 98 to
    /// 100 % and none false. Taking it out costs hits where misses crowd, and spares false alarms.
    #[test]
    fn hits_and_false_alarms_are_those_of_the_prototype() {
        for (rpm, work, scatter) in POINTS {
            let healthy = Bench::new(4, rpm, work, scatter, 0.0).rates(20_000, |_| 0.0);
            assert_eq!(healthy.false_alarms, 0, "{rpm} rpm, healthy");
            let held = |rates: &Rates, what: &str, chance: f64, least: f64, most: f64| {
                let hit = Rates::percent(rates.hits, rates.misses);
                let alarm = Rates::percent(rates.false_alarms, rates.good);
                assert!(hit >= least, "{rpm} rpm, {what} {chance}: {hit} %");
                assert!(alarm <= most, "{rpm} rpm, {what} {chance}: {alarm} % false");
            };
            for (chance, hits, alarms) in [(0.02, 97.5, 0.05), (0.10, 80.0, 0.3), (0.25, 54.0, 1.0)] {
                let rates = Bench::new(4, rpm, work, scatter, chance).rates(20_000, |_| chance);
                held(&rates, "random", chance, hits, alarms);
            }
            for (chance, hits) in [(0.05, 99.5), (0.3, 99.5), (1.0, 97.5)] {
                let bench = &mut Bench::new(4, rpm, work, scatter, chance / 4.0);
                let rates = bench.rates(20_000, |place| if place == 2 { chance } else { 0.0 });
                held(&rates, "one cylinder", chance, hits, 0.05);
            }
        }
    }

    /// The trap of a limit made for lone misses: a dead cylinder's firings settle at -0.51 (computed, published nowhere).
    #[test]
    fn a_dead_cylinder_settles_at_half_its_work() {
        let mut bench = Bench::new(4, 2000.0, 184.0, 0.0, 0.25);
        let mut lowest = 0.0_f64;
        for firing in 0..400 {
            bench.fire(|place| f64::from(u8::from(place == 1)), 0.0);
            if firing > 300 {
                let gain = bench.crank.gains[3] * 0.10 / 184.0;
                lowest = lowest.min(gain);
            }
        }
        assert!((lowest + 0.51).abs() < 0.03, "{lowest}");
    }

    /// Speeding up and slowing down by 2000 rpm/s, as in the lowest gear, is no misfire, nor does it hide one.
    #[test]
    fn acceleration_is_no_misfire() {
        for pull in [-42.0, 42.0] {
            let mut bench = Bench::new(4, 2500.0, 184.0, 0.025, 0.0);
            let mut missed = 0;
            for _ in 0..25 {
                if let Some((judged, _)) = bench.fire(|_| 0.0, pull) {
                    missed += u32::from(judged.missed);
                }
            }
            assert_eq!(missed, 0, "pull of {pull} N m");
        }
    }

    /// Six cylinders: a dead one and random misses are found as well.
    #[test]
    fn six_cylinders_are_told_apart() {
        for (rpm, work) in [(650.0, 110.0), (2000.0, 150.0)] {
            let mut bench = Bench::new(6, rpm, work, 0.03, 1.0 / 6.0);
            let mut counts = [0; 6];
            for _ in 0..6000 {
                if let Some((judged, _)) = bench.fire(|place| f64::from(u8::from(place == 4)), 0.0) {
                    counts[usize::from(judged.place)] += u32::from(judged.missed);
                }
            }
            assert!(
                counts[4] > 970 && counts.iter().sum::<u32>() - counts[4] < 10,
                "{counts:?}"
            );
        }
    }
}
