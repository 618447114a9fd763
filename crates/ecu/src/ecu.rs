//! The engine ECU as a whole: what it does in a step, when it sleeps, and who tells whom.

use alloc::{collections::VecDeque, vec::Vec};
use core::time::Duration;

use twotrip_harness::{ActuatorPins, KeyPosition, ModuleCondition, SensorPins};
use twotrip_obd::{Dialect, Dtc, ResponseBuffer};
use twotrip_units::{CarInstant, Speed};

use crate::{
    Calibration, Nonvolatile,
    control::{Control, SLOW_SECONDS, Turn},
    data::LiveData,
    memory::{
        Companion, Conditions, Effect, Effects, Fact, FaultMemory, OperatingPoint, PreloadError, Profile,
        StoredError,
    },
    module::Module,
    monitors::{CATALOGUE, Fast, Inhibits, Monitors, P0455, P0457, Signals, TestResult, Timers},
    records::Records,
    server::{self, Addressing, Answer, Context, Identity, Overrides, SEALED, Served},
};

/// How long the ECU stays awake after key-off.
const AFTER_RUN: Duration = Duration::from_secs(5);
/// Effects that wait to be polled; older ones are dropped.
const EFFECTS: usize = 256;
/// Road speed up to which the car counts as standing.
const STANDING: Speed = Speed::from_kilometres_per_hour(1.6);

/// What makes one ECU differ from another.
#[derive(Clone, Debug)]
pub struct EcuConfig {
    /// The regulation that its fault memory follows.
    pub profile: &'static Profile,
    /// Whether its lamp shows readiness after the check at key-on.
    pub readiness_display: bool,
    /// Vehicle information.
    pub identity: Identity,
    /// What it knows of its engine.
    pub calibration: Calibration,
    /// Codes of the maker's own.
    pub companions: Vec<Companion>,
    /// In which services it is asked.
    pub dialect: Dialect,
}

impl EcuConfig {
    /// The engine ECU as built for one regulation.
    #[must_use]
    pub fn under(profile: &'static Profile) -> Self {
        Self {
            profile,
            readiness_display: false,
            identity: Identity::engine(profile, &CATALOGUE, &Calibration::compact_2_0()),
            calibration: Calibration::compact_2_0(),
            companions: Vec::new(),
            dialect: Dialect::Classic,
        }
    }
}

impl Default for EcuConfig {
    fn default() -> Self {
        Self::under(&Profile::US_2010)
    }
}

/// The engine ECU. Cloning forks it.
///
/// ```
/// use twotrip_ecu::{Ecu, EcuConfig};
/// use twotrip_harness::{KeyPosition, SensorPins};
/// use twotrip_units::CarInstant;
///
/// let mut ecu = Ecu::new(EcuConfig::default());
/// let pins = SensorPins {
///     key: KeyPosition::On,
///     ..SensorPins::default()
/// };
/// let actuators = ecu.step(CarInstant::from_millis(10), &pins);
/// assert!(actuators.mil, "the lamp is checked at key-on");
/// assert!(actuators.fuel_pump, "the pump fills the rail");
/// ```
#[derive(Clone, Debug)]
pub struct Ecu {
    control: Control,
    monitors: Monitors,
    memory: FaultMemory,
    identity: Identity,
    dialect: Dialect,
    served: Served,
    overrides: Overrides,
    live: LiveData,
    signals: Signals,
    /// Standing time of the engine.
    soak: Duration,
    /// Awake after key-off until then.
    awake_until: CarInstant,
    asleep: bool,
    /// The vent is kept shut until then, as service $08 asked.
    sealed_until: CarInstant,
    timers: Timers,
    /// What the monitors may know of the memory, worked out again only after something happened in it.
    inhibits: Option<Inhibits>,
    effects: VecDeque<Effect>,
    records: Records,
    module: Module,
    /// What ails the module, as of the last step.
    condition: ModuleCondition,
}

