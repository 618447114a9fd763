//! Recordings and testers as scripts, `ms id bytes` a line: what the stand-in sends, and when.

extern crate std;

use alloc::{format, string::String, vec::Vec};
use core::fmt::Write as _;

use proptest::prelude::*;

use twotrip_can::timing::BitRate;

use super::{question::UNKNOWN, *};
use crate::{Ecu, Learner, LeftOut, tests::frame};

fn lines(script: &str) -> impl Iterator<Item = &str> {
    script.lines().map(str::trim).filter(|line| !line.is_empty())
}

/// What a recording holds that ends at its last frame and `silence` milliseconds.
fn learned(script: &str, silence: u64) -> (Answers, LeftOut) {
    let mut learner = Learner::default();
    let mut end = BusInstant::ZERO;
    for line in lines(script) {
        let (at, frame) = frame(line);
        learner.on_frame(at, &frame).unwrap();
        end = at;
    }
    learner.finish(end + Duration::from_millis(silence))
}

/// A bus on which frames take no time.
struct Bus {
    car: StandIn,
    sent: Vec<String>,
    events: Vec<StandInEvent>,
}

impl Bus {
    fn new(recording: &str, settings: Settings) -> Self {
        let (answers, _) = learned(recording, 1000);
        Self {
            car: StandIn::new(answers, settings),
            sent: Vec::new(),
            events: Vec::new(),
        }
    }

    fn poll(&mut self, now: BusInstant) {
        while let Some(frame) = self.car.poll_frame(now) {
            let mut line = format!(
                "{} {}",
                f64::from(u32::try_from(now.as_nanos() / 1000).unwrap()) / 1e3,
                frame.id()
            );
            for byte in frame.data() {
                let _ = write!(line, " {byte:02X}");
            }
            self.sent.push(line);
            self.car.handle_transmitted(now);
        }
        self.events.extend(core::iter::from_fn(|| self.car.poll_event()));
    }

    fn pass(&mut self, until: BusInstant) {
        while let Some(at) = self.car.poll_timeout().filter(|&at| at <= until) {
            let at = at.max(self.car.latest);
            self.car.handle_timeout(at);
            self.poll(at);
        }
    }

    fn play(&mut self, tester: &str) -> &[String] {
        let begun = self.sent.len();
        for line in lines(tester) {
            let (at, frame) = frame(line);
            self.pass(at);
            self.car.handle_frame(at, &frame);
            self.poll(at);
        }
        self.pass(self.car.latest + Duration::from_secs(20));
        &self.sent[begun..]
    }
}

/// Two ECUs, a live value, a long answer, a clear that takes its time, and a question that nobody answers.
const RECORDING: &str = "
    0      7DF 02 01 00
    4      7E8 06 41 00 98 18 00 01
    5.5    7E9 06 41 00 80 00 00 01
    100    7DF 02 01 0C
    103    7E8 04 41 0C 0C 80
    200    7DF 02 01 0C
    207    7E8 04 41 0C 1A F8
    300    7DF 02 09 0A
    303    7E8 10 17 49 0A 01 45 43 4D
    303.5  7E9 10 17 49 0A 01 54 43 4D
    304    7E0 30 00 00
    304.5  7E1 30 00 00
    305    7E9 21 00 2D 54 72 61 6E 73
    305.5  7E8 21 00 2D 45 6E 67 69 6E
    306    7E9 22 6D 69 73 73 69 6F 6E
    306.5  7E8 22 65 43 6F 6E 74 72 6F
    307    7E9 23 00 00 00 00 00 00 00
    307.5  7E8 23 6C 00 00 00 00 00 00
    400    7DF 01 04
    420    7E8 03 7F 04 78
    3420   7E8 03 7F 04 78
    5000   7E8 01 44
    5100   7DF 02 01 5C
    5200   7E0 02 01 1C
    5210   7E8 03 7F 01 12
";

#[test]
fn each_ecu_answers_from_its_own_address_as_late_as_then() {
    let mut bus = Bus::new(RECORDING, Settings::default());
    assert_eq!(
        bus.play("1000 7DF 02 01 00"),
        [
            "1004 7E8 06 41 00 98 18 00 01 55",
            "1005.5 7E9 06 41 00 80 00 00 01 55"
        ]
    );
    assert_eq!(bus.car.counts().answered, 1);
    assert_eq!(bus.car.asked(QuestionId(0)), 1);
}

