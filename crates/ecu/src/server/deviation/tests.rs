//! Each falsification by its bytes, in both dialects.

use super::*;

fn written(bytes: &[u8]) -> ResponseBuffer {
    let mut response = ResponseBuffer::new();
    response.extend(bytes).expect("it fits");
    response
}

const VIN_ANSWER: &[u8] = b"\x49\x02\x010TW00TRP3A0000042";
const ON_UDS: &[u8] = b"\x62\xF8\x020TW00TRP3A0000042";
const VIN_REQUEST: &[u8] = &[0x22, 0xF8, 0x02];

/// Put to this ECU alone, in the dialect that the service belongs to.
fn asked(request: &[u8]) -> Asked<'_> {
    Asked {
        dialect: match request {
            [0x10..=0x3F, ..] => Dialect::OnUds,
            _ => Dialect::Classic,
        },
        addressing: Addressing::Physical,
        request,
    }
}

/// What is done, request, answer, what becomes of it.
type Row = (Falsified, &'static [u8], &'static [u8], &'static [u8]);

#[test]
fn each_falsification_by_its_bytes() {
    let rows: &[Row] = &[
        (
            Falsified::RefusalForSilence,
            &[0x01, 0xFF],
            &[],
            &[0x7F, 0x01, 0x12],
        ),
        (
            Falsified::RefusalForSilence,
            &[0x05, 0x00],
            &[],
            &[0x7F, 0x05, 0x11],
        ),
        (Falsified::RefusalForSilence, &[0x41, 0x00], &[], &[]),
        (Falsified::SilenceForRefusal, &[0x05], &[0x7F, 0x05, 0x11], &[]),
        (
            Falsified::SilenceForRefusal,
            &[0x03],
            &[0x43, 0x00],
            &[0x43, 0x00],
        ),
        (
            Falsified::CodeLeftOut,
            &[0x03],
            &[0x43, 0x02, 0x03, 0x01, 0x04, 0x55],
            &[0x43, 0x01, 0x03, 0x01],
        ),
        (Falsified::CodeLeftOut, &[0x07], &[0x47, 0x00], &[0x47, 0x00]),
        (Falsified::VinMissing, &[0x09, 0x02], VIN_ANSWER, &[]),
        (
            Falsified::VinMissing,
            &[0x09, 0x00],
            &[0x49, 0x00, 0x55, 0x40, 0x00, 0x00],
            &[0x49, 0x00, 0x15, 0x40, 0x00, 0x00],
        ),
        (
            Falsified::VinCut(5),
            &[0x09, 0x02],
            VIN_ANSWER,
            b"\x49\x02\x010TW00",
        ),
        (
            Falsified::VinGarbled,
            &[0x09, 0x02],
            VIN_ANSWER,
            b"\x49\x02\x01\x9CT\xFF0\x07TRP3A0000042",
        ),
        (
            Falsified::MaskLies,
            &[0x01, 0x00],
            &[0x41, 0x00, 0xBE, 0x3F, 0xA8, 0x13],
            &[0x41, 0x00, 0xFF, 0xBF, 0xA8, 0x13],
        ),
        (
            Falsified::MaskLies,
            &[0x02, 0x20, 0x00],
            &[0x42, 0x20, 0x00, 0xFF, 0xFF, 0xFF, 0xFE],
            &[0x42, 0x20, 0x00, 0xFF, 0xFF, 0xFF, 0xFE],
        ),
        (
            Falsified::MaskLies,
            &[0x01, 0x0C],
            &[0x41, 0x0C, 1, 2],
            &[0x41, 0x0C, 1, 2],
        ),
        (
            Falsified::CodeLeftOut,
            &[0x07],
            &[0x47, 0x01, 0x04, 0x55],
            &[0x47, 0x00],
        ),
        (
            Falsified::CodeLeftOut,
            &[0x0A],
            &[0x4A, 0x02, 0x04, 0x55, 0x03, 0x01],
            &[0x4A, 0x01, 0x04, 0x55],
        ),
        (
            Falsified::CodeLeftOut,
            &[0x19, 0x42, 0x33, 0x08, 0xFF],
            &[
                0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41, 0x04, 0x55, 0x7A, 0x2F, 0x41, 0x03, 0x01, 0x00,
                0x2F,
            ],
            &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41, 0x04, 0x55, 0x7A, 0x2F],
        ),
        (
            Falsified::CodeLeftOut,
            &[0x19, 0x42, 0x33, 0x08, 0xFF],
            &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04],
            &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04],
        ),
        (
            Falsified::CodeLeftOut,
            &[0x19, 0x55, 0x33],
            &[0x59, 0x55, 0x33, 0xFF, 0x04, 0x04, 0x55, 0x7A, 0x2F],
            &[0x59, 0x55, 0x33, 0xFF, 0x04],
        ),
        (
            Falsified::CodeLeftOut,
            &[0x19, 0x56, 0x33, 0x01],
            &[0x59, 0x56, 0x33, 0xFF, 0x04, 0x01, 0x04, 0x55, 0x7A, 0x2F],
            &[0x59, 0x56, 0x33, 0xFF, 0x04, 0x01],
        ),
        (
            Falsified::CodeLeftOut,
            &[0x19, 0x1A, 0x01],
            &[0x59, 0x1A, 0xFF, 0x01, 0x04, 0x55, 0x7A, 0x2F],
            &[0x59, 0x1A, 0xFF, 0x01],
        ),
        (Falsified::VinMissing, VIN_REQUEST, ON_UDS, &[0x7F, 0x22, 0x31]),
        (
            Falsified::VinMissing,
            &[0x22, 0xF8, 0x00],
            &[0x62, 0xF8, 0x00, 0x55, 0x40, 0x00, 0x00],
            &[0x62, 0xF8, 0x00, 0x15, 0x40, 0x00, 0x00],
        ),
        // Among others: those stay.
        (
            Falsified::VinMissing,
            &[0x22, 0xF4, 0x0D, 0xF8, 0x02, 0xF8, 0x10],
            b"\x62\xF4\x0D\x50\xF8\x020TW00TRP3A0000042\xF8\x10\x01",
            b"\x62\xF4\x0D\x50\xF8\x10\x01",
        ),
        (
            Falsified::VinCut(5),
            &[0x22, 0xF4, 0x0D, 0xF8, 0x02, 0xF8, 0x10],
            b"\x62\xF4\x0D\x50\xF8\x020TW00TRP3A0000042\xF8\x10\x01",
            b"\x62\xF4\x0D\x50\xF8\x020TW00\xF8\x10\x01",
        ),
        (Falsified::VinCut(5), VIN_REQUEST, ON_UDS, b"\x62\xF8\x020TW00"),
        (
            Falsified::VinGarbled,
            VIN_REQUEST,
            ON_UDS,
            b"\x62\xF8\x02\x9CT\xFF0\x07TRP3A0000042",
        ),
        (
            Falsified::MaskLies,
            &[0x22, 0xF4, 0x00],
            &[0x62, 0xF4, 0x00, 0xBE, 0x3F, 0xA8, 0x13],
            &[0x62, 0xF4, 0x00, 0xFF, 0xBF, 0xA8, 0x13],
        ),
        // $F810 is no mask.
        (
            Falsified::MaskLies,
            &[0x22, 0xF8, 0x10],
            &[0x62, 0xF8, 0x10, 0x01, 0, 0, 0],
            &[0x62, 0xF8, 0x10, 0x01, 0, 0, 0],
        ),
        (
            Falsified::RefusalForSilence,
            &[0x22, 0xF4, 0xFF],
            &[],
            &[0x7F, 0x22, 0x31],
        ),
        (
            Falsified::RefusalForSilence,
            &[0x19, 0x02, 0x08],
            &[],
            &[0x7F, 0x19, 0x12],
        ),
        // Silence that the tester wants.
        (Falsified::RefusalForSilence, &[0x3E, 0x80], &[], &[]),
    ];
    for &(falsified, request, answer, expected) in rows {
        let mut response = written(answer);
        let given = match answer {
            [] => Answer::Silence,
            [0x7F, ..] => Answer::Negative(ResponseCode::ServiceNotSupported),
            _ => Answer::Positive,
        };
        let deviation = Deviation {
            falsified: Some(falsified),
            ..Deviation::default()
        };
        let found = deviation.after(asked(request), given, &mut response);
        assert_eq!(response.as_slice(), expected, "{falsified:?} {request:02X?}");
        assert_eq!(
            found.is_sent(),
            !expected.is_empty(),
            "{falsified:?} {request:02X?}"
        );
    }
}

