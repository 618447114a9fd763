//! `twotrip try`: good tools and bad ones, and what is said of each.

use std::{fs, path::Path, process::Command, time::Duration};

use serde_json::Value;

use crate::{
    readme,
    support::{Ran, path, run, run_command, runtime_dir, twotrip},
};

/// Four codes: an answer of several frames.
const FOUR_CODES: &str = r#"
version = 1
title = "Four codes"
vehicle = "compact-2.0"

[story]
before = """
ambient 18 C          # mild
refuel to 60 %
key on
wait 5 s
preload confirmed P0301 P0302
preload confirmed P0303
preload confirmed P0304
wait 1 s
"""

[verdict]
expect = "expect no tool cleared"
"#;

fn file(name: &str, text: &str) -> String {
    let path = runtime_dir().join(name);
    fs::write(&path, text).expect("the file can be written");
    path.to_str().expect("UTF-8").to_owned()
}

/// The program that is tested, as a tool that is tested by it.
const SCAN: &str = env!("CARGO_BIN_EXE_twotrip");

fn reader() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cli/tools/reader.py");
    path.to_str().expect("UTF-8").to_owned()
}

/// What is kept goes into the folder of the test.
fn try_them(before: &[&str], tool: &[&str]) -> Ran {
    let keep = runtime_dir().join("kept");
    let keep = keep.to_str().expect("UTF-8").to_owned();
    let arguments = [&["try"], before, &["--keep", &keep, "--"], tool].concat();
    run(&arguments)
}

fn failed_cases(car: &Value) -> Vec<String> {
    let cases = car["cases"].as_array().expect("cases");
    let failed = cases.iter().filter(|case| case["passed"] == false);
    failed
        .map(|case| format!("{}: {}", case["subject"], case["name"]).replace('"', ""))
        .collect()
}

#[test]
fn a_good_tool_passes_and_nothing_is_kept() {
    let four = file("four.toml", FOUR_CODES);
    let ran = try_them(
        &["codes-on-demand", &four, "--timing", "fast"],
        &["python3", &reader(), "{bus}"],
    )
    .expect(0);
    assert!(
        ran.stdout.contains("2 cars: 2 passed, 0 failed"),
        "{}",
        ran.tale()
    );
    let left: Vec<_> = fs::read_dir(runtime_dir().join("kept"))
        .into_iter()
        .flatten()
        .collect();
    assert!(left.is_empty(), "{left:?}");
    // The folder among the temporary files goes too.
    let mut command = twotrip(&[
        "try",
        "codes-on-demand",
        "--",
        SCAN,
        "scan",
        "codes",
        "--bus",
        "{bus}",
    ]);
    command.env("TMPDIR", runtime_dir());
    run_command(command).expect(0).says("passed");
    let is_ours = |name: &std::ffi::OsStr| name.to_string_lossy().starts_with("twotrip-try");
    let entries = fs::read_dir(runtime_dir()).expect("readable");
    assert_eq!(
        entries
            .filter(|entry| entry.as_ref().is_ok_and(|entry| is_ours(&entry.file_name())))
            .count(),
        0
    );
}

/// Each way to go wrong, and the checks that find it.
#[test]
fn bad_tools_are_found_out_by_what_they_do() {
    let four = file("four.toml", FOUR_CODES);
    let unread: Vec<String> = (1..=4).map(|n| format!("codes: P030{n} is read")).collect();
    let mut unread_and_failed = vec!["tool: exit status 0".to_owned()];
    unread_and_failed.extend(unread.iter().cloned());
    let flow_control = "conduct: flow-control-missing: an answer of several frames gets its flow control";
    unread_and_failed.push(flow_control.to_owned());
    let as_strings = |texts: &[&str]| texts.iter().map(|text| (*text).to_owned()).collect::<Vec<_>>();
    for (manner, codes, wanted) in [
        ("no-flow-control", "on-bus", unread_and_failed),
        (
            "clears",
            "off",
            as_strings(&["expectation: expect no tool cleared"]),
        ),
        (
            "imagines",
            "in-output",
            as_strings(&["codes: no other code is printed"]),
        ),
        ("imagines", "on-bus", as_strings(&[])),
    ] {
        let ran = try_them(
            &[&four, "--codes", codes, "--json"],
            &["python3", &reader(), "{bus}", manner],
        );
        let ran = ran.expect(i32::from(!wanted.is_empty()));
        let lines = ran.json_lines();
        assert_eq!(failed_cases(&lines[0]), wanted, "{manner}: {}", ran.tale());
        assert_eq!(lines[1]["event"], "summary");
    }
    // One that exits well without having asked.
    let ran = try_them(&[&four, "--json"], &["true"]).expect(1);
    assert_eq!(failed_cases(&ran.json_lines()[0]), unread, "{}", ran.tale());
    assert!(
        ran.stdout.contains("never asked for confirmed codes"),
        "{}",
        ran.tale()
    );
}

