//! A recording of CAN FD is read, judged and replayed as one of classic CAN.

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
