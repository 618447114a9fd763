//! The car's side of an embedded bus: accepts clients, passes their frames on, and is itself a node.
//!
//! Everything happens inside [`Host::recv`], in the task that polls it: no threads, no tasks, no locks. While the
//! car is busy elsewhere the kernel keeps what clients send, and slows down those who send too much.

use std::{
    collections::VecDeque,
    future::poll_fn,
    io, mem,
    task::{Context, Poll},
    time::{Duration, SystemTime},
};

use tokio::net::{UnixListener, UnixStream};
use twotrip_can::{
    Frame,
    error_frame::{ControllerEvent, ErrorClass},
    record,
};

use super::{
    Greeting, Record, SOCKET_KIND, TurnedAway,
    backlog::{Backlog, Pushed},
    hello,
    inbound::Inbound,
    read_hello,
};
use crate::{
    bus::{BusError, BusEvent, Filter, Received, filter::FilterSet},
    runtime_dir::{Claim, RuntimeDir, is_trusted},
};

/// Most clients at once.
pub const MAX_CLIENTS: usize = 64;
/// Most events that wait for the car before no more are made of clients turned away.
const EVENTS: usize = 256;

/// A hosted embedded bus. Dropping it ends the bus and removes its socket.
#[derive(Debug)]
pub struct Host {
    name: String,
    listener: UnixListener,
    clients: Vec<Client>,
    /// Who is served first next time.
    turn: usize,
    inbox: VecDeque<(BusEvent, Option<SystemTime>)>,
    /// When the frame last returned was sent, as its sender says.
    sent: Option<SystemTime>,
    filters: FilterSet,
    dropped: u64,
    _claim: Claim,
}

#[derive(Debug)]
struct Client {
    stream: UnixStream,
    inbound: Inbound,
    backlog: Backlog,
    stage: Stage,
    /// Frames were dropped, and it has not been told.
    missed: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// Has not said hello yet; hears nothing.
    Silent,
    Joined,
    Gone,
}

impl Host {
    /// Opens the bus `name` in `folder`. Must be called within the runtime.
    ///
    /// # Errors
    /// [`BusError::Claim`] if another car has the name, or the socket cannot be made.
    pub fn bind(name: &str, folder: &RuntimeDir) -> Result<Self, BusError> {
        let (claim, listener) =
            Claim::take(&folder.socket(SOCKET_KIND, name)).map_err(|source| BusError::Claim {
                name: name.to_owned(),
                source,
            })?;
        let listener = UnixListener::from_std(listener).map_err(|source| BusError::System {
            bus: format!("local:{name}"),
            doing: "wait for clients",
            source,
        })?;
        Ok(Self {
            name: name.to_owned(),
            listener,
            clients: Vec::new(),
            turn: 0,
            inbox: VecDeque::with_capacity(64),
            sent: None,
            filters: FilterSet::default(),
            dropped: 0,
            _claim: claim,
        })
    }

    /// Clients that have joined.
    #[must_use]
    pub fn clients(&self) -> usize {
        self.clients
            .iter()
            .filter(|client| client.stage == Stage::Joined)
            .count()
    }

    /// Whether frames wait for a client to take them.
    #[must_use]
    pub fn is_sending(&self) -> bool {
        self.clients.iter().any(|client| !client.backlog.is_empty())
    }

    /// Frames that slow clients did not take, so far.
    #[must_use]
    pub const fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Lets only these frames through to the car; clients still hear each other.
    pub fn set_filters(&mut self, filters: &[Filter]) {
        self.filters.set(filters);
    }

    /// The next frame for the car; serves the clients while it waits. Cancel safe.
    ///
    /// # Errors
    /// None at present; the type is that of all buses.
    pub async fn recv(&mut self) -> Result<BusEvent, BusError> {
        poll_fn(|context| self.poll_recv(context)).await
    }

    /// When the frame last returned was sent, as its sender says; many do not.
    pub(in crate::bus) const fn sent(&self) -> Option<SystemTime> {
        self.sent
    }

    /// An event that has been read already.
    pub fn take_read(&mut self) -> Option<BusEvent> {
        let (event, sent) = self.inbox.pop_front()?;
        self.sent = sent;
        Some(event)
    }

    /// Sends a frame of the car to all clients; one that is too slow loses it.
    pub fn send(&mut self, frame: &Frame) {
        let record = record::encode(frame);
        for client in &mut self.clients {
            self.dropped += client.hear(&record);
        }
    }

    fn poll_recv(&mut self, context: &mut Context<'_>) -> Poll<Result<BusEvent, BusError>> {
        loop {
            if let Some(event) = self.take_read() {
                return Poll::Ready(Ok(event));
            }
            let mut is_idle = true;
            // One read for each in turn, so that a loud client cannot keep the others waiting.
            for i in 0..self.clients.len() {
                is_idle &= self
                    .poll_client((self.turn + i) % self.clients.len(), context)
                    .is_pending();
            }
            self.turn = self.turn.wrapping_add(1);
            self.clients.retain(|client| client.stage != Stage::Gone);
            // After the others, so that who has left makes room for who comes.
            is_idle &= self.poll_accept(context).is_pending();
            if is_idle {
                return Poll::Pending;
            }
        }
    }