#[test]
fn a_failure_comes_with_all_that_is_needed_to_repeat_it() {
    let four = file("four file.toml", FOUR_CODES);
    let report = ["xml", "json", "md", "html"].map(|ending| {
        let path = runtime_dir().join(format!("report.{ending}"));
        path.to_str().expect("UTF-8").to_owned()
    });
    let script = "printf 'red \\033[31m of %s seed %s\\n' \"$TWOTRIP_BUS\" \"$0\"; exit 3";
    let ran = try_them(
        &[
            &four, "--seed", "7", "--seeds", "2", "--codes", "off", "--report", &report[0], "--report",
            &report[1], "--report", &report[2], "--report", &report[3],
        ],
        &["sh", "-c", script, "{seed}"],
    )
    .expect(1);
    for part in [
        "exit status 3",
        "| red \\u{1b}[31m of local:try-",
        "seed 7\n",
        "seed 8\n",
        "2 cars: 0 passed, 2 failed",
        "not physical",
    ] {
        assert!(ran.stdout.contains(part), "{part}: {}", ran.tale());
    }
    assert!(!ran.stdout.contains('\x1b'), "{}", ran.tale());
    let kept = runtime_dir().join("kept/four-file-seed-8");
    let output = fs::read(kept.join("output.txt")).expect("kept");
    assert!(output.starts_with(b"red \x1b[31m"), "kept as it was");
    run(&["explain", kept.join("bus.pcapng").to_str().expect("UTF-8")]).expect(0);
    // The command is one that a shell takes.
    let again = ran
        .stdout
        .lines()
        .filter_map(|line| line.trim().strip_prefix("again"));
    let again = again
        .map(str::trim)
        .next_back()
        .expect("a command")
        .replacen("twotrip", SCAN, 1);
    let mut command = Command::new("sh");
    command
        .args(["-c", &again])
        .env("XDG_RUNTIME_DIR", runtime_dir())
        .env("TMPDIR", runtime_dir());
    run_command(command)
        .expect(1)
        .says("seed 8\n")
        .says("1 car: 0 passed");
    let [junit, json, markdown, page] = report.map(|path| fs::read_to_string(path).expect("written"));
    for part in ["failures=\"2\"", "type=\"tool\">exit status 3", "bus.pcapng"] {
        assert!(junit.contains(part), "{part}: {junit}");
    }
    let json: Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(
        (&json["cars"][1]["seed"], &json["summary"]["failed"]),
        (&8.into(), &2.into())
    );
    assert!(markdown.contains("**failed**: exit status 0"), "{markdown}");
    for part in ["<td>exit status 3</td>", "seed 8</h2>", "bus.pcapng"] {
        assert!(page.contains(part), "{part}: {page}");
    }
}

/// Cars of 29 bits, and of the other dialect: a tool that reads them passes, one that reads other cars only does not.
#[test]
fn cars_of_either_size_and_dialect_are_tried() {
    for vehicle in ["sedan-v6-29bit", "compact-on-uds"] {
        let text = FOUR_CODES.replace("compact-2.0", vehicle);
        let four = file(&format!("{vehicle}.toml"), &text);
        let ran = try_them(&[&four, "--json"], &[SCAN, "scan", "codes", "--bus", "{bus}"]).expect(0);
        assert_eq!(failed_cases(&ran.json_lines()[0]), [""; 0], "{}", ran.tale());
        let ran = try_them(&[&four, "--json"], &["python3", &reader(), "{bus}", "good"]).expect(1);
        let failed = failed_cases(&ran.json_lines()[0]);
        assert!(!failed.is_empty(), "{}", ran.tale());
    }
}

#[test]
fn a_tool_that_hangs_is_ended_and_the_others_are_tried() {
    let ran = try_them(
        &[
            "codes-on-demand",
            "codes-on-demand",
            "--timeout",
            "1s",
            "--codes",
            "off",
            "--jobs",
            "2",
        ],
        &["python3", &reader(), "{bus}", "hangs"],
    )
    .expect(1);
    assert_eq!(
        ran.stdout.matches("not done after 1s, and ended then").count(),
        2,
        "{}",
        ran.tale()
    );
    assert!(ran.stdout.contains("| waiting"), "{}", ran.tale());
}

