//! Breaks good examples.

use std::collections::BTreeMap;

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Examples kept at the most.
const EXAMPLES: usize = 512;

/// Numbers at which lengths, counts and states turn over.
const TURNS: [u8; 16] = [
    0, 1, 2, 6, 7, 8, 0x0A, 0x0F, 0x10, 0x20, 0x2F, 0x30, 0x32, 0x7F, 0x80, 0xFF,
];

/// Makes inputs out of examples.
pub(crate) struct Breaker {
    dice: ChaCha8Rng,
    longest: usize,
    examples: Vec<Vec<u8>>,
    /// The depths that were reached, and how often.
    depths: BTreeMap<usize, u32>,
}

impl Breaker {
    pub(crate) fn new(seed: u64, longest: usize, examples: Vec<Vec<u8>>) -> Self {
        Self {
            dice: ChaCha8Rng::seed_from_u64(seed),
            longest,
            examples,
            depths: BTreeMap::new(),
        }
    }

    pub(crate) fn examples(&self) -> usize {
        self.examples.len()
    }

    /// A number below `end`; 0 if that is 0.
    fn below(&mut self, end: usize) -> usize {
        let number = usize::try_from(self.dice.next_u32()).expect("64 bits");
        number.checked_rem(end).unwrap_or(0)
    }

    fn byte(&mut self) -> u8 {
        let byte = self.dice.next_u32().to_le_bytes()[0];
        if byte & 1 == 0 {
            TURNS[usize::from(byte >> 4)]
        } else {
            self.dice.next_u32().to_le_bytes()[1]
        }
    }

    /// The next input.
    pub(crate) fn next(&mut self) -> Vec<u8> {
        let which = self.below(self.examples.len());
        let mut input = self.examples[which].clone();
        for _ in 0..=self.below(8) {
            let at = self.below(input.len());
            match self.below(8) {
                0 if !input.is_empty() => input[at] = self.byte(),
                1 if !input.is_empty() => input[at] ^= 1 << self.below(8),
                2 => input.insert(at, self.byte()),
                3 => {
                    let end = (at + 1 + self.below(16)).min(input.len());
                    input.drain(at.min(end)..end);
                }
                4 => {
                    // A piece comes twice.
                    let end = (at + 1 + self.below(64)).min(input.len());
                    let piece = input[at.min(end)..end].to_vec();
                    input.splice(at..at, piece);
                }
                5 => {
                    // The rest is another's.
                    let other = self.below(self.examples.len());
                    let from = self.below(self.examples[other].len());
                    input.truncate(at);
                    input.extend_from_slice(&self.examples[other][from..]);
                }
                6 => input.truncate(at),
                _ => {
                    // A number of four bytes becomes a large one.
                    let large = [[0xFF; 4], [0xFF, 0xFF, 0xFF, 0x7F], [0, 0, 0, 0x80], [0; 4]][self.below(4)];
                    let end = (at + 4).min(input.len());
                    let start = at.min(end);
                    input[start..end].copy_from_slice(&large[..end - start]);
                }
            }
        }
        input.truncate(self.longest);
        input
    }

    /// What came of an input: the first ones to reach a depth are examples from now on.
    pub(crate) fn note(&mut self, input: Vec<u8>, depth: usize) {
        let seen = self.depths.entry(depth).or_default();
        *seen += 1;
        if *seen <= 2 && self.examples.len() < EXAMPLES {
            self.examples.push(input);
        }
    }
}
