//! Carrying out phrases: what each does at once, the tasks it is cut into, and what came of it.

use std::{collections::VecDeque, time::Duration};

use twotrip_harness::KeyPosition;
use twotrip_obd::Dtc;
use twotrip_scenario::{
    Phrase,
    phrase::{Claim, EcuRef, Event as Cause, Expectation, Preload, When},
};
use twotrip_units::Speed;
use twotrip_vehicle::{Driver, STEP};

use crate::{
    Event, Outcome, Seat, Simulator,
    car::REST,
    clock, expectation,
    job::{self, Job, JobId, Task},
    meter, monitors, why, workshop,
};

/// The car counts as standing below this speed, for phrases.
const STANDING: Speed = Speed::from_metres_per_second(0.05);
/// The engine counts as running above this speed, for phrases.
const RUNNING_RPM: f64 = 400.0;

impl Simulator {
    fn key_is_off(&self) -> bool {
        self.cabin.key == KeyPosition::Off
    }

    /// Whether the engine runs.
    #[must_use]
    pub fn engine_runs(&self) -> bool {
        self.car.vehicle.engine_speed().rpm() > RUNNING_RPM
    }

    /// Whether it has not died, however low it has fallen for the moment.
    fn engine_lives(&self) -> bool {
        let falls_low = self.car.vehicle.engine_speed().rpm() > RUNNING_RPM / 2.0;
        self.engine_runs() || falls_low && self.car.ecu.control().is_running()
    }

