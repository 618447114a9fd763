//! Frames that are held on their way, in one direction.
//!
//! Frames of one identifier never overtake each other: a controller sends them in order, and so does a gateway. Those of
//! different identifiers may.

use std::collections::VecDeque;

use twotrip_can::Frame;
use twotrip_units::BusInstant;

/// Frames held at the most; what comes beyond is lost, as in any buffer.
const MOST: usize = 256;

/// A frame on its way.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Held {
    pub(crate) frame: Frame,
    /// When it goes on.
    pub(crate) due: BusInstant,
    /// Whether the car waits to hear that it is on the bus.
    pub(crate) is_awaited: bool,
    /// Whether it goes on as soon as one of another identifier has overtaken it.
    pub(crate) gives_way: bool,
}

impl Held {
    /// One that the car waits for.
    pub(crate) const fn awaited(frame: Frame, due: BusInstant) -> Self {
        Self {
            frame,
            due,
            is_awaited: true,
            gives_way: false,
        }
    }

    /// One that it does not wait for.
    pub(crate) const fn own(frame: Frame, due: BusInstant) -> Self {
        Self {
            is_awaited: false,
            ..Self::awaited(frame, due)
        }
    }
}

/// Frames on their way.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lane(VecDeque<Held>);

impl Lane {
    /// Takes a frame; it goes on when it is due, and not before those of its identifier that are there.
    pub(crate) fn push(&mut self, mut held: Held) {
        if self.0.len() == MOST {
            return;
        }
        let same = self.0.iter().rfind(|other| other.frame.id() == held.frame.id());
        held.due = same.map_or(held.due, |other| held.due.max(other.due));
        self.0.push_back(held);
    }

    /// Whether one of this identifier is there.
    pub(crate) fn holds(&self, frame: &Frame) -> bool {
        self.0.iter().any(|held| held.frame.id() == frame.id())
    }

    /// The next that is due.
    pub(crate) fn pop(&mut self, now: BusInstant) -> Option<Held> {
        let (place, due) = (0..)
            .zip(&self.0)
            .map(|(place, held)| (place, held.due))
            .min_by_key(|&(place, due)| (due, place))?;
        if due > now {
            return None;
        }
        self.0.remove(place)
    }

    /// One of this identifier has gone on: those that give way to others are free.
    pub(crate) fn overtaken(&mut self, now: BusInstant, by: &Frame) {
        for held in &mut self.0 {
            if held.gives_way && held.frame.id() != by.id() {
                held.gives_way = false;
                held.due = held.due.min(now);
            }
        }
    }

    /// Whether the car waits for one.
    pub(crate) fn has_awaited(&self) -> bool {
        self.0.iter().any(|held| held.is_awaited)
    }

    /// Drops what the car does not wait for any more.
    pub(crate) fn give_up_awaited(&mut self) {
        self.0.retain(|held| !held.is_awaited);
    }

    /// When the next is due.
    pub(crate) fn next(&self) -> Option<BusInstant> {
        self.0.iter().map(|held| held.due).min()
    }

    pub(crate) fn len(&self) -> usize {
        self.0.len()
    }

    pub(crate) fn clear(&mut self) {
        self.0.clear();
    }
}

#[cfg(test)]
mod tests {
    use twotrip_can::CanId;

    use super::*;

    fn held(id: u16, byte: u8, millis: u64, gives_way: bool) -> Held {
        Held {
            frame: Frame::padded(CanId::Standard(id), &[byte], 0),
            due: BusInstant::from_millis(millis),
            is_awaited: false,
            gives_way,
        }
    }

    fn all(lane: &mut Lane, millis: u64) -> Vec<(u32, u8)> {
        let now = BusInstant::from_millis(millis);
        std::iter::from_fn(|| lane.pop(now))
            .map(|held| (held.frame.id().raw(), held.frame.data()[0]))
            .collect()
    }

    #[test]
    fn frames_of_one_identifier_keep_their_order_and_others_overtake() {
        let mut lane = Lane::default();
        lane.push(held(0x7E8, 1, 30, false));
        lane.push(held(0x7E8, 2, 0, false));
        lane.push(held(0x7E9, 3, 5, false));
        assert_eq!(lane.next(), Some(BusInstant::from_millis(5)));
        assert_eq!(all(&mut lane, 4), []);
        assert_eq!(all(&mut lane, 29), [(0x7E9, 3)]);
        assert_eq!(all(&mut lane, 30), [(0x7E8, 1), (0x7E8, 2)]);
        assert_eq!(lane.next(), None);
    }

    #[test]
    fn one_that_gives_way_waits_for_another_or_for_its_time() {
        for (overtaken, expected) in [(true, 2), (false, 20)] {
            let mut lane = Lane::default();
            lane.push(held(0x7E8, 1, 20, true));
            let same = held(0x7E8, 9, 0, false);
            lane.overtaken(BusInstant::from_millis(1), &same.frame);
            assert_eq!(lane.next(), Some(BusInstant::from_millis(20)));
            if overtaken {
                lane.overtaken(BusInstant::from_millis(2), &held(0x7E9, 3, 0, false).frame);
            }
            assert_eq!(lane.next(), Some(BusInstant::from_millis(expected)));
        }
    }

    #[test]
    fn what_does_not_fit_is_lost() {
        let mut lane = Lane::default();
        for _ in 0..2 * MOST {
            lane.push(held(1, 1, 0, false));
        }
        assert_eq!(lane.len(), MOST);
        assert_eq!(all(&mut lane, 0).len(), MOST);
    }
}
