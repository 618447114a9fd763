//! Engine management, from the sensor pins alone.
//!
//! ```text
//! pins -> measured, substitute -> engine_state -> air -> idle, pedal -> throttle
//!                                      \-> lambda_control, trims, purge -> fuel -> injection
//!                                                               timing, electrics, catalyst
//! ```
//! A step is 10 ms; what does not move in a step is worked out every tenth step.

mod air;
mod air_conditioning;
mod cam;
mod catalyst;
mod electrics;
mod engine_state;
mod estimates;
mod fuel;
mod idle;
mod lambda_control;
mod learned;
mod measured;
mod purge;
mod recirculation;
mod substitute;
mod timing;
mod torque;
mod trims;

use core::time::Duration;

use twotrip_harness::{ActuatorPins, BANKS, Circuit, Output, PerBank, SensorPins};
use twotrip_units::{
    Angle, AngularSpeed, CarInstant, Grid, Limit, MassFlow, Pressure, Ratio, Speed, Temperature,
};

use crate::{
    Calibration,
    circuits::CircuitSet,
    data::{FuelSystemStatus, LiveData},
    monitors::{
        BankSignals, Signals,
        oxygen::{Gathered, Trace},
    },
};

pub use engine_state::{ENGINE_STARTED, EngineState};
pub use estimates::AirEstimates;
pub use learned::Learned;
pub use measured::Measured;

pub(crate) use engine_state::Turn;
pub(crate) use torque::torque_curve;

/// Length of a step, s.
pub const STEP_SECONDS: f64 = 0.01;
/// Steps from one slow step to the next.
pub(crate) const SLOW_STEPS: u32 = 10;
/// Length of a slow step, s.
pub const SLOW_SECONDS: f64 = 0.1;

/// The oil control valve of each bank's intake cam.
pub(crate) const CAM_VALVES: PerBank<Output> = [Output::CamValve, Output::CamValve2];
/// Share of the air between idle and full throttle that the driver asks for, over the pedal.
static PEDAL: Grid<201> = Grid::through([
    (0.0, 0.0),
    (0.015, 0.0),
    (0.05, 0.06),
    (0.10, 0.15),
    (0.15, 0.26),
    (0.20, 0.38),
    (0.30, 0.58),
    (0.50, 0.84),
    (0.75, 0.96),
    (1.0, 1.0),
]);
/// Inertia of the calibrated engine's crank, flywheel and converter, kg m²: the springs behind keep the car's out of
/// single firings.
const CRANK_INERTIA: f64 = 0.20;
/// Turns of the crank after which the ECU knows which cylinder is due, and injects (common practice, no source).
const TURNS_TO_SYNCHRONISE: f64 = 1.5;
/// Without the cam sensor it tries: twice as many (our choice).
const TURNS_WITHOUT_CAM: f64 = 3.0;
/// Closed loop from this coolant temperature and run time on (calibrated).
pub(crate) const CLOSED_LOOP_COOLANT: Temperature = Temperature::from_celsius(20.0);
const CLOSED_LOOP_AFTER: Duration = Duration::from_secs(60);
/// The loop waits this long after a fuel cut or full load, until the sensor sees the new mixture, s.
const REJOIN_SECONDS: f64 = 1.0;
/// Road speed below which the car counts as standing.
const STANDING: Speed = Speed::from_kilometres_per_hour(1.0);
/// How long the loop answers to injectors that hardly opened, s.
const HARDLY_OPEN_FELT_SECONDS: f64 = 3.0;
/// Long-term learning from this coolant temperature on (calibrated).
const LEARN_COOLANT: Temperature = Temperature::from_celsius(70.0);

/// What monitors ask of engine management.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Requests {
    /// Duty of the purge valve, instead of the purge strategy's own.
    pub purge: Option<Ratio>,
    /// Shut the canister's vent.
    pub shut_vent: bool,
    /// Sensors that are implausible: as if their circuits had failed.
    pub distrust: CircuitSet,
    /// Throttle and air do not fit each other: its motor without current.
    pub limp_home: bool,
    /// Opening of the exhaust-gas recirculation valve, instead of the map's.
    pub recirculation: Option<Ratio>,
    /// By how much a bank's mixture is to be richer than stoichiometric, in place of the loop.
    pub mixture: PerBank<Option<Ratio>>,
    /// Banks whose front sensor is not to be believed, by itself or because of misfire: open loop.
    pub open_loop: PerBank<bool>,
    /// Banks that are to learn no trims.
    pub hold_trims: PerBank<bool>,
}

