//! Items of a recording become things to tell, in the order in which they happened.

use std::collections::VecDeque;

use twotrip_can::Frame;
use twotrip_capture::{Direction, Item, Packet};
use twotrip_dialogue::{Dialogue, Event, Role, conduct::Conduct};
use twotrip_host::{bus::Selection, journal, judge::Summary, recording::comment};
use twotrip_units::BusInstant;

use super::setting::Setting;
use crate::args::{Level, Mark};

/// Lines of comments remembered, to tell each once.
const COMMENTS: usize = 1024;

/// What is known of a frame beside itself.
#[derive(Clone, Copy, Debug)]
pub(super) struct Whence {
    /// Number of its interface.
    pub(super) interface: usize,
    /// Nanoseconds since 1970.
    pub(super) at: u64,
    pub(super) outbound: Option<bool>,
    /// Frames lost before it.
    pub(super) dropped: u64,
}

/// Something to be told.
#[derive(Debug)]
pub(super) enum Told {
    Section {
        application: Option<String>,
        comments: Vec<String>,
    },
    Interface {
        name: String,
        bit_rate: Option<u64>,
    },
    /// A frame, and its number, from 1 as analysers count.
    Frame(u64, Whence, Frame),
    /// What became of it on that interface.
    Event(usize, Event),
    Comment {
        at: u64,
        text: String,
    },
    /// Frames of that interface that are not in the recording, before the frame with this number.
    Lost {
        interface: usize,
        at: u64,
        number: u64,
        frames: u64,
    },
    /// What an interface has counted since its recording began.
    Statistics(usize, Counted),
    /// A packet that is no frame.
    NoFrame {
        number: u64,
        why: String,
    },
}

/// Counts of an interface, as far as the recorder gave them.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counted {
    /// Nanoseconds since 1970.
    pub(super) at: u64,
    pub(super) received: Option<u64>,
    pub(super) dropped_by_interface: Option<u64>,
    pub(super) dropped_by_system: Option<u64>,
}

impl Counted {
    /// Lost, wherever.
    fn dropped(self) -> u64 {
        let counts = [self.dropped_by_interface, self.dropped_by_system];
        counts.into_iter().flatten().fold(0, u64::saturating_add)
    }
}

/// What was heard of a bus altogether.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Total {
    pub(super) frames: u64,
    /// As told by the frames that came after them.
    told_lost: u64,
    /// The last counts.
    pub(super) counted: Option<Counted>,
}

impl Total {
    /// Frames lost, by the frames or by the last counts, whichever tell of more: counts come less often, but to the end.
    pub(super) fn lost(&self) -> u64 {
        self.counted.map_or(0, Counted::dropped).max(self.told_lost)
    }
}

/// Where a packet stands.
struct Place {
    /// Nanoseconds since the first one.
    since: u64,
    /// It is not before the beginning of what is wanted.
    is_wanted: bool,
}

/// Listens to all buses of a recording.
#[derive(Debug)]
pub(super) struct Listener {
    selection: Selection,
    level: Level,
    from: Option<Mark>,
    to: Option<Mark>,
    setting: Setting,
    /// One for each bus.
    dialogues: Vec<Dialogue>,
    /// What testers did, likewise.
    conducts: Vec<Conduct>,
    totals: Vec<Total>,
    requests: u64,
    answers: u64,
    numbers: u64,
    last: u64,
    over: bool,
    comments: VecDeque<String>,
    told: VecDeque<Told>,
}

impl Listener {
    /// What is not shown at this level is not handed on.
    pub(super) fn new(selection: Selection, level: Level, from: Option<Mark>, to: Option<Mark>) -> Self {
        Self {
            selection,
            level,
            from,
            to,
            setting: Setting::default(),
            dialogues: Vec::new(),
            conducts: Vec::new(),
            totals: Vec::new(),
            requests: 0,
            answers: 0,
            numbers: 0,
            last: 0,
            over: false,
            comments: VecDeque::new(),
            told: VecDeque::new(),
        }
    }

