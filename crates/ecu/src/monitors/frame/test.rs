//! The figures that monitors judge by: what, unit, limits, the codes behind them, their row in service $06.

use twotrip_obd::{Dtc, Mid, Tid, Uasid};

use crate::monitors::TestResult;

/// Where a figure stands in service $06 (monitors and units: SAE J1979-DA; makers number their own tests from $80 up).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reported {
    /// Monitor.
    pub mid: Mid,
    /// Test.
    pub tid: Tid,
    /// Unit and scaling.
    pub uasid: Uasid,
    /// From the test's unit to that of the scaling.
    pub factor: f64,
}

impl Reported {
    /// The numbers of monitor and test, by which a row is known.
    #[must_use]
    pub const fn row(&self) -> (u8, u8) {
        (self.mid.number(), self.tid.number())
    }
}

/// One figure that a monitor judges by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Test {
    /// What it is.
    pub what: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The least that is good.
    pub least: Option<f64>,
    /// The most that is good.
    pub most: Option<f64>,
    /// The codes that it decides for or against.
    pub codes: &'static [Dtc],
    /// Its row in service $06.
    pub reported: Option<Reported>,
}

impl Test {
    /// A figure without limits yet.
    #[must_use]
    pub const fn new(what: &'static str, unit: &'static str) -> Self {
        Self {
            what,
            unit,
            least: None,
            most: None,
            codes: &[],
            reported: None,
        }
    }

    /// With the least that is good.
    #[must_use]
    pub const fn at_least(self, least: f64) -> Self {
        Self {
            least: Some(least),
            ..self
        }
    }

    /// With the most that is good.
    #[must_use]
    pub const fn at_most(self, most: f64) -> Self {
        Self {
            most: Some(most),
            ..self
        }
    }

    /// Decides for or against these codes.
    #[must_use]
    pub const fn of(self, codes: &'static [Dtc]) -> Self {
        Self { codes, ..self }
    }

    /// With its row in service $06, in the unit of this test.
    #[must_use]
    pub const fn reported_as(self, mid: u8, tid: u8, uasid: u8) -> Self {
        self.reported_scaled(mid, tid, uasid, 1.0)
    }

    /// With its row in service $06, whose unit is `factor` of this test's.
    #[must_use]
    pub const fn reported_scaled(self, mid: u8, tid: u8, uasid: u8, factor: f64) -> Self {
        Self {
            reported: Some(Reported {
                mid: Mid::new(mid),
                tid: Tid::new(tid),
                uasid: Uasid::new(uasid),
                factor,
            }),
            ..self
        }
    }

    /// A value of it, judged by the limits.
    #[must_use]
    pub fn found(&'static self, value: f64) -> Measured {
        let passed =
            self.least.is_none_or(|least| value >= least) && self.most.is_none_or(|most| value <= most);
        Measured {
            test: self,
            value,
            limits: (self.least, self.most),
            passed,
        }
    }

    /// Judges a value: reports it, and then all of the test's codes as passed or failed. Returns whether it passed.
    pub fn judge(&'static self, value: f64, report: &mut dyn FnMut(TestResult)) -> bool {
        self.found(value).judge(report)
    }
}

/// A value of a test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Which test.
    pub test: &'static Test,
    /// How much, in its unit.
    pub value: f64,
    /// Limits that it was held against.
    pub limits: (Option<f64>, Option<f64>),
    /// What was said of it.
    pub passed: bool,
}

impl Measured {
    /// Held against other limits than the test's own: where they depend on something.
    #[must_use]
    pub fn within(self, least: Option<f64>, most: Option<f64>) -> Self {
        let passed =
            least.is_none_or(|least| self.value >= least) && most.is_none_or(|most| self.value <= most);
        Self {
            limits: (least, most),
            passed,
            ..self
        }
    }

    /// With the verdict of somebody who knows more than the limits.
    #[must_use]
    pub const fn with_verdict(self, passed: bool) -> Self {
        Self { passed, ..self }
    }

    /// Reports it, for service $06 and as the ground of the verdicts that follow.
    pub fn report(self, report: &mut dyn FnMut(TestResult)) {
        report(TestResult::Measured(self));
    }

    /// Reports it, and then all of the test's codes as passed or failed. Returns whether it passed.
    pub fn judge(self, report: &mut dyn FnMut(TestResult)) -> bool {
        self.report(report);
        for &dtc in self.test.codes {
            report(TestResult::verdict(dtc, self.passed));
        }
        self.passed
    }
}
