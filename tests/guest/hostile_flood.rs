//! A bus full of everything that no ECU should trip over, and one clean tester among it: `hostile-flood BUS SECONDS PER_SECOND`.
//!
//! Frames of the mix go out in bursts, on the beat of the clock; the tester asks `01 00`, to all and to the ECU in turn, four times
//! a second. Prints `frames N in S s`, then a line for each of the tester's questions: nanoseconds to its answer, or `none`.
//! The same numbers make the same frames each time.

use std::{
    env,
    error::Error,
    thread,
    time::{Duration, Instant},
};

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use tokio::{runtime, time::timeout};
use twotrip_can::{CanId, Frame};
use twotrip_host::bus::{Bus, BusEvent, Filter, Name};

/// Frames between two looks at the clock.
const BURST: u32 = 30;
/// How often the tester asks, and how long it waits.
const EVERY: Duration = Duration::from_millis(250);
const PATIENCE: Duration = Duration::from_secs(1);
/// The requests of ISO 15765-4: to all ECUs, and to the engine ECU; its answers.
const TO_ALL: CanId = CanId::Standard(0x7DF);
const TO_ONE: CanId = CanId::Standard(0x7E0);
const ANSWER: CanId = CanId::Standard(0x7E8);

type Failed = Box<dyn Error + Send + Sync>;

struct Mix(ChaCha8Rng);

impl Mix {
    fn below(&mut self, end: u32) -> u32 {
        self.0.next_u32() % end
    }

    fn byte(&mut self) -> u8 {
        self.0.next_u32().to_le_bytes()[0]
    }

    fn bytes(&mut self) -> [u8; 8] {
        self.0.next_u64().to_le_bytes()
    }

    fn either(&mut self) -> CanId {
        if self.below(2) == 0 { TO_ALL } else { TO_ONE }
    }

    /// Any identifier that is no request to this car.
    fn foreign(&mut self) -> CanId {
        if self.below(2) == 0 {
            CanId::Extended(self.0.next_u32() & CanId::EXTENDED_MAX)
        } else {
            CanId::Standard((self.0.next_u32() & 0x7FF) as u16 & !0x40)
        }
    }

    /// One frame: whatever may be on a bus, and above all what looks like the protocol (ISO 15765-2) and is not right.
    fn frame(&mut self) -> Option<Frame> {
        let mut data = self.bytes();
        match self.below(100) {
            // Others' traffic, of any length.
            0..=24 => Frame::new(self.foreign(), &data[..self.below(9) as usize]),
            // Consecutive frames of nothing, flow control for nobody, reserved kinds.
            25..=54 => {
                data[0] |= 0x20;
                Frame::new(self.either(), &data)
            }
            // First frames whose message never comes, of any length; each opens a transfer, and is granted.
            55..=64 => {
                data[0] = 0x10 | data[0] & 0x0F;
                Frame::new(TO_ONE, &data)
            }
            // First frames to all, which ISO 15765-4 has not.
            65..=69 => {
                data[0] = 0x10 | data[0] & 0x0F;
                Frame::new(TO_ALL, &data)
            }
            // Single frames of no length, or of more than there is.
            70..=79 => {
                data[0] = [0, 8, 9, 15][self.below(4) as usize];
                Frame::new(self.either(), &data)
            }
            // Too short a frame for any diagnostics.
            80..=84 => Frame::new(self.either(), &data[..self.below(8) as usize]),
            // Services that no ECU has, to all: silence is due.
            85..=89 => {
                (data[0], data[1]) = (1 + self.byte() % 7, 0x40 | data[1]);
                Frame::new(TO_ALL, &data)
            }
            90..=94 => Frame::remote(self.either(), self.byte() % 9),
            95..=98 => Frame::fd(self.either(), &data, self.below(2) == 0, false),
            // A controller that reports errors.
            _ if self.below(10) > 0 => Some(Frame::error(self.0.next_u32() & 0x1FF, data)),
            // Ten times a second a request of another tester, for something else.
            _ => Some(Frame::padded(
                self.either(),
                &[2, 0x01, 1 + self.byte() % 0x5F],
                0x55,
            )),
        }
    }
}

fn within(bus: &Name, work: impl AsyncFnOnce(Bus) -> Result<(), Failed>) -> Result<(), Failed> {
    let runtime = runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async { work(Bus::join(bus).await?).await })
}

async fn flood(mut bus: Bus, lasting: Duration, per_second: u32) -> Result<(), Failed> {
    bus.set_filters(&[])?;
    let mut mix = Mix(ChaCha8Rng::seed_from_u64(1));
    let begun = Instant::now();
    let mut sent = 0;
    while begun.elapsed() < lasting {
        for _ in 0..BURST {
            if let Some(frame) = mix.frame() {
                // What the bus has no room for it does not get.
                let _ = bus.try_send(&frame)?;
                sent += 1;
            }
        }
        let due = Duration::from_secs(1) * sent / per_second;
        // Leaves an embedded bus, whose frames this program moves itself, its turn too.
        let left = due.saturating_sub(begun.elapsed());
        let _ = timeout(left, bus.recv()).await;
        thread::sleep(due.saturating_sub(begun.elapsed()));
    }
    println!("frames {sent} in {:.2} s", begun.elapsed().as_secs_f64());
    Ok(())
}

async fn ask(mut bus: Bus, lasting: Duration) -> Result<(), Failed> {
    bus.set_filters(&[Filter::exact(ANSWER)])?;
    let begun = Instant::now();
    for turn in 0_u32.. {
        let due = EVERY * (turn + 1);
        if due >= lasting {
            break;
        }
        tokio::time::sleep(due.saturating_sub(begun.elapsed())).await;
        // What came too late for the question before is no answer to this one.
        while let Ok(event) = timeout(Duration::ZERO, bus.recv()).await {
            let _ = event?;
        }
        let to = if turn % 2 == 0 { TO_ALL } else { TO_ONE };
        let asked = Instant::now();
        let _ = bus.send(&Frame::padded(to, &[2, 0x01, 0x00], 0)).await?;
        let answered = timeout(PATIENCE, async {
            loop {
                if let BusEvent::Frame(received) = bus.recv().await?
                    && received.frame.data().starts_with(&[6, 0x41, 0x00])
                {
                    return Ok::<_, Failed>(asked.elapsed());
                }
            }
        });
        match answered.await {
            Ok(took) => println!("{}", took?.as_nanos()),
            Err(_) => println!("none"),
        }
    }
    Ok(())
}

fn main() -> Result<(), Failed> {
    let words: Vec<String> = env::args().skip(1).collect();
    let [bus, seconds, per_second] = &words[..] else {
        return Err("needs a bus, seconds, and frames a second".into());
    };
    let (bus, lasting): (Name, _) = (bus.parse()?, Duration::from_secs(seconds.parse()?));
    let per_second = per_second.parse()?;
    thread::scope(|scope| {
        let tester = scope.spawn(|| within(&bus, async |bus| ask(bus, lasting).await));
        within(&bus, async |bus| flood(bus, lasting, per_second).await)?;
        tester.join().map_err(|_| "the tester panicked")?
    })
}
