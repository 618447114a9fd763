//! Who gets the bus, when, and who hears what.

extern crate std;

use std::{vec, vec::Vec};

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};

use super::*;
use crate::{
    CanId,
    link::{Effect, LinkRule, Occurrence},
    timing::{BitRate, frame_time},
};

const PACED: Pacing = Pacing::Rate(BitRate::Kbit500);
const END: BusInstant = BusInstant::from_secs(1);

fn frame(id: u16) -> Frame {
    Frame::padded(CanId::Standard(id), &[], 0x55)
}

fn numbered(id: u16, number: u8) -> Frame {
    Frame::padded(CanId::Standard(id), &[number], 0x55)
}

fn at(micros: u64) -> BusInstant {
    BusInstant::from_micros(micros)
}

fn passed(bus: &mut MemoryBus, until: BusInstant) -> Vec<Passed> {
    core::iter::from_fn(|| bus.advance(until)).collect()
}

fn heard(bus: &mut MemoryBus, node: NodeId) -> Vec<Received> {
    core::iter::from_fn(|| bus.receive(node)).collect()
}

fn attach<const N: usize>(bus: &mut MemoryBus) -> [NodeId; N] {
    core::array::from_fn(|_| bus.attach(NodeConfig::default()))
}

fn send(bus: &mut MemoryBus, now: BusInstant, node: NodeId, frame: Frame) {
    bus.send(now, node, frame).expect("room");
}

/// Frames that all wait when the bus falls idle, in the order in which they must win (ISO 11898-1, arbitration; data
/// before remote of the same identifier from memory).
#[test]
fn arbitration_compares_the_fields_bit_by_bit() {
    let data = |id| Frame::new(id, &[]).expect("fits");
    let remote = |id| Frame::remote(id, 0).expect("fits");
    let order = [
        data(CanId::Standard(0x000)),
        data(CanId::Extended(0x18DA_10F1)),
        data(CanId::Extended(0x18DA_F110)),
        data(CanId::Extended(0x18DB_33F1)),
        data(CanId::Standard(0x7DF)),
        data(CanId::Standard(0x7E8)),
        remote(CanId::Standard(0x7E8)),
        data(CanId::Extended(0x7E8 << 18)),
        remote(CanId::Extended(0x7E8 << 18)),
        data(CanId::Extended(0x7E8 << 18 | 1)),
        data(CanId::Standard(0x7FF)),
        data(CanId::Extended(0x1FFF_FFFF)),
    ];
    let mut bus = MemoryBus::new(PACED);
    // Handed in from behind, so that only arbitration can bring them into order.
    for &frame in order.iter().rev() {
        let [node] = attach(&mut bus);
        send(&mut bus, at(0), node, frame);
    }
    let found: Vec<_> = passed(&mut bus, END).iter().map(|passed| passed.frame).collect();
    assert_eq!(found, order);
}

#[test]
fn a_frame_that_has_begun_is_not_pre_empted() {
    let mut bus = MemoryBus::new(PACED);
    let [a, b, c] = attach(&mut bus);
    send(&mut bus, at(0), a, frame(0x7EF));
    send(&mut bus, at(1), b, frame(0x7E9));
    send(&mut bus, at(2), c, frame(0x7E8));
    let order: Vec<_> = passed(&mut bus, END).iter().map(|passed| passed.from).collect();
    assert_eq!(order, [a, c, b]);
}

#[test]
fn one_node_keeps_its_own_order() {
    for pacing in [PACED, Pacing::Instant] {
        let mut bus = MemoryBus::new(pacing);
        let [a] = attach(&mut bus);
        send(&mut bus, at(0), a, frame(0x7EF));
        send(&mut bus, at(0), a, frame(0x001));
        let order: Vec<_> = passed(&mut bus, END)
            .iter()
            .map(|passed| passed.frame.id().raw())
            .collect();
        assert_eq!(order, [0x7EF, 0x001]);
    }
}

