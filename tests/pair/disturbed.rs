//! A transfer over a disturbed line: what the transport makes of delay, loss and bus errors (link rules of `can`).

use std::time::Duration;

use rand_chacha::ChaCha8Rng;
use rand_core::SeedableRng;
use twotrip_can::{
    CanId,
    address::EcuAddress,
    link::{Effect, Link, LinkRule, Occurrence, Way},
    memory_bus::{Fate, Pacing, Passed},
    timing::BitRate,
};
use twotrip_isotp::{Channel, Config, Direction, Event, NResult};
use twotrip_units::{BusInstant, Ratio};

use crate::world::{Application, World};

const TESTER: usize = 0;
const ECU: usize = 1;
const REQUEST: CanId = EcuAddress::ENGINE.request;
const RESPONSE: CanId = EcuAddress::ENGINE.response;

/// What came of a transfer, at both ends.
#[derive(Default)]
struct Outcome {
    sent: [bool; 2],
    received: [Option<Vec<u8>>; 2],
    failed: [Option<(Direction, NResult)>; 2],
}

impl Application for Outcome {
    fn on_event(&mut self, _now: BusInstant, node: usize, channel: &mut Channel, event: Event) {
        match event {
            Event::Received { addressing } => {
                self.received[node] = Some(channel.message(addressing).to_vec());
            }
            Event::Sent => self.sent[node] = true,
            Event::Failed { direction, result } => self.failed[node] = Some((direction, result)),
            Event::Started { .. } | Event::Ignored { .. } => {}
        }
    }
}

fn pair() -> World {
    let channels = vec![
        Channel::new(Config::tester(EcuAddress::ENGINE)),
        Channel::new(Config::ecu(EcuAddress::ENGINE)),
    ];
    World::new(Pacing::Rate(BitRate::Kbit500), channels)
}

fn link(rules: &[LinkRule], seed: u64) -> Link {
    Link::new(rules.iter().copied(), ChaCha8Rng::seed_from_u64(seed))
}

fn play(world: &mut World) -> (Outcome, Vec<Passed>) {
    let mut outcome = Outcome::default();
    let wire = std::iter::from_fn(|| world.next(BusInstant::from_secs(60), &mut outcome)).collect();
    (outcome, wire)
}

/// The ECU sends 20 bytes: first frame, two consecutive frames; the tester one flow control. One frame is disturbed.
fn disturbed(node: usize, way: Way, id: CanId, skip: u32, effect: Effect) -> (Outcome, Vec<Passed>) {
    let mut world = pair();
    let rule = LinkRule {
        way,
        id: Some(id),
        effect,
        occurrence: Occurrence::Counted { skip, count: 1 },
    };
    world.disturb(node, Some(link(&[rule], 0)));
    world.channels[ECU]
        .send(BusInstant::ZERO, &[0x49; 20])
        .expect("idle");
    play(&mut world)
}

/// ISO 15765-2:2016 9.7 (timeouts) and 9.6.5.2 (N_WRONG_SN): what each end must report when one frame is lost, whether on
/// its sender's or on its receiver's side.
#[test]
fn each_lost_frame_has_its_result_at_both_ends() {
    use {Direction::Receive, Direction::Transmit, NResult::TimeoutBs, NResult::TimeoutCr};
    let wrong_sn = NResult::WrongSn {
        expected: 1,
        found: 2,
    };
    // Identifier, which of its frames, what the tester reports, what the ECU reports.
    let rows = [
        (RESPONSE, 0, None, Some((Transmit, TimeoutBs))),
        (
            REQUEST,
            0,
            Some((Receive, TimeoutCr)),
            Some((Transmit, TimeoutBs)),
        ),
        (RESPONSE, 1, Some((Receive, wrong_sn)), None),
        (RESPONSE, 2, Some((Receive, TimeoutCr)), None),
    ];
    for (id, skip, tester, ecu) in rows {
        let sender = if id == RESPONSE { ECU } else { TESTER };
        for (node, way) in [(sender, Way::Sent), (1 - sender, Way::Received)] {
            let (outcome, wire) = disturbed(node, way, id, skip, Effect::Drop);
            let case = format!("{id}, frame {skip}, {way:?}");
            assert_eq!(outcome.failed, [tester, ecu], "{case}");
            assert_eq!(outcome.sent[ECU], ecu.is_none(), "{case}");
            assert_eq!(outcome.received[TESTER], None, "{case}");
            // The tap shows what was on the wire: only a sender's loss is missing there.
            let on_wire = u32::try_from(wire.iter().filter(|passed| passed.frame.id() == id).count());
            let sent = if id == RESPONSE && ecu.is_none() { 3 } else { 1 };
            let expected = if way == Way::Sent { sent - 1 } else { sent };
            assert_eq!(on_wire, Ok(expected), "{case}");
        }
    }
}

/// N_Cr of legislated diagnostics is 150 ms, N_As 25 ms (ISO 15765-4, from memory). Which of the two a delay meets depends
/// on whose side it is: behind the wire the receiver waits, before it the sender does too.
#[test]
fn a_consecutive_frame_may_be_late_up_to_the_timeout_of_who_waits() {
    let late = |node, way, millis| {
        let effect = Effect::Delay(Duration::from_millis(millis));
        let (outcome, _) = disturbed(node, way, RESPONSE, 1, effect);
        (outcome.received[TESTER].is_some(), outcome.failed)
    };
    let n_cr = Some((Direction::Receive, NResult::TimeoutCr));
    let n_as = Some((Direction::Transmit, NResult::TimeoutA));
    assert_eq!(late(TESTER, Way::Received, 140), (true, [None, None]));
    assert_eq!(late(TESTER, Way::Received, 160), (false, [n_cr, None]));
    assert_eq!(late(ECU, Way::Sent, 20), (true, [None, None]));
    assert_eq!(late(ECU, Way::Sent, 30), (false, [n_cr, n_as]));
}

#[test]
fn bus_errors_cost_time_and_nothing_else() {
    let message: Vec<u8> = (0..4095).map(|i: u32| i.to_le_bytes()[0]).collect();
    for seed in 0..20 {
        let mut world = pair();
        for (node, way) in [(TESTER, Way::Received), (ECU, Way::Received)] {
            let rule = LinkRule {
                way,
                id: None,
                effect: Effect::BusError,
                occurrence: Occurrence::Chance(Ratio::from_percent(5.0)),
            };
            world.disturb(node, Some(link(&[rule], seed)));
        }
        world.channels[ECU]
            .send(BusInstant::ZERO, &message)
            .expect("idle");
        let (outcome, wire) = play(&mut world);
        assert_eq!(outcome.received[TESTER].as_ref(), Some(&message), "seed {seed}");
        assert_eq!(outcome.failed, [None, None], "seed {seed}");
        let whole = wire.iter().filter(|passed| passed.fate == Fate::Whole).count();
        assert_eq!(whole, 1 + 1 + 585, "seed {seed}");
        let destroyed = wire.len() - whole;
        assert!(
            (10..60).contains(&destroyed),
            "seed {seed}: {destroyed} of 587 at 5 %"
        );
        assert!(
            wire.is_sorted_by(|a, b| a.at < b.start),
            "seed {seed}: never two at once"
        );
    }
}
