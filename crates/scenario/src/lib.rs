//! Scenario files and action phrases: what is done to the car, said in short sentences.
//!
//! ```text
//! bytes of a file --> file: keys and values with their places --> check --> Scenario
//!                                                                  |
//! "drive udds" ---------------- phrase: one grammar ---------------+----> Phrase
//! ```
//!
//! What is wrong comes back as [`Problem`]s that point into the text, all of them at once; the command renders them.
//! Nothing here reads a file, a clock or a terminal, and nothing here acts: a [`Phrase`] is a wish, the car's answer
//! is the business of the crates above.
//!
//! ```
//! use twotrip_scenario::{Phrase, Scenario, parse_phrase};
//!
//! assert_eq!(parse_phrase("key on  # the bulb check"), Ok(Phrase::KeyOn));
//!
//! let problem = parse_phrase("drive ufds").unwrap_err();
//! assert_eq!(problem.to_string(), "unknown drive `ufds`");
//! assert_eq!(problem.nearest(), Some("udds"));
//!
//! let scenario = Scenario::parse(
//!     br#"
//!     version = 1
//!     title = "A car that is fine"
//!     vehicle = "compact-2.0"
//!
//!     [story]
//!     before = "key on"
//!     "#,
//! );
//! assert_eq!(scenario.unwrap().story()[0].value, Phrase::KeyOn);
//! ```
//!
//! | module | holds |
//! |---|---|
//! | [`phrase`] | what can be said, the grammar, the list for `twotrip list phrases` |
//! | [`disturbance`] | what goes wrong on cue between tool and car: the table of `twotrip list disturbances` |
//! | [`mod@file`] | scenario files: format and check |
//! | [`vehicle`] | vehicle files: format, check, the cars built into the program |
//! | [`shipped`] | the scenarios built into the program |
//! | [`limits`] | the bounds on numbers and sizes |

pub mod disturbance;
pub mod file;
pub mod findings;
pub mod limits;
pub mod phrase;
mod problem;
pub mod shipped;
pub mod vehicle;

pub use disturbance::Disturbance;
pub use file::{Cue, RepairOrder, Scenario};
pub use phrase::{Phrase, Spanned, parse_phrase, parse_script};
pub use problem::{Expected, Problem, ProblemKind};
pub use vehicle::VehicleModel;
