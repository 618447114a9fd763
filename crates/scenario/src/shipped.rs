//! The scenarios built into the program, found by name.

use crate::problem;

/// A scenario that comes with the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shipped {
    /// The name on the command line: that of the file, without `.toml`.
    pub name: &'static str,
    /// The file.
    pub text: &'static str,
}

/// Builds files of `scenarios/` in, by their names.
macro_rules! shipped {
    ($($name:literal,)*) => {
        /// All of them, in the order in which a newcomer meets them.
        pub static ALL: &[Shipped] = &[$(Shipped {
            name: $name,
            text: include_str!(concat!("../../../scenarios/", $name, ".toml")),
        },)*];
    };
}

shipped! {
    "loose-fuel-cap",
    "fuel-cap-missing",
    "fuel-cap-worn-seal",
    "filler-neck-leak",
    "very-small-leak",
    "vent-valve-stuck-open",
    "vent-filter-blocked",
    "vent-valve-stuck-shut",
    "purge-valve-stuck-open",
    "purge-valve-stuck-shut",
    "purge-line-blocked",
    "tank-pressure-sensor-low",
    "tank-pressure-sensor-high",
    "european-tank-pressure-sensor",
    "coolant-sensor-open",
    "coolant-sensor-dead",
    "coolant-sensor-short",
    "coolant-sensor-cold",
    "coolant-sensor-warm",
    "coolant-sensor-sluggish",
    "coolant-plug-corroded",
    "thermostat-stuck-open",
    "intake-air-sensor-short",
    "intake-air-sensor-open",
    "intake-air-sensor-stuck",
    "air-meter-open",
    "air-meter-short",
    "manifold-pressure-sensor-high",
    "throttle-sensor-open",
    "throttle-sensor-short",
    "throttle-sensor-corroded",
    "split-vacuum-hose",
    "torn-crankcase-hose",
    "dirty-air-meter",
    "torn-air-duct",
    "manifold-pressure-hose-off",
    "manifold-pressure-port-blocked",
    "dirty-throttle",
    "worn-throttle-track",
    "restricted-exhaust",
    "fuel-level-sensor-open",
    "fuel-level-sensor-short",
    "fuel-level-sender-stuck",
    "egr-passage-blocked",
    "egr-valve-seized",
    "egr-valve-leaking",
    "cam-phaser-slow",
    "cam-phaser-stuck",
    "cam-valve-plug-corroded",
    "oil-strainer-blocked",
    "front-oxygen-sensor-lazy",
    "front-oxygen-sensor-stuck-lean",
    "front-oxygen-sensor-stuck-rich",
    "front-oxygen-wire-chafed",
    "front-oxygen-sensor-heater",
    "rear-oxygen-sensor-slow",
    "rear-oxygen-sensor-dead",
    "rear-oxygen-sensor-stuck",
    "rear-oxygen-sensor-heater",
    "exhaust-joint-leak",
    "catalyst-aged",
    "catalyst-melted",
    "second-bank-catalyst",
    "second-bank-front-sensor",
    "second-bank-exhaust-leak",
    "second-bank-cam-phaser",
    "wide-range-sensor-heater",
    "fuel-pressure-low",
    "fuel-pump-weak",
    "fuel-filter-blocked",
    "rail-pressure-sensor-low",
    "fuel-return-pinched",
    "injector-leaking",
    "exhaust-manifold-leak",
    "alternator-dead",
    "alternator-weak",
    "alternator-overcharging",
    "drive-belt-slipping",
    "charging-cable-corroded",
    "vehicle-speed-sensor-dead",
    "vehicle-speed-wire-loose",
    "gearbox-controller-no-supply",
    "gearbox-controller-loose-plug",
    "gearbox-clutch-slipping",
    "gearbox-fluid-low",
    "shift-valve-stuck",
    "converter-clutch-worn",
    "turbine-speed-sensor-dead",
    "keep-alive-supply-broken",
    "data-bus-terminator-off",
    "sensor-supply-dragged-down",
    "tank-pressure-wire-intermittent",
    "worn-spark-plug",
    "dead-coil",
    "hot-coil",
    "coil-under-load",
    "open-coil",
    "coil-plug-wet",
    "stale-fuel",
    "worn-spark-plugs",
    "clogged-injector",
    "burnt-valve",
    "healthy",
    "codes-on-demand",
    "several-ecus",
    "first-visit",
}

/// The shipped scenario of that name.
#[must_use]
pub fn find(name: &str) -> Option<Shipped> {
    ALL.iter().copied().find(|shipped| shipped.name == name)
}

/// The name of a shipped scenario that is nearest to this one, if one is near.
#[must_use]
pub fn nearest(name: &str) -> Option<&'static str> {
    problem::nearest(name, ALL.iter().map(|shipped| shipped.name))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Phrase, Scenario};

    #[test]
    fn every_shipped_scenario_passes_its_own_check() {
        for shipped in ALL {
            let scenario = Scenario::parse(shipped.text.as_bytes());
            let scenario = scenario.unwrap_or_else(|problems| panic!("{}: {problems:?}", shipped.name));
            assert!(
                scenario
                    .story()
                    .iter()
                    .chain(scenario.expectations())
                    .any(|phrase| matches!(phrase.value, Phrase::Expect(_))),
                "{}",
                shipped.name
            );
            assert!(scenario.repair_order().is_some(), "{}", shipped.name);
        }
    }

    /// A tester finds the car as a mechanic would: ignition on, engine not running, so that it may clear.
    #[test]
    fn every_story_ends_with_the_key_on_and_the_engine_off() {
        for shipped in ALL {
            let scenario = Scenario::parse(shipped.text.as_bytes()).unwrap();
            let mut key_and_engine = scenario
                .story()
                .iter()
                .map(|phrase| &phrase.value)
                .filter(|phrase| {
                    matches!(
                        phrase,
                        Phrase::KeyOn
                            | Phrase::KeyOff
                            | Phrase::Start
                            | Phrase::Stop
                            | Phrase::Drive(_)
                            | Phrase::Soak(_)
                    )
                });
            assert_eq!(
                key_and_engine.next_back(),
                Some(&Phrase::KeyOn),
                "{}",
                shipped.name
            );
        }
    }

    #[test]
    fn every_file_of_the_folder_is_shipped() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../scenarios");
        let mut files: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
            .map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned())
            .collect();
        files.sort();
        let mut names: Vec<&str> = ALL.iter().map(|shipped| shipped.name).collect();
        names.sort_unstable();
        assert_eq!(files, names);
    }

    #[test]
    fn a_name_is_found_or_its_nearest_is() {
        assert_eq!(find("healthy").map(|shipped| shipped.name), Some("healthy"));
        assert_eq!(find("loose-fule-cap"), None);
        assert_eq!(nearest("loose-fule-cap"), Some("loose-fuel-cap"));
        assert_eq!(nearest("engine-fire"), None);
    }
}
