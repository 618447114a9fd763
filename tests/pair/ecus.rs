//! Several ECUs of one car on one bus: whole cars against raw frames and well-behaved testers, on the in-memory bus.
//!
//! The cases of the transport that need more than one ECU, or identifiers of 29 bits (33, 34, 60, 61), here with the
//! program's own ECUs; then any number of them with any delays.

mod on_uds;

use std::time::Duration;

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use twotrip_can::{
    CanId, Frame,
    address::EcuAddress,
    memory_bus::{Direction, MemoryBus, NodeConfig, NodeId, Pacing, Passed},
    timing::BitRate,
};
use twotrip_ecu::listed::{ListedEcu, Listing, services};
use twotrip_isotp::{Channel, Config, Event};
use twotrip_obd::{Dialect, Dtc};
use twotrip_scenario::parse_phrase;
use twotrip_sim::{EcuSettings, Identifiers, Seat, Settings, Simulator, Timing};
use twotrip_tests::watched_gearbox;
use twotrip_units::BusInstant;

/// P2 of ISO 15765-4, and what a long answer takes.
const ANSWER: Duration = Duration::from_millis(90);
/// Steps without an end mean that something waits for itself.
const STEPS: usize = 100_000;

/// The listed ECU with this number: its name and its codes tell which it is.
fn listed(number: u8, reply: Option<(Duration, Duration)>) -> EcuSettings {
    listed_in(Dialect::Classic, number, reply)
}

fn listed_in(dialect: Dialect, number: u8, reply: Option<(Duration, Duration)>) -> EcuSettings {
    let mut name = *b"EC?\0-NumberedListed\0";
    name[2] = b'0' + number;
    let code = |high: u8| Dtc::from_bytes([high, number]);
    EcuSettings {
        seat: Seat::Listed(Box::new(ListedEcu::new(Listing {
            dialect,
            services: services(dialect).to_vec(),
            data: vec![(0x40 + number, Box::from([number; 2]))],
            name,
            calibration_id: [b'0' + number; 16],
            confirmed: vec![code(0xC1), code(0xC2), code(0xC3)],
            pending: vec![code(0xC1)],
            permanent: vec![],
        }))),
        number,
        address: 0x40 + number,
        reply,
    }
}

/// A car with so many ECUs, the engine's first.
fn settings(count: u8, identifiers: Identifiers, timing: Timing) -> Settings {
    let others = (1..count).map(|number| listed(number, None));
    Settings {
        identifiers,
        ecus: [EcuSettings::ENGINE].into_iter().chain(others).collect(),
        ..Settings::compact(1, timing)
    }
}

/// A car, and whoever asks, on a bus of 500 kbit/s.
struct Bench {
    car: Simulator,
    addresses: Vec<EcuAddress>,
    /// One an ECU: they pay flow control, and collect the answers. None: nobody pays any.
    testers: Vec<Channel>,
    answers: Vec<Vec<Vec<u8>>>,
    bus: MemoryBus,
    car_node: NodeId,
    tester_node: NodeId,
    now: BusInstant,
    seen: Vec<Passed>,
}

impl Bench {
    fn new(settings: Settings, with_testers: bool) -> Self {
        let mut car = Simulator::new(settings);
        car.tell(parse_phrase("key on").expect("a phrase"));
        while car.is_busy() {
            car.work(Duration::from_secs(60));
            while car.poll_event().is_some() {}
        }
        let addresses: Vec<EcuAddress> = car.ecus().map(|ecu| ecu.address).collect();
        let testers = addresses
            .iter()
            .filter(|_| with_testers)
            .map(|&address| Channel::new(Config::tester(address)));
        let mut bus = MemoryBus::new(Pacing::Rate(BitRate::Kbit500));
        let config = NodeConfig {
            receives_own: true,
            ..NodeConfig::default()
        };
        Self {
            testers: testers.collect(),
            answers: vec![Vec::new(); addresses.len()],
            addresses,
            car,
            car_node: bus.attach(config),
            tester_node: bus.attach(config),
            bus,
            now: BusInstant::ZERO,
            seen: Vec::new(),
        }
    }

    fn tell(&mut self, phrase: &str) {
        self.car.tell(parse_phrase(phrase).expect("a phrase"));
        while self.car.is_busy() {
            self.car.work(Duration::from_secs(60));
            while self.car.poll_event().is_some() {}
        }
    }

