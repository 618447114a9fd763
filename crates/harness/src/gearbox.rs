//! The gearbox controller's own pins: what its sensors give, what it drives, what the engine ECU tells it over the bus.
//!
//! Three shift solenoids and that of the converter clutch are on or off; which gear a set of them makes is the matter of
//! the valve body in the car, and of the controller's program. Both know one [`ShiftSchedule`]: a gearbox whose controller
//! is no node of its own on the diagnostic bus shifts by it all the same.

use twotrip_units::{AngularSpeed, Limit, Ratio, Resistance, Speed, Temperature, Torque, Voltage};

use crate::{KeyPosition, WiringFault};

/// Forward gears.
pub const GEARS: usize = 6;

/// When a six-speed automatic shifts (calibrated).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShiftSchedule {
    /// Speeds for upshifts out of gear 1 to 5 at light throttle, m/s.
    up: [f64; GEARS - 1],
    /// Speeds for downshifts out of gear 2 to 6, m/s.
    down: [f64; GEARS - 1],
    /// Upshift speeds grow by up to this share with the wheel force.
    up_by_force: f64,
    /// Downshift speeds grow by up to this share: hysteresis stays.
    down_by_force: f64,
    /// Engine speed of upshifts at full throttle, rpm.
    full_throttle_rpm: f64,
}

impl ShiftSchedule {
    /// The one that all gearboxes here follow.
    pub const USUAL: Self = {
        const KMH: f64 = 1.0 / 3.6;
        Self {
            up: [15.0 * KMH, 27.0 * KMH, 41.0 * KMH, 57.0 * KMH, 74.0 * KMH],
            down: [10.0 * KMH, 20.0 * KMH, 32.0 * KMH, 46.0 * KMH, 62.0 * KMH],
            up_by_force: 0.9,
            down_by_force: 0.45,
            full_throttle_rpm: 6000.0,
        }
    };

    /// The gear wanted after this one (0 is first): at this road speed, with such a share of the full wheel force, the
    /// pedal pressed right down or not; `rpm_in` says how fast the turbine turns in a gear.
    #[must_use]
    #[inline]
    pub fn gear(
        &self,
        gear: usize,
        speed: Speed,
        force: Ratio,
        flat_out: bool,
        rpm_in: impl Fn(usize) -> f64,
    ) -> usize {
        let (speed, force) = (speed.metres_per_second(), force.fraction());
        if gear < GEARS - 1 {
            let scheduled = !flat_out && speed > self.up[gear] * (1.0 + self.up_by_force * force);
            if scheduled || rpm_in(gear) > self.full_throttle_rpm {
                return gear + 1;
            }
        }
        if gear > 0 {
            let scheduled = speed < self.down[gear - 1] * (1.0 + self.down_by_force * force);
            if scheduled || (flat_out && rpm_in(gear - 1) < 0.85 * self.full_throttle_rpm) {
                return gear - 1;
            }
        }
        gear
    }
}

/// A solenoid of the valve body.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Solenoid {
    /// Shift solenoid A.
    ShiftA,
    /// Shift solenoid B.
    ShiftB,
    /// Shift solenoid C.
    ShiftC,
    /// Of the torque converter's clutch.
    ConverterClutch,
}

impl Solenoid {
    /// All of them, those that shift first.
    pub const ALL: [Self; 4] = [Self::ShiftA, Self::ShiftB, Self::ShiftC, Self::ConverterClutch];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ShiftA => "shift-solenoid-a",
            Self::ShiftB => "shift-solenoid-b",
            Self::ShiftC => "shift-solenoid-c",
            Self::ConverterClutch => "converter-clutch-solenoid",
        }
    }

    /// Its winding at 20 °C (common practice, no source).
    #[must_use]
    pub const fn load(self) -> Resistance {
        match self {
            Self::ConverterClutch => Resistance::from_ohms(13.0),
            _ => Resistance::from_ohms(22.0),
        }
    }
}

/// A set of solenoids.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SolenoidSet(u8);

impl SolenoidSet {
    /// None of them.
    pub const NONE: Self = Self(0);

    /// Whether it holds this one.
    #[must_use]
    pub const fn contains(self, solenoid: Solenoid) -> bool {
        self.0 & (1 << solenoid as u8) != 0
    }

    /// Whether it holds none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The same with this one in it, or not.
    #[must_use]
    pub const fn with(self, solenoid: Solenoid, on: bool) -> Self {
        let bit = 1 << solenoid as u8;
        Self(if on { self.0 | bit } else { self.0 & !bit })
    }
}

/// What each gear asks of the shift solenoids A, B and C, the first gear first: from gear to gear one of them changes, and
/// without current the box is in third (a choice of this gearbox; common practice, no source).
const PATTERN: [[bool; 3]; GEARS] = [
    [true, true, false],
    [false, true, false],
    [false, false, false],
    [true, false, false],
    [true, false, true],
    [false, false, true],
];

/// The set of shift solenoids that makes a gear, 0 for first.
#[must_use]
pub fn pattern(gear: usize) -> SolenoidSet {
    let states = PATTERN.get(gear).copied().unwrap_or_default();
    Solenoid::ALL
        .into_iter()
        .zip(states)
        .fold(SolenoidSet::NONE, |set, (solenoid, on)| set.with(solenoid, on))
}

