//! Every InfoType with a known layout, byte for byte.

extern crate std;

use std::{vec, vec::Vec};

use super::*;
use crate::{Response, ResponseBuffer, describe_response};

/// InfoType, bytes of an item, how many items of the standard's, bytes of the whole answer: lengths on CAN as
/// scapy, tshark and a public encyclopedia have them; from $0D on from memory.
const ROWS: &[(InfoType, usize, u8, usize)] = &[
    (InfoType::VIN, 17, 1, 20),
    (InfoType::CALIBRATION_ID, 16, 1, 19),
    (InfoType::CALIBRATION_ID, 16, 3, 51),
    (InfoType::VERIFICATION_NUMBER, 4, 1, 7),
    (InfoType::VERIFICATION_NUMBER, 4, 3, 15),
    (InfoType::IN_USE_PERFORMANCE, 2, 0x10, 35),
    (InfoType::IN_USE_PERFORMANCE, 2, 0x14, 43),
    (InfoType::IN_USE_PERFORMANCE, 2, 0x1C, 59),
    (InfoType::ECU_NAME, 20, 1, 23),
    (InfoType::IN_USE_PERFORMANCE_COMPRESSION, 2, 0x10, 35),
    (InfoType::IN_USE_PERFORMANCE_COMPRESSION, 2, 0x12, 39),
    (InfoType::ENGINE_SERIAL_NUMBER, 17, 1, 20),
    (InfoType::TYPE_APPROVAL_NUMBER, 17, 1, 20),
    (InfoType::PROTOCOL, 1, 1, 4),
    (InfoType::REGULATION, 11, 1, 14),
    (InfoType::FUELLED_CYCLES, 2, 1, 5),
    (InfoType::EVAP_DISTANCE, 2, 1, 5),
];

fn answer(info_type: InfoType, count: u8, bytes: usize) -> Vec<u8> {
    let mut answer = vec![0x49, info_type.number(), count];
    answer.extend((0..bytes).map(|place| b'0' + u8::try_from(place % 10).unwrap()));
    answer
}

#[test]
fn every_info_type_is_written_as_it_is_read() {
    let mut buffer = ResponseBuffer::new();
    for &(info_type, item, count, whole) in ROWS {
        let bytes = answer(info_type, count, item * usize::from(count));
        assert_eq!(bytes.len(), whole, "{info_type:?}");
        let Ok(Response::Information(information)) = Response::parse(&bytes) else {
            panic!("{info_type:?} is not read");
        };
        assert!(!matches!(information, Information::Other(..)), "{info_type:?}");
        assert_eq!(information.info_type(), info_type);
        Response::Information(information).emit(&mut buffer).unwrap();
        assert_eq!(*buffer, *bytes, "{info_type:?}");
        let said = describe_response(&bytes);
        assert!(said.starts_with(info_type.name().unwrap()), "{said}");
        // A byte less, a byte more and another count are no such answer.
        for wrong in [
            &bytes[..whole - 1],
            &[&bytes[..], &[0]].concat(),
            &[&bytes[..2], &[count + 1], &bytes[3..]].concat(),
        ] {
            assert!(Response::parse(wrong).is_err(), "{wrong:02X?}");
        }
    }
    let rows: Vec<InfoType> = ROWS.iter().map(|row| row.0).collect();
    assert!(LAYOUTS.iter().all(|layout| rows.contains(&layout.info_type)));
}

#[test]
fn counters_have_the_names_of_their_kind() {
    for (info_type, count, first, last) in [
        (
            InfoType::IN_USE_PERFORMANCE,
            0x10,
            "monitoring conditions",
            Some("evap conditions"),
        ),
        (
            InfoType::IN_USE_PERFORMANCE,
            0x14,
            "monitoring conditions",
            Some("rear oxygen sensor bank 2 conditions"),
        ),
        (
            InfoType::IN_USE_PERFORMANCE,
            0x1C,
            "monitoring conditions",
            Some("particulate filter bank 2 conditions"),
        ),
        (InfoType::IN_USE_PERFORMANCE, 0x20, "monitoring conditions", None),
        (
            InfoType::IN_USE_PERFORMANCE_COMPRESSION,
            0x12,
            "monitoring conditions",
            Some("fuel system conditions"),
        ),
    ] {
        let bytes = answer(info_type, count, 2 * usize::from(count));
        let Ok(Response::Information(information)) = Response::parse(&bytes) else {
            panic!("{info_type:?} is not read");
        };
        let names: Vec<_> = information.counters().map(|(name, _)| name).collect();
        assert_eq!((names[0], names[names.len() - 1]), (Some(first), last));
        assert_eq!(names.len(), usize::from(count));
    }
}
