//! One of two recordings: its conversations, one by one, in bounded memory.

use std::{collections::VecDeque, ops::ControlFlow, path::Path};

use twotrip_capture::Item;
use twotrip_dialogue::{Conversation, Dialogue, Event, Gather};
use twotrip_host::{
    bus::Selection,
    recording::{ReadError, Reader},
};
use twotrip_units::BusInstant;

use crate::{command::explain::failure, exit::Failure};

/// A conversation with its place.
#[derive(Debug)]
pub(super) struct Held {
    /// Its bus, counted by names in the order of the file.
    pub(super) bus: usize,
    pub(super) conversation: Conversation,
}

#[derive(Debug)]
struct Lane {
    bus: usize,
    dialogue: Dialogue,
    gather: Gather,
}

#[derive(Debug)]
pub(super) struct Recording {
    reader: Reader,
    selection: Selection,
    buses: Vec<String>,
    lanes: Vec<Lane>,
    ready: VecDeque<Held>,
    frames: u64,
    begun: Option<u64>,
    last: u64,
    over: bool,
    /// Why it cannot be read to its end.
    pub(super) damage: Option<ReadError>,
}

impl Recording {
    pub(super) fn open(path: &Path, selection: Selection) -> Result<Self, Failure> {
        Ok(Self {
            reader: Reader::open(path).map_err(|error| failure(&error))?,
            selection,
            buses: Vec::new(),
            lanes: Vec::new(),
            ready: VecDeque::new(),
            frames: 0,
            begun: None,
            last: 0,
            over: false,
            damage: None,
        })
    }

    pub(super) fn bus(&self, bus: usize) -> Option<&str> {
        self.buses
            .get(bus)
            .filter(|_| self.buses.len() > 1)
            .map(String::as_str)
    }

    /// Answers that belong to no request.
    pub(super) fn unasked(&self) -> u64 {
        self.lanes.iter().map(|lane| lane.gather.unasked()).sum()
    }

    /// The next conversation that is over.
    pub(super) fn next(&mut self) -> Result<Option<Held>, Failure> {
        while self.ready.is_empty() && !self.over {
            self.read()?;
        }
        Ok(self.ready.pop_front())
    }

    fn read(&mut self) -> Result<(), Failure> {
        let Self {
            reader,
            selection,
            buses,
            lanes,
            ready,
            frames,
            begun,
            last,
            ..
        } = self;
        let mut more = false;
        let read = reader.read(|item| {
            match &item {
                Item::Interface(interface) => {
                    let name = interface.name().unwrap_or_default().into_owned();
                    let known = buses.iter().position(|bus| *bus == name);
                    lanes.push(Lane {
                        bus: known.unwrap_or(buses.len()),
                        dialogue: Dialogue::default(),
                        gather: Gather::default(),
                    });
                    if known.is_none() {
                        buses.push(name);
                    }
                }
                Item::Packet(packet) => {
                    *frames += 1;
                    *last = packet.at.unwrap_or(*last);
                    let since = last.saturating_sub(*begun.get_or_insert(*last));
                    let lane = usize::try_from(packet.interface).ok();
                    if let (Some(lane), Ok(frame)) =
                        (lane.and_then(|lane| lanes.get_mut(lane)), packet.frame())
                        && selection.passes(&frame)
                    {
                        lane.dialogue
                            .on_frame(*frames, BusInstant::from_nanos(since), &frame);
                        lane.drain(ready);
                    }
                }
                _ => {}
            }
            if ready.is_empty() {
                ControlFlow::Continue(())
            } else {
                more = true;
                ControlFlow::Break(())
            }
        });
        if more {
            return Ok(());
        }
        self.over = true;
        match read.and_then(|()| self.reader.end()) {
            Ok(()) => {}
            Err(error @ ReadError::Damage { .. }) if !self.lanes.is_empty() => self.damage = Some(error),
            Err(error) => return Err(failure(&error)),
        }
        for lane in &mut self.lanes {
            lane.gather.on_end();
            lane.drain(&mut self.ready);
        }
        Ok(())
    }
}

impl Lane {
    fn drain(&mut self, ready: &mut VecDeque<Held>) {
        while let Some(event) = self.dialogue.poll_event() {
            if let Event::Message(message) = event {
                self.gather.on_message(message);
            }
        }
        while let Some(conversation) = self.gather.poll() {
            ready.push_back(Held {
                bus: self.bus,
                conversation,
            });
        }
    }
}
