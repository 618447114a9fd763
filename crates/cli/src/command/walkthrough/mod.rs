//! `twotrip walkthrough`: the read - clear - verify loop in one process, on the in-memory bus, told step by step.

mod caution;
mod questions;
mod tale;

use std::{collections::BTreeSet, path::Path};

use twotrip_can::{memory_bus::Pacing, timing::BitRate};
use twotrip_ecu::memory::Effect;
use twotrip_harness::Wire;
use twotrip_host::{
    in_process::{Exchange, Rig},
    recording::{Header, Writer},
};
use twotrip_obd::{Dtc, Group, Readiness, code_text, describe_request, describe_response};
use twotrip_scenario::{
    Phrase, RepairOrder, Scenario, parse_phrase,
    phrase::{Claim, Point, Source},
};
use twotrip_sim::{EcuName, Event, Outcome, Settings, Simulator, Timing, points};
use twotrip_tester::EcuNumber;
use twotrip_units::CarInstant;

use self::{
    questions::{Code, Questions, codes_in, status_in},
    tale::{TESTER, Teller, Told},
};
use crate::{
    args,
    command::{
        record,
        words::{self, hex},
    },
    exit::Failure,
    output, sources,
};

/// Freeze-frame data that a technician looks at first: load, coolant, speed, road speed, fuel level, purge.
const FREEZE_FRAME_PIDS: &[u8] = &[0x02, 0x04, 0x05, 0x0C, 0x0D, 0x1F];

/// Runs the command.
pub(super) fn run(args: &args::Walkthrough) -> Result<(), Failure> {
    let scenario = sources::scenario_with(&args.scenario, args.vehicle.as_deref())?;
    let seed = args.seed.unwrap_or_else(|| scenario.seed());
    let of_vehicle = Settings::of(&scenario, seed, Timing::REAL_ON_PACED_BUS);
    let settings = Settings {
        identifiers: args.identifiers.map_or(of_vehicle.identifiers, Into::into),
        ..of_vehicle
    };
    let pacing = match args.bit_rate {
        None => Pacing::Rate(settings.bit_rate),
        Some(args::BitRate::Kbit250) => Pacing::Rate(BitRate::Kbit250),
        Some(args::BitRate::Kbit500) => Pacing::Rate(BitRate::Kbit500),
        Some(args::BitRate::None) => Pacing::Instant,
    };
    let recording = args
        .record
        .as_deref()
        .map(|path| {
            let header = record::header(&args.scenario, args.vehicle.as_deref())?;
            writer(path, header.with(&settings), pacing)
        })
        .transpose()?;
    let questions = Questions(settings.ecu.dialect);
    let mut loop_ = Loop {
        rig: Rig::new(Simulator::new(settings), pacing),
        questions,
        recording,
        pacing,
        teller: Teller { json: args.json },
        frozen: frozen(&scenario),
        step: 0,
        trip: 0,
        unmet: false,
    };
    let closed = loop_.walk(&scenario)?;
    let recorded = loop_.rig.finish().map_err(|error| record::failure(&error))?;
    if let (Some(counts), false) = (recorded, args.json) {
        anstream::eprintln!("recorded: {} frames", counts.frames);
    }
    if closed { Ok(()) } else { Err(Failure::NotMet) }
}

/// A recording of the in-memory bus.
fn writer(path: &Path, header: Header, pacing: Pacing) -> Result<Writer, Failure> {
    let header = Header {
        bus_time: true,
        never_late: true,
        ..header
    };
    let bit_rate = match pacing {
        Pacing::Rate(rate) => Some(u64::from(rate.kbit_per_second()) * 1000),
        Pacing::Instant => None,
    };
    record::writer(path, &[header.comment()], "in-process", bit_rate)
}

/// What the tester has read in one go.
#[derive(Debug, Default)]
struct Reading {
    lamp: bool,
    readiness: Readiness,
    confirmed: Vec<Dtc>,
    pending: Vec<Dtc>,
    permanent: Vec<Dtc>,
}

