//! A number of firings, and which of them failed.

use twotrip_harness::BANKS;

use super::CYLINDERS;

/// Firings counted since it began.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Block {
    pub(super) firings: u32,
    missed: [u16; CYLINDERS],
    rpm: f64,
    load: f64,
    flow: f64,
    samples: f64,
}

/// What failed, as far as one can say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Who {
    /// This cylinder, counted from 0.
    One(usize),
    /// Several, or nobody can say.
    Several,
}

impl Block {
    /// A firing of this cylinder.
    #[inline]
    pub(super) fn add(&mut self, cylinder: usize, missed: bool) {
        self.firings += 1;
        if missed && let Some(count) = self.missed.get_mut(cylinder) {
            *count = count.saturating_add(1);
        }
    }

    /// Where the engine runs, every 100 ms.
    pub(super) fn sample(&mut self, rpm: f64, load: f64, flow: f64) {
        self.rpm += rpm;
        self.load += load;
        self.flow += flow;
        self.samples += 1.0;
    }

    /// Mean engine speed in rpm, load as a share and air flow in g/s.
    pub(super) fn mean(&self) -> [f64; 3] {
        let count = self.samples.max(1.0);
        [self.rpm / count, self.load / count, self.flow / count]
    }

    fn missed(&self) -> u32 {
        self.missed.iter().map(|&count| u32::from(count)).sum()
    }

    /// Share of the firings that failed.
    pub(super) fn share(&self) -> f64 {
        f64::from(self.missed()) / f64::from(self.firings.max(1))
    }

    /// The same of the cylinders of each of `banks` banks, by which cylinder belongs to the second.
    pub(super) fn shares(&self, second: &[bool; CYLINDERS], banks: usize) -> [f64; BANKS] {
        let mut shares = [0.0; BANKS];
        for (&missed, &second) in self.missed.iter().zip(second) {
            shares[usize::from(second)] += f64::from(missed);
        }
        let firings = f64::from(self.firings.max(1)) / if banks > 1 { 2.0 } else { 1.0 };
        shares.map(|missed| missed / firings)
    }

    /// More than 90 % of the failures in one cylinder name it; with two above 10 % it is several, and so it is where
    /// neither holds (13 CCR 1968.2(e)(3.1.2) and (3.1.3); the last our choice).
    pub(super) fn who(&self) -> Who {
        let sum = self.missed();
        let most = (0..CYLINDERS)
            .max_by_key(|&cylinder| self.missed[cylinder])
            .unwrap_or(0);
        if 10 * u32::from(self.missed[most]) > 9 * sum {
            Who::One(most)
        } else {
            Who::Several
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(missed: [u16; CYLINDERS]) -> Block {
        let mut block = Block::default();
        for (cylinder, count) in missed.into_iter().enumerate() {
            (0..100).for_each(|firing| block.add(cylinder, firing < count));
        }
        block
    }

    #[test]
    fn one_cylinder_is_named_above_ninety_per_cent_only() {
        for (missed, who) in [
            ([0, 0, 50, 0, 0, 0], Who::One(2)),
            ([0, 0, 91, 5, 4, 0], Who::One(2)),
            ([0, 0, 90, 5, 5, 0], Who::Several),
            ([0, 0, 85, 15, 0, 0], Who::Several),
            ([9, 9, 9, 9, 9, 9], Who::Several),
            ([1, 0, 0, 0, 0, 0], Who::One(0)),
        ] {
            assert_eq!(block(missed).who(), who, "{missed:?}");
        }
        assert!((block([0, 0, 60, 0, 0, 0]).share() - 0.1).abs() < 1e-12);
    }

    #[test]
    fn means_are_over_the_samples() {
        let mut block = Block::default();
        block.sample(1000.0, 0.2, 3.0);
        block.sample(3000.0, 0.6, 9.0);
        let off = |block: &Block, expected: [f64; 3]| {
            let pairs = block.mean().into_iter().zip(expected);
            pairs.map(|(found, wanted)| (found - wanted).abs()).sum::<f64>()
        };
        assert!(off(&block, [2000.0, 0.4, 6.0]) < 1e-9);
        assert!(off(&Block::default(), [0.0; 3]) < 1e-12);
    }
}
