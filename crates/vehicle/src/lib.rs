//! The car as physics: what a driver, the weather and an engine controller make of engine, fuel, heat and road.
//!
//! ```text
//! DriverControls --+
//! ActuatorPins ----+--> Vehicle::step --> SensorPins (and the truth, for tests and reports)
//! defects, weather-+
//! ```
//!
//! There is no engine controller in it: without [`twotrip_harness::ActuatorPins`] the engine does not run. The engine
//! is a mean-value model with its firings on top.
//! Equations: textbook models, named in each module. Figures: calibrated, so that the whole agrees with itself and
//! with what is published of cars of this kind, unless a source stands beside them.
//!
//! | module | holds |
//! |---|---|
//! | `air`, `mixture`, `engine` | manifold and cylinder filling; fuel and lambda; torque |
//! | `throttle_body`, `intake_leak`, `air_meter` | ways of the air into the manifold, and what is seen of it |
//! | `recirculation`, `phaser`, `dilution` | exhaust that is breathed again; the intake cam; firings that both put out |
//! | `driveline`, `gearbox` | crank, converter, gearbox, road; its solenoids, clutches and sensors |
//! | `exhaust`, `catalyst` | heat; oxygen, its store and its sensors |
//! | `cooling`, `tank`, `electrical`, `ambient` | coolant, oil, intake air; fuel and vapour; battery; weather and place |
//! | `compressor` | air conditioning |
//! | `sensors`, `truth` | what the pins show; what is really so |
//! | [`defect`], [`driver`], [`schedule`] | what can be wrong; who drives; along what |
//! | `sensor_fault` | sensors that are broken inside |
//! | `knobs` | the figures that defects move |
//! | `scatter` | how the fuel strays from what was meant |
//! | `dice` | even draws for what chance decides |
//! | `moisture` | water in the wiring |
//! | `road` | what the wheels run on |
//! | `rest` | hours with the key off |
//!
//! Each part has `Params`, a `State` of plain data and pure `step` functions, old state in, new state out;
//! [`Vehicle::step`] lists them in the order of causes. Fast parts move every 10 ms, heat of the exhaust every 0.1 s,
//! coolant, oil and vapour every second.
//!
//! ```
//! use twotrip_harness::ActuatorPins;
//! use twotrip_vehicle::{DriverControls, Vehicle, VehicleParams};
//!
//! let mut car = Vehicle::new(VehicleParams::compact_2_0(), 1);
//! car.step(&ActuatorPins::default(), &DriverControls::default());
//! assert_eq!(car.sensors().crank_speed.rpm(), 0.0);
//! assert!(car.sensors().supply.volts() > 12.0);
//! ```
#![no_std]

extern crate alloc;

mod air;
mod air_meter;
mod ambient;
mod catalyst;
mod compressor;
mod cooling;
mod curve;
pub mod defect;
mod dice;
mod dilution;
mod driveline;
pub mod driver;
mod electrical;
mod engine;
mod exhaust;
mod firing;
mod gearbox;
mod instruments;
mod intake_leak;
mod knobs;
mod mixture;
mod moisture;
mod phaser;
mod recirculation;
mod rest;
mod road;
mod scatter;
pub mod schedule;
mod sensor_fault;
mod sensors;
mod specification;
mod tank;
mod throttle_body;
mod truth;

use core::time::Duration;

use twotrip_harness::{ActuatorPins, BANKS, COILS, GearboxLink, KeyPosition, OutputSet, PerBank, SensorPins};
use twotrip_units::{Acceleration, Interval, Length, Limit, Pressure, Ratio, Speed, Temperature};

pub use defect::{Course, Defect, Outcome, Part, When, Work};
pub use driver::{Driver, Leg, Plan};
pub use electrical::Loads;
pub use road::Surface;
pub use specification::Specification;
pub use truth::Road;

use sensor_fault::SensorFaults;

/// The span of one [`Vehicle::step`].
pub const STEP: Duration = Duration::from_millis(10);
/// The same, s.
const DT: f64 = 0.01;
/// Cams that stand no further apart than this fill their banks alike, degrees.
const CAMS_APART: f64 = 0.01;
/// Steps between two steps of the exhaust's heat and of the level sender.
const MEDIUM: u64 = 10;
/// Steps between two steps of coolant, tank temperatures and the like.
const SLOW: u64 = 100;

/// Where the selector stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Selector {
    /// Locked, engine free.
    #[default]
    Park,
    /// Forwards.
    Drive,
}

/// What the driver does.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DriverControls {
    /// Ignition key.
    pub key: KeyPosition,
    /// How far the accelerator is pressed.
    pub pedal: Ratio,
    /// How far the brake is pressed.
    pub brake: Ratio,
    /// Selector of the gearbox.
    pub selector: Selector,
}

