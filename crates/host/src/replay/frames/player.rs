//! Sends recorded frames at their times, on the thread that calls it.
//!
//! The thread sleeps to absolute instants of the monotonic clock; the runtime's own timer knows milliseconds only. Between
//! two frames, and now and then where they follow each other closely, it turns to what the buses bring: what is heard is
//! thrown away, but on a bench each frame is looked at first.

use std::{
    future::{Future, poll_fn},
    pin::{Pin, pin},
    task::Poll,
    time::{Duration, SystemTime},
};

use twotrip_units::BusInstant;

use super::{Clock, Due, Entry, Lateness, Order, Pacer, Speed, Wire};
use crate::{
    bench::{BenchError, Watch},
    bus::{Bus, BusError, BusEvent, Sent},
};

/// The thread sleeps no longer without looking at the buses.
const NAP: Duration = Duration::from_millis(5);
/// How often they are looked at where there is time for it, or where frames are late anyway.
const TURN: Duration = Duration::from_millis(2);
/// And where there is neither.
const LONG: Duration = Duration::from_millis(20);
/// What a look at the buses is thought to take before one has been taken; none is begun so shortly before a frame.
const LOOK_TIME: Duration = Duration::from_micros(100);
/// Wait after a bus had no room: some frame of its queue has passed by then.
const RETRY: Duration = Duration::from_micros(250);
/// A bus that takes nothing for so long is worth a word.
const STUCK: Duration = Duration::from_secs(1);
/// How often progress is told.
const PROGRESS: Duration = Duration::from_millis(200);
/// Time between the start and the first frame, so that this one is not late by the start itself.
const LEAD: Duration = Duration::from_millis(1);
/// How long the last frames are waited for at the end, where a client is slow to take them.
const LINGER: Duration = Duration::from_millis(500);

/// A bus that frames go to.
#[derive(Debug)]
pub struct Lane {
    /// The bus.
    pub bus: Bus,
    /// How fast its wire is.
    pub wire: Wire,
    /// Looks at what others send, where there is a wire.
    pub watch: Option<Watch>,
}

/// What has become of the frames so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Handed to their bus.
    pub sent: u64,
    /// Lost because the interface was down.
    pub down: u64,
    /// FD frames for an interface that takes none.
    pub not_carried: u64,
    /// Times that a bus had no room and was waited for.
    pub waits: u64,
}

impl Counts {
    /// Frames that had their turn.
    #[must_use]
    pub const fn done(&self) -> u64 {
        self.sent + self.down + self.not_carried
    }
}

/// What is told on the way.
#[derive(Debug)]
pub enum Notice<'a> {
    /// How far it is.
    Progress(Counts),
    /// The interface of this lane is down: frames are lost until it is up.
    Down(usize),
    /// The interface of this lane takes no FD frames: they are left out.
    NoFd(usize, &'a BusError),
    /// The bus of this lane has had no room for a second.
    Stuck(usize),
}

/// How it ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// All frames had their turn.
    Complete,
    /// It was asked to stop.
    Asked,
}

/// Why it did not end well; `E` is the error of the recording.
#[derive(Debug, thiserror::Error)]
pub enum PlayError<E> {
    /// The recording.
    #[error(transparent)]
    Recording(E),
    /// Somebody is on the bus who does not belong on a bench.
    #[error(transparent)]
    Bench(BenchError),
    /// The bus.
    #[error(transparent)]
    Bus(#[from] BusError),
}

/// Sends recorded frames.
#[derive(Debug)]
pub struct Player {
    lanes: Vec<Lane>,
    clock: Clock,
    speed: Speed,
    counts: Counts,
    lateness: Lateness,
    /// When the first frame was due.
    began: SystemTime,
    /// When the buses were last looked at.
    looked: BusInstant,
    /// What that takes: the longest, forgotten by and by.
    look_time: Duration,
    told: BusInstant,
    /// Lanes of which it was said that they are down, and that they take no FD frames.
    down: Vec<bool>,
    no_fd: Vec<bool>,
}

/// Something heard, or nothing more.
enum Heard {
    Event(usize, BusEvent),
    Nothing,
    Stop,
}

impl Player {
    /// For these lanes. Must be used within a runtime of one thread that has nothing else to do: this thread sleeps.
    #[must_use]
    pub fn new(lanes: Vec<Lane>, speed: Speed) -> Self {
        Clock::want_precision();
        Self {
            down: vec![false; lanes.len()],
            no_fd: vec![false; lanes.len()],
            lanes,
            clock: Clock::default(),
            speed,
            counts: Counts::default(),
            lateness: Lateness::default(),
            began: SystemTime::now(),
            looked: BusInstant::ZERO,
            look_time: LOOK_TIME,
            told: BusInstant::ZERO,
        }
    }