    fn poll_accept(&mut self, context: &mut Context<'_>) -> Poll<()> {
        let mut has_come = Poll::Pending;
        // A failure (out of descriptors) ends this round; the next client tries again.
        while let Poll::Ready(Ok((stream, _))) = self.listener.poll_accept(context) {
            let is_trusted = stream.peer_cred().is_ok_and(|peer| is_trusted(peer.uid()));
            if !is_trusted {
                continue;
            }
            if self.clients.len() >= MAX_CLIENTS {
                // Somebody who never said hello makes room.
                let silent = self
                    .clients
                    .iter()
                    .position(|client| client.stage == Stage::Silent);
                let Some(silent) = silent else {
                    turn_away(&mut self.inbox, TurnedAway::Full);
                    has_come = Poll::Ready(());
                    continue;
                };
                self.clients.remove(silent);
            }
            self.clients.push(Client {
                stream,
                inbound: Inbound::new(),
                backlog: Backlog::default(),
                stage: Stage::Silent,
                missed: false,
            });
            has_come = Poll::Ready(());
        }
        has_come
    }

    /// Writes what waits for a client, reads once, and passes its frames on.
    fn poll_client(&mut self, i: usize, context: &mut Context<'_>) -> Poll<()> {
        let client = &mut self.clients[i];
        match client.poll(context) {
            Poll::Pending => return Poll::Pending,
            Poll::Ready(Ok(true)) => {}
            Poll::Ready(Ok(false) | Err(_)) => client.stage = Stage::Gone,
        }
        while let Some(record) = self.clients[i].inbound.take() {
            match self.clients[i].stage {
                Stage::Gone => break,
                Stage::Silent => {
                    if let Some(why) = self.clients[i].greet(&record, &self.name) {
                        turn_away(&mut self.inbox, why);
                    }
                }
                Stage::Joined => self.relay(i, &record),
            }
        }
        Poll::Ready(())
    }

    fn relay(&mut self, from: usize, record: &Record) {
        let frame = match record::decode(record) {
            Ok(frame) => frame,
            Err(error) => {
                self.clients[from].stage = Stage::Gone;
                turn_away(&mut self.inbox, TurnedAway::NotAFrame(error));
                return;
            }
        };
        let sent = record::sent(record).map(|nanos| SystemTime::UNIX_EPOCH + Duration::from_nanos(nanos));
        // Anew from the frame: what is no part of it (filling, unused flags) is not passed on.
        let record = record::encode(&frame);
        for (i, client) in self.clients.iter_mut().enumerate() {
            if i != from {
                self.dropped += client.hear(&record);
            }
        }
        if self.filters.passes(&frame) {
            let event = BusEvent::Frame(Received::plain(frame));
            self.inbox.push_back((event, sent));
        }
    }
}

/// Lets the car know; a crowd that knocks without end is not all listed.
fn turn_away(inbox: &mut VecDeque<(BusEvent, Option<SystemTime>)>, why: TurnedAway) {
    if inbox.len() < EVENTS {
        inbox.push_back((BusEvent::TurnedAway(why), None));
    }
}

impl Client {
    fn poll(&mut self, context: &mut Context<'_>) -> Poll<io::Result<bool>> {
        match self.backlog.poll_flush(context, &mut self.stream) {
            Poll::Ready(Ok(())) => self.tell_missed().map(|_| ())?,
            Poll::Ready(Err(error)) => return Poll::Ready(Err(error)),
            Poll::Pending => {}
        }
        self.inbound.poll_fill(context, &mut self.stream)
    }

    /// Answers its hello; says why it cannot stay, if so.
    fn greet(&mut self, record: &Record, name: &str) -> Option<TurnedAway> {
        // The answer goes out in every case: it tells the other side what it has met.
        let is_answered = self.backlog.push(&self.stream, &hello(name)).is_ok();
        self.stage = Stage::Gone;
        match read_hello(record, name) {
            Greeting::Fits if is_answered => self.stage = Stage::Joined,
            Greeting::Fits => {}
            Greeting::OtherVersion(version) => return Some(TurnedAway::OtherVersion(version)),
            Greeting::Foreign => return Some(TurnedAway::NoHello),
        }
        None
    }

    /// Gives it a frame; returns how many were dropped.
    fn hear(&mut self, record: &Record) -> u64 {
        if self.stage != Stage::Joined {
            return 0;
        }
        let pushed = match self.tell_missed() {
            Ok(Pushed::Taken) => self.backlog.push(&self.stream, record),
            other => other,
        };
        match pushed {
            Ok(Pushed::Taken) => 0,
            Ok(Pushed::Full) => {
                self.missed = true;
                1
            }
            Err(_) => {
                self.stage = Stage::Gone;
                mem::take(&mut self.backlog);
                0
            }
        }
    }

    /// Says, once there is room, that frames were dropped: as a controller does whose buffer ran over.
    fn tell_missed(&mut self) -> io::Result<Pushed> {
        if !self.missed {
            return Ok(Pushed::Taken);
        }
        let detail = [0, ControllerEvent::ReceiveOverflow.bit(), 0, 0, 0, 0, 0, 0];
        let overflow = record::encode(&Frame::error(ErrorClass::Controller.bit(), detail));
        let pushed = self.backlog.push(&self.stream, &overflow)?;
        self.missed = pushed == Pushed::Full;
        Ok(pushed)
    }
}