#[test]
fn parts_of_the_work_are_all_of_it_and_no_car_is_in_two() {
    let mut seen = Vec::new();
    for part in 1..=3 {
        let shard = format!("{part}/3");
        let ran = try_them(
            &[
                "codes-on-demand",
                "--seeds",
                "5",
                "--codes",
                "off",
                "--shard",
                &shard,
                "--json",
            ],
            &["true"],
        )
        .expect(0);
        let lines = ran.json_lines();
        seen.extend(lines.iter().filter_map(|line| line["seed"].as_u64()));
        assert!(lines.len() <= 3, "{}", ran.tale());
    }
    seen.sort_unstable();
    assert_eq!(seen, [1, 2, 3, 4, 5]);
}

/// The tool fails as soon as misfire of cylinder 3 is stored: one phrase of eight, and the key.
#[test]
fn a_story_is_shortened_to_what_the_failure_needs() {
    let four = file("four.toml", FOUR_CODES);
    let script = "\"$0\" scan codes --bus \"$1\" | { ! grep P0303; }";
    let ran = try_them(
        &[&four, "--shrink", "--codes", "off", "--timing", "fast", "--json"],
        &["sh", "-c", script, SCAN, "{bus}"],
    )
    .expect(1);
    let lines = ran.json_lines();
    let shorter = &lines[0]["shorter"];
    assert_eq!(
        (&shorter["of"], &shorter["phrases"]),
        (&8.into(), &2.into()),
        "{}",
        ran.tale()
    );
    let path = shorter["scenario"].as_str().expect("a file");
    let text = fs::read_to_string(path).expect("written");
    let story: Vec<&str> = text
        .lines()
        .skip_while(|line| !line.starts_with("before"))
        .skip(1)
        .take(2)
        .collect();
    assert_eq!(story, ["key on", "preload confirmed P0303"], "{text}");
    assert!(text.contains("[verdict]"), "{text}");
    // It still fails, by its own command.
    let again = try_them(&[path, "--codes", "off"], &["sh", "-c", script, SCAN, "{bus}"]).expect(1);
    assert!(again.stdout.contains("| "), "{}", again.tale());
    // Every phrase may be needed, or no more runs be there.
    let ran = try_them(
        &[
            &four,
            "--shrink",
            "--shrink-runs",
            "1",
            "--codes",
            "off",
            "--timing",
            "fast",
        ],
        &["sh", "-c", script, SCAN, "{bus}"],
    );
    ran.expect(1).says("after 1 run, more might be left out");
}

#[test]
fn what_cannot_be_done_says_so_before_any_car_is_tried() {
    let tool = &["true"];
    for (arguments, complaint) in [
        (&["no-such-car"][..], "no scenario `no-such-car` is built in"),
        (&["healthy", "--report", "report.pdf"], ".md or .html"),
        (&["healthy", "--shard", "4/3"], "from 1/N to N/N"),
        (
            &["healthy", "--bus", "local:a", "--bus", "local:a"],
            "is there twice",
        ),
        (
            &["healthy", "--bus", "local:a", "--jobs", "2"],
            "needs as many buses",
        ),
        (&["healthy", "--shrink-runs", "3"], "--shrink"),
    ] {
        let ran = try_them(arguments, tool).expect(2).complains(complaint);
        assert_eq!(ran.stdout, "");
    }
    run(&["try", "codes-on-demand"]).expect(2).complains("TOOL");
    try_them(&["codes-on-demand"], &["/nonexistent/tool"])
        .expect(2)
        .complains("cannot start `/nonexistent/tool`");
    // A bus that another car has is the system's.
    let bus = crate::support::bus();
    let _car = crate::support::Car::start(&["run", "codes-on-demand", "--bus", &bus]);
    try_them(&["codes-on-demand", "--bus", &bus], tool)
        .expect(3)
        .complains("already running");
}

/// From a tool of one's own to a failing test of it: the commands of the README, to the letter, in its order.
#[test]
fn the_readme_leads_to_a_failing_test() {
    let readme = readme::readme();
    let program = &readme::blocks(&readme, "python")[0];
    fs::write(runtime_dir().join("vin.py"), program).expect("written");
    let section = readme
        .split("\n## In your own tests\n")
        .nth(1)
        .expect("a section");
    let section = section
        .split("**Where the kernel has no CAN**")
        .next()
        .expect("a part");
    let commands = readme::commands(section);
    let lines = section.lines().filter(|line| !line.is_empty()).count();
    assert!(
        commands.len() < 5 && lines <= 25,
        "{} commands in {lines} lines",
        commands.len()
    );
    let codes: Vec<Option<i32>> = commands
        .iter()
        .map(|line| {
            let mut command = Command::new("sh");
            command
                .args(["-c", line])
                .current_dir(runtime_dir())
                .env("XDG_RUNTIME_DIR", runtime_dir())
                .env("PATH", path());
            run_command(command).code
        })
        .collect();
    assert_eq!(codes, [Some(0), Some(1), Some(0), Some(1)], "{commands:?}");
    let report = fs::read_to_string(runtime_dir().join("result.xml")).expect("written");
    assert!(report.contains("name=\"P0455 is read\""), "{report}");
}

