//! Draws the problems of a text: the line, a caret, what was expected, the nearest known word, a hint.
//!
//! The library knows no colours and no lines; this file knows no grammar.

use core::{fmt::Write as _, ops::Range};

use annotate_snippets::{
    AnnotationKind, Element, Group, Level, Origin, Renderer, Snippet, normalize_untrusted_str,
};
use twotrip_scenario::{Problem, ProblemKind};

#[cfg(test)]
mod memory_tests;
#[cfg(test)]
mod tests;

/// Most expected things that are named beside the caret; more go into a note of their own.
const BESIDE_THE_CARET: usize = 4;
/// Width that long lines are cut to, columns.
const WIDTH: usize = 80;
/// Width of a note, whose lines begin behind `   = note: `.
const NOTE_WIDTH: usize = WIDTH - 12;

/// The problems of `source`, which the user knows as `name`: a block for each, an empty line between.
///
/// `source` may be a lossy copy of the bytes that were read: a place that falls between characters of it moves to
/// the nearest before.
pub(crate) fn render(name: &str, source: &str, problems: &[Problem], colour: bool) -> String {
    let renderer = if colour {
        Renderer::styled()
    } else {
        Renderer::plain()
    }
    .term_width(WIDTH);
    let name = normalize_untrusted_str(name);
    let blocks: Vec<String> = problems
        .iter()
        .map(|problem| renderer.render(&[block(&name, source, problem)]))
        .collect();
    blocks.join("\n\n")
}

fn block<'a>(name: &'a str, source: &'a str, problem: &Problem) -> Group<'a> {
    let mut elements: Vec<Element<'a>> = Vec::new();
    let mut advice = problem.advice();
    if problem.kind() == ProblemKind::TooLong("file") {
        // No line of it is to blame, and nobody has read them all.
        elements.push(Origin::path(name).into());
        elements.extend(expectation(problem).map(|text| Level::NOTE.message(text).into()));
    } else {
        let beside = match problem.kind() {
            ProblemKind::NotToml => advice.take().map(str::to_owned),
            _ if problem.expected().len() <= BESIDE_THE_CARET => expectation(problem),
            _ => None,
        };
        let mark = AnnotationKind::Primary
            .span(on_characters(source, problem.span()))
            .label(beside);
        elements.push(Snippet::source(source).path(name).annotation(mark).into());
        if problem.expected().len() > BESIDE_THE_CARET {
            elements.extend(expectation(problem).map(|text| Level::NOTE.message(wrap(&text)).into()));
        }
    }
    // Of one known word, the caret says the same.
    if let Some(nearest) = problem.nearest()
        && problem.expected().len() > 1
    {
        elements.push(
            Level::HELP
                .message(format!("the nearest known word is `{nearest}`"))
                .into(),
        );
    }
    if let Some(advice) = advice {
        elements.push(Level::HELP.message(wrap(advice)).into());
    }
    Level::ERROR.primary_title(problem.to_string()).elements(elements)
}

/// `expected A, B or C`.
fn expectation(problem: &Problem) -> Option<String> {
    let (last, others) = problem.expected().split_last()?;
    let mut text = String::from("expected ");
    let mut separator = "";
    for other in others {
        let _ = write!(text, "{separator}{other}");
        separator = ", ";
    }
    let _ = match others {
        [] => write!(text, "{last}"),
        _ => write!(text, " or {last}"),
    };
    Some(text)
}

/// The range, held inside the text and widened to whole characters.
fn on_characters(source: &str, span: Range<usize>) -> Range<usize> {
    let start = source.floor_char_boundary(span.start);
    start..source.ceil_char_boundary(span.end.max(start))
}

/// Breaks a note at spaces.
fn wrap(text: &str) -> String {
    let mut wrapped = String::new();
    let mut column = 0;
    for word in text.split(' ') {
        let length = word.chars().count();
        if column > 0 && column + 1 + length > NOTE_WIDTH {
            wrapped.push('\n');
            column = 0;
        } else if column > 0 {
            wrapped.push(' ');
            column += 1;
        }
        wrapped.push_str(word);
        column += length;
    }
    wrapped
}
