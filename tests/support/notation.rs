//! Frames as text in the cases, and patterns to hold the ECU's frames against.
//!
//! `7DF#02 01 00 ..` is a frame of eight bytes filled up with 00 (`..CC`: with CC), `7DF#02 01` one of two, `7DF#R8` a
//! remote request, `7DF##02 01` an FD frame, `error 00000008` an error frame; eight digits make a 29-bit identifier.
//! In a pattern `xx` is any byte and `..` any rest.

use twotrip_can::{CanId, Frame};

fn id(text: &str) -> CanId {
    let number = u32::from_str_radix(text, 16).expect("identifier in hex");
    if text.len() == 8 {
        CanId::extended(number).expect("29 bits")
    } else {
        CanId::standard(number.try_into().expect("11 bits")).expect("11 bits")
    }
}

fn byte(text: &str) -> u8 {
    u8::from_str_radix(text, 16).unwrap_or_else(|_| panic!("`{text}` is no byte"))
}

/// Bytes in hex, with blanks between.
///
/// # Panics
/// If the text is none.
#[must_use]
pub fn bytes(text: &str) -> Vec<u8> {
    text.split_whitespace().map(byte).collect()
}

/// A frame to send.
///
/// # Panics
/// If the text is none.
#[must_use]
pub fn frame(text: &str) -> Frame {
    if let Some(class) = text.strip_prefix("error ") {
        return Frame::error(u32::from_str_radix(class, 16).expect("class in hex"), [0; 8]);
    }
    let (address, data) = text.split_once('#').expect("`#` after the identifier");
    if let Some(len) = data.strip_prefix('R') {
        return Frame::remote(id(address), byte(len)).expect("up to 8");
    }
    if let Some(data) = data.strip_prefix('#') {
        return Frame::fd(id(address), &bytes(data), false, false).expect("up to 64 bytes");
    }
    match data.split_once("..") {
        Some((data, pad)) => Frame::padded(
            id(address),
            &bytes(data),
            if pad.is_empty() { 0 } else { byte(pad) },
        ),
        None => Frame::new(id(address), &bytes(data)).expect("up to 8 bytes"),
    }
}

/// Whether a frame of the ECU is the one expected; all of them have eight bytes (ISO 15765-4, from memory).
///
/// # Panics
/// If the pattern is none.
#[must_use]
pub fn matches(pattern: &str, frame: &Frame) -> bool {
    let (address, data) = pattern.split_once('#').expect("`#` after the identifier");
    if frame.id() != id(address) || !frame.is_classic_data() || frame.len() != 8 {
        return false;
    }
    let mut found = frame.data().iter();
    for token in data.split_whitespace() {
        match (token, found.next()) {
            ("..", _) => return true,
            ("xx", Some(_)) => {}
            (token, Some(&found)) if byte(token) == found => {}
            _ => return false,
        }
    }
    found.next().is_none()
}

#[test]
fn patterns_tell_frames_apart() {
    let answer = frame("7E8#06 41 00 BE ..");
    assert!(matches("7E8#06 41 00 xx 00 ..", &answer));
    assert!(matches("7E8#06 41 00 BE 00 00 00 00", &answer));
    assert!(!matches("7E8#06 41 00 BE", &answer));
    assert!(!matches("7E8#06 41 01 ..", &answer));
    assert!(!matches("7E9#06 ..", &answer));
    assert!(!matches("7E8#06 41 00 BE", &frame("7E8#06 41 00 BE")));
    assert_eq!(frame("000007DF#").id(), CanId::Extended(0x7DF));
}
