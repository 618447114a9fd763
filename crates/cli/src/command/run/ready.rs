//! The line that says that the car is on its bus.

use std::path::Path;

use twotrip_host::bus::Name;
use twotrip_sim::{Settings, Simulator};

use super::{
    lines::{EcuObject, Line},
    memory::Memory,
};
use crate::{args, command::words, exit::Failure, output};

pub(super) fn ready(
    args: &args::Run,
    name: &Name,
    control: &Path,
    settings: &Settings,
    car: &Simulator,
    memory: Option<Memory>,
) -> Result<(), Failure> {
    let not_physical = car.not_physical();
    if args.json {
        return output::json(&Line::Ready {
            scenario: &args.scenario,
            bus: name.to_string(),
            control: control.display().to_string(),
            pid: std::process::id(),
            seed: settings.seed,
            not_physical,
            memory,
            identifiers: settings.identifiers.word(),
            bit_rate_kbit_per_s: settings.bit_rate.kbit_per_second(),
            ecus: car.ecus().map(EcuObject::from).collect(),
        });
    }
    let note = if not_physical { " (not physical)" } else { "" };
    let memory = match memory {
        None => "",
        Some(Memory::New) => ", with a new memory",
        Some(Memory::FromFile) => ", with the memory of the file",
    };
    let ecus = match words::ecus(car) {
        Some(ecus) => format!(": {ecus}"),
        None => String::new(),
    };
    output::line(&format!(
        "ready: {} on {name}{memory}{note}{ecus}",
        output::escape(&args.scenario)
    ))
}
