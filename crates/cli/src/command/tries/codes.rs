//! Whether a tool has read the codes: by what went over the bus, or by what it prints.

use std::{collections::BTreeSet, ops::ControlFlow, path::Path};

use twotrip_can::CanId;
use twotrip_capture::Item;
use twotrip_dialogue::{Dialogue, Event, Role};
use twotrip_host::recording::{ReadError, Reader};
use twotrip_obd::{Dtc, Response, Service};
use twotrip_scenario::phrase::CodeList;
use twotrip_sim::Simulator;
use twotrip_units::BusInstant;

use super::cases::{Case, Subject};

/// The codes of a car.
#[derive(Clone, Debug, Default)]
pub(super) struct Stored {
    /// Each with the identifier of the ECU that answers with it.
    confirmed: BTreeSet<(CanId, Dtc)>,
    /// In any list of any ECU.
    all: BTreeSet<Dtc>,
    /// There is more than one ECU.
    has_several: bool,
}

impl Stored {
    /// Those that a tool should find in this car.
    pub(super) fn of(simulator: &Simulator) -> Self {
        let mut stored = Self {
            confirmed: simulator.codes(CodeList::Confirmed).into_iter().collect(),
            has_several: simulator.ecus().count() > 1,
            ..Self::default()
        };
        stored.add(simulator);
        stored
    }

    /// Those that came up meanwhile, too.
    pub(super) fn add(&mut self, simulator: &Simulator) {
        for list in [CodeList::Confirmed, CodeList::Pending, CodeList::Permanent] {
            self.all
                .extend(simulator.codes(list).into_iter().map(|(_, code)| code));
        }
    }

    /// By what was answered to the tool.
    pub(super) fn on_bus(&self, answered: &Answered) -> Vec<Case> {
        let read = |(ecu, code): &(CanId, Dtc)| {
            let whole = answered.whole.contains(ecu);
            let found = if answered.codes.contains(&(*ecu, *code)) {
                "it was in an answer"
            } else if answered.asked == 0 {
                "the tool never asked for confirmed codes"
            } else if whole {
                "it was in no whole answer"
            } else {
                "no answer of this ECU came whole: was flow control sent in time, and to the ECU that answered?"
            };
            let whose = if self.has_several {
                format!(" of {ecu}")
            } else {
                String::new()
            };
            Case::new(
                Subject::Codes,
                format!("{code}{whose} is read"),
                answered.codes.contains(&(*ecu, *code)),
                found,
            )
        };
        self.confirmed.iter().map(read).collect()
    }

    /// By what the tool has printed.
    pub(super) fn in_output(&self, output: &str) -> Vec<Case> {
        let printed = printed(output);
        let confirmed: BTreeSet<Dtc> = self.confirmed.iter().map(|(_, code)| *code).collect();
        let mut cases: Vec<Case> = confirmed
            .iter()
            .map(|code| {
                let is_there = printed.contains(&code.to_string());
                let found = if is_there { "printed" } else { "not printed" };
                Case::new(Subject::Codes, format!("{code} is printed"), is_there, found)
            })
            .collect();
        let known: BTreeSet<String> = self.all.iter().map(ToString::to_string).collect();
        let strange: Vec<&str> = printed.difference(&known).map(String::as_str).collect();
        let found = if strange.is_empty() {
            "none".to_owned()
        } else {
            format!("{} printed, which the car never had", strange.join(" "))
        };
        cases.push(Case::new(
            Subject::Codes,
            "no other code is printed",
            strange.is_empty(),
            found,
        ));
        cases
    }
}

/// Words that look like a code: a letter of the four systems, then four digits as SAE J2012 has them.
fn printed(output: &str) -> BTreeSet<String> {
    let is_code = |word: &str| {
        let bytes = word.as_bytes();
        bytes.len() == 5
            && matches!(bytes[0], b'P' | b'C' | b'B' | b'U')
            && matches!(bytes[1], b'0'..=b'3')
            && bytes[2..]
                .iter()
                .all(|digit| matches!(digit, b'0'..=b'9' | b'A'..=b'F'))
    };
    output
        .split(|c: char| !c.is_ascii_alphanumeric())
        .map(str::to_ascii_uppercase)
        .filter(|word| is_code(word))
        .collect()
}

/// What was answered to a tool, by the recording of its visit.
#[derive(Debug, Default)]
pub(super) struct Answered {
    /// Questions for confirmed codes.
    asked: u32,
    /// Who answered whole.
    whole: BTreeSet<CanId>,
    codes: BTreeSet<(CanId, Dtc)>,
}

