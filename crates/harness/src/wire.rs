//! The wires that can be faulty: the signal wires of sensors, those to what the ECU drives, the supply that sensors
//! share, and those of the gearbox controller, whose messages carry the road speed.

use crate::{Circuit, Output, WiringFaultKind};

/// A wire, or a bundle that fails as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wire {
    /// A sensor's signal wire with its ground.
    Signal(Circuit),
    /// The wire between a driver of the ECU and what it drives.
    Output(Output),
    /// The 5 V that several sensors share, [`Circuit::on_shared_supply`].
    SensorSupply,
    /// The signal wire of bank 1's cam sensor.
    CamSensor,
    /// Of bank 2's.
    CamSensor2,
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

impl From<Output> for Wire {
    fn from(output: Output) -> Self {
        Self::Output(output)
    }
}

const SIGNALS: usize = Circuit::ALL.len();
const OUTPUTS: usize = Output::ALL.len();

/// The first `N` of all wires.
const fn first<const N: usize>() -> [Wire; N] {
    let mut some = [Wire::DataBus; N];
    let mut i = 0;
    while i < N {
        some[i] = Wire::ALL[i];
        i += 1;
    }
    some
}

impl Wire {
    /// All of them: signals, outputs, and the others in an order that the lists below go by.
    pub const ALL: [Self; SIGNALS + OUTPUTS + 6] = {
        let mut all = [Self::DataBus; SIGNALS + OUTPUTS + 6];
        let mut i = 0;
        while i < SIGNALS {
            all[i] = Self::Signal(Circuit::ALL[i]);
            i += 1;
        }
        while i < SIGNALS + OUTPUTS {
            all[i] = Self::Output(Output::ALL[i - SIGNALS]);
            i += 1;
        }
        all[i] = Self::CamSensor;
        all[i + 1] = Self::CamSensor2;
        all[i + 2] = Self::SpeedSensor;
        all[i + 3] = Self::SensorSupply;
        all[i + 4] = Self::GearboxController;
        all
    };

    /// The signal wires of sensors that give a voltage.
    pub const SIGNALS: [Self; SIGNALS] = first();

    /// Those that can have a resistance in them, or sit in each other's pins.
    pub const SINGLE: [Self; SIGNALS + OUTPUTS] = first();

    /// Those that can be shorted to a supply.
    pub const SUPPLIABLE: [Self; SIGNALS + OUTPUTS + 3] = first();

    /// Those that can be shorted to ground.
    pub const GROUNDABLE: [Self; SIGNALS + OUTPUTS + 4] = first();

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Signal(circuit) => circuit.name(),
            Self::Output(output) => output.name(),
            Self::SensorSupply => "sensor-supply",
            Self::CamSensor => "cam-sensor",
            Self::CamSensor2 => "cam-sensor-2",
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
            WiringFaultKind::Bias => matches!(self, Self::Signal(_)),
            WiringFaultKind::Resistance | WiringFaultKind::Swapped => Self::SINGLE.contains(&self),
        }
    }

    /// Whether this wire fits into the pin of that one, and the other way round: two signals, or two outputs that drive
    /// the same kind of thing.
    #[must_use]
    pub fn swaps_with(self, other: Self) -> bool {
        self != other
            && match (self, other) {
                (Self::Signal(_), Self::Signal(_)) => true,
                (Self::Output(one), Self::Output(other)) => one.is_like(other),
                _ => false,
            }
    }

    /// The bank that it belongs to, counted from 0, if it belongs to one.
    #[must_use]
    pub const fn bank(self) -> Option<usize> {
        match self {
            Self::Signal(circuit) => match circuit.oxygen() {
                Some((bank, _)) => Some(bank),
                None => None,
            },
            Self::Output(output) => output.bank(),
            Self::CamSensor => Some(0),
            Self::CamSensor2 => Some(1),
            _ => None,
        }
    }

    /// The places of outputs among those of all wires, a bit each.
    pub(crate) const OUTPUT_PLACES: u64 = {
        assert!(Self::ALL.len() <= 64, "a bit for each wire");
        ((1 << OUTPUTS) - 1) << SIGNALS
    };

    pub(crate) const fn place(self) -> usize {
        match self {
            Self::Signal(circuit) => circuit as usize,
            Self::Output(output) => SIGNALS + output as usize,
            Self::CamSensor => SIGNALS + OUTPUTS,
            Self::CamSensor2 => SIGNALS + OUTPUTS + 1,
            Self::SpeedSensor => SIGNALS + OUTPUTS + 2,
            Self::SensorSupply => SIGNALS + OUTPUTS + 3,
            Self::GearboxController => SIGNALS + OUTPUTS + 4,
            Self::DataBus => SIGNALS + OUTPUTS + 5,
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
        let coil = Wire::Output(Output::Coil1);
        assert!(coil.can_be(WiringFaultKind::Resistance) && !coil.can_be(WiringFaultKind::Bias));
        assert!(Wire::CamSensor.can_be(WiringFaultKind::ShortToSupply));
        assert!(!Wire::SensorSupply.can_be(WiringFaultKind::ShortToSupply));
        assert!(Wire::SensorSupply.can_be(WiringFaultKind::ShortToGround));
    }

    #[test]
    fn only_what_fits_swaps() {
        let output = Wire::Output;
        assert!(output(Output::Coil1).swaps_with(output(Output::Coil4)));
        assert!(!output(Output::Coil1).swaps_with(output(Output::Coil1)));
        assert!(!output(Output::Coil1).swaps_with(output(Output::PurgeValve)));
        assert!(output(Output::PurgeValve).swaps_with(output(Output::VentValve)));
        assert!(!output(Output::PurgeValve).swaps_with(Wire::Signal(Circuit::AirMeter)));
        let oxygen = Wire::Signal(Circuit::FrontOxygenSensor);
        assert!(oxygen.swaps_with(Wire::Signal(Circuit::FrontOxygenSensor2)));
        assert_eq!(Wire::Signal(Circuit::RearOxygenSensor2).bank(), Some(1));
    }
}
