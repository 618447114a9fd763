//! What the car says on the bus, from the tables by which it answers and by which `scan` reads.

use twotrip_ecu::{
    Calibration,
    server::{SERVICES, Served, supported},
};
use twotrip_obd::{
    InfoType, Mid, Pid, Service, SupportMask, Tid,
    pid::{Definition, Field, Kind, Scaling, Value},
};

use super::Item;

/// The services that the car has.
pub(super) fn services() -> Vec<Item> {
    SERVICES
        .map(|service| Item::new(name(service), meaning(service)))
        .into()
}

fn name(service: Service) -> String {
    format!("${:02X} {}", service.to_byte(), service.name())
}

fn meaning(service: Service) -> String {
    let Some(set) = supported(service, &Served::by(&Calibration::compact_2_0())) else {
        return match service {
            Service::Clear => "refused ($22) while the engine runs or the car moves".to_owned(),
            _ => "count and codes, also when there are none".to_owned(),
        };
    };
    let each = |say: fn(u8) -> String| set.iter().map(say).collect::<Vec<_>>().join("; ");
    match service {
        Service::TestResults => each(|number| format!("${number:02X} {}", Mid::new(number).name())),
        Service::Control => each(|number| {
            let what = Tid::new(number).control_name().unwrap_or("test");
            format!("${number:02X} {what}, key on and engine off")
        }),
        Service::VehicleInformation => {
            each(|number| format!("${number:02X} {}", InfoType::new(number).name().unwrap_or("item")))
        }
        _ => format!("{} parameters: {}", set.iter().count(), ranges(&set)),
    }
}

/// `$01 $03-$07 $0C`.
fn ranges(set: &SupportMask) -> String {
    let mut runs: Vec<(u8, u8)> = Vec::new();
    for number in set.iter() {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == number => *last = number,
            _ => runs.push((number, number)),
        }
    }
    let say = |&(first, last): &(u8, u8)| match last - first {
        0 => format!("${first:02X}"),
        1 => format!("${first:02X} ${last:02X}"),
        _ => format!("${first:02X}-${last:02X}"),
    };
    runs.iter().map(say).collect::<Vec<_>>().join(" ")
}

/// The parameters that are understood.
pub(super) fn parameters() -> Vec<Item> {
    Pid::definitions()
        .map(|definition| {
            let served: Vec<&str> = [(Service::CurrentData, "$01"), (Service::FreezeFrame, "$02")]
                .into_iter()
                .filter(|&(service, _)| {
                    supported(service, &Served::by(&Calibration::compact_2_0()))
                        .is_some_and(|set| set.contains(definition.pid.number()))
                })
                .map(|(_, number)| number)
                .collect();
            let served = match served[..] {
                [] => "not in this car".to_owned(),
                [one] => format!("in service {one}"),
                _ => format!("in services {}", served.join(" and ")),
            };
            let bytes = match definition.length {
                1 => "1 byte".to_owned(),
                several => format!("{several} bytes"),
            };
            Item::new(
                format!("{} {}", definition.pid, definition.name),
                format!("{served}; {bytes}: {}", fields(definition)),
            )
        })
        .collect()
}

fn fields(definition: &Definition) -> String {
    let say = |field: &Field| {
        let values = values(&field.kind);
        match field.name {
            "" => values,
            name => format!("{name} {values}"),
        }
    };
    definition.fields.iter().map(say).collect::<Vec<_>>().join(", ")
}

fn values(kind: &Kind) -> String {
    let range = |scaling: &Scaling| {
        let end = |value| Value::Number(value, *scaling).to_string();
        format!("{} to {}", end(scaling.lowest()), end(scaling.highest()))
    };
    match kind {
        Kind::Number(scaling) => range(scaling),
        Kind::NumberOrAbsent(scaling) => format!("{} or not used", range(scaling)),
        Kind::Choice(names) => format!("one of {} named values", names.len()),
        Kind::Flag => "on or off".to_owned(),
        Kind::Code => "a trouble code or none".to_owned(),
        Kind::Readiness => "monitor groups, supported and complete".to_owned(),
        Kind::SensorPlaces(_) => "places of oxygen sensors".to_owned(),
        Kind::Bits => "bits".to_owned(),
        Kind::Mask => "a mask".to_owned(),
    }
}