    /// What has become of the frames.
    #[must_use]
    pub const fn counts(&self) -> Counts {
        self.counts
    }

    /// How late frames were by the recording. At [`Speed::Max`] none is ever late.
    #[must_use]
    pub const fn lateness(&self) -> &Lateness {
        &self.lateness
    }

    /// When the first frame was due: no frame has gone earlier than this and its recorded distance from the first one.
    #[must_use]
    pub const fn began(&self) -> SystemTime {
        self.began
    }

    /// Frames that slow clients of an embedded bus did not take.
    #[must_use]
    pub fn lost(&self) -> u64 {
        self.lanes.iter().map(|lane| lane.bus.lost()).sum()
    }

    /// The lanes whose bus is made here and has nobody on it.
    pub fn made(&self) -> impl Iterator<Item = usize> {
        let lanes = self.lanes.iter().enumerate();
        lanes
            .filter(|(_, lane)| lane.bus.clients() == Some(0))
            .map(|(number, _)| number)
    }

    /// Serves the buses until each one that is made here has somebody on it.
    ///
    /// # Errors
    /// [`PlayError`], never of the recording.
    pub async fn await_clients<E>(&mut self, stop: impl Future<Output = ()>) -> Result<Ending, PlayError<E>> {
        let mut stop = pin!(stop);
        while self.made().next().is_some() {
            if self.look(stop.as_mut(), &mut |_| {}).await? {
                return Ok(Ending::Asked);
            }
            self.clock.sleep_until(self.clock.now() + NAP);
        }
        Ok(Ending::Complete)
    }

