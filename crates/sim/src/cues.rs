//! Cues: phrases that wait for something to happen while the car is on the bus.
//!
//! A cue acts a while of the car's time after its event, and only so often, so that no cue can call itself for ever.

use std::{collections::VecDeque, sync::Arc, time::Duration};

use twotrip_ecu::memory::Effect;
use twotrip_scenario::{Cue, Phrase, phrase::Event};
use twotrip_units::CarInstant;

/// A cue with what it still has to do.
#[derive(Clone, Debug)]
struct Waiting {
    event: Event,
    after: Duration,
    left: u64,
    phrases: Arc<[Phrase]>,
    due: VecDeque<CarInstant>,
}

/// All cues of a run.
#[derive(Clone, Debug, Default)]
pub(crate) struct Cues {
    list: Vec<Waiting>,
    /// When the next one acts.
    next: Option<CarInstant>,
}

impl Cues {
    /// From now on these.
    pub(crate) fn arm(&mut self, cues: &[Cue]) {
        self.next = None;
        self.list = cues
            .iter()
            .map(|cue| Waiting {
                event: cue.event,
                after: cue.after,
                left: cue.times,
                phrases: cue.phrases.iter().map(|phrase| phrase.value.clone()).collect(),
                due: VecDeque::new(),
            })
            .collect();
    }

    /// Something happened.
    pub(crate) fn happened(&mut self, now: CarInstant, event: Event) {
        for cue in &mut self.list {
            if cue.left > 0 && is_meant(cue.event, event) {
                cue.left -= 1;
                let at = now + cue.after;
                cue.due.push_back(at);
                self.next = Some(self.next.map_or(at, |next| next.min(at)));
            }
        }
    }

    /// A change of the memory may be one of the events.
    pub(crate) fn changed(&mut self, now: CarInstant, effect: Effect) {
        let event = match effect {
            Effect::PendingStored(code) => Event::Pending(Some(code)),
            Effect::Confirmed(code) => Event::Confirmed(Some(code)),
            Effect::MilOn => Event::Mil { commanded: true },
            Effect::MilOff => Event::Mil { commanded: false },
            Effect::Cleared => Event::Clear,
            _ => return,
        };
        self.happened(now, event);
    }

    /// When the next cue acts.
    pub(crate) const fn next(&self) -> Option<CarInstant> {
        self.next
    }

    /// What one cue does that is due; of several the one that was due first, then the one that stands first.
    pub(crate) fn take_due(&mut self, now: CarInstant) -> Option<Arc<[Phrase]>> {
        if self.next.is_none_or(|next| next > now) {
            return None;
        }
        let (_, place) = (0..)
            .zip(&self.list)
            .filter_map(|(place, cue)| Some((*cue.due.front()?, place)))
            .min()?;
        let cue: &mut Waiting = self.list.get_mut::<usize>(place)?;
        cue.due.pop_front();
        let phrases = Arc::clone(&cue.phrases);
        self.next = self.list.iter().filter_map(|cue| cue.due.front().copied()).min();
        Some(phrases)
    }
}

/// Whether what happened is what a cue waits for.
fn is_meant(awaited: Event, happened: Event) -> bool {
    match (awaited, happened) {
        (Event::Pending(None), Event::Pending(_)) | (Event::Confirmed(None), Event::Confirmed(_)) => true,
        _ => awaited == happened,
    }
}
