//! Reads and clears trouble codes over CAN: a small tool, as somebody may have written it. It knows nothing of any
//! simulator: it asks a [`Port`] for frames, whatever is behind it.

use std::time::Duration;

/// A classic CAN frame with an 11-bit identifier: identifier and data.
pub type Frame = (u16, [u8; 8]);

/// Where the tool is plugged in.
pub trait Port {
    /// Sends a frame.
    fn send(&mut self, frame: Frame);
    /// The next frame of somebody else's, or `None` if there is none within this time.
    fn receive(&mut self, within: Duration) -> Option<Frame>;
}

/// Why the tool has nothing to show.
#[derive(Debug, PartialEq, Eq)]
pub enum Failure {
    /// No ECU answered.
    Silence,
    /// An answer broke off, or could not be read.
    Garbled,
    /// The ECU refuses: the response code.
    Refused(u8),
}

/// All requests to everybody (ISO 15765-4).
const EVERYBODY: u16 = 0x7DF;
/// ECUs answer on these.
const ANSWERS: std::ops::RangeInclusive<u16> = 0x7E8..=0x7EF;
/// P2 with an allowance for the adapter.
const PATIENCE: Duration = Duration::from_millis(100);
/// P2* (ISO 15765-3, from public summaries), with an allowance.
const PATIENCE_PENDING: Duration = Duration::from_millis(5_100);
/// An ECU that is busy is asked again after this time, so often (SAE J1979, ISO 15765-4, from memory).
const PAUSE_BUSY: Duration = Duration::from_millis(200);
const REPEATS: u32 = 6;
/// Response codes (ISO 14229-1).
const BUSY: u8 = 0x21;
const PENDING: u8 = 0x78;

/// Confirmed codes of the first ECU that answers, as people write them.
///
/// # Errors
/// See [`Failure`].
pub fn read_codes(port: &mut impl Port) -> Result<Vec<String>, Failure> {
    let answer = ask(port, 0x03)?;
    let (count, codes) = answer.split_first().ok_or(Failure::Garbled)?;
    if codes.len() != 2 * usize::from(*count) {
        return Err(Failure::Garbled);
    }
    Ok(codes.chunks(2).map(|code| name(code[0], code[1])).collect())
}

/// Clears codes.
///
/// # Errors
/// See [`Failure`].
pub fn clear_codes(port: &mut impl Port) -> Result<(), Failure> {
    ask(port, 0x04).map(|_| ())
}

/// Asks a service without parameters; the bytes behind the service of the answer. An ECU that is busy is asked again, one that
/// asks for time gets it.
fn ask(port: &mut impl Port, service: u8) -> Result<Vec<u8>, Failure> {
    let mut left = REPEATS;
    loop {
        port.send((EVERYBODY, [1, service, 0, 0, 0, 0, 0, 0]));
        let mut patience = PATIENCE;
        let answer = loop {
            let answer = message(port, patience)?;
            if answer[..] != [0x7F, service, PENDING] {
                break answer;
            }
            patience = PATIENCE_PENDING;
        };
        match answer[..] {
            [0x7F, _, BUSY] if left > 0 => {
                left -= 1;
                // Nobody else has anything to say meanwhile.
                while port.receive(PAUSE_BUSY).is_some() {}
            }
            [0x7F, _, code] => return Err(Failure::Refused(code)),
            [first, ref rest @ ..] if first == service + 0x40 => return Ok(rest.to_vec()),
            _ => return Err(Failure::Garbled),
        }
    }
}

/// Puts one message together: a single frame, or a first one with consecutive ones (ISO 15765-2).
fn message(port: &mut impl Port, patience: Duration) -> Result<Vec<u8>, Failure> {
    let (from, first) = next(port, patience).ok_or(Failure::Silence)?;
    match first[0] >> 4 {
        0 => {
            let length = usize::from(first[0]);
            first.get(1..=length).map(<[u8]>::to_vec).ok_or(Failure::Garbled)
        }
        1 => {
            let length = usize::from(first[0] & 0xF) << 8 | usize::from(first[1]);
            let mut message = first[2..].to_vec();
            port.send((from - 8, [0x30, 0, 0, 0, 0, 0, 0, 0]));
            let mut number = 1;
            while message.len() < length {
                let (sender, frame) = next(port, PATIENCE).ok_or(Failure::Garbled)?;
                if sender != from {
                    continue;
                }
                if frame[0] != 0x20 | number {
                    return Err(Failure::Garbled);
                }
                message.extend_from_slice(&frame[1..]);
                number = (number + 1) & 0xF;
            }
            message.truncate(length);
            Ok(message)
        }
        _ => Err(Failure::Garbled),
    }
}

/// The next frame of an ECU.
fn next(port: &mut impl Port, patience: Duration) -> Option<Frame> {
    loop {
        let frame = port.receive(patience)?;
        if ANSWERS.contains(&frame.0) {
            return Some(frame);
        }
    }
}

/// A code as people write it (SAE J2012).
fn name(high: u8, low: u8) -> String {
    let letter = ['P', 'C', 'B', 'U'][usize::from(high >> 6)];
    format!("{letter}{:02X}{low:02X}", high & 0x3F)
}
