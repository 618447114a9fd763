//! The built-in scan on a disturbed line, with one ECU and with several: all is read, and nothing is asked for ever.

use std::{collections::BTreeSet, time::Duration};

use twotrip_can::{CanId, Frame};
use twotrip_dialogue::verdict::Verdict;
use twotrip_ecu::listed::{ListedEcu, Listing, SERVICES};
use twotrip_obd::{Dialect, Dtc};
use twotrip_scenario::disturbance::{Kind, Subject};
use twotrip_sim::{EcuSettings, Identifiers, P2, Seat, Settings, Timing};
use twotrip_tester::{EcuNumber, Event, Ignored, Question, Survey, Tester, TesterConfig, Topic};
use twotrip_units::BusInstant;

use crate::world::{Asks, Tool, World};

/// `twotrip scan` without its clock: a survey and a tester.
struct Scan {
    survey: Survey,
    tester: Tester,
    /// What is asked next, and when.
    next: Option<(BusInstant, Question)>,
    /// Until when late answers are listened to.
    end: Option<BusInstant>,
}

impl Scan {
    fn new(topics: &[Topic]) -> Self {
        let mut survey = Survey::new(topics);
        let next = survey
            .next_question()
            .map(|question| (BusInstant::ZERO, question));
        Self {
            survey,
            tester: Tester::new(TesterConfig::default()),
            next,
            end: None,
        }
    }

    /// What an ECU said, in whatever order.
    fn said(&self, ecu: EcuNumber) -> BTreeSet<Vec<u8>> {
        let of = self.survey.findings().iter().filter(|finding| finding.ecu == ecu);
        of.map(|finding| finding.answer.clone()).collect()
    }
}

impl Asks for Scan {
    fn tester(&mut self) -> &mut Tester {
        &mut self.tester
    }

    fn listens(&self, now: BusInstant) -> bool {
        self.end.is_none_or(|end| now <= end)
    }

    fn settle(&mut self, now: BusInstant) {
        while let Some(event) = self.tester.poll_event() {
            match event {
                Event::Answer { ecu, .. } => self.survey.on_answer(ecu, self.tester.answer(ecu)),
                Event::Finished { .. } => {
                    self.survey.on_finished();
                    self.end = None;
                }
                Event::Ignored {
                    ecu,
                    reason: Ignored::Unasked | Ignored::OtherService { .. },
                } => self.survey.hear_of(ecu),
                _ => {}
            }
        }
        if !self.tester.is_busy() && self.next.is_none() {
            // As the command does: before the end, whether anybody has still something to say.
            let next = self.survey.next_question();
            self.next = next.map(|question| (now + question.pause(), question));
            if self.next.is_none() {
                self.end.get_or_insert(now + 3 * P2);
            }
        }
        if let Some((_, question)) = self.next.take_if(|(at, _)| *at <= now) {
            self.tester
                .request(now, question.target, question.request())
                .expect("idle");
        }
    }

    fn waits_for(&self) -> Option<BusInstant> {
        let next = self.next.as_ref().map(|(at, _)| *at);
        self.tester.poll_timeout().into_iter().chain(next).min()
    }
}

/// An ECU beside the engine's, which knows a code of its own.
fn other() -> EcuSettings {
    EcuSettings {
        seat: Seat::Listed(Box::new(ListedEcu::new(Listing {
            dialect: Dialect::Classic,
            services: SERVICES.to_vec(),
            data: vec![(0x1F, Box::from([0, 60]))],
            name: *b"TCM\0-Transmission\0\0\0",
            calibration_id: [b'T'; 16],
            confirmed: vec![Dtc::from_bytes([0x07, 0x30])],
            pending: vec![],
            permanent: vec![],
        }))),
        number: 1,
        address: 0x18,
        reply: None,
    }
}

fn two_ecus(seed: u64, identifiers: Identifiers) -> World {
    World::with(Settings {
        identifiers,
        ecus: vec![EcuSettings::ENGINE, other()],
        ..Settings::compact(seed, Timing::REAL)
    })
}

/// Every disturbance of the wire, about as hard as a tool can be asked to take, by many dice.
const HARD: [&str; 13] = [
    "",
    "disturb drop 20 %",
    "disturb drop 7E9 40 %",
    "disturb drop 7DF once",
    "disturb delay 30 ms",
    "disturb delay 150 ms 15 %",
    "disturb jitter 80 ms",
    "disturb duplicate 20 %",
    "disturb reorder 50 %",
    "disturb bus-error 60 %",
    "disturb bus-off 400 ms 3 times",
    "disturb background-load 70 %",
    "disturb interface-down 1.5 s",
];

