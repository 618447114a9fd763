//! What one engine ECU is told of the engine it is built into: its calibration.
//!
//! It is data of the ECU, not of the car: nothing keeps a car from being other than its ECU believes. What follows
//! from the size of the engine is scaled from the 2.0-litre four-cylinder that the tables here are made for.

use twotrip_units::{Length, MassFlow, Volume};

/// The engine as the ECU believes it to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// Swept volume.
    pub displacement: Volume,
    /// Cylinders in the order of firing, from 1 on; zeros behind the last.
    pub firing_order: [u8; 6],
    /// By cylinder, the first first: whether it belongs to bank 2.
    pub second_bank: [bool; 6],
    /// Bore of the throttle body.
    pub throttle_bore: Length,
    /// Flow of one injector at 421 kPa, rail against manifold at idle.
    pub injector_flow: MassFlow,
    /// Whether it drives a valve that recirculates exhaust gas.
    pub recirculation: bool,
    /// Whether it drives a cam phaser.
    pub phaser: bool,
    /// Whether the front oxygen sensors are wide-range ones.
    pub wide_range: bool,
    /// Which monitors judge means of several results.
    pub averaging: Averaging,
}

/// Which monitors judge the mean of their results over driving cycles, and not each by itself: those with one result a
/// driving cycle. Published service information knows both kinds of most of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Averaging {
    /// Leak test of the parked car.
    pub engine_off_leak: bool,
    /// Leak test with the engine running: the size of the hole.
    pub leak: bool,
    /// Catalysts.
    pub catalyst: bool,
    /// Response of the front oxygen sensors.
    pub front_sensor: bool,
    /// Flow of recirculated exhaust.
    pub egr_flow: bool,
}

impl Averaging {
    /// The leak test of the parked car, whose results depend on the weather, and no other.
    pub const USUAL: Self = Self {
        engine_off_leak: true,
        leak: false,
        catalyst: false,
        front_sensor: false,
        egr_flow: false,
    };
}

impl Default for Averaging {
    fn default() -> Self {
        Self::USUAL
    }
}

/// What one engine has and another has not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Equipment {
    /// A second bank of cylinders with exhaust, oxygen sensors and catalyst of its own.
    SecondBank,
    /// A valve that recirculates exhaust gas.
    Recirculation,
    /// A cam phaser.
    Phaser,
    /// One for each of two banks.
    SecondPhaser,
}

impl Calibration {
    /// Whether the engine has it.
    #[must_use]
    pub const fn has(&self, equipment: Equipment) -> bool {
        match equipment {
            Equipment::SecondBank => self.banks() > 1,
            Equipment::Recirculation => self.recirculation,
            Equipment::Phaser => self.phaser,
            Equipment::SecondPhaser => self.phaser && self.banks() > 1,
        }
    }

    /// The 2.0-litre four-cylinder of the compact sedan.
    #[must_use]
    pub const fn compact_2_0() -> Self {
        Self {
            displacement: Volume::from_litres(1.998),
            firing_order: [1, 3, 4, 2, 0, 0],
            second_bank: [false; 6],
            throttle_bore: Length::from_millimetres(55.0),
            injector_flow: MassFlow::from_grams_per_second(3.3),
            recirculation: true,
            phaser: true,
            wide_range: false,
            averaging: Averaging::USUAL,
        }
    }

    /// Cylinders.
    #[must_use]
    pub fn cylinders(&self) -> u8 {
        self.firing_order
            .iter()
            .fold(0, |count, &cylinder| count.max(cylinder))
    }

    /// Banks of cylinders with exhaust, oxygen sensors and catalyst of their own, 1 or 2.
    #[must_use]
    pub const fn banks(&self) -> usize {
        let mut cylinder = 0;
        while cylinder < self.second_bank.len() {
            if self.second_bank[cylinder] {
                return 2;
            }
            cylinder += 1;
        }
        1
    }

    /// Share of the engine's air that one bank draws.
    pub(crate) const fn bank_share(&self) -> f64 {
        if self.banks() == 1 { 1.0 } else { 0.5 }
    }

    /// Size of the engine against the calibrated one.
    pub(crate) const fn size(&self) -> f64 {
        self.displacement.cubic_metres() / Self::compact_2_0().displacement.cubic_metres()
    }

    /// Area of the throttle's bore against the calibrated one's.
    pub(crate) const fn throttle_share(&self) -> f64 {
        let share = self.throttle_bore.metres() / Self::compact_2_0().throttle_bore.metres();
        share * share
    }
}