impl Answered {
    /// Reads a recording of one bus.
    ///
    /// # Errors
    /// [`ReadError`] if it cannot be read.
    pub(super) fn read(path: &Path) -> Result<Self, ReadError> {
        let mut reader = Reader::open(path)?;
        let mut found = Self::default();
        let mut dialogue = Dialogue::without_units();
        let (mut number, mut begun) = (0, None);
        reader.read(|item| {
            if let Item::Packet(packet) = item
                && let (Some(at), Ok(frame)) = (packet.at, packet.frame())
            {
                let since = at.saturating_sub(*begun.get_or_insert(at));
                dialogue.on_frame(number, BusInstant::from_nanos(since), &frame);
                number += 1;
                while let Some(event) = dialogue.poll_event() {
                    if let Event::Message(message) = event {
                        found.take(message.role, &message.bytes);
                        dialogue.recycle(message);
                    }
                }
            }
            ControlFlow::Continue(())
        })?;
        Ok(found)
    }

    fn take(&mut self, role: Role, bytes: &[u8]) {
        let ecu = match role {
            Role::AskAll { .. } | Role::Ask(_) => {
                self.asked += u32::from(matches!(bytes, [0x03] | [0x19, 0x02 | 0x42, ..]));
                return;
            }
            Role::Answer(ecu) => ecu.response(),
        };
        let codes: Vec<Dtc> = match (bytes, Response::parse(bytes)) {
            (_, Ok(Response::Codes(Service::ConfirmedCodes, codes))) => codes.iter().collect(),
            // ISO 14229-1 (from memory): mask, then three bytes of code and one of status each.
            ([0x59, 0x02, _, records @ ..], _) => codes_at(records, 4, 0),
            // SAE J1979-2, as a public client reads it: group, two masks, format, then severity, code, status each.
            ([0x59, 0x42, _, _, _, _, records @ ..], _) => codes_at(records, 5, 1),
            _ => return,
        };
        self.whole.insert(ecu);
        self.codes.extend(codes.into_iter().map(|code| (ecu, code)));
    }
}

/// The codes of records of this size, without the byte that says how the fault shows.
fn codes_at(records: &[u8], size: usize, place: usize) -> Vec<Dtc> {
    let records = records.chunks_exact(size);
    records
        .map(|record| Dtc::from_bytes([record[place], record[place + 1]]))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const ENGINE: CanId = CanId::Standard(0x7E8);

    fn stored(confirmed: &[&str], others: &[&str]) -> Stored {
        let parse = |text: &&str| text.parse::<Dtc>().expect("a code");
        let confirmed: BTreeSet<Dtc> = confirmed.iter().map(parse).collect();
        Stored {
            all: others
                .iter()
                .map(parse)
                .chain(confirmed.iter().copied())
                .collect(),
            confirmed: confirmed.into_iter().map(|code| (ENGINE, code)).collect(),
            has_several: false,
        }
    }

    fn failed(cases: &[Case]) -> Vec<&str> {
        let failed = cases.iter().filter(|case| !case.passed);
        failed.map(|case| case.name.as_str()).collect()
    }

    #[test]
    fn printed_codes_are_words_of_their_own_in_any_case() {
        let car = stored(&["P0455", "P0301"], &["P0442"]);
        for (output, missing) in [
            ("P0455, P0301 and P0442.", &[][..]),
            ("[\"p0455\",\"p0301\"]", &[]),
            ("P0455", &["P0301 is printed"]),
            ("XP0455 P04551 P0301", &["P0455 is printed"]),
            ("P0455 P0301 U0100", &["no other code is printed"]),
            ("", &["P0301 is printed", "P0455 is printed"]),
        ] {
            assert_eq!(failed(&car.in_output(output)), missing, "{output}");
        }
    }

    #[test]
    fn codes_count_as_read_when_they_were_in_a_whole_answer() {
        let car = stored(&["P0455"], &["P0442"]);
        let mut answered = Answered::default();
        let said = |answered: &Answered| car.on_bus(answered)[0].found.clone();
        assert!(said(&answered).contains("never asked"), "{}", said(&answered));
        answered.take(Role::AskAll { extended: false }, &[0x03]);
        assert!(said(&answered).contains("came whole"), "{}", said(&answered));
        let engine = Role::of(CanId::Standard(0x7E8)).expect("an ECU answers");
        answered.take(engine, &[0x47, 1, 0x04, 0x55]);
        answered.take(engine, &[0x43, 0]);
        assert!(
            said(&answered).contains("in no whole answer"),
            "{}",
            said(&answered)
        );
        answered.take(engine, &[0x43, 1, 0x04, 0x55]);
        assert_eq!(failed(&car.on_bus(&answered)), [""; 0]);
        // The same code of another ECU is another one, and so is each of a list in SAE J1979-2.
        let mut both = car.clone();
        both.has_several = true;
        both.confirmed
            .insert((CanId::Standard(0x7E9), "P0700".parse().expect("a code")));
        assert_eq!(failed(&both.on_bus(&answered)), ["P0700 of 7E9 is read"]);
        let transmission = Role::of(CanId::Standard(0x7E9)).expect("an ECU answers");
        let list = [0x59, 0x42, 0x33, 0xFF, 0xFF, 0x04, 0x20, 0x07, 0x00, 0x00, 0x2F];
        answered.take(transmission, &list);
        assert_eq!(failed(&both.on_bus(&answered)), [""; 0]);
        assert!(stored(&[], &["P0442"]).on_bus(&Answered::default()).is_empty());
    }
}
