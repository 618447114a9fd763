//! Every way in which bytes can be wrong, and old formats.

use serde::{Deserialize, Serialize};
use serde_json::json;

use super::*;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Content {
    codes: Vec<String>,
    kilometres: f64,
}

fn content() -> Content {
    Content {
        codes: vec!["P0455".to_owned(), "P0301".to_owned()],
        kilometres: 0.1 + 0.2,
    }
}

fn file() -> Vec<u8> {
    encode(&content()).expect("it can be written")
}

fn read(bytes: &[u8]) -> Result<Content, FormatError> {
    decode(bytes, STEPS)
}

/// A file with this content under a first line that fits it.
fn sealed(format: u32, content: &str) -> Vec<u8> {
    let sum = crc32fast::hash(content.as_bytes());
    let head = format!(
        "twotrip ecu memory, format {format}, {} bytes, crc32 {sum:08x}\n",
        content.len()
    );
    (head + content).into_bytes()
}

/// The check value that catalogues of checksums give for this one: `123456789` makes CBF43926.
#[test]
fn checksum_meets_its_published_check_value() {
    assert_eq!(crc32fast::hash(b"123456789"), 0xCBF4_3926);
}

#[test]
fn what_is_written_is_read_to_the_last_bit() {
    assert_eq!(read(&file()), Ok(content()));
    assert_eq!(
        read(&sealed(1, &serde_json::to_string(&content()).unwrap())),
        Ok(content())
    );
}

#[test]
fn a_file_that_ends_anywhere_is_torn() {
    let file = file();
    assert_eq!(read(&[]), Err(FormatError::Empty));
    let head = file.iter().position(|&byte| byte == b'\n').unwrap();
    for ends in 1..file.len() {
        let expected = (ends > head).then_some(file.len());
        assert_eq!(read(&file[..ends]), Err(FormatError::Torn { ends, expected }));
        assert!(is_ours(&file[..ends]), "it may be reset");
    }
}

/// One wrong bit anywhere is noticed. In the first line it may be the format, the length or the check value itself
/// that it changes.
#[test]
fn a_wrong_bit_anywhere_is_noticed() {
    let file = file();
    let content = file.iter().position(|&byte| byte == b'\n').unwrap() + 1;
    for at in 0..file.len() {
        for bit in 0..8 {
            let mut wrong = file.clone();
            wrong[at] ^= 1 << bit;
            let error = read(&wrong).expect_err("wrong");
            let named = match error {
                FormatError::NotOurs { at: named } => {
                    assert!(at < MAGIC.len());
                    named
                }
                // A longer length, or a higher format.
                FormatError::Torn { .. } | FormatError::Newer { .. } => continue,
                FormatError::Damaged { at: named, .. } => named,
                FormatError::Empty => panic!("byte {at} bit {bit}: {error}"),
            };
            if at < MAGIC.len() {
                assert_eq!(named, at);
            } else if at >= content {
                assert_eq!(named, content, "the check value covers all from there");
            }
        }
    }
}

#[test]
fn what_is_wrong_is_said_with_its_place() {
    let wrong_value = r#"{ "codes": [],
  "kilometres": true }"#;
    for (bytes, text) in [
        (
            b"PK\x03\x04".to_vec(),
            "it is no memory file of this program: byte 0 is not that of `twotrip ecu memory`",
        ),
        (
            b"twotrip run healthy".to_vec(),
            "it is no memory file of this program: byte 8 is not that of `twotrip ecu memory`",
        ),
        (
            sealed(2, "[1, 2]"),
            "it has format 2, and this program reads formats up to 1",
        ),
        (sealed(0, "{}"), "it is damaged: byte 27: there is no format 0"),
        (
            sealed(1, "{}")[..40].to_vec(),
            "it is torn: it ends at byte 40 in its first line",
        ),
        (
            [sealed(1, "{}"), b"\n".to_vec()].concat(),
            "it is damaged: byte 56: it should end here, and more follows",
        ),
        (
            b"twotrip ecu memory, format one".to_vec(),
            "it is torn: it ends at byte 30 in its first line",
        ),
        (
            b"twotrip ecu memory, format one, 2 bytes, crc32 0\n{}".to_vec(),
            "it is damaged: byte 27: a number should stand here",
        ),
        (
            b"twotrip ecu memory, format 1; 2 bytes, crc32 0\n{}".to_vec(),
            "it is damaged: byte 28: `,` should stand here",
        ),
        (
            b"twotrip ecu memory, format 1, 2 bytes, crc32 0 \n{}".to_vec(),
            "it is damaged: byte 46: the first line should end here",
        ),
        (
            [b"twotrip ecu memory, format 1, ".to_vec(), vec![b'9'; 200]].concat(),
            "it is damaged: byte 100: the first line does not end",
        ),
        (
            b"twotrip ecu memory, format 1, 2 bytes, crc32 7\n{}".to_vec(),
            "it is damaged: byte 47: from here to byte 49 the check value is a3a6bf43 where 00000007 was noted",
        ),
        (
            sealed(1, wrong_value),
            "it is damaged: byte 89: invalid type: boolean `true`, expected f64",
        ),
        (
            sealed(1, "{ \"codes\": [] }"),
            "it is damaged: byte 69: missing field `kilometres`",
        ),
    ] {
        assert_eq!(read(&bytes).expect_err(text).to_string(), text);
    }
}

/// The steps of a program that has gone through two more formats: kilometres were metres once, and codes one text.
#[test]
fn old_formats_are_brought_to_the_newest_step_by_step() {
    fn kilometres(mut old: Value) -> Result<Value, String> {
        let metres = old["metres"].as_f64().ok_or("`metres` is no number")?;
        old["kilometres"] = json!(metres / 1000.0);
        Ok(old)
    }
    fn one_by_one(mut old: Value) -> Result<Value, String> {
        let codes = old["codes"].as_str().ok_or("`codes` is no text")?;
        old["codes"] = codes.split(' ').collect();
        Ok(old)
    }
    let steps: [Step; 2] = [kilometres, one_by_one];
    assert_eq!(newest(&steps), 3);
    let expected = Content {
        kilometres: 12.5,
        ..content()
    };
    for (format, old) in [
        (1, r#"{ "codes": "P0455 P0301", "metres": 12500 }"#),
        (2, r#"{ "codes": "P0455 P0301", "kilometres": 12.5 }"#),
        (3, r#"{ "codes": ["P0455", "P0301"], "kilometres": 12.5 }"#),
    ] {
        assert_eq!(
            decode(&sealed(format, old), &steps),
            Ok(expected.clone()),
            "format {format}"
        );
    }
    let read = |format, old| decode::<Content>(&sealed(format, old), &steps).expect_err("wrong");
    let error = read(1, r#"{ "codes": "P0455", "metres": "far" }"#).to_string();
    assert_eq!(error, "it is damaged: byte 55: `metres` is no number");
    assert_eq!(read(4, "{}"), FormatError::Newer { found: 4, newest: 3 });
}
