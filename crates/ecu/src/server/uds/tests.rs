//! Requests and answers, byte for byte, and the status of a code through its life.

extern crate std;

use std::vec::Vec;

use twotrip_obd::{Dtc, Group, InUseItem};
use twotrip_units::{AngularSpeed, CarInstant, Speed};

use super::*;
use crate::{
    Calibration,
    data::LiveData,
    memory::{
        Catalogue, CodeDefinition, Denominator, Fact, FaultMemory, InUseTracking, Logic, MonitorDefinition,
        MonitorId, Profile,
    },
    monitors::Monitors,
    server::{Identity, Overrides, Served},
};

const LEAK: MonitorId = MonitorId(0);
const CIRCUIT: MonitorId = MonitorId(1);

static CATALOGUE: Catalogue = Catalogue {
    monitors: &[
        MonitorDefinition {
            in_use: Some(InUseTracking {
                item: InUseItem::Evap,
                denominator: Denominator::Evap,
            }),
            ..MonitorDefinition::named("evap leak", Group::Evap)
        },
        MonitorDefinition::named("circuits", Group::Components),
    ],
    codes: &[
        CodeDefinition::standard(Dtc::p(0x0455), LEAK, "gross leak"),
        CodeDefinition::standard(Dtc::p(0x0113), CIRCUIT, "intake air: circuit high"),
        CodeDefinition {
            logic: Logic::Misfire,
            ..CodeDefinition::standard(Dtc::p(0x0301), CIRCUIT, "misfire: cylinder 1")
        },
        CodeDefinition {
            commands_mil: false,
            ..CodeDefinition::standard(Dtc::p(0x0117), CIRCUIT, "coolant: circuit low")
        },
        CodeDefinition::standard(Dtc::p(0x0122), CIRCUIT, "throttle: circuit low"),
        CodeDefinition::standard(Dtc::p(0x0123), CIRCUIT, "throttle: circuit high"),
        CodeDefinition::standard(Dtc::p(0x0452), CIRCUIT, "pressure: circuit low"),
    ],
};

struct Bench {
    live: LiveData,
    memory: FaultMemory,
    monitors: Monitors,
    identity: Identity,
    calibration: Calibration,
    served: Served,
    overrides: Overrides,
    key_on: bool,
    engine_running: bool,
    vehicle_moving: bool,
    response: ResponseBuffer,
}

impl Bench {
    fn new() -> Self {
        let calibration = Calibration::compact_2_0();
        Self {
            live: LiveData {
                engine_speed: AngularSpeed::from_rpm(1726.0),
                vehicle_speed: Speed::from_kilometres_per_hour(80.0),
                ..LiveData::default()
            },
            memory: FaultMemory::new(&Profile::US_2010, &CATALOGUE).with_detail(),
            monitors: Monitors::default(),
            identity: Identity::engine(&Profile::US_2010, &CATALOGUE, &calibration),
            served: Served::by(&calibration),
            calibration,
            overrides: Overrides::NONE,
            key_on: true,
            engine_running: false,
            vehicle_moving: false,
            response: ResponseBuffer::new(),
        }
    }

    fn tell(&mut self, facts: &[Fact]) -> &mut Self {
        for fact in facts {
            let _ = self.memory.apply(CarInstant::ZERO, fact, &self.live);
        }
        self
    }

    /// A driving cycle in which the codes fail.
    fn fail(&mut self, codes: &[u16]) -> &mut Self {
        self.tell(&[Fact::EngineStarted]);
        for &code in codes {
            self.tell(&[Fact::Failed { dtc: Dtc::p(code) }]);
        }
        self.tell(&[Fact::EngineStopped])
    }

    fn ask(&mut self, addressing: Addressing, request: &[u8]) -> (Answer, Vec<u8>) {
        let context = Context {
            live: &self.live,
            memory: &self.memory,
            monitors: Some(&self.monitors),
            identity: &self.identity,
            key_on: self.key_on,
            engine_running: self.engine_running,
            vehicle_moving: self.vehicle_moving,
            overrides: &self.overrides,
            calibration: &self.calibration,
            served: &self.served,
        };
        let answer = answer(&context, addressing, request, &mut self.response);
        (answer, self.response.to_vec())
    }

