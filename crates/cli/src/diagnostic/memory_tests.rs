//! The full text of everything that can be wrong with a memory file, compared with `memory_snapshots.txt`.
//!
//! To accept new texts, read them first: `TWOTRIP_ACCEPT=1 cargo test -p twotrip-cli diagnostic`, then `git diff`.

use std::{
    fs,
    os::unix::fs::PermissionsExt as _,
    path::{Path, PathBuf},
};

use twotrip_host::memory_file::{MemoryFile, MemoryFileError, Options};
use twotrip_sim::{Settings, Simulator, Timing};

use crate::{command::memory_failure, exit::Failure};

const RESET: Options = Options {
    reset: true,
    durable: false,
};

/// A file of format 1, as the car of `loose-fuel-cap` leaves it.
const FIXTURE: &[u8] = include_bytes!("../../../host/src/memory_file/fixtures/format-1.memory");

/// A folder with a good memory file in it.
struct Place {
    folder: tempfile::TempDir,
    path: PathBuf,
}

impl Place {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("car.memory");
        fs::write(&path, FIXTURE).expect("written");
        Self { folder, path }
    }

    /// What is said of a file with these bytes.
    fn with(&self, bytes: &[u8], options: Options) -> MemoryFileError {
        fs::write(&self.path, bytes).expect("written");
        self.open(&self.path, options)
    }

    fn open(&self, path: &Path, options: Options) -> MemoryFileError {
        MemoryFile::open(path, options).map(|_| ()).expect_err("unusable")
    }

    /// What is said of a file with this text in place of that, its check value right.
    fn changed(&self, from: &str, to: &str) -> MemoryFileError {
        let text = String::from_utf8(FIXTURE.to_vec()).expect("UTF-8");
        let (_, content) = text.split_once('\n').expect("two parts");
        assert!(content.contains(from), "{content}");
        let content = content.replacen(from, to, 1);
        let sum = crc32(content.as_bytes());
        let text = format!(
            "twotrip ecu memory, format 1, {} bytes, crc32 {sum:08x}\n{content}",
            content.len()
        );
        fs::write(&self.path, text).expect("written");
        let (file, stored) = MemoryFile::open(&self.path, Options::default()).expect("readable");
        let mut car = Simulator::new(Settings::compact(1, Timing::FAST));
        file.fit(&stored.expect("a content"), &mut car)
            .expect_err("it does not fit")
    }
}

/// CRC-32 of ISO/IEC 8802-3, bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, &byte| {
        (0..8).fold(sum ^ u32::from(byte), |sum, _| {
            sum >> 1 ^ if sum & 1 == 1 { 0xEDB8_8320 } else { 0 }
        })
    })
}

fn cases() -> Vec<(&'static str, MemoryFileError, Place)> {
    let mut cases = Vec::new();
    let mut case = |what, error: &dyn Fn(&Place) -> MemoryFileError| {
        let place = Place::new();
        let error = error(&place);
        cases.push((what, error, place));
    };
    let plain = Options::default();
    case("empty", &|place| place.with(b"", plain));
    case("another program's", &|place| place.with(b"\x7fELF", plain));
    case("another program's, to be reset", &|place| {
        place.with(b"\x7fELF", RESET)
    });
    case("torn", &|place| place.with(&FIXTURE[..900], plain));
    case("torn in its first line", &|place| {
        place.with(&FIXTURE[..33], plain)
    });
    case("damaged", &|place| {
        let mut bytes = FIXTURE.to_vec();
        bytes[700] ^= 0x20;
        place.with(&bytes, plain)
    });
    case("newer", &|place| {
        place.with(b"twotrip ecu memory, format 1000, 9 bytes, crc32 0\n", plain)
    });
    case("another car's", &|place| {
        place.changed("0TW00TRP3A0000042", "11111111111111111")
    });
    case("another regulation's", &|place| {
        place.changed("US-2010", "US-1968")
    });
    case("impossible", &|place| {
        place.changed("\"since\": 3", "\"since\": 0")
    });
    case("too large", &|place| {
        place.with(&vec![b' '; (1 << 20) + 1], plain)
    });
    case("in use", &|place| {
        let _held = MemoryFile::open(&place.path, plain).expect("free");
        place.open(&place.path, plain)
    });
    case("no file", &|place| place.open(place.folder.path(), plain));
    case("in no folder", &|place| {
        place.open(&place.folder.path().join("nowhere/car.memory"), plain)
    });
    case("another's in the way of a reset", &|place| {
        fs::write(place.folder.path().join("car.memory.old"), "notes").expect("written");
        place.open(&place.path, RESET)
    });
    case("another's in the way of the new one", &|place| {
        fs::write(place.folder.path().join("car.memory.new"), "notes").expect("written");
        place.open(&place.path, plain)
    });
    case("not to be written", &|place| MemoryFileError::Write {
        path: place.path.clone(),
        source: std::io::ErrorKind::PermissionDenied.into(),
    });
    case("with a name that could command a terminal", &|place| {
        place.open(&place.folder.path().join("\u{1b}[31m/car.memory"), plain)
    });
    cases
}

/// What the command line shows of it.
fn shown(error: &MemoryFileError, place: &Place) -> String {
    let folder = fs::canonicalize(place.folder.path()).expect("there");
    let (code, what, hint) = match memory_failure(error) {
        Failure::Input { what, hint } => (2, what, hint),
        Failure::System { what, hint } => (3, what, hint),
        _ => panic!("a failure of another kind"),
    };
    let hint: String = hint
        .iter()
        .flat_map(|hint| hint.lines())
        .map(|line| format!("\n  {line}"))
        .collect();
    format!("error: {what}{hint}\nexit {code}\n")
        .replace(&*folder.to_string_lossy(), "FOLDER")
        .replace(&format!("`{}`", std::process::id()), "`4711`")
}

#[test]
fn every_fault_of_a_memory_file_has_its_text() {
    let texts: String = cases()
        .iter()
        .map(|(what, error, place)| format!("## {what}\n\n{}\n", shown(error, place)))
        .collect();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/diagnostic/memory_snapshots.txt");
    if std::env::var_os("TWOTRIP_ACCEPT").is_some() {
        fs::write(&path, &texts).expect("the snapshots can be written");
    }
    let accepted = fs::read_to_string(&path).expect("the snapshots are there");
    assert!(texts == accepted, "now:\n{texts}\naccepted:\n{accepted}");
}

/// A folder that may not be written to is refused before the car is on the bus. The superuser may write anywhere.
#[test]
fn a_folder_that_cannot_be_written_is_refused_at_once() {
    let place = Place::new();
    fs::set_permissions(place.folder.path(), fs::Permissions::from_mode(0o500)).expect("permissions");
    let opened = MemoryFile::open(&place.path, Options::default()).map(|_| ());
    let is_superuser = fs::write(place.folder.path().join("probe"), "").is_ok();
    match opened {
        Err(error) => assert!(matches!(error, MemoryFileError::Write { .. }), "{error}"),
        Ok(()) => assert!(is_superuser),
    }
    fs::set_permissions(place.folder.path(), fs::Permissions::from_mode(0o700)).expect("permissions");
}
