//! What is shown at each level, for people and for machines.

use serde::Serialize;
use twotrip_can::{Frame, FrameKind, error_frame::ErrorFrame};
use twotrip_dialogue::{Breach, Event, Message, Unit};
use twotrip_host::{judge::Summary, recording::ReadError};
use twotrip_isotp::{FlowStatus, Pdu};

use super::{
    heard::{Counted, Listener, Told, Total, Whence},
    lines::{beside, columns, fill, write_millis, write_role, write_seconds},
    phrases::Phrases,
    setting::Setting,
    story::Story,
};
use crate::{
    args::Level,
    command::words::{counted, hex, write_hex},
    exit::Failure,
    output,
};

/// A line of `--json`.
#[derive(Debug, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
enum Line<'a> {
    Section {
        application: Option<&'a str>,
        comments: &'a [String],
    },
    Interface {
        interface: &'a str,
        bit_rate: Option<u64>,
    },
    Frame {
        frame: u64,
        time_s: f64,
        unix_ns: u64,
        interface: &'a str,
        direction: Option<&'static str>,
        dropped_before: u64,
        id: String,
        extended: bool,
        frame_kind: &'static str,
        length: usize,
        data: String,
    },
    NoFrame {
        frame: u64,
        why: &'a str,
    },
    Unit {
        frame: u64,
        time_s: f64,
        interface: &'a str,
        role: String,
        unit: String,
    },
    Message {
        message: u64,
        time_s: f64,
        interface: &'a str,
        role: &'a str,
        first_frame: u64,
        last_frame: u64,
        bytes: &'a str,
        text: &'a str,
        #[serde(skip_serializing_if = "Option::is_none")]
        answers: Option<u64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        latency_ms: Option<f64>,
    },
    Breach {
        frame: u64,
        time_s: f64,
        interface: &'a str,
        role: String,
        text: String,
        rule: &'static str,
    },
    Comment {
        time_s: f64,
        text: &'a str,
    },
    Story {
        unix_ns: u64,
        text: &'a str,
    },
    Lost {
        frames: u64,
        before_frame: u64,
        time_s: f64,
        interface: &'a str,
    },
    Statistics {
        interface: &'a str,
        unix_ns: u64,
        #[serde(flatten)]
        counts: Counts,
    },
    Damage {
        text: String,
    },
    Conduct {
        interface: &'a str,
        text: String,
        conduct: Summary,
    },
    Summary {
        frames: u64,
        requests: u64,
        answers: u64,
        rules_broken: u64,
        lost: u64,
        interfaces: Vec<Interface<'a>>,
    },
}

/// What an interface has counted itself.
#[derive(Debug, Serialize)]
struct Counts {
    received: Option<u64>,
    dropped_by_interface: Option<u64>,
    dropped_by_system: Option<u64>,
}

#[derive(Debug, Serialize)]
struct Interface<'a> {
    interface: &'a str,
    frames: u64,
    lost: u64,
    counted: Option<Counts>,
}

impl From<Counted> for Counts {
    fn from(counted: Counted) -> Self {
        Self {
            received: counted.received,
            dropped_by_interface: counted.dropped_by_interface,
            dropped_by_system: counted.dropped_by_system,
        }
    }
}

/// Shows things as they come.
#[derive(Debug)]
pub(super) struct Teller {
    level: Level,
    json: bool,
    story: Story,
    breaches: u64,
    texts: Texts,
}

/// Texts of a message, in memory that the next one uses again.
#[derive(Debug, Default)]
struct Texts {
    line: String,
    role: String,
    bytes: String,
    words: String,
    text: String,
    phrases: Phrases,
}

impl Teller {
    pub(super) fn new(level: Level, json: bool) -> Self {
        Self {
            level,
            json,
            story: Story::default(),
            breaches: 0,
            texts: Texts::default(),
        }
    }

    /// Shows what the listener has to tell.
    pub(super) fn tell(&mut self, listener: &mut Listener) -> Result<(), Failure> {
        while let Some(told) = listener.poll() {
            self.show(&told, listener.setting())?;
            listener.recycle(told);
        }
        Ok(())
    }

    /// Shows one thing.
    pub(super) fn show(&mut self, told: &Told, setting: &Setting) -> Result<(), Failure> {
        self.breaches += u64::from(matches!(told, Told::Event(_, Event::Breach { .. })));
        if self.level == Level::Story {
            self.story.on(told, setting);
            self.tell_story()
        } else if self.json {
            self.json(told, setting)
        } else {
            self.words(told, setting)
        }
    }

