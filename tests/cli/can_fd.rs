//! A recording of CAN FD is read, judged and replayed as one of classic CAN.

use std::process::Command;

use serde_json::Value;

use crate::support::{Car, bus, run, runtime_dir};

#[test]
fn a_recording_of_can_fd_is_explained_judged_and_replayed() {
    let (live, practice, again) = (bus(), bus(), bus());
    let file = runtime_dir().join("longer.pcapng");
    let file = file.to_str().expect("UTF-8");
    let start = |bus: &str, more: &[&str]| {
        let run = ["run", "codes-on-demand", "--bus", bus, "--can-fd", "64"];
        Car::start(&[&run, more].concat())
    };
    let scan = |bus: &str| run(&["scan", "all", "--bus", bus, "--can-fd", "64", "--json"]);
    let car = start(&live, &["--record", file]);
    let found = scan(&live).expect(0).stdout;
    let (code, _, stderr) = car.stop("-TERM");
    assert_eq!(code, Some(0), "{stderr}");

    // A VIN in a single frame of the escape form: no flow control, no consecutive frame.
    run(&["explain", file, "--level", "frames"])
        .expect(0)
        .says("7E8##")
        .says("00 14 49 02 01");
    run(&["explain", file])
        .expect(0)
        .says("0TW00TRP3A0000042")
        .says("no rule broken");

    reads_as_tshark_does(file);

    let copy = runtime_dir().join("shown.pcapng");
    let copy = copy.to_str().expect("UTF-8");
    run(&["explain", file, "--redact", copy]).expect(0);
    let shown = run(&["explain", copy]).expect(0);
    assert!(!shown.stdout.contains("0TW00TRP3A0000042"), "{}", shown.tale());

    // The car's half, to a tester of the same kind; classic ones are not heard.
    let car = Car::start(&["replay", file, "--as", "car", "--bus", &practice]);
    assert_eq!(scan(&practice).expect(0).stdout, found);
    run(&["scan", "codes", "--bus", &practice]).expect(3);
    let (code, _, stderr) = car.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");

    // The tester's half, to another car.
    let car = start(&again, &[]);
    run(&["replay", file, "--as", "tester", "--bus", &again, "--pace", "max"]).expect(0);
    let (code, _, stderr) = car.stop("-TERM");
    assert_eq!(code, Some(0), "{stderr}");
}

/// Number of the first frame and length of each message: most are single frames, of either form.
fn reads_as_tshark_does(file: &str) {
    let mut tshark = Command::new("tshark");
    tshark.args([
        "-r",
        file,
        "-o",
        "iso15765.can.ids:2015-2031",
        "-Y",
        "iso15765",
        "-T",
        "fields",
    ]);
    tshark.args([
        "-e",
        "frame.number",
        "-e",
        "iso15765.data_length",
        "-e",
        "iso15765.frame_length",
    ]);
    let Ok(output) = tshark.output() else {
        assert!(
            std::env::var_os("CI").is_none(),
            "skipped, which CI does not allow: tshark, which tests/run installs"
        );
        eprintln!("skipped: tshark does not start");
        return;
    };
    let theirs = String::from_utf8(output.stdout).expect("ASCII");
    let theirs: Vec<(u64, u64)> = theirs
        .lines()
        .filter_map(|line| {
            // Of a single frame, or of what a first frame announces; consecutive frames have neither.
            let (number, lengths) = line.split_once('\t')?;
            Some((number.parse().ok()?, lengths.trim().parse().ok()?))
        })
        .collect();
    let said = run(&["explain", file, "--json"]).expect(0).stdout;
    let messages = said
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    let ours: Vec<(u64, u64)> = messages
        .filter(|line| line["kind"] == "message")
        .map(|line| {
            let length = line["bytes"].as_str().expect("hex").split(' ').count();
            let first = line["first_frame"].as_u64().expect("a number");
            (first, u64::try_from(length).expect("short"))
        })
        .collect();
    assert!(ours.len() > 200 && ours.iter().any(|(_, length)| *length > 7));
    assert_eq!(ours, theirs);
}
