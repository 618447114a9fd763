//! The README is true, and the page on wiring a bench: every command in them is run, every scenario is checked.

use std::{fs, path::Path};

use crate::support::{Car, run};

fn readme() -> String {
    page("README.md")
}

fn page(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(name);
    fs::read_to_string(path).expect("there is such a page")
}

/// The code blocks of one kind.
fn blocks(text: &str, kind: &str) -> Vec<String> {
    let fence = format!("```{kind}\n");
    text.split(&fence)
        .skip(1)
        .map(|rest| rest.split("```").next().unwrap_or_default().to_owned())
        .collect()
}

/// Every command line of the README.
fn commands(text: &str) -> Vec<String> {
    let shell = blocks(text, "sh")
        .into_iter()
        .flat_map(|block| block.lines().map(String::from).collect::<Vec<_>>());
    let console = blocks(text, "console").into_iter().flat_map(|block| {
        block
            .lines()
            .filter_map(|line| line.strip_prefix("$ ").map(String::from))
            .collect::<Vec<_>>()
    });
    shell
        .chain(console)
        .filter(|line| !line.trim().is_empty())
        .collect()
}

/// Words of a command line, quotes taken off.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    for (i, piece) in line.split('"').enumerate() {
        if i % 2 == 1 {
            words.push(piece.to_owned());
        } else {
            words.extend(piece.split_whitespace().map(String::from));
        }
    }
    words
}

/// Commands that are run elsewhere, and where.
const RUN_ELSEWHERE: &[(&str, &str)] = &[
    ("sh tests/run", "is what runs this test"),
    ("sudo modprobe vcan", "the guest loads the module, tests/guest"),
    ("sudo ip link add dev vcan0 type vcan", "tests/guest"),
    ("sudo ip link set vcan0 up", "tests/guest"),
    ("twotrip run loose-fuel-cap --bus vcan0", "tests/guest"),
    (
        "sudo ip link set can0 type can bitrate 500000 restart-ms 100",
        "needs an adapter, which no test machine has",
    ),
    ("sudo ip link set can0 up", "needs an adapter"),
    (
        "twotrip run loose-fuel-cap --bus can0 --on-a-bench",
        "tests/guest, on a vxcan in place of an adapter",
    ),
];

#[test]
fn every_command_of_the_readme_works() {
    let mut cars = Vec::new();
    for line in commands(&readme()).into_iter().chain(commands(&page("BENCH.md"))) {
        if RUN_ELSEWHERE.iter().any(|(command, _)| *command == line) {
            continue;
        }
        let all = words(&line);
        let mut arguments: Vec<&str> = match all.iter().map(String::as_str).collect::<Vec<_>>()[..] {
            ["cargo", "run", "--release", "--", ref rest @ ..] | ["twotrip", ref rest @ ..] => rest.to_vec(),
            _ => panic!("README: nobody runs `{line}`"),
        };
        if arguments.last() == Some(&"&") {
            arguments.pop();
        }
        if arguments.first() == Some(&"run") {
            // One car at a time answers `tell` without `--control`.
            cars.clear();
            cars.push(Car::start(&arguments));
        } else {
            run(&arguments).expect(0);
        }
    }
}

#[test]
fn what_the_readme_shows_is_what_the_car_says() {
    let text = readme();
    for block in blocks(&text, "console") {
        let mut lines = block.lines();
        let Some(command) = lines.next().and_then(|line| line.strip_prefix("$ twotrip ")) else {
            continue;
        };
        let shown: Vec<&str> = lines.take_while(|line| !line.starts_with("$ ")).collect();
        let all = words(command);
        let arguments: Vec<&str> = all
            .iter()
            .map(|word| if word == "local:demo" { "local:demo2" } else { word })
            .collect();
        if arguments[0] == "run" {
            let car = Car::start(&arguments);
            assert_eq!(car.ready.trim_end().replace("demo2", "demo"), shown.join("\n"));
        }
    }
}

#[test]
fn scenarios_of_the_readme_are_good() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let scenarios = blocks(&readme(), "toml");
    assert!(!scenarios.is_empty());
    for (i, text) in scenarios.iter().enumerate() {
        let path = folder.path().join(format!("{i}.toml"));
        fs::write(&path, text).expect("the file can be written");
        run(&["check", path.to_str().expect("the path is UTF-8")]).expect(0);
    }
}
