//! The command line.

mod guest;
mod tries;

use std::{path::PathBuf, time::Duration};

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};
use twotrip_dialogue::compare::Comparison;
use twotrip_host::bus::{Filter, Selection};
use twotrip_isotp::{self as isotp, Dlc, Frames, Profile, TxDl};
use twotrip_obd::inspection::{self, LampSeen};

pub(crate) use guest::Guest;
pub(crate) use tries::{Codes, Try};

/// A car that fails on cue: a simulated engine ECU on a CAN bus, with physical faults,
/// for practising and testing the read - clear - verify loop of diagnostics.
#[derive(Debug, Parser)]
#[command(name = "twotrip", version, max_term_width = 80, after_help = EXIT_CODES)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) command: Command,
}

const EXIT_CODES: &str = "Exit codes: 0 done, 1 expectation not met, 2 bad input, 3 bus or system, 101 bug.";

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Tell the whole loop step by step, in this process, on an in-memory bus
    Walkthrough(Walkthrough),
    /// Put the car of a scenario on a bus
    Run(Run),
    /// Give the running car action phrases
    Tell(Tell),
    /// Read a car with a plain tester
    Scan(Scan),
    /// Record what is on a bus
    Record(Record),
    /// Say in plain words what a recording holds, or what is said on a bus
    Explain(Explain),
    /// Send a recording again
    Replay(Replay),
    /// Run a tool of your own against cars, and judge both
    Try(Try),
    /// Run a SocketCAN program where this kernel has no CAN: in a small guest, against the car
    Guest(Guest),
    /// Validate scenario and vehicle files
    Check(Check),
    /// List what there is: scenarios, vehicles, defects, parts, drives, phrases, services, parameters
    List(List),
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Walkthrough {
    /// A shipped scenario's name, or a file
    #[arg(default_value = "loose-fuel-cap")]
    pub(crate) scenario: String,
    /// Another car than the scenario's: a shipped vehicle's name, or a vehicle file
    #[arg(long, value_name = "VEHICLE")]
    pub(crate) vehicle: Option<String>,
    /// Bit rate of the in-memory bus, kbit/s, instead of the vehicle's: frames take the time of their bits; none: no
    /// time at all
    #[arg(long, value_enum, value_name = "KBIT")]
    pub(crate) bit_rate: Option<BitRate>,
    /// Size of the identifiers, instead of the vehicle's
    #[arg(long, value_enum, value_name = "SIZE")]
    pub(crate) identifiers: Option<Identifiers>,
    /// Seed of everything random, instead of the scenario's
    #[arg(long)]
    pub(crate) seed: Option<u64>,
    /// Record the bus into this pcapng file, with what happens inside the car as comments; instants are those of the
    /// simulated bus, counted from 1970
    #[arg(long, value_name = "FILE")]
    pub(crate) record: Option<PathBuf>,
    /// Events as one JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum BitRate {
    #[value(name = "250")]
    Kbit250,
    #[value(name = "500")]
    Kbit500,
    None,
}

/// Size of the identifiers of a car's diagnostics.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Identifiers {
    #[value(name = "11-bit")]
    Bits11,
    #[value(name = "29-bit")]
    Bits29,
}

impl From<Identifiers> for twotrip_sim::Identifiers {
    fn from(size: Identifiers) -> Self {
        match size {
            Identifiers::Bits11 => Self::Bits11,
            Identifiers::Bits29 => Self::Bits29,
        }
    }
}

/// Bit rate of a bus that has none of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum WireRate {
    #[value(name = "250")]
    Kbit250,
    #[value(name = "500")]
    Kbit500,
}

