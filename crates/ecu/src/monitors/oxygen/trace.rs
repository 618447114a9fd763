//! What is seen of a bank's oxygen sensors in every step of 10 ms: a good one crosses its range in four of them, so
//! monitors that look ten times a second would miss it.
//!
//! Transition times run from 0.3 to 0.6 V and back, as published limits count them; a switch is a passage from below
//! 0.35 to above 0.55 V or back, which noise does not make.

use twotrip_units::{Limit, Voltage};

/// Length of a step, ms.
const STEP_MILLISECONDS: f64 = 10.0;
/// Where transitions begin and end, V.
pub(super) const LOW_VOLTS: f64 = 0.3;
pub(super) const HIGH_VOLTS: f64 = 0.6;
/// The longest time between two switches that counts, ms.
const LONGEST_MILLISECONDS: f64 = 2000.0;
/// Where a switch is counted, V.
const LEAN_VOLTS: f64 = 0.35;
const RICH_VOLTS: f64 = 0.55;

/// Transition times of one direction.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Edges {
    /// Sum of their fourth powers, inverted, 1/ms⁴.
    inverted: f64,
    /// How many.
    pub count: u32,
}

impl Edges {
    fn add(&mut self, other: Self) {
        self.inverted += other.inverted;
        self.count += other.count;
    }

    /// Their mean, ms; zero without any. It is the mean of the fourth powers, inverted: a mixture that itself passes
    /// slowly makes long transitions of any sensor, which would drown an ordinary mean; a slow sensor makes no short
    /// ones, whatever the mixture does.
    #[must_use]
    pub fn mean(self) -> f64 {
        if self.count == 0 {
            0.0
        } else {
            libm::sqrt(libm::sqrt(f64::from(self.count) / self.inverted))
        }
    }
}

/// What has gathered since it was last taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gathered {
    /// Lean to rich.
    pub rise: Edges,
    /// Rich to lean.
    pub fall: Edges,
    /// Switches of the front sensor, both directions.
    pub switches: u32,
    /// Sum of the times between them, none counted as longer than [`LONGEST_MILLISECONDS`], ms.
    between: f64,
    /// Length of the path that the front sensor's voltage went, V.
    pub front_path: f64,
    /// The same of the rear sensor.
    pub rear_path: f64,
    /// Lowest and highest voltage of the front sensor.
    pub front: [f64; 2],
}

impl Default for Gathered {
    fn default() -> Self {
        Self {
            rise: Edges::default(),
            fall: Edges::default(),
            switches: 0,
            between: 0.0,
            front_path: 0.0,
            rear_path: 0.0,
            front: [f64::INFINITY, f64::NEG_INFINITY],
        }
    }
}

impl Gathered {
    /// Mean time from a switch to the next but one, ms; without any, infinity. What the loop cannot follow at once, as
    /// where a range of load has not been learned, makes single long times in any car: they count as no more than 2 s.
    #[must_use]
    pub fn period(&self) -> f64 {
        if self.switches == 0 {
            f64::INFINITY
        } else {
            2.0 * self.between / f64::from(self.switches)
        }
    }

    /// Adds what has gathered elsewhere.
    pub fn add(&mut self, other: &Self) {
        self.rise.add(other.rise);
        self.fall.add(other.fall);
        self.switches += other.switches;
        self.between += other.between;
        self.front_path += other.front_path;
        self.rear_path += other.rear_path;
        self.front = [
            self.front[0].at_most(other.front[0]),
            self.front[1].at_least(other.front[1]),
        ];
    }
}

/// The watch on both sensors of a bank.
#[derive(Clone, Copy, Debug, Default)]
pub struct Trace {
    front: f64,
    rear: f64,
    rich: bool,
    /// Steps since the last switch.
    since_switch: f64,
    /// Between which of the levels the front sensor stands: 0 below both, 2 above both.
    zone: u8,
    /// Steps since the voltage left the lower or the upper zone for the middle, fractions counted; which one it left.
    left: Option<(u8, f64)>,
    gathered: Gathered,
}

