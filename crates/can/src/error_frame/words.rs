//! Error message frames in plain words: fragments fit to follow the name of a bus.

use core::fmt;

use super::{Cause, ErrorCounters, ErrorFrame, ErrorState, LineFault, Location, Violations};

impl fmt::Display for ErrorFrame {
    /// All causes, separated by semicolons.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.classes.bits() == 0 {
            return f.write_str("error of no class");
        }
        for (i, cause) in self.causes().enumerate() {
            let separator = if i > 0 { "; " } else { "" };
            write!(f, "{separator}{cause}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::TransmitTimeout => f.write_str("a frame could not be sent in time"),
            Self::LostArbitration { bit: None } => f.write_str("lost arbitration to another node"),
            Self::LostArbitration { bit: Some(bit) } => {
                write!(f, "lost arbitration to another node in bit {bit}")
            }
            Self::Controller(events) => write!(f, "controller: {events}"),
            Self::Protocol { violations, location } => protocol(violations, location, f),
            Self::Transceiver { high, low } => transceiver(high, low, f),
            Self::NoAcknowledge => f.write_str("no other node acknowledged a frame"),
            Self::BusOff => f.write_str("bus off: the controller has taken itself off the bus"),
            Self::BusError => f.write_str("bus error"),
            Self::Restarted => f.write_str("the controller was restarted after bus off"),
            Self::Counters(counters) => write!(f, "{counters}"),
            Self::Unknown(bits) => write!(f, "unknown error class {bits:X}"),
        }
    }
}

fn protocol(violations: Violations, location: Location, f: &mut fmt::Formatter<'_>) -> fmt::Result {
    write!(f, "protocol violation: {violations}")?;
    match location {
        Location::Unspecified => Ok(()),
        place => write!(f, " at {place}"),
    }
}

fn transceiver(high: LineFault, low: LineFault, f: &mut fmt::Formatter<'_>) -> fmt::Result {
    f.write_str("transceiver: ")?;
    match (high, low) {
        (LineFault::Unspecified, LineFault::Unspecified) => f.write_str("unspecified fault of the wires"),
        (high, LineFault::Unspecified) => write!(f, "CAN_H {high}"),
        (LineFault::Unspecified, low) => write!(f, "CAN_L {low}"),
        (high, low) => write!(f, "CAN_H {high}, CAN_L {low}"),
    }
}

impl fmt::Display for ErrorCounters {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} transmit and {} receive errors counted",
            self.transmit, self.receive
        )
    }
}

impl fmt::Display for LineFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unspecified => f.write_str("unspecified"),
            Self::NoWire => f.write_str("open"),
            Self::ShortToBattery => f.write_str("shorted to battery"),
            Self::ShortToSupply => f.write_str("shorted to supply"),
            Self::ShortToGround => f.write_str("shorted to ground"),
            Self::ShortToOtherWire => f.write_str("shorted to the other wire"),
            Self::Unknown(code) => write!(f, "in unknown state {code:X}"),
        }
    }
}

impl fmt::Display for ErrorState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Active => "error-active",
            Self::Warning => "error warning",
            Self::Passive => "error-passive",
            Self::BusOff => "bus off",
        })
    }
}
