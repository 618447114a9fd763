//! The services of SAE J1979, those of SAE J1979-2, and the response codes of a refusal.

use core::fmt;

/// A diagnostic service. A number that the standard does not give is kept, since an ECU has to answer it, or to
/// stay silent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Service {
    /// $01, current powertrain data.
    CurrentData,
    /// $02, the freeze frame.
    FreezeFrame,
    /// $03, confirmed codes.
    ConfirmedCodes,
    /// $04, clearing of codes and what belongs to them.
    Clear,
    /// $05, oxygen sensor tests; not on CAN.
    OxygenSensorTests,
    /// $06, results of on-board tests.
    TestResults,
    /// $07, pending codes.
    PendingCodes,
    /// $08, control of an on-board system.
    Control,
    /// $09, vehicle information.
    VehicleInformation,
    /// $0A, permanent codes.
    PermanentCodes,
    /// $10 of SAE J1979-2, sessions.
    Session,
    /// $14 of SAE J1979-2, clearing.
    ClearByGroup,
    /// $19 of SAE J1979-2, codes, freeze frames and other data of codes.
    ReadCodes,
    /// $22 of SAE J1979-2, data by identifier.
    ReadData,
    /// $31 of SAE J1979-2, control of a routine.
    Routine,
    /// $3E of SAE J1979-2, the tester is still there.
    TesterPresent,
    /// Any other number.
    Unknown(u8),
}

impl Service {
    /// The service with this number, as a request spells it.
    #[must_use]
    pub const fn from_byte(byte: u8) -> Self {
        match byte {
            0x01 => Self::CurrentData,
            0x02 => Self::FreezeFrame,
            0x03 => Self::ConfirmedCodes,
            0x04 => Self::Clear,
            0x05 => Self::OxygenSensorTests,
            0x06 => Self::TestResults,
            0x07 => Self::PendingCodes,
            0x08 => Self::Control,
            0x09 => Self::VehicleInformation,
            0x0A => Self::PermanentCodes,
            0x10 => Self::Session,
            0x14 => Self::ClearByGroup,
            0x19 => Self::ReadCodes,
            0x22 => Self::ReadData,
            0x31 => Self::Routine,
            0x3E => Self::TesterPresent,
            other => Self::Unknown(other),
        }
    }

    /// The number in a request.
    #[must_use]
    pub const fn to_byte(self) -> u8 {
        match self {
            Self::CurrentData => 0x01,
            Self::FreezeFrame => 0x02,
            Self::ConfirmedCodes => 0x03,
            Self::Clear => 0x04,
            Self::OxygenSensorTests => 0x05,
            Self::TestResults => 0x06,
            Self::PendingCodes => 0x07,
            Self::Control => 0x08,
            Self::VehicleInformation => 0x09,
            Self::PermanentCodes => 0x0A,
            Self::Session => 0x10,
            Self::ClearByGroup => 0x14,
            Self::ReadCodes => 0x19,
            Self::ReadData => 0x22,
            Self::Routine => 0x31,
            Self::TesterPresent => 0x3E,
            Self::Unknown(other) => other,
        }
    }

    /// The first byte of a positive answer: the number of the request plus $40.
    #[must_use]
    pub const fn to_answer_byte(self) -> u8 {
        self.to_byte().wrapping_add(0x40)
    }

    /// The name for people; an unknown service has none of its own.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::CurrentData => "current data",
            Self::FreezeFrame => "freeze frame",
            Self::ConfirmedCodes => "confirmed codes",
            Self::Clear | Self::ClearByGroup => "clear codes",
            Self::OxygenSensorTests => "oxygen sensor tests",
            Self::TestResults => "test results",
            Self::PendingCodes => "pending codes",
            Self::Control => "control of a system",
            Self::VehicleInformation => "vehicle information",
            Self::PermanentCodes => "permanent codes",
            Self::Session => "session",
            Self::ReadCodes => "codes and their data",
            Self::ReadData => "data by identifier",
            Self::Routine => "control of a routine",
            Self::TesterPresent => "tester present",
            Self::Unknown(_) => "unknown service",
        }
    }

    /// What it calls the things that it is asked for, one of them: `PID`, `monitor`, `control`, `InfoType`.
    #[must_use]
    pub const fn parameter(self) -> &'static str {
        match self {
            Self::TestResults => "monitor",
            Self::Control => "control",
            Self::VehicleInformation => "InfoType",
            Self::ReadData => "data identifier",
            _ => "PID",
        }
    }

    /// Which codes it tells, of the services that tell codes: `pending`, `permanent`, `confirmed`.
    #[must_use]
    pub const fn kind_of_codes(self) -> &'static str {
        match self {
            Self::PendingCodes => "pending",
            Self::PermanentCodes => "permanent",
            _ => "confirmed",
        }
    }
}

