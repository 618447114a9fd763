//! Files that go on, turn over and run out of room; what a bus brings; comments.

use std::{
    fs, io,
    path::Path,
    sync::{Arc, Mutex},
    time::{Duration, Instant},
};

use twotrip_can::{CanId, Frame};
use twotrip_capture::{Direction, Item, items, write};

use super::{
    Found, Options, RecordingError, Rotation,
    reel::{Disk, Reel},
    tape::{Heard, Tape},
};
use crate::bus::{Filter, Selection};

const INTERFACES: [write::Interface<'_>; 2] = [
    write::Interface {
        name: "vcan0",
        description: "",
        bit_rate: None,
    },
    write::Interface {
        name: "vcan1",
        description: "",
        bit_rate: None,
    },
];

fn options(path: &Path, rotation: Rotation) -> Options {
    Options {
        path: path.to_owned(),
        rotation,
        application: "a test".to_owned(),
        ..Options::default()
    }
}

fn heard(bus: u32, number: u8) -> Heard {
    Heard {
        bus,
        at: 1_000_000_000 + u64::from(number),
        direction: Some(Direction::Inbound),
        frame: Frame::new(CanId::Standard(0x100), &[number]).expect("short"),
    }
}

/// Interfaces and first data bytes of the frames in a file, the losses before them, and all comments; the last line is
/// the damage, if there is some.
fn told(bytes: &[u8]) -> Vec<String> {
    let mut told = Vec::new();
    for item in items(bytes) {
        match item {
            Ok(Item::Packet(packet)) => {
                let frame = packet.frame().expect("a frame");
                let lost = packet.dropped().unwrap_or(0);
                told.push(format!("{}:{} lost {lost}", packet.interface, frame.data()[0]));
                told.extend(packet.comments().map(|text| format!("frame: {text}")));
            }
            Ok(Item::Statistics(counts)) => {
                told.extend(counts.options.comments().map(|text| format!("counts: {text}")));
            }
            Ok(_) => {}
            Err(damage) => told.push(damage.to_string()),
        }
    }
    told
}

#[test]
fn a_file_is_continued_and_what_was_broken_off_is_cut() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("bus.pcapng");
    let now = Instant::now();
    let record = |number| {
        let (mut tape, found) =
            Tape::open(&options(&path, Rotation::default()), &INTERFACES, now).expect("opens");
        tape.frame(&heard(1, number), now);
        tape.finish(now).expect("written");
        found
    };
    assert_eq!(record(1), None);
    let whole = fs::read(&path).expect("there");
    let length = whole.len() as u64;
    assert_eq!(record(2), Some(Found { kept: length, cut: 0 }));
    assert_eq!(
        told(&fs::read(&path).expect("there")),
        ["1:1 lost 0", "3:2 lost 0"]
    );

    // Broken off within the last block, which counts: the frame before it stays.
    fs::write(&path, &whole[..whole.len() - 3]).expect("writable");
    let found = record(3).expect("was there");
    assert!(found.kept < length - 3 && found.cut > 0, "{found:?}");
    assert_eq!(
        told(&fs::read(&path).expect("there")),
        ["1:1 lost 0", "3:3 lost 0"]
    );
}

#[test]
fn what_is_no_recording_is_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("letter.txt");
    for content in ["Dear reader", "x"] {
        fs::write(&path, content).expect("writable");
        let opened = Tape::open(&options(&path, Rotation::default()), &INTERFACES, Instant::now());
        assert!(
            matches!(opened, Err(RecordingError::NotOurs { .. })),
            "{opened:?}"
        );
        assert_eq!(fs::read_to_string(&path).expect("there"), content);
    }
    let missing = folder.path().join("no/such/folder.pcapng");
    let opened = Tape::open(
        &options(&missing, Rotation::default()),
        &INTERFACES,
        Instant::now(),
    );
    assert!(matches!(opened, Err(RecordingError::Open { .. })), "{opened:?}");
}

#[test]
fn files_turn_over_and_the_oldest_go() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("bus.pcapng");
    // Not one of ours: it stays.
    fs::write(folder.path().join("bus-x.pcapng"), "mine").expect("writable");
    let rotation = Rotation {
        size: Some(600),
        every: None,
        keep: Some(1500),
    };
    let mut now = Instant::now();
    let (mut tape, _) = Tape::open(&options(&path, rotation), &INTERFACES, now).expect("opens");
    for number in 0..100 {
        tape.frame(&heard(0, number), now);
        now += Duration::from_millis(500);
        tape.tick(now, 0);
    }
    let counts = tape.finish(now).expect("written");
    assert_eq!(counts.frames, 100);
    assert!(counts.files > 10, "{counts:?}");
    let mut names: Vec<String> = fs::read_dir(folder.path())
        .expect("there")
        .map(|entry| entry.expect("listed").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert_eq!(names.last().map(String::as_str), Some("bus-x.pcapng"));
    names.pop();
    assert_eq!(names.last(), Some(&format!("bus-{:04}.pcapng", counts.files)));
    let sizes: u64 = names
        .iter()
        .map(|name| fs::metadata(folder.path().join(name)).expect("there").len())
        .sum();
    // The present file is never among those that go, and was empty when the last one went.
    assert!(sizes <= 1500 + 1000, "{sizes}: {names:?}");
    // Each is a recording by itself, and none of the last frames is missing.
    let frames: Vec<String> = names
        .iter()
        .flat_map(|name| told(&fs::read(folder.path().join(name)).expect("there")))
        .collect();
    let last: Vec<String> = (100 - frames.len()..100)
        .map(|number| format!("0:{number} lost 0"))
        .collect();
    assert_eq!(frames, last);
    // The next recording takes the next number.
    let (tape, found) = Tape::open(&options(&path, rotation), &INTERFACES, now).expect("opens");
    assert_eq!(found, None);
    assert!(
        tape.path()
            .ends_with(format!("bus-{:04}.pcapng", counts.files + 1))
    );
}

