//! The car as a test holds it.

use core::time::Duration;

use twotrip_can::{
    Frame,
    memory_bus::{Fate, Passed},
};
use twotrip_scenario::{Phrase, parse_phrase};
use twotrip_sim::{Event, Simulator, story};
use twotrip_tester::{EcuNumber, Target};

use crate::{
    Answer, Builder, Error, Exchange, Instant, Said, Wired,
    conduct::Watcher,
    error::of_text,
    verdicts::Verdicts,
    world::{Onlooker, World},
};

/// A simulated car with a bus of its own, and a plain tester on it for those who speak messages.
///
/// Cloning it copies everything: car, memory, what is under way on the bus. It takes some microseconds.
#[derive(Clone, Debug)]
pub struct Car {
    pub(crate) world: World<Simulator>,
    /// Who puts down what testers do, where somebody wants to know.
    pub(crate) watcher: Option<Box<Watcher>>,
    pub(crate) verdicts: Verdicts,
}

impl Car {
    /// The car of a shipped scenario, its story behind it: `Builder::shipped(name)?.build()`.
    ///
    /// # Errors
    /// See [`Builder::shipped`] and [`Builder::build`].
    pub fn shipped(name: &str) -> Result<Self, Error> {
        Builder::shipped(name)?.build()
    }

    /// The car of a scenario of your own, as the text of its file.
    ///
    /// # Errors
    /// See [`Builder::of_toml`] and [`Builder::build`].
    pub fn of_toml(text: &str) -> Result<Self, Error> {
        Builder::of_toml(text)?.build()
    }

    pub(crate) fn new(world: World<Simulator>) -> Self {
        Self {
            world,
            watcher: None,
            verdicts: Verdicts::default(),
        }
    }

    // --- The bus ------------------------------------------------------------------------------------------

    /// Bus time: how long the bus has been up. Phrases that take the car's time do not move it.
    #[must_use]
    pub const fn now(&self) -> Instant {
        self.world.now()
    }

    /// Asks all ECUs (7DF) and waits, in simulated time, until all have answered or P2 is over.
    ///
    /// # Errors
    /// [`Error::Request`] for an empty request, or one of more than 7 bytes.
    pub fn ask(&mut self, request: &[u8]) -> Result<Exchange, Error> {
        self.exchange(Target::Functional, request)
    }

    /// Asks one ECU (7E0 to 7E7).
    ///
    /// # Errors
    /// [`Error::Request`] for an empty request, or one of more than 4095 bytes.
    pub fn ask_ecu(&mut self, ecu: EcuNumber, request: &[u8]) -> Result<Exchange, Error> {
        self.exchange(Target::Ecu(ecu), request)
    }

    fn exchange(&mut self, target: Target, request: &[u8]) -> Result<Exchange, Error> {
        let mut exchange = Exchange::default();
        let (world, mut ears) = self.listening(&mut exchange);
        world.ask(target, request, &mut ears)?;
        Ok(exchange)
    }