/// The parts of a car with their figures.
#[derive(Clone, Debug)]
pub struct VehicleParams {
    /// 1 / size of a bank against the engine that heat of the exhaust is calibrated on.
    per_bank_size: f64,
    air: air::Params,
    recirculation: recirculation::Params,
    phaser: phaser::Params,
    mixture: mixture::Params,
    engine: engine::Params,
    firing: firing::Params,
    driveline: driveline::Params,
    exhaust: exhaust::Params,
    oxygen: catalyst::Params,
    cooling: cooling::Params,
    tank: tank::Params,
    electrical: electrical::Params,
    compressor: compressor::Params,
    /// Whether a transmission ECU watches over the gearbox.
    watched_gearbox: bool,
}

/// Speed of the crank from which an engine counts as loaded by its charge, rad/s: 400 rpm.
const LOADED_FROM: f64 = 42.0;

impl VehicleParams {
    /// A compact sedan with a 2.0-litre four-cylinder and a six-speed automatic.
    #[must_use]
    pub const fn compact_2_0() -> Self {
        Self::new(&Specification::compact_2_0())
    }

    /// Banks in use.
    #[inline]
    const fn banks(&self) -> usize {
        self.mixture.banks
    }
}

/// The state of every part at one instant.
#[derive(Clone, Copy, Debug)]
struct State {
    ambient: ambient::State,
    electrical: electrical::State,
    intake: air::Intake,
    air: air::State,
    recirculation: recirculation::State,
    /// One for each bank in use.
    phaser: PerBank<phaser::State>,
    /// How fast each turns in the oil of the moment, degrees a second.
    phaser_rate: PerBank<f64>,
    mixture: mixture::State,
    engine: engine::Output,
    firing: firing::State,
    charge: firing::Charge,
    /// Mean flow of the injectors of each bank against nominal.
    injectors: PerBank<f64>,
    /// Fuel of each bank that came through unburnt since the last step of the exhaust's heat, g.
    unburnt_g: PerBank<f64>,
    driveline: driveline::State,
    /// What the road shakes: crank and body.
    shaking: road::Shaking,
    exhaust: PerBank<exhaust::State>,
    brick: PerBank<catalyst::Brick>,
    oxygen: PerBank<catalyst::State>,
    tank: tank::State,
    cooling: cooling::State,
    compressor: compressor::State,
    /// Friction against a hot engine's.
    cold_friction: f64,
    /// Fuel burnt and friction since the last slow step, J.
    burnt_joules: f64,
    friction_joules: f64,
    /// Petrol through the injectors since the car was made, g.
    fuel_used_g: f64,
}

impl State {
    fn parked(params: &VehicleParams, ambient: ambient::State) -> Self {
        Self {
            ambient,
            electrical: electrical::State::at_rest(&params.electrical, ambient.celsius),
            intake: air::Intake::new(&params.air, ambient.pressure_kpa, ambient.celsius),
            air: air::State::at_rest(&params.air, ambient.pressure_kpa),
            recirculation: recirculation::State::default(),
            phaser: Default::default(),
            phaser_rate: Default::default(),
            mixture: mixture::State::at_rest(),
            engine: engine::Output::default(),
            firing: firing::State::at_rest(),
            charge: firing::Charge::new(&knobs::Knobs::default(), 0.0, 0.0),
            injectors: [1.0; BANKS],
            unburnt_g: [0.0; BANKS],
            driveline: driveline::State::parked(),
            shaking: road::Shaking::default(),
            exhaust: [exhaust::State::at_rest(&params.exhaust, ambient.celsius); BANKS],
            brick: [catalyst::Brick::new(&params.oxygen, None, 0.0); BANKS],
            oxygen: [catalyst::State::at_rest(&params.oxygen); BANKS],
            tank: tank::State::at_rest(&params.tank, 0.5, ambient.celsius),
            cooling: cooling::State::at_rest(ambient.celsius),
            compressor: compressor::State::at_rest(ambient.celsius),
            cold_friction: engine::cold_friction(ambient.celsius),
            burnt_joules: 0.0,
            friction_joules: 0.0,
            fuel_used_g: 0.0,
        }
    }

    /// Speed of the crank, rad/s.
    const fn omega(&self) -> f64 {
        (self.driveline.omega + self.shaking.crank + self.firing.ripple).max(0.0)
    }

    fn rpm(&self) -> f64 {
        self.omega() * (30.0 / core::f64::consts::PI)
    }
}

/// Whether current flows through the heaters of a bank's sensors, front and rear.
#[inline]
const fn heated(knobs: &knobs::Knobs, actuators: &ActuatorPins, bank: usize) -> [bool; 2] {
    let [front_open, rear_open] = knobs.heater_open[bank];
    [
        actuators.oxygen_heater_front[bank] && !front_open,
        actuators.oxygen_heater_rear[bank] && !rear_open,
    ]
}

