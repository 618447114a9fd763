//! Data identifiers: the PIDs, monitors and InfoTypes of SAE J1979 under numbers of two bytes (SAE J1979-2; ranges by a public help
//! page and `udsoncan`).

use alloc::string::String;
use core::fmt::{self, Write};

use crate::{InfoType, Mid, Pid, mask::is_mask};

/// A data identifier, the number of a piece of data in $22.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Did(u16);

/// What a data identifier stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// $F4xx: a parameter of service $01.
    Parameter(Pid),
    /// $F5xx: a parameter beyond $FF, by its low byte.
    HighParameter(u8),
    /// $F6xx: a monitor of service $06.
    Monitor(Mid),
    /// $F8xx: an InfoType of service $09.
    Information(InfoType),
    /// None of on-board diagnostics.
    Other,
}

impl Did {
    /// $F810: which dialect an ECU speaks.
    pub const PROTOCOL: Self = Self(0xF810);
    /// Parameters of service $01.
    pub const PARAMETERS: u8 = 0xF4;
    /// Parameters beyond $FF.
    pub const HIGH_PARAMETERS: u8 = 0xF5;
    /// Monitors of service $06.
    pub const MONITORS: u8 = 0xF6;
    /// InfoTypes of service $09.
    pub const INFORMATION: u8 = 0xF8;

    /// From its two bytes.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; 2]) -> Self {
        Self(u16::from_be_bytes(bytes))
    }

    /// Its two bytes.
    #[must_use]
    pub const fn to_bytes(self) -> [u8; 2] {
        self.0.to_be_bytes()
    }

    /// The parameter with this number of service $01.
    #[must_use]
    pub const fn parameter(number: u8) -> Self {
        Self::from_bytes([Self::PARAMETERS, number])
    }

    /// What it stands for.
    #[must_use]
    pub const fn subject(self) -> Subject {
        let [range, number] = self.to_bytes();
        match range {
            Self::PARAMETERS => Subject::Parameter(Pid::new(number)),
            Self::HIGH_PARAMETERS => Subject::HighParameter(number),
            Self::MONITORS => Subject::Monitor(Mid::new(number)),
            Self::INFORMATION => Subject::Information(InfoType::new(number)),
            _ => Subject::Other,
        }
    }

    /// Whether it is a mask of the identifiers that its range supports: each one whose low byte is $00, $20 ... $E0 (from
    /// memory).
    #[must_use]
    pub const fn is_mask(self) -> bool {
        let [_, number] = self.to_bytes();
        is_mask(number) && !matches!(self.subject(), Subject::Other)
    }

    /// What the identifiers of its range are called, one of them.
    pub(super) const fn kind(self) -> &'static str {
        match self.subject() {
            Subject::Parameter(_) | Subject::HighParameter(_) => "PID",
            Subject::Monitor(_) => "monitor",
            Subject::Information(_) => "InfoType",
            Subject::Other => "data identifier",
        }
    }

    /// What it stands for: `engine speed`.
    #[must_use]
    pub fn name(self) -> String {
        let mut name = String::new();
        // A string takes everything.
        let _ = self.write_name(&mut name);
        name
    }

    /// What it stands for, in words: `engine speed`.
    pub(super) fn write_name(self, out: &mut impl Write) -> fmt::Result {
        let [_, number] = self.to_bytes();
        if self.is_mask() {
            return write!(
                out,
                "the supported {}s from ${:04X}",
                self.kind(),
                self.0.saturating_add(1)
            );
        }
        match self.subject() {
            Subject::Parameter(pid) => match pid.definition() {
                Some(definition) => out.write_str(definition.name),
                None => write!(out, "PID {pid}"),
            },
            Subject::HighParameter(_) => write!(out, "PID $1{number:02X}"),
            Subject::Monitor(mid) => write!(out, "test results of {}", mid.name()),
            Subject::Information(info_type) => write!(out, "{info_type}"),
            Subject::Other => write!(out, "data identifier {self}"),
        }
    }
}

impl fmt::Display for Did {
    /// `$F40C`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "${:04X}", self.0)
    }
}
