//! What may be wrong with the wires: a fault sits between the sensor's truth and the ECU's pin.

use core::fmt;

use twotrip_units::{Angle, AngularSpeed, Resistance, Speed, Voltage};

use crate::{
    ActuatorPins, COILS, Circuit, GearboxLink, GearboxPins, KeyPosition, Output, Probe, PulseSensor,
    PulseWire, SensorPins, SolenoidSet, Wire, gearbox, outputs,
    transfer::{SENSOR_SUPPLY_VOLTS, WideRange},
};

/// What is wrong with a circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum WiringFault {
    /// The signal wire is broken.
    Open,
    /// The signal wire has chafed through to ground.
    ShortToGround,
    /// The wire has chafed through to a supply: 5 V for a sensor's, 12 V for an output's.
    ShortToSupply,
    /// This much resistance in the signal wire, as a corroded connector has; within [`Self::RESISTANCE`].
    Resistance(Resistance),
    /// The sensor's ground is off by this much against the ECU's; within [`Self::BIAS`].
    Bias(Voltage),
    /// Something drags the sensor supply down to this; within [`Self::PULLED_DOWN`].
    PulledDown(Voltage),
    /// The wire sits in the pin of that one, and the other way round ([`Wire::swaps_with`]).
    SwappedWith(Wire),
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
            Self::ShortToSupply => {
                "the wire touches a supply: the sensors' 5 V, or 12 V for what the ECU drives"
            }
            Self::Resistance => "corrosion has put a resistance into the wire",
            Self::Bias => "the sensor's ground is off by a voltage",
            Self::PulledDown => "something drags down the 5 V that sensors share",
            Self::Swapped => "two wires sit in each other's pins",
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
#[derive(Clone, Debug)]
pub struct Harness {
    faults: [Option<Present>; Wire::ALL.len()],
    /// Faults that show now, a bit each by their place: a step looks at these and no others, and a sound harness costs a
    /// look at this and no more.
    showing: u64,
    gearbox: GearboxLink,
    /// Share of each cylinder's firings that get no spark.
    sparks_lost: [f64; COILS],
    /// The front oxygen sensors are wide-range ones.
    wide_range: bool,
    /// Room for what arrives where a fault changes it.
    arriving: SensorPins,
    driven: ActuatorPins,
}

impl Default for Harness {
    /// Sound, for narrow-band sensors.
    fn default() -> Self {
        Self {
            faults: [None; Wire::ALL.len()],
            showing: 0,
            gearbox: GearboxLink::SOUND,
            sparks_lost: [0.0; COILS],
            wide_range: false,
            arriving: SensorPins::default(),
            driven: ActuatorPins::default(),
        }
    }
}

impl Harness {
    /// A sound harness; `wide_range` says of which kind the front oxygen sensors are.
    #[must_use]
    pub fn new(wide_range: bool) -> Self {
        Self {
            wide_range,
            ..Self::default()
        }
    }

    /// Puts a fault on a wire; a wire has one fault at a time, the latest. A fault that the wire cannot have changes
    /// nothing; neither does a swap with what does not fit.
    pub fn break_wire(&mut self, wire: impl Into<Wire>, fault: WiringFault) {
        let wire = wire.into();
        let fits = !matches!(fault, WiringFault::SwappedWith(other) if !wire.swaps_with(other));
        if !wire.can_be(fault.kind()) || !fits {
            return;
        }
        let _ = self.mend_wire(wire);
        if let WiringFault::SwappedWith(other) = fault {
            let _ = self.mend_wire(other);
            self.put(other, WiringFault::SwappedWith(wire));
        }
        self.put(wire, fault);
        self.follow();
    }

    const fn put(&mut self, wire: Wire, fault: WiringFault) {
        self.faults[wire.place()] = Some(Present { fault, now: true });
    }

