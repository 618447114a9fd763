//! The simulator: car, endpoint and phrases behind one set of calls. What phrases do is in `phrases`, what outlives
//! the run in `stored`, how frames come in and go out in `line`.

mod line;
mod misbehaving;
mod phrases;
mod stored;

use std::{collections::VecDeque, time::Duration};

use twotrip_can::{CanId, Frame, address::Addressing, timing::BitRate};
use twotrip_ecu::{EcuConfig, memory::Effect, server, transmission::TransmissionConfig};
use twotrip_harness::KeyPosition;
use twotrip_isotp::Profile;
use twotrip_obd::{Dtc, ResponseBuffer};
use twotrip_scenario::{
    Cue, Phrase, Scenario, limits,
    phrase::{CodeList, Event as Cause, Expectation},
    vehicle::ecus::Identifiers,
};
use twotrip_units::{AngularSpeed, BusInstant};
use twotrip_vehicle::{STEP, VehicleParams};

pub use stored::{Mark, Stored};

use crate::{
    Car, Event, Timing,
    broadcast::Broadcasts,
    cabin::Cabin,
    car::REST,
    cues::Cues,
    deeds::Deeds,
    disturb::line::Line,
    endpoint::{EndpointCounts, Request},
    expectation::Watch,
    job::{Job, JobId, Outcome},
    ledger::Ledger,
    nodes::{EcuOnBus, EcuSettings, Nodes, Seat},
};

/// Events that wait for [`Simulator::poll_event`] at the most; older ones give way.
const EVENTS: usize = 4096;
/// Phrases begun in one call of [`Simulator::work`]; each has fewer than a hundred events to tell at once.
const PHRASES_AT_ONCE: usize = 32;
/// Expectations that are watched at the most.
const WATCHES: usize = 2 * limits::EXPECTATIONS;
/// The engine is told to run above this speed, and to stand below that one.
const RUNS: AngularSpeed = AngularSpeed::from_rpm(400.0);
const STANDS: AngularSpeed = AngularSpeed::from_rpm(50.0);
/// What a simulator is made of.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The vehicle.
    pub vehicle: VehicleParams,
    /// Its engine ECU.
    pub ecu: EcuConfig,
    /// Its transmission ECU, where it has one.
    pub transmission: Option<TransmissionConfig>,
    /// Seed of everything random.
    pub seed: u64,
    /// How long answers take.
    pub timing: Timing,
    /// Size of the identifiers of its diagnostics; it ignores the other.
    pub identifiers: Identifiers,
    /// Bit rate of its bus, where that has none of its own.
    pub bit_rate: BitRate,
    /// Its ECUs, up to eight, the engine ECU first; no two with one number or one address.
    pub ecus: Vec<EcuSettings>,
    /// Timeouts of their transport, padding, frame lengths.
    pub transport: Profile,
    /// Whether its control units' periodic messages are on the bus.
    pub broadcasts: bool,
}

impl Settings {
    /// The car of a scenario.
    #[must_use]
    pub fn of(scenario: &Scenario, seed: u64, timing: Timing) -> Self {
        let model = scenario.vehicle();
        // The VIN of a model was checked: with another the car would only have no name of its own.
        let ecu = model
            .ecu(scenario.regulation())
            .unwrap_or_else(|_| EcuConfig::under(scenario.regulation()));
        let bus = model.bus();
        Self {
            vehicle: VehicleParams::new(model.specification()),
            identifiers: bus.identifiers,
            bit_rate: BitRate::from_kbit_per_second(bus.kbit_per_second).unwrap_or_default(),
            ecus: model.ecus().iter().map(EcuSettings::of).collect(),
            ecu: EcuConfig {
                readiness_display: scenario.readiness_display(),
                ..ecu
            },
            transmission: model.transmission(scenario.regulation()),
            seed,
            timing,
            transport: Profile::OBD,
            broadcasts: false,
        }
    }

    /// The compact car with 11-bit identifiers.
    #[must_use]
    pub fn compact(seed: u64, timing: Timing) -> Self {
        Self {
            vehicle: VehicleParams::compact_2_0(),
            ecu: EcuConfig::default(),
            transmission: None,
            seed,
            timing,
            identifiers: Identifiers::Bits11,
            bit_rate: BitRate::Kbit500,
            ecus: vec![EcuSettings::ENGINE],
            transport: Profile::OBD,
            broadcasts: false,
        }
    }

    /// What the car listens to: requests to all its ECUs, and to each.
    #[must_use]
    pub fn hears(&self) -> Vec<CanId> {
        let mut hears = Vec::new();
        for address in self.ecus.iter().map(|ecu| ecu.identifiers(self.identifiers)) {
            for id in [address.functional, address.request] {
                if !hears.contains(&id) {
                    hears.push(id);
                }
            }
        }
        hears
    }
}

