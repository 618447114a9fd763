//! The grammar of one phrase.
//!
//! The first word says which rows of the table may be meant, so a message names what is wrong with *this* phrase. Words
//! are read in either case.

use twotrip_obd::{Dtc, Group};

use super::{
    Phrase,
    fault::{Fault, Parsed},
    forms::FORMS,
    measure::word,
    rule::{end, first_of},
};
use crate::problem::{Expected, ProblemKind};

/// Reads one phrase, all of `line`, which holds no remark and no line end.
pub(super) fn phrase<'a>(line: &'a str) -> Result<Phrase, Fault<'a>> {
    match any(line.trim_end()) {
        Ok((_, phrase)) => Ok(phrase),
        Err(error) => Err(advised(Fault::out_of(error))),
    }
}

/// With the way out where what was written is a phrase in plain words, only not in this language.
fn advised(fault: Fault<'_>) -> Fault<'_> {
    let (_, found) = word(fault.found()).unwrap_or_default();
    let at = |words: &[&str]| words.iter().any(|word| word.eq_ignore_ascii_case(found));
    let hint = match fault.kind() {
        ProblemKind::UnknownWord("list of codes") if at(&["mil"]) => {
            "the opposite of `mil commanded` is `mil off`"
        }
        ProblemKind::UnknownWord("list of codes") if at(&["lamp"]) => {
            "the opposite of `lamp lit` is `lamp dark`"
        }
        ProblemKind::UnknownWord("list of codes") if Group::ALL.iter().any(|group| at(&[group.name()])) => {
            "the opposite of `complete` is `incomplete`"
        }
        ProblemKind::UnknownWord("expectation") if at(&["always", "within"]) => {
            "`always` and `within TIME` stand at the end of the phrase"
        }
        ProblemKind::Surplus if at(&["always", "within"]) => {
            "a phrase has one of `always` and `within TIME`, and only where `list phrases` shows it"
        }
        ProblemKind::Surplus if found.starts_with(|first: char| first.is_ascii_digit()) => {
            "one number with one unit: `90 min`, not `1 h 30 min`"
        }
        _ => return fault,
    };
    fault.or_hint(hint)
}

fn any(line: &str) -> Parsed<'_, Phrase> {
    let (_, found) = word(line)?;
    let mut meant = FORMS.iter().filter(|form| form.rule.begins(found)).peekable();
    if meant.peek().is_none() {
        let mut verbs: Vec<&'static str> = Vec::new();
        for form in FORMS {
            form.rule.first_words(&mut |verb| {
                if !verbs.contains(&verb) {
                    verbs.push(verb);
                }
            });
        }
        return Err(Fault::new(
            found,
            ProblemKind::UnknownWord("phrase"),
            "phrase",
            verbs.into_iter().map(Expected::Word),
        ));
    }
    first_of(meant.map(|form| {
        let (rest, phrase) = form.rule.read(line)?;
        end(rest).map(|(rest, ())| (rest, phrase)).map_err(|error| {
            let (_, more) = word(rest).unwrap_or((rest, ""));
            if more.parse::<Dtc>().is_ok() {
                Fault::with_hint(error, "one code a phrase: write a line for each")
            } else {
                error
            }
        })
    }))
}
