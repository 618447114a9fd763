//! Traffic of other control units, so much of it that the bus carries a given load: frames that nobody asked for, whose
//! identifiers win over those of diagnostics.

use std::time::Duration;

use rand_chacha::{ChaCha8Rng, rand_core::Rng as _};
use twotrip_can::{
    CanId, Frame,
    timing::{self, BitRate},
};
use twotrip_units::BusInstant;

/// Frames sent at once to make up for a look that came late; more are left out.
const AT_ONCE: usize = 64;
/// Identifiers: below those of diagnostics.
const LOWEST: u16 = 0x100;
const IDENTIFIERS: u16 = 0x400;

/// The senders.
#[derive(Clone, Debug)]
pub(crate) struct Background {
    dice: ChaCha8Rng,
    rate: BitRate,
    next: BusInstant,
}

impl Background {
    pub(crate) const fn new(now: BusInstant, rate: BitRate, dice: ChaCha8Rng) -> Self {
        Self {
            dice,
            rate,
            next: now,
        }
    }

    /// When the next frame is due.
    pub(crate) const fn next(&self) -> BusInstant {
        self.next
    }

    /// Gives the frames that are due, for a load of `percent`.
    pub(crate) fn send(&mut self, now: BusInstant, percent: f64, mut give: impl FnMut(BusInstant, Frame)) {
        for _ in 0..AT_ONCE {
            if self.next > now {
                return;
            }
            let frame = self.draw();
            give(self.next, frame);
            // Half as much to one and a half times as much of the mean, evenly: senders do not know of each other.
            let mean = timing::frame_time(&frame, self.rate).mul_f64(100.0 / percent.max(1.0));
            let [scatter, ..] = self.dice.next_u32().to_le_bytes();
            self.next = self.next + mean / 2 + mean * u32::from(scatter) / 255;
        }
        self.next = self.next.max(now + Duration::from_micros(1));
    }

    fn draw(&mut self) -> Frame {
        let [low, high, ..] = self.dice.next_u32().to_le_bytes();
        let id = LOWEST + u16::from_le_bytes([low, high]) % IDENTIFIERS;
        let mut data = [0; 8];
        for half in data.chunks_mut(4) {
            half.copy_from_slice(&self.dice.next_u32().to_le_bytes());
        }
        Frame::padded(CanId::Standard(id), &data, 0)
    }
}

#[cfg(test)]
mod tests {
    use twotrip_can::timing::{BusLoad, frame_bits};

    use crate::endpoint;

    use super::*;

    #[test]
    fn the_load_is_what_was_asked_for() {
        for percent in [5.0, 60.0, 90.0] {
            let mut background = Background::new(BusInstant::ZERO, BitRate::Kbit500, endpoint::dice(7, 1));
            let mut load = BusLoad::new(BitRate::Kbit500, Duration::from_millis(10));
            for millis in 0..5000 {
                background.send(BusInstant::from_millis(millis), percent, |at, frame| {
                    assert!(frame.id().raw() < 0x700);
                    load.on_frame(at, frame_bits(&frame));
                });
            }
            let found = load.over(Duration::from_secs(5)).percent();
            assert!((found - percent).abs() < 0.03 * percent, "{percent} %: {found}");
        }
    }

    #[test]
    fn what_was_missed_is_not_made_up_for() {
        let mut background = Background::new(BusInstant::ZERO, BitRate::Kbit500, endpoint::dice(7, 1));
        let mut frames = 0;
        background.send(BusInstant::from_secs(60), 50.0, |_, _| frames += 1);
        assert_eq!(frames, AT_ONCE);
        assert!(background.next() > BusInstant::from_secs(60));
    }
}