impl Requests {
    /// Whether a test moves something that the engine feels.
    #[must_use]
    pub(crate) const fn moves_an_actuator(&self) -> bool {
        self.purge.is_some() || self.shut_vent || self.recirculation.is_some()
    }

    /// What both ask; where both ask for a duty, the first has it.
    #[must_use]
    #[inline]
    pub(crate) fn and(self, other: Self) -> Self {
        Self {
            purge: self.purge.or(other.purge),
            shut_vent: self.shut_vent || other.shut_vent,
            distrust: self.distrust.with(other.distrust),
            limp_home: self.limp_home || other.limp_home,
            recirculation: self.recirculation.or(other.recirculation),
            mixture: core::array::from_fn(|bank| self.mixture[bank].or(other.mixture[bank])),
            open_loop: core::array::from_fn(|bank| self.open_loop[bank] || other.open_loop[bank]),
            hold_trims: core::array::from_fn(|bank| self.hold_trims[bank] || other.hold_trims[bank]),
        }
    }
}

/// Engine management.
#[derive(Clone, Debug)]
pub struct Control {
    calibration: Calibration,
    banks: usize,
    torque: torque::Model,
    measured: Measured,
    substitutes: substitute::Substitutes,
    /// Manifold pressure and air flow as their circuits show them, where they are replaced.
    shown_air: Option<(Pressure, MassFlow)>,
    watch: engine_state::EngineWatch,
    air: air::Air,
    estimates: estimates::Estimates,
    air_conditioning: air_conditioning::AirConditioning,
    idle: idle::Idle,
    lambda: PerBank<lambda_control::LambdaControl>,
    trims: PerBank<trims::Trims>,
    purge: purge::Purge,
    recirculation: recirculation::Recirculation,
    cam: PerBank<cam::Cam>,
    fuel: fuel::Fuel,
    timing: timing::Timing,
    electrics: electrics::Electrics,
    catalyst: PerBank<catalyst::CatalystModel>,
    pins: ActuatorPins,
    slow_countdown: u32,
    /// Since engine start, as of the last slow step.
    run_time: Duration,
    /// Flow through a square millimetre of throttle, g/s.
    flow_per_area: f64,
    wanted_load: f64,
    plate: Angle,
    start_coolant: f64,
    open_seconds: f64,
    has_been_closed: bool,
    /// Turns of the crank since it last stood still.
    turns: f64,
    /// The watch on each bank's oxygen sensors, and what it has seen within the last 100 ms.
    traces: PerBank<Trace>,
    seen: PerBank<Gathered>,
    /// By how much the mixture of each bank is to be richer instead of what the loop says.
    forced: PerBank<Option<f64>>,
    /// Banks in open loop because of their front sensor.
    open_loop: PerBank<bool>,
    /// For so long the loop still answers to injectors that hardly opened, s; none if not above zero.
    hardly_open_seconds: f64,
    /// Engine speed as testers see it, rpm: the mean since the last slow step, for it is uneven from firing to firing.
    shown_rpm: f64,
    rpm_sum: f64,
    rpm_steps: f64,
}

impl Control {
    /// Engine management of an engine.
    pub(crate) fn new(calibration: &Calibration) -> Self {
        Self {
            calibration: calibration.clone(),
            banks: calibration.banks(),
            torque: torque::Model::new(calibration),
            measured: Measured {
                wide_range: calibration.wide_range,
                ..Measured::default()
            },
            substitutes: substitute::Substitutes::new(calibration),
            shown_air: None,
            watch: engine_state::EngineWatch::default(),
            air: air::Air::new(calibration),
            estimates: estimates::Estimates::default(),
            air_conditioning: air_conditioning::AirConditioning::default(),
            idle: idle::Idle::new(calibration),
            lambda: Default::default(),
            trims: Default::default(),
            purge: purge::Purge::default(),
            recirculation: recirculation::Recirculation::new(calibration.size()),
            cam: Default::default(),
            fuel: fuel::Fuel::new(calibration),
            timing: timing::Timing::default(),
            electrics: electrics::Electrics::default(),
            catalyst: Default::default(),
            pins: ActuatorPins::default(),
            slow_countdown: 0,
            run_time: Duration::ZERO,
            flow_per_area: 0.19,
            wanted_load: 0.0,
            plate: Angle::ZERO,
            start_coolant: 20.0,
            open_seconds: 0.0,
            has_been_closed: false,
            turns: 0.0,
            traces: Default::default(),
            seen: Default::default(),
            forced: [None; BANKS],
            open_loop: [false; BANKS],
            hardly_open_seconds: 0.0,
            shown_rpm: 0.0,
            rpm_sum: 0.0,
            rpm_steps: 0.0,
        }
    }

