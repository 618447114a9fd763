//! Frames as fast as the kernel takes them: `frame-flood INTERFACE COUNT [PER_SECOND]`.
//!
//! Frame `n` has the identifier `n` modulo 700 hex, and eight bytes that are `n`, big-endian: whoever records them can say
//! which are missing. Thirty go by one system call (sendmmsg(2)): on an emulated processor that call costs more than a frame.
//! Prints the seconds that it took.

use std::{
    env,
    error::Error,
    io::IoSlice,
    thread,
    time::{Duration, Instant},
};

use rustix::net::{MMsgHdr, SendAncillaryBuffer, SendFlags, sendmmsg};
use socketcan::{CanSocket, Socket};

/// Diagnostic identifiers begin above it.
const IDENTIFIERS: u64 = 0x700;
/// Frames sent by one call, between two looks at the clock.
const BURST: u64 = 30;

/// `can_frame` of linux/can.h: identifier, length, three unused bytes, data.
fn frame(number: u64) -> [u8; 16] {
    let [first, second, ..] = (number % IDENTIFIERS).to_le_bytes();
    let mut bytes = [0; 16];
    bytes[..4].copy_from_slice(&u32::from_le_bytes([first, second, 0, 0]).to_ne_bytes());
    bytes[4] = 8;
    bytes[8..].copy_from_slice(&number.to_be_bytes());
    bytes
}

fn send(socket: &CanSocket, mut frames: &[[u8; 16]]) -> Result<(), Box<dyn Error>> {
    while !frames.is_empty() {
        let slices: Vec<[IoSlice<'_>; 1]> = frames.iter().map(|frame| [IoSlice::new(frame)]).collect();
        let mut control: Vec<_> = frames.iter().map(|_| SendAncillaryBuffer::default()).collect();
        let mut messages: Vec<_> = slices
            .iter()
            .zip(&mut control)
            .map(|(slice, control)| MMsgHdr::new(slice, control))
            .collect();
        let sent = sendmmsg(socket, &mut messages, SendFlags::empty())?;
        frames = &frames[sent..];
    }
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let interface = arguments.next().ok_or("needs the name of an interface")?;
    let count: u64 = arguments.next().ok_or("needs a number of frames")?.parse()?;
    let per_second: Option<f64> = arguments.next().map(|word| word.parse()).transpose()?;
    let socket = CanSocket::open(&interface)?;
    let begun = Instant::now();
    let mut number = 0;
    while number < count {
        let end = count.min(number + BURST);
        let frames: Vec<_> = (number..end).map(frame).collect();
        send(&socket, &frames)?;
        number = end;
        if let Some(rate) = per_second {
            let due = Duration::from_secs_f64(u32::try_from(number).map(f64::from)? / rate);
            thread::sleep(due.saturating_sub(begun.elapsed()));
        }
    }
    println!("{:.3}", begun.elapsed().as_secs_f64());
    Ok(())
}
