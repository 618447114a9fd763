//! The embedded bus as strangers meet it: bare sockets and the README's Python client, against the program itself.

use std::{
    fs,
    io::{Read as _, Write as _},
    os::unix::{
        fs::DirBuilderExt as _,
        net::{UnixListener, UnixStream},
    },
    path::PathBuf,
    process::Command,
    thread,
    time::Duration,
};

use crate::{
    readme,
    support::{Car, bus, run, runtime_dir},
};

const VERSION: u8 = 1;

/// Where the car's documentation says that its socket is.
fn socket(bus: &str) -> PathBuf {
    runtime_dir().join(format!("twotrip/bus-{}.sock", name(bus)))
}

fn name(bus: &str) -> &str {
    bus.strip_prefix("local:").expect("an embedded bus")
}

fn hello(bus: &str, version: u8) -> [u8; 72] {
    let mut record = [0; 72];
    record[..7].copy_from_slice(b"TWOTRIP");
    record[7] = version;
    record[8..8 + name(bus).len()].copy_from_slice(name(bus).as_bytes());
    record
}

/// linux/can.h `struct canfd_frame`, little-endian.
fn frame(identifier: u32, data: &[u8]) -> [u8; 72] {
    let mut record = [0; 72];
    record[..4].copy_from_slice(&identifier.to_le_bytes());
    record[4] = u8::try_from(data.len()).expect("short");
    record[8..8 + data.len()].copy_from_slice(data);
    record
}

/// A member of the bus that knows nothing but bytes.
fn join(bus: &str) -> UnixStream {
    let mut stream = UnixStream::connect(socket(bus)).expect("the car listens");
    let patience = Some(Duration::from_secs(30));
    stream.set_read_timeout(patience).expect("a socket has one");
    stream.write_all(&hello(bus, VERSION)).expect("sent");
    assert_eq!(read(&mut stream), hello(bus, VERSION));
    stream
}

fn read(stream: &mut UnixStream) -> [u8; 72] {
    let mut record = [0; 72];
    stream.read_exact(&mut record).expect("a record comes");
    record
}

#[test]
fn a_second_car_is_told_who_has_the_name() {
    let bus = bus();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    let ran = run(&["run", "healthy", "--bus", &bus]).expect(3);
    for part in [
        bus.as_str(),
        "already running",
        "(process `",
        "choose another name",
    ] {
        assert!(ran.stderr.contains(part), "{part}: {}", ran.tale());
    }
    run(&["scan", "codes", "--bus", &bus]).expect(0);
}

#[test]
fn a_car_of_another_version_is_named_with_what_to_do() {
    let bus = bus();
    let folder = runtime_dir().join("twotrip");
    fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)
        .expect("made");
    let listener = UnixListener::bind(socket(&bus)).expect("bound");
    let answer = hello(&bus, 2);
    let car = thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("accepted");
        stream.write_all(&answer).expect("answered");
        read(&mut stream)
    });
    run(&["scan", "codes", "--bus", &bus])
        .expect(3)
        .complains("speaks version `2` of the embedded bus where this program speaks `1`")
        .complains("use the same version of twotrip for both");
    assert_eq!(car.join().expect("done"), hello(&bus, VERSION));
}

#[test]
fn clients_that_do_not_fit_are_turned_away_and_named() {
    let bus = bus();
    let car = Car::start(&["run", "healthy", "--bus", &bus]);
    let mut newer = UnixStream::connect(socket(&bus)).expect("the car listens");
    newer.write_all(&hello(&bus, 2)).expect("sent");
    let mut bytes = Vec::new();
    newer.read_to_end(&mut bytes).expect("closed");
    assert_eq!(bytes, hello(&bus, VERSION), "it learns the car's version");
    // At once after it, so that its complaint has to stand beside the other.
    let mut stranger = UnixStream::connect(socket(&bus)).expect("the car listens");
    stranger.write_all(&[b'x'; 72]).expect("sent");
    stranger.read_to_end(&mut bytes).expect("closed");
    let (code, _, stderr) = car.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    for complaint in ["it speaks version `2`", "its first 72 bytes are no hello"] {
        let complaint = format!("a client was turned away: {complaint}");
        assert!(stderr.contains(&complaint), "{stderr}");
    }
}