/// The car on its bus. See the crate's page for the calls and their order: after every `handle_*`, poll frames
/// until `None`, then events until `None`, then the timeout.
#[derive(Clone, Debug)]
pub struct Simulator {
    car: Car,
    cabin: Cabin,
    nodes: Nodes,
    broadcasts: Option<Box<Broadcasts>>,
    /// Between them and the bus; from the first disturbance on.
    line: Option<Box<Line>>,
    seed: u64,
    /// Of the bus, where it has one.
    rate: BitRate,
    response: ResponseBuffer,
    waiting: VecDeque<(JobId, Phrase)>,
    job: Option<Box<Job>>,
    next_id: u64,
    /// Standing time not yet stepped.
    owed: Duration,
    /// Car time that has passed beyond what was asked for: less than a step.
    ahead: Duration,
    events: VecDeque<Event>,
    /// Expectations that are judged at the end.
    watches: Vec<Watch>,
    /// Whether the memory has changed since they were looked at, and whether the lamp was lit then.
    memory_changed: bool,
    lamp_was_lit: bool,
    deeds: Deeds,
    cues: Cues,
    /// Whether the key was on, and a request had come, when cues were last told.
    key_was_on: bool,
    was_asked: bool,
    /// Whether the engine ran when it was last told.
    engine_ran: bool,
    ledger: Ledger,
    /// Bus time of [`Self::go_live`].
    ready: BusInstant,
    not_physical: bool,
    ecu_was_asleep: bool,
    transmission_was_on_bus: bool,
    /// See [`Self::moments`].
    moments: u64,
}