    /// The ECU, asked alone, answers this; nothing is silence.
    #[track_caller]
    fn expect(&mut self, request: &[u8], expected: &[u8]) {
        let (answer, bytes) = self.ask(Addressing::Physical, request);
        assert_eq!(bytes, expected, "{request:02X?}: {answer:?}");
        assert_eq!(answer.is_sent(), !expected.is_empty());
    }

    fn status(&self, code: u16) -> u8 {
        let detail = self.memory.detail(Dtc::p(code)).expect("a code of this ECU");
        detail.status.to_byte()
    }
}

/// ISO 14229-1, annex D.2; what the bits mean for OBD from memory: after a clear $50, first trip $27, second $AF, three good
/// trips $28. The start of a driving cycle sets bit 6 and takes bit 1 back.
#[test]
fn the_status_byte_follows_the_life_of_a_code() {
    const DTC: Dtc = Dtc::p(0x0455);
    let mut bench = Bench::new();
    let (start, stop) = (Fact::EngineStarted, Fact::EngineStopped);
    let (fail, pass) = (Fact::Failed { dtc: DTC }, Fact::Passed { dtc: DTC });
    let mut steps = std::vec![
        (None, 0x50),
        (Some(start), 0x50),
        (Some(fail), 0x27),
        (Some(stop), 0x27),
        (Some(start), 0x65),
        (Some(fail), 0xAF),
        (Some(stop), 0xAF),
        (Some(start), 0xED),
        (Some(pass), 0xAC),
        (Some(stop), 0xA8),
    ];
    steps.extend([(Some(start), 0xE8), (Some(pass), 0xA8), (Some(stop), 0xA8)]);
    steps.extend([(Some(start), 0xE8), (Some(pass), 0xA8), (Some(stop), 0x28)]);
    steps.extend([(Some(start), 0x68), (Some(Fact::Clear), 0x50), (Some(pass), 0x00)]);
    for (place, (fact, expected)) in steps.into_iter().enumerate() {
        bench.tell(fact.as_slice());
        let found = bench.status(0x0455);
        assert_eq!(
            found, expected,
            "step {place}: {found:02X}, not {expected:02X}, after {fact:?}"
        );
    }
}

/// ISO 14229-1; check values of the answers: `50 01 00 32 01 F4`, `7E 00` or silence.
#[test]
fn sessions_and_tester_present() {
    let mut bench = Bench::new();
    bench.expect(&[0x10, 0x01], &[0x50, 0x01, 0x00, 0x32, 0x01, 0xF4]);
    bench.expect(&[0x10, 0x81], &[]);
    bench.expect(&[0x10, 0x03], &[0x7F, 0x10, 0x12]);
    // Bit 7 suppresses positive answers only.
    bench.expect(&[0x10, 0x83], &[0x7F, 0x10, 0x12]);
    bench.expect(&[0x10], &[0x7F, 0x10, 0x13]);
    bench.expect(&[0x3E, 0x00], &[0x7E, 0x00]);
    bench.expect(&[0x3E, 0x80], &[]);
    bench.expect(&[0x3E, 0x02], &[0x7F, 0x3E, 0x12]);
}

/// An article on SAE J1979-2: such a car does not answer the services of SAE J1979. Others: AUTOSAR SWS_Dcm_00001.
#[test]
fn the_other_dialect_is_met_with_silence() {
    let mut bench = Bench::new();
    for service in 0x01..=0x0A {
        for addressing in [Addressing::Functional, Addressing::Physical] {
            assert_eq!(bench.ask(addressing, &[service, 0x00]).0, Answer::Silence);
        }
    }
    for answers_of_others in [&[0x62, 0xF8, 0x10, 0x01][..], &[0x54], &[0x7F, 0x22, 0x31], &[]] {
        bench.expect(answers_of_others, &[]);
    }
    bench.expect(&[0x11, 0x01], &[0x7F, 0x11, 0x11]);
    bench.expect(&[0x27, 0x01], &[0x7F, 0x27, 0x11]);
}

