//! The bits and codes of error message frames, as linux/can/error.h numbers them, each with its words.

use core::fmt;

/// One enum of flags with words, and the set of them over an integer that keeps bits it does not know.
macro_rules! flags {
    ($(#[$flag_doc:meta])* $flag:ident, $(#[$set_doc:meta])* $set:ident($int:ty) {
        $($(#[$doc:meta])* $variant:ident = $bit:literal $words:literal,)*
    }) => {
        $(#[$flag_doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum $flag {
            $($(#[$doc])* $variant,)*
        }

        impl $flag {
            /// All of them, in the order of their bits.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// Its bit.
            #[must_use]
            pub const fn bit(self) -> $int {
                match self {
                    $(Self::$variant => $bit,)*
                }
            }

            /// In plain words.
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self {
                    $(Self::$variant => $words,)*
                }
            }
        }

        impl fmt::Display for $flag {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.words())
            }
        }

        $(#[$set_doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
        pub struct $set($int);

        impl $set {
            /// The set with these bits, unknown ones included.
            #[must_use]
            pub const fn from_bits(bits: $int) -> Self {
                Self(bits)
            }

            /// The bits, unknown ones included.
            #[must_use]
            pub const fn bits(self) -> $int {
                self.0
            }

            /// Whether `flag` is in the set.
            #[must_use]
            pub const fn contains(self, flag: $flag) -> bool {
                self.0 & flag.bit() != 0
            }

            /// The known flags in the set, in the order of their bits.
            pub fn iter(self) -> impl Iterator<Item = $flag> {
                $flag::ALL.iter().copied().filter(move |&flag| self.contains(flag))
            }

            /// The bits that no flag stands for.
            #[must_use]
            pub const fn unknown(self) -> $int {
                self.0 & !($($bit)|*)
            }
        }

        impl fmt::Display for $set {
            /// The words of the flags, and what bits remain; "unspecified" for none.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                if self.0 == 0 {
                    return f.write_str("unspecified");
                }
                for (i, flag) in self.iter().enumerate() {
                    let comma = if i > 0 { ", " } else { "" };
                    write!(f, "{comma}{flag}")?;
                }
                if self.unknown() != 0 {
                    let comma = if self.unknown() == self.0 { "" } else { ", " };
                    write!(f, "{comma}unknown bits {:02X}", self.unknown())?;
                }
                Ok(())
            }
        }
    };
}

flags! {
    /// A class of error message: one bit of the identifier word.
    ErrorClass,
    /// The classes of an error message frame.
    ErrorClasses(u32) {
        /// A frame did not leave in time.
        TransmitTimeout = 0x001 "transmit timeout",
        /// Arbitration was lost; the bit stands in byte 0.
        LostArbitration = 0x002 "lost arbitration",
        /// Buffers and error state; byte 1.
        Controller = 0x004 "controller",
        /// Violation of the protocol; bytes 2 and 3.
        Protocol = 0x008 "protocol violation",
        /// State of the wires; byte 4.
        Transceiver = 0x010 "transceiver",
        /// No node acknowledged.
        NoAcknowledge = 0x020 "no acknowledge",
        /// The node is off the bus.
        BusOff = 0x040 "bus off",
        /// Error on the bus; may come in floods.
        BusError = 0x080 "bus error",
        /// The node is back on the bus.
        Restarted = 0x100 "restarted",
        /// The error counters; bytes 6 and 7.
        Counters = 0x200 "error counters",
    }
}

flags! {
    /// What happened to a controller: one bit of byte 1.
    ControllerEvent,
    /// What happened to a controller.
    ControllerEvents(u8) {
        /// A received frame found no room and is lost.
        ReceiveOverflow = 0x01 "receive buffer overflow",
        /// A frame to be sent found no room.
        TransmitOverflow = 0x02 "transmit buffer overflow",
        /// Receive error counter at 96 or more.
        ReceiverWarning = 0x04 "many receive errors (warning level)",
        /// Transmit error counter at 96 or more.
        TransmitterWarning = 0x08 "many transmit errors (warning level)",
        /// Receive error counter at 128 or more.
        ReceiverPassive = 0x10 "error-passive by receive errors",
        /// Transmit error counter at 128 or more.
        TransmitterPassive = 0x20 "error-passive by transmit errors",
        /// Both counters below 96 again.
        BackToActive = 0x40 "error-active again",
    }
}

