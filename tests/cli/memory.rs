//! A car whose ECU keeps its memory in a file between runs.

use std::{fs, path::PathBuf};

use tempfile::TempDir;

use crate::support::{Car, PROVING_DRIVE, bus, run, run_command, with_room_for};

fn file() -> (TempDir, PathBuf, String) {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("car.memory");
    let name = path.to_str().expect("UTF-8").to_owned();
    (folder, path, name)
}

/// What a shop sees on the second day: the codes cleared yesterday are gone, the permanent one is not, and the car is
/// the one that the scenario tells of, its cap loose again.
#[test]
fn the_ecu_remembers_and_the_car_is_the_scenarios() {
    let (_folder, _, memory) = file();
    let bus = bus();
    let start = |scenario| Car::start(&["run", scenario, "--bus", &bus, "--memory", &memory]);
    let scan = |what| run(&["scan", what, "--bus", &bus]).expect(0);

    let car = start("loose-fuel-cap");
    assert!(car.ready.contains("with a new memory"), "{}", car.ready);
    scan("codes").says("P0455");
    run(&["tell", "tighten fuel-cap"]).expect(0).says("cured");
    scan("clear");
    drop(car);

    let car = start("loose-fuel-cap");
    assert!(car.ready.contains("with the memory of the file"), "{}", car.ready);
    scan("codes").says("no confirmed code");
    scan("permanent").says("P0455");
    scan("readiness").says("not complete");
    run(&["tell", "inspect fuel-cap"]).expect(0).says("turns by hand");
    // The story's drives led to none of what is stored.
    let why = run(&["tell", "why P0455"]).expect(0).says("memory was put back");
    assert!(!why.stdout.contains("found a fault"), "{}", why.tale());
    drop(car);

    // The same ECU in a car that is sound: the drive proves the repair.
    let _car = start("healthy");
    scan("permanent").says("P0455");
    run(&PROVING_DRIVE).expect(0);
    scan("permanent").says("no permanent code");
}

