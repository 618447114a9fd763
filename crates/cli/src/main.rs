//! The `twotrip` command: a car that fails on cue, on a CAN bus.

mod args;
mod command;
mod diagnostic;
mod exit;
mod output;
mod report;
mod schema;
mod sources;

use clap::Parser as _;

fn main() -> std::process::ExitCode {
    let args = match args::Args::try_parse() {
        Ok(args) => args,
        Err(error) => return exit::usage(&error),
    };
    exit::report(command::run(args))
}
