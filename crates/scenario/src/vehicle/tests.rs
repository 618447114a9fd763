use twotrip_ecu::{Averaging, Calibration};
use twotrip_vehicle::Specification;

use super::*;

const COMPACT: &str = SHIPPED[0].text;

#[test]
fn every_file_of_the_folder_is_shipped_and_good() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../scenarios/vehicles");
    let mut files: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned())
        .collect();
    files.sort();
    let mut names = SHIPPED.map(|shipped| shipped.name);
    names.sort_unstable();
    assert_eq!(files, names);
    for shipped in SHIPPED {
        let model = VehicleModel::parse(shipped.text.as_bytes());
        let model = model.unwrap_or_else(|problems| panic!("{}: {problems:?}", shipped.name));
        assert!(model.specification().is_buildable(), "{}", shipped.name);
        assert!(model.ecu(model.regulation()).is_ok());
        assert!(VehicleModel::is_meant(shipped.text.as_bytes()));
    }
    let vins: Vec<_> = SHIPPED
        .iter()
        .map(|shipped| find(shipped.name).unwrap().vin)
        .collect();
    assert!(
        vins.iter()
            .all(|vin| vins.iter().filter(|&other| other == vin).count() == 1)
    );
}

/// What code calls the compact car is what its file says.
#[test]
fn the_compact_car_is_what_its_file_says() {
    let model = find("compact-2.0").unwrap();
    let (built, told) = (Specification::compact_2_0(), Calibration::compact_2_0());
    assert_eq!(*model.specification(), built);
    assert_eq!(*model.calibration(), told);
    assert_eq!(model.vin, Identity::VIN);
}

/// A problem of a compact car in whose file a line was changed: its place, and what it says.
fn problems(line: &str, by: &str) -> Vec<(String, String)> {
    assert!(COMPACT.contains(line), "{line}");
    let text = COMPACT.replace(line, by);
    let problems = VehicleModel::parse(text.as_bytes()).expect_err(by);
    problems
        .iter()
        .map(|problem| (text[problem.span()].to_owned(), problem.to_string()))
        .collect()
}

#[test]
fn everything_that_is_wrong_is_found_at_its_place() {
    for (line, by, place, says) in [
        ("\"1.998 l\"", "\"1.998\"", "", "the unit is missing"),
        (
            "\"1.998 l\"",
            "\"1.998 kg\"",
            "kg",
            "`kg` is no unit of displacement",
        ),
        (
            "\"1.998 l\"",
            "\"big\"",
            "big",
            "displacement begins with a number, not with `big`",
        ),
        (
            "\"1.998 l\"",
            "\"9 l\"",
            "9 l",
            "displacement `9 l` is out of range",
        ),
        (
            "\"1.998 l\"",
            "2",
            "2",
            "a string is expected, not a whole number",
        ),
        (
            "[1, 3, 4, 2]",
            "[1, 3, 4, 4]",
            "4",
            "firing-order `4` is out of range",
        ),
        (
            "[1, 3, 4, 2]",
            "[1, 3, 5, 2]",
            "[1, 3, 5, 2]",
            "firing-order `[1, 3, 5, 2]` is out of range",
        ),
        (
            "[1, 3, 4, 2]",
            "[1, 3, 4, 2]\nbank-2 = [1, 3]",
            "[1, 3]",
            "bank-2 `[1, 3]` is out of range",
        ),
        (
            "[1, 3, 4, 2]",
            "[1, 3, 4, 2]\nbank-2 = [4]",
            "[4]",
            "bank-2 `[4]` is out of range",
        ),
        (
            "\"narrow-band\"",
            "\"wide\"",
            "wide",
            "unknown front sensor `wide`",
        ),
        (
            "[115.7, 1.99, 0.3895]",
            "[115.7, 1.99]",
            "[115.7, 1.99]",
            "road-load `[115.7, 1.99]` is out of range",
        ),
        ("3.40", "34", "34", "final-drive `34` is out of range"),
        (
            "0TW00TRP3A0000042",
            "0TW00TRP4A0000042",
            "4",
            "vin `4` is out of range",
        ),
        (
            "TWOTRIP-ENG-",
            "twotrip",
            "twotrip",
            "calibration `twotrip` is out of range",
        ),
        ("tank = \"50 l\"", "tonk = \"50 l\"", "tonk", "unknown key `tonk`"),
        ("[body]", "[bodi]", "bodi", "unknown key `bodi`"),
        ("mass = \"1417 kg\"\n", "", "body", "the key `mass` is missing"),
        (
            "version = 1",
            "version = 2",
            "2",
            "format version `2` cannot be read",
        ),
    ] {
        let found = problems(line, by);
        assert_eq!(found, [(place.to_owned(), says.to_owned())], "{by}");
    }
}

