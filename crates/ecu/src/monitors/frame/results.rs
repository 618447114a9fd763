//! What the monitors' tests found last, since the clear: service $06 gives it, and it is kept without power (SAE
//! J1979, from memory).

use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use twotrip_obd::{Mid, SupportMask, TestResult as Answered, Tid};

use super::{Measured, Reported, Test};
use crate::memory::MonitorSet;

/// What a test found last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// In the unit of its row in service $06, as are the limits.
    pub value: f64,
    /// Least and most that is good.
    pub limits: (Option<f64>, Option<f64>),
    /// What was said of it.
    pub passed: bool,
}

/// What is kept of a test without power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StoredTest {
    mid: u8,
    tid: u8,
    #[serde(with = "twotrip_units::stored")]
    value: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    least: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    most: Option<f64>,
    passed: bool,
}

impl StoredTest {
    /// One as an older program kept it, in the unit of its row.
    pub(crate) const fn new(
        (mid, tid): (u8, u8),
        value: f64,
        (least, most): (Option<f64>, Option<f64>),
        passed: bool,
    ) -> Self {
        Self {
            mid,
            tid,
            value,
            least,
            most,
            passed,
        }
    }
}

/// The results of all tests that service $06 reports, in the order of the list of tests.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Results {
    found: [Option<Found>; Self::CAPACITY],
}

impl Default for Results {
    fn default() -> Self {
        Self {
            found: [None; Self::CAPACITY],
        }
    }
}

/// All tests that service $06 reports.
pub(crate) fn reported() -> impl Iterator<Item = (&'static Test, Reported)> {
    crate::monitors::tests().filter_map(|test| test.reported.map(|reported| (test, reported)))
}

/// Whether there is something for a test in an engine that has nothing for these monitors.
fn is_present(test: &Test, absent: MonitorSet) -> bool {
    let monitor = test
        .codes
        .first()
        .and_then(|&code| crate::monitors::CATALOGUE.code(code));
    monitor.is_none_or(|code| !absent.contains(code.monitor))
}

/// The monitors that service $06 has results of. They stay supported when a clear takes the results away.
#[must_use]
pub fn monitored(absent: MonitorSet) -> SupportMask {
    let present = reported().filter(|(test, _)| is_present(test, absent));
    present.fold(SupportMask::NONE, |mask, (_, reported)| {
        mask.with(reported.mid.number())
    })
}

impl Results {
    /// How many tests there can be.
    pub(crate) const CAPACITY: usize = 96;

    /// Takes a value that a monitor reported.
    pub(crate) fn take(&mut self, measured: &Measured) {
        let Some(reported) = measured.test.reported else {
            return;
        };
        let scaled = |value: f64| value * reported.factor;
        let found = Found {
            value: scaled(measured.value),
            limits: (measured.limits.0.map(scaled), measured.limits.1.map(scaled)),
            passed: measured.passed,
        };
        self.put(reported.mid, reported.tid, found);
    }

    fn put(&mut self, mid: Mid, tid: Tid, found: Found) {
        let place = reported().position(|(_, row)| (row.mid, row.tid) == (mid, tid));
        if let Some(slot) = place.and_then(|place| self.found.get_mut(place)) {
            *slot = Some(found);
        }
    }

    /// What a test found last, if it has run since the clear.
    #[must_use]
    pub fn of(&self, test: &Test) -> Option<Found> {
        let row = test.reported?;
        let place = reported().position(|(_, other)| (other.mid, other.tid) == (row.mid, row.tid))?;
        self.found.get(place).copied().flatten()
    }

    /// The results of a monitor of service $06, test by test; none if there is no such monitor.
    pub(crate) fn answers(&self, mid: Mid, absent: MonitorSet) -> impl Iterator<Item = Answered> {
        let rows = reported().zip(&self.found);
        rows.filter(move |((test, row), _)| row.mid == mid && is_present(test, absent))
            .map(|((_, row), found)| match found {
                Some(found) => Answered::measured(row.mid, row.tid, row.uasid, found.value, found.limits)
                    .with_verdict(found.passed),
                None => Answered::not_run(row.mid, row.tid, row.uasid),
            })
    }

    /// What is kept without power.
    pub(crate) fn store(&self) -> Vec<StoredTest> {
        let rows = reported().zip(&self.found);
        rows.filter_map(|((_, row), found)| {
            found.map(|found| StoredTest::new(row.row(), found.value, found.limits, found.passed))
        })
        .collect()
    }

