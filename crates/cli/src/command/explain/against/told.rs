//! What differs, for people and for machines.

use std::{path::Path, time::Duration};

use serde::Serialize;
use twotrip_dialogue::{
    Conversation, Reply,
    compare::{Finding, Verdict},
};
use twotrip_obd::{describe_request, describe_response};

use crate::{exit::Failure, output};

/// A conversation in both recordings, with what became of its replies.
pub(super) struct Pair<'a> {
    pub(super) bus: Option<&'a str>,
    pub(super) one: &'a Conversation,
    pub(super) other: &'a Conversation,
    pub(super) findings: &'a [Finding],
    /// Of which findings the latencies are too far apart.
    pub(super) late: &'a [bool],
}

/// What has come of all of them.
#[derive(Clone, Debug, Default, Serialize)]
pub(super) struct Counts {
    /// Conversations that are in both.
    pub(super) both: u64,
    /// Of these, such with other replies or latencies.
    pub(super) different: u64,
    pub(super) only_in_file: u64,
    pub(super) only_in_other: u64,
    /// Replies whose latencies are too far apart.
    pub(super) latencies: u64,
    /// Values that differ, which the comparison lets pass.
    pub(super) tolerated: u64,
    /// Answers to nothing that was asked.
    pub(super) unasked: [u64; 2],
}

#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub(super) enum Line<'a> {
    Conversation {
        verdict: &'a str,
        #[serde(skip_serializing_if = "Option::is_none")]
        bus: Option<&'a str>,
        /// Its first frame in each of the two.
        frames: [Option<u64>; 2],
        times_s: [Option<f64>; 2],
        role: String,
        request: String,
        replies: Vec<ReplyLine>,
    },
    Code {
        ecu: String,
        code: String,
        only_in: &'a str,
    },
    Damage {
        text: String,
    },
    Summary {
        same: bool,
        compare: String,
        latency_ms: f64,
        #[serde(flatten)]
        counts: &'a Counts,
    },
}

#[derive(Serialize)]
pub(super) struct ReplyLine {
    ecu: String,
    verdict: &'static str,
    texts: [Option<String>; 2],
    differences: Vec<String>,
    latencies_ms: [Option<f64>; 2],
    latency_differs: bool,
}

impl Pair<'_> {
    fn replies(&self, finding: &Finding) -> [Option<&Reply>; 2] {
        [
            finding.recorded.and_then(|place| self.one.replies.get(place)),
            finding.found.and_then(|place| self.other.replies.get(place)),
        ]
    }

    pub(super) fn show(&self, names: [&str; 2]) -> Result<(), Failure> {
        headline(self.bus, self.one, Some(self.other), "")?;
        for (finding, late) in self.findings.iter().zip(self.late) {
            let replies = self.replies(finding);
            let said = |place: usize| {
                replies[place].map_or_else(String::new, |reply| describe_response(&reply.bytes))
            };
            let text = match finding.verdict {
                Verdict::Same if !*late => continue,
                Verdict::Same => String::new(),
                Verdict::Different => finding.differences.to_string(),
                Verdict::Missing => format!("only in {}: {}", names[0], said(0)),
                Verdict::Unexpected => format!("only in {}: {}", names[1], said(1)),
            };
            let latency = match replies {
                [Some(one), Some(other)] if *late => {
                    format!("latency {} -> {} ms", millis(one.latency), millis(other.latency))
                }
                _ => String::new(),
            };
            let comma = if text.is_empty() || latency.is_empty() {
                ""
            } else {
                ", "
            };
            columns(
                &format!("{:17}{}  ", "", finding.ecu),
                &format!("{text}{comma}{latency}"),
            )?;
        }
        let more = [self.one.more, self.other.more];
        if more[0] != more[1] {
            columns(
                &format!("{:17}", ""),
                &format!("{} -> {} replies beyond those kept", more[0], more[1]),
            )?;
        }
        Ok(())
    }

    pub(super) fn line(&self) -> Line<'_> {
        let replies = self.findings.iter().zip(self.late).map(|(finding, late)| {
            let replies = self.replies(finding);
            ReplyLine {
                ecu: finding.ecu.to_string(),
                verdict: match finding.verdict {
                    Verdict::Same => "same",
                    Verdict::Different => "different",
                    Verdict::Missing => "only-in-file",
                    Verdict::Unexpected => "only-in-other",
                },
                texts: replies.map(|reply| reply.map(|reply| describe_response(&reply.bytes))),
                differences: finding.differences.counting().map(ToString::to_string).collect(),
                latencies_ms: replies.map(|reply| reply.map(|reply| reply.latency.as_secs_f64() * 1e3)),
                latency_differs: *late,
            }
        });
        let both = [self.one, self.other];
        Line::Conversation {
            verdict: "different",
            bus: self.bus,
            frames: both.map(|conversation| Some(conversation.frames.0)),
            times_s: both.map(|conversation| Some(seconds(conversation))),
            role: self.one.role.to_string(),
            request: describe_request(&self.one.request),
            replies: replies.collect(),
        }
    }
}

