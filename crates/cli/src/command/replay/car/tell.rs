//! What is said while the ECUs of a recording answer.

use std::{path::Path, time::Instant};

use serde::Serialize;
use twotrip_dialogue::{Answers, Found, Head, LeftOut, Role, StandInEvent};
use twotrip_host::{bus::Name, replay::car::Notice};
use twotrip_isotp::Direction;
use twotrip_obd::describe_request;
use twotrip_units::BusInstant;

use super::lines::Lines;
use crate::{
    command::{run::BusCounts, words},
    exit::Failure,
    output,
};

/// A line of `--json`.
#[derive(Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(super) enum Line<'a> {
    Ready {
        file: String,
        bus: String,
        ecus: Vec<String>,
        questions: usize,
        unasked_answers: u64,
        incomplete_answers: u64,
        cut_off_questions: u64,
        lost_in_recording: u64,
    },
    Asked {
        time_s: f64,
        role: String,
        request: String,
        text: String,
        found: &'static str,
        #[serde(skip_serializing_if = "Option::is_none")]
        recorded_time: Option<usize>,
        #[serde(skip_serializing_if = "Option::is_none")]
        recorded_times: Option<usize>,
        replies: u32,
    },
    Trouble {
        time_s: f64,
        ecu: String,
        text: String,
    },
    BusDown,
    BusError(words::BusErrorObject),
    TurnedAway {
        text: String,
        more: u64,
    },
    Unknown {
        role: String,
        request: String,
        text: String,
        count: u64,
        first_s: f64,
    },
    NeverAsked {
        role: String,
        request: String,
        text: String,
        recorded_times: usize,
    },
    End {
        reason: &'a str,
        seconds: f64,
        requests: u64,
        answered: u64,
        silent: u64,
        exhausted: u64,
        unknown: u64,
        unknown_not_listed: u64,
        never_asked: usize,
        questions: usize,
        replies_dropped: u64,
        replies_late: u64,
        replies_broken_off: u64,
        requests_incomplete: u64,
        short_frames: u64,
        ignored_frames: u64,
        lost_frames: u64,
        lines_not_shown: u64,
        broadcasts_sent: u64,
        broadcasts_missed: u64,
        bus: BusCounts,
    },
}

/// Says it.
#[derive(Debug)]
pub(super) struct Teller {
    pub(super) json: bool,
    pub(super) lines: Lines,
    pub(super) begun: Instant,
}

impl Teller {
    pub(super) fn new(json: bool) -> Self {
        Self {
            json,
            lines: Lines::new(),
            begun: Instant::now(),
        }
    }

    fn object(&mut self, line: &Line<'_>) -> Result<(), Failure> {
        self.lines.say(output::json_text(line)?);
        Ok(())
    }

    pub(super) fn ready(
        &mut self,
        file: &Path,
        bus: &Name,
        answers: &Answers,
        left_out: LeftOut,
        lost: u64,
    ) -> Result<(), Failure> {
        let file = file.display().to_string();
        let mut ecus: Vec<_> = answers.ecus().iter().map(|manner| manner.ecu).collect();
        ecus.sort();
        let ecus: Vec<String> = ecus.iter().map(ToString::to_string).collect();
        let questions = answers.questions().count();
        let LeftOut {
            unasked,
            incomplete,
            cut_off,
        } = left_out;
        if self.json {
            return self.object(&Line::Ready {
                file,
                bus: bus.to_string(),
                ecus,
                questions,
                unasked_answers: unasked,
                incomplete_answers: incomplete,
                cut_off_questions: cut_off,
                lost_in_recording: lost,
            });
        }
        let parts = [
            (
                unasked,
                "answer to no question in it",
                "answers to no question in it",
            ),
            (
                incomplete,
                "answer that is not whole",
                "answers that are not whole",
            ),
            (
                cut_off,
                "question at its end that nobody had time to answer",
                "questions at its end that nobody had time to answer",
            ),
        ];
        let parts: Vec<String> = parts
            .iter()
            .filter(|(count, ..)| *count > 0)
            .map(|&(count, one, several)| words::counted(count, one, several))
            .collect();
        if !parts.is_empty() {
            anstream::eprintln!("left out of the recording: {}", parts.join(", "));
        }
        if lost > 0 {
            anstream::eprintln!(
                "the recorder has lost {}: silence in the recording may be theirs",
                words::counted(lost, "frame", "frames")
            );
        }
        if ecus.is_empty() {
            anstream::eprintln!("no ECU says anything in the recording: all questions meet silence");
        }
        let who = match &ecus[..] {
            [] => "no ECU".to_owned(),
            [one] => format!("ECU {one}"),
            several => format!("ECUs {}", several.join(" ")),
        };
        self.lines.say(format!(
            "ready: {who} of {} on {bus}, {questions} {}",
            output::escape(&file),
            if questions == 1 {
                "question"
            } else {
                "different questions"
            }
        ));
        Ok(())
    }