/// AUTOSAR SWS_Dcm_00001: $11, $12 and $31 are kept quiet where all were asked, $13 and $22 are not.
#[test]
fn refusals_go_by_whom_was_asked() {
    let mut bench = Bench::new();
    bench.engine_running = true;
    for (request, code, quiet) in [
        (&[0x11, 0x01][..], 0x11, true),
        (&[0x19, 0x02, 0xFF], 0x12, true),
        (&[0x22, 0xF4, 0x02], 0x31, true),
        (&[0x22, 0xF1, 0x90], 0x31, true),
        (&[0x19, 0x42, 0xD0, 0xFF, 0xFF], 0x31, true),
        (&[0x19, 0x55, 0xFF], 0x31, true),
        (&[0x19, 0x56, 0x33, 0x00], 0x31, true),
        (&[0x19, 0x1A, 0x93], 0x31, true),
        (&[0x19, 0x04, 0x04, 0x55, 0x00, 0x00], 0x31, true),
        (&[0x19, 0x04, 0x04, 0x55, 0x7A, 0x01], 0x31, true),
        (&[0x19, 0x06, 0x04, 0x55, 0x7A, 0x93], 0x31, true),
        (&[0x14, 0xFF, 0xFF, 0xFF], 0x31, true),
        (&[0x31, 0x01, 0xE0, 0x02], 0x31, true),
        (&[0x31, 0x03, 0xE0, 0x01], 0x12, true),
        (&[0x22, 0xF4], 0x13, false),
        (&[0x14, 0xFF], 0x13, false),
        (&[0x19, 0x42, 0x33, 0x08], 0x13, false),
        (&[0x31, 0x01, 0xE0, 0x01, 0x00], 0x13, false),
        (&[0x14, 0xFF, 0xFF, 0x33], 0x22, false),
        (&[0x31, 0x01, 0xE0, 0x01], 0x22, false),
    ] {
        let refusal = [0x7F, request[0], code];
        bench.expect(request, &refusal);
        let (_, bytes) = bench.ask(Addressing::Functional, request);
        let heard: &[u8] = if quiet { &[] } else { &refusal };
        assert_eq!(bytes, heard, "{request:02X?}");
    }
}

/// Data as service $01 has them: `1A F8` and `50` are 1726 rpm and 80 km/h to independent decoders.
#[test]
fn data_come_by_identifier_and_what_is_not_there_is_left_out() {
    let mut bench = Bench::new();
    bench.expect(&[0x22, 0xF4, 0x0C], &[0x62, 0xF4, 0x0C, 0x1A, 0xF8]);
    bench.expect(
        &[0x22, 0xF4, 0x0D, 0xF4, 0x0B, 0xF4, 0x0C],
        &[0x62, 0xF4, 0x0D, 0x50, 0xF4, 0x0B, 0x00, 0xF4, 0x0C, 0x1A, 0xF8],
    );
    bench.expect(
        &[0x22, 0xF5, 0x00, 0xF4, 0x0D, 0xF4, 0x08],
        &[0x62, 0xF4, 0x0D, 0x50],
    );
    bench.expect(&[0x22, 0xF8, 0x10], &[0x62, 0xF8, 0x10, 0x01]);
    bench.expect(&[0x22, 0xF8, 0x00], &[0x62, 0xF8, 0x00, 0x55, 0x41, 0x00, 0x00]);
    let vin = [&[0x62, 0xF8, 0x02][..], Identity::VIN.as_bytes()].concat();
    bench.expect(&[0x22, 0xF8, 0x02], &vin);
    // More than fits a frame.
    bench.expect(
        &[0x22, 0xF4, 0x04, 0xF4, 0x05, 0xF4, 0x0C, 0xF4, 0x0D],
        &[0x7F, 0x22, 0x13],
    );
    let (_, masks) = bench.ask(Addressing::Functional, &[0x22, 0xF4, 0x00]);
    let [a, b, c, d] = bench.served.current.range(0).expect("the first mask");
    assert_eq!(masks, [0x62, 0xF4, 0x00, a, b, c, d]);
    let (_, tests) = bench.ask(Addressing::Physical, &[0x22, 0xF6, 0x39]);
    assert_eq!(tests, [0x62, 0xF6, 0x39, 0x80, 0xFE, 0, 0, 0, 0, 0, 0]);
}

