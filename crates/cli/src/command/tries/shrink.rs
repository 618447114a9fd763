//! A shorter story of a car in which its tool still fails in the same way: phrases are left out, all at first, then halves,
//! quarters and so on to single ones, as long as the failure stays.
//!
//! The way of "minimizing delta debugging" (Zeller and Hildebrandt, IEEE TSE 28(2), 2002), without its complements of
//! more than one piece: a story is short.

use std::{fs, path::PathBuf, sync::atomic::AtomicBool, time::Duration};

use twotrip_host::bus::Name;
use twotrip_scenario::{Phrase, Scenario, Spanned};

use super::{
    cases::{Case, Subject},
    plan::Trial,
    trial::{self, Found},
};
use crate::{args, exit::Failure, sources};

/// The file of the shorter scenario, in the car's folder.
const FILE: &str = "shorter.toml";

/// How much longer than ten times its first run a tool may take with a shorter story.
const PATIENCE: Duration = Duration::from_secs(2);

/// What came of the search.
#[derive(Clone, Debug)]
pub(super) struct Shorter {
    /// The shorter scenario; none where every phrase is needed.
    pub(super) path: Option<PathBuf>,
    /// Phrases of the story that are left, of so many.
    pub(super) left: usize,
    pub(super) of: usize,
    pub(super) runs: u32,
    /// There was more to try.
    pub(super) gave_up: bool,
}

/// Looks for one. `None` where there is nothing to leave out, or the story itself is what fails.
pub(super) fn search(
    args: &args::Try,
    failing: &Trial,
    bus: &Name,
    found: &Found,
    stop: &AtomicBool,
) -> Result<Option<Shorter>, Failure> {
    let Some(target) = found.failed().find(|case| case.subject != Subject::Story) else {
        return Ok(None);
    };
    let text = sources::bytes(&failing.name)?;
    let story = failing.scenario.story();
    if story.is_empty() {
        return Ok(None);
    }
    let path = found.folder.join(FILE);
    // A tool that ended soon is not waited for until `--timeout` where a shorter story makes it hang: that is another failure.
    let patience = args.timeout.min(found.took * 10 + PATIENCE);
    let mut runs = 0;
    let mut attempt = |kept: &[usize]| -> Result<bool, Failure> {
        let text = without(&text, story, kept);
        // Without something before it a phrase may make no sense: then this is no story.
        let Ok(mut scenario) = Scenario::parse(&text) else {
            return Ok(false);
        };
        if args.vehicle.is_some() {
            scenario = scenario.with_vehicle(failing.scenario.vehicle().clone());
        }
        fs::write(&path, &text)?;
        runs += 1;
        let shorter = Trial {
            name: path.to_string_lossy().into_owned(),
            scenario,
            patience,
            ..failing.clone()
        };
        let folder = found.folder.join("shorter");
        let again = trial::run(args, &shorter, bus, &folder, stop)?;
        Ok(again.is_some_and(|again| is_the_same(target, &again, found)))
    };
    let (kept, gave_up) = reduce(story.len(), args.shrink_runs, &mut attempt)?;
    let is_shorter = kept.len() < story.len();
    if is_shorter {
        fs::write(&path, without(&text, story, &kept))?;
    } else {
        // The last attempt may have left one.
        let _ = fs::remove_file(&path);
    }
    Ok(Some(Shorter {
        path: is_shorter.then_some(path),
        left: kept.len(),
        of: story.len(),
        runs,
        gave_up,
    }))
}

/// Whether a run failed as that one did, and the car still lives through its story as the other did.
fn is_the_same(target: &Case, again: &Found, first: &Found) -> bool {
    let new_trouble = again
        .failed()
        .filter(|case| case.subject == Subject::Story)
        .any(|case| !first.cases.iter().any(|known| known.is_like(case)));
    !new_trouble && again.failed().any(|case| case.is_like(target))
}

