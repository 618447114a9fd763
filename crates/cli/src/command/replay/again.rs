//! `replay FILE --as tester --in-process`: a recorded run once more, in this process, held against the recording.

use std::{ops::ControlFlow, path::Path};

use serde::Serialize;
use twotrip_can::Frame;
use twotrip_capture::{Interface, Item, Section};
use twotrip_host::{
    recording::{Header, MEMORY_PREFIX, ReadError, Reader},
    repeat::{Counts, Difference, Exact, Repeat},
    story,
};
use twotrip_isotp::Pdu;
use twotrip_obd::{describe_request, describe_response};
use twotrip_sim::{Simulator, Stored};
use twotrip_units::BusInstant;

use crate::{
    args::{self, Part},
    command::{record, recorded, words::counted},
    exit::Failure,
    output, sources,
};

/// What is printed with `--json`.
#[derive(Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
enum Line<'a> {
    Run {
        scenario: &'a str,
        seed: u64,
    },
    Repeated {
        same: bool,
        frames: u64,
        heard: u64,
        told: u64,
        happened: u64,
        left_over: u64,
        bus_time_s: f64,
        late_ms: f64,
    },
    Different {
        bus_time_s: f64,
        #[serde(skip_serializing_if = "Option::is_none")]
        frame: Option<u64>,
        what: &'static str,
        recorded: Option<String>,
        now: Option<String>,
        question: Option<String>,
    },
    Damage {
        text: String,
    },
}

/// A section of the file.
enum Chapter {
    /// Nothing of ours, or nothing yet.
    None,
    /// A run of which no bus has been described yet.
    Announced(Box<Announced>),
    /// A run that is being repeated.
    Run(Box<Repeat>),
}

struct Announced {
    header: Header,
    memory: Option<String>,
    program: String,
}

struct Again<'a> {
    args: &'a args::Replay,
    chapter: Chapter,
    /// Packets so far, as analysers count.
    number: u64,
    runs: u64,
    same: bool,
}

/// Runs the command.
pub(super) fn run(args: &args::Replay) -> Result<(), Failure> {
    if args.part != Part::Tester {
        return Err(Failure::input(
            "--in-process goes with `--as tester`: the car that answers is in this process",
            Some(format!(
                "twotrip replay {} --as tester --in-process",
                output::escape(&args.file.display().to_string())
            )),
        ));
    }
    let mut again = Again {
        args,
        chapter: Chapter::None,
        number: 0,
        runs: 0,
        same: true,
    };
    let mut reader = Reader::open(&args.file).map_err(|error| recorded::failure(&error))?;
    let mut taken = Ok(());
    let read = reader.read(|item| {
        taken = again.on_item(&item);
        match taken {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        }
    });
    taken?;
    let damage = read.and_then(|()| reader.end()).err();
    let has_begun = matches!(again.chapter, Chapter::Run(_)) || again.runs > 0;
    match &damage {
        Some(error @ ReadError::Damage { .. }) if has_begun => {
            let text = format!("{error}; what stands before it is repeated");
            if args.json {
                output::json(&Line::Damage { text })?;
            } else {
                anstream::eprintln!("{}", output::escape(&text));
            }
        }
        Some(error) => return Err(recorded::failure(error)),
        None => {}
    }
    again.end_of_chapter()?;
    if again.runs == 0 {
        return Err(Failure::input(
            "no run of this program is in the recording: only what `run --record`, `walkthrough --record` and this \
             command have recorded can be repeated",
            Some("`--as tester --bus BUS` asks a car on a bus the same".to_owned()),
        ));
    }
    if again.same { Ok(()) } else { Err(Failure::NotMet) }
}

