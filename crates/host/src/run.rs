//! The run of a car on a bus: wall time in, frames both ways, phrases from the control socket.
//!
//! This is the one file that turns wall time into the simulator's two clocks. Bus time is wall time since the
//! start. Car time passes while nothing is being done at the pace of the run (real time by default), and while a
//! phrase is being carried out as fast as the computer can, in slices of about a millisecond, so that the bus is
//! served in between; an explicit [`Pace`] holds for both.

mod bus_errors;
mod memory;
mod seldom;

use std::{
    collections::BTreeMap,
    pin::pin,
    time::{Duration, Instant},
};

use tokio::{
    signal::unix::{SignalKind, signal},
    task::JoinHandle,
    time::sleep_until,
};
use twotrip_can::{Frame, FrameKind, error_frame::ErrorFrame};
use twotrip_scenario::{Problem, parse_phrase};
use twotrip_sim::{Event, JobId, Simulator};
use twotrip_units::BusInstant;

use self::{bus_errors::BusErrors, memory::Keeper, seldom::Seldom};
use crate::{
    bench::{BenchError, Watch},
    bus::{Bus, BusError, BusEvent, Received, Sent, local::TurnedAway},
    control::{ControlServer, Outcome, Progress, Reply, RequestId},
    memory_file::MemoryFileError,
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
        /// Further reports since the last one told: of many alike, one a second is told.
        more: u64,
    },
    /// A client of the embedded bus was not let in, or not let stay.
    TurnedAway {
        /// Why.
        why: TurnedAway,
        /// Further ones since the last one told: one a second is told.
        more: u64,
    },
}

/// Frames of a run, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Traffic {
    /// Taken from the bus, as far as the car listens.
    pub received: u64,
    /// Taken by the bus from the car.
    pub sent: u64,
    /// Held back because the bus had no room, until the answer they belong to was given up (N_As of ISO 15765-2).
    pub given_up: u64,
    /// Sent while the interface was down.
    pub sent_while_down: u64,
    /// Error message frames of the controller.
    pub errors: u64,
    /// Dropped by the kernel because they were not read in time; `None` where nobody counts.
    pub dropped_by_kernel: Option<u32>,
    /// Lost otherwise: malformed, or not taken by a slow client of an embedded bus.
    pub lost: u64,
}

/// Why the run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// Its time was over.
    TimeOver,
    /// Interrupted or asked to end by a signal.
    Stopped,
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
/// Longest time that requests are answered one after the other without a look at anything else.
const STAY: Duration = Duration::from_millis(10);
/// Wait before a frame that the bus had no room for is tried again: a queue of ten frames lasts 2 ms at 500 kbit/s, so
/// none of the bus's time is lost.
const RETRY: Duration = Duration::from_millis(1);
/// Deadlines nearer than this are waited for without sleeping: the timer's grain is a millisecond.
const TIMER_GRAIN: Duration = Duration::from_millis(2);
/// How often a client of the control socket hears how far its phrase has come.
const PROGRESS_TICK: Duration = Duration::from_millis(250);