#[test]
fn replies_come_in_turn_and_then_as_was_asked_for() {
    let asked = "1000 7DF 02 01 0C\n2000 7DF 02 01 0C\n3000 7DF 02 01 0C\n4000 7DF 02 01 0C";
    let first = [
        "1003 7E8 04 41 0C 0C 80 55 55 55",
        "2007 7E8 04 41 0C 1A F8 55 55 55",
    ];
    for (after_last, then) in [
        (
            AfterLast::Last,
            &[
                "3007 7E8 04 41 0C 1A F8 55 55 55",
                "4007 7E8 04 41 0C 1A F8 55 55 55",
            ][..],
        ),
        (
            AfterLast::Anew,
            &[
                "3003 7E8 04 41 0C 0C 80 55 55 55",
                "4007 7E8 04 41 0C 1A F8 55 55 55",
            ],
        ),
        (AfterLast::Silence, &[]),
    ] {
        let mut bus = Bus::new(
            RECORDING,
            Settings {
                after_last,
                ..Settings::default()
            },
        );
        assert_eq!(bus.play(asked), [&first[..], then].concat(), "{after_last:?}");
        let silent = if after_last == AfterLast::Silence { 2 } else { 0 };
        let counts = bus.car.counts();
        assert_eq!(
            (counts.requests, counts.answered, counts.exhausted),
            (4, 4 - silent, silent)
        );
    }
}

#[test]
fn pending_and_negative_responses_come_as_they_came() {
    let mut bus = Bus::new(RECORDING, Settings::default());
    assert_eq!(
        bus.play("1000 7DF 01 04"),
        [
            "1020 7E8 03 7F 04 78 55 55 55 55",
            "4020 7E8 03 7F 04 78 55 55 55 55",
            "5600 7E8 01 44 55 55 55 55 55 55"
        ]
    );
    assert_eq!(
        bus.play("30000 7E0 02 01 1C"),
        ["30010 7E8 03 7F 01 12 55 55 55 55"]
    );
}

#[test]
fn silence_is_given_for_silence_and_for_what_is_unknown() {
    let mut bus = Bus::new(RECORDING, Settings::default());
    let asked = "
        1000 7DF 02 01 5C
        2000 7DF 02 01 5E
        3000 7E0 02 01 00
        4000 7E3 02 01 00
        5000 7DF 02 01 5E
        6000 7E3 10 14 2E F1 90 01 02 03
        7000 18DB33F1 02 01 00
        8000 7E8 02 01 00
        9000 7DF 10 14 2E F1 90 01 02 03
    ";
    assert!(bus.play(asked).is_empty());
    let counts = bus.car.counts();
    assert_eq!(
        (counts.requests, counts.silent, counts.unknown, counts.answered),
        (7, 1, 6, 0)
    );
    assert_eq!(counts.ignored, 1, "a long question to all");
    let unknown = bus.car.unknown().iter();
    let unknown: Vec<_> = unknown
        .map(|unknown| {
            format!(
                "{} {:02X?} {} {}",
                unknown.role, unknown.request, unknown.count, unknown.first
            )
        })
        .collect();
    assert_eq!(
        unknown,
        [
            "tester to all [01, 5E] 2 2.000000 s",
            "tester to 7E8 [01, 00] 1 3.000000 s",
            "tester to 7EB [01, 00] 1 4.000000 s",
            "tester to 7EB [2E, F1, 90, 01, 02, 03] 1 6.000000 s",
            "tester to all [01, 00] 1 7.000000 s"
        ]
    );
    let never: Vec<_> = bus
        .car
        .answers()
        .questions()
        .filter(|question| bus.car.asked(question.id) == 0)
        .collect();
    assert_eq!(never.len(), 5, "{never:?}");
}