#[test]
fn a_file_turns_over_by_time() {
    let folder = tempfile::tempdir().expect("a folder");
    let rotation = Rotation {
        every: Some(Duration::from_secs(10)),
        ..Rotation::default()
    };
    let mut now = Instant::now();
    let path = folder.path().join("bus.pcapng");
    let (mut tape, _) = Tape::open(&options(&path, rotation), &INTERFACES, now).expect("opens");
    for number in 0..60 {
        tape.frame(&heard(0, number), now);
        now += Duration::from_secs(1);
        tape.tick(now, 0);
    }
    assert_eq!(tape.finish(now).expect("written").files, 7);
}

/// A disk that takes so many bytes, shared with the test.
#[derive(Clone, Debug, Default)]
struct Full(Arc<Mutex<(Vec<u8>, usize)>>);

impl Full {
    fn with<T>(&self, look: impl FnOnce(&mut (Vec<u8>, usize)) -> T) -> T {
        look(&mut self.0.lock().expect("one thread"))
    }
}

impl Disk for Full {
    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.with(|(file, room)| {
            let taken = bytes.len().min(*room - file.len());
            file.extend(&bytes[..taken]);
            if taken < bytes.len() {
                return Err(io::ErrorKind::StorageFull.into());
            }
            Ok(())
        })
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.with(|(file, _)| file.truncate(usize::try_from(length).expect("short")));
        Ok(())
    }
}

/// A recording on a disk with room for so many bytes.
fn with_room_for(bytes: usize, now: Instant) -> (Full, Tape) {
    let disk = Full::default();
    disk.with(|(_, room)| *room = bytes);
    let options = options(Path::new("test"), Rotation::default());
    let tape = Tape::new(Reel::on(Box::new(disk.clone())), &options, &INTERFACES, now);
    (disk, tape.expect("the header fits"))
}

#[test]
fn a_full_disk_loses_frames_and_says_how_many() {
    let mut now = Instant::now();
    let (disk, mut tape) = with_room_for(1000, now);
    let mut news = Vec::new();
    let mut recorded = 0_u32;
    // Some 60 bytes a frame: the disk is full at once, the room for what waits is after a while.
    while news.is_empty() || recorded < 100_000 {
        for _ in 0..1000 {
            tape.frame(&heard(0, 7), now);
            recorded += 1;
        }
        now += Duration::from_millis(400);
        tape.tick(now, 0);
        news.extend(tape.news());
    }
    let [Err(error)] = news.as_slice() else {
        panic!("{news:?}");
    };
    assert_eq!(error.kind(), io::ErrorKind::StorageFull);
    let lost = tape.counts().dropped;
    assert!(lost > 10_000, "{lost}");
    assert!(
        items(&disk.with(|(file, _)| file.clone())).all(|item| item.is_ok()),
        "whole blocks only"
    );

    // Room again: nothing more is lost, and the next frame says what is missing before it.
    disk.with(|(_, room)| *room = usize::MAX);
    now += Duration::from_secs(2);
    tape.tick(now, 0);
    assert!(matches!(tape.news(), Some(Ok(()))));
    tape.frame(&heard(0, 8), now);
    let counts = tape.finish(now).expect("written");
    assert_eq!(counts.frames + lost, u64::from(recorded) + 1);
    let file = disk.with(|(file, _)| file.clone());
    assert_eq!(told(&file).last(), Some(&format!("0:8 lost {lost}")));
}

#[test]
fn the_end_that_does_not_fit_is_an_error() {
    let now = Instant::now();
    let (disk, mut tape) = with_room_for(400, now);
    for number in 0..20 {
        tape.frame(&heard(0, number), now);
    }
    let error = tape.finish(now).expect_err("no room");
    assert!(
        matches!(error, RecordingError::Write { unsaved: 20, .. }),
        "{error}"
    );
    assert!(items(&disk.with(|(file, _)| file.clone())).all(|item| item.is_ok()));
}

