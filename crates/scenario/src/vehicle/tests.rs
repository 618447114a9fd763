use twotrip_ecu::{Averaging, Calibration};
use twotrip_obd::{Dialect, Service};
use twotrip_vehicle::Specification;

use super::{
    ecus::{BusEntry, EcuEntry, Identifiers, Role},
    *,
};

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
            "version = 1\nprotocol = \"j1979-3\"",
            "j1979-3",
            "unknown protocol `j1979-3`",
        ),
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

/// The dialect is a setting of the file; the rest of the shipped car that has the other one is the compact car.
#[test]
fn the_dialect_is_a_setting() {
    for (name, dialect) in [
        ("compact-2.0", Dialect::Classic),
        ("compact-on-uds", Dialect::OnUds),
    ] {
        let model = find(name).unwrap();
        assert_eq!(model.dialect(), dialect);
        assert_eq!(model.ecu(model.regulation()).unwrap().dialect, dialect);
        assert_eq!(*model.specification(), Specification::compact_2_0());
        assert_eq!(*model.calibration(), Calibration::compact_2_0());
        assert_eq!(
            model.transmission(model.regulation()).map(|ecu| ecu.dialect),
            None
        );
    }
    let two = find("compact-on-uds-transmission").unwrap();
    let transmission = two.transmission(two.regulation()).unwrap();
    assert_eq!(
        (two.dialect(), transmission.dialect),
        (Dialect::OnUds, Dialect::OnUds)
    );
    for dialect in Dialect::ALL {
        let text = format!("protocol = \"{}\"\n{COMPACT}", dialect.name());
        assert_eq!(VehicleModel::parse(text.as_bytes()).unwrap().dialect(), dialect);
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

/// What comes of a compact car in whose file something more stands: what is wrong, at which place.
fn with(more: &str) -> Result<VehicleModel, Vec<(String, String)>> {
    let text = format!("{COMPACT}\n{more}");
    VehicleModel::parse(text.as_bytes()).map_err(|problems| {
        problems
            .iter()
            .map(|problem| (text[problem.span()].to_owned(), problem.to_string()))
            .collect()
    })
}

const BODY: &str = "[[ecu]]\nrole = 'engine'\n[[ecu]]\nrole = 'listed'\nacronym = 'BCM'\nname = 'BodyControl'\n\
                    calibration = 'BODY-1'\n";

#[test]
fn a_car_has_the_engine_ecu_alone_and_11_bits_unless_its_file_says_otherwise() {
    let model = with("").unwrap();
    assert_eq!(model.ecus(), [EcuEntry::engine()]);
    assert_eq!(model.bus(), BusEntry::default());
    let model = with("[bus]\nidentifiers = '29-bit'\nbit-rate = 250\n").unwrap();
    let wanted = BusEntry {
        identifiers: Identifiers::Bits29,
        kbit_per_second: 250,
    };
    assert_eq!(model.bus(), wanted);
}

#[test]
fn listed_ecus_say_what_stands_in_the_file() {
    let model = with(&format!(
        "{BODY}request = '7E4'\naddress = '2A'\nreply-delay = '5 ms'\njitter = '2.5 ms'\nservices = '01 03 09'\n\
         data = '''\n42 13.8 V  # supply\n46 -7 C\n51 hex 01\n24 0.5, 2.5 V\nF0 hex 0A 0B\n'''\n\
         confirmed = 'U0100 B1234'\npermanent = 'U0100'\n[[ecu]]\nrole = 'listed'\nacronym = 'ABS'\nname = 'x'\n\
         calibration = 'B'\n"
    ))
    .unwrap();
    let [_, body, brakes] = model.ecus() else {
        panic!("three")
    };
    assert_eq!((body.number, body.address), (4, 0x2A));
    assert_eq!(
        (brakes.number, brakes.address),
        (1, 0x40),
        "the next that are free"
    );
    let millis = |millis| core::time::Duration::from_micros(millis);
    assert_eq!(body.reply, Some((millis(5000), millis(7500))));
    assert_eq!(brakes.reply, None);
    assert!(!model.specification().transmission_ecu);
    let Role::Listed(ecu) = &body.role else {
        panic!("listed")
    };
    let listing = ecu.listing();
    assert_eq!(listing.name, *b"BCM\0-BodyControl\0\0\0\0");
    assert_eq!(listing.calibration_id, *b"BODY-1\0\0\0\0\0\0\0\0\0\0");
    assert_eq!(listing.services.len(), 3);
    // The bytes by SAE J1979: 1 mV a bit; 1 degC less 40; as they are; 2/65536 and 8/65536 V a bit.
    let data: Vec<(u8, &[u8])> = listing.data.iter().map(|(pid, data)| (*pid, &data[..])).collect();
    assert_eq!(
        data,
        [
            (0x42, &[0x35, 0xE8][..]),
            (0x46, &[33]),
            (0x51, &[1]),
            (0x24, &[0x40, 0x00, 0x50, 0x00]),
            (0xF0, &[0x0A, 0x0B]),
        ]
    );
    assert_eq!(
        (
            listing.confirmed.len(),
            listing.pending.len(),
            listing.permanent.len()
        ),
        (2, 0, 1)
    );
}

#[test]
fn a_transmission_ecu_commands_the_gearbox() {
    let model = with("[[ecu]]\nrole = 'engine'\n[[ecu]]\nrole = 'transmission'\n").unwrap();
    assert!(model.specification().transmission_ecu);
    assert!(model.transmission(model.regulation()).is_some());
    let [_, transmission] = model.ecus() else {
        panic!("two")
    };
    assert_eq!((transmission.number, transmission.address), (1, 0x18));
    let twice =
        with("[[ecu]]\nrole = 'engine'\n[[ecu]]\nrole = 'transmission'\n[[ecu]]\nrole = 'transmission'\n");
    let says = twice.expect_err("two of them");
    assert_eq!(
        says,
        [(
            "transmission".to_owned(),
            "`transmission` is the role of one ECU only".to_owned()
        )]
    );
}

#[test]
fn what_is_wrong_with_ecus_and_bus_is_found_at_its_place() {
    for (more, place, says) in [
        (
            "[bus]\nidentifiers = '12-bit'\n",
            "12-bit",
            "unknown size of identifiers `12-bit`",
        ),
        ("[bus]\nbit-rate = 125\n", "125", "bit-rate `125` is out of range"),
        ("[[ecu]]\nrole = 'gearbox'\n", "gearbox", "unknown role `gearbox`"),
        (
            "[[ecu]]\nrole = 'listed'\nacronym = 'A'\nname = 'B'\ncalibration = 'C'\n",
            "listed",
            "`listed` is no role for the first ECU, which is the engine's",
        ),
        (
            "[[ecu]]\nrole = 'engine'\n[[ecu]]\nrole = 'engine'\n",
            "engine",
            "`engine` is the role of the first ECU and of no other",
        ),
        (
            "[[ecu]]\nrole = 'engine'\ndata = '42 12 V'\n",
            "42 12 V",
            "`42 12 V` is for listed ECUs",
        ),
        (
            "[[ecu]]\nrole = 'engine'\nrequest = '7E8'\n",
            "7E8",
            "request `7E8` is out of range",
        ),
        (
            "[[ecu]]\nrole = 'engine'\naddress = 'F1'\n",
            "F1",
            "`F1` is the tester's address",
        ),
        (
            "[[ecu]]\nrole = 'engine'\naddress = 'fe'\n",
            "fe",
            "address `fe` is out of range",
        ),
        (
            "[[ecu]]\nrole = 'engine'\nreply-delay = '41 ms'\n",
            "41 ms",
            "reply-delay `41 ms` is out of range",
        ),
        (
            "[[ecu]]\nrole = 'engine'\nreply-delay = '30 ms'\njitter = '11 ms'\n",
            "11 ms",
            "jitter `11 ms` is out of range",
        ),
        (
            "[[ecu]]\nrole = 'engine'\njitter = '11 ms'\n",
            "[[ecu]]",
            "the key `reply-delay` is missing",
        ),
    ] {
        let found = with(more).expect_err(more);
        assert_eq!(found, [(place.to_owned(), says.to_owned())], "{more}");
    }
    for (more, place, says) in [
        ("request = '7E0'", "7E0", "`7E0` is another ECU's identifier"),
        ("address = '10'", "10", "`10` is another ECU's address"),
        ("services = '01 02'", "02", "unknown service `02`"),
        ("services = '01 01'", "01", "unknown service `01`"),
        ("services = ' '", "' '", "services is empty"),
        ("confirmed = 'P04'", "'P04'", "`P04` is not a trouble code"),
        ("data = 'XY 1'", "XY", "unknown parameter `XY`"),
        ("data = '40 1'", "40", "`40` is worked out by the ECU itself"),
        ("data = '01 1'", "01", "`01` is worked out by the ECU itself"),
        (
            "data = '''\n42 12 V\n42 13 V'''",
            "42",
            "`42` has its values above already",
        ),
        ("data = '42 12 C'", "C", "`C` is no unit of module voltage"),
        (
            "data = '42 66 V'",
            "66 V",
            "module voltage `66 V` is out of range",
        ),
        (
            "data = '42 V'",
            "V",
            "module voltage begins with a number, not with `V`",
        ),
        ("data = '42'", "", "the value is missing"),
        ("data = '42 hex 35'", "35", "hex `35` is out of range"),
        ("data = '42 hex 35 XY'", "XY", "unknown byte `XY`"),
        (
            "data = 'F0 12'",
            "12",
            "`12` is no value for this parameter, which has no table here",
        ),
        (
            "data = '51 1'",
            "1",
            "`1` is no value for this parameter, which is not made of numbers",
        ),
    ] {
        let found = with(&format!("{BODY}{more}\n")).expect_err(more);
        assert_eq!(found, [(place.to_owned(), says.to_owned())], "{more}");
    }
    let on_uds = |services: &str| {
        let text = format!("protocol = \"j1979-2\"\n{COMPACT}\n{BODY}services = '{services}'\n");
        VehicleModel::parse(text.as_bytes()).map_err(|problems| problems[0].to_string())
    };
    let model = on_uds("19 22").expect("they speak one dialect");
    let Role::Listed(listed) = &model.ecus()[1].role else {
        panic!("a listed ECU")
    };
    assert_eq!(listed.listing().dialect, Dialect::OnUds);
    assert_eq!(listed.listing().services, [Service::ReadCodes, Service::ReadData]);
    assert_eq!(on_uds("03"), Err("unknown service `03`".to_owned()));
    let none = with("[[ecu]]\nrole = 'engine'\n[[ecu]]\nrole = 'listed'\n").expect_err("no name");
    assert_eq!(none.len(), 3, "{none:?}");
    let many = format!("{BODY}{}", "[[ecu]]\nrole = 'listed'\n".repeat(7));
    let says: Vec<String> = with(&many)
        .expect_err("nine")
        .into_iter()
        .map(|(_, says)| says)
        .collect();
    assert_eq!(says, ["too many ECUs"]);
}
