//! Texts beside the frames. Kept is only what is known to hold nothing personal: what this program itself writes, word
//! by word, and the kernel's names of interfaces.

use std::{borrow::Cow, collections::HashMap};

use twotrip_capture::edit::Meaning;
use twotrip_scenario::{shipped, vehicle};

use crate::{
    journal,
    recording::{RUN_PREFIX, comment},
};

/// Begins the name of an embedded bus.
const LOCAL: &[u8] = b"local:";

#[derive(Debug, Default)]
pub(super) struct Texts {
    pub(super) replaced: u64,
    pub(super) left_out: u64,
    /// Names of interfaces and their stand-ins: different ones stay different.
    names: HashMap<Vec<u8>, Vec<u8>>,
}

impl Texts {
    /// What stands in an option's place; nothing leaves it out.
    pub(super) fn change<'a>(&mut self, meaning: Meaning, value: &'a [u8]) -> Option<Cow<'a, [u8]>> {
        let changed = match meaning {
            Meaning::Number => return Some(Cow::Borrowed(value)),
            Meaning::Other => {
                self.left_out += 1;
                return None;
            }
            Meaning::InterfaceName => self.name(value),
            meaning => changed(meaning, value),
        };
        self.replaced += u64::from(changed != value);
        Some(changed)
    }

    fn name<'a>(&mut self, value: &'a [u8]) -> Cow<'a, [u8]> {
        if is_kernels_name(value) {
            return Cow::Borrowed(value);
        }
        if let Some(known) = self.names.get(value) {
            return Cow::Owned(known.clone());
        }
        let head = if value.starts_with(LOCAL) { LOCAL.len() } else { 0 };
        let mut number = self.names.len();
        let stand_in = loop {
            let mut stand_in = value.to_vec();
            let mut rest = number;
            // Letters, counted from the back.
            for byte in stand_in[head..]
                .iter_mut()
                .rev()
                .filter(|byte| !byte.is_ascii_punctuation())
            {
                *byte = b'a' + u8::try_from(rest % 26).unwrap_or_default();
                rest /= 26;
            }
            if stand_in != value || number > self.names.len() {
                break stand_in;
            }
            number += 1;
        };
        self.names.insert(value.to_vec(), stand_in.clone());
        Cow::Owned(stand_in)
    }
}

/// What becomes of a text.
pub(super) fn changed(meaning: Meaning, value: &[u8]) -> Cow<'_, [u8]> {
    let text = std::str::from_utf8(value).unwrap_or_default();
    let keep = match meaning {
        Meaning::Comment if text.starts_with(RUN_PREFIX) => return run(text),
        // Frames and phrases. A copy cannot be lived through again in any case: the car's VIN is another in it.
        Meaning::Comment if text.starts_with(journal::PREFIX) => {
            let (front, rest) = value.split_at(journal::PREFIX.len());
            return Cow::Owned([front, &masked(rest)].concat());
        }
        Meaning::Comment => comment::is_ours(text),
        Meaning::Application => text
            .strip_prefix("twotrip ")
            .is_some_and(|version| version.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')),
        Meaning::System => matches!(text, "linux" | "android" | "macos" | "freebsd"),
        Meaning::InterfaceName | Meaning::Text | Meaning::Number | Meaning::Other => false,
    };
    if keep {
        Cow::Borrowed(value)
    } else {
        Cow::Owned(masked(value))
    }
}

/// Which run it is: only names that are built in are kept.
fn run(text: &str) -> Cow<'_, [u8]> {
    let parsed: Option<serde_json::Map<String, serde_json::Value>> = text
        .strip_prefix(RUN_PREFIX)
        .and_then(|json| serde_json::from_str(json).ok());
    let Some(fields) = parsed else {
        return Cow::Owned(masked(text.as_bytes()));
    };
    let mut out = text.to_owned();
    for (key, value) in &fields {
        let keep = match (key.as_str(), value) {
            (_, serde_json::Value::Bool(_) | serde_json::Value::Number(_) | serde_json::Value::Null) => true,
            ("scenario", serde_json::Value::String(name)) => shipped::find(name).is_some(),
            ("vehicle", serde_json::Value::String(name)) => {
                vehicle::SHIPPED.iter().any(|shipped| shipped.name == *name)
            }
            ("crc32" | "vehicle_crc32" | "padding", serde_json::Value::String(sum)) => {
                sum.bytes().all(|byte| byte.is_ascii_hexdigit())
            }
            ("pace" | "timing", serde_json::Value::String(word)) => {
                is_pace(word) || word == "real" || word == "fast"
            }
            _ => false,
        };
        if keep {
            continue;
        }
        let Ok(written) = serde_json::to_string(value) else {
            return Cow::Owned(masked(text.as_bytes()));
        };
        // Written as we write it, or else nothing of it is kept.
        if !key.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_') || !out.contains(&written) {
            return Cow::Owned(masked(text.as_bytes()));
        }
        let stand_in = String::from_utf8(masked(written.as_bytes())).unwrap_or_default();
        out = out.replace(&format!("\"{key}\":{written}"), &format!("\"{key}\":{stand_in}"));
    }
    Cow::Owned(out.into_bytes())
}

fn is_pace(word: &str) -> bool {
    matches!(word, "live" | "max") || word.parse::<f64>().is_ok()
}

/// `can0`, `vcan12`, `slcan1`, `vxcan3`.
fn is_kernels_name(value: &[u8]) -> bool {
    [&b"can"[..], b"vcan", b"slcan", b"vxcan"].iter().any(|front| {
        value
            .strip_prefix(*front)
            .is_some_and(|rest| rest.len() <= 4 && rest.iter().all(u8::is_ascii_digit))
    })
}

/// The shape of a text: x for letters, 0 for digits, signs and spaces as they are.
fn masked(value: &[u8]) -> Vec<u8> {
    let mask = |byte: &u8| match byte {
        b'A'..=b'Z' => b'X',
        b'a'..=b'z' | 0x80.. => b'x',
        b'0'..=b'9' => b'0',
        other => *other,
    };
    value.iter().map(mask).collect()
}
