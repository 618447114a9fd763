//! The compact car with a transmission ECU, for what the compact car by itself does not have.

use twotrip_ecu::{
    memory::Profile,
    transmission::{Gearing, TransmissionConfig},
};
use twotrip_sim::{Settings, Timing};
use twotrip_vehicle::{Specification, VehicleParams};

/// What that car is made of.
#[must_use]
pub fn settings(seed: u64) -> Settings {
    Settings {
        vehicle: VehicleParams::new(&Specification {
            transmission_ecu: true,
            ..Specification::compact_2_0()
        }),
        transmission: Some(TransmissionConfig::under(
            &Profile::US_2010,
            Gearing::compact_2_0(),
        )),
        ..Settings::compact(seed, Timing::FAST)
    }
}