impl From<WireRate> for twotrip_can::timing::BitRate {
    fn from(rate: WireRate) -> Self {
        match rate {
            WireRate::Kbit250 => Self::Kbit250,
            WireRate::Kbit500 => Self::Kbit500,
        }
    }
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Run {
    /// A shipped scenario's name, or a file
    pub(crate) scenario: String,
    /// Another car than the scenario's: a shipped vehicle's name, or a vehicle file
    #[arg(long, value_name = "VEHICLE")]
    pub(crate) vehicle: Option<String>,
    /// The bus: a CAN interface (vcan0), or local:NAME where the kernel has no CAN
    #[arg(long)]
    pub(crate) bus: String,
    /// How fast the car's time passes: a number (1 = real time, 0 = it stands), or max.
    /// Without it the car stands in real time and lives through drives, soaks and waits at full speed
    #[arg(long)]
    pub(crate) pace: Option<Pace>,
    /// How long answers take: as in a car, or at once
    #[arg(long, value_enum, default_value_t = Timing::Real)]
    pub(crate) timing: Timing,
    /// Whether the control units' periodic messages are on the bus too (`list broadcasts`), instead of the scenario's word
    #[arg(long, value_enum, value_name = "SWITCH")]
    pub(crate) broadcasts: Option<Switch>,
    /// Size of the identifiers of its diagnostics, instead of the vehicle's: the car ignores the other
    #[arg(long, value_enum, value_name = "SIZE")]
    pub(crate) identifiers: Option<Identifiers>,
    /// Bit rate at which the car's frames follow each other where the bus has none of its own, kbit/s, instead of the
    /// vehicle's
    #[arg(long, value_enum, value_name = "KBIT")]
    pub(crate) bit_rate: Option<WireRate>,
    /// My word that no vehicle is connected. Physical interfaces need it. The car listens first, asks `01 00` once,
    /// refuses if anybody is there, and leaves when anything but testers is heard
    #[arg(long)]
    pub(crate) on_a_bench: bool,
    /// Seed of everything random, instead of the scenario's
    #[arg(long)]
    pub(crate) seed: Option<u64>,
    /// Stop after this time on the bus (30s, 5min, 1h)
    #[arg(long = "for", value_parser = duration, value_name = "TIME")]
    pub(crate) lasting: Option<Duration>,
    /// Stop when for this time nobody has asked or told the car anything, and it has nothing to do (30s)
    #[arg(long, value_parser = duration, value_name = "TIME")]
    pub(crate) until_idle: Option<Duration>,
    /// Stop when this process ends: that of a test, say, so that no car outlives it ($$ in a shell, os.getpid())
    #[arg(long, value_name = "PID")]
    pub(crate) until_exit: Option<u32>,
    /// Where `tell` finds this car
    #[arg(long, value_name = "PATH")]
    pub(crate) control: Option<PathBuf>,
    /// Keep the ECU's memory in this file between runs: made if it is not there; what is in it takes the place of what
    /// the story has left in the ECU. The car itself, its defects and repairs, is that of the scenario each time
    #[arg(long, value_name = "FILE")]
    pub(crate) memory: Option<PathBuf>,
    /// Start with the memory that the story leaves; the one in the file is kept as FILE.old
    #[arg(long, requires = "memory")]
    pub(crate) reset_memory: bool,
    /// Answer only once the disk has the memory, so that a loss of power loses nothing that was reported either
    #[arg(long, requires = "memory")]
    pub(crate) durable: bool,
    /// Record the bus into this pcapng file, with what happens inside the car as comments
    #[arg(long, value_name = "FILE")]
    pub(crate) record: Option<PathBuf>,
    /// At the end write what came of the expectations, and what the tester did, with each rule that it broke; the ending says how:
    /// .json, .xml (JUnit), .md, .html
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Events as one JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) transport: Transport,
    #[command(flatten)]
    pub(crate) fd: CanFd,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Switch {
    On,
    Off,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Tell {
    /// Action phrases, one argument each, carried out in order
    #[arg(required_unless_present = "wait_ready")]
    pub(crate) phrases: Vec<String>,
    /// Wait until the car is there and on its bus, at the most for this time; 60 s if none is given
    #[arg(long, value_name = "TIME", value_parser = duration, num_args = 0..=1, require_equals = true, default_missing_value = "60s")]
    pub(crate) wait_ready: Option<Duration>,
    /// The running car's control socket
    #[arg(long, value_name = "PATH")]
    pub(crate) control: Option<PathBuf>,
    /// Replies as one JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Scan {
    /// What to read, or to clear
    #[arg(value_enum)]
    pub(crate) what: ScanWhat,
    /// The bus the car is on
    #[arg(long)]
    pub(crate) bus: String,
    /// My word that no vehicle is connected. Physical interfaces need it
    #[arg(long)]
    pub(crate) on_a_bench: bool,
    /// Say at the end how long answers took, by the kernel's clock
    #[arg(long)]
    pub(crate) times: bool,
    /// Results as one JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) inspection: Inspection,
    #[command(flatten)]
    pub(crate) transport: Transport,
    #[command(flatten)]
    pub(crate) fd: CanFd,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Record {
    /// The pcapng file; one that is there is continued
    pub(crate) file: PathBuf,
    /// The bus: a CAN interface (vcan0), or local:NAME; several times for several buses in one file
    #[arg(long, required = true)]
    pub(crate) bus: Vec<String>,
    /// Stop after this time (30s, 5min, 1h)
    #[arg(long = "for", value_parser = duration, value_name = "TIME")]
    pub(crate) lasting: Option<Duration>,
    /// Stop after so many frames
    #[arg(long, value_name = "N")]
    pub(crate) frames: Option<u64>,
    /// Events as one JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) selection: FrameSelection,
    #[command(flatten)]
    pub(crate) rotation: Rotation,
}

/// What does not go with comparing two recordings.
const OF_ONE_RECORDING: [&str; 6] = ["bus", "follow", "from", "to", "level", "redact"];

#[derive(Debug, ClapArgs)]
pub(crate) struct Explain {
    /// A pcapng or pcap file
    #[arg(required_unless_present = "bus", conflicts_with = "bus")]
    pub(crate) file: Option<PathBuf>,
    /// A bus to listen to instead, until Ctrl-C
    #[arg(long)]
    pub(crate) bus: Option<String>,
    /// How much is told
    #[arg(long, value_enum, default_value_t = Level::Messages, value_name = "LEVEL")]
    pub(crate) level: Level,
    /// Go on as the file grows, until Ctrl-C
    #[arg(long, requires = "file")]
    pub(crate) follow: bool,
    /// Begin here: a time since the first frame (2.5s), or the number of a frame (120)
    #[arg(long, value_name = "WHERE")]
    pub(crate) from: Option<Mark>,
    /// End here, likewise
    #[arg(long, value_name = "WHERE")]
    pub(crate) to: Option<Mark>,
    /// Write a copy that can be shown to others: stand-ins for VIN, calibrations, serial numbers and free text
    #[arg(
        long,
        value_name = "OUT",
        requires = "file",
        conflicts_with_all = ["bus", "follow", "from", "to", "level", "only", "drop"]
    )]
    pub(crate) redact: Option<PathBuf>,
    /// Tell what differs from another recording: requests, replies, latencies, codes; exit code 1 if anything does
    #[arg(
        long,
        value_name = "OTHER",
        requires = "file",
        conflicts_with_all = OF_ONE_RECORDING
    )]
    pub(crate) against: Option<PathBuf>,
    /// With --against: how alike replies have to be. exact: byte for byte; shape: the same ECUs, parameters, codes,
    /// identifications and masks, while values that live (speeds, temperatures, times, states) may be anything;
    /// tolerance=5%: those numbers within 5 %, or two steps of their scale. Default: exact
    #[arg(long, value_name = "HOW", requires = "against", conflicts_with_all = OF_ONE_RECORDING)]
    pub(crate) compare: Option<Comparison>,
    /// With --against: how far latencies may be apart (20ms). Default: 20 ms
    #[arg(long, value_name = "TIME", requires = "against", conflicts_with_all = OF_ONE_RECORDING, value_parser = duration)]
    pub(crate) latency: Option<Duration>,
    /// One JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) selection: FrameSelection,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Replay {
    /// A pcapng or pcap file
    pub(crate) file: PathBuf,
    /// Where the recording goes: a CAN interface (vcan0), or local:NAME. Of several buses in the recording the first
    /// goes to the first --bus, and so on
    #[arg(long)]
    pub(crate) bus: Vec<String>,
    /// The recorded bus A goes to bus B; several times for several
    #[arg(long, value_name = "A=B")]
    pub(crate) bus_of: Vec<BusOf>,
    /// What is sent
    #[arg(long = "as", value_enum, default_value_t = Part::Frames, value_name = "PART")]
    pub(crate) part: Part,
    /// With --as tester: how alike replies have to be. exact: byte for byte; shape: the same ECUs, parameters, codes,
    /// identifications and masks, while values that live (speeds, temperatures, times, states) may be anything;
    /// tolerance=5%: those numbers within 5 %, or two steps of their scale. Default: shape
    #[arg(long, value_name = "HOW")]
    pub(crate) compare: Option<Comparison>,
    /// How fast: a number (1 = as recorded, 10 = in a tenth of the time), or max: as fast as the bus carries it
    #[arg(long, default_value = "1")]
    pub(crate) pace: Pace,
    /// As the traffic of others: without frames of diagnostics, and so fast that the bus carries this load, percent. --loop 0
    /// keeps it up
    #[arg(long, value_name = "PERCENT", value_parser = clap::value_parser!(u8).range(1..=95), conflicts_with = "pace")]
    pub(crate) load: Option<u8>,
    /// Bit rate of the bus, kbit/s. After a delay, and at --pace max, frames follow each other no faster than it carries
    /// them; none: at once. Without it that of the interface, else of the recording, else 500
    #[arg(long, value_enum, value_name = "KBIT")]
    pub(crate) bit_rate: Option<BitRate>,
    /// Send it so many times, each following the one before at once; 0: until Ctrl-C
    #[arg(long = "loop", value_name = "N", default_value_t = 1)]
    pub(crate) passes: u64,
    /// Begin here: a time since the first frame (2.5s), or the number of a frame (120)
    #[arg(long, value_name = "WHERE")]
    pub(crate) from: Option<Mark>,
    /// End here, likewise
    #[arg(long, value_name = "WHERE")]
    pub(crate) to: Option<Mark>,
    /// My word that no vehicle is connected. Physical interfaces need it. They are listened to first and asked `01 00`
    /// once; nothing is sent if anybody is there, and nothing more once anything but testers is heard
    #[arg(long)]
    pub(crate) on_a_bench: bool,
    /// Events as one JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) selection: FrameSelection,
    #[command(flatten)]
    pub(crate) transport: Transport,
    #[command(flatten)]
    pub(crate) car: RecordedCar,
    #[command(flatten)]
    pub(crate) again: Again,
}

