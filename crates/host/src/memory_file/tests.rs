//! The file on a real folder, and on a disk that is watched and fails.

use std::{
    os::unix::fs::symlink,
    sync::{Arc, Mutex},
};

use tempfile::TempDir;
use twotrip_scenario::parse_phrase;
use twotrip_sim::{Settings, Timing};

use super::*;

/// A disk that notes what is done to it, and fails at one thing.
#[derive(Clone, Debug, Default)]
pub(crate) struct WatchedDisk {
    journal: Arc<Mutex<Vec<&'static str>>>,
    fails_at: Arc<Mutex<Option<&'static str>>>,
}

impl WatchedDisk {
    pub(crate) fn fail_at(&self, what: Option<&'static str>) {
        *self.fails_at.lock().expect("one thread") = what;
    }

    /// What was done since the last call.
    pub(crate) fn journal(&self) -> Vec<&'static str> {
        std::mem::take(&mut *self.journal.lock().expect("one thread"))
    }

    fn note(&self, what: &'static str) -> io::Result<()> {
        self.journal.lock().expect("one thread").push(what);
        if *self.fails_at.lock().expect("one thread") == Some(what) {
            return Err(ErrorKind::StorageFull.into());
        }
        Ok(())
    }
}

impl Disk for WatchedDisk {
    fn write(&mut self, path: &Path, mode: u32, bytes: &[u8]) -> io::Result<()> {
        self.note("write")?;
        RealDisk::default().write(path, mode, bytes)
    }

    fn sync_file(&mut self, path: &Path) -> io::Result<()> {
        self.note("sync file")?;
        RealDisk::default().sync_file(path)
    }

    fn rename(&mut self, from: &Path, to: &Path) -> io::Result<()> {
        self.note("rename")?;
        RealDisk::default().rename(from, to)
    }

    fn sync_folder(&mut self, folder: &Path) -> io::Result<()> {
        self.note("sync folder")?;
        RealDisk::default().sync_folder(folder)
    }
}

/// A memory file on a watched disk.
pub(crate) fn open_watched(path: &Path, options: Options, disk: &WatchedDisk) -> MemoryFile {
    let (file, _) = MemoryFile::open_on(path, options, Box::new(disk.clone())).expect("it can be used");
    file
}

/// A car to which these phrases have happened.
pub(crate) fn car(phrases: &[&str]) -> Simulator {
    let mut car = Simulator::new(Settings::compact(1, Timing::FAST));
    for phrase in phrases {
        car.tell(parse_phrase(phrase).expect("a phrase"));
    }
    while car.is_busy() {
        car.work(std::time::Duration::from_secs(60));
        while car.poll_event().is_some() {}
    }
    car
}

fn folder() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("car.memory");
    (folder, path)
}

fn open(path: &Path) -> Result<(MemoryFile, Option<Stored>), MemoryFileError> {
    MemoryFile::open(path, Options::default())
}

fn reset(path: &Path) -> Result<(MemoryFile, Option<Stored>), MemoryFileError> {
    let options = Options {
        reset: true,
        ..Options::default()
    };
    MemoryFile::open(path, options)
}

/// Writes a file for this car and lets go of it.
fn write(path: &Path, car: &Simulator) {
    let (mut file, _) = open(path).expect("it can be used");
    file.keep(car).expect("it can be written");
}

fn names(folder: &TempDir) -> Vec<String> {
    let entries = fs::read_dir(folder.path()).expect("folder");
    let mut names: Vec<_> = entries
        .map(|entry| entry.expect("entry").file_name().into_string().expect("UTF-8"))
        .collect();
    names.sort();
    names
}

#[test]
fn a_memory_comes_back_in_another_car_of_the_same_make() {
    let (folder, path) = folder();
    let first = car(&["key on", "preload confirmed P0301", "preload pending P0171"]);
    write(&path, &first);
    assert_eq!(names(&folder), ["car.memory"], "the lock goes with the car");
    let mut second = car(&["key on", "preload confirmed P0302"]);
    let (file, content) = open(&path).expect("it can be used");
    file.fit(&content.expect("a content"), &mut second)
        .expect("it fits");
    assert!(second.keeps_the_same_as(&first.mark()));
    assert_eq!(second.store(), first.store());
    assert!(
        second
            .car()
            .ecu()
            .memory()
            .confirmed()
            .eq(["P0301".parse().expect("a code")])
    );
}

