//! The output circuits: what hangs on the ECU's drivers, what a fault in the wire makes of a command, and what the driver
//! sees of it.
//!
//! ```text
//!   12 V ---- load (winding, heater) ---- wire ---- pin of the ECU ---- driver to ground
//! ```
//!
//! A driver looks at its pin with pulses too short for a valve to move, whatever is commanded: no load shows as an open
//! circuit, ground or 12 V as a short (common practice, no source). The recirculation valve has a motor on a bridge that
//! switches itself off at a short, and a spring that shuts it; the others are wound to 12 V, so that a wire on ground has
//! them on as long as the key is. Resistances of loads: common practice, no source.

use twotrip_units::{Current, Limit, Ratio, Resistance, Voltage};

use crate::{ActuatorPins, PerBank, SensorPins, WiringFault};

/// Cylinders with a coil of their own, at most.
pub const COILS: usize = 6;

/// A wire between a driver of the ECU and what it drives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Output {
    /// Primary winding of the coil of cylinder 1.
    Coil1,
    /// Of cylinder 2.
    Coil2,
    /// Of cylinder 3.
    Coil3,
    /// Of cylinder 4.
    Coil4,
    /// Of cylinder 5.
    Coil5,
    /// Of cylinder 6.
    Coil6,
    /// Motor of the exhaust-gas recirculation valve.
    EgrValve,
    /// Oil control valve of the phaser of bank 1's intake cam.
    CamValve,
    /// Of bank 2's.
    CamValve2,
    /// Purge valve.
    PurgeValve,
    /// Vent valve of the canister.
    VentValve,
    /// Heater of the front oxygen sensor, bank 1.
    FrontHeater,
    /// Heater of the rear oxygen sensor, bank 1.
    RearHeater,
    /// Heater of the front oxygen sensor, bank 2.
    FrontHeater2,
    /// Heater of the rear oxygen sensor, bank 2.
    RearHeater2,
}

/// A set of outputs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct OutputSet(u16);

const _: () = assert!(Output::ALL.len() <= 16, "one bit an output");

impl OutputSet {
    /// None of them.
    pub const NONE: Self = Self(0);

    /// Coils, cylinder 1 in the lowest bit.
    #[must_use]
    pub const fn of_coils(bits: u8) -> Self {
        Self(bits as u16 & ((1 << COILS) - 1))
    }

    /// Whether it holds none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether it holds this one.
    #[must_use]
    pub const fn contains(self, output: Output) -> bool {
        self.0 & (1 << output as u16) != 0
    }

    /// Takes this one in.
    pub const fn insert(&mut self, output: Output) {
        self.0 |= 1 << output as u16;
    }

    /// What either holds.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// What the drivers of the ECU see of their outputs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drivers {
    /// No load.
    pub open: OutputSet,
    /// On ground or on 12 V, past the load.
    pub shorted: OutputSet,
}

impl Drivers {
    /// Whether this output is neither open nor shorted.
    #[must_use]
    pub const fn is_sound(self, output: Output) -> bool {
        !self.open.contains(output) && !self.shorted.contains(output)
    }
}

/// Share of its current from which a valve that is either open or shut pulls in, and a heater counts as one.
const PULLS_IN: f64 = 0.5;
/// Most that the driver of a heater lets through before it switches off, A.
const HEATER_LIMIT: Current = Current::from_amperes(10.0);
/// A coil with its driver and wires, ohm: what limits its current at the end of the dwell.
const COIL_LOOP_OHMS: f64 = 2.0;
/// Energy of the spark against a good one's below which firings begin to fail, and at which all do.
const WEAK_SPARK: [f64; 2] = [0.5, 0.1];

