//! Stand-ins for what identifies a vehicle, frame by frame, so that a recording of it can be shown to others.
//!
//! - In messages, also of several frames and broken off, on whatever identifier: what [`identities`] names, and numbers
//!   that look like a VIN.
//! - Elsewhere: pieces of what was found in messages, from four bytes on, and text on identifiers that carry text.
//!
//! The recording is read several times: what is learned at its end is hidden at its beginning too. Memory is bounded: so
//! many identifiers, so many originals; beyond, [`Redactor::is_complete`] says no.

mod lane;
mod table;
#[cfg(test)]
mod tests;
mod text;

use alloc::{
    collections::{BTreeMap, BTreeSet, VecDeque},
    vec::Vec,
};

use twotrip_can::{CanId, Frame, FrameKind};
use twotrip_isotp::{Config, Pdu};
use twotrip_obd::identity::{Identity, identities};

use self::{
    lane::{Kept, Lane, Open},
    table::Table,
};
use crate::Role;

/// Identifiers that are told apart, over all interfaces.
const LANES_MAX: usize = 1 << 13;
/// Letters and digits in a row that are taken for text, and those beside them.
const TEXT: usize = 6;
const TEXT_BESIDE: usize = 3;

/// An interface and an identifier on it.
type Key = (u32, CanId);

/// A frame that gets other data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Edit {
    /// The place that came with the frame.
    pub place: u64,
    /// Its data, as long as before.
    pub data: Vec<u8>,
}

/// What was replaced, of one kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Replaced {
    /// Which kind.
    pub identity: Identity,
    /// Different originals.
    pub different: u64,
    /// How often, pieces of them included.
    pub times: u64,
}

/// Hides what identifies a vehicle.
///
/// ```
/// use twotrip_can::{CanId, Frame};
/// use twotrip_dialogue::redaction::Redactor;
///
/// // The request to write a VIN would be longer; this is an engine's calibration in a single frame.
/// let frame = Frame::padded(CanId::Standard(0x7E8), &[7, 0x49, 0x06, 1, 0xDE, 0xAD, 0xBE, 0xEF], 0);
/// let mut redactor = Redactor::default();
/// redactor.on_frame(0, 0, &frame);
/// let edit = redactor.poll().expect("a verification number was there");
/// assert_eq!(edit.data[..4], [7, 0x49, 0x06, 1]);
/// assert_ne!(edit.data, frame.data());
/// ```
#[derive(Clone, Debug, Default)]
pub struct Redactor {
    table: Table,
    lanes: BTreeMap<Key, Lane>,
    /// Identifiers on which pieces of a VIN go round, and of which.
    carriers: BTreeMap<Key, usize>,
    /// Identifiers that carry text.
    texts: BTreeSet<Key>,
    edits: VecDeque<Edit>,
    without_lane: bool,
}

impl Redactor {
    /// Takes a frame; poll the edits before the next one. `place` comes back with its edit, which may be later, when its
    /// message is whole.
    pub fn on_frame(&mut self, interface: u32, place: u64, frame: &Frame) {
        if matches!(frame.kind(), FrameKind::Error | FrameKind::Remote) {
            return;
        }
        let key = (interface, frame.id());
        let mut lane = match self.lanes.remove(&key) {
            Some(lane) => lane,
            None if self.lanes.len() == LANES_MAX => {
                self.without_lane = true;
                Lane::default()
            }
            None => Lane::default(),
        };
        self.on_lane(&mut lane, key, place, frame);
        if self.lanes.len() < LANES_MAX {
            self.lanes.insert(key, lane);
        }
    }

    /// The next frame that gets other data.
    pub fn poll(&mut self) -> Option<Edit> {
        self.edits.pop_front()
    }

    /// No more frames come.
    pub fn end(&mut self) {
        for (key, mut lane) in core::mem::take(&mut self.lanes) {
            self.break_off(&mut lane, key);
            if lane.is_text() {
                self.texts.insert(key);
            }
        }
    }

    /// Begins anew with what was learned. Edits and counts of the last reading are those that count.
    pub fn again(&mut self) {
        self.lanes.clear();
        self.edits.clear();
        self.table.forget_counts();
    }

    /// Whether everything could be remembered. If not, the result must not be used.
    #[must_use]
    pub const fn is_complete(&self) -> bool {
        !self.table.is_full() && !self.without_lane
    }

