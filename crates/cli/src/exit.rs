//! Exit codes, and errors that a user can cause: what, where, and what to try next.

use std::process::ExitCode;

/// Everything was done and every expectation met.
pub(crate) const DONE: u8 = 0;
/// An expectation was not met.
pub(crate) const NOT_MET: u8 = 1;
/// The command line or a file is wrong.
pub(crate) const BAD_INPUT: u8 = 2;
/// The bus, or the system below it, did not do its part.
pub(crate) const SYSTEM: u8 = 3;

/// Why a command ends early.
#[derive(Debug)]
pub(crate) enum Failure {
    /// An expectation was not met; the command has said which.
    NotMet,
    /// Bad input, already shown in full (a rendered diagnostic).
    Shown,
    /// Bad input.
    Input {
        /// What is wrong.
        what: String,
        /// What to try.
        hint: Option<String>,
    },
    /// The bus or the system.
    System {
        /// What went wrong.
        what: String,
        /// What to try.
        hint: Option<String>,
    },
    /// Whoever read our output has gone: a normal end.
    OutputClosed,
    /// A program that was run for the user ended with this status; it has said why.
    Status(u8),
}

impl Failure {
    pub(crate) fn input(what: impl Into<String>, hint: Option<String>) -> Self {
        Self::Input {
            what: what.into(),
            hint,
        }
    }

    pub(crate) fn system(what: impl Into<String>, hint: Option<String>) -> Self {
        Self::System {
            what: what.into(),
            hint,
        }
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            return Self::OutputClosed;
        }
        Self::system(error.to_string(), None)
    }
}

/// Prints what clap has to say and gives its exit code; help and version are no errors.
pub(crate) fn usage(error: &clap::Error) -> ExitCode {
    // Nothing can be done if even this cannot be printed.
    let _ = error.print();
    ExitCode::from(if error.use_stderr() { BAD_INPUT } else { DONE })
}

/// Prints a failure, and turns the result into the exit code.
pub(crate) fn report(result: Result<(), Failure>) -> ExitCode {
    let (code, what, hint) = match result {
        Ok(()) | Err(Failure::OutputClosed) => return ExitCode::from(DONE),
        Err(Failure::Status(status)) => return ExitCode::from(status),
        Err(Failure::NotMet) => return ExitCode::from(NOT_MET),
        Err(Failure::Shown) => return ExitCode::from(BAD_INPUT),
        Err(Failure::Input { what, hint }) => (BAD_INPUT, what, hint),
        Err(Failure::System { what, hint }) => (SYSTEM, what, hint),
    };
    show(&what, hint.as_deref());
    ExitCode::from(code)
}

/// Says on standard error what is wrong, and what to try.
pub(crate) fn show(what: &str, hint: Option<&str>) {
    anstream::eprintln!("{}error{}: {what}", crate::output::BAD, crate::output::PLAIN);
    for line in hint.iter().flat_map(|hint| hint.lines()) {
        anstream::eprintln!("  {line}");
    }
}
