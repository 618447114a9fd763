//! Event tables over a car with a few monitors: a row is what happens, and what is stored after it.

mod companion;
mod counters;
mod cycle;
mod engine_off;
mod eobd;
mod freeze_frame;
mod fuel_system;
mod in_use;
mod lamp;
mod life;
mod misfire;
mod permanent;
mod preload;
mod properties;
mod readiness;
mod scenarios;
mod stored;
mod wide;

extern crate std;

use core::{fmt::Write, time::Duration};
use std::string::String;

use twotrip_obd::{Dtc, Group, InUseItem};
use twotrip_units::{AngularSpeed, CarInstant, Pressure, Ratio, Speed, Temperature};

use super::{
    Catalogue, CatalystMisfire, CodeDefinition, Conditions, Denominator, Effect, Effects, Fact, FaultMemory,
    InUseTracking, Logic, MisfireWindow, MonitorDefinition, MonitorId, OperatingPoint, Profile,
};
use crate::data::LiveData;

const COOLANT_CIRCUIT: MonitorId = MonitorId(0);
const CATALYST: MonitorId = MonitorId(1);
const LEAK: MonitorId = MonitorId(2);
const PURGE_FLOW: MonitorId = MonitorId(3);
const MISFIRE: MonitorId = MonitorId(4);
const THROTTLE: MonitorId = MonitorId(5);
const PRESSURE_SWITCH: MonitorId = MonitorId(6);

const COOLANT_LOW: Dtc = Dtc::p(0x0117);
const COOLANT_HIGH: Dtc = Dtc::p(0x0118);
const CATALYST_WEAK: Dtc = Dtc::p(0x0420);
const GROSS_LEAK: Dtc = Dtc::p(0x0455);
const SMALL_LEAK: Dtc = Dtc::p(0x0442);
const NO_PURGE: Dtc = Dtc::p(0x0441);
const MISFIRE_RANDOM: Dtc = Dtc::p(0x0300);
const THROTTLE_TRACKS: Dtc = Dtc::p(0x2135);
const NO_MIL: Dtc = Dtc::p(0x0532);

const fn monitor(
    name: &'static str,
    group: Group,
    minimum_ratio: bool,
    continuous: bool,
) -> MonitorDefinition {
    let denominator = match group {
        Group::Evap => Denominator::Evap,
        _ => Denominator::General,
    };
    MonitorDefinition {
        minimum_ratio,
        continuous,
        in_use: match InUseItem::of_group(group) {
            Some(item) => Some(InUseTracking { item, denominator }),
            None => None,
        },
        ..MonitorDefinition::named(name, group)
    }
}

const fn code(dtc: Dtc, monitor: MonitorId) -> CodeDefinition {
    CodeDefinition::standard(dtc, monitor, "a fault")
}

static CATALOGUE: Catalogue = Catalogue {
    monitors: &[
        monitor("coolant circuit", Group::Components, false, true),
        monitor("catalyst", Group::Catalyst, true, false),
        MonitorDefinition {
            disabled_by: &[COOLANT_LOW, COOLANT_HIGH],
            ..monitor("leak", Group::Evap, true, false)
        },
        monitor("purge flow", Group::Evap, true, false),
        monitor("misfire", Group::Misfire, false, true),
        monitor("throttle tracks", Group::Components, false, true),
        monitor("air-conditioning pressure", Group::Components, false, true),
    ],
    codes: &[
        code(COOLANT_LOW, COOLANT_CIRCUIT),
        code(COOLANT_HIGH, COOLANT_CIRCUIT),
        code(CATALYST_WEAK, CATALYST),
        code(GROSS_LEAK, LEAK),
        code(SMALL_LEAK, LEAK),
        code(NO_PURGE, PURGE_FLOW),
        CodeDefinition {
            logic: Logic::Misfire,
            ..code(MISFIRE_RANDOM, MISFIRE)
        },
        CodeDefinition {
            logic: Logic::OneCycle,
            ..code(THROTTLE_TRACKS, THROTTLE)
        },
        CodeDefinition {
            commands_mil: false,
            ..code(NO_MIL, PRESSURE_SWITCH)
        },
    ],
};