    fn tell_story(&mut self) -> Result<(), Failure> {
        while let Some((at, text)) = self.story.poll() {
            if self.json {
                output::json(&Line::Story {
                    unix_ns: at,
                    text: &text,
                })?;
            } else {
                beside(&format!("{}  ", clock(at)), &output::escape(&text))?;
            }
        }
        Ok(())
    }

    /// Nothing more comes.
    pub(super) fn end(&mut self, listener: &Listener) -> Result<(), Failure> {
        if self.level == Level::Story {
            self.story.end();
            self.tell_story()?;
        }
        if self.json {
            for (interface, conduct) in listener.conducts() {
                output::json(&Line::Conduct {
                    interface: listener.setting().name(interface),
                    text: conduct.headline(),
                    conduct,
                })?;
            }
            self.summary(listener)
        } else {
            self.conduct_in_words(listener)?;
            self.summary_in_words(listener);
            Ok(())
        }
    }

    /// What testers did; not beside bare frames.
    fn conduct_in_words(&self, listener: &Listener) -> Result<(), Failure> {
        if self.level == Level::Frames {
            return Ok(());
        }
        for (interface, conduct) in listener.conducts() {
            let bus = bus(listener.setting(), interface);
            output::line(&format!("{bus}what the tester did: {}", conduct.headline()))?;
            let lines = conduct.lines();
            lines
                .iter()
                .flat_map(|line| output::fit(line, 2))
                .try_for_each(|line| output::line(&line))?;
        }
        Ok(())
    }

    fn summary(&self, listener: &Listener) -> Result<(), Failure> {
        let (requests, answers) = listener.messages();
        output::json(&Line::Summary {
            frames: listener.frames(),
            requests,
            answers,
            rules_broken: self.breaches,
            lost: listener.totals().iter().map(Total::lost).sum(),
            interfaces: listener
                .totals()
                .iter()
                .enumerate()
                .map(|(interface, total)| Interface {
                    interface: listener.setting().name(interface),
                    frames: total.frames,
                    lost: total.lost(),
                    counted: total.counted.map(Into::into),
                })
                .collect(),
        })
    }

    fn summary_in_words(&self, listener: &Listener) {
        let (requests, answers) = listener.messages();
        let mut text = [
            counted(listener.frames(), "frame", "frames"),
            counted(requests, "request", "requests"),
            counted(answers, "answer", "answers"),
        ]
        .join(", ");
        if self.breaches > 0 {
            text += &format!("; rules broken: {}", self.breaches);
        }
        for (interface, total) in listener
            .totals()
            .iter()
            .enumerate()
            .filter(|(_, total)| total.lost() > 0)
        {
            text += &format!("; {} lost", counted(total.lost(), "frame", "frames"));
            if listener.setting().buses() > 1 {
                text += &format!(" on {}", output::escape(listener.setting().name(interface)));
            }
            let by = |count: Option<u64>, who: &str| {
                let count = count.filter(|count| *count > 0)?;
                Some(format!("{count} by {who}"))
            };
            let counts = total.counted.unwrap_or_default();
            let by: Vec<String> = [
                by(counts.dropped_by_interface, "the controller or its driver"),
                by(counts.dropped_by_system, "the operating system"),
            ]
            .into_iter()
            .flatten()
            .collect();
            if !by.is_empty() {
                text += &format!(" ({})", by.join(", "));
            }
        }
        for line in output::wrap(&text, 0, output::WIDTH) {
            anstream::eprintln!("{line}");
        }
    }

    /// The rest cannot be read.
    pub(super) fn damage(&self, error: &ReadError) -> Result<(), Failure> {
        if self.json {
            return output::json(&Line::Damage {
                text: error.to_string(),
            });
        }
        anstream::eprintln!("{}", output::escape(&error.to_string()));
        Ok(())
    }

