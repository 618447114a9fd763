//! The simulator: car, endpoint and phrases behind one set of calls.

use std::{collections::VecDeque, time::Duration};

use twotrip_can::{
    Frame,
    address::{Addressing, EcuAddress},
};
use twotrip_ecu::{EcuConfig, server};
use twotrip_harness::KeyPosition;
use twotrip_obd::ResponseBuffer;
use twotrip_scenario::{Phrase, phrase::Preload};
use twotrip_units::{BusInstant, Speed};
use twotrip_vehicle::{STEP, VehicleParams};

use crate::{
    Car, Event, Outcome, Timing,
    cabin::Cabin,
    car::REST,
    clock,
    endpoint::{self, Endpoint, EndpointCounts},
    expectation,
    job::{self, Job, JobId, Task},
    workshop,
};

/// Events that wait for [`Simulator::poll_event`] at the most; older ones give way.
const EVENTS: usize = 4096;
/// Purpose of the dice that draw reply delays (a stream of its own).
const REPLY_DICE: u64 = 0x7265_706C;
/// The engine counts as running above this speed, for phrases.
const RUNNING_RPM: f64 = 400.0;

/// What a simulator is made of.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The vehicle.
    pub vehicle: VehicleParams,
    /// Its engine ECU.
    pub ecu: EcuConfig,
    /// Seed of everything random.
    pub seed: u64,
    /// How long answers take.
    pub timing: Timing,
    /// Identifiers of the ECU.
    pub address: EcuAddress,
}

impl Settings {
    /// The compact car with 11-bit identifiers.
    #[must_use]
    pub fn compact(seed: u64, timing: Timing) -> Self {
        Self {
            vehicle: VehicleParams::compact_2_0(),
            ecu: EcuConfig::default(),
            seed,
            timing,
            address: EcuAddress::ENGINE,
        }
    }
}

/// The car on its bus. See the crate's page for the calls and their order: after every `handle_*`, poll frames
/// until `None`, then events until `None`, then the timeout.
#[derive(Clone, Debug)]
pub struct Simulator {
    car: Car,
    cabin: Cabin,
    endpoint: Endpoint,
    response: ResponseBuffer,
    waiting: VecDeque<(JobId, Phrase)>,
    job: Option<Box<Job>>,
    next_id: u64,
    /// Standing time not yet stepped.
    owed: Duration,
    events: VecDeque<Event>,
    not_physical: bool,
    ecu_was_asleep: bool,
}