/// Something that the order says the broken car shows.
struct Symptom {
    asked: String,
    shows: bool,
}

struct Loop {
    rig: Rig,
    questions: Questions,
    /// Begins when the car is live.
    recording: Option<Writer>,
    pacing: Pacing,
    teller: Teller,
    /// PIDs of the freeze frame that are asked for.
    frozen: Vec<u8>,
    step: u32,
    trip: u32,
    /// Whether something that the story or a cue expects was not so.
    unmet: bool,
}

impl Loop {
    fn walk(&mut self, scenario: &Scenario) -> Result<bool, Failure> {
        self.complaint(scenario)?;
        let story = scenario.story().iter().map(|phrase| phrase.value.clone());
        self.step(
            "How it came about",
            "The story only changes the car. Whether there is a code is for the ECU to find out, by its sensors \
             and its own monitors, in as many trips as the regulation asks.",
        )?;
        for phrase in story {
            let events = self.rig.live_through(phrase);
            self.tell_events(events)?;
        }
        self.rig.go_live(scenario.cues());
        if let Some(recording) = self.recording.take() {
            self.rig.record(recording);
        }
        if !scenario.expectations().is_empty() {
            let text = "The verdict of this scenario is about a tool of yours on a bus: `twotrip run` judges it, a \
                        walkthrough does not.";
            self.teller.tell(&Told::Remark {
                text: text.to_owned(),
            })?;
        }
        self.step(
            "Read",
            "Codes come first, and all three lists: confirmed codes light the lamp, pending ones are one trip \
             old, permanent ones cannot be cleared away. The freeze frame says when it happened.",
        )?;
        if let Some(ecus) = words::ecus(self.rig.simulator()) {
            let text = format!("On the bus, with the identifiers of requests and answers: {ecus}.");
            self.teller.tell(&Told::Remark { text })?;
        }
        // Who is there, and which car it is: the VIN takes three frames and a flow control.
        self.ask(&self.questions.who_is_there())?;
        self.ask(&self.questions.vin())?;
        let first = self.read_everything()?;
        self.say_codes(scenario, &first)?;
        let Some(order) = scenario.repair_order() else {
            return self.verdict(
                true,
                "Read. This scenario has no repair order: there is nothing to repair.",
            );
        };
        if order.correction().is_empty() {
            return self.verdict(
                true,
                "Read. The repair order of this scenario names nothing to correct.",
            );
        }
        let symptoms = self.look_for(order)?;
        let none = first.confirmed.is_empty() && first.pending.is_empty();
        if none && symptoms.is_empty() {
            return self.verdict(
                true,
                "Read: no code is stored, so there is no loop to show. If something is broken, the monitors have \
                 not found it yet: `why not CODE` in the story says what is missing.",
            );
        }
        self.step(
            "Find the cause",
            if none {
                "No code says where to look: no monitor sees this. The complaint does, and a gauge where it leads to."
            } else {
                "A code names a finding of the ECU, not a part. Whoever replaces parts by code replaces the wrong ones."
            },
        )?;
        for caution in caution::all(order.correction()) {
            self.teller.tell(&Told::Remark {
                text: format!("Mind: {caution}"),
            })?;
        }
        for phrase in looks_at(order.correction()) {
            self.tell(phrase)?;
        }
        self.step(
            "Correct",
            if none {
                "The repair changes the car; the memory had nothing to say of it."
            } else {
                "The repair changes the car, not the memory: every code is still there."
            },
        )?;
        for phrase in order.correction() {
            self.tell(phrase.clone())?;
        }
        let cleared = if none { Reading::default() } else { self.clear()? };
        if none {
            self.step(
                "Drive until it would have shown",
                "Standing in the workshop proves nothing: what the customer felt came on the road.",
            )?;
        } else {
            self.step(
                "Drive until the monitor has run",
                "An empty memory right after a clear proves nothing. The monitor that found the fault has to run \
                 again, under its own conditions.",
            )?;
        }
        for phrase in order.proof() {
            self.tell(phrase)?;
        }
        self.step(
            "Read again",
            "The same questions as before the repair. Now the answers mean something.",
        )?;
        let last = self.read_everything()?;
        let left = self.look_for(order)?;
        self.close(&first, &cleared, &last, &symptoms, &left)
    }