/// A text in other units is the same car.
#[test]
fn units_of_the_trade_are_read() {
    let text = COMPACT
        .replace("\"1.998 l\"", "\"1998 cm3\"")
        .replace("\"55 mm\"", "\"2.16535433 in\"")
        .replace("\"50 l\"", "\"13.2086 gal\"");
    let model = VehicleModel::parse(text.as_bytes()).unwrap();
    let (read, compact) = (model.specification(), Specification::compact_2_0());
    assert!((read.displacement.litres() - 1.998).abs() < 1e-9);
    assert!((read.throttle_bore.metres() - compact.throttle_bore.metres()).abs() < 1e-6);
    assert!((read.tank.litres() - 50.0).abs() < 1e-3);
}

/// Which results are averaged: as usual, but for what the file says.
#[test]
fn averaging_is_a_setting() {
    let averaging = |text: &str| {
        let text = format!("{COMPACT}{text}");
        VehicleModel::parse(text.as_bytes())
            .map(|model| model.calibration().averaging)
            .map_err(|problems| {
                problems
                    .iter()
                    .map(ToString::to_string)
                    .collect::<Vec<_>>()
                    .join("; ")
            })
    };
    let usual = Averaging::USUAL;
    assert_eq!(averaging(""), Ok(usual));
    assert_eq!(averaging("[averaging]\n"), Ok(usual));
    for (key, changed) in [
        (
            "engine-off-leak = false",
            Averaging {
                engine_off_leak: false,
                ..usual
            },
        ),
        ("leak = true", Averaging { leak: true, ..usual }),
        (
            "catalyst = true",
            Averaging {
                catalyst: true,
                ..usual
            },
        ),
        (
            "front-sensor = true",
            Averaging {
                front_sensor: true,
                ..usual
            },
        ),
        (
            "egr-flow = true",
            Averaging {
                egr_flow: true,
                ..usual
            },
        ),
    ] {
        assert_eq!(averaging(&format!("[averaging]\n{key}\n")), Ok(changed));
    }
    assert_eq!(
        averaging("[averaging]\ncatalyst = 3\n").expect_err("it is no flag"),
        "true or false is expected, not a whole number"
    );
    assert_eq!(
        averaging("[averaging]\ncatalist = true\n").expect_err("no such key"),
        "unknown key `catalist`"
    );
}

/// Codes of the maker's own: with and without a meaning, beside a code of the standard or by hand only.
#[test]
fn makers_may_have_codes_of_their_own() {
    let model = find("sedan-v6").unwrap();
    assert_eq!(
        model.meaning("P1690".parse().unwrap()),
        Some(Some("controller asks for service"))
    );
    assert_eq!(model.meaning("P1431".parse().unwrap()), Some(None));
    assert_eq!(model.meaning("P1999".parse().unwrap()), None);
    let ecu = model.ecu(model.regulation()).unwrap();
    let beside: Vec<String> = ecu
        .companions
        .iter()
        .map(|own| format!("{} {}", own.dtc, own.with))
        .collect();
    assert_eq!(beside, ["P1455 P0455", "P1431 P0430"]);
    let codes = |text: &str| {
        let text = format!("{COMPACT}{text}");
        match VehicleModel::parse(text.as_bytes()) {
            Ok(_) => String::new(),
            Err(problems) => problems
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>()
                .join("; "),
        }
    };
    let own = "[[maker-code]]\ncode = 'P1234'\n";
    assert_eq!(codes(own), "");
    assert_eq!(codes(&format!("{own}{own}")), "code `P1234` is out of range");
    assert_eq!(
        codes("[[maker-code]]\ncode = 'P0455'\n"),
        "code `P0455` is out of range"
    );
    assert_eq!(
        codes(&format!("{own}with = 'P0999'\n")),
        "with `P0999` is out of range"
    );
    assert_eq!(codes(&format!("{own}with = 'P0455'\n")), "");
    assert_eq!(codes(&own.repeat(17)), "too many codes of the maker's own");
}
