//! Long recordings for `benches/recordings.py`, and what it costs to write and to read them in memory.

use std::{
    fs::File,
    hint::black_box,
    io::{self, BufWriter, Write as _},
    process::ExitCode,
};

use twotrip_benches::{cpu_time, sessions};
use twotrip_capture::Item;
use twotrip_units::BusInstant;

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

/// Frames a second of processor time, in the best of so many turns: what else runs on the machine can only slow one.
fn rate(frames: usize, mut work: impl FnMut() -> usize) -> io::Result<f64> {
    let mut best = f64::INFINITY;
    for _ in 0..TURNS {
        let begun = cpu_time::used();
        let found = work();
        let took = cpu_time::used().saturating_sub(begun);
        if found != frames {
            return Err(io::Error::other(format!("{found} of {frames} frames")));
        }
        best = best.min(took.as_secs_f64());
    }
    Ok(frames as f64 / best)
}

const TURNS: usize = 5;

fn rates(path: &str) -> io::Result<()> {
    let file = std::fs::read(path)?;
    let packets = |file| {
        twotrip_capture::items(file).filter_map(|item| match item {
            Ok(Item::Packet(packet)) => Some(packet),
            _ => None,
        })
    };
    let frames: Vec<_> = packets(&file)
        .filter_map(|packet| Some((packet.at?, packet.direction()?, packet.frame().ok()?)))
        .collect();
    let blocks = rate(frames.len(), || {
        packets(black_box(&file)).fold(0, |count, packet| black_box(packet).at.map_or(0, |_| count + 1))
    })?;
    println!("blocks {blocks:.0}");
    let decoded = rate(frames.len(), || {
        let decoded = packets(black_box(&file)).filter_map(|packet| packet.frame().ok());
        decoded.map(|frame| black_box(frame).data().len() / 8).sum()
    })?;
    println!("frames {decoded:.0}");
    let mut out = Vec::with_capacity(1 << 17);
    let written = rate(frames.len(), || {
        let mut bytes = 0;
        for (at, direction, frame) in black_box(&frames) {
            sessions::packet(&mut out, BusInstant::from_nanos(*at), *direction, frame);
            // What a recorder writes at once.
            if out.len() >= 1 << 16 {
                bytes += black_box(&out).len();
                out.clear();
            }
        }
        black_box(bytes);
        frames.len()
    })?;
    println!("written {written:.0}");
    Ok(())
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match *arguments {
        ["make", frames, path] => match frames.parse() {
            Ok(frames) => make(frames, path),
            Err(_) => Err(io::Error::other("how many frames?")),
        },
        ["rates", path] => rates(path),
        _ => Err(io::Error::other("usage: recording make FRAMES FILE | rates FILE")),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}