    /// The signals as last measured, or what stands in for them.
    #[must_use]
    pub const fn measured(&self) -> &Measured {
        &self.measured
    }

    /// What the engine does.
    #[must_use]
    pub const fn engine_state(&self) -> EngineState {
        self.watch.state()
    }

    /// What alternator and other accessories take by the ECU's model, as a share of the reference torque; no PID has it.
    #[must_use]
    pub fn accessory_torque(&self) -> Ratio {
        self.torque.accessories(self.shown_rpm)
    }

    /// Whether the engine runs.
    #[must_use]
    pub const fn is_running(&self) -> bool {
        self.watch.is_running()
    }

    /// Whether the key is on.
    #[must_use]
    pub const fn key_on(&self) -> bool {
        self.watch.key_on()
    }

    /// Time since engine start; zero while the engine does not run.
    #[must_use]
    pub const fn run_time(&self, now: CarInstant) -> Duration {
        self.watch.run_time(now)
    }

    /// What it knows of the engine.
    #[must_use]
    pub const fn calibration(&self) -> &Calibration {
        &self.calibration
    }

    /// The loops of the banks in use.
    fn loops(&self) -> &[lambda_control::LambdaControl] {
        &self.lambda[..self.banks]
    }

    /// Whether the mixture is controlled in closed loop, on every bank.
    #[must_use]
    pub fn is_closed_loop(&self) -> bool {
        self.loops().iter().all(lambda_control::LambdaControl::is_closed)
    }

    /// Mean short-term trim of all banks.
    fn mean_short_term(&self) -> f64 {
        let sum: f64 = self.loops().iter().map(lambda_control::LambdaControl::mean).sum();
        sum * self.calibration.bank_share()
    }

    /// Whether the pedal is at rest.
    #[must_use]
    pub const fn pedal_released(&self) -> bool {
        self.idle.pedal_released()
    }

    /// Whether the coolant temperature is that of its sensor, and not the model that stands in for one that is not
    /// believed.
    #[must_use]
    pub const fn measures_coolant(&self) -> bool {
        !self.substitutes.replaces(Circuit::CoolantSensor)
    }

    /// By how much the injected fuel differs from what the metered air alone asks for, long-term trim left out.
    #[must_use]
    pub const fn fuel_correction(&self) -> Ratio {
        Ratio::from_fraction(self.fuel.correction())
    }

    /// Air that enters the manifold behind the meter: speed-density less metered air, over the last 100 ms.
    #[must_use]
    pub fn air_behind_meter(&self) -> MassFlow {
        MassFlow::from_grams_per_second(self.air.behind_meter)
    }

    /// The three views of the air, as the pins have it.
    #[must_use]
    pub const fn air_estimates(&self) -> &AirEstimates {
        self.estimates.now()
    }

    /// Gas that the cylinders draw by speed-density against what is metered: 1 unless burnt gas comes in too, or the meter
    /// errs.
    #[must_use]
    pub fn gas_by_meter(&self) -> Ratio {
        Ratio::from_fraction(self.air.drawn_gas() / self.measured.air_grams.at_least(0.3))
    }

    /// Whether fuel is cut on the overrun.
    #[must_use]
    pub const fn is_fuel_cut(&self) -> bool {
        self.fuel.is_cut()
    }

    /// Where the intake cam of a bank is to stand, and where it stands.
    #[must_use]
    pub const fn cam(&self, bank: usize) -> (Angle, Angle) {
        (self.cam[bank].target(), self.cam[bank].actual())
    }

    /// Whether this step is one in which slow things happen.
    pub(crate) const fn is_slow_step(&self) -> bool {
        self.slow_countdown == 0
    }

    /// Service $04: short-term correction to zero; learned trims stay (the maker may choose, as published service
    /// information has it).
    pub(crate) fn clear(&mut self) {
        self.lambda
            .iter_mut()
            .for_each(lambda_control::LambdaControl::forget);
    }

    /// Reads what a parked car still shows.
    pub(crate) fn look_at_rest(&mut self, pins: &SensorPins) {
        self.measured.read_slow(pins, 1.0);
    }

    /// What was not counted while the ECU slept.
    pub(crate) fn slept(&mut self, span: Duration) {
        for catalyst in &mut self.catalyst {
            catalyst.rest(self.measured.ambient, span.as_secs_f64());
        }
        self.substitutes.rest(self.measured.ambient, span.as_secs_f64());
        self.measured.forget_level();
    }

