//! The other side of an embedded bus: a tester, a recorder.

use std::{
    future::poll_fn,
    io::{self, ErrorKind},
    path::PathBuf,
    task::{Context, Poll},
    time::Duration,
};

use tokio::{net::UnixStream, time::timeout};
use twotrip_can::{Frame, record};

use super::{Greeting, Record, SOCKET_KIND, backlog::Backlog, hello, inbound::Inbound, read_hello};
use crate::{
    bus::{BusError, BusEvent, Detail, Filter, Names, Received, Sent, filter::FilterSet},
    runtime_dir::{RuntimeDir, is_trusted},
};

/// How long a car may take to say hello.
const GREETING: Duration = Duration::from_secs(5);

/// A node on an embedded bus that a car hosts.
#[derive(Debug)]
pub struct Guest {
    name: String,
    path: PathBuf,
    stream: UnixStream,
    inbound: Inbound,
    backlog: Backlog,
    filters: FilterSet,
    is_closed: bool,
}

impl Guest {
    /// Joins the bus `name` in `folder`.
    ///
    /// # Errors
    /// [`BusError::NoCar`] if nobody hosts it, [`BusError::Version`] if the car is of another version,
    /// [`BusError::NoAnswer`] and [`BusError::Refused`] if the car does not let us in.
    pub async fn join(name: &str, folder: &RuntimeDir) -> Result<Self, BusError> {
        let path = folder.socket(SOCKET_KIND, name);
        let system = |doing| {
            move |source| BusError::System {
                bus: format!("local:{name}"),
                doing,
                source,
            }
        };
        let connected = timeout(GREETING, UnixStream::connect(&path)).await;
        let Ok(connected) = connected else {
            return Err(no_answer(name));
        };
        let stream = connected.map_err(|source| match source.kind() {
            ErrorKind::NotFound | ErrorKind::ConnectionRefused => BusError::NoCar {
                name: name.to_owned(),
                path: path.clone(),
                present: Names(folder.running(SOCKET_KIND)),
            },
            _ => system("join")(source),
        })?;
        let host = stream.peer_cred().map_err(system("ask whose it is"))?;
        let mut guest = Self {
            name: name.to_owned(),
            path,
            stream,
            inbound: Inbound::new(),
            backlog: Backlog::default(),
            filters: FilterSet::default(),
            is_closed: false,
        };
        if !is_trusted(host.uid()) {
            return Err(guest.foreign());
        }
        // A car that closes at once may do so before we have spoken: what it says, or that it says nothing, tells more.
        let _ = guest.push(&hello(name));
        let answer = timeout(GREETING, poll_fn(|context| guest.poll_record(context)))
            .await
            .map_err(|_| no_answer(name))?
            .map_err(|error| match error {
                BusError::Closed { name } => BusError::Refused { name },
                other => other,
            })?;
        match read_hello(&answer, name) {
            Greeting::Fits => Ok(guest),
            Greeting::OtherVersion(found) => Err(BusError::Version {
                name: name.to_owned(),
                found,
                spoken: super::VERSION,
            }),
            Greeting::Foreign => Err(guest.foreign()),
        }
    }

    /// Lets only these frames through.
    pub fn set_filters(&mut self, filters: &[Filter]) {
        self.filters.set(filters);
    }

    /// The next frame. Cancel safe.
    ///
    /// # Errors
    /// [`BusError::Closed`] when the car has ended.
    pub async fn recv(&mut self) -> Result<BusEvent, BusError> {
        loop {
            if let Some(event) = self.take_read() {
                return Ok(event);
            }
            if self.is_closed {
                return Err(self.closed());
            }
            poll_fn(|context| self.poll_fill(context)).await?;
        }
    }

    /// A frame that has been read already.
    pub fn take_read(&mut self) -> Option<BusEvent> {
        while let Some(record) = self.inbound.take() {
            let Ok(frame) = record::decode(&record) else {
                // Only a broken car sends one; there is no way back into step.
                self.is_closed = true;
                return None;
            };
            if self.filters.passes(&frame) {
                return Some(BusEvent::Frame(Received::plain(frame)));
            }
        }
        None
    }

    /// Whether a part of the last frame waits for the car to take it.
    #[must_use]
    pub const fn is_sending(&self) -> bool {
        !self.backlog.is_empty()
    }

    /// Hands a frame to the car; never waits.
    ///
    /// # Errors
    /// [`BusError::Closed`] when the car has ended.
    pub fn try_send(&mut self, frame: &Frame) -> Result<Sent, BusError> {
        if self.is_closed {
            return Err(self.closed());
        }
        // Of a bounded stream only the record under way is kept here; all else stays with the caller.
        if !self.backlog.is_empty() {
            return Ok(Sent::Later);
        }
        let mut record = record::encode(frame);
        record::note_sent(&mut record, Detail::default().unix_nanos());
        match self.push(&record) {
            Ok(()) => Ok(Sent::Handed),
            Err(error) => Err(self.broken(error)),
        }
    }

    /// Waits until the last frame is on its way. Cancel safe.
    ///
    /// # Errors
    /// [`BusError::Closed`] when the car has ended.
    pub async fn writable(&mut self) -> Result<(), BusError> {
        let flushed = poll_fn(|context| self.backlog.poll_flush(context, &mut self.stream)).await;
        flushed.map_err(|error| self.broken(error))
    }

    fn push(&mut self, record: &Record) -> io::Result<()> {
        self.backlog.push(&self.stream, record).map(|_| ())
    }

    fn poll_record(&mut self, context: &mut Context<'_>) -> Poll<Result<Record, BusError>> {
        loop {
            if let Some(record) = self.inbound.take() {
                return Poll::Ready(Ok(record));
            }
            if self.is_closed {
                return Poll::Ready(Err(self.closed()));
            }
            std::task::ready!(self.poll_fill(context))?;
        }
    }

    /// Reads once, and moves what waits to be written.
    fn poll_fill(&mut self, context: &mut Context<'_>) -> Poll<Result<(), BusError>> {
        // A failure to write shows when reading, after the last frames of the car.
        let _ = self.backlog.poll_flush(context, &mut self.stream);
        match self.inbound.poll_fill(context, &mut self.stream) {
            Poll::Pending => return Poll::Pending,
            Poll::Ready(Ok(true)) => {}
            Poll::Ready(Ok(false)) => self.is_closed = true,
            Poll::Ready(Err(error)) => return Poll::Ready(Err(self.broken(error))),
        }
        Poll::Ready(Ok(()))
    }

    fn broken(&mut self, source: io::Error) -> BusError {
        self.is_closed = true;
        match source.kind() {
            ErrorKind::BrokenPipe | ErrorKind::ConnectionReset | ErrorKind::WriteZero => self.closed(),
            _ => BusError::System {
                bus: format!("local:{}", self.name),
                doing: "exchange frames",
                source,
            },
        }
    }

    fn closed(&self) -> BusError {
        BusError::Closed {
            name: self.name.clone(),
        }
    }

    fn foreign(&self) -> BusError {
        BusError::Foreign {
            name: self.name.clone(),
            path: self.path.clone(),
        }
    }
}

fn no_answer(name: &str) -> BusError {
    BusError::NoAnswer {
        name: name.to_owned(),
        seconds: GREETING.as_secs(),
    }
}
