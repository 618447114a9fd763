//! What the tester of a recording asked, and what it was answered: conversations in the order of the requests, in bounded memory.
//!
//! Everything is heard, so that a conversation is whole; what of it is replayed is chosen afterwards.

use std::{
    collections::{BTreeMap, BTreeSet, VecDeque},
    path::Path,
    time::Duration,
};

use twotrip_can::{CanId, Frame, FrameKind};
use twotrip_dialogue::{Conversation, Dialogue, Ecu, Event, Gather, Role, spoken};
use twotrip_host::{
    bus::{Filter, Selection},
    recording::ReadError,
};
use twotrip_isotp::{Config, Frames, Pdu};
use twotrip_units::BusInstant;

use crate::{
    args::{self, Mark},
    command::recorded::{Recorded, RecordedBus, Survey, Wanted, failure},
    exit::Failure,
};

/// Which conversations are replayed, and whose replies count.
#[derive(Clone, Debug)]
pub(super) struct Choice {
    selection: Selection,
    from: Option<Mark>,
    to: Option<Mark>,
    /// `--only` names identifiers of answers too.
    names_replies: bool,
}

impl Choice {
    pub(super) fn of(args: &args::Replay) -> Self {
        let selection = args.selection.selection();
        let names_replies = selection.only.iter().any(|filter| {
            let standard = (0x7E8..=0x7EF).map(CanId::Standard);
            let extended = (0..=u8::MAX).map(|ecu| CanId::Extended(0x18DA_F100 | u32::from(ecu)));
            let mut answers = standard.chain(extended);
            answers.any(|id| passes(*filter, id))
        });
        Self {
            selection,
            from: args.from,
            to: args.to,
            names_replies,
        }
    }

    /// Whether what was asked by this identifier is asked again.
    fn asks(&self, id: CanId) -> bool {
        let Selection { only, drop } = &self.selection;
        (only.is_empty() || only.iter().any(|filter| passes(*filter, id)))
            && !drop.iter().any(|filter| passes(*filter, id))
    }

    /// Whether what this ECU replies counts.
    pub(super) fn compares(&self, ecu: Ecu) -> bool {
        let Selection { only, drop } = &self.selection;
        let id = ecu.response();
        (!self.names_replies || only.iter().any(|filter| passes(*filter, id)))
            && !drop.iter().any(|filter| passes(*filter, id))
    }
}

fn passes(filter: Filter, id: CanId) -> bool {
    filter.passes(&Frame::padded(id, &[], 0))
}

/// The identifier of the request.
fn asked_by(role: Role) -> CanId {
    use twotrip_can::address::EcuAddress;
    match role {
        Role::AskAll { extended: false } => EcuAddress::ENGINE.functional,
        Role::AskAll { extended: true } => EcuAddress::extended(0).functional,
        Role::Ask(ecu) | Role::Answer(ecu) => match ecu.response() {
            CanId::Standard(id) => CanId::Standard(id - 8),
            CanId::Extended(id) => EcuAddress::extended(id.to_be_bytes()[3]).request,
        },
    }
}

/// A conversation to be held again.
#[derive(Clone, Debug)]
pub(super) struct Planned {
    /// The recorded bus, by its place in the recording.
    pub(super) bus: usize,
    /// It is the first of its section: nobody knows how long after the one before.
    pub(super) begins: bool,
    pub(super) conversation: Conversation,
}

/// P2: an ECU has this long to begin its answer (ISO 15765-4).
const P2: Duration = Duration::from_millis(50);

/// A bus of the recording.
#[derive(Debug, Default)]
struct Lane {
    dialogue: Dialogue,
    gather: Gather,
}

/// A recording, read as conversations.
#[derive(Debug)]
pub(super) struct Script {
    recorded: Recorded,
    choice: Choice,
    lanes: Vec<Lane>,
    /// What is over, by section and first frame.
    over: BTreeMap<u64, (usize, Conversation)>,
    ready: VecDeque<(usize, Conversation)>,
    /// The next one is the first of its section.
    begins: bool,
    /// A section begins with this frame, once what is ready has been given.
    held: Option<Held>,
    ended: bool,
    /// The first packet, nanoseconds since 1970, and when the section that is given ended, if it did.
    first: u64,
    section_end: Option<BusInstant>,
    /// Requests at the end of a section that nobody had time to answer.
    cut_off: u64,
    /// Which frames ECUs have spoken in.
    frames: Frames,
    /// Frames of testers but flow control, and how many of them became requests.
    asking: u64,
    pieces: u64,
}