#[test]
fn a_full_bus_says_so_and_the_members_stay() {
    let bus = bus();
    let car = Car::start(&["run", "healthy", "--bus", &bus]);
    let mut members: Vec<_> = (0..64).map(|_| join(&bus)).collect();
    run(&["scan", "codes", "--bus", &bus])
        .expect(3)
        .complains("it has `64` clients already");
    members.pop();
    run(&["scan", "codes", "--bus", &bus]).expect(0);
    // The first member has heard the request of the scan that was let in.
    assert_eq!(read(&mut members[0])[..4], 0x7DF_u32.to_le_bytes());
    let (_, _, stderr) = car.stop("-INT");
    assert!(
        stderr.contains("a client was turned away: there are `64` already"),
        "{stderr}"
    );
}

#[test]
fn a_client_that_dies_in_the_middle_of_a_record_disturbs_nobody() {
    let bus = bus();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    let mut dying = join(&bus);
    let request = frame(0x7DF, &[2, 1, 0, 0, 0, 0, 0, 0]);
    dying.write_all(&request).expect("sent");
    dying.write_all(&request[..40]).expect("sent");
    drop(dying);
    run(&["scan", "codes", "--bus", &bus]).expect(0).says("no");
}

#[test]
fn a_client_that_does_not_read_is_told_what_it_missed_and_delays_nobody() {
    const FRAMES: u32 = 20_000;
    let bus = bus();
    let car = Car::start(&["run", "healthy", "--bus", &bus]);
    let (mut slow, mut loud) = (join(&bus), join(&bus));
    for number in 0..FRAMES {
        let record = frame(0x123, &number.to_be_bytes());
        loud.write_all(&record).expect("the car takes it");
    }
    run(&["scan", "codes", "--bus", &bus]).expect(0);
    // linux/can/error.h: CAN_ERR_FLAG, CAN_ERR_CRTL, CAN_ERR_CRTL_RX_OVERFLOW.
    let overflow = frame(0x2000_0004, &[0, 0x01, 0, 0, 0, 0, 0, 0]);
    let mut kept = 0;
    loop {
        let record = read(&mut slow);
        if record == overflow {
            break;
        }
        assert_eq!(
            record,
            frame(0x123, &u32::to_be_bytes(kept)),
            "whole and in order"
        );
        kept += 1;
    }
    assert!((4096..FRAMES).contains(&kept), "{kept}");
    let (_, _, stderr) = car.stop("-INT");
    assert!(
        stderr.contains(" lost (no frame, or not read by a slow client)"),
        "{stderr}"
    );
}

#[test]
fn fifty_clients_hear_one_conversation() {
    let bus = bus();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    let mut members: Vec<_> = (0..50).map(|_| join(&bus)).collect();
    run(&["scan", "vehicle", "--bus", &bus])
        .expect(0)
        .says("0TW00TRP3A0000042");
    let mut heard = |count: usize| -> Vec<Vec<[u8; 72]>> {
        let one = |member: &mut UnixStream| (0..count).map(|_| read(member)).collect();
        members.iter_mut().map(one).collect()
    };
    // At least who is there, which car it is, and its flow control.
    let all = heard(8);
    assert_eq!(all[0][0][..4], 0x7DF_u32.to_le_bytes());
    assert!(all.iter().all(|one| *one == all[0]), "one order for all");
}

/// The README's client, as it stands there, reads the VIN.
#[test]
fn the_python_client_of_the_readme_reads_the_vin() {
    let programs = readme::blocks(&readme::readme(), "python");
    let [program] = &programs[..] else {
        panic!("the README has {} Python programs", programs.len())
    };
    let lines = program.lines().filter(|line| !line.trim().is_empty()).count();
    assert!(lines <= 20, "twenty lines, not {lines}");
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("vin.py");
    fs::write(&path, program).expect("written");
    let bus = bus();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    let output = Command::new("python3")
        .arg(&path)
        .arg(name(&bus))
        .env("XDG_RUNTIME_DIR", runtime_dir())
        .output()
        .expect("python3 is there");
    let (said, complained) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    assert_eq!(said.trim(), "0TW00TRP3A0000042", "{complained}");
}
