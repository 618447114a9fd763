//! An end that misbehaves on purpose, and what a right one makes of it (ISO 15765-2:2016: 9.6.4.4 wrong sequence number, 9.7
//! timeouts, 9.6.5 flow control).

use std::time::Duration;

use twotrip_can::{
    CanId,
    address::EcuAddress,
    memory_bus::{Pacing, Passed},
    timing::BitRate,
};
use twotrip_isotp::{
    Channel, Config, ConsecutiveFault, Deviation, Direction, Event, Fault, Grant, Heed, NResult, StMin,
};
use twotrip_tests::{
    cases::{self, Setup},
    notation, peer,
    run::{self, Arm, Question},
};
use twotrip_units::BusInstant;

use crate::{
    memory,
    world::{Application, World},
};

const TESTER: usize = 0;
const ECU: usize = 1;

/// The arm in memory, with all that passes on it written down.
struct Written {
    arm: memory::Arm,
    passed: Vec<run::Passed>,
}

impl Written {
    fn new(setup: &Setup, deviation: Option<Deviation>) -> Self {
        let mut channels = peer::channels(setup);
        for channel in &mut channels {
            channel.deviate(deviation);
        }
        Self {
            arm: memory::Arm::with(setup, channels),
            passed: Vec::new(),
        }
    }
}

impl Arm for Written {
    fn now(&self) -> BusInstant {
        self.arm.now()
    }
    fn question(&mut self) -> Question {
        self.arm.question()
    }
    fn send(&mut self, frame: twotrip_can::Frame) {
        self.arm.send(frame);
    }
    fn next(&mut self, until: BusInstant) -> Option<run::Passed> {
        let passed = self.arm.next(until)?;
        self.passed.push(passed);
        Some(passed)
    }
    fn fill_queue(&mut self, span: Duration) {
        self.arm.fill_queue(span);
    }
    fn set_link(&mut self, up: bool) {
        self.arm.set_link(up);
    }
    fn delivered(&mut self) -> Option<Vec<Vec<u8>>> {
        self.arm.delivered()
    }
    fn reported(&mut self) -> Option<Vec<(Direction, NResult)>> {
        self.arm.reported()
    }
}

/// Every case of the transport, without a deviation and with one that is empty: the same frames at the same instants.
#[test]
fn an_empty_deviation_changes_nothing() {
    for case in cases::all() {
        let played = [None, Some(Deviation::default())].map(|deviation| {
            let mut arm = Written::new(&case.setup, deviation);
            let result = run::play(case, &mut arm);
            let passed: Vec<_> = arm
                .passed
                .iter()
                .map(|passed| (passed.at, passed.frame))
                .collect();
            (result, passed)
        });
        assert_eq!(played[0], played[1], "case {}", case.number);
        assert_eq!(played[0].0, Ok(()));
    }
}

#[derive(Default)]
struct Outcome {
    received: [Option<Vec<u8>>; 2],
    failed: [Option<NResult>; 2],
}

impl Application for Outcome {
    fn on_event(&mut self, _now: BusInstant, node: usize, channel: &mut Channel, event: Event) {
        match event {
            Event::Received { addressing } => {
                self.received[node] = Some(channel.message(addressing).to_vec());
            }
            Event::Failed { result, .. } => self.failed[node] = Some(result),
            Event::Started { .. } | Event::Sent | Event::Ignored { .. } => {}
        }
    }
}

fn counted(len: u8) -> Vec<u8> {
    (0..len).collect()
}

/// One end sends 19 bytes over a bus at 500 kbit/s, and the ECU misbehaves. The frames of the ECU, and what came of it.
fn transfer(deviation: Deviation, sender: usize, st_min: StMin) -> (Vec<Passed>, Outcome) {
    let tester = Config {
        st_min,
        ..Config::tester(EcuAddress::ENGINE)
    };
    let mut ecu = Channel::new(Config::ecu(EcuAddress::ENGINE));
    ecu.deviate(Some(deviation));
    let mut world = World::new(Pacing::Rate(BitRate::Kbit500), vec![Channel::new(tester), ecu]);
    let mut outcome = Outcome::default();
    world.channels[sender]
        .send(BusInstant::ZERO, &counted(19))
        .expect("idle");
    let end = BusInstant::from_secs(20);
    let all: Vec<Passed> = std::iter::from_fn(|| world.next(end, &mut outcome)).collect();
    for channel in &world.channels {
        assert!(
            !channel.is_receiving() && !channel.is_transmitting(),
            "{deviation:?}"
        );
        assert_eq!(channel.poll_timeout(), None, "{deviation:?}");
    }
    let of_ecu = |passed: &Passed| passed.frame.id() != EcuAddress::ENGINE.request;
    (all.into_iter().filter(of_ecu).collect(), outcome)
}

