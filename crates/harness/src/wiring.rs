//! What may be wrong with the wires: a fault sits between the sensor's truth and the ECU's pin.

use core::fmt;

use twotrip_units::{Resistance, Speed, Voltage};

use crate::{Circuit, GearboxLink, Probe, SensorPins, Wire, transfer::SENSOR_SUPPLY_VOLTS};

/// What is wrong with a circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum WiringFault {
    /// The signal wire is broken.
    Open,
    /// The signal wire has chafed through to ground.
    ShortToGround,
    /// The signal wire has chafed through to the sensor supply.
    ShortToSupply,
    /// This much resistance in the signal wire, as a corroded connector has; within [`Self::RESISTANCE`].
    Resistance(Resistance),
    /// The sensor's ground is off by this much against the ECU's; within [`Self::BIAS`].
    Bias(Voltage),
    /// Something drags the sensor supply down to this; within [`Self::PULLED_DOWN`].
    PulledDown(Voltage),
    /// The signal wire sits in the pin of this circuit, and the other way round.
    SwappedWith(Circuit),
}

/// The words for what can be wrong with a circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WiringFaultKind {
    /// [`WiringFault::Open`].
    Open,
    /// [`WiringFault::ShortToGround`].
    ShortToGround,
    /// [`WiringFault::ShortToSupply`].
    ShortToSupply,
    /// [`WiringFault::Resistance`]; a resistance follows the word.
    Resistance,
    /// [`WiringFault::Bias`]; a voltage follows the word.
    Bias,
    /// [`WiringFault::PulledDown`]; a voltage follows the word.
    PulledDown,
    /// [`WiringFault::SwappedWith`]; a circuit follows the word.
    Swapped,
}

impl WiringFaultKind {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Open,
        Self::ShortToGround,
        Self::ShortToSupply,
        Self::Resistance,
        Self::Bias,
        Self::PulledDown,
        Self::Swapped,
    ];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::ShortToGround => "short-to-ground",
            Self::ShortToSupply => "short-to-supply",
            Self::Resistance => "resistance",
            Self::Bias => "bias",
            Self::PulledDown => "pulled-down",
            Self::Swapped => "swapped-with",
        }
    }

    /// What it is, one line.
    #[must_use]
    pub const fn description(self) -> &'static str {
        match self {
            Self::Open => "the wire is broken",
            Self::ShortToGround => "the wire has chafed through to ground",
            Self::ShortToSupply => "the wire touches the sensor supply",
            Self::Resistance => "corrosion has put a resistance into the signal wire",
            Self::Bias => "the sensor's ground is off by a voltage",
            Self::PulledDown => "something drags down the 5 V that sensors share",
            Self::Swapped => "two signal wires sit in each other's pins",
        }
    }
}

impl WiringFault {
    /// Least and most resistance added to a wire (our choice: from a poor crimp to nearly open).
    pub const RESISTANCE: [Resistance; 2] = [Resistance::from_ohms(1.0), Resistance::from_ohms(1e6)];
    /// Lowest and highest offset of a sensor's ground (our choice: half of the sensor supply).
    pub const BIAS: [Voltage; 2] = [Voltage::from_volts(-2.5), Voltage::from_volts(2.5)];

    /// Lowest and highest voltage that the sensor supply is dragged down to (our choice).
    pub const PULLED_DOWN: [Voltage; 2] = [Voltage::ZERO, Voltage::from_volts(4.9)];

    /// The word for it.
    #[must_use]
    pub const fn kind(self) -> WiringFaultKind {
        match self {
            Self::Open => WiringFaultKind::Open,
            Self::ShortToGround => WiringFaultKind::ShortToGround,
            Self::ShortToSupply => WiringFaultKind::ShortToSupply,
            Self::Resistance(_) => WiringFaultKind::Resistance,
            Self::Bias(_) => WiringFaultKind::Bias,
            Self::PulledDown(_) => WiringFaultKind::PulledDown,
            Self::SwappedWith(_) => WiringFaultKind::Swapped,
        }
    }
}

impl fmt::Display for WiringFault {
    /// As in phrases: `open`, `resistance 500 ohm`, `bias 0.3 V`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.kind().name())?;
        match self {
            Self::Open | Self::ShortToGround | Self::ShortToSupply => Ok(()),
            Self::Resistance(added) => write!(f, " {} ohm", added.ohms()),
            Self::Bias(volts) | Self::PulledDown(volts) => write!(f, " {} V", volts.volts()),
            Self::SwappedWith(other) => write!(f, " {}", other.name()),
        }
    }
}

