//! A recorded run once more in this process: of a live bus at any pace, with phrases, a memory file and all; and what is
//! said where it is not the same run.

use std::{fs, thread, time::Duration};

use crate::support::{Car, bus, capture, run, runtime_dir};

/// Repeats a recording; what it says.
fn again(file: &str, more: &[&str], code: i32) -> serde_json::Value {
    let arguments = [
        &["replay", file, "--as", "tester", "--in-process", "--json"],
        more,
    ]
    .concat();
    let ran = run(&arguments).expect(code);
    let mut lines = ran.json_lines();
    let last = lines.pop().unwrap_or_else(|| panic!("{}", ran.tale()));
    assert_eq!(last["same"], (code == 0), "{}", ran.tale());
    last
}

/// Twice, the second time from the recording of the first: that is the same file, too.
fn again_and_again(file: &str) -> serde_json::Value {
    let [second, third] = ["second", "third"].map(|turn| format!("{turn}-{file}"));
    let told = again(file, &["--record", &second], 0);
    assert_eq!(told["left_over"], 0);
    let same = again(&second, &["--record", &third], 0);
    assert_eq!(
        (&same["frames"], &same["heard"]),
        (&told["frames"], &told["heard"])
    );
    let [second, third] = [second, third].map(|file| fs::read(runtime_dir().join(file)).expect("there"));
    assert!(second == third, "{file}");
    told
}

/// A live bus, on which nothing comes at a round instant: phrases that take time, a clear, questions in between.
#[test]
fn a_live_run_is_repeated_at_any_pace() {
    for (file, options) in [
        ("live.pcapng", &["--broadcasts", "on"][..]),
        (
            "fast.pcapng",
            &["--timing", "fast", "--pace", "max", "--padding", "55"],
        ),
        ("paced.pcapng", &["--pace", "30", "--seed", "7"]),
    ] {
        let bus = bus();
        let arguments = ["run", "loose-fuel-cap", "--bus", &bus, "--record", file];
        let car = Car::start(&[&arguments[..], options].concat());
        run(&["scan", "vehicle", "--bus", &bus]).expect(0);
        run(&[
            "tell",
            "tighten fuel-cap",
            "drive 14 mph for 10 s, stop # a \"round\", `so` to speak",
        ])
        .expect(0);
        run(&["scan", "codes", "--bus", &bus]).expect(0).says("P0455");
        run(&["tell", "stop", "fuel volatility 9.3 psi", "soak 30 s", "key on"]).expect(0);
        run(&["scan", "clear", "--bus", &bus]).expect(0);
        run(&["scan", "codes", "--bus", &bus]).expect(0);
        let (code, _, stderr) = car.stop("-TERM");
        assert_eq!(code, Some(0), "{stderr}");
        let told = again_and_again(file);
        assert_eq!(told["told"], 6, "{file}: {told}");
        assert!(told["heard"].as_u64() > Some(10), "{file}: {told}");
    }
}

/// What a disturbed line did to a live run it does again, by the same dice.
#[test]
fn a_disturbed_run_is_repeated() {
    let bus = bus();
    let arguments = [
        "run",
        "codes-on-demand",
        "--bus",
        &bus,
        "--record",
        "disturbed.pcapng",
    ];
    let car = Car::start(&arguments);
    for phrase in [
        "disturb drop 15 %",
        "disturb bus-error 40 %",
        "disturb jitter 7E8 30 ms",
        "disturb bus-off 200 ms",
        "disturb background-load 10 %",
        "disturb error-passive",
        "disturb interface-down 0.5 s",
    ] {
        run(&["tell", phrase]).expect(0);
        run(&["scan", "codes", "--bus", &bus]).expect(0).says("P0301");
    }
    run(&["tell", "disturb off"]).expect(0);
    let (code, stdout, stderr) = car.stop("-TERM");
    assert_eq!(code, Some(0), "{stderr}");
    assert!(stdout.contains("held: disturbance 1, drop 15 %"), "{stdout}");
    let told = again_and_again("disturbed.pcapng");
    assert_eq!(told["told"], 8, "{told}");
    let explained = run(&["explain", "disturbed.pcapng"]).expect(0);
    for words in [
        "disturbance 1 begins",
        "disturbance 7 ends",
        "`disturb jitter 7E8 30 ms`",
    ] {
        assert!(
            explained.stdout.contains(words),
            "{words} is missing from\n{}",
            explained.tale()
        );
    }
}

