//! The wires, and what may be wrong with them: a fault sits between the sensor's truth and the ECU's pin.

use twotrip_units::Voltage;

use crate::{SensorPins, transfer::SENSOR_SUPPLY_VOLTS};

/// A signal wire that can be faulted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Circuit {
    /// Signal of the tank pressure sensor.
    TankPressureSensor,
}

impl Circuit {
    /// All of them.
    pub const ALL: [Self; 1] = [Self::TankPressureSensor];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::TankPressureSensor => "tank-pressure-sensor",
        }
    }
}

/// What is wrong with a wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WiringFault {
    /// Broken: the ECU's own pull-up to 5 V shows.
    Open,
    /// Chafed through to ground.
    ShortToGround,
    /// Chafed through to the sensor supply.
    ShortToSupply,
}

impl WiringFault {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Open, Self::ShortToGround, Self::ShortToSupply];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::ShortToGround => "short-to-ground",
            Self::ShortToSupply => "short-to-supply",
        }
    }

    /// What the ECU's pin shows, whatever the sensor says: inputs are pulled up inside the ECU.
    #[must_use]
    pub const fn pin(self) -> Voltage {
        match self {
            Self::Open => Voltage::from_volts(SENSOR_SUPPLY_VOLTS - 0.02),
            Self::ShortToGround => Voltage::ZERO,
            Self::ShortToSupply => Voltage::from_volts(SENSOR_SUPPLY_VOLTS),
        }
    }
}

/// The harness of the car with the faults in it.
#[derive(Clone, Debug, Default)]
pub struct Harness {
    faults: [Option<WiringFault>; Circuit::ALL.len()],
}

impl Harness {
    /// Puts a fault on a wire; a wire has one fault at a time, the latest.
    pub const fn break_wire(&mut self, circuit: Circuit, fault: WiringFault) {
        self.faults[circuit as usize] = Some(fault);
    }

    /// Mends a wire; says what was wrong with it.
    pub const fn mend_wire(&mut self, circuit: Circuit) -> Option<WiringFault> {
        self.faults[circuit as usize].take()
    }

    /// The fault on a wire.
    #[must_use]
    pub const fn fault(&self, circuit: Circuit) -> Option<WiringFault> {
        self.faults[circuit as usize]
    }

    /// What arrives at the ECU of what the sensors say.
    #[must_use]
    pub fn sense(&self, sensors: &SensorPins) -> SensorPins {
        let mut pins = *sensors;
        if let Some(fault) = self.fault(Circuit::TankPressureSensor) {
            pins.tank_pressure = fault.pin();
        }
        pins
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_hides_the_sensor_until_it_is_mended() {
        let mut harness = Harness::default();
        let truth = SensorPins {
            tank_pressure: Voltage::from_volts(2.5),
            ..SensorPins::default()
        };
        harness.break_wire(Circuit::TankPressureSensor, WiringFault::ShortToGround);
        assert_eq!(harness.sense(&truth).tank_pressure, Voltage::ZERO);
        assert_eq!(
            harness.mend_wire(Circuit::TankPressureSensor),
            Some(WiringFault::ShortToGround)
        );
        assert_eq!(harness.sense(&truth), truth);
    }
}