impl Again<'_> {
    fn on_item(&mut self, item: &Item<'_>) -> Result<(), Failure> {
        match item {
            Item::Section(section) => {
                self.end_of_chapter()?;
                self.chapter = announced(section);
                Ok(())
            }
            Item::Interface(interface) => self.begin(interface),
            Item::Packet(_) | Item::Statistics(_) => {
                self.number += u64::from(matches!(item, Item::Packet(_)));
                match &mut self.chapter {
                    Chapter::Run(repeat) if !repeat.is_over() => repeat
                        .on_item(item, self.number)
                        .map_err(|error| self.cannot(&error.to_string())),
                    _ => Ok(()),
                }
            }
            Item::Other(_) => Ok(()),
        }
    }

    fn cannot(&self, why: &str) -> Failure {
        Failure::input(
            format!(
                "`{}` cannot be repeated: {}",
                output::escape(&self.args.file.display().to_string()),
                output::escape(why)
            ),
            None,
        )
    }

    /// The bus of an announced run is described: its car lives through its story, and goes live.
    fn begin(&mut self, interface: &Interface<'_>) -> Result<(), Failure> {
        let chapter = std::mem::replace(&mut self.chapter, Chapter::None);
        let announced = match chapter {
            Chapter::Announced(announced) => announced,
            other => {
                self.chapter = other;
                return Ok(());
            }
        };
        let Announced {
            header,
            memory,
            program,
        } = *announced;
        let header = self.of_today(header, &program)?;
        let scenario = sources::scenario_with(&header.scenario, header.vehicle.as_deref())?;
        let settings = header.settings(&scenario);
        if self.args.json {
            output::json(&Line::Run {
                scenario: &header.scenario,
                seed: header.seed,
            })?;
        } else {
            output::line(&format!(
                "once more: {}, seed {}, in this process",
                output::escape(&header.scenario),
                header.seed
            ))?;
        }
        let exact = Exact {
            instants: header.bus_time,
            deadlines: header.never_late,
        };
        let writer = match &self.args.again.record {
            Some(path) => Some(self.writer(path, &header, memory.as_deref(), interface)?),
            None => None,
        };
        let mut simulator = Simulator::new(settings);
        story::live_through(&mut simulator, &scenario, |_| {});
        if header.memory {
            let text =
                memory.ok_or_else(|| self.cannot("the memory that the ECU began with is not in it"))?;
            let stored: Stored =
                serde_json::from_str(&text).map_err(|error| self.cannot(&format!("its memory: {error}")))?;
            simulator
                .restore(&stored)
                .map_err(|error| self.cannot(&format!("its memory: {error}")))?;
        }
        simulator.go_live(BusInstant::ZERO, scenario.cues(), []);
        self.chapter = Chapter::Run(Box::new(Repeat::new(simulator, exact, writer)));
        Ok(())
    }

    /// The header of what is done now: the recorded one, but for what the command line says; refused if it cannot be
    /// the same run.
    fn of_today(&self, recorded: Header, program: &str) -> Result<Header, Failure> {
        let again = &self.args.again;
        let scenario = again
            .scenario
            .clone()
            .unwrap_or_else(|| recorded.scenario.clone());
        let vehicle = again.vehicle.clone().or_else(|| recorded.vehicle.clone());
        let today = record::header(&scenario, vehicle.as_deref())?;
        let mut others = Vec::new();
        if program != record::application() {
            others.push(format!(
                "it was recorded by {}, this is {}",
                output::escape(program),
                record::application()
            ));
        }
        if today.crc32 != recorded.crc32 {
            others.push(format!(
                "`{}` has the checksum {}, the scenario of the recording has {}",
                output::escape(&scenario),
                today.crc32,
                output::escape(&recorded.crc32)
            ));
        }
        if today.vehicle_crc32 != recorded.vehicle_crc32 {
            let checksum =
                |of: &Option<String>| of.as_deref().map_or_else(|| "none".to_owned(), output::escape);
            others.push(format!(
                "the vehicle that takes the place of the scenario's has the checksum {}, that of the recording has {}",
                checksum(&today.vehicle_crc32),
                checksum(&recorded.vehicle_crc32)
            ));
        }
        if !others.is_empty() && !again.anyway {
            return Err(Failure::input(
                format!("this would be another run: {}", others.join("; ")),
                Some("--scenario FILE and --vehicle FILE say where the same ones are; --anyway says where it parts".to_owned()),
            ));
        }
        for other in others {
            anstream::eprintln!("{other}");
        }
        Ok(Header {
            scenario: today.scenario,
            crc32: today.crc32,
            vehicle: today.vehicle,
            vehicle_crc32: today.vehicle_crc32,
            seed: again.seed.unwrap_or(recorded.seed),
            ..recorded
        })
    }

    fn writer(
        &self,
        path: &Path,
        header: &Header,
        memory: Option<&str>,
        interface: &Interface<'_>,
    ) -> Result<twotrip_host::recording::Writer, Failure> {
        let same = path
            .canonicalize()
            .is_ok_and(|path| self.args.file.canonicalize().is_ok_and(|file| path == file));
        if same {
            return Err(Failure::input(
                "--record names the recording that is being read: give another name",
                None,
            ));
        }
        let header = Header {
            bus_time: true,
            ..header.clone()
        };
        let mut lines = vec![header.comment()];
        lines.extend(memory.map(|text| format!("{MEMORY_PREFIX}{text}")));
        let name = interface.name().unwrap_or_default();
        record::writer(path, &lines, &name, interface.bit_rate())
    }

    /// Says what became of the run that was being repeated.
    fn end_of_chapter(&mut self) -> Result<(), Failure> {
        let Chapter::Run(mut repeat) = std::mem::replace(&mut self.chapter, Chapter::None) else {
            return Ok(());
        };
        self.runs += 1;
        let (counts, difference) = repeat.end().map_err(|error| self.cannot(&error.to_string()))?;
        let question = repeat.question().copied();
        repeat.finish().map_err(|error| record::failure(&error))?;
        match difference {
            None => say_same(self.args.json, &counts),
            Some(difference) => {
                self.same = false;
                say_difference(self.args.json, &counts, &difference, question.as_ref())
            }
        }
    }
}

