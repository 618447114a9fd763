//! What is between the car and its bus while it is disturbed.
//!
//! Every frame passes here, in both directions, and may be lost, held, doubled, destroyed; frames that the car knows nothing of
//! are added. It is here and not at some bus, so that it is the same on any of them, and so that a journal of what was
//! heard and told repeats it.
//!
//! A frame of the car that is held is held behind its controller, as by a gateway: the ECU takes it for sent. One that
//! is destroyed is the controller's, and the ECU waits for it (N_As of ISO 15765-2).

use std::time::Duration;

use twotrip_can::{CanId, Frame, timing::BitRate};
use twotrip_obd::Dialect;
use twotrip_scenario::disturbance::Kind;
use twotrip_units::BusInstant;

use super::{
    Act, Disturbances,
    background::Background,
    controller::{Controller, Destroyed},
    lane::{Held, Lane},
    other_tester::OtherTester,
};

/// How long a frame of ours waits for the bus to take it (N_As, ISO 15765-4: 25 ms).
const TAKEN_WITHIN: Duration = Duration::from_millis(25);
/// How long ECUs take to be awake (our choice).
const WAKING: Duration = Duration::from_millis(50);
/// Our frames are let into the lane up to this many.
const ROOM: usize = 192;

/// What the car has to be told of a frame that it gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Car {
    /// That it has been sent: it is behind the controller, or lost.
    Sent,
    /// Nothing yet.
    Waits,
}

/// A frame that the bus was given.
#[derive(Clone, Copy, Debug)]
struct OnBus {
    /// Whether the car waits to hear that it has passed.
    is_awaited: bool,
    since: BusInstant,
}

/// Off the bus, by which disturbance, until when.
#[derive(Clone, Copy, Debug)]
struct Gone {
    number: u64,
    until: BusInstant,
    /// The controller reports that it is back.
    is_reported: bool,
}

/// The line.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    pub(crate) disturbances: Disturbances,
    rate: BitRate,
    controller: Controller,
    to_bus: Lane,
    to_car: Lane,
    /// A frame of the car that was destroyed, and when it is sent again.
    again: Option<(BusInstant, Frame)>,
    on_bus: Option<OnBus>,
    gone: Option<Gone>,
    background: Option<Background>,
    other_tester: Option<OtherTester>,
    /// By which testers ask all ECUs, and in which dialect.
    functional: CanId,
    dialect: Dialect,
    /// When a frame came in last, and when the ECUs are awake that it woke.
    heard: Option<BusInstant>,
    wake: BusInstant,
    /// An error-passive controller sends its next frame not before this.
    suspended: BusInstant,
    /// Something was switched on or off, and no time has been told since.
    is_news: bool,
    now: BusInstant,
}

impl Line {
    /// Without disturbances. `is_sending`: the bus has a frame of the car.
    pub(crate) fn new(
        seed: u64,
        rate: BitRate,
        (functional, dialect): (CanId, Dialect),
        is_sending: bool,
    ) -> Self {
        Self {
            disturbances: Disturbances::new(seed),
            rate,
            controller: Controller::new(rate),
            to_bus: Lane::default(),
            to_car: Lane::default(),
            again: None,
            on_bus: is_sending.then_some(OnBus {
                is_awaited: true,
                since: BusInstant::ZERO,
            }),
            gone: None,
            background: None,
            other_tester: None,
            functional,
            dialect,
            heard: None,
            wake: BusInstant::ZERO,
            suspended: BusInstant::ZERO,
            is_news: false,
            now: BusInstant::ZERO,
        }
    }

    /// Something was switched on or off: it counts from the next call that tells the time.
    pub(crate) const fn has_news(&mut self) {
        self.is_news = true;
    }

    /// Time has passed. `is_awake`: the car's bus is.
    pub(crate) fn pass(&mut self, now: BusInstant, is_awake: bool) {
        self.now = now;
        self.disturbances.pass(now);
        self.is_news = false;
        self.pass_absence(now);
        let is_passive = self.disturbances.is_on(Kind::ErrorPassive);
        if let Some(report) = self.controller.hold_passive(is_passive) {
            self.say(now, report);
        }
        self.pass_background(now, is_awake);
        self.pass_other_tester(now);
        // What the bus has not taken in time it will not take.
        self.on_bus
            .take_if(|on_bus| !on_bus.is_awaited && now >= on_bus.since + TAKEN_WITHIN);
        if let Some((_, frame)) = self.again.take_if(|(due, _)| *due <= now)
            && self.destroyed(now, frame).is_none()
        {
            self.to_bus.push(Held::awaited(frame, now));
        }
    }

