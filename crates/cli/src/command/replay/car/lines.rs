//! Lines that never hold up who says them: a reader that is slow, or gone, costs lines and no reply.

use std::{
    sync::mpsc::{SyncSender, TrySendError, sync_channel},
    thread::JoinHandle,
};

use crate::{exit::Failure, output};

/// Lines that wait for their reader.
const WAITING: usize = 4096;

/// Standard output, by a thread of its own.
#[derive(Debug)]
pub(super) struct Lines {
    sender: SyncSender<String>,
    writer: JoinHandle<Result<(), Failure>>,
    unread: u64,
}

impl Lines {
    pub(super) fn new() -> Self {
        let (sender, receiver) = sync_channel::<String>(WAITING);
        let writer = std::thread::spawn(move || {
            while let Ok(text) = receiver.recv() {
                output::line(&text)?;
            }
            Ok(())
        });
        Self {
            sender,
            writer,
            unread: 0,
        }
    }

    /// Says a line, unless too many wait.
    pub(super) fn say(&mut self, text: String) {
        if let Err(TrySendError::Full(_)) = self.sender.try_send(text) {
            self.unread += 1;
        }
    }

    /// Waits until all is read; says how many lines were not.
    pub(super) fn finish(self) -> Result<u64, Failure> {
        drop(self.sender);
        match self.writer.join() {
            Ok(written) => written.map(|()| self.unread),
            Err(_) => Err(Failure::system("the thread that writes lines has ended", None)),
        }
    }
}
