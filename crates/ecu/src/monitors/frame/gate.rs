//! Where a monitor stands, and what it waits for.

use core::time::Duration;

use super::{Condition, Missing};
use crate::{
    memory::MonitorId,
    monitors::{Inhibits, Signals, TestResult},
};

/// Where a monitor stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum State {
    /// For its conditions.
    #[default]
    Waiting,
    /// It measures, or is paused by a break that it bears.
    Running,
    /// It has judged, and runs no more in this driving cycle.
    Done,
    /// A code keeps it from running.
    Disabled,
}

impl State {
    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Running => "running",
            Self::Done => "done",
            Self::Disabled => "disabled",
        }
    }
}

/// When a monitor runs.
#[derive(Clone, Copy, Debug)]
pub struct Rules {
    /// Whose results it gives; a code that disables the first disables it all.
    pub monitors: &'static [MonitorId],
    /// What has to hold.
    pub conditions: &'static [Condition],
    /// Steps of 100 ms that a break of the conditions is borne; a longer one aborts.
    pub pause: u32,
    /// It watches all the time, and is never done.
    pub continuous: bool,
}

impl Rules {
    /// As [`Self::pause`]: breaks only pause, however long they are. For sums over many windows.
    pub const PAUSES: u32 = u32::MAX;

    /// A monitor that runs once a driving cycle and bears no break.
    #[must_use]
    pub const fn once(monitors: &'static [MonitorId], conditions: &'static [Condition]) -> Self {
        Self {
            monitors,
            conditions,
            pause: 0,
            continuous: false,
        }
    }

    /// A monitor that watches all the time while its conditions hold.
    #[must_use]
    pub const fn continuous(monitors: &'static [MonitorId], conditions: &'static [Condition]) -> Self {
        Self {
            continuous: true,
            pause: Self::PAUSES,
            ..Self::once(monitors, conditions)
        }
    }

    /// The first condition that does not hold.
    fn first_missing(&self, signals: &Signals) -> Option<Missing> {
        self.conditions
            .iter()
            .find_map(|condition| condition.missing(signals))
    }
}

/// What a step is to a monitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// It does nothing.
    Hold,
    /// It begins: what was gathered before does not count.
    Begin,
    /// It goes on.
    Run,
    /// It breaks off without a result.
    Abort,
}

impl Step {
    /// Whether it measures in this step.
    #[must_use]
    pub const fn runs(self) -> bool {
        matches!(self, Self::Begin | Self::Run)
    }
}

/// Where a monitor stands, kept by it and read by all who ask.
#[derive(Clone, Copy, Debug, Default)]
pub struct Gate {
    state: State,
    /// What it does while it runs, in words.
    doing: &'static str,
    missing: Option<Missing>,
    ruled_out: bool,
    aborted_by: Option<Missing>,
    /// Steps for which the conditions have been broken.
    breach: u32,
}

