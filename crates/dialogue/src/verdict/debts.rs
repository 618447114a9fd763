//! Who loses an answer asks again: the rule behind most disturbances of a wire.
//!
//! A hit leaves a debt: the tool lacks what it asked for, until an answer comes while that is still its last question to the
//! ECU, or it asks again. What comes after the next question is nobody's answer any more. In vain is good enough: nobody can
//! read what never comes.

use alloc::{format, string::String, vec::Vec};
use core::time::Duration;

use twotrip_units::BusInstant;

use super::{Answered, Asked, Observe, Verdict, talk::Talk};
use crate::{Ecu, Role};

/// `22 F8 10`: whether SAE J1979-2 is spoken, and how an answer to it begins that says so.
const ASKS_DIALECT: [u8; 3] = [0x22, 0xF8, 0x10];
const IS_NEWER: [u8; 3] = [0x62, 0xF8, 0x10];
/// `01 00`: the same of SAE J1979.
const ASKS_OLDER: [u8; 2] = [0x01, 0x00];
/// Debts kept at the most; the oldest that are settled go first.
const MOST: usize = 64;
/// A tool is given so long to ask again before it is said that it does not (our choice: five times what a tool takes that
/// waits 100 ms for an answer, repeats six times and begins anew after that).
const PATIENCE: Duration = Duration::from_secs(5);

/// What the tool lacks.
#[derive(Clone, Copy, Debug)]
struct Debt {
    asked: Asked,
    /// Whose answer; `None`: the question was lost, anybody's will do.
    ecu: Option<Ecu>,
    hit: BusInstant,
    asked_again: u32,
    is_answered: bool,
    /// The tool can know that this ECU is there: it has heard it, or nobody.
    is_known: bool,
}

/// Watches whether the tool asks again.
#[derive(Clone, Debug, Default)]
pub(super) struct Debts {
    open: Vec<Debt>,
    hits: u64,
    /// Settled and forgotten: answered without asking again, answered after it, asked again in vain.
    answered: u64,
    answered_again: u64,
    /// The ECUs have said that they speak SAE J1979-2, or have answered in SAE J1979.
    is_newer: bool,
    is_older: bool,
}

impl Debts {
    /// Whose answer it is, if one's, in the dialect of the ECUs. `is_known`: the tool can know that it is there.
    pub(super) fn owe(&mut self, at: BusInstant, asked: &Asked, ecu: Option<Ecu>, is_known: bool) {
        if self.is_of_the_other(asked) {
            return;
        }
        self.hits += 1;
        let mut same = self.open.iter_mut();
        if let Some(debt) = same.find(|debt| debt.asked.asks_again(asked) && debt.ecu == ecu) {
            debt.hit = at;
            debt.is_answered = false;
            return;
        }
        if self.open.len() == MOST {
            let settled = self.open.iter().position(|debt| debt.is_answered);
            let debt = self.open.remove(settled.unwrap_or(0));
            self.forget(&debt);
        }
        self.open.push(Debt {
            asked: *asked,
            ecu,
            hit: at,
            asked_again: 0,
            is_answered: false,
            is_known,
        });
    }

    /// Who asks for one dialect and finds the other needs no answer any more.
    fn is_of_the_other(&self, asked: &Asked) -> bool {
        self.is_newer && asked.bytes() == ASKS_OLDER || self.is_older && asked.bytes() == ASKS_DIALECT
    }

    /// Which dialect an answer is in.
    fn learn(&mut self, answered: &Answered<'_>) {
        let (was_newer, was_older) = (self.is_newer, self.is_older);
        self.is_newer |= answered.bytes.starts_with(&IS_NEWER);
        self.is_older |= matches!(answered.bytes, [0x41..=0x4A, ..]);
        if (was_newer, was_older) != (self.is_newer, self.is_older) {
            for place in 0..self.open.len() {
                self.open[place].is_answered |= self.is_of_the_other(&self.open[place].asked);
            }
        }
    }

    /// Whether the tool can know that the ECU is there whose answer it lacks.
    pub(super) fn can_know(asked: &Asked, ecu: Option<Ecu>, talk: &Talk) -> bool {
        matches!(asked.role, Role::Ask(_)) || ecu.is_none_or(|ecu| talk.has_heard(ecu))
    }

