//! The tester at exact instants: frames of ECUs come by script, our own are acknowledged at once.

extern crate std;
use core::time::Duration;
use std::{format, string::String, vec};

use twotrip_can::{
    CanId,
    memory_bus::{Direction, MemoryBus, NodeConfig, Pacing},
    timing::BitRate,
};

use super::*;

fn at(millis: u64) -> BusInstant {
    BusInstant::from_millis(millis)
}

fn ecu(n: u8) -> EcuNumber {
    EcuNumber::new(n).expect("up to 7")
}

fn from_ecu(n: u8, bytes: &[u8]) -> Frame {
    Frame::padded(ecu(n).address().response, bytes, 0)
}

/// A tester with a record of what it sent and reported, one line each: `<ms> <frame or event>`.
struct Bench {
    tester: Tester,
    now: BusInstant,
    record: Vec<String>,
    acknowledges: bool,
}

impl Bench {
    fn new() -> Self {
        Self {
            tester: Tester::new(TesterConfig::default()),
            now: at(0),
            record: Vec::new(),
            acknowledges: true,
        }
    }

    /// A tester that knows ECUs 0 and 1, with an empty record, at 1000 ms.
    fn with_two_known() -> Self {
        let mut bench = Self::new();
        bench.ask(Target::Functional, &[0x01, 0x00]);
        bench.frame(1, from_ecu(0, &[6, 0x41, 0, 1, 2, 3, 4]));
        bench.frame(2, from_ecu(1, &[6, 0x41, 0, 1, 2, 3, 4]));
        bench.run(1000);
        bench.record.clear();
        bench
    }

    fn ask(&mut self, target: Target, request: &[u8]) {
        self.tester.request(self.now, target, request).expect("idle");
        self.flush();
    }

    /// Lets the frame come in at that millisecond.
    fn frame(&mut self, millis: u64, frame: Frame) {
        self.run(millis);
        self.tester.handle_frame(self.now, &frame);
        self.flush();
    }

    /// Lets time pass, waking the tester when it wants.
    fn run(&mut self, millis: u64) {
        while let Some(next) = self.tester.poll_timeout().filter(|&next| next <= at(millis)) {
            assert!(
                next > self.now,
                "the tester wants to be woken at {next}, it is {}",
                self.now
            );
            self.now = next;
            self.tester.handle_timeout(next);
            self.flush();
        }
        self.now = at(millis);
    }

    fn flush(&mut self) {
        let millis = self.now.as_nanos() / 1_000_000;
        loop {
            if let Some(frame) = self.tester.poll_frame(self.now) {
                self.record.push(format!("{millis} {frame}"));
                if self.acknowledges {
                    self.tester.handle_transmitted(self.now);
                }
            } else if let Some(event) = self.tester.poll_event() {
                self.record.push(match event {
                    Event::Answer { ecu, after } => {
                        format!(
                            "{millis} {ecu} answers {:02X?} after {after:?}",
                            self.tester.answer(ecu)
                        )
                    }
                    Event::Finished { answers, outcome } => {
                        format!("{millis} finished {answers} {outcome:?}")
                    }
                    other => format!("{millis} {other:?}"),
                });
            } else {
                return;
            }
        }
    }

    #[track_caller]
    fn expect(&self, record: &[&str]) {
        assert_eq!(self.record, record, "\n{:#?}", self.record);
    }
}

/// 29-bit identifiers of ISO 15765-4 (from memory): all are asked on 18DB33F1, ECU 10 is steered on 18DA10F1.
#[test]
fn identifiers_of_29_bits_are_asked_and_heard() {
    let mut bench = Bench::new();
    bench.tester = Tester::new(TesterConfig::default().extended(&[0x10]));
    bench.ask(Target::Functional, &[0x09, 0x04]);
    let answers = CanId::Extended(0x18DA_F110);
    let first = Frame::padded(answers, &[0x10, 0x08, 0x49, 0x04, 0, 0, 0, 0], 0);
    bench.frame(3, first);
    bench.frame(4, Frame::padded(answers, &[0x21, 0, 0], 0));
    bench.run(200);
    let sent: Vec<_> = bench.record.iter().filter(|line| line.contains("18D")).collect();
    assert!(
        sent[0].contains("18DB33F1") && sent[1].contains("18DA10F1"),
        "{:?}",
        bench.record
    );
    assert_eq!(bench.tester.answer(ecu(0)), [0x49, 0x04, 0, 0, 0, 0, 0, 0]);
}

