//! What engine management goes on with when a sensor circuit has failed; what testers are shown stays what the circuit
//! says (13 CCR 1968.2(g)(4.2), from memory: a tester never sees a substitute).
//!
//! | circuit | substitute |
//! |---|---|
//! | coolant | a model from intake air and fuel burnt, from the last good reading on; fan always on |
//! | intake air | outside air |
//! | manifold pressure | the manifold filled by metered air, or by the throttle's where the meter is lost too |
//! | air meter | speed-density |
//! | throttle, either track, or both not agreeing | limp-home: motor without current until the key is next turned on |
//! | tank pressure | atmosphere |
//! | position of the EGR valve | valve commanded shut, and taken for shut |
//! | fuel level | none: nothing here uses it |
//! | fuel rail pressure | none: injection goes by what the regulator holds, and the sensor serves its monitors alone |
//!
//! A sensor that its monitor finds implausible is given up as a failed circuit is ([`Requests::distrust`]).
//! A circuit is given up at its first reading out of range (every 100 ms) and believed again after a second of good
//! ones (choices of this project; kinds of substitute: as makers publish in their service information).

use twotrip_harness::Circuit;
use twotrip_units::{Angle, Limit, MassFlow, Pressure, Temperature};

use crate::{
    Calibration,
    circuits::{CircuitSet, Readings},
    control::{Requests, measured::Measured},
};

/// Good readings in a row after which a circuit is believed again.
const BELIEVE_AGAIN: u8 = 10;
/// Bad readings of the throttle in a row that cut its motor.
const THROTTLE_GIVEN_UP: u8 = 3;
/// Where its springs hold the plate.
pub(crate) const THROTTLE_AT_REST: Angle = Angle::from_degrees(10.0);

/// Pressure that a gram of air adds in the manifold of the calibrated engine, kPa (3 l at 20 °C).
const KILOPASCALS_PER_GRAM: f64 = 28.0;
/// Lowest pressure that an engine pulls, kPa.
const LOWEST_KILOPASCALS: f64 = 12.0;

/// Coolant, head and block as one mass, J/K; the share of the fuel's heat it takes; energy of petrol, J/g; losses
/// standing, W/K, and with speed, W/K per m/s (calibrated on this car's warm-up).
const WARMED_CAPACITY: f64 = 54_000.0;
const HEAT_SHARE: f64 = 0.31;
const FUEL_ENERGY: f64 = 42_600.0;
const LOSS_STANDING: f64 = 9.0;
const LOSS_BY_SPEED: f64 = 0.5;
/// Where the thermostat and the fan hold it, °C.
const REGULATED: f64 = 88.0;
/// Time constant of cooling with the engine off, s.
const COOLING_SECONDS: f64 = 10_400.0;

/// Signals whose values are replaced, as their circuits show them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Shown {
    pub(crate) coolant: Temperature,
    pub(crate) intake_air: Temperature,
    pub(crate) manifold_pressure: Pressure,
    pub(crate) air_flow: MassFlow,
    pub(crate) tank_pressure: Pressure,
}

impl Shown {
    const fn of(measured: &Measured) -> Self {
        Self {
            coolant: measured.coolant,
            intake_air: measured.intake_air,
            manifold_pressure: measured.manifold_pressure,
            air_flow: measured.air_flow,
            tank_pressure: measured.tank_pressure,
        }
    }
}

/// Which circuits are given up, and what stands in.
#[derive(Clone, Debug, Default)]
pub(crate) struct Substitutes {
    /// 1 / size of the engine against the calibrated one.
    per_size: f64,
    given_up: CircuitSet,
    good_readings: [u8; Circuit::ALL.len()],
    limp_home: bool,
    bad_throttle: u8,
    /// Slow signals as their circuits show them, as of the last slow step.
    slow: Option<Shown>,
    /// Coolant, °C, while its circuit works a copy of it.
    coolant: Option<f64>,
    manifold: f64,
}

/// The circuits that are read in every step.
const FAST: CircuitSet = CircuitSet::of(&[Circuit::ManifoldPressureSensor, Circuit::AirMeter]);
/// Those whose loss makes the fuel an estimate.
const FUEL: CircuitSet = CircuitSet::of(&[
    Circuit::ManifoldPressureSensor,
    Circuit::AirMeter,
    Circuit::CoolantSensor,
    Circuit::IntakeAirSensor,
]);

impl Substitutes {
    /// Of an engine: everything works.
    pub(crate) fn new(calibration: &Calibration) -> Self {
        Self {
            per_size: 1.0 / calibration.size(),
            ..Self::default()
        }
    }

