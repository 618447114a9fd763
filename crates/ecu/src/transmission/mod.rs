//! The transmission ECU: it commands the gearbox, watches over it with a fault memory of its own, and answers for itself.
//!
//! ```text
//!                 +------ Transmission::step, every 10 ms ------+
//! GearboxPins --> | measured --> control --> solenoids          | --> TransmissionOutputs
//! (engine ECU's   |     |                                       |     solenoids, lamp request
//!  message in it) |     +--> monitors --results--> FaultMemory  |
//!                 +---------------------------------------------+
//! request --> Transmission::answer --> server <-- live data, memory
//! ```
//!
//! The lamp is the engine ECU's to light: what asks for it here goes out as a request. All monitors are of the
//! comprehensive components (13 CCR 1968.2(e)(15)): no ratio is tracked, so that InfoType $08 is not supported, nor is
//! service $06. The VIN is reported by the engine ECU alone.

mod catalogue;
mod control;
mod measured;
mod monitors;
#[cfg(test)]
mod tests;

use alloc::{collections::VecDeque, vec::Vec};
use core::time::Duration;

use twotrip_harness::{GearboxPins, KeyPosition, SolenoidSet};
use twotrip_obd::{Dialect, Dtc, ResponseBuffer};
use twotrip_units::{CarInstant, Pressure};

use crate::{
    Calibration,
    data::{EngagedGear, LiveData},
    memory::{
        Conditions, Effect, Effects, Fact, FaultMemory, PreloadError, Profile, StoredError, StoredMemory,
    },
    monitors::TestResult,
    records::Records,
    server::{self, Addressing, Answer, Context, Identity, Overrides, Quantity, Served},
};
use control::Control;
use measured::Measured;
use monitors::Monitors;

pub use catalogue::CATALOGUE;
pub use measured::Gearing;
pub use monitors::Stand;

/// How long it stays awake after key-off, as the engine ECU does.
const AFTER_RUN: Duration = Duration::from_secs(5);
/// Effects that wait to be polled; older ones are dropped.
const EFFECTS: usize = 64;
/// A step, s, and how many of them lie between two looks of the monitors.
const STEP_S: f64 = 0.01;
const SLOW: u8 = 10;
const SLOW_SPAN: Duration = Duration::from_millis(100);

/// What makes one transmission ECU differ from another.
#[derive(Clone, Debug)]
pub struct TransmissionConfig {
    /// The regulation that its fault memory follows.
    pub profile: &'static Profile,
    /// What it says it is.
    pub identity: Identity,
    /// What it is told of gearbox and car.
    pub gearing: Gearing,
    /// In which services it is asked.
    pub dialect: Dialect,
}

impl TransmissionConfig {
    /// The one of a car, under a regulation.
    #[must_use]
    pub fn under(profile: &'static Profile, gearing: Gearing) -> Self {
        Self {
            profile,
            identity: Identity::transmission(profile, &CATALOGUE, &gearing),
            gearing,
            dialect: Dialect::Classic,
        }
    }
}

/// What it gives out in a step.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TransmissionOutputs {
    /// Solenoids that get current.
    pub solenoids: SolenoidSet,
    /// It asks the engine ECU for the malfunction indicator lamp.
    pub asks_for_lamp: bool,
    /// It lets the gearbox be in third without lock-up until the key has been off.
    pub default_mode: bool,
}

