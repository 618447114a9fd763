//! What can be said to the car, one phrase a line: the same words in scenario files, in `twotrip tell` and on a panel.
//!
//! The word lists come from the crates that own the things: circuits from `harness`, parts, work and defects from
//! `vehicle`, readiness groups from `obd`, reported values from `ecu`. A phrase that parses is well formed and within
//! its limits; whether it makes sense at that moment (to tighten a cap that is tight) is the car's business.

mod amount;
mod code;
mod defect;
mod display;
mod disturb;
mod ecu;
mod event;
mod fault;
mod forms;
mod grammar;
mod help;
mod legs;
mod limit;
mod measure;
mod rule;
mod script;
mod swap;
#[cfg(test)]
mod tests;
mod wiring;

use core::{ops::Range, time::Duration};

use twotrip_harness::{Wire, WiringFault};
use twotrip_obd::{Dtc, Group};
use twotrip_units::{AngularSpeed, Length, Pressure, Ratio, Speed, Temperature, Volume};
use twotrip_vehicle::{Surface, schedule::Schedule};

pub(crate) use disturb::{occurrence_text, size_text};
pub use ecu::EcuRef;
pub(crate) use event::parse_event;
pub use event::{Event, events};
pub use help::{Help, help};
pub(crate) use measure::parse_time;
pub use rule::Slot;
pub use script::{parse_phrase, parse_script};
pub use twotrip_ecu::server::Quantity;
pub use twotrip_harness::Signal;
pub use twotrip_vehicle::{Defect, Part, When as Presence, Work};

use crate::disturbance::{self, Disturbance};

/// A test that holds the cylinders against each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comparison {
    /// A pressure gauge in place of each spark plug, the engine cranked.
    Compression,
    /// How far the rail's pressure falls when each injector is pulsed alike.
    InjectorBalance,
}

impl Comparison {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::Compression, Self::InjectorBalance];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Compression => "compression",
            Self::InjectorBalance => "injector-balance",
        }
    }
}

/// What is done to a wire while it is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Provocation {
    /// Loom and plugs are moved by hand.
    Wiggled,
    /// They are warmed with a heat gun.
    Heated,
    /// They are cooled with freezing spray.
    Chilled,
    /// They are wetted with a water mister.
    Sprayed,
    /// Unplugged at both ends, the wire feeds a test lamp.
    Loaded,
}

impl Provocation {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Wiggled,
        Self::Heated,
        Self::Chilled,
        Self::Sprayed,
        Self::Loaded,
    ];

    /// The word that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Wiggled => "wiggled",
            Self::Heated => "heated",
            Self::Chilled => "chilled",
            Self::Sprayed => "sprayed",
            Self::Loaded => "loaded",
        }
    }
}

/// One thing said to the car. `Display` gives the canonical, metric wording, which parses again.
#[derive(Clone, Debug, PartialEq)]
pub enum Phrase {
    /// Ignition on, engine not started: the lamp's bulb check begins.
    KeyOn,
    /// Ignition off; ends the driving cycle.
    KeyOff,
    /// Key to start until the engine runs.
    Start,
    /// Engine off by the key; ends the driving cycle.
    Stop,
    /// A drive: starts the engine if it is off, leaves it idling.
    Drive(Plan),
    /// Parked with the key off for so long.
    Soak(Duration),
    /// Time passes with everything as it is.
    Wait(Duration),
    /// The air around the car gets this warm.
    Ambient(Temperature),
    /// It rains, or no longer.
    Rain(bool),
    /// The engine bay and the underbody are hosed down.
    Wash,
    /// The car is this high above the sea.
    Altitude(Length),
    /// The wheels run on this.
    Road(Surface),
    /// The tank is filled.
    Refuel(Fill),
    /// Fuel is taken out.
    Drain(Ratio),
    /// The fuel has this Reid vapour pressure.
    Volatility(Pressure),
    /// Something physical breaks.
    Defect(Defect),
    /// A wire breaks; with a word behind it only at times.
    BreakWire(Wire, WiringFault, Option<Presence>),
    /// Work on a part; cures only what such work cures.
    Work(Work, Part),
    /// A wire is mended.
    MendWire(Wire),
    /// What a meter shows there.
    Measure(Point),
    /// What it shows while something is done to the wire.
    MeasureWhile(Point, Provocation),
    /// The driver switches something on or off.
    Switch(Load, bool),
    /// A test of all cylinders, one beside the other.
    Compare(Comparison),
    /// What a look at the part shows.
    Inspect(Part),
    /// Put two like parts into each other's places.
    Swap(Part, Part),
    /// Fills the fault memory directly: not physical.
    Preload(Preload, Vec<Dtc>, EcuRef),
    /// How it came to a code.
    Why(Dtc),
    /// What is missing for a code to be stored.
    WhyNot(Dtc),
    /// How the monitors stand.
    Monitors,
    /// What the tester did: for a running car.
    Report,
    /// Pins what a sensor gives, in the unit of the signal: the ECU and its monitors see it.
    Hold(Signal, f64),
    /// Pins a reported value, the true one goes on unseen: not physical.
    Override(Quantity, f64),
    /// Lets go of a pinned value.
    Release(Quantity),
    /// Something goes wrong between tool and car from now on.
    Disturb(Disturbance),
    /// It no longer does: this, or nothing at all.
    DisturbOff(Option<disturbance::Kind>),
    /// What must be true, judged where the phrase stands.
    Expect(Expectation),
}