impl Output {
    /// All of them; the coils first, in the order of their cylinders.
    pub const ALL: [Self; 15] = [
        Self::Coil1,
        Self::Coil2,
        Self::Coil3,
        Self::Coil4,
        Self::Coil5,
        Self::Coil6,
        Self::EgrValve,
        Self::CamValve,
        Self::CamValve2,
        Self::PurgeValve,
        Self::VentValve,
        Self::FrontHeater,
        Self::RearHeater,
        Self::FrontHeater2,
        Self::RearHeater2,
    ];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Coil1 => "coil-1",
            Self::Coil2 => "coil-2",
            Self::Coil3 => "coil-3",
            Self::Coil4 => "coil-4",
            Self::Coil5 => "coil-5",
            Self::Coil6 => "coil-6",
            Self::EgrValve => "egr-valve",
            Self::CamValve => "cam-valve",
            Self::CamValve2 => "cam-valve-2",
            Self::PurgeValve => "purge-valve",
            Self::VentValve => "vent-valve",
            Self::FrontHeater => "front-oxygen-heater",
            Self::RearHeater => "rear-oxygen-heater",
            Self::FrontHeater2 => "front-oxygen-heater-2",
            Self::RearHeater2 => "rear-oxygen-heater-2",
        }
    }

    /// The cylinder, counted from 0, if it is a coil.
    #[must_use]
    pub const fn coil(self) -> Option<usize> {
        let place = self as usize;
        if place < COILS { Some(place) } else { None }
    }

    /// The bank, counted from 0, if it is something that each bank has.
    #[must_use]
    pub const fn bank(self) -> Option<usize> {
        match self {
            Self::CamValve => Some(0),
            Self::CamValve2 => Some(1),
            _ => match self.heater() {
                Some((bank, _)) => Some(bank),
                None => None,
            },
        }
    }

    /// Bank and place, front 0 and rear 1, if it is a heater.
    #[must_use]
    pub const fn heater(self) -> Option<(usize, usize)> {
        match self {
            Self::FrontHeater => Some((0, 0)),
            Self::RearHeater => Some((0, 1)),
            Self::FrontHeater2 => Some((1, 0)),
            Self::RearHeater2 => Some((1, 1)),
            _ => None,
        }
    }

    /// What hangs on it, at 20 °C.
    #[must_use]
    pub const fn load(self) -> Resistance {
        Resistance::from_ohms(match self {
            Self::EgrValve => 3.0,
            Self::CamValve | Self::CamValve2 => 7.2,
            Self::PurgeValve => 26.0,
            Self::VentValve => 30.0,
            _ => match self.coil() {
                Some(_) => 0.7,
                None => 9.0,
            },
        })
    }

    /// Whether both drive the same kind of thing, so that their plugs fit each other's places.
    #[must_use]
    pub fn is_like(self, other: Self) -> bool {
        let kind = |output: Self| match output {
            // A plug with five pins, for the motor and its sensor.
            Self::EgrValve => 1,
            Self::CamValve | Self::CamValve2 | Self::PurgeValve | Self::VentValve => 2,
            _ if output.coil().is_some() => 0,
            _ => 3,
        };
        kind(self) == kind(other)
    }

    /// What is commanded, 0 to 1; of a coil nothing, for its pulses are not in these pins.
    #[must_use]
    pub fn command(self, pins: &ActuatorPins) -> f64 {
        let switched = |on: bool| f64::from(u8::from(on));
        match self {
            Self::EgrValve => pins.recirculation.fraction(),
            Self::CamValve => pins.cam_valve[0].fraction(),
            Self::CamValve2 => pins.cam_valve[1].fraction(),
            Self::PurgeValve => pins.purge.fraction(),
            Self::VentValve => switched(pins.vent_shut),
            Self::FrontHeater => switched(pins.oxygen_heater_front[0]),
            Self::RearHeater => switched(pins.oxygen_heater_rear[0]),
            Self::FrontHeater2 => switched(pins.oxygen_heater_front[1]),
            Self::RearHeater2 => switched(pins.oxygen_heater_rear[1]),
            _ => 0.0,
        }
    }

    /// Puts what arrives there.
    pub(crate) fn arrive(self, share: f64, pins: &mut ActuatorPins) {
        let (ratio, on) = (Ratio::from_fraction(share), share >= PULLS_IN);
        match self {
            Self::EgrValve => pins.recirculation = ratio,
            Self::CamValve => pins.cam_valve[0] = ratio,
            Self::CamValve2 => pins.cam_valve[1] = ratio,
            Self::PurgeValve => pins.purge = ratio,
            Self::VentValve => pins.vent_shut = on,
            Self::FrontHeater => pins.oxygen_heater_front[0] = on,
            Self::RearHeater => pins.oxygen_heater_rear[0] = on,
            Self::FrontHeater2 => pins.oxygen_heater_front[1] = on,
            Self::RearHeater2 => pins.oxygen_heater_rear[1] = on,
            _ => {}
        }
    }

    /// What is left of a command where the wire has a fault; `powered` says whether the load has its 12 V. Of two
    /// swapped wires [`crate::Harness`] knows.
    #[must_use]
    pub(crate) fn faulty(self, command: f64, fault: WiringFault, powered: bool) -> f64 {
        match fault {
            WiringFault::ShortToGround if !matches!(self, Self::EgrValve) => f64::from(u8::from(powered)),
            WiringFault::Open | WiringFault::ShortToGround | WiringFault::ShortToSupply => 0.0,
            WiringFault::Resistance(added) => {
                let share = self.current_share(added);
                match self {
                    // What follows its duty follows its current.
                    Self::EgrValve | Self::CamValve | Self::CamValve2 => command * share,
                    _ if share < PULLS_IN => 0.0,
                    _ => command,
                }
            }
            WiringFault::Bias(_) | WiringFault::PulledDown(_) | WiringFault::SwappedWith(_) => command,
        }
    }

    /// Current through a load with so much in its wire, against a good one's.
    fn current_share(self, added: Resistance) -> f64 {
        let load = self.load().ohms();
        load / (load + added.ohms().at_least(0.0))
    }
}