const fn consecutive(number: u32, fault: Fault) -> Deviation {
    Deviation {
        consecutive: Some(ConsecutiveFault { number, fault }),
        ..NONE
    }
}

const NONE: Deviation = Deviation {
    pad: None,
    unpadded: false,
    transmit_id: None,
    excess: 0,
    announced: 0,
    consecutive: None,
    heeds: Heed::Right,
    grants: Grant::Right,
};
const FIRST: &str = "7E8#10 13 00 01 02 03 04 05";
const SECOND: &str = "7E8#21 06 07 08 09 0A 0B 0C";
const THIRD: &str = "7E8#22 0D 0E 0F 10 11 12 00";

/// What is wrong, frames of the ECU, what the tester has.
type Row = (Deviation, &'static [&'static str], Result<usize, Option<NResult>>);

/// What the ECU does wrong when it answers, its frames (`=`: without the rule that they have eight bytes), and what a right
/// tester has in the end: bytes of the message, or why it gave up.
#[test]
fn a_right_receiver_takes_what_is_whole_and_discards_the_rest() {
    let wrong = |expected, found| Err(Some(NResult::WrongSn { expected, found }));
    let late = Err(Some(NResult::TimeoutCr));
    let rows: [Row; 14] = [
        (NONE, &[FIRST, SECOND, THIRD], Ok(19)),
        (
            Deviation {
                pad: Some(0xAA),
                ..NONE
            },
            &[FIRST, SECOND, "7E8#22 0D 0E 0F 10 11 12 AA"],
            Ok(19),
        ),
        (
            Deviation {
                unpadded: true,
                ..NONE
            },
            &[FIRST, SECOND, "=7E8#22 0D 0E 0F 10 11 12"],
            late,
        ),
        (
            Deviation {
                transmit_id: Some(CanId::Standard(0x7EA)),
                ..NONE
            },
            &["7EA#10 13 00 01 02 03 04 05"],
            Err(None),
        ),
        (
            Deviation { excess: -4, ..NONE },
            &[
                "7E8#10 0F 00 01 02 03 04 05",
                SECOND,
                "7E8#22 0D 0E 00 00 00 00 00",
            ],
            Ok(15),
        ),
        (
            Deviation { excess: -14, ..NONE },
            &["7E8#05 00 01 02 03 04 00 00"],
            Ok(5),
        ),
        (
            Deviation { excess: 3, ..NONE },
            &[
                "7E8#10 16 00 01 02 03 04 05",
                SECOND,
                "7E8#22 0D 0E 0F 10 11 12 55",
                "7E8#23 55 55 00 00 00 00 00",
            ],
            Ok(22),
        ),
        (
            Deviation { announced: 7, ..NONE },
            &["7E8#10 1A 00 01 02 03 04 05", SECOND, THIRD],
            late,
        ),
        (
            Deviation {
                announced: -6,
                ..NONE
            },
            &["7E8#10 0D 00 01 02 03 04 05", SECOND, THIRD],
            Ok(13),
        ),
        (
            consecutive(1, Fault::WrongNumber),
            &[FIRST, "7E8#22 06 07 08 09 0A 0B 0C", THIRD],
            wrong(1, 2),
        ),
        (consecutive(1, Fault::Missing), &[FIRST, THIRD], wrong(1, 2)),
        (consecutive(2, Fault::Missing), &[FIRST, SECOND], late),
        (
            consecutive(1, Fault::Repeated),
            &[FIRST, SECOND, SECOND, THIRD],
            wrong(2, 1),
        ),
        (
            Deviation {
                heeds: Heed::Deaf,
                ..NONE
            },
            &[FIRST],
            late,
        ),
    ];
    for (deviation, expected, result) in rows {
        let (passed, outcome) = transfer(deviation, ECU, StMin::ZERO);
        let holds = |(passed, expected): (&Passed, &&str)| match expected.strip_prefix('=') {
            Some(frame) => passed.frame == notation::frame(frame),
            None => notation::matches(expected, &passed.frame),
        };
        let frames: Vec<_> = passed.iter().map(|passed| passed.frame).collect();
        let fit = passed.len() == expected.len() && passed.iter().zip(expected).all(holds);
        assert!(fit, "{deviation:?}: {frames:?}, expected {expected:?}");
        let found = match &outcome.received[TESTER] {
            Some(message) => Ok(message.len()),
            None => Err(outcome.failed[TESTER]),
        };
        assert_eq!(found, result, "{deviation:?}");
        let given_up =
            (deviation.heeds == Heed::Deaf || deviation.transmit_id.is_some()).then_some(NResult::TimeoutBs);
        assert_eq!(outcome.failed[ECU], given_up, "{deviation:?}");
    }
}