    /// Whether the throttle's motor is without current because its position is not known.
    pub(crate) const fn limp_home(&self) -> bool {
        self.limp_home
    }

    /// Whether this circuit is given up.
    pub(crate) const fn replaces(&self, circuit: Circuit) -> bool {
        self.given_up.contains(circuit)
    }

    /// Whether manifold pressure or metered air has to be replaced in every step.
    pub(crate) const fn replaces_air(&self) -> bool {
        self.given_up.meets(FAST)
    }

    /// Whether what is injected rests on a substitute, so that nothing is to be learned from it.
    pub(crate) const fn replaces_fuel_signals(&self) -> bool {
        self.given_up.meets(FUEL)
    }

    /// The key comes on: a throttle that works again is used again.
    pub(crate) const fn key_on(&mut self) {
        self.limp_home = false;
        self.bad_throttle = 0;
    }

    /// The engine starts: a throttle that failed before and works now is used, for nobody judged it then.
    pub(crate) const fn engine_started(&mut self) {
        self.limp_home &= self.bad_throttle > 0;
    }

    /// Time passed with the engine off and nobody counting.
    pub(crate) fn rest(&mut self, ambient: Temperature, seconds: f64) {
        if let Some(coolant) = &mut self.coolant {
            let ambient = ambient.celsius();
            *coolant = ambient + (*coolant - ambient) * libm::exp(-seconds / COOLING_SECONDS);
        }
    }

    /// Every 100 ms, after the slow signals were read: decides which circuits to give up, and replaces the slow ones.
    /// `fuel` is what was burnt, g/s.
    pub(crate) fn step_slow(
        &mut self,
        measured: &mut Measured,
        requests: &Requests,
        fuel: f64,
        seconds: f64,
    ) {
        let readings = measured.circuits;
        self.limp_home |= requests.limp_home;
        if readings.is_sound() && self.given_up.is_empty() && requests.distrust.is_empty() {
            self.bad_throttle = 0;
            self.slow = None;
            self.coolant = Some(measured.coolant.celsius());
            return;
        }
        self.decide(readings, requests.distrust);
        let shown = Shown::of(measured);
        self.slow = Some(shown);
        if self.replaces(Circuit::IntakeAirSensor) {
            measured.intake_air = measured.ambient;
        }
        if self.replaces(Circuit::TankPressureSensor) {
            measured.tank_pressure = Pressure::ZERO;
        }
        if self.replaces(Circuit::CoolantSensor) {
            let coolant = self.coolant.unwrap_or_else(|| measured.intake_air.celsius());
            let coolant = warmed(coolant, measured, fuel * self.per_size, seconds);
            self.coolant = Some(coolant);
            measured.coolant = Temperature::from_celsius(coolant);
        } else {
            self.coolant = Some(measured.coolant.celsius());
        }
    }

    fn decide(&mut self, readings: Readings, distrust: CircuitSet) {
        let bad = readings.out_of_range().with(distrust);
        for (circuit, good) in Circuit::ALL.into_iter().zip(&mut self.good_readings) {
            if bad.contains(circuit) {
                self.given_up.insert(circuit);
                *good = 0;
            } else if self.given_up.contains(circuit) {
                *good += 1;
                if *good >= BELIEVE_AGAIN {
                    self.given_up.remove(circuit);
                }
            }
        }
        let throttle = bad.contains(Circuit::ThrottleSensorA) || bad.contains(Circuit::ThrottleSensorB);
        if throttle || readings.tracks_apart {
            self.bad_throttle = (self.bad_throttle + 1).min(THROTTLE_GIVEN_UP);
            self.limp_home |= self.bad_throttle == THROTTLE_GIVEN_UP;
        } else {
            self.bad_throttle = 0;
        }
    }