#[test]
fn a_long_answer_obeys_the_testers_flow_control() {
    let mut bus = Bus::new(RECORDING, Settings::default());
    // Blocks of two with 10 ms between frames for the one, everything at once for the other.
    let sent = bus.play("1000 7DF 02 09 0A\n1005 7E1 30 02 0A\n1006 7E0 30 00 00\n1040 7E1 30 00 00");
    assert_eq!(
        sent,
        [
            "1003 7E8 10 17 49 0A 01 45 43 4D",
            "1003.5 7E9 10 17 49 0A 01 54 43 4D",
            "1005 7E9 21 00 2D 54 72 61 6E 73",
            "1006 7E8 21 00 2D 45 6E 67 69 6E",
            "1006 7E8 22 65 43 6F 6E 74 72 6F",
            "1006 7E8 23 6C 00 00 55 55 55 55",
            "1015 7E9 22 6D 69 73 73 69 6F 6E",
            "1040 7E9 23 00 00 00 55 55 55 55"
        ]
    );
}

#[test]
fn without_flow_control_the_ecu_gives_up_and_answers_the_next_question() {
    let mut bus = Bus::new(RECORDING, Settings::default());
    let sent = bus.play("1000 7DF 02 09 0A\n1004 7E0 30 00 00\n1100 7E1 30 00 00\n2000 7DF 02 01 00");
    assert_eq!(sent.len(), 4 + 1 + 2, "{sent:#?}");
    assert_eq!(sent[6], "2005.5 7E9 06 41 00 80 00 00 01 55");
    assert_eq!((bus.car.counts().broken_off, bus.car.counts().ignored), (1, 1));
    let failed = bus.events.iter().find_map(|event| match event {
        StandInEvent::Failed { at, ecu, result, .. } => Some(format!("{at} {ecu} {result}")),
        _ => None,
    });
    assert_eq!(
        failed.as_deref(),
        Some("1.078500 s 7E9 no flow control in time (N_TIMEOUT_Bs)")
    );
}

#[test]
fn a_question_in_the_middle_of_a_long_answer_is_dropped_by_that_ecu_alone() {
    let mut bus = Bus::new(RECORDING, Settings::default());
    let sent = bus.play("1000 7DF 02 09 0A\n1010 7E0 30 00 00\n1015 7DF 02 01 00\n1050 7E1 30 00 00");
    assert_eq!(sent[5], "1019 7E8 06 41 00 98 18 00 01 55");
    assert_eq!(sent.len(), 2 + 3 + 1 + 3, "{sent:#?}");
    assert_eq!(bus.car.counts().dropped, 1);
}

#[test]
fn long_questions_are_taken_by_flow_control_and_told_apart_by_all_their_bytes() {
    let recording = "
        0   7E0 10 0A 2E F1 90 01 02 03
        1   7E8 30 00 00
        2   7E0 21 04 05 06 07
        9   7E8 03 6E F1 90
    ";
    let mut bus = Bus::new(recording, Settings::default());
    let sent = bus.play(
        "
        1000 7E0 10 0A 2E F1 90 01 02 03
        1001 7E0 21 04 05 06 07
        2000 7E0 10 0A 2E F1 90 01 02 03
        2001 7E0 21 04 05 06 08
        3000 7E0 10 0A 2E F1 90 01 02 03
    ",
    );
    assert_eq!(
        sent,
        [
            "1000 7E8 30 00 00 55 55 55 55 55",
            "1008 7E8 03 6E F1 90 55 55 55 55",
            "2000 7E8 30 00 00 55 55 55 55 55",
            "3000 7E8 30 00 00 55 55 55 55 55"
        ]
    );
    let counts = bus.car.counts();
    assert_eq!((counts.answered, counts.unknown, counts.incomplete), (1, 1, 1));
}

#[test]
fn identifiers_of_29_bits_are_answered_by_their_own() {
    let recording = "
        0 18DB33F1 02 01 00
        2 18DAF118 06 41 00 80 00 00 01
        3 18DAF110 06 41 00 98 18 00 01
        50 18DA10F1 02 03 00
        51 18DAF110 03 7F 03 11
    ";
    let mut bus = Bus::new(recording, Settings::default());
    assert_eq!(
        bus.play("1000 18DB33F1 02 01 00\n2000 18DA10F1 02 03 00\n3000 7DF 02 01 00"),
        [
            "1002 18DAF118 06 41 00 80 00 00 01 55",
            "1003 18DAF110 06 41 00 98 18 00 01 55",
            "2001 18DAF110 03 7F 03 11 55 55 55 55"
        ]
    );
}

