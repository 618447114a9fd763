//! The hot path allocates nothing: heap allocations are counted while requests are answered, after warm-up.

mod recordings;
mod stand_in;

use std::time::Duration;

use twotrip_can::{
    CanId, Frame,
    memory_bus::{MemoryBus, NodeConfig, Pacing},
    timing::BitRate,
};
use twotrip_ecu::listed::{ListedEcu, Listing, services};
use twotrip_obd::{Dialect, Dtc};
use twotrip_scenario::{Scenario, shipped, vehicle};
use twotrip_sim::{EcuSettings, Identifiers, Seat, Settings, Simulator, Timing};
use twotrip_units::BusInstant;

/// One request of each kind that a car with a stored code answers; padded to 8 bytes.
const REQUESTS: &[&[u8]] = &[
    &[2, 0x01, 0x00],
    &[2, 0x01, 0x01],
    &[2, 0x01, 0x0C],
    &[7, 0x01, 0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x11],
    &[3, 0x02, 0x02, 0x00],
    &[3, 0x02, 0x0C, 0x00],
    &[1, 0x03],
    &[2, 0x06, 0x20],
    &[2, 0x06, 0x3B],
    &[1, 0x07],
    &[2, 0x08, 0x00],
    &[2, 0x08, 0x01],
    &[2, 0x09, 0x00],
    &[2, 0x09, 0x02],
    &[2, 0x09, 0x08],
    &[1, 0x0A],
    &[1, 0x04],
    &[2, 0x01, 0xC0],
    &[2, 0x3E, 0x00],
];

/// The same of a car that is asked by SAE J1979-2.
const REQUESTS_ON_UDS: &[&[u8]] = &[
    &[2, 0x10, 0x01],
    &[2, 0x3E, 0x00],
    &[2, 0x3E, 0x80],
    &[3, 0x22, 0xF8, 0x10],
    &[3, 0x22, 0xF4, 0x00],
    &[7, 0x22, 0xF4, 0x01, 0xF4, 0x41, 0xF4, 0x0C],
    &[3, 0x22, 0xF6, 0x3B],
    &[3, 0x22, 0xF8, 0x02],
    &[3, 0x22, 0xF8, 0x08],
    &[5, 0x19, 0x42, 0x33, 0x0C, 0xFF],
    &[5, 0x19, 0x42, 0x33, 0xFF, 0xFF],
    &[3, 0x19, 0x55, 0x33],
    &[4, 0x19, 0x56, 0x33, 0x06],
    &[3, 0x19, 0x1A, 0x92],
    &[6, 0x19, 0x04, 0x04, 0x55, 0x7A, 0xFF],
    &[6, 0x19, 0x06, 0x04, 0x55, 0x7A, 0xFF],
    &[4, 0x31, 0x01, 0xE0, 0x01],
    &[2, 0x22, 0xF4],
    &[4, 0x14, 0xFF, 0xFF, 0x33],
    &[2, 0x01, 0x00],
];

/// Asks everything once, with flow control, a tenth of a second apart; the car's time goes on meanwhile.
fn ask_everything(
    car: &mut Simulator,
    now: &mut BusInstant,
    mut passed: impl FnMut(BusInstant, &Frame),
) -> u32 {
    let mut answers = 0;
    let requests = match car.car().ecu().dialect() {
        Dialect::Classic => REQUESTS,
        Dialect::OnUds => REQUESTS_ON_UDS,
    };
    for request in requests {
        *now += Duration::from_millis(100);
        car.stand(Duration::from_millis(100));
        let request = Frame::padded(CanId::Standard(0x7DF), request, 0);
        passed(*now, &request);
        car.handle_frame(*now, &request);
        // Periodic messages have no end: the answer does, long before the next question.
        let until = *now + Duration::from_millis(60);
        let mut due = Some(*now);
        while let Some(at) = due {
            *now = at.max(*now);
            car.handle_timeout(*now);
            while let Some(frame) = car.poll_frame(*now) {
                passed(*now, &frame);
                car.handle_transmitted(*now);
                answers += 1;
                if frame.data()[0] >> 4 == 1
                    && let CanId::Standard(answers) = frame.id()
                {
                    let flow_control = Frame::padded(CanId::Standard(answers - 8), &[0x30, 0, 0], 0);
                    passed(*now, &flow_control);
                    car.handle_frame(*now, &flow_control);
                }
            }
            while car.poll_event().is_some() {}
            due = car.poll_timeout().filter(|&at| at <= until);
        }
    }
    answers
}