/// A number from outside held within limits; what is not a number counts as the lower one.
#[inline]
fn within(value: f64, low: f64, high: f64) -> f64 {
    value.within(low, high)
}

/// A figure that every step divides by. Its reciprocal is kept, for a product is several times as quick as a quotient.
#[derive(Clone, Copy, Debug)]
struct Divisor {
    figure: f64,
    reciprocal: f64,
}

impl Divisor {
    const fn new(figure: f64) -> Self {
        Self {
            figure,
            reciprocal: 1.0 / figure,
        }
    }
}

impl core::ops::Div<Divisor> for f64 {
    type Output = Self;

    #[expect(
        clippy::suspicious_arithmetic_impl,
        reason = "dividing by a figure is multiplying by its reciprocal"
    )]
    #[inline]
    fn div(self, divisor: Divisor) -> Self {
        self * divisor.reciprocal
    }
}

/// A first-order lag.
#[derive(Clone, Copy, Debug)]
struct Lag {
    seconds: f64,
    /// What [`Self::share`] gives for an ordinary step, which then costs no division.
    step_share: f64,
}

impl Lag {
    /// A lag of so many seconds.
    const fn new(seconds: f64) -> Self {
        Self {
            seconds,
            step_share: DT / (seconds + DT),
        }
    }

    /// How much of the way to its target a value goes in `dt`: the implicit step, stable whatever its length.
    #[inline]
    const fn share(&self, dt: f64) -> f64 {
        if (dt - DT).abs() < 1e-9 {
            self.step_share
        } else {
            dt / (self.seconds + dt)
        }
    }
}

/// The car.
#[derive(Clone, Debug)]
pub struct Vehicle {
    params: VehicleParams,
    state: State,
    delay: PerBank<catalyst::Delay>,
    defects: defect::Defects,
    /// What the defects make of the car.
    knobs: knobs::Knobs,
    bumps: defect::Bumps,
    moisture: moisture::Moisture,
    road: road::Road,
    /// What follows from the knobs alone, worked out when they move.
    supply: mixture::Supply,
    oxygen_sensors: [catalyst::Sensors; BANKS],
    scatter: scatter::Scatter,
    noise: sensors::Noise,
    dice: firing::Dice,
    /// What the sensors give.
    pins: SensorPins,
    /// What the driver has switched on.
    loads: Loads,
    /// How the gearbox controller is wired, and how it shifts for that.
    gearbox: GearboxLink,
    shifts: driveline::Shifts,
    /// Whether somebody drives its solenoids.
    solenoids_driven: bool,
    /// What its clutches hold.
    clutches: driveline::Clutches,
    /// Share of each cylinder's firings that get no spark for how its coil is wired.
    sparks_lost: [f64; COILS],
    /// Whether somebody outside follows what makes defects come and go.
    watched: bool,
    circumstances: defect::Circumstances,
    /// Steps since the car was made; the slow parts move at its multiples.
    tick: u64,
    /// What [`Vehicle::rest`] was asked for beyond whole steps.
    rest_left: Duration,
    /// Highest exhaust pressure since the engine last started, kPa gauge; whether it turned a second ago.
    highest_back_pressure_kpa: f64,
    turned: bool,
}

impl Vehicle {
    /// A cold car, parked for days at 20 °C by the sea, half a tank, key off. `seed` is for the sensors' noise.
    #[must_use]
    pub fn new(params: VehicleParams, seed: u64) -> Self {
        let state = State::parked(&params, ambient::State::new(20.0, 0.0));
        let knobs = knobs::Knobs::default();
        let mut vehicle = Self {
            supply: mixture::Supply::new(&params.mixture, &knobs),
            oxygen_sensors: oxygen_sensors(&params, &knobs),
            scatter: scatter::Scatter::new(seed),
            params,
            state,
            delay: [const { catalyst::Delay::new() }; BANKS],
            defects: defect::Defects::default(),
            knobs,
            bumps: defect::Bumps::new(seed),
            moisture: moisture::Moisture::new(seed),
            road: road::Road::new(seed),
            noise: sensors::Noise::new(seed),
            dice: firing::Dice::new(seed),
            pins: SensorPins::default(),
            loads: Loads::default(),
            gearbox: GearboxLink::SOUND,
            shifts: driveline::Shifts::Smooth,
            solenoids_driven: false,
            clutches: driveline::Clutches::GOOD,
            sparks_lost: [0.0; COILS],
            watched: false,
            circumstances: defect::Circumstances::default(),
            tick: 0,
            rest_left: Duration::ZERO,
            highest_back_pressure_kpa: 0.0,
            turned: false,
        };
        vehicle.follow_slow();
        vehicle.sense(&ActuatorPins::default(), &DriverControls::default());
        vehicle
    }