/// A frame that waits.
#[derive(Debug)]
struct Held {
    bus: usize,
    number: u64,
    at: BusInstant,
    frame: Frame,
}

impl Script {
    /// Opens a recording that has been surveyed whole.
    pub(super) fn open(path: &Path, choice: Choice, survey: &Survey) -> Result<Self, Failure> {
        let recorded = Recorded::surveyed(path, Wanted::everything(), survey);
        Ok(Self {
            recorded: recorded.map_err(|error| failure(&error))?,
            choice,
            lanes: Vec::new(),
            over: BTreeMap::new(),
            ready: VecDeque::new(),
            begins: true,
            held: None,
            ended: false,
            first: 0,
            section_end: None,
            cut_off: 0,
            frames: Frames::Classic,
            asking: 0,
            pieces: 0,
        })
    }

    /// The next conversation that is chosen. After an error the recording has ended there, and what was said before it is
    /// still to be had.
    pub(super) fn next(&mut self) -> Result<Option<Planned>, ReadError> {
        loop {
            while let Some((bus, conversation)) = self.ready.pop_front() {
                if let Some(planned) = self.choose(bus, conversation) {
                    return Ok(Some(planned));
                }
            }
            if let Some(held) = self.held.take() {
                self.begins = true;
                self.section_end = None;
                self.lanes.clear();
                self.take(held);
                continue;
            }
            if self.ended {
                return Ok(None);
            }
            match self.recorded.next() {
                Ok(Some(entry)) => {
                    let held = Held {
                        bus: entry.bus,
                        number: entry.number,
                        at: BusInstant::from_nanos(entry.since),
                        frame: entry.frame,
                    };
                    self.first = entry.at.saturating_sub(entry.since);
                    if entry.begins && !self.lanes.is_empty() {
                        self.end(self.instant(self.recorded.section_ended()));
                        self.held = Some(held);
                    } else {
                        self.take(held);
                    }
                }
                Ok(None) => {
                    self.ended = true;
                    self.end(self.instant(self.recorded.ended()));
                }
                Err(error) => {
                    self.ended = true;
                    self.end(self.instant(self.recorded.ended()));
                    return Err(error);
                }
            }
        }
    }

    const fn instant(&self, at: u64) -> BusInstant {
        BusInstant::from_nanos(at.saturating_sub(self.first))
    }

    /// Requests that nobody had time to answer before the recording ended: they are not asked again.
    pub(super) const fn cut_off(&self) -> u64 {
        self.cut_off
    }

    /// Frames of the tester that are no whole request: they are not asked again.
    pub(super) const fn unread(&self) -> u64 {
        self.asking.saturating_sub(self.pieces)
    }

    fn choose(&mut self, bus: usize, mut conversation: Conversation) -> Option<Planned> {
        let number = conversation.frames.0;
        let since = conversation.began.as_nanos();
        if self.choice.to.is_some_and(|to| to.is_passed(number, since)) {
            self.ended = true;
            return None;
        }
        let is_reached = self.choice.from.is_none_or(|from| from.is_reached(number, since));
        if !is_reached || !self.choice.asks(asked_by(conversation.role)) {
            return None;
        }
        let is_unanswered = conversation.replies.is_empty() && conversation.broken.is_empty();
        let left = self
            .section_end
            .map(|end| end.saturating_since(conversation.ended));
        if is_unanswered && left.is_some_and(|left| left < P2) {
            self.cut_off += 1;
            return None;
        }
        conversation
            .replies
            .retain(|reply| self.choice.compares(reply.ecu));
        Some(Planned {
            bus,
            begins: std::mem::take(&mut self.begins),
            conversation,
        })
    }

    fn take(&mut self, held: Held) {
        let Held {
            bus,
            number,
            at,
            frame,
        } = held;
        if self.lanes.len() <= bus {
            self.lanes.resize_with(bus + 1, Lane::default);
        }
        let lane = &mut self.lanes[bus];
        lane.dialogue.on_frame(number, at, &frame);
        if matches!(Role::of(frame.id()), Some(Role::Answer(_))) {
            self.frames = spoken(self.frames, &frame);
        }
        let is_message = matches!(frame.kind(), FrameKind::Data | FrameKind::Fd { .. });
        let asks = Role::of(frame.id()).is_some_and(Role::is_testers) && is_message;
        if asks && !matches!(Pdu::parse(frame.data()), Ok(Pdu::FlowControl { .. })) {
            self.asking += 1;
        }
        while let Some(event) = lane.dialogue.poll_event() {
            match event {
                Event::Unit(unit) => lane.gather.on_unit(&unit),
                // No tester of ours asks as much: it counts as not read.
                Event::Message(message) if message.bytes.len() > Config::LONGEST => {}
                Event::Message(message) => {
                    if message.role.is_testers() {
                        self.pieces += u64::from(message.pieces);
                    }
                    lane.gather.on_message(message);
                }
                Event::Breach { .. } => {}
            }
        }
        self.gather(Some(at));
    }

