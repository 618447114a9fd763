//! What is said at the end.

use std::time::Duration;

use twotrip_host::{
    replay::car::Car,
    run::{Ending, Traffic},
};
use twotrip_obd::describe_request;

use super::tell::{Line, Teller};
use crate::{
    command::{
        run::frames,
        words::{counted, hex},
    },
    exit::Failure,
    output,
};

/// Questions of a kind that are listed at the end; all of them with `--json`.
const LISTED: usize = 20;

impl Teller {
    /// Sums up.
    pub(super) fn end(mut self, car: &Car, ending: Option<Ending>) -> Result<(), Failure> {
        let reason = ending.map_or("broken off", Ending::name);
        let lasted = self.begun.elapsed();
        let stand_in = car.stand_in();
        let never: Vec<_> = stand_in
            .answers()
            .questions()
            .filter(|question| stand_in.asked(question.id) == 0)
            .collect();
        if self.json {
            // What is said at the end is worth waiting for.
            let unshown = self.lines.finish()?;
            for unknown in stand_in.unknown() {
                output::json(&Line::Unknown {
                    role: unknown.role.to_string(),
                    request: hex(&unknown.request),
                    text: describe_request(&unknown.request),
                    count: unknown.count,
                    first_s: unknown.first.as_secs_f64(),
                })?;
            }
            for question in &never {
                output::json(&Line::NeverAsked {
                    role: question.role.to_string(),
                    request: hex(question.request),
                    text: describe_request(question.request),
                    recorded_times: question.times,
                })?;
            }
            return output::json(&summary(car, reason, lasted, never.len(), unshown));
        }
        let unknown: Vec<(String, String)> = stand_in
            .unknown()
            .iter()
            .map(|unknown| {
                let what = describe_request(&unknown.request);
                let first = unknown.first.as_secs_f64();
                let count = unknown.count;
                let text = format!(
                    "{}: {what}; {count} x, first at {first:.3} s",
                    hex(&unknown.request)
                );
                (unknown.role.to_string(), text)
            })
            .collect();
        let unlisted = stand_in.counts().unknown_unlisted;
        self.list("not in the recording, met by silence:", &unknown, unlisted);
        let never: Vec<(String, String)> = never
            .iter()
            .map(|question| {
                let what = describe_request(question.request);
                (
                    question.role.to_string(),
                    format!("{}: {what}", hex(question.request)),
                )
            })
            .collect();
        let questions = stand_in.answers().questions().count();
        let title = format!("never asked, {} of {questions} questions:", never.len());
        self.list(&title, &never, 0);
        let unshown = self.lines.finish()?;
        sum_up(car, reason, lasted, unshown)
    }

    fn list(&mut self, title: &str, entries: &[(String, String)], more: u64) {
        if entries.is_empty() {
            return;
        }
        self.lines.say(title.to_owned());
        for (who, text) in entries.iter().take(LISTED) {
            self.columns(&format!("  {who:<18} "), text);
        }
        let more = more + entries.len().saturating_sub(LISTED) as u64;
        if more > 0 {
            self.lines.say(format!("  and {more} more"));
        }
    }
}

fn summary(
    car: &Car,
    reason: &'static str,
    lasted: Duration,
    never_asked: usize,
    unshown: u64,
) -> Line<'static> {
    let (stand_in, traffic) = (car.stand_in(), car.traffic());
    let counts = stand_in.counts();
    Line::End {
        reason,
        seconds: lasted.as_secs_f64(),
        requests: counts.requests,
        answered: counts.answered,
        silent: counts.silent,
        exhausted: counts.exhausted,
        unknown: counts.unknown,
        unknown_not_listed: counts.unknown_unlisted,
        never_asked,
        questions: stand_in.answers().questions().count(),
        replies_dropped: counts.dropped,
        replies_late: counts.late,
        replies_broken_off: counts.broken_off,
        requests_incomplete: counts.incomplete,
        short_frames: counts.short_frames,
        ignored_frames: counts.ignored,
        lost_frames: traffic.lost,
        lines_not_shown: unshown,
        broadcasts_sent: car.broadcasts().0,
        broadcasts_missed: car.broadcasts().1,
        bus: traffic.into(),
    }
}

/// In words, on standard error as `run` does.
fn sum_up(car: &Car, reason: &str, lasted: Duration, unshown: u64) -> Result<(), Failure> {
    let counts = car.stand_in().counts();
    let traffic: Traffic = car.traffic();
    let rare = [
        (counts.silent, "met by silence as then"),
        (counts.exhausted, "asked more often than then and met by silence"),
        (counts.unknown, "not in the recording and met by silence"),
    ];
    let questions = match counts.requests {
        0 => "no question".to_owned(),
        count => counted(count, "question", "questions"),
    };
    let mut text = format!(
        "{reason} after {:.1} s: {questions}, {} answered",
        lasted.as_secs_f64(),
        counts.answered
    );
    for (count, what) in rare {
        if count > 0 {
            text += &format!(", {count} {what}");
        }
    }
    anstream::eprintln!("{text}");
    let rare = [
        (
            counts.dropped,
            "reply was dropped because its ECU was in the middle of a long one",
            "replies were dropped because their ECU was in the middle of a long one",
        ),
        (
            counts.late,
            "reply was left out because it would have come more than 50 ms later than then",
            "replies were left out because they would have come more than 50 ms later than then",
        ),
        (
            counts.broken_off,
            "reply was given up by the transport",
            "replies were given up by the transport",
        ),
        (
            counts.incomplete,
            "question of several frames did not come whole",
            "questions of several frames did not come whole",
        ),
        (
            counts.short_frames,
            "frame of fewer than 8 bytes was not taken (ISO 15765-4); `--dlc lenient` takes it",
            "frames of fewer than 8 bytes were not taken (ISO 15765-4); `--dlc lenient` takes them",
        ),
        (
            counts.ignored,
            "other frame had no effect",
            "other frames had no effect",
        ),
        (
            unshown,
            "line is not shown because nobody read it in time",
            "lines are not shown because nobody read them in time",
        ),
    ];
    for (count, one, several) in rare {
        if count > 0 {
            anstream::eprintln!("{}", counted(count, one, several));
        }
    }
    let (unasked, missed) = car.broadcasts();
    let mut unasked = match unasked {
        0 => String::new(),
        sent => format!("; {sent} sent that nobody asked for"),
    };
    if missed > 0 {
        unasked += &format!(", {missed} left out because this computer was late");
    }
    anstream::eprintln!("frames: {}{unasked}", frames(&traffic));
    Ok(())
}
