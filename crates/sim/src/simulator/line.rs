//! Frames in and out, through what disturbs them: the calls that whoever has the bus makes.

use twotrip_can::Frame;
use twotrip_scenario::disturbance::{Disturbance, Kind, Picks};
use twotrip_units::BusInstant;

use super::Simulator;
use crate::{
    EcuOnBus, Event, Outcome,
    disturb::{
        Trace, is_same,
        line::{Car, Line},
    },
};

impl Simulator {
    /// A frame came in. Deadlines up to `now` run first. A sleeping ECU hears nothing.
    pub fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        if self.line.is_none() {
            return self.hear(now, frame);
        }
        self.handle_timeout(now);
        if !self.car.ecu.asleep()
            && let Some(line) = &mut self.line
        {
            line.hear(now, frame);
            self.flow(now);
        }
    }

    /// The bus took our last frame.
    pub fn handle_transmitted(&mut self, now: BusInstant) {
        if self.line.as_mut().is_none_or(|line| line.taken(now)) {
            self.transmitted(now);
        }
        self.flow(now);
    }

    /// A deadline has passed; an extra call is harmless.
    pub fn handle_timeout(&mut self, now: BusInstant) {
        let is_awake = !self.car.ecu.asleep();
        if let Some(line) = &mut self.line {
            line.pass(now, is_awake);
        }
        self.serve(now);
        self.flow(now);
    }

    /// A frame to put on the bus: one at a time.
    #[must_use]
    pub fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        match &mut self.line {
            None => self.next_frame(now),
            Some(line) => line.leaves(now),
        }
    }

    /// Whether the frame last polled still has to go out: the bus has not taken it, and the answer it belongs to has
    /// not been given up (N_As of ISO 15765-2). Whoever holds it back for want of room drops it once this is false.
    #[must_use]
    pub fn has_frame_in_flight(&self) -> bool {
        self.line
            .as_ref()
            .map_or_else(|| self.is_sending(), |line| line.is_on_bus())
    }

    /// When to call [`Self::handle_timeout`] at the latest, in bus time.
    #[must_use]
    pub fn poll_timeout(&self) -> Option<BusInstant> {
        let car = self.deadline();
        self.line.as_ref().map_or(car, |line| line.next(car, true))
    }

    /// The same without the turns of messages that nobody asked for, which may be some milliseconds late: what a tester
    /// waits for.
    #[must_use]
    pub fn poll_answer_timeout(&self) -> Option<BusInstant> {
        let car = self.answer_deadline();
        self.line.as_ref().map_or(car, |line| line.next(car, false))
    }

    /// Lets frames pass between the car and the line, as far as they are due.
    #[inline]
    fn flow(&mut self, now: BusInstant) {
        if self.line.is_some() {
            self.flow_disturbed(now);
        }
    }

    #[cold]
    fn flow_disturbed(&mut self, now: BusInstant) {
        loop {
            while let Some(frame) = self.line.as_mut().and_then(|line| line.arrives(now)) {
                self.hear(now, &frame);
            }
            let is_sending = self.is_sending();
            let Some(line) = &mut self.line else { break };
            if line.has_awaited() {
                if is_sending {
                    break;
                }
                line.give_up();
            }
            let Some(frame) = self.next_frame(now) else { break };
            let Some(line) = &mut self.line else { break };
            if line.take(now, frame) == Car::Sent {
                self.transmitted(now);
            }
        }
        self.note_disturbances();
    }

    /// The line, from the first disturbance on.
    fn line(&mut self) -> &mut Line {
        let (seed, rate, is_sending) = (self.seed, self.rate, self.is_sending());
        let asked = (self.nodes.functional_id(), self.car.ecu.dialect());
        self.line
            .get_or_insert_with(|| Box::new(Line::new(seed, rate, asked, is_sending)))
    }

    /// Why a disturbance of an ECU would never act in this car.
    fn is_vain(&self, what: Disturbance) -> Option<Outcome> {
        let on = what.on.filter(|_| what.kind.row().picks == Picks::AnEcu)?;
        let mut ecus = self.nodes.on_bus(&self.car);
        let named = ecus.find(|ecu| is_same(on, ecu.address.response));
        let about_vin = matches!(what.kind, Kind::VinMissing | Kind::VinShort | Kind::VinGarbled);
        let (why, fits): (String, fn(&EcuOnBus) -> bool) = match named {
            None => (format!("no ECU of this car answers by {on}"), |_| true),
            Some(ecu) if about_vin && !ecu.is_engine => {
                (format!("the ECU that answers by {on} tells no VIN"), |ecu| {
                    ecu.is_engine
                })
            }
            Some(_) => return None,
        };
        let words = |ecu: EcuOnBus| format!("{} ({})", ecu.address.response, ecu.acronym());
        let those: Vec<String> = self.nodes.on_bus(&self.car).filter(fits).map(words).collect();
        Some(Outcome::refused(why).with_detail(format!("of this one: {}", those.join(", "))))
    }

    /// Switches a disturbance on.
    pub(super) fn disturb(&mut self, what: Disturbance) -> Outcome {
        if let Some(refusal) = self.is_vain(what) {
            return refusal;
        }
        let line = self.line();
        let begun = line.disturbances.start(what);
        line.has_news();
        self.note_disturbances();
        if begun {
            Outcome::done(format!("{what}: on"))
        } else {
            Outcome::refused("too many disturbances are on already").with_detail("first: disturb off")
        }
    }

    /// Switches off those of a kind, or all.
    pub(super) fn disturb_off(&mut self, kind: Option<Kind>) -> Outcome {
        let ended = self.line.as_mut().map_or(0, |line| {
            line.has_news();
            line.disturbances.stop(kind)
        });
        self.note_disturbances();
        Outcome::done(match (ended, kind) {
            (0, Some(kind)) => format!("{} was not on", kind.name()),
            (0, None) => "nothing was on".to_owned(),
            (1, _) => "one disturbance is off".to_owned(),
            (ended, _) => format!("{ended} disturbances are off"),
        })
    }

    /// Tells which have begun and ended.
    pub(super) fn note_disturbances(&mut self) {
        while let Some(change) = self
            .line
            .as_mut()
            .and_then(|line| line.disturbances.poll_change())
        {
            self.note(Event::Disturbance {
                at: self.car.now(),
                number: change.number,
                disturbance: change.what,
                begins: change.begins,
                acted: change.acted,
            });
        }
    }

    /// The disturbances that are on, with their numbers.
    pub fn disturbances(&self) -> impl Iterator<Item = (u64, Disturbance)> {
        self.line.iter().flat_map(|line| line.disturbances.running())
    }

    /// The next thing that a disturbance has done.
    #[must_use]
    pub fn poll_trace(&mut self) -> Option<Trace> {
        self.line.as_mut()?.disturbances.poll_trace()
    }

    /// Whether there is, or was, a disturbance.
    #[must_use]
    pub const fn is_disturbed(&self) -> bool {
        self.line.is_some()
    }
}
