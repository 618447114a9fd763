//! One channel at exact instants: what the table of cases in `tests/pair` does not reach, because its bus always
//! acknowledges and its application always polls.

use core::time::Duration;

use twotrip_can::{CanId, address::EcuAddress};

use super::*;
use crate::{FlowParameters, ParseError, Profile, Timers};

const REQUEST: CanId = EcuAddress::ENGINE.request;
const RESPONSE: CanId = EcuAddress::ENGINE.response;

fn at(millis: u64) -> BusInstant {
    BusInstant::from_millis(millis)
}

fn request(bytes: &[u8]) -> Frame {
    Frame::padded(REQUEST, bytes, 0)
}

fn response(bytes: &[u8]) -> Frame {
    Frame::padded(RESPONSE, bytes, 0)
}

fn channel() -> Channel {
    Channel::new(Config::ecu(EcuAddress::ENGINE))
}

/// A channel whose first frame of a 20-byte message has passed at 0 ms.
fn awaiting_flow_control(config: Config) -> Channel {
    let mut channel = Channel::new(config);
    channel.send(at(0), &[0x55; 20]).expect("idle");
    assert_eq!(
        channel.poll_frame(at(0)),
        Some(response(&[0x10, 20, 0x55, 0x55, 0x55, 0x55, 0x55, 0x55]))
    );
    channel.handle_transmitted(at(0));
    channel
}

fn failed(direction: Direction, result: NResult) -> Option<Event> {
    Some(Event::Failed { direction, result })
}

/// ISO 15765-2, N_As: a frame that the bus does not take ends the transfer.
#[test]
fn frame_that_is_never_acknowledged_aborts_after_n_as() {
    let mut channel = channel();
    channel.send(at(10), &[0x41, 0x00]).expect("idle");
    assert_eq!(channel.poll_frame(at(10)), Some(response(&[2, 0x41, 0x00])));
    assert_eq!(channel.poll_timeout(), Some(at(35)));
    channel.handle_timeout(at(34));
    assert!(channel.is_transmitting());
    channel.handle_timeout(at(35));
    assert_eq!(
        channel.poll_event(),
        failed(Direction::Transmit, NResult::TimeoutA)
    );
    assert!(!channel.is_transmitting());
    channel.handle_transmitted(at(36));
    assert_eq!(channel.poll_event(), None);
    assert_eq!(channel.poll_timeout(), None);
}

/// ISO 15765-2, N_Ar.
#[test]
fn flow_control_that_is_never_acknowledged_aborts_the_reception_after_n_ar() {
    let timers = Timers {
        n_ar: Duration::from_millis(20),
        ..Timers::OBD
    };
    let mut channel = Channel::new(Config {
        profile: Profile {
            timers,
            ..Profile::OBD
        },
        ..Config::ecu(EcuAddress::ENGINE)
    });
    channel.handle_frame(at(0), &request(&[0x10, 8, 1, 2, 3, 4, 5, 6]));
    assert_eq!(channel.poll_event(), Some(Event::Started { length: 8 }));
    assert_eq!(channel.poll_frame(at(0)), Some(response(&[0x30, 0, 0])));
    channel.handle_timeout(at(25));
    assert_eq!(
        channel.poll_event(),
        failed(Direction::Receive, NResult::TimeoutA)
    );
    channel.handle_frame(at(26), &request(&[0x21, 7, 8]));
    let reason = Ignored::ConsecutiveFrame { found: 1 };
    assert_eq!(channel.poll_event(), Some(Event::Ignored { reason }));
}