    /// One step of 10 ms; `turn` is called for each change of key and engine.
    pub(crate) fn step(
        &mut self,
        now: CarInstant,
        pins: &SensorPins,
        requests: Requests,
        mut turn: impl FnMut(Turn),
    ) -> ActuatorPins {
        self.slow_countdown = if self.slow_countdown == 0 {
            SLOW_STEPS - 1
        } else {
            self.slow_countdown - 1
        };
        let was_running = self.watch.is_running();
        self.measured.read_fast(pins);
        let key_comes_on = !self.watch.key_on() && pins.key != twotrip_harness::KeyPosition::Off;
        if self.is_slow_step() || key_comes_on {
            if key_comes_on {
                self.measured.forget_level();
                self.electrics.key_on(now);
                self.substitutes.key_on();
            }
            self.measured.read_slow(pins, SLOW_SECONDS);
            let fuel = self.fuel.flow().grams_per_second();
            self.substitutes
                .step_slow(&mut self.measured, &requests, fuel, SLOW_SECONDS);
        }
        self.shown_air = None;
        if self.substitutes.replaces_air() {
            self.replace_air();
        }
        self.watch.step(now, &self.measured, &mut turn);
        if self.watch.is_running() && !was_running {
            self.engine_started();
        }
        if self.is_slow_step() || key_comes_on {
            self.step_slow(now, requests);
        }
        self.step_fast(now);
        self.pins
    }

    /// Manifold pressure and metered air where a circuit has failed.
    #[cold]
    fn replace_air(&mut self) {
        let Self {
            measured,
            substitutes,
            air,
            plate,
            flow_per_area,
            purge,
            ..
        } = self;
        self.shown_air = Some((measured.manifold_pressure, measured.air_flow));
        let rpm = measured.rpm;
        let barometer = measured.barometer.kilopascals().at_least(40.0);
        let open = *flow_per_area * air::throttle_area(*plate);
        substitutes.replace_air(
            measured,
            |kilopascals| air.drawn_at(rpm, kilopascals),
            |kilopascals| open * air::flow_share(kilopascals / barometer),
            purge.air_flow() + purge.fuel_flow(),
            STEP_SECONDS,
        );
    }

    fn engine_started(&mut self) {
        self.start_coolant = self.measured.coolant.celsius();
        self.run_time = Duration::ZERO;
        self.lambda
            .iter_mut()
            .for_each(lambda_control::LambdaControl::restart);
        self.purge.restart();
        self.estimates.restart();
        self.substitutes.engine_started();
        self.has_been_closed = false;
    }

    fn step_fast(&mut self, now: CarInstant) {
        let running = self.watch.is_running();
        let cranking = self.watch.state() == EngineState::Cranking;
        self.air.step(&self.measured, running, STEP_SECONDS);
        let idle_flow = self.idle.step(&self.measured, running, STEP_SECONDS);
        // The plate needs 50 ms to follow: every other step is often enough.
        if self.slow_countdown.is_multiple_of(2) {
            (self.plate, self.wanted_load) = self.throttle(idle_flow);
        }

        let open_loop = self.fuel.is_cut() || self.fuel.is_full_load();
        self.open_seconds = if open_loop {
            0.0
        } else {
            self.open_seconds + STEP_SECONDS
        };
        let may_close = running
            && self.open_seconds > REJOIN_SECONDS
            && self.measured.coolant >= CLOSED_LOOP_COOLANT
            && self.run_time >= CLOSED_LOOP_AFTER;
        for bank in 0..self.banks {
            let front = self.measured.oxygen_front[bank];
            let may_close = may_close && !self.open_loop[bank];
            self.lambda[bank].step(front, may_close, self.forced[bank], STEP_SECONDS);
            self.traces[bank].step(front, self.measured.oxygen_rear[bank]);
        }
        self.has_been_closed |= self.is_closed_loop();

        let rpm = self.measured.rpm;
        self.rpm_sum += rpm;
        self.rpm_steps += 1.0;
        self.turns = if rpm > 0.0 {
            self.turns + rpm * (STEP_SECONDS / 60.0)
        } else {
            0.0
        };
        let demand = self.demand();
        self.pins.injection = self.fuel.step(&self.measured, &demand, STEP_SECONDS);
        if self.calibration.phaser {
            for bank in 0..self.banks {
                self.pins.cam_valve[bank] = self.cam[bank].step(&self.measured, running, bank);
            }
            self.air.set_cam(&self.measured, self.banks);
        }
        self.pins.ignition_advance = self.timing.step(&self.timing_conditions());
        let powered = self.watch.key_on() && !self.substitutes.limp_home();
        self.pins.throttle = powered.then_some(self.plate);
        self.pins.starter = self.watch.starter(now, &self.measured);
        if cranking || self.pins.starter {
            self.pins.fuel_pump = true;
        }
    }

