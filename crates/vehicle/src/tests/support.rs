//! A controller for the tests only: it knows the truth, so it shows what the car does and not what an ECU makes of it.
//!
//! Speed-density fuel, a throttle by pedal, idle speed by throttle and timing, fuel cut. No diagnosis, no trims.

use twotrip_harness::{ActuatorPins, BANKS, KeyPosition};
use twotrip_units::{Angle, Interval, Length, Mass, MassFlow, Ratio, Voltage, Volume};

use crate::{DriverControls, Selector, Specification, Vehicle, VehicleParams, engine};

/// The car with its test controller.
pub(super) struct Bench {
    pub(super) car: Vehicle,
    pub(super) actuators: ActuatorPins,
    pub(super) fuel_cut_steps: u32,
    /// Ignition later than this controller would have it, degrees.
    pub(super) retard: f64,
    /// Fuel against what lambda one needs.
    pub(super) mixture: f64,
    pub(super) no_fuel: bool,
    pub(super) no_alternator: bool,
    idle_degrees: f64,
    cutting: bool,
    lifted: u32,
}

impl Bench {
    pub(super) fn new() -> Self {
        Self::of(&Specification::compact_2_0(), 7)
    }

    /// Another car.
    pub(super) fn of(specification: &Specification, seed: u64) -> Self {
        Self {
            car: Vehicle::new(VehicleParams::new(specification), seed),
            actuators: ActuatorPins::default(),
            fuel_cut_steps: 0,
            retard: 0.0,
            mixture: 1.0,
            no_fuel: false,
            no_alternator: false,
            idle_degrees: 9.8,
            cutting: false,
            lifted: 0,
        }
    }

    /// A car warmed through, engine running in Park.
    pub(super) fn warm() -> Self {
        let mut bench = Self::new();
        bench.car.state.cooling.coolant = 90.0;
        bench.car.state.cooling.block = 90.0;
        bench.car.state.cooling.intake = 40.0;
        bench.start();
        bench
    }

    /// Cranks until the engine runs.
    pub(super) fn start(&mut self) {
        let mut steps = 0;
        while self.car.engine_speed().rpm() < 600.0 {
            self.step(&DriverControls {
                key: KeyPosition::Start,
                ..parked()
            });
            steps += 1;
            assert!(
                steps < 500,
                "the engine does not start: {} rpm",
                self.car.engine_speed().rpm()
            );
        }
    }

    /// So many seconds with these controls.
    pub(super) fn run(&mut self, seconds: u32, controls: &DriverControls) {
        for _ in 0..seconds * 100 {
            self.step(controls);
        }
    }

    pub(super) fn step(&mut self, controls: &DriverControls) {
        self.control(controls);
        self.car.step(&self.actuators, controls);
    }

    fn control(&mut self, controls: &DriverControls) {
        let state = &self.car.state;
        let rpm = state.rpm();
        let pedal = controls.pedal.fraction();
        let coolant = state.cooling.coolant;
        let mut target = (1300.0 - 7.5 * coolant.clamp(0.0, 80.0)).max(700.0);
        if controls.selector == Selector::Drive {
            target -= 50.0;
        }
        let idling = pedal < 0.01;
        let error = target - rpm;
        if idling && rpm > 600.0 && state.driveline.speed < 2.0 {
            self.idle_degrees = (self.idle_degrees + 0.000_02 * error).clamp(7.0, 16.0);
        }
        let proportional = if idling {
            (0.002 * error).clamp(-1.0, 2.0)
        } else {
            0.0
        };
        let opening = 72.0 * pedal * libm::sqrt(pedal) * (0.5 + 0.5 * pedal);
        let plate = (self.idle_degrees + proportional + opening).clamp(7.0, 82.0);

        self.lifted = if idling { self.lifted + 1 } else { 0 };
        let limit = if self.cutting { 1100.0 } else { 1300.0 };
        self.cutting = self.lifted > 50 && rpm > limit && coolant > 40.0;
        self.fuel_cut_steps += u32::from(self.cutting);

        let cranking = rpm < 400.0;
        let load = if cranking {
            0.0
        } else {
            state.air.cylinder_flow * 120.0 / rpm / (1.184e3 * self.car.params.air.displacement_m3) * 100.0
        };
        let best = engine::best_timing(&self.car.params.engine, rpm, load)
            + 100.0 * self.car.params.engine.best_timing_by_burnt * state.air.burnt_share;
        let advance = if idling {
            best - 13.0 + (0.1 * error).clamp(-8.0, 8.0)
        } else {
            best
        };
        self.actuators = ActuatorPins {
            throttle: Some(Angle::from_degrees(plate)),
            injection: [self.pulse(controls.key, rpm); BANKS],
            ignition_advance: Angle::from_degrees(advance - self.retard),
            fuel_pump: controls.key != KeyPosition::Off,
            starter: controls.key == KeyPosition::Start && rpm < 500.0,
            oxygen_heater_front: [rpm > 500.0; BANKS],
            oxygen_heater_rear: [rpm > 500.0; BANKS],
            fan: if self.actuators.fan {
                coolant > 96.0
            } else {
                coolant > 100.0
            },
            alternator: Voltage::from_volts(if self.no_alternator { 0.0 } else { 14.3 }),
            ..self.actuators
        };
    }

