//! The car's side of the control socket.
//!
//! Everything happens inside [`ControlServer::next`], in the task that polls it. Of one client no second wish is
//! handed out before the first has its answer, so that answers need no numbers; what it sends ahead waits in the
//! kernel.

use std::{
    future::poll_fn,
    path::Path,
    task::{Context, Poll},
    time::Duration,
};

use serde::Serialize;
use tokio::net::{UnixListener, UnixStream};

use super::{
    ANSWER_MAX, ControlError, LINE_MAX, Outcome, Reply, Request,
    lines::{Inbound, Outbound, Overlong},
    to_line,
};
use crate::runtime_dir::{Claim, is_trusted};

/// Most clients at once.
pub const MAX_CLIENTS: usize = 16;

/// Most bytes of progress that wait for a client to read them.
const PROGRESS_ROOM: usize = 1 << 18;
/// How long the end of a run waits for clients to read.
const PATIENCE: Duration = Duration::from_millis(200);

/// Whom an answer goes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct RequestId(u64);

/// What a client wants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ControlRequest {
    /// For [`ControlServer::reply`].
    pub id: RequestId,
    /// What.
    pub wish: Wish,
}

/// A wish of a client.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// A phrase to carry out, as the client gave it. Exactly one [`Reply::Outcome`] is owed for it.
    Phrase(String),
    /// To know how the car is. Exactly one [`Reply::Snapshot`] is owed for it.
    Snapshot,
}

/// The control socket of a running car. Dropping it removes the socket.
#[derive(Debug)]
pub struct ControlServer {
    listener: UnixListener,
    clients: Vec<Client>,
    turn: usize,
    next_request: u64,
    _claim: Claim,
}

#[derive(Debug)]
struct Client {
    stream: UnixStream,
    inbound: Inbound,
    outbound: Outbound,
    /// What it waits for.
    waits_for: Option<RequestId>,
    /// Whether it wants to hear what happens.
    listens: bool,
    /// Events that it had no room for.
    missed: u64,
    stage: Stage,
}

/// What a client has said.
#[derive(Debug)]
enum Line {
    Wish(Wish),
    /// Whether it wants to hear what happens.
    Events(bool),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Open,
    /// Only what is left to say is sent.
    Refused,
    Gone,
}

impl ControlServer {
    /// Listens at `path`. Must be called within the runtime.
    ///
    /// # Errors
    /// [`ControlError::Claim`] if another car listens there, or no socket can be made there.
    pub fn bind(path: &Path) -> Result<Self, ControlError> {
        let (claim, listener) = Claim::take(path)?;
        let listener = UnixListener::from_std(listener).map_err(|source| ControlError::System {
            path: path.to_owned(),
            doing: "wait for phrases",
            source,
        })?;
        Ok(Self {
            listener,
            clients: Vec::new(),
            turn: 0,
            next_request: 0,
            _claim: claim,
        })
    }

    /// The next wish; moves answers while it waits, so keep it polled. Cancel safe.
    pub async fn next(&mut self) -> ControlRequest {
        poll_fn(|context| self.poll_next(context)).await
    }

    /// Answers a wish; never waits. An answer to a client that is gone is dropped; progress is dropped where it
    /// would pile up.
    pub fn reply(&mut self, id: RequestId, reply: &Reply) {
        let Some(client) = self
            .clients
            .iter_mut()
            .find(|client| client.waits_for == Some(id))
        else {
            return;
        };
        match reply {
            Reply::Progress(progress) => {
                client.say(&to_line(progress), PROGRESS_ROOM);
            }
            Reply::Outcome(outcome) => {
                client.waits_for = None;
                client.conclude(outcome);
            }
            Reply::Snapshot(snapshot) => {
                client.waits_for = None;
                client.owe(&to_line(&serde_json::json!({ "snapshot": snapshot })));
            }
        }
    }

    /// Whether anybody wants to hear what happens.
    #[must_use]
    pub fn is_heard(&self) -> bool {
        self.clients.iter().any(|client| client.listens)
    }

    /// Tells an event to all who want to hear it; never waits. Who does not read in time misses some, and is told how many.
    pub fn tell_event(&mut self, event: &impl Serialize) {
        let line = to_line(event);
        for client in self.clients.iter_mut().filter(|client| client.listens) {
            client.hear(&line);
        }
    }

    /// Sends what is left to send, for the end of a run; gives up on clients that do not read.
    pub async fn finish(&mut self) {
        let flushed = poll_fn(|context| {
            let mut is_done = true;
            for client in &mut self.clients {
                is_done &= client.outbound.poll_flush(context, &mut client.stream).is_ready();
            }
            if is_done { Poll::Ready(()) } else { Poll::Pending }
        });
        let _ = tokio::time::timeout(PATIENCE, flushed).await;
    }