#[test]
fn physical_exchange_ends_with_the_answer() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(1)), &[0x03]);
    bench.frame(20, from_ecu(1, &[4, 0x43, 1, 0x04, 0x55]));
    bench.run(500);
    bench.expect(&[
        "0 7E1#01 03 00 00 00 00 00 00",
        "20 7E9 answers [43, 01, 04, 55] after 20ms",
        "20 finished 1 Answered",
    ]);
}

/// P2 and its allowance, 50 ms each.
#[test]
fn silence_ends_the_exchange_after_p2() {
    let mut bench = Bench::new();
    bench.ask(Target::Functional, &[0x0A]);
    bench.run(99);
    assert!(bench.tester.is_busy());
    assert_eq!(
        bench.tester.request(at(99), Target::Functional, &[0x03]),
        Err(RequestError::Unfinished)
    );
    bench.run(500);
    bench.expect(&["0 7DF#01 0A 00 00 00 00 00 00", "100 finished 0 Silent"]);
}

#[test]
fn first_round_waits_for_all_and_later_ones_for_those_that_are_there() {
    let mut bench = Bench::new();
    bench.ask(Target::Functional, &[0x01, 0x00]);
    bench.frame(1, from_ecu(0, &[6, 0x41, 0, 1, 2, 3, 4]));
    bench.frame(2, from_ecu(2, &[6, 0x41, 0, 1, 2, 3, 4]));
    bench.run(200);
    assert!(bench.tester.known_ecus().eq([ecu(0), ecu(2)]));
    bench.ask(Target::Functional, &[0x07]);
    bench.frame(230, from_ecu(2, &[2, 0x47, 0]));
    bench.frame(240, from_ecu(0, &[2, 0x47, 0]));
    bench.expect(&[
        "0 7DF#02 01 00 00 00 00 00 00",
        "1 7E8 answers [41, 00, 01, 02, 03, 04] after 1ms",
        "2 7EA answers [41, 00, 01, 02, 03, 04] after 2ms",
        "100 finished 2 Answered",
        "200 7DF#01 07 00 00 00 00 00 00",
        "230 7EA answers [47, 00] after 30ms",
        "240 7E8 answers [47, 00] after 40ms",
        "240 finished 2 Answered",
    ]);
}

/// Each ECU has its flow control on its own identifier (ISO 15765-4), and an answer that began in time may end later.
#[test]
fn answers_of_two_ecus_may_interleave() {
    let mut bench = Bench::with_two_known();
    bench.ask(Target::Functional, &[0x09, 0x04]);
    bench.frame(1010, from_ecu(0, &[0x10, 8, 0x49, 0x04, 1, 2, 3, 4]));
    bench.frame(1099, from_ecu(1, &[0x10, 8, 0x49, 0x04, 9, 8, 7, 6]));
    bench.frame(1120, from_ecu(1, &[0x21, 5, 4]));
    bench.frame(1130, from_ecu(0, &[0x21, 5, 6]));
    bench.expect(&[
        "1000 7DF#02 09 04 00 00 00 00 00",
        "1010 7E0#30 00 00 00 00 00 00 00",
        "1099 7E1#30 00 00 00 00 00 00 00",
        "1120 7E9 answers [49, 04, 09, 08, 07, 06, 05, 04] after 99ms",
        "1130 7E8 answers [49, 04, 01, 02, 03, 04, 05, 06] after 10ms",
        "1130 finished 2 Answered",
    ]);
}

/// 7F xx 78: P2* from then on, each time anew.
#[test]
fn pending_answer_is_waited_for() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(0)), &[0x04]);
    bench.frame(10, from_ecu(0, &[3, 0x7F, 0x04, 0x78]));
    bench.frame(4000, from_ecu(0, &[3, 0x7F, 0x04, 0x78]));
    bench.frame(9000, from_ecu(0, &[1, 0x44]));
    bench.expect(&[
        "0 7E0#01 04 00 00 00 00 00 00",
        "10 Pending { ecu: EcuNumber(0) }",
        "4000 Pending { ecu: EcuNumber(0) }",
        "9000 7E8 answers [44] after 9s",
        "9000 finished 1 Answered",
    ]);
}

