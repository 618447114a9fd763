//! Requests of every kind, good and bad, to the whole car as raw frames: what is answered, what is not, and when.

use std::time::Duration;

use twotrip_can::{CanId, Frame};
use twotrip_sim::Timing;

use crate::desk::{Desk, FUNCTIONAL, PHYSICAL, assemble};

const P2: Duration = Duration::from_millis(50);

fn awake(timing: Timing) -> Desk {
    let mut desk = Desk::new(61, timing);
    desk.tell(&["ambient 20 C", "key on"]);
    desk
}

fn flow_control(status: u8, block: u8, separation: u8) -> Frame {
    Frame::padded(PHYSICAL, &[0x30 | status, block, separation], 0)
}

fn single(id: CanId, request: &[u8]) -> Frame {
    let mut bytes = vec![u8::try_from(request.len()).expect("short")];
    bytes.extend(request);
    Frame::padded(id, &bytes, 0)
}

/// Masks announce what answers, and nothing else answers (ISO 15031-5; AUTOSAR SWS_Dcm_00943 for the mixture).
#[test]
fn what_the_masks_announce_is_what_answers() {
    let mut desk = awake(Timing::FAST);
    for (service, frame) in [(0x01, None), (0x02, Some(0)), (0x09, None)] {
        let ask = |desk: &mut Desk, number: u8| {
            let mut request = vec![service, number];
            request.extend(frame);
            desk.ask(&request)
        };
        let mut announced = [false; 256];
        let mut base = Some(0_u8);
        while let Some(mask) = base {
            let answer = ask(&mut desk, mask).expect("an announced mask answers");
            let bits = u32::from_be_bytes(answer[answer.len() - 4..].try_into().expect("four bytes"));
            for place in 0..32_u8 {
                announced[usize::from(mask) + 1 + usize::from(place)] = bits >> (31 - place) & 1 == 1;
            }
            base = mask.checked_add(0x20).filter(|_| bits & 1 == 1);
        }
        for number in 0..=u8::MAX {
            let answers = ask(&mut desk, number).is_some();
            // Without a freeze frame only its masks and its code are there.
            let expected = if service == 0x02 {
                number == 0 || number == 0x02 || number % 0x20 == 0 && announced[usize::from(number)]
            } else {
                number == 0 || announced[usize::from(number)]
            };
            assert_eq!(answers, expected, "service {service:02X} parameter {number:02X}");
        }
    }
}

#[test]
fn wrong_lengths_mixtures_and_unknown_services() {
    let mut desk = awake(Timing::FAST);
    let silent: &[&[u8]] = &[
        &[0x01],
        &[0x02],
        &[0x02, 0x0C],
        &[0x02, 0x02, 0x00, 0x0C],
        &[0x02, 0x02, 0x01],
        &[0x02, 0x00, 0x00, 0x02, 0x00],
        &[0x03, 0x00],
        &[0x04, 0x00],
        &[0x07, 0x00],
        &[0x0A, 0x00],
        &[0x09],
        &[0x09, 0x02, 0x04],
        &[0x09, 0x00, 0x02],
        &[0x09, 0x01],
        &[0x06],
        &[0x06, 0x03],
        &[0x06, 0x39, 0x3B],
        &[0x06, 0x00, 0x39],
        &[0x08],
        &[0x08, 0x02],
        &[0x08, 0x01, 0x00],
        &[0x08, 0x00, 0x01],
        &[0x01, 0x00, 0x0C],
        &[0x01, 0x02],
        &[0x01, 0xFF],
    ];
    for request in silent {
        for id in [FUNCTIONAL, PHYSICAL] {
            assert_eq!(desk.ask_at(id, request), None, "{request:02X?}");
        }
    }
    // Services that this ECU does not have: $11 to a physical request, else silence (AUTOSAR SWS_Dcm_00001).
    for service in (0..=u8::MAX).filter(|service| ![1, 2, 3, 4, 6, 7, 8, 9, 0x0A].contains(service)) {
        for parameters in [&[][..], &[0x01], &[0x01, 0x02, 0x03]] {
            let mut request = vec![service];
            request.extend(parameters);
            assert_eq!(desk.ask(&request), None, "{request:02X?}");
            let refused = desk.ask_at(PHYSICAL, &request);
            // What has the bit of an answer is no request (ISO 14229-1, from memory).
            let expected = (service & 0x40 == 0).then(|| vec![0x7F, service, 0x11]);
            assert_eq!(refused, expected, "{request:02X?}");
        }
    }
    // Unsupported ones are left out; order and repetition are those of the request.
    let answer = desk
        .ask(&[0x01, 0x0D, 0xFF, 0x0C, 0x0D])
        .expect("two are supported");
    assert_eq!(answer, [0x41, 0x0D, 0, 0x0C, 0, 0, 0x0D, 0]);
    let answer = desk
        .ask(&[0x02, 0x02, 0x01, 0x02, 0x00])
        .expect("frame 0 is there");
    assert_eq!(answer, [0x42, 0x02, 0x00, 0, 0]);
    let six = desk
        .ask(&[0x01, 0x00, 0x20, 0x40, 0x60, 0x80, 0xA0])
        .expect("masks");
    assert_eq!(six.len(), 1 + 6 * 5, "all six there are: {six:02X?}");
}