impl fmt::Display for Service {
    /// `service $01 (current data)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "service ${:02X} ({})", self.to_byte(), self.name())
    }
}

/// Why a request was refused: the third byte of a negative answer (ISO 14229-1 table of response codes, as far as
/// OBD meets them).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ResponseCode {
    /// $10.
    GeneralReject,
    /// $11.
    ServiceNotSupported,
    /// $12.
    SubFunctionNotSupported,
    /// $13.
    IncorrectLength,
    /// $14.
    ResponseTooLong,
    /// $21.
    BusyRepeatRequest,
    /// $22.
    ConditionsNotCorrect,
    /// $31.
    RequestOutOfRange,
    /// $72.
    GeneralProgrammingFailure,
    /// $78: the answer follows later.
    ResponsePending,
    /// $7E.
    SubFunctionNotSupportedInActiveSession,
    /// $7F.
    ServiceNotSupportedInActiveSession,
    /// Any other number.
    Unknown(u8),
}

impl ResponseCode {
    /// The code with this number.
    #[must_use]
    pub const fn from_byte(byte: u8) -> Self {
        match byte {
            0x10 => Self::GeneralReject,
            0x11 => Self::ServiceNotSupported,
            0x12 => Self::SubFunctionNotSupported,
            0x13 => Self::IncorrectLength,
            0x14 => Self::ResponseTooLong,
            0x21 => Self::BusyRepeatRequest,
            0x22 => Self::ConditionsNotCorrect,
            0x31 => Self::RequestOutOfRange,
            0x72 => Self::GeneralProgrammingFailure,
            0x78 => Self::ResponsePending,
            0x7E => Self::SubFunctionNotSupportedInActiveSession,
            0x7F => Self::ServiceNotSupportedInActiveSession,
            other => Self::Unknown(other),
        }
    }

    /// Its number.
    #[must_use]
    pub const fn to_byte(self) -> u8 {
        match self {
            Self::GeneralReject => 0x10,
            Self::ServiceNotSupported => 0x11,
            Self::SubFunctionNotSupported => 0x12,
            Self::IncorrectLength => 0x13,
            Self::ResponseTooLong => 0x14,
            Self::BusyRepeatRequest => 0x21,
            Self::ConditionsNotCorrect => 0x22,
            Self::RequestOutOfRange => 0x31,
            Self::GeneralProgrammingFailure => 0x72,
            Self::ResponsePending => 0x78,
            Self::SubFunctionNotSupportedInActiveSession => 0x7E,
            Self::ServiceNotSupportedInActiveSession => 0x7F,
            Self::Unknown(other) => other,
        }
    }

    /// Whether an ECU keeps this code to itself when the request went to all ECUs at once
    /// (AUTOSAR SWS_Dcm_00001: $11, $12, $31, $7E, $7F).
    #[must_use]
    pub const fn is_suppressed_when_functional(self) -> bool {
        matches!(
            self,
            Self::ServiceNotSupported
                | Self::SubFunctionNotSupported
                | Self::RequestOutOfRange
                | Self::SubFunctionNotSupportedInActiveSession
                | Self::ServiceNotSupportedInActiveSession
        )
    }

    /// The name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::GeneralReject => "general reject",
            Self::ServiceNotSupported => "service not supported",
            Self::SubFunctionNotSupported => "sub-function not supported",
            Self::IncorrectLength => "incorrect message length",
            Self::ResponseTooLong => "response too long",
            Self::BusyRepeatRequest => "busy, repeat the request",
            Self::ConditionsNotCorrect => "conditions not correct",
            Self::RequestOutOfRange => "request out of range",
            Self::GeneralProgrammingFailure => "general programming failure",
            Self::ResponsePending => "response pending",
            Self::SubFunctionNotSupportedInActiveSession => "sub-function not supported in this session",
            Self::ServiceNotSupportedInActiveSession => "service not supported in this session",
            Self::Unknown(_) => "unknown response code",
        }
    }
}

impl fmt::Display for ResponseCode {
    /// `conditions not correct ($22)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} (${:02X})", self.name(), self.to_byte())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_survives_the_way_through_the_type() {
        for byte in 0..=u8::MAX {
            assert_eq!(Service::from_byte(byte).to_byte(), byte);
            assert_eq!(ResponseCode::from_byte(byte).to_byte(), byte);
        }
    }

    /// AUTOSAR SWS_Dcm_00001 names exactly five.
    #[test]
    fn five_codes_are_kept_quiet_on_functional_addressing() {
        let quiet =
            (0..=u8::MAX).filter(|&byte| ResponseCode::from_byte(byte).is_suppressed_when_functional());
        assert!(quiet.eq([0x11, 0x12, 0x31, 0x7E, 0x7F]));
    }
}
