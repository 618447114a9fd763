//! A plain diagnostic tester without IO: it asks, pays flow control, waits as long as the standards say, repeats what
//! a busy ECU asks it to repeat, and hands over the answers. Used by `twotrip scan`, the walkthrough and replay.
//!
//! ```text
//! request(target, bytes) ──►┌────────┐──► poll_frame ──► bus
//!                           │ Tester │
//! poll_event, answer  ◄─────└────────┘◄── handle_frame, handle_transmitted, handle_timeout
//! ```
//!
//! - [`Tester`]: one exchange at a time, up to eight ECUs (ISO 15765-4), on identifiers of 11 or 29 bits.
//! - [`TesterConfig`]: how long it waits.
//! - [`Survey`]: the questions behind a scan, each chosen by the answers before it.
//!
//! It judges nothing: what an answer means is read by `twotrip-obd`, good conduct is judged elsewhere.
#![no_std]
extern crate alloc;

mod config;
mod event;
mod exchange;
mod survey;
mod tester;

pub use config::TesterConfig;
pub use event::{Event, Ignored, Outcome};
pub use exchange::{EcuNumber, Target};
pub use survey::{ASKED_AT_MOST, Finding, Question, Survey, Topic};
pub use tester::{RequestError, Tester};
pub use twotrip_isotp::NResult;