/// 126 bits with intermission (vector of `timing`): 123 until the end of the frame, 3 more until the next one starts.
#[test]
fn frames_take_their_bit_time_and_never_overlap() {
    for (rate, bit) in [(BitRate::Kbit500, 2), (BitRate::Kbit250, 4)] {
        let mut bus = MemoryBus::new(Pacing::Rate(rate));
        let [a, b] = attach(&mut bus);
        let request = Frame::padded(CanId::Standard(0x7DF), &[2, 1, 0], 0);
        send(&mut bus, at(0), a, request);
        send(&mut bus, at(0), a, request);
        assert_eq!(bus.poll_timeout(), Some(at(123 * bit)));
        assert_eq!(bus.advance(at(123 * bit - 1)), None);
        assert!(heard(&mut bus, b).is_empty());
        let first = bus.advance(at(123 * bit)).expect("passed");
        assert_eq!(
            (first.start, first.at, first.fate),
            (at(0), at(123 * bit), Fate::Whole)
        );
        assert_eq!(heard(&mut bus, b)[0].at, at(123 * bit));
        assert_eq!(bus.poll_timeout(), Some(at((126 + 123) * bit)));
        let second = bus.advance(END).expect("passed");
        assert_eq!((second.start, second.at), (at(126 * bit), at((126 + 123) * bit)));
        let load = bus.load().expect("paced");
        assert_eq!((load.frames(), load.bits()), (2, 252));
    }
    assert!(MemoryBus::new(Pacing::Instant).load().is_none());
}

/// Linux Documentation/networking/can.rst: loopback, `CAN_RAW_RECV_OWN_MSGS`, `MSG_CONFIRM`.
#[test]
fn others_hear_a_frame_and_its_sender_only_if_it_asked() {
    let mut bus = MemoryBus::new(PACED);
    let [deaf_to_itself, other] = attach(&mut bus);
    let confirmed = bus.attach(NodeConfig {
        receives_own: true,
        ..NodeConfig::default()
    });
    let mute = bus.attach(NodeConfig {
        inbox: 0,
        ..NodeConfig::default()
    });
    send(&mut bus, at(0), deaf_to_itself, frame(0x100));
    send(&mut bus, at(0), confirmed, frame(0x200));
    let wire = passed(&mut bus, END);
    let expected = |index: usize, direction| Received {
        frame: wire[index].frame,
        at: wire[index].at,
        direction,
    };
    let (own, foreign) = (Direction::Own, Direction::Other);
    assert_eq!(heard(&mut bus, deaf_to_itself), [expected(1, foreign)]);
    assert_eq!(
        heard(&mut bus, other),
        [expected(0, foreign), expected(1, foreign)]
    );
    assert_eq!(
        heard(&mut bus, confirmed),
        [expected(0, foreign), expected(1, own)]
    );
    assert_eq!(heard(&mut bus, mute), []);
    assert_eq!(bus.lost(mute), 0, "it loses nothing: it does not listen");
}

#[test]
fn queues_are_bounded_and_losses_counted() {
    let mut bus = MemoryBus::new(PACED);
    let small = NodeConfig {
        queue: 2,
        inbox: 3,
        ..NodeConfig::default()
    };
    let (sender, receiver) = (bus.attach(small), bus.attach(small));
    let mut number = 0;
    for _ in 0..3 {
        for _ in 0..2 {
            assert!(bus.has_room(sender));
            let idle = bus.idle_since;
            send(&mut bus, idle, sender, numbered(1, number));
            number += 1;
        }
        assert!(!bus.has_room(sender));
        let refused = bus.send(END, sender, numbered(1, 99));
        assert_eq!(refused, Err(QueueFull { queue: 2 }));
        assert_eq!(passed(&mut bus, END).len(), 2);
    }
    let kept: Vec<_> = heard(&mut bus, receiver)
        .iter()
        .map(|r| r.frame.data()[0])
        .collect();
    assert_eq!(kept, [0, 1, 2], "the newest are lost");
    assert_eq!(bus.lost(receiver), 3);
}

#[test]
fn an_error_message_takes_no_time_of_the_bus() {
    let mut bus = MemoryBus::new(PACED);
    let [a, b] = attach(&mut bus);
    send(&mut bus, at(5), a, Frame::error(0x40, [0; 8]));
    send(&mut bus, at(5), a, frame(1));
    let wire = passed(&mut bus, END);
    assert_eq!((wire[0].start, wire[0].at, wire[1].start), (at(5), at(5), at(5)));
    assert_eq!(heard(&mut bus, b).len(), 2);
    assert_eq!(bus.load().map(BusLoad::frames), Some(1));
}

