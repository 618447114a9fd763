//! What a tester did, as `run --report`, `tell "report"` and `explain` tell it, of a good tester and of a bad one.

use std::{
    fs,
    io::{Read as _, Write as _},
    os::unix::net::UnixStream,
    path::PathBuf,
    thread,
    time::{Duration, SystemTime},
};

use crate::support::{Car, bus, run, runtime_dir};

/// linux/can.h `struct canfd_frame`, little-endian.
fn record(identifier: u32, data: &[u8]) -> [u8; 72] {
    let mut record = [0; 72];
    record[..4].copy_from_slice(&identifier.to_le_bytes());
    record[4] = u8::try_from(data.len()).expect("short");
    record[8..8 + data.len()].copy_from_slice(data);
    record
}

/// A tester on an embedded bus that knows nothing but bytes.
struct Tester(UnixStream);

impl Tester {
    fn join(bus: &str) -> Self {
        let name = bus.strip_prefix("local:").expect("an embedded bus");
        let socket = runtime_dir().join(format!("twotrip/bus-{name}.sock"));
        let mut stream = UnixStream::connect(socket).expect("the car listens");
        let patience = Some(Duration::from_secs(30));
        stream.set_read_timeout(patience).expect("a socket has one");
        let mut hello = [0; 72];
        hello[..7].copy_from_slice(b"TWOTRIP");
        hello[7] = 1;
        hello[8..8 + name.len()].copy_from_slice(name.as_bytes());
        stream.write_all(&hello).expect("sent");
        let mut tester = Self(stream);
        assert_eq!(tester.hear(), hello);
        tester
    }

    fn say(&mut self, identifier: u32, data: &[u8]) {
        self.0.write_all(&record(identifier, data)).expect("sent");
    }

    fn hear(&mut self) -> [u8; 72] {
        let mut record = [0; 72];
        self.0.read_exact(&mut record).expect("a record comes");
        record
    }

    /// Clears without having read, mixes masks with data, asks for the VIN and steers its answer by 7DF, sends short frames.
    fn misbehave(bus: &str) {
        const P2: Duration = Duration::from_millis(80);
        let mut tester = Self::join(bus);
        tester.say(0x7DF, &[1, 0x04, 0, 0, 0, 0, 0, 0]);
        tester.hear();
        thread::sleep(P2);
        tester.say(0x7DF, &[3, 0x01, 0x00, 0x0C, 0, 0, 0, 0]);
        thread::sleep(P2);
        tester.say(0x7DF, &[2, 0x09, 0x02, 0, 0, 0, 0, 0]);
        tester.hear();
        tester.say(0x7DF, &[0x30, 0, 0, 0, 0, 0, 0, 0]);
        thread::sleep(2 * P2);
        tester.say(0x7DF, &[1, 0x03]);
        thread::sleep(P2);
    }
}

/// What a machine that is busy enough makes a tester break, and a test cannot hold it to.
const TIMED: [&str; 3] = ["patience", "flow-control-slow", "flow-control-late"];
const BROKEN: [&str; 4] = [
    "request-mixed",
    "flow-control-to-all",
    "frame-length",
    "cleared-unread",
];

fn file(name: &str) -> PathBuf {
    runtime_dir().join(name)
}

/// The report of a run, as text.
fn reported(name: &str, visit: impl FnOnce(&str)) -> String {
    let bus = bus();
    let path = file(name);
    let path = path.to_str().expect("UTF-8");
    let car = Car::start(&["run", "healthy", "--bus", &bus, "--seed", "5", "--report", path]);
    visit(&bus);
    let (code, ..) = car.stop("-INT");
    assert_eq!(code, Some(0));
    fs::read_to_string(path).expect("it was written")
}

/// The rules that a tester broke, but for those of time.
fn untimed(tester: &serde_json::Value) -> Vec<&serde_json::Value> {
    let rules = tester["breaches"].as_array().expect("a list").iter();
    let is_timed = |breaches: &&serde_json::Value| {
        breaches["rule"]
            .as_str()
            .is_some_and(|rule| TIMED.contains(&rule))
    };
    rules.filter(|breaches| !is_timed(breaches)).collect()
}

#[test]
fn a_report_names_every_rule_that_a_bad_tester_broke() {
    let text = reported("bad.json", Tester::misbehave);
    let report: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(report["scenario"], "healthy");
    assert_eq!(report["seed"], 5);
    assert_eq!(report["not_physical"], false);
    let conduct = &report["conduct"];
    let tester = &conduct["testers"][0];
    let rules = untimed(tester);
    for rule in BROKEN {
        let breaches = rules.iter().find(|breaches| breaches["rule"] == rule);
        let breaches = breaches.unwrap_or_else(|| panic!("no {rule} in {text}"));
        assert!(
            breaches["count"].as_u64() >= Some(1) && breaches["source"].is_string(),
            "{text}"
        );
        assert!(breaches["examples"][0]["time_s"].as_f64() > Some(0.0), "{text}");
    }
    assert_eq!(rules.len(), BROKEN.len(), "{text}");
    assert_eq!(tester["requests"], 4, "{text}");
}

