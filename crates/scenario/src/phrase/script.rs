//! From a text of several lines to phrases: one a line, `#` begins a remark.

use nom::Offset as _;

use super::{Phrase, Spanned, grammar};
use crate::{
    limits,
    problem::{Expected, Problem, ProblemKind},
};

/// Reads one phrase, as `twotrip tell` takes it; a remark may follow it.
///
/// # Errors
/// The first problem: with the phrase, that there is none, or that there are two.
pub fn parse_phrase(text: &str) -> Result<Phrase, Problem> {
    let mut lines = phrase_lines(text);
    let Some(line) = lines.next() else {
        let end = text.trim_end().len();
        return Err(Problem::new(ProblemKind::Missing("phrase"), end..end, ""));
    };
    let phrase = parse_line(text, line)?;
    match lines.next() {
        None => Ok(phrase),
        Some(more) => {
            let start = text.offset(more);
            Err(
                Problem::new(ProblemKind::Surplus, start..start + more.len(), more)
                    .hint("say one phrase at a time"),
            )
        }
    }
}

/// Reads phrases, one a line; empty lines and remarks are passed over.
///
/// # Errors
/// Everything that is wrong, in the order of the text; after [`limits::PROBLEMS`] of them one last
/// [`ProblemKind::More`].
pub fn parse_script(text: &str) -> Result<Vec<Spanned<Phrase>>, Vec<Problem>> {
    let mut phrases = Vec::new();
    let mut problems = Vec::new();
    for (count, line) in phrase_lines(text).enumerate() {
        let start = text.offset(line);
        let span = start..start + line.len();
        if count == limits::PHRASES {
            let most = Expected::text(format!("at most {} phrases", limits::PHRASES));
            problems.push(Problem::new(ProblemKind::TooMany("phrases"), span, line).expecting([most]));
            break;
        }
        if problems.len() == limits::PROBLEMS {
            problems.push(Problem::new(ProblemKind::More, span, line));
            break;
        }
        match parse_line(text, line) {
            Ok(value) => phrases.push(Spanned { value, span }),
            Err(problem) => problems.push(problem),
        }
    }
    if problems.is_empty() {
        Ok(phrases)
    } else {
        Err(problems)
    }
}

/// The lines with something to read on them, without remarks and outer white space.
fn phrase_lines(text: &str) -> impl Iterator<Item = &str> {
    text.lines()
        .map(|line| line.split('#').next().unwrap_or("").trim())
        .filter(|line| !line.is_empty())
}

fn parse_line(text: &str, line: &str) -> Result<Phrase, Problem> {
    if line.len() > limits::LINE_BYTES {
        let start = text.offset(line);
        let most = Expected::text(format!("at most {} bytes a line", limits::LINE_BYTES));
        return Err(
            Problem::new(ProblemKind::TooLong("line"), start..start + line.len(), line).expecting([most]),
        );
    }
    grammar::phrase(line).map_err(|fault| fault.into_problem(text))
}