impl Simulator {
    /// A car parked cold, key off, on a silent bus.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        let nodes = Nodes::new(&settings);
        Self {
            not_physical: nodes.have_listed_codes(),
            nodes,
            car: Car::new(
                settings.vehicle,
                settings.ecu,
                settings.transmission,
                settings.seed,
            ),
            cabin: Cabin::default(),
            broadcasts: settings
                .broadcasts
                .then(|| Box::new(Broadcasts::new(settings.timing.at(settings.bit_rate).spacing))),
            line: None,
            seed: settings.seed,
            rate: settings.bit_rate,
            response: ResponseBuffer::new(),
            waiting: VecDeque::new(),
            job: None,
            next_id: 0,
            owed: Duration::ZERO,
            ahead: Duration::ZERO,
            events: VecDeque::with_capacity(64),
            watches: Vec::new(),
            memory_changed: false,
            lamp_was_lit: false,
            deeds: Deeds::default(),
            cues: Cues::default(),
            key_was_on: false,
            was_asked: false,
            engine_ran: false,
            ledger: Ledger::default(),
            ready: BusInstant::ZERO,
            ecu_was_asleep: true,
            transmission_was_on_bus: false,
            moments: 0,
        }
    }

    /// The car.
    #[must_use]
    pub const fn car(&self) -> &Car {
        &self.car
    }

    /// Whether the key is on.
    #[must_use]
    pub fn key_is_on(&self) -> bool {
        self.cabin.key != KeyPosition::Off
    }

    /// Whether the memory was ever filled, or a value pinned, by something other than the car's physics.
    #[must_use]
    pub const fn not_physical(&self) -> bool {
        self.not_physical
    }

    /// The story is over and the bus comes up: what the tool does counts from now, these cues wait for their events,
    /// and these expectations are watched until [`Self::verdict`].
    pub fn go_live(&mut self, now: BusInstant, cues: &[Cue], verdict: impl IntoIterator<Item = Expectation>) {
        self.ready = now;
        self.deeds = Deeds::default();
        self.cues.arm(cues);
        self.key_was_on = self.cabin.key != KeyPosition::Off;
        self.was_asked = false;
        for expectation in verdict {
            self.watch(expectation);
        }
        self.happened(Cause::Ready);
        self.run_cues();
    }

    /// Tells the cues.
    fn happened(&mut self, event: Cause) {
        self.cues.happened(self.car.now(), event);
    }

    /// Lets the cues act that are due: what takes no time at once, even in the middle of a drive; from the first phrase
    /// that takes time on, the rest waits its turn.
    fn run_cues(&mut self) {
        while let Some(phrases) = self.cues.take_due(self.car.now()) {
            let mut at_once = true;
            for phrase in phrases.iter() {
                at_once &= !phrase.takes_time();
                if at_once {
                    let id = self.new_job();
                    self.act(id, phrase.clone());
                } else {
                    self.tell(phrase.clone());
                }
            }
        }
    }

    /// Watches an expectation from now on; says whether there was room for it.
    fn watch(&mut self, expectation: Expectation) -> bool {
        let room = self.watches.len() < WATCHES;
        if room {
            self.watches.push(Watch::new(&self.car, expectation));
        }
        room
    }

    /// What has become of every expectation that is watched: those of [`Self::go_live`], and those with `always` that
    /// a phrase brought.
    #[must_use]
    pub fn verdict(&self) -> Vec<(Expectation, Outcome)> {
        self.watches
            .iter()
            .map(|watch| (watch.expectation, watch.judge(&self.car, &self.deeds, self.ready)))
            .collect()
    }

    /// Requests taken and dropped by all ECUs together.
    #[must_use]
    pub fn counts(&self) -> EndpointCounts {
        self.nodes.counts()
    }

    /// The ECUs on the bus, in the order in which their answers win arbitration.
    pub fn ecus(&self) -> impl Iterator<Item = EcuOnBus> {
        self.nodes.on_bus(&self.car)
    }

    /// The codes that a tester finds in a list, each with the identifier of the ECU that answers with it.
    #[must_use]
    pub fn codes(&self, list: CodeList) -> Vec<(CanId, Dtc)> {
        self.nodes.codes(&self.car, list)
    }

    // --- Phrases and car time -----------------------------------------------------------------------------

    /// Gives the car a phrase; phrases are carried out one after the other, in [`Self::work`].
    pub fn tell(&mut self, phrase: Phrase) -> JobId {
        let id = self.new_job();
        self.waiting.push_back((id, phrase));
        id
    }

    const fn new_job(&mut self) -> JobId {
        let id = JobId(self.next_id);
        self.next_id += 1;
        id
    }

    /// Whether phrases wait or are being carried out.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        self.job.is_some() || !self.waiting.is_empty()
    }

    /// How far the present phrase has come: number, car time passed, car time planned.
    #[must_use]
    pub fn progress(&self) -> Option<(JobId, Duration, Duration)> {
        self.job.as_ref().map(|job| (job.id, job.passed, job.planned))
    }

    /// Works on the phrases for at most `budget` of car time; says how much of it was used.
    ///
    /// The car moves in whole steps: what goes beyond the budget is taken from the next one. Phrases that take no
    /// time are carried out whatever the budget, but only so many in one call that nothing of what they have to
    /// tell is lost before it is polled.
    pub fn work(&mut self, budget: Duration) -> Duration {
        let paid = self.ahead.min(budget);
        self.ahead -= paid;
        let budget = budget - paid;
        let mut used = Duration::ZERO;
        for _ in 0..PHRASES_AT_ONCE {
            if self.job.is_none() {
                self.begin_next();
            }
            let Some(mut job) = self.job.take() else {
                if self.is_busy() { continue } else { break }
            };
            let mut finished = job.tasks.is_empty();
            while !finished && used < budget {
                let passed = self.work_task(&mut job, budget - used);
                used += passed;
                job.passed += passed;
                finished = job.tasks.is_empty();
            }
            if finished {
                self.finish(&job);
            } else {
                self.job = Some(job);
                break;
            }
        }
        self.ahead += used.saturating_sub(budget);
        paid + used.min(budget)
    }

    /// Car time passes while nothing is being done.
    pub fn stand(&mut self, span: Duration) {
        let paid = self.ahead.min(span);
        self.ahead -= paid;
        self.owed += span - paid;
        loop {
            let quantum = if self.is_resting() { REST } else { STEP };
            if self.owed < quantum {
                return;
            }
            self.owed -= quantum;
            self.pass(quantum);
        }
    }

    fn is_resting(&self) -> bool {
        self.car.is_resting(self.cabin.key)
    }

    /// One step, or one rest.
    fn pass(&mut self, quantum: Duration) {
        if quantum == STEP {
            self.step();
        } else {
            self.rest(quantum);
        }
    }

    /// Time passes over the resting car, or as much of it as passes until something comes of it.
    fn rest(&mut self, span: Duration) -> Duration {
        let passed = self.car.rest(span);
        self.moments += 1;
        self.note_ecu();
        self.look();
        passed
    }

    /// Looks at the car for the expectations that are watched, and for cues.
    fn look(&mut self) {
        // What is claimed of the car changes with the memory and with the lamp, and with nothing else.
        if self.memory_changed || self.lamp_was_lit != self.car.lamp_lit() {
            self.memory_changed = false;
            self.lamp_was_lit = self.car.lamp_lit();
            for watch in &mut self.watches {
                watch.look(&self.car);
            }
        }
        let key_is_on = self.cabin.key != KeyPosition::Off;
        if key_is_on != self.key_was_on {
            self.key_was_on = key_is_on;
            self.note(Event::Key {
                at: self.car.now(),
                on: key_is_on,
            });
            self.happened(if key_is_on { Cause::KeyOn } else { Cause::KeyOff });
        }
        let engine_turns = self.car.vehicle.engine_speed() > if self.engine_ran { STANDS } else { RUNS };
        if engine_turns != self.engine_ran {
            self.engine_ran = engine_turns;
            self.note(Event::Engine {
                at: self.car.now(),
                runs: engine_turns,
            });
        }
        if self.cues.next().is_some_and(|at| at <= self.car.now()) {
            self.run_cues();
        }
    }

    fn step(&mut self) {
        let controls = self
            .cabin
            .controls(self.car.vehicle.road_speed(), self.car.vehicle.engine_speed());
        self.car.step(&controls);
        self.moments += 1;
        self.note_ecu();
        self.look();
    }

    /// Takes over what the ECU noticed in the last step.
    #[inline]
    fn note_ecu(&mut self) {
        while let Some(effect) = self.car.ecu.poll_effect() {
            self.memory_changed = true;
            self.cues.changed(self.car.now(), effect);
            self.note(Event::Memory {
                at: self.car.now(),
                ecu: self.nodes.named(&self.car, |seat| matches!(seat, Seat::Engine)),
                effect,
            });
        }
        if self.car.transmission.is_some() {
            self.note_transmission();
        }
        let asleep = self.car.ecu.asleep();
        if asleep && !self.ecu_was_asleep {
            self.nodes.reset();
        }
        self.ecu_was_asleep = asleep;
    }

    /// Takes over what the transmission ECU noticed: of its codes, and that they were cleared. Lamp and driving cycles are
    /// the engine ECU's to tell.
    #[cold]
    fn note_transmission(&mut self) {
        let on_bus = self.car.transmission_is_on_bus();
        if self.transmission_was_on_bus && !on_bus {
            self.nodes.lose_transmission();
        }
        self.transmission_was_on_bus = on_bus;
        while let Some(effect) = self
            .car
            .transmission
            .as_mut()
            .and_then(|transmission| transmission.poll_effect())
        {
            self.memory_changed = true;
            let of_a_code = matches!(
                effect,
                Effect::PendingStored(_)
                    | Effect::PendingErased(_)
                    | Effect::Confirmed(_)
                    | Effect::ConfirmedErased(_)
                    | Effect::PermanentStored(_)
                    | Effect::PermanentErased(_)
                    | Effect::FreezeFrameStored(_)
                    | Effect::FreezeFrameErased(_)
            );
            if of_a_code {
                self.cues.changed(self.car.now(), effect);
            }
            if of_a_code || effect == Effect::Cleared {
                self.note(Event::Memory {
                    at: self.car.now(),
                    ecu: self
                        .nodes
                        .named(&self.car, |seat| matches!(seat, Seat::Transmission)),
                    effect,
                });
            }
        }
    }

    fn note(&mut self, event: Event) {
        if self.events.len() == EVENTS {
            self.events.pop_front();
        }
        self.events.push_back(event);
    }

    /// Whether there is something to tell.
    #[must_use]
    pub fn has_events(&self) -> bool {
        !self.events.is_empty()
    }

    /// Something to tell.
    #[must_use]
    pub fn poll_event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// Time that a resting car is owed passes before something is done to it, so that the outcome depends on
    /// the instant of the phrase and not on how often anybody looked.
    fn settle_owed(&mut self) {
        while self.is_resting() && !self.owed.is_zero() {
            let passed = self.car.rest(self.owed);
            self.owed -= passed;
            self.moments += 1;
            self.note_ecu();
        }
    }

    // --- The bus ------------------------------------------------------------------------------------------

    /// A frame reaches the car. Deadlines up to `now` run first. A sleeping ECU hears nothing.
    fn hear(&mut self, now: BusInstant, frame: &Frame) {
        self.serve(now);
        if self.car.ecu.asleep() {
            return;
        }
        self.choose_grant(now, frame);
        if self.nodes.handle_frame(now, frame, &self.car) {
            self.answer_due(now);
        }
    }

    /// The car's last frame has left.
    fn transmitted(&mut self, now: BusInstant) {
        match &mut self.broadcasts {
            Some(broadcasts) if broadcasts.has_frame_in_flight() => broadcasts.handle_transmitted(now),
            _ => self.nodes.handle_transmitted(now),
        }
        self.answer_due(now);
    }

    /// A deadline of the car has passed.
    fn serve(&mut self, now: BusInstant) {
        self.nodes.handle_timeout(now);
        if let Some(broadcasts) = &mut self.broadcasts {
            broadcasts.handle_timeout(now, !self.car.ecu.asleep());
        }
        self.answer_due(now);
    }

    /// A frame of the car: one at a time. Of those that are due, broadcasts go first: their identifiers win.
    fn next_frame(&mut self, now: BusInstant) -> Option<Frame> {
        let Some(broadcasts) = &mut self.broadcasts else {
            return self.nodes.poll_frame(now);
        };
        if broadcasts.is_on_the_wire() {
            return None;
        }
        let free = !self.nodes.is_on_the_wire();
        free.then(|| broadcasts.poll_frame(now, &self.car))
            .flatten()
            .or_else(|| self.nodes.poll_frame(now))
    }

    /// Whether the car's last frame has neither left nor been given up (N_As of ISO 15765-2).
    fn is_sending(&self) -> bool {
        let broadcasts = self.broadcasts.as_ref();
        self.nodes.has_frame_in_flight()
            || broadcasts.is_some_and(|broadcasts| broadcasts.has_frame_in_flight())
    }

    /// When to call [`Self::serve`] at the latest.
    fn deadline(&self) -> Option<BusInstant> {
        let awake = !self.car.ecu.asleep();
        let broadcasts = self.broadcasts.as_ref();
        // One wire: while an answer is on it a message waits, and the other way round.
        let free = !self.nodes.is_on_the_wire();
        let due = broadcasts.and_then(|broadcasts| broadcasts.poll_timeout(awake, free));
        earliest(due, self.answer_timeout())
    }

    /// The same without the turns of periodic messages.
    fn answer_deadline(&self) -> Option<BusInstant> {
        let leaves = self
            .broadcasts
            .as_ref()
            .and_then(|broadcasts| broadcasts.leaves());
        earliest(leaves, self.answer_timeout())
    }

    /// The endpoint's deadline, put off while a message is on the wire.
    fn answer_timeout(&self) -> Option<BusInstant> {
        let broadcasts = self.broadcasts.as_ref();
        let until = broadcasts.and_then(|broadcasts| broadcasts.on_the_wire_until());
        let deadline = self.nodes.poll_timeout()?;
        Some(until.map_or(deadline, |until| until.max(deadline)))
    }

    fn answer_due(&mut self, now: BusInstant) {
        while let Some((place, request)) = self.nodes.poll_due(now) {
            self.answer(now, place, &request);
        }
    }

    /// Lets an ECU answer a request.
    fn answer(&mut self, now: BusInstant, place: usize, request: &Request) {
        let answered = match self.unserved(now, place, request.bytes()) {
            Some(answer) => answer,
            None => self
                .nodes
                .answer(place, &mut self.car, request, &mut self.response),
        };
        if answered == server::Answer::PositiveAndClear && !self.nodes.is_engine(place) {
            self.note_clear_beside(place, request.addressing);
        }
        let answered = self.falsify(now, place, request, answered);
        if answered == server::Answer::PositiveAndClear {
            self.moments += 1;
        }
        self.note_ecu();
        if self.nodes.stands_for(place, request.addressing) {
            self.note_deed(now, request.bytes(), answered);
        }
        if answered.is_sent() {
            self.send(now, place, request.bytes());
        }
        self.look();
    }

    /// An ECU beside the engine's was cleared. The memory of one that has a memory tells of it; a clear for all is one
    /// event for cues, the engine ECU's.
    fn note_clear_beside(&mut self, place: usize, addressing: Addressing) {
        let at = self.car.now();
        if self.nodes.is_listed(place) {
            self.note(Event::Memory {
                at,
                ecu: self.nodes.named_at(&self.car, place),
                effect: Effect::Cleared,
            });
        }
        if addressing == Addressing::Physical {
            self.cues.changed(at, Effect::Cleared);
        }
    }

    /// Takes down what the tester did.
    fn note_deed(&mut self, now: BusInstant, request: &[u8], answered: server::Answer) {
        self.deeds.note_asked(request);
        if !self.was_asked {
            self.was_asked = true;
            self.happened(Cause::FirstRequest);
        }
        if let Some(service) = request.first() {
            self.happened(Cause::Service(*service));
        }
        if answered.is_positive() {
            self.deeds.note_answered(now, request);
        }
    }
}

fn earliest(one: Option<BusInstant>, other: Option<BusInstant>) -> Option<BusInstant> {
    [one, other].into_iter().flatten().min()
}