/// Any nodes, any frames at any time: frames never overlap, keep their node's order, all pass once, and at each start the
/// lowest field of those that are ready wins.
#[test]
fn any_traffic_keeps_the_rules_of_the_bus() {
    for seed in 0..200 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut below = |end: u32| random.next_u32() % end;
        let nodes = usize::try_from(1 + below(9)).expect("few");
        let mut bus = MemoryBus::new(PACED);
        let ids: Vec<_> = (0..nodes).map(|_| bus.attach(NodeConfig::default())).collect();
        let mut queues = vec![Vec::new(); nodes];
        let mut now = BusInstant::ZERO;
        for number in 0..60 {
            now += Duration::from_micros(below(400).into());
            let node = usize::try_from(below(u32::MAX)).expect("an index") % nodes;
            let word = below(u32::MAX);
            let id = if word % 2 == 0 {
                CanId::Standard(u16::try_from(word >> 21).expect("11 bits"))
            } else {
                CanId::Extended(word & CanId::EXTENDED_MAX)
            };
            let frame = Frame::new(id, &[number]).expect("fits");
            send(&mut bus, now, ids[node], frame);
            queues[node].push((now, frame));
        }
        let sent = queues.clone();
        let mut received = vec![Vec::new(); nodes];
        let mut idle = BusInstant::ZERO;
        let mut count = 0;
        while let Some(passed) = bus.advance(END) {
            count += 1;
            let key = |frame: &Frame| frame.id().arbitration_key(false);
            let heads = || queues.iter().filter_map(|queue| queue.first());
            let start = heads()
                .map(|(since, _)| idle.max(*since))
                .min()
                .expect("something waits");
            assert_eq!(passed.start, start, "seed {seed}: the bus waits for nobody");
            let ready = heads().filter(|(since, _)| *since <= start);
            let lowest = ready
                .map(|(_, frame)| key(frame))
                .min()
                .expect("somebody is ready");
            assert_eq!(key(&passed.frame), lowest, "seed {seed}: the lowest wins");
            assert_eq!(
                passed.at + Duration::from_micros(6),
                start + frame_time(&passed.frame, BitRate::Kbit500)
            );
            idle = passed.at + Duration::from_micros(6);
            let sender = ids.iter().position(|id| *id == passed.from).expect("a node");
            assert_eq!(
                queues[sender].remove(0).1,
                passed.frame,
                "seed {seed}: in the node's order"
            );
            for (node, received) in received.iter_mut().enumerate() {
                received.extend(heard(&mut bus, ids[node]).iter().map(|r| r.frame));
            }
        }
        assert_eq!(count, 60, "seed {seed}");
        for (node, received) in received.iter().enumerate() {
            assert_eq!(
                received.len(),
                60 - sent[node].len(),
                "seed {seed}: all of the others'"
            );
        }
    }
}

fn rule(way: Way, effect: Effect, skip: u32, count: u32) -> Link {
    let occurrence = Occurrence::Counted { skip, count };
    let rule = LinkRule {
        way,
        id: None,
        effect,
        occurrence,
    };
    Link::new([rule], ChaCha8Rng::seed_from_u64(1))
}

/// Three frames of a node with a rule for the second; what was on the wire, what the other node heard and when.
fn disturbed(way: Way, effect: Effect) -> (Vec<Passed>, Vec<Received>, Vec<Received>) {
    let mut bus = MemoryBus::new(PACED);
    let sender = bus.attach(NodeConfig {
        receives_own: true,
        ..NodeConfig::default()
    });
    let [receiver] = attach(&mut bus);
    let node = if way == Way::Sent { sender } else { receiver };
    bus.set_link(node, Some(rule(way, effect, 1, 1)));
    for number in 0..3 {
        send(&mut bus, at(0), sender, numbered(0x7E8, number));
    }
    let (mut wire, mut own, mut other) = (Vec::new(), Vec::new(), Vec::new());
    while let Some(next) = bus.poll_timeout() {
        wire.extend(passed(&mut bus, next));
        own.extend(heard(&mut bus, sender));
        other.extend(heard(&mut bus, receiver));
    }
    (wire, own, other)
}

