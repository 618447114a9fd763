//! How a conversation held again is shown: a line for each reply, or an object for each conversation.

use std::time::Duration;

use serde::Serialize;
use twotrip_dialogue::{
    Conversation, Reply, Role,
    compare::{Change, Comparison, Difference, Finding, Verdict},
};
use twotrip_obd::{describe_request, describe_response};

use crate::{
    command::words::{counted, hex},
    exit::Failure,
    output,
};

/// A conversation as recorded and as held again.
#[derive(Debug)]
pub(super) struct Held<'a> {
    /// Since the replay began.
    pub(super) at: Duration,
    pub(super) pass: u64,
    /// Where it was asked now, if there are several.
    pub(super) bus: Option<&'a str>,
    pub(super) recorded: &'a Conversation,
    pub(super) found: &'a [Reply],
    pub(super) findings: &'a [Finding],
    /// Why a reply is missing, as far as transport tells.
    pub(super) trouble: &'a [String],
}

/// What has come of all of them.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub(super) struct Counts {
    pub(super) requests: u64,
    pub(super) same: u64,
    pub(super) different: u64,
    pub(super) missing: u64,
    pub(super) unexpected: u64,
    /// Requests that nobody answered, then and now.
    pub(super) silent: u64,
    /// Values that differ, which the comparison lets pass.
    pub(super) tolerated: u64,
    /// Replies that are not whole in the recording, and so not compared.
    pub(super) incomplete: u64,
}

/// What of the recording is not asked.
#[derive(Clone, Copy, Debug, Serialize)]
pub(super) struct LeftOut {
    /// Frames of the recorded tester that are no whole request.
    pub(super) unread: u64,
    /// Requests at the end that nobody had time to answer.
    pub(super) cut_off: u64,
}

impl Counts {
    pub(super) fn add(&mut self, recorded: &Conversation, findings: &[Finding]) {
        self.requests += 1;
        self.silent += u64::from(findings.is_empty() && recorded.broken.is_empty());
        for finding in findings {
            *match finding.verdict {
                Verdict::Same => &mut self.same,
                Verdict::Different => &mut self.different,
                Verdict::Missing => &mut self.missing,
                Verdict::Unexpected => &mut self.unexpected,
            } += 1;
            let tolerated = finding.differences.tolerated().count();
            self.tolerated += u64::try_from(tolerated).unwrap_or(u64::MAX);
        }
    }

    pub(super) const fn is_as_recorded(&self) -> bool {
        self.different + self.missing + self.unexpected == 0
    }
}

#[derive(Serialize)]
struct Object<'a> {
    kind: &'static str,
    pass: u64,
    time_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    bus: Option<&'a str>,
    /// Of the request in the recording.
    frame: u64,
    role: String,
    request: String,
    text: String,
    verdict: &'static str,
    replies: Vec<ReplyObject>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    trouble: &'a [String],
}

#[derive(Serialize)]
struct ReplyObject {
    ecu: String,
    verdict: &'static str,
    recorded: Option<SaidObject>,
    found: Option<SaidObject>,
    differences: Vec<DifferenceObject>,
    /// Differences that the comparison lets pass.
    tolerated: Vec<DifferenceObject>,
}

#[derive(Serialize)]
struct SaidObject {
    bytes: String,
    text: String,
    latency_ms: f64,
    waits: u32,
}

#[derive(Serialize)]
struct DifferenceObject {
    subject: String,
    change: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    recorded: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    found: Option<String>,
    text: String,
}

#[derive(Serialize)]
struct Summary {
    kind: &'static str,
    compare: String,
    as_recorded: bool,
    #[serde(flatten)]
    counts: Counts,
    #[serde(flatten)]
    left_out: LeftOut,
}

impl From<&Difference> for DifferenceObject {
    fn from(difference: &Difference) -> Self {
        let (change, recorded, found) = match &difference.change {
            Change::Gone => ("gone", None, None),
            Change::Appeared => ("appeared", None, None),
            Change::Value { recorded, found } => ("value", Some(recorded.clone()), Some(found.clone())),
        };
        Self {
            subject: difference.subject.clone(),
            change,
            recorded,
            found,
            text: difference.to_string(),
        }
    }
}

impl From<&Reply> for SaidObject {
    fn from(reply: &Reply) -> Self {
        Self {
            bytes: hex(&reply.bytes),
            text: describe_response(&reply.bytes),
            latency_ms: reply.latency.as_secs_f64() * 1e3,
            waits: reply.waits,
        }
    }
}

