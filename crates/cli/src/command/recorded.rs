//! The frames of a recording: looked through to know what there is, or read one by one, in bounded memory.

use std::{fs, ops::ControlFlow, path::Path, time::Duration};

use twotrip_can::{
    Frame, FrameKind,
    timing::{self, BitRate},
};
use twotrip_capture::{Item, Packet};
use twotrip_host::{
    bus::Selection,
    recording::{ReadError, Reader},
};

use crate::{args::Mark, exit::Failure, output};

/// Which frames are wanted.
#[derive(Clone, Debug)]
pub(super) struct Wanted {
    selection: Selection,
    from: Option<Mark>,
    to: Option<Mark>,
}

impl Wanted {
    /// All of them.
    pub(super) fn everything() -> Self {
        Self::new(Selection::default(), None, None)
    }

    pub(super) const fn new(selection: Selection, from: Option<Mark>, to: Option<Mark>) -> Self {
        Self { selection, from, to }
    }
}

/// A frame of the recording.
#[derive(Clone, Copy, Debug)]
pub(super) struct Entry {
    /// Its bus, a number of [`Survey::buses`].
    pub(super) bus: usize,
    /// A new section begins with it: another run of a recorder, and nobody knows how long after.
    pub(super) begins: bool,
    /// Nanoseconds since 1970.
    pub(super) at: u64,
    /// Nanoseconds since the first packet.
    pub(super) since: u64,
    /// Its number among the packets, from 1.
    pub(super) number: u64,
    pub(super) frame: Frame,
}

/// A recorded bus.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct RecordedBus {
    pub(super) name: String,
    /// Bit/s.
    pub(super) bit_rate: Option<u64>,
    /// Wanted frames that can be sent.
    pub(super) frames: u64,
    /// How long they take on a wire of 500 kbit/s.
    pub(super) on_the_wire: Duration,
}

/// What there is in a recording.
#[derive(Debug, Default)]
pub(super) struct Survey {
    pub(super) buses: Vec<RecordedBus>,
    /// Wanted error message frames: reports of a controller, which no node sends.
    pub(super) errors: u64,
    /// Packets that are no frames.
    pub(super) strangers: u64,
    /// All packets, wanted or not.
    pub(super) packets: u64,
    /// From the first wanted frame to the last, without what is between two runs of a recorder.
    pub(super) span: Duration,
    /// Why it cannot be read to its end.
    pub(super) damage: Option<ReadError>,
}

impl Survey {
    /// Looks through a file.
    pub(super) fn of(path: &Path, wanted: &Wanted) -> Result<Self, Failure> {
        if fs::metadata(path).is_ok_and(|meta| !meta.is_file()) {
            return Err(Failure::input(
                format!("`{}` is no file", output::escape(&path.display().to_string())),
                Some(
                    "a recording is read twice: write what comes through a pipe into a file first".to_owned(),
                ),
            ));
        }
        let mut recorded = Recorded::open(path, wanted.clone())?;
        let mut survey = Self::default();
        let mut last = None;
        let damage = loop {
            let next = recorded.next();
            if let Ok(Some(entry)) = &next {
                let since = entry
                    .at
                    .saturating_sub(last.filter(|_| !entry.begins).unwrap_or(entry.at));
                survey.span += Duration::from_nanos(since);
                last = Some(entry.at.max(last.filter(|_| !entry.begins).unwrap_or(0)));
            }
            match next {
                Ok(Some(entry)) if entry.frame.kind() == FrameKind::Error => survey.errors += 1,
                Ok(Some(entry)) => {
                    let bus = &mut recorded.place.buses[entry.bus];
                    bus.frames += 1;
                    bus.on_the_wire += timing::frame_time(&entry.frame, BitRate::Kbit500);
                }
                Ok(None) => break None,
                Err(error @ ReadError::Damage { .. }) if recorded.has_begun() => break Some(error),
                Err(error) => return Err(failure(&error)),
            }
        };
        survey.damage = damage;
        survey.strangers = recorded.place.strangers;
        survey.packets = recorded.place.number;
        survey.buses = recorded.place.buses;
        Ok(survey)
    }
}

/// A recording being read.
#[derive(Debug)]
pub(super) struct Recorded {
    reader: Reader,
    wanted: Wanted,
    /// How many packets are looked at.
    end: u64,
    place: Place,
}

/// How far it is read.
#[derive(Debug, Default)]
struct Place {
    buses: Vec<RecordedBus>,
    /// The bus of each interface, by its number.
    interfaces: Vec<usize>,
    /// Packets so far.
    number: u64,
    /// Time of the first packet, and of the one before.
    first: Option<u64>,
    last: u64,
    begins: bool,
    /// When the last thing happened that has a time, and in the section before.
    ended: u64,
    section_ended: u64,
    strangers: u64,
    /// Frames that the recorder has lost.
    lost: u64,
    is_over: bool,
}