/// A fault, and whether it shows at the moment.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Present {
    fault: WiringFault,
    now: bool,
}

/// The harness of the car with the faults in it.
#[derive(Clone, Debug, Default)]
pub struct Harness {
    faults: [Option<Present>; Wire::ALL.len()],
    /// Whether any fault shows now: a sound harness costs a look at this and no more.
    faulty: bool,
    gearbox: GearboxLink,
    /// Room for what arrives where a fault changes it.
    arriving: SensorPins,
}

impl Harness {
    /// Puts a fault on a wire; a wire has one fault at a time, the latest. A fault that the wire cannot have changes
    /// nothing; neither does a wire swapped with itself.
    pub fn break_wire(&mut self, wire: impl Into<Wire>, fault: WiringFault) {
        let wire = wire.into();
        if !wire.can_be(fault.kind()) || fault == swapped(wire) {
            return;
        }
        let _ = self.mend_wire(wire);
        self.put(wire, fault);
        if let (Wire::Signal(circuit), WiringFault::SwappedWith(other)) = (wire, fault) {
            let _ = self.mend_wire(other);
            self.put(wire, fault);
            self.put(Wire::Signal(other), WiringFault::SwappedWith(circuit));
        }
        self.follow();
    }

    const fn put(&mut self, wire: Wire, fault: WiringFault) {
        self.faults[wire.place()] = Some(Present { fault, now: true });
    }

    /// Mends a wire, and its partner if two are swapped; says what was wrong with it.
    pub fn mend_wire(&mut self, wire: impl Into<Wire>) -> Option<WiringFault> {
        let fault = self.faults[wire.into().place()].take()?.fault;
        if let WiringFault::SwappedWith(other) = fault {
            self.faults[Wire::Signal(other).place()] = None;
        }
        self.follow();
        Some(fault)
    }

    /// Lets the fault of a wire show, or hide: one that comes and goes.
    pub fn let_show(&mut self, wire: Wire, now: bool) {
        if let Some(present) = &mut self.faults[wire.place()]
            && present.now != now
        {
            present.now = now;
            self.follow();
        }
    }

    /// What follows from the faults, worked out when they change.
    fn follow(&mut self) {
        let sound = |wire: Wire| self.shows(wire).is_none();
        let powered = sound(Wire::GearboxController);
        self.gearbox = GearboxLink {
            powered,
            speed_sensed: sound(Wire::SpeedSensor),
            on_bus: powered && sound(Wire::DataBus),
        };
        self.faulty = self.faults.iter().flatten().any(|present| present.now);
    }

    /// The fault of a wire, whether it shows or not.
    #[must_use]
    pub fn fault(&self, wire: impl Into<Wire>) -> Option<WiringFault> {
        Some(self.faults[wire.into().place()]?.fault)
    }

    /// The fault of a wire if it shows now.
    fn shows(&self, wire: Wire) -> Option<WiringFault> {
        let present = self.faults[wire.place()]?;
        present.now.then_some(present.fault)
    }