    const fn forget(&mut self, debt: &Debt) {
        if debt.asked_again > 0 {
            self.answered_again += 1;
        } else {
            self.answered += 1;
        }
    }

    /// The question that a frame in this role belongs to, and whose answer is at stake.
    pub(super) fn at_stake(role: Role, talk: &Talk) -> Option<(&Asked, Option<Ecu>)> {
        match role {
            Role::Answer(ecu) => Some((talk.last_to(ecu)?, Some(ecu))),
            Role::Ask(ecu) => Some((talk.last_to(ecu)?, Some(ecu))),
            Role::AskAll { .. } => Some((talk.last()?, None)),
        }
    }
}

impl Observe for Debts {
    fn on_hit(&mut self, at: BusInstant, role: Role, talk: &Talk) {
        if let Some((asked, ecu)) = Self::at_stake(role, talk) {
            // A frame too many after the answer is whole takes nothing away.
            if ecu.is_none_or(|ecu| !talk.is_answered(asked.number, ecu)) {
                self.owe(at, asked, ecu, Self::can_know(asked, ecu, talk));
            }
        }
    }

    fn on_question(&mut self, asked: &Asked, _: &Talk) {
        for debt in &mut self.open {
            let reaches = debt.ecu.is_none_or(|ecu| asked.role.reaches(ecu));
            if !debt.is_answered && reaches && asked.asks_again(&debt.asked) && asked.at > debt.hit {
                debt.asked_again += 1;
            }
        }
    }

    fn on_answer(&mut self, answered: &Answered<'_>, _: &Talk) {
        self.learn(answered);
        for debt in &mut self.open {
            debt.is_known |= debt.ecu == Some(answered.ecu);
        }
        let Some(question) = answered
            .question
            .filter(|_| answered.is_to_the_last && answered.is_final())
        else {
            return;
        };
        for debt in &mut self.open {
            let is_of = debt.ecu.is_none_or(|ecu| ecu == answered.ecu);
            debt.is_answered |= is_of && answered.at >= debt.hit && question.asks_again(&debt.asked);
        }
    }

    fn verdict(&self, now: BusInstant) -> (Verdict, String) {
        let left: Vec<&Debt> = self
            .open
            .iter()
            .filter(|debt| debt.is_known && !debt.is_answered && debt.asked_again == 0)
            .collect();
        let late = |debt: &&&Debt| now.saturating_since(debt.hit) > PATIENCE;
        if let Some(debt) = left.iter().find(late) {
            let more = match left.len() {
                1 => String::new(),
                several => format!(", nor {} others", several - 1),
            };
            return (
                Verdict::Failed,
                format!(
                    "never asked {} again after it was hit at {}{more}",
                    Words(&debt.asked),
                    debt.hit
                ),
            );
        }
        let count = |is_it: fn(&Debt) -> bool| self.open.iter().filter(|debt| is_it(debt)).count() as u64;
        let at_once = self.answered + count(|debt| debt.is_answered && debt.asked_again == 0);
        let again = self.answered_again + count(|debt| debt.is_answered && debt.asked_again > 0);
        let in_vain = count(|debt| !debt.is_answered && debt.asked_again > 0);
        if at_once + again + in_vain == 0 {
            let seen = if left.is_empty() {
                "it met no question and no answer of the tool"
            } else {
                "the tool may still ask again"
            };
            return (Verdict::NotTried, seen.into());
        }
        let mut seen = format!("questions that it met: {}", at_once + again + in_vain);
        for (count, what) in [
            (at_once, "answered all the same"),
            (again, "asked again and answered"),
            (in_vain, "asked again in vain"),
        ] {
            if count > 0 {
                seen += &format!("; {what}: {count}");
            }
        }
        (Verdict::Held, seen)
    }
}

/// A question as bytes.
struct Words<'a>(&'a Asked);

impl core::fmt::Display for Words<'_> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("`")?;
        twotrip_units::decimal::write_bytes(f, self.0.bytes())?;
        f.write_str("`")
    }
}
