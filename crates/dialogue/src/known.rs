//! What is known of an ECU by its answers: which parameters its masks name.

use twotrip_obd::{Service, SupportMask};

/// What is known of an ECU: what its masks say, by service.
#[derive(Clone, Debug, Default)]
pub(crate) struct Known([Supported; MASKED]);

/// Services with masks.
const MASKED: usize = 5;

impl Known {
    /// Of a service; of one that has no masks nothing is ever learned.
    const fn place(service: Service) -> Option<usize> {
        match service {
            Service::CurrentData => Some(0),
            Service::FreezeFrame => Some(1),
            Service::TestResults => Some(2),
            Service::Control => Some(3),
            Service::VehicleInformation => Some(4),
            _ => None,
        }
    }

    pub(crate) fn leaves_out(&self, service: Service, number: u8) -> bool {
        Self::place(service).is_some_and(|place| self.0[place].leaves_out(number))
    }

    /// The same, and where no mask announces the one that would name it.
    pub(crate) fn rules_out(&self, service: Service, number: u8) -> bool {
        Self::place(service).is_some_and(|place| self.0[place].rules_out(number))
    }

    pub(crate) fn add(&mut self, service: Service, base: u8, mask: [u8; 4]) {
        if let Some(place) = Self::place(service) {
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
        let data = Service::CurrentData;
        assert!(!known.rules_out(data, 0x0C), "nothing was read");
        known.add(data, 0x00, [0x00, 0x10, 0x00, 0x01]);
        let ruled_out = |known: &Known| [0x0C, 0x0D, 0x2F, 0x42].map(|pid| known.rules_out(data, pid));
        assert_eq!(ruled_out(&known), [false, true, false, false]);
        assert!(!known.leaves_out(data, 0x2F));
        known.add(data, 0x20, [0x00, 0x00, 0x00, 0x00]);
        assert_eq!(ruled_out(&known), [false, true, true, true]);
        assert!(!known.leaves_out(data, 0x42), "its own mask was not read");
        assert!(!known.rules_out(Service::VehicleInformation, 0x02));
    }
}