#[test]
fn a_build_server_sees_a_failure_for_each_violation() {
    let text = reported("bad.xml", Tester::misbehave);
    assert!(text.matches("<failure ").count() >= 3, "{text}");
    assert!(
        text.contains("<failure message=\"tester with 11-bit identifiers: violation request-mixed"),
        "{text}"
    );
    assert!(text.contains("unwise cleared-unread"), "{text}");
}

#[test]
fn the_built_in_tester_gives_no_cause_for_complaint() {
    let scan = |bus: &str| {
        for what in ["all", "clear"] {
            run(&["scan", what, "--bus", bus]).expect(0);
        }
    };
    let text = reported("good.json", scan);
    let report: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let [tester] = &report["conduct"]["testers"].as_array().expect("a list")[..] else {
        panic!("one tester: {text}")
    };
    assert!(tester["requests"].as_u64() > Some(20), "{text}");
    assert_eq!(untimed(tester).len(), 0, "{text}");
}

#[test]
fn a_report_for_people_says_who_asked_what_and_what_to_mind() {
    for name in ["good.md", "good.html"] {
        let text = reported(name, |bus| drop(run(&["scan", "codes", "--bus", bus]).expect(0)));
        for part in ["What the tester did", "$03 once", "confirmed: none", "exhaust"] {
            assert!(text.contains(part), "no {part}: {text}");
        }
    }
}

#[test]
fn a_running_car_tells_what_the_tester_did_so_far() {
    let bus = bus();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    run(&["tell", "report"])
        .expect(0)
        .says("nobody has asked anything");
    Tester::misbehave(&bus);
    let told = run(&["tell", "report"]).expect(0);
    for rule in BROKEN {
        assert!(told.stdout.contains(rule), "{rule}: {}", told.tale());
    }
    let json = run(&["tell", "report", "--json"]).expect(0);
    assert!(json.stdout.contains("\"violations\":"), "{}", json.tale());
}

/// A car that did not run for a while hears two questions at once that were a good while apart. Whose frames say when they were sent
/// is not blamed for it.
#[test]
fn a_car_that_stood_still_blames_nobody_who_says_when_it_sent() {
    for says in [true, false] {
        let bus = bus();
        let path = file(&format!("late-{says}.json"));
        let path = path.to_str().expect("UTF-8");
        let car = Car::start(&["run", "healthy", "--bus", &bus, "--report", path]);
        let mut tester = Tester::join(&bus);
        car.signal("-STOP");
        for place in 0..2 {
            let mut record = record(0x7DF, &[2, 0x01, 0x0C, 0, 0, 0, 0, 0]);
            if says {
                let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
                let now = u64::try_from(now.expect("after 1970").as_nanos()).expect("before 2554");
                record[64..].copy_from_slice(&now.to_le_bytes());
            }
            tester.0.write_all(&record).expect("sent");
            if place == 0 {
                thread::sleep(Duration::from_millis(80));
            }
        }
        car.signal("-CONT");
        thread::sleep(Duration::from_millis(200));
        let (code, ..) = car.stop("-INT");
        assert_eq!(code, Some(0));
        let text = fs::read_to_string(path).expect("it was written");
        let report: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(report["conduct"]["testers"][0]["requests"], 2, "{text}");
        assert_eq!(text.contains("\"patience\""), !says, "{text}");
    }
}

/// The same recording, the same judgement.
#[test]
fn a_recording_is_judged_as_the_run_was() {
    let bus = bus();
    let path = file("bad.pcapng");
    let path = path.to_str().expect("UTF-8");
    let car = Car::start(&["run", "healthy", "--bus", &bus, "--record", path]);
    Tester::misbehave(&bus);
    car.stop("-INT");
    let told = run(&["explain", path]).expect(0);
    for rule in BROKEN {
        assert!(told.stdout.contains(rule), "{rule}: {}", told.tale());
    }
    let json = run(&["explain", path, "--json"]).expect(0);
    let lines = json.json_lines();
    let conduct = lines
        .iter()
        .find(|line| line["kind"] == "conduct")
        .expect("a line");
    assert!(
        conduct["conduct"]["violations"].as_u64() >= Some(3),
        "{}",
        json.tale()
    );
}

#[test]
fn what_a_report_cannot_be_is_said_before_the_car_runs() {
    run(&[
        "run",
        "healthy",
        "--bus",
        &bus(),
        "--report",
        "result.txt",
        "--for",
        "1s",
    ])
    .expect(2)
    .complains(".json, .xml (JUnit), .md or .html");
    run(&[
        "run",
        "healthy",
        "--bus",
        &bus(),
        "--report",
        "no/such/folder.xml",
        "--for",
        "1s",
    ])
    .expect(3)
    .complains("cannot write the report to `no/such/folder.xml`");
}

/// About a tester only a running car knows anything.
#[test]
fn a_story_has_no_tester() {
    let path = file("story.toml");
    let text = "version = 1\ntitle = 'x'\nvehicle = 'compact-2.0'\n[story]\nbefore = 'report'\n";
    fs::write(&path, text).expect("writable");
    let ran = run(&[
        "run",
        path.to_str().expect("UTF-8"),
        "--bus",
        &bus(),
        "--for",
        "10ms",
    ])
    .expect(1);
    assert!(ran.stdout.contains("twotrip tell"), "{}", ran.tale());
}
