//! Long recordings for `benches/recordings.py`, and what it costs to write and to read them in memory.

use std::{
    fs::File,
    io::{self, BufWriter, Write as _},
    process::ExitCode,
};

use twotrip_benches::sessions;

fn make(frames: u64, path: &str) -> io::Result<()> {
    let mut file = BufWriter::with_capacity(1 << 20, File::create(path)?);
    let mut bytes = Vec::new();
    sessions::header(&mut bytes);
    let mut result = Ok(());
    sessions::sessions(frames, |at, direction, frame| {
        sessions::packet(&mut bytes, at, direction, frame);
        if bytes.len() > 1 << 16 {
            if result.is_ok() {
                result = file.write_all(&bytes);
            }
            bytes.clear();
        }
    });
    result?;
    file.write_all(&bytes)?;
    file.flush()
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match *arguments {
        ["make", frames, path] => match frames.parse() {
            Ok(frames) => make(frames, path),
            Err(_) => Err(io::Error::other("how many frames?")),
        },
        _ => Err(io::Error::other("usage: recording make FRAMES FILE")),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}
