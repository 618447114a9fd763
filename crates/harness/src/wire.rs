//! The wires that can be faulty: the signal wires of sensors, the supply that sensors share, and those of the gearbox
//! controller, whose messages carry the road speed.

use crate::{Circuit, WiringFaultKind};

/// A wire, or a bundle that fails as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wire {
    /// A sensor's signal wire with its ground.
    Signal(Circuit),
    /// The 5 V that several sensors share, [`Circuit::on_shared_supply`].
    SensorSupply,
    /// The wire from the output-shaft sensor to the gearbox controller.
    SpeedSensor,
    /// Supply and ground of the gearbox controller.
    GearboxController,
    /// The pair of the data bus.
    DataBus,
}

impl From<Circuit> for Wire {
    fn from(circuit: Circuit) -> Self {
        Self::Signal(circuit)
    }
}

impl Wire {
    /// All of them.
    pub const ALL: [Self; Circuit::ALL.len() + 4] = {
        let mut all = [Self::DataBus; Circuit::ALL.len() + 4];
        let mut i = 0;
        while i < Circuit::ALL.len() {
            all[i] = Self::Signal(Circuit::ALL[i]);
            i += 1;
        }
        all[i] = Self::SensorSupply;
        all[i + 1] = Self::SpeedSensor;
        all[i + 2] = Self::GearboxController;
        all
    };

    /// The signal wires of sensors.
    pub const SIGNALS: [Self; Circuit::ALL.len()] = {
        let mut some = [Self::DataBus; Circuit::ALL.len()];
        let mut i = 0;
        while i < some.len() {
            some[i] = Self::ALL[i];
            i += 1;
        }
        some
    };

    /// Those that can be shorted to ground.
    pub const GROUNDABLE: [Self; Circuit::ALL.len() + 2] = {
        let mut some = [Self::SensorSupply; Circuit::ALL.len() + 2];
        let mut i = 0;
        while i < some.len() {
            some[i] = Self::ALL[i];
            i += 1;
        }
        some
    };

    /// Those that can be shorted to the sensor supply.
    pub const SUPPLIABLE: [Self; Circuit::ALL.len() + 1] = {
        let mut some = [Self::SpeedSensor; Circuit::ALL.len() + 1];
        let mut i = 0;
        while i < Circuit::ALL.len() {
            some[i] = Self::ALL[i];
            i += 1;
        }
        some
    };

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Signal(circuit) => circuit.name(),
            Self::SensorSupply => "sensor-supply",
            Self::SpeedSensor => "vehicle-speed-sensor",
            Self::GearboxController => "gearbox-controller",
            Self::DataBus => "data-bus",
        }
    }

    /// Whether it can have a fault of this kind.
    #[must_use]
    pub fn can_be(self, kind: WiringFaultKind) -> bool {
        match kind {
            WiringFaultKind::Open => true,
            WiringFaultKind::ShortToGround => Self::GROUNDABLE.contains(&self),
            WiringFaultKind::ShortToSupply => Self::SUPPLIABLE.contains(&self),
            WiringFaultKind::PulledDown => self == Self::SensorSupply,
            WiringFaultKind::Resistance | WiringFaultKind::Bias | WiringFaultKind::Swapped => {
                matches!(self, Self::Signal(_))
            }
        }
    }

    pub(crate) const fn place(self) -> usize {
        match self {
            Self::Signal(circuit) => circuit as usize,
            Self::SensorSupply => Circuit::ALL.len(),
            Self::SpeedSensor => Circuit::ALL.len() + 1,
            Self::GearboxController => Circuit::ALL.len() + 2,
            Self::DataBus => Circuit::ALL.len() + 3,
        }
    }
}

/// How the gearbox controller is wired at the moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GearboxLink {
    /// It has supply and ground.
    pub powered: bool,
    /// Its output-shaft sensor reaches it.
    pub speed_sensed: bool,
    /// Its messages, and those to it, get through.
    pub on_bus: bool,
}

impl GearboxLink {
    /// As it should be.
    pub const SOUND: Self = Self {
        powered: true,
        speed_sensed: true,
        on_bus: true,
    };
}

impl Default for GearboxLink {
    fn default() -> Self {
        Self::SOUND
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_wire_has_its_place_and_its_faults() {
        for (place, wire) in Wire::ALL.into_iter().enumerate() {
            assert_eq!(wire.place(), place);
            assert!(wire.can_be(WiringFaultKind::Open));
            let named = Wire::ALL.into_iter().filter(|other| other.name() == wire.name());
            assert_eq!(named.count(), 1);
        }
        assert!(!Wire::GearboxController.can_be(WiringFaultKind::ShortToSupply));
        assert!(!Wire::DataBus.can_be(WiringFaultKind::ShortToGround));
        assert!(Wire::Signal(Circuit::AirMeter).can_be(WiringFaultKind::Swapped));
    }
}