    /// Mends a wire, and its partner if two are swapped; says what was wrong with it.
    pub fn mend_wire(&mut self, wire: impl Into<Wire>) -> Option<WiringFault> {
        let fault = self.faults[wire.into().place()].take()?.fault;
        if let WiringFault::SwappedWith(other) = fault {
            self.faults[other.place()] = None;
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
        let shown = |present: &Option<Present>| present.is_some_and(|present| present.now);
        let places = self.faults.iter().rev();
        self.showing = places.fold(0, |bits, present| bits << 1 | u64::from(shown(present)));
        self.sparks_lost = core::array::from_fn(|coil| outputs::sparks_lost(self.shows(Output::ALL[coil])));
    }

    /// The fault of a wire, whether it shows or not.
    #[must_use]
    pub fn fault(&self, wire: impl Into<Wire>) -> Option<WiringFault> {
        Some(self.faults[wire.into().place()]?.fault)
    }

    /// The fault of a wire if it shows now.
    #[must_use]
    pub fn shows(&self, wire: impl Into<Wire>) -> Option<WiringFault> {
        let present = self.faults[wire.into().place()]?;
        present.now.then_some(present.fault)
    }

    /// The faults that show now, by their place.
    #[inline]
    fn showing(&self) -> impl Iterator<Item = (Wire, WiringFault)> + '_ {
        let mut left = self.showing;
        core::iter::from_fn(move || {
            while left != 0 {
                let place = left.trailing_zeros() as usize;
                left &= left - 1;
                if let Some(present) = self.faults[place] {
                    return Some((Wire::ALL[place], present.fault));
                }
            }
            None
        })
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

    /// Share of each cylinder's firings that get no spark for how its coil is wired now, 0 to 1.
    #[must_use]
    pub const fn sparks_lost(&self) -> &[f64; COILS] {
        &self.sparks_lost
    }

    /// What arrives at the car of what the ECU drives; a sound harness copies nothing.
    #[must_use]
    #[inline]
    pub fn drive<'a>(&'a mut self, actuators: &'a ActuatorPins) -> &'a ActuatorPins {
        if self.showing & Wire::OUTPUT_PLACES == 0 {
            return actuators;
        }
        self.driven = self.misdriven(actuators);
        &self.driven
    }

    #[cold]
    fn misdriven(&self, actuators: &ActuatorPins) -> ActuatorPins {
        let mut driven = *actuators;
        // With the key off only an ECU that tests the parked car keeps the 12 V on.
        let powered = self.arriving.key != KeyPosition::Off || actuators.vent_shut;
        for (wire, fault) in self.showing() {
            let Wire::Output(output) = wire else {
                continue;
            };
            let share = match fault {
                WiringFault::SwappedWith(Wire::Output(other)) => other.command(actuators),
                fault => output.faulty(output.command(actuators), fault, powered),
            };
            output.arrive(share, &mut driven);
        }
        driven
    }

    /// What arrives at the gearbox controller; what of it a sound harness would carry is given.
    #[must_use]
    #[inline]
    pub fn sense_gearbox(&self, sound: &GearboxPins) -> GearboxPins {
        if self.showing & Wire::GEARBOX_PLACES == 0 {
            *sound
        } else {
            self.gearbox_distorted(sound)
        }
    }

    #[cold]
    fn gearbox_distorted(&self, sound: &GearboxPins) -> GearboxPins {
        let mut pins = *sound;
        let broken = |fault: WiringFault| PulseSensor {
            speed: AngularSpeed::ZERO,
            wire: if fault == WiringFault::Open {
                PulseWire::Open
            } else {
                PulseWire::Shorted
            },
        };
        for (wire, fault) in self.showing() {
            match wire {
                Wire::TurbineSensor => pins.turbine = broken(fault),
                Wire::SpeedSensor => pins.output = broken(fault),
                Wire::FluidSensor => {
                    // The same thermistor behind the same pull-up as in the coolant.
                    let probe = Circuit::CoolantSensor.probe(sound.fluid_temperature, Some(fault));
                    pins.fluid_temperature = probe.at_ecu;
                }
                Wire::Solenoid(solenoid) => gearbox::seen(solenoid, fault, &mut pins.drivers),
                _ => {}
            }
        }
        if !self.gearbox.on_bus {
            pins.engine = None;
        }
        pins
    }

    /// The solenoids that get their current where the gearbox controller drives these; `key_on`: they have their 12 V.
    #[must_use]
    #[inline]
    pub fn drive_gearbox(&self, driven: SolenoidSet, key_on: bool) -> SolenoidSet {
        if self.showing & Wire::GEARBOX_PLACES == 0 {
            driven
        } else {
            self.gearbox_misdriven(driven, key_on)
        }
    }

    #[cold]
    fn gearbox_misdriven(&self, driven: SolenoidSet, key_on: bool) -> SolenoidSet {
        let commanded = if self.gearbox.powered {
            driven
        } else {
            SolenoidSet::NONE
        };
        let mut arriving = commanded;
        for (wire, fault) in self.showing() {
            let Wire::Solenoid(solenoid) = wire else {
                continue;
            };
            let on = match fault {
                WiringFault::SwappedWith(Wire::Solenoid(other)) => commanded.contains(other),
                fault => gearbox::faulty(solenoid, commanded.contains(solenoid), fault, key_on),
            };
            arriving = arriving.with(solenoid, on);
        }
        arriving
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
        if self.showing == 0 {
            return sensors;
        }
        self.arriving = self.distorted(sensors);
        &self.arriving
    }

    #[cold]
    fn distorted(&self, sensors: &SensorPins) -> SensorPins {
        let mut pins = *sensors;
        let share = self.supply_share();
        feed(share, &mut pins);
        let fed = |circuit: Circuit| {
            let pin = circuit.pin(sensors);
            if circuit.on_shared_supply() {
                pin * share
            } else {
                pin
            }
        };
        for (wire, fault) in self.showing() {
            match wire {
                Wire::Signal(circuit) => {
                    *circuit.pin_mut(&mut pins) = match fault {
                        WiringFault::SwappedWith(Wire::Signal(other)) => {
                            self.crossed(circuit, other, fed(other))
                        }
                        fault => self.probed(circuit, fed(circuit), Some(fault)).at_ecu,
                    };
                }
                Wire::Output(output) => {
                    outputs::seen(output, fault, &mut pins.drivers);
                    if let Some(current) = outputs::heater_pin(output, &mut pins) {
                        *current = outputs::heater_current(fault, *current, sensors.supply);
                    }
                }
                Wire::CamSensor | Wire::CamSensor2 => {
                    let bank = usize::from(wire == Wire::CamSensor2);
                    pins.cam_silent[bank] = true;
                    pins.cam_advance[bank] = Angle::ZERO;
                }
                Wire::SensorSupply | Wire::SpeedSensor | Wire::GearboxController | Wire::DataBus => {}
                // At the pins of the gearbox controller.
                Wire::Solenoid(_) | Wire::TurbineSensor | Wire::FluidSensor => {}
            }
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
        feed(self.supply_share(), &mut pins);
        pins
    }

    /// What the shared supply has of its 5 V.
    fn supply_share(&self) -> f64 {
        self.sensor_supply().volts() / SENSOR_SUPPLY_VOLTS
    }

    /// Whether the sensor is a wide-range one, which its amplifier in the ECU drives.
    fn is_wide(&self, circuit: Circuit) -> bool {
        self.wide_range && matches!(circuit.oxygen(), Some((_, 0)))
    }

    /// What a circuit's input shows with another one's sensor on it. The amplifier of a wide-range sensor gets no current
    /// through anything else.
    fn crossed(&self, circuit: Circuit, other: Circuit, healthy: Voltage) -> Voltage {
        match (self.is_wide(circuit), self.is_wide(other)) {
            (true, true) => healthy,
            (true, false) => WideRange::STILL,
            // A cell that nothing pumps gives next to nothing.
            (false, true) => circuit.input().idle(),
            (false, false) => circuit.with_source_of(other, healthy),
        }
    }

    /// What a meter finds on a circuit with this fault.
    fn probed(&self, circuit: Circuit, healthy: Voltage, fault: Option<WiringFault>) -> Probe {
        let probe = circuit.probe(healthy, fault);
        if !self.is_wide(circuit) {
            return probe;
        }
        let still = WideRange::STILL;
        match fault {
            Some(WiringFault::Open) => Probe {
                at_ecu: still,
                at_sensor: Voltage::ZERO,
                ..probe
            },
            // The amplifier keeps the pump current what it has to be; behind more than it can drive there is none.
            Some(WiringFault::Resistance(added)) => {
                let driven = added.ohms() < WIDE_RANGE_DRIVES_OHMS;
                let at_ecu = if driven { healthy } else { still };
                Probe {
                    at_ecu,
                    at_sensor: at_ecu,
                    unplugged: still,
                    ..probe
                }
            }
            _ => Probe {
                unplugged: if fault.is_none() { still } else { probe.unplugged },
                ..probe
            },
        }
    }

    /// What a meter finds on a circuit of these sensors, as it is now.
    #[must_use]
    pub fn probe(&self, circuit: Circuit, sensors: &SensorPins) -> Probe {
        let fed = self.fed(sensors);
        let healthy = circuit.pin(&fed);
        match self.shows(circuit) {
            Some(WiringFault::SwappedWith(Wire::Signal(other))) => Probe {
                at_ecu: self.crossed(circuit, other, other.pin(&fed)),
                at_sensor: self.crossed(other, circuit, healthy),
                unplugged: other.input().idle(),
                // From end to end of the circuit as drawn there is no wire.
                wire: None,
                ..self.probed(circuit, healthy, None)
            },
            fault => self.probed(circuit, healthy, fault),
        }
    }
}

/// Leaves of what hangs on the shared supply the share that there is.
fn feed(share: f64, pins: &mut SensorPins) {
    if share < 1.0 {
        for circuit in Circuit::ALL
            .into_iter()
            .filter(|circuit| circuit.on_shared_supply())
        {
            let pin = circuit.pin_mut(pins);
            *pin = *pin * share;
        }
    }
}

/// What the amplifier of a wide-range sensor can drive its pump current through, ohm (common practice, no source).
const WIDE_RANGE_DRIVES_OHMS: f64 = 500.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Drivers, Solenoid};
    use twotrip_units::Ratio;

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
            recirculation_lift: Voltage::from_volts(0.5),
            oxygen_front: [Voltage::from_volts(0.7); 2],
            oxygen_rear: [Voltage::from_volts(0.6); 2],
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
            harness.break_wire(manifold, WiringFault::SwappedWith(tank.into()));
            let pins = *harness.sense(&truth);
            // Either drives the other's input as well as its own, but for the pull of the input.
            assert!((pins.manifold_pressure.volts() - 2.5).abs() < 0.02);
            assert!((pins.tank_pressure.volts() - 1.6).abs() < 0.02);
            assert_eq!(
                harness.fault(tank),
                Some(WiringFault::SwappedWith(manifold.into()))
            );
            assert!(harness.mend_wire(mended).is_some());
            assert_eq!(harness.faults().count(), 0);
        }
        // A thermistor on an input that pulls down gives nothing; a driven signal overcomes a pull-up.
        let mut harness = Harness::default();
        harness.break_wire(
            Circuit::CoolantSensor,
            WiringFault::SwappedWith(Circuit::AirMeter.into()),
        );
        let pins = *harness.sense(&truth);
        assert_eq!(pins.air_meter, Voltage::ZERO);
        assert!((0.9..1.4).contains(&pins.coolant_temperature.volts()));
        harness.break_wire(
            Circuit::CoolantSensor,
            WiringFault::SwappedWith(Circuit::CoolantSensor.into()),
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

    /// A solenoid hangs on 12 V: on as long as the key is where its wire lies on ground, else without current.
    #[test]
    fn what_the_gearbox_controller_drives_and_sees_is_what_its_wires_let_through() {
        let sound = GearboxPins {
            fluid_temperature: Voltage::from_volts(1.2),
            turbine: PulseSensor {
                speed: AngularSpeed::from_rpm(1500.0),
                ..PulseSensor::default()
            },
            engine: Some(crate::EngineMessage::default()),
            ..GearboxPins::default()
        };
        let driven = gearbox::pattern(0);
        assert_eq!(Harness::default().sense_gearbox(&sound), sound);
        assert_eq!(Harness::default().drive_gearbox(driven, true), driven);
        for (fault, without, with, open) in [
            (WiringFault::Open, false, false, true),
            (WiringFault::ShortToGround, true, true, false),
            (WiringFault::ShortToSupply, false, false, false),
            (
                WiringFault::Resistance(Resistance::from_ohms(100.0)),
                false,
                false,
                false,
            ),
            (
                WiringFault::Resistance(Resistance::from_ohms(5.0)),
                false,
                true,
                false,
            ),
        ] {
            let mut harness = Harness::default();
            harness.break_wire(Solenoid::ShiftB, fault);
            let on = |driven| harness.drive_gearbox(driven, true).contains(Solenoid::ShiftB);
            assert_eq!((on(SolenoidSet::NONE), on(driven)), (without, with), "{fault}");
            assert!(harness.drive_gearbox(driven, true).contains(Solenoid::ShiftA));
            let seen = harness.sense_gearbox(&sound).drivers;
            assert_eq!(seen.open.contains(Solenoid::ShiftB), open, "{fault}");
        }
        let mut harness = Harness::default();
        harness.break_wire(
            Solenoid::ShiftA,
            WiringFault::SwappedWith(Solenoid::ShiftB.into()),
        );
        assert_eq!(
            gearbox::gear_of(harness.drive_gearbox(gearbox::pattern(1), true)),
            3
        );
        harness.break_wire(Wire::TurbineSensor, WiringFault::Open);
        harness.break_wire(Wire::FluidSensor, WiringFault::Open);
        harness.break_wire(Wire::DataBus, WiringFault::Open);
        let pins = harness.sense_gearbox(&sound);
        assert_eq!(pins.turbine.wire, PulseWire::Open);
        assert!(pins.turbine.speed <= AngularSpeed::ZERO && pins.engine.is_none());
        assert!(pins.fluid_temperature.volts() > 4.9);
        harness.break_wire(Wire::GearboxController, WiringFault::Open);
        assert!(harness.drive_gearbox(driven, true).is_empty(), "nobody drives");
    }

    #[test]
    fn what_the_ecu_drives_arrives_as_the_wire_has_it() {
        let actuators = ActuatorPins {
            purge: Ratio::from_percent(40.0),
            ..ActuatorPins::default()
        };
        let key_on = SensorPins {
            key: KeyPosition::On,
            ..sensors()
        };
        for (fault, purge, open, shorted) in [
            (WiringFault::Open, 0.0, true, false),
            (WiringFault::ShortToGround, 1.0, false, true),
            (WiringFault::ShortToSupply, 0.0, false, true),
            (
                WiringFault::Resistance(Resistance::from_ohms(10.0)),
                0.4,
                false,
                false,
            ),
        ] {
            let mut harness = Harness::default();
            harness.break_wire(Output::PurgeValve, fault);
            let drivers = harness.sense(&key_on).drivers;
            assert!(
                (harness.drive(&actuators).purge.fraction() - purge).abs() < 1e-9,
                "{fault}"
            );
            assert_eq!(drivers.open.contains(Output::PurgeValve), open, "{fault}");
            assert_eq!(drivers.shorted.contains(Output::PurgeValve), shorted, "{fault}");
            let off = harness.sense(&sensors()).key;
            assert_eq!(off, KeyPosition::Off);
            if shorted {
                assert!(
                    harness.drive(&actuators).purge.fraction() < 0.5,
                    "{fault}: no 12 V"
                );
            }
            assert!(harness.mend_wire(Output::PurgeValve).is_some());
            assert_eq!(*harness.drive(&actuators), actuators);
            assert_eq!(*harness.sense(&key_on), key_on);
        }
    }

    #[test]
    fn swapped_outputs_get_each_others_command() {
        let actuators = ActuatorPins {
            purge: Ratio::from_percent(40.0),
            vent_shut: true,
            ..ActuatorPins::default()
        };
        let mut harness = Harness::default();
        harness.break_wire(
            Output::PurgeValve,
            WiringFault::SwappedWith(Output::VentValve.into()),
        );
        let driven = *harness.drive(&actuators);
        assert!(driven.purge >= Ratio::from_percent(100.0) && !driven.vent_shut);
        assert_eq!(
            harness.sense(&sensors()).drivers,
            Drivers::default(),
            "either drives a valve"
        );
        harness.break_wire(Output::Coil1, WiringFault::SwappedWith(Output::Coil3.into()));
        let dead = |harness: &Harness| harness.sparks_lost().map(|lost| lost > 0.5);
        assert_eq!(dead(&harness), [true, false, true, false, false, false]);
        harness.break_wire(Output::Coil2, WiringFault::SwappedWith(Output::VentValve.into()));
        assert_eq!(harness.faults().count(), 4, "does not fit: nothing changes");
        assert!(harness.mend_wire(Output::Coil3).is_some() && harness.mend_wire(Output::VentValve).is_some());
        assert_eq!(harness.faults().count(), 0);
        assert_eq!(dead(&harness), [false; COILS]);
    }

    #[test]
    fn a_wide_range_sensor_stands_still_behind_a_broken_wire() {
        let front = Circuit::FrontOxygenSensor;
        let truth = SensorPins {
            oxygen_front: [Voltage::from_volts(1.9), Voltage::ZERO],
            ..sensors()
        };
        for (wide, idle) in [(false, 0.45), (true, 1.5)] {
            let mut harness = Harness::new(wide);
            harness.break_wire(front, WiringFault::Open);
            assert!((front.pin(harness.sense(&truth)).volts() - idle).abs() < 1e-9);
            harness.break_wire(front, WiringFault::ShortToGround);
            assert!(front.pin(harness.sense(&truth)).volts().abs() < 1e-9);
        }
    }

    #[test]
    fn without_its_wire_the_cam_sensor_is_silent() {
        let truth = SensorPins {
            cam_advance: [Angle::from_degrees(12.0); 2],
            ..sensors()
        };
        for (wire, bank) in [(Wire::CamSensor, 0), (Wire::CamSensor2, 1)] {
            let mut harness = Harness::default();
            harness.break_wire(wire, WiringFault::ShortToGround);
            let pins = *harness.sense(&truth);
            assert!(pins.cam_silent[bank] && !pins.cam_silent[1 - bank]);
            assert!(pins.cam_advance[bank].degrees().abs() < 1e-9);
            assert_eq!(pins.cam_advance[1 - bank], truth.cam_advance[1 - bank]);
        }
    }
}