    fn listening<'a>(&'a mut self, exchange: &'a mut Exchange) -> (&'a mut World<Simulator>, Ears<'a>) {
        let ears = Ears {
            exchange,
            watcher: self.watcher.as_deref_mut(),
            verdicts: &mut self.verdicts,
        };
        (&mut self.world, ears)
    }

    /// Hands a frame of your tool to the bus; it goes out as [`Self::advance`] lets time pass.
    ///
    /// # Errors
    /// [`Error::BusFull`] if 64 frames wait already.
    pub fn send(&mut self, frame: Frame) -> Result<(), Error> {
        self.world.send(frame).map_err(|full| Error::BusFull(full.queue))
    }

    /// Lets time pass, for bus and car; all that was on the wire meanwhile, your own frames included.
    ///
    /// ```
    /// use std::time::Duration;
    /// use twotrip::{Builder, CanId, Frame};
    ///
    /// let mut car = Builder::of_vehicle("compact-2.0")?.story("key on")?.build()?;
    /// car.send(Frame::padded(CanId::Standard(0x7DF), &[0x01, 0x03], 0))?;
    /// let frames = car.advance(Duration::from_millis(50));
    /// assert_eq!(frames[1].frame, Frame::padded(CanId::Standard(0x7E8), &[0x02, 0x43, 0x00], 0));
    /// # Ok::<(), twotrip::Error>(())
    /// ```
    pub fn advance(&mut self, span: Duration) -> Vec<Wired> {
        self.advance_to(self.now() + span)
    }

    /// The same up to an instant; what is past already is left as it is. With [`Self::deadline`] it joins a car to a clock.
    pub fn advance_to(&mut self, until: Instant) -> Vec<Wired> {
        let mut exchange = Exchange::default();
        let (world, mut ears) = self.listening(&mut exchange);
        world.advance(until, &mut ears);
        exchange.frames
    }

    /// When something happens on the bus next, if nobody sends before: until then nothing is missed by letting no time pass.
    #[must_use]
    pub fn deadline(&self) -> Option<Instant> {
        self.world.deadline()
    }

    // --- What is done to the car --------------------------------------------------------------------------

    /// Says an action phrase (`twotrip list phrases`) and lets it be carried out, drives and soaks at full speed.
    ///
    /// # Errors
    /// [`Error::Text`] for what is no phrase; [`Error::Refused`] if it could not be done, or if an `expect` was not met.
    pub fn tell(&mut self, phrase: &str) -> Result<Said, Error> {
        let parsed = parse_phrase(phrase).map_err(|problem| of_text(phrase, &[problem]))?;
        self.carry_out(parsed)
    }

    pub(crate) fn carry_out(&mut self, phrase: Phrase) -> Result<Said, Error> {
        let mut events = Vec::new();
        story::carry_out(&mut self.world.car, phrase, |event| events.push(event.clone()));
        judge(events)
    }
}

/// Puts down what happens, for the exchange and for whoever judges the tool.
struct Ears<'a> {
    exchange: &'a mut Exchange,
    watcher: Option<&'a mut Watcher>,
    verdicts: &'a mut Verdicts,
}

impl Onlooker<Simulator> for Ears<'_> {
    fn passed(&mut self, car: &mut Simulator, passed: &Passed, from_car: bool) {
        if passed.fate == Fate::Whole {
            self.verdicts.feed(car, passed.at, &passed.frame);
            if let Some(watcher) = &mut self.watcher {
                watcher.hear(passed.at, &passed.frame);
            }
        }
        self.exchange.passed(car, passed, from_car);
    }

    fn answered(&mut self, ecu: EcuNumber, payload: &[u8]) {
        Onlooker::<Simulator>::answered(self.exchange, ecu, payload);
    }
}

impl<C> Onlooker<C> for Exchange {
    fn passed(&mut self, _: &mut C, passed: &Passed, from_car: bool) {
        if passed.fate == Fate::Whole {
            self.frames.push(Wired {
                at: passed.at,
                from_car,
                frame: passed.frame,
            });
        }
    }

    fn answered(&mut self, ecu: EcuNumber, payload: &[u8]) {
        self.answers.push(Answer {
            ecu,
            payload: payload.to_vec(),
        });
    }
}

/// What was said to the last phrase among these events; the first refusal is an error.
pub(crate) fn judge(events: impl IntoIterator<Item = Event>) -> Result<Said, Error> {
    let mut said = Said::default();
    for event in events {
        let Event::Finished { phrase, outcome, .. } = event else {
            continue;
        };
        if !outcome.ok {
            return Err(Error::Refused {
                phrase: phrase.to_string(),
                text: outcome.text,
                details: outcome.details,
            });
        }
        said = Said {
            text: outcome.text,
            details: outcome.details,
        };
    }
    Ok(said)
}
