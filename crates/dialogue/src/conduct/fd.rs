//! CAN FD: its frames are read as its ends send them, its lengths are judged, and who speaks the other kind is not heard.
#![allow(clippy::unwrap_used, reason = "tests")]

extern crate std;

use alloc::{vec, vec::Vec};
use core::time::Duration;

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};
use twotrip_can::{CanId, Frame, FrameKind, address::EcuAddress};
use twotrip_isotp::{Channel, Config, Frames, Profile, TxDl};
use twotrip_units::BusInstant;

use super::{Conduct, Rule};
use crate::{Dialogue, Event, Role};

const SESSIONS: u64 = 1_000;

/// What is said, and which rules are broken.
fn heard(frames: &[(BusInstant, Frame)]) -> (Vec<(Role, Vec<u8>)>, Vec<Rule>) {
    let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
    let mut said = Vec::new();
    let mut tell = |dialogue: &mut Dialogue| {
        while let Some(event) = dialogue.poll_event() {
            conduct.on_event(&event);
            if let Event::Message(message) = event {
                said.push((message.role, message.bytes));
            }
        }
    };
    for (number, (at, frame)) in (0..).zip(frames) {
        dialogue.on_frame(number, *at, frame);
        tell(&mut dialogue);
    }
    dialogue.on_end(frames.last().unwrap().0);
    tell(&mut dialogue);
    let tallies = conduct.testers().iter().flat_map(|tester| &tester.tallies);
    let rules = tallies.map(|tally| tally.rule).collect();
    (said, rules)
}

/// A tester and an ECU, each with longest frames of its own.
struct Line {
    now: BusInstant,
    dice: ChaCha8Rng,
    tester: Channel,
    ecu: Channel,
    frames: Vec<(BusInstant, Frame)>,
}

impl Line {
    fn new(seed: u64) -> Self {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let mut end = |config| {
            let lengths = [8, 12, 16, 20, 24, 32, 48, 64];
            let tx_dl = TxDl::new(lengths[dice.next_u32() as usize % lengths.len()]).unwrap();
            let frames = Frames::Fd {
                tx_dl,
                bit_rate_switch: true,
            };
            let profile = Profile {
                frames,
                ..Profile::OBD
            };
            Channel::new(Config { profile, ..config })
        };
        let address = EcuAddress::ENGINE;
        Self {
            now: BusInstant::ZERO,
            tester: end(Config::new(address.response, address.request)),
            ecu: end(Config::new(address.request, address.response)),
            dice,
            frames: Vec::new(),
        }
    }

    fn below(&mut self, end: u32) -> u32 {
        self.dice.next_u32() % end
    }

    fn message(&mut self, start: &[u8], longest: u32) -> Vec<u8> {
        let length = start.len() + self.below(longest) as usize;
        let mut message = start.to_vec();
        message.resize_with(length, || self.dice.next_u32().to_le_bytes()[0]);
        message
    }

    /// From one end to the other, at legal instants.
    fn send(&mut self, is_testers: bool, message: &[u8]) {
        let now = self.now;
        let sender = if is_testers {
            &mut self.tester
        } else {
            &mut self.ecu
        };
        sender.send(now, message).unwrap();
        loop {
            let now = self.now;
            let (tester, ecu) = (&mut self.tester, &mut self.ecu);
            if let Some(frame) = tester.poll_frame(now) {
                tester.handle_transmitted(now);
                ecu.handle_frame(now, &frame);
                self.frames.push((now, frame));
            } else if let Some(frame) = ecu.poll_frame(now) {
                ecu.handle_transmitted(now);
                tester.handle_frame(now, &frame);
                self.frames.push((now, frame));
            } else {
                return;
            }
            let pause = 100 + self.below(20_000);
            self.now += Duration::from_micros(pause.into());
        }
    }
}

/// Single frames in both forms, first frames of every length, messages up to the longest: all is read, nobody accused.
#[test]
fn a_thousand_clean_sessions_are_read_and_accused_of_nothing() {
    let (mut long, mut escaped) = (0, 0);
    for seed in 0..SESSIONS {
        let mut line = Line::new(seed);
        let mut said = Vec::new();
        for _ in 0..6 {
            let request = line.message(&[0x31, 0x01, 0xE0, 0x01], 70);
            let most = if seed % 50 == 0 { 4000 } else { 300 };
            let answer = line.message(&[0x71, 0x01, 0xE0, 0x01], most);
            for (is_testers, message) in [(true, request), (false, answer)] {
                line.send(is_testers, &message);
                long += u32::from(message.len() > 62);
                escaped += u32::from((8..=62).contains(&message.len()));
                said.push(message);
            }
            line.now += Duration::from_millis(60);
        }
        let (messages, rules) = heard(&line.frames);
        let bytes: Vec<Vec<u8>> = messages.into_iter().map(|(_, bytes)| bytes).collect();
        assert_eq!(bytes, said, "seed {seed}");
        assert_eq!(rules, [], "seed {seed}");
    }
    assert!(long > 5_000 && escaped > 3_000, "{long} {escaped}");
}