/// Where a meter can be put.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Point {
    /// On a wire.
    Wire(Wire),
    /// Across the battery.
    Battery,
    /// At the alternator, with a clamp around its cable.
    Alternator,
    /// A vacuum gauge on the intake manifold.
    ManifoldVacuum,
    /// A pressure gauge in place of the front oxygen sensor.
    BackPressure,
    /// A smoke machine with a flow meter on the vapour space, the vent valve held shut.
    VapourSmoke,
}

impl Point {
    /// All of them.
    pub const ALL: [Self; Wire::ALL.len() + 5] = {
        let mut all = [Self::Alternator; Wire::ALL.len() + 5];
        let mut i = 0;
        while i < Wire::ALL.len() {
            all[i] = Self::Wire(Wire::ALL[i]);
            i += 1;
        }
        all[i] = Self::Battery;
        all[i + 1] = Self::ManifoldVacuum;
        all[i + 2] = Self::BackPressure;
        all[i + 3] = Self::VapourSmoke;
        all
    };

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Wire(wire) => wire.name(),
            Self::Battery => "battery",
            Self::Alternator => "alternator",
            Self::ManifoldVacuum => "manifold-vacuum",
            Self::BackPressure => "back-pressure",
            Self::VapourSmoke => "vapour-smoke",
        }
    }

    /// Those whose reading is one number that an expectation can be about.
    pub const GAUGES: [Self; 4] = [
        Self::Battery,
        Self::Alternator,
        Self::ManifoldVacuum,
        Self::BackPressure,
    ];

    /// The unit of that number.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Wire(_) | Self::Battery | Self::Alternator => "V",
            Self::ManifoldVacuum | Self::BackPressure => "kPa",
            Self::VapourSmoke => "l/min",
        }
    }

    /// The lowest and the highest limit that an expectation can name, in the unit.
    #[must_use]
    pub const fn range(self) -> [f64; 2] {
        match self {
            Self::Wire(_) | Self::Battery | Self::Alternator => [0.0, 20.0],
            Self::ManifoldVacuum | Self::BackPressure | Self::VapourSmoke => [0.0, 255.0],
        }
    }
}

/// What the driver can switch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Load {
    /// Headlamps with tail lamps.
    Lights,
    /// Heater blower at full speed.
    Blower,
    /// Heater of the rear screen.
    RearScreen,
    /// Air conditioning.
    AirConditioning,
    /// Heater of the cabin, fully open and with its blower at full speed.
    CabinHeater,
    /// Block heater, plugged in whenever the car is parked.
    BlockHeater,
}

impl Load {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Lights,
        Self::Blower,
        Self::RearScreen,
        Self::AirConditioning,
        Self::CabinHeater,
        Self::BlockHeater,
    ];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Lights => "lights",
            Self::Blower => "blower",
            Self::RearScreen => "rear-screen",
            Self::AirConditioning => "air-conditioning",
            Self::CabinHeater => "cabin-heater",
            Self::BlockHeater => "block-heater",
        }
    }
}