/// What a section says of a run.
fn announced(section: &Section<'_>) -> Chapter {
    let mut header = None;
    let mut memory = None;
    for text in section.options.comments() {
        if let Some(read) = Header::parse(&text) {
            header = Some(read);
        } else if let Some(json) = text.strip_prefix(MEMORY_PREFIX) {
            memory = Some(json.to_owned());
        }
    }
    header.map_or(Chapter::None, |header| {
        Chapter::Announced(Box::new(Announced {
            header,
            memory,
            program: section.application().unwrap_or_default().into_owned(),
        }))
    })
}

fn repeated(counts: &Counts, same: bool) -> Line<'static> {
    Line::Repeated {
        same,
        frames: counts.frames,
        heard: counts.heard,
        told: counts.told,
        happened: counts.happened,
        left_over: counts.left_over,
        bus_time_s: counts.until.as_secs_f64(),
        late_ms: counts.late.as_secs_f64() * 1e3,
    }
}

fn say_same(json: bool, counts: &Counts) -> Result<(), Failure> {
    if json {
        return output::json(&repeated(counts, true));
    }
    let text = format!(
        "the same, bit for bit: {}, {} that it heard, {}, {}, in {:.3} s of bus time",
        counted(counts.frames, FRAME, FRAMES),
        counts.heard,
        counted(counts.told, "phrase", "phrases"),
        counted(counts.happened, LINE, LINES),
        counts.until.as_secs_f64()
    );
    for line in output::fit(&text, 0) {
        output::line(&line)?;
    }
    if counts.left_over > 0 {
        output::line(&format!(
            "the recording was broken off: {} not compared",
            counted(
                counts.left_over,
                "frame or line at its end is",
                "frames and lines at its end are"
            )
        ))?;
    }
    Ok(())
}

