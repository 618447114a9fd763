//! The sensor circuits as electrical things: what drives the wire, what the ECU's input adds, and what a fault in
//! between makes of it.
//!
//! ```text
//!            sensor                     wire                ECU input
//!   ground -- E -- Rs --+--- fault: break, resistance ---+--- pin
//!                       |                                |
//!                       +--- fault: short                Rp to 5 V or to ground
//! ```
//!
//! A thermistor and a level sender are a resistance to ground, which the ECU's pull-up makes a voltage of; the others
//! drive the wire themselves through a small resistance. Sizes of inputs and outputs, and which inputs are pulled up
//! and which down: common practice, no source, but for the thermistors' pull-up ([`crate::transfer::THERMISTOR`]).

use twotrip_units::{Limit, Resistance, Voltage};

use crate::{SensorPins, WiringFault, transfer::SENSOR_SUPPLY_VOLTS};

/// A sensor's signal wire, with the ground that the signal is measured against.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Circuit {
    /// Coolant temperature.
    CoolantSensor,
    /// Intake-air temperature.
    IntakeAirSensor,
    /// Air-mass meter.
    AirMeter,
    /// Manifold pressure.
    ManifoldPressureSensor,
    /// Throttle position, track A.
    ThrottleSensorA,
    /// Throttle position, track B.
    ThrottleSensorB,
    /// Tank pressure.
    TankPressureSensor,
    /// Fuel level sender.
    FuelLevelSensor,
    /// Stem of the exhaust-gas recirculation valve.
    EgrPositionSensor,
    /// Fuel rail pressure.
    RailPressureSensor,
    /// Front oxygen sensor, bank 1.
    FrontOxygenSensor,
    /// Rear oxygen sensor, bank 1.
    RearOxygenSensor,
    /// Front oxygen sensor, bank 2.
    FrontOxygenSensor2,
    /// Rear oxygen sensor, bank 2.
    RearOxygenSensor2,
}

/// What drives the wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Source {
    /// A resistance to ground that varies with the quantity.
    Resistor,
    /// A voltage behind this resistance.
    Output(Resistance),
}

/// The ECU's input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Input {
    /// Pulled up to the sensor supply through this resistance.
    PulledUp(Resistance),
    /// Pulled down to ground through this resistance.
    PulledDown(Resistance),
    /// Held at the middle of an oxygen sensor's range, [`OXYGEN_IDLE`], through this resistance.
    Held(Resistance),
}

/// Where the input of an oxygen sensor is held while the sensor is cold or gone (0.45 V, common practice, no source).
pub const OXYGEN_IDLE: Voltage = Voltage::from_volts(0.45);

impl Input {
    /// What the pin shows with nothing connected.
    #[must_use]
    pub const fn idle(self) -> Voltage {
        match self {
            Self::PulledUp(_) => Voltage::from_volts(SENSOR_SUPPLY_VOLTS),
            Self::PulledDown(_) => Voltage::ZERO,
            Self::Held(_) => OXYGEN_IDLE,
        }
    }

    const fn ohms(self) -> f64 {
        match self {
            Self::PulledUp(resistance) | Self::PulledDown(resistance) | Self::Held(resistance) => {
                resistance.ohms()
            }
        }
    }
}

/// What a meter finds on a circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Probe {
    /// The pin of the ECU, key on.
    pub at_ecu: Voltage,
    /// The sensor's plug, plugged in, key on.
    pub at_sensor: Voltage,
    /// The harness side of that plug with the sensor unplugged, key on.
    pub unplugged: Voltage,
    /// The sensor's ground against the battery's, key on.
    pub ground: Voltage,
    /// The wire from end to end, both ends unplugged; `None` where it is broken.
    pub wire: Option<Resistance>,
    /// The wire against ground, both ends unplugged; `None` where there is no connection.
    pub to_ground: Option<Resistance>,
    /// The wire against the sensor supply's, both ends unplugged; `None` where there is no connection.
    pub to_supply: Option<Resistance>,
    /// A sensor that is a resistance: what it has now, unplugged.
    pub sensor: Option<Resistance>,
}