/// What says how a recording goes out on a bus.
const ON_A_BUS: [&str; 12] = [
    "bus",
    "bus_of",
    "pace",
    "load",
    "passes",
    "compare",
    "bit_rate",
    "from",
    "to",
    "on_a_bench",
    "only",
    "drop",
];

/// A recorded run once more. What is required is passed over where it could not stand, so that each argument has to be at
/// odds with what the first is at odds with.
#[derive(Clone, Debug, ClapArgs)]
#[command(next_help_heading = "The recorded run once more, with `--as tester`")]
pub(crate) struct Again {
    /// In this process, without a bus: the same car is asked and told the same at the same instants, and what it sends and
    /// what happens in it has to be the same, bit for bit. The recording is one of `run` or `walkthrough`
    #[arg(long, conflicts_with_all = ON_A_BUS)]
    pub(crate) in_process: bool,
    /// Where the scenario is that the recording names, or another one
    #[arg(long, value_name = "SCENARIO", requires = "in_process", conflicts_with_all = ON_A_BUS)]
    pub(crate) scenario: Option<String>,
    /// Where the vehicle is that took the place of the scenario's, or another one
    #[arg(long, value_name = "VEHICLE", requires = "in_process", conflicts_with_all = ON_A_BUS)]
    pub(crate) vehicle: Option<String>,
    /// Another seed than the recorded one
    #[arg(long, requires = "in_process", conflicts_with_all = ON_A_BUS)]
    pub(crate) seed: Option<u64>,
    /// Though scenario, vehicle or this program are not those of the recording
    #[arg(long, requires = "in_process", conflicts_with_all = ON_A_BUS)]
    pub(crate) anyway: bool,
    /// Record it, too: again a recording that can be repeated
    #[arg(long, value_name = "FILE", requires = "in_process", conflicts_with_all = ON_A_BUS)]
    pub(crate) record: Option<PathBuf>,
}

