//! The settings of ISO 15765-2, seen on the bus: a client of its own, written against the format in
//! `host/src/bus/local/mod.rs`, reads what `run` and `scan` send.

use std::{
    io::{Read as _, Write as _},
    os::unix::net::UnixStream,
    time::Duration,
};

use crate::support::{Car, bus, run, runtime_dir, twotrip};

/// The embedded bus, as a program that is not ours joins it.
pub(crate) struct Raw(UnixStream);

impl Raw {
    pub(crate) fn join(bus: &str) -> Self {
        let name = bus.strip_prefix("local:").expect("an embedded bus");
        let path = runtime_dir().join(format!("twotrip/bus-{name}.sock"));
        let mut stream = UnixStream::connect(path).expect("the car hosts the bus");
        let mut hello = [0; 72];
        hello[..8].copy_from_slice(b"TWOTRIP\x01");
        hello[8..8 + name.len()].copy_from_slice(name.as_bytes());
        stream.write_all(&hello).expect("sent");
        let mut raw = Self(stream);
        assert_eq!(raw.record(), Some(hello));
        raw
    }

    fn record(&mut self) -> Option<[u8; 72]> {
        let mut record = [0; 72];
        self.0.read_exact(&mut record).ok().map(|()| record)
    }

    pub(crate) fn send(&mut self, id: u16, data: &[u8]) {
        let mut record = [0; 72];
        record[..2].copy_from_slice(&id.to_le_bytes());
        record[4] = u8::try_from(data.len()).expect("up to eight");
        record[8..8 + data.len()].copy_from_slice(data);
        self.0.write_all(&record).expect("sent");
    }

    /// Identifier and data of the next frame, or `None` when `within` has passed.
    pub(crate) fn receive(&mut self, within: Duration) -> Option<(u16, Vec<u8>)> {
        self.0.set_read_timeout(Some(within)).expect("not zero");
        let record = self.record()?;
        let len = usize::from(record[4]);
        Some((
            u16::from_le_bytes([record[0], record[1]]),
            record[8..8 + len].to_vec(),
        ))
    }
}

const SOON: Duration = Duration::from_secs(10);

/// ISO 15765-4 (from memory): frames have eight bytes. Padding 00: common practice, no source.
#[test]
fn the_car_is_strict_and_pads_with_zeros_unless_told_otherwise() {
    let bus = bus();
    let _car = Car::start(&["run", "codes-on-demand", "--bus", &bus]);
    let mut tester = Raw::join(&bus);
    tester.send(0x7DF, &[1, 4]);
    tester.send(0x7DF, &[2, 1, 0x0D, 0, 0, 0, 0, 0]);
    let (id, data) = tester.receive(SOON).expect("an answer");
    assert_eq!(
        (id, &data[..3], &data[4..]),
        (0x7E8, &[3, 0x41, 0x0D][..], &[0; 4][..])
    );
}

#[test]
fn padding_short_frames_and_timers_are_the_users_choice() {
    let bus = bus();
    let _car = Car::start(&[
        "run",
        "codes-on-demand",
        "--bus",
        &bus,
        "--padding",
        "CC",
        "--dlc",
        "lenient",
        "--timers",
        "generic",
        "--timing",
        "fast",
    ]);
    let mut tester = Raw::join(&bus);
    tester.send(0x7DF, &[2, 1, 0x0D]);
    let (id, data) = tester.receive(SOON).expect("a short frame is a request");
    assert_eq!(
        (id, &data[..3], &data[4..]),
        (0x7E8, &[3, 0x41, 0x0D][..], &[0xCC; 4][..])
    );
    // Flow control a good deal after the 75 ms of ISO 15765-4 still finds the answer waiting.
    tester.send(0x7E0, &[2, 9, 2]);
    assert_eq!(tester.receive(SOON).map(|(_, data)| data[0]), Some(0x10));
    assert_eq!(
        tester.receive(Duration::from_millis(250)),
        None,
        "nothing before flow control"
    );
    tester.send(0x7E0, &[0x30, 0, 0]);
    assert_eq!(tester.receive(SOON).map(|(_, data)| data[0]), Some(0x21));
    assert_eq!(tester.receive(SOON).map(|(_, data)| data[0]), Some(0x22));
}

#[test]
fn scan_pads_as_told() {
    let bus = bus();
    let _car = Car::start(&["run", "codes-on-demand", "--bus", &bus]);
    let mut listener = Raw::join(&bus);
    run(&[
        "scan",
        "codes",
        "--bus",
        &bus,
        "--padding",
        "AA",
        "--timers",
        "generic",
    ])
    .expect(0);
    let request = std::iter::from_fn(|| listener.receive(SOON)).find(|(id, _)| *id == 0x7DF);
    let (_, data) = request.expect("a request");
    assert!(data.ends_with(&[0xAA; 3]) && data.len() == 8, "{data:02X?}");
}

#[test]
fn a_padding_that_is_no_byte_says_what_one_is() {
    for wrong in ["C", "CCC", "+5", "zz"] {
        let mut command = twotrip(&["run", "healthy", "--bus", "local:x", "--padding", wrong]);
        let output = command.output().expect("the program starts");
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(
            output.status.code() == Some(2) && said.contains("two hex digits"),
            "{wrong}: {said}"
        );
    }
}

/// CAN FD (ISO 15765-2:2016): the VIN, 20 bytes, in one frame of 24 and the length in its second byte; a tester on classic CAN
/// finds nobody.
#[test]
fn car_and_tester_speak_can_fd_where_they_are_told_to() {
    let bus = bus();
    let _car = Car::start(&["run", "codes-on-demand", "--bus", &bus, "--can-fd", "64"]);
    let mut onlooker = Raw::join(&bus);
    run(&["scan", "vehicle", "--bus", &bus, "--can-fd", "64"])
        .expect(0)
        .says("0TW00TRP3A0000042");
    let mut frames = std::iter::from_fn(|| onlooker.receive(SOON));
    let vin = frames.find(|(_, data)| data.starts_with(&[0x00, 20, 0x49, 0x02]));
    assert_eq!(vin.map(|(id, data)| (id, data.len())), Some((0x7E8, 24)));
    run(&["scan", "codes", "--bus", &bus])
        .expect(3)
        .complains("no ECU answers");
    run(&["scan", "codes", "--bus", &bus, "--can-fd", "13"])
        .expect(2)
        .complains("a CAN FD frame has 8, 12, 16, 20, 24, 32, 48 or 64 bytes");
}