    /// Sends what `next` gives, until that is nothing.
    ///
    /// # Errors
    /// [`PlayError`]; nothing more is sent then.
    pub async fn play<E>(
        &mut self,
        mut next: impl FnMut() -> Result<Option<Entry>, E>,
        stop: impl Future<Output = ()>,
        mut notice: impl FnMut(Notice<'_>),
    ) -> Result<Ending, PlayError<E>> {
        let mut stop = pin!(stop);
        let wires = self.lanes.iter().map(|lane| lane.wire);
        // The span is added to both, so that what is between the two questions makes the start earlier, not later.
        self.began = SystemTime::now() + LEAD;
        let mut pacer = Pacer::new(self.speed, wires, self.clock.now() + LEAD);
        let mut order = Order::new(self.lanes.len());
        let mut is_over = false;
        loop {
            while !is_over && order.has_room() {
                match next().map_err(PlayError::Recording)? {
                    Some(entry) => order.push(pacer.due(&entry)),
                    None => is_over = true,
                }
            }
            let Some(due) = order.pop() else {
                break;
            };
            let ready = pacer.ready(&due);
            if self.wait(ready, stop.as_mut(), &mut notice).await? {
                return Ok(Ending::Asked);
            }
            let Some(went) = self.send(&due, stop.as_mut(), &mut notice).await? else {
                return Ok(Ending::Asked);
            };
            pacer.sent(&due, ready, went);
            if self.speed != Speed::Max {
                self.lateness.record(went.saturating_since(due.at));
            }
        }
        self.linger(stop.as_mut(), &mut notice).await?;
        Ok(Ending::Complete)
    }

    /// Sleeps until an instant, and serves the buses meanwhile; `true` if asked to stop.
    async fn wait<E>(
        &mut self,
        until: BusInstant,
        mut stop: Pin<&mut impl Future<Output = ()>>,
        notice: &mut impl FnMut(Notice<'_>),
    ) -> Result<bool, PlayError<E>> {
        let mut is_fresh = true;
        loop {
            let now = self.clock.now();
            let left = until.saturating_since(now);
            let since = now.saturating_since(self.looked);
            let is_wanted = if left > self.look_time * 2 {
                since >= TURN
            } else {
                // It would make this frame late; but a frame that is late already does not wait for it to be so at its own
                // time, and somebody may have asked to stop.
                since >= LONG || (left.is_zero() && is_fresh && since >= TURN)
            };
            if is_wanted && self.look(stop.as_mut(), notice).await? {
                return Ok(true);
            }
            if left.is_zero() {
                return Ok(false);
            }
            if is_wanted {
                // It took its time.
                continue;
            }
            self.clock.sleep_until(until.min(now + NAP));
            is_fresh = false;
        }
    }

    /// Hands a frame to its bus, waiting for room; when that was, or `None` if asked to stop.
    async fn send<E>(
        &mut self,
        due: &Due,
        mut stop: Pin<&mut impl Future<Output = ()>>,
        notice: &mut impl FnMut(Notice<'_>),
    ) -> Result<Option<BusInstant>, PlayError<E>> {
        let lane = due.lane;
        let Some(Lane { bus, .. }) = self.lanes.get_mut(lane) else {
            return Ok(Some(self.clock.now()));
        };
        let mut went = self.clock.now();
        let mut sent = bus.try_send(&due.frame);
        if matches!(sent, Ok(Sent::Later)) {
            self.counts.waits += 1;
            let mut since = went;
            while matches!(sent, Ok(Sent::Later)) {
                if self.wait(self.clock.now() + RETRY, stop.as_mut(), notice).await? {
                    return Ok(None);
                }
                went = self.clock.now();
                sent = self.lanes[lane].bus.try_send(&due.frame);
                if went.saturating_since(since) >= STUCK {
                    notice(Notice::Stuck(lane));
                    // Once: the next word is that of whoever stops it.
                    since = BusInstant::MAX;
                }
            }
        }
        match sent {
            Ok(Sent::Down) => {
                self.counts.down += 1;
                if !std::mem::replace(&mut self.down[lane], true) {
                    notice(Notice::Down(lane));
                }
            }
            Ok(_) => {
                self.counts.sent += 1;
                self.down[lane] = false;
            }
            Err(error @ BusError::NoFd { .. }) => {
                self.counts.not_carried += 1;
                if !std::mem::replace(&mut self.no_fd[lane], true) {
                    notice(Notice::NoFd(lane, &error));
                }
            }
            Err(error) => return Err(error.into()),
        }
        Ok(Some(went))
    }

    /// Takes all that the buses have brought; `true` if asked to stop.
    async fn look<E>(
        &mut self,
        mut stop: Pin<&mut impl Future<Output = ()>>,
        notice: &mut impl FnMut(Notice<'_>),
    ) -> Result<bool, PlayError<E>> {
        let begun = self.clock.now();
        // The runtime asks the kernel what has come while this gives way to it.
        tokio::task::yield_now().await;
        loop {
            match self.hear(stop.as_mut()).await? {
                Heard::Stop => return Ok(true),
                Heard::Nothing => break,
                Heard::Event(lane, BusEvent::Frame(received)) => {
                    if let Some(watch) = self.lanes[lane].watch {
                        watch.check(&received).map_err(PlayError::Bench)?;
                    }
                }
                Heard::Event(lane, BusEvent::Down) => {
                    if !std::mem::replace(&mut self.down[lane], true) {
                        notice(Notice::Down(lane));
                    }
                }
                Heard::Event(_, BusEvent::Passed(_) | BusEvent::TurnedAway(_)) => {}
            }
        }
        self.looked = self.clock.now();
        let took = self.looked.saturating_since(begun);
        self.look_time = took.max(self.look_time - self.look_time / 16);
        if self.looked >= self.told + PROGRESS {
            self.told = self.looked;
            notice(Notice::Progress(self.counts));
        }
        Ok(false)
    }

    /// What is there already.
    async fn hear(&mut self, mut stop: Pin<&mut impl Future<Output = ()>>) -> Result<Heard, BusError> {
        poll_fn(|context| {
            if stop.as_mut().poll(context).is_ready() {
                return Poll::Ready(Ok(Heard::Stop));
            }
            for (number, lane) in self.lanes.iter_mut().enumerate() {
                if let Poll::Ready(event) = pin!(lane.bus.recv()).poll(context) {
                    return Poll::Ready(event.map(|event| Heard::Event(number, event)));
                }
            }
            Poll::Ready(Ok(Heard::Nothing))
        })
        .await
    }

    /// Lets the last frames go out.
    async fn linger<E>(
        &mut self,
        mut stop: Pin<&mut impl Future<Output = ()>>,
        notice: &mut impl FnMut(Notice<'_>),
    ) -> Result<(), PlayError<E>> {
        let end = self.clock.now() + LINGER;
        while self.lanes.iter().any(|lane| lane.bus.is_sending()) && self.clock.now() < end {
            if self.look(stop.as_mut(), notice).await? {
                break;
            }
            self.clock.sleep_until(self.clock.now() + RETRY);
        }
        Ok(())
    }
}