/// ISO 15765-4: eight data bytes, classic, 11 bits, to all or to this ECU.
#[test]
fn frames_that_are_not_for_this_ecu() {
    let mut desk = awake(Timing::FAST);
    let request = [2, 0x01, 0x0C, 0, 0, 0, 0, 0];
    let ids = (0..0x800_u16)
        .filter(|id| ![0x7DF, 0x7E0].contains(id))
        .map(CanId::Standard)
        .chain([
            CanId::Extended(0x18DB_33F1),
            CanId::Extended(0x18DA_10F1),
            CanId::Extended(0x7DF),
        ]);
    for id in ids {
        desk.hears(&Frame::padded(id, &request, 0));
    }
    for len in 0..8 {
        desk.hears(&Frame::new(FUNCTIONAL, &request[..len]).expect("short enough"));
    }
    desk.hears(&Frame::remote(FUNCTIONAL, 8).expect("eight"));
    desk.hears(&Frame::fd(FUNCTIONAL, &request, false, false).expect("FD takes eight"));
    desk.hears(&Frame::error(0x04, [0; 8]));
    for length in [0x00, 0x08, 0x0F] {
        desk.hears(&Frame::padded(FUNCTIONAL, &[length, 0x01, 0x0C], 0));
    }
    for kind in 2..=0xF_u8 {
        desk.hears(&Frame::padded(PHYSICAL, &[kind << 4, 0x01, 0x0C], 0));
    }
    assert_eq!(desk.sends(Duration::from_secs(2)), []);
    assert_eq!(desk.car.counts().requests, 0);
    assert!(desk.ask(&[0x01, 0x0C]).is_some(), "the ECU is well");
}

/// A hundred requests without waiting: each is answered within P2 or not at all, and the ECU is well afterwards.
#[test]
fn a_flood_costs_answers_but_no_late_ones() {
    for timing in [Timing::FAST, Timing::REAL, Timing::REAL_ON_PACED_BUS] {
        let mut desk = awake(timing);
        let asked = desk.now;
        for _ in 0..100 {
            desk.hears(&single(FUNCTIONAL, &[0x01, 0x0C]));
        }
        let sent = desk.sends(Duration::from_secs(1));
        assert!(!sent.is_empty());
        for (at, frame) in &sent {
            assert!(at.saturating_since(asked) <= P2, "{timing:?}: {at:?}");
            assert_eq!(frame.data()[..3], [4, 0x41, 0x0C]);
        }
        let counts = desk.car.counts();
        assert_eq!(counts.requests, 100);
        assert_eq!(
            counts.dropped + u64::try_from(sent.len()).expect("few"),
            100,
            "{timing:?}"
        );
        assert!(desk.ask(&[0x03]).is_some());
    }
}

