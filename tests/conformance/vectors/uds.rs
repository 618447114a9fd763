//! Requests and answers of an engine ECU that speaks SAE J1979-2, and what the program reads in each, as JSON: for PyPI's
//! `udsoncan`, which reads ISO 14229-1 (`tests/peers/uds.py`).

use serde_json::{Value as Json, json};
use twotrip_ecu::{Ecu, EcuConfig, server::Addressing};
use twotrip_harness::{KeyPosition, SensorPins};
use twotrip_obd::{
    Dialect, Dtc, ResponseBuffer,
    uds::{Data, Datum, Did, Frame, FullDtc, Request, Response, Severity, Status},
};
use twotrip_units::CarInstant;

use super::messages::hex;

/// All of them.
pub(super) fn all() -> Vec<Json> {
    let mut ecu = car();
    let mut vectors = Vec::new();
    let mut ask = |request: &[u8]| {
        let answered = answer(&mut ecu, request);
        vectors.push(json!({
            "request": hex(request), "message": hex(&answered), "reading": reading(&answered),
        }));
        answered
    };
    for request in [
        &[0x10, 0x01][..],
        &[0x10, 0x02],
        &[0x3E, 0x00],
        &[0x14, 0xFF, 0xFF, 0xFF],
        &[0x31, 0x01, 0xE0, 0x01],
        &[0x31, 0x01, 0xE0, 0x02],
        &[0x22, 0xF1, 0x90],
        &[0x22, 0xF8, 0x10],
        &[0x22, 0xF8, 0x02],
        &[0x22, 0xF8, 0x0A],
        &[0x22, 0xF4, 0x00],
        &[0x22, 0xF6, 0x00],
        &[0x22, 0xF8, 0x00],
        &[0x22, 0xF4, 0x0C, 0xF4, 0x0D, 0xF4, 0x05],
        &[0x19, 0x02, 0xFF],
        &[0x19, 0x55, 0x33],
        &[0x19, 0x06, 0x04, 0x55, 0x7A, 0x92],
        &[0x19, 0x06, 0x04, 0x56, 0x7A, 0x92],
    ] {
        ask(request);
    }
    // Each parameter that the car has.
    for number in (1..=u8::MAX).filter(|number| !number.is_multiple_of(0x20)) {
        ask(&[0x22, Did::PARAMETERS, number]);
    }
    let mut codes = Vec::new();
    for status in [0x01, 0x04, 0x08, 0x0C, 0x20, 0x80, 0xFF] {
        let answered = ask(&[0x19, 0x42, 0x33, status, 0xFF]);
        if let Ok(Response::CodesByMask { codes: told, .. }) = Response::parse(&answered) {
            codes.extend(told.iter().map(|(_, code, _)| code));
        }
    }
    codes.sort_unstable();
    codes.dedup();
    let mut request = Vec::new();
    for code in codes {
        for record in [0x00, 0xF0, 0xFF] {
            let frames = Request::FreezeFrame {
                quiet: false,
                code,
                record,
            };
            frames.emit(&mut request);
            ask(&request);
        }
    }
    ask(&[0x14, 0xFF, 0xFF, 0x33]);
    vectors
}

/// With the key on, and codes of several kinds: not physical.
fn car() -> Ecu {
    let mut ecu = Ecu::new(EcuConfig {
        dialect: Dialect::OnUds,
        ..EcuConfig::default()
    });
    let pins = SensorPins {
        key: KeyPosition::On,
        ..SensorPins::default()
    };
    let mut now = CarInstant::ZERO;
    for _ in 0..100 {
        now += core::time::Duration::from_millis(10);
        let _ = ecu.step(now, &pins);
    }
    let confirmed = [0x0455, 0x0113, 0x0301].map(Dtc::p);
    let pending = [0x0420, 0x0117].map(Dtc::p);
    ecu.preload_confirmed(now, &confirmed).expect("codes of this car");
    ecu.preload_pending(now, &pending).expect("codes of this car");
    ecu
}

fn answer(ecu: &mut Ecu, request: &[u8]) -> Vec<u8> {
    let mut response = ResponseBuffer::new();
    let now = CarInstant::from_millis(1000);
    let _ = ecu.answer(now, Addressing::Physical, request, &mut response);
    response.as_slice().to_vec()
}

fn number(code: FullDtc) -> u32 {
    let [a, b, c] = code.to_bytes();
    u32::from_be_bytes([0, a, b, c])
}

/// What the program reads.
fn reading(answer: &[u8]) -> Json {
    let plain = |(code, status): (FullDtc, Status)| json!([number(code), status.to_byte()]);
    let graded = |(severity, code, status): (Severity, FullDtc, Status)| {
        json!([number(code), status.to_byte(), severity.to_byte()])
    };
    match Response::parse(answer).unwrap_or_else(|error| panic!("{}: {error}", hex(answer))) {
        Response::Session { session, p2, p2_star } => {
            json!({"session": session, "p2": p2.as_secs_f64(), "p2_star": p2_star.as_secs_f64()})
        }
        Response::Cleared | Response::TesterPresent => json!({}),
        Response::CodesByMask {
            group,
            available,
            codes,
        } => json!({
            "group": group, "available": available.to_byte(), "codes": codes.iter().map(graded).collect::<Vec<_>>(),
        }),
        Response::PermanentCodes {
            group,
            available,
            codes,
        } => json!({
            "group": group, "available": available.to_byte(), "codes": codes.iter().map(plain).collect::<Vec<_>>(),
        }),
        Response::CodesByReadiness { codes, .. } | Response::CodesWithRecord { codes, .. } => {
            json!({"codes": codes.iter().map(plain).collect::<Vec<_>>()})
        }
        Response::FreezeFrames { code, status, frames } => {
            let frame = |frame: Result<Frame<'_>, _>| {
                let frame: Frame<'_> = frame.expect("a frame of our own");
                json!({"record": frame.record, "data": data(frame.data)})
            };
            json!({
                "code": plain((code, status)), "frames": frames.map(frame).collect::<Vec<_>>(),
            })
        }
        Response::ExtendedData { code, status, data } => {
            json!({"code": plain((code, status)), "record": data.first(), "data": hex(data.get(1..).unwrap_or_default())})
        }
        Response::Data(told) => json!({"data": data(told)}),
        Response::Routine { what, routine, data } => {
            json!({"what": what, "routine": routine, "data": hex(data)})
        }
        Response::Negative(service, code) => {
            json!({"refused": service.to_byte(), "code": code.to_byte()})
        }
    }
}

/// Identifiers with their bytes, in order.
fn data(data: Data<'_>) -> Vec<Json> {
    data.map(|datum| match datum.expect("data of our own") {
        Datum::Parameter(record) => {
            let did = Did::parameter(record.pid.number());
            json!([u16::from_be_bytes(did.to_bytes()), hex(record.data)])
        }
        Datum::Mask(did, mask) => json!([u16::from_be_bytes(did.to_bytes()), hex(&mask)]),
        Datum::Information(information) => {
            let did = [Did::INFORMATION, information.info_type().number()];
            json!([u16::from_be_bytes(did), hex(information.bytes())])
        }
        Datum::Tests(mid, tests) => {
            let did = [Did::MONITORS, mid.number()];
            json!([u16::from_be_bytes(did), hex(tests.as_flattened())])
        }
        Datum::Other(did, data) => json!([u16::from_be_bytes(did.to_bytes()), hex(data)]),
    })
    .collect()
}
