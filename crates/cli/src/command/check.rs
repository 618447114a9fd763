//! `twotrip check`: validates scenarios; all problems of all files at once.

use twotrip_scenario::Scenario;

use crate::{args, exit::Failure, output, sources};

/// Runs the command.
pub(super) fn run(args: &args::Check) -> Result<(), Failure> {
    let mut good = true;
    for name in &args.scenarios {
        let bytes = sources::bytes(name)?;
        match Scenario::parse(&bytes) {
            Ok(scenario) => {
                output::line(&format!(
                    "{}: good: {}",
                    output::escape(name),
                    output::escape(scenario.title())
                ))?;
            }
            Err(problems) => {
                good = false;
                sources::show(name, &bytes, &problems);
            }
        }
    }
    if good { Ok(()) } else { Err(Failure::Shown) }
}