/// One thing that happens to the car.
#[derive(Clone, Copy, Debug)]
enum Event {
    KeyOn,
    Crank,
    Start,
    Stop,
    KeyOff,
    Pass(Dtc),
    Fail(Dtc),
    Done(MonitorId),
    Possible(MonitorId, bool),
    CouldDetect(MonitorId),
    Clear,
    /// Standing with the pedal released, seconds.
    Idle(u64),
    /// Seconds at km/h, pedal pressed.
    Drive(u64, f64),
    /// Seconds at km/h, pedal released.
    Coast(u64, f64),
    /// Engine speed in rpm and load in percent, from now on.
    At(f64, f64),
    /// A span of revolutions with too much misfire, where the engine runs now.
    Misfire(Dtc, MisfireWindow),
    /// Misfire that endangers the catalyst.
    Catalyst(CatalystMisfire),
    /// An output on or off.
    Command(MonitorId, bool),
    /// °C from now on.
    Coolant(f64),
    /// °C from now on, by the ECU's model: its sensor is not believed.
    ModelledCoolant(f64),
    /// °C from now on.
    Ambient(f64),
    /// kPa from now on.
    Barometer(f64),
    /// A cold engine that becomes warm: the coolant at 20 °C, then at 90 °C.
    WarmUp,
}

use Event::*;

/// The fault memory with the state of the car around it.
#[derive(Clone, Debug)]
struct Car {
    memory: FaultMemory,
    now: CarInstant,
    live: LiveData,
    conditions: Conditions,
}

impl Car {
    fn new() -> Self {
        Self::under(&Profile::US_2010)
    }

    fn under(profile: &'static Profile) -> Self {
        Self::with(profile, &CATALOGUE)
    }

    fn with(profile: &'static Profile, catalogue: &'static Catalogue) -> Self {
        let mut car = Self {
            memory: FaultMemory::new(profile, catalogue),
            now: CarInstant::ZERO,
            live: LiveData::default(),
            conditions: Conditions {
                span: Duration::from_millis(100),
                vehicle_speed: Speed::ZERO,
                pedal_released: true,
                coolant_temperature: Temperature::from_celsius(20.0),
                coolant_is_measured: true,
                ambient_temperature: Temperature::from_celsius(20.0),
                barometric_pressure: Pressure::from_kilopascals(100.0),
                engine_speed: AngularSpeed::from_rpm(2000.0),
                load: Ratio::from_percent(40.0),
            },
        };
        car.happen_all(&[At(2000.0, 40.0), Coolant(20.0)]);
        car
    }

    /// Where the engine runs.
    fn point(&self) -> OperatingPoint {
        OperatingPoint::of(&self.live, self.memory.profile())
    }

    fn apply(&mut self, fact: Fact) -> Effects {
        self.memory.apply(self.now, &fact, &self.live)
    }

    fn travel(&mut self, seconds: u64, kilometres_per_hour: f64, pedal_released: bool) -> Effects {
        self.conditions.vehicle_speed = Speed::from_kilometres_per_hour(kilometres_per_hour);
        self.conditions.pedal_released = pedal_released;
        let mut all = Effects::NONE;
        for _ in 0..seconds * 10 {
            self.now += self.conditions.span;
            for effect in self.apply(Fact::Conditions(self.conditions)).iter() {
                all.push(effect);
            }
        }
        all
    }

    fn happen(&mut self, event: Event) -> Effects {
        match event {
            KeyOn => self.apply(Fact::KeyOn),
            Crank => self.apply(Fact::Cranking),
            Start => self.apply(Fact::EngineStarted),
            Stop => self.apply(Fact::EngineStopped),
            KeyOff => self.apply(Fact::KeyOff),
            Pass(dtc) => self.apply(Fact::Passed { dtc }),
            Fail(dtc) => self.apply(Fact::Failed { dtc }),
            Done(monitor) => self.apply(Fact::Completed { monitor }),
            Possible(monitor, possible) => self.apply(Fact::Possible { monitor, possible }),
            CouldDetect(monitor) => self.apply(Fact::CouldDetect { monitor }),
            Clear => self.apply(Fact::Clear),
            Idle(seconds) => self.travel(seconds, 0.0, true),
            Drive(seconds, speed) => self.travel(seconds, speed, false),
            Coast(seconds, speed) => self.travel(seconds, speed, true),
            At(rpm, percent) => {
                self.live.engine_speed = AngularSpeed::from_rpm(rpm);
                self.live.calculated_load = Ratio::from_percent(percent);
                self.conditions.engine_speed = self.live.engine_speed;
                self.conditions.load = self.live.calculated_load;
                Effects::NONE
            }
            Misfire(dtc, window) => self.apply(Fact::Misfire {
                dtc,
                window,
                at: self.point(),
            }),
            Catalyst(misfire) => self.apply(Fact::CatalystMisfire(misfire)),
            Command(monitor, on) => self.apply(Fact::Commanded { monitor, on }),
            Coolant(celsius) | ModelledCoolant(celsius) => {
                self.conditions.coolant_is_measured = matches!(event, Coolant(_));
                self.conditions.coolant_temperature = Temperature::from_celsius(celsius);
                self.live.coolant_temperature = self.conditions.coolant_temperature;
                Effects::NONE
            }
            Ambient(celsius) => {
                self.conditions.ambient_temperature = Temperature::from_celsius(celsius);
                Effects::NONE
            }
            Barometer(kilopascals) => {
                self.conditions.barometric_pressure = Pressure::from_kilopascals(kilopascals);
                Effects::NONE
            }
            WarmUp => self.happen_all(&[Coolant(20.0), Idle(1), Coolant(90.0), Idle(1)]),
        }
    }

