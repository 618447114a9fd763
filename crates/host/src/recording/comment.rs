//! What happens inside the car, as comments of frames: one line each, for people and machines.
//!
//! `car: bus=12.345678901 car=33060.010000000 pending P0455`: the fixed prefix, the instant in bus time and in the car's
//! time (seconds since the start of the run), then words. A comment belongs to the instant it names, and is attached to
//! the first frame recorded after it. Where none comes for a while a statistics block carries it besides: the same line
//! twice is one event. Of a car with several ECUs a change of a fault memory says whose: `pending P0741 in 7E9`.

use twotrip_ecu::memory::{Effect, Lamp};
use twotrip_scenario::{Disturbance, disturbance::Identifier};
use twotrip_sim::Event;
use twotrip_units::{BusInstant, CarInstant};

use crate::journal::seconds;

/// Words of comments, besides phrases, codes, groups of monitors and numbers.
const WORDS: &str = "key off engine starts stands pace live max driving cycle pending confirmed permanent no longer freeze frame lamp on off misfire \
                     blinking complete cleared disturbance begins ends after acting times in";

/// What every comment of ours begins with.
pub const PREFIX: &str = "car:";

/// The comment of an event, if it has one.
#[must_use]
pub fn of_event(now: BusInstant, event: &Event) -> Option<String> {
    words_of(event).map(|(at, words)| line(now, at, &words))
}

/// When an event was, and what it was in the words of its comment.
pub(crate) fn words_of(event: &Event) -> Option<(CarInstant, String)> {
    Some(match event {
        Event::Began { at, phrase, .. } => (*at, format!("begins `{phrase}`")),
        Event::Finished {
            at, phrase, outcome, ..
        } => {
            let how = if outcome.ok { "done" } else { "not done" };
            (*at, format!("{how} `{phrase}`"))
        }
        Event::Key { at, on } => (*at, if *on { "key on" } else { "key off" }.to_owned()),
        Event::Engine { at, runs } => (
            *at,
            if *runs { "engine starts" } else { "engine stands" }.to_owned(),
        ),
        Event::Disturbance {
            at,
            number,
            disturbance,
            begins: true,
            ..
        } => (*at, disturbance_begins(*number, disturbance)),
        Event::Disturbance {
            at,
            number,
            disturbance,
            begins: false,
            acted,
        } => (
            *at,
            format!("disturbance {number} ends after acting {acted} times `disturb {disturbance}`"),
        ),
        Event::Memory { at, ecu, effect } => {
            let words = of_effect(*effect)?;
            // By the identifier, as frames and `disturb` have it: of names some are a file's.
            let words = ecu.map_or_else(|| words.clone(), |ecu| format!("{words} in {}", ecu.response));
            (*at, words)
        }
    })
}

/// Of a disturbance that is on from now on.
#[must_use]
pub fn disturbance_begins(number: u64, disturbance: &Disturbance) -> String {
    format!("disturbance {number} begins `disturb {disturbance}`")
}

/// The comment that something is so from now on.
#[must_use]
pub fn line(now: BusInstant, at: CarInstant, words: &str) -> String {
    let [bus, car] = [now.as_nanos(), at.as_nanos()].map(seconds);
    format!("{PREFIX} bus={bus} car={car} {words}")
}

/// Whether a comment is one of ours in every word, so that there is nothing in it that somebody has written.
#[must_use]
pub fn is_ours(text: &str) -> bool {
    let seconds = |word: &str, front| {
        word.strip_prefix(front).is_some_and(|number| {
            !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
        })
    };
    let mut fields = text.splitn(4, ' ');
    let front = (fields.next(), fields.next(), fields.next(), fields.next());
    let (Some(PREFIX), Some(bus), Some(car), Some(words)) = front else {
        return false;
    };
    seconds(bus, "bus=") && seconds(car, "car=") && are_ours(words)
}

/// Whether a text is a phrase and nothing else: a remark would be somebody's words.
fn is_phrase(text: &str) -> bool {
    !text.contains(['#', '\n']) && twotrip_scenario::parse_phrase(text).is_ok()
}