/// A conversation that is in one of them.
pub(super) fn alone(bus: Option<&str>, one: &Conversation, name: &str) -> Result<(), Failure> {
    headline(bus, one, None, &format!("only in {name}: "))?;
    one.replies.iter().try_for_each(|reply| {
        columns(
            &format!("{:17}{}  ", "", reply.ecu),
            &describe_response(&reply.bytes),
        )
    })
}

/// The same for machines; `place` is 0 for the first and 1 for the second.
pub(super) fn alone_line<'a>(bus: Option<&'a str>, one: &Conversation, place: usize) -> Line<'a> {
    let mut line = ([None; 2], [None; 2]);
    line.0[place] = Some(one.frames.0);
    line.1[place] = Some(seconds(one));
    let verdict = ["only-in-file", "only-in-other"][place];
    let replies = one.replies.iter().map(|reply| {
        let mut said = ([None, None], [None; 2]);
        said.0[place] = Some(describe_response(&reply.bytes));
        said.1[place] = Some(reply.latency.as_secs_f64() * 1e3);
        ReplyLine {
            ecu: reply.ecu.to_string(),
            verdict,
            texts: said.0,
            differences: Vec::new(),
            latencies_ms: said.1,
            latency_differs: false,
        }
    });
    Line::Conversation {
        verdict,
        bus,
        frames: line.0,
        times_s: line.1,
        role: one.role.to_string(),
        request: describe_request(&one.request),
        replies: replies.collect(),
    }
}

fn headline(
    bus: Option<&str>,
    one: &Conversation,
    other: Option<&Conversation>,
    front: &str,
) -> Result<(), Failure> {
    let bus = bus.map_or_else(String::new, |bus| format!("{}  ", output::escape(bus)));
    let request = describe_request(&one.request);
    let other = other.filter(|other| other.frames.0 != one.frames.0);
    let frames = other.map_or_else(
        || format!("frame {}", one.frames.0),
        |other| format!("frames {} and {}", one.frames.0, other.frames.0),
    );
    columns(
        &format!("{:>13.6}  {bus}", seconds(one)),
        &format!("{front}{} {request} ({frames})", one.role),
    )
}

/// The end of it all.
pub(super) fn summary(
    counts: &Counts,
    names: [&str; 2],
    limit: Duration,
    compare: &str,
) -> Result<(), Failure> {
    let Counts {
        both,
        different,
        only_in_file,
        only_in_other,
        latencies,
        tolerated,
        unasked,
    } = *counts;
    let mut text = format!(
        "{both} requests in both, {different} of them answered differently; {only_in_file} only in {}, \
         {only_in_other} only in {} (--compare {compare}, latencies within {} ms)",
        names[0],
        names[1],
        millis(limit),
    );
    match latencies {
        0 => {}
        1 => text += "; 1 latency is further apart",
        many => text += &format!("; {many} latencies are further apart"),
    }
    if unasked[0] != unasked[1] {
        text += &format!(
            "; {} and {} answers to nothing that was asked",
            unasked[0], unasked[1]
        );
    }
    output::wrap(&text, 0, output::WIDTH)
        .iter()
        .try_for_each(|line| output::line(line))?;
    if tolerated > 0 {
        anstream::eprintln!("{tolerated} values that live differ, which `--compare exact` counts");
    }
    Ok(())
}

/// What a recording is called in texts: its name without folders, unless both have the same.
pub(super) fn names(one: &Path, other: &Path) -> [String; 2] {
    let names = [one, other].map(|path| {
        path.file_name()
            .map(|name| output::escape(&name.to_string_lossy()))
    });
    match names {
        [Some(one), Some(other)] if one != other => [one, other],
        _ => ["FILE", "OTHER"].map(str::to_owned),
    }
}

fn seconds(conversation: &Conversation) -> f64 {
    Duration::from_nanos(conversation.began.as_nanos()).as_secs_f64()
}

fn millis(time: Duration) -> String {
    let tenths = time.as_micros() / 100;
    match tenths % 10 {
        0 => format!("{}", tenths / 10),
        tenth => format!("{}.{tenth}", tenths / 10),
    }
}

pub(super) fn columns(head: &str, text: &str) -> Result<(), Failure> {
    output::beside(head, text)
        .iter()
        .try_for_each(|line| output::line(line))
}