/// A car with a confirmed code. In SAE J1979-2 it has three ECUs: engine, transmission, and one that is listed.
fn lived_through(timing: Timing, broadcasts: bool, dialect: Dialect) -> Simulator {
    let shipped = shipped::find("loose-fuel-cap").expect("it is shipped");
    let scenario = Scenario::parse(shipped.text.as_bytes()).expect("it is good");
    let mut settings = match dialect {
        Dialect::Classic => Settings::compact(1, timing),
        Dialect::OnUds => {
            let shipped = vehicle::find("compact-on-uds-transmission").expect("it is shipped");
            let mut settings = Settings::of(&scenario.clone().with_vehicle(shipped), 1, timing);
            settings.ecus.push(listed());
            settings
        }
    };
    settings.identifiers = Identifiers::Bits11;
    settings.broadcasts = broadcasts;
    let mut car = Simulator::new(settings);
    for phrase in scenario.story() {
        car.tell(phrase.value.clone());
    }
    while car.is_busy() {
        car.work(Duration::from_secs(3600));
        while car.poll_event().is_some() {}
    }
    car
}

fn listed() -> EcuSettings {
    let code = Dtc::from_bytes([0xC2, 0x93]);
    EcuSettings {
        seat: Seat::Listed(Box::new(ListedEcu::new(Listing {
            dialect: Dialect::OnUds,
            services: services(Dialect::OnUds).to_vec(),
            data: vec![(0x42, Box::from([0x35, 0xE8]))],
            name: *b"HPCM-HybridPtCtrl\0\0\0",
            calibration_id: *b"TWOTRIP-HYB-0001",
            confirmed: vec![code],
            pending: vec![],
            permanent: vec![code],
        }))),
        number: 2,
        address: 0x40,
        reply: None,
    }
}

#[test]
fn no_heap_allocation_while_requests_are_answered() {
    for (timing, broadcasts, dialect) in [
        (Timing::FAST, false, Dialect::Classic),
        (Timing::REAL, false, Dialect::Classic),
        (Timing::REAL, true, Dialect::Classic),
        (Timing::REAL, false, Dialect::OnUds),
    ] {
        let mut car = lived_through(timing, broadcasts, dialect);
        let mut now = BusInstant::ZERO;
        ask_everything(&mut car, &mut now, |_, _| {});
        let mut answers = 0;
        let kept = car.mark();
        let counted = allocation_counter::measure(|| {
            for _ in 0..20 {
                answers += ask_everything(&mut car, &mut now, |_, _| {});
                // What is asked before each answer where the memory is kept in a file.
                assert!(car.keeps_the_same_as(&kept));
            }
        });
        let counted = counted.count_total;
        assert!(answers > 20 * 20, "only {answers} frames came back");
        assert_eq!(
            counted, 0,
            "{counted} allocations for {answers} frames with {timing:?}, broadcasts: {broadcasts}"
        );
    }
}

/// Eight nodes, each with a full queue and its own frames confirmed; the load is measured too.
#[test]
fn no_heap_allocation_while_frames_pass_on_the_bus_in_memory() {
    let mut bus = MemoryBus::new(Pacing::Rate(BitRate::Kbit500));
    let config = NodeConfig {
        receives_own: true,
        queue: 32,
        inbox: 32,
    };
    let nodes: [_; 8] = std::array::from_fn(|_| bus.attach(config));
    let mut now = BusInstant::ZERO;
    let mut received = 0;
    let counted = allocation_counter::measure(|| {
        while received < 100_000 {
            for (&node, id) in nodes.iter().zip(0x7E8..) {
                while bus.has_room(node) {
                    let frame = Frame::padded(CanId::Standard(id), &[0x21], 0x55);
                    bus.send(now, node, frame).expect("there is room");
                }
            }
            now = bus.poll_timeout().expect("frames wait");
            bus.advance(now);
            for &node in &nodes {
                while bus.receive(node).is_some() {
                    received += 1;
                }
            }
        }
    });
    assert_eq!(counted.count_total, 0);
}

#[test]
fn the_counter_counts() {
    let counted = allocation_counter::measure(|| {
        std::hint::black_box(Box::new(1));
    });
    assert_eq!(counted.count_total, 1);
}
