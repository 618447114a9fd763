//! How late a thread is that does nothing but sleep: `bare-sleep COUNT MICROSECONDS`.
//!
//! A bare loop of `clock_nanosleep` to absolute instants (clock_nanosleep(2), `TIMER_ABSTIME`), so many times so far apart.
//! Prints its lateness in microseconds: median, 99th percentile, maximum.

use std::{env, error::Error};

use rustix::{
    thread::{ClockId as Sleeper, clock_nanosleep_absolute},
    time::{ClockId, Timespec, clock_gettime},
};

fn nanos() -> Result<u64, Box<dyn Error>> {
    let now = clock_gettime(ClockId::Monotonic);
    Ok(u64::try_from(now.tv_sec)? * 1_000_000_000 + u64::try_from(now.tv_nsec)?)
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let mut number = |what| {
        arguments
            .next()
            .ok_or(what)?
            .parse()
            .map_err(Box::<dyn Error>::from)
    };
    let count: u64 = number("needs a number of sleeps")?;
    let gap: u64 = number("needs microseconds between them")?;
    let mut late = Vec::with_capacity(usize::try_from(count)?);
    let start = nanos()? + gap * 1000;
    for number in 0..count {
        let due = start + number * gap * 1000;
        let request = Timespec {
            tv_sec: i64::try_from(due / 1_000_000_000)?,
            tv_nsec: (due % 1_000_000_000).try_into()?,
        };
        clock_nanosleep_absolute(Sleeper::Monotonic, &request)?;
        late.push((nanos()? - due) / 1000);
    }
    late.sort_unstable();
    let last = late.len().checked_sub(1).ok_or("no sleeps")?;
    println!("{} {} {}", late[last / 2], late[last * 99 / 100], late[last]);
    Ok(())
}