    /// The section is over, at this instant: who was asked right before had no time to answer.
    fn end(&mut self, at: BusInstant) {
        self.section_end = Some(at);
        for lane in &mut self.lanes {
            lane.gather.on_end();
        }
        self.gather(None);
    }

    /// What is over and behind which nothing earlier can come is ready.
    fn gather(&mut self, now: Option<BusInstant>) {
        let mut earliest = u64::MAX;
        for (bus, lane) in self.lanes.iter_mut().enumerate() {
            if let Some(now) = now {
                lane.gather.on_time(now);
            }
            while let Some(conversation) = lane.gather.poll() {
                self.over.insert(conversation.frames.0, (bus, conversation));
            }
            earliest = earliest.min(lane.gather.oldest_open().unwrap_or(u64::MAX));
        }
        while let Some(first) = self.over.first_entry().filter(|first| *first.key() < earliest) {
            self.ready.push_back(first.remove());
        }
    }
}

/// What there is to be asked.
#[derive(Debug, Default)]
pub(super) struct Overview {
    /// The buses; their frames are requests here. And what keeps the file from being read to its end.
    pub(super) survey: Survey,
    /// Of each bus the ECUs that were asked alone or answered.
    pub(super) ecus: Vec<BTreeSet<Ecu>>,
    /// Of each bus whether all were asked with identifiers of 11 bits, and of 29.
    pub(super) all: Vec<[bool; 2]>,
    /// Which frames the ECUs spoke in.
    pub(super) frames: Frames,
    /// Frames of testers that are no whole request.
    pub(super) unread: u64,
    /// Requests that nobody had time to answer.
    pub(super) cut_off: u64,
}

impl Overview {
    /// Looks through a file.
    pub(super) fn of(path: &Path, choice: &Choice) -> Result<Self, Failure> {
        let mut overview = Self {
            survey: Survey::of(path, &Wanted::everything())?,
            ..Self::default()
        };
        let buses = overview.survey.buses.len();
        overview
            .survey
            .buses
            .iter_mut()
            .for_each(|bus: &mut RecordedBus| bus.frames = 0);
        overview.ecus.resize_with(buses, BTreeSet::new);
        overview.all.resize(buses, [false; 2]);
        let mut script = Script::open(path, choice.clone(), &overview.survey)?;
        loop {
            match script.next() {
                Ok(Some(planned)) => overview.add(&planned),
                Ok(None) => break,
                // It is told by the survey.
                Err(_) if overview.survey.damage.is_some() => {}
                Err(error) => return Err(failure(&error)),
            }
        }
        overview.frames = script.frames;
        overview.unread = script.unread();
        overview.cut_off = script.cut_off();
        Ok(overview)
    }

    fn add(&mut self, planned: &Planned) {
        let bus = planned.bus;
        self.survey.buses[bus].frames += 1;
        match planned.conversation.role {
            Role::AskAll { extended } => self.all[bus][usize::from(extended)] = true,
            Role::Ask(ecu) | Role::Answer(ecu) => {
                self.ecus[bus].insert(ecu);
            }
        }
        let replies = planned.conversation.replies.iter();
        self.ecus[bus].extend(replies.map(|reply| reply.ecu));
    }

    /// Requests that are chosen.
    pub(super) fn requests(&self) -> u64 {
        self.survey.buses.iter().map(|bus| bus.frames).sum()
    }

    /// The ECUs of a bus with identifiers of that size; `None` if nothing is asked with it.
    pub(super) fn asked(&self, bus: usize, extended: bool) -> Option<Vec<Ecu>> {
        let of_size = |ecu: &&Ecu| ecu.response().is_extended() == extended;
        let ecus: Vec<Ecu> = self.ecus[bus].iter().filter(of_size).copied().collect();
        (self.all[bus][usize::from(extended)] || !ecus.is_empty()).then_some(ecus)
    }
}