#[test]
fn nothing_is_written_where_nothing_has_changed() {
    let (_folder, path) = folder();
    let disk = WatchedDisk::default();
    let mut file = open_watched(&path, Options::default(), &disk);
    let car_before = car(&["key on"]);
    file.keep(&car_before).expect("written");
    assert_eq!(disk.journal(), ["write", "rename"]);
    file.keep(&car(&["key on", "wait 10 min"]))
        .expect("nothing to write");
    assert!(disk.journal().is_empty());
    file.keep(&car(&["key on", "preload pending P0171"]))
        .expect("written");
    assert_eq!(disk.journal(), ["write", "rename"]);
}

#[test]
fn durable_waits_for_the_content_before_the_name_and_for_the_name_before_it_returns() {
    let (_folder, path) = folder();
    let disk = WatchedDisk::default();
    let options = Options {
        durable: true,
        ..Options::default()
    };
    let mut file = open_watched(&path, options, &disk);
    file.keep(&car(&["key on"])).expect("written");
    assert_eq!(disk.journal(), ["write", "sync file", "rename", "sync folder"]);
}

/// Whatever fails, the file is the old one or the new one; it counts as kept only after all went well.
#[test]
fn a_disk_that_fails_leaves_a_whole_file_and_is_tried_again() {
    for what in ["write", "sync file", "rename", "sync folder"] {
        let (_folder, path) = folder();
        let disk = WatchedDisk::default();
        let options = Options {
            durable: true,
            ..Options::default()
        };
        let mut file = open_watched(&path, options, &disk);
        let (old, new) = (car(&["key on"]), car(&["key on", "preload confirmed P0301"]));
        file.keep(&old).expect("written");
        disk.fail_at(Some(what));
        let error = file.keep(&new).expect_err(what);
        assert!(!error.is_bad_input(), "{error}");
        let there: Stored = format::decode(&fs::read(&path).expect("there"), format::STEPS).expect("whole");
        assert!(there == old.store() || there == new.store(), "{what}");
        assert!(
            !file.is_up_to_date(&new) && !file.is_up_to_date(&old),
            "{what}: nothing is certain"
        );
        disk.fail_at(None);
        file.keep(&new).expect("written");
        assert!(file.is_up_to_date(&new));
    }
}

#[test]
fn two_cars_cannot_have_one_file_by_whatever_name() {
    let (folder, path) = folder();
    write(&path, &car(&[]));
    let link = folder.path().join("link");
    symlink(&path, &link).expect("link");
    let held = open(&path).expect("free");
    for name in [&path, &link] {
        let error = open(name).map(|_| ()).expect_err("taken");
        let mine = std::process::id();
        assert!(
            matches!(error, MemoryFileError::Taken { pid: Some(pid), .. } if pid == mine),
            "{error}"
        );
    }
    drop(held);
    assert!(open(&link).is_ok(), "free again");
}

/// A link stays a link, and the file keeps the permissions that its user gave it.
#[test]
fn links_and_permissions_stay() {
    let (folder, path) = folder();
    let real = folder.path().join("real.memory");
    write(&real, &car(&[]));
    fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).expect("permissions");
    symlink(&real, &path).expect("link");
    let (mut file, content) = open(&path).expect("it can be used");
    assert!(content.is_some());
    file.keep(&car(&["key on", "preload confirmed P0301"]))
        .expect("written");
    assert!(fs::symlink_metadata(&path).expect("there").is_symlink());
    let found = fs::metadata(&real).expect("there");
    assert_eq!(found.permissions().mode() & 0o777, 0o640);
    let bytes = fs::read(&real).expect("there");
    assert!(String::from_utf8_lossy(&bytes).contains("P0301"));
}

/// A link to a file that is not there yet stays one too, over further links and from another folder.
#[test]
fn a_link_may_lead_to_a_file_that_is_to_be_made() {
    let (folder, path) = folder();
    let shelf = folder.path().join("shelf");
    fs::create_dir(&shelf).expect("folder");
    symlink("shelf/link", &path).expect("link");
    symlink("real.memory", shelf.join("link")).expect("link");
    write(&path, &car(&[]));
    assert!(fs::symlink_metadata(&path).expect("there").is_symlink());
    let made = fs::symlink_metadata(shelf.join("real.memory")).expect("made where the links lead");
    assert!(made.is_file());
    let round = folder.path().join("round");
    symlink("round", &round).expect("link");
    assert!(open(&round).is_err(), "it leads nowhere");
}