/// The transmission ECU. Cloning forks it.
///
/// ```
/// use twotrip_ecu::{
///     memory::Profile,
///     server::Addressing,
///     transmission::{Gearing, Transmission, TransmissionConfig},
/// };
/// use twotrip_harness::{GearboxPins, KeyPosition};
/// use twotrip_obd::ResponseBuffer;
/// use twotrip_units::CarInstant;
///
/// let config = TransmissionConfig::under(&Profile::US_2010, Gearing::compact_2_0());
/// let mut transmission = Transmission::new(config);
/// let now = CarInstant::from_millis(10);
/// transmission.step(now, &GearboxPins { key: KeyPosition::On, ..GearboxPins::default() });
/// let mut response = ResponseBuffer::new();
/// let answer = transmission.answer(now, false, Addressing::Functional, &[0x03], &mut response);
/// assert!(answer.is_positive());
/// assert_eq!(response.as_slice(), [0x43, 0x00]);
/// ```
#[derive(Clone, Debug)]
pub struct Transmission {
    control: Control,
    monitors: Monitors,
    memory: FaultMemory,
    identity: Identity,
    served: Served,
    gearing: Gearing,
    dialect: Dialect,
    measured: Measured,
    live: LiveData,
    /// Of the next look of the monitors.
    countdown: u8,
    /// Standing time of the engine.
    soak: Duration,
    /// When the engine started.
    started: Option<CarInstant>,
    awake_until: CarInstant,
    asleep: bool,
    effects: VecDeque<Effect>,
    records: Records,
}

impl Transmission {
    /// A new one, asleep.
    #[must_use]
    pub fn new(config: TransmissionConfig) -> Self {
        let memory = FaultMemory::new(config.profile, &CATALOGUE);
        Self {
            control: Control::default(),
            monitors: Monitors::default(),
            memory: match config.dialect {
                Dialect::Classic => memory,
                Dialect::OnUds => memory.with_detail(),
            },
            identity: config.identity,
            served: Served::by_transmission(),
            gearing: config.gearing,
            dialect: config.dialect,
            measured: Measured::default(),
            live: LiveData::default(),
            countdown: 0,
            soak: Duration::ZERO,
            started: None,
            awake_until: CarInstant::ZERO,
            asleep: true,
            effects: VecDeque::with_capacity(EFFECTS),
            records: Records::default(),
        }
    }

    /// One step of 10 ms: takes in the pins, gives out what it drives and asks for.
    pub fn step(&mut self, now: CarInstant, pins: &GearboxPins) -> TransmissionOutputs {
        let (key_was_on, ran) = (self.measured.key_on, self.measured.runs);
        self.measured.take(pins, &self.gearing);
        let (key_on, runs) = (self.measured.key_on, self.measured.runs);
        if key_on && !key_was_on {
            self.control.key_on();
            self.monitors.key_on();
            self.apply(now, &Fact::KeyOn);
        }
        if runs && !ran {
            self.engine_started(now);
        } else if ran && !runs {
            self.started = None;
            self.apply(now, &Fact::EngineStopped);
        }
        if key_was_on && !key_on {
            self.awake_until = now + AFTER_RUN;
            self.started = None;
            self.apply(now, &Fact::KeyOff);
        }
        self.asleep = !key_on && now >= self.awake_until;
        if self.asleep {
            return TransmissionOutputs::default();
        }
        let solenoids = self.control.step(&self.gearing, &self.measured);
        self.countdown = self.countdown.checked_sub(1).unwrap_or(SLOW - 1);
        if self.countdown == 0 {
            self.step_slow(now);
        }
        TransmissionOutputs {
            solenoids,
            asks_for_lamp: self.lamp_requested(),
            default_mode: self.control.is_in_default_mode(),
        }
    }

    /// Whether it sleeps, as of its last step: key off, after-run over. It answers nobody then.
    #[must_use]
    pub const fn asleep(&self) -> bool {
        self.asleep
    }

    /// Whether a code of it asks for the malfunction indicator lamp.
    #[must_use]
    pub const fn lamp_requested(&self) -> bool {
        self.memory.mil_commanded()
    }

    /// Time that has passed asleep.
    pub fn slept(&mut self, span: Duration) {
        self.soak = self.soak.saturating_add(span);
    }

    /// It has no supply, for so long by now: it does nothing and answers nobody until its next step.
    pub fn without_supply(&mut self, span: Duration) {
        self.asleep = true;
        self.slept(span);
    }

