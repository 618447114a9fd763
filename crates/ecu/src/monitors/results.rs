//! What the monitors report by service $06: monitor, test, unit, and where value and limits come from, as data.
//!
//! Numbers of monitors and units: SAE J1979-DA. Makers number their own tests from $80 up; value and limits in units
//! in which published lists of makers have them. All rows of a monitor stand or fall together.

use twotrip_obd::{Mid, SupportMask, TestResult, Tid, Uasid};

use super::{EvapLeak, Monitors};

/// A value in the unit of its row, with its limits and with what the monitor said of it.
struct Measurement {
    value: f64,
    limits: (Option<f64>, Option<f64>),
    passed: bool,
}

/// One test.
struct Row {
    mid: Mid,
    tid: Tid,
    uasid: Uasid,
    /// Nothing if it has not run since the last clear.
    read: fn(&Monitors) -> Option<Measurement>,
}

const fn row(mid: u8, tid: u8, uasid: u8, read: fn(&Monitors) -> Option<Measurement>) -> Row {
    Row {
        mid: Mid::new(mid),
        tid: Tid::new(tid),
        uasid: Uasid::new(uasid),
        read,
    }
}

/// All tests, by monitor.
const ROWS: &[Row] = &[
    // Lowest pressure that the pull reached, Pa.
    row(0x39, 0x80, 0xFE, |monitors| {
        let (lowest, passed) = monitors.leak.results().gross?;
        Some(Measurement {
            value: lowest.pascals(),
            limits: (None, Some(EvapLeak::PARAMS.target.pascals())),
            passed,
        })
    }),
    // Diameter of the hole, in.
    row(0x3B, 0x81, 0x32, |monitors| {
        let (hole, passed) = monitors.leak.results().small?;
        Some(Measurement {
            value: hole.inches(),
            limits: (None, Some(EvapLeak::PARAMS.hole_limit.inches())),
            passed,
        })
    }),
    // The rise that this hole gives in 15 s from the target with 30 l of vapour, Pa.
    row(0x3B, 0x82, 0xFE, |monitors| {
        let params = &EvapLeak::PARAMS;
        let (hole, passed) = monitors.leak.results().small?;
        Some(Measurement {
            value: params.rise(hole).pascals(),
            limits: (None, Some(params.rise(params.hole_limit).pascals())),
            passed,
        })
    }),
    // By how much purging moved the pressure, Pa.
    row(0x3D, 0x83, 0xFE, |monitors| {
        let (moved, passed) = monitors.leak.results().flow?;
        Some(Measurement {
            value: moved.pascals(),
            limits: (Some(EvapLeak::PARAMS.flow_pressure.pascals()), None),
            passed,
        })
    }),
];

/// The monitors that service $06 has results of. They stay supported when a clear takes the results away.
pub const MONITORED: SupportMask = {
    let mut mask = SupportMask::NONE;
    let mut place = 0;
    while place < ROWS.len() {
        mask = mask.with(ROWS[place].mid.number());
        place += 1;
    }
    mask
};

impl Monitors {
    /// The results of a monitor, test by test; none if there is no such monitor.
    pub fn test_results(&self, mid: Mid) -> impl Iterator<Item = TestResult> {
        ROWS.iter()
            .filter(move |row| row.mid == mid)
            .map(|row| match (row.read)(self) {
                Some(found) => TestResult::measured(row.mid, row.tid, row.uasid, found.value, found.limits)
                    .with_verdict(found.passed),
                None => TestResult::not_run(row.mid, row.tid, row.uasid),
            })
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::{string::ToString, vec::Vec};

    use twotrip_units::{Length, Pressure};

    use super::{super::evap_leak::Results, *};

    fn with(results: Results) -> Monitors {
        let mut monitors = Monitors::default();
        monitors.leak.set_results(results);
        monitors
    }

    fn said(monitors: &Monitors) -> Vec<std::string::String> {
        MONITORED
            .iter()
            .flat_map(|mid| monitors.test_results(Mid::new(mid)))
            .map(|result| result.to_string())
            .collect()
    }

    /// Rises: the orifice equation at 1.0 mm and at the limit, as computed beside the design of the monitor.
    #[test]
    fn rows_say_what_the_leak_test_found() {
        let tight = Results {
            gross: Some((Pressure::from_pascals(-2004.0), true)),
            small: Some((Length::from_millimetres(0.2), true)),
            flow: Some((Pressure::from_pascals(2004.0), true)),
        };
        assert_eq!(
            said(&with(tight)),
            [
                "evap leak, cap off or 0.150 in, test $80: -2004 Pa (at most -2000 Pa)",
                "evap leak, 0.040 in, test $81: 0.00787 in (at most 0.03151 in)",
                "evap leak, 0.040 in, test $82: 56.75 Pa (at most 810.75 Pa)",
                "evap purge flow, test $83: 2004 Pa (at least 60 Pa)",
            ]
        );
        let leaking = Results {
            small: Some((Length::from_millimetres(1.0), false)),
            ..tight
        };
        assert_eq!(
            said(&with(leaking))[1..3],
            [
                "evap leak, 0.040 in, test $81: 0.03938 in (at most 0.03151 in), failed",
                "evap leak, 0.040 in, test $82: 1174.5 Pa (at most 810.75 Pa), failed",
            ]
        );
    }

    #[test]
    fn what_has_not_run_is_zero_and_still_supported() {
        let monitors = Monitors::default();
        assert!(MONITORED.iter().eq([0x39, 0x3B, 0x3D]));
        for mid in MONITORED.iter() {
            for result in monitors.test_results(Mid::new(mid)) {
                assert_eq!(result.to_bytes()[3..], [0; 6]);
            }
        }
        assert_eq!(monitors.test_results(Mid::new(0x3C)).count(), 0);
    }

    #[test]
    fn every_row_has_a_known_monitor_and_unit() {
        for row in ROWS {
            assert!(row.mid.is_known() && row.uasid.scaling().is_some(), "{}", row.mid);
        }
        assert!(ROWS.is_sorted_by_key(|row| (row.mid, row.tid)));
    }
}
