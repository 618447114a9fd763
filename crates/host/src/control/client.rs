//! The side of `tell`: gives phrases to a running car and reads what came of them.

use std::{
    future::poll_fn,
    io::{self, ErrorKind},
    path::{Path, PathBuf},
};

use serde::Deserialize;
use tokio::net::UnixStream;

use super::{
    ANSWER_MAX, ControlError, LINE_MAX, Outcome, Progress, Request, SOCKET_KIND,
    lines::{Inbound, Outbound, Overlong},
    to_line,
};
use crate::{
    bus::Names,
    runtime_dir::{RuntimeDir, is_trusted},
};

/// A connection to a running car.
#[derive(Debug)]
pub struct ControlClient {
    path: PathBuf,
    stream: UnixStream,
    inbound: Inbound,
}

/// A line of the car; which one it is shows by its fields.
#[derive(Deserialize)]
struct Line {
    snapshot: Option<serde_json::Value>,
    progress: Option<String>,
    fraction: Option<f64>,
    outcome: Option<String>,
    ok: Option<bool>,
    #[serde(default)]
    lines: Vec<String>,
    detail: Option<serde_json::Value>,
}

impl ControlClient {
    /// Connects to the car at `path`.
    ///
    /// # Errors
    /// [`ControlError::NoCar`] if nobody listens there, [`ControlError::Foreign`] if somebody else does.
    pub async fn connect(path: &Path) -> Result<Self, ControlError> {
        let stream = UnixStream::connect(path)
            .await
            .map_err(|source| match source.kind() {
                ErrorKind::NotFound | ErrorKind::ConnectionRefused => ControlError::NoCar {
                    path: path.to_owned(),
                    running: Names::default(),
                },
                _ => ControlError::System {
                    path: path.to_owned(),
                    doing: "reach the car",
                    source,
                },
            })?;
        if !stream.peer_cred().is_ok_and(|peer| is_trusted(peer.uid())) {
            let path = path.to_owned();
            return Err(ControlError::Foreign { path });
        }
        Ok(Self {
            path: path.to_owned(),
            stream,
            inbound: Inbound::new(ANSWER_MAX),
        })
    }

    /// Connects to the car at `path`, or to the only one in `folder` where no path is given.
    ///
    /// # Errors
    /// As [`Self::connect`]; [`ControlError::NoneRunning`] and [`ControlError::SeveralRunning`] without a path.
    pub async fn find(path: Option<&Path>, folder: &RuntimeDir) -> Result<Self, ControlError> {
        if let Some(path) = path {
            let mut found = Self::connect(path).await;
            if let Err(ControlError::NoCar { running, .. }) = &mut found {
                running.0 = Self::running(folder)
                    .await
                    .into_iter()
                    .map(|(bus, _)| bus)
                    .collect();
            }
            return found;
        }
        let mut running = Self::running(folder).await;
        match running.len() {
            0 => Err(ControlError::NoneRunning),
            1 => Ok(running.remove(0).1),
            _ => Err(ControlError::SeveralRunning {
                paths: Names(
                    running
                        .iter()
                        .map(|(_, car)| car.path.display().to_string())
                        .collect(),
                ),
                buses: Names(running.into_iter().map(|(bus, _)| bus).collect()),
            }),
        }
    }

    /// The cars with a control socket in `folder`, by bus; sockets of dead ones are passed over.
    async fn running(folder: &RuntimeDir) -> Vec<(String, Self)> {
        let mut running = Vec::new();
        for bus in folder.sockets(SOCKET_KIND) {
            if let Ok(car) = Self::connect(&folder.socket(SOCKET_KIND, &bus)).await {
                running.push((bus, car));
            }
        }
        running
    }

    /// Where the car listens.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Gives the car a phrase and waits for what comes of it, however long that takes. Not cancel safe: a phrase
    /// given is carried out.
    ///
    /// # Errors
    /// [`ControlError::Closed`] if the car ends before it has answered, [`ControlError::NotUnderstood`] if what
    /// listens is no car. A phrase that the car cannot carry out is no error: see [`Outcome::ok`].
    pub async fn tell(
        &mut self,
        phrase: &str,
        mut on_progress: impl FnMut(&Progress),
    ) -> Result<Outcome, ControlError> {
        self.send(&Request {
            phrase: Some(phrase.into()),
            ..Request::default()
        })
        .await?;
        loop {
            let line = self.read_line().await?;
            match line {
                Line {
                    outcome: Some(text),
                    ok: Some(ok),
                    lines,
                    detail,
                    ..
                } => {
                    return Ok(Outcome {
                        text,
                        ok,
                        lines,
                        detail,
                    });
                }
                Line {
                    progress: Some(text),
                    fraction,
                    ..
                } => on_progress(&Progress { text, fraction }),
                _ => return Err(self.not_understood("neither `progress` nor `outcome` with `ok`")),
            }
        }
    }

    /// Asks how the car is, which it says once it is on the bus. Not cancel safe.
    ///
    /// # Errors
    /// As [`Self::tell`].
    pub async fn snapshot(&mut self) -> Result<serde_json::Value, ControlError> {
        self.send(&Request {
            snapshot: Some(true),
            ..Request::default()
        })
        .await?;
        let line = self.read_line().await?;
        line.snapshot.ok_or_else(|| self.not_understood("no `snapshot`"))
    }

    async fn send(&mut self, request: &Request<'_>) -> Result<(), ControlError> {
        let line = to_line(request);
        if line.len() > LINE_MAX {
            return Err(ControlError::TooLong { found: line.len() });
        }
        let mut outbound = Outbound::default();
        outbound.push(&line, LINE_MAX);
        let flushed = poll_fn(|context| outbound.poll_flush(context, &mut self.stream)).await;
        flushed.map_err(|error| self.broken("tell the car", error))
    }

    async fn read_line(&mut self) -> Result<Line, ControlError> {
        loop {
            let parsed = match self.inbound.take() {
                Ok(None) => None,
                Ok(Some(line)) => Some(serde_json::from_slice(line).map_err(|error| error.to_string())),
                Err(Overlong) => Some(Err(format!("a line of more than `{ANSWER_MAX}` bytes"))),
            };
            if let Some(parsed) = parsed {
                return parsed.map_err(|why| self.not_understood(&why));
            }
            let filled = poll_fn(|context| self.inbound.poll_fill(context, &mut self.stream)).await;
            if !filled.map_err(|error| self.broken("hear the car", error))? {
                let path = self.path.clone();
                return Err(ControlError::Closed { path });
            }
        }
    }

    fn broken(&self, doing: &'static str, source: io::Error) -> ControlError {
        let path = self.path.clone();
        match source.kind() {
            ErrorKind::BrokenPipe | ErrorKind::ConnectionReset | ErrorKind::WriteZero => {
                ControlError::Closed { path }
            }
            _ => ControlError::System { path, doing, source },
        }
    }

    fn not_understood(&self, why: &str) -> ControlError {
        ControlError::NotUnderstood {
            path: self.path.clone(),
            why: why.to_owned(),
        }
    }
}