/// What of a recording is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Part {
    /// Every frame, at its time
    Frames,
    /// The requests alone, by a tester that waits for the replies and compares them with the recorded ones
    Tester,
    /// The ECUs: each question of a live tester gets the replies that it got then, in turn, and as late as then.
    /// What was not asked then meets silence
    Car,
}

/// Of the ECUs of a recording.
#[derive(Clone, Copy, Debug, Default, ClapArgs)]
#[command(next_help_heading = "With --as car")]
pub(crate) struct RecordedCar {
    /// What a question gets that is asked more often than it was then
    #[arg(long, value_enum, value_name = "WHAT")]
    pub(crate) after_last: Option<AfterLast>,
    /// Whether it matters if all ECUs were asked then, or one
    #[arg(long, value_enum, value_name = "HOW")]
    pub(crate) addressing: Option<Addressing>,
    /// Whether the frames that are no diagnostics are sent too, from the beginning of the recording on, over and over
    #[arg(long, value_enum, value_name = "SWITCH")]
    pub(crate) broadcasts: Option<Switch>,
    /// Stop after this time on the bus (30s, 5min, 1h)
    #[arg(long = "for", value_parser = duration, value_name = "TIME")]
    pub(crate) lasting: Option<Duration>,
}

/// Whether it matters how a question was addressed in the recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Addressing {
    /// A question to all was asked of all, one to an ECU of this ECU (if nothing is said)
    AsRecorded,
    /// What an ECU replied when all were asked it replies when it is asked alone, and the other way round
    Any,
}