    fn step_slow(&mut self, now: CarInstant, requests: Requests) {
        let running = self.watch.is_running();
        let run_time = self.watch.run_time(now);
        // A jump is shown at once.
        let mean = self.rpm_sum / self.rpm_steps.at_least(1.0);
        let last = self.measured.rpm;
        self.shown_rpm = if (mean - last).abs() < 0.15 * last {
            mean
        } else {
            last
        };
        (self.rpm_sum, self.rpm_steps) = (0.0, 0.0);
        self.run_time = run_time;
        self.air.step_slow(&self.measured, SLOW_SECONDS);
        self.air_conditioning.step_slow(
            &self.measured,
            running.then_some(run_time.as_secs_f64()),
            SLOW_SECONDS,
        );
        self.pins.compressor = self.air_conditioning.engaged();
        self.idle.step_slow(
            &self.measured,
            &self.air_conditioning,
            self.substitutes.limp_home(),
        );
        self.flow_per_area = air::choked_flow_per_area(&self.measured) * self.calibration.throttle_share();
        let demand = self.demand();
        self.fuel.step_slow(&self.measured, &demand, SLOW_SECONDS);
        let conditions = self.timing_conditions();
        self.timing.step_slow(&self.measured, &conditions, SLOW_SECONDS);

        let cell = trims::Cell::of(
            conditions.idle,
            self.measured.engine_speed,
            self.air.calculated_load,
        );
        let closed_loop = self.is_closed_loop();
        let mean = self.mean_short_term();
        self.hardly_open_seconds = if self.fuel.is_hardly_open() {
            HARDLY_OPEN_FELT_SECONDS
        } else {
            self.hardly_open_seconds - SLOW_SECONDS
        };
        let may_learn = self.measured.coolant > LEARN_COOLANT
            && self.purge.vapour_known(mean)
            && self.hardly_open_seconds <= 0.0
            && !self.substitutes.replaces_fuel_signals()
            && self.measured.circuits.supply_is_sound();
        for bank in 0..self.banks {
            self.trims[bank].choose(cell);
            if may_learn && self.lambda[bank].is_closed() && !requests.hold_trims[bank] {
                self.trims[bank].learn(self.lambda[bank].mean(), SLOW_SECONDS);
            }
        }
        for bank in 0..self.banks {
            self.seen[bank] = self.traces[bank].take();
            self.forced[bank] = requests.mixture[bank].map(Ratio::fraction);
            self.open_loop[bank] = requests.open_loop[bank];
        }
        let purge = purge::Conditions {
            run_seconds: run_time.as_secs_f64(),
            closed_loop,
            has_been_closed: self.has_been_closed,
            fuel_cut: self.fuel.is_cut() || !running,
            metered: MassFlow::from_grams_per_second(self.air.metered),
            mean_short_term: mean,
            lost: !self.measured.drivers.is_sound(Output::PurgeValve),
            requested: requests.purge.filter(|_| running),
        };
        self.purge.step(&self.measured, &purge, SLOW_SECONDS);
        self.estimate_air(closed_loop, conditions.idle);
        self.pins.purge = self.purge.duty();
        self.breathe(run_time, conditions.idle, requests);
        self.pins.vent_shut = requests.shut_vent;
        // Pipes and bricks are of a size with the bank: each is as warm as that of the calibrated engine.
        let share = 1.0 / self.calibration.size();
        let exhaust = catalyst::Exhaust {
            air: MassFlow::from_grams_per_second(self.air.metered * share),
            fuel: self.fuel.flow() * share,
            vehicle_speed: self.measured.vehicle_speed,
            catalyst_heating: self.timing.catalyst_heating(),
        };
        for bank in 0..self.banks {
            let catalyst = &mut self.catalyst[bank];
            catalyst.step(&self.measured, &exhaust, SLOW_SECONDS);
            let brick_works = catalyst.temperature() > Temperature::from_celsius(400.0);
            self.lambda[bank].step_rear(self.measured.oxygen_rear[bank], brick_works, SLOW_SECONDS);
        }
        self.electrics.step(
            now,
            &self.measured,
            self.substitutes.replaces(Circuit::CoolantSensor),
            self.watch.state() == EngineState::Cranking,
            running.then_some(run_time),
            &mut self.pins,
        );
    }

