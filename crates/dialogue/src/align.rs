//! Two sequences side by side, though something was inserted or left out: the nearest place from which on both go on
//! alike. Streams; memory is bounded by [`WINDOW`].

use alloc::{
    collections::{BTreeMap, VecDeque},
    vec::Vec,
};

/// So many entries of each sequence are looked at for where they go on alike.
pub const WINDOW: usize = 512;
/// So many in a row have to be alike, where there are so many.
const ALIKE: usize = 4;

/// One of the two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The first.
    Left,
    /// The second.
    Right,
}

/// What comes next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step<T> {
    /// Another entry of this side is needed, or that there is none.
    Needs(Side),
    /// In both.
    Both(T, T),
    /// In one only.
    Only(Side, T),
    /// Both are at their end.
    End,
}

/// Brings two sequences together by their keys.
///
/// ```
/// use twotrip_dialogue::align::{Align, Side, Step};
///
/// let (mut left, mut right) = ("abcde".chars(), "abxcde".chars());
/// let mut align = Align::default();
/// let mut only = Vec::new();
/// loop {
///     match align.step() {
///         Step::Needs(Side::Left) => align.push(Side::Left, left.next().map(|c| (c, ()))),
///         Step::Needs(Side::Right) => align.push(Side::Right, right.next().map(|c| (c, ()))),
///         Step::Both((), ()) => {}
///         Step::Only(side, ()) => only.push(side),
///         Step::End => break,
///     }
/// }
/// assert_eq!(only, [Side::Right]);
/// ```
#[derive(Clone, Debug)]
pub struct Align<K, T> {
    left: Queue<K, T>,
    right: Queue<K, T>,
    /// What was decided to be in one only, still to be told: first of the left, then of the right.
    only: (usize, usize),
}

#[derive(Clone, Debug)]
struct Queue<K, T> {
    entries: VecDeque<(K, T)>,
    over: bool,
}

impl<K, T> Default for Align<K, T> {
    fn default() -> Self {
        let queue = || Queue {
            entries: VecDeque::new(),
            over: false,
        };
        Self {
            left: queue(),
            right: queue(),
            only: (0, 0),
        }
    }
}

impl<K: Ord, T> Align<K, T> {
    /// Hands in the next entry of a side, or that there is none.
    pub fn push(&mut self, side: Side, entry: Option<(K, T)>) {
        let queue = match side {
            Side::Left => &mut self.left,
            Side::Right => &mut self.right,
        };
        match entry {
            Some(entry) => queue.entries.push_back(entry),
            None => queue.over = true,
        }
    }

    /// What comes next.
    pub fn step(&mut self) -> Step<T> {
        if let Some(step) = self.decided() {
            return step;
        }
        let (left, right) = (&mut self.left, &mut self.right);
        for (side, queue) in [(Side::Left, &*left), (Side::Right, &*right)] {
            if queue.entries.is_empty() && !queue.over {
                return Step::Needs(side);
            }
        }
        match (left.entries.front(), right.entries.front()) {
            (None, None) => return Step::End,
            (Some((one, _)), Some((other, _))) if one == other => {
                if let (Some((_, one)), Some((_, other))) =
                    (left.entries.pop_front(), right.entries.pop_front())
                {
                    return Step::Both(one, other);
                }
            }
            (Some(_), Some(_)) => {
                for (side, queue) in [(Side::Left, &*left), (Side::Right, &*right)] {
                    if queue.entries.len() < WINDOW && !queue.over {
                        return Step::Needs(side);
                    }
                }
            }
            _ => {}
        }
        self.only = self.meeting();
        self.decided().unwrap_or(Step::End)
    }

    fn decided(&mut self) -> Option<Step<T>> {
        let (side, count, queue) = match self.only {
            (0, 0) => return None,
            (0, _) => (Side::Right, &mut self.only.1, &mut self.right),
            _ => (Side::Left, &mut self.only.0, &mut self.left),
        };
        *count -= 1;
        queue
            .entries
            .pop_front()
            .map(|(_, entry)| Step::Only(side, entry))
    }

