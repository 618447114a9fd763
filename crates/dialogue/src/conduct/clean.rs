//! Sessions of testers and ECUs that keep every rule, at random legal instants: none is accused.
//!
//! The generator knows the rules by their limits, not by the code that judges: P2 50 ms, P2* 5 s, N_Bs 75 ms (flow control
//! within 25 ms), N_Cr 150 ms, all of ISO 15765-4.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]

extern crate std;

mod on_uds;

use alloc::{format, vec, vec::Vec};

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};
use twotrip_can::{CanId, Frame, address::EcuAddress};
use twotrip_units::BusInstant;

use super::Conduct;
use crate::{Dialogue, Event};

const SESSIONS: u64 = 10_000;

/// Microseconds.
type Micros = u64;

/// PIDs and the bytes of their data (SAE J1979).
const PIDS: [(u8, usize); 14] = [
    (0x04, 1),
    (0x05, 1),
    (0x0B, 1),
    (0x0C, 2),
    (0x0D, 1),
    (0x0F, 1),
    (0x10, 2),
    (0x11, 1),
    (0x1F, 2),
    (0x21, 2),
    (0x2F, 1),
    (0x31, 2),
    (0x42, 2),
    (0x46, 1),
];

/// A long request, of a maker's own identifiers (ISO 14229-1, annex C.1).
const MAKERS: [u8; 11] = [0x22, 0xF1, 0x87, 0xF1, 0x8C, 0xF1, 0x90, 0xF1, 0x95, 0xF1, 0x97];

struct Ecu {
    address: EcuAddress,
    pids: Vec<(u8, usize)>,
    monitors: Vec<u8>,
    infos: Vec<u8>,
}

/// What an ECU says to a request.
enum Answer {
    Silence,
    Says(Vec<u8>),
}

struct Session {
    dice: ChaCha8Rng,
    ecus: Vec<Ecu>,
    pad: u8,
    now: Micros,
    frames: Vec<(Micros, Frame)>,
    /// Whether somebody has read codes: before that nobody clears.
    read: bool,
    /// Whether these ECUs speak SAE J1979-2.
    on_uds: bool,
}

/// The masks of these numbers from one base on: four bytes, D0 set where a later range has any.
fn mask(base: u8, numbers: impl Iterator<Item = u8>) -> [u8; 4] {
    let mut word = 0_u32;
    for number in numbers {
        match number.checked_sub(base) {
            Some(place @ 1..=0x1F) => word |= 0x8000_0000 >> (place - 1),
            Some(0x20..) => word |= 1,
            _ => {}
        }
    }
    word.to_be_bytes()
}

impl Session {
    fn new(seed: u64) -> Self {
        let mut session = Self {
            dice: ChaCha8Rng::seed_from_u64(seed),
            ecus: Vec::new(),
            pad: 0,
            now: 0,
            frames: Vec::new(),
            read: false,
            on_uds: false,
        };
        session.on_uds = session.chance(40);
        session.pad = [0x00, 0x55, 0xAA, 0xCC, 0xFF][session.below(5)];
        let extended = session.chance(40);
        for number in 0..=session.below(4) {
            let number = u8::try_from(number).unwrap();
            let address = if extended {
                EcuAddress::extended(0x10 + 8 * number)
            } else {
                EcuAddress::standard(number).unwrap()
            };
            let mut pids: Vec<_> = PIDS.into_iter().filter(|_| session.chance(60)).collect();
            if pids.is_empty() {
                pids.push(PIDS[0]);
            }
            let some = |session: &mut Self, all: &[u8]| -> Vec<u8> {
                all.iter().copied().filter(|_| session.chance(60)).collect()
            };
            let monitors = some(&mut session, &[0x01, 0x21, 0x39, 0x3B, 0xA2]);
            let infos = some(&mut session, &[0x02, 0x04, 0x06, 0x08, 0x0A]);
            session.ecus.push(Ecu {
                address,
                pids,
                monitors,
                infos,
            });
        }
        session
    }

    fn below(&mut self, end: u64) -> usize {
        usize::try_from(u64::from(self.dice.next_u32()) % end).unwrap()
    }

    fn chance(&mut self, percent: u64) -> bool {
        self.below(100) < usize::try_from(percent).unwrap()
    }