/// Where a drive goes.
#[derive(Clone, Debug, PartialEq)]
pub enum Plan {
    /// One of the published schedules.
    Schedule(&'static Schedule),
    /// Legs in order; the car brakes to a stand at the end. [`Leg::KeyOff`] comes last, if at all.
    Free(Vec<Leg>),
}

/// A part of a free plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Leg {
    /// Standing with the engine idling for so long, counted from standstill.
    Idle(Duration),
    /// Holding this speed for so long, counted from reaching it.
    Cruise(Speed, Duration),
    /// Standing in Park with the engine held at this speed for so long.
    Rev(AngularSpeed, Duration),
    /// The pedal on the floor until this speed is reached.
    FullThrottle(Speed),
    /// Off both pedals, in gear, until the car has slowed down to this speed.
    Coast(Speed),
    /// Braking to a stand.
    Stop,
    /// The key goes off as the car rolls: the last leg.
    KeyOff,
}

/// Which codes to put in the memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Preload {
    /// Confirmed: lamp on, permanent too, and a freeze frame of what the ECU measures now.
    Confirmed,
    /// Pending.
    Pending,
}

/// Which list of codes an expectation is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CodeList {
    /// Service $03.
    Confirmed,
    /// Service $07.
    Pending,
    /// Service $0A.
    Permanent,
}

impl CodeList {
    /// The word that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Confirmed => "confirmed",
            Self::Pending => "pending",
            Self::Permanent => "permanent",
        }
    }
}

/// How far refuelling goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fill {
    /// To this share of the tank.
    Level(Ratio),
    /// Until so much is in it.
    Volume(Volume),
}

/// Where a value is read that an expectation is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Service $01, pinned values included.
    Live,
    /// Service $02: as it was when the frame was stored.
    FreezeFrame,
}

impl Source {
    /// The word that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Live => "live",
            Self::FreezeFrame => "freeze-frame",
        }
    }
}

/// On which side of a limit a value has to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Less than the limit.
    Below,
    /// More than the limit.
    Above,
}

impl Side {
    /// The word that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Below => "below",
            Self::Above => "above",
        }
    }

    /// Whether a value is on this side of the limit.
    #[must_use]
    pub fn holds(self, value: f64, limit: f64) -> bool {
        match self {
            Self::Below => value < limit,
            Self::Above => value > limit,
        }
    }
}

/// What must be true, and when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expectation {
    /// What.
    pub claim: Claim,
    /// When.
    pub when: When,
}

/// When a claim must be true.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum When {
    /// Where the phrase stands; under `[verdict]`, at the end.
    #[default]
    Now,
    /// At some moment of this time from where the phrase stands (under `[verdict]`, from `ready`). Claims about the
    /// car go by the car's time, claims about the tool by that of the bus.
    Within(Duration),
    /// At every moment from there to the end of the run.
    Always,
}

/// What is claimed of the car or of the tool on its bus.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Claim {
    /// PID $01 byte A bit 7: whether the ECU commands the lamp.
    Mil {
        /// Commanded on.
        commanded: bool,
    },
    /// The bulb, which the key-on check lights in a healthy car too.
    Lamp {
        /// Shining.
        lit: bool,
    },
    /// This code is in the list, whatever else is.
    Code(CodeList, Dtc),
    /// This code is not in the list.
    NotCode(CodeList, Dtc),
    /// The list is empty.
    NoCode(CodeList),
    /// Readiness of a group since the last clear.
    Readiness {
        /// Of which monitors.
        group: Group,
        /// Complete (a group the car does not have reads complete).
        complete: bool,
    },
    /// What a tester reads is on this side of a limit. Nothing is where no frame is stored.
    Reported {
        /// Now, or in the freeze frame.
        from: Source,
        /// What.
        value: Quantity,
        /// Below or above.
        side: Side,
        /// The limit, in the unit of the value.
        limit: f64,
    },
    /// What a gauge or meter shows is on this side of a limit.
    Measured {
        /// One of [`Point::GAUGES`].
        point: Point,
        /// Below or above.
        side: Side,
        /// The limit, in the unit of the point.
        limit: f64,
    },
    /// Whether the tool has done something since `ready`.
    Tool {
        /// What.
        deed: Deed,
        /// Done, or left undone.
        done: bool,
    },
}

/// What a tool can have done: asked, and been answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Deed {
    /// Service $03.
    ReadConfirmed,
    /// Service $07.
    ReadPending,
    /// Service $0A.
    ReadPermanent,
    /// Service $02, any PID but those that list the supported ones.
    ReadFreezeFrame,
    /// Service $01, PID $01 or $41.
    ReadReadiness,
    /// Service $01, any other PID but those that list the supported ones.
    ReadLive,
    /// Service $06, any MID but those that list the supported ones.
    ReadTests,
    /// Service $09, InfoType $02.
    ReadVin,
    /// Service $04.
    Cleared,
}

