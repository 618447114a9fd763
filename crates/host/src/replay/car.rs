//! The ECUs of a recording on a bus: wall time in, frames both ways.
//!
//! What is answered is `dialogue::StandIn`'s; this is its shell, as [`crate::run`] is the simulator's. A question counts
//! from when the kernel had it, where it tells, so that a busy computer makes no reply later than it was.

use std::{fmt, time::Duration};

use tokio::time::sleep_until;
use twotrip_can::{Frame, error_frame::ErrorFrame};
use twotrip_dialogue::{StandIn, StandInEvent};
use twotrip_units::BusInstant;

use crate::{
    bench::{TESTERS, Watch},
    bus::{Bus, BusError, BusEvent, Sent, local::TurnedAway},
    run::{Ending, Heard, Port, RETRY, RunError, TIMER_GRAIN, Traffic, written},
    wall::Wall,
};

/// A frame that nobody asks for is left out when it is later than this.
const MOST_LATE: Duration = Duration::from_secs(1);
/// Longest sleep.
const FAR: Duration = Duration::from_secs(3600);

/// What is told while it answers.
#[derive(Debug)]
pub enum Notice {
    /// The stand-in says something.
    Event(StandInEvent),
    /// The interface went down.
    BusDown,
    /// The controller reports an error of the bus.
    BusError {
        /// What it says.
        error: ErrorFrame,
        /// Further reports of its kind since the last one told: one a second is.
        more: u64,
    },
    /// A client of the embedded bus was not let in, or not let stay.
    TurnedAway {
        /// Why.
        why: TurnedAway,
        /// Further ones of its kind since the last one told: one a second is told.
        more: u64,
    },
}

/// Frames that nobody asks for, each with its time since the beginning, in the order of time.
pub type Broadcasts = Box<dyn FnMut() -> Option<(Duration, Frame)>>;

/// The frames that nobody asks for.
#[derive(Default)]
struct Beside {
    source: Option<Broadcasts>,
    next: Option<(BusInstant, Frame)>,
    sent: u64,
    missed: u64,
}

impl fmt::Debug for Beside {
    /// Without the source.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Beside")
            .field("next", &self.next)
            .finish_non_exhaustive()
    }
}

impl Beside {
    fn due(&self) -> Option<BusInstant> {
        self.next.map(|(at, _)| at)
    }

    fn advance(&mut self) {
        let next = self.source.as_mut().and_then(|source| source());
        self.next = next.map(|(since, frame)| (BusInstant::ZERO + since, frame));
    }
}

/// A stand-in on a bus.
#[derive(Debug)]
pub struct Car {
    stand_in: StandIn,
    port: Port,
    /// Its time.
    wall: Wall,
    beside: Beside,
}

impl Car {
    /// A stand-in on `bus`; time begins now. With a watch it leaves as soon as anything but testers is heard.
    ///
    /// # Errors
    /// [`BusError`] if the kernel refuses filters or time stamps.
    pub fn new(stand_in: StandIn, mut bus: Bus, watch: Option<Watch>) -> Result<Self, BusError> {
        if watch.is_none() {
            // Traffic of others wakes nobody; on a bench it has to be heard. What nobody was asked in the recording is to be told
            // too.
            bus.set_filters(&TESTERS)?;
        }
        bus.want_detail()?;
        Ok(Self {
            stand_in,
            port: Port::new(bus, watch),
            wall: Wall::begin(),
            beside: Beside::default(),
        })
    }

    /// Sends these frames too, each at its time. Says whether there are any.
    pub fn broadcast(&mut self, frames: Broadcasts) -> bool {
        self.beside.source = Some(frames);
        self.beside.advance();
        self.beside.next.is_some()
    }

    /// How many frames have been sent that nobody asked for, and how many were left out because the computer was late by
    /// more than a second.
    #[must_use]
    pub const fn broadcasts(&self) -> (u64, u64) {
        (self.beside.sent, self.beside.missed)
    }

    /// Who answers.
    #[must_use]
    pub const fn stand_in(&self) -> &StandIn {
        &self.stand_in
    }

