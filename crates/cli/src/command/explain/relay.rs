//! A file is read and understood on one thread, and told on another: a long recording takes half the time.
//!
//! What is told goes from one to the other in batches, and comes back for the memory in it. There are only so many
//! batches, however long the file is.

use std::{
    collections::VecDeque,
    ops::ControlFlow,
    sync::mpsc::{Receiver, SyncSender, sync_channel},
    thread,
};

use twotrip_capture::Item;
use twotrip_host::recording::{ReadError, Reader};

use super::{
    heard::{Listener, Told},
    setting::Setting,
    teller::Teller,
};
use crate::{exit::Failure, output::Held};

/// Things in a batch: enough for the threads to meet seldom.
const BATCH: usize = 1024;
/// Batches on their way.
const AHEAD: usize = 4;

/// Some things to tell, and what has to be known for it.
struct Batch {
    told: VecDeque<Told>,
    setting: Setting,
    /// Whether it may take a while until the next one.
    pause: bool,
}

/// The reading thread's end.
struct Sender {
    batches: SyncSender<Batch>,
    back: Receiver<VecDeque<Told>>,
}

impl Sender {
    /// Sends what there is to tell; breaks if nobody wants it any more.
    fn send(&self, listener: &mut Listener, pause: bool) -> ControlFlow<()> {
        let mut room = self.back.try_recv().unwrap_or_default();
        for told in room.drain(..) {
            listener.recycle(told);
        }
        let batch = Batch {
            told: listener.take(room),
            setting: listener.setting().clone(),
            pause,
        };
        match self.batches.send(batch) {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        }
    }

    fn read(&self, reader: &mut Reader, listener: &mut Listener) -> Result<(), ReadError> {
        loop {
            let read = reader.read_piece(&mut |item, _| self.take(&item, listener));
            let sent = self.send(listener, true);
            match read {
                Ok(ControlFlow::Continue(())) if sent.is_continue() => {}
                // If nobody wants it, the other thread knows why.
                Ok(_) => return Ok(()),
                Err(error) => return Err(error),
            }
        }
    }

    fn take(&self, item: &Item<'_>, listener: &mut Listener) -> ControlFlow<()> {
        // What was before a bus was known is told as if there were none.
        if matches!(item, Item::Interface(_)) {
            self.send(listener, false)?;
        }
        listener.on_item(item);
        if listener.is_over() {
            return ControlFlow::Break(());
        }
        if listener.waiting() >= BATCH || listener.setting().begun.is_none() {
            self.send(listener, false)?;
        }
        ControlFlow::Continue(())
    }
}

/// Reads a file up to its present end, or to the end of what is wanted, and tells what is in it.
///
/// # Errors
/// The outer one if it cannot be told, the inner one if it cannot be read on.
pub(super) fn relay(
    reader: &mut Reader,
    listener: &mut Listener,
    teller: &mut Teller,
    held: &Held,
) -> Result<Result<(), ReadError>, Failure> {
    let (batches, received) = sync_channel::<Batch>(AHEAD);
    let (give_back, back) = sync_channel(2 * AHEAD);
    thread::scope(|scope| {
        let sender = Sender { batches, back };
        let reading = scope.spawn(move || sender.read(reader, listener));
        let mut shown = Ok(());
        // The receiver goes with the loop, and the reading thread stops.
        for Batch { told, setting, pause } in received {
            shown = told.iter().try_for_each(|told| teller.show(told, &setting));
            if pause && shown.is_ok() {
                shown = held.release();
            }
            if shown.is_err() {
                break;
            }
            // With no room for it, its memory is lost, no more.
            let _ = give_back.try_send(told);
        }
        let read = reading
            .join()
            .unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        shown.map(|()| read)
    })
}