/// Codes by status and severity, oldest first: record of severity, code, failure type, status. Failure types and
/// severities from memory: leak $7A, circuit high $17; the lamp asks for a check at the next halt, $41.
#[test]
fn codes_are_selected_by_status_and_severity() {
    let mut bench = Bench::new();
    bench.expect(
        &[0x19, 0x42, 0x33, 0x08, 0xFF],
        &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04],
    );
    bench.fail(&[0x0455, 0x0117]).fail(&[0x0455, 0x0117, 0x0113]);
    let head = [0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04];
    let leak = [0x41, 0x04, 0x55, 0x7A, 0xAF];
    let coolant = [0x21, 0x01, 0x17, 0x16, 0x2F];
    let intake = [0x41, 0x01, 0x13, 0x17, 0x27];
    bench.expect(
        &[0x19, 0x42, 0x33, 0x08, 0xFF],
        &[&head[..], &leak, &coolant].concat(),
    );
    bench.expect(
        &[0x19, 0x42, 0x33, 0x04, 0xFF],
        &[&head[..], &leak, &coolant, &intake].concat(),
    );
    bench.expect(&[0x19, 0x42, 0x33, 0x08, 0x20], &[&head[..], &coolant].concat());
    bench.expect(&[0x19, 0x42, 0x33, 0x80, 0xFF], &[&head[..], &leak].concat());
    bench.expect(&[0x19, 0xC2, 0x33, 0x08, 0xFF], &[]);
    bench.expect(
        &[0x19, 0x55, 0x33],
        &[0x59, 0x55, 0x33, 0xFF, 0x04, 0x04, 0x55, 0x7A, 0xAF],
    );
    bench.tell(&[Fact::Clear]);
    bench.expect(&[0x19, 0x42, 0x33, 0x0C, 0xFF], &head);
    // A permanent code outlives a clear.
    bench.expect(
        &[0x19, 0x55, 0x33],
        &[0x59, 0x55, 0x33, 0xFF, 0x04, 0x04, 0x55, 0x7A, 0x50],
    );
}

/// The number of the group is uncertain; of its codes the status tells what has run.
#[test]
fn a_readiness_group_tells_of_each_code() {
    let mut bench = Bench::new();
    bench.expect(
        &[0x19, 0x56, 0x33, 0x06],
        &[0x59, 0x56, 0x33, 0xFF, 0x04, 0x06, 0x04, 0x55, 0x7A, 0x50],
    );
    bench.tell(&[Fact::EngineStarted, Fact::Passed { dtc: Dtc::p(0x0455) }]);
    bench.expect(
        &[0x19, 0x56, 0x33, 0x06],
        &[0x59, 0x56, 0x33, 0xFF, 0x04, 0x06, 0x04, 0x55, 0x7A, 0x00],
    );
    // No monitor of that group.
    bench.expect(&[0x19, 0x56, 0x33, 0x04], &[0x59, 0x56, 0x33, 0xFF, 0x04, 0x04]);
}

/// Of each code the first and the latest (an article on SAE J1979-2); five codes at least.
#[test]
fn freeze_frames_are_kept_of_several_codes() {
    let mut bench = Bench::new();
    bench.served.frozen = SupportMask::NONE.with(0x02).with(0x0D);
    let frame = |record, speed| [record, 0x01, 0xF4, 0x0D, speed];
    bench.fail(&[0x0455]);
    bench.live.vehicle_speed = Speed::from_kilometres_per_hour(33.0);
    bench.fail(&[0x0455]);
    let head = [0x59, 0x04, 0x04, 0x55, 0x7A, 0xAF];
    let ask = |record| [0x19, 0x04, 0x04, 0x55, 0x7A, record];
    bench.expect(&ask(0x00), &[&head[..], &frame(0x00, 80)].concat());
    bench.expect(&ask(0xF0), &[&head[..], &frame(0xF0, 33)].concat());
    bench.expect(
        &ask(0xFF),
        &[&head[..], &frame(0x00, 80), &frame(0xF0, 33)].concat(),
    );
    // Of a code that has none, its status alone.
    bench.expect(
        &[0x19, 0x04, 0x01, 0x13, 0x17, 0xFF],
        &[0x59, 0x04, 0x01, 0x13, 0x17, 0x50],
    );
    bench.fail(&[0x0113, 0x0117, 0x0122, 0x0123, 0x0452]);
    let kept = |bench: &Bench| -> Vec<u16> {
        let codes = CATALOGUE
            .codes
            .iter()
            .map(|code| u16::from_be_bytes(code.dtc.to_bytes()));
        codes
            .filter(|&code| bench.memory.frames(Dtc::p(code)).is_some())
            .collect()
    };
    assert_eq!(
        kept(&bench),
        [0x0455, 0x0113, 0x0117, 0x0122, 0x0123],
        "five have room"
    );
    bench.fail(&[0x0301]);
    assert_eq!(
        kept(&bench),
        [0x0113, 0x0301, 0x0117, 0x0122, 0x0123],
        "misfire comes before others"
    );
    bench.tell(&[Fact::Clear]);
    assert!(kept(&bench).is_empty());
}

