//! Records buses: a task reads each, one place writes.

use std::{
    collections::VecDeque,
    future::pending,
    pin::pin,
    time::{Duration, Instant},
};

use tokio::{
    sync::mpsc,
    task::JoinHandle,
    time::{MissedTickBehavior, interval, timeout},
};
use twotrip_can::Frame;
use twotrip_capture::{Direction, write};

use super::{
    Counts, Found, Options, RecordingError,
    beside::Note,
    tape::{Heard, Tape},
};
use crate::bus::{Bus, BusError, BusEvent, Detail, Origin, Received, Selection};

/// Frames that a reader hands on at once.
const BATCH: usize = 512;
/// Batches that wait at the most; then the kernel's buffer fills.
const BATCHES: usize = 64;
/// How often the clock is looked at.
const TICK: Duration = Duration::from_millis(100);
/// What is still on its way at the end comes within one of these spans; a busy bus has no end.
const AT_HAND: Duration = Duration::from_millis(20);
const CATCHING_UP: Duration = Duration::from_millis(500);
/// Frames of the car whose passing is awaited; older ones have been lost on the way here.
const ANNOUNCED: usize = 4096;

/// A bus to be recorded.
#[derive(Debug)]
pub struct Source {
    /// The open bus. Nothing is sent on it.
    pub bus: Bus,
    /// Its name, for the recording.
    pub name: String,
    /// What it is, for the recording; may be empty.
    pub description: String,
    /// Its bit rate, bit/s, where it is known.
    pub bit_rate: Option<u64>,
}

/// Why a recorder stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// It was asked to.
    Asked,
    /// Its time was over.
    TimeOver,
    /// It has the frames that were wanted.
    Frames,
}