    /// Mostly near the beginning of what is allowed, sometimes at its very end.
    fn span(&mut self, least: Micros, most: Micros) -> Micros {
        let room = match self.below(8) {
            0 => return most,
            1 => return least,
            2 | 3 => most - least,
            _ => (most - least) / 20,
        };
        least + u64::from(self.dice.next_u32()) % (room + 1)
    }

    fn put(&mut self, at: Micros, id: CanId, bytes: &[u8]) {
        self.frames.push((at, Frame::padded(id, bytes, self.pad)));
    }

    /// A message on its way by `id`, steered by `back`, from this instant on; when its last frame passes.
    fn transfer(
        &mut self,
        begin: Micros,
        (id, back): (CanId, CanId),
        message: &[u8],
        steered_by_ecu: bool,
    ) -> Micros {
        let short = |len: usize| u8::try_from(len).unwrap();
        if message.len() < 8 {
            let frame = [&[short(message.len())], message].concat();
            self.put(begin, id, &frame);
            return begin;
        }
        let [high, low] = u16::try_from(message.len()).unwrap().to_be_bytes();
        self.put(begin, id, &[&[0x10 | high, low], &message[..6]].concat());
        let mut at = begin + self.span(100, 25_000);
        // An ECU may have wishes; a tester has none.
        let (block, st_min) = if steered_by_ecu {
            ([0, 0, 1, 3][self.below(4)], [0, 0, 1, 10][self.below(4)])
        } else {
            (0, 0)
        };
        self.put(at, back, &[0x30, block, st_min]);
        let mut left = block;
        for (turn, piece) in message[6..].chunks(7).enumerate() {
            if block > 0 && left == 0 {
                at += self.span(100, 25_000);
                self.put(at, back, &[0x30, block, st_min]);
                left = block;
            }
            at += self.span(u64::from(st_min).max(1) * 1000, 145_000);
            self.put(at, id, &[&[0x20 | short(turn + 1) & 0x0F], piece].concat());
            left = left.saturating_sub(1);
        }
        at
    }

    /// Asks, and lets the ECUs answer: each in its time, whatever the others do. The next request may follow at `now`.
    fn ask(&mut self, target: Option<usize>, request: &[u8]) {
        let pause = self.span(200, 400_000);
        self.now += pause;
        let address = self.ecus[target.unwrap_or(0)].address;
        let ids = match target {
            None => (address.functional, address.response),
            Some(_) => (address.request, address.response),
        };
        let asked = self.transfer(self.now, ids, request, true);
        let answers: Vec<Answer> = (0..self.ecus.len())
            .map(|ecu| match target {
                Some(only) if only != ecu => Answer::Silence,
                _ => self.answer(ecu, target.is_some(), request),
            })
            .collect();
        let (mut over, mut all) = (asked, true);
        let mut busy = None;
        for (ecu, answer) in answers.into_iter().enumerate() {
            let Answer::Says(bytes) = answer else {
                all &= target.is_some_and(|only| only != ecu);
                continue;
            };
            let address = self.ecus[ecu].address;
            let mut at = asked + self.span(200, 50_000);
            if self.chance(5) {
                for _ in 0..=self.below(3) {
                    self.put(at, address.response, &[3, 0x7F, request[0], 0x78]);
                    at += self.span(300, 5_000_000);
                }
            }
            if busy.is_none() && self.chance(3) {
                self.put(at, address.response, &[3, 0x7F, request[0], 0x21]);
                busy = Some((at, ecu));
            } else {
                at = self.transfer(at, (address.response, address.request), &bytes, false);
            }
            over = over.max(at);
        }
        // Who does not know that all have answered waits for P2.
        self.now = if all { over } else { over.max(asked + 50_000) };
        if let Some((said, ecu)) = busy {
            self.now = self.now.max(said + 200_000);
            // One that is busy for long is left, after six times.
            let alone = if target.is_none() && self.chance(50) {
                None
            } else {
                Some(ecu)
            };
            self.repeat(alone, ecu, request);
        }
    }