impl Held<'_> {
    /// The worst of the replies.
    fn verdict(&self) -> &'static str {
        let verdicts = self.findings.iter().map(|finding| finding.verdict);
        match verdicts.max() {
            None if !self.recorded.broken.is_empty() => "incomplete",
            worst => worst.unwrap_or(Verdict::Same).word(),
        }
    }

    pub(super) fn show(&self, json: bool) -> Result<(), Failure> {
        if json {
            return output::json(&self.object());
        }
        for ecu in self.recorded.broken.iter().filter(|_| self.findings.is_empty()) {
            self.line(
                "incomplete",
                &ecu.to_string(),
                ": the recorded reply is not whole",
            )?;
        }
        if self.findings.is_empty() && self.recorded.broken.is_empty() {
            let ecu = match self.recorded.role {
                Role::Ask(ecu) => ecu.to_string(),
                Role::AskAll { .. } | Role::Answer(_) => "-".to_owned(),
            };
            self.line("same", &ecu, ": no reply, as recorded")?;
        }
        for finding in self.findings {
            let reply = |place: Option<usize>, replies: &[Reply]| {
                let reply = place.and_then(|place| replies.get(place));
                reply.map_or_else(String::new, |reply| describe_response(&reply.bytes))
            };
            let text = match finding.verdict {
                Verdict::Same => String::new(),
                Verdict::Different => format!(": {}", finding.differences),
                Verdict::Missing => {
                    let trouble = self.trouble.iter().map(|trouble| format!("; {trouble}"));
                    let recorded = reply(finding.recorded, &self.recorded.replies);
                    format!(": no reply, recorded: {recorded}{}", trouble.collect::<String>())
                }
                Verdict::Unexpected => format!(": {}", reply(finding.found, self.found)),
            };
            self.line(finding.verdict.word(), &finding.ecu.to_string(), &text)?;
        }
        Ok(())
    }

    /// When, what, who in columns; then what was asked and what of it.
    fn line(&self, verdict: &str, ecu: &str, text: &str) -> Result<(), Failure> {
        let head = format!("{:>7.3} s  {verdict:<10}  {ecu:<3}  ", self.at.as_secs_f64());
        let bus = self.bus.map_or_else(String::new, |bus| format!("on {bus} "));
        let all = match self.recorded.role {
            Role::AskAll { .. } => "to all: ",
            Role::Ask(_) | Role::Answer(_) => "",
        };
        let text = format!("{bus}{all}{}{text}", describe_request(&self.recorded.request));
        output::beside(&head, &text)
            .iter()
            .try_for_each(|line| output::line(line))
    }

    fn object(&self) -> Object<'_> {
        let said = |place: Option<usize>, replies: &[Reply]| {
            place.and_then(|place| replies.get(place)).map(SaidObject::from)
        };
        let replies = self.findings.iter().map(|finding| ReplyObject {
            ecu: finding.ecu.to_string(),
            verdict: finding.verdict.word(),
            recorded: said(finding.recorded, &self.recorded.replies),
            found: said(finding.found, self.found),
            differences: finding.differences.counting().map(Into::into).collect(),
            tolerated: finding.differences.tolerated().map(Into::into).collect(),
        });
        Object {
            kind: "conversation",
            pass: self.pass,
            time_s: self.at.as_secs_f64(),
            bus: self.bus,
            frame: self.recorded.frames.0,
            role: self.recorded.role.to_string(),
            request: hex(&self.recorded.request),
            text: describe_request(&self.recorded.request),
            verdict: self.verdict(),
            replies: replies.collect(),
            trouble: self.trouble,
        }
    }
}

/// The end of it all.
pub(super) fn summary(
    counts: Counts,
    comparison: Comparison,
    left_out: LeftOut,
    json: bool,
) -> Result<(), Failure> {
    if json {
        return output::json(&Summary {
            kind: "summary",
            compare: comparison.to_string(),
            as_recorded: counts.is_as_recorded(),
            counts,
            left_out,
        });
    }
    let Counts {
        requests,
        same,
        different,
        missing,
        unexpected,
        silent,
        tolerated,
        incomplete,
    } = counts;
    let LeftOut { unread, cut_off } = left_out;
    let mut text = format!(
        "{}: {same} same, {different} different, {missing} missing, {unexpected} unexpected (--compare {comparison})",
        counted(requests, "request", "requests")
    );
    if silent > 0 {
        text.push_str(&format!(
            "; {} without a reply, as recorded",
            counted(silent, "request", "requests")
        ));
    }
    output::wrap(&text, 0, output::WIDTH)
        .iter()
        .try_for_each(|line| output::line(line))?;
    let asides = [
        (
            if comparison == Comparison::Shape {
                tolerated
            } else {
                0
            },
            "difference was let pass, which `--compare tolerance=5%` or `exact` may count",
            "differences were let pass, which `--compare tolerance=5%` or `exact` may count",
        ),
        (
            incomplete,
            "reply came of which the recording has no whole one: not compared",
            "replies came of which the recording has no whole one: not compared",
        ),
        (
            cut_off,
            "request at the end of the recording had no time to be answered: not asked",
            "requests at the end of the recording had no time to be answered: not asked",
        ),
        (
            unread,
            "frame of the recorded tester is no whole request: not asked",
            "frames of the recorded tester are no whole request: not asked",
        ),
    ];
    for (count, one, several) in asides {
        if count > 0 {
            anstream::eprintln!("{}", counted(count, one, several));
        }
    }
    Ok(())
}