/// A request that waits behind an answer of many frames is late when its turn comes: it is dropped, and noted.
#[test]
fn a_request_that_waited_too_long_behind_a_long_answer_is_dropped() {
    for answer_it in [false, true] {
        let mut desk = awake(Timing::REAL);
        let asked = desk.now;
        desk.hears(&single(FUNCTIONAL, &[0x09, 0x02]));
        desk.hears(&single(FUNCTIONAL, &[0x01, 0x0C]));
        let mut sent = desk.sends(Duration::from_millis(20));
        assert_eq!(sent.len(), 1, "the first frame of the VIN: {sent:?}");
        if answer_it {
            desk.hears(&flow_control(0, 0, 60));
        }
        sent.extend(desk.sends(Duration::from_secs(1)));
        let late: Vec<_> = sent
            .iter()
            .filter(|(at, frame)| frame.data()[1] == 0x41 && at.saturating_since(asked) > P2)
            .collect();
        assert!(late.is_empty(), "{late:?}");
        assert_eq!(desk.car.counts().dropped, 1);
        assert!(desk.ask(&[0x03]).is_some());
    }
}

/// Half-duplex application above a full-duplex transport: dropped, noted, and the answer goes on; what comes after
/// the last frame was handed over is answered.
#[test]
fn a_request_during_a_long_answer_is_dropped_and_the_answer_goes_on() {
    let mut desk = awake(Timing::FAST);
    desk.hears(&single(FUNCTIONAL, &[0x09, 0x02]));
    let mut sent = desk.sends(Duration::from_millis(5));
    desk.hears(&single(PHYSICAL, &[0x03]));
    desk.hears(&single(FUNCTIONAL, &[0x04]));
    assert_eq!(desk.sends(Duration::from_millis(5)), []);
    assert_eq!(desk.car.counts().dropped, 2);
    desk.hears(&flow_control(0, 1, 0));
    sent.extend(desk.sends(Duration::from_millis(5)));
    desk.hears(&single(FUNCTIONAL, &[0x03]));
    desk.hears(&flow_control(0, 0, 0));
    sent.extend(desk.sends(Duration::from_millis(5)));
    let vin = assemble(&sent).expect("the whole of it");
    assert_eq!((vin.len(), &vin[..3]), (20, &[0x49, 0x02, 0x01][..]));
    assert_eq!(desk.car.counts().dropped, 3);

    desk.hears(&single(FUNCTIONAL, &[0x09, 0x02]));
    desk.sends(Duration::from_millis(5));
    desk.hears(&flow_control(0, 0, 0));
    desk.car.handle_timeout(desk.now);
    for _ in 0..2 {
        assert!(desk.car.poll_frame(desk.now).is_some());
        desk.hears(&single(FUNCTIONAL, &[0x01, 0x0C]));
        desk.car.handle_transmitted(desk.now);
    }
    let sent = desk.sends(Duration::from_millis(60));
    assert_eq!(sent.len(), 1, "{sent:?}");
    assert_eq!(sent[0].1.data()[..3], [4, 0x41, 0x0C]);
    assert_eq!(desk.car.counts().dropped, 4, "the one before the last frame");
}

