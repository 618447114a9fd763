//! Messages and their words.

use alloc::vec::Vec;

use super::*;

#[test]
fn requests_in_words() {
    for (bytes, words) in [
        (&[0x01, 0x0C, 0x0D][..], "asks for engine speed, vehicle speed"),
        (
            &[0x01, 0x00, 0x20],
            "asks for the supported PIDs from $01, the supported PIDs from $21",
        ),
        (&[0x01, 0xC3], "asks for PID $C3"),
        (&[0x02, 0x02, 0x00], "asks the freeze frame for causing code"),
        (
            &[0x02, 0x0C, 0x01],
            "asks the freeze frame for engine speed (frame 1)",
        ),
        (&[0x03], "asks for confirmed codes"),
        (&[0x04], "asks to clear codes, freeze frame and readiness"),
        (&[0x07], "asks for pending codes"),
        (&[0x09, 0x02], "asks for vehicle identification number"),
        (&[0x09, 0x00], "asks for the supported InfoTypes from $01"),
        (&[0x09, 0x13], "asks for InfoType $13"),
        (&[0x0A], "asks for permanent codes"),
        (
            &[0x06, 0x01],
            "asks for test results of oxygen sensor, bank 1 sensor 1",
        ),
        (&[0x06, 0x20], "asks for the supported monitors from $21"),
        (&[0x08, 0x00], "asks for the supported controls from $01"),
        (&[0x08, 0x01], "commands evaporative system leak test"),
        (&[0x08, 0x02, 0x07], "commands control $02 07"),
        (&[0x2E, 0xF1, 0x90], "asks service $2E (unknown service) F1 90"),
        (
            &[0x01, 0x00, 0x0C],
            "malformed request: the request mixes masks of supported parameters with data",
        ),
    ] {
        assert_eq!(describe_request(bytes), words);
    }
}

#[test]
fn answers_in_words() {
    for (bytes, words) in [
        (
            &[0x41, 0x0C, 0x1A, 0xF8, 0x0D, 0x50, 0x05, 0x6E][..],
            "engine speed 1726 rpm; vehicle speed 80 km/h; coolant temperature 70 °C",
        ),
        (
            &[0x41, 0x00, 0xBE, 0x1F, 0xA8, 0x13],
            "supports PIDs 01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F, more follow",
        ),
        (
            &[0x41, 0x20, 0, 0, 0, 1],
            "supports no PIDs from $21, more follow",
        ),
        (
            &[0x41, 0x01, 0x81, 0x07, 0x65, 0x04],
            "monitors since clear: lamp command on, confirmed codes 1, complete misfire fuel-system components \
             catalyst oxygen-sensor oxygen-sensor-heater, not complete evap",
        ),
        (
            &[0x41, 0x01, 0x00, 0x0B, 0xC1, 0x41],
            "monitors since clear: lamp command off, confirmed codes 0, complete misfire fuel-system egr, not \
             complete nmhc-catalyst particulate-filter",
        ),
        (
            &[0x41, 0x67, 0x01, 0x6E, 0x00],
            "coolant temperature sensors: 1 70 °C",
        ),
        (
            &[0x41, 0x14, 0x5A, 0xFF],
            "oxygen sensor, bank 1 sensor 1: voltage 0.45 V, short-term trim not used",
        ),
        (
            &[0x41, 0x0D, 0x50, 0x0C, 0x1A],
            "vehicle speed 80 km/h; unreadable: PID `$0C` needs `2` bytes, `1` are left",
        ),
        (&[0x42, 0x02, 0x00, 0x03, 0x01], "freeze frame: caused by P0301"),
        (&[0x42, 0x02, 0x00, 0x00, 0x00], "freeze frame: none stored"),
        (&[0x43, 0x01, 0x04, 0x55], "1 confirmed code: P0455"),
        (&[0x47, 0x00], "no pending code"),
        (
            &[0x4A, 0x02, 0x04, 0x55, 0x03, 0x01],
            "2 permanent codes: P0455 P0301",
        ),
        (&[0x44], "codes, freeze frame and readiness cleared"),
        (
            &[0x49, 0x00, 0x55, 0x40, 0x00, 0x00],
            "supports InfoTypes 02 04 06 08 0A",
        ),
        (
            &[0x46, 0x20, 0x00, 0x00, 0x00, 0xA8],
            "supports monitors 39 3B 3D",
        ),
        (
            &[0x46, 0x3B, 0x81, 0x32, 0x00, 0x64, 0x00, 0x00, 0x04, 0x09],
            "evap leak, 0.040 in, test $81: 0.00305 in (at most 0.03151 in)",
        ),
        (&[0x48, 0x00, 0x80, 0, 0, 0], "supports controls 01"),
        (
            &[0x48, 0x01, 0, 0, 0, 0, 0],
            "takes evaporative system leak test: 00 00 00 00 00",
        ),
        (&[0x49, 0x12, 0x01, 0x01, 0x02], "fuelled engine cycles 258"),
        (
            &[0x49, 0x06, 0x01, 0xDE, 0xAD, 0xBE, 0xEF],
            "calibration verification number DEADBEEF",
        ),
        (
            &[0x49, 0x08, 0x01, 0x00, 0x05],
            "in-use performance: monitoring conditions 5",
        ),
        (&[0x49, 0x13, 0x01], "InfoType $13 01"),
        (
            &[0x7F, 0x04, 0x22],
            "clear codes refused: conditions not correct ($22)",
        ),
        (
            &[0x7F, 0x09, 0x78],
            "vehicle information: the answer will follow (response pending, $78)",
        ),
        (
            &[0x7F, 0x22, 0x11],
            "data by identifier refused: service not supported ($11)",
        ),
        (
            &[0x44, 0x00],
            "malformed answer: `1` bytes follow where none belong",
        ),
    ] {
        assert_eq!(describe_response(bytes), words);
    }
}

#[test]
fn text_from_the_bus_is_escaped() {
    let mut bytes = Vec::from([0x49, 0x02, 0x01]);
    bytes.extend(b"\x1b[31mRED\r\n<b>\xFF\xFE\0\0");
    assert_eq!(
        describe_response(&bytes),
        "vehicle identification number \\x1b[31mRED\\r\\n<b>\\xff\\xfe"
    );
    let mut bytes = Vec::from([0x49, 0x0A, 0x01]);
    bytes.extend(b"ECM\0-EngineControl\0\0");
    assert_eq!(describe_response(&bytes), "ECU name ECM-EngineControl");
}