    pub(super) fn begin_next(&mut self) {
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
                self.finished(id, phrase, outcome);
                self.look();
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
            arrived: false,
        }));
    }

    /// Carries out a phrase that takes no time, in the middle of whatever is being done.
    pub(super) fn act(&mut self, id: JobId, phrase: Phrase) {
        self.note(Event::Began {
            id,
            phrase: phrase.clone(),
            at: self.car.now(),
        });
        let outcome = self.done_at_once(&phrase);
        self.finished(id, phrase, outcome);
    }

    fn finished(&mut self, id: JobId, phrase: Phrase, outcome: Outcome) {
        self.note(Event::Finished {
            id,
            phrase,
            at: self.car.now(),
            outcome,
        });
    }

    fn done_at_once(&mut self, phrase: &Phrase) -> Outcome {
        let outcome = self.at_once(phrase);
        self.moments += 1;
        self.ledger.note(&self.car, phrase);
        outcome
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
                self.car.vehicle(),
                &plan.for_driver(),
                self.key_is_off(),
                self.engine_runs(),
                plan.ends_with_key_off(),
            )),
            Phrase::Soak(span) => {
                self.turn_off();
                Ok(VecDeque::from([job::fall_asleep(), Task::Rest { left: *span }]))
            }
            Phrase::Wait(span) if self.is_resting() => Ok(VecDeque::from([Task::Rest { left: *span }])),
            Phrase::Wait(span) => Ok(settle(*span)),
            Phrase::Expect(Expectation {
                claim,
                when: When::Within(time),
            }) if !expectation::is_of_the_tool(claim) => Ok(VecDeque::from([Task::Await {
                claim: *claim,
                patience: crate::steps(*time),
                planned: *time,
            }])),
            at_once => Err(self.done_at_once(at_once)),
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
            Phrase::Rain(rains) => workshop::weather(&mut self.car, *rains),
            Phrase::Wash => workshop::wash(&mut self.car),
            Phrase::Altitude(height) => {
                self.car.vehicle.set_altitude(*height);
                Outcome::done(format!("the car is {:.0} m above the sea", height.metres()))
            }
            Phrase::Road(surface) => {
                self.car.vehicle.set_surface(*surface);
                Outcome::done(format!("the road is {} from here on", surface.name()))
            }
            Phrase::Refuel(_) | Phrase::Drain(_) if self.engine_runs() => {
                Outcome::refused("the engine runs: nobody refuels a running car")
                    .with_detail("first: key off")
            }
            Phrase::Refuel(fill) => workshop::refuel(&mut self.car, *fill),
            Phrase::Drain(level) => workshop::drain(&mut self.car, *level),
            Phrase::Volatility(reid) => {
                self.car.vehicle.set_fuel_volatility(*reid);
                Outcome::done(format!(
                    "the fuel in the tank has a Reid vapour pressure of {:.0} kPa",
                    reid.kilopascals()
                ))
            }
            Phrase::Defect(defect) => workshop::break_part(&mut self.car, defect),
            Phrase::BreakWire(wire, fault, when) => workshop::break_wire(&mut self.car, *wire, *fault, *when),
            Phrase::Switch(load, on) => workshop::switch(&mut self.car, *load, *on),
            Phrase::Work(work, part) => workshop::work(&mut self.car, *work, *part),
            Phrase::MendWire(wire) => workshop::mend_wire(&mut self.car, *wire),
            Phrase::Measure(point) => meter::measure(&self.car, *point),
            Phrase::MeasureWhile(point, provocation) => meter::measure_while(&self.car, *point, *provocation),
            Phrase::Compare(comparison) => meter::compare(&self.car, *comparison),
            Phrase::Swap(one, other) => workshop::swap(&mut self.car, *one, *other),
            Phrase::Inspect(part) => workshop::inspect(&self.car, *part),
            Phrase::Preload(list, codes, ecu) => self.preload(*list, codes, *ecu),
            Phrase::Override(quantity, value) => {
                self.not_physical = true;
                self.car.ecu.overrides_mut().set(*quantity, *value);
                Outcome::done(format!(
                    "{} is reported as {} (not physical)",
                    quantity.name(),
                    clock::amount(*value, quantity.unit())
                ))
            }
            Phrase::Why(code) => why::why(&self.car, &self.ledger, *code),
            Phrase::WhyNot(code) => why::why_not(&self.car, &self.ledger, *code),
            Phrase::Monitors => monitors::tell(&self.car),
            Phrase::Report => Outcome::refused(
                "what a tester did is told by a running car: `twotrip tell \"report\"`, or `run --report FILE`",
            ),
            Phrase::Hold(signal, value) => workshop::hold(&mut self.car, *signal, *value),
            Phrase::Release(quantity) => workshop::release(&mut self.car, *quantity),
            Phrase::Disturb(what) => self.disturb(*what),
            Phrase::DisturbOff(kind) => self.disturb_off(*kind),
            Phrase::Expect(expectation) => self.expect(*expectation),
            _ => Outcome::done("nothing to do"),
        }
    }

    /// Puts codes into the memory of an ECU.
    fn preload(&mut self, list: Preload, codes: &[Dtc], ecu: EcuRef) -> Outcome {
        let now = self.car.now();
        let confirmed = list == Preload::Confirmed;
        let stored = match (self.nodes.seat(ecu), &mut self.car.transmission) {
            (Some(Seat::Engine), _) if confirmed => self.car.ecu.preload_confirmed(now, codes),
            (Some(Seat::Engine), _) => self.car.ecu.preload_pending(now, codes),
            (Some(Seat::Transmission), Some(transmission)) if confirmed => {
                transmission.preload_confirmed(now, codes)
            }
            (Some(Seat::Transmission), Some(transmission)) => transmission.preload_pending(now, codes),
            (Some(Seat::Listed(_)), _) => {
                return Outcome::refused("that ECU has no fault memory: its codes are those of its list")
                    .with_detail(
                        "`confirmed`, `pending` and `permanent` of its [[ecu]] in the vehicle file",
                    );
            }
            _ => {
                let known = self
                    .ecus()
                    .map(|ecu| format!("{} {}", ecu.acronym(), ecu.address.response));
                return Outcome::refused(format!("this car has no ECU `{ecu}`"))
                    .with_detail(format!("it has {}", known.collect::<Vec<_>>().join(", ")));
            }
        };
        self.not_physical = true;
        self.note_ecu();
        match stored {
            Ok(()) => workshop::say_preload(list, codes, ecu),
            Err(error) => Outcome::refused(error.to_string()),
        }
    }

    /// An expectation that is judged at once, or watched from now on.
    fn expect(&mut self, expectation: Expectation) -> Outcome {
        match (expectation.claim, expectation.when) {
            (Claim::Tool { deed, done }, when) => {
                expectation::judge_tool(&self.deeds, self.ready, deed, done, when)
            }
            (claim, When::Always) => {
                let outcome = expectation::judge(&self.car, &claim);
                if !outcome.ok {
                    outcome
                } else if self.watch(expectation) {
                    Outcome::done(format!("{}; watched to the end of the run", outcome.text))
                } else {
                    Outcome::refused("too many expectations are watched already")
                }
            }
            (claim, _) => expectation::judge(&self.car, &claim),
        }
    }

    fn turn_off(&mut self) {
        self.cabin.key = KeyPosition::Off;
        self.cabin.driving = None;
        self.cabin.in_drive = false;
    }

    /// Whether the plan has been driven to its end.
    fn has_arrived(&self) -> bool {
        self.cabin.driving.as_ref().is_none_or(Driver::finished)
    }

    /// Steps the car until it is `over`, but for `allowance` and `patience` steps at the most; says what time passed.
    fn step_until(
        &mut self,
        allowance: u64,
        patience: &mut u64,
        mut over: impl FnMut(&mut Self) -> bool,
    ) -> Duration {
        let most = allowance.min(*patience);
        let mut count = 0;
        while count < most && !over(self) {
            self.step();
            count += 1;
        }
        *patience -= count;
        STEP * u32::try_from(count).unwrap_or(u32::MAX)
    }

    /// Lets a task pass for at most `left`; takes it off the list when it is done. Says what time passed.
    pub(super) fn work_task(&mut self, job: &mut Job, left: Duration) -> Duration {
        let Some(task) = job.tasks.front_mut() else {
            return Duration::ZERO;
        };
        let allowance = crate::steps(left);
        let mut passed = Duration::ZERO;
        let done = match task {
            Task::KeyOn => {
                self.cabin.key = KeyPosition::On;
                true
            }
            Task::KeyOff => {
                if self.engine_runs() {
                    self.cabin.key = KeyPosition::Off;
                    true
                } else {
                    // Died on the way: what would follow is over too.
                    job.tasks.clear();
                    return passed;
                }
            }
            Task::Halt { patience } => {
                let stands = |simulator: &mut Self| simulator.car.vehicle.road_speed() < STANDING;
                passed = self.step_until(allowance, patience, stands);
                let over = *patience == 0 || stands(self);
                if over {
                    self.turn_off();
                }
                over
            }
            Task::Settle { steps } => {
                passed = self.step_until(allowance, steps, |_| false);
                *steps == 0
            }
            Task::Crank { patience } => {
                self.cabin.key = KeyPosition::Start;
                passed = self.step_until(allowance, patience, |simulator| simulator.engine_runs());
                let over = self.engine_runs() || *patience == 0;
                if over {
                    self.cabin.key = KeyPosition::On;
                }
                over
            }
            Task::Drive {
                driver,
                patience,
                engine_off,
                ..
            } => {
                if let Some(driver) = driver.take() {
                    self.cabin.in_drive = !driver.ends_in_park();
                    self.cabin.driving = Some(*driver);
                }
                let off = &mut *engine_off;
                passed = self.step_until(allowance, patience, |simulator| {
                    *off = if simulator.engine_runs() { 0 } else { *off + 1 };
                    simulator.has_arrived() || *off > job::ENGINE_OFF
                });
                let over = self.has_arrived() || *patience == 0 || *engine_off > job::ENGINE_OFF;
                if over {
                    job.arrived = self.has_arrived();
                    self.cabin.driving = None;
                    self.happened(Cause::DriveEnd);
                }
                over
            }
            Task::FallAsleep { patience } => {
                passed = self.step_until(allowance, patience, |simulator| simulator.is_resting());
                *patience == 0 || self.is_resting()
            }
            Task::Await { claim, patience, .. } => {
                while *patience > 0 && passed < left && !expectation::holds(&self.car, claim) {
                    let quantum = if self.is_resting() { REST } else { STEP };
                    self.pass(quantum);
                    passed += quantum;
                    *patience = patience.saturating_sub(crate::steps(quantum));
                }
                *patience == 0 || expectation::holds(&self.car, claim)
            }
            Task::Rest { left: rest } => {
                passed = self.rest((*rest).min(left.max(STEP)));
                *rest -= passed;
                rest.is_zero()
            }
        };
        if done {
            job.tasks.pop_front();
        }
        passed
    }

    pub(super) fn finish(&mut self, job: &Job) {
        let vehicle = &self.car.vehicle;
        let spent = clock::say(job.passed);
        let outcome = match &job.phrase {
            Phrase::KeyOn => Outcome::done(if self.engine_runs() {
                "the engine runs"
            } else {
                "key on, engine off"
            }),
            Phrase::KeyOff => Outcome::done("key off, the ECU sleeps"),
            Phrase::Start if self.engine_lives() => Outcome::done(format!(
                "the engine runs at {:.0} rpm",
                vehicle.engine_speed().rpm()
            )),
            Phrase::Start => Outcome::refused("the engine did not start"),
            Phrase::Stop => Outcome::done("the engine stands, the key is on"),
            Phrase::Drive(_) if self.key_is_off() => {
                let metres = vehicle.distance().metres() - job.odometer_metres;
                Outcome::done(format!(
                    "drove {:.2} km in {spent}, key off on the way, now parked",
                    metres / 1000.0
                ))
            }
            Phrase::Drive(_) if !self.engine_lives() => {
                Outcome::refused("the engine did not start or died on the way")
            }
            Phrase::Drive(_) if !job.arrived => Outcome::refused(format!(
                "the car did not get through the drive in {spent}: does it reach the speeds asked for?"
            )),
            Phrase::Drive(_) => {
                let metres = vehicle.distance().metres() - job.odometer_metres;
                Outcome::done(format!("drove {:.2} km in {spent}, now idling", metres / 1000.0))
            }
            Phrase::Soak(_) => {
                let coolant = vehicle.coolant_temperature().celsius();
                Outcome::done(format!("parked for {spent}, the coolant has {coolant:.0} C"))
            }
            Phrase::Expect(Expectation { claim, .. }) => {
                let seen = expectation::seen(&self.car, claim);
                if expectation::holds(&self.car, claim) {
                    Outcome::done(format!("as expected after {spent}: {seen}"))
                } else {
                    Outcome::refused(format!("not as expected in {spent}: {seen}"))
                }
            }
            _ => Outcome::done(format!("{spent} passed")),
        };
        self.finished(job.id, job.phrase.clone(), outcome);
    }
}