    /// Comes back to the bus, or leaves it, if it is time.
    fn pass_absence(&mut self, now: BusInstant) {
        if let Some(gone) = self.gone.take_if(|gone| gone.until <= now) {
            if gone.is_reported {
                self.say(now, Controller::report_back());
            } else {
                // Its time is over.
                self.disturbances.end(gone.number);
            }
        }
        match self.disturbances.lasting(Kind::InterfaceDown) {
            Some((number, seconds)) if self.gone.is_none_or(|gone| gone.number != number) => {
                self.leave(number, now + Duration::from_secs_f64(seconds), false);
            }
            None if self.gone.is_some_and(|gone| !gone.is_reported) => self.gone = None,
            _ => {}
        }
    }

    fn pass_background(&mut self, now: BusInstant, is_awake: bool) {
        let Some((number, percent)) = self
            .disturbances
            .lasting(Kind::BackgroundLoad)
            .filter(|_| is_awake)
        else {
            self.background = None;
            return;
        };
        let dice = self.disturbances.dice_of(number);
        let background = self
            .background
            .get_or_insert_with(|| Background::new(now, self.rate, dice));
        let to_bus = &mut self.to_bus;
        background.send(now, percent, |due, frame| {
            if to_bus.len() < ROOM {
                to_bus.push(Held::own(frame, due));
            }
        });
    }

    fn pass_other_tester(&mut self, now: BusInstant) {
        let Some((number, ms)) = self.disturbances.lasting(Kind::SecondTester) else {
            self.other_tester = None;
            return;
        };
        let tester = self
            .other_tester
            .get_or_insert_with(|| OtherTester::new(now, self.dialect));
        if let Some(request) = tester.asks(now, Duration::from_secs_f64(ms / 1000.0), self.functional) {
            self.disturbances.hit(number, now, Some(request.id()));
            self.to_bus.push(Held::own(request, now));
            self.to_car.push(Held::own(request, now));
        }
    }

    /// Whether the ECUs sleep, or are not awake again yet: a frame wakes them, and is not heard.
    fn sleeps(&mut self, now: BusInstant, frame: &Frame) -> bool {
        let Some((number, seconds)) = self.disturbances.lasting(Kind::Sleep) else {
            self.heard = None;
            return false;
        };
        let silence = Duration::from_secs_f64(seconds);
        if self.heard.is_none_or(|heard| now >= heard + silence) {
            self.wake = now + WAKING;
        }
        self.heard = Some(now);
        if now < self.wake {
            self.disturbances.hit(number, now, Some(frame.id()));
            return true;
        }
        false
    }

    /// Leaves the bus: what was under way is lost.
    fn leave(&mut self, number: u64, until: BusInstant, is_reported: bool) {
        self.to_bus.clear();
        self.to_car.clear();
        self.again = None;
        self.gone = Some(Gone {
            number,
            until,
            is_reported,
        });
    }

    /// What the controller reports, for whoever listens to errors.
    fn say(&mut self, now: BusInstant, report: Frame) {
        self.to_bus.push(Held::own(report, now));
    }

    /// Takes a frame of the car.
    pub(crate) fn take(&mut self, now: BusInstant, frame: Frame) -> Car {
        let id = frame.id();
        if let Some(gone) = self.gone {
            self.disturbances.hit(gone.number, now, Some(id));
            return Car::Sent;
        }
        if self.disturbances.acts(now, Kind::Drop, id).is_some() {
            return Car::Sent;
        }
        if let Some(Act { number, size, .. }) = self.disturbances.acts(now, Kind::BusOff, id) {
            let least = self.controller.recovery();
            self.leave(
                number,
                now + Duration::from_secs_f64(size / 1000.0).max(least),
                true,
            );
            self.say(now, Controller::report_off());
            return Car::Sent;
        }
        if let Some(car) = self.destroyed(now, frame) {
            return car;
        }
        if self.is_held(now, &frame, true) {
            return Car::Sent;
        }
        let due = now.max(self.suspended);
        self.to_bus.push(Held::awaited(frame, due));
        if self.disturbances.acts(now, Kind::Duplicate, id).is_some() {
            self.to_bus.push(Held::own(frame, due));
        }
        Car::Waits
    }

    /// What comes of a bus error that destroys it, if one does: its controller sends it again, or leaves the bus.
    fn destroyed(&mut self, now: BusInstant, frame: Frame) -> Option<Car> {
        let Act { number, .. } = self.disturbances.acts(now, Kind::BusError, frame.id())?;
        Some(match self.controller.destroy(now, &frame) {
            Destroyed::Again(due) => {
                self.say(now, self.controller.report_error());
                self.again = Some((due, frame));
                Car::Waits
            }
            Destroyed::Off(until) => {
                self.leave(number, until, true);
                self.say(now, Controller::report_off());
                Car::Sent
            }
        })
    }

