//! What is to be hidden, and what stands in for it: the same for the same original, of the same length, and telling
//! nothing of it but its shape.
//!
//! Stand-ins are counted, not computed from the original: nobody can try originals until one fits.

use alloc::{
    collections::{BTreeMap, BTreeSet},
    vec::Vec,
};

use twotrip_obd::{identity::Identity, vin};

use super::text;

/// Different originals of a recording at the most.
pub(super) const ENTRIES_MAX: usize = 1 << 16;
/// Bytes of an original by which it is found again anywhere.
pub(super) const GRAM: usize = 4;
/// Shorter texts are hidden where they are known to stand, not searched for elsewhere.
pub(super) const SEARCHED_FROM: usize = 6;
/// A VIN without a maker's code, for no region has the 0: check digit and serial number follow.
const STAND_IN: &[u8; vin::LENGTH] = b"0XX00XXX0X0900000";
const CHECK_DIGIT: usize = 8;
/// How often a text without a match is looked for.
const ATTEMPTS: u32 = 64;

#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub(super) identity: Identity,
    pub(super) original: Vec<u8>,
    pub(super) stand_in: Vec<u8>,
    /// How often it was replaced, wholly or in parts.
    pub(super) times: u64,
}

impl Entry {
    pub(super) fn is_vin(&self) -> bool {
        text::is_vin(&self.original)
    }
}

#[derive(Clone, Debug, Default)]
pub(super) struct Table {
    entries: Vec<Entry>,
    by_original: BTreeMap<Vec<u8>, usize>,
    stand_ins: BTreeSet<Vec<u8>>,
    grams: BTreeMap<[u8; GRAM], (usize, usize)>,
    full: bool,
}

impl Table {
    pub(super) fn entries(&self) -> &[Entry] {
        &self.entries
    }

    pub(super) const fn is_full(&self) -> bool {
        self.full
    }

    /// Counts begin anew.
    pub(super) fn forget_counts(&mut self) {
        for entry in &mut self.entries {
            entry.times = 0;
        }
    }

    /// Puts the stand-in in place of an original, padding at its ends left as it is. Of an original that is cut, the
    /// whole may be known.
    pub(super) fn replace(&mut self, place: &mut [u8], identity: Identity, cut: bool) {
        let Some(range) = text::content(place) else {
            return;
        };
        let place = &mut place[range];
        let longer = cut.then(|| self.beginning_with(place)).flatten();
        let Some(number) = longer.or_else(|| self.learn(place, identity)) else {
            return;
        };
        let entry = &mut self.entries[number];
        entry.times += 1;
        place.copy_from_slice(&entry.stand_in[..place.len()]);
    }

    /// The original that begins so and goes on.
    fn beginning_with(&self, front: &[u8]) -> Option<usize> {
        let mut from = self.by_original.range(front.to_vec()..);
        let (original, number) = from.find(|(original, _)| original.len() > front.len())?;
        original.starts_with(front).then_some(*number)
    }

    /// Which one it is, for the first time or again; `None` if there is no room for more.
    fn learn(&mut self, original: &[u8], identity: Identity) -> Option<usize> {
        if let Some(&number) = self.by_original.get(original) {
            return Some(number);
        }
        let number = self.entries.len();
        if number == ENTRIES_MAX {
            self.full = true;
            return None;
        }
        let stand_in = self.invent(original);
        if original.len() >= SEARCHED_FROM && text::is_text(original) {
            for (place, gram) in original.windows(GRAM).enumerate() {
                if let Ok(gram) = <[u8; GRAM]>::try_from(gram)
                    && gram.iter().any(|byte| *byte != gram[0])
                {
                    self.grams.entry(gram).or_insert((number, place));
                }
            }
        }
        self.by_original.insert(original.to_vec(), number);
        self.stand_ins.insert(stand_in.clone());
        self.entries.push(Entry {
            identity,
            original: original.to_vec(),
            stand_in,
            times: 0,
        });
        Some(number)
    }

    /// Something of the same shape that nothing else has.
    fn invent(&self, original: &[u8]) -> Vec<u8> {
        let number = u32::try_from(self.entries.len()).unwrap_or(u32::MAX);
        let mut stand_in = Vec::new();
        for attempt in 0..ATTEMPTS {
            stand_in = if text::is_vin(original) {
                invented_vin(number + attempt).to_vec()
            } else {
                text::like(original, u64::from(number) << 32 | u64::from(attempt))
            };
            let known = self.by_original.contains_key(&stand_in) || self.stand_ins.contains(&stand_in);
            if !known && stand_in != original {
                break;
            }
        }
        stand_in
    }

    /// Replaces every piece of an original, from `GRAM` bytes on, wherever it stands. Says which VIN was there.
    pub(super) fn sweep(&mut self, bytes: &mut [u8], done: &mut [bool]) -> Option<usize> {
        let mut vin = None;
        let mut at = 0;
        while let Some(gram) = bytes.get(at..).and_then(|rest| rest.first_chunk::<GRAM>()) {
            let Some(&(number, place)) = self
                .grams
                .get(gram)
                .filter(|_| !done[at..at + GRAM].contains(&true))
            else {
                at += 1;
                continue;
            };
            let entry = &mut self.entries[number];
            entry.times += 1;
            if entry.is_vin() {
                vin = Some(number);
            }
            let pairs = entry.original[place..].iter().zip(&entry.stand_in[place..]);
            for (original, stand_in) in pairs {
                let Some(byte) = bytes.get_mut(at).filter(|byte| **byte == *original && !done[at]) else {
                    break;
                };
                *byte = *stand_in;
                done[at] = true;
                at += 1;
            }
        }
        vin
    }
}

/// The n-th stand-in for a VIN.
fn invented_vin(number: u32) -> [u8; vin::LENGTH] {
    let mut vin = *STAND_IN;
    let mut rest = number;
    for byte in vin[CHECK_DIGIT + 4..].iter_mut().rev() {
        *byte = b'0' + u8::try_from(rest % 10).unwrap_or_default();
        rest /= 10;
    }
    vin[CHECK_DIGIT] = vin::check_digit(&vin).unwrap_or(b'0');
    vin
}
