//! Messages, and whole conversations as an onlooker has them: read, put into words.

use std::time::Duration;

use twotrip_can::{CanId, Frame};
use twotrip_dialogue::{Dialogue, Event};
use twotrip_obd::{Dtc, Request, Response, describe_request, describe_response};
use twotrip_units::BusInstant;

use crate::target::Target;

pub(crate) fn target() -> Target {
    // Conversations as frames: identifier's last digits, eight bytes.
    let frames = |frames: &[(u8, [u8; 8])]| {
        let bytes = frames
            .iter()
            .flat_map(|(id, data)| std::iter::once(*id).chain(*data));
        std::iter::once(0xFF).chain(bytes).collect::<Vec<u8>>()
    };
    let mut examples: Vec<Vec<u8>> = vec![
        vec![0x01, 0x00],
        vec![0x41, 0x00, 0xBE, 0x3F, 0xA8, 0x13, 0x0C, 0x1A, 0xF8, 0x05, 0x7B],
        vec![0x02, 0x02, 0x00, 0x0C, 0x00],
        vec![0x42, 0x02, 0x00, 0x04, 0x55, 0x0C, 0x00, 0x1A, 0xF8],
        vec![0x43, 0x02, 0x04, 0x55, 0x01, 0x71],
        vec![0x46, 0x21, 0x80, 0x24, 0x01, 0x2C, 0x00, 0x00, 0x02, 0x00],
        vec![0x48, 0x01, 0x00, 0x00, 0x00, 0x00, 0x00],
        vec![0x49, 0x08, 0x14, 0, 1, 0, 2, 0, 3, 0, 4],
        b"\x49\x02\x010TW00TRP3A0000042".to_vec(),
        vec![0x7F, 0x04, 0x22],
        // The same of the later protocol (SAE J1979-2).
        vec![0x22, 0xF4, 0x0C, 0xF4, 0x05],
        vec![0x62, 0xF4, 0x0C, 0x1A, 0xF8],
        vec![0x19, 0x42, 0x33, 0x08, 0xFF],
        vec![0x59, 0x42, 0x33, 0xFF, 0xFF, 0x04, 0x00, 0x04, 0x55, 0x00, 0xAF],
        vec![0x14, 0xFF, 0xFF, 0x33],
    ];
    examples.push(frames(&[
        (0xDF, [2, 0x09, 0x02, 0, 0, 0, 0, 0]),
        (0xE8, *b"\x10\x14\x49\x02\x010TW"),
        (0xE0, [0x30, 0, 0, 0, 0, 0, 0, 0]),
        (0xE8, *b"\x2100TRP3A"),
        (0xE8, *b"\x220000042"),
    ]));
    Target {
        name: "messages",
        inputs: 250_000,
        longest: 1024,
        memory: 512 * 1024,
        examples,
        feed,
    }
}

fn feed(input: &[u8]) -> usize {
    let Some((&0xFF, frames)) = input.split_first() else {
        return one_message(input);
    };
    let mut dialogue = Dialogue::default();
    let mut depth = 0;
    for (number, chunk) in (0_u64..).zip(frames.chunks(9)) {
        let (id, data) = (u16::from(chunk[0]), &chunk[1..]);
        let frame = Frame::new(CanId::Standard(0x700 | id), data).expect("up to eight bytes");
        let at = BusInstant::ZERO + Duration::from_millis(number * u64::from(id & 3));
        dialogue.on_frame(number, at, &frame);
        while let Some(event) = dialogue.poll_event() {
            match event {
                Event::Message(message) => depth += one_message(&message.bytes).min(100),
                Event::Breach { breach, .. } => {
                    assert!(!format!("{breach} {}", breach.rule()).is_empty());
                }
                Event::Unit(_) => {}
            }
        }
    }
    dialogue.on_end(BusInstant::from_millis(100_000));
    while dialogue.poll_event().is_some() {}
    depth.min(2000)
}

fn one_message(bytes: &[u8]) -> usize {
    let request = Request::parse(bytes);
    let response = Response::parse(bytes);
    let words = [describe_request(bytes), describe_response(bytes)];
    // Words of a message of n bytes: no byte takes more than a name and a figure.
    let most = 400 * (bytes.len() + 1);
    assert!(words.iter().all(|words| words.len() <= most), "{words:?}");
    if let Ok(text) = core::str::from_utf8(bytes)
        && let Ok(code) = text.parse::<Dtc>()
    {
        assert_eq!(code.to_string().parse(), Ok(code));
    }
    let read = usize::from(request.is_ok()) + 2 * usize::from(response.is_ok());
    4 * (words[0].len() + words[1].len()).min(400) + read
}
