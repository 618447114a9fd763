//! Texts in bytes: where they stand, and texts of the same shape.

use alloc::vec::Vec;
use core::ops::Range;

use twotrip_obd::vin;

/// What fills unused bytes, of texts and of frames.
pub(super) const fn is_padding(byte: u8) -> bool {
    matches!(byte, 0x00 | 0xFF | 0xAA | 0xCC | 0x55 | b' ')
}

pub(super) fn is_text(bytes: &[u8]) -> bool {
    bytes.iter().all(|byte| matches!(byte, b' '..=b'~'))
}

/// Seventeen characters of a VIN, not all the same.
pub(super) fn is_vin(bytes: &[u8]) -> bool {
    bytes.len() == vin::LENGTH
        && bytes.iter().all(|byte| vin::is_character(*byte))
        && bytes.iter().any(|byte| *byte != bytes[0])
}

/// Letters and digits both, as nearly every VIN has them: what is found without being told.
pub(super) fn looks_like_vin(bytes: &[u8]) -> bool {
    is_vin(bytes) && bytes.iter().any(u8::is_ascii_digit) && bytes.iter().any(u8::is_ascii_uppercase)
}

/// What is left of an item without what fills it up; nothing if it is not filled in.
pub(super) fn content(item: &[u8]) -> Option<Range<usize>> {
    let fills = |byte: &u8| matches!(byte, 0x00 | 0xFF | b' ');
    let start = item.iter().position(|byte| !fills(byte))?;
    let end = item.iter().rposition(|byte| !fills(byte))? + 1;
    Some(start..end)
}

/// Letters for letters, digits for digits, other signs as they are; what is no text becomes other bytes.
pub(super) fn like(original: &[u8], seed: u64) -> Vec<u8> {
    let text = is_text(original);
    // SplitMix64: any seed will do.
    let mut state = seed;
    let mut below = |limit: u8| {
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^= mixed >> 31;
        u8::try_from(mixed % u64::from(limit)).unwrap_or_default()
    };
    let other = |byte: &u8| match byte {
        b'0'..=b'9' => b'0' + below(10),
        b'A'..=b'Z' => b'A' + below(26),
        b'a'..=b'z' => b'a' + below(26),
        _ if text => *byte,
        _ => 1 + below(254),
    };
    original.iter().map(other).collect()
}

/// Runs of a VIN's characters, so many or more, of at least two kinds (one kind alone is padding).
pub(super) fn runs(bytes: &[u8], least: usize) -> Vec<Range<usize>> {
    let mut found = Vec::new();
    let mut start = 0;
    for at in 0..=bytes.len() {
        if bytes.get(at).is_some_and(|byte| vin::is_character(*byte)) {
            continue;
        }
        let run = &bytes[start..at];
        if run.len() >= least && run.iter().any(|byte| *byte != run[0]) {
            found.push(start..at);
        }
        start = at + 1;
    }
    found
}

/// Numbers of vehicles standing in bytes: a run of the right length, or within a longer one where the check digit fits.
pub(super) fn vins(bytes: &[u8]) -> Vec<Range<usize>> {
    let mut found = Vec::new();
    for run in runs(bytes, vin::LENGTH) {
        if looks_like_vin(&bytes[run.clone()]) {
            found.push(run);
            continue;
        }
        let mut at = run.start;
        while at + vin::LENGTH <= run.end {
            let window = &bytes[at..at + vin::LENGTH];
            let fits = <[u8; vin::LENGTH]>::try_from(window)
                .is_ok_and(|window| vin::check_digit(&window) == Some(window[8]));
            if fits && looks_like_vin(window) {
                found.push(at..at + vin::LENGTH);
                at += vin::LENGTH;
            } else {
                at += 1;
            }
        }
    }
    found
}