    /// What was kept; of tests that this ECU does not have, nothing.
    pub(crate) fn restored(stored: &[StoredTest]) -> Self {
        let mut results = Self::default();
        for test in stored {
            let found = Found {
                value: test.value,
                limits: (test.least, test.most),
                passed: test.passed,
            };
            results.put(Mid::new(test.mid), Tid::new(test.tid), found);
        }
        results
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use super::*;

    /// Makers number their own monitors from $E1 up. Service $06 gives the tests of a monitor in rising order, each once.
    #[test]
    fn every_row_has_a_known_monitor_and_unit_and_stands_once() {
        let rows: Vec<Reported> = reported().map(|(_, row)| row).collect();
        assert!(rows.len() <= Results::CAPACITY, "raise Results::CAPACITY");
        for (place, row) in rows.iter().enumerate() {
            assert!(
                (row.mid.is_known() || row.mid >= Mid::new(0xE1)) && row.uasid.scaling().is_some(),
                "{}",
                row.mid
            );
            let later = rows[place + 1..].iter().filter(|other| other.mid == row.mid);
            for other in later {
                assert!(
                    row.tid < other.tid,
                    "{} after {} of {}",
                    other.tid,
                    row.tid,
                    row.mid
                );
            }
        }
    }

    /// Numbers and units of the standard's tests as makers' published lists use them (2002 to 2012 model years): an oxygen
    /// sensor's voltages in V, its times in ms, misfires as counts. From $80 on a maker numbers its own.
    #[test]
    fn the_rows_of_the_standard_are_these() {
        const RESPONSE: &[(u8, u8)] = &[
            (0x03, 0x0B),
            (0x04, 0x0B),
            (0x05, 0x10),
            (0x06, 0x10),
            (0x07, 0x0B),
            (0x08, 0x0B),
            (0x0A, 0x10),
        ];
        const REAR: &[(u8, u8)] = &[(0x05, 0x10), (0x07, 0x0B), (0x08, 0x0B)];
        const HEATER: &[(u8, u8)] = &[(0x81, 0x0E)];
        const COUNTS: &[(u8, u8)] = &[(0x0B, 0x24), (0x0C, 0x24)];
        let table: &[(u8, &[(u8, u8)])] = &[
            (0x01, RESPONSE),
            (0x02, REAR),
            (0x05, RESPONSE),
            (0x06, REAR),
            (0x21, &[(0x80, 0x20)]),
            (0x22, &[(0x80, 0x20)]),
            (0x31, &[(0x80, 0x17)]),
            (0x35, &[(0x80, 0x1C)]),
            (0x36, &[(0x80, 0x1C)]),
            (0x39, &[(0x80, 0xFE)]),
            (0x3B, &[(0x81, 0x32), (0x82, 0xFE)]),
            (0x3C, &[(0x84, 0x04)]),
            (0x3D, &[(0x83, 0xFE)]),
            (0x41, HEATER),
            (0x42, HEATER),
            (0x45, HEATER),
            (0x46, HEATER),
            (0x81, &[(0x80, 0xB0)]),
            (0x82, &[(0x80, 0xB0)]),
            (0xA1, COUNTS),
            (0xA2, COUNTS),
            (0xA3, COUNTS),
            (0xA4, COUNTS),
            (0xA5, COUNTS),
            (0xA6, COUNTS),
            (0xA7, COUNTS),
        ];
        let mut found: Vec<[u8; 3]> = reported()
            .map(|(_, row)| [row.mid.number(), row.tid.number(), row.uasid.number()])
            .filter(|row| row[0] < 0xE1)
            .collect();
        found.sort_unstable();
        let wanted = table
            .iter()
            .flat_map(|&(mid, rows)| rows.iter().map(move |&(tid, uasid)| [mid, tid, uasid]));
        assert_eq!(found, wanted.collect::<Vec<_>>());
    }

    #[test]
    fn what_has_not_run_is_zero_and_still_supported() {
        let results = Results::default();
        assert!(monitored(MonitorSet::default()).iter().next().is_some());
        for mid in monitored(MonitorSet::default()).iter() {
            for result in results.answers(Mid::new(mid), MonitorSet::default()) {
                assert_eq!(result.to_bytes()[3..], [0; 6]);
            }
        }
        assert_eq!(results.answers(Mid::new(0x7F), MonitorSet::default()).count(), 0);
    }

    #[test]
    fn what_is_stored_comes_back() {
        let mut results = Results::default();
        for (place, (test, _)) in reported().enumerate() {
            let value = f64::from(u32::try_from(place).expect("few")) + 0.5;
            results.take(&test.found(value).within(Some(1.0), None));
        }
        let stored = results.store();
        assert_eq!(stored.len(), reported().count());
        assert_eq!(Results::restored(&stored), results);
        assert_eq!(Results::restored(&[]), Results::default());
    }
}
