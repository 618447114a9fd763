//! The same ECU asked by SAE J1979-2: over its own memory, in the layouts of ISO 14229-1.

use super::*;

/// P0731 with the failure type that its text makes: performance or incorrect operation (SAE J2012-DA, from memory).
const WRONG_RATIO: [u8; 3] = [0x07, 0x31, 0x92];

fn bench() -> Bench {
    Bench::asked_in(Dialect::OnUds)
}

/// The masks are those of the first dialect; of $F8xx there is $10 too. What it has nothing for is refused to who asks it alone.
#[test]
fn it_says_what_it_is_and_has() {
    let mut bench = bench();
    for (request, answer) in [
        (&[0x22, 0xF8, 0x10][..], &[0x62, 0xF8, 0x10, 0x01][..]),
        (&[0x22, 0xF4, 0x00], &[0x62, 0xF4, 0x00, 0x98, 0x18, 0x00, 0x13]),
        (&[0x22, 0xF4, 0xA0], &[0x62, 0xF4, 0xA0, 0x10, 0x00, 0x00, 0x00]),
        (&[0x22, 0xF8, 0x00], &[0x62, 0xF8, 0x00, 0x14, 0x41, 0x00, 0x00]),
        (&[0x22, 0xF8, 0x0A], b"\x62\xF8\x0ATCM\0-TransmisCtrl\0\0\0"),
        (&[0x22, 0xF4, 0x01], &[0x62, 0xF4, 0x01, 0x00, 0x04, 0x00, 0x00]),
        // One ECU has the VIN; no counters in use, no test results, no parameter beyond $FF.
        (&[0x22, 0xF8, 0x02], &[0x7F, 0x22, 0x31]),
        (&[0x22, 0xF8, 0x08], &[0x7F, 0x22, 0x31]),
        (&[0x22, 0xF6, 0x00], &[0x7F, 0x22, 0x31]),
        (&[0x22, 0xF5, 0x00], &[0x7F, 0x22, 0x31]),
        (
            &[0x19, 0x42, 0x33, 0x08, 0xFF],
            &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04],
        ),
        (&[0x19, 0x55, 0x33], &[0x59, 0x55, 0x33, 0xFF, 0x04]),
        (&[0x10, 0x01], &[0x50, 0x01, 0x00, 0x32, 0x01, 0xF4]),
        (&[0x3E, 0x00], &[0x7E, 0x00]),
        // Nothing to control, however it is asked.
        (&[0x31, 0x01, 0xE0, 0x01], &[0x7F, 0x31, 0x11]),
        (&[0x31, 0x01], &[0x7F, 0x31, 0x11]),
        (&[0x01, 0x00], &[]),
        (&[0x03], &[]),
    ] {
        assert_eq!(bench.asks(request), answer, "{request:02X?}");
        let (with_all, bytes) = bench.ask(Addressing::Functional, request);
        if matches!(answer, [0x7F, ..]) {
            assert_eq!(with_all, Answer::Silence, "{request:02X?}");
        } else {
            assert_eq!(bytes, answer, "{request:02X?}");
        }
    }
}

/// Two trips to the lamp and a clear with the engine off only; status bytes as of any code (ISO 14229-1, annex D.2, for OBD from
/// memory).
#[test]
fn a_slipping_gear_is_told_with_its_status_and_frames() {
    let [a, b, c] = WRONG_RATIO;
    let mut bench = bench();
    bench.drive(12.0, 1.2, 4);
    let pending = [0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41, a, b, c, 0x27];
    assert_eq!(bench.asks(&[0x19, 0x42, 0x33, 0x04, 0xFF]), pending);
    assert_eq!(
        bench.asks(&[0x14, 0xFF, 0xFF, 0x33]),
        [0x7F, 0x14, 0x22],
        "it runs"
    );
    bench.next_trip();
    bench.drive(12.0, 1.2, 4);
    let confirmed = [0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41, a, b, c, 0xAF];
    assert_eq!(bench.asks(&[0x19, 0x42, 0x33, 0x08, 0xFF]), confirmed);
    assert_eq!(
        bench.asks(&[0x19, 0x55, 0x33]),
        [0x59, 0x55, 0x33, 0xFF, 0x04, a, b, c, 0xAF]
    );
    assert_eq!(bench.asks(&[0x22, 0xF4, 0x01])[3], 0x81, "it asks for the lamp");
    // First and latest frame, eight parameters each: all that it serves but for the causing code, the gear in both.
    let frames = bench.asks(&[0x19, 0x04, a, b, c, 0xFF]);
    assert_eq!(frames[..8], [0x59, 0x04, a, b, c, 0xAF, 0x00, 8]);
    let gears = frames.windows(4).filter(|at| at[..2] == [0xF4, 0xA4]);
    assert!(gears.map(|gear| gear[3] >> 4).eq([1, 1]), "{frames:02X?}");
    // Two trips failed; no ratio is tracked.
    let life = [0x59, 0x06, a, b, c, 0xAF, 0x01, 2, 0, 0];
    assert_eq!(bench.asks(&[0x19, 0x06, a, b, c, 0xFF]), life);
    assert_eq!(bench.asks(&[0x19, 0x06, a, b, c, 0xFE]), life[..6]);
    assert_eq!(bench.asks(&[0x19, 0x1A, 0x92]), [0x59, 0x1A, 0xFF, 0x92]);
    // All its codes are of one readiness group.
    let components = bench.asks(&[0x19, 0x56, 0x33, 0x03]);
    assert_eq!((components.len() - 6) % 4, 0);
    assert_eq!((components.len() - 6) / 4, CATALOGUE.codes.len());
    let stored = bench.ecu.store();
    bench.stand();
    assert_eq!(bench.asks(&[0x14, 0xFF, 0xFF, 0x33]), [0x54]);
    assert_eq!(
        bench.asks(&[0x19, 0x42, 0x33, 0x0C, 0xFF]),
        [0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04]
    );
    assert_eq!(
        bench.asks(&[0x19, 0x55, 0x33])[5..],
        [a, b, c, 0x50],
        "permanent, and not run since clear"
    );
    assert_eq!(
        bench.asks(&[0x19, 0x04, a, b, c, 0xFF]),
        [0x59, 0x04, a, b, c, 0x50]
    );
    // What it keeps without power has all of it; a new one knows nothing.
    bench.ecu.restore(bench.now, &stored).expect("its own");
    assert_eq!(bench.asks(&[0x19, 0x04, a, b, c, 0xFF]).len(), frames.len());
    bench.ecu.renew(bench.now);
    assert_eq!(bench.asks(&[0x19, 0x55, 0x33]), [0x59, 0x55, 0x33, 0xFF, 0x04]);
    assert_eq!(
        bench.asks(&[0x19, 0x04, a, b, c, 0xFF]),
        [0x59, 0x04, a, b, c, 0x50]
    );
}
