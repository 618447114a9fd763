//! Phrases of a run: in from the control socket, what came of them back to it.

use std::time::Duration;

use serde_json::Value;
use twotrip_scenario::{Phrase, Problem, parse_phrase};
use twotrip_sim::Event;
use twotrip_units::BusInstant;

use super::{
    Notice, Run,
    snapshot::{EventLine, Snapshot},
};
use crate::{
    control::{ControlRequest, Outcome, Progress, Reply, Wish},
    verdicts::Judged,
};

/// How often a client of the control socket hears how far its phrase has come.
const PROGRESS_TICK: Duration = Duration::from_millis(250);

impl Run {
    /// Takes a wish from the control socket.
    pub(super) fn ask(&mut self, ControlRequest { id, wish }: ControlRequest) {
        let text = &match wish {
            Wish::Phrase(text) => text,
            Wish::Snapshot => {
                let snapshot = serde_json::to_value(Snapshot::of(&self.simulator)).unwrap_or_default();
                return self.control.reply(id, &Reply::Snapshot(Box::new(snapshot)));
            }
        };
        self.last_heard = self.now();
        match parse_phrase(text) {
            // About the tester, of which the car knows nothing.
            Ok(Phrase::Report) => {
                let outcome = self.report();
                self.control.reply(id, &Reply::Outcome(outcome));
            }
            Ok(phrase) => {
                let job = self.simulator.tell(self.now(), phrase, text);
                self.asked.insert(job, id);
            }
            Err(problem) => self.control.reply(id, &Reply::Outcome(refuse(text, &problem))),
        }
    }

    fn report(&mut self) -> Outcome {
        let (summary, judged) = (self.conduct(), self.judged());
        // Words and numbers only: nothing in it that JSON could not say.
        let mut detail = serde_json::to_value(&summary).ok();
        if let Some(Value::Object(detail)) = &mut detail {
            let disturbances = judged.iter().map(Judged::to_json).collect();
            detail.insert("disturbances".to_owned(), Value::Array(disturbances));
        }
        let mut lines = summary.lines();
        lines.extend(judged.iter().map(Judged::line));
        Outcome {
            lines,
            detail,
            ..Outcome::done(summary.headline())
        }
    }

    pub(super) fn tell_events(&mut self, now: BusInstant, notice: &mut impl FnMut(Notice<'_>)) {
        self.put_down();
        while let Some(event) = self.simulator.poll_event() {
            if let Event::Finished { id, outcome, .. } = &event
                && let Some(request) = self.asked.remove(id)
            {
                let reply = Outcome {
                    text: outcome.text.clone(),
                    ok: outcome.ok,
                    lines: outcome
                        .details
                        .iter()
                        .cloned()
                        .chain(self.memory.remark())
                        .collect(),
                    // Words and numbers only: nothing in it that JSON could not say.
                    detail: match (&outcome.why, &outcome.monitors) {
                        (Some(why), _) => serde_json::to_value(why).ok(),
                        (None, Some(monitors)) => serde_json::to_value(monitors).ok(),
                        (None, None) => None,
                    },
                };
                self.control.reply(request, &Reply::Outcome(reply));
            }
            if self.control.is_heard()
                && let Some(line) = EventLine::of(&event)
            {
                self.control.tell_event(&line);
            }
            notice(Notice::Event(&event));
        }
        if now.saturating_since(self.last_progress) < PROGRESS_TICK {
            return;
        }
        self.last_progress = now;
        let Some((job, passed, planned)) = self.simulator.progress() else {
            return;
        };
        if let Some(&request) = self.asked.get(&job) {
            let (passed, planned) = (passed.as_secs_f64(), planned.as_secs_f64());
            let fraction = (planned > 0.0).then(|| (passed / planned).min(1.0));
            let text = format!("{passed:.0} s of {planned:.0} s of the car's time");
            self.control
                .reply(request, &Reply::Progress(Progress { text, fraction }));
        }
    }
}

/// The reply to a phrase that is none, with a caret under what is wrong.
fn refuse(text: &str, problem: &Problem) -> Outcome {
    let start = text
        .get(..problem.span().start)
        .map_or(0, |before| before.chars().count());
    let width = text
        .get(problem.span())
        .map_or(1, |found| found.chars().count().max(1));
    let mut lines = vec![
        text.to_owned(),
        format!("{}{}", " ".repeat(start), "^".repeat(width)),
    ];
    lines.extend(help(problem));
    Outcome {
        lines,
        ..Outcome::refused(problem.to_string())
    }
}

/// What would have been right, as lines.
fn help(problem: &Problem) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(nearest) = problem.nearest() {
        lines.push(format!("did you mean `{nearest}`?"));
    }
    let expected: Vec<String> = problem.expected().iter().map(ToString::to_string).collect();
    if !expected.is_empty() {
        lines.push(format!("expected: {}", expected.join(", ")));
    }
    lines.extend(problem.advice().map(str::to_owned));
    lines
}