/// What a question gets that is asked more often than it was in the recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum AfterLast {
    /// The last replies again: what was cleared stays cleared (if nothing is said)
    Last,
    /// The first ones, and so on from there
    Anew,
    /// Nothing
    Silence,
}

/// Where a recorded bus goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct BusOf {
    /// Its name in the recording.
    pub(crate) recorded: String,
    /// The bus.
    pub(crate) bus: String,
}

impl std::str::FromStr for BusOf {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        // The name of a recorded bus may be anything; that of a real one has no `=`.
        match text.rsplit_once('=') {
            Some((recorded, bus)) if !recorded.is_empty() && !bus.is_empty() => Ok(Self {
                recorded: recorded.to_owned(),
                bus: bus.to_owned(),
            }),
            _ => Err("write RECORDED=BUS: vcan0=can0, car=local:bench".to_owned()),
        }
    }
}

/// How far latencies of two recordings may be apart if nothing else is said: a car's own scatter.
pub(crate) const LATENCY: Duration = Duration::from_millis(20);

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Level {
    /// Every frame
    Frames,
    /// The frames of diagnostics, as ISO 15765-2 has them
    Transport,
    /// Requests and answers
    Messages,
    /// The loop as a human tells it
    Story,
}

/// A place in a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mark {
    /// Of the frame with this number, from 1.
    Frame(u64),
    /// Nanoseconds since the first frame.
    Time(u64),
}

impl Mark {
    /// Whether a frame is at it or behind it.
    pub(crate) const fn is_reached(self, number: u64, since: u64) -> bool {
        match self {
            Self::Frame(wanted) => number >= wanted,
            Self::Time(wanted) => since >= wanted,
        }
    }