    /// Nothing beyond this is wanted.
    pub(super) const fn is_over(&self) -> bool {
        self.over
    }

    /// Whether there was anything of a recording.
    pub(super) const fn has_heard(&self) -> bool {
        !self.dialogues.is_empty()
    }

    /// Packets so far.
    pub(super) const fn frames(&self) -> u64 {
        self.numbers
    }

    /// Of each bus.
    pub(super) fn totals(&self) -> &[Total] {
        &self.totals
    }

    /// Requests and answers.
    pub(super) const fn messages(&self) -> (u64, u64) {
        (self.requests, self.answers)
    }

    /// What testers did on each bus on which there were any, by the number of the bus.
    pub(super) fn conducts(&self) -> impl Iterator<Item = (usize, Summary)> {
        let asked = self
            .conducts
            .iter()
            .enumerate()
            .filter(|(_, conduct)| !conduct.testers().is_empty());
        asked.map(|(bus, conduct)| {
            let seconds = |at| self.setting.seconds(self.setting.instant(at));
            (bus, Summary::of(conduct, seconds))
        })
    }

    pub(super) fn poll(&mut self) -> Option<Told> {
        self.told.pop_front()
    }

    /// How many things there are to tell.
    pub(super) fn waiting(&self) -> usize {
        self.told.len()
    }

    /// All that there is to tell; what comes goes into the empty `room`.
    pub(super) const fn take(&mut self, room: VecDeque<Told>) -> VecDeque<Told> {
        std::mem::replace(&mut self.told, room)
    }

    /// What has to be known to tell it.
    pub(super) const fn setting(&self) -> &Setting {
        &self.setting
    }

    /// Takes back what has been told, for the memory in it.
    pub(super) fn recycle(&mut self, told: Told) {
        if let Told::Event(interface, Event::Message(message)) = told
            && let Some(dialogue) = self.dialogues.get_mut(interface)
        {
            dialogue.recycle(message);
        }
    }

    pub(super) fn on_bus(&mut self, name: &str) {
        self.setting.add_bus(name);
        self.totals.push(Total::default());
        self.conducts.push(Conduct::default());
        self.dialogues.push(if self.level == Level::Transport {
            Dialogue::default()
        } else {
            Dialogue::without_units()
        });
    }

    pub(super) fn on_item(&mut self, item: &Item<'_>) {
        match item {
            Item::Section(section) => self.told.push_back(Told::Section {
                application: section.application().map(|text| text.into_owned()),
                comments: section.options.comments().map(|text| text.into_owned()).collect(),
            }),
            Item::Interface(interface) => {
                let name = interface.name().map_or_else(
                    || format!("interface {}", interface.number),
                    |name| name.into_owned(),
                );
                self.on_bus(&name);
                self.told.push_back(Told::Interface {
                    name,
                    bit_rate: interface.bit_rate(),
                });
            }
            Item::Packet(packet) => self.on_packet(packet),
            Item::Statistics(counts) => {
                let counted = Counted {
                    at: counts.at,
                    received: counts.received(),
                    dropped_by_interface: counts.dropped_by_interface(),
                    dropped_by_system: counts.dropped_by_system(),
                };
                let interface = usize::try_from(counts.interface).unwrap_or(usize::MAX);
                if let Some(total) = self.totals.get_mut(interface) {
                    total.counted = Some(counted);
                    self.told.push_back(Told::Statistics(interface, counted));
                }
                self.on_comments(counts.at, counts.options.comments());
            }
            Item::Other(_) => {}
        }
    }

    fn on_packet(&mut self, packet: &Packet<'_>) {
        let at = packet.at.unwrap_or(self.last);
        match &packet.frame() {
            Ok(frame) => {
                // Looked for where it is shown.
                let direction = match self.level {
                    Level::Frames => packet.direction(),
                    _ => None,
                };
                let whence = Whence {
                    interface: usize::try_from(packet.interface).unwrap_or(usize::MAX),
                    at,
                    outbound: direction.map(|way| way == Direction::Outbound),
                    dropped: packet.dropped().unwrap_or(0),
                };
                self.on_frame(whence, frame, packet.comments());
            }
            Err(error) => {
                if self.admit(at).is_some_and(|place| place.is_wanted) {
                    self.told.push_back(Told::NoFrame {
                        number: self.numbers,
                        why: error.to_string(),
                    });
                }
            }
        }
    }