impl Ecu {
    /// A new ECU, asleep.
    #[must_use]
    pub fn new(config: EcuConfig) -> Self {
        let memory = FaultMemory::new(config.profile, &CATALOGUE)
            .without(CATALOGUE.absent(&config.calibration))
            .with_second_bank(config.calibration.second_bank)
            .showing_readiness(config.readiness_display)
            .with_companions(&config.companions);
        Self {
            control: Control::new(&config.calibration),
            monitors: Monitors::default(),
            memory: match config.dialect {
                Dialect::Classic => memory,
                Dialect::OnUds => memory.with_detail(),
            },
            identity: config.identity,
            dialect: config.dialect,
            served: Served::by(&config.calibration),
            overrides: Overrides::NONE,
            live: LiveData::default(),
            signals: Signals::default(),
            soak: Duration::ZERO,
            awake_until: CarInstant::ZERO,
            asleep: true,
            sealed_until: CarInstant::ZERO,
            timers: Timers::default(),
            inhibits: None,
            effects: VecDeque::with_capacity(EFFECTS),
            records: Records::default(),
            module: Module::default(),
            condition: ModuleCondition::default(),
        }
    }

    /// One step of 10 ms: takes in the pins, gives out the pins.
    pub fn step(&mut self, now: CarInstant, pins: &SensorPins) -> ActuatorPins {
        self.condition = pins.module;
        if pins.module.keep_alive_lost && (self.asleep || pins.key == KeyPosition::Off) {
            self.lose_keep_alive();
        }
        let mut turns = [None; 4];
        let mut count = 0;
        let mut requests = self.monitors.requests();
        requests.shut_vent |= now < self.sealed_until;
        let mut actuators = self.control.step(now, pins, requests, |turn| {
            turns[count] = Some(turn);
            count += 1;
        });
        if self.control.is_slow_step() || count > 0 {
            self.take_signals(now);
        }
        if self.control.is_running() {
            self.monitors.fast(&Fast {
                pins,
                measured: self.control.measured(),
                signals: &self.signals,
            });
        }
        for &turn in turns[..count].iter().flatten() {
            self.turn(now, turn);
        }
        self.asleep = !self.control.key_on() && now >= self.awake_until;
        if self.control.is_slow_step() && !self.asleep {
            self.hear_lamp_request(now, pins);
            self.step_slow(now);
            self.records.end_of_step(now, &self.monitors, &self.signals, pins);
        }
        actuators.mil = self.memory.lamp(now).shines(now);
        actuators
    }

    /// Whether the ECU sleeps, as of its last step: key off, after-run over. It answers nobody then, and the car may
    /// rest in coarse steps ([`Self::slept`]) until the key moves.
    #[must_use]
    pub const fn asleep(&self) -> bool {
        self.asleep
    }

    /// Whether something still works in the parked car while the ECU answers nobody: then [`Self::rest_second`] is
    /// called once a second, in place of [`Self::slept`].
    #[must_use]
    pub fn tests_at_rest(&self) -> bool {
        self.asleep && self.monitors.work_at_rest()
    }

    /// A second more at rest: takes in the pins, gives out the pins.
    pub fn rest_second(&mut self, now: CarInstant, pins: &SensorPins) -> ActuatorPins {
        const SECOND: Duration = Duration::from_secs(1);
        self.slept(now, SECOND);
        self.control.look_at_rest(pins);
        self.take_signals(now);
        self.with_monitors(now, |monitors, signals, report| {
            monitors.rest_second(signals, report);
        });
        self.records.end_of_step(now, &self.monitors, &self.signals, pins);
        ActuatorPins {
            vent_shut: self.monitors.requests().shut_vent,
            ..ActuatorPins::default()
        }
    }

    /// The module had no supply while the key was off: what it has learned and which monitors have run is gone. Codes,
    /// freeze frame and counters need none.
    pub fn lose_keep_alive(&mut self) {
        if !self.module.lose() {
            return;
        }
        self.control.forget_learned();
        self.monitors.forget_means();
        self.memory.forget_readiness();
        self.inhibits = None;
    }

