//! Results as bytes, as verdicts and as words.

extern crate std;

use std::string::ToString;

use super::*;

const LEAK: (Mid, Tid, Uasid) = (Mid::new(0x3B), Tid::new(0x81), Uasid::new(0x32));

/// Values and limits that the standard's example has: 0.365 V as 0BB0 (2992 counts of 0.122 mV), 72 ms up to 96 ms.
#[test]
fn the_standards_example_is_read_and_written() {
    for (bytes, said, value) in [
        (
            [0x01, 0x01, 0x0A, 0x0B, 0xB0, 0x0B, 0xB0, 0x0B, 0xB0],
            "oxygen sensor, bank 1 sensor 1, rich to lean sensor threshold voltage: 365 mV (365 mV to 365 mV)",
            365.024,
        ),
        (
            [0x01, 0x05, 0x10, 0x00, 0x48, 0x00, 0x00, 0x00, 0x60],
            "oxygen sensor, bank 1 sensor 1, rich to lean sensor switch time: 72 ms (at most 96 ms)",
            72.0,
        ),
    ] {
        let result = TestResult::from_bytes(bytes);
        assert_eq!(result.to_string(), said);
        assert_eq!((result.to_bytes(), result.verdict()), (bytes, Some(true)));
        let Some(Value::Number(number, _)) = result.value() else {
            panic!("{result} has no value");
        };
        assert!((number - value).abs() < 1e-9, "{number}");
    }
}

#[test]
fn limits_decide_by_their_sign() {
    let pressure =
        |value, limits| TestResult::measured(Mid::new(0x39), Tid::new(0x80), Uasid::new(0xFE), value, limits);
    for (result, verdict) in [
        (pressure(-2001.0, (None, Some(-2000.0))), true),
        (pressure(-2000.0, (None, Some(-2000.0))), true),
        (pressure(-1999.75, (None, Some(-2000.0))), false),
        (pressure(-3.0, (Some(-10.0), Some(10.0))), true),
        (pressure(-10.25, (Some(-10.0), Some(10.0))), false),
        (pressure(-1e9, (None, None)), true),
        (
            TestResult::measured(LEAK.0, LEAK.1, LEAK.2, 0.04, (None, Some(0.0315))),
            false,
        ),
    ] {
        assert_eq!(result.verdict(), Some(verdict), "{result}");
        assert_eq!(TestResult::from_bytes(result.to_bytes()), result);
    }
}

#[test]
fn a_test_that_has_not_run_has_no_value_and_no_verdict() {
    let (mid, tid, uasid) = LEAK;
    let result = TestResult::not_run(mid, tid, uasid);
    assert_eq!(result.to_bytes(), [0x3B, 0x81, 0x32, 0, 0, 0, 0, 0, 0]);
    assert_eq!(
        (result.verdict(), result.value(), result.limits()),
        (None, None, (None, None))
    );
    assert_eq!(
        result.to_string(),
        "evap leak, 0.040 in, test $81: not run since clear"
    );
}

/// 0.80 mm is 1032.66 counts of UASID $32: rounded, it would stand on its own limit.
#[test]
fn rounding_does_not_turn_a_verdict() {
    let (mid, tid, uasid) = LEAK;
    let at = |inches: f64| TestResult::measured(mid, tid, uasid, inches, (None, Some(0.8 / 25.4)));
    let just_too_large = at(0.800_001 / 25.4);
    assert_eq!(just_too_large.verdict(), Some(true), "rounded onto the limit");
    assert_eq!(
        just_too_large.with_verdict(false).value,
        just_too_large.maximum + 1
    );
    assert_eq!(at(0.010).with_verdict(true), at(0.010));
    let low = TestResult::measured(mid, tid, uasid, 0.01, (Some(0.01), None));
    assert_eq!(low.with_verdict(false).value, low.minimum - 1);
}

#[test]
fn an_unknown_unit_is_shown_raw() {
    let result = TestResult::from_bytes([0xE1, 0x80, 0x7F, 0x12, 0x34, 0x00, 0x00, 0xFF, 0xFF]);
    assert_eq!(
        result.to_string(),
        "monitor $E1, test $80: 1234 of unknown unit $7F"
    );
    assert_eq!(result.verdict(), Some(true));
}
