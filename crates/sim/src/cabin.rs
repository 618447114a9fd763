//! Who sits in the car: the key, the selector, and the feet.

use twotrip_harness::KeyPosition;
use twotrip_units::{AngularSpeed, Ratio, Speed};
use twotrip_vehicle::{Driver, DriverControls, Selector};

/// The controls as they stand, and the driver while a plan is being driven.
#[derive(Clone, Debug, Default)]
pub(crate) struct Cabin {
    pub(crate) key: KeyPosition,
    pub(crate) driving: Option<Driver>,
    /// The selector between plans; a driven plan moves it itself.
    pub(crate) in_drive: bool,
}

impl Cabin {
    /// What hands and feet do now. Without a plan the foot stays on the brake.
    pub(crate) fn controls(&mut self, speed: Speed, engine_speed: AngularSpeed) -> DriverControls {
        if let Some(driver) = &mut self.driving {
            driver.read_tachometer(engine_speed);
            return DriverControls {
                key: self.key,
                ..driver.controls(speed)
            };
        }
        DriverControls {
            key: self.key,
            pedal: Ratio::ZERO,
            brake: Ratio::from_percent(100.0),
            selector: if self.in_drive {
                Selector::Drive
            } else {
                Selector::Park
            },
        }
    }
}
