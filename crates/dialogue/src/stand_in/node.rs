//! One ECU of a stand-in: its transport, and what it owes.

use alloc::collections::VecDeque;

use twotrip_isotp::{Channel, Config, Profile};
use twotrip_units::BusInstant;

use crate::{Answers, Ecu, conversation::P2};

/// Questions whose replies an ECU still owes.
const TURNS: usize = 16;

/// Replies to one question that are still to come.
#[derive(Clone, Copy, Debug)]
struct Turn {
    /// Which question, by the count of all.
    question: u64,
    asked: BusInstant,
    due: BusInstant,
    /// Numbers of the next reply, and of that behind the last of all ECUs.
    next: u32,
    end: u32,
}

/// What became of a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Push {
    Taken,
    /// The ECU is in the middle of a long reply, or owes too many.
    Dropped,
}

#[derive(Clone, Debug)]
pub(super) struct Node {
    pub(super) ecu: Ecu,
    pub(super) channel: Channel,
    turns: VecDeque<Turn>,
    /// Number of this ECU among all.
    pub(super) number: u16,
    /// When the reply was due of which no frame has been polled yet.
    pub(super) waiting: Option<BusInstant>,
    /// The question that was dropped last, so that it is told once.
    dropped: Option<u64>,
}

impl Node {
    pub(super) fn new(ecu: Ecu, number: u16, profile: Profile) -> Self {
        let config = Config::new(ecu.request(), ecu.response());
        Self {
            ecu,
            channel: Channel::new(Config { profile, ..config }),
            turns: VecDeque::with_capacity(TURNS),
            number,
            waiting: None,
            dropped: None,
        }
    }

    /// A question has a reply of this ECU, the first or a further one: `rest` are the numbers from this reply on.
    pub(super) fn push(
        &mut self,
        question: u64,
        asked: BusInstant,
        due: BusInstant,
        (next, end): (u32, u32),
    ) -> Push {
        if self.dropped == Some(question) || self.turns.back().is_some_and(|turn| turn.question == question) {
            return Push::Taken;
        }
        if self.channel.is_in_the_middle() || self.turns.len() == TURNS {
            self.dropped = Some(question);
            return Push::Dropped;
        }
        self.turns.push_back(Turn {
            question,
            asked,
            due,
            next,
            end,
        });
        Push::Taken
    }

    /// When the next reply is due; `None` while another one leaves.
    pub(super) fn due(&self) -> Option<BusInstant> {
        if self.channel.is_transmitting() {
            return None;
        }
        self.turns.iter().map(|turn| turn.due).min()
    }

    /// Hands the reply that is due to the transport; says how many were too late for it. One that had to wait behind a long
    /// reply for longer than P2 would be taken for the answer to the next question.
    pub(super) fn send_due(&mut self, now: BusInstant, answers: &Answers) -> u32 {
        let mut late = 0;
        while let Some(due) = self.due().filter(|&due| due <= now) {
            let Some(place) = self.turns.iter().position(|turn| turn.due == due) else {
                break;
            };
            let turn = self.turns[place];
            if let Some(entry) = answers.entry(turn.next) {
                if now.saturating_since(due) > P2 {
                    late += 1;
                } else {
                    let reply = answers.message(entry);
                    // It is free (`due`), and a reply is never longer than it takes.
                    let sent = self.channel.send(now, reply);
                    debug_assert!(sent.is_ok(), "the channel refused a reply");
                    self.waiting = sent.is_ok().then_some(due);
                }
            }
            let mut rest =
                (turn.next + 1..turn.end).filter_map(|number| Some((number, answers.entry(number)?)));
            match rest.find(|(_, entry)| entry.ecu == self.number) {
                Some((next, entry)) => {
                    self.turns[place] = Turn {
                        next,
                        due: turn.asked + entry.after,
                        ..turn
                    };
                }
                None => {
                    self.turns.remove(place);
                }
            }
        }
        late
    }
}