    /// One step of [`STEP`] under what the controller and the driver do: causes before effects.
    pub fn step(&mut self, actuators: &ActuatorPins, controls: &DriverControls) {
        self.tick += 1;
        let params = &self.params;
        // Each line reads what lines above made and, of those below, what the last step left.
        let state = &mut self.state;
        let rpm = state.rpm();
        let pedal = within(controls.pedal.fraction(), 0.0, 1.0);
        let brake = within(controls.brake.fraction(), 0.0, 1.0);
        let in_drive = controls.selector == Selector::Drive;

        let mut heaters = 0.0;
        for (bank, exhaust) in state.exhaust.iter().enumerate().take(params.banks()) {
            let [front, rear] = heated(&self.knobs, actuators, bank);
            heaters += f64::from(u8::from(front)) * exhaust.front_heater;
            heaters += f64::from(u8::from(rear)) * exhaust.rear_heater;
        }
        let heater_amperes = heaters * state.electrical.supply_volts;
        // First the supply: injectors open by it, and the starter turns the crank.
        state.electrical = electrical::step(
            &params.electrical,
            &state.electrical,
            &electrical::Inputs {
                key_on: controls.key != KeyPosition::Off,
                starter: actuators.starter,
                pump: actuators.fuel_pump,
                heater_amperes,
                fan: actuators.fan,
                set_point_volts: within(actuators.alternator.volts(), 0.0, 18.0),
                engine_rpm: rpm,
                coolant_celsius: state.cooling.coolant,
                loads: self.loads,
                alternator: self.knobs.alternator,
                regulator_volts: self.knobs.regulator_volts,
                charging_cable_ohms: self.knobs.charging_cable_ohms,
            },
            DT,
        );
        // Purge comes before the manifold, which it fills, and before the tank, which it empties.
        let purge_flow = tank::purge_flow(
            &params.tank,
            &state.tank,
            &self.knobs,
            actuators.purge.fraction(),
            state.ambient.pressure_kpa,
            state.ambient.celsius,
            state.air.manifold_kpa,
        );
        // Recirculation valve and cam come before the manifold, which they fill.
        state.recirculation = recirculation::step(
            &params.recirculation,
            &state.recirculation,
            within(actuators.recirculation.fraction(), 0.0, 1.0),
            &self.knobs,
            DT,
        );
        for bank in 0..params.banks() {
            state.phaser[bank] = phaser::step(
                &params.phaser,
                &state.phaser[bank],
                within(actuators.cam_valve[bank].fraction(), 0.0, 1.0),
                state.phaser_rate[bank],
                rpm,
                self.knobs.phaser_stuck[bank],
                DT,
            );
        }
        let cam_degrees = state.phaser.map(|phaser| phaser.advance);
        // Throttle and manifold give the air in the cylinders.
        state.air = air::step(
            &params.air,
            &state.air,
            &air::Inputs {
                throttle_target: actuators.throttle.map(|plate| within(plate.degrees(), 0.0, 90.0)),
                engine_rpm: rpm,
                purge_flow,
                intake: state.intake,
                coolant_celsius: state.cooling.coolant,
                knobs: &self.knobs,
                recirculation_m2: recirculation::area(
                    &params.recirculation,
                    &state.recirculation,
                    &self.knobs,
                ),
                burns: state.mixture.banks[0].equivalence.at_most(1.0),
                cam_degrees,
                cams_apart: params.banks() > 1 && (cam_degrees[0] - cam_degrees[1]).abs() > CAMS_APART,
            },
            DT,
        );
        // Fuel meets that air.
        state.mixture = mixture::step(
            &params.mixture,
            &self.supply,
            &state.mixture,
            &mixture::Inputs {
                pump_on: actuators.fuel_pump,
                pulse_s: actuators.injection.map(|pulse| within(pulse.seconds(), 0.0, 1.0)),
                supply_volts: state.electrical.supply_volts,
                engine_rpm: rpm,
                ambient_kpa: state.ambient.pressure_kpa,
                manifold_kpa: state.air.manifold_kpa,
                coolant_celsius: state.cooling.coolant,
                cylinder_flow: state.air.cylinder_flow,
                bank_air: state.air.bank_share,
                purge_vapour: purge_flow * state.tank.purge_share,
                fuel_in_tank: state.tank.fuel_l > 0.0,
                error: self.scatter.factor(),
                injectors: state.injectors,
            },
            DT,
        );
        // The mixture burns.
        let burning_banks = &state.mixture.banks[..params.banks()];
        let burning = burning_banks
            .iter()
            .zip(state.air.bank_share)
            .map(|(bank, air)| engine::burning(bank.equivalence) * air)
            .sum::<f64>()
            * params.mixture.bank_share();
        state.engine = engine::torque(
            &params.engine,
            &engine::Inputs {
                rpm,
                cylinder_flow: state.air.cylinder_flow,
                burning,
                advance_degrees: within(actuators.ignition_advance.degrees(), -60.0, 90.0),
                manifold_kpa: state.air.manifold_kpa,
                exhaust_kpa: state.air.exhaust_kpa,
                burnt_share: state.air.burnt_share,
                cold_friction: state.cold_friction,
                alternator_watts: state.electrical.alternator_watts(),
            },
        );
        state.shaking = self
            .road
            .step(state.driveline.speed, state.driveline.lock_up > 0.0, DT);
        // Cylinder by cylinder.
        let (mixture, charge, knobs) = (&state.mixture, &state.charge, &self.knobs);
        let put_out = state.air.dilution_misfire;
        let fired = firing::step(
            &params.firing,
            &mut state.firing,
            &mut self.dice,
            &firing::Inputs {
                omega: state.driveline.omega + state.shaking.crank,
                indicated: state.engine.indicated,
                scatter: charge.scatter,
                locked: state.driveline.lock_up > 0.0,
            },
            DT,
            |cylinder| {
                let bank = usize::from(params.firing.bank[cylinder]);
                // Where nothing is injected there is nothing to fail.
                if actuators.injection[bank] <= Interval::ZERO {
                    return firing::Due::EVEN;
                }
                let equivalence = mixture.banks[bank].equivalence;
                charge.due(&params.firing, knobs, cylinder, equivalence, put_out[bank])
            },
        );
        self.pins.crank_segments = fired.segments;
        if actuators.compressor || state.compressor.coupled > 0.0 {
            state.compressor =
                compressor::step(&params.compressor, &state.compressor, actuators.compressor, DT);
        }
        // Torque moves crank and car.
        state.driveline = driveline::step(
            &params.driveline,
            &state.driveline,
            &driveline::Inputs {
                torque: state.engine.torque + fired.torque + state.electrical.starter_torque
                    - state.compressor.torque(),
                pedal,
                brake,
                in_drive,
                oil_celsius: state.cooling.block,
                air: state.ambient.pressure_kpa * (1.0 / 101.325),
                shifts: self.shifts,
                clutches: &self.clutches,
            },
            DT,
        );
        // What burnt reaches the sensors and the catalyst.
        let bank_flow = state.air.cylinder_flow * params.mixture.bank_share();
        for bank in 0..params.banks() {
            state.oxygen[bank] = catalyst::step(
                &params.oxygen,
                &mut self.delay[bank],
                &state.oxygen[bank],
                &catalyst::Inputs {
                    second: bank == 1,
                    equivalence: firing::sensed(state.mixture.banks[bank].equivalence, fired.unburnt[bank]),
                    flow: bank_flow * state.air.bank_share[bank],
                    brick: state.brick[bank],
                    sensors: self.oxygen_sensors[bank],
                    front_tip_celsius: state.exhaust[bank].front_tip,
                    rear_tip_celsius: state.exhaust[bank].rear_tip,
                },
                DT,
            );
        }
        // What was used and purged leaves the tank.
        state.tank = tank::step(
            &params.tank,
            &state.tank,
            &tank::Inputs {
                opening: params.tank.opening(&self.knobs, actuators.vent_shut),
                ambient_kpa: state.ambient.pressure_kpa,
                fuel_flow: state.mixture.injected,
                purge_flow,
            },
            DT,
        );
        state.fuel_used_g += DT * state.mixture.injected;
        let mut burnt = 0.0;
        for bank in 0..params.banks() {
            let bank_mixture = &state.mixture.banks[bank];
            // Fuel beyond the oxygen that came with it finds none in the catalyst either.
            let burnable = bank_mixture.cylinder_fuel / bank_mixture.equivalence.at_least(1.0);
            burnt += burnable * (1.0 - fired.unburnt[bank]);
            state.unburnt_g[bank] += DT * burnable * fired.unburnt[bank];
        }
        state.burnt_joules += DT * burnt * engine::HEATING_VALUE;
        state.friction_joules += DT * state.engine.friction_watts;

        // Heat moves slowly, so it comes last and seldom.
        if self.tick.is_multiple_of(MEDIUM) {
            self.medium_step(actuators);
        }
        if self.tick.is_multiple_of(SLOW) {
            self.slow_step(actuators);
        }
        self.sense(actuators, controls);
    }