/// Record numbers are uncertain: $92 in-use counts, $01 our own.
#[test]
fn extended_data_tell_of_a_code_s_life() {
    let mut bench = Bench::new();
    bench.fail(&[0x0455]);
    bench.tell(&[Fact::EngineStarted, Fact::CouldDetect { monitor: LEAK }]);
    let head = [0x59, 0x06, 0x04, 0x55, 0x7A, 0x65];
    let ask = |record| [0x19, 0x06, 0x04, 0x55, 0x7A, record];
    let in_use = [0x92, 0x00, 0x01, 0x00, 0x00];
    bench.expect(&ask(0x92), &[&head[..], &in_use].concat());
    bench.expect(&ask(0xFE), &[&head[..], &in_use].concat());
    bench.expect(&ask(0xFF), &[&head[..], &[0x01, 1, 0, 0], &in_use].concat());
    bench.expect(
        &[0x19, 0x1A, 0x92],
        &[0x59, 0x1A, 0xFF, 0x92, 0x04, 0x55, 0x7A, 0x65],
    );
    let (_, all) = bench.ask(Addressing::Physical, &[0x19, 0x1A, 0x01]);
    assert_eq!(all.len(), 4 + 4 * CATALOGUE.codes.len());
}

/// As service $04 and $08: key on, engine off.
#[test]
fn clearing_and_sealing_go_by_the_state_of_the_car() {
    let mut bench = Bench::new();
    let (answer, bytes) = bench.ask(Addressing::Functional, &[0x14, 0xFF, 0xFF, 0x33]);
    assert_eq!((answer, &bytes[..]), (Answer::PositiveAndClear, &[0x54][..]));
    let (answer, bytes) = bench.ask(Addressing::Physical, &[0x31, 0x01, 0xE0, 0x01]);
    assert_eq!(answer, Answer::PositiveAndSeal);
    assert_eq!(bytes, [0x71, 0x01, 0xE0, 0x01, 0x00]);
    let (answer, bytes) = bench.ask(Addressing::Physical, &[0x31, 0x81, 0xE0, 0x01]);
    assert_eq!((answer, &bytes[..]), (Answer::SilenceAndSeal, &[][..]));
    bench.key_on = false;
    bench.expect(&[0x31, 0x01, 0xE0, 0x01], &[0x7F, 0x31, 0x22]);
}

/// What the power does not take: marks and frames, through the memory file's form.
#[test]
fn status_and_frames_outlive_a_loss_of_power() {
    let mut bench = Bench::new();
    bench.fail(&[0x0455]);
    bench.tell(&[
        Fact::EngineStarted,
        Fact::Passed { dtc: Dtc::p(0x0113) },
        Fact::EngineStopped,
    ]);
    let stored = bench.memory.store();
    let mut later = Bench::new();
    later.memory.restore(&stored).expect("a content that it can have");
    assert!(later.memory.keeps_the_same_as(&bench.memory));
    assert_eq!((later.status(0x0455), later.status(0x0113)), (0x65, 0x40));
    assert_eq!(
        later.memory.frames(Dtc::p(0x0455)),
        bench.memory.frames(Dtc::p(0x0455))
    );
    // An ECU of the other dialect keeps none of it.
    let mut classic = FaultMemory::new(&Profile::US_2010, &CATALOGUE);
    classic.restore(&stored).expect("the same codes");
    assert!(!classic.keeps_the_same_as(&later.memory));
}
