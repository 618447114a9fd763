//! Two channels against each other in CAN FD frames (ISO 15765-2:2016): any payload arrives whole whatever TX_DL either end
//! has, each length of frame is used where it should be, and classic frames are none of theirs.

use proptest::{collection::vec, prelude::*, test_runner::RngSeed};
use twotrip_can::{
    Frame,
    address::{Addressing, EcuAddress},
    memory_bus::{Pacing, Passed},
    timing::BitRate,
};
use twotrip_isotp::{Channel, Config, Event, Frames, Ignored, NResult, Profile, Timers, TxDl};
use twotrip_units::BusInstant;

use crate::world::{Application, World};

const TESTER: usize = 0;
const ECU: usize = 1;
/// Beyond what twelve bits announce.
const LIMIT: usize = 9_000;
static LENGTHS: [u8; 8] = [8, 12, 16, 20, 24, 32, 48, 64];

#[derive(Default)]
struct Inbox {
    received: [Vec<u8>; 2],
    failed: Vec<NResult>,
    ignored: Vec<Ignored>,
}

impl Application for Inbox {
    fn on_event(&mut self, _now: BusInstant, node: usize, channel: &mut Channel, event: Event) {
        match event {
            Event::Received { addressing } => self.received[node] = channel.message(addressing).to_vec(),
            Event::Failed { result, .. } => self.failed.push(result),
            Event::Ignored { reason } => self.ignored.push(reason),
            Event::Started { .. } | Event::Sent => {}
        }
    }
}

fn config(base: Config, tx_dl: u8) -> Config {
    Config {
        profile: Profile {
            timers: Timers::GENERIC,
            frames: Frames::Fd {
                tx_dl: TxDl::new(tx_dl).expect("a length of CAN FD"),
                bit_rate_switch: false,
            },
            ..Profile::OBD
        },
        receive_limit: LIMIT,
        transmit_limit: LIMIT,
        ..base
    }
}

fn pair(tx_dl: [u8; 2]) -> World {
    let channels = [
        (Config::tester(EcuAddress::ENGINE), tx_dl[TESTER]),
        (Config::ecu(EcuAddress::ENGINE), tx_dl[ECU]),
    ];
    let channels = channels.map(|(base, tx_dl)| Channel::new(config(base, tx_dl)));
    World::new(Pacing::Rate(BitRate::Kbit500), channels.into())
}

/// What passed on the bus while the ECU sent a message, and what came of it.
fn transfer(world: &mut World, message: &[u8]) -> (Vec<Passed>, Inbox) {
    let mut inbox = Inbox::default();
    let now = world.now;
    world.channels[ECU].send(now, message).expect("idle");
    let until = BusInstant::from_secs(600);
    let passed = std::iter::from_fn(|| world.next(until, &mut inbox)).collect();
    (passed, inbox)
}

fn counted(len: usize) -> Vec<u8> {
    (0..=250).cycle().take(len).collect()
}

proptest! {
    // The same cases in every run: a test that fails here fails everywhere.
    #![proptest_config(ProptestConfig {
        cases: 100,
        rng_seed: RngSeed::Fixed(15_765),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn any_payload_arrives_whole_in_both_directions_whatever_the_tx_dl(
        tx_dl in [prop::sample::select(&LENGTHS[..]), prop::sample::select(&LENGTHS[..])],
        request in prop_oneof![vec(any::<u8>(), 1..=130), vec(any::<u8>(), 1..=LIMIT)],
        answer in prop_oneof![vec(any::<u8>(), 1..=130), vec(any::<u8>(), 1..=LIMIT)],
    ) {
        let mut world = pair(tx_dl);
        world.channels[TESTER].send(BusInstant::ZERO, &request).expect("idle");
        let (_, inbox) = transfer(&mut world, &answer);
        prop_assert!(inbox.failed.is_empty() && inbox.ignored.is_empty(), "{:?} {:?}", inbox.failed, inbox.ignored);
        prop_assert!(inbox.received == [answer, request]);
    }
}

