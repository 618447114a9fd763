//! Codes as SAE J1979-2 tells them: two bytes of code and one that says how it failed, a status byte and, in some
//! answers, a severity byte (ISO 14229-1, annex D; SAE J2012-DA).

use core::fmt;

use crate::Dtc;

/// How something failed: the third byte of a code (failure type byte, SAE J2012-DA).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FailureType(u8);

/// Numbers and names (from memory), rising.
const FAILURE_TYPES: &[(u8, &str)] = &[
    (0x00, "no sub-type"),
    (0x01, "general electrical failure"),
    (0x02, "general signal failure"),
    (0x04, "system internal failure"),
    (0x07, "mechanical failure"),
    (0x08, "bus signal or message failure"),
    (0x09, "component failure"),
    (0x11, "circuit short to ground"),
    (0x12, "circuit short to battery"),
    (0x13, "circuit open"),
    (0x14, "circuit short to ground or open"),
    (0x15, "circuit short to battery or open"),
    (0x16, "circuit voltage below threshold"),
    (0x17, "circuit voltage above threshold"),
    (0x18, "circuit current below threshold"),
    (0x19, "circuit current above threshold"),
    (0x1A, "circuit resistance below threshold"),
    (0x1B, "circuit resistance above threshold"),
    (0x1C, "circuit voltage out of range"),
    (0x1D, "circuit current out of range"),
    (0x1E, "circuit resistance out of range"),
    (0x1F, "circuit intermittent"),
    (0x21, "signal amplitude below minimum"),
    (0x22, "signal amplitude above maximum"),
    (0x23, "signal stuck low"),
    (0x24, "signal stuck high"),
    (0x26, "signal rate of change below threshold"),
    (0x27, "signal rate of change above threshold"),
    (0x28, "signal bias level out of range"),
    (0x29, "signal invalid"),
    (0x2A, "signal stuck in range"),
    (0x2F, "signal erratic"),
    (0x31, "no signal"),
    (0x41, "general checksum failure"),
    (0x42, "general memory failure"),
    (0x44, "data memory failure"),
    (0x45, "program memory failure"),
    (0x46, "calibration memory failure"),
    (0x47, "watchdog or safety processor failure"),
    (0x49, "internal electronic failure"),
    (0x4B, "over temperature"),
    (0x61, "signal calculation failure"),
    (0x62, "signal compare failure"),
    (0x64, "signal plausibility failure"),
    (0x71, "actuator stuck"),
    (0x72, "actuator stuck open"),
    (0x73, "actuator stuck closed"),
    (0x74, "actuator slipping"),
    (0x77, "commanded position not reachable"),
    (0x7A, "fluid leak or seal failure"),
    (0x7B, "low fluid level"),
    (0x81, "invalid serial data received"),
    (0x86, "signal invalid on the bus"),
    (0x87, "missing message"),
    (0x92, "performance or incorrect operation"),
    (0x93, "no operation"),
    (0x94, "unexpected operation"),
    (0x96, "component internal failure"),
    (0x97, "operation obstructed or blocked"),
    (0x98, "component over temperature"),
];

impl FailureType {
    /// Nothing more is said.
    pub const NONE: Self = Self(0x00);

    /// The type with this number.
    #[must_use]
    pub const fn new(number: u8) -> Self {
        Self(number)
    }

    /// Its number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// Its name for people, where we know one.
    #[must_use]
    pub fn name(self) -> Option<&'static str> {
        let place = FAILURE_TYPES.binary_search_by_key(&self.0, |&(number, _)| number);
        place.ok().map(|place| FAILURE_TYPES[place].1)
    }
}

impl fmt::Display for FailureType {
    /// `$13`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "${:02X}", self.0)
    }
}

/// A code of three bytes: which, and how it failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FullDtc {
    /// The code of SAE J2012.
    pub code: Dtc,
    /// How it failed.
    pub failure: FailureType,
}

impl FullDtc {
    /// From its three bytes.
    #[must_use]
    pub const fn from_bytes([high, low, failure]: [u8; 3]) -> Self {
        Self {
            code: Dtc::from_bytes([high, low]),
            failure: FailureType(failure),
        }
    }

