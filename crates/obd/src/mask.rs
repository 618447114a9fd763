//! Which parameters (PIDs, InfoTypes, ...) are supported: a set of 256 numbers, and its masks of 32 on the wire.
//!
//! Bit A7 of mask $00 is parameter $01, D0 is parameter $20 and announces the next mask (SAE J1979).

/// A set of parameter numbers. The mask numbers $00, $20 ... $E0 are never members: they follow from the others.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SupportMask {
    /// Ranges of 32: bit 31 of word 0 is parameter $01, bit 0 parameter $20.
    words: [u32; 8],
}

/// Whether this parameter is a mask of the 32 that follow.
#[must_use]
pub const fn is_mask(parameter: u8) -> bool {
    parameter.is_multiple_of(0x20)
}

impl SupportMask {
    /// No parameter.
    pub const NONE: Self = Self { words: [0; 8] };

    /// This set and one parameter more; the number of a mask changes nothing.
    #[must_use]
    pub const fn with(mut self, parameter: u8) -> Self {
        if !is_mask(parameter) {
            let place = parameter - 1;
            self.words[(place / 32) as usize] |= 0x8000_0000 >> (place % 32);
        }
        self
    }

    /// Adds the 32 parameters that the mask numbered `base` announces; D0, which announces a mask, is left out.
    pub const fn add_range(&mut self, base: u8, mask: [u8; 4]) {
        if is_mask(base) {
            self.words[(base / 0x20) as usize] |= u32::from_be_bytes(mask) & !1;
        }
    }

    /// Whether the parameter is supported. For the number of a mask: whether that mask is answered, which it is
    /// when it is $00 or when a parameter of its range or of a later one is supported.
    #[must_use]
    pub const fn contains(&self, parameter: u8) -> bool {
        if is_mask(parameter) {
            return self.range(parameter).is_some();
        }
        let place = parameter - 1;
        self.words[(place / 32) as usize] << (place % 32) & 0x8000_0000 != 0
    }

    /// The four bytes of the mask numbered `base`; nothing if `base` is no mask, or one that is not announced.
    #[must_use]
    pub const fn range(&self, base: u8) -> Option<[u8; 4]> {
        if !is_mask(base) {
            return None;
        }
        let index = (base / 0x20) as usize;
        if base != 0 && !self.any_from(index) {
            return None;
        }
        let next = if self.any_from(index + 1) { 1 } else { 0 };
        Some((self.words[index] & !1 | next).to_be_bytes())
    }

    /// Whether a parameter from this range on is supported.
    const fn any_from(&self, mut index: usize) -> bool {
        while index < self.words.len() {
            if self.words[index] != 0 {
                return true;
            }
            index += 1;
        }
        false
    }

    /// The supported parameters in rising order, without the masks.
    pub fn iter(self) -> impl Iterator<Item = u8> {
        (1..=u8::MAX).filter(move |&parameter| !is_mask(parameter) && self.contains(parameter))
    }
}

impl FromIterator<u8> for SupportMask {
    fn from_iter<I: IntoIterator<Item = u8>>(parameters: I) -> Self {
        parameters.into_iter().fold(Self::NONE, Self::with)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `41 00 BE 1F A8 13` announces these, as a public encyclopedia and two independent dissectors read it.
    #[test]
    fn published_mask_names_its_parameters() {
        let mut set = SupportMask::NONE;
        set.add_range(0x00, [0xBE, 0x1F, 0xA8, 0x13]);
        assert!(set.iter().eq([
            0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F
        ]));
        assert_eq!(
            set.range(0x00),
            Some([0xBE, 0x1F, 0xA8, 0x12]),
            "nothing beyond $20 yet"
        );
        assert_eq!(set.with(0x21).range(0x00), Some([0xBE, 0x1F, 0xA8, 0x13]));
    }

    /// Mask of the InfoTypes $02 $04 $06 $08 $0A (computed by the rule above; scapy reads it so).
    #[test]
    fn info_types_make_their_mask() {
        let set: SupportMask = [0x02, 0x04, 0x06, 0x08, 0x0A].into_iter().collect();
        assert_eq!(set.range(0x00), Some([0x55, 0x40, 0x00, 0x00]));
        assert_eq!(set.range(0x20), None);
    }

    #[test]
    fn an_empty_range_leads_on_to_a_later_one() {
        let set = SupportMask::NONE.with(0x0C).with(0x41).with(0x60).with(0xFF);
        assert_eq!(set.range(0x00), Some([0x00, 0x10, 0x00, 0x01]));
        assert_eq!(set.range(0x20), Some([0x00, 0x00, 0x00, 0x01]));
        assert_eq!(set.range(0x40), Some([0x80, 0x00, 0x00, 0x01]));
        assert_eq!(set.range(0xE0), Some([0x00, 0x00, 0x00, 0x02]));
        assert!(set.contains(0xE0) && set.contains(0xFF) && !set.contains(0xFE));
        assert_eq!(SupportMask::NONE.range(0x00), Some([0; 4]));
        assert_eq!(set.range(0x21), None);
    }
}
