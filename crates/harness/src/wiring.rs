//! What may be wrong with the wires: a fault sits between the sensor's truth and the ECU's pin.

use core::fmt;

use twotrip_units::{Resistance, Voltage};

use crate::{Circuit, Probe, SensorPins};

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
}

impl WiringFaultKind {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Open,
        Self::ShortToGround,
        Self::ShortToSupply,
        Self::Resistance,
        Self::Bias,
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
        }
    }

    /// What it is, one line.
    #[must_use]
    pub const fn description(self) -> &'static str {
        match self {
            Self::Open => "the signal wire is broken",
            Self::ShortToGround => "the signal wire has chafed through to ground",
            Self::ShortToSupply => "the signal wire touches the sensor supply",
            Self::Resistance => "corrosion has put a resistance into the signal wire",
            Self::Bias => "the sensor's ground is off by a voltage",
        }
    }
}

impl WiringFault {
    /// Least and most resistance added to a wire (our choice: from a poor crimp to nearly open).
    pub const RESISTANCE: [Resistance; 2] = [Resistance::from_ohms(1.0), Resistance::from_ohms(1e6)];
    /// Lowest and highest offset of a sensor's ground (our choice: half of the sensor supply).
    pub const BIAS: [Voltage; 2] = [Voltage::from_volts(-2.5), Voltage::from_volts(2.5)];

    /// The word for it.
    #[must_use]
    pub const fn kind(self) -> WiringFaultKind {
        match self {
            Self::Open => WiringFaultKind::Open,
            Self::ShortToGround => WiringFaultKind::ShortToGround,
            Self::ShortToSupply => WiringFaultKind::ShortToSupply,
            Self::Resistance(_) => WiringFaultKind::Resistance,
            Self::Bias(_) => WiringFaultKind::Bias,
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
            Self::Bias(offset) => write!(f, " {} V", offset.volts()),
        }
    }
}

/// The harness of the car with the faults in it.
#[derive(Clone, Debug, Default)]
pub struct Harness {
    faults: [Option<WiringFault>; Circuit::ALL.len()],
    /// Whether there is any fault: a sound harness costs a look at this and no more.
    faulty: bool,
    /// Room for what arrives where a fault changes it.
    arriving: SensorPins,
}

impl Harness {
    /// Puts a fault on a circuit; a circuit has one fault at a time, the latest.
    pub const fn break_wire(&mut self, circuit: Circuit, fault: WiringFault) {
        self.faults[circuit as usize] = Some(fault);
        self.faulty = true;
    }

    /// Mends a circuit; says what was wrong with it.
    pub fn mend_wire(&mut self, circuit: Circuit) -> Option<WiringFault> {
        let fault = self.faults[circuit as usize].take();
        self.faulty = self.faults.iter().any(Option::is_some);
        fault
    }

    /// The fault on a circuit.
    #[must_use]
    pub const fn fault(&self, circuit: Circuit) -> Option<WiringFault> {
        self.faults[circuit as usize]
    }

    /// All faults.
    pub fn faults(&self) -> impl Iterator<Item = (Circuit, WiringFault)> + '_ {
        Circuit::ALL
            .into_iter()
            .filter_map(|circuit| Some((circuit, self.fault(circuit)?)))
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
        for (circuit, fault) in self.faults() {
            let healthy = circuit.pin(&pins);
            *circuit.pin_mut(&mut pins) = circuit.probe(healthy, Some(fault)).at_ecu;
        }
        pins
    }

    /// What a meter finds on a circuit of these sensors.
    #[must_use]
    pub fn probe(&self, circuit: Circuit, sensors: &SensorPins) -> Probe {
        circuit.probe(circuit.pin(sensors), self.fault(circuit))
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
        assert!(harness.faults().eq([(Circuit::AirMeter, WiringFault::Open)]));
        let truth = SensorPins {
            air_meter: Voltage::from_volts(0.9),
            ..SensorPins::default()
        };
        let pins = harness.sense(&truth);
        assert_eq!(pins.air_meter, Voltage::ZERO);
    }
}
