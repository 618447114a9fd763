//! A car on the embedded bus: run, scan, tell, signals.

use crate::support::{Car, PROVING_DRIVE, bus, run};

/// The loop through the commands, as the README has it.
#[test]
fn read_repair_clear_drive_and_read_again() {
    let bus = bus();
    let _car = Car::start(&["run", "loose-fuel-cap", "--bus", &bus]);
    let scan = |what: &str| run(&["scan", what, "--bus", &bus]).expect(0);
    scan("codes").says("P0455");
    scan("permanent").says("P0455");
    scan("freeze-frame").says("P0455");
    scan("tests").says("at most -2000 Pa").says("failed");
    run(&["tell", "inspect fuel-cap", "tighten fuel-cap"])
        .expect(0)
        .says("cured");
    scan("clear");
    scan("codes").says("no confirmed code");
    scan("permanent").says("P0455");
    scan("tests").says("not run since clear");
    run(&PROVING_DRIVE).expect(0);
    scan("codes").says("no confirmed code");
    scan("pending").says("no pending code");
    scan("permanent").says("no permanent code");
    scan("readiness").says("evap");
    let tests = run(&["scan", "tests", "--bus", &bus, "--json"]).expect(0);
    let results = &tests.json_lines()[0]["tests"];
    let hole = results
        .as_array()
        .and_then(|results| results.iter().find(|result| result["tid"] == "$81"))
        .unwrap_or_else(|| panic!("no hole is reported: {}", tests.tale()));
    assert_eq!(
        (&hole["mid"], &hole["state"], &hole["unit"]),
        (&"$3B".into(), &"passed".into(), &"in".into()),
        "{}",
        tests.tale()
    );
    assert!(
        hole["value"].as_f64() < hole["maximum"].as_f64(),
        "{}",
        tests.tale()
    );
    let readiness = run(&["scan", "readiness", "--bus", &bus, "--json"]).expect(0);
    let line = &readiness.json_lines()[0];
    assert_eq!(line["groups"]["evap"], "complete", "{}", readiness.tale());
    assert_eq!(line["mil_commanded"], false, "{}", readiness.tale());
}

/// Before the repair, after the clear, and after the drive, by the rules of three programmes.
#[test]
fn an_inspection_is_passed_after_the_repair_is_proven() {
    let bus = bus();
    let _car = Car::start(&["run", "loose-fuel-cap", "--bus", &bus]);
    let judge = |profile: &str, more: &[&str], code| {
        let args = ["scan", "readiness", "--profile", profile, "--bus", &bus, "--json"];
        let output = run(&[&args[..], more].concat()).expect(code);
        let lines = output.json_lines();
        assert_eq!(lines[0]["found"], "readiness", "{}", output.tale());
        lines[1].clone()
    };
    for profile in ["EPA", "CA", "NY"] {
        let verdict = judge(profile, &[], 1);
        assert_eq!(
            (&verdict["result"], &verdict["model_year"]),
            (&"fail".into(), &2010.into())
        );
        assert_eq!(verdict["reasons"][0], "the lamp is commanded on");
        assert!(
            verdict["caution"]
                .as_str()
                .is_some_and(|text| text.contains("local law"))
        );
    }
    run(&["tell", "tighten fuel-cap"]).expect(0);
    run(&["scan", "clear", "--bus", &bus]).expect(0);
    let verdict = judge("EPA", &[], 1);
    assert_eq!(verdict["result"], "not ready");
    let missing = verdict["reasons"][0].as_str().unwrap_or_default();
    assert!(
        missing.starts_with("monitors not complete: ") && missing.contains(" evap "),
        "{missing}"
    );
    // A warm drive completes all but evap, which wants a cold start.
    run(&["tell", "drive udds", "drive hwfet", "soak 10 min", "key on"]).expect(0);
    // One monitor may be incomplete, and California allows evap; the permanent code it does not, from 2010 on.
    assert_eq!(judge("EPA", &[], 0)["result"], "pass");
    let verdict = judge("CA", &[], 1);
    assert_eq!(verdict["reasons"][0], "permanent codes: P0455");
    assert_eq!(judge("CA", &["--model-year", "2009"], 0)["result"], "pass");
    let seen = ["--lamp-key-on", "lit", "--lamp-running", "blinking"];
    assert_eq!(
        judge("ny", &seen, 1)["reasons"][0],
        "the lamp is lit with the engine running"
    );
    run(&PROVING_DRIVE).expect(0);
    assert_eq!(judge("CA", &[], 0)["reasons"].as_array().map(Vec::len), Some(0));
    let misplaced = ["scan", "codes", "--profile", "EPA", "--bus", &bus];
    run(&misplaced).expect(2).complains("scan readiness");
    let old = [
        "scan",
        "readiness",
        "--profile",
        "EPA",
        "--model-year",
        "1995",
        "--bus",
        &bus,
    ];
    run(&old).expect(2).complains("before 1996");
}