impl Recorded {
    pub(super) fn open(path: &Path, wanted: Wanted) -> Result<Self, Failure> {
        Self::up_to(path, wanted, u64::MAX).map_err(|error| failure(&error))
    }

    /// Only what a survey has seen: a file may grow meanwhile, even by what is replayed from it.
    pub(super) fn surveyed(path: &Path, wanted: Wanted, survey: &Survey) -> Result<Self, ReadError> {
        Self::up_to(path, wanted, survey.packets)
    }

    fn up_to(path: &Path, wanted: Wanted, end: u64) -> Result<Self, ReadError> {
        Ok(Self {
            reader: Reader::open(path)?,
            wanted,
            end,
            place: Place::default(),
        })
    }

    /// Whether there was anything of a recording.
    pub(super) const fn has_begun(&self) -> bool {
        !self.place.interfaces.is_empty()
    }

    /// The buses so far, in the order of the file; their frames are not counted here.
    pub(super) fn buses(&self) -> &[RecordedBus] {
        &self.place.buses
    }

    /// When the recording ended, as far as it is read, nanoseconds since 1970: the recorder may have listened on after the
    /// last frame.
    pub(super) const fn ended(&self) -> u64 {
        self.place.ended
    }

    /// Frames that the recorder has lost so far.
    pub(super) const fn lost(&self) -> u64 {
        self.place.lost
    }

    /// When the section before this one ended, likewise.
    pub(super) const fn section_ended(&self) -> u64 {
        self.place.section_ended
    }

    /// The next wanted frame, in the order of the file.
    pub(super) fn next(&mut self) -> Result<Option<Entry>, ReadError> {
        let mut found = None;
        let (place, wanted, end) = (&mut self.place, &self.wanted, self.end);
        place.is_over |= place.number >= end;
        if place.is_over {
            return Ok(None);
        }
        self.reader.read(|item| {
            found = place.on_item(&item, wanted);
            place.is_over |= place.number >= end;
            if found.is_some() || place.is_over {
                ControlFlow::Break(())
            } else {
                ControlFlow::Continue(())
            }
        })?;
        if found.is_none() && !self.place.is_over {
            self.reader.end()?;
        }
        Ok(found)
    }
}

impl Place {
    fn on_item(&mut self, item: &Item<'_>, wanted: &Wanted) -> Option<Entry> {
        match item {
            Item::Section(_) => {
                self.begins = true;
                self.section_ended = self.ended;
            }
            Item::Interface(interface) => {
                let name = interface.name().map_or_else(
                    || format!("interface {}", interface.number),
                    |name| name.into_owned(),
                );
                let known = self.buses.iter().position(|bus| bus.name == name);
                self.interfaces.push(known.unwrap_or(self.buses.len()));
                if known.is_none() {
                    self.buses.push(RecordedBus {
                        name,
                        bit_rate: interface.bit_rate(),
                        frames: 0,
                        on_the_wire: Duration::ZERO,
                    });
                }
            }
            Item::Packet(packet) => return self.on_packet(packet, wanted),
            Item::Statistics(counts) => self.ended = self.ended.max(counts.at),
            Item::Other(_) => {}
        }
        None
    }

    fn on_packet(&mut self, packet: &Packet<'_>, wanted: &Wanted) -> Option<Entry> {
        let at = packet.at.unwrap_or(self.last);
        let first = *self.first.get_or_insert(at);
        let since = at.saturating_sub(first);
        self.last = at;
        self.ended = at;
        self.lost = self.lost.saturating_add(packet.dropped().unwrap_or(0));
        self.number += 1;
        if wanted.to.is_some_and(|to| to.is_passed(self.number, since)) {
            self.is_over = true;
            return None;
        }
        if wanted
            .from
            .is_some_and(|from| !from.is_reached(self.number, since))
        {
            return None;
        }
        let bus = usize::try_from(packet.interface)
            .ok()
            .and_then(|number| self.interfaces.get(number).copied());
        let (Ok(frame), Some(bus)) = (packet.frame(), bus) else {
            self.strangers += 1;
            return None;
        };
        if !wanted.selection.passes(&frame) {
            return None;
        }
        Some(Entry {
            bus,
            begins: std::mem::take(&mut self.begins),
            at,
            since,
            number: self.number,
            frame,
        })
    }
}

/// A file that cannot be read.
pub(super) fn failure(error: &ReadError) -> Failure {
    let hint = matches!(error, ReadError::Damage { .. })
        .then(|| "what can be read is pcapng and pcap with frames of link type 227".to_owned());
    Failure::input(output::escape(&error.to_string()), hint)
}
