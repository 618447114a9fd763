//! Records that a stream has not taken yet: bounded, in order, never a part of a record lost.

use std::{
    io::{self, ErrorKind},
    task::{Context, Poll},
};

use tokio::net::UnixStream;
use twotrip_can::record;

use super::Record;
use crate::flush;

/// Most records that wait for one stream.
pub(super) const RECORDS: usize = 4096;

/// What waits for one stream. Holds no memory until something waits.
#[derive(Debug, Default)]
pub(super) struct Backlog {
    bytes: Vec<u8>,
    sent: usize,
}

/// What became of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pushed {
    /// Written, or kept for later.
    Taken,
    /// No room; nothing of it was kept.
    Full,
}

impl Backlog {
    pub(super) const fn is_empty(&self) -> bool {
        self.bytes.is_empty()
    }

    /// Writes the record at once if nothing waits, and keeps what the stream does not take.
    pub(super) fn push(&mut self, stream: &UnixStream, record: &Record) -> io::Result<Pushed> {
        let written = if self.is_empty() {
            match stream.try_write(record) {
                Ok(written) => written,
                Err(error) if is_for_later(&error) => 0,
                Err(error) => return Err(error),
            }
        } else {
            0
        };
        if written == record::LEN {
            return Ok(Pushed::Taken);
        }
        if self.bytes.len() - self.sent + record::LEN > RECORDS * record::LEN {
            return Ok(Pushed::Full);
        }
        if self.sent >= RECORDS * record::LEN {
            self.bytes.drain(..self.sent);
            self.sent = 0;
        }
        self.bytes.extend_from_slice(&record[written..]);
        Ok(Pushed::Taken)
    }

    /// Writes until nothing waits (`Ready`) or the stream is full.
    pub(super) fn poll_flush(
        &mut self,
        context: &mut Context<'_>,
        stream: &mut UnixStream,
    ) -> Poll<io::Result<()>> {
        flush::poll_flush(context, stream, &mut self.bytes, &mut self.sent)
    }
}

fn is_for_later(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted)
}
