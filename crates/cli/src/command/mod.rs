//! The commands, one file each.

mod check;
mod explain;
mod guest;
mod list;
mod record;
mod recorded;
mod replay;
mod run;
mod scan;
mod tell;
mod tries;
mod walkthrough;
mod words;

#[cfg(test)]
pub(crate) use run::memory_failure;

use std::future::Future;

use crate::{
    args::{Args, Command},
    exit::Failure,
};

/// Runs the command that was asked for.
pub(crate) fn run(args: Args) -> Result<(), Failure> {
    match args.command {
        Command::Walkthrough(args) => walkthrough::run(&args),
        Command::Run(args) => block_on(run::run(&args)),
        Command::Tell(args) => block_on(tell::run(&args)),
        Command::Scan(args) => block_on(scan::run(&args)),
        Command::Record(args) => block_on(record::run(&args)),
        Command::Explain(args) => block_on(explain::run(&args)),
        Command::Replay(args) => block_on(replay::run(&args)),
        Command::Try(args) => tries::run(&args),
        Command::Guest(args) => block_on(guest::run(&args)),
        Command::Check(args) => check::run(&args),
        Command::List(args) => list::run(&args),
    }
}

/// Runs a future on this one thread.
fn block_on(future: impl Future<Output = Result<(), Failure>>) -> Result<(), Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    runtime.block_on(future)
}