    /// The three views of the air, from what the pins have and no substitute.
    fn estimate_air(&mut self, closed_loop: bool, idle: bool) {
        let measured = &self.measured;
        let (pressure, metered) = self
            .shown_air
            .unwrap_or((measured.manifold_pressure, measured.air_flow));
        let trim = closed_loop.then(|| {
            let long_term: f64 = self.trims[..self.banks]
                .iter()
                .map(trims::Trims::correction)
                .sum();
            (1.0 + self.mean_short_term()) * (1.0 + long_term * self.calibration.bank_share()) - 1.0
        });
        let inputs = estimates::Inputs {
            air: &self.air,
            rpm: measured.rpm,
            pressure,
            metered,
            barometer: measured.barometer.kilopascals(),
            plate: measured.throttle,
            flow_per_area: self.flow_per_area,
            purge: self.purge.air_flow() + self.purge.fuel_flow(),
            fuel_cut: self.fuel.is_cut(),
            trim,
            may_learn: idle
                && closed_loop
                && measured.coolant > LEARN_COOLANT
                && measured.vehicle_speed < STANDING
                && !self.substitutes.limp_home(),
        };
        self.estimates.step(&inputs, SLOW_SECONDS);
    }

    /// Recirculation and cam, and what they make of the charge.
    fn breathe(&mut self, run_time: Duration, idle: bool, requests: Requests) {
        let running = self.watch.is_running();
        let pedal_released = self.idle.pedal_released();
        let load = self.air.calculated_load.percent();
        let run_seconds = run_time.as_secs_f64();
        let drivers = self.measured.drivers;
        if self.calibration.recirculation {
            let conditions = recirculation::Conditions {
                running,
                run_seconds,
                idle,
                pedal_released,
                fuel_cut: self.fuel.is_cut(),
                load,
                air: self.air.metered,
                lost: !drivers.is_sound(Output::EgrValve)
                    || self.substitutes.replaces(Circuit::EgrPositionSensor),
                requested: requests.recirculation.filter(|_| running),
            };
            self.recirculation
                .step_slow(&self.measured, &conditions, SLOW_SECONDS);
            self.pins.recirculation = self.recirculation.commanded();
        }
        if self.calibration.phaser {
            for (bank, valve) in CAM_VALVES.into_iter().enumerate().take(self.banks) {
                let conditions = cam::Conditions {
                    running,
                    run_seconds,
                    lost: self.measured.cam_silent[bank] || !drivers.is_sound(valve),
                    pedal_released,
                    load,
                };
                self.cam[bank].step_slow(&self.measured, &conditions);
            }
        }
        self.air.set_burnt(self.recirculation.burnt_share());
    }

    /// Plate angle, and share of full-throttle air, for the idle's air and the pedal's.
    fn throttle(&self, idle_flow: f64) -> (Angle, f64) {
        if self.substitutes.limp_home() {
            return (substitute::THROTTLE_AT_REST, 0.0);
        }
        // While the engine is cranked the air it will draw in a moment counts.
        let full = self.air.full.at_least(10.0);
        let share = PEDAL.at(self.measured.pedal.fraction());
        let flow = idle_flow + share * (full - idle_flow).at_least(0.0);
        let load = flow / full.at_least(1.0);
        // The manifold pressure that this load will settle at, not the measured one, which would feed back.
        let ratio = 0.05 + 0.95 * load.at_most(1.0);
        let area = flow / (self.flow_per_area * air::flow_share(ratio));
        let angle = if share >= 1.0 {
            air::WIDEST
        } else {
            air::throttle_angle_for_area(area)
        };
        (angle, load)
    }

    fn demand(&self) -> fuel::Demand {
        // One cam is enough to know the stroke by.
        let silent = &self.measured.cam_silent[..self.banks];
        let turns = if silent.iter().all(|silent| *silent) {
            TURNS_WITHOUT_CAM
        } else {
            TURNS_TO_SYNCHRONISE
        };
        fuel::Demand {
            cranking: self.watch.state() == EngineState::Cranking && self.turns >= turns,
            running: self.watch.is_running(),
            run_time: self.run_time,
            // A plate at rest idles fast: a cut would only make it hunt.
            pedal_released: self.idle.pedal_released() && !self.substitutes.limp_home(),
            wanted_load: self.wanted_load,
            metered: self.air.metered,
            purge_air: self.purge.air_flow(),
            purge_fuel: self.purge.fuel_flow(),
            short_term: self
                .lambda
                .each_ref()
                .map(lambda_control::LambdaControl::correction),
            long_term: self.trims.each_ref().map(trims::Trims::correction),
        }
    }

