//! The car at rest: key off, engine stopped, hours in coarse steps.

use core::time::Duration;

use twotrip_harness::{ActuatorPins, BANKS, KeyPosition};
use twotrip_units::Ratio;

use crate::{
    DriverControls, SLOW, STEP, Selector, Vehicle, air, catalyst, compressor, cooling, electrical, engine,
    exhaust, mixture, tank,
};

/// Steps of the coarse grid: 10 s.
const COARSE: u64 = 10 * SLOW;
/// And 60 s once the catalyst, the quickest of what cools, is within 60 K of the air.
const COARSEST: u64 = 60 * SLOW;
const NEARLY_COOL_KELVINS: f64 = 60.0;
/// While the engine runs down or the car rolls, rest goes on in ordinary steps, this many at most.
const RUN_DOWN: u64 = 60 * SLOW;

/// What the driver leaves behind.
const PARKED: DriverControls = DriverControls {
    key: KeyPosition::Off,
    pedal: Ratio::ZERO,
    brake: Ratio::from_fraction(0.3),
    selector: Selector::Park,
};

impl Vehicle {
    /// Leaves the car parked with the key off for a span: what still turns comes to rest first, then heat, vapour and
    /// battery go on in steps of 10 s, later 60 s, on a fixed grid of car time (1 s and single steps at its edges).
    ///
    /// A span is kept to the nanosecond: what is left below a step counts for the next call.
    pub fn rest(&mut self, span: Duration) {
        let span = span.saturating_add(self.rest_left);
        let step = STEP.as_nanos();
        let whole = span.as_nanos() / step;
        self.rest_left = Duration::from_nanos(u64::try_from(span.as_nanos() % step).unwrap_or(0));
        let mut steps = u64::try_from(whole).unwrap_or(u64::MAX);

        let mut run_down = RUN_DOWN;
        while steps > 0 && run_down > 0 && !self.stands() {
            self.step(&ActuatorPins::default(), &PARKED);
            steps -= 1;
            run_down -= 1;
        }
        while steps > 0 {
            let cool = self.state.exhaust[0].brick - self.state.ambient.celsius < NEARLY_COOL_KELVINS;
            let fits = |span: u64| self.tick.is_multiple_of(span) && steps >= span;
            let coarse = if cool && fits(COARSEST) {
                Some((COARSEST, 60.0))
            } else if fits(COARSE) {
                Some((COARSE, 10.0))
            } else if fits(SLOW) {
                Some((SLOW, 1.0))
            } else {
                None
            };
            if let Some((span, seconds)) = coarse {
                self.coarse_step(seconds, false);
                self.tick += span;
                steps -= span;
            } else {
                self.step(&ActuatorPins::default(), &PARKED);
                steps -= 1;
            }
        }
        // Follow the temperatures; nothing at rest asks for them.
        let state = &mut self.state;
        state.cold_friction = engine::cold_friction(state.cooling.block);
        let aged = self.knobs.oxygen_capacity_g;
        for ((exhaust, brick), aged) in state.exhaust.iter_mut().zip(&mut state.brick).zip(aged) {
            exhaust.conversion = exhaust::conversion(&self.params.exhaust, exhaust.brick);
            *brick = catalyst::Brick::new(&self.params.oxygen, aged, exhaust.conversion);
        }
        self.look_up_phasers();
        self.look_up_battery();
        self.follow_slow();
        self.sense(&ActuatorPins::default(), &DriverControls::default());
    }

    /// A second of rest during which the controller keeps the vent valve shut or open, whatever the grid.
    pub fn rest_second(&mut self, vent_shut: bool) {
        if self.stands() {
            self.coarse_step(1.0, vent_shut);
            self.tick += SLOW;
        } else {
            let actuators = ActuatorPins {
                vent_shut,
                ..ActuatorPins::default()
            };
            for _ in 0..SLOW {
                self.step(&actuators, &PARKED);
            }
        }
        self.follow_slow();
        self.sense(&ActuatorPins::default(), &PARKED);
    }

    fn stands(&self) -> bool {
        self.state.driveline.omega <= 0.0 && self.state.driveline.speed <= 0.0
    }

    /// Everything that moves in a parked car. What is fast is at its end already: no flow, manifold at ambient.
    fn coarse_step(&mut self, dt: f64, vent_shut: bool) {
        let params = &self.params;
        let state = &mut self.state;
        let air_celsius = state.ambient.celsius;
        self.moisture.step(0.0, state.cooling.coolant, dt);
        state.electrical = electrical::step(
            &params.electrical,
            &state.electrical,
            &electrical::Inputs {
                key_on: false,
                starter: false,
                pump: false,
                heater_amperes: 0.0,
                fan: false,
                set_point_volts: 0.0,
                engine_rpm: 0.0,
                coolant_celsius: state.cooling.coolant,
                loads: self.loads,
                alternator: self.knobs.alternator,
                regulator_volts: None,
                charging_cable_ohms: self.knobs.charging_cable_ohms,
            },
            dt,
        );
        state.air = air::State::at_rest(&params.air, state.ambient.pressure_kpa);
        state.engine = engine::Output::default();
        state.mixture.rail_kpa = self.supply.at_rest(&params.mixture, state.mixture.rail_kpa, dt);
        state.mixture.injected = 0.0;
        state.mixture.vapour = 0.0;
        state.mixture.banks = [mixture::Bank::DRY; BANKS];
        for bank in 0..params.banks() {
            let exhaust = &mut state.exhaust[bank];
            *exhaust = exhaust::step(
                &params.exhaust,
                exhaust,
                &exhaust::Inputs {
                    flow: 0.0,
                    fuel: 0.0,
                    unburnt: 0.0,
                    late_degrees: 0.0,
                    coolant_celsius: state.cooling.coolant,
                    ambient_celsius: air_celsius,
                    speed_kmh: 0.0,
                    heater_front: false,
                    heater_rear: false,
                },
                dt,
            );
            let oxygen = &mut state.oxygen[bank];
            *oxygen = catalyst::asleep(
                &params.oxygen,
                oxygen,
                &self.oxygen_sensors[bank],
                exhaust.front_tip,
                exhaust.rear_tip,
            );
        }
        state.cooling = cooling::step(
            &params.cooling,
            &state.cooling,
            &cooling::Inputs {
                block_heater: self.loads.block_heater,
                ..cooling::Inputs::parked(&self.knobs, air_celsius)
            },
            dt,
        );
        state.compressor.coupled = 0.0;
        state.compressor = compressor::slow_step(&params.compressor, &state.compressor, air_celsius, dt);
        state.burnt_joules = 0.0;
        state.friction_joules = 0.0;
        state.tank = tank::slow_step(
            &params.tank,
            &state.tank,
            &tank::SlowInputs {
                driving: false,
                speed: 0.0,
                ambient_celsius: air_celsius,
                exhaust_celsius: state.exhaust[0].brick,
                vent_shut: params.tank.is_shut(&self.knobs, vent_shut),
                ambient_kpa: state.ambient.pressure_kpa,
            },
            dt,
        );
        state.tank = tank::step(
            &params.tank,
            &state.tank,
            &tank::Inputs {
                opening: params.tank.opening(&self.knobs, vent_shut),
                ambient_kpa: state.ambient.pressure_kpa,
                fuel_flow: 0.0,
                purge_flow: 0.0,
            },
            dt,
        );
        state.tank = tank::sender_step(&params.tank, &state.tank, 0.0, 0.0, dt);
    }
}