    /// Every step while [`Self::replaces_air`]: manifold pressure and metered air from one another. `drawn` tells what
    /// the cylinders draw at a manifold pressure in kPa, g/s; `through_throttle` what its plate lets pass; `purge` is
    /// what comes in beside it.
    pub(crate) fn replace_air(
        &mut self,
        measured: &mut Measured,
        drawn: impl Fn(f64) -> f64,
        through_throttle: impl Fn(f64) -> f64,
        purge: f64,
        seconds: f64,
    ) {
        let meter_lost = self.replaces(Circuit::AirMeter);
        let barometer = measured.barometer.kilopascals();
        if !self.replaces(Circuit::ManifoldPressureSensor) {
            self.manifold = measured.manifold_kilopascals;
        } else if measured.rpm < 20.0 {
            self.manifold = barometer;
        } else {
            let inflow = purge
                + if meter_lost {
                    through_throttle(self.manifold)
                } else {
                    measured.air_grams
                };
            let filled = self.manifold
                + KILOPASCALS_PER_GRAM * self.per_size * (inflow - drawn(self.manifold)) * seconds;
            self.manifold = filled.within(LOWEST_KILOPASCALS, barometer);
        }
        measured.manifold_kilopascals = self.manifold;
        measured.manifold_pressure = Pressure::from_kilopascals(self.manifold);
        if meter_lost {
            measured.air_grams = (drawn(self.manifold) - purge).at_least(0.0);
            measured.air_flow = MassFlow::from_grams_per_second(measured.air_grams);
        }
    }

    /// What testers are shown. `fast` holds manifold pressure and air flow as read in this step, where they were
    /// replaced.
    pub(crate) fn shown(&self, measured: &Measured, fast: Option<(Pressure, MassFlow)>) -> Shown {
        let shown = self.slow.unwrap_or_else(|| Shown::of(measured));
        let (manifold_pressure, air_flow) = fast.unwrap_or((measured.manifold_pressure, measured.air_flow));
        Shown {
            manifold_pressure,
            air_flow,
            ..shown
        }
    }
}

/// The coolant model over a span of running or standing with the key on.
fn warmed(celsius: f64, measured: &Measured, fuel: f64, seconds: f64) -> f64 {
    let heat = HEAT_SHARE * FUEL_ENERGY * fuel;
    let loss = LOSS_STANDING + LOSS_BY_SPEED * measured.vehicle_speed.metres_per_second();
    let watts = heat - loss * (celsius - measured.intake_air.celsius());
    (celsius + watts / WARMED_CAPACITY * seconds).at_most(celsius.at_least(REGULATED))
}

#[cfg(test)]
mod tests {
    use super::*;
    use twotrip_units::Speed;

    fn compact() -> Substitutes {
        Substitutes::new(&Calibration::compact_2_0())
    }

    fn slow(substitutes: &mut Substitutes, bad: &[Circuit], measured: &Measured) -> Measured {
        let mut measured = measured.clone();
        measured.circuits.high = CircuitSet::of(bad);
        substitutes.step_slow(&mut measured, &Requests::default(), 0.3, 0.1);
        measured
    }

    fn warm() -> Measured {
        Measured {
            coolant: Temperature::from_celsius(85.0),
            intake_air: Temperature::from_celsius(30.0),
            ambient: Temperature::from_celsius(18.0),
            tank_pressure: Pressure::from_pascals(-200.0),
            ..Measured::default()
        }
    }

    #[test]
    fn a_failed_circuit_is_replaced_and_still_shown() {
        let mut substitutes = compact();
        let good = slow(&mut substitutes, &[], &warm());
        assert_eq!(good.coolant, warm().coolant);
        let open = Measured {
            coolant: Temperature::from_celsius(-40.0),
            intake_air: Temperature::from_celsius(-40.0),
            tank_pressure: Pressure::from_kilopascals(5.0),
            ..warm()
        };
        let bad = [
            Circuit::CoolantSensor,
            Circuit::IntakeAirSensor,
            Circuit::TankPressureSensor,
        ];
        let replaced = slow(&mut substitutes, &bad, &open);
        assert!(
            (replaced.coolant.celsius() - 85.0).abs() < 0.1,
            "goes on from what it was"
        );
        assert_eq!(replaced.intake_air, open.ambient);
        assert_eq!(replaced.tank_pressure, Pressure::ZERO);
        let shown = substitutes.shown(&replaced, None);
        assert!((shown.coolant.celsius() + 40.0).abs() < 1e-9);
        assert!((shown.tank_pressure.kilopascals() - 5.0).abs() < 1e-9);
        // A circuit that comes back is believed after a second.
        for reading in 1..=10 {
            let back = slow(&mut substitutes, &[], &warm());
            assert_eq!(back.intake_air == warm().intake_air, reading == 10, "{reading}");
        }
        assert!(!substitutes.replaces_fuel_signals());
    }

