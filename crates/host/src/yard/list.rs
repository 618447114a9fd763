//! What is due when: the list that a thread of the yard works off.

use std::{
    cmp::Reverse,
    collections::BinaryHeap,
    sync::{Condvar, Mutex, PoisonError},
};

use twotrip::Instant;

use super::lock;

/// Numbers of cars by the instants at which they are due.
#[derive(Debug, Default)]
pub(super) struct List {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct State {
    due: BinaryHeap<Reverse<(Instant, usize)>>,
    closed: bool,
}

impl List {
    /// Adds a car; wakes the thread if it would sleep too long.
    pub(super) fn put(&self, at: Instant, number: usize) {
        let mut state = lock(&self.state);
        let is_first = state.due.peek().is_none_or(|Reverse((first, _))| at < *first);
        state.due.push(Reverse((at, number)));
        drop(state);
        if is_first {
            self.changed.notify_one();
        }
    }

    /// Ends the wait of the thread, for good.
    pub(super) fn close(&self) {
        lock(&self.state).closed = true;
        self.changed.notify_one();
    }

    /// Waits for the next that is due; `None` once the list is closed.
    pub(super) fn wait(&self, clock: impl Fn() -> Instant) -> Option<usize> {
        let mut state = lock(&self.state);
        while !state.closed {
            let now = clock();
            state = match state.due.peek() {
                Some(&Reverse((at, number))) if at <= now => {
                    state.due.pop();
                    return Some(number);
                }
                Some(Reverse((at, _))) => {
                    let span = at.saturating_since(now);
                    let waited = self.changed.wait_timeout(state, span);
                    waited.unwrap_or_else(PoisonError::into_inner).0
                }
                None => self.changed.wait(state).unwrap_or_else(PoisonError::into_inner),
            };
        }
        None
    }
}
