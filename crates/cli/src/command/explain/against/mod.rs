//! `twotrip explain FILE --against OTHER`: conversation by conversation, what differs.
//!
//! Requests are brought together by who is asked what, in the order of the recordings; one that was inserted or left out is
//! told, and the rest goes on beside each other ([`Align`]). Differences read from FILE to OTHER.

mod side;
mod told;

use std::{collections::BTreeSet, path::Path, time::Duration};

use twotrip_dialogue::{
    Conversation, Ecu, Role,
    align::{Align, Side, Step},
    compare::{Comparison, Verdict, compare_replies},
};
use twotrip_obd::{Response, Service};

use self::{
    side::{Held, Recording},
    told::{Counts, Line, Pair},
};
use crate::{args, exit::Failure, output};

/// What is the same in two conversations that belong together.
type Key = (usize, Role, Vec<u8>);
/// An ECU's code, and the service that reads such codes.
type Code = (Ecu, u8, String);

struct Comparer<'a> {
    names: [&'a str; 2],
    comparison: Comparison,
    latency: Duration,
    json: bool,
    counts: Counts,
    codes: [BTreeSet<Code>; 2],
}

/// Runs it.
pub(super) fn run(path: &Path, other: &Path, args: &args::Explain) -> Result<(), Failure> {
    let names = told::names(path, other);
    let mut comparer = Comparer {
        names: [&names[0], &names[1]],
        comparison: args.compare.unwrap_or(Comparison::Exact),
        latency: args.latency.unwrap_or(args::LATENCY),
        json: args.json,
        counts: Counts::default(),
        codes: Default::default(),
    };
    let held = output::Held::new();
    let mut one = Recording::open(path, args.selection.selection())?;
    let mut other = Recording::open(other, args.selection.selection())?;
    let mut align: Align<Key, Held> = Align::default();
    loop {
        match align.step() {
            Step::Needs(Side::Left) => align.push(Side::Left, one.next()?.map(keyed)),
            Step::Needs(Side::Right) => align.push(Side::Right, other.next()?.map(keyed)),
            Step::Both(left, right) => {
                comparer.both(one.bus(left.bus), &left.conversation, &right.conversation)?;
            }
            Step::Only(Side::Left, held) => comparer.alone(0, one.bus(held.bus), &held.conversation)?,
            Step::Only(Side::Right, held) => comparer.alone(1, other.bus(held.bus), &held.conversation)?,
            Step::End => break,
        }
    }
    comparer.counts.unasked = [one.unasked(), other.unasked()];
    held.release()?;
    comparer.end([&one, &other])
}

fn keyed(held: Held) -> (Key, Held) {
    let conversation = &held.conversation;
    ((held.bus, conversation.role, conversation.request.clone()), held)
}

impl Comparer<'_> {
    fn both(&mut self, bus: Option<&str>, one: &Conversation, other: &Conversation) -> Result<(), Failure> {
        self.learn(0, one);
        self.learn(1, other);
        let findings = compare_replies(&one.replies, &other.replies, self.comparison);
        let late: Vec<bool> = findings
            .iter()
            .map(|finding| {
                let latency =
                    |place: Option<usize>, side: &Conversation| Some(side.replies.get(place?)?.latency);
                let both = latency(finding.recorded, one).zip(latency(finding.found, other));
                both.is_some_and(|(one, other)| one.abs_diff(other) > self.latency)
            })
            .collect();
        self.counts.both += 1;
        for finding in &findings {
            self.counts.tolerated += finding.differences.tolerated().count() as u64;
        }
        self.counts.latencies += late.iter().filter(|late| **late).count() as u64;
        let differs = findings.iter().any(|finding| finding.verdict != Verdict::Same)
            || late.contains(&true)
            || one.more != other.more;
        if !differs {
            return Ok(());
        }
        self.counts.different += 1;
        let pair = Pair {
            bus,
            one,
            other,
            findings: &findings,
            late: &late,
        };
        if self.json {
            output::json(&pair.line())
        } else {
            pair.show(self.names)
        }
    }

    fn alone(&mut self, place: usize, bus: Option<&str>, one: &Conversation) -> Result<(), Failure> {
        self.learn(place, one);
        let count = match place {
            0 => &mut self.counts.only_in_file,
            _ => &mut self.counts.only_in_other,
        };
        *count += 1;
        if self.json {
            output::json(&told::alone_line(bus, one, place))
        } else {
            told::alone(bus, one, self.names[place])
        }
    }

    /// Remembers which codes were told.
    fn learn(&mut self, place: usize, conversation: &Conversation) {
        for reply in &conversation.replies {
            if let Ok(Response::Codes(service, codes)) = Response::parse(&reply.bytes) {
                let service = service.to_byte();
                let codes = codes.iter().map(|code| (reply.ecu, service, code.to_string()));
                self.codes[place].extend(codes);
            }
        }
    }

    fn end(&self, recordings: [&Recording; 2]) -> Result<(), Failure> {
        for (place, name) in self.names.into_iter().enumerate() {
            for (ecu, service, code) in self.codes[place].difference(&self.codes[1 - place]) {
                let kind = Service::from_byte(*service).kind_of_codes();
                if self.json {
                    output::json(&Line::Code {
                        ecu: ecu.to_string(),
                        code: format!("{kind} {code}"),
                        only_in: ["file", "other"][place],
                    })?;
                } else {
                    output::line(&format!("{ecu} told {kind} code {code} in {name} only"))?;
                }
            }
        }
        for damage in recordings.into_iter().filter_map(|side| side.damage.as_ref()) {
            if self.json {
                let text = damage.to_string();
                output::json(&Line::Damage { text })?;
            } else {
                anstream::eprintln!("{}; compared up to there", output::escape(&damage.to_string()));
            }
        }
        let counts = &self.counts;
        let same = counts.different + counts.only_in_file + counts.only_in_other == 0
            && counts.unasked[0] == counts.unasked[1];
        let compare = self.comparison.to_string();
        if self.json {
            output::json(&Line::Summary {
                same,
                compare,
                latency_ms: self.latency.as_secs_f64() * 1e3,
                counts,
            })?;
        } else {
            told::summary(counts, self.names, self.latency, &compare)?;
        }
        if same { Ok(()) } else { Err(Failure::NotMet) }
    }
}
