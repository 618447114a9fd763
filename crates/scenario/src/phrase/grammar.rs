//! The grammar of one phrase.
//!
//! The first word says which rows of the table may be meant, so a message names what is wrong with *this* phrase. Words
//! are read in either case.

use twotrip_obd::Dtc;

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
        Err(error) => Err(Fault::out_of(error)),
    }
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