#[test]
fn answer_that_was_announced_and_never_comes_leaves_the_exchange_incomplete() {
    let mut bench = Bench::with_two_known();
    bench.ask(Target::Functional, &[0x04]);
    bench.frame(1010, from_ecu(0, &[3, 0x7F, 0x04, 0x78]));
    bench.frame(1020, from_ecu(1, &[1, 0x44]));
    bench.run(20_000);
    bench.expect(&[
        "1000 7DF#01 04 00 00 00 00 00 00",
        "1010 Pending { ecu: EcuNumber(0) }",
        "1020 7E9 answers [44] after 20ms",
        "6060 finished 1 Incomplete",
    ]);
}

#[test]
fn endless_announcements_end() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(0)), &[0x04]);
    for second in 0..200 {
        bench.frame(second * 1000 + 10, from_ecu(0, &[3, 0x7F, 0x04, 0x78]));
    }
    assert!(bench.record.contains(&"120000 finished 0 Incomplete".into()));
}

/// 7F xx 21: again after 200 ms, up to six times; then it is the answer (ISO 15765-4, from memory).
#[test]
fn request_to_a_busy_ecu_is_repeated() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(0)), &[0x03]);
    bench.frame(10, from_ecu(0, &[3, 0x7F, 0x03, 0x21]));
    bench.frame(220, from_ecu(0, &[2, 0x43, 0]));
    bench.expect(&[
        "0 7E0#01 03 00 00 00 00 00 00",
        "10 Busy { ecu: EcuNumber(0) }",
        "210 7E0#01 03 00 00 00 00 00 00",
        "220 7E8 answers [43, 00] after 10ms",
        "220 finished 1 Answered",
    ]);
}

#[test]
fn ecu_that_stays_busy_is_asked_seven_times() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(0)), &[0x03]);
    for round in 0..7 {
        bench.frame(10 + round * 210, from_ecu(0, &[3, 0x7F, 0x03, 0x21]));
    }
    bench.run(10_000);
    let sent = bench
        .record
        .iter()
        .filter(|line| line.contains("7E0#01 03"))
        .count();
    assert_eq!(sent, 7);
    assert!(bench.record.ends_with(&[
        "1270 7E8 answers [7F, 03, 21] after 10ms".into(),
        "1270 finished 1 Answered".into()
    ]));
}

/// The others answer the repeated request again; that is no second answer.
#[test]
fn repeated_functional_request_counts_each_ecu_once() {
    let mut bench = Bench::with_two_known();
    bench.ask(Target::Functional, &[0x03]);
    bench.frame(1010, from_ecu(0, &[2, 0x43, 0]));
    bench.frame(1020, from_ecu(1, &[3, 0x7F, 0x03, 0x21]));
    bench.frame(1230, from_ecu(0, &[2, 0x43, 0]));
    bench.frame(1240, from_ecu(1, &[2, 0x43, 0]));
    bench.expect(&[
        "1000 7DF#01 03 00 00 00 00 00 00",
        "1010 7E8 answers [43, 00] after 10ms",
        "1020 Busy { ecu: EcuNumber(1) }",
        "1220 7DF#01 03 00 00 00 00 00 00",
        "1230 Ignored { ecu: EcuNumber(0), reason: Unasked }",
        "1240 7E9 answers [43, 00] after 20ms",
        "1240 finished 2 Answered",
    ]);
}

#[test]
fn what_answers_another_question_or_was_not_asked_is_ignored() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(0)), &[0x03]);
    bench.frame(1, from_ecu(0, &[2, 0x47, 0]));
    bench.frame(2, from_ecu(0, &[3, 0x7F, 0x07, 0x78]));
    bench.frame(3, from_ecu(1, &[2, 0x43, 0]));
    bench.frame(4, Frame::padded(CanId::Standard(0x123), &[2, 0x43, 0], 0));
    bench.frame(5, Frame::padded(CanId::Extended(0x7E8), &[2, 0x43, 0], 0));
    bench.frame(6, from_ecu(0, &[0x00]));
    bench.frame(7, from_ecu(0, &[3, 0x7F, 0x03, 0x11]));
    // Between exchanges nobody has flow control from us.
    bench.frame(8, from_ecu(0, &[0x10, 20, 0x49, 2, 1, 1, 1, 1]));
    bench.run(500);
    bench.expect(&[
        "0 7E0#01 03 00 00 00 00 00 00",
        "1 Ignored { ecu: EcuNumber(0), reason: OtherService { service: 3, found: 71 } }",
        "2 Ignored { ecu: EcuNumber(0), reason: OtherService { service: 3, found: 127 } }",
        "3 Ignored { ecu: EcuNumber(1), reason: Unasked }",
        "6 Ignored { ecu: EcuNumber(0), reason: Transport(Malformed(SingleFrameLength { found: 0 })) }",
        "7 7E8 answers [7F, 03, 11] after 7ms",
        "7 finished 1 Answered",
        "8 Ignored { ecu: EcuNumber(0), reason: Unasked }",
    ]);
}

