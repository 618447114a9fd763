//! Copies of recordings that can be shown to others: what is hidden, what stays, and what is refused.

use std::{fs, path::PathBuf};

use twotrip_can::{CanId, Frame};
use twotrip_capture::{Item, items, write};

use crate::support::{Ran, capture, run, runtime_dir};

const VIN: &str = "0TW00TRP3A0000042";

/// A new file in the folder of this test, by its name.
fn file(name: &str) -> PathBuf {
    runtime_dir().join(name)
}

fn redact(source: &str, out: &str) -> Ran {
    run(&["explain", source, "--redact", out])
}

/// What is said of a vehicle changes, and nothing else: neither times, nor codes, nor values, nor our own comments.
#[test]
fn only_what_identifies_changes() {
    for (name, lines) in [
        ("healthy", 0),
        ("two-ecus", 0),
        ("damaged-tail", 0),
        ("fault-found", 3),
    ] {
        let out = format!("{name}.pcapng");
        redact(&capture(name), &out)
            .expect(0)
            .says("read back and compared");
        let bytes = fs::read(file(&out)).expect("it is there");
        assert!(!bytes.windows(7).any(|piece| piece == b"0000042"), "{name}");
        for level in ["frames", "messages", "story"] {
            let told = |file: &str| run(&["explain", file, "--level", level]).expect(0).stdout;
            let (before, after) = (told(&capture(name)), told(&out));
            assert_eq!(before.lines().count(), after.lines().count(), "{name} {level}");
            if level == "messages" {
                let changed: Vec<_> = before
                    .lines()
                    .zip(after.lines())
                    .filter(|(before, after)| before != after)
                    .collect();
                assert_eq!(changed.len(), lines, "{name}: {changed:#?}");
            }
            assert!(!after.contains(VIN), "{name} {level}");
        }
    }
    // The same stand-ins again, and a machine's words for what was done.
    let ran = run(&[
        "explain",
        &capture("fault-found"),
        "--redact",
        "again.pcapng",
        "--json",
    ])
    .expect(0);
    let done = &ran.json_lines()[0];
    assert_eq!(
        (
            &done["kind"],
            &done["replaced"][0]["what"],
            &done["replaced"][0]["times"]
        ),
        (&"redacted".into(), &"VIN".into(), &1.into())
    );
    let [one, other] =
        ["fault-found.pcapng", "again.pcapng"].map(|name| fs::read(file(name)).expect("written"));
    assert_eq!(one, other);
}

#[test]
fn a_copy_takes_no_other_files_place() {
    let source = capture("healthy");
    let before = fs::read(&source).expect("committed");
    redact(&source, &source).expect(2).complains("left as it is");
    assert_eq!(fs::read(&source).expect("still there"), before);
    fs::write(file("there.txt"), "mine").expect("writable");
    redact(&source, "there.txt").expect(2).complains("there.txt");
    assert_eq!(fs::read_to_string(file("there.txt")).expect("there"), "mine");
    redact("nobody.pcapng", "out.pcapng")
        .expect(2)
        .complains("cannot read");
    redact(&source, "no-folder/out.pcapng")
        .expect(3)
        .complains("cannot write");
    fs::write(file("letter.txt"), "Dear reader").expect("writable");
    redact("letter.txt", "out.pcapng")
        .expect(2)
        .complains("begins like no recording");
    redact("/dev/null", "out.pcapng")
        .expect(2)
        .complains("record it into a file first");
    run(&["explain", &source, "--redact", "out.pcapng", "--from", "2"]).expect(2);
    run(&["explain", "--bus", "local:x", "--redact", "out.pcapng"]).expect(2);
    let left: Vec<_> = fs::read_dir(runtime_dir())
        .expect("a folder")
        .filter_map(|entry| entry.expect("readable").file_name().into_string().ok())
        .filter(|name| name.starts_with("out"))
        .collect();
    assert_eq!(left, [""; 0], "nothing is left behind");
}

/// One option of a block, in the byte order of the file.
fn option(code: u16, value: &[u8], bytes: fn(u16) -> [u8; 2]) -> Vec<u8> {
    let length = u16::try_from(value.len()).expect("short");
    let mut option = [&bytes(code)[..], &bytes(length), value].concat();
    option.resize(option.len().next_multiple_of(4), 0xEE);
    option
}

fn block(kind: u32, body: &[&[u8]], bytes: fn(u32) -> [u8; 4]) -> Vec<u8> {
    let body = body.concat();
    let length = bytes(u32::try_from(body.len() + 12).expect("short"));
    [&bytes(kind)[..], &length, &body, &length].concat()
}

