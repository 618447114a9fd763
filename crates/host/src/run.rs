//! The run of a car on a bus: wall time in, frames both ways, phrases from the control socket.
//!
//! This is the one file that turns wall time into the simulator's two clocks. Bus time is wall time since the
//! start. Car time passes while nothing is being done at the pace of the run (real time by default), and while a
//! phrase is being carried out as fast as the computer can, in slices of about a millisecond, so that the bus is
//! served in between; an explicit [`Pace`] holds for both.

mod bus_errors;
mod frames;
mod memory;
mod phrases;
mod port;
mod seldom;
mod snapshot;
mod turned_away;

use std::{
    collections::BTreeMap,
    fmt,
    future::{Future, pending, poll_fn},
    pin::pin,
    task::Poll,
    time::{Duration, Instant},
};

use tokio::{
    signal::unix::{SignalKind, signal},
    task::JoinHandle,
    time::{sleep_until, timeout},
};
use twotrip_can::error_frame::ErrorFrame;
use twotrip_sim::{Event, JobId, STEP, Simulator};
use twotrip_units::BusInstant;

use self::memory::Keeper;
pub use self::port::Traffic;
pub(crate) use self::port::{Heard, Port, RETRY, written};
use crate::{
    bench::BenchError,
    bus::{Bus, BusError, local::TurnedAway},
    control::{ControlServer, RequestId},
    exit,
    journal::Journaled,
    judge::{Judge, Summary},
    memory_file::MemoryFileError,
    recording::Tap,
    verdicts::{Judged, Verdicts, judged},
};

/// How fast the car's time passes.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub enum Pace {
    /// Standing in real time; drives, soaks and waits as fast as the computer can.
    #[default]
    Live,
    /// As many times real time, whatever the car does; zero lets it stand, and phrases that take time wait with it.
    Times(f64),
    /// As fast as the computer can while something is being done; otherwise time stands.
    Max,
}

impl fmt::Display for Pace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Live => f.write_str("live"),
            Self::Times(times) => times.fmt(f),
            Self::Max => f.write_str("max"),
        }
    }
}

/// What the run tells whoever watches it.
#[derive(Debug)]
pub enum Notice<'a> {
    /// The simulator says something.
    Event(&'a Event),
    /// The interface went down.
    BusDown,
    /// The ECU's memory cannot be kept: the car is silent until it can.
    MemoryNotKept(&'a MemoryFileError),
    /// The ECU's memory can be kept again.
    MemoryKept,
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

/// Why the run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// Its time was over.
    TimeOver,
    /// Interrupted or asked to end by a signal.
    Stopped,
    /// Nobody has asked for anything for as long as [`Run::until_idle`] says.
    Idle,
    /// The process of [`Run::until_exit`] has ended.
    Orphaned,
}

impl Ending {
    /// In a word or two.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::TimeOver => "time over",
            Self::Stopped => "stopped",
            Self::Idle => "idle",
            Self::Orphaned => "left alone",
        }
    }
}