#[test]
fn of_two_at_the_same_time_the_lower_identifier_goes_first_and_the_other_waits_for_the_wire() {
    let recording = "
        0 7DF 02 01 00
        5 7E9 06 41 00 80 00 00 01
        5 7E8 06 41 00 98 18 00 01
    ";
    let settings = Settings {
        spacing: Some(BitRate::Kbit500),
        lead: Duration::from_millis(1),
        ..Settings::default()
    };
    let mut bus = Bus::new(recording, settings);
    let sent = bus.play("1000 7DF 02 01 00");
    assert_eq!(sent[0], "1004 7E8 06 41 00 98 18 00 01 55");
    let at: f64 = sent[1].split(' ').next().unwrap().parse().unwrap();
    assert!((1004.2..1004.3).contains(&at), "{sent:#?}");
}

#[test]
fn the_other_way_of_asking_counts_only_where_it_is_wanted() {
    let asked = "
        1000 7E1 02 01 00
        2000 7E2 02 01 00
        3000 7DF 02 01 1C
        4000 7DF 02 01 46
    ";
    let recording = format!(
        "{RECORDING}\n6000 7E0 02 01 46\n6004 7E8 03 41 46 3C\n6100 7E1 02 01 46\n6102 7E9 03 41 46 3D"
    );
    assert!(Bus::new(&recording, Settings::default()).play(asked).is_empty());
    let any_addressing = true;
    let mut bus = Bus::new(
        &recording,
        Settings {
            any_addressing,
            ..Settings::default()
        },
    );
    // 7EA says nothing in the recording. The refusal of 01 1C is for who is asked alone.
    assert_eq!(
        bus.play(asked),
        [
            "1005.5 7E9 06 41 00 80 00 00 01 55",
            "4002 7E9 03 41 46 3D 55 55 55 55",
            "4004 7E8 03 41 46 3C 55 55 55 55"
        ]
    );
    let counts = bus.car.counts();
    assert_eq!(
        (counts.requests, counts.answered, counts.silent, counts.unknown),
        (4, 2, 1, 1)
    );
}

#[test]
fn a_computer_that_is_late_keeps_the_order() {
    let recording = "
        0 7DF 02 01 00
        4 7E9 06 41 00 80 00 00 01
        6 7E8 06 41 00 98 18 00 01
    ";
    let mut bus = Bus::new(recording, Settings::default());
    let (at, ask) = frame("1000 7DF 02 01 00");
    bus.car.handle_frame(at, &ask);
    bus.car.handle_timeout(BusInstant::from_millis(1020));
    bus.poll(BusInstant::from_millis(1020));
    assert_eq!(
        bus.sent,
        [
            "1020 7E9 06 41 00 80 00 00 01 55",
            "1020 7E8 06 41 00 98 18 00 01 55"
        ]
    );
}

#[test]
fn short_frames_are_taken_where_they_were() {
    let short = "0 7DF 02 01 00 !\n3 7E8 03 41 00 80\n100 7DF 02 01 0C\n103 7E8 04 41 0C 0C 80";
    let mut bus = Bus::new(short, Settings::default());
    assert_eq!(bus.play("1000 7DF 02 01 0C !").len(), 1);
    let unanswered = "0 7DF 02 01 00 !\n100 7DF 02 01 0C\n103 7E8 04 41 0C 0C 80";
    let mut bus = Bus::new(unanswered, Settings::default());
    assert!(bus.play("1000 7DF 02 01 0C !").is_empty());
    assert_eq!((bus.car.counts().short_frames, bus.car.counts().requests), (1, 0));
    assert_eq!(bus.play("30000 7DF 02 01 0C").len(), 1);
}

#[test]
fn what_is_not_whole_is_left_out_and_said() {
    let recording = "
        0   7E8 04 41 0C 0C 80
        100 7DF 02 09 02
        103 7E8 10 14 49 02 01 30 54 57
        200 7DF 02 01 0C
        203 7E8 04 41 0C 0C 80
        300 7DF 02 01 0C
    ";
    let (answers, left_out) = learned(recording, 20);
    let found: Vec<_> = answers
        .questions()
        .map(|question| (question.request, question.times))
        .collect();
    assert_eq!(found, [(&[0x09, 0x02][..], 1), (&[0x01, 0x0C], 1)]);
    assert_eq!(
        left_out,
        LeftOut {
            unasked: 1,
            incomplete: 1,
            cut_off: 1
        }
    );
    let (answers, left_out) = learned(recording, 50);
    assert_eq!((answers.times(QuestionId(1)), left_out.cut_off), (2, 0));
    assert_eq!(answers.replies(QuestionId(1), 1).count(), 0, "silence");
}

