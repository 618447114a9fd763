//! A car that fails on cue, inside your own tests: no bus of the kernel, no process, no waiting.
//!
//! ```
//! use twotrip::Car;
//!
//! // A car with a story behind it: the fuel cap was left loose, two trips later the lamp came on.
//! let mut car = Car::shipped("loose-fuel-cap")?;
//!
//! // Read: your tool's requests go here. `ask` pays flow control and puts the frames together ...
//! let answers = car.ask(&[0x03])?.answers;
//! assert_eq!(answers[0].payload, [0x43, 0x01, 0x04, 0x55]);
//!
//! // ... find and repair, clear, drive, and see that the lamp stays off.
//! car.tell("tighten fuel-cap")?;
//! car.ask(&[0x04])?;
//! car.tell("drive udds")?;
//! assert!(car.confirmed().is_empty() && !car.mil_commanded());
//! # Ok::<(), twotrip::Error>(())
//! ```
//!
//! Time is simulated and passes only where it is let: in [`Car::ask`], [`Car::advance`] and in phrases that take time
//! ([`Car::tell`]). The same calls give the same frames at the same instants, on any machine. A [`Car`] is [`Clone`]:
//! a story is lived through once, and every test begins from a copy of it.
//!
//! A tool that speaks frames is given them one by one: [`Car::send`], and [`Car::advance`] for all that was on the wire.
//!
//! What goes wrong on cue ([`Car::disturb`]), codes without a fault ([`Car::preload_confirmed`]), and two judges of the tool: what it did
//! about each disturbance ([`Car::judged`]), and which rules of conduct it broke ([`Car::watch`], [`Car::conduct`]).
//!
//! This crate is the one stable Rust interface of the project; it follows semantic versioning. What it shows of the
//! crates below it ([`Frame`], [`CanId`], [`Dtc`], [`Instant`], [`BitRate`], [`EcuNumber`],
//! [`CodeList`], [`DisturbanceKind`], [`Verdict`], [`Severity`]) is part of that; the rest of them is
//! not. What can be said to a car stands in the list of `twotrip list phrases`.

mod builder;
mod car;
mod conduct;
mod disturbance;
mod error;
mod exchange;
mod memory;
mod on_cue;
#[doc(hidden)]
pub mod verdicts;
#[doc(hidden)]
pub mod world;

pub use builder::Builder;
pub use car::Car;
pub use conduct::{Breach, Conduct, TesterConduct};
pub use disturbance::Disturbance;
pub use error::Error;
pub use exchange::{Answer, Exchange, Said, Wired};
pub use twotrip_can::{CanId, Frame, timing::BitRate};
pub use twotrip_dialogue::{conduct::Severity, verdict::Verdict};
pub use twotrip_obd::Dtc;
pub use twotrip_scenario::{disturbance::Kind as DisturbanceKind, phrase::CodeList};
pub use twotrip_tester::EcuNumber;
pub use twotrip_units::BusInstant as Instant;
pub use verdicts::Judged;
