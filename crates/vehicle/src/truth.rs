//! The truth about the car, for tests, for `measure` and `inspect`, and for reports. The ECU never sees it.

use core::time::Duration;

use twotrip_units::{
    Acceleration, Angle, AngularSpeed, CarInstant, Current, Length, Mass, MassFlow, Pressure, Ratio,
    Resistance, Speed, Temperature, Torque, Voltage, Volume,
};

use crate::{STEP, Vehicle};

/// What a car's mass and the road ask of its wheels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Road {
    /// Test mass, kg.
    pub mass_kg: f64,
    /// What turns with the wheels, as a share of the mass.
    pub rotating_share: f64,
    /// Road load: N, N s/m, N s²/m².
    pub load: [f64; 3],
}

impl Road {
    /// Force at the wheels for a speed, m/s, and an acceleration, m/s²; less than nothing while braking, N.
    #[must_use]
    pub fn force(&self, speed: f64, acceleration: f64) -> f64 {
        let [a, b, c] = self.load;
        self.mass_kg * (1.0 + self.rotating_share) * acceleration + a + (b + c * speed) * speed
    }
}

impl Vehicle {
    /// Car time since it was made.
    #[must_use]
    pub fn now(&self) -> CarInstant {
        CarInstant::ZERO + Duration::from_nanos(self.tick.saturating_mul(10_000_000))
    }

    /// Crank speed.
    #[must_use]
    pub const fn engine_speed(&self) -> AngularSpeed {
        AngularSpeed::from_radians_per_second(self.state.omega())
    }

    /// Firings that failed since the car was made.
    #[must_use]
    pub const fn missed_firings(&self) -> u64 {
        self.state.firing.missed_firings
    }

    /// Compression of a cylinder, counted from 0, against a good one's.
    #[must_use]
    pub fn compression(&self, cylinder: usize) -> Ratio {
        let share = self.knobs.compression.get(cylinder);
        Ratio::from_fraction(share.copied().unwrap_or(1.0))
    }

    /// Flow of the injector of a cylinder, counted from 0, against a good one's.
    #[must_use]
    pub fn injector_flow(&self, cylinder: usize) -> Ratio {
        let share = self.knobs.injector.get(cylinder);
        Ratio::from_fraction(share.copied().unwrap_or(1.0))
    }

    /// Torque at the flywheel without the starter's.
    #[must_use]
    pub const fn engine_torque(&self) -> Torque {
        Torque::from_newton_metres(self.state.engine.torque)
    }

    /// What its mass and the road ask of its wheels.
    #[must_use]
    pub const fn road(&self) -> Road {
        let params = &self.params.driveline;
        let (a, b, c) = params.road_load;
        Road {
            mass_kg: params.mass_kg,
            rotating_share: params.rotating_share,
            load: [a, b, c],
        }
    }

    /// Road speed.
    #[must_use]
    pub const fn road_speed(&self) -> Speed {
        Speed::from_metres_per_second(self.state.driveline.speed)
    }

    /// Distance since the car was made.
    #[must_use]
    pub const fn distance(&self) -> Length {
        Length::from_metres(self.state.driveline.distance_m)
    }

    /// Acceleration along the road.
    #[must_use]
    pub const fn acceleration(&self) -> Acceleration {
        Acceleration::from_metres_per_second_squared(self.state.driveline.acceleration)
    }

    /// Gear in use, 1 to 6.
    #[must_use]
    pub const fn gear(&self) -> usize {
        self.state.driveline.gear + 1
    }

    /// Whether the gearbox is between two gears.
    #[must_use]
    pub const fn is_shifting(&self) -> bool {
        self.state.driveline.since_shift_s < self.params.driveline.shift_s.figure
    }

    /// How far the converter's lock-up clutch is closed.
    #[must_use]
    pub const fn lock_up(&self) -> Ratio {
        Ratio::from_fraction(self.state.driveline.lock_up)
    }

    /// Throttle plate angle.
    #[must_use]
    pub const fn throttle_angle(&self) -> Angle {
        Angle::from_degrees(self.state.air.plate_degrees)
    }

    /// Manifold pressure, absolute.
    #[must_use]
    pub const fn manifold_pressure(&self) -> Pressure {
        Pressure::from_kilopascals(self.state.air.manifold_kpa)
    }

    /// Air past the throttle.
    #[must_use]
    pub const fn throttle_flow(&self) -> MassFlow {
        MassFlow::from_grams_per_second(self.state.air.throttle_flow)
    }

    /// Air that leaks into the manifold beside the throttle.
    #[must_use]
    pub const fn leak_flow(&self) -> MassFlow {
        MassFlow::from_grams_per_second(self.state.air.leak_flow)
    }

    /// The highest exhaust pressure since the engine last started, gauge, as of whole seconds.
    #[must_use]
    pub const fn highest_back_pressure(&self) -> Pressure {
        Pressure::from_kilopascals(self.highest_back_pressure_kpa)
    }