/// A tester that asks for 100 ms between frames gets them back to back.
#[test]
fn an_impatient_sender_waits_for_no_flow_control() {
    let impatient = Deviation {
        heeds: Heed::Impatient,
        ..NONE
    };
    for (deviation, fast) in [(NONE, false), (impatient, true)] {
        let (passed, outcome) = transfer(deviation, ECU, StMin::from_byte(100));
        assert_eq!(passed.len(), 3);
        let gap = passed[2].start.saturating_since(passed[1].at);
        assert_eq!(gap < Duration::from_millis(1), fast, "{gap:?}");
        assert_eq!(outcome.received[TESTER], Some(counted(19)));
    }
}

/// What the ECU grants a tester that sends 19 bytes, the flow control that it sends, and what becomes of the message.
#[test]
fn a_right_sender_does_what_flow_control_says() {
    let wait = |count, ms| Grant::Wait {
        count,
        every: Duration::from_millis(ms),
    };
    const CONTINUE: &str = "7E8#30 00 00 ..";
    const WAIT: &str = "7E8#31 00 00 ..";
    let rows: [(Grant, &[&str], Option<NResult>); 6] = [
        (Grant::Right, &[CONTINUE], None),
        (wait(3, 50), &[WAIT, WAIT, WAIT, CONTINUE], None),
        // N_Bs of 75 ms runs out after the first; the ECU goes on, and gives up by N_Cr.
        (wait(2, 100), &[WAIT, WAIT, CONTINUE], Some(NResult::TimeoutBs)),
        (Grant::Overflow, &["7E8#32 00 00 .."], Some(NResult::BufferOvflw)),
        (Grant::Nothing, &[], Some(NResult::TimeoutBs)),
        (Grant::StMin(StMin::from_byte(0xF0)), &["7E8#30 00 F0 .."], None),
    ];
    for (grants, expected, failure) in rows {
        let (passed, outcome) = transfer(Deviation { grants, ..NONE }, TESTER, StMin::ZERO);
        let holds = |(passed, expected): (&Passed, &&str)| notation::matches(expected, &passed.frame);
        let fit = passed.len() == expected.len() && passed.iter().zip(expected).all(holds);
        let frames: Vec<_> = passed.iter().map(|passed| passed.frame).collect();
        assert!(fit, "{grants:?}: {frames:?}");
        assert_eq!(outcome.failed[TESTER], failure, "{grants:?}");
        assert_eq!(outcome.received[ECU].is_some(), failure.is_none(), "{grants:?}");
    }
}

/// Deviations of all kinds at once, changed in the middle of transfers: nothing gets stuck.
#[test]
fn any_deviation_ends() {
    let faults = [
        None,
        Some(Fault::WrongNumber),
        Some(Fault::Missing),
        Some(Fault::Repeated),
    ];
    let heeds = [Heed::Right, Heed::Deaf, Heed::Impatient];
    let every = Duration::from_millis(30);
    let grants = [
        Grant::Right,
        Grant::Wait { count: 255, every },
        Grant::Overflow,
        Grant::Nothing,
        Grant::StMin(StMin::from_byte(0xFF)),
    ];
    for (excess, announced) in [
        (0, 0),
        (-100, 9000),
        (9000, -100),
        (i32::MIN, i32::MAX),
        (i32::MAX, i32::MIN),
    ] {
        for fault in faults {
            for heeds in heeds {
                for grants in grants {
                    let deviation = Deviation {
                        unpadded: true,
                        excess,
                        announced,
                        consecutive: fault.map(|fault| ConsecutiveFault { number: 1, fault }),
                        heeds,
                        grants,
                        ..NONE
                    };
                    transfer(deviation, ECU, StMin::ZERO);
                    transfer(deviation, TESTER, StMin::ZERO);
                }
            }
        }
    }
}