fn are_ours(words: &str) -> bool {
    let phrase = words.strip_suffix('`').and_then(|words| words.split_once('`'));
    if let Some((front, phrase)) = phrase {
        return matches!(front, "begins " | "done " | "not done ") && is_phrase(phrase)
            || front.starts_with("disturbance ") && are_plain(front.trim_end()) && is_phrase(phrase);
    }
    are_plain(words)
}

/// Whether there is nothing in it but words of ours, codes, groups of monitors and numbers.
fn are_plain(words: &str) -> bool {
    words.split(' ').all(|word| {
        WORDS.split_whitespace().any(|ours| ours == word)
            || word.parse::<twotrip_obd::Dtc>().is_ok()
            || word.parse::<f64>().is_ok()
            || Identifier::parse(word).is_some()
            || twotrip_obd::Group::ALL
                .iter()
                .any(|group| group.name().split(' ').any(|part| part == word))
    })
}

fn of_effect(effect: Effect) -> Option<String> {
    Some(match effect {
        Effect::DrivingCycleStarted => "driving cycle".to_owned(),
        Effect::PendingStored(dtc) => format!("pending {dtc}"),
        Effect::FreezeFrameStored(dtc) => format!("freeze frame {dtc}"),
        Effect::Confirmed(dtc) => format!("confirmed {dtc}"),
        Effect::PermanentStored(dtc) => format!("permanent {dtc}"),
        Effect::MilOn => "lamp on".to_owned(),
        Effect::MilOff => "lamp off".to_owned(),
        Effect::MisfireLamp(Lamp::Blinking) => "misfire lamp blinking".to_owned(),
        Effect::MisfireLamp(Lamp::On) => "misfire lamp on".to_owned(),
        Effect::MisfireLamp(Lamp::Off) => "misfire lamp off".to_owned(),
        Effect::PendingErased(dtc) => format!("no longer pending {dtc}"),
        Effect::ConfirmedErased(dtc) => format!("no longer confirmed {dtc}"),
        Effect::PermanentErased(dtc) => format!("no longer permanent {dtc}"),
        Effect::GroupCompleted(group) => format!("complete {}", group.name()),
        Effect::Cleared => "cleared".to_owned(),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use twotrip_scenario::Scenario;
    use twotrip_sim::{Settings, Simulator, Timing};

    use super::*;

    /// Comments of a story.
    fn comments(vehicle: &str, phrase: &str) -> Vec<String> {
        let text = format!("version = 1\ntitle = \"A car\"\nvehicle = \"{vehicle}\"\n");
        let scenario = Scenario::parse(text.as_bytes()).expect("a scenario");
        let mut car = Simulator::new(Settings::of(&scenario, 1, Timing::FAST));
        for phrase in ["key on", phrase] {
            car.tell(twotrip_scenario::parse_phrase(phrase).expect("a phrase"));
        }
        while car.is_busy() {
            car.work(std::time::Duration::from_secs(60));
        }
        let events = core::iter::from_fn(|| car.poll_event());
        let comments: Vec<String> = events
            .filter_map(|event| of_event(BusInstant::ZERO, &event))
            .collect();
        for comment in &comments {
            assert!(is_ours(comment), "{comment}");
        }
        comments
    }

    /// A copy to show to others keeps them: there is nothing in them that somebody has written.
    #[test]
    fn of_several_ecus_a_comment_says_which() {
        for (vehicle, phrase, wanted) in [
            ("compact-2.0", "preload pending P0171", " pending P0171"),
            (
                "compact-2.0-transmission",
                "preload pending P0171",
                " pending P0171 in 7E8",
            ),
            (
                "compact-2.0-transmission",
                "preload pending P0741 in transmission",
                " pending P0741 in 7E9",
            ),
            (
                "sedan-v6-29bit",
                "preload pending P0741 in 18DAF118",
                " pending P0741 in 18DAF118",
            ),
        ] {
            let comments = comments(vehicle, phrase);
            assert!(
                comments.iter().any(|comment| comment.ends_with(wanted)),
                "{comments:#?}"
            );
        }
        assert!(!is_ours("car: bus=1.0 car=1.0 pending P0741 in Springfield"));
    }
}
