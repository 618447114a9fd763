//! What is remembered of one identifier.

use alloc::vec::Vec;

use twotrip_obd::vin;

use super::{TEXT, table::Entry, text};

/// Frames before and behind text that may hold the rest of it.
const BESIDE: u8 = 2;
/// One frame of so many with text: an identifier that carries text now and then.
const RARE: u64 = 16;

/// A frame that waits for its message to be whole.
#[derive(Clone, Debug)]
pub(super) struct Kept {
    pub(super) place: u64,
    pub(super) original: Vec<u8>,
    pub(super) data: Vec<u8>,
    /// Bytes that have been looked after.
    pub(super) done: Vec<bool>,
}

impl Kept {
    pub(super) fn new(place: u64, data: &[u8]) -> Self {
        Self {
            place,
            original: data.to_vec(),
            data: data.to_vec(),
            done: alloc::vec![false; data.len()],
        }
    }
}

/// A message of several frames under way.
#[derive(Clone, Debug)]
pub(super) struct Open {
    /// Bytes announced.
    pub(super) length: usize,
    pub(super) frames: Vec<Kept>,
    received: usize,
}

impl Open {
    pub(super) fn new(length: usize, first: Kept) -> Self {
        let received = length.min(first.data.len().saturating_sub(2));
        Self {
            length,
            frames: alloc::vec![first],
            received,
        }
    }

    /// The sequence number that is due.
    pub(super) fn next(&self) -> u8 {
        u8::try_from(self.frames.len() & 0x0F).unwrap_or_default()
    }

    pub(super) fn push(&mut self, kept: Kept) {
        let more = kept.data.len().saturating_sub(1);
        self.received = self.length.min(self.received + more);
        self.frames.push(kept);
    }

    pub(super) const fn received(&self) -> usize {
        self.received
    }

    pub(super) const fn is_whole(&self) -> bool {
        self.received == self.length
    }

    /// What has come, without transport bytes.
    pub(super) fn message(&self) -> Vec<u8> {
        let bytes = self.frames.iter().enumerate();
        let mut message: Vec<u8> = bytes
            .flat_map(|(turn, kept)| kept.data[pci(turn)..].iter().copied())
            .collect();
        message.truncate(self.received);
        message
    }

    pub(super) fn put_back(&mut self, message: &[u8], done: &[bool]) {
        let mut rest = message.iter().zip(done);
        for (turn, kept) in self.frames.iter_mut().enumerate() {
            let places = kept.data[pci(turn)..].iter_mut().zip(&mut kept.done[pci(turn)..]);
            for ((byte, done), (new, was_done)) in places.zip(&mut rest) {
                (*byte, *done) = (*new, *was_done);
            }
        }
    }
}

/// Transport bytes of the first frame and of the others.
const fn pci(turn: usize) -> usize {
    if turn == 0 { 2 } else { 1 }
}

#[derive(Clone, Debug, Default)]
pub(super) struct Lane {
    pub(super) open: Option<Open>,
    /// Text that goes on from frame to frame behind a counting byte.
    joined: Vec<u8>,
    index: u8,
    frames: u64,
    with_text: u64,
    /// Two frames with text, one behind the other.
    in_a_row: bool,
    /// Frames since the last one with text.
    since: Option<u8>,
    before: Vec<Kept>,
}

impl Lane {
    /// Takes a frame of what may be a text over several, behind a byte that counts; says when it makes a VIN.
    pub(super) fn join(&mut self, data: &[u8]) -> Option<Vec<u8>> {
        let &[index, ref rest @ ..] = data else {
            return None;
        };
        let goes_on = !self.joined.is_empty() && index == self.index.wrapping_add(1);
        if !goes_on {
            self.joined.clear();
        }
        self.index = index;
        let range = text::content(rest)?;
        let piece = &rest[range];
        if self.joined.len() + piece.len() > vin::LENGTH || !piece.iter().all(|byte| vin::is_character(*byte))
        {
            self.joined.clear();
            return None;
        }
        self.joined.extend_from_slice(piece);
        text::looks_like_vin(&self.joined).then(|| core::mem::take(&mut self.joined))
    }

    /// Looks for text in the next frame.
    pub(super) fn has_text(&mut self, data: &[u8]) -> bool {
        let different = |run: &[u8]| {
            let others = run.iter().filter(|byte| **byte != run[0]);
            others
                .clone()
                .any(|byte| others.clone().any(|other| other != byte))
        };
        let found = text::runs(data, TEXT)
            .into_iter()
            .any(|run| different(&data[run]));
        self.frames += 1;
        if found {
            self.with_text += 1;
            self.in_a_row |= self.since == Some(0);
            self.since = Some(0);
        } else {
            self.since = self.since.map(|since| since.saturating_add(1));
        }
        found
    }

    pub(super) fn is_near_text(&self) -> bool {
        self.since.is_some_and(|since| since <= BESIDE)
    }

    /// Whether it carries text, not only something that looks like it once.
    pub(super) const fn is_text(&self) -> bool {
        self.in_a_row || self.with_text > 1 && self.with_text >= self.frames / RARE
    }

    pub(super) fn keep(&mut self, kept: &Kept) {
        if self.before.len() == usize::from(BESIDE) {
            self.before.remove(0);
        }
        self.before.push(kept.clone());
    }

    pub(super) fn take_before(&mut self) -> Vec<Kept> {
        core::mem::take(&mut self.before)
    }
}

/// The last or first characters of a VIN that goes round in pieces, where a frame holds nothing else but a counting byte
/// or two, and padding.
pub(super) fn ends_of(kept: &mut Kept, vin: &Entry) {
    let Some(content) = text::content(&kept.original) else {
        return;
    };
    for head in 0..=2 {
        let range = content.start + head..content.end;
        if range.is_empty() || range.len() >= super::table::GRAM {
            continue;
        }
        let found = &kept.original[range.clone()];
        let place = if vin.original.ends_with(found) {
            vin.original.len() - found.len()
        } else if vin.original.starts_with(found) {
            0
        } else {
            continue;
        };
        kept.data[range.clone()].copy_from_slice(&vin.stand_in[place..place + range.len()]);
        kept.done[range].fill(true);
        return;
    }
}
