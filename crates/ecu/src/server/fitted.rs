//! Which parameters an ECU serves goes by what its engine has: banks, kinds of sensors, valves.

use twotrip_obd::SupportMask;

use super::{parameters, s08, s09};
use crate::{
    Calibration,
    monitors::{CATALOGUE, frame::monitored},
};

/// What must be there for a parameter to be served.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Needs {
    SecondBank,
    NarrowBand,
    NarrowBandOnSecondBank,
    WideRange,
    WideRangeOnSecondBank,
    Recirculation,
    /// What a transmission ECU serves, and this one does not.
    Transmission,
}

/// The parameters that not every engine has.
const NEEDS: &[(u8, Needs)] = &[
    (0x08, Needs::SecondBank),
    (0x09, Needs::SecondBank),
    (0x14, Needs::NarrowBand),
    (0x18, Needs::NarrowBandOnSecondBank),
    (0x19, Needs::SecondBank),
    (0x24, Needs::WideRange),
    (0x28, Needs::WideRangeOnSecondBank),
    (0x2C, Needs::Recirculation),
    (0x2D, Needs::Recirculation),
    (0x34, Needs::WideRange),
    (0x38, Needs::WideRangeOnSecondBank),
    (0x3D, Needs::SecondBank),
    (0x58, Needs::SecondBank),
    (0x69, Needs::Recirculation),
    (0xA4, Needs::Transmission),
];

impl Needs {
    fn met(self, calibration: &Calibration) -> bool {
        let second = calibration.banks() > 1;
        let wide = calibration.wide_range;
        match self {
            Self::SecondBank => second,
            Self::NarrowBand => !wide,
            Self::NarrowBandOnSecondBank => second && !wide,
            Self::WideRange => wide,
            Self::WideRangeOnSecondBank => second && wide,
            Self::Recirculation => calibration.recirculation,
            Self::Transmission => false,
        }
    }
}

/// The cylinder that a monitor of service $06 is of: $A2 to $AD (SAE J1979-DA).
fn cylinder_of(number: u8) -> Option<u8> {
    (0xA2..=0xAD).contains(&number).then(|| number - 0xA1)
}

/// The parameters that one ECU serves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Served {
    /// In service $01.
    pub current: SupportMask,
    /// In service $02.
    pub frozen: SupportMask,
    /// The monitors of service $06.
    pub monitored: SupportMask,
    /// The tests of service $08.
    pub controlled: SupportMask,
    /// The InfoTypes of service $09.
    pub information: SupportMask,
}

/// What the transmission ECU serves of the live data, in services $01 and $02: what all must (13 CCR 1968.2(g)(4.2), from
/// memory) but for the throttle, which it does not know, and what it knows of its own.
const OF_TRANSMISSION: [u8; 8] = [0x04, 0x05, 0x0C, 0x0D, 0x1F, 0x42, 0x65, 0xA4];
/// The same of the fault memory, in service $01 alone.
const STORED_OF_TRANSMISSION: [u8; 8] = [0x01, 0x1C, 0x21, 0x30, 0x31, 0x41, 0x4D, 0x4E];

impl Served {
    /// By what the engine has.
    #[must_use]
    pub fn by(calibration: &Calibration) -> Self {
        let fitted = |all: SupportMask| {
            all.iter()
                .filter(|number| {
                    let needs = NEEDS.iter().find(|(row, _)| row == number);
                    needs.is_none_or(|(_, needs)| needs.met(calibration))
                })
                .fold(SupportMask::NONE, SupportMask::with)
        };
        Self {
            current: fitted(parameters::CURRENT),
            frozen: fitted(parameters::FROZEN),
            monitored: monitored(CATALOGUE.absent(calibration))
                .iter()
                .filter(|&number| cylinder_of(number) <= Some(calibration.cylinders()))
                .fold(SupportMask::NONE, SupportMask::with),
            controlled: s08::SUPPORTED,
            information: s09::SUPPORTED,
        }
    }

