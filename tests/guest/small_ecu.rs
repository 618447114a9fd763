//! Channels of `isotp` on a bus of `host`, with a small application above: what the program's transport can do beyond
//! what its car does with it.
//!
//! `small-ecu INTERFACE CASE` is the ECU that the conformance case of that index needs (`tests/support/cases`);
//! `small-ecu INTERFACE echo` answers every message on 7E0 with itself.

use std::env;
use std::error::Error;
use std::time::{Duration, Instant};

use tokio::time::sleep_until;
use twotrip_can::Frame;
use twotrip_host::bus::{Bus, BusError, BusEvent, Sent};
use twotrip_isotp::{Channel, Event};
use twotrip_tests::cases::{self, Setup};
use twotrip_tests::peer;
use twotrip_units::BusInstant;

/// What answers a message.
enum Application {
    Case(Setup),
    Echo,
}

impl Application {
    fn answer(&self, channel: &mut Channel, now: BusInstant, event: Event) {
        let Event::Received { addressing } = event else {
            return;
        };
        let message = channel.message(addressing).to_vec();
        let answer = match self {
            Self::Case(setup) => peer::answer(setup, addressing, &message),
            Self::Echo => Some(message),
        };
        if let Some(answer) = answer
            && !channel.is_transmitting()
        {
            // The channel is free and no answer is longer than it takes.
            let _ = channel.send(now, &answer);
        }
    }
}

struct SmallEcu {
    application: Application,
    channels: Vec<Channel>,
    begun: Instant,
    /// Frames that the bus had no room for, by channel.
    held: Vec<Option<Frame>>,
}

impl SmallEcu {
    fn now(&self) -> BusInstant {
        BusInstant::ZERO + self.begun.elapsed()
    }

    /// All frames and events of all channels.
    fn flush(&mut self, bus: &mut Bus) -> Result<(), BusError> {
        for (channel, held) in self.channels.iter_mut().zip(&mut self.held) {
            loop {
                *held = held.filter(|_| channel.has_frame_in_flight());
                let mut now = BusInstant::ZERO + self.begun.elapsed();
                while let Some(frame) = held.take().or_else(|| channel.poll_frame(now)) {
                    match bus.try_send(&frame)? {
                        Sent::Handed | Sent::Queued | Sent::Down => {
                            // As the program does: a halt of the machine over the write is no N_As.
                            let written = BusInstant::ZERO + self.begun.elapsed();
                            now = written.min(now + Duration::from_millis(20));
                            channel.handle_transmitted(now);
                        }
                        Sent::Later => {
                            *held = Some(frame);
                            break;
                        }
                    }
                }
                let Some(event) = channel.poll_event() else { break };
                self.application.answer(channel, now, event);
            }
        }
        Ok(())
    }

    /// An event, and those read with it.
    fn take(&mut self, event: BusEvent, bus: &mut Bus) -> Result<(), BusError> {
        let mut event = Some(event);
        while let Some(read) = event {
            if let BusEvent::Frame(received) = read {
                let now = self.now();
                for channel in &mut self.channels {
                    channel.handle_frame(now, &received.frame);
                }
                self.flush(bus)?;
            }
            event = bus.take_read();
        }
        Ok(())
    }

    /// Whether nothing is to be done for some milliseconds but to listen.
    fn has_time(&self) -> bool {
        let soon = self.now() + Duration::from_millis(20);
        self.channels
            .iter()
            .filter_map(Channel::poll_timeout)
            .all(|deadline| deadline > soon)
    }

    async fn run(&mut self, bus: &mut Bus) -> Result<(), BusError> {
        loop {
            self.flush(bus)?;
            let deadline = self.channels.iter().filter_map(Channel::poll_timeout).min();
            let far = self.now() + Duration::from_secs(3600);
            let wake = deadline.unwrap_or(far).saturating_since(BusInstant::ZERO);
            tokio::select! {
                biased;
                event = bus.recv() => {
                    self.take(event?, bus)?;
                    // As the program does: the next frame of a transfer comes at once.
                    while self.has_time() && let Some(event) = bus.recv_soon()? {
                        self.take(event, bus)?;
                    }
                }
                () = sleep_until(tokio::time::Instant::from_std(self.begun) + wake) => {}
            }
            let now = self.now();
            for channel in &mut self.channels {
                channel.handle_timeout(now);
            }
        }
    }
}

#[tokio::main(flavor = "current_thread")]
async fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let interface = arguments.next().ok_or("needs the name of an interface")?;
    let what = arguments.next().ok_or("needs the index of a case, or `echo`")?;
    let (application, setup) = if what == "echo" {
        (Application::Echo, Setup::OBD)
    } else {
        let case = cases::all().nth(what.parse()?).ok_or("there is no such case")?;
        (Application::Case(case.live_setup()), case.live_setup())
    };
    let mut bus = Bus::join(&interface.parse()?).await?;
    let channels = peer::channels(&setup);
    let mut ecu = SmallEcu {
        application,
        held: vec![None; channels.len()],
        channels,
        begun: Instant::now(),
    };
    println!("ready");
    ecu.run(&mut bus).await?;
    Ok(())
}