    /// Whether a frame is behind it.
    pub(crate) const fn is_passed(self, number: u64, since: u64) -> bool {
        match self {
            Self::Frame(wanted) => number > wanted,
            Self::Time(wanted) => since > wanted,
        }
    }
}

impl std::str::FromStr for Mark {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit()) {
            return text.parse().map(Self::Frame).map_err(|error| error.to_string());
        }
        let span = duration(text).map_err(|_| {
            "a place is a time since the first frame (2.5s), or a frame's number (120)".to_owned()
        })?;
        u64::try_from(span.as_nanos())
            .map(Self::Time)
            .map_err(|error| error.to_string())
    }
}

/// Which frames.
#[derive(Clone, Debug, ClapArgs)]
#[command(next_help_heading = "Frames (an identifier, or identifier:mask: 7E8, 7E8:7F8, 18DAF110)")]
pub(crate) struct FrameSelection {
    /// Only these, comma-separated
    #[arg(long, value_name = "ID", value_delimiter = ',')]
    pub(crate) only: Vec<Filter>,
    /// None of these, comma-separated
    #[arg(long, value_name = "ID", value_delimiter = ',')]
    pub(crate) drop: Vec<Filter>,
}

impl FrameSelection {
    pub(crate) fn selection(&self) -> Selection {
        Selection {
            only: self.only.clone(),
            drop: self.drop.clone(),
        }
    }
}

/// Several files one after the other.
#[derive(Clone, Copy, Debug, ClapArgs)]
#[command(next_help_heading = "Rotation (FILE-0001.pcapng and so on)")]
pub(crate) struct Rotation {
    /// A new file when one has this size (10MB)
    #[arg(long, value_name = "SIZE", value_parser = size)]
    pub(crate) rotate_size: Option<u64>,
    /// A new file after this time (1h)
    #[arg(long, value_name = "TIME", value_parser = duration)]
    pub(crate) rotate_every: Option<Duration>,
    /// Delete the oldest of them when all together are larger than this (1GB)
    #[arg(long, value_name = "SIZE", value_parser = size)]
    pub(crate) keep: Option<u64>,
}

/// What an inspection goes by.
#[derive(Clone, Copy, Debug, ClapArgs)]
#[command(next_help_heading = "Inspection (with `readiness`; exit code 1 if the car would not pass)")]
pub(crate) struct Inspection {
    /// Judge by the rules of this programme; local law decides
    #[arg(long, value_enum, ignore_case = true)]
    pub(crate) profile: Option<Program>,
    /// Model year, instead of the VIN's
    #[arg(long, value_name = "YEAR", requires = "profile")]
    pub(crate) model_year: Option<u16>,
    /// What the lamp does with the key on and the engine off
    #[arg(long, value_enum, value_name = "LAMP", requires = "profile")]
    pub(crate) lamp_key_on: Option<Lamp>,
    /// What the lamp does with the engine running
    #[arg(long, value_enum, value_name = "LAMP", requires = "profile")]
    pub(crate) lamp_running: Option<Lamp>,
}

/// Whose rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Program {
    /// The federal rule and guideline of the United States
    #[value(name = "EPA")]
    Epa,
    /// California
    #[value(name = "CA")]
    California,
    /// New York
    #[value(name = "NY")]
    NewYork,
}

impl Program {
    /// For `obd`.
    pub(crate) const fn rules(self) -> inspection::Program {
        match self {
            Self::Epa => inspection::Program::Epa,
            Self::California => inspection::Program::California,
            Self::NewYork => inspection::Program::NewYork,
        }
    }
}

/// What somebody saw of the lamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Lamp {
    Dark,
    Lit,
    Blinking,
}

impl Lamp {
    /// For `obd`.
    pub(crate) const fn seen(self) -> LampSeen {
        match self {
            Self::Dark => LampSeen::Dark,
            Self::Lit => LampSeen::Lit,
            Self::Blinking => LampSeen::Blinking,
        }
    }
}