    /// A frame of the tester.
    fn send(&mut self, id: CanId, bytes: &[u8]) {
        let sent = self
            .bus
            .send(self.now, self.tester_node, Frame::padded(id, bytes, 0));
        sent.expect("the tester has room");
    }

    /// Asks all, and lets the answers come.
    fn ask(&mut self, request: &[u8]) {
        let functional = self.addresses[0].functional;
        self.ask_at(functional, request);
    }

    fn ask_at(&mut self, id: CanId, request: &[u8]) {
        let mut bytes = vec![u8::try_from(request.len()).expect("short")];
        bytes.extend(request);
        self.seen.clear();
        self.answers.iter_mut().for_each(Vec::clear);
        self.send(id, &bytes);
        self.pass(ANSWER);
    }

    /// Time passes.
    fn pass(&mut self, span: Duration) {
        let until = self.now + span;
        for _ in 0..STEPS {
            self.exchange();
            let deadlines = self.testers.iter().map(Channel::poll_timeout);
            let next = deadlines.chain([self.bus.poll_timeout(), self.car.poll_timeout()]);
            let Some(next) = next.flatten().min().filter(|&next| next <= until) else {
                self.now = until;
                return;
            };
            self.now = next.max(self.now);
            self.car.handle_timeout(self.now);
            for tester in &mut self.testers {
                tester.handle_timeout(self.now);
            }
            self.exchange();
            while let Some(passed) = self.bus.advance(self.now) {
                self.seen.push(passed);
                self.deliver();
                self.exchange();
            }
        }
        panic!("no end after {STEPS} steps at {}", self.now);
    }

    fn deliver(&mut self) {
        while let Some(received) = self.bus.receive(self.car_node) {
            match received.direction {
                Direction::Own => self.car.handle_transmitted(received.at),
                Direction::Other => self.car.handle_frame(received.at, &received.frame),
            }
        }
        while let Some(received) = self.bus.receive(self.tester_node) {
            for tester in &mut self.testers {
                match received.direction {
                    Direction::Own if tester.config().transmit_id == received.frame.id() => {
                        tester.handle_transmitted(received.at);
                    }
                    Direction::Own => {}
                    Direction::Other => tester.handle_frame(received.at, &received.frame),
                }
            }
        }
    }

    /// Frames to the bus, messages from the testers.
    fn exchange(&mut self) {
        while let Some(frame) = self.car.poll_frame(self.now) {
            self.bus
                .send(self.now, self.car_node, frame)
                .expect("one at a time");
        }
        for (tester, answers) in self.testers.iter_mut().zip(&mut self.answers) {
            while let Some(frame) = tester.poll_frame(self.now) {
                self.bus
                    .send(self.now, self.tester_node, frame)
                    .expect("the tester has room");
            }
            while let Some(event) = tester.poll_event() {
                if let Event::Received { addressing } = event {
                    answers.push(tester.message(addressing).to_vec());
                }
            }
        }
        while self.car.poll_event().is_some() {}
    }

    /// Identifiers and first bytes of what the car sent since the last question.
    fn sent(&self) -> Vec<(u32, u8)> {
        let of_car = self.seen.iter().filter(|passed| passed.from == self.car_node);
        of_car
            .map(|passed| (passed.frame.id().raw(), passed.frame.data()[0]))
            .collect()
    }
}

/// Case 33: nobody answers for an ECU that is not there.
#[test]
fn requests_to_absent_ecus_are_not_answered() {
    let mut bench = Bench::new(settings(2, Identifiers::Bits11, Timing::REAL_ON_PACED_BUS), true);
    for number in 0..8 {
        bench.ask_at(CanId::Standard(0x7E0 + number), &[0x01, 0x00]);
        let expected: &[(u32, u8)] = match number {
            0 => &[(0x7E8, 0x06)],
            1 => &[(0x7E9, 0x06)],
            _ => &[],
        };
        assert_eq!(bench.sent(), expected, "{number}");
    }
}