    /// A transmission ECU: no results of tests, nothing to control, and neither VIN, which one ECU reports (SAE J1979, from
    /// memory), nor counters in use, for its monitors have none.
    #[must_use]
    pub fn by_transmission() -> Self {
        let live = OF_TRANSMISSION
            .into_iter()
            .fold(SupportMask::NONE, SupportMask::with);
        let current = STORED_OF_TRANSMISSION.into_iter().fold(live, SupportMask::with);
        Self {
            current,
            frozen: live.with(0x02),
            monitored: SupportMask::NONE,
            controlled: SupportMask::NONE,
            information: s09::OF_TRANSMISSION,
        }
    }
}

#[cfg(test)]
mod tests {
    use alloc::vec::Vec;

    use super::*;

    /// Locations of sensors by parameter: SAE J1979 (from memory): $14 and $15 bank 1, $18 and $19 bank 2 where there are
    /// up to two banks of four sensors.
    #[test]
    fn what_is_served_goes_by_what_is_there() {
        const COMPACT: Calibration = Calibration::compact_2_0();
        let six = Calibration {
            firing_order: [1, 2, 3, 4, 5, 6],
            second_bank: [false, true, false, true, false, true],
            ..COMPACT
        };
        let wide = Calibration {
            wide_range: true,
            recirculation: false,
            ..COMPACT
        };
        let serves = |calibration: &Calibration, numbers: &[u8]| {
            let served = Served::by(calibration);
            let of = |set: SupportMask| {
                numbers
                    .iter()
                    .map(|&number| set.contains(number))
                    .collect::<Vec<_>>()
            };
            assert_eq!(of(served.current), of(served.frozen));
            of(served.current)
        };
        let numbers = [0x06, 0x08, 0x14, 0x15, 0x18, 0x19, 0x3D];
        let (yes, no) = (true, false);
        assert_eq!(serves(&COMPACT, &numbers), [yes, no, yes, yes, no, no, no]);
        assert_eq!(serves(&six, &numbers), [yes, yes, yes, yes, yes, yes, yes]);
        assert_eq!(serves(&wide, &numbers), [yes, no, no, yes, no, no, no]);
    }

    /// The monitors of service $06 by their numbers (SAE J1979-DA): sensors $01 $02 $05 $06, catalysts $21 $22, EGR $31,
    /// cams $35 $36, vapour $39 $3B $3C $3D, heaters $41 $42 $45 $46, fuel system $81 $82, misfire $A1, of cylinders from $A2
    /// on; from $E1 on the maker's own: temperatures, idle speed.
    #[test]
    fn the_monitors_of_service_06_go_by_the_engine() {
        const COMPACT: Calibration = Calibration::compact_2_0();
        let six = Calibration {
            firing_order: [1, 2, 3, 4, 5, 6],
            second_bank: [false, true, false, true, false, true],
            ..COMPACT
        };
        let three = Calibration {
            firing_order: [1, 3, 2, 0, 0, 0],
            recirculation: false,
            phaser: false,
            ..COMPACT
        };
        let monitored =
            |calibration: &Calibration| Served::by(calibration).monitored.iter().collect::<Vec<_>>();
        assert_eq!(
            monitored(&COMPACT),
            [
                0x01, 0x02, 0x21, 0x31, 0x35, 0x39, 0x3B, 0x3C, 0x3D, 0x41, 0x42, 0x81, 0xA1, 0xA2, 0xA3,
                0xA4, 0xA5, 0xE1, 0xE2
            ]
        );
        assert_eq!(
            monitored(&six),
            [
                0x01, 0x02, 0x05, 0x06, 0x21, 0x22, 0x31, 0x35, 0x36, 0x39, 0x3B, 0x3C, 0x3D, 0x41, 0x42,
                0x45, 0x46, 0x81, 0x82, 0xA1, 0xA2, 0xA3, 0xA4, 0xA5, 0xA6, 0xA7, 0xE1, 0xE2
            ]
        );
        assert_eq!(
            monitored(&three),
            [
                0x01, 0x02, 0x21, 0x39, 0x3B, 0x3C, 0x3D, 0x41, 0x42, 0x81, 0xA1, 0xA2, 0xA3, 0xA4, 0xE1,
                0xE2
            ]
        );
    }
}