/// Files of the user's that happen to have the names that we need are neither written over nor removed; what a killed
/// car has left is.
#[test]
fn what_stands_beside_is_spared_unless_it_is_ours() {
    let cases: [(&str, &[u8], bool); 7] = [
        (".lock", b"notes of mine", false),
        (".new", b"notes of mine", false),
        (".lock", b"4711\n", true),
        (".lock", b"", true),
        (".new", b"twotrip ecu mem", true),
        (
            ".new",
            b"twotrip ecu memory, format 1, 99 bytes, crc32 00000000\n{",
            true,
        ),
        (".new", b"", true),
    ];
    for (ending, bytes, ours) in cases {
        let (_folder, path) = folder();
        let there = beside(&path, ending);
        fs::write(&there, bytes).expect("written");
        match open(&path) {
            Ok((mut file, _)) => {
                file.keep(&car(&[])).expect("written");
                drop(file);
                assert!(ours && !there.exists(), "{ending} {bytes:?}");
            }
            Err(error) => {
                assert!(!ours && error.is_bad_input(), "{ending} {bytes:?}: {error}");
                assert_eq!(fs::read(&there).expect("there"), bytes);
                assert!(!path.exists(), "nothing was written");
            }
        }
    }
    let (folder, path) = folder();
    symlink(folder.path().join("notes"), beside(&path, ".new")).expect("link");
    assert!(matches!(open(&path), Err(MemoryFileError::InTheWay { .. })));
}

/// What cannot be used is left to the last byte as it was; asked for a new memory, the old one is set aside.
#[test]
fn an_unusable_file_is_touched_only_when_asked() {
    let good = {
        let (_folder, path) = folder();
        write(&path, &car(&["key on", "preload confirmed P0301"]));
        fs::read(&path).expect("there")
    };
    let mut damaged = good.clone();
    damaged[500] ^= 1;
    let newer = [b"twotrip ecu memory, format 999, ".to_vec(), vec![0; 10]].concat();
    let cases: [(&str, &[u8], bool); 6] = [
        ("torn", &good[..good.len() / 2], true),
        ("torn in its first bytes", &good[..10], true),
        ("damaged", &damaged, true),
        ("newer", &[&newer[..], b"\n"].concat(), true),
        ("empty", b"", true),
        ("another program's", b"\x7fELF and so on", false),
    ];
    for (what, bytes, may_be_reset) in cases {
        let (folder, path) = folder();
        fs::write(&path, bytes).expect("written");
        let error = open(&path).map(|_| ()).expect_err(what);
        assert!(error.is_bad_input(), "{what}: {error}");
        assert_eq!(fs::read(&path).expect("there"), bytes, "{what}");
        assert_eq!(names(&folder), ["car.memory"], "{what}");
        let mut new = car(&["key on"]);
        match reset(&path) {
            Ok((mut file, content)) => {
                assert!(may_be_reset && content.is_none(), "{what}");
                assert_eq!(
                    fs::read(&path).expect("there"),
                    bytes,
                    "{what}: not before there is a new one"
                );
                file.keep(&new).expect("written");
                drop(file);
                let (file, content) = open(&path).expect("good now");
                file.fit(&content.expect("a content"), &mut new).expect("it fits");
                if bytes.is_empty() {
                    assert_eq!(names(&folder), ["car.memory", "car.memory.lock"]);
                } else {
                    assert_eq!(fs::read(old_name(&path)).expect("set aside"), bytes, "{what}");
                }
            }
            Err(error) => {
                assert!(!may_be_reset, "{what}: {error}");
                assert_eq!(fs::read(&path).expect("there"), bytes, "{what}");
            }
        }
    }
}