/// The gear that a set of shift solenoids makes, 0 for first. Solenoid C shuts off what B feeds.
#[must_use]
pub const fn gear_of(set: SolenoidSet) -> usize {
    let a = set.contains(Solenoid::ShiftA);
    if set.contains(Solenoid::ShiftC) {
        return if a { 4 } else { 5 };
    }
    match (a, set.contains(Solenoid::ShiftB)) {
        (true, true) => 0,
        (false, true) => 1,
        (false, false) => 2,
        (true, false) => 3,
    }
}

/// What the drivers of the controller see of their solenoids.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SolenoidDrivers {
    /// No load.
    pub open: SolenoidSet,
    /// On ground or on 12 V, past the load.
    pub shorted: SolenoidSet,
}

/// The wire of a speed sensor as the controller sees it: the sensor draws one of two currents, and is fed through the same
/// pair, so that no current or too much of it tells of the wire (common practice, no source).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PulseWire {
    /// One of the two currents flows.
    #[default]
    Sound,
    /// None flows.
    Open,
    /// More than a sensor can draw, or the pin stands at the supply.
    Shorted,
}

/// A speed sensor: what its pulses say, and its wire.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PulseSensor {
    /// Speed of the shaft by the frequency of the pulses; zero without any.
    pub speed: AngularSpeed,
    /// Its wire.
    pub wire: PulseWire,
}

/// What the engine ECU tells the gearbox over the bus.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct EngineMessage {
    /// Crank speed.
    pub engine_speed: AngularSpeed,
    /// What the crank gives.
    pub torque: Torque,
    /// Accelerator.
    pub pedal: Ratio,
    /// The engine runs by itself.
    pub runs: bool,
    /// Coolant.
    pub coolant: Temperature,
    /// Air around the car.
    pub ambient: Temperature,
    /// Calculated load.
    pub load: Ratio,
}

/// What arrives at the gearbox controller.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GearboxPins {
    /// Ignition switch.
    pub key: KeyPosition,
    /// Supply of the controller.
    pub supply: Voltage,
    /// Selector in a driving position, by the range switch.
    pub in_drive: bool,
    /// Turbine of the torque converter: the gearbox's input shaft.
    pub turbine: PulseSensor,
    /// Output shaft.
    pub output: PulseSensor,
    /// Thermistor in the fluid, [`crate::transfer::THERMISTOR`].
    pub fluid_temperature: Voltage,
    /// What the drivers see of the solenoids.
    pub drivers: SolenoidDrivers,
    /// What the engine ECU says; `None` where its messages do not come in.
    pub engine: Option<EngineMessage>,
}

/// Share of its current from which a solenoid pulls in.
const PULLS_IN: f64 = 0.5;

/// Whether a solenoid has its current where its wire has a fault; `key_on`: it has its 12 V.
pub(crate) fn faulty(solenoid: Solenoid, commanded: bool, fault: WiringFault, key_on: bool) -> bool {
    match fault {
        WiringFault::ShortToGround => key_on,
        WiringFault::Resistance(added) => {
            let load = solenoid.load().ohms();
            commanded && load / (load + added.ohms().at_least(0.0)) >= PULLS_IN
        }
        WiringFault::Open | WiringFault::ShortToSupply => false,
        WiringFault::Bias(_) | WiringFault::PulledDown(_) | WiringFault::SwappedWith(_) => commanded,
    }
}

/// What a driver sees of a fault: a short, no load, or a load behind so much that it is none.
pub(crate) fn seen(solenoid: Solenoid, fault: WiringFault, drivers: &mut SolenoidDrivers) {
    match fault {
        WiringFault::ShortToGround | WiringFault::ShortToSupply => {
            drivers.shorted = drivers.shorted.with(solenoid, true);
        }
        WiringFault::Open => drivers.open = drivers.open.with(solenoid, true),
        WiringFault::Resistance(added) if added.ohms() > 5_000.0 => {
            drivers.open = drivers.open.with(solenoid, true);
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each gear's pattern makes that gear, and from one to the next a single solenoid changes.
    #[test]
    fn a_gear_and_its_solenoids_belong_together() {
        for gear in 0..GEARS {
            assert_eq!(gear_of(pattern(gear)), gear);
        }
        assert_eq!(gear_of(SolenoidSet::NONE), 2, "third without current");
        for pair in PATTERN.windows(2) {
            let changed = (0..3).filter(|&place| pair[0][place] != pair[1][place]);
            assert_eq!(changed.count(), 1, "{pair:?}");
        }
    }

    #[test]
    fn the_schedule_shifts_up_and_down_with_a_gap_between() {
        let at = |gear, kmh: f64| {
            let speed = Speed::from_kilometres_per_hour(kmh);
            ShiftSchedule::USUAL.gear(gear, speed, Ratio::ZERO, false, |_| 2000.0)
        };
        assert_eq!((at(0, 14.0), at(0, 16.0)), (0, 1));
        assert_eq!((at(1, 11.0), at(1, 9.0)), (1, 0));
        assert_eq!((at(5, 63.0), at(5, 61.0)), (5, 4));
    }
}