    /// Answers one request; where it does, the bytes are in the buffer. A clear is carried out, unless
    /// `engine_or_wheels_turn`: then it is refused, as every other ECU of the vehicle refuses it.
    pub fn answer(
        &mut self,
        now: CarInstant,
        engine_or_wheels_turn: bool,
        addressing: Addressing,
        request: &[u8],
        response: &mut ResponseBuffer,
    ) -> Answer {
        if self.asleep {
            response.clear();
            return Answer::Silence;
        }
        let context = Context {
            live: &self.live,
            memory: &self.memory,
            monitors: None,
            identity: &self.identity,
            key_on: self.measured.key_on,
            engine_running: engine_or_wheels_turn,
            vehicle_moving: false,
            overrides: &Overrides::NONE,
            calibration: &NO_ENGINE,
            served: &self.served,
        };
        let answer = match self.dialect {
            Dialect::Classic => server::answer(&context, addressing, request, response),
            Dialect::OnUds => server::uds::answer(&context, addressing, request, response),
        };
        if answer == Answer::PositiveAndClear {
            self.apply(now, &Fact::Clear);
            self.monitors.clear();
        }
        answer
    }

    /// Puts confirmed codes into the memory, with a freeze frame of the present data: not physical.
    ///
    /// # Errors
    /// If there is no room for a code; those before it are stored.
    pub fn preload_confirmed(&mut self, now: CarInstant, codes: &[Dtc]) -> Result<(), PreloadError> {
        self.preload(now, codes, FaultMemory::preload_confirmed)
    }

    /// Puts pending codes into the memory, with a freeze frame of the present data: not physical.
    ///
    /// # Errors
    /// If there is no room for a code; those before it are stored.
    pub fn preload_pending(&mut self, now: CarInstant, codes: &[Dtc]) -> Result<(), PreloadError> {
        self.preload(now, codes, FaultMemory::preload_pending)
    }

    fn preload(
        &mut self,
        now: CarInstant,
        codes: &[Dtc],
        store: fn(&mut FaultMemory, Dtc, &LiveData) -> Result<Effects, PreloadError>,
    ) -> Result<(), PreloadError> {
        for &dtc in codes {
            let effects = store(&mut self.memory, dtc, &self.live)?;
            effects
                .iter()
                .for_each(|effect| self.records.changed(now, effect));
            queue(&mut self.effects, &effects);
        }
        Ok(())
    }

    /// What has happened in the fault memory since the last call, one by one, oldest first.
    pub fn poll_effect(&mut self) -> Option<Effect> {
        self.effects.pop_front()
    }

    /// Fault memory.
    #[must_use]
    pub const fn memory(&self) -> &FaultMemory {
        &self.memory
    }

    /// Live data as measured, at most 100 ms old.
    #[must_use]
    pub const fn live(&self) -> &LiveData {
        &self.live
    }

    /// What was decided, and on what ground.
    #[must_use]
    pub const fn records(&self) -> &Records {
        &self.records
    }

    /// How its monitors stand, in the order of [`CATALOGUE`].
    #[must_use]
    pub fn stands(&self) -> Vec<Stand> {
        self.monitors
            .stands(&self.measured, &self.control, &self.gearing, &self.memory)
    }

    /// Whether a tester finds this value in its freeze frames: it measures no others.
    #[must_use]
    pub fn freezes(&self, value: Quantity) -> bool {
        self.served.frozen.contains(value.pid())
    }

    /// Vehicle information.
    #[must_use]
    pub const fn identity(&self) -> &Identity {
        &self.identity
    }

    /// Gear that is commanded, 1 to 6.
    #[must_use]
    pub const fn gear(&self) -> usize {
        self.control.gear() + 1
    }

    /// What it keeps without power.
    #[must_use]
    pub fn store(&self) -> StoredMemory {
        self.memory.store()
    }

    /// Power was off and is back, with this content.
    ///
    /// # Errors
    /// [`StoredError`] if no fault memory can have it; then nothing changes.
    pub fn restore(&mut self, now: CarInstant, stored: &StoredMemory) -> Result<(), StoredError> {
        self.memory.restore(stored)?;
        self.monitors.clear();
        self.records.put_back(now, self.memory.is_driving_cycle());
        self.effects.clear();
        Ok(())
    }

