//! What was answered to what, to be looked up: the questions of a recording, each with what came every time it was asked.

use alloc::{boxed::Box, collections::BTreeMap, vec::Vec};
use core::{mem::size_of, time::Duration};

use twotrip_isotp::Frames;

use crate::{Ecu, Role};

/// A question of a recording, by its place in the order of first asking.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct QuestionId(pub(crate) u32);

impl QuestionId {
    pub(crate) fn index(self) -> usize {
        usize::try_from(self.0).unwrap_or(usize::MAX)
    }
}

/// A question as it was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Question<'a> {
    /// Which.
    pub id: QuestionId,
    /// Who was asked.
    pub role: Role,
    /// The message without transport bytes.
    pub request: &'a [u8],
    /// How often it was asked.
    pub times: usize,
}

/// One reply, as it was given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RecordedReply<'a> {
    /// By whom.
    pub ecu: Ecu,
    /// The message without transport bytes.
    pub bytes: &'a [u8],
    /// From the end of the request to the end of the reply's first frame.
    pub after: Duration,
}

/// A span of the bytes.
#[derive(Clone, Copy, Debug)]
struct Text {
    begin: u32,
    len: u16,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct Entry {
    /// Of [`Answers::ecus`].
    pub(crate) ecu: u16,
    text: Text,
    pub(crate) after: Duration,
}

/// What came once: these replies, none if nobody answered.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Occasion {
    pub(crate) begin: u32,
    pub(crate) end: u32,
}

#[derive(Clone, Debug)]
struct Asked {
    role: Role,
    request: Text,
    occasions: Vec<Occasion>,
}

/// What is known of an ECU besides its answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Manner {
    /// Who.
    pub ecu: Ecu,
    /// What it fills its frames up with, where it was seen to.
    pub pad: Option<u8>,
}

/// The questions and answers of a recording. Made by [`Learner`](crate::Learner).
#[derive(Clone, Debug, Default)]
pub struct Answers {
    ecus: Vec<Manner>,
    index: BTreeMap<Role, BTreeMap<Box<[u8]>, QuestionId>>,
    questions: Vec<Asked>,
    replies: Vec<Entry>,
    bytes: Vec<u8>,
    occasions: usize,
    pub(crate) takes_short_frames: bool,
    pub(crate) frames: Frames,
}

/// The recording holds more than [`Answers::ROOM`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("more than {} MiB of questions and answers", Answers::ROOM >> 20)]
pub struct Full;

impl Answers {
    /// Memory that questions and answers may take, bytes.
    pub const ROOM: usize = 256 << 20;
    /// What a question takes besides its bytes, about.
    const QUESTION: usize = 160;

    /// Which frames its ECUs spoke in: on CAN FD the longest of them is the longest again.
    #[must_use]
    pub const fn frames(&self) -> Frames {
        self.frames
    }

    /// Everybody who said anything, in the order of their first words.
    #[must_use]
    pub fn ecus(&self) -> &[Manner] {
        &self.ecus
    }

    /// Whether a request in a frame of fewer than eight bytes was answered.
    #[must_use]
    pub const fn takes_short_frames(&self) -> bool {
        self.takes_short_frames
    }

    /// The question in these words; `None` if nobody asked it.
    #[must_use]
    pub fn find(&self, role: Role, request: &[u8]) -> Option<QuestionId> {
        let id = *self.index.get(&role)?.get(request)?;
        (!self.questions[id.index()].occasions.is_empty()).then_some(id)
    }

    /// How often it was asked.
    #[must_use]
    pub fn times(&self, id: QuestionId) -> usize {
        self.questions
            .get(id.index())
            .map_or(0, |asked| asked.occasions.len())
    }