fn numbers(received: &[Received]) -> Vec<u8> {
    received.iter().map(|received| received.frame.data()[0]).collect()
}

#[test]
fn a_frame_dropped_by_its_sender_never_gets_to_the_wire_but_is_confirmed() {
    let (wire, own, other) = disturbed(Way::Sent, Effect::Drop);
    assert_eq!(wire.len(), 2);
    assert_eq!(numbers(&own), [0, 1, 2]);
    assert_eq!(numbers(&other), [0, 2]);
    assert!(own.is_sorted_by_key(|received| received.at));
    // It takes no time either.
    let gap = wire[1].start.saturating_since(wire[0].at);
    assert_eq!(gap, Duration::from_micros(6), "one intermission");
}

#[test]
fn a_frame_dropped_by_its_receiver_was_on_the_wire() {
    let (wire, own, other) = disturbed(Way::Received, Effect::Drop);
    assert_eq!(wire.len(), 3);
    assert_eq!(numbers(&own), [0, 1, 2]);
    assert_eq!(numbers(&other), [0, 2]);
}

#[test]
fn a_frame_delayed_by_its_sender_is_late_on_the_wire() {
    let (wire, _, other) = disturbed(Way::Sent, Effect::Delay(Duration::from_millis(5)));
    assert_eq!(wire[1].start, at(5_000));
    assert_eq!(
        wire[2].start,
        wire[1].at + Duration::from_micros(6),
        "those behind wait with it"
    );
    assert_eq!(numbers(&other), [0, 1, 2]);
}

#[test]
fn a_frame_delayed_to_its_receiver_is_on_time_on_the_wire_and_keeps_its_place() {
    let (wire, _, other) = disturbed(Way::Received, Effect::Delay(Duration::from_millis(5)));
    assert!(wire[2].at < at(1_000));
    assert_eq!(numbers(&other), [0, 1, 2]);
    let late = wire[1].at + Duration::from_millis(5);
    assert_eq!([other[0].at, other[1].at, other[2].at], [wire[0].at, late, late]);
}

#[test]
fn a_bus_error_costs_its_time_and_the_frame_comes_again() {
    for way in [Way::Sent, Way::Received] {
        let (wire, own, other) = disturbed(way, Effect::BusError);
        let fates: Vec<_> = wire.iter().map(|passed| passed.fate).collect();
        assert_eq!(fates, [Fate::Whole, Fate::Destroyed, Fate::Whole, Fate::Whole]);
        assert_eq!(
            (numbers(&own), numbers(&other)),
            (vec![0, 1, 2], vec![0, 1, 2]),
            "nothing is lost"
        );
        // Destroyed after the acknowledge delimiter: the frame without its 7 bits of end of frame, 7 dominant and 8
        // recessive bits, then the intermission.
        let whole = frame_time(&numbered(0x7E8, 1), BitRate::Kbit500);
        let error = Duration::from_micros(2 * (7 + 8));
        let again = wire[2].start.saturating_since(wire[1].start);
        assert_eq!(again, whole - Duration::from_micros(2 * 7) + error);
    }
}

#[test]
fn the_load_counts_destroyed_frames_too() {
    let mut bus = MemoryBus::new(PACED);
    let [a] = attach(&mut bus);
    bus.set_link(a, Some(rule(Way::Sent, Effect::BusError, 0, 1)));
    send(
        &mut bus,
        at(0),
        a,
        Frame::padded(CanId::Standard(0x7DF), &[2, 1, 0], 0),
    );
    passed(&mut bus, END);
    let load = bus.load().expect("paced");
    assert_eq!((load.frames(), load.bits()), (1, 126 + 126 - 7 + 15));
}

