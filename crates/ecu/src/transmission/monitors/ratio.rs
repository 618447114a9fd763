//! Whether the gear that is commanded is the gear that is there: turbine speed by output speed.
//!
//! A ratio that is that of another gear, one that a single stuck valve makes of the commanded solenoids, tells of that
//! valve. One of another gear that no single valve explains is a wrong gear (P0730). A turbine that turns faster than the
//! gear asks, and as in no other gear, tells of a clutch that slips in this one. After the first finding of a driving
//! cycle the gearbox is in its default mode, and nothing more is judged.

use twotrip_harness::{
    Solenoid, SolenoidSet,
    gearbox::{GEARS, gear_of, pattern},
};
use twotrip_obd::Dtc;

use super::{
    super::catalogue::{
        GEAR_RATIO, P0729, P0730, P0731, P0732, P0733, P0734, P0735, P0751, P0752, P0756, P0757, P0761,
        P0762, SHIFT_VALVES,
    },
    Look, Need, Report, Stand, hold,
    need::{IN_DRIVE, is},
    runs,
};
use crate::{
    memory::FaultMemory,
    monitors::{
        TestResult,
        frame::{Condition, Test},
    },
};

/// Within this share a ratio is that of a gear; beyond the other it is wrong.
const SAME: f64 = 0.03;
const WRONG: f64 = 0.06;
/// Time after a shift, s, and steps of 100 ms: of slip, of another gear, and of the right gear that pass.
const SETTLED_S: f64 = 0.6;
const SLIPS_FOR: u32 = 8;
const OTHER_FOR: u32 = 12;
const RIGHT_FOR: u32 = 10;

static NEEDS: [Need; 3] = [
    IN_DRIVE,
    Need::of(
        Condition::own("time since the last shift", "s").at_least(SETTLED_S),
        |look| look.control.since_shift_s(),
    ),
    Need::of(
        Condition::own("a turning output shaft, some 7 km/h", ""),
        |look| is(look.measured.ratio().is_some()),
    ),
];
/// What else it waits for, in a gear that it has found right.
static ANOTHER_GEAR: Condition =
    Condition::own("gears found right in this driving cycle", "of 6").at_least(GEARS_COMPLETE);
/// Gears found right that make the monitor complete: the sixth is not for every road.
const GEARS_COMPLETE: f64 = 5.0;

/// What a test of one gear is called.
macro_rules! gears {
    ($($name:ident $code:ident $gear:literal;)*) => {
        $(static $name: Test = Test::new(concat!("ratio in gear ", $gear, " against what it should be"), "%")
            .at_least(-100.0 * SAME)
            .at_most(100.0 * WRONG)
            .of(&[$code]);)*
        static SLIPS: [&Test; GEARS] = [$(&$name,)*];
    };
}

gears! {
    FIRST P0731 1;
    SECOND P0732 2;
    THIRD P0733 3;
    FOURTH P0734 4;
    FIFTH P0735 5;
    SIXTH P0729 6;
}

static VALVE: Test =
    Test::new("gear that the ratio is of", "").of(&[P0730, P0751, P0752, P0756, P0757, P0761, P0762]);

/// The valve of each shift solenoid: stuck off, stuck on.
const VALVES: [(Solenoid, bool, Dtc); 6] = [
    (Solenoid::ShiftA, false, P0751),
    (Solenoid::ShiftA, true, P0752),
    (Solenoid::ShiftB, false, P0756),
    (Solenoid::ShiftB, true, P0757),
    (Solenoid::ShiftC, false, P0761),
    (Solenoid::ShiftC, true, P0762),
];

/// What the ratio is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Found {
    Right,
    Slips,
    /// That of this gear, 0 is first.
    Other(usize),
    Neither,
}

#[derive(Clone, Debug, Default)]
pub(super) struct Ratio {
    /// What is found, and for how many steps.
    now: Option<(usize, Found)>,
    steps: u32,
    failed: bool,
    passed: [bool; GEARS],
}

impl Ratio {
    pub(super) const fn failed(&self) -> bool {
        self.failed
    }

    fn gears_right(&self) -> usize {
        self.passed.iter().filter(|&&passed| passed).count()
    }

    pub(super) fn stands(&self, look: &Look<'_>, memory: &FaultMemory) -> [Stand; 2] {
        let right = self.gears_right();
        let done = self.failed || right >= GEARS - 1;
        let number = f64::from(u8::try_from(right).unwrap_or(0));
        let another = self.passed[look.control.gear()].then(|| ANOTHER_GEAR.with(number));
        [GEAR_RATIO, SHIFT_VALVES].map(|monitor| Stand::of(monitor, &NEEDS, look, memory, done).and(another))
    }