#[test]
fn sections_of_a_recording_are_different_times() {
    let mut learner = Learner::default();
    let (at, ask) = frame("0 7DF 02 01 0C");
    learner.on_frame(at, &ask).unwrap();
    learner.on_break(BusInstant::from_millis(1));
    let (at, answer) = frame("0 7E8 04 41 0C 0C 80");
    learner.on_frame(at, &answer).unwrap();
    let (answers, left_out) = learner.finish(at);
    assert_eq!(answers.questions().count(), 0);
    assert_eq!((left_out.unasked, left_out.cut_off), (1, 1));
}

#[test]
fn a_flood_costs_bounded_memory() {
    let mut bus = Bus::new(RECORDING, Settings::default());
    for number in 0..5000_u64 {
        let [low, high, ..] = number.to_le_bytes();
        let frame = Frame::padded(twotrip_can::CanId::Standard(0x7DF), &[3, 0x22, high, low], 0);
        bus.car
            .handle_frame(BusInstant::from_millis(1000 + number), &frame);
        let known = Frame::padded(twotrip_can::CanId::Standard(0x7DF), &[1, 0x04], 0);
        bus.car
            .handle_frame(BusInstant::from_millis(1000 + number), &known);
    }
    assert_eq!(bus.car.unknown().len(), UNKNOWN);
    let counts = bus.car.counts();
    assert_eq!((counts.unknown, counts.unknown_unlisted), (5000, 5000 - 256));
    assert_eq!(counts.answered, 5000);
    assert!(counts.dropped > 4000, "{counts:?}");
    assert!(bus.car.events.len() <= EVENTS);
}

proptest! {
    /// Whatever is in the recording and whatever the tester sends: no panic, and nothing that was not recorded.
    #[test]
    fn only_recorded_replies_are_given(
        recorded in prop::collection::vec((0..3_u8, 0..12_u64, prop::array::uniform8(0..4_u8)), 0..60),
        asked in prop::collection::vec((0..4_u8, 0..30_u64, prop::array::uniform8(0..4_u8)), 0..60),
    ) {
        let id = |number: u8| twotrip_can::CanId::Standard([0x7DF, 0x7E8, 0x7E0, 0x7E9][usize::from(number)]);
        let mut learner = Learner::default();
        let mut at = BusInstant::ZERO;
        for (from, gap, bytes) in recorded {
            at += Duration::from_millis(gap);
            let bytes = bytes.map(|byte| [0x01, 0x02, 0x41, 0x30][usize::from(byte)]);
            learner.on_frame(at, &Frame::padded(id(from), &bytes, 0)).unwrap();
        }
        let (answers, _) = learner.finish(at);
        let known: Vec<(Ecu, Vec<u8>)> = answers
            .questions()
            .flat_map(|question| (0..question.times).map(move |time| (question.id, time)))
            .flat_map(|(id, time)| answers.replies(id, time))
            .map(|reply| (reply.ecu, reply.bytes.to_vec()))
            .collect();
        let mut car = StandIn::new(answers, Settings::default());
        let mut now = BusInstant::ZERO;
        for (from, gap, bytes) in asked {
            let until = now + Duration::from_millis(gap);
            while let Some(at) = car.poll_timeout().filter(|&at| at <= until) {
                now = at.max(now);
                car.handle_timeout(now);
                while let Some(frame) = car.poll_frame(now) {
                    let length = usize::from(frame.data()[0]);
                    if length <= 7 {
                        let found = known.iter().any(|(ecu, reply)| {
                            ecu.response() == frame.id() && reply[..] == frame.data()[1..=length]
                        });
                        prop_assert!(found, "{frame}");
                    }
                    car.handle_transmitted(now);
                }
            }
            now = until;
            let bytes = bytes.map(|byte| [0x01, 0x02, 0x41, 0x30][usize::from(byte)]);
            car.handle_frame(now, &Frame::padded(id(from), &bytes, 0));
        }
    }
}
