//! The script of `compliance.txt` against the compact car: a published compliance sequence for vehicles, step by step.

use std::collections::BTreeMap;

use twotrip_sim::Timing;

use crate::desk::Desk;

const SCRIPT: &str = include_str!("compliance.txt");

fn bytes(text: &str) -> Vec<u8> {
    text.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap_or_else(|_| panic!("`{byte}` is no byte")))
        .collect()
}

/// Whether an answer is as the script has it.
fn fits(pattern: &str, answer: Option<&[u8]>) -> bool {
    let Some(answer) = answer else {
        return pattern == "nothing";
    };
    let mut found = answer.iter();
    for token in pattern.split_whitespace() {
        match (token, found.next()) {
            ("..", _) => return true,
            ("xx", Some(_)) => {}
            (token, Some(&found)) if u8::from_str_radix(token, 16) == Ok(found) => {}
            _ => return false,
        }
    }
    found.next().is_none()
}

/// How often `twice` and its like are.
fn times(word: &str) -> Option<usize> {
    match word {
        "twice" => Some(2),
        "forty times" => Some(40),
        _ => None,
    }
}

struct Player {
    desk: Desk,
    kept: BTreeMap<&'static str, Desk>,
    remembered: BTreeMap<&'static str, Vec<u8>>,
    asked: usize,
}

impl Player {
    fn step(&mut self, line: &'static str) {
        if let Some((phrases, times)) = line
            .split_once(':')
            .and_then(|(word, phrases)| Some((phrases, times(word)?)))
        {
            for _ in 0..times {
                for phrase in phrases.split(';') {
                    self.desk.tell(&[phrase.trim()]);
                }
            }
            return;
        }
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        match word {
            "do" => self.desk.tell(&[rest]),
            "ask" => {
                let (request, expected) = rest.split_once(" = ").expect("`ask BYTES = BYTES`");
                let answer = self.desk.ask(&bytes(request));
                self.asked += 1;
                let met = match expected.strip_prefix("the ") {
                    Some(name) => answer.as_ref() == Some(&self.remembered[name]),
                    None => fits(expected, answer.as_deref()),
                };
                assert!(met, "{line}: {answer:02X?}");
            }
            "remember" => {
                let (name, request) = rest.split_once(' ').expect("`remember NAME BYTES`");
                let answer = self.desk.ask(&bytes(request)).expect("an answer");
                self.remembered.insert(name, answer);
            }
            "count" => {
                let counters = self.desk.in_use();
                assert_eq!(format!("{} {}", counters[0], counters[1]), rest, "{counters:?}");
            }
            "keep" => {
                self.kept.insert(rest, self.desk.clone());
            }
            "from" if rest == "the beginning" => self.desk = Desk::new(79, Timing::FAST),
            "from" => self.desk = self.kept[rest].clone(),
            other => panic!("`{other}` is no step"),
        }
    }
}

#[test]
fn a_published_compliance_sequence_for_vehicles() {
    let mut player = Player {
        desk: Desk::new(79, Timing::FAST),
        kept: BTreeMap::new(),
        remembered: BTreeMap::new(),
        asked: 0,
    };
    let mut section = "";
    for line in SCRIPT
        .lines()
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
    {
        if let Some(title) = line.strip_prefix("== ") {
            section = title;
            println!("{section}");
            continue;
        }
        println!("    {line}");
        player.step(line);
    }
    assert!(
        player.asked > 50 && !section.is_empty(),
        "{} requests",
        player.asked
    );
}