    /// How many entries of each side come before they go on alike; all of them if they do not.
    fn meeting(&self) -> (usize, usize) {
        let (left, right) = (&self.left.entries, &self.right.entries);
        let mut places: BTreeMap<&K, Vec<usize>> = BTreeMap::new();
        for (place, (key, _)) in right.iter().enumerate() {
            places.entry(key).or_default().push(place);
        }
        let alike = |(one, other): (usize, usize)| {
            let pairs = left.range(one..).zip(right.range(other..)).take(ALIKE);
            pairs.take_while(|(one, other)| one.0 == other.0).count()
        };
        // Near the ends fewer are enough.
        let enough = |(one, other): (usize, usize)| ALIKE.min(left.len() - one).min(right.len() - other);
        let (mut best, mut second) = (None, None);
        let nearer = |than: Option<(usize, usize)>, sum| than.is_none_or(|(one, other)| sum < one + other);
        for (one, (key, _)) in left.iter().enumerate() {
            if !nearer(best, one) {
                break;
            }
            for &other in places.get(key).into_iter().flatten() {
                let meeting = (one, other);
                if !nearer(best, one + other) {
                    break;
                }
                if alike(meeting) >= enough(meeting) {
                    best = Some(meeting);
                } else if nearer(second, one + other) {
                    second = Some(meeting);
                }
            }
        }
        best.or(second).unwrap_or((left.len(), right.len()))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]

    extern crate std;

    use std::{string::String, vec::Vec};

    use proptest::prelude::*;

    use super::*;

    /// Both as they are, `-` before what is left only, `+` before what is right only.
    fn aligned(left: &[u32], right: &[u32]) -> Vec<(char, u32)> {
        let (mut one, mut other) = (left.iter().copied(), right.iter().copied());
        let mut align = Align::default();
        let mut told = Vec::new();
        loop {
            let held = align.left.entries.len().max(align.right.entries.len());
            assert!(held <= WINDOW, "{held}");
            match align.step() {
                Step::Needs(side) => {
                    let next = match side {
                        Side::Left => one.next(),
                        Side::Right => other.next(),
                    };
                    align.push(side, next.map(|key| (key, key)));
                }
                Step::Both(one, other) => {
                    assert_eq!(one, other);
                    told.push(('=', one));
                }
                Step::Only(Side::Left, one) => told.push(('-', one)),
                Step::Only(Side::Right, other) => told.push(('+', other)),
                Step::End => return told,
            }
        }
    }

    fn letters(text: &str) -> Vec<u32> {
        text.chars().map(u32::from).collect()
    }

    #[test]
    fn what_was_inserted_or_left_out_is_told() {
        for (left, right, wanted) in [
            ("abc", "abc", "=a=b=c"),
            ("abcabcabc", "abcacabc", "=a=b=c=a-b=c=a=b=c"),
            ("abcabc", "abxcabc", "=a=b+x=c=a=b=c"),
            ("abcdef", "abxdef", "=a=b-c+x=d=e=f"),
            ("abc", "", "-a-b-c"),
            ("", "abc", "+a+b+c"),
            ("abc", "bc", "-a=b=c"),
            ("abc", "ab", "=a=b-c"),
            ("abc", "xyz", "-a-b-c+x+y+z"),
        ] {
            let told: String = aligned(&letters(left), &letters(right))
                .into_iter()
                .flat_map(|(sign, key)| [sign, char::from_u32(key).unwrap()])
                .collect();
            assert_eq!(told, wanted, "{left} {right}");
        }
    }

    /// Polls of a live panel, and a whole survey in between: longer than a period, shorter than the window.
    #[test]
    fn a_survey_in_between_is_found() {
        let polls: Vec<u32> = (0..3000).map(|turn| turn % 7).collect();
        let survey: Vec<u32> = (100..400).collect();
        let with = [&polls[..1000], &survey, &polls[1000..]].concat();
        let told = aligned(&polls, &with);
        assert_eq!(told.iter().filter(|(sign, _)| *sign == '=').count(), polls.len());
        assert_eq!(told.iter().filter(|(sign, _)| *sign == '+').count(), survey.len());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Nothing is lost, nothing told twice, whatever the two are; and nothing differs from itself.
        #[test]
        fn both_come_out_whole(
            left in prop::collection::vec(0_u32..6, 0..1500),
            right in prop::collection::vec(0_u32..6, 0..1500),
        ) {
            let told = aligned(&left, &right);
            let side = |skip: char| told.iter().filter(|(sign, _)| *sign != skip).map(|(_, key)| *key).collect::<Vec<_>>();
            prop_assert_eq!(&side('+'), &left);
            prop_assert_eq!(side('-'), right);
            prop_assert!(aligned(&left, &left).iter().all(|(sign, _)| *sign == '='));
        }
    }
}
