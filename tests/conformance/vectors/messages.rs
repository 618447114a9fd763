//! The messages, and what the program reads in each, as JSON: a place of bits and a value for each field.

use serde_json::{Value as Json, json};
use twotrip_obd::{
    Control, Dtc, Information, Mid, Parameters, Pid, Readiness, Request, Response, ResponseBuffer,
    ResponseCode, Service, SupportMask, TestResult, Tid, Uasid,
    pid::{Definition, Field, Kind, Value},
};

/// All of them.
pub(super) fn all() -> Vec<Json> {
    let mut vectors = Vec::new();
    for definition in Pid::definitions() {
        parameter(definition, &mut vectors);
    }
    masks(&mut vectors);
    test_results(&mut vectors);
    codes(&mut vectors);
    information(&mut vectors);
    others(&mut vectors);
    requests(&mut vectors);
    vectors
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
}

/// An answer as the program writes it, and what it means.
fn answer(kind: &str, subject: &str, response: &Response<'_>, reading: Json) -> Json {
    let mut buffer = ResponseBuffer::new();
    response
        .emit(&mut buffer)
        .expect("a vector is shorter than the longest message");
    json!({"kind": kind, "subject": subject, "message": hex(&buffer), "reading": reading})
}

/// A parameter of services $01 and $02, at several data.
fn parameter(definition: &Definition, vectors: &mut Vec<Json>) {
    let mut add = |raw: &dyn Fn(&Field) -> u32| {
        let mut data = vec![0; definition.length];
        for field in definition.fields {
            field.insert(raw(field), &mut data);
            if let Some(bit) = field.announced_by {
                data[bit / 8] |= 0x80 >> (bit % 8);
            }
        }
        let subject = format!("PID {:02X}", definition.pid.number());
        let fields: Vec<Json> = definition
            .fields
            .iter()
            .flat_map(|field| readings(field, &data))
            .collect();
        for (service, frame) in [(0x41, &[][..]), (0x42, &[0x00])] {
            // PID $02 belongs to service $02 alone, $01 to service $01.
            if (service, definition.pid.number()) == (0x41, 0x02)
                || (service, definition.pid.number()) == (0x42, 0x01)
            {
                continue;
            }
            let message = [&[service, definition.pid.number()], frame, &data].concat();
            let kind = if service == 0x41 {
                "parameter"
            } else {
                "frozen parameter"
            };
            vectors.push(json!({
                "kind": kind, "subject": subject, "message": hex(&message), "reading": fields,
            }));
        }
    };
    let highest = |field: &Field| u32::MAX >> (32 - field.bits);
    add(&|_| 0);
    add(&|field| highest(field).min(1));
    add(&|field| highest(field) / 2);
    add(&|field| highest(field) / 2 + 1);
    add(&highest);
    if definition
        .fields
        .iter()
        .any(|field| field.kind == Kind::Readiness)
    {
        for bit in 0..24 {
            add(&|field| {
                if field.kind == Kind::Readiness {
                    1 << bit
                } else {
                    0
                }
            });
        }
    }
    let named = definition.fields.iter().filter_map(|field| match field.kind {
        Kind::Choice(names) => Some(names.len()),
        _ => None,
    });
    for place in 0..named.max().unwrap_or(0) {
        add(&|field| match field.kind {
            Kind::Choice(names) => names.get(place).map_or(0, |&(raw, _)| raw.into()),
            _ => 0,
        });
    }
}

/// What the program reads in a field: its place, and a number. Bits that announce it stand beside it.
fn readings(field: &Field, data: &[u8]) -> Vec<Json> {
    let place = |bit: usize, bits: usize, kind: &str, value: Json| json!({"bit": bit, "bits": bits, "kind": kind, "value": value});
    let (bit, bits) = (field.first_bit, field.bits);
    let own = match field.decode(data) {
        Some(Value::Number(value, scaling)) => json!({
            "bit": bit, "bits": bits, "kind": "number", "value": value,
            "resolution": scaling.resolution, "offset": scaling.offset,
        }),
        Some(Value::Absent) | None => place(bit, bits, "number", Json::Null),
        Some(Value::Choice { raw, .. }) => place(bit, bits, "choice", raw.into()),
        Some(Value::Flag(on)) => place(bit, bits, "bit", u8::from(on).into()),
        Some(Value::Code(code)) => place(
            bit,
            bits,
            "code",
            code.map_or_else(|| "P0000".into(), |code| code.to_string())
                .into(),
        ),
        Some(Value::Readiness(readiness)) => place(bit, bits, "readiness", groups(readiness)),
        Some(Value::SensorPlaces { places, .. }) => place(bit, bits, "raw", places.into()),
        Some(Value::Bits(raw) | Value::Mask(raw)) => place(bit, bits, "raw", raw.into()),
    };
    let announcement = field.announced_by.map(|bit| place(bit, 1, "bit", 1.into()));
    announcement.into_iter().chain([own]).collect()
}