/// A queue that is full for a while delays a consecutive frame and loses nothing (N_As has not run out).
#[test]
fn late_acknowledgement_keeps_the_sequence_and_measures_st_min_from_it() {
    let mut channel = awaiting_flow_control(Config::ecu(EcuAddress::ENGINE));
    channel.handle_frame(at(1), &request(&[0x30, 0, 5]));
    assert!(
        channel
            .poll_frame(at(1))
            .is_some_and(|frame| frame.data()[0] == 0x21)
    );
    assert_eq!(channel.poll_frame(at(20)), None);
    channel.handle_transmitted(at(20));
    assert_eq!(channel.poll_frame(at(24)), None);
    assert_eq!(channel.poll_timeout(), Some(at(25)));
    assert!(
        channel
            .poll_frame(at(25))
            .is_some_and(|frame| frame.data()[0] == 0x22)
    );
    channel.handle_transmitted(at(26));
    assert_eq!(channel.poll_event(), Some(Event::Sent));
}

/// Frames and acknowledgements may come by different ways; what a flow control answers has been on the bus.
#[test]
fn flow_control_may_overtake_the_acknowledgement_of_the_first_frame() {
    let mut channel = channel();
    channel.send(at(0), &[0x55; 20]).expect("idle");
    assert!(channel.poll_frame(at(0)).is_some());
    channel.handle_frame(at(1), &request(&[0x30, 0, 0]));
    assert_eq!(channel.poll_event(), None);
    assert_eq!(channel.poll_frame(at(1)), None);
    channel.handle_transmitted(at(1));
    assert!(
        channel
            .poll_frame(at(1))
            .is_some_and(|frame| frame.data()[0] == 0x21)
    );
}

#[test]
fn consecutive_frame_may_overtake_the_acknowledgement_of_the_flow_control() {
    let mut channel = channel();
    channel.handle_frame(at(0), &request(&[0x10, 20, 1, 2, 3, 4, 5, 6]));
    assert!(channel.poll_frame(at(0)).is_some());
    channel.handle_frame(at(1), &request(&[0x21, 7, 8, 9, 10, 11, 12, 13]));
    channel.handle_transmitted(at(1));
    channel.handle_frame(at(2), &request(&[0x22, 14, 15, 16, 17, 18, 19, 20]));
    assert_eq!(channel.poll_event(), Some(Event::Started { length: 20 }));
    assert_eq!(
        channel.poll_event(),
        Some(Event::Received {
            addressing: Addressing::Physical
        })
    );
    let expected: [u8; 20] = core::array::from_fn(|i| u8::try_from(i + 1).unwrap_or(0));
    assert_eq!(channel.message(Addressing::Physical), expected);
}

/// Before our flow control is on its way no consecutive frame is due (ISO 15765-2, unexpected PDUs).
#[test]
fn consecutive_frame_ahead_of_the_flow_control_is_ignored() {
    let mut channel = channel();
    channel.handle_frame(at(0), &request(&[0x10, 8, 1, 2, 3, 4, 5, 6]));
    channel.handle_frame(at(0), &request(&[0x21, 7, 8]));
    assert_eq!(channel.poll_event(), Some(Event::Started { length: 8 }));
    let reason = Ignored::ConsecutiveFrame { found: 1 };
    assert_eq!(channel.poll_event(), Some(Event::Ignored { reason }));
    assert!(channel.is_receiving());
}

/// Half duplex, ISO 15765-2.
#[test]
fn half_duplex_refuses_to_send_during_a_reception() {
    let mut channel = Channel::new(Config {
        duplex: Duplex::Half,
        ..Config::ecu(EcuAddress::ENGINE)
    });
    channel.handle_frame(at(0), &request(&[0x10, 8, 1, 2, 3, 4, 5, 6]));
    assert_eq!(channel.poll_event(), Some(Event::Started { length: 8 }));
    assert_eq!(channel.send(at(0), &[1]), Err(SendError::Receiving));
}

/// Functional addressing carries single frames only (AUTOSAR SWS_CanTp_00093).
#[test]
fn functional_frame_of_a_longer_message_is_reported() {
    let mut channel = channel();
    let functional = EcuAddress::ENGINE.functional;
    channel.handle_frame(at(0), &Frame::padded(functional, &[0x10, 8, 1, 2, 3, 4, 5, 6], 0));
    let reason = Ignored::FunctionalNotSingle;
    assert_eq!(channel.poll_event(), Some(Event::Ignored { reason }));
    assert_eq!(channel.poll_frame(at(0)), None);
}