    /// Clears, and reads what that leaves.
    fn clear(&mut self) -> Result<Reading, Failure> {
        let mut why =
            "With the key on and the engine off. Clearing also wipes the freeze frame and the readiness of \
                       every monitor: from here on the car has to prove itself."
                .to_owned();
        if self.has_permanent_codes() {
            why += " The permanent code stays.";
        }
        self.step("Clear", &why)?;
        self.ask(&self.questions.clear())?;
        self.read_everything()
    }

    /// What the order says that the broken car shows: each with whether it does so now.
    fn look_for(&mut self, order: &RepairOrder) -> Result<Vec<Symptom>, Failure> {
        let mut symptoms = Vec::new();
        for phrase in order.symptom() {
            let text = phrase.to_string();
            let asked = text.strip_prefix("expect ").unwrap_or(&text).to_owned();
            for event in self.rig.tell(phrase.clone()) {
                let Event::Finished { outcome, .. } = event else {
                    continue;
                };
                let (answer, sign) = if outcome.ok { ("yes", "") } else { ("no", "not ") };
                let prefix = format!("{sign}as expected: ");
                let found = outcome.text.strip_prefix(&prefix).unwrap_or(&outcome.text);
                self.teller.tell(&Told::Remark {
                    text: format!("symptom: {asked}: {answer}, {found}"),
                })?;
                symptoms.push(Symptom {
                    asked: asked.clone(),
                    shows: outcome.ok,
                });
            }
        }
        Ok(symptoms)
    }

    /// What the codes mean.
    fn say_codes(&self, scenario: &Scenario, reading: &Reading) -> Result<(), Failure> {
        let all = reading
            .confirmed
            .iter()
            .chain(&reading.pending)
            .collect::<BTreeSet<_>>();
        for dtc in all {
            let own = scenario.vehicle().meaning(*dtc);
            let meaning = match (code_text(*dtc), own) {
                (Some(meaning), _) => meaning.to_owned(),
                (None, Some(Some(own))) => format!("{} (the maker's own code)", output::escape(own)),
                (None, Some(None)) => "(the maker's own code, without a public definition)".to_owned(),
                (None, None) => "(meaning not known here)".to_owned(),
            };
            self.teller.tell(&Told::Remark {
                text: format!("{dtc} means: {meaning}"),
            })?;
        }
        Ok(())
    }

    fn complaint(&mut self, scenario: &Scenario) -> Result<(), Failure> {
        self.step(
            "The complaint",
            &format!("Scenario: {}", output::escape(scenario.title())),
        )?;
        let text = scenario
            .repair_order()
            .map_or("(no complaint: this car is fine)", |order| order.complaint());
        self.teller.tell(&Told::Remark {
            text: output::escape(text),
        })
    }

    fn step(&mut self, title: &str, why: &str) -> Result<(), Failure> {
        self.step += 1;
        self.teller.tell(&Told::Step {
            number: self.step,
            title: title.to_owned(),
            why: why.to_owned(),
        })
    }

    /// Gives the car a phrase and tells what came of it, in the order in which it happened.
    fn tell(&mut self, phrase: Phrase) -> Result<(), Failure> {
        let events = self.rig.tell(phrase);
        self.tell_events(events)
    }

    fn tell_events(&mut self, events: Vec<Event>) -> Result<(), Failure> {
        let begun = events.iter().any(|event| matches!(event, Event::Memory { .. }));
        for event in events {
            match event {
                Event::Began { phrase, .. } if begun => {
                    self.teller.tell(&Told::Doing {
                        phrase: phrase.to_string(),
                    })?;
                }
                Event::Began { .. }
                | Event::Key { .. }
                | Event::Engine { .. }
                | Event::Disturbance { .. } => {}
                // What a story expects of itself would only give away what is about to be read.
                Event::Finished {
                    phrase: Phrase::Expect(_),
                    outcome,
                    ..
                } if outcome.ok => {}
                Event::Finished { phrase, outcome, .. } => self.tell_outcome(&phrase, begun, outcome)?,
                Event::Memory { at, ecu, effect } => self.tell_effect(at, ecu, effect)?,
            }
        }
        Ok(())
    }