/// How this end behaves on ISO 15765-2.
#[derive(Clone, Copy, Debug, ClapArgs)]
#[command(next_help_heading = "Transport (ISO 15765-2)")]
pub(crate) struct Transport {
    /// What fills up our frames to eight bytes, in hex
    #[arg(long, value_name = "HEX", default_value = "00", value_parser = hex_byte)]
    pub(crate) padding: u8,
    /// Which frames are taken: of eight bytes, as ISO 15765-4 demands, or shorter ones too
    #[arg(long, value_enum, default_value_t = Lengths::Strict)]
    pub(crate) dlc: Lengths,
    /// How long to wait for the peer: as ISO 15765-4 sets it, or the 1000 ms of ISO 15765-2
    #[arg(long, value_enum, default_value_t = Timers::Obd)]
    pub(crate) timers: Timers,
}

/// Which frames carry the messages.
#[derive(Clone, Copy, Debug, ClapArgs)]
#[command(next_help_heading = "Transport (ISO 15765-2)")]
pub(crate) struct CanFd {
    /// Speak CAN FD, in frames of up to so many bytes (8, 12, 16, 20, 24, 32, 48, 64), in place of classic CAN
    #[arg(long, value_name = "BYTES", value_parser = tx_dl)]
    pub(crate) can_fd: Option<TxDl>,
}

impl CanFd {
    /// The setting for `isotp`.
    pub(crate) const fn frames(self) -> Frames {
        match self.can_fd {
            Some(tx_dl) => Frames::Fd {
                tx_dl,
                bit_rate_switch: true,
            },
            None => Frames::Classic,
        }
    }
}

