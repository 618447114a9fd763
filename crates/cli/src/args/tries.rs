//! The command line of `twotrip try`.

use std::{ffi::OsString, num::NonZeroUsize, path::PathBuf, time::Duration};

use clap::{Args as ClapArgs, ValueEnum};

use super::{Pace, Timing, duration};

#[derive(Debug, ClapArgs)]
#[command(after_help = PLACEHOLDERS)]
pub(crate) struct Try {
    /// Shipped scenarios' names, or files: a car each
    #[arg(required = true, value_name = "SCENARIO")]
    pub(crate) scenarios: Vec<String>,
    /// The tool and its arguments, as they are: no shell reads them
    #[arg(last = true, required = true, value_name = "TOOL")]
    pub(crate) tool: Vec<OsString>,
    /// Another car than the scenarios': a shipped vehicle's name, or a vehicle file
    #[arg(long, value_name = "VEHICLE")]
    pub(crate) vehicle: Option<String>,
    /// A bus for the cars, one car at a time on each; several times for several. Without it every car has an embedded
    /// bus of its own
    #[arg(long)]
    pub(crate) bus: Vec<String>,
    /// Seed of everything random, instead of the scenarios'
    #[arg(long)]
    pub(crate) seed: Option<u64>,
    /// Each car with so many seeds, counted up from that one
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=100_000))]
    pub(crate) seeds: u64,
    /// How long a tool may take (30s, 5min)
    #[arg(long, value_name = "TIME", default_value = "60s", value_parser = duration)]
    pub(crate) timeout: Duration,
    /// How many cars at a time; without it as many as there are processors, or buses
    #[arg(long, value_name = "N")]
    pub(crate) jobs: Option<NonZeroUsize>,
    /// Only the K-th of N parts, for N machines that share the work: 1/4
    #[arg(long, value_name = "K/N")]
    pub(crate) shard: Option<Shard>,
    /// Where it has to be seen that the tool has read the codes
    #[arg(long, value_enum, value_name = "WHERE", default_value_t = Codes::OnBus)]
    pub(crate) codes: Codes,
    /// What is unwise fails a car too, and not only what a standard forbids a tester
    #[arg(long)]
    pub(crate) strict: bool,
    /// How fast the car's time passes, as in `run`
    #[arg(long)]
    pub(crate) pace: Option<Pace>,
    /// How long answers take: as in a car, or at once
    #[arg(long, value_enum, default_value_t = Timing::Real)]
    pub(crate) timing: Timing,
    /// Look for a shorter story of each car that fails in which the tool fails in the same way
    #[arg(long)]
    pub(crate) shrink: bool,
    /// How many runs that may take, for each car
    #[arg(long, value_name = "N", default_value_t = 40, requires = "shrink")]
    pub(crate) shrink_runs: u32,
    /// A report of all cars: `.xml` (JUnit), `.json`, `.md` or `.html`; several times for several
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Vec<PathBuf>,
    /// The folder for what is kept of cars that fail: recording and output of the tool. Without it a new one among the
    /// temporary files
    #[arg(long, value_name = "FOLDER")]
    pub(crate) keep: Option<PathBuf>,
    /// Keep the same of all cars
    #[arg(long)]
    pub(crate) keep_all: bool,
    /// Results as one JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
}

const PLACEHOLDERS: &str = "\
In the tool's arguments these are replaced: {bus} (vcan0, or local:NAME), {control} (the car's \
control socket, for `twotrip tell --control`), {scenario}, {seed}, {folder} (what is kept of a car \
that fails). The same are in its environment as TWOTRIP_BUS, TWOTRIP_CONTROL, TWOTRIP_SCENARIO, \
TWOTRIP_SEED and TWOTRIP_FOLDER.

Exit codes: 0 every car passed, 1 one did not, 2 bad input, 3 bus or system.";

/// Where it has to be seen that a tool has read the codes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Codes {
    /// On the bus: every code that was confirmed when the tool began came whole in an answer to it
    OnBus,
    /// In what the tool prints: those codes, and none that the car has not
    InOutput,
    /// Nowhere: the tool is there for something else
    Off,
}

/// A part of the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Shard {
    /// From 1.
    pub(crate) part: usize,
    pub(crate) of: usize,
}

impl Shard {
    /// Whether the car with this number, from 0, belongs to it.
    pub(crate) const fn has(self, number: usize) -> bool {
        number % self.of == self.part - 1
    }
}

impl std::str::FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || "a part is K/N, from 1/N to N/N: 1/4".to_owned();
        let (part, of) = text.split_once('/').ok_or_else(wrong)?;
        let number = |text: &str| text.parse::<usize>().map_err(|_| wrong());
        let shard = Self {
            part: number(part)?,
            of: number(of)?,
        };
        if shard.part == 0 || shard.part > shard.of {
            return Err(wrong());
        }
        Ok(shard)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_car_is_in_exactly_one_part() {
        for of in 1..6 {
            let parts: Vec<Shard> = (1..=of)
                .map(|part| format!("{part}/{of}").parse().expect("a part"))
                .collect();
            for number in 0..20 {
                assert_eq!(parts.iter().filter(|part| part.has(number)).count(), 1);
            }
        }
        for wrong in ["", "1", "0/2", "3/2", "0/0", "a/b", "-1/2", "1/2/3"] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
    }
}
