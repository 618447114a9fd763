//! What was said on a bus: frames become messages, messages questions and answers, and what breaks a rule is named.
//!
//! ```text
//! frames, with their instants ──► Dialogue ──► poll_event: units of transport, messages, breaches
//! ```
//!
//! - [`Dialogue`]: listens, and takes no part. No IO and no clock; memory is bounded whatever is on the bus.
//! - [`Role`], [`Ecu`]: who speaks to whom, by the identifiers of ISO 15765-4.
//! - [`Breach`]: the rules of transport, timing and conduct, each with the clause it stands in.
#![no_std]
extern crate alloc;

mod assembly;
mod breach;
mod conversation;
mod event;
mod role;

pub use breach::Breach;
pub use conversation::Dialogue;
pub use event::{Event, Message, Unit};
pub use role::{Ecu, Role};

#[cfg(test)]
mod tests;