    fn happen_all(&mut self, events: &[Event]) -> Effects {
        let mut all = Effects::NONE;
        for &event in events {
            for effect in self.happen(event).iter() {
                all.push(effect);
            }
        }
        all
    }

    /// What a tester would read: `pending | confirmed | permanent | MIL | freeze frame`.
    fn stored(&self) -> String {
        fn list(codes: impl Iterator<Item = Dtc>) -> String {
            let mut text = String::new();
            for dtc in codes {
                write!(text, "{}{dtc}", if text.is_empty() { "" } else { " " }).unwrap();
            }
            if text.is_empty() { String::from("-") } else { text }
        }
        std::format!(
            "{} | {} | {} | {} | {}",
            list(self.memory.pending()),
            list(self.memory.confirmed()),
            list(self.memory.permanent()),
            if self.memory.mil_commanded() { "on" } else { "off" },
            list(self.memory.freeze_frame().map(|frame| frame.dtc).into_iter()),
        )
    }

    /// Plays a table: what happens, and what is stored after it.
    #[track_caller]
    fn play(&mut self, table: &[(&[Event], &str)]) {
        for (row, (events, expected)) in table.iter().enumerate() {
            self.happen_all(events);
            assert_eq!(self.stored(), *expected, "after row {row}, {events:?}");
        }
    }
}

/// A short driving cycle from cold in which these things happen.
fn cycle(car: &mut Car, events: &[Event]) -> Effects {
    let mut all = car.happen_all(&[Coolant(20.0), KeyOn, Crank, Start, Idle(5)]);
    for effect in car
        .happen_all(events)
        .iter()
        .chain(car.happen_all(&[KeyOff]).iter())
    {
        all.push(effect);
    }
    all
}

/// The drive of 1968.2(d)(2.5.2)(B) and of the general denominator, with a margin.
const DRIVE: [Event; 3] = [Drive(330, 50.0), Drive(240, 30.0), Idle(60)];

/// The first fault, twice.
fn confirmed_car(dtc: Dtc) -> Car {
    let mut car = Car::new();
    cycle(&mut car, &[Fail(dtc)]);
    cycle(&mut car, &[Fail(dtc)]);
    assert!(car.memory.mil_commanded());
    car
}

/// No fact outside a driving cycle decides (monitors judge with the engine running: our choice, the rule leaves
/// it open), and unknown codes and monitors are ignored.
#[test]
fn what_does_not_belong_is_ignored() {
    let mut car = Car::new();
    car.play(&[
        (
            &[Fail(COOLANT_HIGH), KeyOn, Fail(COOLANT_HIGH), Crank],
            "- | - | - | off | -",
        ),
        (
            &[
                Start,
                Fail(Dtc::p(0x0999)),
                Pass(Dtc::p(0x0999)),
                Done(MonitorId(200)),
            ],
            "- | - | - | off | -",
        ),
        (
            &[Possible(MonitorId(64), false), CouldDetect(MonitorId(255)), Start],
            "- | - | - | off | -",
        ),
        (&[KeyOff, KeyOff, Stop, Fail(COOLANT_HIGH)], "- | - | - | off | -"),
    ]);
    assert_eq!(car.memory.status(Dtc::p(0x0999)), None);
}

/// The end of a driving cycle is settled once, at engine stop or key off, whichever is first.
#[test]
fn a_driving_cycle_ends_once() {
    let mut car = Car::new();
    car.happen_all(&[KeyOn, Crank, Start]);
    assert!(car.memory.is_driving_cycle());
    assert!(car.happen(Stop).contains(Effect::DrivingCycleEnded));
    assert!(car.happen(KeyOff).is_empty());
    assert!(!car.memory.is_driving_cycle());
}

/// Measured speeds that are not numbers harm nothing.
#[test]
fn nonsense_does_not_spread() {
    let mut car = Car::new();
    car.happen_all(&[
        KeyOn,
        Start,
        Drive(1, f64::NAN),
        Drive(1, f64::INFINITY),
        Drive(1, -80.0),
        Coolant(f64::NAN),
    ]);
    car.happen_all(&[Drive(1, 0.0), Coolant(20.0), Drive(100, 36.0)]);
    assert_eq!(car.memory.counters().distance_since_clear, 1);
}
