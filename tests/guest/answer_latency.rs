//! Times single-frame answers on a CAN interface: `answer-latency INTERFACE COUNT` prints one number of nanoseconds a line.
//!
//! Each is the time from just before `7DF#02 01 0C` is written until the answer on 7E8 has been read, both blocking.

use std::env;
use std::error::Error;
use std::time::{Duration, Instant};

use socketcan::{
    CanDataFrame, CanFilter, CanFrame, CanSocket, EmbeddedFrame, Socket, SocketOptions, StandardId,
};

/// Requests before the first that counts.
const WARM_UP: usize = 20;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let interface = arguments
        .next()
        .ok_or("needs the name of an interface and a count")?;
    let count: usize = arguments.next().ok_or("needs a count")?.parse()?;

    let socket = CanSocket::open(&interface)?;
    socket.set_filters(&[CanFilter::new(0x7e8, 0x7ff)])?;
    socket.set_read_timeout(Duration::from_secs(1))?;
    let functional = StandardId::new(0x7df).ok_or("7DF has 11 bits")?;
    let request = CanDataFrame::new(functional, &[0x02, 0x01, 0x0c, 0, 0, 0, 0, 0])
        .map(CanFrame::Data)
        .ok_or("eight bytes fit")?;

    let mut times = Vec::with_capacity(count);
    for turn in 0..WARM_UP + count {
        let started = Instant::now();
        socket.write_frame(&request)?;
        let answer = socket
            .read_frame()
            .map_err(|error| format!("no answer to `01 0C` within 1 s: {error}"))?;
        let taken = started.elapsed();
        if !answer.data().starts_with(&[0x04, 0x41, 0x0c]) {
            return Err(format!("not an answer to `01 0C`: `{answer:x?}`").into());
        }
        if turn >= WARM_UP {
            times.push(taken.as_nanos());
        }
    }
    for time in times {
        println!("{time}");
    }
    Ok(())
}