/// Share of a cylinder's firings that get no spark, for a fault in the wire of its coil.
pub(crate) fn sparks_lost(fault: Option<WiringFault>) -> f64 {
    match fault {
        None => 0.0,
        Some(WiringFault::Resistance(added)) => {
            let current = COIL_LOOP_OHMS / (COIL_LOOP_OHMS + added.ohms().at_least(0.0));
            let [begin, end] = WEAK_SPARK;
            ((begin - current * current) * (1.0 / (begin - end))).within(0.0, 1.0)
        }
        // Without its switching there is no spark; a coil that fires for another cylinder fires into no mixture.
        Some(_) => 1.0,
    }
}

/// What a driver sees of a fault.
pub(crate) fn seen(output: Output, fault: WiringFault, drivers: &mut Drivers) {
    match fault {
        WiringFault::Open => drivers.open.insert(output),
        WiringFault::ShortToGround | WiringFault::ShortToSupply => drivers.shorted.insert(output),
        // A load behind more resistance than this is none to the driver's small test current.
        WiringFault::Resistance(added) if added.ohms() > 5_000.0 => drivers.open.insert(output),
        _ => {}
    }
}

/// Current of a heater as its driver measures it, where a good wire would carry `good`.
pub(crate) fn heater_current(fault: WiringFault, good: Current, supply: Voltage) -> Current {
    match fault {
        // Past the driver, or none at all.
        WiringFault::Open | WiringFault::ShortToGround => Current::ZERO,
        WiringFault::ShortToSupply => HEATER_LIMIT,
        WiringFault::Resistance(added) => {
            let amperes = good.amperes();
            if amperes <= 0.0 {
                return good;
            }
            let heater = supply.volts() / amperes;
            Current::from_amperes(supply.volts() / (heater + added.ohms().at_least(0.0)))
        }
        _ => good,
    }
}