/// What a good wire, or a short, has by itself.
const GOOD_WIRE: Resistance = Resistance::from_ohms(0.2);

impl Circuit {
    /// All of them.
    pub const ALL: [Self; 14] = [
        Self::CoolantSensor,
        Self::IntakeAirSensor,
        Self::AirMeter,
        Self::ManifoldPressureSensor,
        Self::ThrottleSensorA,
        Self::ThrottleSensorB,
        Self::TankPressureSensor,
        Self::FuelLevelSensor,
        Self::EgrPositionSensor,
        Self::RailPressureSensor,
        Self::FrontOxygenSensor,
        Self::RearOxygenSensor,
        Self::FrontOxygenSensor2,
        Self::RearOxygenSensor2,
    ];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::CoolantSensor => "coolant-sensor",
            Self::IntakeAirSensor => "intake-air-sensor",
            Self::AirMeter => "air-meter",
            Self::ManifoldPressureSensor => "manifold-pressure-sensor",
            Self::ThrottleSensorA => "throttle-sensor-a",
            Self::ThrottleSensorB => "throttle-sensor-b",
            Self::TankPressureSensor => "tank-pressure-sensor",
            Self::FuelLevelSensor => "fuel-level-sensor",
            Self::EgrPositionSensor => "egr-position-sensor",
            Self::RailPressureSensor => "rail-pressure-sensor",
            Self::FrontOxygenSensor => "front-oxygen-sensor",
            Self::RearOxygenSensor => "rear-oxygen-sensor",
            Self::FrontOxygenSensor2 => "front-oxygen-sensor-2",
            Self::RearOxygenSensor2 => "rear-oxygen-sensor-2",
        }
    }

    /// What drives the wire.
    #[must_use]
    pub const fn source(self) -> Source {
        match self {
            Self::CoolantSensor | Self::IntakeAirSensor | Self::FuelLevelSensor => Source::Resistor,
            Self::ThrottleSensorA | Self::ThrottleSensorB | Self::EgrPositionSensor => {
                Source::Output(Resistance::from_ohms(600.0))
            }
            // The cell when hot; what it is when cold is in its own voltage.
            Self::FrontOxygenSensor
            | Self::RearOxygenSensor
            | Self::FrontOxygenSensor2
            | Self::RearOxygenSensor2 => Source::Output(Resistance::from_ohms(1_000.0)),
            Self::AirMeter
            | Self::ManifoldPressureSensor
            | Self::TankPressureSensor
            | Self::RailPressureSensor => Source::Output(Resistance::from_ohms(100.0)),
        }
    }

    /// What the ECU's input adds.
    #[must_use]
    pub const fn input(self) -> Input {
        match self {
            Self::CoolantSensor | Self::IntakeAirSensor => Input::PulledUp(Resistance::from_ohms(1_000.0)),
            Self::FuelLevelSensor => Input::PulledUp(Resistance::from_ohms(100.0)),
            Self::AirMeter | Self::ManifoldPressureSensor | Self::RailPressureSensor => {
                Input::PulledDown(Resistance::from_ohms(51_000.0))
            }
            Self::ThrottleSensorA | Self::EgrPositionSensor => {
                Input::PulledDown(Resistance::from_ohms(47_000.0))
            }
            Self::FrontOxygenSensor
            | Self::RearOxygenSensor
            | Self::FrontOxygenSensor2
            | Self::RearOxygenSensor2 => Input::Held(Resistance::from_ohms(1_000_000.0)),
            Self::ThrottleSensorB => Input::PulledUp(Resistance::from_ohms(47_000.0)),
            Self::TankPressureSensor => Input::PulledUp(Resistance::from_ohms(51_000.0)),
        }
    }

    /// Whether the sensor gives a share of the 5 V that it shares with others ([`crate::Wire::SensorSupply`]). The air meter
    /// and the sensor on the fuel rail have supplies of their own, and a resistance lives on the ECU's pull-up (a choice of this car; common practice, no source).
    #[must_use]
    pub const fn on_shared_supply(self) -> bool {
        matches!(
            self,
            Self::ManifoldPressureSensor
                | Self::ThrottleSensorA
                | Self::ThrottleSensorB
                | Self::TankPressureSensor
                | Self::EgrPositionSensor
        )
    }

    /// Bank and place, front 0 and rear 1, if it is an oxygen sensor.
    #[must_use]
    pub const fn oxygen(self) -> Option<(usize, usize)> {
        match self {
            Self::FrontOxygenSensor => Some((0, 0)),
            Self::RearOxygenSensor => Some((0, 1)),
            Self::FrontOxygenSensor2 => Some((1, 0)),
            Self::RearOxygenSensor2 => Some((1, 1)),
            _ => None,
        }
    }

    /// What this circuit's input shows where another one's sensor is wired to it, which would give `healthy` at its own.
    #[must_use]
    pub(crate) fn with_source_of(self, other: Self, healthy: Voltage) -> Voltage {
        let source = Network::of(other, healthy);
        let input = Network::of(self, Voltage::ZERO);
        let network = Network {
            source_volts: source.source_volts,
            source_ohms: source.source_ohms,
            ..input
        };
        network.loaded(0.0, 0.0).0
    }

    /// The pin of this circuit.
    #[must_use]
    pub const fn pin(self, pins: &SensorPins) -> Voltage {
        match self {
            Self::CoolantSensor => pins.coolant_temperature,
            Self::IntakeAirSensor => pins.intake_air_temperature,
            Self::AirMeter => pins.air_meter,
            Self::ManifoldPressureSensor => pins.manifold_pressure,
            Self::ThrottleSensorA => pins.throttle_a,
            Self::ThrottleSensorB => pins.throttle_b,
            Self::TankPressureSensor => pins.tank_pressure,
            Self::FuelLevelSensor => pins.fuel_level,
            Self::EgrPositionSensor => pins.recirculation_lift,
            Self::RailPressureSensor => pins.rail_pressure,
            Self::FrontOxygenSensor => pins.oxygen_front[0],
            Self::RearOxygenSensor => pins.oxygen_rear[0],
            Self::FrontOxygenSensor2 => pins.oxygen_front[1],
            Self::RearOxygenSensor2 => pins.oxygen_rear[1],
        }
    }

    /// The same, to be written.
    pub(crate) const fn pin_mut(self, pins: &mut SensorPins) -> &mut Voltage {
        match self {
            Self::CoolantSensor => &mut pins.coolant_temperature,
            Self::IntakeAirSensor => &mut pins.intake_air_temperature,
            Self::AirMeter => &mut pins.air_meter,
            Self::ManifoldPressureSensor => &mut pins.manifold_pressure,
            Self::ThrottleSensorA => &mut pins.throttle_a,
            Self::ThrottleSensorB => &mut pins.throttle_b,
            Self::TankPressureSensor => &mut pins.tank_pressure,
            Self::FuelLevelSensor => &mut pins.fuel_level,
            Self::EgrPositionSensor => &mut pins.recirculation_lift,
            Self::RailPressureSensor => &mut pins.rail_pressure,
            Self::FrontOxygenSensor => &mut pins.oxygen_front[0],
            Self::RearOxygenSensor => &mut pins.oxygen_rear[0],
            Self::FrontOxygenSensor2 => &mut pins.oxygen_front[1],
            Self::RearOxygenSensor2 => &mut pins.oxygen_rear[1],
        }
    }

    /// What a meter finds, where a good wire would show `healthy` at the pin.
    #[must_use]
    pub fn probe(self, healthy: Voltage, fault: Option<WiringFault>) -> Probe {
        let network = Network::of(self, healthy);
        let mut probe = Probe {
            at_ecu: healthy,
            at_sensor: healthy,
            unplugged: self.input().idle(),
            ground: Voltage::ZERO,
            wire: Some(GOOD_WIRE),
            to_ground: None,
            to_supply: None,
            sensor: (self.source() == Source::Resistor).then(|| Resistance::from_ohms(network.source_ohms)),
        };
        match fault {
            None => {}
            Some(WiringFault::Open) => {
                probe.at_ecu = self.input().idle();
                probe.at_sensor = Voltage::from_volts(network.source_volts);
                probe.unplugged = Voltage::ZERO;
                probe.wire = None;
            }
            Some(WiringFault::ShortToGround) => {
                (probe.at_ecu, probe.at_sensor, probe.unplugged) =
                    (Voltage::ZERO, Voltage::ZERO, Voltage::ZERO);
                probe.to_ground = Some(GOOD_WIRE);
            }
            Some(WiringFault::ShortToSupply) => {
                let supply = Voltage::from_volts(SENSOR_SUPPLY_VOLTS);
                (probe.at_ecu, probe.at_sensor, probe.unplugged) = (supply, supply, supply);
                probe.to_supply = Some(GOOD_WIRE);
            }
            Some(WiringFault::Resistance(added)) => {
                (probe.at_ecu, probe.at_sensor) = network.loaded(added.ohms(), 0.0);
                probe.wire = Some(added);
            }
            Some(WiringFault::Bias(offset)) => {
                (probe.at_ecu, probe.at_sensor) = network.loaded(0.0, offset.volts());
                probe.ground = offset;
            }
            // Faults of other wires, and of two at once ([`crate::Harness::probe`]).
            Some(WiringFault::PulledDown(_) | WiringFault::SwappedWith(_)) => {}
        }
        probe
    }
}

