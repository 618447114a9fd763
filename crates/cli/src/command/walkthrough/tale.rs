//! The lines of the tale: one list of events, told at 80 columns or as JSON.

use serde::Serialize;

use crate::{
    command::words::{self, Mood},
    exit::Failure,
    output::{self, AMBER, BAD, FAINT, GOOD, PLAIN, STRONG, WIDTH},
};

/// Who asks.
pub(super) const TESTER: &str = "tester";

/// One thing told.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(super) enum Told {
    /// A new part of the loop.
    Step {
        /// Its number.
        number: u32,
        /// Its name.
        title: String,
        /// Why this step matters.
        why: String,
    },
    /// Something said.
    Remark {
        /// What.
        text: String,
    },
    /// Something is about to be done to the car that takes its time.
    Doing {
        /// The phrase.
        phrase: String,
    },
    /// Something done to the car, and what came of it.
    Phrase {
        /// The phrase.
        phrase: String,
        /// Whether `doing` told of it before.
        #[serde(skip)]
        begun: bool,
        /// Whether it could be done.
        ok: bool,
        /// What came of it.
        outcome: String,
        /// Readings, or what to try.
        #[serde(skip_serializing_if = "Vec::is_empty")]
        details: Vec<String>,
    },
    /// The fault memory changed.
    Memory {
        /// Car time since the start of the story, seconds.
        car_time_s: f64,
        /// How, in words.
        text: String,
        /// Whose, of several ECUs.
        #[serde(skip_serializing_if = "Option::is_none")]
        ecu: Option<String>,
        /// Whether it is bad news, good news, or neither.
        mood: Mood,
    },
    /// A frame on the bus.
    Frame {
        /// Bus time of its last bit, seconds.
        bus_time_s: f64,
        /// Who sent it.
        from: String,
        /// Its identifier.
        id: String,
        /// Its bytes.
        data: String,
    },
    /// What a request or an answer means.
    Meaning {
        /// Who said it.
        from: String,
        /// The message without transport bytes.
        payload: String,
        /// In words.
        text: String,
    },
    /// Something that had to be so.
    Proof {
        /// What.
        text: String,
        /// Whether it is.
        met: bool,
    },
    /// What the bus had to carry.
    BusLoad {
        /// Its bit rate.
        kbit_per_s: u32,
        /// Frames, those of the tester included.
        frames: u64,
        /// Their bits, with stuff bits, CRC and intermissions.
        bits: u64,
        /// The time of these bits, seconds.
        wire_time_s: f64,
        /// Share of the time in which questions were under way, percent.
        load_percent: f64,
        /// The same of the busiest 10 ms.
        peak_percent: f64,
    },
    /// The end.
    Verdict {
        /// Whether the loop closed.
        closed: bool,
        /// In words.
        text: String,
    },
}

/// Where the tale is told to.
pub(super) struct Teller {
    /// JSON instead of text.
    pub(super) json: bool,
}

impl Teller {
    /// Tells one thing.
    pub(super) fn tell(&self, told: &Told) -> Result<(), Failure> {
        if self.json {
            return output::json(told);
        }
        for line in render(told) {
            output::line(&line)?;
        }
        Ok(())
    }
}

/// A phrase that is given to the car.
fn doing(phrase: &str) -> Vec<String> {
    let lines = output::wrap(&format!("> {phrase}"), 3, WIDTH).into_iter();
    lines.map(|line| format!("{STRONG}{line}{PLAIN}")).collect()
}