/// Why a run cannot go on.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The bus is gone for good.
    #[error(transparent)]
    Bus(#[from] BusError),
    /// The bench is no longer one.
    #[error(transparent)]
    Bench(#[from] BenchError),
    /// The system does not let us hear signals.
    #[error("cannot listen for Ctrl-C: {0}")]
    Signals(std::io::Error),
}

/// Car time that is carried out between two looks at the wall clock.
const SLICE: Duration = Duration::from_secs(2);
/// Wall time after which the bus is served again.
const SLICE_WALL: Duration = Duration::from_millis(1);
/// Wall time that a pace may be behind; more is given up.
const MOST_BEHIND: Duration = Duration::from_secs(1);
/// How often a standing car is brought up to date when nobody asks.
const IDLE_TICK: Duration = Duration::from_millis(200);
/// Deadlines nearer than this are waited for without sleeping: the timer's grain is a millisecond.
pub(crate) const TIMER_GRAIN: Duration = Duration::from_millis(2);
/// What waits on the bus comes within one of these spans; the tasks that read an embedded bus need a turn of their own.
const AT_HAND: Duration = Duration::from_millis(1);
const QUIET: u32 = 3;
/// A time in which every tester has done what it ever does: P2* is 5 s (ISO 15765-4).
const NEVER: Duration = Duration::from_secs(600);
/// Longest time in which what waits is let pass: a bus may have traffic without end.
const LETTING_PASS: Duration = Duration::from_millis(50);

/// A car on a bus.
#[derive(Debug)]
pub struct Run {
    simulator: Journaled,
    port: Port,
    control: ControlServer,
    pace: Pace,
    begun: Instant,
    /// Bus time up to which the car's time has passed.
    passed: BusInstant,
    /// Car time that the pace still owes.
    behind: Duration,
    memory: Keeper,
    judge: Judge,
    /// The recorder beside.
    tap: Option<Tap>,
    verdicts: Verdicts,
    asked: BTreeMap<JobId, RequestId>,
    last_progress: BusInstant,
    /// Ends when a signal asks for the end. A task of its own: a request then does not have to look after signals.
    asked_to_stop: JoinHandle<()>,
    /// Ends when a process does that the run is there for.
    left_alone: Option<JoinHandle<()>>,
    /// How long nobody may want anything, and when somebody last did.
    patience: Option<Duration>,
    last_heard: BusInstant,
    /// How much later than now testers are judged.
    beyond: Duration,
}

impl Run {
    /// A run of `simulator` on `bus`; bus time begins now, and from now on a signal ends the run instead of the process.
    ///
    /// # Errors
    /// [`RunError::Signals`] if the system does not let us hear signals.
    pub fn new(simulator: Simulator, bus: Bus, control: ControlServer, pace: Pace) -> Result<Self, RunError> {
        let mut interrupt = signal(SignalKind::interrupt()).map_err(RunError::Signals)?;
        let mut terminate = signal(SignalKind::terminate()).map_err(RunError::Signals)?;
        let asked_to_stop = tokio::spawn(async move {
            tokio::select! {
                _ = interrupt.recv() => {}
                _ = terminate.recv() => {}
            }
        });
        Ok(Self {
            simulator: Journaled::new(simulator),
            port: Port::new(bus, None),
            control,
            pace,
            begun: Instant::now(),
            passed: BusInstant::ZERO,
            behind: Duration::ZERO,
            memory: Keeper::default(),
            judge: Judge::default(),
            tap: None,
            verdicts: Verdicts::default(),
            asked: BTreeMap::new(),
            last_progress: BusInstant::ZERO,
            asked_to_stop,
            left_alone: None,
            patience: None,
            last_heard: BusInstant::ZERO,
            beyond: Duration::ZERO,
        })
    }

    /// The simulator, for a report at the end.
    #[must_use]
    pub fn simulator(&self) -> &Simulator {
        &self.simulator
    }

    /// What the tool on the bus did about disturbances so far.
    pub fn judged(&mut self) -> Vec<Judged> {
        let now = self.now() + self.beyond;
        judged(&mut self.verdicts, &mut self.simulator, now)
    }

    /// The tool has ended: what it has not done by now it never will, and is judged so.
    pub const fn tool_is_gone(&mut self) {
        self.beyond = NEVER;
    }

    /// Judges testers by the times of their frames that the kernel notes, or their senders on an embedded bus: then a busy computer
    /// makes nobody look early. The kernel's cost something with each frame.
    ///
    /// # Errors
    /// [`BusError`] if the kernel refuses.
    pub fn judge_by_noted_times(&mut self) -> Result<(), BusError> {
        let by = self.port.bus.want_times()?;
        self.judge.go_by_noted_times(self.begun, by);
        Ok(())
    }

    /// Ends the run when for this long no frame has come, no phrase was told and none is being carried out.
    pub const fn until_idle(&mut self, patience: Duration) {
        self.patience = Some(patience);
    }

    /// Ends the run when this process ends; at once if there is none.
    ///
    /// # Errors
    /// What the system says if processes cannot be watched.
    pub fn until_exit(&mut self, process: u32) -> std::io::Result<()> {
        let ended = exit::of(process)?;
        self.left_alone = Some(tokio::spawn(ended));
        Ok(())
    }

    /// When nobody has wanted anything for too long.
    fn idle_end(&self) -> Option<BusInstant> {
        let patience = self.patience.filter(|_| !self.simulator.is_busy())?;
        Some(self.last_heard + patience)
    }

    /// What testers have done so far.
    #[must_use]
    pub fn conduct(&mut self) -> Summary {
        let now = self.now() + self.beyond;
        self.judge.summary(now)
    }

    /// Lets the control socket's last replies go out, and the recorder have the last of what was done to the car.
    pub async fn finish(&mut self) {
        if let Some(tap) = &mut self.tap {
            tap.note(self.simulator.take_last_notes());
        }
        self.control.finish().await;
    }

    /// Lets pass what the bus brought while the car lived through its story: answered only now, a request would
    /// meet an asker that has given up, or that takes the answer for the next one's. Not on a bench, where everything heard counts.
    pub async fn let_pass(&mut self) {
        if self.port.watch.is_some() {
            return;
        }
        let until = Instant::now() + LETTING_PASS;
        let mut quiet = 0;
        while quiet < QUIET && Instant::now() < until {
            // What ends the bus for good is said again when the run begins.
            quiet = match timeout(AT_HAND, self.port.bus.recv()).await {
                Ok(Ok(_)) => 0,
                Ok(Err(_)) | Err(_) => quiet + 1,
            };
        }
    }

    /// Serves the bus while something else begins on it, a recorder for one; what the bus brings meanwhile is let pass.
    pub async fn serve_during<T>(&mut self, other: impl Future<Output = T>) -> T {
        let mut other = pin!(other);
        loop {
            tokio::select! {
                biased;
                value = &mut other => return value,
                // What ends the bus for good is said again when the run begins.
                event = self.port.bus.recv(), if self.port.watch.is_none() => if event.is_err() {
                    return other.await;
                },
            }
        }
    }

    /// Tells a recorder what is sent, and what happens inside the car.
    pub fn record(&mut self, tap: Tap) {
        self.simulator.keep(self.now(), &self.pace.to_string());
        self.tap = Some(tap);
    }

    /// Hands to the recorder what has been done to the car.
    fn put_down(&mut self) {
        if let Some(tap) = &mut self.tap {
            tap.note(self.simulator.take_notes());
        }
    }

    /// Runs until a signal ends it or `lasting` is over.
    ///
    /// # Errors
    /// [`RunError`] if the bus is gone for good, or is no bench any more.
    pub async fn drive(
        &mut self,
        lasting: Option<Duration>,
        mut notice: impl FnMut(Notice<'_>),
    ) -> Result<Ending, RunError> {
        let end = lasting.map(|span| self.now() + span);
        let mut alarm = pin!(sleep_until(tokio::time::Instant::from_std(self.begun)));
        loop {
            // Before the bus, which may have something without end.
            if self.asked_to_stop.is_finished() {
                return Ok(Ending::Stopped);
            }
            if self.left_alone.as_ref().is_some_and(JoinHandle::is_finished) {
                return Ok(Ending::Orphaned);
            }
            if let Some(request) = at_hand(self.control.next()).await {
                self.ask(request);
            }
            let now = self.now();
            if end.is_some_and(|end| now >= end) {
                return Ok(Ending::TimeOver);
            }
            if self.simulator.is_busy() {
                self.last_heard = now;
            }
            let idle_end = self.idle_end();
            if idle_end.is_some_and(|end| now >= end) {
                return Ok(Ending::Idle);
            }
            self.pass_time(now);
            self.simulator.handle_timeout(now);
            self.send_frames(now)?;
            self.look_after_memory(now, &mut notice);
            self.tell_events(now, &mut notice);
            self.judge.think_at_leisure(now);

            let deadline = self.deadline(now, earlier(end, idle_end));
            let at_once = self.has_work() || self.is_behind() || deadline.saturating_since(now) < TIMER_GRAIN;
            // A full queue is waited for asleep: nothing is gained by trying it all the time.
            let retry = if self.port.is_blocked() {
                now + RETRY
            } else {
                BusInstant::MAX
            };
            let mut wake = early(deadline).min(retry.saturating_since(BusInstant::ZERO));
            if let Some(turn) = self.simulator.poll_timeout() {
                // A periodic message waits for the timer: nobody misses the part of a millisecond.
                wake = wake.min(turn.saturating_since(BusInstant::ZERO));
            }
            let wake = tokio::time::Instant::from_std(self.begun) + wake;
            // To ring too soon costs a turn of this loop now and then; to be set anew costs something with each request.
            if alarm.is_elapsed() || wake < alarm.deadline() {
                alarm.as_mut().reset(wake);
            }
            // A request whose answer leaves nothing else to do does not end the wait: this is the shortest way.
            loop {
                tokio::select! {
                    biased;
                    event = self.port.bus.recv() => {
                        self.take(event?, &mut notice)?;
                        self.take_read(&mut notice)?;
                        if !at_once {
                            self.stay(deadline, &mut notice)?;
                            if self.is_calm() && self.passed < deadline {
                                continue;
                            }
                        }
                    }
                    _ = &mut self.asked_to_stop => return Ok(Ending::Stopped),
                    () = ended(&mut self.left_alone) => return Ok(Ending::Orphaned),
                    request = self.control.next() => self.ask(request),
                    () = tokio::task::yield_now(), if at_once => {}
                    () = &mut alarm, if !at_once => {}
                }
                break;
            }
        }
    }

    /// Whether nothing is left to be done before the alarm: no phrase, no deadline, no event, no frame held back.
    fn is_calm(&self) -> bool {
        self.simulator.poll_timeout().is_none() && self.is_calm_but_for_deadlines()
    }

    fn is_calm_but_for_deadlines(&self) -> bool {
        !self.has_work()
            && !self.is_behind()
            && !self.port.is_blocked()
            && !self.memory.has_news()
            && !self.simulator.has_events()
    }

    fn now(&self) -> BusInstant {
        BusInstant::ZERO + self.begun.elapsed()
    }

    /// Whether the pace owes the car time that it can be given now.
    fn is_behind(&self) -> bool {
        self.behind
            >= if self.simulator.is_busy() {
                STEP
            } else {
                Duration::from_nanos(1)
            }
    }

    /// Whether a phrase is being carried out at full speed.
    fn has_work(&self) -> bool {
        self.simulator.is_busy() && !matches!(self.pace, Pace::Times(_))
    }

    /// Lets the car's time pass up to `now`.
    fn pass_time(&mut self, now: BusInstant) {
        let elapsed = now.saturating_since(self.passed);
        self.passed = now;
        match self.pace {
            Pace::Times(times) => {
                // What the computer cannot keep up with is given up, so that the bus is served at any pace.
                let most = MOST_BEHIND.mul_f64(times);
                self.behind = (self.behind + elapsed.min(MOST_BEHIND).mul_f64(times)).min(most);
                if self.simulator.is_busy() && self.simulator.progress().is_none() {
                    // What takes no time is done though time may stand.
                    self.simulator.work(now, Duration::ZERO);
                }
                let begun = Instant::now();
                while self.is_behind() && begun.elapsed() < SLICE_WALL {
                    let mut piece = self.behind.min(SLICE);
                    let mut worked = Duration::ZERO;
                    if self.simulator.is_busy() {
                        // In whole steps, which are few enough to be put down one by one.
                        piece -= Duration::from_nanos(u64::from(piece.subsec_nanos() % STEP.subsec_nanos()));
                        worked = self.simulator.work(now, piece);
                    }
                    self.simulator.stand(now, piece.saturating_sub(worked));
                    self.behind -= piece;
                }
            }
            Pace::Live | Pace::Max if self.simulator.is_busy() => {
                let begun = Instant::now();
                while self.simulator.is_busy() && begun.elapsed() < SLICE_WALL {
                    self.simulator.work(now, SLICE);
                }
            }
            Pace::Live => self.simulator.stand(now, elapsed),
            Pace::Max => {}
        }
    }

    fn take_read(&mut self, notice: &mut impl FnMut(Notice<'_>)) -> Result<(), RunError> {
        while let Some(event) = self.port.bus.take_read() {
            self.take(event, notice)?;
        }
        Ok(())
    }

    fn deadline(&self, now: BusInstant, end: Option<BusInstant>) -> BusInstant {
        let stands = match self.pace {
            Pace::Live => false,
            Pace::Times(times) => times <= 0.0,
            Pace::Max => true,
        };
        let idle = (!stands).then(|| now + IDLE_TICK);
        let far = now + Duration::from_secs(3600);
        [idle, end, self.simulator.poll_answer_timeout()]
            .into_iter()
            .flatten()
            .min()
            .unwrap_or(far)
    }
}

fn earlier(one: Option<BusInstant>, other: Option<BusInstant>) -> Option<BusInstant> {
    [one, other].into_iter().flatten().min()
}

/// Ready when the task has ended, if there is one.
async fn ended(task: &mut Option<JoinHandle<()>>) {
    match task {
        // How it ended does not matter.
        Some(task) => drop(task.await),
        None => pending().await,
    }
}

/// What a future has ready at once.
async fn at_hand<T>(future: impl Future<Output = T>) -> Option<T> {
    let mut future = pin!(future);
    poll_fn(|context| match future.as_mut().poll(context) {
        Poll::Ready(value) => Poll::Ready(Some(value)),
        Poll::Pending => Poll::Ready(None),
    })
    .await
}

/// The instant to wake from sleep for a deadline, a little early: the rest is waited for awake.
fn early(deadline: BusInstant) -> Duration {
    deadline
        .saturating_since(BusInstant::ZERO)
        .saturating_sub(Duration::from_millis(1))
}

#[cfg(test)]
mod memory_tests;
#[cfg(test)]
mod tests;
