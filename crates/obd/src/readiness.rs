//! Readiness of the monitor groups: bytes B, C, D of PIDs $01 and $41 (SAE J1979; places of the bits as a public
//! encyclopedia has them). [`Group`] is what a spark-ignition ECU has; [`Readiness::groups`] reads both kinds.

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

/// Groups of bytes C and D by bit, spark ignition. Bit 4 was the refrigerant in older texts.
const SPARK: [Option<&str>; 8] = [
    Some("catalyst"),
    Some("heated-catalyst"),
    Some("evap"),
    Some("secondary-air"),
    Some("particulate-filter"),
    Some("oxygen-sensor"),
    Some("oxygen-sensor-heater"),
    Some("egr"),
];

/// Groups of bytes C and D by bit, compression ignition.
const COMPRESSION: [Option<&str>; 8] = [
    Some("nmhc-catalyst"),
    Some("nox-after-treatment"),
    None,
    Some("boost-pressure"),
    None,
    Some("exhaust-gas-sensor"),
    Some("particulate-filter"),
    Some("egr"),
];

/// A group of monitors as bytes B, C, D have it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GroupState {
    /// The name for people and phrases.
    pub name: &'static str,
    /// Whether there is such a monitor (PID $41: whether it can still run).
    pub supported: bool,
    /// Whether it is complete; an unsupported one reads complete.
    pub complete: bool,
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

    /// Of two ECUs: supported by either, complete where none that supports it says otherwise.
    #[must_use]
    pub const fn together(self, other: Self) -> Self {
        const fn incomplete(one: Readiness) -> u8 {
            one.continuous >> 4 & one.continuous & 0x07
        }
        Self {
            continuous: (self.continuous | other.continuous) & 0x0F
                | (incomplete(self) | incomplete(other)) << 4,
            supported: self.supported | other.supported,
            incomplete: self.supported & self.incomplete | other.supported & other.incomplete,
        }
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

    /// Whether bytes C and D are those of compression ignition: bit 3 of byte B.
    #[must_use]
    pub const fn is_compression_ignition(self) -> bool {
        self.continuous >> 3 & 1 == 1
    }

    /// All groups of this kind of ignition, in the order of the standard.
    pub fn groups(self) -> impl Iterator<Item = GroupState> {
        let continuous = [Group::Misfire, Group::FuelSystem, Group::Components].map(|group| GroupState {
            name: group.name(),
            supported: self.is_supported(group),
            complete: self.is_complete(group),
        });
        let names = if self.is_compression_ignition() {
            COMPRESSION
        } else {
            SPARK
        };
        let state = move |(bit, name): (usize, Option<&'static str>)| {
            Some(GroupState {
                name: name?,
                supported: self.supported >> bit & 1 == 1,
                complete: self.incomplete >> bit & 1 == 0,
            })
        };
        continuous
            .into_iter()
            .chain(names.into_iter().enumerate().filter_map(state))
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

    #[test]
    fn two_ecus_are_read_together() {
        let engine = Readiness::NONE
            .with(Group::Evap, true, false)
            .with(Group::Misfire, true, true);
        let gearbox = Readiness::NONE
            .with(Group::Components, true, false)
            .with(Group::Evap, true, true)
            .with(Group::Egr, false, false);
        let both = engine.together(gearbox);
        assert_eq!(both, gearbox.together(engine));
        assert!(!both.is_complete(Group::Evap) && both.is_complete(Group::Misfire));
        assert!(both.is_supported(Group::Components) && !both.is_complete(Group::Components));
        assert!(!both.is_supported(Group::Egr) && both.is_complete(Group::Egr));
        let diesel = Readiness::from_bytes([0x08, 0, 0]);
        assert!(both.together(diesel).is_compression_ignition() && !both.is_compression_ignition());
    }

    /// Spark ignition: the iterator and the groups agree, bit 4 apart, which no group has.
    #[test]
    fn each_bit_has_its_name_in_both_kinds_of_ignition() {
        for group in Group::ALL {
            let readiness = Readiness::NONE.with(group, true, false);
            let mut found = readiness
                .groups()
                .filter(|state| state.supported && !state.complete);
            assert_eq!(found.next().map(|state| state.name), Some(group.name()));
            assert_eq!(found.next(), None);
        }
        for (compression, bit, name) in [
            (0x00, 4, "particulate-filter"),
            (0x08, 0, "nmhc-catalyst"),
            (0x08, 1, "nox-after-treatment"),
            (0x08, 3, "boost-pressure"),
            (0x08, 5, "exhaust-gas-sensor"),
            (0x08, 6, "particulate-filter"),
            (0x08, 7, "egr"),
        ] {
            let readiness = Readiness::from_bytes([compression, 1 << bit, 1 << bit]);
            let mut found = readiness
                .groups()
                .filter(|state| state.supported && !state.complete);
            assert_eq!(found.next().map(|state| state.name), Some(name));
        }
    }
}