    /// Exhaust heat and level sender, over [`MEDIUM`] steps.
    fn medium_step(&mut self, actuators: &ActuatorPins) {
        const SPAN: f64 = 0.1;
        let state = &mut self.state;
        let bank_flow = state.air.cylinder_flow * self.params.mixture.bank_share();
        for bank in 0..self.params.banks() {
            let [heater_front, heater_rear] = heated(&self.knobs, actuators, bank);
            state.exhaust[bank] = exhaust::step(
                &self.params.exhaust,
                &state.exhaust[bank],
                &exhaust::Inputs {
                    flow: bank_flow * state.air.bank_share[bank] * self.params.per_bank_size,
                    fuel: state.mixture.banks[bank].cylinder_fuel * self.params.per_bank_size,
                    unburnt: state.unburnt_g[bank] * (self.params.per_bank_size / SPAN),
                    late_degrees: state.engine.late_degrees,
                    coolant_celsius: state.cooling.coolant,
                    ambient_celsius: state.ambient.celsius,
                    speed_kmh: state.driveline.speed * 3.6,
                    heater_front,
                    heater_rear,
                },
                SPAN,
            );
            state.brick[bank] = catalyst::Brick::new(
                &self.params.oxygen,
                self.knobs.oxygen_capacity_g[bank],
                state.exhaust[bank].conversion,
            );
            state.injectors[bank] = firing::injector_mean(&self.params.firing, &self.knobs, bank);
            state.unburnt_g[bank] = 0.0;
        }
        self.pins.drivers.open = OutputSet::of_coils(self.knobs.open_coils());
        state.charge = firing::Charge::new(&self.knobs, state.rpm(), state.engine.load);
        self.scatter.step(state.driveline.acceleration, SPAN);
        state.tank = tank::sender_step(
            &self.params.tank,
            &state.tank,
            state.driveline.acceleration,
            state.driveline.speed,
            SPAN,
        );
        if self.defects.is_moving() || self.watched {
            self.follow_courses(SPAN);
        }
    }