impl Simulator {
    /// A car parked cold, key off, on a silent bus.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        let dice = endpoint::dice(settings.seed, REPLY_DICE);
        Self {
            car: Car::new(settings.vehicle, settings.ecu, settings.seed),
            cabin: Cabin::default(),
            endpoint: Endpoint::new(settings.address, settings.timing, dice),
            response: ResponseBuffer::new(),
            waiting: VecDeque::new(),
            job: None,
            next_id: 0,
            owed: Duration::ZERO,
            events: VecDeque::with_capacity(64),
            not_physical: false,
            ecu_was_asleep: true,
        }
    }

    /// The car.
    #[must_use]
    pub const fn car(&self) -> &Car {
        &self.car
    }

    /// Whether the memory was ever filled, or a value pinned, by something other than the car's physics.
    #[must_use]
    pub const fn not_physical(&self) -> bool {
        self.not_physical
    }

    /// Requests taken and dropped.
    #[must_use]
    pub const fn counts(&self) -> EndpointCounts {
        self.endpoint.counts()
    }

    // --- Phrases and car time -----------------------------------------------------------------------------

    /// Gives the car a phrase; phrases are carried out one after the other, in [`Self::work`].
    pub fn tell(&mut self, phrase: Phrase) -> JobId {
        let id = JobId(self.next_id);
        self.next_id += 1;
        self.waiting.push_back((id, phrase));
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
    /// Phrases that take no time are carried out whatever the budget.
    pub fn work(&mut self, budget: Duration) -> Duration {
        let mut used = Duration::ZERO;
        while self.is_busy() {
            if self.job.is_none() {
                self.begin_next();
            }
            let Some(mut job) = self.job.take() else { continue };
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
        used
    }

    /// Car time passes while nothing is being done.
    pub fn stand(&mut self, span: Duration) {
        self.owed += span;
        loop {
            let quantum = if self.is_resting() { REST } else { STEP };
            if self.owed < quantum {
                return;
            }
            self.owed -= quantum;
            self.pass(quantum);
        }
    }

    fn is_resting(&mut self) -> bool {
        let controls = self.cabin.controls(Speed::ZERO);
        self.car.is_resting(&controls)
    }

    /// One step, or one rest.
    fn pass(&mut self, quantum: Duration) {
        if quantum == STEP {
            self.step();
        } else {
            self.car.rest(quantum);
        }
    }

    fn step(&mut self) {
        let controls = self.cabin.controls(self.car.vehicle.road_speed());
        self.car.step(&controls);
        self.note_ecu();
    }

    /// Takes over what the ECU noticed in the last step.
    fn note_ecu(&mut self) {
        while let Some(effect) = self.car.ecu.poll_effect() {
            self.note(Event::Memory {
                at: self.car.now(),
                effect,
            });
        }
        let asleep = self.car.ecu.asleep();
        if asleep && !self.ecu_was_asleep {
            self.endpoint.reset();
        }
        self.ecu_was_asleep = asleep;
    }

    fn note(&mut self, event: Event) {
        if self.events.len() == EVENTS {
            self.events.pop_front();
        }
        self.events.push_back(event);
    }

    /// Something to tell.
    #[must_use]
    pub fn poll_event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    fn key_is_off(&self) -> bool {
        self.cabin.key == KeyPosition::Off
    }

    fn engine_runs(&self) -> bool {
        self.car.vehicle.engine_speed().rpm() > RUNNING_RPM
    }

    /// Time that a resting car is owed passes before something is done to it, so that the outcome depends on
    /// the instant of the phrase and not on how often anybody looked.
    fn settle_owed(&mut self) {
        let owed = core::mem::take(&mut self.owed);
        if self.is_resting() {
            if !owed.is_zero() {
                self.car.rest(owed);
            }
        } else {
            self.owed = owed;
        }
    }

    fn begin_next(&mut self) {
        let Some((id, phrase)) = self.waiting.pop_front() else {
            return;
        };
        self.settle_owed();
        self.note(Event::Began {
            id,
            phrase: phrase.clone(),
            at: self.car.now(),
        });
        let tasks = match self.tasks_of(&phrase) {
            Ok(tasks) => tasks,
            Err(outcome) => {
                self.note(Event::Finished {
                    id,
                    phrase,
                    at: self.car.now(),
                    outcome,
                });
                return;
            }
        };
        let planned = tasks.iter().map(Task::planned).sum();
        let odometer_metres = self.car.vehicle.distance().metres();
        self.job = Some(Box::new(Job {
            id,
            phrase,
            tasks,
            planned,
            passed: Duration::ZERO,
            odometer_metres,
        }));
    }

    /// Does what a phrase does at once, and says what will take time; `Err` is the outcome of a phrase that is over.
    fn tasks_of(&mut self, phrase: &Phrase) -> Result<VecDeque<Task>, Outcome> {
        let settle = |span| {
            VecDeque::from([Task::Settle {
                steps: crate::steps(span),
            }])
        };
        match phrase {
            Phrase::KeyOn => {
                if self.cabin.key == KeyPosition::On {
                    return Err(Outcome::done("the key is on already"));
                }
                self.cabin.key = KeyPosition::On;
                Ok(settle(job::KEY_ON))
            }
            Phrase::KeyOff => {
                if self.key_is_off() {
                    return Err(Outcome::done("the key is off already"));
                }
                self.turn_off();
                Ok(VecDeque::from([job::fall_asleep()]))
            }
            Phrase::Start if self.engine_runs() => Err(Outcome::done("the engine runs already")),
            Phrase::Start => Ok(job::start(self.key_is_off())),
            Phrase::Stop if !self.engine_runs() => Err(Outcome::done("the engine stands already")),
            Phrase::Stop => {
                self.turn_off();
                let off = crate::steps(Duration::from_secs(2));
                let on = crate::steps(job::KEY_ON);
                Ok(VecDeque::from([
                    Task::Settle { steps: off },
                    Task::KeyOn,
                    Task::Settle { steps: on },
                ]))
            }
            Phrase::Drive(plan) => Ok(job::drive(
                &workshop::plan(plan),
                self.key_is_off(),
                self.engine_runs(),
            )),
            Phrase::Soak(span) => {
                self.turn_off();
                Ok(VecDeque::from([job::fall_asleep(), Task::Rest { left: *span }]))
            }
            Phrase::Wait(span) if self.is_resting() => Ok(VecDeque::from([Task::Rest { left: *span }])),
            Phrase::Wait(span) => Ok(settle(*span)),
            at_once => Err(self.at_once(at_once)),
        }
    }

    /// Carries out a phrase that takes no time.
    fn at_once(&mut self, phrase: &Phrase) -> Outcome {
        match phrase {
            Phrase::Ambient(temperature) => {
                self.car.vehicle.set_ambient(*temperature);
                Outcome::done(format!(
                    "the air around the car has {:.1} C",
                    temperature.celsius()
                ))
            }
            Phrase::Altitude(height) => {
                self.car.vehicle.set_altitude(*height);
                Outcome::done(format!("the car is {:.0} m above the sea", height.metres()))
            }
            Phrase::Refuel(_) if self.engine_runs() => {
                Outcome::refused("the engine runs: nobody refuels a running car")
                    .with_detail("first: key off")
            }
            Phrase::Refuel(level) => workshop::refuel(&mut self.car, *level),
            Phrase::Defect(defect) => workshop::break_part(&mut self.car, defect),
            Phrase::BreakWire(circuit, fault) => workshop::break_wire(&mut self.car, *circuit, *fault),
            Phrase::Work(work, part) => workshop::work(&mut self.car, *work, *part),
            Phrase::MendWire(circuit) => workshop::mend_wire(&mut self.car, *circuit),
            Phrase::Measure(circuit) => workshop::measure(&self.car, *circuit),
            Phrase::Inspect(part) => workshop::inspect(&self.car, *part),
            Phrase::Preload(list, codes) => {
                self.not_physical = true;
                let stored = match list {
                    Preload::Confirmed => self.car.ecu.preload_confirmed(codes),
                    Preload::Pending => self.car.ecu.preload_pending(codes),
                };
                self.note_ecu();
                match stored {
                    Ok(()) => workshop::say_preload(*list, codes),
                    Err(error) => Outcome::refused(error.to_string()),
                }
            }
            Phrase::Override(quantity, value) => {
                self.not_physical = true;
                self.car.ecu.overrides_mut().set(*quantity, *value);
                Outcome::done(format!(
                    "{} is reported as {value} {} (not physical)",
                    quantity.name(),
                    quantity.unit()
                ))
            }
            Phrase::Release(quantity) => {
                self.car.ecu.overrides_mut().release(*quantity);
                Outcome::done(format!("{} is reported as measured", quantity.name()))
            }
            Phrase::Expect(expectation) => expectation::judge(&self.car, expectation),
            _ => Outcome::done("nothing to do"),
        }
    }

    fn turn_off(&mut self) {
        self.cabin.key = KeyPosition::Off;
        self.cabin.driving = None;
        self.cabin.in_drive = false;
    }

    /// Lets a task pass for at most `left`; takes it off the list when it is done. Says what time passed.
    fn work_task(&mut self, job: &mut Job, left: Duration) -> Duration {
        let Some(task) = job.tasks.front_mut() else {
            return Duration::ZERO;
        };
        let mut allowance = crate::steps(left);
        let mut passed = Duration::ZERO;
        let done = match task {
            Task::KeyOn => {
                self.cabin.key = KeyPosition::On;
                true
            }
            Task::Settle { steps } => {
                let count = allowance.min(*steps);
                for _ in 0..count {
                    self.step();
                }
                *steps -= count;
                passed = STEP * u32::try_from(count).unwrap_or(u32::MAX);
                *steps == 0
            }
            Task::Crank { patience } => {
                self.cabin.key = KeyPosition::Start;
                while allowance > 0 && *patience > 0 && !self.engine_runs() {
                    self.step();
                    allowance -= 1;
                    *patience -= 1;
                    passed += STEP;
                }
                let over = self.engine_runs() || *patience == 0;
                if over {
                    self.cabin.key = KeyPosition::On;
                }
                over
            }
            Task::Drive { driver, .. } => {
                let mut current = self.cabin.driving.take().unwrap_or_else(|| (**driver).clone());
                while allowance > 0 && !current.finished() {
                    let controls = current.controls(self.car.vehicle.road_speed());
                    self.car.step(&twotrip_vehicle::DriverControls {
                        key: self.cabin.key,
                        ..controls
                    });
                    self.note_ecu();
                    allowance -= 1;
                    passed += STEP;
                }
                let finished = current.finished();
                self.cabin.in_drive = true;
                self.cabin.driving = (!finished).then_some(current);
                finished
            }
            Task::FallAsleep { patience } => {
                while allowance > 0 && *patience > 0 && !self.is_resting() {
                    self.step();
                    allowance -= 1;
                    *patience -= 1;
                    passed += STEP;
                }
                *patience == 0 || self.is_resting()
            }
            Task::Rest { left: rest } => {
                let slice = (*rest).min(left.max(STEP));
                self.car.rest(slice);
                *rest -= slice;
                passed = slice;
                rest.is_zero()
            }
        };
        if done {
            job.tasks.pop_front();
        }
        passed
    }

    fn finish(&mut self, job: &Job) {
        let vehicle = &self.car.vehicle;
        let spent = clock::say(job.passed);
        let outcome = match &job.phrase {
            Phrase::KeyOn => Outcome::done(if self.engine_runs() {
                "the engine runs"
            } else {
                "key on, engine off"
            }),
            Phrase::KeyOff => Outcome::done("key off, the ECU sleeps"),
            Phrase::Start if self.engine_runs() => Outcome::done(format!(
                "the engine runs at {:.0} rpm",
                vehicle.engine_speed().rpm()
            )),
            Phrase::Start => Outcome::refused("the engine did not start"),
            Phrase::Stop => Outcome::done("the engine stands, the key is on"),
            Phrase::Drive(_) if !self.engine_runs() => {
                Outcome::refused("the engine did not start or died on the way")
            }
            Phrase::Drive(_) => {
                let metres = vehicle.distance().metres() - job.odometer_metres;
                Outcome::done(format!("drove {:.2} km in {spent}, now idling", metres / 1000.0))
            }
            Phrase::Soak(_) => {
                let coolant = vehicle.coolant_temperature().celsius();
                Outcome::done(format!("parked for {spent}, the coolant has {coolant:.0} C"))
            }
            _ => Outcome::done(format!("{spent} passed")),
        };
        self.note(Event::Finished {
            id: job.id,
            phrase: job.phrase.clone(),
            at: self.car.now(),
            outcome,
        });
    }

    // --- The bus ------------------------------------------------------------------------------------------

    /// A frame came in. Deadlines up to `now` run first. A sleeping ECU hears nothing.
    pub fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        self.handle_timeout(now);
        if self.car.ecu.asleep() {
            return;
        }
        if self.endpoint.handle_frame(now, frame) {
            self.answer_due(now);
        }
    }

    /// The bus took our last frame.
    pub fn handle_transmitted(&mut self, now: BusInstant) {
        self.endpoint.handle_transmitted(now);
        self.answer_due(now);
    }

    /// A deadline has passed; an extra call is harmless.
    pub fn handle_timeout(&mut self, now: BusInstant) {
        self.endpoint.handle_timeout(now);
        self.answer_due(now);
    }

    /// A frame to put on the bus.
    #[must_use]
    pub fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        self.endpoint.poll_frame(now)
    }

    /// When to call [`Self::handle_timeout`] at the latest, in bus time.
    #[must_use]
    pub fn poll_timeout(&self) -> Option<BusInstant> {
        self.endpoint.poll_timeout()
    }

    fn answer_due(&mut self, now: BusInstant) {
        while let Some(request) = self.endpoint.poll_due(now) {
            let addressing = match request.addressing {
                Addressing::Functional => server::Addressing::Functional,
                Addressing::Physical => server::Addressing::Physical,
            };
            let at = self.car.now();
            let answered = self
                .car
                .ecu
                .answer(at, addressing, request.bytes(), &mut self.response);
            self.note_ecu();
            if answered.is_sent() {
                self.endpoint.reply(now, self.response.as_slice());
            }
        }
    }
}
