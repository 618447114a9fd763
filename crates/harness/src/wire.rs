//! The wires that can be faulty: the signal wires of sensors, those to what the ECU drives, the supply that sensors
//! share, and those of the gearbox controller, whose messages carry the road speed.

use crate::{Circuit, Output, Solenoid, WiringFaultKind};

/// A wire, or a bundle that fails as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wire {
    /// A sensor's signal wire with its ground.
    Signal(Circuit),
    /// The wire between a driver of the ECU and what it drives.
    Output(Output),
    /// The wire between a driver of the gearbox controller and a solenoid.
    Solenoid(Solenoid),
    /// The 5 V that several sensors share, [`Circuit::on_shared_supply`].
    SensorSupply,
    /// The signal wire of bank 1's cam sensor.
    CamSensor,
    /// Of bank 2's.
    CamSensor2,
    /// The wire from the output-shaft sensor to the gearbox controller.
    SpeedSensor,
    /// The wire from the sensor at the converter's turbine to the gearbox controller.
    TurbineSensor,
    /// The wire from the thermistor in the gearbox's fluid to its controller.
    FluidSensor,
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

impl From<Solenoid> for Wire {
    fn from(solenoid: Solenoid) -> Self {
        Self::Solenoid(solenoid)
    }
}

const SIGNALS: usize = Circuit::ALL.len();
const OUTPUTS: usize = Output::ALL.len();
const SOLENOIDS: usize = Solenoid::ALL.len();
/// Those that drive or are driven.
const SINGLE: usize = SIGNALS + OUTPUTS + SOLENOIDS;

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
    /// All of them: signals, outputs, solenoids, and the others in an order that the lists below go by.
    pub const ALL: [Self; SINGLE + 8] = {
        let mut all = [Self::DataBus; SINGLE + 8];
        let mut i = 0;
        while i < SIGNALS {
            all[i] = Self::Signal(Circuit::ALL[i]);
            i += 1;
        }
        while i < SIGNALS + OUTPUTS {
            all[i] = Self::Output(Output::ALL[i - SIGNALS]);
            i += 1;
        }
        while i < SINGLE {
            all[i] = Self::Solenoid(Solenoid::ALL[i - SIGNALS - OUTPUTS]);
            i += 1;
        }
        all[i] = Self::CamSensor;
        all[i + 1] = Self::CamSensor2;
        all[i + 2] = Self::SpeedSensor;
        all[i + 3] = Self::TurbineSensor;
        all[i + 4] = Self::FluidSensor;
        all[i + 5] = Self::SensorSupply;
        all[i + 6] = Self::GearboxController;
        all
    };

    /// The signal wires of sensors that give a voltage.
    pub const SIGNALS: [Self; SIGNALS] = first();

    /// Those that can have a resistance in them, or sit in each other's pins.
    pub const SINGLE: [Self; SINGLE] = first();

    /// Those that can be shorted to a supply.
    pub const SUPPLIABLE: [Self; SINGLE + 5] = first();

    /// Those that can be shorted to ground.
    pub const GROUNDABLE: [Self; SINGLE + 6] = first();

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Signal(circuit) => circuit.name(),
            Self::Output(output) => output.name(),
            Self::Solenoid(solenoid) => solenoid.name(),
            Self::SensorSupply => "sensor-supply",
            Self::CamSensor => "cam-sensor",
            Self::CamSensor2 => "cam-sensor-2",
            Self::SpeedSensor => "vehicle-speed-sensor",
            Self::TurbineSensor => "turbine-speed-sensor",
            Self::FluidSensor => "gearbox-fluid-sensor",
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
                // Its plug has another shape.
                (Self::Solenoid(one), Self::Solenoid(other)) => {
                    one != Solenoid::ConverterClutch && other != Solenoid::ConverterClutch
                }
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

    /// The places of what the gearbox controller's pins and drivers see.
    pub(crate) const GEARBOX_PLACES: u64 = {
        let solenoids = ((1 << SOLENOIDS) - 1) << (SIGNALS + OUTPUTS);
        let sensors = 0b111 << (SINGLE + 2);
        let controller = 0b11 << (SINGLE + 6);
        solenoids | sensors | controller
    };

    /// Whether it belongs to what only a gearbox has whose controller watches over it.
    #[must_use]
    pub const fn is_of_watched_gearbox(self) -> bool {
        matches!(self, Self::Solenoid(_) | Self::TurbineSensor | Self::FluidSensor)
    }

    pub(crate) const fn place(self) -> usize {
        match self {
            Self::Signal(circuit) => circuit as usize,
            Self::Output(output) => SIGNALS + output as usize,
            Self::Solenoid(solenoid) => SIGNALS + OUTPUTS + solenoid as usize,
            Self::CamSensor => SINGLE,
            Self::CamSensor2 => SINGLE + 1,
            Self::SpeedSensor => SINGLE + 2,
            Self::TurbineSensor => SINGLE + 3,
            Self::FluidSensor => SINGLE + 4,
            Self::SensorSupply => SINGLE + 5,
            Self::GearboxController => SINGLE + 6,
            Self::DataBus => SINGLE + 7,
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
        assert!(Wire::Solenoid(Solenoid::ShiftA).can_be(WiringFaultKind::Resistance));
        assert!(Wire::FluidSensor.can_be(WiringFaultKind::ShortToSupply));
        assert!(!Wire::FluidSensor.can_be(WiringFaultKind::Resistance));
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
        let solenoid = Wire::Solenoid;
        assert!(solenoid(Solenoid::ShiftA).swaps_with(solenoid(Solenoid::ShiftC)));
        assert!(!solenoid(Solenoid::ShiftA).swaps_with(solenoid(Solenoid::ConverterClutch)));
        let oxygen = Wire::Signal(Circuit::FrontOxygenSensor);
        assert!(oxygen.swaps_with(Wire::Signal(Circuit::FrontOxygenSensor2)));
        assert_eq!(Wire::Signal(Circuit::RearOxygenSensor2).bank(), Some(1));
    }
}