#[test]
fn without_the_repair_the_code_comes_back() {
    let bus = bus();
    let control = tempfile::tempdir().expect("a temporary folder can be made");
    let path = control.path().join("control");
    let path = path.to_str().expect("the path is UTF-8");
    let _car = Car::start(&["run", "loose-fuel-cap", "--bus", &bus, "--control", path]);
    run(&["scan", "clear", "--bus", &bus]).expect(0);
    let drive = ["soak 9 h", "drive udds", "drive hwfet", "soak 1 h", "key on"];
    let tell = |phrases: &[&str]| run(&[&["tell", "--control", path], phrases].concat());
    tell(&drive).expect(0);
    run(&["scan", "pending", "--bus", &bus]).expect(0).says("P0455");
    tell(&drive).expect(0);
    run(&["scan", "codes", "--bus", &bus]).expect(0).says("P0455");
    tell(&["expect no confirmed"]).expect(1).says("P0455");
}

#[test]
fn an_interrupt_ends_the_car_cleanly() {
    for signal in ["-INT", "-TERM"] {
        let car = Car::start(&["run", "healthy", "--bus", &bus()]);
        let (code, _, stderr) = car.stop(signal);
        assert_eq!(code, Some(0), "{signal}: {stderr}");
        assert!(stderr.contains("stopped"), "{stderr}");
    }
}

#[test]
fn a_car_whose_key_is_off_is_silent() {
    let bus = bus();
    let control = tempfile::tempdir().expect("a temporary folder can be made");
    let path = control.path().join("control");
    let path = path.to_str().expect("the path is UTF-8");
    let _car = Car::start(&["run", "healthy", "--bus", &bus, "--control", path]);
    run(&["tell", "--control", path, "key on"]).expect(0);
    run(&["scan", "codes", "--bus", &bus]).expect(0);
    run(&["tell", "--control", path, "key off"]).expect(0);
    run(&["scan", "codes", "--bus", &bus])
        .expect(3)
        .complains("no ECU answers");
}

#[test]
fn preloaded_codes_are_marked_as_not_physical() {
    let bus = bus();
    let car = Car::start(&["run", "codes-on-demand", "--bus", &bus, "--json"]);
    assert!(car.ready.contains("\"not_physical\":true"), "{}", car.ready);
    let ran = run(&["scan", "codes", "--bus", &bus, "--json"]).expect(0);
    assert!(
        !ran.json_lines()[0]["codes"]
            .as_array()
            .expect("codes are a list")
            .is_empty(),
        "{}",
        ran.tale()
    );
    let (code, stdout, _) = car.stop("-INT");
    assert_eq!(code, Some(0));
    assert!(stdout.contains("\"not_physical\":true"), "{stdout}");
}

#[test]
fn everything_can_be_scanned_at_once() {
    let bus = bus();
    let _car = Car::start(&["run", "loose-fuel-cap", "--bus", &bus]);
    let ran = run(&["scan", "all", "--bus", &bus])
        .expect(0)
        .says("P0455")
        .says("0TW00TRP3A0000042")
        .says("rpm");
    for line in ran.stdout.lines() {
        assert!(
            line.chars().count() <= 80,
            "{} columns: {line}",
            line.chars().count()
        );
    }
    run(&["scan", "vehicle", "--bus", &bus, "--json"])
        .expect(0)
        .says("0TW00TRP3A0000042");
    run(&["scan", "live", "--bus", &bus, "--json"])
        .expect(0)
        .says("engine");
}

#[test]
fn a_run_ends_by_itself_after_its_time() {
    let ran = run(&["run", "healthy", "--bus", &bus(), "--for", "300ms"])
        .expect(0)
        .complains("time over");
    assert!(ran.stdout.starts_with("ready"), "{}", ran.tale());
}

#[test]
fn a_run_ends_with_its_frames_counted() {
    let bus = bus();
    let car = Car::start(&["run", "codes-on-demand", "--bus", &bus, "--json"]);
    let times = run(&["scan", "codes", "--bus", &bus, "--times", "--json"]).expect(0);
    let times = times.json_lines().pop().expect("a last line");
    assert_eq!(times["found"], "times");
    let (least, greatest) = (times["least_ms"].as_f64(), times["greatest_ms"].as_f64());
    assert!(least > Some(0.0) && least <= greatest, "{times}");
    let (code, said, _) = car.stop("-INT");
    assert_eq!(code, Some(0));
    let end: serde_json::Value = serde_json::from_str(said.lines().last().expect("an end")).expect("JSON");
    let count = |name: &str| end["bus"][name].as_u64();
    assert!(
        count("received") >= end["requests"].as_u64() && count("sent") >= times["answers"].as_u64(),
        "{end}"
    );
    assert_eq!(
        (count("given_up"), count("error_frames")),
        (Some(0), Some(0)),
        "{end}"
    );
    assert!(
        end["bus"]["dropped_by_kernel"].is_null(),
        "no kernel counts here: {end}"
    );
}

