//! Results of on-board monitoring tests, service $06: monitors ([`Mid`]), tests ([`Tid`]), units and scalings
//! ([`Uasid`]), and the nine bytes that a result has on CAN (SAE J1979).

mod mid;
#[cfg(test)]
mod tests;
mod tid;
mod uasid;

use core::fmt;

pub use mid::Mid;
pub use tid::Tid;
pub use uasid::Uasid;

use crate::pid::Value;

/// One result: a value between limits. Value and limits share unit, scaling and sign.
///
/// ```
/// use twotrip_obd::{Mid, TestResult, Tid, Uasid};
///
/// let (mid, tid, uasid) = (Mid::new(0x39), Tid::new(0x80), Uasid::new(0xFE));
/// let result = TestResult::measured(mid, tid, uasid, -3.0, (None, Some(-2000.0)));
/// assert_eq!(result.to_bytes(), [0x39, 0x80, 0xFE, 0xFF, 0xF4, 0x80, 0x00, 0xE0, 0xC0]);
/// assert_eq!(result.verdict(), Some(false));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TestResult {
    /// The monitor.
    pub mid: Mid,
    /// The test within it.
    pub tid: Tid,
    /// What the numbers are worth.
    pub uasid: Uasid,
    /// The raw value.
    pub value: u16,
    /// The raw value below which the test has failed.
    pub minimum: u16,
    /// The raw value above which the test has failed.
    pub maximum: u16,
}

impl TestResult {
    /// How many bytes a result has.
    pub const LEN: usize = 9;

    /// A test that has not run since the last clear: value and limits are 0 (SAE J1979, as makers' service
    /// information repeats it).
    #[must_use]
    pub const fn not_run(mid: Mid, tid: Tid, uasid: Uasid) -> Self {
        Self {
            mid,
            tid,
            uasid,
            value: 0,
            minimum: 0,
            maximum: 0,
        }
    }

    /// A result in the unit of its scaling, coded as [`Scaling::encode`](crate::pid::Scaling::encode) does; of a
    /// scaling that the table does not know nothing can be told, so it counts as not run. A limit that there is
    /// not stands at the end of the range (from memory).
    #[must_use]
    pub fn measured(
        mid: Mid,
        tid: Tid,
        uasid: Uasid,
        value: f64,
        (minimum, maximum): (Option<f64>, Option<f64>),
    ) -> Self {
        let Some(scaling) = uasid.scaling() else {
            return Self::not_run(mid, tid, uasid);
        };
        let raw = |value| u16::try_from(scaling.encode(value)).unwrap_or(u16::MAX);
        Self {
            mid,
            tid,
            uasid,
            value: raw(value),
            minimum: raw(minimum.unwrap_or(f64::NEG_INFINITY)),
            maximum: raw(maximum.unwrap_or(f64::INFINITY)),
        }
    }

    /// From its bytes.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; Self::LEN]) -> Self {
        let [mid, tid, uasid, value @ .., a, b, c, d] = bytes;
        Self {
            mid: Mid::new(mid),
            tid: Tid::new(tid),
            uasid: Uasid::new(uasid),
            value: u16::from_be_bytes(value),
            minimum: u16::from_be_bytes([a, b]),
            maximum: u16::from_be_bytes([c, d]),
        }
    }

    /// Its bytes: MID, TID, UASID, value, minimum, maximum.
    #[must_use]
    pub const fn to_bytes(self) -> [u8; Self::LEN] {
        let [v, w] = self.value.to_be_bytes();
        let [a, b] = self.minimum.to_be_bytes();
        let [c, d] = self.maximum.to_be_bytes();
        [
            self.mid.number(),
            self.tid.number(),
            self.uasid.number(),
            v,
            w,
            a,
            b,
            c,
            d,
        ]
    }

    /// Whether the test has run since the last clear.
    #[must_use]
    pub const fn has_run(&self) -> bool {
        self.value != 0 || self.minimum != 0 || self.maximum != 0
    }

    /// Whether the value lies within its limits, both included; nothing if the test has not run.
    #[must_use]
    pub fn verdict(&self) -> Option<bool> {
        let within = self.count(self.minimum) <= self.count(self.value)
            && self.count(self.value) <= self.count(self.maximum);
        self.has_run().then_some(within)
    }

    /// This result moved by the one count that its rounding may have carried it across a limit, so that the row says
    /// what the monitor found: a value just beyond a limit must not read as just within.
    #[must_use]
    pub fn with_verdict(mut self, passed: bool) -> Self {
        if self.verdict() == Some(passed) || self.minimum == self.maximum {
            return self;
        }
        let beyond_maximum = self.count(self.value) >= self.count(self.maximum);
        self.value = match (passed, beyond_maximum) {
            (true, true) => self.maximum,
            (true, false) => self.minimum,
            (false, true) => self.maximum.wrapping_add(1),
            (false, false) => self.minimum.wrapping_sub(1),
        };
        self
    }

    /// The value in its unit; nothing if the test has not run, or if the scaling is unknown.
    #[must_use]
    pub fn value(&self) -> Option<Value> {
        if self.has_run() {
            self.say(self.value)
        } else {
            None
        }
    }

    /// The limits in their unit, each of them nothing if there is none.
    #[must_use]
    pub fn limits(&self) -> (Option<Value>, Option<Value>) {
        if !self.has_run() {
            return (None, None);
        }
        let (lowest, highest) = if self.uasid.is_signed() {
            (0x8000, 0x7FFF)
        } else {
            (0x0000, 0xFFFF)
        };
        let limit = |raw, end| if raw == end { None } else { self.say(raw) };
        (limit(self.minimum, lowest), limit(self.maximum, highest))
    }

    fn say(&self, raw: u16) -> Option<Value> {
        let scaling = self.uasid.scaling()?;
        Some(Value::Number(scaling.decode(raw.into()), *scaling))
    }

    /// A raw number as the sign of the scaling makes it.
    fn count(&self, raw: u16) -> i32 {
        if self.uasid.is_signed() {
            raw.cast_signed().into()
        } else {
            raw.into()
        }
    }
}

impl fmt::Display for TestResult {
    /// `evap leak, 0.040 in, test $81: 0.0071 in (at most 0.0315 in)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, ", self.mid.name())?;
        match self.tid.test_name() {
            Some(name) => write!(f, "{name}: ")?,
            None => write!(f, "test {}: ", self.tid)?,
        }
        if !self.has_run() {
            return f.write_str("not run since clear");
        }
        match self.value() {
            Some(value) => write!(f, "{value}")?,
            None => write!(f, "{:04X} of unknown unit {}", self.value, self.uasid)?,
        }
        match self.limits() {
            (Some(low), Some(high)) => write!(f, " ({low} to {high})")?,
            (Some(low), None) => write!(f, " (at least {low})")?,
            (None, Some(high)) => write!(f, " (at most {high})")?,
            (None, None) => {}
        }
        if self.verdict() == Some(false) {
            f.write_str(", failed")?;
        }
        Ok(())
    }
}

/// The results of an answer of service $06.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TestResults<'a>(pub(crate) &'a [[u8; TestResult::LEN]]);

impl<'a> TestResults<'a> {
    /// The results in the order of the answer.
    pub fn iter(self) -> impl ExactSizeIterator<Item = TestResult> + 'a {
        self.0.iter().map(|&bytes| TestResult::from_bytes(bytes))
    }
}