    /// What happens. Whoever reads our output may have gone; the ECUs stay.
    pub(super) fn tell(&mut self, notice: &Notice) {
        let _ = match notice {
            Notice::Event(StandInEvent::Asked {
                at,
                role,
                request,
                found,
            }) => self.asked(*at, *role, *request, *found),
            Notice::Event(StandInEvent::Busy { at, ecu }) => self.trouble(
                *at,
                &ecu.to_string(),
                "is in the middle of a long reply: no reply to this",
            ),
            Notice::Event(StandInEvent::Late { at, ecu }) => self.trouble(
                *at,
                &ecu.to_string(),
                "is late with its reply by more than 50 ms: it is left out",
            ),
            Notice::Event(StandInEvent::Failed {
                at,
                ecu,
                direction,
                result,
            }) => {
                let what = match direction {
                    Direction::Transmit => "gives its reply up",
                    Direction::Receive => "gives the question up",
                };
                self.trouble(*at, &ecu.to_string(), &format!("{what}: {result}"))
            }
            Notice::BusDown if self.json => self.object(&Line::BusDown),
            Notice::BusDown => {
                anstream::eprintln!(
                    "the interface is down; the ECUs are back on the bus when it is up again"
                );
                Ok(())
            }
            Notice::BusError { error, more } if self.json => {
                self.object(&Line::BusError(words::BusErrorObject::of(*error, *more)))
            }
            Notice::BusError { error, more } => {
                anstream::eprintln!("{}", words::bus_error(*error, *more));
                Ok(())
            }
            Notice::TurnedAway { why, more } if self.json => self.object(&Line::TurnedAway {
                text: why.to_string(),
                more: *more,
            }),
            Notice::TurnedAway { why, more } => {
                anstream::eprintln!("{}", words::turned_away(*why, *more));
                Ok(())
            }
        };
    }

    fn asked(&mut self, at: BusInstant, role: Role, request: Head, found: Found) -> Result<(), Failure> {
        let text = words_of(&request);
        if self.json {
            let (name, recorded_time, recorded_times, replies) = match found {
                Found::Unknown => ("unknown", None, None, 0),
                Found::Recorded {
                    time, times, replies, ..
                } => {
                    let name = match (time, replies) {
                        (None, _) => "exhausted",
                        (_, 0) => "silence",
                        _ => "answered",
                    };
                    (name, time.map(|time| time + 1), Some(times), replies)
                }
            };
            return self.object(&Line::Asked {
                time_s: at.as_secs_f64(),
                role: role.to_string(),
                request: request.to_string(),
                text,
                found: name,
                recorded_time,
                recorded_times,
                replies,
            });
        }
        let outcome = match found {
            Found::Unknown => "unknown: silence".to_owned(),
            Found::Recorded {
                time: None, times, ..
            } => format!("asked more than {times} times: silence"),
            Found::Recorded {
                time: Some(time),
                times,
                replies,
                ..
            } => {
                let time = format!("{} of {times}", time + 1);
                match replies {
                    0 => format!("{time}: silence, as then"),
                    1 => time,
                    several => format!("{time}: {several} replies"),
                }
            }
        };
        self.line(at, &role.to_string(), &format!("({outcome}) {text}"));
        Ok(())
    }

    fn trouble(&mut self, at: BusInstant, ecu: &str, text: &str) -> Result<(), Failure> {
        if self.json {
            return self.object(&Line::Trouble {
                time_s: at.as_secs_f64(),
                ecu: ecu.to_owned(),
                text: text.to_owned(),
            });
        }
        self.line(at, &format!("! {ecu}"), text);
        Ok(())
    }

    fn line(&mut self, at: BusInstant, who: &str, text: &str) {
        let head = format!("{:>13.6}  {who:<17} ", at.as_secs_f64());
        self.columns(&head, text);
    }

    pub(super) fn columns(&mut self, head: &str, text: &str) {
        for line in output::beside(head, text) {
            self.lines.say(line);
        }
    }
}

/// The question in words; one that is too long to be kept as bytes.
fn words_of(request: &Head) -> String {
    if request.length() > request.bytes().len() {
        return format!("asks {request}");
    }
    describe_request(request.bytes())
}