    /// Frames so far, for a report; asks the kernel.
    #[must_use]
    pub fn traffic(&self) -> Traffic {
        self.port.traffic()
    }

    /// Answers until `stop` is ready, or `lasting` is over.
    ///
    /// # Errors
    /// [`RunError`] if the bus is gone for good, or is no bench any more.
    pub async fn play(
        &mut self,
        lasting: Option<Duration>,
        stop: impl Future<Output = ()>,
        mut notice: impl FnMut(Notice),
    ) -> Result<Ending, RunError> {
        let mut stop = std::pin::pin!(stop);
        let end = lasting.map(|span| self.wall.now() + span);
        loop {
            let now = self.wall.now();
            if end.is_some_and(|end| now >= end) {
                return Ok(Ending::TimeOver);
            }
            self.stand_in.handle_timeout(now);
            self.send_frames(now)?;
            self.send_broadcasts(now)?;
            while let Some(event) = self.stand_in.poll_event() {
                notice(Notice::Event(event));
            }
            let deadlines = [end, self.stand_in.poll_timeout()];
            let deadline = deadlines.into_iter().flatten().min().unwrap_or(now + FAR);
            let wait = deadline.saturating_since(now);
            let at_once = wait < TIMER_GRAIN && !self.port.is_blocked();
            // A little early: the rest is waited for awake. A full queue is waited for asleep.
            let wait = if self.port.is_blocked() {
                RETRY
            } else {
                wait.saturating_sub(TIMER_GRAIN / 2)
            };
            // A frame that nobody asks for waits for the timer: nobody misses the part of a millisecond.
            let wake = (now + wait).min(self.beside.due().unwrap_or(BusInstant::MAX));
            let wake = self.wall.instant(wake).into();
            tokio::select! {
                biased;
                () = &mut stop => return Ok(Ending::Stopped),
                event = self.port.bus.recv() => {
                    self.take(event?, &mut notice)?;
                    while let Some(event) = self.port.bus.take_read() {
                        self.take(event, &mut notice)?;
                    }
                }
                () = tokio::task::yield_now(), if at_once => {}
                () = sleep_until(wake), if !at_once => {}
            }
        }
    }

    /// When the frame last received came in.
    fn arrival(&mut self) -> BusInstant {
        let noted = self.port.bus.detail().and_then(|detail| detail.at);
        self.wall.arrival(noted)
    }

    fn take(&mut self, event: BusEvent, notice: &mut impl FnMut(Notice)) -> Result<(), RunError> {
        match self.port.sort(event, || self.wall.now())? {
            Heard::Frame(frame) => {
                let at = self.arrival();
                self.stand_in.handle_frame(at, &frame);
                let now = self.wall.now();
                self.send_frames(now)?;
                while let Some(event) = self.stand_in.poll_event() {
                    notice(Notice::Event(event));
                }
            }
            Heard::Passed(_) => {
                let at = self.arrival();
                self.stand_in.handle_transmitted(at);
                let now = self.wall.now();
                self.send_frames(now)?;
            }
            Heard::Down => {
                self.port.take_blocked();
                notice(Notice::BusDown);
            }
            Heard::BusError(error, more) => notice(Notice::BusError { error, more }),
            Heard::TurnedAway(why, more) => notice(Notice::TurnedAway { why, more }),
            Heard::Nothing => {}
        }
        Ok(())
    }

    /// Sends what nobody asked for and what is due, unless a reply waits for room.
    fn send_broadcasts(&mut self, now: BusInstant) -> Result<(), BusError> {
        while let Some((at, frame)) = self
            .beside
            .next
            .filter(|&(at, _)| at <= now && !self.port.is_blocked())
        {
            if now.saturating_since(at) > MOST_LATE {
                self.beside.missed += 1;
            } else {
                match self.port.bus.try_send(&frame)? {
                    Sent::Handed | Sent::Queued => self.beside.sent += 1,
                    Sent::Down => self.port.counts.sent_while_down += 1,
                    Sent::Later => {
                        self.beside.next = Some((now + RETRY, frame));
                        break;
                    }
                }
            }
            self.beside.advance();
        }
        Ok(())
    }