    fn words(&mut self, told: &Told, setting: &Setting) -> Result<(), Failure> {
        match told {
            Told::Frame(number, whence, frame) if self.level == Level::Frames => {
                output::line(&frame_line(*number, *whence, frame, setting))
            }
            Told::NoFrame { number, why } if self.level == Level::Frames => {
                output::line(&format!("{number:>7}  no frame: {why}"))
            }
            Told::Event(interface, Event::Unit(unit)) if self.level == Level::Transport => {
                let at = setting.seconds(setting.instant(unit.at));
                let bus = bus(setting, *interface);
                let role = unit.role.to_string();
                beside(&format!("{at:>13.6}  {bus}{role:<17} "), &unit_words(unit))
            }
            Told::Event(interface, Event::Message(message)) if self.level == Level::Messages => {
                self.texts.tell(message, *interface, setting)
            }
            Told::Event(_, Event::Breach { breach, role, .. }) => {
                let mut head = format!("{}{:15}! ", output::AMBER, "");
                let text = format!("{role}: {breach} [{}]", breach.rule());
                columns(&mut head, 17, &text, output::PLAIN)
            }
            Told::Lost { number, frames, .. } if self.level != Level::Frames => {
                let mut head = format!("{}{:15}! ", output::AMBER, "");
                let text = counted(
                    *frames,
                    &format!("frame before frame {number} was lost"),
                    &format!("frames before frame {number} were lost"),
                );
                columns(&mut head, 17, &text, output::PLAIN)
            }
            Told::Comment { text, .. } => beside(&format!("{:15}# ", ""), &output::escape(text)),
            _ => Ok(()),
        }
    }

    fn json(&mut self, told: &Told, setting: &Setting) -> Result<(), Failure> {
        let line = match told {
            Told::Section {
                application,
                comments,
            } => Line::Section {
                application: application.as_deref(),
                comments,
            },
            Told::Interface { name, bit_rate } => Line::Interface {
                interface: name,
                bit_rate: *bit_rate,
            },
            Told::Frame(number, whence, frame) if self.level == Level::Frames => {
                json_frame(*number, *whence, frame, setting)
            }
            Told::NoFrame { number, why } if self.level == Level::Frames => {
                Line::NoFrame { frame: *number, why }
            }
            Told::Event(interface, Event::Unit(unit)) if self.level == Level::Transport => Line::Unit {
                frame: unit.frame,
                time_s: setting.seconds(setting.instant(unit.at)),
                interface: setting.name(*interface),
                role: unit.role.to_string(),
                unit: unit_words(unit),
            },
            Told::Event(interface, Event::Message(message)) if self.level == Level::Messages => {
                self.texts.take(message);
                Line::Message {
                    message: message.number,
                    time_s: setting.seconds(setting.instant(message.began)),
                    interface: setting.name(*interface),
                    role: &self.texts.role,
                    first_frame: message.frames.0,
                    last_frame: message.frames.1,
                    bytes: &self.texts.bytes,
                    text: &self.texts.text,
                    answers: message.answers.map(|(question, _)| question),
                    latency_ms: message.answers.map(|(_, latency)| latency.as_secs_f64() * 1000.0),
                }
            }
            Told::Event(
                interface,
                Event::Breach {
                    frame,
                    at,
                    role,
                    breach,
                },
            ) => Line::Breach {
                frame: *frame,
                time_s: setting.seconds(setting.instant(*at)),
                interface: setting.name(*interface),
                role: role.to_string(),
                text: breach.to_string(),
                rule: breach.rule(),
            },
            Told::Lost {
                interface,
                at,
                number,
                frames,
            } => Line::Lost {
                frames: *frames,
                before_frame: *number,
                time_s: setting.seconds(*at),
                interface: setting.name(*interface),
            },
            Told::Statistics(interface, counted) => Line::Statistics {
                interface: setting.name(*interface),
                unix_ns: counted.at,
                counts: (*counted).into(),
            },
            Told::Comment { at, text } => Line::Comment {
                time_s: setting.seconds(*at),
                text,
            },
            _ => return Ok(()),
        };
        output::json(&line)
    }
}

/// The name of the bus, where there are several.
fn bus(setting: &Setting, interface: usize) -> String {
    if setting.buses() < 2 {
        return String::new();
    }
    format!("{}  ", output::escape(setting.name(interface)))
}

fn frame_line(number: u64, whence: Whence, frame: &Frame, setting: &Setting) -> String {
    let at = setting.seconds(whence.at);
    let way = match whence.outbound {
        Some(true) => "out",
        Some(false) => "in ",
        None => "   ",
    };
    let bus = bus(setting, whence.interface);
    let lost = match whence.dropped {
        0 => String::new(),
        lost => format!("  ({lost} lost before it)"),
    };
    let error = ErrorFrame::decode(frame).map_or_else(String::new, |error| format!("  {error}"));
    format!("{number:>7} {at:>13.6}  {bus}{way}  {frame}{error}{lost}")
}

