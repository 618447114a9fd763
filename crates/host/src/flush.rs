//! Writing what waits for a stream.

use std::{
    io::{self, ErrorKind},
    pin::Pin,
    task::{Context, Poll, ready},
};

use tokio::{io::AsyncWrite, net::UnixStream};

/// Writes `bytes` from `sent` on until nothing waits (`Ready`, and both are reset) or the stream is full.
pub(crate) fn poll_flush(
    context: &mut Context<'_>,
    stream: &mut UnixStream,
    bytes: &mut Vec<u8>,
    sent: &mut usize,
) -> Poll<io::Result<()>> {
    while *sent < bytes.len() {
        let written = ready!(Pin::new(&mut *stream).poll_write(context, &bytes[*sent..]))?;
        if written == 0 {
            return Poll::Ready(Err(ErrorKind::WriteZero.into()));
        }
        *sent += written;
    }
    bytes.clear();
    *sent = 0;
    Poll::Ready(Ok(()))
}