/// Ctrl-C ends tools and cars.
#[test]
fn a_signal_ends_everything() {
    let folder = runtime_dir();
    let script = "echo $$ > \"$0/pid\"; sleep 1000";
    let car = crate::support::Car::watching(&[
        "try",
        "codes-on-demand",
        "--",
        "sh",
        "-c",
        script,
        folder.to_str().expect("UTF-8"),
    ]);
    let mut id = String::new();
    for _ in 0..600 {
        id = fs::read_to_string(folder.join("pid")).unwrap_or_default();
        if id.ends_with('\n') {
            break;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    let (code, stdout, stderr) = car.stop("-INT");
    assert_eq!(code, Some(3), "{stdout}{stderr}");
    assert!(
        stderr.contains("stopped before all cars were tried"),
        "{stdout}{stderr}"
    );
    assert!(
        !Path::new("/proc").join(id.trim()).exists(),
        "the tool is still there"
    );
}

/// The first answer is lost: who asks again holds, who gives up fails.
#[test]
fn what_a_tool_does_about_a_disturbance_is_judged() {
    let lost = file(
        "lost.toml",
        "version = 1\ntitle = \"A lost answer\"\nvehicle = \"compact-2.0\"\n[story]\nbefore = \"\"\"\nkey on\n\
         preload confirmed P0301\n\"\"\"\n[[when]]\nevent = \"ready\"\ndo = \"disturb drop 7E8 once\"\n",
    );
    for (tool, wanted) in [
        (&[SCAN, "scan", "codes", "--bus", "{bus}"][..], &[][..]),
        (
            &["python3", &reader(), "{bus}", "says-nothing"],
            &["codes: P0301 is read", "disturbance: disturb drop 7E8 once"],
        ),
    ] {
        let ran = try_them(&[&lost, "--json"], tool).expect(i32::from(!wanted.is_empty()));
        let car = &ran.json_lines()[0];
        assert_eq!(failed_cases(car), wanted, "{}", ran.tale());
        let cases = car["cases"].as_array().expect("cases");
        assert!(
            cases.iter().any(|case| case["subject"] == "disturbance"),
            "{}",
            ran.tale()
        );
        assert_eq!(car["conduct"]["violations"], 0, "{}", ran.tale());
    }
    // A clear without a read is unwise: it is told, and fails a car where that is asked.
    let tool = &["python3", &reader(), "{bus}", "clears"];
    let ran = try_them(&["codes-on-demand", "--codes", "off"], tool).expect(0);
    assert!(ran.stdout.contains("cleared-unread"), "{}", ran.tale());
    let ran = try_them(&["codes-on-demand", "--codes", "off", "--strict"], tool).expect(1);
    assert!(
        ran.stdout.contains("--strict"),
        "the command that repeats it: {}",
        ran.tale()
    );
}

/// Each ECU's codes have to be read.
#[test]
fn of_a_car_with_several_ecus_every_one_is_read() {
    let two = file(
        "two.toml",
        "version = 1\ntitle = \"Two ECUs\"\nvehicle = \"compact-2.0\"\n[story]\nbefore = \"\"\"\nkey on\npreload confirmed P0301\n\"\"\"\n",
    );
    let vehicle = fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scenarios/vehicles/sedan-v6-29bit.toml"),
    );
    let vehicle = vehicle.expect("shipped").replace("29-bit", "11-bit").replacen(
        "acronym = \"BCM\"",
        "acronym = \"BCM\"\nconfirmed = \"B1000\"",
        1,
    );
    let vehicle = file("car.toml", &vehicle);
    let scan = [SCAN, "scan", "codes", "--bus", "{bus}"];
    let ran = try_them(&[&two, "--vehicle", &vehicle, "--json"], &scan).expect(0);
    let cases = ran.json_lines()[0]["cases"].clone();
    let names: Vec<&str> = cases
        .as_array()
        .expect("cases")
        .iter()
        .filter_map(|case| case["name"].as_str())
        .filter(|name| name.ends_with("is read"))
        .collect();
    assert_eq!(
        names,
        ["P0301 of 7E8 is read", "B1000 of 7EA is read"],
        "{}",
        ran.tale()
    );
    let ran = try_them(&[&two, "--vehicle", &vehicle], &["true"]).expect(1);
    assert!(ran.stdout.contains("B1000 of 7EA is read"), "{}", ran.tale());
}
