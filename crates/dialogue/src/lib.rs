//! What was said on a bus: frames become messages, messages questions and answers, and what breaks a rule is named.
//!
//! ```text
//! frames, with their instants ──► Dialogue ──► poll_event: units of transport, messages, breaches
//! ```
//!
//! - [`Dialogue`]: listens, and takes no part. No IO and no clock; memory is bounded whatever is on the bus.
//! - [`Gather`]: a request with its answers becomes a [`Conversation`]; [`compare`] says how two of them differ, decoded.
//! - [`align`]: two conversations after conversations side by side, though a request was inserted or left out.
//! - [`redaction`]: stand-ins for what identifies a vehicle.
//! - [`Role`], [`Ecu`]: who speaks to whom, by the identifiers of ISO 15765-4.
//! - [`Learner`], [`Answers`]: what was answered to what in a recording, to be looked up.
//! - [`StandIn`]: answers a tester from it, as the ECUs that were recorded.
//! - [`verdict`]: what a tool did about a disturbance.
//! - [`Breach`]: the rules of transport, timing and conduct, each with the clause it stands in.
//! - [`conduct`]: what each tester did, and which of those rules it broke.
#![no_std]
extern crate alloc;

pub mod align;
mod answers;
mod assembly;
mod breach;
pub mod compare;
pub mod conduct;
mod conversation;
mod event;
mod few;
mod gather;
mod known;
mod learn;
mod looks;
mod manners;
pub mod redaction;
mod role;
mod stand_in;
pub mod verdict;

pub use answers::{Answers, Full, Manner, Question, QuestionId, RecordedReply};
pub use breach::{Breach, Sign};
pub use conversation::Dialogue;
pub use event::{Event, Message, Unit};
pub use gather::{Conversation, Gather, Reply};
pub use learn::{Learner, LeftOut, spoken};
pub use role::{Ecu, Role};
pub use stand_in::{AfterLast, Counts, Found, Head, Settings, StandIn, StandInEvent, Unknown};

#[cfg(test)]
mod tests;