    /// Lets defects grow, come and go.
    #[cold]
    fn follow_courses(&mut self, span: f64) {
        let state = &self.state;
        let shaken = self.bumps.step(state.driveline.speed, self.road.surface, span);
        // The manifold of an engine that stands or is cranked is full, and nothing is loaded.
        let turns = state.omega() > LOADED_FROM;
        self.circumstances = defect::Circumstances {
            coolant_celsius: state.cooling.coolant,
            load_percent: if turns {
                100.0 * state.air.manifold_kpa / state.ambient.pressure_kpa
            } else {
                0.0
            },
            shaken,
            wet: self.moisture.leaks(span),
            metres: state.driveline.distance_m,
        };
        if self.defects.follow(&self.circumstances) {
            self.follow_defects();
        }
    }

    /// Coolant, oil, intake air, tank temperatures and vapour, over [`SLOW`] steps.
    fn slow_step(&mut self, actuators: &ActuatorPins) {
        const SPAN: f64 = 1.0;
        let state = &mut self.state;
        let engine_turns = state.driveline.omega > 0.0;
        let back_pressure = state.air.exhaust_kpa - state.ambient.pressure_kpa;
        let starts = engine_turns && !self.turned;
        if starts || back_pressure > self.highest_back_pressure_kpa {
            self.highest_back_pressure_kpa = back_pressure;
        }
        self.turned = engine_turns;
        state.cooling = cooling::step(
            &self.params.cooling,
            &state.cooling,
            &cooling::Inputs {
                knobs: &self.knobs,
                engine_turns,
                fuel_watts: state.burnt_joules / SPAN,
                friction_watts: state.friction_joules / SPAN,
                speed: state.driveline.speed,
                fan: actuators.fan,
                cabin_heater: self.loads.cabin_heater,
                block_heater: self.loads.block_heater,
                ambient_celsius: state.ambient.celsius,
            },
            SPAN,
        );
        if self.loads.air_conditioning || state.compressor.coupled > 0.0 {
            state.compressor = compressor::slow_step(
                &self.params.compressor,
                &state.compressor,
                state.ambient.celsius,
                SPAN,
            );
        }
        self.moisture
            .step(state.driveline.speed, state.cooling.coolant, SPAN);
        state.burnt_joules = 0.0;
        state.friction_joules = 0.0;
        state.cold_friction = engine::cold_friction(state.cooling.block);
        state.tank = tank::slow_step(
            &self.params.tank,
            &state.tank,
            &tank::SlowInputs {
                driving: engine_turns,
                speed: state.driveline.speed,
                ambient_celsius: state.ambient.celsius,
                exhaust_celsius: state.exhaust[0].brick,
                vent_shut: self.params.tank.is_shut(&self.knobs, actuators.vent_shut),
                ambient_kpa: state.ambient.pressure_kpa,
            },
            SPAN,
        );
        self.look_up_phasers();
        self.look_up_battery();
        self.follow_slow();
    }

    /// Brings up to date what follows from air and temperatures that move from second to second only.
    fn follow_slow(&mut self) {
        let state = &mut self.state;
        let ambient_kpa = state.ambient.pressure_kpa;
        state.intake = air::Intake::new(&self.params.air, ambient_kpa, state.cooling.intake);
        let sensors = &self.knobs.sensors;
        sensors::slow_pins(&mut self.pins, &state.cooling, &state.ambient, sensors);
        sensors.silence(&mut self.pins);
    }