/// Case 34 and its reverse: a car has one size of identifiers and ignores the other.
#[test]
fn the_other_size_is_ignored() {
    for (size, own, other, answers) in [
        (Identifiers::Bits11, 0, 1, [0x7E8, 0x7E9]),
        (Identifiers::Bits29, 1, 0, [0x18DA_F110, 0x18DA_F141]),
    ] {
        let all = [CanId::Standard(0x7DF), CanId::Extended(0x18DB_33F1)];
        let engine = [CanId::Standard(0x7E0), CanId::Extended(0x18DA_10F1)];
        let mut bench = Bench::new(settings(2, size, Timing::REAL_ON_PACED_BUS), true);
        for id in [all[other], engine[other]] {
            bench.ask_at(id, &[0x01, 0x00]);
            assert_eq!(bench.sent(), [], "{size:?}, {id}");
        }
        bench.ask_at(all[own], &[0x01, 0x00]);
        let mut ids: Vec<u32> = bench.sent().iter().map(|(id, _)| *id).collect();
        ids.sort_unstable();
        assert_eq!(ids, answers);
        bench.ask_at(engine[own], &[0x01, 0x00]);
        assert_eq!(bench.sent(), [(answers[0], 0x06)]);
    }
}

/// Case 60: both answer with several frames, and each goes on by its own flow control only.
#[test]
fn each_reacts_to_its_own_flow_control() {
    for size in [Identifiers::Bits11, Identifiers::Bits29] {
        let mut bench = Bench::new(settings(2, size, Timing::FAST), false);
        let [one, other] = bench.addresses[..] else {
            panic!("two ECUs")
        };
        let [first, second] = [one.response.raw(), other.response.raw()];
        bench.send(one.functional, &[2, 0x09, 0x0A]);
        bench.pass(Duration::from_millis(10));
        assert_eq!(bench.sent(), [(first, 0x10), (second, 0x10)], "{size:?}");
        for (address, expected) in [(one, first), (other, second)] {
            bench.seen.clear();
            // To all it is nobody's.
            bench.send(address.functional, &[0x30, 0, 0]);
            bench.pass(Duration::from_millis(5));
            assert_eq!(bench.sent(), []);
            bench.send(address.request, &[0x30, 0, 0]);
            bench.pass(Duration::from_millis(5));
            assert_eq!(
                bench.sent(),
                [0x21, 0x22, 0x23].map(|byte| (expected, byte)),
                "{size:?}"
            );
        }
    }
}

/// Case 61: of eight that are ready together the lowest identifier goes first.
#[test]
fn eight_answer_in_the_order_of_arbitration() {
    for size in [Identifiers::Bits11, Identifiers::Bits29] {
        let mut ecus = settings(8, size, Timing::FAST);
        ecus.ecus.reverse();
        let mut bench = Bench::new(ecus, true);
        bench.ask(&[0x01, 0x00]);
        let ids: Vec<u32> = bench.sent().iter().map(|(id, _)| *id).collect();
        assert_eq!(ids.len(), 8, "{size:?}");
        assert!(ids.is_sorted(), "{size:?}: {ids:X?}");
        // No gap but the intermission between them.
        for pair in bench.seen.windows(2) {
            let gap = pair[1].start.saturating_since(pair[0].at);
            assert_eq!(gap, BitRate::Kbit500.span(3));
        }
    }
}

/// Masks, codes and names of eight ECUs: each says its own.
#[test]
fn eight_are_scanned() {
    for size in [Identifiers::Bits11, Identifiers::Bits29] {
        for timing in [Timing::REAL_ON_PACED_BUS, Timing::REAL, Timing::FAST] {
            let mut bench = Bench::new(settings(8, size, timing), true);
            for (request, of_listed) in [
                (&[0x01, 0x40][..], None),
                (&[0x03], Some([0x43, 3, 0xC1])),
                (&[0x07], Some([0x47, 1, 0xC1])),
                (&[0x0A], None),
                (&[0x09, 0x04], None),
                (&[0x09, 0x0A], Some([0x49, 0x0A, 0x01])),
            ] {
                bench.ask(request);
                for (place, answers) in bench.answers.iter().enumerate() {
                    let [answer] = &answers[..] else {
                        panic!("{size:?}, {timing:?}, {request:02X?}: {place} answered {answers:02X?}")
                    };
                    assert_eq!(answer[0], request[0] + 0x40);
                    if let (Some(beginning), 1..) = (of_listed, place) {
                        assert_eq!(answer[..3], beginning);
                    }
                    if let (0x03 | 0x07, 1..) = (request[0], place) {
                        assert_eq!(usize::from(answer[3]), place, "the code tells whose it is");
                    }
                }
            }
            assert_eq!(bench.car.counts().dropped, 0);
        }
    }
}

