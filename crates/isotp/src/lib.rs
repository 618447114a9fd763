//! The transport of diagnostic messages on CAN, ISO 15765-2: messages of up to 4095 bytes (and beyond, in the escape form)
//! in frames of eight, or of up to 64 on CAN FD.
//!
//! ```text
//! send(message) ──►┌─────────┐──► poll_frame ──► bus
//!                  │ Channel │
//! poll_event  ◄────└─────────┘◄── handle_frame, handle_transmitted, handle_timeout
//! ```
//!
//! - [`Channel`]: one address pair, both directions, no IO and no clock.
//! - [`Config`], [`Profile`], [`Timers`]: its settings; ISO 15765-4 (legislated diagnostics) and the generic times.
//! - [`Event`]: what it tells the layer above, what the peer did wrong included.
//! - [`Deviation`]: what a channel does wrong on purpose; nothing unless it is told to.
//! - [`Frames`]: classic CAN, or CAN FD with its longer frames.
//! - [`Pdu`]: the four kinds of frame, bytes to values and back.
//!
//! Normal addressing only (11-bit and 29-bit): that is all that ISO 15765-4 allows.
//!
//! ```
//! use twotrip_can::address::EcuAddress;
//! use twotrip_isotp::{Channel, Config, Event};
//! use twotrip_units::BusInstant;
//!
//! let mut tester = Channel::new(Config::tester(EcuAddress::ENGINE));
//! let mut ecu = Channel::new(Config::ecu(EcuAddress::ENGINE));
//! let now = BusInstant::ZERO;
//!
//! tester.send(now, &[0x01, 0x00])?;
//! let frame = tester.poll_frame(now).expect("a message was just sent");
//! ecu.handle_frame(now, &frame);
//! tester.handle_transmitted(now);
//! assert!(matches!(ecu.poll_event(), Some(Event::Received { addressing }) if ecu.message(addressing) == [0x01, 0x00]));
//! # Ok::<(), twotrip_isotp::SendError>(())
//! ```
#![no_std]
extern crate alloc;

mod channel;
mod config;
mod deviation;
mod event;
mod frames;
mod pdu;
mod receive;
mod transmit;

pub use channel::{Channel, SendError};
pub use config::{Config, Dlc, Duplex, FlowParameters, Profile, Timers};
pub use deviation::{ConsecutiveFault, Deviation, Fault, Grant, Heed};
pub use event::{Direction, Event, Ignored, NResult};
pub use frames::{Frames, TxDl};
pub use pdu::{FlowStatus, ParseError, Payload, Pdu, StMin};