    /// All questions, in the order of first asking.
    pub fn questions(&self) -> impl Iterator<Item = Question<'_>> {
        (0..)
            .zip(&self.questions)
            .filter(|(_, asked)| !asked.occasions.is_empty())
            .map(|(number, asked)| Question {
                id: QuestionId(number),
                role: asked.role,
                request: self.text(asked.request),
                times: asked.occasions.len(),
            })
    }

    /// What came when it was asked for the `time`-th time, counted from 0; in the order of coming.
    pub fn replies(&self, id: QuestionId, time: usize) -> impl Iterator<Item = RecordedReply<'_>> {
        let occasion = self.occasion(id, time).unwrap_or_default();
        (occasion.begin..occasion.end).filter_map(|number| {
            let entry = self.entry(number)?;
            Some(RecordedReply {
                ecu: self.ecus[usize::from(entry.ecu)].ecu,
                bytes: self.text(entry.text),
                after: entry.after,
            })
        })
    }

    pub(crate) fn occasion(&self, id: QuestionId, time: usize) -> Option<Occasion> {
        self.questions.get(id.index())?.occasions.get(time).copied()
    }

    pub(crate) fn entry(&self, number: u32) -> Option<Entry> {
        self.replies.get(usize::try_from(number).ok()?).copied()
    }

    pub(crate) fn message(&self, entry: Entry) -> &[u8] {
        self.text(entry.text)
    }

    fn text(&self, text: Text) -> &[u8] {
        let begin = usize::try_from(text.begin).unwrap_or(usize::MAX);
        &self.bytes[begin..begin + usize::from(text.len)]
    }

    fn keep(&mut self, bytes: &[u8]) -> Text {
        let text = Text {
            // Below `ROOM`.
            begin: u32::try_from(self.bytes.len()).unwrap_or(u32::MAX),
            // ISO 15765-2 without the escape: 4095.
            len: u16::try_from(bytes.len()).unwrap_or(u16::MAX),
        };
        self.bytes.extend_from_slice(bytes);
        text
    }

    /// The number of an ECU.
    pub(crate) fn ecu(&mut self, ecu: Ecu) -> u16 {
        let place = self.ecus.iter().position(|known| known.ecu == ecu);
        let place = place.unwrap_or_else(|| {
            self.ecus.push(Manner { ecu, pad: None });
            self.ecus.len() - 1
        });
        // Eight with 11 bits and 255 with 29.
        u16::try_from(place).unwrap_or(u16::MAX)
    }

    pub(crate) fn note_pad(&mut self, ecu: u16, pad: u8) {
        self.ecus[usize::from(ecu)].pad.get_or_insert(pad);
    }

    /// It was asked: its replies follow by [`Self::close`].
    pub(crate) fn open(&mut self, role: Role, request: &[u8]) -> Result<(QuestionId, usize), Full> {
        self.check_room()?;
        let known = self
            .index
            .get(&role)
            .and_then(|questions| questions.get(request))
            .copied();
        let id = match known {
            Some(id) => id,
            None => {
                let id = QuestionId(u32::try_from(self.questions.len()).map_err(|_| Full)?);
                let text = self.keep(request);
                self.questions.push(Asked {
                    role,
                    request: text,
                    occasions: Vec::new(),
                });
                self.index.entry(role).or_default().insert(request.into(), id);
                id
            }
        };
        self.occasions += 1;
        let occasions = &mut self.questions[id.index()].occasions;
        occasions.push(Occasion::default());
        Ok((id, occasions.len() - 1))
    }

    pub(crate) fn reply(&mut self, ecu: u16, bytes: &[u8], after: Duration) -> Result<Entry, Full> {
        self.check_room()?;
        let text = self.keep(bytes);
        Ok(Entry { ecu, text, after })
    }

    /// These are the replies to it.
    pub(crate) fn close(&mut self, id: QuestionId, time: usize, replies: &[Entry]) {
        let begin = u32::try_from(self.replies.len()).unwrap_or(u32::MAX);
        self.replies.extend_from_slice(replies);
        let end = u32::try_from(self.replies.len()).unwrap_or(u32::MAX);
        self.questions[id.index()].occasions[time] = Occasion { begin, end };
    }

    /// Nobody knows what would have been answered the last time.
    pub(crate) fn withdraw_last(&mut self, id: QuestionId) {
        self.questions[id.index()].occasions.pop();
    }

    fn check_room(&self) -> Result<(), Full> {
        let taken = self.bytes.len()
            + self.replies.len() * size_of::<Entry>()
            + self.occasions * size_of::<Occasion>()
            + self.questions.len() * Self::QUESTION;
        if taken > Self::ROOM { Err(Full) } else { Ok(()) }
    }
}