    fn timing_conditions(&self) -> timing::Conditions {
        let target = self.idle.target().rpm();
        timing::Conditions {
            running: self.watch.is_running(),
            run_time: self.run_time,
            idle: self.idle.pedal_released()
                && (self.measured.rpm < target + 300.0 || self.substitutes.limp_home()),
            fuel_cut: self.fuel.is_cut(),
            load: self.air.calculated_load,
            burnt: self.recirculation.burnt_share(),
            start_coolant: self.start_coolant,
            idle_help: self.idle.timing(),
        }
    }

    fn fuel_system_status(&self, bank: usize) -> FuelSystemStatus {
        if bank >= self.banks || !self.watch.is_running() {
            FuelSystemStatus::Off
        } else if self.lambda[bank].is_closed() {
            FuelSystemStatus::ClosedLoop
        } else if self.open_loop[bank] {
            FuelSystemStatus::OpenLoopFault
        } else if self.has_been_closed {
            FuelSystemStatus::OpenLoopDriving
        } else {
            FuelSystemStatus::OpenLoop
        }
    }

    /// Writes what monitors may ask for beside what testers may ask for; what takes time is the caller's.
    pub(crate) fn signals(&self, live: &LiveData) -> Signals {
        let measured = &self.measured;
        let mut banks: PerBank<BankSignals> = Default::default();
        for (place, bank) in banks.iter_mut().enumerate().take(self.banks) {
            let lambda = &self.lambda[place];
            *bank = BankSignals {
                closed_loop: lambda.is_closed(),
                short_term: live.short_term_trim[place],
                mean_short_term: Ratio::from_fraction(lambda.mean()),
                long_term: live.long_term_trim[place],
                cell: self.trims[place].cell(),
                rear_shift: Ratio::from_fraction(lambda.rear_shift()),
                oxygen_front: measured.oxygen_front[place],
                oxygen_rear: measured.oxygen_rear[place],
                catalyst: live.catalyst_temperature[place],
                wide_range_pin: measured.wide_range.then(|| measured.wide_range_pin[place]),
                heater_front: measured.heater_front[place],
                heater_rear: measured.heater_rear[place],
                seen: self.seen[place],
                ..BankSignals::default()
            };
        }
        Signals {
            run_time: self.watch.is_running().then_some(live.run_time),
            circuits: measured.circuits,
            drivers: measured.drivers,
            engine_speed: measured.engine_speed,
            idle_target: self.idle.target(),
            tank_pressure: live.tank_pressure,
            level_now: measured.level_now,
            level: measured.level,
            manifold_pressure: live.manifold_pressure,
            barometer: live.barometric_pressure,
            coolant: live.coolant_temperature,
            intake_air: live.intake_air_temperature,
            ambient: measured.ambient,
            oil: measured.oil,
            vehicle_speed: live.vehicle_speed,
            gearbox_lost: measured.gearbox.is_lost(),
            gearbox_silence: measured.gearbox.silence(),
            supply: measured.supply,
            closed_loop: self.is_closed_loop(),
            fuel_correction: self.fuel_correction(),
            commanded_lambda: live.commanded_lambda,
            rail_pressure: live.fuel_pressure,
            fuel_flow: live.fuel_flow,
            friction: live.reference_torque
                * (live.friction_torque.fraction() + self.accessory_torque().fraction())
                * measured.engine_speed,
            fuel_cut: self.fuel.is_cut(),
            injectors_hardly_open: self.hardly_open_seconds > 0.0,
            full_load: self.fuel.is_full_load(),
            limp_home: self.substitutes.limp_home(),
            air_metered: live.air_flow,
            air: *self.air_estimates(),
            air_behind_meter: self.air_behind_meter(),
            load: live.calculated_load,
            absolute_load: live.absolute_load,
            throttle: measured.throttle,
            pedal: measured.pedal,
            pedal_released: self.idle.pedal_released(),
            egr_commanded: self.recirculation.commanded(),
            egr_lift: self.recirculation.actual(),
            gas_by_meter: self.gas_by_meter(),
            cam_target: self.cam.each_ref().map(cam::Cam::target),
            cam_place: self.cam.each_ref().map(cam::Cam::actual),
            purge: self.pins.purge,
            ignition_advance: live.timing_advance,
            brake: measured.brake,
            in_gear: measured.in_gear,
            rough_road: measured.rough_seconds > 0.0,
            cabin_heater: measured.cabin_heater,
            engine_size: self.calibration.size(),
            averaging: self.calibration.averaging,
            // Each cylinder fires once in two turns.
            firing_joules: live.actual_torque.fraction()
                * live.reference_torque.newton_metres()
                * (4.0 * core::f64::consts::PI)
                / f64::from(self.calibration.cylinders()),
            crank_inertia: CRANK_INERTIA * self.calibration.size(),
            firing_order: self.calibration.firing_order,
            second_bank: self.calibration.second_bank,
            bank_count: self.banks,
            banks,
            ..Signals::default()
        }
    }