    /// A new controller: nothing stored.
    pub fn renew(&mut self, now: CarInstant) {
        let blank = FaultMemory::new(self.memory.profile(), &CATALOGUE).store();
        // A blank memory is one that an ECU can have.
        let _ = self.restore(now, &blank);
        self.control.key_on();
    }

    fn engine_started(&mut self, now: CarInstant) {
        self.started = Some(now);
        self.fill(now);
        self.apply(now, &Fact::EngineStarted);
        let soak = core::mem::take(&mut self.soak);
        self.records
            .cycle_began_with(now, soak, self.measured.coolant, self.measured.ambient);
        self.monitors.engine_started(soak);
    }

    /// Every 100 ms while awake.
    fn step_slow(&mut self, now: CarInstant) {
        self.fill(now);
        if !self.memory.is_driving_cycle() {
            self.soak += SLOW_SPAN;
            return;
        }
        let Self {
            monitors,
            measured,
            control,
            memory,
            live,
            effects,
            records,
            gearing,
            ..
        } = self;
        monitors.step(measured, control, gearing, memory, &mut |memory, result| {
            records.heard(now, result);
            let fact = match result {
                TestResult::Passed(dtc) => Fact::Passed { dtc },
                TestResult::Failed(dtc) => Fact::Failed { dtc },
                _ => return,
            };
            let came = memory.apply(now, &fact, live);
            came.iter().for_each(|effect| records.changed(now, effect));
            queue(effects, &came);
        });
        records.write_all_grounds(now, |_| None);
        self.control.default_for(&self.monitors);
        let measured = &self.measured;
        let conditions = Conditions {
            span: SLOW_SPAN,
            vehicle_speed: measured.speed,
            pedal_released: measured.pedal <= 0.02,
            coolant_temperature: measured.coolant,
            coolant_is_measured: measured.hears_engine,
            ambient_temperature: measured.ambient,
            // It has no barometer, and nothing here is counted in use.
            barometric_pressure: SEA_LEVEL,
            engine_speed: measured.engine_speed,
            load: measured.load,
        };
        self.apply(now, &Fact::Conditions(conditions));
    }

    fn fill(&mut self, now: CarInstant) {
        let measured = &self.measured;
        let gear = if measured.in_drive {
            self.control.gear() + 1
        } else {
            0
        };
        self.live = LiveData {
            calculated_load: measured.load,
            coolant_temperature: measured.coolant,
            engine_speed: measured.engine_speed,
            vehicle_speed: measured.speed,
            run_time: self.started.map_or(Duration::ZERO, |at| now.saturating_since(at)),
            module_voltage: measured.supply,
            ambient_temperature: measured.ambient,
            gear_selected: measured.in_drive,
            gear: Some(EngagedGear {
                number: u8::try_from(gear).unwrap_or(0),
                ratio: measured.ratio().unwrap_or(0.0),
            }),
            ..LiveData::default()
        };
    }

    fn apply(&mut self, now: CarInstant, fact: &Fact) {
        let effects = self.memory.apply(now, fact, &self.live);
        effects
            .iter()
            .for_each(|effect| self.records.changed(now, effect));
        queue(&mut self.effects, &effects);
    }
}

const SEA_LEVEL: Pressure = Pressure::from_kilopascals(101.3);
/// Of no parameter that it serves: those of an engine as built are left out.
static NO_ENGINE: Calibration = Calibration::compact_2_0();

fn queue(waiting: &mut VecDeque<Effect>, effects: &Effects) {
    for effect in effects.iter() {
        if waiting.len() == EFFECTS {
            waiting.pop_front();
        }
        waiting.push_back(effect);
    }
}

/// Whether the key is on.
const fn is_on(key: KeyPosition) -> bool {
    !matches!(key, KeyPosition::Off)
}
