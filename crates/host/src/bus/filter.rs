//! Which identifiers a node listens to, in the kernel's terms (linux/can.h `struct can_filter`).

use std::{fmt, str::FromStr};

use twotrip_can::{CanId, Frame, FrameKind};

/// The identifier has 29 bits.
const EXTENDED: u32 = 0x8000_0000;
/// The frame is a remote request.
const REMOTE: u32 = 0x4000_0000;

/// Lets a frame pass if its identifier word and `id` agree in all bits of `mask`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Filter {
    /// The identifier word: number plus the kernel's flags for 29 bits and remote requests.
    pub id: u32,
    /// The bits of it that count.
    pub mask: u32,
}

impl Filter {
    /// Data frames with exactly this identifier of exactly this size; neither remote requests nor the
    /// other size with the same low bits. (The kernel finds filters of this form by table, not by search:
    /// Documentation/networking/can.rst.)
    #[must_use]
    pub const fn exact(id: CanId) -> Self {
        match id {
            CanId::Standard(id) => Self {
                id: id as u32,
                mask: EXTENDED | REMOTE | CanId::STANDARD_MAX as u32,
            },
            CanId::Extended(id) => Self {
                id: id | EXTENDED,
                mask: EXTENDED | REMOTE | CanId::EXTENDED_MAX,
            },
        }
    }

    /// The same whatever these bits of the identifier are.
    #[must_use]
    pub const fn but_for(self, bits: u32) -> Self {
        Self {
            id: self.id & !bits,
            mask: self.mask & !bits,
        }
    }

    /// Whether a frame passes. Error frames are not filtered by identifier.
    #[must_use]
    pub const fn passes(self, frame: &Frame) -> bool {
        let mut word = frame.id().raw();
        match frame.kind() {
            FrameKind::Error => return true,
            FrameKind::Remote => word |= REMOTE,
            FrameKind::Data | FrameKind::Fd { .. } => {}
        }
        if frame.id().is_extended() {
            word |= EXTENDED;
        }
        word & self.mask == self.id & self.mask
    }
}

impl fmt::Display for Filter {
    /// As it is written: `7E8`, `7E0:7F8`, `18DAF110`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (digits, all) = if self.id & EXTENDED == 0 {
            (3, u32::from(CanId::STANDARD_MAX))
        } else {
            (8, CanId::EXTENDED_MAX)
        };
        write!(f, "{:0digits$X}", self.id & all)?;
        if self.mask & all != all {
            write!(f, ":{:0digits$X}", self.mask & all)?;
        }
        Ok(())
    }
}

/// Why a text names no identifiers.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` names no identifiers; write 7E8, or identifier:mask as in 7E8:7F8; eight digits mean 29 bits, as in 18DAF110"
)]
pub struct FilterError(String);

impl FromStr for Filter {
    type Err = FilterError;

    /// `7E8`: this identifier. `7E0:7F8`: those that agree with it in the bits of the mask. Up to three hex digits
    /// name an identifier of 11 bits, eight one of 29. Remote requests pass as data frames do.
    fn from_str(text: &str) -> Result<Self, FilterError> {
        let wrong = || FilterError(text.to_owned());
        let (id, mask) = match text.split_once(':') {
            Some((id, mask)) => (id, Some(mask)),
            None => (text, None),
        };
        let number = |digits: &str, most: u32| {
            let plain = digits.bytes().all(|byte| byte.is_ascii_hexdigit());
            let number = u32::from_str_radix(digits, 16).ok().filter(|_| plain);
            number.filter(|&number| number <= most).ok_or_else(wrong)
        };
        let (all, size) = match id.len() {
            1..=3 => (u32::from(CanId::STANDARD_MAX), 0),
            8 => (CanId::EXTENDED_MAX, EXTENDED),
            _ => return Err(wrong()),
        };
        let mask = mask.map_or(Ok(all), |mask| number(mask, all))?;
        Ok(Self {
            id: number(id, all)? | size,
            mask: mask | EXTENDED,
        })
    }
}

/// Which frames a command works with.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Selection {
    /// If there are some, only these.
    pub only: Vec<Filter>,
    /// And none of these.
    pub drop: Vec<Filter>,
}

impl Selection {
    /// Whether a frame is among them. Error frames have no identifier: they pass unless there is an `only`.
    #[must_use]
    #[inline]
    pub fn passes(&self, frame: &Frame) -> bool {
        if self.only.is_empty() && (self.drop.is_empty() || frame.kind() == FrameKind::Error) {
            return true;
        }
        if frame.kind() == FrameKind::Error {
            return false;
        }
        (self.only.is_empty() || self.only.iter().any(|filter| filter.passes(frame)))
            && !self.drop.iter().any(|filter| filter.passes(frame))
    }
}

/// The filters of a node whose bus has no kernel to apply them; none set means that all passes.
#[derive(Clone, Debug, Default)]
pub(crate) struct FilterSet(Option<Box<[Filter]>>);

impl FilterSet {
    pub(crate) fn set(&mut self, filters: &[Filter]) {
        self.0 = Some(filters.into());
    }

    pub(crate) fn passes(&self, frame: &Frame) -> bool {
        self.0
            .as_ref()
            .is_none_or(|filters| filters.iter().any(|filter| filter.passes(frame)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Figures: Linux Documentation/networking/can.rst, exact-match filters.
    #[test]
    fn exact_filters_have_the_kernels_form() {
        let functional = Filter::exact(CanId::Standard(0x7DF));
        assert_eq!((functional.id, functional.mask), (0x7DF, 0xC000_07FF));
        let extended = Filter::exact(CanId::Extended(0x18DB_33F1));
        assert_eq!((extended.id, extended.mask), (0x98DB_33F1, 0xDFFF_FFFF));
    }

    #[test]
    fn the_other_size_and_remote_requests_do_not_pass() {
        let filter = Filter::exact(CanId::Standard(0x7DF));
        let passes = |frame: Option<Frame>| frame.is_some_and(|frame| filter.passes(&frame));
        assert!(passes(Frame::new(CanId::Standard(0x7DF), &[])));
        assert!(!passes(Frame::new(CanId::Extended(0x7DF), &[])));
        assert!(!passes(Frame::remote(CanId::Standard(0x7DF), 0)));
        assert!(!passes(Frame::new(CanId::Standard(0x7DE), &[])));
    }

    #[test]
    fn no_filters_set_differs_from_an_empty_list() {
        let frame = Frame::padded(CanId::Standard(1), &[], 0);
        let mut set = FilterSet::default();
        assert!(set.passes(&frame));
        set.set(&[]);
        assert!(
            !set.passes(&frame),
            "zero filters receive nothing, as in the kernel"
        );
        set.set(&[
            Filter::exact(CanId::Standard(2)),
            Filter::exact(CanId::Standard(1)),
        ]);
        assert!(set.passes(&frame));
    }
}