    /// Exhaust pressure at the ports, gauge.
    #[must_use]
    pub const fn back_pressure(&self) -> Pressure {
        Pressure::from_kilopascals(self.state.air.exhaust_kpa - self.state.ambient.pressure_kpa)
    }

    /// Gas into the cylinders.
    #[must_use]
    pub const fn cylinder_flow(&self) -> MassFlow {
        MassFlow::from_grams_per_second(self.state.air.cylinder_flow)
    }

    /// Exhaust through the recirculation valve.
    #[must_use]
    pub const fn recirculated_flow(&self) -> MassFlow {
        MassFlow::from_grams_per_second(self.state.air.recirculated_flow)
    }

    /// Burnt gas as a share of what is in the manifold.
    #[must_use]
    pub const fn burnt_share(&self) -> Ratio {
        Ratio::from_fraction(self.state.air.burnt_share)
    }

    /// Share of firings that burnt gas in the cylinders puts out.
    #[must_use]
    pub const fn dilution_misfire(&self) -> Ratio {
        Ratio::from_fraction(self.state.air.dilution_misfire[0])
    }

    /// Lift of the recirculation valve.
    #[must_use]
    pub const fn recirculation_lift(&self) -> Ratio {
        Ratio::from_fraction(self.state.recirculation.lift)
    }

    /// Advance of the intake cam from its locked place, degrees of crank.
    #[must_use]
    pub const fn cam_advance(&self, bank: usize) -> Angle {
        Angle::from_degrees(self.state.phaser[bank].advance)
    }

    /// Banks of cylinders with an exhaust of their own; the figures of a bank are asked for by 0 and 1.
    #[must_use]
    pub const fn banks(&self) -> usize {
        self.params.banks()
    }

    /// Lambda in the cylinders of a bank; 5 and more is no fuel.
    #[must_use]
    pub const fn lambda(&self, bank: usize) -> Ratio {
        Ratio::from_fraction(1.0 / self.state.mixture.banks[bank].equivalence.max(0.2))
    }

    /// Lambda at the front oxygen sensor of a bank.
    #[must_use]
    pub const fn front_lambda(&self, bank: usize) -> Ratio {
        Ratio::from_fraction(1.0 / self.state.oxygen[bank].front_equivalence.max(0.2))
    }

    /// What a gauge on the fuel rail would show at this flow with the pump running.
    #[must_use]
    pub fn rail_pressure_at(&self, flow: MassFlow) -> Pressure {
        Pressure::from_kilopascals(self.supply.pressure_at(flow.grams_per_second()))
    }

    /// What a gauge between pump and filter would show then.
    #[must_use]
    pub fn pressure_before_filter_at(&self, flow: MassFlow) -> Pressure {
        Pressure::from_kilopascals(self.supply.before_filter_at(flow.grams_per_second()))
    }

    /// What is left on it so long after the pump was shut off at idle.
    #[must_use]
    pub fn rail_pressure_after(&self, span: Duration) -> Pressure {
        let idle = self.supply.pressure_at(0.2);
        let left = self
            .supply
            .at_rest(&self.params.mixture, idle, span.as_secs_f64());
        Pressure::from_kilopascals(left)
    }

    /// The heater of a bank's front (0) or rear (1) oxygen sensor as an ohmmeter sees it; nothing where it is open.
    #[must_use]
    pub fn oxygen_heater(&self, bank: usize, sensor: usize) -> Option<Resistance> {
        let exhaust = &self.state.exhaust[bank];
        let siemens = [exhaust.front_heater, exhaust.rear_heater][sensor];
        (!self.knobs.heater_open[bank][sensor]).then(|| Resistance::from_ohms(1.0 / siemens))
    }

    /// What a bank's front (0) or rear (1) oxygen sensor gives when warm, in a mixture made rich with propane.
    #[must_use]
    pub fn oxygen_sensor_enriched(&self, bank: usize, sensor: usize) -> Voltage {
        let (middle, swing) = self.params.oxygen.volts;
        let rich = middle + swing;
        Voltage::from_volts(if sensor == 0 {
            (rich + self.knobs.front_bias_v[bank]).max(0.0)
        } else {
            self.knobs.rear_stuck_v[bank].unwrap_or(rich)
        })
    }

    /// Fuel rail pressure, gauge.
    #[must_use]
    pub const fn rail_pressure(&self) -> Pressure {
        Pressure::from_kilopascals(self.state.mixture.rail_kpa)
    }

    /// Petrol through the injectors.
    #[must_use]
    pub const fn fuel_flow(&self) -> MassFlow {
        MassFlow::from_grams_per_second(self.state.mixture.injected)
    }

    /// Petrol through the injectors since the car was made.
    #[must_use]
    pub const fn fuel_used(&self) -> Mass {
        Mass::from_grams(self.state.fuel_used_g)
    }