    /// A manifold whose flow goes in proportion to pressure: what fills it and what is drawn agree in the end.
    #[test]
    fn manifold_and_meter_stand_in_for_each_other() {
        let mut substitutes = compact();
        let drawn = |kilopascals: f64| 0.08 * kilopascals;
        let running = |kilopascals: f64, grams: f64| Measured {
            rpm: 800.0,
            manifold_kilopascals: kilopascals,
            air_grams: grams,
            barometer: Pressure::from_kilopascals(101.0),
            ..Measured::default()
        };
        let mut settle = |bad: &[Circuit], kilopascals, grams| {
            slow(&mut substitutes, bad, &warm());
            let mut measured = running(kilopascals, grams);
            for _ in 0..500 {
                measured = running(kilopascals, grams);
                substitutes.replace_air(&mut measured, drawn, |_| 4.0, 0.2, 0.01);
            }
            (measured.manifold_kilopascals, measured.air_grams)
        };
        let (pressure, _) = settle(&[Circuit::ManifoldPressureSensor], 0.0, 2.2);
        assert!((pressure - 30.0).abs() < 0.1, "from the meter: {pressure} kPa");
        let (pressure, flow) = settle(&[Circuit::ManifoldPressureSensor, Circuit::AirMeter], 0.0, 130.0);
        assert!((pressure - 52.5).abs() < 0.1, "from the throttle: {pressure} kPa");
        assert!((flow - 4.0).abs() < 0.01, "from the throttle: {flow} g/s");
    }

    /// A sensor that reads in range and is not believed is replaced as one that does not.
    #[test]
    fn a_distrusted_sensor_is_replaced_at_once() {
        let mut substitutes = Substitutes::default();
        let requests = Requests {
            distrust: CircuitSet::of(&[Circuit::ManifoldPressureSensor]),
            ..Requests::default()
        };
        let mut measured = warm();
        substitutes.step_slow(&mut measured, &requests, 0.3, 0.1);
        assert!(substitutes.replaces(Circuit::ManifoldPressureSensor) && substitutes.replaces_air());
        assert!(!substitutes.replaces(Circuit::AirMeter) && !substitutes.limp_home());
        for _ in 0..10 {
            substitutes.step_slow(&mut measured, &Requests::default(), 0.3, 0.1);
        }
        assert!(!substitutes.replaces_air(), "believed again");
    }

    #[test]
    fn limp_home_lasts_until_the_key_comes_on() {
        let mut substitutes = compact();
        for _ in 0..2 {
            slow(&mut substitutes, &[Circuit::ThrottleSensorB], &warm());
        }
        slow(&mut substitutes, &[], &warm());
        assert!(!substitutes.limp_home(), "0.2 s are borne");
        for _ in 0..3 {
            slow(&mut substitutes, &[Circuit::ThrottleSensorB], &warm());
        }
        for _ in 0..100 {
            slow(&mut substitutes, &[], &warm());
        }
        assert!(substitutes.limp_home());
        substitutes.key_on();
        slow(&mut substitutes, &[], &warm());
        assert!(!substitutes.limp_home());
        for (bad, lasts) in [(&[][..], false), (&[Circuit::ThrottleSensorB][..], true)] {
            for _ in 0..3 {
                slow(&mut substitutes, &[Circuit::ThrottleSensorB], &warm());
            }
            slow(&mut substitutes, bad, &warm());
            substitutes.engine_started();
            assert_eq!(substitutes.limp_home(), lasts, "failed before the start");
        }
    }

    /// A hot engine parked: 51 K above its surroundings after one hour, 17 after four, 4 after eight (computed on a
    /// prototype of this car's model, which cools from 90 degC at 20).
    #[test]
    fn the_model_cools_as_the_car_does() {
        for (hours, celsius) in [(1.0, 71.0), (2.0, 55.0), (4.0, 37.0), (8.0, 24.0)] {
            let mut substitutes = Substitutes {
                coolant: Some(90.0),
                ..compact()
            };
            substitutes.rest(Temperature::from_celsius(20.0), hours * 3600.0);
            let modelled = substitutes.coolant.expect("known");
            assert!((modelled - celsius).abs() < 4.0, "{hours} h: {modelled} degC");
        }
    }

    /// Idling for long ends near what the thermostat holds, never above.
    #[test]
    fn the_model_warms_up_to_the_thermostat() {
        let measured = Measured {
            intake_air: Temperature::from_celsius(20.0),
            vehicle_speed: Speed::from_kilometres_per_hour(50.0),
            ..Measured::default()
        };
        let mut celsius = 20.0;
        for _ in 0..36_000 {
            celsius = warmed(celsius, &measured, 0.5, 0.1);
        }
        assert!((celsius - REGULATED).abs() < 0.1, "{celsius}");
    }
}