/// WAIT, overflow, an invalid status, silence, and flow control from the wrong place (ISO 15765-2): after each of
/// them the next request is answered.
#[test]
fn an_answer_that_breaks_off_leaves_the_next_one_whole() {
    for timing in [Timing::FAST, Timing::REAL, Timing::REAL_ON_PACED_BUS] {
        let mut desk = awake(timing);
        for broken in [
            Some(flow_control(2, 0, 0)),
            Some(flow_control(3, 0, 0)),
            Some(flow_control(1, 0, 0)),
            Some(Frame::padded(FUNCTIONAL, &[0x30, 0, 0], 0)),
            Some(Frame::new(PHYSICAL, &[0x30, 0, 0]).expect("short")),
            None,
        ] {
            desk.hears(&single(FUNCTIONAL, &[0x09, 0x02]));
            let first = desk.sends(Duration::from_millis(20));
            assert_eq!(first.len(), 1, "{first:?}");
            if let Some(frame) = &broken {
                desk.hears(frame);
            }
            assert_eq!(desk.sends(Duration::from_millis(80)), [], "{broken:?}");
            // Too late.
            desk.hears(&flow_control(0, 0, 0));
            assert_eq!(desk.sends(Duration::from_millis(20)), [], "{broken:?}");
            let vin = desk.ask(&[0x09, 0x02]).expect("the next one");
            assert_eq!(vin.len(), 20);
        }
        // Ten times WAIT, then go on.
        desk.hears(&single(FUNCTIONAL, &[0x09, 0x02]));
        let mut sent = desk.sends(Duration::from_millis(20));
        for _ in 0..10 {
            desk.hears(&flow_control(1, 9, 0x7F));
            assert_eq!(desk.sends(Duration::from_millis(60)), []);
        }
        desk.hears(&flow_control(0, 0, 20));
        let rest = desk.sends(Duration::from_millis(100));
        let gap = rest[1].0.saturating_since(rest[0].0);
        assert!(gap >= Duration::from_millis(20), "{gap:?}");
        sent.extend(rest);
        assert_eq!(assemble(&sent).map(|vin| vin.len()), Some(20));
    }
}

#[test]
fn requests_of_many_frames_are_taken_and_judged_like_short_ones() {
    let mut desk = awake(Timing::FAST);
    // $01 with nine PIDs: too long for the service, so silence; the transport pays its flow control.
    desk.hears(&Frame::padded(PHYSICAL, &[0x10, 10, 0x01, 4, 5, 6, 7, 0x0B], 0));
    let sent = desk.sends(Duration::from_millis(25));
    assert_eq!(sent.len(), 1);
    assert_eq!(sent[0].1.data(), [0x30, 0, 0, 0, 0, 0, 0, 0]);
    desk.hears(&Frame::padded(PHYSICAL, &[0x21, 0x0C, 0x0D, 0x0E, 0x0F], 0));
    assert_eq!(desk.sends(Duration::from_millis(200)), []);
    // An unknown service of twenty bytes: refused.
    desk.hears(&Frame::padded(PHYSICAL, &[0x10, 20, 0x2E, 1, 2, 3, 4, 5], 0));
    desk.sends(Duration::from_millis(1));
    for number in 1..=2 {
        desk.hears(&Frame::padded(PHYSICAL, &[0x20 | number, 0, 0, 0, 0, 0, 0, 0], 0));
    }
    let sent = desk.sends(Duration::from_millis(60));
    assert_eq!(assemble(&sent), Some(vec![0x7F, 0x2E, 0x11]));
    // To all: no first frame.
    desk.hears(&Frame::padded(FUNCTIONAL, &[0x10, 10, 0x01, 4, 5, 6, 7, 0x0B], 0));
    assert_eq!(desk.sends(Duration::from_millis(200)), []);
}

/// Consecutive frames follow each other at the bit rate of the bus, the answer within P2.
#[test]
fn real_timing_is_that_of_a_car() {
    let mut desk = awake(Timing::REAL);
    for _ in 0..50 {
        let asked = desk.now;
        desk.hears(&single(FUNCTIONAL, &[0x09, 0x08]));
        let sent = desk.sends(Duration::from_millis(55));
        assert_eq!(sent.len(), 1);
        let waited = sent[0].0.saturating_since(asked);
        assert!(
            waited >= Duration::from_millis(2) && waited <= Duration::from_millis(8),
            "{waited:?}"
        );
        desk.hears(&flow_control(0, 0, 0));
        let rest = desk.sends(Duration::from_millis(60));
        assert_eq!(rest.len(), 6);
        for pair in rest.windows(2) {
            let gap = pair[1].0.saturating_since(pair[0].0);
            // 111 to 135 bits with stuffing at 500 kbit/s (ISO 11898-1).
            assert!(
                gap >= Duration::from_micros(222) && gap <= Duration::from_micros(270),
                "{gap:?}"
            );
        }
    }
}