/// Supported and incomplete groups by name.
fn groups(readiness: Readiness) -> Json {
    let names = |wanted: fn(&twotrip_obd::GroupState) -> bool| -> Vec<&str> {
        readiness
            .groups()
            .filter(&wanted)
            .map(|group| group.name)
            .collect()
    };
    json!({
        "compression": readiness.is_compression_ignition(),
        "supported": names(|group| group.supported),
        "incomplete": names(|group| !group.complete),
    })
}

/// Masks of the services that have them: each range with its ends and a few between.
fn masks(vectors: &mut Vec<Json>) {
    for base in (0..=0xE0_u8).step_by(0x20) {
        let members: Vec<u8> = [1, 2, 8, 9, 17, 31].map(|place| base + place).to_vec();
        let set: SupportMask = members.iter().copied().collect();
        let Some([a, b, c, d]) = set.range(base) else {
            continue;
        };
        let subject = format!("mask {base:02X}");
        for (service, frame) in [(0x41_u8, &[][..]), (0x42, &[0x00])] {
            let message = [&[service, base], frame, &[a, b, c, d]].concat();
            vectors.push(json!({
                "kind": "mask", "subject": format!("{subject} of {service:02X}"), "message": hex(&message),
                "reading": members,
            }));
        }
        for service in [
            Service::TestResults,
            Service::Control,
            Service::VehicleInformation,
        ] {
            let masks = [[base, a, b, c, d]];
            let subject = format!("{subject} of {:02X}", service.to_answer_byte());
            vectors.push(answer(
                "mask",
                &subject,
                &Response::Masks(service, &masks),
                json!(members),
            ));
        }
    }
}

/// Each unit and scaling at five raw numbers, and each monitor once.
fn test_results(vectors: &mut Vec<Json>) {
    let mut add = |kind: &str, subject: String, result: TestResult| {
        let Some(scaling) = result.uasid.scaling() else {
            return;
        };
        let value = |raw: u16| scaling.decode(raw.into());
        let message = [&[0x46], &result.to_bytes()[..]].concat();
        vectors.push(json!({
            "kind": kind, "subject": subject, "message": hex(&message),
            "reading": {
                "mid": result.mid.number(), "name": result.mid.name().to_string(), "tid": result.tid.number(),
                "value": value(result.value), "minimum": value(result.minimum), "maximum": value(result.maximum),
                "resolution": scaling.resolution,
            },
        }));
    };
    for uasid in Uasid::all() {
        for value in [0x0000, 0x0001, 0x7FFF, 0x8000, 0xFFFF] {
            let result = TestResult {
                mid: Mid::new(0x01),
                tid: Tid::new(0x80),
                uasid,
                value,
                minimum: 0x8001,
                maximum: 0x0002,
            };
            add("test result", format!("UASID {:02X}", uasid.number()), result);
        }
    }
    for mid in (0..=u8::MAX).map(Mid::new).filter(|mid| mid.is_known()) {
        let result = TestResult::measured(mid, Tid::new(0x80), Uasid::new(0x0B), 1.0, (None, Some(2.0)));
        add("monitor", format!("MID {:02X}", mid.number()), result);
    }
}

/// Codes of all four letters, five an answer, by the three services that list them; and none.
fn codes(vectors: &mut Vec<Json>) {
    let all: Vec<Dtc> = (0..=u16::MAX)
        .step_by(0x0333)
        .map(|raw| Dtc::from_bytes(raw.to_be_bytes()))
        .collect();
    for service in [
        Service::ConfirmedCodes,
        Service::PendingCodes,
        Service::PermanentCodes,
    ] {
        for codes in all.chunks(5).chain([&[][..]]) {
            let mut buffer = ResponseBuffer::new();
            buffer
                .write_codes(service, codes.iter().copied())
                .expect("five codes fit");
            let texts: Vec<String> = codes.iter().map(Dtc::to_string).collect();
            vectors.push(json!({
                "kind": "codes", "subject": format!("service {:02X}", service.to_byte()), "message": hex(&buffer),
                "reading": texts,
            }));
        }
    }
}