/// SAE J1979: an answer begins with a parameter that was asked for. What does not is late, or for another tester.
#[test]
fn an_answer_about_another_parameter_is_ignored() {
    let rows: [(&[u8], &[u8], &[u8]); 5] = [
        (
            &[3, 0x01, 0x0C, 0x0D],
            &[4, 0x41, 0x05, 0x50],
            &[3, 0x41, 0x0D, 0x00],
        ),
        (
            &[3, 0x02, 0x0C, 0x00],
            &[5, 0x42, 0x05, 0x00, 0x50],
            &[5, 0x42, 0x0C, 0x00, 0x1A],
        ),
        (&[2, 0x06, 0x01], &[3, 0x46, 0x02, 0x01], &[3, 0x46, 0x01, 0x01]),
        (&[2, 0x09, 0x0A], &[3, 0x49, 0x02, 0x01], &[3, 0x49, 0x0A, 0x01]),
        (
            &[3, 0x22, 0xF8, 0x02],
            &[4, 0x62, 0xF8, 0x04, 0x01],
            &[4, 0x62, 0xF8, 0x02, 0x01],
        ),
    ];
    for (request, other, right) in rows {
        let mut bench = Bench::new();
        bench.ask(Target::Ecu(ecu(0)), &request[1..]);
        bench.frame(1, from_ecu(0, other));
        bench.frame(2, from_ecu(0, right));
        let record = &bench.record[1..];
        assert!(record[0].contains("OtherParameter"), "{record:?}");
        assert!(record[1].contains("7E8 answers"), "{record:?}");
    }
}

/// ISO 15765-2:2016 9.6.4.4: after a wrong sequence number the rest of the message is ignored. Who still sends it does not
/// hear another request, so the exchange ends once it must be over (N_Cr).
#[test]
fn the_rest_of_a_broken_answer_is_waited_for() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(0)), &[0x09, 0x02]);
    bench.frame(10, from_ecu(0, &[0x10, 20, 0x49, 2, 1, 1, 1, 1]));
    bench.frame(12, from_ecu(0, &[0x22, 1, 1, 1, 1, 1, 1, 1]));
    bench.run(500);
    bench.expect(&[
        "0 7E0#02 09 02 00 00 00 00 00",
        "10 7E0#30 00 00 00 00 00 00 00",
        "12 Failed { ecu: Some(EcuNumber(0)), result: WrongSn { expected: 1, found: 2 } }",
        "162 finished 0 Incomplete",
    ]);
}

/// N_Cr, 150 ms (ISO 15765-4).
#[test]
fn answer_that_breaks_off_is_reported() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(0)), &[0x09, 0x02]);
    bench.frame(10, from_ecu(0, &[0x10, 20, 0x49, 2, 1, 1, 1, 1]));
    bench.run(500);
    bench.expect(&[
        "0 7E0#02 09 02 00 00 00 00 00",
        "10 7E0#30 00 00 00 00 00 00 00",
        "160 Failed { ecu: Some(EcuNumber(0)), result: TimeoutCr }",
        "160 finished 0 Incomplete",
    ]);
}

/// N_As, 25 ms: nobody on the bus acknowledges.
#[test]
fn request_that_the_bus_does_not_take_is_reported() {
    let mut bench = Bench::new();
    bench.acknowledges = false;
    bench.ask(Target::Functional, &[0x01, 0x00]);
    bench.run(500);
    bench.expect(&[
        "0 7DF#02 01 00 00 00 00 00 00",
        "25 Failed { ecu: None, result: TimeoutA }",
        "25 finished 0 NotSent",
    ]);
}

