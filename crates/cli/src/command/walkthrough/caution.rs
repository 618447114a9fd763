//! What a technician minds before a hand goes to a part or its wire. Common practice, no source.

use twotrip_scenario::Phrase;

/// Beginnings of the names of parts and wires, and what to mind there.
const CAUTIONS: &[(&[&str], &str)] = &[
    (
        &[
            "fuel-pump",
            "fuel-filter",
            "fuel-return",
            "pressure-regulator",
            "fuel-injector",
            "rail-pressure-sensor",
            "injector-",
        ],
        "the fuel rail keeps its pressure with the engine off: let it go first, with goggles and a rag, and have nothing \
         near that sparks or glows.",
    ),
    (
        &[
            "fuel-cap",
            "filler-neck",
            "purge-",
            "vapour-hose",
            "vent-",
            "tank-pressure-sensor",
            "fuel-level-sensor",
        ],
        "fuel vapour burns: open slowly, in fresh air, with nothing near that sparks or glows.",
    ),
    (
        &["coolant-sensor", "thermostat"],
        "hot coolant stands under pressure and scalds: let the engine cool down before its circuit is opened. The \
         radiator fan may start at any time.",
    ),
    (
        &["spark-plug", "coil-"],
        "the ignition carries tens of kilovolts: key off before a hand goes to coil or plug, and nothing pulled off a \
         running engine.",
    ),
    (
        &[
            "front-oxygen-",
            "rear-oxygen-",
            "catalyst",
            "exhaust-manifold",
            "exhaust-joint",
            "egr-",
        ],
        "the exhaust burns skin for an hour after a drive, the catalyst for longer: let it cool down. Its gas is poison: \
         draw it off indoors.",
    ),
    (
        &["battery", "alternator", "charging-cable", "keep-alive-supply"],
        "a battery gives off gas that explodes and holds acid: goggles, no sparks, its ground off first and on last. \
         The cable to the alternator is live with the key off.",
    ),
    (
        &["drive-belt"],
        "engine off and key out before a hand goes near the belt.",
    ),
    (
        &["throttle"],
        "with the key on the throttle plate can snap shut: no finger in it before the key is off.",
    ),
];

fn of(name: &str) -> Option<&'static str> {
    match name {
        // The whole of what the others are parts of.
        "exhaust" => of("exhaust-joint"),
        "fuel" => of("fuel-cap"),
        _ => CAUTIONS
            .iter()
            .find(|(names, _)| names.iter().any(|listed| name.starts_with(listed)))
            .map(|(_, caution)| *caution),
    }
}

/// What to mind at this work, each thing once.
pub(super) fn all(work: &[Phrase]) -> Vec<&'static str> {
    let mut told = Vec::new();
    let names = work.iter().filter_map(|phrase| match phrase {
        Phrase::Work(_, part) => Some(part.name()),
        Phrase::MendWire(wire) => Some(wire.name()),
        _ => None,
    });
    for caution in names.filter_map(of) {
        if !told.contains(&caution) {
            told.push(caution);
        }
    }
    told
}

#[cfg(test)]
mod tests {
    use twotrip_vehicle::defect::Part;

    use super::*;

    #[test]
    fn what_can_hurt_is_said() {
        for (name, word) in [
            ("fuel-cap", "vapour"),
            ("fuel", "vapour"),
            ("fuel-pump", "pressure"),
            ("injector-3", "pressure"),
            ("thermostat", "scalds"),
            ("spark-plugs", "kilovolts"),
            ("coil-6", "kilovolts"),
            ("rear-oxygen-heater-2", "burns skin"),
            ("exhaust", "poison"),
            ("battery", "acid"),
            ("drive-belt", "key out"),
            ("throttle-sensor-a", "snap"),
        ] {
            assert!(of(name).is_some_and(|text| text.contains(word)), "{name}");
        }
        assert_eq!(of("air-meter"), None);
    }

    #[test]
    fn every_name_is_the_beginning_of_a_part_s() {
        for listed in CAUTIONS.iter().flat_map(|(names, _)| *names) {
            assert!(
                Part::ALL.iter().any(|part| part.name().starts_with(listed)),
                "{listed}"
            );
        }
    }
}
