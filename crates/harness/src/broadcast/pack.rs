//! Values into the bits of a frame and back.

use super::{BroadcastMessage, BroadcastSignal, ByteOrder, Content};

/// Data bytes of a classic frame.
const BYTES: usize = 8;

/// CRC-8 of SAE J1850: polynomial $1D, first value $FF, inverted at the end.
#[must_use]
pub const fn checksum(bytes: &[u8]) -> u8 {
    let mut crc = 0xFF_u8;
    let mut i = 0;
    while i < bytes.len() {
        crc = REMAINDERS[(crc ^ bytes[i]) as usize];
        i += 1;
    }
    !crc
}

/// The remainder of each byte.
const REMAINDERS: [u8; 256] = {
    let mut table = [0; 256];
    let mut i = 0;
    while i < 256 {
        #[expect(clippy::cast_possible_truncation, reason = "there are 256 bytes")]
        let mut crc = i as u8;
        let mut bit = 0;
        while bit < 8 {
            crc = if crc & 0x80 == 0 {
                crc << 1
            } else {
                (crc << 1) ^ 0x1D
            };
            bit += 1;
        }
        table[i] = crc;
        i += 1;
    }
    table
};

impl BroadcastSignal {
    /// The least and the greatest value that it can say.
    #[must_use]
    pub fn range(&self) -> [f64; 2] {
        let [least, greatest] = self.raw_range();
        let (a, b) = (
            least * self.scale + self.offset,
            greatest * self.scale + self.offset,
        );
        [a.min(b), a.max(b)]
    }

    #[expect(clippy::cast_precision_loss, reason = "no signal has more than 32 bits")]
    fn raw_range(&self) -> [f64; 2] {
        let steps = (1_u64 << self.length) as f64;
        if self.signed {
            [-steps / 2.0, steps / 2.0 - 1.0]
        } else {
            [0.0, steps - 1.0]
        }
    }

    /// The nearest raw value, held within the signal's range; what is not a number counts as nothing.
    #[expect(clippy::cast_possible_truncation, reason = "held within the range before")]
    #[expect(clippy::cast_sign_loss, reason = "a two's complement is cut to its bits")]
    fn raw(&self, value: f64) -> u64 {
        let [least, greatest] = self.raw_range();
        let raw = (value - self.offset) / self.scale;
        let held = if raw > least { raw.min(greatest) } else { least };
        let half = if held < 0.0 { -0.5 } else { 0.5 };
        ((held + half) as i64 as u64) & self.mask()
    }

    const fn mask(&self) -> u64 {
        (1 << self.length) - 1
    }

    /// How far its least significant bit is from the frame's, taken as one number in the order of the message.
    const fn shift(&self, order: ByteOrder) -> u32 {
        match order {
            ByteOrder::LittleEndian => self.start as u32,
            ByteOrder::BigEndian => {
                let from_the_top = (self.start / 8 * 8 + (7 - self.start % 8)) as u32;
                64 - from_the_top - self.length as u32
            }
        }
    }
}

impl BroadcastMessage {
    /// The frame's data, of which [`Self::length`] bytes are sent: `value` says what each content is now, in the unit of
    /// its signal; `count` is the number of the frame.
    #[must_use]
    pub fn encode(&self, count: u8, mut value: impl FnMut(Content) -> f64) -> [u8; BYTES] {
        let mut word = 0;
        let mut last = None;
        for signal in self.signals {
            let raw = match signal.content {
                Content::Checksum => {
                    last = Some(usize::from(self.length) - 1);
                    continue;
                }
                Content::Counter => u64::from(count) & signal.mask(),
                content => signal.raw(value(content)),
            };
            word |= raw << signal.shift(self.order);
        }
        let mut data = match self.order {
            ByteOrder::LittleEndian => word.to_le_bytes(),
            ByteOrder::BigEndian => word.to_be_bytes(),
        };
        if let Some(last) = last {
            data[last] = checksum(&data[..last]);
        }
        data
    }

    /// What a signal of this message says in a frame's data, in its unit.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "no signal has more than 32 bits")]
    pub fn decode(&self, signal: &BroadcastSignal, data: [u8; BYTES]) -> f64 {
        let word = match self.order {
            ByteOrder::LittleEndian => u64::from_le_bytes(data),
            ByteOrder::BigEndian => u64::from_be_bytes(data),
        };
        let raw = (word >> signal.shift(self.order)) & signal.mask();
        let negative = signal.signed && raw >> (signal.length - 1) == 1;
        let raw = if negative {
            raw as f64 - (signal.mask() + 1) as f64
        } else {
            raw as f64
        };
        raw * signal.scale + signal.offset
    }
}
