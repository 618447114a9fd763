//! Messages of the gearbox controller, and the road speed that comes in them: U0101 and P0500.
//!
//! Published service information has several ways: a message missing for 0.5 s or 2 s with the supply above 11 V and the
//! engine running for 2 s; a road speed of less than 3.7 km/h while engine speed and load say that the car is driven, or
//! without pulses for 4 to 5 s on the overrun. While the messages are missing the speed in them says nothing.

use super::{
    GEARBOX_MESSAGES, Inhibits, P0500, Signals, TestResult, U0101, VEHICLE_SPEED,
    frame::{Condition, Gate, Monitor, RUN_TIME, Rules, SUPPLY, Test, gated},
};

/// Steps of 100 ms without a loss that heal, and those that pass first in a driving cycle.
const GOOD: u32 = 100;
const FIRST_GOOD: u32 = 20;

static SILENCE: Test = Test::new("silence of the gearbox controller", "s")
    .at_most(0.5)
    .of(&[U0101]);

static MESSAGE_CONDITIONS: [Condition; 2] = [RUN_TIME.at_least(2.0), SUPPLY.at_least(11.0)];
static MESSAGE_RULES: Rules = Rules::continuous(&[GEARBOX_MESSAGES], &MESSAGE_CONDITIONS);

/// Whether the gearbox controller is heard.
#[derive(Clone, Debug, Default)]
pub struct GearboxMessages {
    gate: Gate,
    /// Steps without a loss.
    good: u32,
    failed: bool,
    passed: bool,
    lost: bool,
}

impl Monitor for GearboxMessages {
    gated!(&MESSAGE_RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&MESSAGE_RULES, signals, inhibits).runs() {
            return;
        }
        if signals.gearbox_lost {
            self.good = 0;
            self.passed = false;
            // One word for each loss, for as long as it has lasted when it counts.
            if !self.lost && !self.failed {
                self.failed = true;
                SILENCE.judge(signals.gearbox_silence.max(0.6), report);
                self.gate.complete(&MESSAGE_RULES, report);
            }
        } else if !self.passed {
            self.good += 1;
            if self.good >= if self.failed { GOOD } else { FIRST_GOOD } {
                self.passed = true;
                self.failed = false;
                SILENCE.judge(signals.gearbox_silence.min(0.5), report);
                self.gate.complete(&MESSAGE_RULES, report);
            }
        }
        self.lost = signals.gearbox_lost;
    }
}

/// Below this the car counts as standing.
const STANDING_KMH: f64 = 3.7;
/// Steps of 100 ms for which the car is driven with no speed.
const DRIVEN: u32 = 50;
/// The same on the overrun; engine speeds in which that says something, rpm.
const OVERRUN: u32 = 40;
const OVERRUN_RPM: [f64; 2] = [1200.0, 4000.0];
/// Steps of rolling that pass, and from which speed on.
const ROLLING: u32 = 50;
const ROLLING_KMH: f64 = 15.0;

static DRIVEN_SPEED: Test = Test::new("road speed, driven at over 2000 rpm and 40 % load", "km/h")
    .at_least(STANDING_KMH)
    .of(&[P0500]);
static OVERRUN_SPEED: Test = Test::new("road speed in a fuel cut of 4 s", "km/h")
    .at_least(STANDING_KMH)
    .of(&[P0500]);

static SPEED_CONDITIONS: [Condition; 1] = [Condition::state(
    "messages of the gearbox controller",
    |signals| !signals.gearbox_lost && signals.gearbox_silence <= 0.0,
)];
static SPEED_RULES: Rules = Rules::continuous(&[VEHICLE_SPEED], &SPEED_CONDITIONS);

/// Whether the road speed is there while the car is driven.
#[derive(Clone, Debug, Default)]
pub struct VehicleSpeed {
    gate: Gate,
    driven: u32,
    overrun: u32,
    rolling: u32,
    failed: bool,
    passed: bool,
}

impl VehicleSpeed {
    fn fail(&mut self, test: &'static Test, kmh: f64, report: &mut dyn FnMut(TestResult)) {
        (self.failed, self.passed) = (true, false);
        (self.driven, self.overrun, self.rolling) = (0, 0, 0);
        test.judge(kmh, report);
        self.gate.complete(&SPEED_RULES, report);
    }
}

impl Monitor for VehicleSpeed {
    gated!(&SPEED_RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&SPEED_RULES, signals, inhibits).runs() {
            return;
        }
        let kmh = signals.vehicle_speed.kilometres_per_hour();
        let standing = kmh < STANDING_KMH;
        if kmh >= ROLLING_KMH && !self.passed {
            self.rolling += 1;
            if self.rolling >= ROLLING {
                (self.failed, self.passed) = (false, true);
                DRIVEN_SPEED.judge(kmh, report);
                self.gate.complete(&SPEED_RULES, report);
            }
        }
        if !signals.in_gear || self.failed {
            return;
        }
        let rpm = signals.engine_speed.rpm();
        if rpm > 2000.0 && signals.load.percent() > 40.0 && !signals.brake {
            self.driven = if standing {
                self.driven + 1
            } else {
                self.driven.saturating_sub(1)
            };
            if self.driven >= DRIVEN {
                self.fail(&DRIVEN_SPEED, kmh, report);
            }
        }
        let coasts = signals.fuel_cut && rpm > OVERRUN_RPM[0] && rpm < OVERRUN_RPM[1];
        self.overrun = if coasts && standing { self.overrun + 1 } else { 0 };
        if self.overrun >= OVERRUN {
            self.fail(&OVERRUN_SPEED, kmh, report);
        }
    }
}

#[cfg(test)]
mod tests;
