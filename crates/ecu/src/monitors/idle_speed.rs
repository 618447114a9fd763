//! Does the idle keep its speed (13 CCR 1968.2(e)(15.2.2)(B), from memory: 100 rpm below and 200 rpm above the target;
//! published: for 17 to 20 s).
//!
//! Judged anew every 17 s for as long as the car stands warm; the first verdict of a driving cycle completes it.

use super::{
    IDLE_SPEED, Inhibits, P0506, P0507, Signals, TestResult,
    frame::{
        COOLANT, Condition, ENGINE_SPEED, Gate, Monitor, NO_ACTUATOR_TEST, Rules, STANDING_TIME, SUPPLY,
        Step, Test, gated,
    },
};

/// Length of a window, steps of 100 ms.
const WINDOW: u32 = 170;

/// Below and above the target, rpm.
const BELOW: f64 = 100.0;
const ABOVE: f64 = 200.0;

static LOW: Test = Test::new("mean idle speed", "rpm")
    .of(&[P0506])
    .reported_as(0xE2, 0x80, 0x07);
static HIGH: Test = Test::new("mean idle speed", "rpm")
    .of(&[P0507])
    .reported_as(0xE2, 0x81, 0x07);

/// What the monitor measures.
pub(super) static TESTS: &[&Test] = &[&LOW, &HIGH];

static CONDITIONS: [Condition; 5] = [
    COOLANT.at_least(70.0),
    STANDING_TIME.at_least(5.0),
    ENGINE_SPEED.at_least(300.0),
    SUPPLY.between(11.0, 16.0),
    NO_ACTUATOR_TEST,
];
static RULES: Rules = Rules {
    pause: 0,
    ..Rules::continuous(&[IDLE_SPEED], &CONDITIONS)
};

/// The monitor.
#[derive(Clone, Debug, Default)]
pub(super) struct IdleSpeed {
    gate: Gate,
    speed: f64,
    target: f64,
    steps: u32,
    /// What was said last.
    passed: bool,
}

impl IdleSpeed {
    /// A window begins.
    const fn begin(&mut self) {
        self.speed = 0.0;
        self.target = 0.0;
        self.steps = 0;
    }
}

impl Monitor for IdleSpeed {
    gated!(&RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let step = self.gate.step(&RULES, signals, inhibits);
        if step == Step::Begin {
            self.begin();
        }
        if !step.runs() {
            return;
        }
        self.speed += signals.engine_speed.rpm();
        self.target += signals.idle_target.rpm();
        self.steps += 1;
        if self.steps < WINDOW {
            return;
        }
        let (speed, target) = (self.speed / f64::from(WINDOW), self.target / f64::from(WINDOW));
        self.begin();
        let low = LOW.found(speed).within(Some(target - BELOW), None);
        let high = HIGH.found(speed).within(None, Some(target + ABOVE));
        let passed = low.passed && high.passed;
        if !(passed && self.passed) {
            self.passed = passed;
            low.judge(report);
            high.judge(report);
            self.gate.complete(&RULES, report);
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use core::time::Duration;
    use std::vec::Vec;

    use twotrip_units::{AngularSpeed, Temperature, Voltage};

    use super::*;

    /// Verdicts after idling at so many rpm more than the target for some time.
    fn idled(off: f64, seconds: u32, change: impl Fn(u32, &mut Signals)) -> Vec<TestResult> {
        let mut monitor = IdleSpeed::default();
        let mut said = Vec::new();
        for step in 0..seconds * 10 {
            let mut signals = Signals {
                run_time: Some(Duration::from_secs(600)),
                coolant: Temperature::from_celsius(88.0),
                idle_target: AngularSpeed::from_rpm(700.0),
                engine_speed: AngularSpeed::from_rpm(700.0 + off),
                supply: Voltage::from_volts(14.0),
                standing_seconds: 0.1 * f64::from(step),
                pedal_released: true,
                ..Signals::default()
            };
            change(step, &mut signals);
            monitor.step(&signals, Inhibits::default(), &mut |result| said.push(result));
        }
        said
    }

    fn failed(said: &[TestResult]) -> Vec<TestResult> {
        let failures = said
            .iter()
            .filter(|result| matches!(result, TestResult::Failed(_)));
        failures.copied().collect()
    }

    #[test]
    fn the_speed_is_judged_by_its_side() {
        for (off, wanted) in [
            (-110.0, Some(P0506)),
            (-90.0, None),
            (25.0, None),
            (190.0, None),
            (210.0, Some(P0507)),
        ] {
            let said = idled(off, 25, |_, _| {});
            let expected: Vec<TestResult> = wanted.into_iter().map(TestResult::Failed).collect();
            assert_eq!(failed(&said), expected, "{off} rpm");
            assert!(said.contains(&TestResult::Completed(IDLE_SPEED)));
            let passes = said
                .iter()
                .filter(|result| matches!(result, TestResult::Passed(_)));
            assert_eq!(passes.count(), if wanted.is_some() { 1 } else { 2 });
        }
    }

    #[test]
    fn a_window_is_whole_or_none() {
        assert_eq!(idled(-300.0, 21, |_, _| {}), [], "5 s of standing, then 17 s");
        let revved = |step: u32, signals: &mut Signals| {
            if step.is_multiple_of(150) {
                signals.standing_seconds = 0.0;
            }
        };
        assert_eq!(idled(-300.0, 120, revved), []);
        let cold = |_, signals: &mut Signals| signals.coolant = Temperature::from_celsius(60.0);
        assert_eq!(idled(300.0, 60, cold), []);
        let weak = |_, signals: &mut Signals| signals.supply = Voltage::from_volts(10.5);
        assert_eq!(idled(300.0, 60, weak), []);
    }

    #[test]
    fn an_idle_that_goes_wrong_later_is_found_and_said_again() {
        let sinks = |step: u32, signals: &mut Signals| {
            if step > 300 {
                signals.engine_speed = AngularSpeed::from_rpm(550.0);
            }
        };
        let said = idled(0.0, 90, sinks);
        assert_eq!(failed(&said)[0], TestResult::Failed(P0506));
        assert!(failed(&said).len() >= 2, "as long as it lasts");
    }
}
