//! The car on its bus, under simulated time: vehicle, harness, ECU, transport and the phrases that act on them.
//!
//! ```text
//!  tell(phrase) ─┐                       ┌─> poll_event: what came of it, what the ECU found
//!                v                       │
//!  work, stand ─> car time ─> Car { vehicle ─> harness ─> ecu }
//!                                                          ^ │
//!  handle_frame ─> Nodes, one an ECU (ISO-TP, queue, delays) ─┘ └> poll_frame <─ Broadcasts (if wanted)
//!               └──────────── disturb: the line between all of this and the bus ────────────┘
//! ```
//!
//! There are two clocks. Bus time comes in with every `handle_*`; car time passes only in [`Simulator::stand`]
//! (nothing is being done) and [`Simulator::work`] (a phrase is being carried out). Whoever drives the simulator
//! joins the two. Nothing here reads a clock or does any input or output, everything is [`Clone`], and the same
//! calls give the same results.

mod broadcast;
mod cabin;
mod car;
mod clock;
mod cues;
mod deeds;
mod disturb;
mod endpoint;
mod event;
mod expectation;
mod gauge;
mod job;
mod ledger;
mod meter;
mod misbehaviour;
mod monitors;
mod nodes;
mod simulator;
pub mod story;
mod tolerance;
mod why;
mod wires;
mod workshop;

pub use car::Car;
pub use disturb::Trace;
pub use endpoint::{EndpointCounts, P2, Timing};
pub use event::Event;
pub use job::{JobId, Outcome};
pub use meter::points;
pub use monitors::{MonitorStand, Needed};
pub use nodes::{EcuName, EcuOnBus, EcuSettings, Seat};
pub use simulator::{Mark, Settings, Simulator, Stored};
pub use twotrip_ecu::RestoreError;
pub use twotrip_scenario::vehicle::ecus::Identifiers;
pub use twotrip_vehicle::STEP;
pub use why::{Trip, TripEvent, Why};

/// How many steps of the car a span is, rounded up.
fn steps(span: std::time::Duration) -> u64 {
    let step = STEP.as_nanos();
    u64::try_from(span.as_nanos().div_ceil(step)).unwrap_or(u64::MAX)
}