/// The memory that the ECU began with is in the recording; a kill costs its end, and nothing before.
#[test]
fn a_memory_file_and_a_kill_are_no_hindrance() {
    let bus = bus();
    let with_memory = ["run", "healthy", "--bus", &bus, "--memory", "ecu.memory"];
    let car = Car::start(&with_memory);
    run(&["tell", "key on", "preload confirmed P0301"]).expect(0);
    let (code, _, stderr) = car.stop("-TERM");
    assert_eq!(code, Some(0), "{stderr}");
    let mut car = Car::start(&[&with_memory[..], &["--record", "killed.pcapng"]].concat());
    run(&["tell", "key on"]).expect(0);
    run(&["scan", "codes", "--bus", &bus]).expect(0).says("P0301");
    thread::sleep(Duration::from_millis(1500));
    run(&["scan", "vehicle", "--bus", &bus]).expect(0);
    car.kill();
    let told = again("killed.pcapng", &[], 0);
    assert!(told["frames"].as_u64() >= Some(1), "{told}");
}

#[test]
fn a_walkthrough_is_repeated_and_another_run_is_refused() {
    run(&[
        "walkthrough",
        "torn-air-duct",
        "--record",
        "told.pcapng",
        "--bit-rate",
        "250",
    ])
    .expect(0)
    .complains("recorded: ");
    again_and_again("told.pcapng");
    let replay = ["replay", "told.pcapng", "--as", "tester", "--in-process"];
    let with = |more: &[&str]| run(&[&replay[..], more].concat());
    with(&[])
        .expect(0)
        .says("once more: torn-air-duct")
        .says("bit for bit");
    with(&["--seed", "99"])
        .expect(1)
        .says("different at ")
        .says("last heard")
        .says("up to there the same");
    with(&["--scenario", "healthy"])
        .expect(2)
        .complains("another run")
        .complains("--anyway");
    with(&["--scenario", "healthy", "--anyway"])
        .expect(1)
        .says("different at ");
    with(&["--vehicle", "sedan-v6"]).expect(2).complains("vehicle");
    with(&["--record", "told.pcapng"])
        .expect(2)
        .complains("being read");
    run(&["replay", "told.pcapng", "--in-process"])
        .expect(2)
        .complains("--as tester");

    // Another program, another scenario file, a changed answer, an entry that is missing.
    let bytes = fs::read(runtime_dir().join("told.pcapng")).expect("there");
    let changed = |what: &[u8], to: &[u8]| {
        let place = bytes.windows(what.len()).position(|window| window == what);
        let place = place.unwrap_or_else(|| panic!("no {what:02X?}"));
        let mut bytes = bytes.clone();
        bytes[place..place + to.len()].copy_from_slice(to);
        fs::write(runtime_dir().join("changed.pcapng"), bytes).expect("writable");
        run(&["replay", "changed.pcapng", "--as", "tester", "--in-process"])
    };
    changed(b"twotrip 0", b"twotrip 9")
        .expect(2)
        .complains("recorded by twotrip 9");
    changed(b"\"crc32\":\"", b"\"crc32\":\"0123")
        .expect(2)
        .complains("checksum");
    changed(
        &[0x07, 0xE8, 8, 0, 0, 0, 4, 0x43, 1, 1],
        &[0x07, 0xE8, 8, 0, 0, 0, 4, 0x43, 1, 3],
    )
    .expect(1)
    .says("the car sends another frame")
    .says("P0");
    run(&["explain", "told.pcapng", "--redact", "shown.pcapng"]).expect(0);
    run(&["replay", "shown.pcapng", "--as", "tester", "--in-process"])
        .expect(2)
        .complains("--redact");
    changed(b"time: 1 ", b"time: 2 ")
        .expect(2)
        .complains("lacks entries 1 to 1");
    changed(b"time: 1 stood", b"time: 1 stopt")
        .expect(2)
        .complains("cannot be read");
}

#[test]
fn what_holds_no_run_cannot_be_repeated() {
    for (file, why) in [
        ("two-ecus", "no run of this program"),
        ("healthy", "no journal"),
        ("no-such-file", "cannot read"),
    ] {
        run(&[
            "replay",
            &capture(file),
            "--as",
            "tester",
            "--in-process",
            "--anyway",
        ])
        .expect(2)
        .complains(why);
    }
}
