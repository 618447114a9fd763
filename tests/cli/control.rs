//! A car as other programs start, watch and end it: the ready line, the control socket and its page, supervisors.

use std::{
    collections::BTreeSet,
    fs,
    io::{BufRead as _, BufReader, Write as _},
    os::unix::net::{UnixDatagram, UnixStream},
    path::Path,
    process::{Command, Stdio},
    time::Duration,
};

use serde_json::Value;

use crate::{
    readme::blocks,
    support::{Car, bus, run, runtime_dir, twotrip},
};

const CAR: &str = "codes-on-demand";
/// What hangs fails.
const PATIENCE: Duration = Duration::from_secs(60);

/// The examples of the page, line by line.
fn page() -> Vec<Value> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("CONTROL.md");
    let page = fs::read_to_string(path).expect("there is such a page");
    let lines = blocks(&page, "json").join("");
    lines
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}")))
        .collect()
}

/// The example that has this key.
fn example(key: &str, value: Option<&str>) -> Value {
    let fits = |line: &Value| {
        line.get(key)
            .is_some_and(|found| value.is_none_or(|value| found == value))
    };
    page()
        .into_iter()
        .rev()
        .find(fits)
        .unwrap_or_else(|| panic!("CONTROL.md has no `{key}`"))
}

fn keys(value: &Value) -> BTreeSet<&str> {
    value
        .as_object()
        .expect("an object")
        .keys()
        .map(String::as_str)
        .collect()
}

struct Client {
    stream: UnixStream,
    lines: BufReader<UnixStream>,
}

impl Client {
    fn of(car: &Car) -> Self {
        let ready: Value = serde_json::from_str(&car.ready).expect("JSON");
        let stream =
            UnixStream::connect(ready["control"].as_str().expect("a path")).expect("the car listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a socket has one");
        let lines = BufReader::new(stream.try_clone().expect("cloned"));
        Self { stream, lines }
    }

    fn say(&mut self, line: &str) {
        self.stream
            .write_all(format!("{line}\n").as_bytes())
            .expect("sent");
    }

    fn hear(&mut self) -> Value {
        let mut line = String::new();
        self.lines.read_line(&mut line).expect("a line comes");
        serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error}: {line}"))
    }

    /// The next line with this key.
    fn hear_of(&mut self, key: &str) -> Value {
        loop {
            let line = self.hear();
            if line.get(key).is_some() {
                return line;
            }
        }
    }
}

#[test]
fn the_first_line_says_how_to_reach_the_car() {
    let bus = bus();
    let car = Car::start(&["run", CAR, "--bus", &bus, "--json"]);
    let ready: Value = serde_json::from_str(&car.ready).expect("JSON");
    assert_eq!(keys(&ready), keys(&example("event", Some("ready"))));
    assert_eq!(ready["bus"], bus);
    assert_eq!(ready["ecus"], example("event", Some("ready"))["ecus"]);
    let process = Path::new("/proc").join(ready["pid"].to_string());
    let command = fs::read_to_string(process.join("cmdline")).expect("it runs");
    assert!(command.contains(&bus), "{command}");
}

#[test]
fn the_page_on_the_control_socket_is_true() {
    let car = Car::start(&["run", CAR, "--bus", &bus(), "--json"]);
    let mut client = Client::of(&car);
    client.say("{\"snapshot\": \"please\"}");
    let refused = client.hear();
    assert_eq!(refused["ok"], false, "{refused}");
    client.say("{\"snapshot\": true}");
    let found = client.hear();
    let wanted = example("snapshot", None);
    assert_eq!(keys(&found["snapshot"]), keys(&wanted["snapshot"]));
    for key in [
        "key_on",
        "engine_running",
        "lamp_lit",
        "mil_commanded",
        "confirmed",
        "pending",
        "permanent",
        "not_physical",
    ] {
        assert_eq!(found["snapshot"][key], wanted["snapshot"][key], "{key}");
    }
    client.say("{\"events\": true}");
    assert_eq!(client.hear(), serde_json::json!({ "events": true }));
    client.say("{\"phrase\": \"drive udds\"}");
    // Everything up to the outcome and the event of the phrase, whichever comes last.
    let mut lines: Vec<Value> = Vec::new();
    while !(lines.iter().any(|line| line.get("outcome").is_some())
        && lines.iter().any(|line| line["event"] == "phrase"))
    {
        lines.push(client.hear());
    }
    let found = |fits: &dyn Fn(&Value) -> bool| {
        let found = lines.iter().find(|line| fits(line));
        found.unwrap_or_else(|| panic!("not among {lines:#?}"))
    };
    // A fast computer has no progress to tell of.
    for progress in lines.iter().filter(|line| line.get("progress").is_some()) {
        assert!(
            keys(progress).is_subset(&keys(&example("progress", None))),
            "{progress}"
        );
    }
    let event = found(&|line| line["text"] == "engine starts");
    assert_eq!(keys(event), keys(&example("event", Some("car"))), "{event}");
    let phrase = found(&|line| line["event"] == "phrase");
    assert_eq!(phrase["phrase"], "drive udds");
    let outcome = found(&|line| line.get("outcome").is_some());
    let shown = example("outcome", Some("drove udds, 11.99 km"));
    assert!(keys(outcome).is_subset(&keys(&shown)), "{outcome}");
    assert_eq!(outcome["ok"], true, "{outcome}");
    client.say("{\"snapshot\": true}");
    let found = client.hear_of("snapshot");
    assert_eq!(found["snapshot"]["engine_running"], true, "{found}");
    client.say("{\"events\": false}");
    client.hear_of("events");
}