#[test]
fn the_clear_is_refused_with_the_engine_running() {
    let bus = bus();
    let control = tempfile::tempdir().expect("a temporary folder can be made");
    let path = control.path().join("control");
    let path = path.to_str().expect("the path is UTF-8");
    let _car = Car::start(&["run", "loose-fuel-cap", "--bus", &bus, "--control", path]);
    run(&["tell", "--control", path, "start"])
        .expect(0)
        .says("the engine runs");
    run(&["scan", "clear", "--bus", &bus])
        .expect(1)
        .says("conditions not correct");
    run(&["scan", "codes", "--bus", &bus]).expect(0).says("P0455");
}

/// Whoever answers on 29 bits only is found, with all its ECUs; each has its own codes, and its own name.
#[test]
fn a_scan_finds_the_ecus_of_a_car_on_29_bits() {
    let bus = bus();
    let folder = tempfile::tempdir().expect("a folder");
    let vehicle = folder.path().join("three.toml");
    let compact = include_str!("../../scenarios/vehicles/compact-2.0.toml");
    let ecus = "[[ecu]]\nrole = 'engine'\n[[ecu]]\nrole = 'transmission'\n[[ecu]]\nrole = 'listed'\nacronym = 'ABS'\n\
                name = 'AntilockBrake'\ncalibration = 'BRAKES-1'\naddress = '28'\nconfirmed = 'C0035'\n";
    std::fs::write(&vehicle, format!("{compact}\n{ecus}")).expect("it can be written");
    let vehicle = vehicle.to_str().expect("a path");
    let mut car = Car::start(&[
        "run",
        "codes-on-demand",
        "--vehicle",
        vehicle,
        "--identifiers",
        "29-bit",
        "--bit-rate",
        "250",
        "--bus",
        &bus,
        "--json",
    ]);
    let ready: serde_json::Value = serde_json::from_str(&car.ready).expect("a line of JSON");
    let names: Vec<_> = ["ECM", "TCM", "ABS"].into_iter().zip([0, 1, 2]).collect();
    for (name, place) in names {
        assert_eq!(ready["ecus"][place]["name"], name, "{ready}");
    }
    assert_eq!(ready["ecus"][2]["request"], "18DA28F1", "{ready}");
    assert_eq!(ready["not_physical"], true, "{ready}");
    let codes = |what: &str| {
        let lines = run(&["scan", what, "--bus", &bus, "--json"])
            .expect(0)
            .json_lines();
        let found = lines.iter().filter(|line| line["found"] == "codes");
        found
            .map(|line| {
                let count = line["codes"].as_array().map_or(0, Vec::len);
                (line["ecu"].as_str().unwrap_or_default().to_owned(), count)
            })
            .collect::<Vec<_>>()
    };
    let each = |counts: [usize; 3]| {
        let ids = ["18DAF110", "18DAF118", "18DAF128"].map(String::from);
        ids.into_iter().zip(counts).collect::<Vec<_>>()
    };
    assert_eq!(codes("codes"), each([2, 0, 1]));
    run(&["scan", "clear", "--bus", &bus]).expect(0).says("18DAF128");
    assert_eq!(codes("codes"), each([0, 0, 0]));
    run(&["scan", "readiness", "--bus", &bus])
        .expect(0)
        .says("no monitors");
    run(&["tell", "preload pending P0741 in transmission"])
        .expect(0)
        .says("in transmission (not physical)");
    assert_eq!(codes("pending"), each([0, 1, 0]));
    car.kill();
    let told: Vec<serde_json::Value> = car
        .rest()
        .lines()
        .map(|line| serde_json::from_str(line).expect("a line of JSON"))
        .filter(|line: &serde_json::Value| line["event"] == "memory")
        .collect();
    for (text, ecu, response) in [
        ("codes, freeze frame and readiness cleared", "ECM", "18DAF110"),
        ("codes, freeze frame and readiness cleared", "TCM", "18DAF118"),
        ("codes, freeze frame and readiness cleared", "ABS", "18DAF128"),
        ("the monitor fails: P0741 pending", "TCM", "18DAF118"),
    ] {
        let is = |line: &&serde_json::Value| {
            (&line["text"], &line["ecu"], &line["response"]) == (&text.into(), &ecu.into(), &response.into())
        };
        assert_eq!(told.iter().filter(is).count(), 1, "{text}, {ecu}: {told:#?}");
    }
}