/// 32 destroyed frames in a row are 256 transmit errors: off the bus (ISO 11898-1 fault confinement, from memory).
#[test]
fn errors_without_end_put_the_node_off_the_bus_and_not_the_bus_out_of_order() {
    for pacing in [PACED, Pacing::Instant] {
        let mut bus = MemoryBus::new(pacing);
        let [broken, other] = attach(&mut bus);
        bus.set_link(broken, Some(rule(Way::Sent, Effect::BusError, 0, u32::MAX)));
        send(&mut bus, at(0), broken, frame(0x100));
        send(&mut bus, at(0), broken, frame(0x101));
        send(&mut bus, at(0), other, frame(0x200));
        let wire = passed(&mut bus, END);
        assert_eq!(wire.len(), 33);
        assert!(wire[..31].iter().all(|passed| passed.fate == Fate::Destroyed));
        assert_eq!((wire[31].fate, wire[31].from), (Fate::BusOff, broken));
        assert_eq!((wire[32].fate, wire[32].from), (Fate::Whole, other));
        assert_eq!(bus.lost(broken), 2);
        // 128 x 11 bits after the intermission it is back: the frame of the other has passed meanwhile, unheard.
        bus.set_link(broken, None);
        let off = wire[31].at;
        send(&mut bus, off, broken, frame(0x102));
        let next = passed(&mut bus, END);
        if pacing == PACED {
            assert!(heard(&mut bus, broken).is_empty());
            assert_eq!(next[0].start, off + Duration::from_micros(2 * (3 + 1408)));
        }
        assert_eq!(next[0].fate, Fate::Whole);
    }
}

/// ISO 11898-1 (from memory): a frame that passes takes back one of the eight.
#[test]
fn a_frame_that_passes_takes_an_error_back() {
    let mut bus = MemoryBus::new(PACED);
    let [a] = attach(&mut bus);
    let mut now = BusInstant::ZERO;
    for (errors, whole) in [(31, 40), (5, 0)] {
        bus.set_link(a, Some(rule(Way::Sent, Effect::BusError, 0, errors)));
        for _ in 0..=whole {
            send(&mut bus, now, a, frame(1));
            now += Duration::from_millis(50);
            assert!(
                passed(&mut bus, now)
                    .iter()
                    .all(|passed| passed.fate != Fate::BusOff)
            );
        }
    }
}

/// Any rules on any nodes: the bus comes to an end, frames never overlap, what a node hears comes in the order of time.
#[test]
fn any_disturbance_leaves_the_bus_in_order() {
    for seed in 0..300 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut below = |end: u32| random.next_u32() % end;
        let pacing = if seed % 4 == 0 { Pacing::Instant } else { PACED };
        let mut bus = MemoryBus::new(pacing);
        let nodes: [_; 3] = core::array::from_fn(|_| {
            bus.attach(NodeConfig {
                receives_own: true,
                queue: 40,
                inbox: 200,
            })
        });
        for node in nodes {
            let rules: Vec<_> = (0..below(4))
                .map(|_| LinkRule {
                    way: [Way::Sent, Way::Received][below(2) as usize],
                    id: [None, Some(CanId::Standard(0x100))][below(2) as usize],
                    effect: [
                        Effect::Drop,
                        Effect::BusError,
                        Effect::Delay(Duration::from_micros(below(5_000).into())),
                    ][below(3) as usize],
                    occurrence: match below(3) {
                        0 => Occurrence::Always,
                        1 => Occurrence::Counted {
                            skip: below(10),
                            count: below(40),
                        },
                        _ => Occurrence::Chance(twotrip_units::Ratio::from_percent(below(101).into())),
                    },
                })
                .collect();
            bus.set_link(node, Some(Link::new(rules, ChaCha8Rng::seed_from_u64(seed))));
        }
        for number in 0..30 {
            for (node, id) in nodes.into_iter().zip(0x100..) {
                send(&mut bus, at(u64::from(number) * 300), node, numbered(id, number));
            }
        }
        let mut heard_until = [BusInstant::ZERO; 3];
        let mut idle = BusInstant::ZERO;
        let mut steps = 0;
        while let Some(next) = bus.poll_timeout() {
            steps += 1;
            // Each frame can be destroyed 32 times before its node is off the bus, and is heard three times.
            assert!(steps < 3 * 30 * (32 + 3), "seed {seed}: no end");
            while let Some(passed) = bus.advance(next) {
                assert!(passed.start >= idle && passed.at >= passed.start, "seed {seed}");
                idle = passed.at;
            }
            for (node, until) in nodes.into_iter().zip(&mut heard_until) {
                while let Some(received) = bus.receive(node) {
                    assert!((*until..=next).contains(&received.at), "seed {seed}");
                    *until = received.at;
                }
            }
        }
    }
}