    /// The pulse that makes lambda one of the air now in the cylinders, wall film and purge vapour allowed for.
    fn pulse(&self, key: KeyPosition, rpm: f64) -> Interval {
        let state = &self.car.state;
        if key == KeyPosition::Off || self.cutting || self.no_fuel || rpm < 50.0 {
            return Interval::ZERO;
        }
        let mixture = &state.mixture;
        let cold = (1.0 - state.cooling.coolant / 80.0).clamp(0.0, 1.3);
        let (share, film_s) = (0.25 + 0.25 * cold, 0.3 + 1.7 * cold);
        let film_g: f64 = mixture.banks[..self.car.banks()]
            .iter()
            .map(|bank| bank.film_g)
            .sum();
        let wanted = self.mixture * state.air.cylinder_flow / 14.7 - film_g / film_s - mixture.vapour;
        let injected = (wanted / (1.0 - share)).max(0.0);
        let drop = (mixture.rail_kpa + state.ambient.pressure_kpa - state.air.manifold_kpa).max(50.0);
        let params = &self.car.params;
        let cylinders = f64::from(params.firing.cylinders);
        let flow = cylinders * params.mixture.injector_flow * libm::sqrt(drop);
        let dead = 0.85e-3 + (14.0 - state.electrical.supply_volts).max(-1.0) * 0.2e-3;
        Interval::from_seconds(injected / flow * 120.0 / rpm + dead)
    }
}

/// Key on, in Park, foot on the brake.
pub(super) fn parked() -> DriverControls {
    DriverControls {
        key: KeyPosition::On,
        pedal: Ratio::ZERO,
        brake: Ratio::from_fraction(0.2),
        selector: Selector::Park,
    }
}

/// A car of each kind: one bank; two banks of three; wide-range sensor and no recirculation.
pub(super) fn specifications() -> [Specification; 3] {
    let compact = Specification::compact_2_0();
    let sedan = Specification {
        displacement: Volume::from_litres(2.498),
        firing_order: [1, 2, 3, 4, 5, 6],
        second_bank: [false, true, false, true, false, true],
        mass: Mass::from_kilograms(1580.0),
        road_load: [132.0, 2.1, 0.41],
        final_drive: 3.21,
        tyre_radius: Length::from_millimetres(318.0),
        throttle_bore: Length::from_millimetres(61.0),
        injector_flow: MassFlow::from_grams_per_second(2.75),
        oxygen_capacity: Mass::from_grams(0.375),
        tank: Volume::from_litres(60.0),
        ..compact
    };
    let hatch = Specification {
        displacement: Volume::from_litres(1.798),
        mass: Mass::from_kilograms(1320.0),
        road_load: [108.0, 1.9, 0.375],
        final_drive: 3.55,
        tyre_radius: Length::from_millimetres(298.0),
        throttle_bore: Length::from_millimetres(52.0),
        injector_flow: MassFlow::from_grams_per_second(2.97),
        oxygen_capacity: Mass::from_grams(0.54),
        tank: Volume::from_litres(48.0),
        recirculation: false,
        wide_range: true,
        ..compact
    };
    [compact, sedan, hatch]
}
