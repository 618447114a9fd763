//! `twotrip replay`: a recording, sent again.
//!
//! `recorded` reads the file, `lanes` says which bus is which; each part has a file of its own: `frames` sends every
//! frame at its time.

mod frames;
mod lanes;
mod recorded;

use crate::{
    args::{self, Part},
    exit::Failure,
};

/// Runs the command.
pub(super) async fn run(args: &args::Replay) -> Result<(), Failure> {
    match args.part {
        Part::Frames => frames::run(args).await,
    }
}
