//! Times whole messages on a CAN interface, asked for and taken by the kernel's own ISO 15765-2 (CAN_ISOTP, net/can/isotp.c):
//! `transfer-latency INTERFACE WHAT COUNT` prints one number of nanoseconds a line.
//!
//! Each is the time from just before a request is written on 7E0 until its whole answer on 7E8 has been read, both
//! blocking. WHAT: `vin` asks for 20 bytes; `long-request` sends 4095 bytes of a service that no ECU has, and takes its
//! refusal; `long-answer` sends 4095 bytes to be echoed.

use std::env;
use std::error::Error;
use std::iter;
use std::process;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use socketcan_isotp::{IsoTpBehaviour, IsoTpOptions, IsoTpSocket, StandardId};

/// Requests before the first that counts.
const WARM_UP: usize = 3;
/// The longest message without the escape form (ISO 15765-2), bytes.
const LONGEST: usize = 4095;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let mut next = |what| arguments.next().ok_or_else(|| format!("needs {what}"));
    let interface = next("the name of an interface")?;
    let what = next("`vin`, `long-request` or `long-answer`")?;
    let count: usize = next("a count")?.parse()?;

    let (request, length, head): (Vec<u8>, usize, &[u8]) = match what.as_str() {
        "vin" => (vec![0x09, 0x02], 20, &[0x49, 0x02, 0x01]),
        "long-request" => (long(0x05), 3, &[0x7F, 0x05, 0x11]),
        "long-answer" => (long(0x06), LONGEST, &[0x06, 0x01, 0x02]),
        _ => return Err(format!("`{what}` is nothing to measure").into()),
    };
    let options = IsoTpOptions::new(IsoTpBehaviour::CAN_ISOTP_TX_PADDING, Duration::ZERO, 0, 0, 0, 0)?;
    let receive = StandardId::new(0x7E8).ok_or("7E8 has 11 bits")?;
    let transmit = StandardId::new(0x7E0).ok_or("7E0 has 11 bits")?;
    let mut socket = IsoTpSocket::open_with_opts(&interface, receive, transmit, Some(options), None, None)?;

    // The socket waits for ever for an answer that does not come; this process does not.
    let turns = Arc::new(AtomicUsize::new(0));
    let seen = Arc::clone(&turns);
    thread::spawn(move || {
        let mut last = usize::MAX;
        while seen.load(Ordering::Relaxed) != last {
            last = seen.load(Ordering::Relaxed);
            thread::sleep(Duration::from_secs(5));
        }
        eprintln!("turn {last}: no whole answer within 5 s");
        process::exit(1);
    });

    let mut times = Vec::with_capacity(count);
    for turn in 0..WARM_UP + count {
        let started = Instant::now();
        socket.write(&request)?;
        let answer = socket.read()?;
        let taken = started.elapsed();
        if answer.len() != length || !answer.starts_with(head) {
            return Err(format!("{} bytes that begin with {:x?}", answer.len(), answer.get(..8)).into());
        }
        turns.store(turn + 1, Ordering::Relaxed);
        if turn >= WARM_UP {
            times.push(taken.as_nanos());
        }
    }
    for time in times {
        println!("{time}");
    }
    Ok(())
}

/// A message of the greatest length for a service.
fn long(service: u8) -> Vec<u8> {
    iter::once(service)
        .chain((1..=250).cycle())
        .take(LONGEST)
        .collect()
}