/// One side of a difference, with its meaning.
fn meaning(frame: &Frame) -> String {
    match Pdu::parse(frame.data()) {
        Ok(Pdu::SingleFrame { payload }) => format!("{frame}  {}", describe_response(payload.as_slice())),
        _ => frame.to_string(),
    }
}

fn say_difference(
    json: bool,
    counts: &Counts,
    difference: &Difference,
    question: Option<&Frame>,
) -> Result<(), Failure> {
    let told = Told::of(difference);
    let question = question.map(|frame| match Pdu::parse(frame.data()) {
        Ok(Pdu::SingleFrame { payload }) => format!("{frame}  {}", describe_request(payload.as_slice())),
        _ => frame.to_string(),
    });
    if json {
        output::json(&Line::Different {
            bus_time_s: told.at.unwrap_or(counts.until).as_secs_f64(),
            frame: told.number,
            what: told.what,
            recorded: told.recorded,
            now: told.now,
            question,
        })?;
        return output::json(&repeated(counts, false));
    }
    let number = told
        .number
        .map_or(String::new(), |number| format!(", frame {number} of the file"));
    output::line(&format!(
        "different at {:.9} s of bus time{number}: {}",
        told.at.unwrap_or(counts.until).as_secs_f64(),
        told.what
    ))?;
    for (what, text) in [
        ("recorded", told.recorded),
        ("now", told.now),
        ("last heard", question),
    ] {
        let Some(text) = text else { continue };
        let head = format!("  {what:width$}", width = INDENT - 2);
        for line in output::headed(&head, output::fit(&output::escape(&text), INDENT)) {
            output::line(&line)?;
        }
    }
    output::line(&format!(
        "up to there the same: {}, {}",
        counted(counts.frames, FRAME, FRAMES),
        counted(counts.happened, LINE, LINES)
    ))
}

/// What is counted.
const FRAME: &str = "frame of the car";
const FRAMES: &str = "frames of the car";
const LINE: &str = "line of what happened in it";
const LINES: &str = "lines of what happened in it";

/// Columns before what is said of a difference.
const INDENT: usize = 14;

/// A difference in words.
struct Told {
    at: Option<BusInstant>,
    number: Option<u64>,
    what: &'static str,
    recorded: Option<String>,
    now: Option<String>,
}

impl Told {
    fn of(difference: &Difference) -> Self {
        match difference {
            Difference::Frame {
                number,
                at,
                recorded,
                now,
            } => Self {
                at: Some(*at),
                number: Some(*number),
                what: "the car sends another frame",
                recorded: Some(meaning(recorded)),
                now: Some(meaning(now)),
            },
            Difference::Silent { at, recorded } => Self {
                at: Some(*at),
                number: recorded.map(|(number, _)| number),
                what: "the car sends nothing, or later",
                recorded: recorded.map(|(_, frame)| meaning(&frame)),
                now: None,
            },
            Difference::Speaks { at, now } => Self {
                at: Some(*at),
                number: None,
                what: "the car sends a frame where it sent none",
                recorded: None,
                now: Some(meaning(now)),
            },
            Difference::Early { recorded, now } => Self {
                at: Some(*now),
                number: None,
                what: "the car acts earlier",
                recorded: Some(recorded.to_string()),
                now: Some(now.to_string()),
            },
            Difference::Instant {
                number,
                frame,
                recorded,
                now,
            } => {
                let nanos = |at: &BusInstant| format!("{} ns  {}", at.as_nanos(), meaning(frame));
                Self {
                    at: Some(*now),
                    number: Some(*number),
                    what: "the same frame at another instant",
                    recorded: Some(nanos(recorded)),
                    now: Some(nanos(now)),
                }
            }
            Difference::Happened { recorded, now } => Self {
                at: None,
                number: None,
                what: "something else happens in the car",
                recorded: Some(recorded.clone()),
                now: Some(now.clone()),
            },
        }
    }
}
