//! Bytes of a stream on their way to becoming records.

use std::{
    io,
    pin::Pin,
    task::{Context, Poll, ready},
};

use tokio::{
    io::{AsyncRead, ReadBuf},
    net::UnixStream,
};
use twotrip_can::record;

use super::Record;

/// Records taken from a stream by one read.
const RECORDS: usize = 16;

/// A fixed buffer of whole and partial records.
#[derive(Debug)]
pub(super) struct Inbound {
    bytes: Box<[u8]>,
    start: usize,
    end: usize,
}

impl Inbound {
    pub(super) fn new() -> Self {
        Self {
            bytes: vec![0; RECORDS * record::LEN].into(),
            start: 0,
            end: 0,
        }
    }

    /// The next whole record, if it has been read.
    pub(super) fn take(&mut self) -> Option<Record> {
        let record = *self.bytes[self.start..self.end].first_chunk()?;
        self.start += record::LEN;
        Some(record)
    }

    /// Reads once; `false` at the end of the stream. Call when [`Self::take`] has nothing.
    pub(super) fn poll_fill(
        &mut self,
        context: &mut Context<'_>,
        stream: &mut UnixStream,
    ) -> Poll<io::Result<bool>> {
        self.bytes.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        let mut room = ReadBuf::new(&mut self.bytes[self.end..]);
        ready!(Pin::new(stream).poll_read(context, &mut room))?;
        let read = room.filled().len();
        self.end += read;
        Poll::Ready(Ok(read > 0))
    }
}