impl Trace {
    /// One step of 10 ms.
    #[inline]
    pub fn step(&mut self, front: Voltage, rear: Voltage) {
        let (before, front, rear) = (self.front, front.volts(), rear.volts());
        let gathered = &mut self.gathered;
        gathered.front_path += (front - before).abs();
        gathered.rear_path += (rear - self.rear).abs();
        gathered.front = [
            gathered.front[0].at_most(front),
            gathered.front[1].at_least(front),
        ];
        self.front = front;
        self.rear = rear;
        let zone = u8::from(front > LOW_VOLTS) + u8::from(front > HIGH_VOLTS);
        if let Some((_, steps)) = &mut self.left {
            *steps += 1.0;
        }
        if zone != self.zone {
            self.change_zone(before, zone);
        }
        self.since_switch += 1.0;
        if self.rich != (front > if self.rich { LEAN_VOLTS } else { RICH_VOLTS }) {
            self.rich = !self.rich;
            self.gathered.switches += 1;
            let between = self.since_switch * STEP_MILLISECONDS;
            self.gathered.between += between.at_most(LONGEST_MILLISECONDS);
            self.since_switch = 0.0;
        }
    }

    /// The front sensor came into another zone in this step: where in it, by a straight line.
    fn change_zone(&mut self, before: f64, zone: u8) {
        let left_zone = self.zone;
        self.zone = zone;
        // Steps before the end of this one at which a level was crossed.
        let ago = |level: f64| (self.front - level) / (self.front - before);
        let (first, last) = if zone > left_zone {
            (LOW_VOLTS, HIGH_VOLTS)
        } else {
            (HIGH_VOLTS, LOW_VOLTS)
        };
        if left_zone != 1 {
            self.left = Some((left_zone, ago(first)));
        }
        if zone == 1 {
            return;
        }
        if let Some((from, steps)) = self.left.take()
            && from != zone
        {
            // No shorter than a step.
            let milliseconds = (steps - ago(last)).at_least(1.0) * STEP_MILLISECONDS;
            let edge = Edges {
                inverted: 1.0 / (milliseconds * milliseconds * milliseconds * milliseconds),
                count: 1,
            };
            let direction = if zone == 2 {
                &mut self.gathered.rise
            } else {
                &mut self.gathered.fall
            };
            direction.add(edge);
        }
    }

    /// Takes what has gathered, and begins anew; a transition under way goes on.
    pub fn take(&mut self) -> Gathered {
        core::mem::take(&mut self.gathered)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fract(x: f64) -> f64 {
        x - libm::floor(x)
    }

    fn run(volts: impl Fn(f64) -> f64, steps: u32) -> Gathered {
        let mut trace = Trace::default();
        for step in 0..steps {
            let front = volts(f64::from(step) * 0.01);
            trace.step(Voltage::from_volts(front), Voltage::from_volts(front / 2.0));
        }
        trace.take()
    }

    /// A triangle of known slope: 0.3 V in a known time, whatever the steps hit.
    #[test]
    fn transitions_are_timed_between_the_steps() {
        for period in [0.531, 0.87, 1.4, 3.3] {
            let triangle = |t: f64| {
                let phase = fract(t / period);
                0.05 + 0.8 * (1.0 - (2.0 * phase - 1.0).abs())
            };
            let gathered = run(triangle, 10_000);
            let expected = 0.3 / (1.6 / period) * 1000.0;
            for edges in [gathered.rise, gathered.fall] {
                assert!((edges.mean() - expected).abs() < 1.0, "{period} s: {edges:?}");
                let share = f64::from(edges.count) * period / 100.0;
                assert!((share - 1.0).abs() < 0.05, "{period} s: {edges:?}");
            }
            let switches = f64::from(gathered.switches) * period / 200.0;
            assert!((switches - 1.0).abs() < 0.05, "{period} s");
            assert!((gathered.front_path / (1.6 * 100.0 / period) - 1.0).abs() < 0.05);
            assert!((gathered.rear_path / gathered.front_path - 0.5).abs() < 1e-9);
            assert!(gathered.front[0] < 0.1 && gathered.front[1] > 0.8);
        }
    }

    /// A voltage that turns in the middle is no transition, and one that jumps over both levels is a short one.
    #[test]
    fn only_whole_transitions_count() {
        let gathered = run(|t| if fract(t / 0.5) < 0.5 { 0.2 } else { 0.45 }, 1000);
        assert_eq!(
            (gathered.rise.count, gathered.fall.count, gathered.switches),
            (0, 0, 0)
        );
        let gathered = run(|t| if fract(t / 0.5) < 0.5 { 0.1 } else { 0.8 }, 1000);
        assert!(
            gathered.rise.count >= 19 && gathered.rise.mean() < 10.1,
            "{gathered:?}"
        );
    }

    #[test]
    fn taking_begins_anew() {
        let mut trace = Trace::default();
        trace.step(Voltage::from_volts(0.8), Voltage::from_volts(0.7));
        assert!(trace.take().front_path > 0.7);
        assert_eq!(trace.take(), Gathered::default());
    }
}