    /// Its three bytes.
    #[must_use]
    pub const fn to_bytes(self) -> [u8; 3] {
        let [high, low] = self.code.to_bytes();
        [high, low, self.failure.0]
    }
}

impl fmt::Display for FullDtc {
    /// `P0113-17`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{:02X}", self.code, self.failure.0)
    }
}

/// The status of a code, eight bits (ISO 14229-1, annex D.2; what they mean for OBD, from memory).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Status(u8);

impl Status {
    /// Bit 0, testFailed: the last completed test failed.
    pub const FAILING: Self = Self(0x01);
    /// Bit 1, testFailedThisOperationCycle.
    pub const FAILED_THIS_CYCLE: Self = Self(0x02);
    /// Bit 2, pendingDTC: what service $07 lists.
    pub const PENDING: Self = Self(0x04);
    /// Bit 3, confirmedDTC: what service $03 lists.
    pub const CONFIRMED: Self = Self(0x08);
    /// Bit 4, testNotCompletedSinceLastClear.
    pub const NOT_RUN_SINCE_CLEAR: Self = Self(0x10);
    /// Bit 5, testFailedSinceLastClear.
    pub const FAILED_SINCE_CLEAR: Self = Self(0x20);
    /// Bit 6, testNotCompletedThisOperationCycle.
    pub const NOT_RUN_THIS_CYCLE: Self = Self(0x40);
    /// Bit 7, warningIndicatorRequested: the code asks for the MIL.
    pub const LAMP: Self = Self(0x80);
    /// Every bit.
    pub const ALL: Self = Self(0xFF);
    /// None.
    pub const NONE: Self = Self(0x00);

    /// Names by bit, from bit 0 on.
    const NAMES: [&'static str; 8] = [
        "failing",
        "failed in this cycle",
        "pending",
        "confirmed",
        "not run since clear",
        "failed since clear",
        "not run in this cycle",
        "lamp on",
    ];

    /// From its byte.
    #[must_use]
    pub const fn from_byte(byte: u8) -> Self {
        Self(byte)
    }

    /// Its byte.
    #[must_use]
    pub const fn to_byte(self) -> u8 {
        self.0
    }

    /// With these bits set or not, and the others as they are.
    #[must_use]
    pub const fn with(self, bits: Self, set: bool) -> Self {
        if set {
            Self(self.0 | bits.0)
        } else {
            Self(self.0 & !bits.0)
        }
    }

    /// Whether any of these bits is set.
    #[must_use]
    pub const fn has(self, bits: Self) -> bool {
        self.0 & bits.0 != 0
    }
}

impl fmt::Display for Status {
    /// `pending, failed since clear`; `nothing` if no bit is set.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut any = false;
        for (bit, name) in Self::NAMES.iter().enumerate() {
            if self.0 >> bit & 1 == 1 {
                f.write_str(if any { ", " } else { "" })?;
                f.write_str(name)?;
                any = true;
            }
        }
        f.write_str(if any { "" } else { "nothing" })
    }
}

/// How bad it is, and the class of the code: bits 7 to 5 and 4 to 0 (ISO 14229-1, annex D.3; classes of GTR OBD, from memory).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Severity(u8);

impl Severity {
    /// Bit 5.
    pub const MAINTENANCE: Self = Self(0x20);
    /// Bit 6.
    pub const NEXT_HALT: Self = Self(0x40);
    /// Bit 7.
    pub const AT_ONCE: Self = Self(0x80);
    /// Bit 0: no class is given.
    pub const NO_CLASS: Self = Self(0x01);
    /// Every bit.
    pub const ALL: Self = Self(0xFF);

    /// From its byte.
    #[must_use]
    pub const fn from_byte(byte: u8) -> Self {
        Self(byte)
    }

    /// Its byte.
    #[must_use]
    pub const fn to_byte(self) -> u8 {
        self.0
    }

    /// Both together.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether any of these bits is set.
    #[must_use]
    pub const fn has(self, bits: Self) -> bool {
        self.0 & bits.0 != 0
    }
}

impl fmt::Display for Severity {
    /// `check at the next halt`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.0 & 0xE0 {
            0x80.. => "check at once",
            0x40.. => "check at the next halt",
            0x20.. => "maintenance only",
            _ => "severity not given",
        })
    }
}