    /// The sensors measure, with the dice as they lie.
    #[inline(always)]
    fn measure(&mut self) {
        let (state, knobs) = (&self.state, &self.knobs);
        let pins = &mut self.pins;
        sensors::measured_pins(
            pins,
            &state.air,
            &state.tank,
            state.mixture.rail_kpa,
            knobs,
            &knobs.sensors,
            &self.noise,
        );
        throttle_body::wear_tracks(knobs, state.air.plate_degrees, pins);
        knobs.sensors.silence(pins);
    }

    /// The sensors look at the same once more, after they were broken or mended.
    fn look_again(&mut self) {
        self.follow_slow();
        self.measure();
    }

    /// The sensors look at the new state.
    fn sense(&mut self, actuators: &ActuatorPins, controls: &DriverControls) {
        let state = &self.state;
        sensors::fast_pins(
            &mut self.pins,
            &sensors::Truth {
                key: controls.key,
                pedal: within(controls.pedal.fraction(), 0.0, 1.0),
                brake: controls.brake.fraction() > 0.0,
                in_gear: controls.selector == Selector::Drive,
                air_conditioning: self.loads.air_conditioning && state.compressor.calls,
                loads: self.loads,
                recirculation_lift: state.recirculation.lift,
                cam_degrees: state.phaser.map(|phaser| phaser.advance),
                omega: state.omega(),
                driveline: &state.driveline,
                oxygen: &state.oxygen[..self.params.banks()],
                exhaust: &state.exhaust,
                heated: [
                    heated(&self.knobs, actuators, 0),
                    heated(&self.knobs, actuators, 1),
                ],
                electrical: &state.electrical,
            },
        );
        self.pins.body_acceleration = Acceleration::from_metres_per_second_squared(state.shaking.body);
        self.pins.gearbox_silent = self.knobs.gearbox_controller_dead;
        if self.knobs.speed_sensor_dead || self.knobs.gearbox_controller_dead {
            self.pins.vehicle_speed = Speed::ZERO;
        }
        self.noise.draw();
        self.measure();
    }

    pub(crate) const fn params(&self) -> &VehicleParams {
        &self.params
    }

    /// What the sensors put on the pins now.
    #[must_use]
    #[inline]
    pub const fn sensors(&self) -> &SensorPins {
        &self.pins
    }

    /// What good sensors would put there.
    #[must_use]
    pub fn good_sensors(&self) -> SensorPins {
        let (state, good) = (&self.state, &SensorFaults::NONE);
        let mut pins = self.pins;
        sensors::slow_pins(&mut pins, &state.cooling, &state.ambient, good);
        sensors::measured_pins(
            &mut pins,
            &state.air,
            &state.tank,
            state.mixture.rail_kpa,
            &self.knobs,
            good,
            &self.noise,
        );
        pins
    }

    /// Fills the tank to a level (a lower one than the present is drawn off); above the brim it stops, and where
    /// nothing lets the vapour out the pump clicks off after a few litres.
    pub fn refuel(&mut self, to: Ratio) {
        self.state.tank = tank::refuel(
            &self.params.tank,
            &self.state.tank,
            &self.knobs,
            within(to.fraction(), 0.0, 2.0),
        );
    }

    /// Fuel of this Reid vapour pressure in the tank from now on, held within 30..110 kPa: 60 to 100 by season.
    pub fn set_fuel_volatility(&mut self, reid: Pressure) {
        let kilopascals = within(reid.kilopascals(), 30.0, 110.0);
        self.state.tank.volatility = kilopascals / self.params.tank.reid_kpa;
    }

    /// Another air temperature from now on, held within -40..60 °C; the car follows it in its own time.
    pub fn set_ambient(&mut self, temperature: Temperature) {
        let celsius = within(temperature.celsius(), -40.0, 60.0);
        self.state.ambient = ambient::State::new(celsius, self.state.ambient.altitude_m);
        self.follow_slow();
    }

    /// The wheels run on this from now on.
    pub const fn set_surface(&mut self, surface: Surface) {
        self.road.surface = surface;
    }

    /// Another height above the sea, held within -400..5000 m.
    pub fn set_altitude(&mut self, altitude: Length) {
        let metres = within(altitude.metres(), -400.0, 5000.0);
        self.state.ambient = ambient::State::new(self.state.ambient.celsius, metres);
        self.follow_slow();
    }

    /// It rains from now on, or no longer: rain and spray wet the wiring.
    pub const fn rain(&mut self, raining: bool) {
        self.moisture.rain(raining);
    }

    /// The engine bay and the underbody are hosed down: everything is soaked.
    pub const fn wash(&mut self) {
        self.moisture.wash();
    }

    /// How wet the wiring is: 0 dry, 1 soaked.
    #[must_use]
    pub const fn wetness(&self) -> Ratio {
        Ratio::from_fraction(self.moisture.wetness())
    }