#[test]
fn losses_of_a_bus_stand_at_its_next_frame() {
    let now = Instant::now();
    let (disk, mut tape) = with_room_for(usize::MAX, now);
    tape.lost(1, 5);
    tape.frame(&heard(0, 1), now);
    tape.lost(1, 2);
    tape.frame(&heard(1, 2), now);
    tape.frame(&heard(1, 3), now);
    assert_eq!(tape.finish(now).expect("written").dropped, 7);
    let file = disk.with(|(file, _)| file.clone());
    assert_eq!(told(&file), ["0:1 lost 0", "1:2 lost 7", "1:3 lost 0"]);
}

/// On a quiet bus a comment is on the disk within a second, and stands at the next frame all the same.
#[test]
fn comments_are_never_lost_and_stand_at_frames() {
    let mut now = Instant::now();
    let (disk, mut tape) = with_room_for(usize::MAX, now);
    tape.comment("at once".to_owned(), now);
    tape.frame(&heard(0, 1), now);
    tape.comment("in the quiet".to_owned(), now);
    for _ in 0..10 {
        now += Duration::from_millis(100);
        tape.tick(now, 0);
    }
    let so_far = disk.with(|(file, _)| told(file));
    assert_eq!(so_far, ["0:1 lost 0", "frame: at once", "counts: in the quiet"]);
    tape.frame(&heard(0, 2), now);
    tape.comment("last".to_owned(), now);
    tape.finish(now).expect("written");
    let all = disk.with(|(file, _)| told(file));
    assert_eq!(all[3..], ["0:2 lost 0", "frame: in the quiet", "counts: last"]);
}

/// Without frames comments do not pile up.
#[test]
fn comments_without_end_take_no_memory_without_end() {
    let now = Instant::now();
    let (disk, mut tape) = with_room_for(usize::MAX, now);
    for number in 0..2000 {
        tape.comment(number.to_string(), now);
    }
    tape.frame(&heard(0, 1), now);
    tape.finish(now).expect("written");
    let all = disk.with(|(file, _)| told(file));
    let saved = all.iter().filter(|line| line.starts_with("counts")).count();
    let attached = all.iter().filter(|line| line.starts_with("frame")).count();
    assert!(
        saved + attached >= 2000 && attached < 256,
        "{saved} saved, {attached} at the frame"
    );
}

/// Nor do they while the disk takes nothing.
#[test]
fn a_full_disk_holds_no_comments_without_end() {
    let mut now = Instant::now();
    let (disk, mut tape) = with_room_for(1000, now);
    let long = "x".repeat(60_000);
    for _ in 0..1000 {
        tape.comment(long.clone(), now);
        now += Duration::from_secs(1);
        tape.tick(now, 0);
    }
    disk.with(|(_, room)| *room = usize::MAX);
    tape.finish(now).expect("written");
    // Four megabytes wait for the disk, and 256 comments for a frame.
    let length = disk.with(|(file, _)| file.len());
    assert!((4 << 20..21_000_000).contains(&length), "{length}");
}

#[test]
fn a_selection_is_written_one_way() {
    let frame = |id| Frame::new(id, &[]).expect("empty");
    let [short, other, long] = [
        CanId::Standard(0x7E8),
        CanId::Standard(0x7DF),
        CanId::Extended(0x18DA_F110),
    ]
    .map(frame);
    let selection = |only: &[&str], drop: &[&str]| {
        let read = |texts: &[&str]| {
            texts
                .iter()
                .map(|text| text.parse().expect("a filter"))
                .collect::<Vec<Filter>>()
        };
        let selection = Selection {
            only: read(only),
            drop: read(drop),
        };
        [&short, &other, &long].map(|frame| selection.passes(frame))
    };
    assert_eq!(selection(&[], &[]), [true; 3]);
    assert_eq!(selection(&["7e8"], &[]), [true, false, false]);
    assert_eq!(selection(&["7E0:7F0"], &[]), [true, false, false]);
    assert_eq!(selection(&["700:700"], &["7DF"]), [true, false, false]);
    assert_eq!(selection(&["18DAF110", "7DF"], &[]), [false, true, true]);
    assert_eq!(
        selection(&["00000000:00000000"], &[]),
        [false, false, true],
        "29 bits, any"
    );
    assert_eq!(selection(&[], &["0:0"]), [false, false, true], "no 11 bits");
    for filter in ["7E8", "7E0:7F8", "18DAF110", "18DA0000:1FFF0000"] {
        assert_eq!(
            filter
                .parse::<Filter>()
                .map(|filter| filter.to_string())
                .as_deref(),
            Ok(filter)
        );
    }
    for wrong in [
        "",
        "7E8:",
        "800",
        "+7E",
        "7E8:FFF",
        "12345",
        "123456789",
        "FFFFFFFF",
        "7E8-7EF",
        "7E8:7F8:1",
    ] {
        assert!(wrong.parse::<Filter>().is_err(), "{wrong}");
    }
}