/// A file as other programs write it, with names, addresses and remarks wherever there is room for them; big-endian and
/// in binary fractions of a second, or little-endian.
fn foreign(big: bool) -> Vec<u8> {
    let half: fn(u16) -> [u8; 2] = if big { u16::to_be_bytes } else { u16::to_le_bytes };
    let word: fn(u32) -> [u8; 4] = if big { u32::to_be_bytes } else { u32::to_le_bytes };
    let header = block(
        0x0A0D_0D0A,
        &[
            &word(0x1A2B_3C4D),
            &half(1),
            &half(0),
            &[0xFF; 8],
            &option(1, "Jane's car, Röhm street 5\u{1b}[2J".as_bytes(), half),
            &option(2, b"Jane's laptop", half),
            &option(3, b"Linux jane-pc 6.1", half),
            &option(4, b"logger 3 of Jane", half),
            &option(2988, b"0000Jane", half),
            &option(1, b"car: Jane bus=1", half),
            &option(1, b"run: {\"scenario\":\"/home/jane/x.toml\",\"seed\":7}", half),
        ],
        word,
    );
    let interface = block(
        1,
        &[
            &half(227),
            &half(0),
            &word(0),
            &option(2, b"jane0", half),
            &option(3, b"Jane's adapter", half),
            &option(6, &[2, 0, 0, 0xCA, 0xFE, 1], half),
            &option(9, &[0x80 | 20], half),
            &option(11, b"\0host jane", half),
        ],
        word,
    );
    let packet = |data: &[u8], ticks: u32, comment: &str| {
        let length = word(u32::try_from(data.len()).expect("short"));
        let mut padded = data.to_vec();
        padded.resize(data.len().next_multiple_of(4), 0x77);
        let options = [option(2, &word(1), half), option(1, comment.as_bytes(), half)].concat();
        block(
            6,
            &[
                &word(0),
                &word(0),
                &word(ticks),
                &length,
                &length,
                &padded,
                &options,
            ],
            word,
        )
    };
    let frame = |id: u32, data: &[u8]| {
        [
            &id.to_be_bytes()[..],
            &[u8::try_from(data.len()).expect("short"), 0, 0, 0],
            data,
        ]
        .concat()
    };
    let mut file = [header, interface].concat();
    let first = [&[0x10, 20, 0x49, 2, 1], &VIN.as_bytes()[..3]].concat();
    for (ticks, data, comment) in [
        (1, frame(0x7DF, &[2, 9, 2, 0, 0, 0, 0, 0]), "Jane asks"),
        (2_000, frame(0x7E8, &first), "car: bus=1.5 car=2.5 pending P0455"),
        (
            3_000,
            frame(0x7E0, &[0x30, 0, 0]),
            "car: bus=1.5 car=2.5 done `key on # for Jane`",
        ),
        (
            4_000,
            frame(0x7E8, &[&[0x21], &VIN.as_bytes()[3..10]].concat()),
            "x",
        ),
        (
            5_000,
            frame(0x7E8, &[&[0x22], &VIN.as_bytes()[10..]].concat()),
            "y",
        ),
        // A short frame with what was in memory behind it, and no frame at all.
        (6_000, [&frame(0x123, &[1, 2])[..], b"Jane!!"].concat(), "z"),
        (7_000, b"Jane".to_vec(), "z"),
    ] {
        file.extend(packet(&data, ticks, comment));
    }
    // Names of hosts, and what somebody has invented.
    file.extend(block(4, &[b"jane-pc\0"], word));
    file.extend(block(0xBAD, &[b"0000Jane"], word));
    file.extend(block(
        5,
        &[
            &word(0),
            &word(0),
            &word(9_000),
            &option(5, &[0; 8], half),
            &option(1, b"Jane's end", half),
        ],
        word,
    ));
    file
}

