//! What is known of an ECU by its answers: which parameters its masks name.

use twotrip_obd::{Service, SupportMask, uds::Did};

/// What is known of an ECU: what its masks say, by service, or by range of data identifiers.
#[derive(Clone, Debug, Default)]
pub(crate) struct Known([Supported; MASKED]);

/// Services with masks, and ranges of identifiers that have some.
const MASKED: usize = 9;

/// What has numbers that masks name.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Numbers {
    /// A service of SAE J1979.
    Of(Service),
    /// The data identifiers with this high byte.
    From(u8),
}

impl Numbers {
    /// What has no masks has no place: of that nothing is ever learned.
    const fn place(self) -> Option<usize> {
        match self {
            Self::Of(Service::CurrentData) => Some(0),
            Self::Of(Service::FreezeFrame) => Some(1),
            Self::Of(Service::TestResults) => Some(2),
            Self::Of(Service::Control) => Some(3),
            Self::Of(Service::VehicleInformation) => Some(4),
            Self::From(Did::PARAMETERS) => Some(5),
            Self::From(Did::HIGH_PARAMETERS) => Some(6),
            Self::From(Did::MONITORS) => Some(7),
            Self::From(Did::INFORMATION) => Some(8),
            Self::Of(_) | Self::From(_) => None,
        }
    }
}

impl Known {
    pub(crate) fn leaves_out(&self, of: Numbers, number: u8) -> bool {
        of.place().is_some_and(|place| self.0[place].leaves_out(number))
    }

    /// The same, and where no mask announces the one that would name it.
    pub(crate) fn rules_out(&self, of: Numbers, number: u8) -> bool {
        of.place().is_some_and(|place| self.0[place].rules_out(number))
    }

    pub(crate) fn add(&mut self, of: Numbers, base: u8, mask: [u8; 4]) {
        if let Some(place) = of.place() {
            self.0[place].add(base, mask);
        }
    }
}

#[derive(Clone, Debug, Default)]
struct Supported {
    mask: SupportMask,
    /// Of which ranges the mask was read: a bit each.
    read: u8,
    /// Which of those announce another one (D0).
    announces: u8,
}

impl Supported {
    fn add(&mut self, base: u8, mask: [u8; 4]) {
        self.mask.add_range(base, mask);
        let range = 1 << (base / 0x20);
        self.read |= range;
        if mask[3] & 1 == 0 {
            self.announces &= !range;
        } else {
            self.announces |= range;
        }
    }

    fn leaves_out(&self, number: u8) -> bool {
        self.read & 1 << (number / 0x20) != 0 && !self.mask.contains(number)
    }

    fn rules_out(&self, number: u8) -> bool {
        let range = number / 0x20;
        if self.read & 1 << range != 0 {
            return !self.mask.contains(number);
        }
        // The chain of masks ends before it.
        let before = self.read & ((1 << range) - 1);
        before & !self.announces != 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SAE J1979: D0 of a mask announces the next one; where the chain ends nothing more is supported.
    #[test]
    fn what_lies_beyond_the_last_mask_is_ruled_out() {
        let mut known = Known::default();
        let data = Numbers::Of(Service::CurrentData);
        assert!(!known.rules_out(data, 0x0C), "nothing was read");
        known.add(data, 0x00, [0x00, 0x10, 0x00, 0x01]);
        let ruled_out = |known: &Known| [0x0C, 0x0D, 0x2F, 0x42].map(|pid| known.rules_out(data, pid));
        assert_eq!(ruled_out(&known), [false, true, false, false]);
        assert!(!known.leaves_out(data, 0x2F));
        known.add(data, 0x20, [0x00, 0x00, 0x00, 0x00]);
        assert_eq!(ruled_out(&known), [false, true, true, true]);
        assert!(!known.leaves_out(data, 0x42), "its own mask was not read");
        assert!(!known.rules_out(Numbers::Of(Service::VehicleInformation), 0x02));
    }
}