    /// All faults, whether they show or not.
    pub fn faults(&self) -> impl Iterator<Item = (Wire, WiringFault)> + '_ {
        Wire::ALL
            .into_iter()
            .filter_map(|wire| Some((wire, self.fault(wire)?)))
    }

    /// How the gearbox controller is wired now.
    #[must_use]
    pub const fn gearbox(&self) -> GearboxLink {
        self.gearbox
    }

    /// The 5 V that sensors share, as it is now.
    #[must_use]
    pub fn sensor_supply(&self) -> Voltage {
        match self.shows(Wire::SensorSupply) {
            None => Voltage::from_volts(SENSOR_SUPPLY_VOLTS),
            Some(WiringFault::PulledDown(volts)) => volts,
            Some(_) => Voltage::ZERO,
        }
    }

    /// What arrives at the ECU of what the sensors say; a sound harness copies nothing.
    #[must_use]
    #[inline]
    pub fn sense<'a>(&'a mut self, sensors: &'a SensorPins) -> &'a SensorPins {
        if !self.faulty {
            return sensors;
        }
        self.arriving = self.distorted(sensors);
        &self.arriving
    }

    #[cold]
    fn distorted(&self, sensors: &SensorPins) -> SensorPins {
        let mut pins = *sensors;
        let fed = self.fed(sensors);
        for circuit in Circuit::ALL {
            let healthy = circuit.pin(&fed);
            *circuit.pin_mut(&mut pins) = match self.shows(circuit.into()) {
                Some(WiringFault::SwappedWith(other)) => circuit.with_source_of(other, other.pin(&fed)),
                fault => circuit.probe(healthy, fault).at_ecu,
            };
        }
        if !self.gearbox.on_bus {
            pins.gearbox_silent = true;
        }
        if !self.gearbox.speed_sensed || pins.gearbox_silent {
            pins.vehicle_speed = Speed::ZERO;
        }
        pins
    }

    /// What the sensors give on the supply that they have: what measures by a share of it gives that share.
    fn fed(&self, sensors: &SensorPins) -> SensorPins {
        let mut pins = *sensors;
        let share = self.sensor_supply().volts() / SENSOR_SUPPLY_VOLTS;
        if share < 1.0 {
            for circuit in Circuit::ALL
                .into_iter()
                .filter(|circuit| circuit.on_shared_supply())
            {
                let pin = circuit.pin_mut(&mut pins);
                *pin = *pin * share;
            }
        }
        pins
    }

    /// What a meter finds on a circuit of these sensors, as it is now.
    #[must_use]
    pub fn probe(&self, circuit: Circuit, sensors: &SensorPins) -> Probe {
        let fed = self.fed(sensors);
        let healthy = circuit.pin(&fed);
        match self.shows(circuit.into()) {
            Some(WiringFault::SwappedWith(other)) => Probe {
                at_ecu: circuit.with_source_of(other, other.pin(&fed)),
                at_sensor: other.with_source_of(circuit, healthy),
                unplugged: other.input().idle(),
                // From end to end of the circuit as drawn there is no wire.
                wire: None,
                ..circuit.probe(healthy, None)
            },
            fault => circuit.probe(healthy, fault),
        }
    }
}

