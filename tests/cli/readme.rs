//! The README is true, and the page on wiring a bench: every command in them is run, every scenario is checked.

use std::{fs, path::Path};

use crate::support::{Car, bus, run};

pub(crate) fn readme() -> String {
    page("README.md")
}

fn page(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(name);
    fs::read_to_string(path).expect("there is such a page")
}

/// The code blocks of one kind.
pub(crate) fn blocks(text: &str, kind: &str) -> Vec<String> {
    let fence = format!("```{kind}\n");
    text.split(&fence)
        .skip(1)
        .map(|rest| rest.split("```").next().unwrap_or_default().to_owned())
        .collect()
}

/// Every command line of the README.
pub(crate) fn commands(text: &str) -> Vec<String> {
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
    (
        "cargo test -p code-reader",
        "a member of the workspace, run beside this test",
    ),
    ("sudo modprobe vcan", "the guest loads the module, tests/guest"),
    ("sudo ip link add dev vcan0 type vcan", "tests/guest"),
    ("sudo ip link set vcan0 up", "tests/guest"),
    ("twotrip run loose-fuel-cap --bus vcan0", "tests/guest"),
    ("python3 vin.py demo", "local_bus, from the Python above it"),
    (
        "twotrip try loose-fuel-cap --shrink --report result.xml --keep failed -- python3 vin.py {bus}",
        "tries, to the letter",
    ),
    (
        "twotrip explain failed/loose-fuel-cap-seed-1/bus.pcapng",
        "tries, to the letter",
    ),
    (
        "twotrip try failed/loose-fuel-cap-seed-1/shorter.toml -- python3 vin.py {bus}",
        "tries, to the letter",
    ),
    (
        "twotrip guest loose-fuel-cap --fetch -- python3 my_tool.py --interface {bus}",
        "guest, with a tool that is there",
    ),
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
    for line in commands(&readme())
        .into_iter()
        .chain(commands(&page("crates/host/BENCH.md")))
    {
        if RUN_ELSEWHERE.iter().any(|(command, _)| *command == line) {
            continue;
        }
        let all = words(&line);
        let mut arguments: Vec<&str> = match all.iter().map(String::as_str).collect::<Vec<_>>()[..] {
            ["cargo", "run", "--release", "--", ref rest @ ..] | ["twotrip", ref rest @ ..] => rest.to_vec(),
            _ => panic!("README: nobody runs `{line}`"),
        };
        let is_beside = arguments.last() == Some(&"&");
        if is_beside {
            arguments.pop();
        }
        let ends = arguments.contains(&"--for") && !is_beside;
        if arguments.first() == Some(&"run") && !ends {
            // One car at a time answers `tell` without `--control`.
            cars.clear();
            cars.push(Car::start(&arguments));
        } else if arguments.windows(2).any(|pair| pair == ["--as", "car"]) {
            // A recorder has what was said a second later at the latest.
            std::thread::sleep(std::time::Duration::from_secs(1));
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

/// The rows on services hold what `list services` says, and the numbers of the services themselves.
#[test]
fn the_readme_has_the_services_and_parameters_of_the_car() {
    let text = readme();
    let listed = run(&["list", "services", "--json"]).expect(0);
    let mut numbers = Vec::new();
    for service in listed.json_lines() {
        let (name, meaning) = (service["name"].as_str(), service["meaning"].as_str());
        let (name, meaning) = (name.expect("a name"), meaning.expect("a meaning"));
        let number = u8::from_str_radix(&name[1..3], 16).expect("a name begins with the number");
        numbers.push(number);
        if meaning.contains('$') && ![0x04, 0x03, 0x07, 0x0A].contains(&number) {
            let row = text
                .lines()
                .find(|line| line.starts_with('|') && line.contains(&format!(", ${number:02X} |")));
            let row = row.unwrap_or_else(|| panic!("README: no row for service ${number:02X}"));
            assert!(
                row.contains(&format!("| {meaning} |")),
                "README: `{row}` should have `{meaning}`"
            );
        }
    }
    let mut runs: Vec<(u8, u8)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == number => *last = number,
            _ => runs.push((number, number)),
        }
    }
    let runs: Vec<String> = runs
        .iter()
        .map(|(first, last)| format!("${first:02X} to ${last:02X}"))
        .collect();
    assert!(
        text.contains(&format!("| {} |", runs.join(", "))),
        "README: the services are {runs:?}"
    );
}

#[test]
fn every_parameter_that_a_scan_shows_is_in_the_list() {
    let bus = bus();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    let listed = run(&["list", "parameters", "--json"]).expect(0);
    let served: Vec<String> = listed
        .json_lines()
        .iter()
        .filter(|item| {
            item["meaning"]
                .as_str()
                .is_some_and(|meaning| meaning.contains("$01"))
        })
        .filter_map(|item| Some(item["name"].as_str()?[..3].to_owned()))
        .collect();
    let live = run(&["scan", "live", "--bus", &bus, "--json"]).expect(0);
    let lines = live.json_lines();
    let mut shown: Vec<&str> = lines[0]["readings"]
        .as_array()
        .expect("readings")
        .iter()
        .filter_map(|reading| reading["pid"].as_str())
        .collect();
    shown.sort_unstable();
    shown.dedup();
    assert!(served.len() >= 45, "{}", served.len());
    assert_eq!(shown, served, "{}", live.tale());
}