fn fd(at: u64, id: u16, bytes: &[u8], length: usize) -> (BusInstant, Frame) {
    let mut data = bytes.to_vec();
    data.resize(length, 0);
    let frame = Frame::fd(CanId::Standard(id), &data, true, false).unwrap();
    (BusInstant::from_millis(at), frame)
}

fn classic(at: u64, id: u16, bytes: &[u8]) -> (BusInstant, Frame) {
    (
        BusInstant::from_millis(at),
        Frame::padded(CanId::Standard(id), bytes, 0),
    )
}

#[test]
fn lengths_and_kinds_are_judged() {
    let answered = |at: u64| fd(at, 0x7E8, &[4, 0x41, 0x0C, 0, 0], 8);
    let asks = [2, 0x01, 0x0C];
    let long = |at: u64| fd(at, 0x7E0, &[0x10, 30, 0x31, 0x01, 0xE0, 0x01], 20);
    let go = |at: u64| fd(at, 0x7E8, &[0x30, 0, 0], 8);
    for (frames, rule) in [
        // Shorter than eight bytes; a length that there is not; a frame shorter, and longer, than the first has set.
        (vec![fd(0, 0x7E0, &asks, 3), answered(5)], Rule::FrameLength),
        (
            vec![fd(0, 0x7E0, &[0, 8, 0x31, 1, 0xE0, 1, 0, 0, 0, 0], 11)],
            Rule::FrameLength,
        ),
        (vec![long(0), go(1), fd(2, 0x7E0, &[0x21], 12)], Rule::FrameLength),
        (vec![long(0), go(1), fd(2, 0x7E0, &[0x21], 24)], Rule::FrameLength),
        // The form of eight bytes in a longer frame.
        (vec![fd(0, 0x7E0, &asks, 12)], Rule::Unit),
        // Who speaks one kind among those of the other; nobody says which it is.
        (
            vec![
                fd(0, 0x7E0, &asks, 8),
                classic(100, 0x7E0, &asks),
                classic(104, 0x7E8, &[4, 0x41, 0x0C, 0, 0]),
            ],
            Rule::FrameKind,
        ),
        (
            vec![fd(0, 0x7E0, &asks, 8), answered(5), classic(100, 0x7E0, &asks)],
            Rule::FrameKind,
        ),
        (vec![fd(0, 0x7E0, &asks, 8)], Rule::FrameKind),
    ] {
        let mut frames = frames;
        // So that nobody is in doubt but for where the table has it.
        if rule != Rule::FrameKind {
            frames.insert(0, fd(0, 0x7E8, &[0x30, 0, 0], 8));
        }
        let (_, rules) = heard(&frames);
        assert_eq!(rules, [rule], "{frames:?}");
    }
}

/// A message of more than 4095 bytes (FF_DL of 32 bits) is none of diagnostics, and read all the same.
#[test]
fn the_long_form_of_a_first_frame_is_read() {
    let message: Vec<u8> = (0..5000_u32).map(|place| place.to_le_bytes()[0]).collect();
    let mut frames = vec![fd(0, 0x7DF, &[2, 0x01, 0x0C], 8)];
    let first = [&[0x10, 0][..], &5000_u32.to_be_bytes(), &message[..58]].concat();
    frames.push(fd(5, 0x7E8, &first, 64));
    frames.push(fd(6, 0x7E0, &[0x30, 0, 0], 8));
    for (place, piece) in (1_u64..).zip(message[58..].chunks(63)) {
        let number = 0x20 | (place.to_le_bytes()[0] & 0x0F);
        let data = [&[number], piece].concat();
        let length = if data.len() > 48 { 64 } else { 48 };
        frames.push(fd(6 + place, 0x7E8, &data, length));
    }
    assert!(
        frames
            .iter()
            .all(|(_, frame)| matches!(frame.kind(), FrameKind::Fd { .. }))
    );
    let (said, rules) = heard(&frames);
    assert_eq!(said[1].1, message);
    assert_eq!(rules, [], "it is the ECU's");
}