#[test]
fn a_request_is_not_served_and_refused_or_passed_over() {
    let mut response = written(&[0x43, 0x00]);
    let busy = Deviation {
        unserved: Some(Unserved::Refused(ResponseCode::BusyRepeatRequest)),
        ..Deviation::default()
    };
    let answer = busy.before(&[0x04], &mut response);
    assert_eq!(answer, Some(Answer::Negative(ResponseCode::BusyRepeatRequest)));
    assert_eq!(response.as_slice(), [0x7F, 0x04, 0x21]);
    let silent = Deviation {
        unserved: Some(Unserved::Silently),
        ..Deviation::default()
    };
    assert_eq!(silent.before(&[0x04], &mut response), Some(Answer::Silence));
    assert!(response.is_empty());
}

#[test]
fn an_empty_deviation_changes_nothing() {
    let mut response = written(VIN_ANSWER);
    let nothing = Deviation::default();
    assert_eq!(nothing.before(&[0x09, 0x02], &mut response), None);
    let answer = nothing.after(asked(&[0x09, 0x02]), Answer::Positive, &mut response);
    assert_eq!((answer, response.as_slice()), (Answer::Positive, VIN_ANSWER));
}

/// Any answer at all: no panic.
#[test]
fn falsifying_anything_does_no_harm() {
    let all = [
        Falsified::RefusalForSilence,
        Falsified::SilenceForRefusal,
        Falsified::CodeLeftOut,
        Falsified::VinMissing,
        Falsified::VinCut(17),
        Falsified::VinGarbled,
        Falsified::MaskLies,
    ];
    for falsified in all {
        let deviation = Deviation {
            falsified: Some(falsified),
            ..Deviation::default()
        };
        for service in 0..=u8::MAX {
            for len in 0..10 {
                let bytes = [service | 0x40, 0x00, 3, 0, 0, 0, 0, 0, 0, 0];
                let request = [service, 0x00, 0];
                for answer in [Answer::Silence, Answer::Positive] {
                    let mut response = written(&bytes[..len]);
                    let _ = deviation.after(asked(&request[..len.min(3)]), answer, &mut response);
                }
            }
        }
    }
}

