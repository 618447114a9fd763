//! Which identifiers a node listens to, in the kernel's terms (linux/can.h `struct can_filter`).

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