fn json_frame<'a>(number: u64, whence: Whence, frame: &Frame, setting: &'a Setting) -> Line<'a> {
    Line::Frame {
        frame: number,
        time_s: setting.seconds(whence.at),
        unix_ns: whence.at,
        interface: setting.name(whence.interface),
        direction: whence
            .outbound
            .map(|outbound| if outbound { "out" } else { "in" }),
        dropped_before: whence.dropped,
        id: frame.id().to_string(),
        extended: frame.id().is_extended(),
        frame_kind: match frame.kind() {
            FrameKind::Data => "data",
            FrameKind::Remote => "remote",
            FrameKind::Error => "error",
            FrameKind::Fd { .. } => "fd",
        },
        length: frame.len(),
        data: hex(frame.data()),
    }
}

impl Texts {
    /// Puts down what both forms have in common.
    fn take(&mut self, message: &Message) {
        self.role.clear();
        self.bytes.clear();
        self.text.clear();
        write_role(&mut self.role, message.role);
        write_hex(&mut self.bytes, &message.bytes);
        self.text.push_str(self.phrases.words(&mut self.words, message));
    }

    /// Shows a message to people.
    fn tell(&mut self, message: &Message, interface: usize, setting: &Setting) -> Result<(), Failure> {
        let Self {
            line,
            words: room,
            text,
            phrases,
            ..
        } = self;
        line.clear();
        write_seconds(line, setting, setting.instant(message.began));
        line.push_str("  ");
        line.push_str(&bus(setting, interface));
        let begun = line.len();
        write_role(line, message.role);
        fill(line, begun, 17);
        line.push(' ');
        let head = line.len();
        if let Some((_, latency)) = message.answers {
            line.push_str("(+");
            write_millis(line, latency);
            line.push_str(" ms) ");
        }
        let words = phrases.words(room, message);
        if line.len() + words.len() <= output::WIDTH {
            return output::line_of([line, words]);
        }
        text.clear();
        text.push_str(&line[head..]);
        text.push_str(words);
        line.truncate(head);
        let width = line.chars().count();
        columns(line, width, text, "")
    }
}

fn unit_words(unit: &Unit) -> String {
    match unit.pdu {
        Pdu::SingleFrame { payload } => format!("{:<19}{}", "single frame", hex(payload.as_slice())),
        Pdu::FirstFrame { length, payload } => {
            format!(
                "{:<19}{}",
                format!("first of {length} bytes"),
                hex(payload.as_slice())
            )
        }
        Pdu::ConsecutiveFrame {
            sequence_number,
            payload,
        } => format!(
            "{:<19}{}",
            format!("consecutive {sequence_number}"),
            hex(payload.as_slice())
        ),
        Pdu::FlowControl {
            status,
            block_size,
            st_min,
        } => {
            let status = match status {
                FlowStatus::ContinueToSend => "continue".to_owned(),
                FlowStatus::Wait => "wait".to_owned(),
                FlowStatus::Overflow => "overflow".to_owned(),
                FlowStatus::Reserved(number) => format!("reserved {number}"),
            };
            let block = match block_size {
                0 => String::new(),
                frames => format!(", blocks of {frames}"),
            };
            let gap = st_min.gap().as_secs_f64() * 1000.0;
            format!("{:<19}{status}{block}, STmin {gap} ms", "flow control")
        }
    }
}

/// Time of day, UTC; nothing for what has no time.
fn clock(at: u64) -> String {
    if at == 0 {
        return format!("{:8}", "");
    }
    let seconds = at / 1_000_000_000 % 86_400;
    format!(
        "{:02}:{:02}:{:02}",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}

/// Whether a breach is worth a sentence in a story: what a tester did wrong, not how frames were built.
pub(super) const fn is_conduct(breach: &Breach) -> bool {
    matches!(
        breach,
        Breach::ClearedUnread
            | Breach::Unanswered
            | Breach::LateAnswer { .. }
            | Breach::Impatient { .. }
            | Breach::GaveUp { .. }
            | Breach::Interrupts(_)
            | Breach::TalksOver { .. }
            | Breach::MissingFlowControl { .. }
            | Breach::RetryTooSoon { .. }
            | Breach::RetryTooOften { .. }
            | Breach::NotRetried(_)
            | Breach::PollsSleeping { .. }
            | Breach::Unfinished { .. }
            | Breach::WrongSequence { .. }
            | Breach::NotSupported { .. }
    )
}
