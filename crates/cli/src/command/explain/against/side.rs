//! One of two recordings: its conversations, one by one, in bounded memory.

use std::{collections::VecDeque, path::Path};

use twotrip_dialogue::{Conversation, Dialogue, Event, Gather};
use twotrip_host::{bus::Selection, recording::ReadError};
use twotrip_units::BusInstant;

use crate::{
    command::recorded::{Entry, Recorded, Wanted, failure},
    exit::Failure,
};

/// A conversation with its place.
#[derive(Debug)]
pub(super) struct Held {
    /// Its bus, counted by names in the order of the file.
    pub(super) bus: usize,
    pub(super) conversation: Conversation,
}

/// A bus in a section of the recording.
#[derive(Debug, Default)]
struct Lane {
    dialogue: Dialogue,
    gather: Gather,
}

#[derive(Debug)]
pub(super) struct Recording {
    recorded: Recorded,
    lanes: Vec<Lane>,
    ready: VecDeque<Held>,
    over: bool,
    /// Answers that belong to no request, in sections that are over.
    unasked: u64,
    /// Why it cannot be read to its end.
    pub(super) damage: Option<ReadError>,
}

impl Recording {
    pub(super) fn open(path: &Path, selection: Selection) -> Result<Self, Failure> {
        Ok(Self {
            recorded: Recorded::open(path, Wanted::new(selection, None, None))?,
            lanes: Vec::new(),
            ready: VecDeque::new(),
            over: false,
            unasked: 0,
            damage: None,
        })
    }

    pub(super) fn bus(&self, bus: usize) -> Option<&str> {
        let buses = self.recorded.buses();
        let bus = buses.get(bus).filter(|_| buses.len() > 1)?;
        Some(&bus.name)
    }

    /// Answers that belong to no request.
    pub(super) const fn unasked(&self) -> u64 {
        self.unasked
    }

    /// The next conversation that is over.
    pub(super) fn next(&mut self) -> Result<Option<Held>, Failure> {
        while self.ready.is_empty() && !self.over {
            match self.recorded.next() {
                Ok(Some(entry)) => self.take(&entry),
                Ok(None) => self.over = true,
                Err(error @ ReadError::Damage { .. }) if self.recorded.has_begun() => {
                    self.damage = Some(error);
                    self.over = true;
                }
                Err(error) => return Err(failure(&error)),
            }
            if self.over {
                self.end_section();
            }
        }
        Ok(self.ready.pop_front())
    }

    fn take(&mut self, entry: &Entry) {
        if entry.begins {
            self.end_section();
        }
        if self.lanes.len() <= entry.bus {
            self.lanes.resize_with(entry.bus + 1, Lane::default);
        }
        let lane = &mut self.lanes[entry.bus];
        let at = BusInstant::from_nanos(entry.since);
        lane.dialogue.on_frame(entry.number, at, &entry.frame);
        lane.drain(entry.bus, &mut self.ready);
    }

    /// What comes next was recorded by another run of a recorder, or nothing comes.
    fn end_section(&mut self) {
        for (bus, lane) in self.lanes.iter_mut().enumerate() {
            lane.gather.on_end();
            lane.drain(bus, &mut self.ready);
            self.unasked += lane.gather.unasked();
        }
        self.lanes.clear();
    }
}

impl Lane {
    fn drain(&mut self, bus: usize, ready: &mut VecDeque<Held>) {
        while let Some(event) = self.dialogue.poll_event() {
            if let Event::Message(message) = event {
                self.gather.on_message(message);
            }
        }
        while let Some(conversation) = self.gather.poll() {
            ready.push_back(Held { bus, conversation });
        }
    }
}
