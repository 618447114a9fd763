//! Bounded lines over a stream, both ways.

use std::{
    io::{self, ErrorKind},
    pin::Pin,
    task::{Context, Poll, ready},
};

use tokio::{
    io::{AsyncRead, ReadBuf},
    net::UnixStream,
};

use crate::flush;

/// Most bytes taken from a stream by one read.
const CHUNK: usize = 4096;

/// Lines that come in: never more than one longest line in memory.
#[derive(Debug)]
pub(super) struct Inbound {
    /// Longest line, bytes, its end included.
    longest: usize,
    bytes: Vec<u8>,
    start: usize,
    /// No line end stands before this.
    searched: usize,
}

/// The other side sent more bytes than the longest line has, and no line end.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Overlong;

impl Inbound {
    pub(super) const fn new(longest: usize) -> Self {
        Self {
            longest,
            bytes: Vec::new(),
            start: 0,
            searched: 0,
        }
    }

    /// The next whole line without its end, if it has been read.
    pub(super) fn take(&mut self) -> Result<Option<&[u8]>, Overlong> {
        let rest = &self.bytes[self.searched..];
        let Some(length) = rest.iter().position(|&byte| byte == b'\n') else {
            self.searched = self.bytes.len();
            let is_overlong = self.bytes.len() - self.start >= self.longest;
            return if is_overlong { Err(Overlong) } else { Ok(None) };
        };
        let (start, end) = (self.start, self.searched + length);
        self.start = end + 1;
        self.searched = self.start;
        Ok(Some(&self.bytes[start..end]))
    }

    /// Reads once; `false` at the end of the stream. Call when [`Self::take`] has nothing.
    pub(super) fn poll_fill(
        &mut self,
        context: &mut Context<'_>,
        stream: &mut UnixStream,
    ) -> Poll<io::Result<bool>> {
        self.bytes.drain(..self.start);
        self.searched -= self.start;
        self.start = 0;
        let mut chunk = [0; CHUNK];
        let room = CHUNK.min(self.longest.saturating_sub(self.bytes.len())).max(1);
        let mut buffer = ReadBuf::new(&mut chunk[..room]);
        ready!(Pin::new(stream).poll_read(context, &mut buffer))?;
        self.bytes.extend_from_slice(buffer.filled());
        Poll::Ready(Ok(!buffer.filled().is_empty()))
    }
}

/// Lines that go out, as far as the stream has not taken them.
#[derive(Debug, Default)]
pub(super) struct Outbound {
    bytes: Vec<u8>,
    sent: usize,
}

impl Outbound {
    /// Keeps a line for [`Self::poll_flush`]; `false`, and nothing kept, if more than `room` bytes would wait.
    pub(super) fn push(&mut self, line: &[u8], room: usize) -> bool {
        if self.bytes.len() - self.sent + line.len() > room {
            return false;
        }
        self.bytes.drain(..self.sent);
        self.sent = 0;
        self.bytes.extend_from_slice(line);
        true
    }

    /// Writes at once what the stream takes without waiting.
    pub(super) fn try_flush(&mut self, stream: &UnixStream) -> io::Result<()> {
        while self.sent < self.bytes.len() {
            match stream.try_write(&self.bytes[self.sent..]) {
                Ok(written) => self.sent += written,
                Err(error) if error.kind() == ErrorKind::WouldBlock => return Ok(()),
                Err(error) => return Err(error),
            }
        }
        Ok(())
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