    fn on_comments<'a>(&mut self, at: u64, comments: impl Iterator<Item = std::borrow::Cow<'a, str>>) {
        for text in comments {
            // What was done to the car step by step is for `replay`, not for readers.
            if text.starts_with(journal::PREFIX) {
                continue;
            }
            // A statistics block may have had it already.
            if text.starts_with(comment::PREFIX) {
                if self.comments.iter().any(|told| *told == text) {
                    continue;
                }
                if self.comments.len() == COMMENTS {
                    self.comments.pop_front();
                }
                self.comments.push_back(text.clone().into_owned());
            }
            self.told.push_back(Told::Comment {
                at,
                text: text.into_owned(),
            });
        }
    }

    /// Counts a packet; `None` behind the end of what is wanted.
    fn admit(&mut self, at: u64) -> Option<Place> {
        self.numbers += 1;
        self.last = at;
        let since = at.saturating_sub(*self.setting.begun.get_or_insert(at));
        self.over |= self.to.is_some_and(|mark| mark.is_passed(self.numbers, since));
        let is_wanted = self.from.is_none_or(|mark| mark.is_reached(self.numbers, since));
        (!self.over).then_some(Place { since, is_wanted })
    }

    /// Takes a frame; comments tell what happened before it.
    pub(super) fn on_frame<'a>(
        &mut self,
        whence: Whence,
        frame: &Frame,
        comments: impl Iterator<Item = std::borrow::Cow<'a, str>>,
    ) {
        let Some(Place { since, is_wanted }) = self.admit(whence.at) else {
            return;
        };
        let shown = is_wanted && self.selection.passes(frame);
        if is_wanted {
            self.on_comments(whence.at, comments);
        }
        if let Some(total) = self.totals.get_mut(whence.interface) {
            total.frames += 1;
            total.told_lost = total.told_lost.saturating_add(whence.dropped);
        }
        if is_wanted && whence.dropped > 0 {
            self.told.push_back(Told::Lost {
                interface: whence.interface,
                at: whence.at,
                number: self.numbers,
                frames: whence.dropped,
            });
        }
        if shown && self.level == Level::Frames {
            self.told.push_back(Told::Frame(self.numbers, whence, *frame));
        }
        let judged = self.conducts.get_mut(whence.interface);
        if let (Some(dialogue), Some(conduct)) = (self.dialogues.get_mut(whence.interface), judged) {
            // It hears everything, so that what is shown is judged by what is not.
            dialogue.on_frame(self.numbers, BusInstant::from_nanos(since), frame);
            while let Some(event) = dialogue.poll_event() {
                if let Event::Message(message) = &event {
                    *match message.role {
                        Role::Answer(_) => &mut self.answers,
                        Role::AskAll { .. } | Role::Ask(_) => &mut self.requests,
                    } += 1;
                }
                if is_wanted {
                    conduct.on_event(&event);
                }
                match event {
                    event if shown => self.told.push_back(Told::Event(whence.interface, event)),
                    Event::Message(message) => dialogue.recycle(message),
                    _ => {}
                }
            }
        }
    }

    /// No more frames come.
    pub(super) fn end(&mut self) {
        if self.over {
            return;
        }
        let since = self.last.saturating_sub(self.setting.begun.unwrap_or_default());
        for (interface, dialogue) in self.dialogues.iter_mut().enumerate() {
            dialogue.on_end(BusInstant::from_nanos(since));
            while let Some(event) = dialogue.poll_event() {
                if let Some(conduct) = self.conducts.get_mut(interface) {
                    conduct.on_event(&event);
                }
                self.told.push_back(Told::Event(interface, event));
            }
        }
    }
}