/// What was filled by hand stays marked, in whatever scenario it turns up.
#[test]
fn a_memory_that_was_filled_by_hand_stays_marked() {
    let (_folder, _, memory) = file();
    let bus = bus();
    let start = |scenario| {
        let car = Car::start(&["run", scenario, "--bus", &bus, "--memory", &memory, "--json"]);
        let ready = car.ready.clone();
        car.stop("-INT");
        ready
    };
    let first = start("healthy");
    assert!(
        first.contains(r#""memory":"new""#) && first.contains(r#""not_physical":false"#),
        "{first}"
    );
    let second = start("codes-on-demand");
    assert!(second.contains(r#""memory":"from-file""#), "{second}");
    let third = start("healthy");
    assert!(third.contains(r#""not_physical":true"#), "{third}");
}

#[test]
fn a_reset_keeps_the_old_memory_beside_the_new() {
    let (_folder, path, memory) = file();
    let bus = bus();
    let arguments = [
        "run",
        "codes-on-demand",
        "--bus",
        &bus,
        "--memory",
        &memory,
        "--for",
        "1ms",
    ];
    run(&arguments).expect(0);
    let first = fs::read_to_string(&path).expect("written");
    assert!(first.contains("P0301"), "{first}");
    let healthy = [
        "run", "healthy", "--bus", &bus, "--memory", &memory, "--for", "1ms",
    ];
    run(&[&healthy[..], &["--reset-memory", "--durable"]].concat())
        .expect(0)
        .says("with a new memory");
    assert!(!fs::read_to_string(&path).expect("written").contains("P0301"));
    assert_eq!(
        fs::read_to_string(path.with_extension("memory.old")).expect("kept"),
        first
    );
}

#[test]
fn a_damaged_file_is_refused_and_left_alone() {
    let (folder, path, memory) = file();
    let bus = bus();
    let arguments = [
        "run", "healthy", "--bus", &bus, "--memory", &memory, "--for", "1ms",
    ];
    run(&arguments).expect(0);
    let mut bytes = fs::read(&path).expect("written");
    bytes.truncate(1000);
    fs::write(&path, &bytes).expect("torn");
    let ran = run(&arguments)
        .expect(2)
        .complains("it is torn: it ends at byte 1000")
        .complains("--reset-memory");
    assert!(!ran.stdout.contains("ready"), "{}", ran.tale());
    assert_eq!(fs::read(&path).expect("there"), bytes);
    assert_eq!(fs::read_dir(folder.path()).expect("folder").count(), 1);
}

#[test]
fn one_file_is_for_one_car() {
    let (_folder, _, memory) = file();
    let _car = Car::start(&["run", "healthy", "--bus", &bus(), "--memory", &memory]);
    run(&["run", "healthy", "--bus", &bus(), "--memory", &memory])
        .expect(3)
        .complains("in use by another car (process `");
    run(&["run", "healthy", "--bus", &bus(), "--durable"])
        .expect(2)
        .complains("--memory");
}

/// At the start it is an error; later the car says so, and tells nobody what the file does not hold.
#[test]
fn nothing_is_told_that_a_full_disk_cannot_keep() {
    let (_folder, path, memory) = file();
    let bus = bus();
    let arguments = ["run", "healthy", "--bus", &bus, "--memory", &memory];
    run_command(with_room_for(1, &arguments))
        .expect(3)
        .complains("cannot write the memory file")
        .complains("with room for a second copy");
    assert!(!path.exists());

    run(&[&arguments[..], &["--for", "1ms"]].concat()).expect(0);
    let before = fs::read(&path).expect("written");
    let blocks = fs::metadata(&path).expect("written").len() / 512 + 1;
    let car = Car::spawn(with_room_for(blocks, &arguments));
    run(&["scan", "codes", "--bus", &bus])
        .expect(0)
        .says("no confirmed code");
    run(&["tell", "preload confirmed P0301 P0302 P0303 P0304 P0171 P0174"])
        .expect(0)
        .says("not kept: the memory file cannot be written");
    run(&["scan", "codes", "--bus", &bus])
        .expect(3)
        .complains("no ECU answers");
    let (code, _, stderr) = car.stop("-INT");
    assert_eq!(code, Some(3), "{stderr}");
    assert!(
        stderr.contains("the car is silent until its memory can be kept again"),
        "{stderr}"
    );
    let after = fs::read(&path).expect("there");
    assert!(
        String::from_utf8_lossy(&after) == String::from_utf8_lossy(&before),
        "the last good content"
    );
}

/// The car that cannot keep a clear does not answer it, and then nobody may take it for done. Permanent codes are not
/// known to a European ECU, which is no failure but has to be said.
#[test]
fn no_answer_is_said_and_of_a_clear_it_is_a_failure() {
    let (folder, _, memory) = file();
    let shelf = folder.path().join("shelf");
    fs::create_dir(&shelf).expect("folder");
    let kept = shelf.join("car.memory");
    let (bus, other) = (bus(), bus());
    let kept = kept.to_str().expect("UTF-8");
    let _car = Car::start(&["run", "loose-fuel-cap", "--bus", &bus, "--memory", kept]);
    fs::remove_dir_all(&shelf).expect("gone");
    run(&["scan", "clear", "--bus", &bus])
        .expect(3)
        .complains("no ECU answered the clear")
        .complains("nothing is known to be cleared");

    let scenario = "european-tank-pressure-sensor";
    let _car = Car::start(&["run", scenario, "--bus", &other, "--memory", &memory]);
    run(&["scan", "permanent", "--bus", &other])
        .expect(0)
        .says("no ECU answers service $0A");
    let all = run(&["scan", "all", "--bus", &other]).expect(0);
    assert!(!all.stdout.contains("no ECU answers"), "{}", all.tale());
}