#[test]
fn static_flow_parameters_keep_the_first_block_size() {
    let mut channel = awaiting_flow_control(Config {
        flow_parameters: FlowParameters::Static,
        ..Config::ecu(EcuAddress::ENGINE)
    });
    channel.handle_frame(at(0), &request(&[0x30, 1, 0]));
    assert!(channel.poll_frame(at(0)).is_some());
    channel.handle_transmitted(at(0));
    assert_eq!(channel.poll_frame(at(0)), None);
    channel.handle_frame(at(1), &request(&[0x30, 0, 20]));
    assert!(channel.poll_frame(at(1)).is_some());
    channel.handle_transmitted(at(1));
    assert_eq!(channel.poll_event(), Some(Event::Sent));
}

#[test]
fn flood_of_rubbish_is_counted_and_hides_no_message() {
    let mut channel = channel();
    for _ in 0..1000 {
        channel.handle_frame(at(0), &request(&[0xFF; 8]));
    }
    channel.handle_frame(at(0), &request(&[2, 1, 0]));
    let reason = Ignored::Malformed(ParseError::ReservedType { found: 15 });
    for _ in 0..4 {
        assert_eq!(channel.poll_event(), Some(Event::Ignored { reason }));
    }
    assert_eq!(
        channel.poll_event(),
        Some(Event::Received {
            addressing: Addressing::Physical
        })
    );
    assert_eq!(channel.poll_event(), None);
    assert_eq!(channel.lost_events(), 996);
}

#[test]
fn slips_of_the_caller_leave_the_channel_as_it_was() {
    let mut channel = awaiting_flow_control(Config {
        transmit_limit: 20,
        ..Config::ecu(EcuAddress::ENGINE)
    });
    assert_eq!(channel.send(at(1), &[]), Err(SendError::Empty));
    assert_eq!(
        channel.send(at(1), &[0; 21]),
        Err(SendError::TooLong {
            length: 21,
            limit: 20
        })
    );
    assert_eq!(channel.send(at(1), &[0; 20]), Err(SendError::Transmitting));
    channel.handle_frame(at(2), &request(&[0x30, 0, 0]));
    assert!(
        channel
            .poll_frame(at(2))
            .is_some_and(|frame| frame.data()[1] == 0x55)
    );
}

#[test]
fn reset_forgets_everything() {
    let mut channel = awaiting_flow_control(Config::ecu(EcuAddress::ENGINE));
    channel.handle_frame(at(1), &request(&[0x10, 8, 1, 2, 3, 4, 5, 6]));
    channel.reset();
    assert_eq!(channel.poll_frame(at(1)), None);
    assert_eq!(channel.poll_event(), None);
    assert_eq!(channel.poll_timeout(), None);
    assert_eq!(channel.send(at(1), &[0x7F, 0x01, 0x11]), Ok(()));
}

/// A receiver with less room than one frame drops what it cannot hold.
#[test]
fn smallest_buffers_do_not_panic() {
    let mut channel = Channel::new(Config {
        receive_limit: 3,
        transmit_limit: 0,
        ..Config::ecu(EcuAddress::ENGINE)
    });
    channel.handle_frame(at(0), &request(&[4, 1, 2, 3, 4]));
    let reason = Ignored::TooLong { length: 4, limit: 3 };
    assert_eq!(channel.poll_event(), Some(Event::Ignored { reason }));
    channel.handle_frame(at(0), &request(&[0x10, 8, 1, 2, 3, 4, 5, 6]));
    let reason = Ignored::TooLong { length: 8, limit: 3 };
    assert_eq!(channel.poll_event(), Some(Event::Ignored { reason }));
    assert_eq!(channel.poll_frame(at(0)), Some(response(&[0x32, 0, 0])));
    assert_eq!(
        channel.send(at(0), &[1]),
        Err(SendError::TooLong { length: 1, limit: 0 })
    );
}
