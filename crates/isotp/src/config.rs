//! Settings of a channel: identifiers, timers, padding, limits, own flow control.

use core::time::Duration;

use twotrip_can::{CanId, address::EcuAddress};

use crate::{Frames, StMin};

/// The timeouts of ISO 15765-2. (N_Br and N_Cs are demands on the caller's speed, not timeouts.)
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timers {
    /// N_As: a frame of a message, from its hand-over to its acknowledgement on the bus.
    pub n_as: Duration,
    /// N_Ar: the same for a flow control.
    pub n_ar: Duration,
    /// N_Bs: from the first frame, the end of a block or a WAIT to the next flow control.
    pub n_bs: Duration,
    /// N_Cr: from the flow control or a consecutive frame to the next consecutive frame.
    pub n_cr: Duration,
}

impl Timers {
    /// Legislated diagnostics, ISO 15765-4 (figures from public summaries of its timing table).
    pub const OBD: Self = Self {
        n_as: Duration::from_millis(25),
        n_ar: Duration::from_millis(25),
        n_bs: Duration::from_millis(75),
        n_cr: Duration::from_millis(150),
    };
    /// ISO 15765-2 without a profile: one second each.
    pub const GENERIC: Self = Self {
        n_as: Duration::from_secs(1),
        n_ar: Duration::from_secs(1),
        n_bs: Duration::from_secs(1),
        n_cr: Duration::from_secs(1),
    };
}

/// Which frame lengths are taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Dlc {
    /// Eight bytes, as ISO 15765-4 demands of every diagnostic frame (from memory); on CAN FD no fewer.
    #[default]
    Strict,
    /// Shorter single, flow control and last consecutive frames too.
    Lenient,
}

/// What all ends of one bus agree on, whatever their identifiers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Profile {
    /// Timeouts.
    pub timers: Timers,
    /// What fills a frame up to eight bytes.
    pub pad: u8,
    /// Frame lengths taken.
    pub dlc: Dlc,
    /// Classic CAN or CAN FD.
    pub frames: Frames,
}

impl Profile {
    /// Legislated diagnostics, ISO 15765-4. Padding 00: common practice, no source.
    pub const OBD: Self = Self {
        timers: Timers::OBD,
        pad: 0x00,
        dlc: Dlc::Strict,
        frames: Frames::Classic,
    };
}

/// Whether a message may arrive while another leaves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Duplex {
    /// Both directions at once.
    #[default]
    Full,
    /// While a message leaves only flow control is taken, while one arrives none can be sent.
    Half,
}

/// Which flow control sets block size and STmin of a message that leaves; ISO 15765-2 knows both ways.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FlowParameters {
    /// Each ContinueToSend anew.
    #[default]
    Dynamic,
    /// The first ContinueToSend of a message.
    Static,
}

/// Settings of one [`Channel`](crate::Channel).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Config {
    /// Identifier of the frames for this end.
    pub receive_id: CanId,
    /// Identifier of the frames of this end.
    pub transmit_id: CanId,
    /// A second identifier to listen on, for single frames only: a transfer of its own, which never disturbs
    /// one on `receive_id` (another N_AI).
    pub functional_id: Option<CanId>,
    /// Timeouts, padding, frame lengths.
    pub profile: Profile,
    /// Longest message taken, bytes; a longer one is answered with an overflow. The buffer is made once, of this size.
    pub receive_limit: usize,
    /// Longest message sent, bytes; above 4095 it is announced in the escape form. The buffer is made once, of this size.
    pub transmit_limit: usize,
    /// BS of our own flow control, 0 for one flow control per message.
    pub block_size: u8,
    /// STmin of our own flow control.
    pub st_min: StMin,
    /// Both directions at once or not.
    pub duplex: Duplex,
    /// Which flow control of the peer counts.
    pub flow_parameters: FlowParameters,
}

impl Config {
    /// Longest message that needs no escape form, bytes.
    pub const LONGEST: usize = 4095;

    /// The defaults of legislated diagnostics for a pair of identifiers.
    #[must_use]
    pub const fn new(receive_id: CanId, transmit_id: CanId) -> Self {
        Self {
            receive_id,
            transmit_id,
            functional_id: None,
            profile: Profile::OBD,
            receive_limit: Self::LONGEST,
            transmit_limit: Self::LONGEST,
            block_size: 0,
            st_min: StMin::ZERO,
            duplex: Duplex::Full,
            flow_parameters: FlowParameters::Dynamic,
        }
    }

    /// The ECU's end of an address, functional requests included.
    #[must_use]
    pub const fn ecu(address: EcuAddress) -> Self {
        Self {
            functional_id: Some(address.functional),
            ..Self::new(address.request, address.response)
        }
    }

    /// The tester's end.
    #[must_use]
    pub const fn tester(address: EcuAddress) -> Self {
        Self::new(address.response, address.request)
    }
}