impl Deed {
    /// How many there are.
    pub const COUNT: usize = Self::ALL.len();
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::ReadConfirmed,
        Self::ReadPending,
        Self::ReadPermanent,
        Self::ReadFreezeFrame,
        Self::ReadReadiness,
        Self::ReadLive,
        Self::ReadTests,
        Self::ReadVin,
        Self::Cleared,
    ];
    /// Those that follow the word `read`.
    pub(crate) const READINGS: &[(&str, Self)] = &[
        ("confirmed", Self::ReadConfirmed),
        ("pending", Self::ReadPending),
        ("permanent", Self::ReadPermanent),
        ("freeze-frame", Self::ReadFreezeFrame),
        ("readiness", Self::ReadReadiness),
        ("live", Self::ReadLive),
        ("tests", Self::ReadTests),
        ("vin", Self::ReadVin),
    ];

    /// The words that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ReadConfirmed => "read confirmed",
            Self::ReadPending => "read pending",
            Self::ReadPermanent => "read permanent",
            Self::ReadFreezeFrame => "read freeze-frame",
            Self::ReadReadiness => "read readiness",
            Self::ReadLive => "read live",
            Self::ReadTests => "read tests",
            Self::ReadVin => "read vin",
            Self::Cleared => "cleared",
        }
    }
}

/// A value of a text with its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Spanned<T> {
    /// The value.
    pub value: T,
    /// The bytes of the text it was read from.
    pub span: Range<usize>,
}

impl Phrase {
    /// About how much of the car's time it takes: what a story is bounded by.
    #[must_use]
    pub fn time(&self) -> Duration {
        /// From key on until the engine runs evenly.
        const START: Duration = Duration::from_secs(5);
        /// From key off until the ECU sleeps.
        const KEY_OFF: Duration = Duration::from_secs(10);
        match self {
            Self::KeyOn => Duration::from_millis(500),
            Self::KeyOff => KEY_OFF,
            Self::Start => START,
            Self::Stop => Duration::from_secs(3),
            Self::Wait(time) => *time,
            Self::Soak(time) => KEY_OFF + *time,
            Self::Drive(plan) => START + plan.for_driver().duration(),
            Self::Expect(Expectation {
                when: When::Within(time),
                ..
            }) if !self.is_about_the_tool() => *time,
            _ => Duration::ZERO,
        }
    }

    /// Whether it takes time of the car's, if only a little.
    #[must_use]
    pub fn takes_time(&self) -> bool {
        !self.time().is_zero()
    }

    /// Whether it claims something of the tool on the bus.
    #[must_use]
    pub const fn is_about_the_tool(&self) -> bool {
        matches!(
            self,
            Self::Expect(Expectation {
                claim: Claim::Tool { .. },
                ..
            })
        )
    }
}

impl Plan {
    /// The plan as a driver takes it.
    #[must_use]
    pub fn for_driver(&self) -> twotrip_vehicle::Plan {
        match self {
            Self::Schedule(schedule) => twotrip_vehicle::Plan::schedule(schedule),
            Self::Free(legs) => {
                let leg = |leg: &Leg| match *leg {
                    Leg::Idle(span) => Some(twotrip_vehicle::Leg::Idle { span }),
                    Leg::Cruise(speed, span) => Some(twotrip_vehicle::Leg::Cruise { speed, span }),
                    Leg::Rev(speed, span) => Some(twotrip_vehicle::Leg::Rev { speed, span }),
                    Leg::FullThrottle(speed) => Some(twotrip_vehicle::Leg::FullThrottle { speed }),
                    Leg::Coast(speed) => Some(twotrip_vehicle::Leg::Coast { speed }),
                    Leg::Stop => Some(twotrip_vehicle::Leg::Stop),
                    // For the hand, not for the feet.
                    Leg::KeyOff => None,
                };
                twotrip_vehicle::Plan::new(legs.iter().filter_map(leg).collect())
            }
        }
    }

    /// Whether the key goes off at its end.
    #[must_use]
    pub fn ends_with_key_off(&self) -> bool {
        matches!(self, Self::Free(legs) if legs.last() == Some(&Leg::KeyOff))
    }
}
