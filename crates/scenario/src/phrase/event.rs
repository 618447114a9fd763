//! What a cue can wait for, as one table like that of the phrases.

use core::fmt::{self, Display, Formatter};

use twotrip_obd::Dtc;

use super::{
    code::Code,
    fault::{Fault, Parsed},
    help::Help,
    measure::word,
    rule::{After, Choice, Explanation, Map, Optional, Rule, end, first_of, keyword},
};
use crate::problem::{Expected, Problem, ProblemKind};

/// Something that happens while the car is on the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// The story is over, the bus comes up.
    Ready,
    /// The first request of a tool.
    FirstRequest,
    /// A request of this service.
    Service(u8),
    /// A code becomes pending: this one, or any.
    Pending(Option<Dtc>),
    /// A code is confirmed: this one, or any.
    Confirmed(Option<Dtc>),
    /// The ECU commands the lamp on (or off).
    Mil {
        /// On.
        commanded: bool,
    },
    /// A tool clears the memory.
    Clear,
    /// The key is turned on.
    KeyOn,
    /// The key is turned off.
    KeyOff,
    /// A drive has come to its end.
    DriveEnd,
}

impl Display for Event {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Ready => f.write_str("ready"),
            Self::FirstRequest => f.write_str("first request"),
            Self::Service(number) => write!(f, "service {number:02X}"),
            Self::Pending(None) => f.write_str("pending"),
            Self::Pending(Some(code)) => write!(f, "pending {code}"),
            Self::Confirmed(None) => f.write_str("confirmed"),
            Self::Confirmed(Some(code)) => write!(f, "confirmed {code}"),
            Self::Mil { commanded: true } => f.write_str("mil commanded"),
            Self::Mil { commanded: false } => f.write_str("mil off"),
            Self::Clear => f.write_str("clear"),
            Self::KeyOn => f.write_str("key on"),
            Self::KeyOff => f.write_str("key off"),
            Self::DriveEnd => f.write_str("drive end"),
        }
    }
}

/// One kind of event.
struct Form {
    rule: &'static dyn Rule<Out = Event>,
    meaning: &'static str,
    example: &'static str,
}

/// The number of a service, in hex.
struct Service;

impl Rule for Service {
    type Out = u8;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, u8> {
        let (rest, found) = word(input)?;
        let digits = found.strip_prefix('$').unwrap_or(found);
        let number = u8::from_str_radix(digits, 16).ok();
        match number.filter(|number| (1..=0x3E).contains(number) && digits.len() == 2) {
            Some(number) => Ok((rest, number)),
            None => {
                let wanted = Expected::text("a service of two hex digits, such as 03");
                Err(Fault::new(
                    found,
                    ProblemKind::UnknownWord("service"),
                    "service",
                    [wanted],
                ))
            }
        }
    }

    fn explain(&self, help: &mut Explanation) {
        help.slot("SERVICE", || {
            "two hex digits, such as 03 for the confirmed codes".into()
        });
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        format!("{:02X}", 1 + dice.below(0x3E))
    }
}

static FORMS: &[Form] = &[
    Form {
        rule: &Map(keyword("ready"), |()| Event::Ready),
        meaning: "the story is over, the car is on the bus",
        example: "ready",
    },
    Form {
        rule: &Map(After(keyword("first"), keyword("request")), |()| {
            Event::FirstRequest
        }),
        meaning: "a tool asks its first question",
        example: "first request",
    },
    Form {
        rule: &Map(After(keyword("service"), Service), Event::Service),
        meaning: "a tool asks this service",
        example: "service 03",
    },
    Form {
        rule: &Map(After(keyword("pending"), Optional(Code)), Event::Pending),
        meaning: "a code becomes pending: this one, or any",
        example: "pending P0455",
    },
    Form {
        rule: &Map(After(keyword("confirmed"), Optional(Code)), Event::Confirmed),
        meaning: "a code is confirmed: this one, or any",
        example: "confirmed P0455",
    },
    Form {
        rule: &Map(
            After(
                keyword("mil"),
                Choice {
                    what: "state of the mil",
                    options: &[("commanded", true), ("off", false)],
                },
            ),
            |commanded| Event::Mil { commanded },
        ),
        meaning: "the ECU begins to ask for the lamp, or lets it be",
        example: "mil commanded",
    },
    Form {
        rule: &Map(keyword("clear"), |()| Event::Clear),
        meaning: "a tool clears the memory",
        example: "clear",
    },
    Form {
        rule: &After(
            keyword("key"),
            Choice {
                what: "key position",
                options: &[("on", Event::KeyOn), ("off", Event::KeyOff)],
            },
        ),
        meaning: "the key is turned",
        example: "key off",
    },
    Form {
        rule: &Map(After(keyword("drive"), keyword("end")), |()| Event::DriveEnd),
        meaning: "a drive has come to its end",
        example: "drive end",
    },
];

/// Reads an event, all of `text`.
pub(crate) fn parse_event(text: &str) -> Result<Event, Problem> {
    let line = text.trim_end();
    let any = || -> Parsed<'_, Event> {
        let (_, found) = word(line)?;
        let mut meant = FORMS.iter().filter(|form| form.rule.begins(found)).peekable();
        if meant.peek().is_none() {
            let mut words = Vec::new();
            FORMS.iter().for_each(|form| {
                form.rule
                    .first_words(&mut |word| words.push(Expected::Word(word)))
            });
            return Err(Fault::new(
                found,
                ProblemKind::UnknownWord("event"),
                "event",
                words,
            ));
        }
        first_of(meant.map(|form| {
            let (rest, event) = form.rule.read(line)?;
            end(rest).map(|(rest, ())| (rest, event))
        }))
    };
    match any() {
        Ok((_, event)) => Ok(event),
        Err(error) => Err(Fault::out_of(error).into_problem(text)),
    }
}

/// All kinds of events that a cue can wait for.
#[must_use]
pub fn events() -> Vec<Help> {
    FORMS
        .iter()
        .map(|form| Help::of(form.rule, form.meaning, form.example))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::tests::Dice;

    #[test]
    fn events_are_read_and_written_the_same() {
        let mut dice = Dice::new(3);
        for form in FORMS {
            assert_eq!(
                parse_event(form.example).map(|event| event.to_string()),
                Ok(form.example.to_owned())
            );
            for _ in 0..50 {
                let text = form.rule.sample(&mut dice);
                let event = parse_event(&text).unwrap_or_else(|problem| panic!("{text}: {problem}"));
                assert_eq!(parse_event(&event.to_string()), Ok(event), "{text}");
            }
        }
    }

    #[test]
    fn what_is_no_event_is_pointed_at() {
        for (text, summary) in [
            ("", "event is missing"),
            ("redy", "unknown event `redy`"),
            ("service 3", "unknown service `3`"),
            ("service FF", "unknown service `FF`"),
            ("key up", "unknown key position `up`"),
            ("drive begin", "unknown word `begin`"),
            ("confirmed P04", "`P04` is not a trouble code"),
            ("clear twice", "the phrase is complete before `twice`"),
        ] {
            let problem = parse_event(text).expect_err(text);
            assert_eq!(problem.to_string(), summary);
        }
    }
}