    /// A new module, or one whose memory was written anew: nothing stored, nothing learned, all counters at 0 (13 CCR
    /// 1968.2(d)(5.2.1), from memory). The key stands as it stood.
    pub fn renew(&mut self, now: CarInstant) {
        let blank = FaultMemory::new(self.memory.profile(), &CATALOGUE).store();
        // A blank memory is one that an ECU can have.
        let _ = self.memory.restore(&blank);
        self.inhibits = None;
        self.module = Module::default();
        let (profile, calibration) = (self.memory.profile(), self.control.calibration());
        self.identity.sum_up(profile, &CATALOGUE, calibration, [false; 2]);
        self.monitors.clear();
        self.monitors.forget_means();
        self.control.clear();
        self.control.forget_learned();
        self.records.put_back(now, self.memory.is_driving_cycle());
        self.effects.clear();
    }

    /// Whether there is something for [`Self::poll_effect`].
    #[must_use]
    pub fn has_effects(&self) -> bool {
        !self.effects.is_empty()
    }

    /// Time that has passed asleep.
    pub fn slept(&mut self, _now: CarInstant, span: Duration) {
        self.soak = self.soak.saturating_add(span);
        self.control.slept(span);
    }

    /// Answers one request; where it does, the bytes are in the buffer. A clear or a seal is carried out.
    pub fn answer(
        &mut self,
        now: CarInstant,
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
            monitors: Some(&self.monitors),
            identity: &self.identity,
            key_on: self.control.key_on(),
            engine_running: self.memory.is_driving_cycle(),
            vehicle_moving: self.vehicle_moves(),
            overrides: &self.overrides,
            calibration: self.control.calibration(),
            served: &self.served,
        };
        let answer = match self.dialect {
            Dialect::Classic => server::answer(&context, addressing, request, response),
            Dialect::OnUds => server::uds::answer(&context, addressing, request, response),
        };
        if matches!(answer, Answer::PositiveAndSeal | Answer::SilenceAndSeal) {
            self.sealed_until = now + SEALED;
        }
        if answer == Answer::PositiveAndClear {
            self.apply(now, &Fact::Clear);
            self.monitors.clear();
            self.module.told();
            self.control.clear();
            self.control.fill(now, &mut self.live);
        }
        answer
    }

    fn vehicle_moves(&self) -> bool {
        self.live.vehicle_speed > STANDING
    }

    /// Whether the engine runs or the vehicle moves, as far as it knows: a clear is refused then, by all ECUs of the
    /// vehicle.
    #[must_use]
    pub fn engine_or_wheels_turn(&self) -> bool {
        self.memory.is_driving_cycle() || self.vehicle_moves()
    }

    /// Live data as measured, at most 100 ms old.
    #[must_use]
    pub const fn live(&self) -> &LiveData {
        &self.live
    }

    /// Fault memory.
    #[must_use]
    pub const fn memory(&self) -> &FaultMemory {
        &self.memory
    }

    /// Monitors, for those who ask why there is a code or none.
    #[must_use]
    pub const fn monitors(&self) -> &Monitors {
        &self.monitors
    }

    /// What the monitors see, at most 100 ms old.
    #[must_use]
    pub const fn signals(&self) -> &Signals {
        &self.signals
    }

    /// What was decided, and on what ground.
    #[must_use]
    pub const fn records(&self) -> &Records {
        &self.records
    }

    /// Engine management, for those who look inside.
    #[must_use]
    pub const fn control(&self) -> &Control {
        &self.control
    }

    /// In which services it is asked.
    #[must_use]
    pub const fn dialect(&self) -> Dialect {
        self.dialect
    }

    /// Vehicle information.
    #[must_use]
    pub const fn identity(&self) -> &Identity {
        &self.identity
    }

    /// Power was off: the memory comes back with this content, the rest begins anew.
    pub(crate) fn take_over(&mut self, now: CarInstant, content: &Nonvolatile) -> Result<(), StoredError> {
        self.memory.restore(&content.memory)?;
        self.inhibits = None;
        self.monitors.clear();
        self.monitors
            .take_over(&content.tests(), content.nights, &content.means);
        self.control.clear();
        self.control.learn(&content.learned);
        self.records.put_back(now, self.memory.is_driving_cycle());
        self.effects.clear();
        Ok(())
    }

    /// The reported values that are pinned.
    #[must_use]
    pub const fn overrides(&self) -> &Overrides {
        &self.overrides
    }

    /// Reported values pinned by hand.
    pub const fn overrides_mut(&mut self) -> &mut Overrides {
        &mut self.overrides
    }

    /// Puts confirmed codes into the memory, with a freeze frame of the present data: not physical.
    ///
    /// # Errors
    /// If there is no room for a code; those before it are stored.
    pub fn preload_confirmed(&mut self, now: CarInstant, codes: &[Dtc]) -> Result<(), PreloadError> {
        for &dtc in codes {
            let effects = self.memory.preload_confirmed(dtc, &self.live)?;
            self.queue(now, &effects);
        }
        Ok(())
    }

    /// Puts pending codes into the memory, with a freeze frame of the present data: not physical.
    ///
    /// # Errors
    /// If there is no room for a code; those before it are stored.
    pub fn preload_pending(&mut self, now: CarInstant, codes: &[Dtc]) -> Result<(), PreloadError> {
        for &dtc in codes {
            let effects = self.memory.preload_pending(dtc, &self.live)?;
            self.queue(now, &effects);
        }
        Ok(())
    }

    /// What has happened in the fault memory since the last call, one by one, oldest first. The oldest are dropped
    /// when nobody asks.
    pub fn poll_effect(&mut self) -> Option<Effect> {
        self.effects.pop_front()
    }

    fn turn(&mut self, now: CarInstant, turn: Turn) {
        let fact = match turn {
            Turn::KeyOn => {
                self.test_module();
                self.monitors.key_on(&self.signals);
                Fact::KeyOn
            }
            Turn::KeyOff => {
                self.monitors.key_off(&self.signals);
                self.sealed_until = CarInstant::ZERO;
                self.awake_until = now + AFTER_RUN;
                Fact::KeyOff
            }
            Turn::Cranking => Fact::Cranking,
            Turn::Started => {
                self.sealed_until = CarInstant::ZERO;
                self.apply(now, &Fact::EngineStarted);
                let soak = core::mem::take(&mut self.soak);
                self.records.cycle_began(now, soak, &self.signals);
                self.with_monitors(now, |monitors, signals, report| {
                    monitors.engine_started(signals, soak, report);
                });
                self.module.told();
                return;
            }
            Turn::Stopped => {
                self.monitors.engine_stopped();
                Fact::EngineStopped
            }
        };
        self.apply(now, &fact);
    }

    /// The module's tests of itself at key-on.
    fn test_module(&mut self) {
        let turned = [self.condition.program_bit, self.condition.calibration_bit];
        let before = self.module.found();
        // What reads as it was written has the sum that was written.
        let sums = if turned == [false; 2] && !before.program && !before.calibration {
            [true; 2]
        } else {
            let (profile, calibration) = (self.memory.profile(), self.control.calibration());
            self.identity.sum_up(profile, &CATALOGUE, calibration, turned)
        };
        self.module.key_on(self.condition, sums);
        self.signals.self_test = self.module.found();
    }

    /// Lets the monitors do something; what they report goes to the memory at once.
    fn with_monitors(
        &mut self,
        now: CarInstant,
        turn: impl FnOnce(&mut Monitors, &Signals, &mut dyn FnMut(TestResult)),
    ) {
        let Self {
            monitors,
            signals,
            memory,
            live,
            inhibits,
            effects,
            records,
            ..
        } = self;
        turn(monitors, signals, &mut |result| {
            records.heard(now, result);
            let Some(fact) = fact(result, memory, live) else {
                return;
            };
            let came = memory.apply(now, &fact, live);
            if !came.is_empty() {
                *inhibits = None;
            }
            came.iter().for_each(|effect| records.changed(now, effect));
            queue(effects, &came);
        });
    }

    /// Every 100 ms while awake.
    fn step_slow(&mut self, now: CarInstant) {
        if !self.memory.is_driving_cycle() {
            self.soak += Duration::from_millis(100);
        }
        let inhibits = *self.inhibits.get_or_insert_with(|| inhibits(&self.memory));
        self.with_monitors(now, |monitors, signals, report| {
            monitors.step(signals, inhibits, report)
        });
        let conditions = Conditions {
            span: Duration::from_millis(100),
            vehicle_speed: self.live.vehicle_speed,
            pedal_released: self.control.pedal_released(),
            // What control believes: a wire that comes and goes is no warm-up.
            coolant_temperature: self.control.measured().coolant,
            coolant_is_measured: self.control.measures_coolant(),
            ambient_temperature: self.live.ambient_temperature,
            barometric_pressure: self.live.barometric_pressure,
            engine_speed: self.live.engine_speed,
            load: self.live.calculated_load,
        };
        let effects = self.memory.apply(now, &Fact::Conditions(conditions), &self.live);
        self.queue(now, &effects);
        if effects.contains(Effect::DrivingCycleStarted) {
            self.records.cycle_began(now, Duration::ZERO, &self.signals);
            // A long run was cut: its monitors begin anew, with a warm engine.
            self.with_monitors(now, |monitors, signals, report| {
                monitors.engine_started(signals, Duration::ZERO, report);
            });
        }
    }

    /// The lamp of the transmission ECU is in its messages: what they said last counts, through key-off as well.
    fn hear_lamp_request(&mut self, now: CarInstant, pins: &SensorPins) {
        let asked = pins.gearbox_asks_for_lamp;
        if asked != self.memory.lamp_requested() && self.control.key_on() && !pins.gearbox_silent {
            self.apply(now, &Fact::LampRequest(asked));
        }
    }

    fn take_signals(&mut self, now: CarInstant) {
        self.control.fill(now, &mut self.live);
        let mut signals = self.control.signals(&self.live);
        for (bank, misfiring) in signals.banks.iter_mut().zip(self.monitors.misfire().recent()) {
            bank.misfiring = misfiring;
        }
        if self.control.is_slow_step() {
            self.module.ask(self.condition);
            self.timers.step(&self.signals, &mut signals, SLOW_SECONDS);
        } else {
            signals.keep_times_of(&self.signals);
        }
        signals.self_test = self.module.found();
        signals.actuator_test = self.monitors.requests().moves_an_actuator();
        self.signals = signals;
    }

    fn apply(&mut self, now: CarInstant, fact: &Fact) {
        let effects = self.memory.apply(now, fact, &self.live);
        self.queue(now, &effects);
    }

    fn queue(&mut self, now: CarInstant, effects: &Effects) {
        if !effects.is_empty() {
            self.inhibits = None;
        }
        effects
            .iter()
            .for_each(|effect| self.records.changed(now, effect));
        queue(&mut self.effects, effects);
    }
}