    /// Petrol in the tank as a share of its nominal content.
    #[must_use]
    pub const fn fuel_level(&self) -> Ratio {
        Ratio::from_fraction(self.state.tank.fuel_l / self.params.tank.nominal_l)
    }

    /// Pressure in the tank's vapour space, gauge.
    #[must_use]
    pub const fn tank_pressure(&self) -> Pressure {
        Pressure::from_pascals(self.state.tank.pressure_pa)
    }

    /// Nominal volume of the tank, the one that levels are shares of.
    #[must_use]
    pub const fn tank_volume(&self) -> Volume {
        Volume::from_litres(self.params.tank.nominal_l)
    }

    /// Temperature of the fuel.
    #[must_use]
    pub const fn fuel_temperature(&self) -> Temperature {
        Temperature::from_celsius(self.state.tank.fuel_celsius)
    }

    /// Vapour in the canister as a share of its capacity.
    #[must_use]
    pub const fn canister_load(&self) -> Ratio {
        Ratio::from_fraction(self.state.tank.canister_g / self.params.tank.canister_g)
    }

    /// Gas through the purge valve.
    #[must_use]
    pub const fn purge_flow(&self) -> MassFlow {
        MassFlow::from_grams_per_second(self.state.tank.purge_flow)
    }

    /// Coolant and cylinder head.
    #[must_use]
    pub const fn coolant_temperature(&self) -> Temperature {
        Temperature::from_celsius(self.state.cooling.coolant)
    }

    /// Block and oil.
    #[must_use]
    pub const fn oil_temperature(&self) -> Temperature {
        Temperature::from_celsius(self.state.cooling.block)
    }

    /// Intake air.
    #[must_use]
    pub const fn intake_air_temperature(&self) -> Temperature {
        Temperature::from_celsius(self.state.cooling.intake)
    }

    /// Exhaust gas before the catalyst of a bank.
    #[must_use]
    pub const fn exhaust_gas_temperature(&self, bank: usize) -> Temperature {
        Temperature::from_celsius(self.state.exhaust[bank].gas)
    }

    /// Catalyst brick of a bank.
    #[must_use]
    pub const fn catalyst_temperature(&self, bank: usize) -> Temperature {
        Temperature::from_celsius(self.state.exhaust[bank].brick)
    }

    /// Oxygen in the catalyst of a bank as a share of what it holds.
    #[must_use]
    pub const fn catalyst_oxygen(&self, bank: usize) -> Ratio {
        Ratio::from_fraction(self.state.oxygen[bank].level)
    }

    /// Battery at its terminals.
    #[must_use]
    pub const fn battery_voltage(&self) -> Voltage {
        Voltage::from_volts(self.state.electrical.battery_volts)
    }

    /// Charge of the battery.
    #[must_use]
    pub const fn battery_charge(&self) -> Ratio {
        Ratio::from_fraction(self.state.electrical.charge)
    }

    /// Current into the battery, negative when it gives.
    #[must_use]
    pub const fn battery_current(&self) -> Current {
        Current::from_amperes(self.state.electrical.battery_amperes)
    }

    /// Current of the alternator.
    #[must_use]
    pub const fn alternator_current(&self) -> Current {
        Current::from_amperes(self.state.electrical.alternator_amperes)
    }

    /// What is lost between alternator and battery.
    #[must_use]
    pub fn charging_cable_drop(&self) -> Voltage {
        Voltage::from_volts(self.state.electrical.alternator_amperes * self.knobs.charging_cable_ohms)
    }

    /// Resistance of the battery, without its cables.
    #[must_use]
    pub fn battery_resistance(&self) -> Resistance {
        Resistance::from_ohms(self.state.electrical.battery.own_ohms(&self.params.electrical))
    }

    /// Whether the output-shaft sensor gives pulses while its shaft turns.
    #[must_use]
    pub const fn speed_sensor_works(&self) -> bool {
        !self.knobs.speed_sensor_dead
    }

    /// Current of the starter.
    #[must_use]
    pub const fn starter_current(&self) -> Current {
        Current::from_amperes(self.state.electrical.starter_amperes)
    }

    /// Air around the car.
    #[must_use]
    pub const fn ambient_temperature(&self) -> Temperature {
        Temperature::from_celsius(self.state.ambient.celsius)
    }

    /// Pressure of the air around the car, absolute.
    #[must_use]
    pub const fn ambient_pressure(&self) -> Pressure {
        Pressure::from_kilopascals(self.state.ambient.pressure_kpa)
    }

    /// Height above the sea.
    #[must_use]
    pub const fn altitude(&self) -> Length {
        Length::from_metres(self.state.ambient.altitude_m)
    }
}

const _: () = assert!(STEP.as_nanos() == 10_000_000, "car time counts steps of 10 ms");