    fn tell_outcome(&mut self, phrase: &Phrase, begun: bool, outcome: Outcome) -> Result<(), Failure> {
        self.unmet |= matches!(phrase, Phrase::Expect(_)) && !outcome.ok;
        self.teller.tell(&Told::Phrase {
            phrase: phrase.to_string(),
            begun,
            ok: outcome.ok,
            outcome: outcome.text,
            details: outcome.details,
        })
    }

    fn tell_effect(&mut self, at: CarInstant, ecu: Option<EcuName>, effect: Effect) -> Result<(), Failure> {
        let Some((mut text, mood)) = words::effect(effect) else {
            return Ok(());
        };
        if effect == Effect::DrivingCycleStarted {
            self.trip += 1;
            text = format!("driving cycle {} begins", self.trip);
        }
        self.teller.tell(&Told::Memory {
            car_time_s: at.as_secs_f64(),
            text,
            ecu: ecu.map(|ecu| ecu.acronym().to_owned()),
            mood,
        })
    }

    /// One question to all ECUs, told frame by frame with its meaning.
    fn ask(&mut self, request: &[u8]) -> Result<Exchange, Failure> {
        let exchange = self.rig.ask(request).map_err(words::system)?;
        self.teller.tell(&Told::Meaning {
            from: TESTER.to_owned(),
            payload: hex(request),
            text: describe_request(request),
        })?;
        for seen in &exchange.frames {
            self.teller.tell(&Told::Frame {
                bus_time_s: seen.at.as_secs_f64(),
                from: if seen.from_car {
                    self.speaker(self.rig.number(seen.frame.id()))
                } else {
                    TESTER.to_owned()
                },
                id: seen.frame.id().to_string(),
                data: hex(seen.frame.data()),
            })?;
        }
        for answer in &exchange.answers {
            self.teller.tell(&Told::Meaning {
                from: self.speaker(answer.ecu),
                payload: hex(&answer.payload),
                text: describe_response(&answer.payload),
            })?;
        }
        for event in &exchange.events {
            match event {
                Event::Memory { at, ecu, effect } => self.tell_effect(*at, *ecu, *effect)?,
                // A cue's.
                Event::Finished { phrase, outcome, .. } => {
                    self.tell_outcome(phrase, false, outcome.clone())?;
                }
                Event::Began { .. }
                | Event::Key { .. }
                | Event::Engine { .. }
                | Event::Disturbance { .. } => {}
            }
        }
        if exchange.answers.is_empty() {
            self.teller.tell(&Told::Remark {
                text: "(no answer)".to_owned(),
            })?;
        }
        Ok(exchange)
    }

    /// Who of the car speaks: by name where there are several.
    fn speaker(&self, number: EcuNumber) -> String {
        let several = self.rig.simulator().ecus().count() > 1;
        let ecu = self.rig.ecu(number).filter(|_| several);
        ecu.map_or_else(|| "car".to_owned(), |ecu| output::escape(ecu.acronym()))
    }

    /// The number of the ECU that commands the lamp and has the monitors.
    fn engine(&self) -> EcuNumber {
        let engine = self.rig.simulator().ecus().find(|ecu| ecu.is_engine);
        engine.map_or(EcuNumber::ENGINE, |ecu| self.rig.number(ecu.address.response))
    }