/// A wire swapped with itself, which is none; for what is no signal a fault that nothing has.
const fn swapped(wire: Wire) -> WiringFault {
    match wire {
        Wire::Signal(circuit) => WiringFault::SwappedWith(circuit),
        _ => WiringFault::Bias(Voltage::ZERO),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_hides_the_sensor_until_it_is_mended() {
        let truth = SensorPins {
            coolant_temperature: Voltage::from_volts(1.0),
            intake_air_temperature: Voltage::from_volts(3.0),
            air_meter: Voltage::from_volts(0.9),
            manifold_pressure: Voltage::from_volts(1.6),
            throttle_a: Voltage::from_volts(0.7),
            throttle_b: Voltage::from_volts(4.3),
            tank_pressure: Voltage::from_volts(2.5),
            fuel_level: Voltage::from_volts(2.4),
            ..SensorPins::default()
        };
        for circuit in Circuit::ALL {
            let mut harness = Harness::default();
            harness.break_wire(circuit, WiringFault::ShortToGround);
            let pins = harness.sense(&truth);
            assert_eq!(circuit.pin(pins), Voltage::ZERO);
            for other in Circuit::ALL.into_iter().filter(|&other| other != circuit) {
                assert_eq!(other.pin(pins), other.pin(&truth), "{}", other.name());
            }
            harness.break_wire(circuit, WiringFault::ShortToSupply);
            assert_eq!(
                harness.mend_wire(circuit),
                Some(WiringFault::ShortToSupply),
                "the latest"
            );
            assert_eq!(*harness.sense(&truth), truth);
        }
    }

    #[test]
    fn mending_one_circuit_leaves_the_others() {
        let mut harness = Harness::default();
        harness.break_wire(Circuit::AirMeter, WiringFault::Open);
        harness.break_wire(Circuit::CoolantSensor, WiringFault::Open);
        let _ = harness.mend_wire(Circuit::CoolantSensor);
        assert_eq!(harness.mend_wire(Circuit::CoolantSensor), None, "nothing left");
        assert!(
            harness
                .faults()
                .eq([(Wire::Signal(Circuit::AirMeter), WiringFault::Open)])
        );
        let truth = SensorPins {
            air_meter: Voltage::from_volts(0.9),
            ..SensorPins::default()
        };
        let pins = harness.sense(&truth);
        assert_eq!(pins.air_meter, Voltage::ZERO);
    }

    fn sensors() -> SensorPins {
        SensorPins {
            coolant_temperature: Voltage::from_volts(1.0),
            manifold_pressure: Voltage::from_volts(1.6),
            air_meter: Voltage::from_volts(0.9),
            throttle_a: Voltage::from_volts(0.7),
            throttle_b: Voltage::from_volts(4.3),
            tank_pressure: Voltage::from_volts(2.5),
            vehicle_speed: Speed::from_kilometres_per_hour(50.0),
            ..SensorPins::default()
        }
    }

    #[test]
    fn a_supply_that_is_dragged_down_shifts_the_sensors_that_hang_on_it() {
        let mut harness = Harness::default();
        harness.break_wire(
            Wire::SensorSupply,
            WiringFault::PulledDown(Voltage::from_volts(4.0)),
        );
        let truth = sensors();
        let pins = *harness.sense(&truth);
        for circuit in Circuit::ALL {
            let share = if circuit.on_shared_supply() { 0.8 } else { 1.0 };
            let wanted = circuit.pin(&truth).volts() * share;
            assert!(
                (circuit.pin(&pins).volts() - wanted).abs() < 1e-9,
                "{}",
                circuit.name()
            );
        }
        assert!(Circuit::ManifoldPressureSensor.on_shared_supply());
        harness.break_wire(Wire::SensorSupply, WiringFault::ShortToGround);
        assert_eq!(harness.sense(&truth).throttle_b, Voltage::ZERO);
        assert!(harness.mend_wire(Wire::SensorSupply).is_some());
        assert_eq!(*harness.sense(&truth), truth);
    }

    #[test]
    fn swapped_pins_carry_each_others_signal_until_either_is_mended() {
        let (manifold, tank) = (Circuit::ManifoldPressureSensor, Circuit::TankPressureSensor);
        let truth = sensors();
        for mended in [manifold, tank] {
            let mut harness = Harness::default();
            harness.break_wire(manifold, WiringFault::SwappedWith(tank));
            let pins = *harness.sense(&truth);
            // Either drives the other's input as well as its own, but for the pull of the input.
            assert!((pins.manifold_pressure.volts() - 2.5).abs() < 0.02);
            assert!((pins.tank_pressure.volts() - 1.6).abs() < 0.02);
            assert_eq!(harness.fault(tank), Some(WiringFault::SwappedWith(manifold)));
            assert!(harness.mend_wire(mended).is_some());
            assert_eq!(harness.faults().count(), 0);
        }
        // A thermistor on an input that pulls down gives nothing; a driven signal overcomes a pull-up.
        let mut harness = Harness::default();
        harness.break_wire(
            Circuit::CoolantSensor,
            WiringFault::SwappedWith(Circuit::AirMeter),
        );
        let pins = *harness.sense(&truth);
        assert_eq!(pins.air_meter, Voltage::ZERO);
        assert!((0.9..1.4).contains(&pins.coolant_temperature.volts()));
        harness.break_wire(
            Circuit::CoolantSensor,
            WiringFault::SwappedWith(Circuit::CoolantSensor),
        );
        assert_eq!(harness.faults().count(), 2, "with itself: nothing changes");
        harness.break_wire(Circuit::AirMeter, WiringFault::Open);
        assert_eq!(harness.faults().count(), 1, "the latest, and no half of a swap");
    }

    #[test]
    fn a_fault_that_hides_leaves_the_pins_alone() {
        let truth = sensors();
        let mut harness = Harness::default();
        harness.break_wire(Circuit::AirMeter, WiringFault::Open);
        harness.let_show(Circuit::AirMeter.into(), false);
        assert_eq!(*harness.sense(&truth), truth);
        assert_eq!(harness.fault(Circuit::AirMeter), Some(WiringFault::Open));
        harness.let_show(Circuit::AirMeter.into(), true);
        assert_eq!(harness.sense(&truth).air_meter, Voltage::ZERO);
    }

    #[test]
    fn what_cuts_the_gearbox_controller_off_silences_it() {
        let truth = sensors();
        for (wire, link) in [
            (
                Wire::GearboxController,
                GearboxLink {
                    powered: false,
                    on_bus: false,
                    ..GearboxLink::SOUND
                },
            ),
            (
                Wire::DataBus,
                GearboxLink {
                    on_bus: false,
                    ..GearboxLink::SOUND
                },
            ),
            (
                Wire::SpeedSensor,
                GearboxLink {
                    speed_sensed: false,
                    ..GearboxLink::SOUND
                },
            ),
        ] {
            let mut harness = Harness::default();
            harness.break_wire(wire, WiringFault::Open);
            assert_eq!(harness.gearbox(), link);
            let pins = *harness.sense(&truth);
            assert_eq!(pins.gearbox_silent, !link.on_bus);
            assert_eq!(pins.vehicle_speed, Speed::ZERO);
            assert_eq!(pins.air_meter, truth.air_meter);
        }
    }
}
