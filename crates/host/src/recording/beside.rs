//! A recorder beside a running car, on a thread of its own: a slow disk never makes the car late.

use std::{
    io,
    thread::{self, JoinHandle},
};

use tokio::sync::{mpsc, oneshot};
use twotrip_can::Frame;

use super::{Counts, Found, Notice, Options, Recorder, RecordingError, Source};
use crate::{
    bus::{Bus, Name},
    journal::{self, Entry},
};

/// Notes that may wait for the recorder.
const NOTES: usize = 1 << 16;

/// What the car tells the recorder.
#[derive(Debug)]
pub(super) enum Note {
    /// The car is about to hand this frame to the bus.
    Sending(Frame),
    /// The bus had no room for the frame last announced.
    NotSent,
    /// To be attached to the next frame.
    Comment(String),
    /// An entry of the journal with its number.
    Entry(u64, Entry),
}

/// The car's end of it. Never waits; what does not fit is not recorded.
#[derive(Debug)]
pub struct Tap {
    notes: mpsc::Sender<Note>,
    /// Number of the next entry: one that did not fit is missed by its number.
    next: u64,
}

impl Tap {
    pub(crate) fn sending(&self, frame: &Frame) {
        let _ = self.notes.try_send(Note::Sending(*frame));
    }

    pub(crate) fn not_sent(&self) {
        let _ = self.notes.try_send(Note::NotSent);
    }

    /// Attaches comments to the next frame that is recorded.
    pub(crate) fn note(&mut self, notes: impl IntoIterator<Item = journal::Note>) {
        for note in notes {
            let _ = self.notes.try_send(match note {
                journal::Note::Comment(text) => Note::Comment(text),
                journal::Note::Entry(entry) => {
                    self.next += 1;
                    Note::Entry(self.next - 1, entry)
                }
            });
        }
    }
}

/// The recorder's thread.
#[derive(Debug)]
pub struct Beside {
    thread: JoinHandle<Result<Counts, RecordingError>>,
    stop: oneshot::Sender<()>,
}

impl Beside {
    /// Joins the bus and begins to record; the tap is the car's end. `notice` is told on the recorder's thread. The bus must be served meanwhile,
    /// if the caller hosts it: poll this future beside.
    ///
    /// # Errors
    /// [`RecordingError`] if bus or file cannot be used.
    pub async fn start(
        options: Options,
        name: Name,
        bit_rate: Option<u64>,
        notice: impl FnMut(Notice<'_>) + Send + 'static,
    ) -> Result<(Self, Tap, Option<Found>), RecordingError> {
        let (notes, taken) = mpsc::channel(NOTES);
        let (ready, begun) = oneshot::channel();
        let (stop, stopped) = oneshot::channel();
        let work = move || {
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .map_err(RecordingError::Thread)?;
            runtime.block_on(record(options, name, bit_rate, notice, taken, ready, stopped))
        };
        let thread = thread::Builder::new()
            .name("recorder".to_owned())
            .spawn(work)
            .map_err(RecordingError::Thread)?;
        match begun.await {
            Ok(found) => {
                let tap = Tap { notes, next: 0 };
                Ok((Self { thread, stop }, tap, found))
            }
            Err(_) => Err(ended(thread)
                .err()
                .unwrap_or_else(|| RecordingError::Thread(io::ErrorKind::Interrupted.into()))),
        }
    }

    /// Ends the recording and waits for the disk.
    ///
    /// # Errors
    /// [`RecordingError`] if its end could not be written, or the bus was gone before.
    pub fn finish(self) -> Result<Counts, RecordingError> {
        let _ = self.stop.send(());
        ended(self.thread)
    }
}

fn ended(thread: JoinHandle<Result<Counts, RecordingError>>) -> Result<Counts, RecordingError> {
    thread.join().unwrap_or_else(|_| {
        Err(RecordingError::Thread(io::Error::other(
            "the recorder stopped by a bug",
        )))
    })
}

async fn record(
    options: Options,
    name: Name,
    bit_rate: Option<u64>,
    notice: impl FnMut(Notice<'_>),
    notes: mpsc::Receiver<Note>,
    ready: oneshot::Sender<Option<Found>>,
    stopped: oneshot::Receiver<()>,
) -> Result<Counts, RecordingError> {
    let bus = Bus::listen(&name).await?;
    let source = Source {
        bit_rate: bus.bit_rate().map(u64::from).or(bit_rate),
        name: name.to_string(),
        description: String::new(),
        bus,
    };
    let (mut recorder, found) = Recorder::start(&options, vec![source])?;
    recorder.listen_to(notes);
    // Whoever has started us has gone: then there is nothing to record.
    let _ = ready.send(found);
    let stop = async {
        let _ = stopped.await;
    };
    let ended = recorder.record(None, None, stop, notice).await;
    match ended {
        // The car has ended, and with it the bus that it hosts.
        Ok(_) | Err(RecordingError::Bus(_)) => recorder.finish(),
        Err(error) => Err(error),
    }
}