/// The file set aside by an earlier reset gives way; anything else that has its name does not.
#[test]
fn a_reset_replaces_an_old_memory_and_nothing_else() {
    let (_folder, path) = folder();
    let old = old_name(&path);
    for code in ["P0301", "P0302"] {
        let (mut file, _) = reset(&path).expect("it can be used");
        let phrase = format!("preload confirmed {code}");
        file.keep(&car(&["key on", &phrase])).expect("written");
    }
    let set_aside = fs::read_to_string(&old).expect("set aside");
    assert!(set_aside.contains("P0301"), "{set_aside}");
    fs::write(&old, "notes of mine").expect("written");
    let before = fs::read(&path).expect("there");
    let error = reset(&path).map(|_| ()).expect_err("not ours");
    assert!(matches!(error, MemoryFileError::OldIsNotOurs { .. }), "{error}");
    assert_eq!(fs::read_to_string(&old).expect("there"), "notes of mine");
    assert_eq!(fs::read(&path).expect("there"), before);
}

#[test]
fn what_is_no_file_is_refused() {
    let (folder, path) = folder();
    for name in [
        folder.path(),
        Path::new("/dev/null"),
        Path::new("/"),
        &path.join(".."),
    ] {
        let error = open(name).map(|_| ()).expect_err("no file");
        assert!(
            error.is_bad_input() || matches!(error, MemoryFileError::Read { .. }),
            "{error}"
        );
    }
    let nowhere = folder.path().join("nowhere/car.memory");
    assert!(matches!(open(&nowhere), Err(MemoryFileError::Read { .. })));
    fs::write(&path, vec![b' '; format::SIZE_MAX + 1]).expect("written");
    assert!(matches!(open(&path), Err(MemoryFileError::TooLarge { .. })));
}

#[test]
fn another_cars_memory_is_foreign() {
    let (_folder, path) = folder();
    write(&path, &car(&["key on", "preload confirmed P0301"]));
    let mut settings = Settings::compact(1, Timing::FAST);
    settings.ecu.identity = settings
        .ecu
        .identity
        .with_vin("11111111111111111")
        .expect("a VIN");
    let mut other = Simulator::new(settings);
    let (file, content) = open(&path).expect("it can be read");
    let error = file
        .fit(&content.expect("a content"), &mut other)
        .expect_err("another car");
    assert!(error.is_bad_input());
    assert!(
        error
            .to_string()
            .contains("VIN `0TW00TRP3A0000042`, this car has `11111111111111111`"),
        "{error}"
    );
    assert!(
        other.car().ecu().memory().confirmed().next().is_none(),
        "nothing was taken over"
    );
}

/// Files that earlier programs wrote are read for ever: one of each format, as the car of `loose-fuel-cap` left it.
#[test]
fn files_of_earlier_programs_are_read() {
    let formats: [&[u8]; 1] = [include_bytes!("fixtures/format-1.memory")];
    assert_eq!(
        u32::try_from(formats.len()),
        Ok(format::newest(format::STEPS)),
        "a new format brings its file along"
    );
    for (i, bytes) in formats.into_iter().enumerate() {
        let (_folder, path) = folder();
        fs::write(&path, bytes).expect("written");
        let (mut file, content) = open(&path).expect("readable");
        let mut car = car(&["key on"]);
        file.fit(&content.expect("a content"), &mut car).expect("it fits");
        let memory = car.car().ecu().memory();
        let gross_leak = || std::iter::once("P0455".parse().expect("a code"));
        assert!(memory.confirmed().eq(gross_leak()), "format {}", i + 1);
        assert!(memory.pending().eq(gross_leak()) && memory.permanent().eq(gross_leak()));
        assert!(memory.mil_commanded());
        let frame = memory.freeze_frame().expect("a freeze frame");
        assert_eq!(frame.data.coolant_temperature.celsius().round().to_string(), "48");
        let counters = memory.counters();
        assert_eq!(
            (counters.distance_with_mil, counters.distance_since_clear),
            (27, 56)
        );
        assert_eq!((counters.time_with_mil, counters.warm_ups_since_clear), (32, 2));
        assert_eq!(
            memory.in_use().counters()[..2],
            [2, 2],
            "general denominator and ignition cycles"
        );
        // The group has members now that the earlier program did not have: they are still to run.
        let readiness = memory.readiness_since_clear();
        assert!(readiness.is_supported(twotrip_obd::Group::Evap));
        assert!(!readiness.is_complete(twotrip_obd::Group::Evap));
        file.write(&car).expect("written in the newest format");
        drop(file);
        let (_, content) = open(&path).expect("readable");
        assert_eq!(content.expect("a content"), car.store());
    }
}