    /// Makes something wrong with the car; a part has one defect at a time, the latest.
    pub fn set_defect(&mut self, defect: Defect) {
        self.defects.set(defect, self.state.driveline.distance_m);
        self.follow_defects();
    }

    /// Works on a part and says what that cured; each kind of work cures only what it would.
    pub fn repair(&mut self, part: Part, work: Work) -> Outcome {
        let outcome = self.defects.repair(part, work);
        self.follow_defects();
        if (part, work) == (Part::Battery, Work::Replace) {
            // A new one comes charged, whatever was wrong with the old one.
            self.state.electrical.charge = self.params.electrical.initial_charge;
            self.state.electrical.surface_volts = 0.0;
            self.look_up_battery();
        }
        outcome
    }

    /// How fast the phasers turn in the oil as it is.
    fn look_up_phasers(&mut self) {
        let state = &mut self.state;
        for bank in 0..self.params.banks() {
            state.phaser_rate[bank] =
                phaser::rate(&self.params.phaser, state.cooling.block, &self.knobs, bank);
        }
    }

    /// The battery as charge, cold and wear have it.
    fn look_up_battery(&mut self) {
        let state = &mut self.state;
        state.electrical.battery = electrical::Battery::new(
            &self.params.electrical,
            state.electrical.charge,
            state.ambient.celsius,
            self.knobs.battery_worn,
        );
    }

    /// What the driver has switched on from now on.
    pub const fn switch(&mut self, loads: Loads) {
        self.loads = loads;
    }

    /// What the driver has switched on.
    #[must_use]
    pub const fn loads(&self) -> Loads {
        self.loads
    }

    /// How the gearbox controller is wired from now on.
    pub fn connect_gearbox(&mut self, link: GearboxLink) {
        self.gearbox = link;
        self.follow_gearbox();
    }

    /// How the ignition coils are wired from now on: share of each cylinder's firings that get no spark, 0 to 1.
    pub fn connect_coils(&mut self, sparks_lost: &[f64; COILS]) {
        let lost = sparks_lost.map(|share| within(share, 0.0, 1.0));
        if self.sparks_lost.map(f64::to_bits) != lost.map(f64::to_bits) {
            self.sparks_lost = lost;
            self.follow_defects();
        }
    }

    /// How the gearbox shifts with what reaches its controller: without supply or road speed its hydraulics hold one
    /// gear; without word of the engine it shifts hard.
    fn follow_gearbox(&mut self) {
        if self.solenoids_driven {
            return;
        }
        let link = self.gearbox;
        let controlled = link.powered
            && link.speed_sensed
            && !self.knobs.gearbox_controller_dead
            && !self.knobs.speed_sensor_dead;
        self.shifts = if !controlled {
            driveline::Shifts::None
        } else if link.on_bus {
            driveline::Shifts::Smooth
        } else {
            driveline::Shifts::Harsh
        };
    }

    /// Somebody outside asks for [`Self::shows`]; only then is it kept up to date without a defect that needs it.
    pub const fn follow_for_others(&mut self, wanted: bool) {
        self.watched = wanted;
    }

    /// Whether what comes and goes in this way would show now; `before` says whether it did a moment ago.
    #[must_use]
    pub fn shows(&self, when: When, before: bool) -> bool {
        when.holds(&self.circumstances, before)
    }

    /// Works out anew what the defects make of the car.
    fn follow_defects(&mut self) {
        self.knobs = self.defects.knobs();
        self.pins.module = self.knobs.module;
        for (misfire, lost) in self.knobs.misfire.iter_mut().zip(self.sparks_lost) {
            *misfire = 1.0 - (1.0 - *misfire) * (1.0 - lost);
        }
        self.follow_knobs();
        self.look_up_battery();
        self.follow_gearbox();
        self.look_again();
    }

    /// Works out what follows from the knobs alone.
    fn follow_knobs(&mut self) {
        self.supply = mixture::Supply::new(&self.params.mixture, &self.knobs);
        self.oxygen_sensors = oxygen_sensors(&self.params, &self.knobs);
        self.clutches = gearbox::clutches(&self.params.driveline, &self.knobs);
    }

    /// How many cylinders the engine has.
    #[must_use]
    pub const fn cylinders(&self) -> u8 {
        self.params.firing.cylinders
    }

    /// Puts two like parts into each other's places; says whether something wrong went along.
    pub fn swap(&mut self, one: Part, other: Part) -> bool {
        let moved = self.defects.swap(one, other);
        self.follow_defects();
        moved
    }

    /// Everything that is wrong with the car.
    pub fn defects(&self) -> impl Iterator<Item = Defect> + '_ {
        self.defects.iter()
    }
}

fn oxygen_sensors(params: &VehicleParams, knobs: &knobs::Knobs) -> [catalyst::Sensors; BANKS] {
    [0, 1].map(|bank| catalyst::Sensors::new(&params.oxygen, knobs, bank))
}

#[cfg(test)]
mod tests;