/// The pin with a heater's current.
pub(crate) const fn heater_pin(output: Output, pins: &mut SensorPins) -> Option<&mut Current> {
    let Some((bank, place)) = output.heater() else {
        return None;
    };
    let pair: &mut PerBank<Current> = if place == 0 {
        &mut pins.heater_front
    } else {
        &mut pins.heater_rear
    };
    Some(&mut pair[bank])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both figures are the same but for rounding.
    fn near(one: f64, other: f64) -> bool {
        (one - other).abs() < 1e-9
    }

    fn all_half() -> ActuatorPins {
        ActuatorPins {
            recirculation: Ratio::from_fraction(0.4),
            cam_valve: [Ratio::from_fraction(0.4); 2],
            purge: Ratio::from_fraction(0.4),
            ..ActuatorPins::default()
        }
    }

    /// Output by output: what arrives with nothing but the fault, from a command of 40 %, key on.
    #[test]
    fn a_fault_decides_what_arrives() {
        for (output, open, ground, supply) in [
            (Output::EgrValve, 0.0, 0.0, 0.0),
            (Output::CamValve, 0.0, 1.0, 0.0),
            (Output::CamValve2, 0.0, 1.0, 0.0),
            (Output::PurgeValve, 0.0, 1.0, 0.0),
            (Output::VentValve, 0.0, 1.0, 0.0),
            (Output::FrontHeater, 0.0, 1.0, 0.0),
            (Output::RearHeater2, 0.0, 1.0, 0.0),
        ] {
            let left = |fault| output.faulty(0.4, fault, true);
            let found = [
                left(WiringFault::Open),
                left(WiringFault::ShortToGround),
                left(WiringFault::ShortToSupply),
            ];
            for (found, wanted) in found.into_iter().zip([open, ground, supply]) {
                assert!(near(found, wanted), "{}", output.name());
            }
            assert!(
                near(output.faulty(0.4, WiringFault::ShortToGround, false), 0.0),
                "no 12 V"
            );
        }
    }

    /// A purge valve of 26 ohm pulls in behind 20 ohm and not behind 100; a cam valve follows its current.
    #[test]
    fn resistance_weakens_a_load() {
        let added = |ohms| WiringFault::Resistance(Resistance::from_ohms(ohms));
        assert!(near(Output::PurgeValve.faulty(0.4, added(20.0), true), 0.4));
        assert!(near(Output::PurgeValve.faulty(0.4, added(100.0), true), 0.0));
        assert!((Output::CamValve.faulty(0.4, added(7.2), true) - 0.2).abs() < 1e-9);
        assert!(near(sparks_lost(Some(added(0.1))), 0.0));
        assert!((0.05..0.5).contains(&sparks_lost(Some(added(1.0)))));
        assert!(near(sparks_lost(Some(added(10.0))), 1.0));
    }

    #[test]
    fn every_output_has_its_pin_or_is_a_coil() {
        for (place, output) in Output::ALL.into_iter().enumerate() {
            assert_eq!(output as usize, place);
            let mut pins = all_half();
            output.arrive(1.0, &mut pins);
            assert_eq!(output.command(&pins) >= 1.0, output.coil().is_none());
            let named = Output::ALL
                .into_iter()
                .filter(|other| other.name() == output.name());
            assert_eq!(named.count(), 1);
            assert!(output.is_like(output));
        }
        assert!(Output::Coil1.is_like(Output::Coil6) && !Output::Coil1.is_like(Output::PurgeValve));
    }

    #[test]
    fn a_driver_tells_open_from_shorted() {
        let see = |fault| {
            let mut drivers = Drivers::default();
            seen(Output::VentValve, fault, &mut drivers);
            (
                drivers.open.contains(Output::VentValve),
                drivers.shorted.contains(Output::VentValve),
            )
        };
        assert_eq!(see(WiringFault::Open), (true, false));
        assert_eq!(see(WiringFault::ShortToGround), (false, true));
        assert_eq!(see(WiringFault::ShortToSupply), (false, true));
        let added = |ohms| WiringFault::Resistance(Resistance::from_ohms(ohms));
        assert_eq!(see(added(100.0)), (false, false));
        assert_eq!(see(added(1e6)), (true, false));
    }

    /// 0.7 A of a heater behind as much again is half of it.
    #[test]
    fn the_current_of_a_heater_is_measured_where_it_flows() {
        let good = Current::from_amperes(0.7);
        let supply = Voltage::from_volts(14.0);
        let measured = |fault| heater_current(fault, good, supply).amperes();
        assert!(near(measured(WiringFault::Open), 0.0));
        assert!(near(measured(WiringFault::ShortToGround), 0.0));
        assert!(measured(WiringFault::ShortToSupply) > 1.5);
        let added = WiringFault::Resistance(Resistance::from_ohms(20.0));
        assert!((measured(added) - 0.35).abs() < 1e-9);
    }
}
