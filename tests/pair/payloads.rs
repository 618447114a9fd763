//! Two channels against each other on a bus paced bit by bit: any payload, block size and STmin arrives whole.

use std::time::Duration;

use proptest::{collection::vec, prelude::*, test_runner::RngSeed};
use twotrip_can::{
    address::{Addressing, EcuAddress},
    memory_bus::Pacing,
    timing::BitRate,
};
use twotrip_isotp::{Channel, Config, Event, Profile, StMin, Timers};
use twotrip_units::BusInstant;

use crate::world::{Application, World};

const TESTER: usize = 0;
const ECU: usize = 1;

/// Keeps what arrives; anything that goes wrong is a failure of the test.
#[derive(Default)]
struct Inbox {
    received: [Vec<u8>; 2],
    sent: [bool; 2],
}

impl Application for Inbox {
    fn on_event(&mut self, now: BusInstant, node: usize, channel: &mut Channel, event: Event) {
        match event {
            Event::Received { addressing } => self.received[node] = channel.message(addressing).to_vec(),
            Event::Sent => self.sent[node] = true,
            Event::Started { .. } => {}
            Event::Failed { .. } | Event::Ignored { .. } => panic!("{event:?} at node {node}, {now}"),
        }
    }
}

/// Tester and ECU, each with its own block size and STmin.
fn pair(flow: [(u8, StMin); 2], timers: Timers) -> World {
    let with = |config, (block_size, st_min)| {
        Channel::new(Config {
            block_size,
            st_min,
            profile: Profile {
                timers,
                ..Profile::OBD
            },
            ..config
        })
    };
    World::new(
        Pacing::Rate(BitRate::Kbit500),
        vec![
            with(Config::tester(EcuAddress::ENGINE), flow[TESTER]),
            with(Config::ecu(EcuAddress::ENGINE), flow[ECU]),
        ],
    )
}

/// Both messages, sent at once, arrive whole; an empty one is not sent.
fn exchange(flow: [(u8, StMin); 2], messages: [&[u8]; 2]) {
    exchange_within(Timers::OBD, flow, messages);
}

fn exchange_within(timers: Timers, flow: [(u8, StMin); 2], messages: [&[u8]; 2]) {
    let mut world = pair(flow, timers);
    let mut inbox = Inbox::default();
    for node in [TESTER, ECU] {
        if !messages[node].is_empty() {
            world.channels[node]
                .send(BusInstant::ZERO, messages[node])
                .expect("idle");
        }
    }
    while world.next(BusInstant::from_secs(200), &mut inbox).is_some() {}
    assert_eq!(inbox.sent, messages.map(|message| !message.is_empty()));
    assert!(
        inbox.received[ECU] == messages[TESTER] && inbox.received[TESTER] == messages[ECU],
        "lengths {:?}, flow control {flow:?}",
        messages.map(<[u8]>::len)
    );
}

/// A legal STmin: 00..7F, F1..F9.
fn st_min() -> impl Strategy<Value = StMin> {
    prop_oneof![0..=0x7F_u8, 0xF1..=0xF9_u8].prop_map(StMin::from_byte)
}

/// Any message. Short ones would come up rarely among 4095, so every other one is short.
fn message() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![vec(any::<u8>(), 1..=40), vec(any::<u8>(), 1..=4095)]
}

proptest! {
    // The same cases in every run: a test that fails here fails everywhere.
    #![proptest_config(ProptestConfig {
        cases: 300,
        rng_seed: RngSeed::Fixed(15_765),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn any_payload_block_size_and_st_min_arrives_whole_in_both_directions_at_once(
        flow in [(any::<u8>(), st_min()), (any::<u8>(), st_min())],
        request in message(),
        answer in message(),
    ) {
        exchange(flow, [&request, &answer]);
    }
}

/// Every length at which the layout changes, and every block size for one of them. One direction at a time: the lower
/// identifier, back to back, would keep the other off the bus for longer than N_As.
#[test]
fn borders_of_frames_and_blocks_arrive_whole() {
    let message: Vec<u8> = (0..4095).map(|i: u32| i.to_le_bytes()[0]).collect();
    let full = (0, StMin::ZERO);
    for len in (1..=30).chain([6 + 7 * 16, 7 + 7 * 16, 255, 256, 4094, 4095]) {
        exchange([full, full], [&message[..len], &[]]);
        exchange([full, full], [&[], &message[..len]]);
    }
    for block_size in 0..=255 {
        exchange([(block_size, StMin::ZERO), full], [&[], &message[..6 + 7 * 16]]);
    }
}

/// Both directions at full rate, at the borders of block size. The lower identifier, back to back, keeps the other off the bus
/// for its whole message, 140 ms: beyond N_As of ISO 15765-4, 25 ms, and within that of ISO 15765-2.
#[test]
fn both_directions_at_full_rate_arrive_whole() {
    let message: Vec<u8> = (0..4095).map(|i: u32| i.to_le_bytes()[0]).collect();
    let fastest = [StMin::ZERO, StMin::from_byte(0xF1)];
    for (len, other) in [(4095, 4095), (4095, 8), (8, 4095), (7, 4095)] {
        for block_size in [0, 1, 255] {
            for st_min in fastest {
                let flow = [(block_size, st_min), (0, StMin::ZERO)];
                for flow in [flow, [flow[1], flow[0]]] {
                    exchange_within(Timers::GENERIC, flow, [&message[..len], &message[..other]]);
                }
            }
        }
    }
}

/// 585 consecutive frames back to back, STmin 0: nothing but the wire takes time. Frames of eight random bytes have
/// 111 bits and stuff bits, about 0.24 ms at 500 kbit/s (ISO 11898-1), so the answer cannot take longer than 0.27 ms each.
#[test]
fn back_to_back_frames_fill_the_bus() {
    // Bytes as good as random: the low byte of a multiplicative generator.
    let mut message = Vec::with_capacity(4095);
    let mut state: u32 = 1;
    message.resize_with(4095, || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        state.to_be_bytes()[0]
    });
    let mut world = pair([(0, StMin::ZERO); 2], Timers::OBD);
    let mut inbox = Inbox::default();
    world.channels[ECU]
        .send(BusInstant::ZERO, &message)
        .expect("idle");
    let mut frames = 0;
    let mut end = BusInstant::ZERO;
    while let Some(passed) = world.next(BusInstant::from_secs(1), &mut inbox) {
        frames += 1;
        end = passed.at;
    }
    assert_eq!(frames, 1 + 1 + 585);
    let (least, most) = (Duration::from_micros(222 * 587), Duration::from_micros(270 * 587));
    let taken = end.saturating_since(BusInstant::ZERO);
    assert!((least..most).contains(&taken), "{taken:?}");
    assert_eq!(inbox.received[TESTER], message);
    assert_eq!(world.channels[TESTER].message(Addressing::Physical), message);
}