/// Length of the answer and TX_DL; lengths of the frames of the ECU, in order.
#[test]
fn frames_are_as_long_as_they_have_to_be() {
    let rows: [(usize, u8, &[usize]); 12] = [
        (7, 64, &[8]),
        (8, 64, &[12]),
        (11, 64, &[16]),
        (62, 64, &[64]),
        (63, 64, &[64, 8]),
        (62 + 7, 64, &[64, 8]),
        (62 + 8, 64, &[64, 12]),
        (62 + 63, 64, &[64, 64]),
        (62 + 63 + 1, 64, &[64, 64, 8]),
        (10, 12, &[12]),
        (11, 12, &[12, 8]),
        (8, 8, &[8, 8]),
    ];
    for (len, tx_dl, expected) in rows {
        let (passed, inbox) = transfer(&mut pair([64, tx_dl]), &counted(len));
        let of_ecu = |passed: &&Passed| passed.frame.id() == EcuAddress::ENGINE.response;
        let lengths: Vec<usize> = passed
            .iter()
            .filter(of_ecu)
            .map(|passed| passed.frame.len())
            .collect();
        assert_eq!(lengths, expected, "{len} bytes, TX_DL {tx_dl}");
        assert_eq!(inbox.received[TESTER], counted(len));
    }
}

/// The escape form of a first frame, and no sooner.
#[test]
fn the_escape_form_begins_where_twelve_bits_end() {
    for (len, start) in [(4095, vec![0x1F, 0xFF]), (4096, vec![0x10, 0, 0, 0, 0x10, 0])] {
        let (passed, inbox) = transfer(&mut pair([64, 64]), &counted(len));
        assert_eq!(passed[0].frame.data()[..start.len()], start);
        assert_eq!(inbox.received[TESTER], counted(len));
    }
}

fn tester_that_has_begun_to_receive() -> Channel {
    let mut channel = Channel::new(config(Config::tester(EcuAddress::ENGINE), 64));
    let first = counted_frame(&[0x10, 100], 20);
    channel.handle_frame(BusInstant::ZERO, &first);
    assert_eq!(channel.poll_event(), Some(Event::Started { length: 100 }));
    assert!(channel.poll_frame(BusInstant::ZERO).is_some());
    channel.handle_transmitted(BusInstant::ZERO);
    channel
}

fn counted_frame(header: &[u8], len: usize) -> Frame {
    let mut data = header.to_vec();
    data.resize(len, 0x55);
    Frame::fd(EcuAddress::ENGINE.response, &data, false, false).expect("fits")
}

/// ISO 15765-2:2016, RX_DL: the first frame sets the length of the others, of which only the last may be shorter.
#[test]
fn consecutive_frames_of_another_length_than_the_first_are_ignored() {
    for (len, found) in [(16, 15), (24, 23), (64, 63)] {
        let mut channel = tester_that_has_begun_to_receive();
        channel.handle_frame(BusInstant::ZERO, &counted_frame(&[0x21], len));
        let reason = match len {
            16 => Ignored::ConsecutiveFrameCut { found, needed: 19 },
            _ => Ignored::ConsecutiveFrameLong { found, room: 19 },
        };
        assert_eq!(channel.poll_event(), Some(Event::Ignored { reason }));
        for number in 1..=5 {
            channel.handle_frame(BusInstant::ZERO, &counted_frame(&[0x20 | number], 20));
        }
        let addressing = Addressing::Physical;
        assert_eq!(channel.poll_event(), Some(Event::Received { addressing }));
    }
}

/// Each kind of bus is deaf to the frames of the other.
#[test]
fn classic_and_fd_frames_do_not_mix() {
    let response = EcuAddress::ENGINE.response;
    let classic = Frame::padded(response, &[2, 0x41, 0], 0);
    let fd = Frame::fd(response, classic.data(), false, false).expect("fits");
    let tester = Config::tester(EcuAddress::ENGINE);
    for (config, taken, other, reason) in [
        (tester, classic, fd, Ignored::NotClassicData),
        (config(tester, 64), fd, classic, Ignored::NotFd),
    ] {
        let mut channel = Channel::new(config);
        channel.handle_frame(BusInstant::ZERO, &other);
        assert_eq!(channel.poll_event(), Some(Event::Ignored { reason }));
        channel.handle_frame(BusInstant::ZERO, &taken);
        assert!(matches!(channel.poll_event(), Some(Event::Received { .. })));
    }
}