    /// Writes what a tester may ask for.
    pub(crate) fn fill(&self, now: CarInstant, live: &mut LiveData) {
        let measured = &self.measured;
        let running = self.watch.is_running();
        let shown = self.substitutes.shown(measured, self.shown_air);
        let rpm = self.shown_rpm;
        let fuel_flow = self.fuel.flow();
        let grams_per_second = fuel_flow.grams_per_second();
        let injecting = running && !self.fuel.is_cut();
        let throttle = (0.13 + 0.009 * (measured.throttle.degrees() - 7.0)).clamp(0.0, 1.0);
        *live = LiveData {
            fuel_system: core::array::from_fn::<_, BANKS, _>(|bank| self.fuel_system_status(bank)),
            calculated_load: if running {
                self.air.calculated_load
            } else {
                Ratio::ZERO
            },
            coolant_temperature: shown.coolant,
            short_term_trim: self
                .lambda
                .each_ref()
                .map(lambda_control::LambdaControl::short_term_trim),
            long_term_trim: self.trims.each_ref().map(trims::Trims::long_term_trim),
            fuel_pressure: measured.rail_pressure,
            manifold_pressure: shown.manifold_pressure,
            engine_speed: AngularSpeed::from_rpm(self.shown_rpm),
            vehicle_speed: measured.vehicle_speed,
            timing_advance: self.timing.advance(),
            intake_air_temperature: shown.intake_air,
            air_flow: shown.air_flow,
            throttle_position: Ratio::from_fraction(throttle),
            oxygen_front: measured.oxygen_front,
            oxygen_rear: measured.oxygen_rear,
            wide_range_pin: measured.wide_range_pin,
            run_time: self.watch.run_time(now),
            commanded_recirculation: self.recirculation.commanded(),
            actual_recirculation: self.recirculation.actual(),
            recirculation_error: self.recirculation.error(),
            commanded_purge: self.pins.purge,
            fuel_level: measured.level,
            tank_pressure: shown.tank_pressure,
            barometric_pressure: measured.barometer,
            catalyst_temperature: self.catalyst.each_ref().map(catalyst::CatalystModel::temperature),
            module_voltage: measured.supply,
            absolute_load: if running {
                self.air.absolute_load
            } else {
                Ratio::ZERO
            },
            commanded_lambda: self.fuel.commanded_lambda(),
            relative_throttle: Ratio::from_percent(
                ((measured.throttle.degrees() - 7.0) / 0.83).clamp(0.0, 100.0),
            ),
            ambient_temperature: measured.ambient,
            throttle_b: measured.throttle_b,
            pedal_d: measured.pedal_d,
            pedal_e: measured.pedal_e,
            commanded_throttle: self.pins.throttle.map_or(Ratio::ZERO, |angle| {
                Ratio::from_percent(((angle.degrees() - 7.0) / 0.83).clamp(0.0, 100.0))
            }),
            relative_pedal: measured.pedal,
            oil_temperature: measured.oil,
            fuel_rate_litres_per_hour: self.fuel.litres_per_hour(),
            demanded_torque: if running {
                self.torque
                    .demanded(rpm, self.air.full, PEDAL.at(measured.pedal.fraction()))
            } else {
                Ratio::ZERO
            },
            actual_torque: if injecting {
                self.torque.actual(
                    rpm,
                    self.air.grams_a_cycle(),
                    self.recirculation.burnt_share(),
                    self.fuel.commanded_lambda().fraction(),
                    self.timing.advance().degrees(),
                )
            } else {
                Ratio::ZERO
            },
            reference_torque: self.torque.reference(),
            gear_selected: measured.in_gear,
            friction_torque: self.torque.friction(
                rpm,
                measured.oil.celsius(),
                measured.manifold_kilopascals,
                measured.barometer.kilopascals(),
            ),
            fuel_flow,
            exhaust_flow: MassFlow::from_grams_per_second(self.air.metered + grams_per_second),
            gear: None,
            fuel_milligrams_per_stroke: if rpm > 20.0 {
                grams_per_second * 120.0 / rpm / f64::from(self.calibration.cylinders()) * 1000.0
            } else {
                0.0
            },
        };
    }
}