#[test]
fn scan_reads_everything_on_a_disturbed_line() {
    let ecus = [0, 1].map(|number| EcuNumber::new(number).expect("small"));
    let mut expected = None;
    let (mut runs, mut complete) = (0, 0);
    for phrase in HARD {
        for seed in 0..12 {
            let mut world = two_ecus(seed, Identifiers::Bits11);
            if !phrase.is_empty() {
                world.tell(phrase);
            }
            let mut scan = Scan::new(&[Topic::Codes, Topic::Pending, Topic::Vin]);
            world.run(&mut scan, Duration::from_secs(25));
            assert!(
                scan.next.is_none() && !scan.tester.is_busy(),
                "{phrase}: it never ends"
            );
            let found = ecus.map(|ecu| scan.said(ecu));
            let expected = expected.get_or_insert_with(|| found.clone());
            runs += 1;
            complete += u32::from(found == *expected);

            if !phrase.is_empty() {
                let finding = world.finding();
                assert_ne!(
                    finding.verdict,
                    Verdict::Failed,
                    "{phrase}, seed {seed}: {}",
                    finding.seen
                );
            }
        }
    }
    // What is late by more than N_Bs or N_Cr, or lost seven times, nobody reads.
    assert!(complete * 100 >= runs * 96, "{complete} of {runs}");
}

/// With identifiers of 29 bits, and of one ECU alone.
#[test]
fn identifiers_pick_out_an_ecu_and_a_size() {
    let answers = |identifiers, phrase: &str, ids: [CanId; 2]| {
        let mut world = two_ecus(1, identifiers);
        if !phrase.is_empty() {
            world.tell(phrase);
        }
        let functional = match identifiers {
            Identifiers::Bits11 => CanId::Standard(0x7DF),
            Identifiers::Bits29 => CanId::Extended(0x18DB_33F1),
        };
        world.run(
            &mut Once(Some(Frame::padded(functional, &[2, 1, 0], 0))),
            Duration::from_millis(400),
        );
        // The places in which they passed.
        ids.map(|id| {
            let passed = world.passed.iter().enumerate();
            let of = passed.filter(|(_, passed)| passed.from_car && passed.frame.id() == id);
            of.map(|(place, _)| place).collect::<Vec<_>>()
        })
    };
    let short = [CanId::Standard(0x7E8), CanId::Standard(0x7E9)];
    let long = [CanId::Extended(0x18DA_F110), CanId::Extended(0x18DA_F118)];
    let count = |identifiers, phrase, ids| answers(identifiers, phrase, ids).map(|places| places.len());
    assert_eq!(count(Identifiers::Bits11, "", short), [1, 1]);
    assert_eq!(count(Identifiers::Bits11, "disturb drop 7E9", short), [1, 0]);
    assert_eq!(count(Identifiers::Bits29, "", long), [1, 1]);
    assert_eq!(count(Identifiers::Bits29, "disturb drop 18DAF110", long), [0, 1]);
    assert_eq!(count(Identifiers::Bits29, "disturb drop 18DB33F1", long), [0, 0]);
    // Whoever is first gives way to the other.
    let [one, other] = answers(Identifiers::Bits11, "", short);
    let (first, phrase) = if one < other {
        (0, "disturb reorder 7E8 100 ms")
    } else {
        (1, "disturb reorder 7E9 100 ms")
    };
    let turned = answers(Identifiers::Bits11, phrase, short);
    assert!(turned[first] > turned[1 - first], "{turned:?}");
}

/// Sends one frame.
struct Once(Option<Frame>);

impl Tool for Once {
    fn handle_frame(&mut self, _: BusInstant, _: &Frame) {}
    fn handle_timeout(&mut self, _: BusInstant) {}
    fn poll_frame(&mut self, _: BusInstant) -> Option<Frame> {
        self.0.take()
    }
    fn handle_transmitted(&mut self, _: BusInstant) {}
    fn poll_timeout(&self) -> Option<BusInstant> {
        None
    }
}

/// Each of the wire is among those that the scan has survived.
#[test]
fn none_is_left_out() {
    for kind in Kind::ALL
        .iter()
        .filter(|kind| kind.row().subject == Subject::Wire)
    {
        let is_there = HARD
            .iter()
            .any(|phrase| phrase.split(' ').nth(1) == Some(kind.name()));
        // An error-passive controller changes a few microseconds: scan of the command line has it.
        assert!(is_there || *kind == Kind::ErrorPassive, "{}", kind.name());
    }
}