    /// Asks a busy ECU again, up to six times.
    fn repeat(&mut self, target: Option<usize>, busy: usize, request: &[u8]) {
        let times = 1 + self.below(6);
        for turn in 1..=times {
            let pause = self.span(0, 1_000_000);
            self.now += pause;
            let address = self.ecus[busy].address;
            let to = if target.is_none() {
                address.functional
            } else {
                address.request
            };
            let asked = self.transfer(self.now, (to, address.response), request, true);
            let mut over = asked + 50_000;
            let asked_are: Vec<usize> = match target {
                Some(ecu) => vec![ecu],
                None => (0..self.ecus.len()).collect(),
            };
            for ecu in asked_are {
                let address = self.ecus[ecu].address;
                let at = asked + self.span(200, 50_000);
                if ecu == busy && turn < times {
                    self.put(at, address.response, &[3, 0x7F, request[0], 0x21]);
                    over = over.max(at + 200_000);
                } else if let Answer::Says(bytes) = self.answer(ecu, target.is_some(), request) {
                    let ids = (address.response, address.request);
                    over = over.max(self.transfer(at, ids, &bytes, false));
                }
            }
            self.now = over;
        }
    }

    fn answer(&mut self, ecu: usize, is_alone: bool, request: &[u8]) -> Answer {
        let any = |session: &mut Self| u8::try_from(session.below(256)).unwrap();
        let refused = |code| Answer::Says(vec![0x7F, request[0], code]);
        let codes = |session: &mut Self| {
            let count = session.below(6);
            let mut bytes = vec![request[0] + 0x40, u8::try_from(count).unwrap()];
            bytes.extend((0..count).flat_map(|turn| [0x03, u8::try_from(turn).unwrap()]));
            Answer::Says(bytes)
        };
        let masks = |numbers: &[u8], bases: &[u8]| {
            let mut bytes = vec![request[0] + 0x40];
            for &base in bases {
                if base == 0 || numbers.iter().any(|number| *number > base) {
                    bytes.push(base);
                    bytes.extend(mask(base, numbers.iter().copied()));
                }
            }
            if bytes.len() == 1 {
                Answer::Silence
            } else {
                Answer::Says(bytes)
            }
        };
        if self.on_uds {
            return self.answer_on_uds(ecu, is_alone, request);
        }
        match *request {
            [0x01, ref pids @ ..] => {
                let known = self.ecus[ecu].pids.clone();
                if pids[0] % 0x20 == 0 {
                    let numbers: Vec<u8> = known.iter().map(|(pid, _)| *pid).collect();
                    return masks(&numbers, pids);
                }
                let mut bytes = vec![0x41];
                for (pid, len) in known.into_iter().filter(|(pid, _)| pids.contains(pid)) {
                    bytes.push(pid);
                    bytes.extend((0..len).map(|_| any(self)));
                }
                if bytes.len() == 1 {
                    Answer::Silence
                } else {
                    Answer::Says(bytes)
                }
            }
            [0x02, 0x02, 0x00] => Answer::Says(vec![0x42, 0x02, 0x00, 0x03, 0x01]),
            [0x03 | 0x07, ..] => codes(self),
            [0x0A] if self.chance(70) => codes(self),
            [0x0A] if is_alone => refused(0x11),
            [0x04] if self.chance(30) => refused(0x22),
            [0x04] => Answer::Says(vec![0x44]),
            [0x06, ref asked @ ..] if asked[0] % 0x20 == 0 => masks(&self.ecus[ecu].monitors.clone(), asked),
            [0x06, monitor] if self.ecus[ecu].monitors.contains(&monitor) => {
                let row = |test| [monitor, test, 0x0B, 0x0B, 0xB0, 0, 0, 0xFF, 0xFF];
                Answer::Says([&[0x46][..], &row(1), &row(2), &row(3)].concat())
            }
            [0x09, ref asked @ ..] if asked[0] % 0x20 == 0 => masks(&self.ecus[ecu].infos.clone(), asked),
            [0x09, info] if self.ecus[ecu].infos.contains(&info) => {
                let text = match info {
                    0x06 => 4,
                    0x08 => 32,
                    0x04 => 16,
                    0x0A => 20,
                    _ => 17,
                };
                let count = if info == 0x08 { 16 } else { 1 };
                Answer::Says([&[0x49, info, count][..], &vec![0x41; text]].concat())
            }
            [0x22, ..] if is_alone => refused(0x11),
            _ => Answer::Silence,
        }
    }