fn tx_dl(text: &str) -> Result<TxDl, String> {
    let bytes = text.parse().ok().and_then(TxDl::new);
    bytes.ok_or_else(|| "a CAN FD frame has 8, 12, 16, 20, 24, 32, 48 or 64 bytes".to_owned())
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Lengths {
    /// Eight bytes only
    Strict,
    /// Shorter ones too
    Lenient,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Timers {
    /// Flow control within 75 ms, the next consecutive frame within 150 ms
    Obd,
    /// 1000 ms each
    Generic,
}

impl Transport {
    /// The settings for `isotp`.
    pub(crate) const fn profile(self) -> Profile {
        Profile {
            timers: match self.timers {
                Timers::Obd => isotp::Timers::OBD,
                Timers::Generic => isotp::Timers::GENERIC,
            },
            pad: self.padding,
            dlc: match self.dlc {
                Lengths::Strict => Dlc::Strict,
                Lengths::Lenient => Dlc::Lenient,
            },
            frames: Frames::Classic,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ScanWhat {
    /// Confirmed trouble codes (service $03)
    Codes,
    /// Pending trouble codes (service $07)
    Pending,
    /// Permanent trouble codes (service $0A)
    Permanent,
    /// Freeze frame (service $02)
    FreezeFrame,
    /// Lamp command and readiness of the monitors (service $01)
    Readiness,
    /// Live data (service $01)
    Live,
    /// Results of on-board tests, with their limits (service $06)
    Tests,
    /// Vehicle identification and calibration (service $09)
    Vehicle,
    /// Clear codes, freeze frame and readiness (service $04)
    Clear,
    /// Everything that can be read
    All,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Check {
    /// Shipped scenarios' names, or files
    #[arg(required = true)]
    pub(crate) scenarios: Vec<String>,
    /// One JSON object a scenario, one a line, with the places of all problems
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct List {
    /// What to list
    #[arg(value_enum)]
    pub(crate) what: ListWhat,
    /// One JSON object a line
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ListWhat {
    /// Scenarios that are built in
    Scenarios,
    /// Vehicles that are built in, and what sets them apart
    Vehicles,
    /// Defects that a car can have
    Defects,
    /// Parts that can be inspected, measured and worked on
    Parts,
    /// Drive schedules and how to write a plan
    Drives,
    /// Action phrases
    Phrases,
    /// Services of SAE J1979, and what the car has of each
    Services,
    /// Parameters of services $01 and $02 that are understood, with their ranges, and which of them the car has
    Parameters,
    /// Events that a scenario's cues can wait for
    Events,
    /// Disturbances between tool and car, and what a good tool does about each
    Disturbances,
    /// Periodic messages of the car's control units, with the layout of their signals (`run --broadcasts on`)
    Broadcasts,
    /// The format of scenario files as a JSON Schema, for editors
    Schema,
    /// The format of vehicle files, likewise
    VehicleSchema,
}

/// How fast the car's time passes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Pace {
    /// As many times real time; 0 lets it stand.
    Times(f64),
    /// As fast as the computer can.
    Max,
}

impl std::str::FromStr for Pace {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "max" {
            return Ok(Self::Max);
        }
        match text.parse::<f64>() {
            Ok(times) if (0.0..=1e5).contains(&times) => Ok(Self::Times(times)),
            _ => Err("a pace is a number from 0 to 100000 (1 = real time), or `max`".to_owned()),
        }
    }
}

/// How long answers take.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Timing {
    /// A few milliseconds, consecutive frames at the bit rate
    Real,
    /// At once
    Fast,
}

/// A byte like `CC`.
fn hex_byte(text: &str) -> Result<u8, String> {
    let digits = text.strip_prefix("0x").unwrap_or(text);
    match u8::from_str_radix(digits, 16) {
        Ok(byte) if digits.len() == 2 && !digits.starts_with('+') => Ok(byte),
        _ => Err("a byte is two hex digits: 00, 55, AA, CC".to_owned()),
    }
}

/// A size like `10MB`.
fn size(text: &str) -> Result<u64, String> {
    let wrong = || "a size is a whole number and one of kB, MB, GB: 10MB".to_owned();
    let split = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let factor = match unit.trim() {
        "kB" => 1_000,
        "MB" => 1_000_000,
        "GB" => 1_000_000_000,
        _ => return Err(wrong()),
    };
    let number: u64 = number.parse().map_err(|_| wrong())?;
    number
        .checked_mul(factor)
        .filter(|&size| size > 0)
        .ok_or_else(wrong)
}

/// A time like `30s`, `5 min`, `1h`, or plain seconds.
fn duration(text: &str) -> Result<Duration, String> {
    let wrong = || "a time is a number and one of ms, s, min, h: 30s".to_owned();
    let split = text
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let factor = match unit.trim() {
        "ms" => 1e-3,
        "" | "s" => 1.0,
        "min" => 60.0,
        "h" => 3600.0,
        _ => return Err(wrong()),
    };
    let seconds = number.parse::<f64>().map_err(|_| wrong())? * factor;
    Duration::try_from_secs_f64(seconds).map_err(|_| wrong())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_well_formed() {
        use clap::CommandFactory as _;
        Args::command().debug_assert();
    }

    #[test]
    fn times_and_paces_read_as_they_are_written() {
        assert_eq!(duration("30s"), Ok(Duration::from_secs(30)));
        assert_eq!(duration("1.5 min"), Ok(Duration::from_secs(90)));
        assert!(duration("soon").is_err() && duration("1e999h").is_err());
        assert_eq!((size("10MB"), size("3 kB")), (Ok(10_000_000), Ok(3_000)));
        assert!(size("10").is_err() && size("0MB").is_err() && size("99999999999999999999GB").is_err());
        assert_eq!((hex_byte("cC"), hex_byte("0x55")), (Ok(0xCC), Ok(0x55)));
        assert!(hex_byte("5").is_err() && hex_byte("+5").is_err() && hex_byte("100").is_err());
        assert_eq!("max".parse(), Ok(Pace::Max));
        assert_eq!("2.5".parse(), Ok(Pace::Times(2.5)));
        assert!("-1".parse::<Pace>().is_err());
    }
}