    /// What was replaced since the last beginning, kind by kind.
    pub fn replaced(&self) -> impl Iterator<Item = Replaced> + '_ {
        Identity::ALL.into_iter().map(|identity| {
            let entries = self.table.entries().iter();
            let those = entries.filter(|entry| entry.identity == identity && entry.times > 0);
            let (different, times) = those.fold((0, 0), |(different, times), entry| {
                (different + 1, times + entry.times)
            });
            Replaced {
                identity,
                different,
                times,
            }
        })
    }

    /// Texts that must not be in the result any more, none shorter than six bytes.
    pub fn originals(&self) -> impl Iterator<Item = &[u8]> {
        let entries = self.table.entries().iter();
        entries
            .filter(|entry| entry.original.len() >= table::SEARCHED_FROM && entry.original != entry.stand_in)
            .map(|entry| entry.original.as_slice())
    }

    fn on_lane(&mut self, lane: &mut Lane, key: Key, place: u64, frame: &Frame) {
        let mut kept = Kept::new(place, frame.data());
        match Pdu::parse(frame.data()) {
            Ok(Pdu::FirstFrame { length, .. }) => {
                self.break_off(lane, key);
                let length = usize::try_from(length).unwrap_or(usize::MAX);
                if length <= Config::LONGEST {
                    lane.open = Some(Open::new(length, kept));
                    return;
                }
            }
            Ok(Pdu::ConsecutiveFrame { sequence_number, .. }) => match &mut lane.open {
                Some(open) if open.next() == sequence_number => {
                    open.push(kept);
                    if open.is_whole() {
                        self.whole(lane);
                    }
                    return;
                }
                _ => {
                    self.break_off(lane, key);
                    self.orphan(key, &mut kept);
                }
            },
            Ok(Pdu::SingleFrame { payload }) => {
                // On CAN FD the length may take a second byte.
                let start = if frame.data()[0] == 0 { 2 } else { 1 };
                let range = start..start + payload.as_slice().len();
                let mut message = kept.data[range.clone()].to_vec();
                let mut done = alloc::vec![false; message.len()];
                self.message(&mut message, &mut done, range.len());
                kept.data[range.clone()].copy_from_slice(&message);
                kept.done[range].copy_from_slice(&done);
            }
            Ok(Pdu::FlowControl { .. }) | Err(_) => {}
        }
        self.bare(lane, key, kept);
    }

    /// A message is whole.
    fn whole(&mut self, lane: &mut Lane) {
        let Some(mut open) = lane.open.take() else {
            return;
        };
        let (mut message, mut done) = (open.message(), alloc::vec![false; open.received()]);
        let length = message.len();
        self.message(&mut message, &mut done, length);
        open.put_back(&message, &done);
        for kept in open.frames {
            self.tell(&kept);
        }
    }

    fn break_off(&mut self, lane: &mut Lane, key: Key) {
        if let Some(open) = lane.open.take() {
            self.broken(lane, key, open);
        }
    }

    /// A message that was never whole, or that never was one.
    fn broken(&mut self, lane: &mut Lane, key: Key, mut open: Open) {
        let (mut message, mut done) = (open.message(), alloc::vec![false; open.received()]);
        self.identities(&mut message, &mut done, open.length);
        if open.frames.len() > 1 {
            self.table.sweep(&mut message, &mut done);
        }
        open.put_back(&message, &done);
        for kept in open.frames {
            self.bare(lane, key, kept);
        }
    }

    fn message(&mut self, message: &mut [u8], done: &mut [bool], whole: usize) {
        self.identities(message, done, whole);
        self.table.sweep(message, done);
    }

    fn identities(&mut self, message: &mut [u8], done: &mut [bool], whole: usize) {
        let cut = message.len() < whole;
        let end = message.len();
        for (range, identity) in identities(message, whole) {
            let cut = cut && range.end == end;
            self.table.replace(&mut message[range.clone()], identity, cut);
            done[range].fill(true);
        }
        self.vins(message, done);
    }

    fn vins(&mut self, bytes: &mut [u8], done: &mut [bool]) {
        for range in text::vins(bytes) {
            if !done[range.clone()].contains(&true) {
                self.table
                    .replace(&mut bytes[range.clone()], Identity::Vin, false);
                done[range].fill(true);
            }
        }
    }

    /// A consecutive frame whose beginning was not recorded.
    fn orphan(&mut self, key: Key, kept: &mut Kept) {
        if Role::of(key.1).is_none() {
            return;
        }
        self.table.sweep(&mut kept.data, &mut kept.done);
        let payload = &kept.data[1..];
        let end = payload
            .iter()
            .rposition(|byte| !text::is_padding(*byte))
            .map_or(0, |last| last + 1);
        let is_text = end > 0 && text::is_text(&payload[..end]) && !kept.done.contains(&true);
        if is_text && payload[..end].iter().any(u8::is_ascii_alphanumeric) {
            self.table
                .replace(&mut kept.data[1..=end], Identity::Number, true);
            kept.done[1..=end].fill(true);
        }
    }

    /// A frame by itself.
    fn bare(&mut self, lane: &mut Lane, key: Key, mut kept: Kept) {
        self.vins(&mut kept.data, &mut kept.done);
        if let Some(vin) = self.table.sweep(&mut kept.data, &mut kept.done) {
            self.carriers.insert(key, vin);
        } else if let Some(vin) = self.carriers.get(&key) {
            lane::ends_of(&mut kept, &self.table.entries()[*vin]);
        }
        if Role::of(key.1).is_none() {
            if let Some(mut vin) = lane.join(&kept.original) {
                self.table.replace(&mut vin, Identity::Vin, false);
            }
            if lane.has_text(&kept.original) {
                // A text goes on before and behind what looks like one.
                for mut before in lane.take_before() {
                    self.texts_in(key, &mut before);
                    self.tell(&before);
                }
            }
            if lane.is_near_text() {
                self.texts_in(key, &mut kept);
            } else {
                lane.keep(&kept);
            }
        }
        self.tell(&kept);
    }

    fn texts_in(&mut self, key: Key, kept: &mut Kept) {
        if !self.texts.contains(&key) {
            return;
        }
        for range in text::runs(&kept.original, TEXT_BESIDE) {
            if !kept.done[range.clone()].contains(&true) {
                self.table
                    .replace(&mut kept.data[range.clone()], Identity::Number, false);
                kept.done[range].fill(true);
            }
        }
    }

    fn tell(&mut self, kept: &Kept) {
        if kept.data != kept.original {
            self.edits.push_back(Edit {
                place: kept.place,
                data: kept.data.clone(),
            });
        }
    }
}