/// What a recorder tells whoever watches it.
#[derive(Debug)]
pub enum Notice<'a> {
    /// How far it is; ten times a second.
    Progress(Counts),
    /// The disk takes nothing: frames wait, and are lost if it takes long.
    DiskFails(&'a std::io::Error),
    /// The disk takes it again.
    DiskWorks,
    /// A bus went down; it is listened to again once it is up.
    Down(&'a str),
    /// A bus is gone.
    Gone(&'a str, &'a BusError),
}

/// A recording under way.
#[derive(Debug)]
pub struct Recorder {
    tape: Tape,
    selection: Selection,
    names: Vec<String>,
    batches: mpsc::Receiver<Batch>,
    readers: Vec<JoinHandle<()>>,
    /// Losses that the kernel has counted so far, by bus.
    dropped: Vec<u32>,
    notes: Option<mpsc::Receiver<Note>>,
    announced: VecDeque<Frame>,
    kept: u64,
}

impl Recorder {
    /// Opens the file and begins to read. Within a tokio runtime.
    ///
    /// # Errors
    /// [`RecordingError`] if the file cannot be used, or the kernel gives no details.
    pub fn start(options: &Options, sources: Vec<Source>) -> Result<(Self, Option<Found>), RecordingError> {
        let interfaces: Vec<_> = sources
            .iter()
            .map(|source| write::Interface {
                name: &source.name,
                description: &source.description,
                bit_rate: source.bit_rate,
            })
            .collect();
        let (tape, found) = Tape::open(options, &interfaces, Instant::now())?;
        let (sender, batches) = mpsc::channel(BATCHES);
        let mut recorder = Self {
            tape,
            selection: options.selection.clone(),
            names: sources.iter().map(|source| source.name.clone()).collect(),
            dropped: vec![0; sources.len()],
            batches,
            readers: Vec::new(),
            notes: None,
            announced: VecDeque::new(),
            kept: 0,
        };
        for (place, mut source) in sources.into_iter().enumerate() {
            source.bus.want_detail()?;
            let task = tokio::spawn(read(place, source.bus, sender.clone()));
            recorder.readers.push(task);
        }
        Ok((recorder, found))
    }

    /// Takes notes of a car beside the frames.
    pub(super) fn listen_to(&mut self, notes: mpsc::Receiver<Note>) {
        self.notes = Some(notes);
    }

    /// The file that is written now.
    #[must_use]
    pub fn path(&self) -> &std::path::Path {
        self.tape.path()
    }

    /// Records until `stop` is ready, the time is over, or so many frames are in.
    ///
    /// # Errors
    /// [`RecordingError::Bus`] when the last bus is gone. What was recorded is kept: call [`Self::finish`].
    pub async fn record(
        &mut self,
        lasting: Option<Duration>,
        frames: Option<u64>,
        stop: impl Future<Output = ()>,
        mut notice: impl FnMut(Notice<'_>),
    ) -> Result<Stop, RecordingError> {
        let mut stop = pin!(stop);
        let mut end = pin!(async {
            match lasting {
                Some(span) => tokio::time::sleep(span).await,
                None => pending().await,
            }
        });
        let mut ticks = interval(TICK);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut gone = 0;
        loop {
            tokio::select! {
                batch = self.batches.recv() => {
                    let Some(mut batch) = batch else { return Ok(Stop::Asked) };
                    let over = batch.end.take();
                    if self.take(&batch, frames) {
                        return Ok(Stop::Frames);
                    }
                    let name = &self.names[batch.bus];
                    if batch.down {
                        notice(Notice::Down(name));
                    }
                    if let Some(error) = over {
                        gone += 1;
                        if gone == self.names.len() {
                            return Err(error.into());
                        }
                        notice(Notice::Gone(name, &error));
                    }
                }
                _ = ticks.tick() => {
                    let now = Instant::now();
                    self.take_notes(now);
                    self.tape.tick(now, Detail::default().unix_nanos());
                    match self.tape.news() {
                        Some(Err(error)) => notice(Notice::DiskFails(&error)),
                        Some(Ok(())) => notice(Notice::DiskWorks),
                        None => {}
                    }
                    notice(Notice::Progress(self.tape.counts()));
                }
                () = &mut stop => {
                    self.catch_up(frames).await;
                    return Ok(Stop::Asked);
                }
                () = &mut end => {
                    self.catch_up(frames).await;
                    return Ok(Stop::TimeOver);
                }
            }
        }
    }

    /// Takes what was on the bus before the end and is still on its way here.
    async fn catch_up(&mut self, most: Option<u64>) {
        let until = Instant::now() + CATCHING_UP;
        while Instant::now() < until
            && let Ok(Some(batch)) = timeout(AT_HAND, self.batches.recv()).await
        {
            if self.take(&batch, most) {
                return;
            }
        }
    }

    /// Takes the frames that are wanted; says whether that is all.
    fn take(&mut self, batch: &Batch, most: Option<u64>) -> bool {
        let now = Instant::now();
        self.take_notes(now);
        let bus = u32::try_from(batch.bus).unwrap_or(u32::MAX);
        for entry in &batch.entries {
            let before = std::mem::replace(&mut self.dropped[batch.bus], entry.dropped);
            let lost = entry.dropped.wrapping_sub(before);
            if lost > 0 {
                self.tape.lost(bus, u64::from(lost));
            }
            let frame = entry.received.frame;
            // Also those that are left out: what the car announced is then done with.
            let direction = self.direction(&entry.received);
            if !self.selection.passes(&frame) {
                continue;
            }
            let heard = Heard {
                bus,
                at: entry.at,
                direction: Some(direction),
                frame,
            };
            self.tape.frame(&heard, now);
            self.kept += 1;
            if most.is_some_and(|most| self.kept >= most) {
                return true;
            }
        }
        false
    }

    fn take_notes(&mut self, now: Instant) {
        let Some(notes) = &mut self.notes else {
            return;
        };
        while let Ok(note) = notes.try_recv() {
            match note {
                Note::Sending(frame) => {
                    if self.announced.len() == ANNOUNCED {
                        self.announced.pop_front();
                    }
                    self.announced.push_back(frame);
                }
                Note::NotSent => {
                    self.announced.pop_back();
                }
                Note::Comment(text) => self.tape.comment(text, now),
                Note::Entry(number, entry) => self.tape.entry(number, &entry, now),
            }
        }
    }

    /// Seen from the car where there is one beside, else from this computer.
    fn direction(&mut self, received: &Received) -> Direction {
        if self.notes.is_none() {
            return match received.origin {
                Origin::Wire => Direction::Inbound,
                Origin::ThisComputer => Direction::Outbound,
            };
        }
        match self.announced.iter().position(|frame| *frame == received.frame) {
            Some(place) => {
                self.announced.drain(..=place);
                Direction::Outbound
            }
            None => Direction::Inbound,
        }
    }

    /// Writes what is left.
    ///
    /// # Errors
    /// [`RecordingError::Write`] if the disk does not take it.
    pub fn finish(mut self) -> Result<Counts, RecordingError> {
        for reader in &self.readers {
            reader.abort();
        }
        while let Ok(batch) = self.batches.try_recv() {
            self.take(&batch, None);
        }
        let now = Instant::now();
        self.take_notes(now);
        self.tape.finish(now)
    }
}

/// Frames that one bus brought.
#[derive(Debug)]
struct Batch {
    bus: usize,
    entries: Vec<Entry>,
    down: bool,
    end: Option<BusError>,
}

#[derive(Debug)]
struct Entry {
    received: Received,
    /// Nanoseconds since 1970.
    at: u64,
    /// Losses that the kernel has counted so far.
    dropped: u32,
}

/// Reads a bus until it is gone, or nobody wants to know.
async fn read(place: usize, mut bus: Bus, sender: mpsc::Sender<Batch>) {
    let mut dropped = 0;
    loop {
        let mut batch = Batch {
            bus: place,
            entries: Vec::new(),
            down: false,
            end: None,
        };
        let mut next = match bus.recv().await {
            Ok(event) => Some(event),
            Err(error) => {
                batch.end = Some(error);
                None
            }
        };
        while let Some(event) = next {
            match event {
                BusEvent::Frame(received) | BusEvent::Passed(received) => {
                    let detail = bus.detail().unwrap_or_default();
                    dropped = detail.dropped.max(dropped);
                    batch.entries.push(Entry {
                        received,
                        at: detail.unix_nanos(),
                        dropped,
                    });
                }
                BusEvent::Down => batch.down = true,
                BusEvent::TurnedAway(_) => {}
            }
            next = (batch.entries.len() < BATCH).then(|| bus.take_read()).flatten();
        }
        let over = batch.end.is_some();
        if sender.send(batch).await.is_err() || over {
            return;
        }
    }
}