    /// Whether it is held on its way; what follows under its identifier then is too.
    fn is_held(&mut self, now: BusInstant, frame: &Frame, to_bus: bool) -> bool {
        let id = frame.id();
        let mut wait = None;
        let mut gives_way = false;
        if let Some(act) = self.disturbances.acts(now, Kind::Delay, id) {
            wait = Some(act.size);
        }
        if let Some(act) = self.disturbances.acts(now, Kind::Jitter, id) {
            wait = Some(wait.unwrap_or(0.0) + act.size * act.draw);
        }
        if let Some(act) = self.disturbances.acts(now, Kind::Reorder, id) {
            wait = Some(wait.unwrap_or(0.0).max(act.size));
            gives_way = true;
        }
        let lane = if to_bus {
            &mut self.to_bus
        } else {
            &mut self.to_car
        };
        if wait.is_none() && !lane.holds(frame) {
            return false;
        }
        lane.push(Held {
            frame: *frame,
            due: now + Duration::from_secs_f64(wait.unwrap_or(0.0) / 1000.0),
            is_awaited: false,
            gives_way,
        });
        true
    }

    /// Takes a frame of the bus.
    pub(crate) fn hear(&mut self, now: BusInstant, frame: &Frame) {
        let id = frame.id();
        if let Some(gone) = self.gone {
            self.disturbances.hit(gone.number, now, Some(id));
            return;
        }
        if self.sleeps(now, frame) || self.disturbances.acts(now, Kind::Drop, id).is_some() {
            return;
        }
        let is_destroyed = self.disturbances.acts(now, Kind::BusError, id).is_some();
        if !is_destroyed && self.is_held(now, frame, false) {
            return;
        }
        let mut due = now;
        if is_destroyed {
            // Its sender is destroyed, not we; it sends again, and so it comes later.
            self.say(now, self.controller.report_error());
            due = now + self.controller.destroyed(frame);
        }
        let copies = 1 + usize::from(self.disturbances.acts(now, Kind::Duplicate, id).is_some());
        for _ in 0..copies {
            self.to_car.push(Held::own(*frame, due));
        }
    }

    /// The next frame that reaches the car.
    pub(crate) fn arrives(&mut self, now: BusInstant) -> Option<Frame> {
        let held = self.to_car.pop(now)?;
        self.to_car.overtaken(now, &held.frame);
        Some(held.frame)
    }

    /// The next frame for the bus: one at a time.
    pub(crate) fn leaves(&mut self, now: BusInstant) -> Option<Frame> {
        if self.on_bus.is_some() {
            return None;
        }
        let held = self.to_bus.pop(now)?;
        self.on_bus = Some(OnBus {
            is_awaited: held.is_awaited,
            since: now,
        });
        self.to_bus.overtaken(now, &held.frame);
        Some(held.frame)
    }

    /// The bus has taken the frame; says whether it was the car's, and awaited.
    pub(crate) fn taken(&mut self, now: BusInstant) -> bool {
        let Some(on_bus) = self.on_bus.take() else {
            return false;
        };
        if on_bus.is_awaited {
            self.suspended = now + self.controller.passed();
        }
        on_bus.is_awaited
    }

    /// The car has given up what it waited for.
    pub(crate) fn give_up(&mut self) {
        self.to_bus.give_up_awaited();
        self.again = None;
        self.on_bus.take_if(|on_bus| on_bus.is_awaited);
    }

    /// Forgets what is under way.
    pub(crate) fn reset(&mut self) {
        self.to_bus.clear();
        self.to_car.clear();
        self.again = None;
        self.on_bus = None;
    }

    /// Whether the car's frame is here, or on the bus.
    pub(crate) fn has_awaited(&self) -> bool {
        self.on_bus.is_some_and(|on_bus| on_bus.is_awaited)
            || self.again.is_some()
            || self.to_bus.has_awaited()
    }

    /// Whether a frame that the bus was given still has to go out.
    pub(crate) const fn is_on_bus(&self) -> bool {
        self.on_bus.is_some()
    }

    /// When to tell the time at the latest; `car` is the car's own deadline. Background traffic may be some milliseconds
    /// late where nothing else is awaited.
    pub(crate) fn next(&self, car: Option<BusInstant>, with_background: bool) -> Option<BusInstant> {
        if self.is_news {
            return Some(BusInstant::ZERO);
        }
        // What the car has to do now and has not done waits for a frame here.
        let car = car.filter(|&car| car > self.now);
        let on_bus = self.on_bus.map(|on_bus| on_bus.since + TAKEN_WITHIN);
        let to_bus = if self.on_bus.is_some() {
            on_bus
        } else {
            self.to_bus.next()
        };
        let background = self.background.as_ref().filter(|_| with_background);
        [
            car,
            to_bus,
            self.to_car.next(),
            self.again.map(|(due, _)| due),
            self.gone.map(|gone| gone.until),
            background.map(Background::next),
            self.other_tester.map(|tester| tester.next()),
        ]
        .into_iter()
        .flatten()
        .min()
    }
}