/// A clear that goes to all is taken by all or refused by all; one that goes to one clears that one.
#[test]
fn a_clear_is_for_all_or_for_one() {
    let mut bench = Bench::new(settings(3, Identifiers::Bits11, Timing::REAL_ON_PACED_BUS), true);
    let codes = |bench: &mut Bench| {
        bench.ask(&[0x03]);
        bench
            .answers
            .iter()
            .map(|answers| answers[0][1])
            .collect::<Vec<u8>>()
    };
    bench.tell("preload confirmed P0301");
    bench.tell("start");
    bench.ask(&[0x04]);
    let refused = vec![vec![0x7F, 0x04, 0x22]];
    assert_eq!(bench.answers, [refused.clone(), refused.clone(), refused]);
    bench.tell("stop");
    assert_eq!(codes(&mut bench), [1, 3, 3]);
    bench.ask_at(CanId::Standard(0x7E1), &[0x04]);
    assert_eq!(bench.sent(), [(0x7E9, 1)]);
    assert_eq!(codes(&mut bench), [1, 0, 3]);
    bench.ask_at(CanId::Standard(0x7E0), &[0x04]);
    assert_eq!(codes(&mut bench), [0, 0, 3]);
    bench.tell("preload confirmed P0301");
    bench.ask(&[0x04]);
    assert_eq!(codes(&mut bench), [0, 0, 0]);
    assert!(bench.car.not_physical());
}

/// What was cleared in a listed ECU stays cleared through a loss of power, as the engine ECU's memory does.
#[test]
fn a_cleared_list_is_kept() {
    let settings = settings(3, Identifiers::Bits11, Timing::FAST);
    let mut bench = Bench::new(settings.clone(), true);
    let before = bench.car.mark();
    bench.ask_at(CanId::Standard(0x7E2), &[0x04]);
    assert!(!bench.car.keeps_the_same_as(&before));
    let kept = bench.car.store();
    let mut again = Bench::new(settings, true);
    again.car.restore(&kept).expect("it is this car's");
    again.ask(&[0x03]);
    let counts: Vec<u8> = again.answers.iter().map(|answers| answers[0][1]).collect();
    assert_eq!(counts, [0, 3, 0]);
}

/// Any number of ECUs with any delays, asked one after the other: every answer is whole, its ECU's own, and in time.
#[test]
fn no_reply_is_lost_or_mixed() {
    for seed in 0..150 {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let mut below = |most: u32| u8::try_from(dice.next_u32() % most).expect("small");
        let size = Identifiers::ALL[usize::from(below(2))];
        let count = 1 + below(8);
        let timing = [Timing::REAL, Timing::REAL_ON_PACED_BUS, Timing::FAST][usize::from(below(3))];
        let mut settings = settings(count, size, timing);
        for ecu in &mut settings.ecus {
            let least = Duration::from_millis(below(20).into());
            ecu.reply = Some((least, least + Duration::from_millis(below(20).into())));
        }
        settings.seed = seed;
        let mut bench = Bench::new(settings, true);
        for _ in 0..20 {
            let request: &[u8] = [
                &[0x01, 0x00][..],
                &[0x03],
                &[0x09, 0x04],
                &[0x09, 0x0A],
                &[0x09, 0x00],
            ][usize::from(below(5))];
            let alone = below(2) == 0;
            let asked = usize::from(below(count.into()));
            if alone {
                bench.ask_at(bench.addresses[asked].request, request);
            } else {
                bench.ask(request);
            }
            for (place, answers) in bench.answers.iter().enumerate() {
                let expected = usize::from(!alone || place == asked);
                assert_eq!(answers.len(), expected, "seed {seed}, {request:02X?}, {place}");
                for answer in answers {
                    assert_eq!(answer[0], request[0] + 0x40);
                    if request == [0x09, 0x04] && place > 0 {
                        let digit = b'0' + u8::try_from(place).expect("small");
                        assert_eq!(answer[3..], [digit; 16], "seed {seed}");
                    }
                }
            }
            let ends = bench
                .seen
                .iter()
                .zip(bench.seen.iter().skip(1))
                .all(|(one, next)| one.at <= next.start);
            assert!(ends, "one wire");
        }
        assert_eq!(bench.car.counts().dropped, 0, "seed {seed}");
        assert!(bench.car.ecus().all(|ecu| ecu.counts.requests > 0) || count > 4);
    }
}