#[test]
fn answer_may_overtake_the_acknowledgement_of_the_request() {
    let mut bench = Bench::new();
    bench.acknowledges = false;
    bench.ask(Target::Ecu(ecu(0)), &[0x03]);
    bench.frame(1, from_ecu(0, &[2, 0x43, 0]));
    bench.tester.handle_transmitted(at(1));
    bench.run(500);
    bench.expect(&[
        "0 7E0#01 03 00 00 00 00 00 00",
        "1 7E8 answers [43, 00] after 0ns",
        "1 finished 1 Answered",
    ]);
}

#[test]
fn busy_ecu_may_overtake_the_acknowledgement_of_the_request() {
    let mut bench = Bench::new();
    bench.acknowledges = false;
    bench.ask(Target::Ecu(ecu(0)), &[0x03]);
    bench.frame(1, from_ecu(0, &[3, 0x7F, 0x03, 0x21]));
    bench.tester.handle_transmitted(at(1));
    bench.run(201);
    bench.expect(&[
        "0 7E0#01 03 00 00 00 00 00 00",
        "1 Busy { ecu: EcuNumber(0) }",
        "201 7E0#01 03 00 00 00 00 00 00",
    ]);
}

/// A flow control that the bus did not take is not confused with one that it took later.
#[test]
fn acknowledgement_belongs_to_the_oldest_frame_that_still_waits_for_one() {
    let mut bench = Bench::with_two_known();
    bench.ask(Target::Functional, &[0x09, 0x04]);
    bench.acknowledges = false;
    bench.frame(1010, from_ecu(0, &[0x10, 8, 0x49, 0x04, 1, 2, 3, 4]));
    bench.run(1040);
    bench.acknowledges = true;
    bench.frame(1050, from_ecu(1, &[0x10, 8, 0x49, 0x04, 1, 2, 3, 4]));
    bench.frame(1120, from_ecu(1, &[0x21, 5, 6]));
    bench.expect(&[
        "1000 7DF#02 09 04 00 00 00 00 00",
        "1010 7E0#30 00 00 00 00 00 00 00",
        "1035 Failed { ecu: Some(EcuNumber(0)), result: TimeoutA }",
        "1050 7E1#30 00 00 00 00 00 00 00",
        "1120 7E9 answers [49, 04, 01, 02, 03, 04, 05, 06] after 50ms",
        "1120 finished 1 Incomplete",
    ]);
}

#[test]
fn missing_acknowledgements_take_no_memory() {
    let mut bench = Bench::new();
    bench.acknowledges = false;
    for round in 0..100 {
        bench.ask(Target::Ecu(ecu(0)), &[0x03]);
        assert_eq!(bench.tester.answer(ecu(0)), [], "the answer before is gone");
        bench.frame(round * 2 + 1, from_ecu(0, &[2, 0x43, 0]));
    }
    assert_eq!(bench.tester.in_flight.len(), 1);
}

/// N_UNEXP_PDU: what counts is the message that is complete.
#[test]
fn answer_that_begins_anew_is_an_answer() {
    let mut bench = Bench::new();
    bench.ask(Target::Ecu(ecu(0)), &[0x09, 0x04]);
    bench.frame(10, from_ecu(0, &[0x10, 8, 0x49, 0x04, 1, 2, 3, 4]));
    bench.frame(20, from_ecu(0, &[0x10, 8, 0x49, 0x04, 1, 2, 3, 5]));
    bench.frame(30, from_ecu(0, &[0x21, 5, 6]));
    bench.expect(&[
        "0 7E0#02 09 04 00 00 00 00 00",
        "10 7E0#30 00 00 00 00 00 00 00",
        "20 7E0#30 00 00 00 00 00 00 00",
        "20 Failed { ecu: Some(EcuNumber(0)), result: UnexpPdu }",
        "30 7E8 answers [49, 04, 01, 02, 03, 05, 05, 06] after 20ms",
        "30 finished 1 Answered",
    ]);
}

/// An ECU without pending codes need not be one that was missing in another round: only 01 00 finds all.
#[test]
fn only_the_first_round_tells_who_is_there() {
    let mut bench = Bench::new();
    bench.ask(Target::Functional, &[0x07]);
    bench.frame(10, from_ecu(0, &[2, 0x47, 0]));
    bench.run(99);
    assert!(bench.tester.is_busy());
    bench.run(200);
    assert_eq!(bench.tester.known_ecus().count(), 0);
}

