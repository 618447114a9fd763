//! Frames as fast as the kernel takes them: `frame-flood INTERFACE COUNT [PER_SECOND]`.
//!
//! Frame `n` has the identifier `n` modulo 700 hex, and eight bytes that are `n`, big-endian: whoever records them can say
//! which are missing. Prints the seconds that it took.

use std::{
    env,
    error::Error,
    thread,
    time::{Duration, Instant},
};

use socketcan::{CanDataFrame, CanFrame, CanSocket, EmbeddedFrame, Socket, StandardId};

/// Diagnostic identifiers begin above it.
const IDENTIFIERS: u64 = 0x700;
/// Frames sent between two looks at the clock.
const BURST: u64 = 30;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let interface = arguments.next().ok_or("needs the name of an interface")?;
    let count: u64 = arguments.next().ok_or("needs a number of frames")?.parse()?;
    let per_second: Option<f64> = arguments.next().map(|word| word.parse()).transpose()?;
    let socket = CanSocket::open(&interface)?;
    let begun = Instant::now();
    for number in 0..count {
        let id = u16::try_from(number % IDENTIFIERS)?;
        let id = StandardId::new(id).ok_or("below 700 hex")?;
        let frame = CanDataFrame::new(id, &number.to_be_bytes()).ok_or("eight bytes fit")?;
        socket.write_frame(&CanFrame::Data(frame))?;
        if let Some(rate) = per_second
            && number % BURST == 0
        {
            let due = Duration::from_secs_f64(u32::try_from(number).map(f64::from)? / rate);
            thread::sleep(due.saturating_sub(begun.elapsed()));
        }
    }
    println!("{:.3}", begun.elapsed().as_secs_f64());
    Ok(())
}