impl Gate {
    /// Where it stands.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// What it does while it runs, where it says so.
    #[must_use]
    pub const fn doing(&self) -> &'static str {
        self.doing
    }

    /// What it waits for, or what pauses it: the first that is missing.
    #[must_use]
    pub const fn missing(&self) -> Option<Missing> {
        self.missing
    }

    /// Whether it cannot run any more in this driving cycle.
    #[must_use]
    pub const fn is_ruled_out(&self) -> bool {
        self.ruled_out
    }

    /// Why it broke off last in this driving cycle.
    #[must_use]
    pub const fn aborted_by(&self) -> Option<Missing> {
        self.aborted_by
    }

    /// All that is missing now.
    pub fn all_missing<'a>(
        &self,
        rules: &Rules,
        signals: &'a Signals,
    ) -> impl Iterator<Item = Missing> + use<'a> {
        // What the monitor said of itself stands first.
        let own = self.missing.filter(|missing| missing.condition.is_own());
        own.into_iter().chain(
            rules
                .conditions
                .iter()
                .filter_map(move |condition| condition.missing(signals)),
        )
    }

    /// A driving cycle begins.
    pub fn begin_cycle(&mut self) {
        *self = Self::default();
    }

    /// The engine stopped: what was running is over.
    pub fn stop(&mut self) {
        if self.state == State::Running {
            self.state = State::Waiting;
        }
    }

    /// Service $04.
    pub fn clear(&mut self) {
        *self = Self {
            ruled_out: self.ruled_out,
            missing: self.missing.filter(|_| self.ruled_out),
            ..Self::default()
        };
    }

    /// One step of 100 ms while the engine runs. A monitor's own conditions come after it.
    pub fn step(&mut self, rules: &'static Rules, signals: &Signals, inhibits: Inhibits) -> Step {
        if self.state == State::Done || self.ruled_out {
            return Step::Hold;
        }
        if rules
            .monitors
            .first()
            .is_some_and(|&first| inhibits.blocks(first))
        {
            let ran = self.state == State::Running;
            self.state = State::Disabled;
            self.missing = None;
            return if ran { Step::Abort } else { Step::Hold };
        }
        // What was missing last is most likely missing still.
        let missing = self
            .missing
            .and_then(|missing| missing.condition.missing(signals))
            .or_else(|| rules.first_missing(signals));
        self.missing = missing;
        match (self.state, missing) {
            (State::Running, None) => {
                self.breach = 0;
                Step::Run
            }
            (State::Running, Some(missing)) => {
                self.breach = self.breach.saturating_add(1);
                if self.breach > rules.pause {
                    self.abort(missing);
                    Step::Abort
                } else {
                    Step::Hold
                }
            }
            (_, None) => {
                self.state = State::Running;
                self.breach = 0;
                Step::Begin
            }
            (_, Some(_)) => {
                self.state = State::Waiting;
                Step::Hold
            }
        }
    }

    /// A driving cycle begins, in which it cannot run without so long a soak ([`super::SOAK`]).
    pub fn begin_after_soak(
        &mut self,
        rules: &Rules,
        long_enough: &'static Condition,
        soak: Duration,
        report: &mut dyn FnMut(TestResult),
    ) {
        self.begin_cycle();
        let hours = soak.as_secs_f64() / 3600.0;
        if !long_enough.admits(hours) {
            self.rule_out(rules, long_enough.with(hours), report);
        }
    }

    /// It waits for something of its own.
    pub const fn wait_for(&mut self, missing: Missing) {
        self.state = State::Waiting;
        self.missing = Some(missing);
    }

    /// It runs, and does this.
    pub const fn run(&mut self, doing: &'static str) {
        self.state = State::Running;
        self.doing = doing;
        self.missing = None;
    }

    /// It breaks off.
    pub const fn abort(&mut self, missing: Missing) {
        self.state = State::Waiting;
        self.missing = Some(missing);
        self.aborted_by = Some(missing);
        self.breach = 0;
    }

    /// A code keeps it from running.
    pub const fn disable(&mut self) {
        self.state = State::Disabled;
        self.missing = None;
    }

    /// It runs no more in this driving cycle.
    pub const fn finish(&mut self) {
        self.state = State::Done;
        self.missing = None;
    }

    /// It cannot run in this driving cycle, for want of this.
    pub fn rule_out(&mut self, rules: &Rules, missing: Missing, report: &mut dyn FnMut(TestResult)) {
        self.state = State::Waiting;
        self.ruled_out = true;
        self.missing = Some(missing);
        for &monitor in rules.monitors {
            report(TestResult::Possible(monitor, false));
        }
    }

    /// It ran to its end with all that is needed to find a fault: in-use numerator and readiness; and done.
    pub fn complete(&mut self, rules: &Rules, report: &mut dyn FnMut(TestResult)) {
        for &monitor in rules.monitors {
            report(TestResult::CouldDetect(monitor));
            report(TestResult::Completed(monitor));
        }
        if !rules.continuous {
            self.finish();
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use twotrip_units::{Ratio, Speed};

    use super::*;
    use crate::monitors::{
        SYSTEM_VOLTAGE,
        frame::{FUEL_LEVEL, SPEED},
    };

    static CONDITIONS: [Condition; 2] = [FUEL_LEVEL.between(15.0, 85.0), SPEED.at_least(20.0)];
    static STRICT: Rules = Rules {
        pause: 2,
        ..Rules::once(&[SYSTEM_VOLTAGE], &CONDITIONS)
    };
    static PATIENT: Rules = Rules {
        pause: Rules::PAUSES,
        ..STRICT
    };

    fn at(kilometres_per_hour: f64) -> Signals {
        Signals {
            level: Ratio::from_percent(50.0),
            vehicle_speed: Speed::from_kilometres_per_hour(kilometres_per_hour),
            ..Signals::default()
        }
    }

    fn steps(gate: &mut Gate, rules: &'static Rules, speeds: &[f64]) -> Vec<Step> {
        let step = |&speed| gate.step(rules, &at(speed), Inhibits::default());
        speeds.iter().map(step).collect()
    }

    #[test]
    fn a_break_is_borne_as_long_as_the_rules_say() {
        use Step::{Abort, Begin, Hold, Run};
        let drive = [0.0, 30.0, 30.0, 10.0, 10.0, 30.0, 10.0, 10.0, 10.0, 30.0];
        let mut gate = Gate::default();
        assert_eq!(
            steps(&mut gate, &STRICT, &drive),
            [Hold, Begin, Run, Hold, Hold, Run, Hold, Hold, Abort, Begin]
        );
        let why = gate.aborted_by().expect("a reason");
        assert!(core::ptr::eq(why.condition, &CONDITIONS[1]) && why.value < 10.1);
        let mut gate = Gate::default();
        assert_eq!(
            steps(&mut gate, &PATIENT, &drive),
            [Hold, Begin, Run, Hold, Hold, Run, Hold, Hold, Hold, Run]
        );
    }

    #[test]
    fn a_code_disables_and_lets_go_again() {
        let mut gate = Gate::default();
        assert_eq!(steps(&mut gate, &STRICT, &[30.0]), [Step::Begin]);
        let blocked = Inhibits {
            blocked: crate::monitors::MonitorSet::of(&[SYSTEM_VOLTAGE]),
            ..Inhibits::default()
        };
        assert_eq!(gate.step(&STRICT, &at(30.0), blocked), Step::Abort);
        assert_eq!(gate.step(&STRICT, &at(30.0), blocked), Step::Hold);
        assert_eq!(gate.state(), State::Disabled);
        assert_eq!(steps(&mut gate, &STRICT, &[0.0]), [Step::Hold]);
        assert_eq!(gate.state(), State::Waiting);
    }

    #[test]
    fn done_is_done_until_the_next_cycle_or_a_clear() {
        let mut gate = Gate::default();
        let mut said = Vec::new();
        steps(&mut gate, &STRICT, &[30.0]);
        gate.complete(&STRICT, &mut |result| said.push(result));
        assert_eq!(
            said,
            [
                TestResult::CouldDetect(SYSTEM_VOLTAGE),
                TestResult::Completed(SYSTEM_VOLTAGE)
            ]
        );
        assert_eq!(steps(&mut gate, &STRICT, &[30.0]), [Step::Hold]);
        gate.clear();
        assert_eq!(steps(&mut gate, &STRICT, &[30.0]), [Step::Begin]);
    }

    #[test]
    fn what_is_ruled_out_stays_so_after_a_clear() {
        static COLD: Condition = Condition::own("a cold start", "");
        let mut gate = Gate::default();
        let mut said = Vec::new();
        gate.rule_out(&STRICT, COLD.with(0.0), &mut |result| said.push(result));
        gate.clear();
        assert_eq!(steps(&mut gate, &STRICT, &[30.0, 30.0]), [Step::Hold; 2]);
        assert_eq!(said, [TestResult::Possible(SYSTEM_VOLTAGE, false)]);
        let signals = at(0.0);
        let all: Vec<_> = gate
            .all_missing(&STRICT, &signals)
            .map(|missing| missing.condition.what)
            .collect();
        assert_eq!(all, ["a cold start", "speed"]);
    }
}