#[test]
fn nothing_that_somebody_has_written_is_left() {
    for big in [false, true] {
        let name = if big { "big.pcapng" } else { "little.pcapng" };
        let source = foreign(big);
        fs::write(file(name), &source).expect("writable");
        let out = format!("out-{name}");
        redact(name, &out)
            .expect(0)
            .says("VIN: replaced once")
            .says("left out 4")
            .says("set to zero 1");
        let copy = fs::read(file(&out)).expect("written");
        let lower = copy.to_ascii_lowercase();
        for secret in [
            "jane", "street", "laptop", "adapter", "logger", "0000042", "x.toml",
        ] {
            let there = lower
                .windows(secret.len())
                .any(|piece| piece == secret.as_bytes());
            assert!(!there, "{secret} in {name}");
        }
        assert!(
            !copy
                .windows(3)
                .any(|piece| piece == [0x77; 3] || piece == [0xEE; 3]),
            "padding"
        );
        let comments: Vec<String> = items(&copy)
            .filter_map(|item| match item.expect("readable") {
                Item::Packet(packet) => packet.comments().next().map(String::from),
                _ => None,
            })
            .collect();
        assert_eq!(
            comments[..3],
            [
                "Xxxx xxxx",
                "car: bus=1.5 car=2.5 pending P0455",
                "xxx: xxx=0.0 xxx=0.0 xxxx `xxx xx # xxx Xxxx`"
            ]
        );
        let frames = |file: &str| {
            let lines = run(&["explain", file, "--level", "frames", "--json"])
                .expect(0)
                .json_lines();
            let kept = lines.into_iter().filter(|line| line["kind"] == "frame");
            kept.map(|mut line| {
                line["data"].take();
                line["interface"].take();
                line
            })
            .collect::<Vec<_>>()
        };
        assert_eq!(frames(name), frames(&out));
    }
}

/// A pcap has nothing but frames; a run of a file of one's own does not tell its name.
#[test]
fn other_formats_and_names_of_files() {
    let mut pcap = Vec::new();
    for word in [0xA1B2_3C4D_u32, 0x0004_0002, 0, 0, 72, 227] {
        pcap.extend(word.to_be_bytes());
    }
    pcap[4..8].copy_from_slice(&[0, 2, 0, 4]);
    for word in [5_u32, 6, 16, 16, 0x7E8] {
        pcap.extend(word.to_be_bytes());
    }
    pcap.extend([8, 0, 0, 0, 7, 0x49, 6, 1, 0xDE, 0xAD, 0xBE, 0xEF]);
    fs::write(file("old.pcap"), &pcap).expect("writable");
    redact("old.pcap", "new.pcap")
        .expect(0)
        .says("numbers: replaced once");
    let copy = fs::read(file("new.pcap")).expect("written");
    assert_eq!((copy.len(), &copy[..52]), (pcap.len(), &pcap[..52]));
    assert_ne!(copy[52..], pcap[52..]);

    let mut made = Vec::new();
    let comments = ["run: {\"format\":1,\"scenario\":\"my/car.toml\",\"seed\":7,\"pace\":\"10\"}"];
    let section = write::Section {
        application: "twotrip 0.1.0",
        system: "linux",
        comments: &comments,
    };
    write::section(&mut made, &section);
    for name in ["local:me", "local:us", "can0"] {
        let interface = write::Interface {
            name,
            ..Default::default()
        };
        write::interface(&mut made, &interface);
    }
    let frame = Frame::padded(CanId::Standard(0x7DF), &[1, 3], 0);
    let packet = write::Packet {
        interface: 0,
        at: 1,
        direction: None,
        dropped: 3,
        frame: &frame,
    };
    // Nothing stays of the journal but that there was one.
    let journal = [
        "time: 0 began \"live\" @0.017700586, told \"key on\" @=, heard 000007DF080000000201000000000000 @=",
        "time: 3 heard 000007E0080000000730303030303030 @=",
        "time: 4 told \"key on # Jane\" @1.000000000",
    ];
    write::packet(&mut made, &packet, journal);
    fs::write(file("mine.pcapng"), made).expect("writable");
    redact("mine.pcapng", "theirs.pcapng").expect(0);
    let lines = run(&["explain", "theirs.pcapng", "--json"])
        .expect(0)
        .json_lines();
    assert_eq!(lines[0]["application"], "twotrip 0.1.0");
    assert_eq!(
        lines[0]["comments"][0],
        "run: {\"format\":1,\"scenario\":\"xx/xxx.xxxx\",\"seed\":7,\"pace\":\"10\"}"
    );
    let copy = fs::read(file("theirs.pcapng")).expect("written");
    let kept = |line: &str| copy.windows(line.len()).any(|piece| piece == line.as_bytes());
    assert_eq!(journal.map(kept), [false; 3]);
    let names: Vec<_> = lines[1..4]
        .iter()
        .map(|line| line["interface"].as_str().expect("a name"))
        .collect();
    assert!(
        names[0] != names[1] && names[0].starts_with("local:") && names[2] == "can0",
        "{names:?}"
    );
}