/// Frames without end to all of eight ECUs: no memory is taken, and the next proper question is answered by all.
#[test]
fn a_flood_takes_no_memory_of_eight() {
    let mut bench = Bench::new(settings(8, Identifiers::Bits11, Timing::REAL), true);
    let mut dice = ChaCha8Rng::seed_from_u64(8);
    let mut flood = |car: &mut Simulator, frames: u32, now: &mut BusInstant| {
        for _ in 0..frames {
            let [kind, a, b, c] = dice.next_u32().to_le_bytes();
            *now += Duration::from_micros(100);
            let id = if kind % 3 == 0 {
                0x7DF
            } else {
                0x7E0 + u16::from(kind % 8)
            };
            let bytes = match c % 4 {
                0 => [2, 0x09, a % 12, 0],
                1 => [0x10 | (a % 16), b, 0x09, 0x02],
                2 => [0x30 | (a % 4), b % 3, c, 0],
                _ => [a, b, c, kind],
            };
            car.handle_frame(*now, &Frame::padded(CanId::Standard(id), &bytes, 0));
            while car.poll_frame(*now).is_some() {
                car.handle_transmitted(*now);
            }
            while car.poll_event().is_some() {}
        }
    };
    let mut now = bench.now;
    flood(&mut bench.car, 1000, &mut now);
    let used = allocation_counter::measure(|| flood(&mut bench.car, 20_000, &mut now));
    assert_eq!(used.count_total, 0, "{used:?}");
    bench.now = now;
    bench.pass(Duration::from_secs(2));
    bench.ask(&[0x03]);
    assert!(
        bench.answers.iter().all(|answers| answers.len() == 1),
        "{:02X?}",
        bench.answers
    );
}

/// The compact car with a transmission ECU beside the engine's.
fn with_transmission() -> Settings {
    Settings {
        ecus: vec![EcuSettings::ENGINE, EcuSettings::TRANSMISSION],
        timing: Timing::REAL_ON_PACED_BUS,
        ..watched_gearbox::settings(1)
    }
}

/// The transmission ECU answers for itself, and keeps its codes when the engine ECU's are cleared, and the other way round.
#[test]
fn each_of_two_simulated_ecus_has_codes_of_its_own() {
    let mut bench = Bench::new(with_transmission(), true);
    let names: Vec<String> = bench.car.ecus().map(|ecu| ecu.acronym().to_owned()).collect();
    assert_eq!(names, ["ECM", "TCM"]);
    bench.tell("preload confirmed P0301");
    bench.tell("defect wiring shift-solenoid-a open");
    bench.tell("drive 50 km/h for 2 min, stop");
    bench.tell("stop");
    let codes = |bench: &mut Bench| {
        bench.ask(&[0x03]);
        bench
            .answers
            .iter()
            .map(|answers| answers[0][2..].to_vec())
            .collect::<Vec<_>>()
    };
    assert_eq!(codes(&mut bench), [vec![0x03, 0x01], vec![0x07, 0x53]]);
    let kept = bench.car.store();
    bench.ask_at(CanId::Standard(0x7E0), &[0x04]);
    assert_eq!(codes(&mut bench), [vec![], vec![0x07, 0x53]]);
    bench.tell("mend wiring shift-solenoid-a");
    bench.ask_at(CanId::Standard(0x7E1), &[0x04]);
    assert!(codes(&mut bench).iter().all(Vec::is_empty));
    let mut again = Bench::new(with_transmission(), true);
    again.car.restore(&kept).expect("it is this car's");
    assert_eq!(codes(&mut again), [vec![0x03, 0x01], vec![0x07, 0x53]]);
}

/// Both refuse a clear while the engine runs; without its supply the transmission ECU is silent, also in the middle of an answer.
#[test]
fn a_transmission_ecu_without_supply_is_silent() {
    let mut bench = Bench::new(with_transmission(), true);
    bench.tell("start");
    bench.ask(&[0x04]);
    assert_eq!(bench.sent(), [(0x7E8, 3), (0x7E9, 3)]);
    bench.tell("stop");
    bench.send(CanId::Standard(0x7E1), &[2, 0x09, 0x0A]);
    bench.testers.clear();
    bench.pass(Duration::from_millis(20));
    assert_eq!(bench.sent().last(), Some(&(0x7E9, 0x10)));
    bench.tell("defect wiring gearbox-controller open");
    bench.tell("wait 100 s");
    bench.seen.clear();
    bench.send(CanId::Standard(0x7E1), &[0x30, 0, 0]);
    bench.pass(ANSWER);
    bench.send(CanId::Standard(0x7DF), &[2, 0x01, 0x00]);
    bench.pass(ANSWER);
    assert_eq!(bench.sent(), [(0x7E8, 6)]);
}
