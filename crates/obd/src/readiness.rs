//! Readiness of the monitor groups: bytes B, C, D of PIDs $01 and $41, spark ignition (SAE J1979, from
//! memory).

/// A group of monitors with a readiness bit of its own, in the order of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// Misfire (continuous).
    Misfire,
    /// Fuel system (continuous).
    FuelSystem,
    /// Comprehensive components (continuous).
    Components,
    /// Catalyst.
    Catalyst,
    /// Heated catalyst.
    HeatedCatalyst,
    /// Evaporative system.
    Evap,
    /// Secondary air.
    SecondaryAir,
    /// Exhaust gas (oxygen) sensor.
    ExhaustSensor,
    /// Heater of the exhaust gas sensor.
    SensorHeater,
    /// Exhaust gas recirculation and variable valve timing.
    Egr,
}

impl Group {
    /// All groups, in the order of the standard.
    pub const ALL: [Self; 10] = [
        Self::Misfire,
        Self::FuelSystem,
        Self::Components,
        Self::Catalyst,
        Self::HeatedCatalyst,
        Self::Evap,
        Self::SecondaryAir,
        Self::ExhaustSensor,
        Self::SensorHeater,
        Self::Egr,
    ];

    /// Whether the group watches all the time, and so stands in byte B.
    #[must_use]
    pub const fn is_continuous(self) -> bool {
        matches!(self, Self::Misfire | Self::FuelSystem | Self::Components)
    }

    /// Bit of the group in byte B (continuous groups) or in bytes C and D (the others).
    #[must_use]
    pub const fn bit(self) -> u8 {
        match self {
            Self::Misfire | Self::Catalyst => 0,
            Self::FuelSystem | Self::HeatedCatalyst => 1,
            Self::Components | Self::Evap => 2,
            Self::SecondaryAir => 3,
            Self::ExhaustSensor => 5,
            Self::SensorHeater => 6,
            Self::Egr => 7,
        }
    }

    /// The name for people and phrases.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Misfire => "misfire",
            Self::FuelSystem => "fuel-system",
            Self::Components => "components",
            Self::Catalyst => "catalyst",
            Self::HeatedCatalyst => "heated-catalyst",
            Self::Evap => "evap",
            Self::SecondaryAir => "secondary-air",
            Self::ExhaustSensor => "oxygen-sensor",
            Self::SensorHeater => "oxygen-sensor-heater",
            Self::Egr => "egr",
        }
    }
}

/// Which groups there are (PID $41: can still run), and which are not complete.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Readiness {
    /// Byte B.
    continuous: u8,
    /// Byte C.
    supported: u8,
    /// Byte D.
    incomplete: u8,
}

impl Readiness {
    /// Nothing supported, nothing incomplete.
    pub const NONE: Self = Self {
        continuous: 0,
        supported: 0,
        incomplete: 0,
    };

    /// From bytes B, C, D.
    #[must_use]
    pub const fn from_bytes([continuous, supported, incomplete]: [u8; 3]) -> Self {
        Self {
            continuous,
            supported,
            incomplete,
        }
    }

    /// Bytes B, C, D.
    #[must_use]
    pub const fn to_bytes(self) -> [u8; 3] {
        [self.continuous, self.supported, self.incomplete]
    }

    /// With this group supported or not, complete or not.
    #[must_use]
    pub const fn with(mut self, group: Group, supported: bool, complete: bool) -> Self {
        let bit = group.bit();
        let (supported_byte, incomplete_byte, incomplete_bit) = if group.is_continuous() {
            (self.continuous, self.continuous, bit + 4)
        } else {
            (self.supported, self.incomplete, bit)
        };
        let supported_byte = supported_byte & !(1 << bit) | (supported as u8) << bit;
        if group.is_continuous() {
            self.continuous = supported_byte & !(1 << incomplete_bit) | (!complete as u8) << incomplete_bit;
        } else {
            self.supported = supported_byte;
            self.incomplete = incomplete_byte & !(1 << incomplete_bit) | (!complete as u8) << incomplete_bit;
        }
        self
    }

    /// Whether the group is supported.
    #[must_use]
    pub const fn is_supported(self, group: Group) -> bool {
        let byte = if group.is_continuous() {
            self.continuous
        } else {
            self.supported
        };
        byte >> group.bit() & 1 == 1
    }

    /// Whether the group is complete; an unsupported group reads complete.
    #[must_use]
    pub const fn is_complete(self, group: Group) -> bool {
        let byte = if group.is_continuous() {
            self.continuous >> 4
        } else {
            self.incomplete
        };
        byte >> group.bit() & 1 == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Places of the bits: SAE J1979 (from memory); they agree with the public source of the J1699-3 conformance
    /// test.
    #[test]
    fn groups_stand_in_their_places() {
        let readiness = Readiness::NONE
            .with(Group::Components, true, true)
            .with(Group::Misfire, true, false)
            .with(Group::Evap, true, false)
            .with(Group::Egr, true, true);
        assert_eq!(readiness.to_bytes(), [0b0001_0101, 0b1000_0100, 0b0000_0100]);
        assert!(!readiness.is_complete(Group::Evap) && readiness.is_complete(Group::Egr));
        assert!(readiness.is_complete(Group::Catalyst) && !readiness.is_supported(Group::Catalyst));
        assert_eq!(readiness.with(Group::Evap, true, true).to_bytes()[2], 0);
    }
}
