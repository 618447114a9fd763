//! What belongs together in two lists.

use alloc::vec::Vec;

/// Brings two lists together by their keys, rising; of equal keys the first of one belongs to the first of the other. What has
/// no partner is given alone.
pub(super) fn in_pairs<K: Ord, T>(
    mut one: Vec<(K, T)>,
    mut other: Vec<(K, T)>,
    mut give: impl FnMut(K, Option<T>, Option<T>),
) {
    // Stable, so that equal keys keep their order.
    one.sort_by(|a, b| a.0.cmp(&b.0));
    other.sort_by(|a, b| a.0.cmp(&b.0));
    let (mut one, mut other) = (one.into_iter().peekable(), other.into_iter().peekable());
    loop {
        let order = match (one.peek(), other.peek()) {
            (None, None) => return,
            (Some(_), None) => core::cmp::Ordering::Less,
            (None, Some(_)) => core::cmp::Ordering::Greater,
            (Some((a, _)), Some((b, _))) => a.cmp(b),
        };
        let first = if order.is_le() { one.next() } else { None };
        let second = if order.is_ge() { other.next() } else { None };
        match (first, second) {
            (Some((key, first)), second) => give(key, Some(first), second.map(|(_, second)| second)),
            (None, Some((key, second))) => give(key, None, Some(second)),
            (None, None) => return,
        }
    }
}
