//! The ECUs of a recording answer a known question without an allocation, long replies included.

use twotrip_can::{CanId, Frame};
use twotrip_dialogue::{Learner, Settings, StandIn};
use twotrip_units::BusInstant;

fn frame(id: u16, data: &[u8]) -> Frame {
    Frame::padded(CanId::Standard(id), data, 0)
}

fn recorded() -> StandIn {
    let mut learner = Learner::default();
    let frames = [
        (0, 0x7DF, &[2, 1, 0x0C][..]),
        (4, 0x7E8, &[4, 0x41, 0x0C, 0x0C, 0x80]),
        (5, 0x7E9, &[4, 0x41, 0x0C, 0x0C, 0x81]),
        (100, 0x7E0, &[2, 9, 2]),
        (105, 0x7E8, &[0x10, 0x14, 0x49, 2, 1, 0x30, 0x54, 0x57]),
        (106, 0x7E0, &[0x30, 0, 0]),
        (107, 0x7E8, &[0x21, 0x30, 0x30, 0x54, 0x52, 0x50, 0x33, 0x41]),
        (108, 0x7E8, &[0x22, 0x30, 0x30, 0x30, 0x30, 0x30, 0x34, 0x32]),
    ];
    for (millis, id, data) in frames {
        learner
            .on_frame(BusInstant::from_millis(millis), &frame(id, data))
            .expect("there is room");
    }
    let (answers, _) = learner.finish(BusInstant::from_secs(1));
    StandIn::new(answers, Settings::default())
}

/// Both questions once, flow control at once; how many frames came.
fn ask(car: &mut StandIn, second: u64) -> u32 {
    let mut sent = 0;
    for (millis, id, data) in [
        (0, 0x7DF, &[2, 1, 0x0C][..]),
        (100, 0x7E0, &[2, 9, 2]),
        (110, 0x7E0, &[0x30, 0, 0]),
        (200, 0x7E5, &[0x30, 0, 0]),
    ] {
        let mut now = BusInstant::from_millis(second * 1000 + millis);
        car.handle_frame(now, &frame(id, data));
        let until = now + std::time::Duration::from_millis(50);
        loop {
            while car.poll_frame(now).is_some() {
                sent += 1;
                car.handle_transmitted(now);
            }
            while car.poll_event().is_some() {}
            let Some(next) = car.poll_timeout().filter(|&next| next <= until) else {
                break;
            };
            now = next.max(now);
            car.handle_timeout(now);
        }
    }
    sent
}

#[test]
fn a_known_question_is_answered_without_allocation() {
    let mut car = recorded();
    ask(&mut car, 1);
    let mut sent = 0;
    let counted = allocation_counter::measure(|| {
        for second in 2..102 {
            sent += ask(&mut car, second);
        }
    });
    assert_eq!(sent, 100 * 5);
    assert_eq!(counted.count_total, 0);
}