#[test]
fn who_waits_for_the_car_may_come_first() {
    let control = runtime_dir().join("control");
    let control = control.to_str().expect("UTF-8");
    let waiting = twotrip(&["tell", "--wait-ready", "--control", control, "key off"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .expect("started");
    let _car = Car::start(&["run", CAR, "--bus", &bus(), "--control", control]);
    let told = waiting.wait_with_output().expect("it ends");
    assert!(told.status.success(), "{told:?}");
    let ran = run(&["tell", "--wait-ready", "--json", "--control", control]).expect(0);
    assert_eq!(ran.json_lines()[0]["key_on"], false, "{}", ran.tale());
    let missing = runtime_dir().join("missing");
    let missing = missing.to_str().expect("UTF-8");
    run(&["tell", "--wait-ready=60ms", "--control", missing])
        .expect(3)
        .complains("no car is running at");
    run(&["tell"]).expect(2).complains("PHRASES");
}

#[test]
fn a_car_ends_with_the_process_that_it_is_there_for() {
    let mut other = Command::new("sleep").arg("1000").spawn().expect("started");
    let id = other.id().to_string();
    let mut car = Car::start(&["run", CAR, "--bus", &bus(), "--json", "--until-exit", &id]);
    run(&["tell", "key off"]).expect(0);
    other.kill().expect("our child");
    other.wait().expect("our child");
    let rest = car.rest();
    assert!(rest.contains("\"reason\":\"left alone\""), "{rest}");
    // One that has ended before is no reason to stay.
    let ran = run(&["run", CAR, "--bus", &bus(), "--until-exit", &id]).expect(0);
    assert!(ran.stderr.contains("left alone"), "{}", ran.tale());
}

#[test]
fn a_car_that_nobody_wants_anything_of_ends() {
    let ran = run(&["run", CAR, "--bus", &bus(), "--until-idle", "200ms"]).expect(0);
    assert!(ran.stderr.contains("idle: 0 requests"), "{}", ran.tale());
    // What takes time is no idleness: this drive takes longer than the patience.
    let bus = bus();
    let mut car = Car::start(&[
        "run",
        CAR,
        "--bus",
        &bus,
        "--until-idle",
        "1s",
        "--pace",
        "100",
        "--json",
    ]);
    run(&["tell", "start", "wait 150 s"]).expect(0);
    let rest = car.rest();
    assert!(
        rest.contains("wait 150 s") && rest.contains("\"reason\":\"idle\""),
        "{rest}"
    );
}

#[test]
fn a_supervisor_hears_of_the_beginning_and_the_end() {
    let path = runtime_dir().join("notify");
    let supervisor = UnixDatagram::bind(&path).expect("bound");
    supervisor
        .set_read_timeout(Some(PATIENCE))
        .expect("a socket has one");
    let hear = || {
        let mut message = [0; 256];
        let length = supervisor.recv(&mut message).expect("told");
        String::from_utf8_lossy(&message[..length]).into_owned()
    };
    let bus = bus();
    let mut command = twotrip(&["run", CAR, "--bus", &bus]);
    command.env("NOTIFY_SOCKET", &path);
    let car = Car::spawn(command);
    assert_eq!(hear(), format!("READY=1\nSTATUS={CAR} on {bus}\n"));
    let (code, _, _) = car.stop("-TERM");
    assert_eq!(code, Some(0));
    assert!(hear().starts_with("STOPPING=1\n"));
}