/// A circuit at one instant.
struct Network {
    /// The sensor behind [`Self::source_ohms`].
    source_volts: f64,
    source_ohms: f64,
    /// The input behind [`Self::input_ohms`].
    input_volts: f64,
    input_ohms: f64,
}

impl Network {
    /// Worked back from what the pin shows with good wires.
    fn of(circuit: Circuit, healthy: Voltage) -> Self {
        let input = circuit.input();
        let (input_volts, input_ohms) = (input.idle().volts(), input.ohms());
        let pin = healthy.volts().within(0.0, SENSOR_SUPPLY_VOLTS);
        let (source_volts, source_ohms) = match circuit.source() {
            Source::Resistor => {
                let below = (SENSOR_SUPPLY_VOLTS - pin).at_least(1e-3);
                (0.0, input_ohms * pin / below)
            }
            Source::Output(resistance) => {
                let ohms = resistance.ohms();
                (pin + (pin - input_volts) * ohms / input_ohms, ohms)
            }
        };
        Self {
            source_volts,
            source_ohms,
            input_volts,
            input_ohms,
        }
    }

    /// Voltages at the pin and at the sensor's plug with so much in the wire and the sensor's ground off by so much;
    /// the ECU's input holds its pin between ground and supply.
    fn loaded(&self, added_ohms: f64, ground_volts: f64) -> (Voltage, Voltage) {
        let source = self.source_volts + ground_volts;
        let total = self.source_ohms + added_ohms.at_least(0.0) + self.input_ohms;
        let amperes = (self.input_volts - source) / total;
        let at_ecu = self.input_volts - amperes * self.input_ohms;
        let at_sensor = source + amperes * self.source_ohms;
        let held = |volts: f64| Voltage::from_volts(volts.within(0.0, SENSOR_SUPPLY_VOLTS));
        (held(at_ecu), held(at_sensor))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::transfer::{PRESSURE, THERMISTOR};
    use twotrip_units::{Pressure, Temperature};

    fn at_ecu(circuit: Circuit, healthy: f64, fault: WiringFault) -> f64 {
        circuit
            .probe(Voltage::from_volts(healthy), Some(fault))
            .at_ecu
            .volts()
    }

    /// Which end of its range a circuit goes to when the wire breaks.
    #[test]
    fn an_open_wire_shows_what_the_input_is_pulled_to() {
        for (circuit, volts) in [
            (Circuit::CoolantSensor, 5.0),
            (Circuit::IntakeAirSensor, 5.0),
            (Circuit::AirMeter, 0.0),
            (Circuit::ManifoldPressureSensor, 0.0),
            (Circuit::ThrottleSensorA, 0.0),
            (Circuit::ThrottleSensorB, 5.0),
            (Circuit::TankPressureSensor, 5.0),
            (Circuit::FuelLevelSensor, 5.0),
            (Circuit::EgrPositionSensor, 0.0),
            (Circuit::RailPressureSensor, 0.0),
            (Circuit::FrontOxygenSensor, 0.45),
            (Circuit::RearOxygenSensor2, 0.45),
        ] {
            let name = circuit.name();
            assert!(
                (at_ecu(circuit, 2.0, WiringFault::Open) - volts).abs() < 1e-9,
                "{name}"
            );
            assert!(
                at_ecu(circuit, 2.0, WiringFault::ShortToGround).abs() < 1e-9,
                "{name}"
            );
            let supply = at_ecu(circuit, 2.0, WiringFault::ShortToSupply);
            assert!((supply - 5.0).abs() < 1e-9, "{name}");
            let huge = WiringFault::Resistance(Resistance::from_ohms(1e12));
            assert!(
                (at_ecu(circuit, 2.0, huge) - volts).abs() < 1e-3,
                "{name}: as open"
            );
            for nothing in [
                WiringFault::Resistance(Resistance::ZERO),
                WiringFault::Bias(Voltage::ZERO),
            ] {
                assert!((at_ecu(circuit, 2.0, nothing) - 2.0).abs() < 1e-9, "{name}");
            }
        }
    }

    /// The published table of a thermistor (2450 ohm at 20 degC, 245 at 90) behind a 1.0 kohm pull-up.
    #[test]
    fn added_resistance_makes_a_thermistor_read_cold() {
        for (celsius, added, shown) in [(90.0, 77.0, 80.0), (90.0, 341.0, 60.0), (20.0, 3340.0, 0.0)] {
            let healthy = THERMISTOR.from_temperature(Temperature::from_celsius(celsius));
            let fault = WiringFault::Resistance(Resistance::from_ohms(added));
            let pin = at_ecu(Circuit::CoolantSensor, healthy.volts(), fault);
            let read = THERMISTOR.to_temperature(Voltage::from_volts(pin)).celsius();
            assert!(
                (read - shown).abs() < 0.7,
                "{celsius} degC and {added} ohm read {read}"
            );
        }
        let healthy = THERMISTOR.from_temperature(Temperature::from_celsius(20.0));
        let sensor = Circuit::CoolantSensor.probe(healthy, None).sensor;
        assert!((sensor.expect("a thermistor").ohms() / 2450.0 - 1.0).abs() < 0.01);
    }

    /// A driven signal hardly feels what a thermistor feels: 500 ohm before 51 kohm are 1 %.
    #[test]
    fn added_resistance_hardly_moves_a_driven_signal() {
        let healthy = PRESSURE.from_pressure(Pressure::from_kilopascals(100.0)).volts();
        let pin = |ohms| {
            at_ecu(
                Circuit::ManifoldPressureSensor,
                healthy,
                WiringFault::Resistance(Resistance::from_ohms(ohms)),
            )
        };
        assert!((pin(500.0) / healthy - 0.99).abs() < 0.001);
        assert!((pin(51_100.0) / healthy - 0.5).abs() < 0.001);
    }

    #[test]
    fn a_ground_that_is_off_lifts_the_signal() {
        let offset = WiringFault::Bias(Voltage::from_volts(0.5));
        assert!((at_ecu(Circuit::TankPressureSensor, 2.5, offset) - 2.999).abs() < 0.001);
        // A thermistor's current shares the offset with the pull-up.
        assert!((at_ecu(Circuit::CoolantSensor, 1.0, offset) - 1.4).abs() < 1e-9);
        let down = WiringFault::Bias(Voltage::from_volts(-2.5));
        assert!(
            at_ecu(Circuit::AirMeter, 1.0, down).abs() < 1e-9,
            "held at ground"
        );
        let probe = Circuit::AirMeter.probe(Voltage::from_volts(1.0), Some(offset));
        assert!((probe.ground.volts() - 0.5).abs() < 1e-9);
    }
}
