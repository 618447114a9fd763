//! Listens to a recording, and keeps what was answered to what.

use alloc::{collections::VecDeque, vec::Vec};

use twotrip_can::{Frame, FrameKind};
use twotrip_isotp::{Config, Frames, Pdu, TxDl};
use twotrip_units::BusInstant;

use crate::{
    Answers, Breach, Dialogue, Event, Full, Message, Role,
    answers::{Entry, QuestionId},
    conversation::{FRAME_BYTES, P2, QUESTIONS},
};

/// The longest message of a single frame.
const SINGLE_FRAME: usize = 7;

/// What an ECU speaks that has sent this frame too.
#[must_use]
pub fn spoken(before: Frames, frame: &Frame) -> Frames {
    let FrameKind::Fd { bit_rate_switch, .. } = frame.kind() else {
        return before;
    };
    let longest = match before {
        Frames::Fd { tx_dl, .. } => tx_dl.bytes(),
        Frames::Classic => 0,
    };
    let length = u8::try_from(frame.len()).unwrap_or(u8::MAX).max(longest);
    Frames::Fd {
        tx_dl: TxDl::new(length).unwrap_or(TxDl::LONGEST),
        bit_rate_switch,
    }
}

/// A question whose answers may still come.
#[derive(Clone, Debug)]
struct Open {
    message: u64,
    question: QuestionId,
    time: usize,
    ended: BusInstant,
    short: bool,
    replies: Vec<Entry>,
}

/// What of a recording cannot be answered again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LeftOut {
    /// Answers to questions that the recording does not hold.
    pub unasked: u64,
    /// Answers that are not whole.
    pub incomplete: u64,
    /// Questions behind which the recording ends before an answer was due.
    pub cut_off: u64,
}

/// Makes [`Answers`] of frames, in their order.
///
/// What nobody answered within P2 of the end of the recording is not known to be silence: such a question counts as
/// not asked.
#[derive(Clone, Debug, Default)]
pub struct Learner {
    dialogue: Dialogue,
    answers: Answers,
    open: VecDeque<Open>,
    frames: u64,
    /// Number of the last frame of a tester that is shorter than eight bytes.
    short_frame: Option<u64>,
    left_out: LeftOut,
}

impl Learner {
    /// Takes a frame.
    ///
    /// # Errors
    /// [`Full`] if there is no room for what was said.
    pub fn on_frame(&mut self, at: BusInstant, frame: &Frame) -> Result<(), Full> {
        let number = self.frames;
        self.frames += 1;
        self.dialogue.on_frame(number, at, frame);
        while let Some(event) = self.dialogue.poll_event() {
            match event {
                Event::Unit(unit) => {
                    if let Role::Answer(ecu) = unit.role {
                        self.answers.frames = spoken(self.answers.frames, frame);
                        let ecu = self.answers.ecu(ecu);
                        if let Pdu::SingleFrame { payload } = unit.pdu
                            && payload.as_slice().len() < SINGLE_FRAME
                            && let Some(pad) = frame.data().get(FRAME_BYTES - 1)
                        {
                            self.answers.note_pad(ecu, *pad);
                        }
                    }
                }
                Event::Message(message) => {
                    self.on_message(&message)?;
                    self.dialogue.recycle(message);
                }
                Event::Breach {
                    frame, role, breach, ..
                } => self.on_breach(frame, role, &breach),
            }
        }
        Ok(())
    }

    /// What follows is of another time: nothing of it answers what was asked before.
    pub fn on_break(&mut self, at: BusInstant) {
        self.dialogue.on_end(at);
        while let Some(event) = self.dialogue.poll_event() {
            if let Event::Breach {
                frame, role, breach, ..
            } = event
            {
                self.on_breach(frame, role, &breach);
            }
        }
        self.dialogue = Dialogue::default();
        while let Some(open) = self.open.pop_back() {
            let is_open = open.replies.is_empty() && at.saturating_since(open.ended) < P2;
            if is_open && self.answers.times(open.question) == open.time + 1 {
                self.left_out.cut_off += 1;
                self.answers.withdraw_last(open.question);
            } else {
                self.answers.close(open.question, open.time, &open.replies);
            }
        }
    }

    /// The recording ends here: what it holds, and what had to be left out.
    #[must_use]
    pub fn finish(mut self, at: BusInstant) -> (Answers, LeftOut) {
        self.on_break(at);
        (self.answers, self.left_out)
    }

    fn on_breach(&mut self, frame: u64, role: Role, breach: &Breach) {
        match (role, breach) {
            // Told before the message that the frame may complete.
            (Role::AskAll { .. } | Role::Ask(_), Breach::ShortFrame { .. }) => self.short_frame = Some(frame),
            (_, Breach::Unasked) => self.left_out.unasked += 1,
            (
                Role::Answer(_),
                Breach::WrongSequence { .. }
                | Breach::BrokenOff { .. }
                | Breach::Unfinished { .. }
                | Breach::TooLong { .. },
            )
            | (Role::Ask(_), Breach::MissingFlowControl { .. }) => self.left_out.incomplete += 1,
            _ => {}
        }
    }

    fn on_message(&mut self, message: &Message) -> Result<(), Full> {
        if message.bytes.len() > Config::LONGEST {
            // No ECU of ours says or takes as much: told already as a breach.
            return Ok(());
        }
        let Role::Answer(ecu) = message.role else {
            let (question, time) = self.answers.open(message.role, &message.bytes)?;
            if self.open.len() == QUESTIONS
                && let Some(oldest) = self.open.pop_front()
            {
                // The dialogue remembers no more questions than this.
                self.answers.close(oldest.question, oldest.time, &oldest.replies);
            }
            self.open.push_back(Open {
                message: message.number,
                question,
                time,
                ended: message.ended,
                short: self.short_frame == Some(message.frames.1),
                replies: Vec::new(),
            });
            return Ok(());
        };
        let Some((asked, after)) = message.answers else {
            return Ok(());
        };
        let ecu = self.answers.ecu(ecu);
        let entry = self.answers.reply(ecu, &message.bytes, after)?;
        if let Some(open) = self.open.iter_mut().find(|open| open.message == asked) {
            self.answers.takes_short_frames |= open.short;
            // Two long ones may end in another order than they began in.
            let place = open.replies.partition_point(|before| before.after <= after);
            open.replies.insert(place, entry);
        }
        Ok(())
    }
}