/// A car on a bus.
#[derive(Debug)]
pub struct Run {
    simulator: Simulator,
    bus: Bus,
    control: ControlServer,
    pace: Pace,
    begun: Instant,
    /// Bus time up to which the car's time has passed.
    passed: BusInstant,
    /// Car time that the pace still owes.
    behind: Duration,
    /// A frame that the bus had no room for.
    blocked: Option<Frame>,
    memory: Keeper,
    /// A frame that the bus has taken and that has not passed on the wire yet, where the bus tells.
    queued: Option<Frame>,
    /// Ends the run once something else than a tester is heard.
    watch: Option<Watch>,
    traffic: Traffic,
    errors: BusErrors,
    turned_away: Seldom,
    asked: BTreeMap<JobId, RequestId>,
    last_progress: BusInstant,
    /// Ends when a signal asks for the end. A task of its own: a request then does not have to look after signals.
    asked_to_stop: JoinHandle<()>,
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
            simulator,
            bus,
            control,
            pace,
            begun: Instant::now(),
            passed: BusInstant::ZERO,
            behind: Duration::ZERO,
            blocked: None,
            memory: Keeper::default(),
            queued: None,
            watch: None,
            traffic: Traffic::default(),
            errors: BusErrors::default(),
            turned_away: Seldom::default(),
            asked: BTreeMap::new(),
            last_progress: BusInstant::ZERO,
            asked_to_stop,
        })
    }

    /// The simulator, for a report at the end.
    #[must_use]
    pub const fn simulator(&self) -> &Simulator {
        &self.simulator
    }

    /// Lets the control socket's last replies go out.
    pub async fn finish(&mut self) {
        self.control.finish().await;
    }

    /// Ends the run by an error as soon as something else than a tester is heard.
    pub const fn watch(&mut self, watch: Watch) {
        self.watch = Some(watch);
    }

    /// Frames so far, for a report; asks the kernel.
    #[must_use]
    pub fn traffic(&self) -> Traffic {
        Traffic {
            errors: self.errors.seen(),
            dropped_by_kernel: self.bus.dropped(),
            lost: self.bus.lost(),
            ..self.traffic
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
        if self.asked_to_stop.is_finished() {
            return Ok(Ending::Stopped);
        }
        let end = lasting.map(|span| self.now() + span);
        let mut alarm = pin!(sleep_until(tokio::time::Instant::from_std(self.begun)));
        loop {
            let now = self.now();
            if end.is_some_and(|end| now >= end) {
                return Ok(Ending::TimeOver);
            }
            self.pass_time(now);
            self.simulator.handle_timeout(now);
            self.send_frames(now)?;
            self.look_after_memory(now, &mut notice);
            self.tell_events(now, &mut notice);

            let deadline = self.deadline(now, end);
            let at_once =
                self.has_work() || !self.behind.is_zero() || deadline.saturating_since(now) < TIMER_GRAIN;
            // A full queue is waited for asleep: nothing is gained by trying it all the time.
            let retry = self.blocked.map_or(BusInstant::MAX, |_| now + RETRY);
            let wake = early(deadline).min(retry.saturating_since(BusInstant::ZERO));
            let wake = tokio::time::Instant::from_std(self.begun) + wake;
            // To ring too soon costs a turn of this loop now and then; to be set anew costs something with each request.
            if alarm.is_elapsed() || wake < alarm.deadline() {
                alarm.as_mut().reset(wake);
            }
            // A request whose answer leaves nothing else to do does not end the wait: this is the shortest way.
            loop {
                tokio::select! {
                    biased;
                    event = self.bus.recv() => {
                        self.take(event?, &mut notice)?;
                        self.take_read(&mut notice)?;
                        if !at_once {
                            self.stay(deadline, &mut notice)?;
                            if self.is_calm() {
                                continue;
                            }
                        }
                    }
                    _ = &mut self.asked_to_stop => return Ok(Ending::Stopped),
                    request = self.control.next() => self.ask(request.id, &request.phrase),
                    () = tokio::task::yield_now(), if at_once => {}
                    () = &mut alarm, if !at_once => {}
                }
                break;
            }
        }
    }

    /// After a frame of our own: many testers ask the next question at once, and flow control comes at once, so it is
    /// cheapest to wait for it on the spot. Whoever else is there, the control socket, a signal, waits for it some
    /// milliseconds at the most.
    fn stay(&mut self, deadline: BusInstant, notice: &mut impl FnMut(Notice<'_>)) -> Result<(), RunError> {
        let until = deadline.min(self.passed + STAY);
        while self.passed < until && self.may_stay() {
            let Some(event) = self.bus.recv_soon()? else {
                break;
            };
            self.take(event, notice)?;
            self.take_read(notice)?;
        }
        Ok(())
    }

    /// Whether nothing is to be done for a while but to listen.
    fn may_stay(&self) -> bool {
        let next = self.simulator.poll_timeout();
        next.is_none_or(|next| next.saturating_since(self.passed) > 2 * STAY)
            && self.is_calm_but_for_deadlines()
    }

    /// Whether nothing is left to be done before the alarm: no phrase, no deadline, no event, no frame held back.
    fn is_calm(&self) -> bool {
        self.simulator.poll_timeout().is_none() && self.is_calm_but_for_deadlines()
    }

    fn is_calm_but_for_deadlines(&self) -> bool {
        !self.has_work()
            && self.behind.is_zero()
            && self.blocked.is_none()
            && !self.memory.has_news()
            && !self.simulator.has_events()
    }

    fn now(&self) -> BusInstant {
        BusInstant::ZERO + self.begun.elapsed()
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
                if self.simulator.is_busy() {
                    // What takes no time is done though time may stand.
                    self.simulator.work(Duration::ZERO);
                }
                let begun = Instant::now();
                while !self.behind.is_zero() && begun.elapsed() < SLICE_WALL {
                    let piece = self.behind.min(SLICE);
                    let worked = if self.simulator.is_busy() {
                        self.simulator.work(piece)
                    } else {
                        Duration::ZERO
                    };
                    self.simulator.stand(piece.saturating_sub(worked));
                    self.behind -= piece;
                }
            }
            Pace::Live | Pace::Max if self.simulator.is_busy() => {
                let begun = Instant::now();
                while self.simulator.is_busy() && begun.elapsed() < SLICE_WALL {
                    self.simulator.work(SLICE);
                }
            }
            Pace::Live => self.simulator.stand(elapsed),
            Pace::Max => {}
        }
    }

    fn take_read(&mut self, notice: &mut impl FnMut(Notice<'_>)) -> Result<(), RunError> {
        while let Some(event) = self.bus.take_read() {
            self.take(event, notice)?;
        }
        Ok(())
    }

    fn take(&mut self, event: BusEvent, notice: &mut impl FnMut(Notice<'_>)) -> Result<(), RunError> {
        match event {
            BusEvent::Frame(received) => {
                if let Some(watch) = &self.watch {
                    watch.check(&received)?;
                }
                if received.frame.kind() == FrameKind::Error {
                    self.note_error(&received, notice);
                    return Ok(());
                }
                self.traffic.received += 1;
                let now = self.now();
                if !self.has_work() {
                    self.pass_time(now);
                }
                self.simulator.handle_frame(now, &received.frame);
                self.send_frames(now)?;
            }
            // One that was given up meanwhile may still pass, late: it confirms nothing.
            BusEvent::Passed(received) if self.queued == Some(received.frame) => {
                self.queued = None;
                let now = self.now();
                self.simulator.handle_transmitted(now);
                self.send_frames(now)?;
            }
            BusEvent::Passed(_) => {}
            BusEvent::Down => {
                self.blocked = None;
                notice(Notice::BusDown);
            }
            BusEvent::TurnedAway(why) => {
                let now = self.now();
                if let Some(more) = self.turned_away.note(now) {
                    notice(Notice::TurnedAway { why, more });
                }
            }
        }
        Ok(())
    }

    fn note_error(&mut self, received: &Received, notice: &mut impl FnMut(Notice<'_>)) {
        let now = self.now();
        if let Some(error) = ErrorFrame::decode(&received.frame)
            && let Some(more) = self.errors.note(now, error)
        {
            notice(Notice::BusError { error, more });
        }
    }

    /// Sends what the simulator has to send, in order; a full queue keeps the frame for later, unless the answer that
    /// it belongs to has been given up meanwhile.
    ///
    /// The clock is read again once the bus has a frame: STmin counts from its end, N_Bs too, and writing it takes a
    /// good part of the shortest STmin.
    fn send_frames(&mut self, mut now: BusInstant) -> Result<(), BusError> {
        if self.blocked.is_some() && !self.simulator.has_frame_in_flight() {
            self.blocked = None;
            self.traffic.given_up += 1;
        }
        while let Some(frame) = self.blocked.take().or_else(|| self.simulator.poll_frame(now)) {
            if !self.may_tell() {
                self.simulator.withhold_answers();
                break;
            }
            match self.bus.try_send(&frame)? {
                Sent::Handed => {
                    self.traffic.sent += 1;
                    now = self.now();
                    self.simulator.handle_transmitted(now);
                }
                Sent::Queued => {
                    self.traffic.sent += 1;
                    self.queued = Some(frame);
                }
                Sent::Down => {
                    self.traffic.sent_while_down += 1;
                    now = self.now();
                    self.simulator.handle_transmitted(now);
                }
                Sent::Later => {
                    self.blocked = Some(frame);
                    break;
                }
            }
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
        [idle, end, self.simulator.poll_timeout()]
            .into_iter()
            .flatten()
            .min()
            .unwrap_or(far)
    }

    /// Takes a phrase from the control socket.
    fn ask(&mut self, id: RequestId, text: &str) {
        match parse_phrase(text) {
            Ok(phrase) => {
                let job = self.simulator.tell(phrase);
                self.asked.insert(job, id);
            }
            Err(problem) => self.control.reply(id, &Reply::Outcome(refuse(text, &problem))),
        }
    }

    fn tell_events(&mut self, now: BusInstant, notice: &mut impl FnMut(Notice<'_>)) {
        while let Some(event) = self.simulator.poll_event() {
            if let Event::Finished { id, outcome, .. } = &event
                && let Some(request) = self.asked.remove(id)
            {
                let reply = Outcome {
                    text: outcome.text.clone(),
                    ok: outcome.ok,
                    lines: outcome
                        .details
                        .iter()
                        .cloned()
                        .chain(self.memory.remark())
                        .collect(),
                    // Words and numbers only: nothing in it that JSON could not say.
                    detail: outcome
                        .why
                        .as_ref()
                        .and_then(|why| serde_json::to_value(why).ok()),
                };
                self.control.reply(request, &Reply::Outcome(reply));
            }
            notice(Notice::Event(&event));
        }
        if now.saturating_since(self.last_progress) < PROGRESS_TICK {
            return;
        }
        self.last_progress = now;
        let Some((job, passed, planned)) = self.simulator.progress() else {
            return;
        };
        if let Some(&request) = self.asked.get(&job) {
            let (passed, planned) = (passed.as_secs_f64(), planned.as_secs_f64());
            let fraction = (planned > 0.0).then(|| (passed / planned).min(1.0));
            let text = format!("{passed:.0} s of {planned:.0} s of the car's time");
            self.control
                .reply(request, &Reply::Progress(Progress { text, fraction }));
        }
    }
}

/// The instant to wake from sleep for a deadline, a little early: the rest is waited for awake.
fn early(deadline: BusInstant) -> Duration {
    deadline
        .saturating_since(BusInstant::ZERO)
        .saturating_sub(Duration::from_millis(1))
}

/// The reply to a phrase that is none, with a caret under what is wrong.
fn refuse(text: &str, problem: &Problem) -> Outcome {
    let start = text
        .get(..problem.span().start)
        .map_or(0, |before| before.chars().count());
    let width = text
        .get(problem.span())
        .map_or(1, |found| found.chars().count().max(1));
    let mut lines = vec![
        text.to_owned(),
        format!("{}{}", " ".repeat(start), "^".repeat(width)),
    ];
    lines.extend(help(problem));
    Outcome {
        lines,
        ..Outcome::refused(problem.to_string())
    }
}

/// What would have been right, as lines.
fn help(problem: &Problem) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(nearest) = problem.nearest() {
        lines.push(format!("did you mean `{nearest}`?"));
    }
    let expected: Vec<String> = problem.expected().iter().map(ToString::to_string).collect();
    if !expected.is_empty() {
        lines.push(format!("expected: {}", expected.join(", ")));
    }
    lines.extend(problem.advice().map(str::to_owned));
    lines
}

#[cfg(test)]
mod memory_tests;
#[cfg(test)]
mod tests;
