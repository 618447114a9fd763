//! How a car is made.

use core::time::Duration;

use twotrip_can::{memory_bus::Pacing, timing::BitRate};
use twotrip_scenario::{Phrase, Scenario, VehicleModel, parse_script, phrase::Spanned, shipped, vehicle};
use twotrip_sim::{Settings, Simulator, Timing, story};
use twotrip_units::BusInstant;

use crate::{
    Car, Error,
    error::of_text,
    world::{World, tester_for},
};

/// A car in the making: vehicle, story, seed, and how its bus behaves.
///
/// ```
/// use twotrip::Builder;
///
/// let car = Builder::of_vehicle("sedan-v6")?
///     .story("key on\npreload confirmed P0301 P0171")?
///     .seed(7)
///     .build()?;
/// assert_eq!(car.confirmed().len(), 2);
/// assert!(car.not_physical(), "preloaded, and said to be so");
/// # Ok::<(), twotrip::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Builder {
    scenario: Scenario,
    story: Vec<Spanned<Phrase>>,
    seed: Option<u64>,
    replies: Option<(Duration, Duration)>,
    /// The vehicle's bit rate, unless given.
    pacing: Option<Pacing>,
}

impl Builder {
    /// A shipped scenario (`twotrip list scenarios`).
    ///
    /// # Errors
    /// [`Error::Unknown`], with the nearest name there is.
    pub fn shipped(name: &str) -> Result<Self, Error> {
        let unknown = || Error::Unknown {
            what: "scenario",
            name: name.to_owned(),
            nearest: shipped::nearest(name),
        };
        Self::of_toml(shipped::find(name).ok_or_else(unknown)?.text)
    }

    /// A scenario of your own, as the text of its file.
    ///
    /// # Errors
    /// [`Error::Text`] with all problems, each with its line.
    pub fn of_toml(text: &str) -> Result<Self, Error> {
        let scenario = Scenario::parse(text.as_bytes()).map_err(|problems| of_text(text, &problems))?;
        Ok(Self::of(scenario))
    }

    /// A shipped vehicle (`twotrip list vehicles`) without a story: parked cold, key off.
    ///
    /// # Errors
    /// [`Error::Unknown`], with the nearest name there is.
    pub fn of_vehicle(name: &str) -> Result<Self, Error> {
        let healthy = "version = 1\ntitle = \"A car\"\nvehicle = \"compact-2.0\"\n";
        Self::of_toml(healthy)?.vehicle(name)
    }

    fn of(scenario: Scenario) -> Self {
        Self {
            story: scenario.story().to_vec(),
            scenario,
            seed: None,
            replies: Timing::REAL.reply,
            pacing: None,
        }
    }

    /// The same in another shipped vehicle.
    ///
    /// # Errors
    /// [`Error::Unknown`], with the nearest name there is.
    pub fn vehicle(mut self, name: &str) -> Result<Self, Error> {
        let unknown = || Error::Unknown {
            what: "vehicle",
            name: name.to_owned(),
            nearest: vehicle::nearest(name),
        };
        self.scenario = self
            .scenario
            .with_vehicle(vehicle::find(name).ok_or_else(unknown)?);
        Ok(self)
    }

    /// The same in a vehicle of your own, as the text of its file.
    ///
    /// # Errors
    /// [`Error::Text`] with all problems, each with its line.
    pub fn vehicle_toml(mut self, text: &str) -> Result<Self, Error> {
        let model = VehicleModel::parse(text.as_bytes()).map_err(|problems| of_text(text, &problems))?;
        self.scenario = self.scenario.with_vehicle(model);
        Ok(self)
    }

    /// Phrases that the car lives through in addition, one a line, before its bus comes up.
    ///
    /// # Errors
    /// [`Error::Text`] with all problems, each with its line.
    pub fn story(mut self, phrases: &str) -> Result<Self, Error> {
        let more = parse_script(phrases).map_err(|problems| of_text(phrases, &problems))?;
        self.story.extend(more);
        Ok(self)
    }

    /// Another seed than the scenario's, for everything random.
    #[must_use]
    pub const fn seed(mut self, seed: u64) -> Self {
        self.seed = Some(seed);
        self
    }

    /// Least and greatest time that an ECU takes to answer, drawn anew for each: 2 to 8 ms unless said otherwise.
    #[must_use]
    pub const fn replies_within(mut self, least: Duration, greatest: Duration) -> Self {
        self.replies = Some((least, greatest));
        self
    }

    /// Frames and answers take no time at all.
    #[must_use]
    pub const fn at_once(mut self) -> Self {
        self.replies = None;
        self.pacing = Some(Pacing::Instant);
        self
    }

    /// The bit rate at which frames take their time: the vehicle's unless said otherwise.
    #[must_use]
    pub const fn bit_rate(mut self, rate: BitRate) -> Self {
        self.pacing = Some(Pacing::Rate(rate));
        self
    }

    /// The car: it lives through its story, at full speed (a day of driving takes about a tenth of a second), and its
    /// bus comes up. Later tests should begin from a clone of it.
    ///
    /// # Errors
    /// [`Error::Refused`] for the first phrase of the story that could not be carried out, or was not as expected.
    pub fn build(&self) -> Result<Car, Error> {
        let seed = self.seed.unwrap_or_else(|| self.scenario.seed());
        let timing = Timing {
            reply: self.replies,
            spacing: None,
        };
        let mut settings = Settings {
            broadcasts: self.scenario.broadcasts(),
            ..Settings::of(&self.scenario, seed, timing)
        };
        let pacing = self.pacing.unwrap_or(Pacing::Rate(settings.bit_rate));
        if let Pacing::Rate(rate) = pacing {
            settings.bit_rate = rate;
        }
        let mut simulator = Simulator::new(settings);
        let mut said = Vec::new();
        for phrase in &self.story {
            story::carry_out(&mut simulator, phrase.value.clone(), |event| {
                said.push(event.clone())
            });
            crate::car::judge(said.drain(..))?;
        }
        let expectations = self.scenario.expectations().iter();
        let expectations = expectations.filter_map(|phrase| match &phrase.value {
            Phrase::Expect(expectation) => Some(*expectation),
            _ => None,
        });
        simulator.go_live(BusInstant::ZERO, self.scenario.cues(), expectations);
        let tester = tester_for(&simulator);
        Ok(Car::new(World::new(simulator, pacing, tester)))
    }
}
