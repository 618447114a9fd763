//! Drawing from the seeded dice of the car.

use rand_chacha::{ChaCha8Rng, rand_core::Rng as _};

/// Even in 0..1.
#[inline]
pub(crate) fn even(dice: &mut ChaCha8Rng) -> f64 {
    f64::from(dice.next_u32()) * (1.0 / 4_294_967_296.0)
}

/// Even between two figures.
#[inline]
pub(crate) fn between(dice: &mut ChaCha8Rng, [from, to]: [f64; 2]) -> f64 {
    from + even(dice) * (to - from)
}

#[cfg(test)]
mod tests {
    use rand_chacha::rand_core::SeedableRng as _;

    use super::*;

    #[test]
    fn draws_fill_their_range_and_stay_in_it() {
        let mut dice = ChaCha8Rng::seed_from_u64(1);
        let drawn: [f64; 1000] = core::array::from_fn(|_| between(&mut dice, [2.0, 6.0]));
        let least = drawn.into_iter().fold(f64::MAX, f64::min);
        let most = drawn.into_iter().fold(f64::MIN, f64::max);
        assert!(
            (2.0..2.1).contains(&least) && (5.9..6.0).contains(&most),
            "{least} to {most}"
        );
        let mean = drawn.iter().sum::<f64>() / 1000.0;
        assert!((3.8..4.2).contains(&mean), "{mean}");
    }
}