/// Each InfoType that scapy may know.
fn information(vectors: &mut Vec<Json>) {
    let counters: [[u8; 2]; 20] = std::array::from_fn(|place| [u8::try_from(place).unwrap_or(0), 0xFF]);
    let mut add = |subject: &str, information: Information<'_>, reading: Json| {
        vectors.push(answer(
            "information",
            subject,
            &Response::Information(information),
            reading,
        ));
    };
    add(
        "VIN",
        Information::Vin(b"0TW00TRP3A0000042"),
        json!(["0TW00TRP3A0000042"]),
    );
    let ids = [*b"TWOTRIP-ENG-2010", *b"SHORT\0\0\0\0\0\0\0\0\0\0\0"];
    add(
        "calibration ids",
        Information::CalibrationIds(&ids),
        json!(ids.map(|id| hex(&id))),
    );
    let numbers = [[0xDE, 0xAD, 0xBE, 0xEF], [0, 0, 0, 1]];
    add(
        "verification numbers",
        Information::VerificationNumbers(&numbers),
        json!(numbers.map(|number| hex(&number))),
    );
    add(
        "ECU name",
        Information::EcuName(b"ECM\0-EngineControl\0\0"),
        json!([hex(b"ECM\0-EngineControl\0\0")]),
    );
    for (subject, information, count) in [
        ("in-use counters", Information::InUse(&counters), 20),
        ("16 in-use counters", Information::InUse(&counters[..16]), 16),
        (
            "in-use counters, compression",
            Information::InUseCompression(&counters[..18]),
            18,
        ),
    ] {
        let values: Vec<u16> = information.counters().map(|(_, value)| value).collect();
        assert_eq!(values.len(), count, "{subject}");
        add(subject, information, json!(values));
    }
}

/// Clears, refusals, the control of a system.
fn others(vectors: &mut Vec<Json>) {
    vectors.push(answer("cleared", "clear", &Response::Cleared, Json::Null));
    vectors.push(answer(
        "control",
        "TID 01",
        &Response::Control(Tid::EVAP_LEAK_TEST, &[0x00, 0x01, 0x7F, 0x80, 0xFF]),
        json!([0x00, 0x01, 0x7F, 0x80, 0xFF]),
    ));
    for service in (0x01..=0x0A).map(Service::from_byte) {
        for code in [0x10, 0x11, 0x12, 0x21, 0x22, 0x78].map(ResponseCode::from_byte) {
            vectors.push(answer(
                "refusal",
                &format!("code {:02X}", code.to_byte()),
                &Response::Negative(service, code),
                json!([service.to_byte(), code.to_byte()]),
            ));
        }
    }
}

/// Requests as a tester writes them.
fn requests(vectors: &mut Vec<Json>) {
    let mut bytes = Vec::new();
    let mut add = |request: Request<'_>, reading: Json| {
        request.emit(&mut bytes);
        let subject = format!("service {:02X}", request.service().to_byte());
        vectors.push(json!({
            "kind": "request", "subject": subject, "message": hex(&bytes), "reading": reading,
        }));
    };
    let all = [0x0C, 0x0D, 0x05, 0x04, 0x11, 0x0F];
    for count in 1..=all.len() {
        let asked = &all[..count];
        let parameters = Parameters::current_data(asked).expect("one to six data parameters");
        add(Request::CurrentData(parameters), json!(asked));
    }
    let pairs = [[0x02, 0x00], [0x0C, 0x00], [0x05, 0x01]];
    let framed = twotrip_obd::FramedParameters::new(&pairs).expect("three pairs");
    add(Request::FreezeFrame(framed), json!(pairs));
    for request in [
        Request::ConfirmedCodes,
        Request::Clear,
        Request::PendingCodes,
        Request::PermanentCodes,
    ] {
        add(request, json!([]));
    }
    let monitor = Parameters::test_results(&[0x3B]).expect("one monitor");
    add(Request::TestResults(monitor), json!([0x3B]));
    add(
        Request::Control(Control::Test(Tid::EVAP_LEAK_TEST, &[])),
        json!([0x01]),
    );
    let vin = Parameters::information(&[0x02]).expect("one InfoType");
    add(Request::VehicleInformation(vin), json!([0x02]));
}