/// The told thing as lines of at most [`WIDTH`] columns, with colours.
fn render(told: &Told) -> Vec<String> {
    match told {
        Told::Step { number, title, why } => {
            let mut lines = vec![String::new(), format!("{STRONG}{number}  {title}{PLAIN}")];
            lines.extend(
                output::wrap(why, 3, WIDTH)
                    .into_iter()
                    .map(|line| format!("{FAINT}{line}{PLAIN}")),
            );
            lines.push(String::new());
            lines
        }
        Told::Remark { text } => output::wrap(text, 3, WIDTH),
        Told::Doing { phrase } => doing(phrase),
        Told::Phrase {
            ok,
            outcome,
            begun: true,
            ..
        } => {
            let colour = if *ok { FAINT } else { BAD };
            let lines = output::wrap(outcome, 7, WIDTH).into_iter();
            lines.map(|line| format!("{colour}{line}{PLAIN}")).collect()
        }
        Told::Phrase {
            phrase,
            ok,
            outcome,
            details,
            ..
        } => {
            let colour = if *ok { FAINT } else { BAD };
            let head = format!("   > {phrase}");
            let width = head.chars().count();
            let mut lines = if width + 3 + outcome.chars().count() <= WIDTH {
                vec![format!("   {STRONG}> {phrase}{PLAIN}   {colour}{outcome}{PLAIN}")]
            } else {
                let mut lines = doing(phrase);
                lines.extend(
                    output::wrap(outcome, 7, WIDTH)
                        .into_iter()
                        .map(|l| format!("{colour}{l}{PLAIN}")),
                );
                lines
            };
            lines.extend(details.iter().flat_map(|detail| output::fit(detail, 7)));
            lines
        }
        Told::Memory {
            car_time_s,
            text,
            ecu,
            mood,
        } => {
            let colour = match mood {
                Mood::Bad => AMBER,
                Mood::Good => GOOD,
                Mood::Plain => FAINT,
            };
            let ecu = ecu
                .as_ref()
                .map_or_else(String::new, |name| format!("{}: ", output::escape(name)));
            vec![format!(
                "     {FAINT}{}{PLAIN}  {colour}{ecu}{text}{PLAIN}",
                words::car_clock(*car_time_s)
            )]
        }
        Told::Frame {
            bus_time_s,
            from,
            id,
            data,
        } => {
            vec![format!(
                "   {FAINT}{bus_time_s:>11.6} s  {from:<6}{PLAIN}  {id:<8}  {data}"
            )]
        }
        Told::Meaning { from, text, .. } => {
            let mut lines = output::wrap(&format!("{from}: {text}"), 5, WIDTH);
            if from != TESTER {
                lines.push(String::new());
            }
            lines
        }
        Told::Proof { text, met } => {
            let (mark, colour) = if *met { ("yes", GOOD) } else { ("NO ", BAD) };
            vec![format!("   {colour}{mark}{PLAIN}  {text}")]
        }
        Told::BusLoad {
            kbit_per_s,
            frames,
            bits,
            wire_time_s,
            load_percent,
            peak_percent,
        } => {
            let text = format!(
                "On the bus: {frames} frames, {bits} bits with stuffing, CRC and gaps, {:.1} ms at {kbit_per_s} kbit/s. \
                 While questions were under way it was taken {load_percent:.1} % of the time, {peak_percent:.1} % in \
                 the busiest 10 ms.",
                wire_time_s * 1e3
            );
            output::wrap(&text, 3, WIDTH)
        }
        Told::Verdict { closed, text } => {
            let colour = if *closed { GOOD } else { BAD };
            let mut lines = vec![String::new()];
            lines.extend(
                output::wrap(text, 0, WIDTH)
                    .into_iter()
                    .map(|line| format!("{colour}{line}{PLAIN}")),
            );
            lines
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_the_terminal() {
        let long = "word ".repeat(60);
        let told = [
            Told::Step {
                number: 3,
                title: "Read".to_owned(),
                why: long.clone(),
            },
            Told::Remark { text: long.clone() },
            Told::Phrase {
                phrase: "drive udds".to_owned(),
                begun: false,
                ok: true,
                outcome: long.clone(),
                details: vec![long.clone()],
            },
            Told::Meaning {
                from: "car".to_owned(),
                payload: String::new(),
                text: long.clone(),
            },
            Told::Frame {
                bus_time_s: 12345.678,
                from: TESTER.to_owned(),
                id: "18DB33F1".to_owned(),
                data: "00 ".repeat(8),
            },
            Told::Verdict {
                closed: true,
                text: long,
            },
        ];
        for line in told.iter().flat_map(render) {
            let plain = anstream::adapter::strip_str(&line).to_string();
            assert!(
                plain.chars().count() <= WIDTH,
                "{} columns: {plain}",
                plain.chars().count()
            );
        }
    }
}