    fn read_everything(&mut self) -> Result<Reading, Failure> {
        let mut reading = Reading::default();
        let questions = self.questions;
        let status = self.ask(&questions.status())?;
        if let Some((lamp, readiness)) = status.answer_of(self.engine()).and_then(status_in) {
            (reading.lamp, reading.readiness) = (lamp, readiness);
        }
        let confirmed = codes(&self.ask(&questions.confirmed())?);
        let pending = codes(&self.ask(&questions.pending())?);
        let bare = |codes: &[Code]| codes.iter().map(|&(code, _)| code).collect();
        (reading.confirmed, reading.pending) = (bare(&confirmed), bare(&pending));
        if self.has_permanent_codes() {
            reading.permanent = bare(&codes(&self.ask(&questions.permanent())?));
            // Several ECUs answer in any order.
            reading.permanent.sort_unstable();
        }
        let stored = [confirmed, pending].concat();
        if !stored.is_empty() {
            for request in questions.freeze_frame(&self.frozen, &stored) {
                self.ask(&request)?;
            }
        }
        Ok(reading)
    }

    /// Whether the regulation that the car follows knows permanent codes.
    fn has_permanent_codes(&self) -> bool {
        let ecu = self.rig.simulator().car().ecu();
        ecu.memory().profile().permanent_codes
    }

    /// What the loop was for: says what is proven and what is not.
    fn close(
        &mut self,
        first: &Reading,
        cleared: &Reading,
        last: &Reading,
        before: &[Symptom],
        after: &[Symptom],
    ) -> Result<bool, Failure> {
        let found = names(&first.confirmed);
        let ready = Group::ALL.iter().all(|&group| last.readiness.is_complete(group));
        let permanent = self.has_permanent_codes();
        let codes = !first.confirmed.is_empty() || !first.pending.is_empty();
        let of_codes = (
            format!("before: lamp commanded for {found}"),
            first.lamp && !first.confirmed.is_empty(),
        );
        let of_symptoms = before.iter().zip(after).flat_map(|(before, after)| {
            [
                (format!("before: {}", before.asked), before.shows),
                (
                    format!("after the drive no longer: {}", after.asked),
                    !after.shows,
                ),
            ]
        });
        let of_clear = (
            "the clear emptied the stored and pending lists".to_owned(),
            cleared.confirmed.is_empty(),
        );
        let proofs = [
            (
                "after the drive nothing is stored".to_owned(),
                last.confirmed.is_empty() && !last.lamp,
            ),
            (
                "after the drive nothing is pending".to_owned(),
                last.pending.is_empty(),
            ),
            ("the monitors have run: every group is complete".to_owned(), ready),
        ];
        let of_permanent = [
            (
                "the clear left the permanent code alone".to_owned(),
                cleared.permanent == first.permanent,
            ),
            (
                "the ECU has erased the permanent code by itself".to_owned(),
                last.permanent.is_empty(),
            ),
        ];
        let proofs = [of_codes, of_clear]
            .into_iter()
            .filter(|_| codes)
            .chain(of_symptoms)
            .chain(proofs)
            .chain(of_permanent.into_iter().filter(|_| permanent && codes));
        self.step(
            "What is proven",
            "Each line is something a customer, or an inspector, can rely on.",
        )?;
        let mut closed = true;
        for (text, met) in proofs {
            closed &= met;
            self.teller.tell(&Told::Proof { text, met })?;
        }
        let text = if closed {
            "The loop is closed: read, repaired, cleared, driven, and read again. The repair is proven."
        } else {
            "The loop is not closed: see the lines marked NO above."
        };
        self.verdict(closed, text)
    }

    fn verdict(&self, closed: bool, text: &str) -> Result<bool, Failure> {
        self.teller.tell(&Told::Verdict {
            closed,
            text: text.to_owned(),
        })?;
        if self.unmet {
            let text = "Something that this scenario expects was not so: see `not as expected` above.";
            self.teller.tell(&Told::Remark {
                text: text.to_owned(),
            })?;
        }
        if self.rig.simulator().not_physical() {
            let text = "Not physical: this scenario filled the memory, or pinned values, by hand.";
            self.teller.tell(&Told::Remark {
                text: text.to_owned(),
            })?;
        }
        self.say_load()?;
        self.teller.tell(&Told::Remark {
            text: CAUTION.to_owned(),
        })?;
        Ok(closed && !self.unmet)
    }