    /// A number that one of those asked supports.
    fn supported(&mut self, target: Option<usize>, list: impl Fn(&Ecu) -> Vec<u8>) -> Option<u8> {
        let ecu = target.unwrap_or_else(|| {
            let count = u64::try_from(self.ecus.len()).unwrap();
            self.below(count)
        });
        let numbers = list(&self.ecus[ecu]);
        let count = u64::try_from(numbers.len()).unwrap();
        (count > 0).then(|| numbers[self.below(count)])
    }

    fn live(mut self) -> Vec<(Micros, Frame)> {
        self.ask(None, &[0x01, 0x00]);
        if self.on_uds {
            self.live_on_uds();
        } else {
            self.live_classic();
        }
        self.frames.sort_by_key(|(at, _)| *at);
        self.frames
    }

    fn live_classic(&mut self) {
        for _ in 0..4 + self.below(12) {
            let count = u64::try_from(self.ecus.len()).unwrap();
            let target = self.chance(40).then(|| self.below(count));
            match self.below(14) {
                0 => self.ask(target, &[0x01, 0x00, 0x20, 0x40]),
                1..=4 => {
                    let mut request = vec![0x01];
                    for _ in 0..=self.below(6) {
                        request.extend(
                            self.supported(target, |ecu| ecu.pids.iter().map(|(pid, _)| *pid).collect()),
                        );
                    }
                    request.truncate(7);
                    self.ask(target, &request);
                }
                5 => self.ask(target, &[0x02, 0x02, 0x00]),
                6 | 7 => {
                    self.ask(target, &[0x03]);
                    self.read = true;
                }
                8 if self.read => self.ask(target, &[0x04]),
                9 => self.ask(target, &[0x06, 0x00, 0x20, 0x40, 0x60, 0x80, 0xA0]),
                10 => {
                    if let Some(monitor) = self.supported(target, |ecu| ecu.monitors.clone()) {
                        self.ask(target, &[0x06, monitor]);
                    }
                }
                11 => {
                    if let Some(info) = self.supported(target, |ecu| ecu.infos.clone()) {
                        self.ask(target, &[0x09, info]);
                    }
                }
                12 => {
                    let list = [0x07, 0x0A][self.below(2)];
                    self.ask(target, &[list]);
                }
                13 if target.is_some() => self.ask(target, &MAKERS),
                _ => self.ask(target, &[0x09, 0x00]),
            }
        }
    }
}

#[test]
fn ten_thousand_clean_sessions_are_accused_of_nothing() {
    let (mut frames, mut requests, mut long) = (0, 0, 0);
    for seed in 0..SESSIONS {
        let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
        let lived = Session::new(seed).live();
        let mut tell = |dialogue: &mut Dialogue| {
            while let Some(event) = dialogue.poll_event() {
                conduct.on_event(&event);
                if let Event::Message(message) = event {
                    long += usize::from(message.pieces > 1);
                    dialogue.recycle(message);
                }
            }
        };
        for (number, (at, frame)) in (1..).zip(&lived) {
            dialogue.on_frame(number, BusInstant::from_nanos(at * 1000), frame);
            tell(&mut dialogue);
        }
        dialogue.on_end(BusInstant::from_nanos(
            lived.last().map_or(0, |(at, _)| at * 1000),
        ));
        tell(&mut dialogue);
        for tester in conduct.testers() {
            requests += tester.requests();
            let told = |tally: &super::Tally| {
                let first = tally.examples[0];
                let place = usize::try_from(first.frame).unwrap();
                let around = &lived[place.saturating_sub(14)..place.min(lived.len())];
                let around: Vec<_> = around.iter().map(|(at, frame)| format!("{at} {frame}")).collect();
                format!(
                    "seed {seed}: {:?} {}\n{}",
                    tally.rule,
                    first.breach,
                    around.join("\n")
                )
            };
            assert!(tester.tallies.is_empty(), "{}", told(&tester.tallies[0]));
        }
        frames += lived.len();
    }
    assert!(
        frames > 500_000 && requests > 80_000 && long > 50_000,
        "{frames} {requests} {long}"
    );
}