/// What is not there is silence where all were asked; a classic ECU has no service $22, and the newer one no $01.
#[test]
fn dialect_and_addressing_decide_how_it_is_refused() {
    let lacks = |falsified, dialect, addressing, request: &[u8], answer: &[u8]| {
        let mut response = written(answer);
        let given = if answer.is_empty() {
            Answer::Silence
        } else {
            Answer::Positive
        };
        let deviation = Deviation {
            falsified: Some(falsified),
            ..Deviation::default()
        };
        let asked = Asked {
            dialect,
            addressing,
            request,
        };
        let _ = deviation.after(asked, given, &mut response);
        response.as_slice().to_vec()
    };
    let all = Addressing::Functional;
    let missing = Falsified::VinMissing;
    assert_eq!(
        lacks(missing, Dialect::OnUds, all, VIN_REQUEST, ON_UDS),
        [0_u8; 0]
    );
    let refusal = Falsified::RefusalForSilence;
    let who = [0x22, 0xF8, 0x10];
    assert_eq!(
        lacks(refusal, Dialect::Classic, all, &who, &[]),
        [0x7F, 0x22, 0x11]
    );
    assert_eq!(
        lacks(refusal, Dialect::OnUds, all, &[0x01, 0x00], &[]),
        [0x7F, 0x01, 0x11]
    );
}
