//! Another tester on the bus: it asks all ECUs for a parameter now and then, in the car's dialect, and the car answers it too.

use std::time::Duration;

use twotrip_can::{CanId, Frame};
use twotrip_obd::{Dialect, uds::Did};
use twotrip_units::BusInstant;

/// What it asks for by turns: engine speed, road speed.
const PARAMETERS: [u8; 2] = [0x0C, 0x0D];

/// The tester.
#[derive(Clone, Copy, Debug)]
pub(crate) struct OtherTester {
    next: BusInstant,
    asked: usize,
    dialect: Dialect,
}

impl OtherTester {
    pub(crate) const fn new(now: BusInstant, dialect: Dialect) -> Self {
        Self {
            next: now,
            asked: 0,
            dialect,
        }
    }

    /// When it asks next.
    pub(crate) const fn next(&self) -> BusInstant {
        self.next
    }

    /// Its request, if it is time; it goes to all ECUs, and the next follows `every` after it.
    pub(crate) fn asks(&mut self, now: BusInstant, every: Duration, functional: CanId) -> Option<Frame> {
        if now < self.next {
            return None;
        }
        let parameter = PARAMETERS[self.asked % PARAMETERS.len()];
        self.asked = self.asked.wrapping_add(1);
        self.next = now + every;
        Some(match self.dialect {
            Dialect::Classic => Frame::padded(functional, &[2, 0x01, parameter], 0),
            Dialect::OnUds => Frame::padded(functional, &[3, 0x22, Did::PARAMETERS, parameter], 0),
        })
    }
}