/// Requests to one ECU may need several frames; those to all may not.
#[test]
fn long_request_goes_to_one_ecu_only() {
    let mut bench = Bench::new();
    let request = [0x22, 1, 2, 3, 4, 5, 6, 7, 8];
    assert_eq!(
        bench.tester.request(at(0), Target::Functional, &request),
        Err(RequestError::TooLongForAll { length: 9 })
    );
    assert_eq!(
        bench.tester.request(at(0), Target::Functional, &[]),
        Err(RequestError::Transport(SendError::Empty))
    );
    bench.ask(Target::Ecu(ecu(0)), &request);
    bench.frame(5, from_ecu(0, &[0x30, 0, 0]));
    bench.frame(90, from_ecu(0, &[3, 0x7F, 0x22, 0x31]));
    bench.expect(&[
        "0 7E0#10 09 22 01 02 03 04 05",
        "5 7E0#21 06 07 08 00 00 00 00",
        "90 7E8 answers [7F, 22, 31] after 85ms",
        "90 finished 1 Answered",
    ]);
}

#[test]
fn flood_between_exchanges_takes_no_memory() {
    let mut tester = Tester::new(TesterConfig::default());
    for _ in 0..10_000 {
        tester.handle_frame(at(0), &from_ecu(0, &[0xFF; 8]));
    }
    assert_eq!(tester.lost_events(), 10_000 - 8);
    assert!(tester.events.capacity() < 2 * EVENTS);
}

/// Eight ECUs with 20 bytes each, all at once, on a bus paced bit by bit.
#[test]
fn eight_ecus_answer_at_once_on_a_paced_bus() {
    let mut bus = MemoryBus::new(Pacing::Rate(BitRate::Kbit500));
    let mut tester = Tester::new(TesterConfig::default());
    let confirmed = NodeConfig {
        receives_own: true,
        ..NodeConfig::default()
    };
    let own = bus.attach(confirmed);
    let mut ecus: Vec<_> = EcuNumber::all()
        .map(|ecu| (bus.attach(confirmed), Channel::new(Config::ecu(ecu.address()))))
        .collect();
    let mut now = at(0);
    let mut answers = vec![Vec::new(); 8];
    let mut finished = None;
    tester
        .request(now, Target::Functional, &[0x09, 0x04])
        .expect("idle");
    while finished.is_none() {
        while let Some(frame) = tester.poll_frame(now) {
            bus.send(now, own, frame).expect("room");
        }
        while let Some(event) = tester.poll_event() {
            match event {
                Event::Answer { ecu, .. } => answers[ecu.index()] = tester.answer(ecu).to_vec(),
                Event::Finished { answers, outcome } => finished = Some((answers, outcome)),
                other => panic!("{other:?} at {now}"),
            }
        }
        for (number, (node, channel)) in ecus.iter_mut().enumerate() {
            while let Some(event) = channel.poll_event() {
                if let twotrip_isotp::Event::Received { .. } = event {
                    let mut answer = [u8::try_from(number).expect("below 8"); 20];
                    answer[..2].copy_from_slice(&[0x49, 0x04]);
                    channel.send(now, &answer).expect("idle");
                }
            }
            while let Some(frame) = channel.poll_frame(now) {
                bus.send(now, *node, frame).expect("room");
            }
        }
        let deadlines = ecus.iter().map(|(_, channel)| channel.poll_timeout());
        let deadlines = deadlines.chain([tester.poll_timeout(), bus.poll_timeout()]);
        let Some(next) = deadlines.flatten().min() else {
            break;
        };
        now = next;
        tester.handle_timeout(now);
        for (_, channel) in &mut ecus {
            channel.handle_timeout(now);
        }
        bus.advance(now);
        while let Some(received) = bus.receive(own) {
            match received.direction {
                Direction::Own => tester.handle_transmitted(now),
                Direction::Other => tester.handle_frame(now, &received.frame),
            }
        }
        for (node, channel) in &mut ecus {
            while let Some(received) = bus.receive(*node) {
                match received.direction {
                    Direction::Own => channel.handle_transmitted(now),
                    Direction::Other => channel.handle_frame(now, &received.frame),
                }
            }
        }
    }
    assert_eq!(finished, Some((8, Outcome::Answered)));
    for (number, answer) in (0..8).zip(answers) {
        assert_eq!(answer[..2], [0x49, 0x04]);
        assert_eq!(answer[2..], [number; 18]);
    }
    assert!(now < at(100) + Duration::from_millis(20), "{now}");
}