    /// How much of the bus all that took.
    fn say_load(&self) -> Result<(), Failure> {
        let (Pacing::Rate(rate), (Some(load), busy)) = (self.pacing, self.rig.load()) else {
            return Ok(());
        };
        self.teller.tell(&Told::BusLoad {
            kbit_per_s: rate.kbit_per_second(),
            frames: load.frames(),
            bits: load.bits(),
            wire_time_s: load.wire_time().as_secs_f64(),
            load_percent: load.over(busy).percent(),
            peak_percent: load.peak().percent(),
        })
    }
}

/// What is asked of the freeze frame: what a technician looks at first, and what the scenario has something to say of.
fn frozen(scenario: &Scenario) -> Vec<u8> {
    let mut pids = FREEZE_FRAME_PIDS.to_vec();
    for phrase in scenario.story().iter().chain(scenario.expectations()) {
        let Phrase::Expect(expectation) = &phrase.value else {
            continue;
        };
        if let Claim::Reported {
            from: Source::FreezeFrame,
            value,
            ..
        } = expectation.claim
            && !pids.contains(&value.pid())
        {
            pids.push(value.pid());
        }
    }
    pids
}

const CAUTION: &str = "On a real car: draw off the exhaust, keep away from fuel vapour and from whatever turns. A clear \
                       mends nothing. Repairs and roadworthiness are for trained people and your local rules.";

/// At which speed an alternator is measured, and how long before: a good one has its say by then.
const REVVED: &str = "drive rev 2000 rpm for 20 s";
/// How long an engine idles before its vacuum is read.
const SETTLED: &str = "drive idle 20 s";

/// Looking at, and measuring, what the correction is going to touch: first what is done on a standing engine, then ohms
/// that want the key off, then what only a running engine shows.
fn looks_at(correction: &[Phrase]) -> Vec<Phrase> {
    const DATA_BUS: Phrase = Phrase::Measure(Point::Wire(Wire::DataBus));
    const ALTERNATOR: Phrase = Phrase::Measure(Point::Alternator);
    const VACUUM: Phrase = Phrase::Measure(Point::ManifoldVacuum);
    let look = |phrase: &Phrase| match phrase {
        // What is wrong inside a sensor only the meter shows.
        Phrase::Work(_, part) => {
            let meter = points(*part).iter().copied().map(Phrase::Measure);
            core::iter::once(Phrase::Inspect(*part)).chain(meter).collect()
        }
        Phrase::MendWire(wire) => vec![Phrase::Measure(Point::Wire(*wire))],
        _ => vec![],
    };
    let looks = correction.iter().flat_map(look);
    let (running, mut looks): (Vec<_>, Vec<_>) =
        looks.partition(|phrase| [ALTERNATOR, VACUUM].contains(phrase));
    if looks.contains(&DATA_BUS) {
        looks.extend([Phrase::KeyOff, DATA_BUS, Phrase::KeyOn]);
    }
    if !running.is_empty() {
        let charges = running.contains(&ALTERNATOR);
        // Either starts the engine.
        looks.extend(parse_phrase(if charges { REVVED } else { SETTLED }).ok());
        looks.extend(running);
        looks.extend(charges.then_some(Phrase::Measure(Point::Battery)));
        looks.push(Phrase::Stop);
    }
    looks
}

/// The codes of all ECUs in the order of their numbers: who answers first differs from question to question.
fn codes(exchange: &Exchange) -> Vec<Code> {
    let mut answers: Vec<_> = exchange.answers.iter().collect();
    answers.sort_by_key(|answer| answer.ecu);
    let lists = answers.into_iter();
    lists.flat_map(|answer| codes_in(&answer.payload)).collect()
}

fn names(codes: &[Dtc]) -> String {
    codes.iter().map(Dtc::to_string).collect::<Vec<_>>().join(" ")
}