/// Leaves out pieces as long as `attempt` says that what is left still fails; what is left then, and whether the attempts
/// were used up before everything was tried.
fn reduce<E>(
    count: usize,
    most: u32,
    attempt: &mut impl FnMut(&[usize]) -> Result<bool, E>,
) -> Result<(Vec<usize>, bool), E> {
    let mut kept: Vec<usize> = (0..count).collect();
    let mut piece = count;
    let mut attempts = 0;
    while piece > 0 {
        let mut place = 0;
        let mut has_shrunk = false;
        while place < kept.len() {
            if attempts == most {
                return Ok((kept, true));
            }
            attempts += 1;
            let end = (place + piece).min(kept.len());
            let fewer: Vec<usize> = kept[..place].iter().chain(&kept[end..]).copied().collect();
            if attempt(&fewer)? {
                kept = fewer;
                has_shrunk = true;
            } else {
                place = end;
            }
        }
        // What could not be left out before may be superfluous now.
        if !has_shrunk || piece > 1 {
            piece = (piece / 2).min(kept.len());
        }
    }
    Ok((kept, false))
}

/// The text of a scenario whose story has only these phrases: the lines of the others are gone.
fn without(text: &[u8], story: &[Spanned<Phrase>], kept: &[usize]) -> Vec<u8> {
    let mut out = Vec::with_capacity(text.len());
    let mut from = 0;
    for (number, phrase) in story.iter().enumerate() {
        if kept.contains(&number) {
            continue;
        }
        let span = &phrase.span;
        let line = text[..span.start]
            .iter()
            .rposition(|byte| *byte == b'\n')
            .map_or(0, |end| end + 1);
        let end = text[span.end..]
            .iter()
            .position(|byte| *byte == b'\n')
            .map_or(text.len(), |end| span.end + end + 1);
        let alone = text[line..span.start].iter().all(u8::is_ascii_whitespace)
            && !text[span.end..end]
                .windows(3)
                .any(|three| three == b"\"\"\"" || three == b"'''");
        let gone = if alone { line..end } else { span.clone() };
        if gone.start >= from {
            out.extend_from_slice(&text[from..gone.start]);
            from = gone.end;
        }
    }
    out.extend_from_slice(&text[from..]);
    out
}

#[cfg(test)]
mod tests {
    use std::convert::Infallible;

    use super::*;

    fn reduced(count: usize, most: u32, needed: &[usize]) -> (Vec<usize>, bool, u32) {
        let mut attempts = 0;
        let mut attempt = |kept: &[usize]| {
            attempts += 1;
            Ok::<_, Infallible>(needed.iter().all(|one| kept.contains(one)))
        };
        let Ok((kept, gave_up)) = reduce(count, most, &mut attempt);
        (kept, gave_up, attempts)
    }

    #[test]
    fn what_is_not_needed_is_left_out_and_the_attempts_are_bounded() {
        for needed in [&[][..], &[0], &[7], &[2, 5], &[0, 1, 2, 3, 4, 5, 6, 7]] {
            let (kept, gave_up, attempts) = reduced(8, 100, needed);
            assert_eq!((kept.as_slice(), gave_up), (needed, false));
            assert!(attempts <= 30, "{attempts} attempts for {needed:?}");
        }
        assert_eq!(reduced(8, 100, &[]).2, 1, "the empty story comes first");
        let (kept, gave_up, attempts) = reduced(8, 3, &[7]);
        assert!(gave_up && attempts == 3 && kept.contains(&7));
        assert_eq!(reduced(0, 10, &[]), (vec![], false, 0));
    }

    #[test]
    fn the_lines_of_phrases_go_and_everything_else_stays() {
        let text = "version = 1\ntitle = \"x\"\nvehicle = \"compact-2.0\"\n[story]\nbefore = \"\"\"\n\
                    ambient 18 C # mild\n  soak 9 h\nkey on\"\"\"\n[verdict]\nexpect = \"expect no pending\"\n";
        let scenario = Scenario::parse(text.as_bytes()).expect("good");
        let story = scenario.story();
        assert_eq!(story.len(), 3);
        let left = |kept: &[usize]| {
            let text = without(text.as_bytes(), story, kept);
            let phrases: Vec<String> = Scenario::parse(&text)
                .expect("still good")
                .story()
                .iter()
                .map(|phrase| phrase.value.to_string())
                .collect();
            (phrases.join(", "), String::from_utf8(text).expect("text"))
        };
        assert_eq!(left(&[0, 1, 2]).1, text);
        assert_eq!(left(&[1]).0, "soak 9 h");
        assert_eq!(left(&[0, 2]).0, "ambient 18 C, key on");
        let (phrases, text) = left(&[]);
        assert_eq!(phrases, "");
        assert!(
            !text.contains("mild") && text.contains("before = \"\"\"\n\"\"\"\n[verdict]"),
            "{text}"
        );
    }
}