    pub(super) fn step(&mut self, look: Look<'_>, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let gear = look.control.gear();
        let measured = look.measured.ratio();
        let Some(ratio) = measured.filter(|_| hold(&NEEDS, &look) && runs(memory, GEAR_RATIO)) else {
            self.now = None;
            return;
        };
        let off = ratio / look.gearing.ratios[gear] - 1.0;
        let found = identify(&look.gearing.ratios, ratio, gear);
        if self.now == Some((gear, found)) {
            self.steps += 1;
        } else {
            (self.now, self.steps) = (Some((gear, found)), 1);
        }
        match found {
            Found::Right if self.steps >= RIGHT_FOR && !self.passed[gear] => {
                self.passed[gear] = true;
                self.right(gear, 100.0 * off, memory, report);
            }
            Found::Slips if self.steps >= SLIPS_FOR && !self.failed => {
                self.failed = true;
                let _ = SLIPS[gear]
                    .found(100.0 * off)
                    .judge(&mut |result| report(memory, result));
            }
            Found::Other(other) if self.steps >= OTHER_FOR && !self.failed => {
                self.failed = true;
                self.wrong(gear, other, memory, report);
            }
            _ => {}
        }
    }

    /// The commanded gear is there: it does not slip, and every valve that would have made another of it is free.
    fn right(&self, gear: usize, off: f64, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let _ = SLIPS[gear].found(off).judge(&mut |result| report(memory, result));
        report(memory, TestResult::Passed(P0730));
        if runs(memory, SHIFT_VALVES) {
            let commanded = pattern(gear);
            for (solenoid, on, dtc) in VALVES {
                if gear_of(commanded.with(solenoid, on)) != gear {
                    report(memory, TestResult::Passed(dtc));
                }
            }
        }
        if self.gears_right() == GEARS - 1 {
            report(memory, TestResult::Completed(GEAR_RATIO));
            report(memory, TestResult::Completed(SHIFT_VALVES));
        }
    }

    /// Another gear is there.
    fn wrong(&self, gear: usize, other: usize, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let code = stuck(pattern(gear), other).unwrap_or(P0730);
        let number = |gear: usize| f64::from(u8::try_from(gear + 1).unwrap_or(0));
        let limits = Some(number(gear));
        VALVE
            .found(number(other))
            .within(limits, limits)
            .report(&mut |result| report(memory, result));
        report(memory, TestResult::Failed(code));
    }
}

/// The valve that makes this gear of the commanded solenoids where it is stuck.
fn stuck(commanded: SolenoidSet, made: usize) -> Option<Dtc> {
    VALVES.into_iter().find_map(|(solenoid, on, dtc)| {
        let changes = commanded.contains(solenoid) != on;
        (changes && gear_of(commanded.with(solenoid, on)) == made).then_some(dtc)
    })
}

/// What a ratio is, where this gear is commanded.
fn identify(ratios: &[f64; GEARS], ratio: f64, gear: usize) -> Found {
    let is_of = |other: usize| (ratio / ratios[other] - 1.0).abs() < SAME;
    if is_of(gear) {
        return Found::Right;
    }
    if let Some(other) = (0..GEARS).find(|&other| is_of(other)) {
        return Found::Other(other);
    }
    if ratio > ratios[gear] * (1.0 + WRONG) {
        Found::Slips
    } else {
        Found::Neither
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATIOS: [f64; GEARS] = [4.15, 2.37, 1.56, 1.16, 0.86, 0.69];

    #[test]
    fn a_ratio_is_right_or_slips_or_is_of_another_gear() {
        for (gear, ratio, wanted) in [
            (0, 4.15, Found::Right),
            (0, 4.20, Found::Right),
            (0, 6.0, Found::Slips),
            (0, 2.37, Found::Other(1)),
            (3, 1.35, Found::Slips),
            (3, 1.56, Found::Other(2)),
            (3, 1.05, Found::Neither),
        ] {
            assert_eq!(
                identify(&RATIOS, ratio, gear),
                wanted,
                "{ratio} in gear {}",
                gear + 1
            );
        }
    }

    /// Of every valve: the gears that it spoils tell of it and of no other.
    #[test]
    fn each_valve_is_known_by_the_gears_that_it_makes() {
        for (solenoid, on, dtc) in VALVES {
            let mut spoilt = 0;
            for gear in 0..GEARS {
                let made = gear_of(pattern(gear).with(solenoid, on));
                if made != gear {
                    spoilt += 1;
                    assert_eq!(stuck(pattern(gear), made), Some(dtc), "{dtc}: {gear} made {made}");
                }
            }
            assert!(spoilt > 0, "{dtc}");
        }
        // Plugs of A and B in each other's places: second made fourth.
        assert_eq!(stuck(pattern(1), 3), None);
    }
}