    fn poll_next(&mut self, context: &mut Context<'_>) -> Poll<ControlRequest> {
        loop {
            let mut is_idle = true;
            for i in 0..self.clients.len() {
                let i = (self.turn + i) % self.clients.len();
                match self.clients[i].poll(context, RequestId(self.next_request)) {
                    Poll::Pending => {}
                    Poll::Ready(None) => is_idle = false,
                    Poll::Ready(Some(request)) => {
                        self.next_request += 1;
                        self.turn = i + 1;
                        return Poll::Ready(request);
                    }
                }
            }
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
        while let Poll::Ready(Ok((stream, _))) = self.listener.poll_accept(context) {
            let is_trusted = stream.peer_cred().is_ok_and(|peer| is_trusted(peer.uid()));
            if is_trusted && self.clients.len() < MAX_CLIENTS {
                self.clients.push(Client {
                    stream,
                    inbound: Inbound::new(LINE_MAX),
                    outbound: Outbound::default(),
                    waits_for: None,
                    listens: false,
                    missed: 0,
                    stage: Stage::Open,
                });
                has_come = Poll::Ready(());
            }
        }
        has_come
    }
}

impl Client {
    /// One step: `Ready(None)` if something happened, `Pending` if it waits for the other side or for an outcome.
    fn poll(&mut self, context: &mut Context<'_>, id: RequestId) -> Poll<Option<ControlRequest>> {
        if self.stage == Stage::Gone {
            return Poll::Pending;
        }
        match self.outbound.poll_flush(context, &mut self.stream) {
            Poll::Ready(Ok(())) => {}
            Poll::Ready(Err(_)) => return self.become_gone(),
            // It must read before it may say more.
            Poll::Pending => return Poll::Pending,
        }
        // Nothing is read while a phrase is carried out; a client that hung up meanwhile shows when it is answered.
        if self.waits_for.is_some() {
            return Poll::Pending;
        }
        match self.take_line() {
            Ok(Some(Line::Wish(wish))) => {
                self.waits_for = Some(id);
                return Poll::Ready(Some(ControlRequest { id, wish }));
            }
            Ok(Some(Line::Events(listens))) => {
                self.listens = listens;
                self.owe(&to_line(&serde_json::json!({ "events": listens })));
                return Poll::Ready(None);
            }
            Ok(None) if self.stage == Stage::Open => {}
            Ok(None) => return self.become_gone(),
            Err(outcome) => {
                self.conclude(&outcome);
                return Poll::Ready(None);
            }
        }
        match self.inbound.poll_fill(context, &mut self.stream) {
            Poll::Pending => Poll::Pending,
            Poll::Ready(Ok(true)) => Poll::Ready(None),
            // Whoever closes only the sending half has had all answers by now.
            Poll::Ready(Ok(false) | Err(_)) => self.become_gone(),
        }
    }

    /// The next line, or what to answer to one that is none.
    fn take_line(&mut self) -> Result<Option<Line>, Outcome> {
        if self.stage == Stage::Refused {
            return Ok(None);
        }
        let line = match self.inbound.take() {
            Ok(Some(line)) => line,
            Ok(None) => return Ok(None),
            Err(Overlong) => {
                self.stage = Stage::Refused;
                let why = format!("the line has more than the `{LINE_MAX}` bytes that are allowed");
                return Err(Outcome::refused(why));
            }
        };
        let refused = |why: &str| {
            Outcome::refused(format!(
                "not understood: {why}; a line is `{{\"phrase\": \"..\"}}`, `{{\"snapshot\": true}}` or \
                 `{{\"events\": true}}`"
            ))
        };
        let request =
            serde_json::from_slice::<Request<'_>>(line).map_err(|error| refused(&error.to_string()))?;
        match request {
            Request {
                phrase: Some(phrase),
                snapshot: None,
                events: None,
            } => Ok(Some(Line::Wish(Wish::Phrase(phrase.into_owned())))),
            Request {
                phrase: None,
                snapshot: Some(true),
                events: None,
            } => Ok(Some(Line::Wish(Wish::Snapshot))),
            Request {
                phrase: None,
                snapshot: None,
                events: Some(listens),
            } => Ok(Some(Line::Events(listens))),
            _ => Err(refused("one thing at a time")),
        }
    }

    /// Tells it an event, if there is room.
    fn hear(&mut self, event: &[u8]) {
        if self.missed > 0 {
            let line = to_line(&serde_json::json!({ "event": "missed", "events": self.missed }));
            if !self.say(&line, PROGRESS_ROOM) {
                self.missed += 1;
                return;
            }
            self.missed = 0;
        }
        self.missed += u64::from(!self.say(event, PROGRESS_ROOM));
    }

    fn become_gone(&mut self) -> Poll<Option<ControlRequest>> {
        self.stage = Stage::Gone;
        Poll::Ready(None)
    }

    /// Says the last line to a phrase, which is owed: whoever has no room for it is gone.
    fn conclude(&mut self, outcome: &Outcome) {
        let mut line = to_line(outcome);
        if line.len() > ANSWER_MAX {
            line = to_line(&Outcome {
                text: outcome.text.clone(),
                ok: outcome.ok,
                lines: vec![format!("left out: the answer has more than `{ANSWER_MAX}` bytes")],
                detail: None,
            });
        }
        self.owe(&line);
    }

    /// Says a line that it waits for.
    fn owe(&mut self, line: &[u8]) {
        if !self.say(line, PROGRESS_ROOM + ANSWER_MAX) {
            self.stage = Stage::Gone;
        }
    }

    /// Sends a line, or keeps it if what is kept stays within `room`; `false` if it was neither.
    fn say(&mut self, line: &[u8], room: usize) -> bool {
        let is_kept = self.outbound.push(line, room);
        if self.outbound.try_flush(&self.stream).is_err() {
            self.stage = Stage::Gone;
        }
        is_kept
    }
}