    /// Sends what there is to send, in order; a full queue keeps the frame for later, unless the reply that it belongs to
    /// has been given up meanwhile.
    fn send_frames(&mut self, mut now: BusInstant) -> Result<(), BusError> {
        if !self.stand_in.has_frame_in_flight() {
            self.port.give_up();
        }
        while let Some(frame) = (self.port.take_blocked()).or_else(|| self.stand_in.poll_frame(now)) {
            match self.port.send(frame)? {
                Sent::Handed | Sent::Down => {
                    now = written(now, self.wall.now());
                    self.stand_in.handle_transmitted(now);
                }
                Sent::Queued => {}
                Sent::Later => break,
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use twotrip_can::CanId;
    use twotrip_dialogue::{Learner, Settings};

    use super::*;
    use crate::bus::Name;

    #[test]
    fn what_testers_send_is_heard_and_nothing_else() {
        let heard = |id: CanId| {
            let frame = Frame::padded(id, &[2, 1, 0], 0);
            TESTERS.iter().any(|filter| filter.passes(&frame))
        };
        let standard = [0x7DF, 0x7E0, 0x7E7].map(CanId::Standard);
        let extended = [0x18DB_33F1, 0x18DA_10F1, 0x18DA_FEF1].map(CanId::Extended);
        assert!(standard.into_iter().chain(extended).all(heard));
        let standard = [0x000, 0x7DE, 0x7E8, 0x7EF].map(CanId::Standard);
        let extended = [0x7DF, 0x7E0, 0x18DA_F110, 0x18DA_10F2, 0x18DB_33F2].map(CanId::Extended);
        assert!(!standard.into_iter().chain(extended).any(heard));
    }

    fn recorded() -> StandIn {
        let mut learner = Learner::default();
        let mut say = |millis, id, data: &[u8]| {
            let frame = Frame::padded(CanId::Standard(id), data, 0);
            learner.on_frame(BusInstant::from_millis(millis), &frame)
        };
        say(0, 0x7DF, &[2, 1, 0x0C]).expect("room");
        say(5, 0x7E8, &[4, 0x41, 0x0C, 0x0C, 0x80]).expect("room");
        let (answers, _) = learner.finish(BusInstant::from_secs(1));
        StandIn::new(answers, Settings::default())
    }

    /// With the guard of a bench it leaves at the first frame that no tester sends; without one it does not even hear it.
    #[tokio::test(flavor = "current_thread")]
    async fn the_guard_of_a_bench_ends_it_and_testers_do_not() {
        for (place, watch) in [None, Some(Watch)].into_iter().enumerate() {
            let name: Name = format!("local:recorded-{place}-{}", std::process::id())
                .parse()
                .expect("a name");
            let bus = Bus::host(&name).expect("bus");
            let mut car = Car::new(recorded(), bus, watch).expect("filters");
            let others = async {
                let mut tester = Bus::join(&name).await.expect("joined");
                let ask = Frame::padded(CanId::Standard(0x7DF), &[2, 1, 0x0C], 0);
                assert_eq!(tester.send(&ask).await.expect("sent"), Sent::Handed);
                while !matches!(tester.recv().await.expect("a frame"), BusEvent::Frame(_)) {}
                let foreign = Frame::padded(CanId::Standard(0x123), &[1], 0);
                assert_eq!(tester.send(&foreign).await.expect("sent"), Sent::Handed);
                // Behind it, so that it has been heard, if it is.
                assert_eq!(tester.send(&ask).await.expect("sent"), Sent::Handed);
                while !matches!(tester.recv().await.expect("a frame"), BusEvent::Frame(_)) {}
            };
            let ended = car.play(None, others, |_| {}).await;
            match watch {
                None => assert_eq!(ended.expect("no guard"), Ending::Stopped),
                Some(_) => assert!(matches!(ended, Err(RunError::Bench(_))), "{ended:?}"),
            }
            let counts = car.stand_in().counts();
            assert_eq!(counts.answered, if watch.is_some() { 1 } else { 2 });
        }
    }
}