/// What the monitors may know of the memory.
fn inhibits(memory: &FaultMemory) -> Inhibits {
    let held = |&dtc: &Dtc| {
        memory
            .status(dtc)
            .is_some_and(|status| status.pending || status.commands_mil)
    };
    Inhibits {
        blocked: memory.disabled(),
        absent: memory.absent(),
        gross_leak_held: [P0455, P0457].into_iter().find(held),
    }
}

fn queue(waiting: &mut VecDeque<Effect>, effects: &Effects) {
    for effect in effects.iter() {
        if waiting.len() == EFFECTS {
            waiting.pop_front();
        }
        waiting.push_back(effect);
    }
}

/// A monitor's result as the fault memory takes it.
fn fact(result: TestResult, memory: &FaultMemory, live: &LiveData) -> Option<Fact> {
    Some(match result {
        TestResult::Measured(_) => return None,
        TestResult::Passed(dtc) => Fact::Passed { dtc },
        TestResult::Failed(dtc) => Fact::Failed { dtc },
        TestResult::Completed(monitor) => Fact::Completed { monitor },
        TestResult::CouldDetect(monitor) => Fact::CouldDetect { monitor },
        TestResult::Possible(monitor, possible) => Fact::Possible { monitor, possible },
        TestResult::Commanded(monitor, on) => Fact::Commanded { monitor, on },
        TestResult::Misfire {
            dtc,
            window,
            engine_speed,
            load,
        } => Fact::Misfire {
            dtc,
            window,
            at: OperatingPoint {
                engine_speed,
                load,
                ..memory.point(live)
            },
        },
        TestResult::CatalystMisfire(misfire) => Fact::CatalystMisfire(misfire),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::monitors::frame::StoredTest;

    /// An ECU with the key on, and the clock of its steps.
    struct Bench {
        ecu: Ecu,
        now: CarInstant,
        pins: SensorPins,
        response: ResponseBuffer,
    }

    impl Bench {
        fn new() -> Self {
            let pins = SensorPins {
                key: KeyPosition::On,
                ..SensorPins::default()
            };
            let mut bench = Self {
                ecu: Ecu::new(EcuConfig::default()),
                now: CarInstant::ZERO,
                pins,
                response: ResponseBuffer::new(),
            };
            bench.vent_is_shut_after(Duration::from_secs(1));
            bench
        }

        fn vent_is_shut_after(&mut self, span: Duration) -> bool {
            let end = self.now + span;
            let mut shut = false;
            while self.now < end {
                self.now += Duration::from_millis(10);
                shut = self.ecu.step(self.now, &self.pins).vent_shut;
            }
            shut
        }

        fn seal(&mut self) -> Answer {
            let answer = self
                .ecu
                .answer(self.now, Addressing::Physical, &[0x08, 0x01], &mut self.response);
            assert!(answer.is_sent());
            answer
        }
    }

    /// Ten minutes: our choice, the standard leaves it to the maker.
    #[test]
    fn service_08_shuts_the_vent_for_ten_minutes() {
        let mut bench = Bench::new();
        assert_eq!(bench.seal(), Answer::PositiveAndSeal);
        assert!(bench.vent_is_shut_after(Duration::from_secs(1)));
        assert!(bench.vent_is_shut_after(Duration::from_millis(598_900)));
        assert!(!bench.vent_is_shut_after(Duration::from_secs(1)));
    }

    /// Kept through the loss of power until the next run or a clear (SAE J1979, from memory).
    #[test]
    fn test_results_outlive_a_loss_of_power_but_no_clear() {
        let ask = |bench: &mut Bench, request: &[u8]| {
            let answer = bench
                .ecu
                .answer(bench.now, Addressing::Physical, request, &mut bench.response);
            assert!(answer.is_sent(), "{request:02X?}");
        };
        let mut bench = Bench::new();
        bench.ecu.monitors.take_over(
            &[StoredTest::new((0x39, 0x80), -3.0, (None, Some(-2000.0)), false)],
            crate::monitors::natural_vacuum::Average::default(),
            &crate::monitors::Means::default(),
        );
        let kept = bench.ecu.nonvolatile();
        let mut later = Bench::new();
        later.ecu.restore(later.now, &kept).expect("it is this ECU's");
        ask(&mut later, &[0x06, 0x39]);
        assert_eq!(
            *later.response,
            [0x46, 0x39, 0x80, 0xFE, 0xFF, 0xF4, 0x80, 0x00, 0xE0, 0xC0]
        );
        ask(&mut later, &[0x04]);
        ask(&mut later, &[0x06, 0x39]);
        assert_eq!(*later.response, [0x46, 0x39, 0x80, 0xFE, 0, 0, 0, 0, 0, 0]);
        assert_eq!(later.ecu.nonvolatile().tests(), []);
    }

    #[test]
    fn the_seal_ends_with_the_key_or_the_engine() {
        for (key, crank_speed) in [(KeyPosition::Off, 0.0), (KeyPosition::On, 900.0)] {
            let mut bench = Bench::new();
            assert_eq!(bench.seal(), Answer::PositiveAndSeal);
            assert!(bench.vent_is_shut_after(Duration::from_millis(200)));
            bench.pins.key = key;
            bench.pins.crank_speed = twotrip_units::AngularSpeed::from_rpm(crank_speed);
            assert!(!bench.vent_is_shut_after(Duration::from_secs(2)), "{key:?}");
            assert_eq!(
                bench.seal(),
                Answer::Negative(twotrip_obd::ResponseCode::ConditionsNotCorrect)
            );
        }
    }
}