flags! {
    /// How the protocol was violated: one bit of byte 2.
    Violation,
    /// How the protocol was violated.
    Violations(u8) {
        /// One bit was not what was sent.
        SingleBit = 0x01 "bit error",
        /// A bit of fixed value had the other one.
        Form = 0x02 "form error",
        /// Six equal bits where there must be a stuff bit.
        Stuff = 0x04 "stuff error",
        /// A dominant bit was sent, a recessive one seen.
        DominantBit = 0x08 "dominant bit could not be sent",
        /// A recessive bit was sent, a dominant one seen.
        RecessiveBit = 0x10 "recessive bit could not be sent",
        /// Overload frame.
        Overload = 0x20 "overload",
        /// This node sent an active error flag.
        ActiveAnnouncement = 0x40 "active error flag",
        /// It happened to a frame of this node.
        OnTransmission = 0x80 "on transmission",
    }
}

/// Where in a frame the protocol was violated: byte 3.
macro_rules! locations {
    ($($(#[$doc:meta])* $variant:ident = $code:literal $words:literal,)*) => {
        /// Where in a frame the protocol was violated: the codes of byte 3.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Location {
            $($(#[$doc])* $variant,)*
            /// A code that linux/can/error.h does not name.
            Unknown(u8),
        }

        impl Location {
            /// The location with this code.
            #[must_use]
            pub const fn from_code(code: u8) -> Self {
                match code {
                    $($code => Self::$variant,)*
                    other => Self::Unknown(other),
                }
            }
        }

        impl fmt::Display for Location {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                match self {
                    $(Self::$variant => f.write_str($words),)*
                    Self::Unknown(code) => write!(f, "location {code:02X}"),
                }
            }
        }
    };
}

locations! {
    /// The controller does not say.
    Unspecified = 0x00 "unspecified location",
    /// Identifier bits 28 to 21; 10 to 3 of an 11-bit one.
    Identifier28To21 = 0x02 "identifier bits 28-21 (11-bit: 10-3)",
    /// Start of frame.
    StartOfFrame = 0x03 "start of frame",
    /// Substitute remote request bit; the remote request bit of an 11-bit frame.
    SubstituteRemoteRequest = 0x04 "substitute remote request bit (11-bit: remote request bit)",
    /// Identifier extension bit.
    IdentifierExtension = 0x05 "identifier extension bit",
    /// Identifier bits 20 to 18; 2 to 0 of an 11-bit one.
    Identifier20To18 = 0x06 "identifier bits 20-18 (11-bit: 2-0)",
    /// Identifier bits 17 to 13.
    Identifier17To13 = 0x07 "identifier bits 17-13",
    /// CRC sequence.
    CrcSequence = 0x08 "CRC sequence",
    /// Reserved bit 0.
    Reserved0 = 0x09 "reserved bit 0",
    /// Data field.
    Data = 0x0A "data field",
    /// Data length code.
    DataLengthCode = 0x0B "data length code",
    /// Remote request bit.
    RemoteRequest = 0x0C "remote request bit",
    /// Reserved bit 1.
    Reserved1 = 0x0D "reserved bit 1",
    /// Identifier bits 4 to 0.
    Identifier4To0 = 0x0E "identifier bits 4-0",
    /// Identifier bits 12 to 5.
    Identifier12To5 = 0x0F "identifier bits 12-5",
    /// Intermission.
    Intermission = 0x12 "intermission",
    /// CRC delimiter.
    CrcDelimiter = 0x18 "CRC delimiter",
    /// Acknowledge slot.
    AcknowledgeSlot = 0x19 "acknowledge slot",
    /// End of frame.
    EndOfFrame = 0x1A "end of frame",
    /// Acknowledge delimiter.
    AcknowledgeDelimiter = 0x1B "acknowledge delimiter",
}
