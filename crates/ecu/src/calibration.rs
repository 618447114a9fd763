//! What one engine ECU is told of the engine it is built into: its calibration.
//!
//! It is data of the ECU, not of the car: nothing keeps a car from being other than its ECU believes.

/// The engine as the ECU believes it to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// Banks of cylinders with exhaust, oxygen sensors and catalyst of their own, 1 or 2.
    pub banks: usize,
    /// Cylinders, equally many in each bank.
    pub cylinders: u8,
    /// Whether it has external exhaust-gas recirculation.
    pub recirculation: bool,
    /// Whether its intake cam has a phaser.
    pub phaser: bool,
}

impl Calibration {
    /// The 2.0-litre four-cylinder of the compact sedan.
    #[must_use]
    pub const fn compact_2_0() -> Self {
        Self {
            banks: 1,
            cylinders: 4,
            recirculation: true,
            phaser: true,
        }
    }

    /// Share of the engine's air that one bank draws.
    pub(crate) const fn bank_share(&self) -> f64 {
        if self.banks == 1 { 1.0 } else { 0.5 }
    }
}
