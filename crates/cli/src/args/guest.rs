//! The command line of `twotrip guest`.

use std::{ffi::OsString, path::PathBuf, time::Duration};

use clap::Args as ClapArgs;

use super::{Timing, duration};

#[derive(Debug, ClapArgs)]
#[command(after_help = WHAT)]
pub(crate) struct Guest {
    /// A shipped scenario's name, or a file: its car is on vcan0 before the command begins. Without it nobody is
    pub(crate) scenario: Option<String>,
    /// The command and its arguments, as they are: no shell reads them
    #[arg(last = true, required = true, value_name = "CMD")]
    pub(crate) command: Vec<OsString>,
    /// Another car than the scenario's: a shipped vehicle's name, or a vehicle file
    #[arg(long, value_name = "VEHICLE", requires = "scenario")]
    pub(crate) vehicle: Option<String>,
    /// Seed of everything random, instead of the scenario's
    #[arg(long, requires = "scenario")]
    pub(crate) seed: Option<u64>,
    /// How long answers take: as in a car, or at once
    #[arg(long, value_enum, default_value_t = Timing::Real, requires = "scenario")]
    pub(crate) timing: Timing,
    /// Fetch what is missing without asking
    #[arg(long)]
    pub(crate) fetch: bool,
    /// How long all of it may take, the boot included (30s, 5min)
    #[arg(long, value_name = "TIME", default_value = "15min", value_parser = duration)]
    pub(crate) timeout: Duration,
    /// A folder that the command may write into; everything else of this machine it sees, and cannot change
    #[arg(long, value_name = "FOLDER")]
    pub(crate) writable: Option<PathBuf>,
}

const WHAT: &str = "\
The guest is a Linux kernel with CAN, vcan and ISO-TP under an emulator (no KVM, no root), in which the files of \
this machine are there read-only: programs run in it as they are installed here, in the same folder, with the same \
environment. It has vcan0, and no network. It needs qemu-system-x86_64 and a static busybox; Debian's kernel is \
fetched once (some 70 MB, kept as some 10 MB in $XDG_CACHE_HOME/twotrip/guest) after you were asked; from then on no \
network is needed.

Exit codes: that of the command; 2 bad input, 3 no guest can be had.";
