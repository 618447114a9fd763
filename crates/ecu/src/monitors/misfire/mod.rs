//! Misfire: 13 CCR 1968.2(e)(3). Each firing is judged by what the crank's energy gains over it ([`crank`]), and the
//! failed ones are counted in blocks ([`block`]): of 200 turns against a share that endangers the catalyst, of 1000 turns
//! against one that raises emissions. How many such blocks make a code, and whether conditions are similar, is for the
//! fault memory; the blinking lamp follows what is said here of the catalyst.
//!
//! Published entries of such monitors: 400 to 4520 rpm above the line of no torque, coolant and intake air above -8 C;
//! 600 to 4000 rpm and less than 1000 rpm/s, smooth road; 440 to 6000 rpm. Published shares: 1 to 5 % of 1000 turns, 2.5
//! to 25 % of 200 turns by speed and load (service information, 2000, 2003, 2014 and 2016 model years).

mod block;
mod crank;

use twotrip_harness::{BANKS, CrankSegments};
use twotrip_obd::Dtc;
use twotrip_units::{AngularSpeed, Limit, Ratio, Table};

use super::{
    Fast, Inhibits, MISFIRE, P0300, P0301, P0302, P0303, P0304, P0305, P0306, Signals, TestResult,
    frame::{
        COOLANT, Condition, ENGINE_SPEED, Gate, INTAKE_AIR, LOAD, Monitor, NO_FUEL_CUT, Rules, SUPPLY, Step,
        Test, gated,
    },
};
use crate::{
    control::Requests,
    memory::{CatalystMisfire, MisfireWindow},
};
use block::{Block, Who};
use crank::Crank;

/// Most cylinders.
const CYLINDERS: usize = 6;
/// What is counted: all, then each cylinder.
pub(super) const COUNTS: usize = CYLINDERS + 1;
/// The code of each cylinder.
const OF_CYLINDER: [Dtc; CYLINDERS] = [P0301, P0302, P0303, P0304, P0305, P0306];

/// Turns of a block that the catalyst is judged by, and emissions: (e)(3.2.1), (3.2.2) (from memory).
const CATALYST_TURNS: u32 = 200;
const EMISSION_TURNS: u32 = 1000;
/// Share of failed firings that raises emissions (from 1 to 5 % published).
const EMISSION_LIMIT: f64 = 0.02;
/// Share that heats the catalyst beyond 950 C, by air flow, g/s: 20 % at idle, 12 % at 2000 rpm, 8 % at 3000 rpm and half
/// load, 5 % at full load, which is the least that the rule allows to set (calibrated).
const CATALYST_LIMIT: Table<4> = Table::new([(2.5, 0.20), (11.0, 0.12), (28.0, 0.08), (70.0, 0.05)]);
/// The speeds and loads of the certification test, as this car drives it.
const TEST_AREA: (f64, f64) = (2800.0, 0.65);
/// Steps of 100 ms that are not judged after injection begins again, after a shift and after the throttle moved.
const AFTER_CUT: u8 = 10;
const AFTER_SHIFT: u8 = 8;
const AFTER_THROTTLE: u8 = 3;
/// Fastest throttle, degrees a step of 100 ms: 30 % of its travel a second.
const THROTTLE_STEP: f64 = 2.5;
/// A shift: crank against wheels changes by more than this share in a step of 100 ms, above this speed, km/h.
const SHIFT: (f64, f64) = (0.04, 15.0);
/// Share of a block of 200 turns from which learned trims would learn the misfire.
const SPOILS_TRIMS: f64 = 0.01;

/// Manifold pressure below which firings at high speed are not judged, kPa by rpm. The rule leaves out what lies between the
/// line of no torque and two points: that line at 3000 rpm, and 4 inHg (13.5 kPa) above it at the highest speed (13 CCR
/// 1968.2(e)(3.3), from memory). Running free the engines here have 24 to 26 kPa up to 3000 rpm, 28 at 4400 and, drawn on,
/// 32 at 6500. There the scatter of the teeth grows with the square of the speed, and the work of a firing is least.
static LEFT_OUT: Table<3> = Table::new([(2900.0, 0.0), (3000.0, 26.0), (6500.0, 45.5)]);

static SMOOTH_ROAD: Condition =
    Condition::state("a smooth road", |signals| !signals.rough_road).instead_of("rough road");
static TORQUE: Condition = Condition::of(
    "manifold pressure above the line of little torque",
    "kPa",
    |signals| signals.manifold_pressure.kilopascals() - LEFT_OUT.at(signals.engine_speed.rpm()),
)
.at_least(0.0);
/// Below 11 V monitors may be held (13 CCR 1968.2, from memory): injectors and coils then do less than they should.
const LEAST_SUPPLY: f64 = 11.0;
static CONDITIONS: [Condition; 8] = [
    ENGINE_SPEED.between(500.0, 4500.0),
    LOAD.at_least(15.0),
    NO_FUEL_CUT,
    COOLANT.at_least(-8.0),
    INTAKE_AIR.at_least(-20.0),
    SUPPLY.at_least(LEAST_SUPPLY),
    SMOOTH_ROAD,
    TORQUE,
];
static RULES: Rules = Rules::continuous(&[MISFIRE], &CONDITIONS);

/// Makes the rows of service $06: the mean of ten driving cycles and the count of this one, which no limit judges.
macro_rules! counts {
    ($($mid:literal $mean:ident $count:ident $mean_of:literal $count_of:literal;)*) => {
        $(
            static $mean: Test = Test::new($mean_of, "").reported_as($mid, 0x0B, 0x24);
            static $count: Test = Test::new($count_of, "").reported_as($mid, 0x0C, 0x24);
        )*
        /// The counts, all cylinders first.
        static ROWS: [[&Test; 2]; COUNTS] = [$([&$mean, &$count]),*];
        /// What the monitor measures.
        pub(super) static TESTS: &[&Test] = &[$(&$mean, &$count,)* &CATALYST, &EMISSION];
    };
}

counts! {
    0xA1 MEAN_OF_ALL COUNT_OF_ALL "misfires, mean of ten driving cycles" "misfires in the last or current driving cycle";
    0xA2 MEAN_1 COUNT_1 "misfires of cylinder 1, mean of ten driving cycles" "misfires of cylinder 1";
    0xA3 MEAN_2 COUNT_2 "misfires of cylinder 2, mean of ten driving cycles" "misfires of cylinder 2";
    0xA4 MEAN_3 COUNT_3 "misfires of cylinder 3, mean of ten driving cycles" "misfires of cylinder 3";
    0xA5 MEAN_4 COUNT_4 "misfires of cylinder 4, mean of ten driving cycles" "misfires of cylinder 4";
    0xA6 MEAN_5 COUNT_5 "misfires of cylinder 5, mean of ten driving cycles" "misfires of cylinder 5";
    0xA7 MEAN_6 COUNT_6 "misfires of cylinder 6, mean of ten driving cycles" "misfires of cylinder 6";
}

/// All codes of this monitor.
const CODES: &[Dtc] = &[P0300, P0301, P0302, P0303, P0304, P0305, P0306];
static CATALYST: Test = Test::new("misfires in 200 turns", "%").of(CODES);
static EMISSION: Test = Test::new("misfires in 1000 turns", "%")
    .at_most(100.0 * EMISSION_LIMIT)
    .of(CODES);

/// A block that is full, to be judged in the next step of 100 ms.
#[derive(Clone, Copy, Debug)]
struct Full {
    block: Block,
    at_start: bool,
}

/// The monitor.
#[derive(Clone, Debug)]
pub struct Misfire {
    gate: Gate,
    crank: Crank,
    /// Cylinders in the order of firing, from 1 on, and how many there are.
    order: [u8; CYLINDERS],
    cylinders: u8,
    /// Half the crank's inertia by the work expected of a firing, s².
    scale: f64,
    judges: bool,
    /// Steps until it judges again.
    hold: u8,
    /// Firings since the start, judged or not.
    since_start: u32,
    catalyst: Block,
    emission: Block,
    full_catalyst: Option<Full>,
    full_emission: Option<Full>,
    /// A block of 1000 turns has been judged in this driving cycle.
    counted: bool,
    /// Too many of the last 200 turns for the catalyst.
    endangers: bool,
    /// A block endangered the catalyst since the last block of 1000 turns.
    spoilt: bool,
    /// Share of the last 200 turns, by bank.
    recent: [f64; BANKS],
    /// Failed firings of this driving cycle, all first, then by cylinder.
    counts: [f64; COUNTS],
    /// Means of ten driving cycles.
    means: [f64; COUNTS],
    throttle: f64,
    ratio: f64,
}

impl Default for Misfire {
    fn default() -> Self {
        Self::of([1, 3, 4, 2, 0, 0])
    }
}

impl Misfire {
    fn of(order: [u8; CYLINDERS]) -> Self {
        let cylinders = order.iter().fold(1, |most, &cylinder| most.max(cylinder));
        Self {
            gate: Gate::default(),
            crank: Crank::new(cylinders),
            cylinders,
            order,
            scale: 0.0,
            judges: false,
            hold: 0,
            since_start: 0,
            catalyst: Block::default(),
            emission: Block::default(),
            full_catalyst: None,
            full_emission: None,
            counted: false,
            endangers: false,
            spoilt: false,
            recent: [0.0; BANKS],
            counts: [0.0; COUNTS],
            means: [0.0; COUNTS],
            throttle: 0.0,
            ratio: 0.0,
        }
    }

    /// Share of the firings of the last 200 turns that failed, by bank.
    #[must_use]
    pub fn recent(&self) -> [Ratio; BANKS] {
        self.recent.map(Ratio::from_fraction)
    }

    /// Failed firings found in this driving cycle: in all, and by cylinder.
    #[must_use]
    pub const fn counts(&self) -> &[f64; COUNTS] {
        &self.counts
    }

    /// Means of ten driving cycles, to be kept without power.
    pub(super) const fn means(&self) -> &[f64; COUNTS] {
        &self.means
    }

    /// Puts them back.
    pub(super) const fn take_over(&mut self, means: [f64; COUNTS]) {
        self.means = means;
    }

    /// Firings in so many turns.
    fn firings(&self, turns: u32) -> u32 {
        turns * u32::from(self.cylinders) / 2
    }

    /// What tells that firings cannot be judged for a while.
    fn disturbance(&mut self, signals: &Signals) -> u8 {
        let throttle = signals.throttle.degrees();
        let moved = (throttle - core::mem::replace(&mut self.throttle, throttle)).abs() > THROTTLE_STEP;
        let speed = signals.vehicle_speed.kilometres_per_hour();
        let ratio = if signals.in_gear && speed > SHIFT.1 {
            signals.engine_speed.rpm() / speed
        } else {
            0.0
        };
        let before = core::mem::replace(&mut self.ratio, ratio);
        let shifts = before > 0.0 && (ratio - before).abs() > SHIFT.0 * before;
        if signals.fuel_cut {
            AFTER_CUT
        } else if shifts {
            AFTER_SHIFT
        } else if moved {
            AFTER_THROTTLE
        } else {
            0
        }
    }

    fn segments(&mut self, segments: &CrankSegments) {
        let mut place = segments.first();
        for time in segments.times() {
            self.segment(place, time.seconds());
            place = if place + 1 < self.cylinders { place + 1 } else { 0 };
        }
    }

    #[inline]
    fn segment(&mut self, place: u8, seconds: f64) {
        self.since_start = self.since_start.saturating_add(1);
        let judged = self.crank.take(place, seconds, self.scale);
        if !self.judges {
            self.crank.disturb();
        } else if let Some(judged) = judged {
            let cylinder = usize::from(self.order[usize::from(judged.place)].saturating_sub(1));
            self.catalyst.add(cylinder, judged.missed);
            self.emission.add(cylinder, judged.missed);
            if judged.missed {
                self.counts[0] += 1.0;
                self.counts[1 + cylinder] += 1.0;
            }
            if self.catalyst.firings >= self.firings(CATALYST_TURNS) {
                let block = core::mem::take(&mut self.catalyst);
                self.full_catalyst = Some(Full {
                    block,
                    at_start: false,
                });
            }
        }
        // The first block ends with the first 1000 turns, whatever of them could be judged.
        let first = self.firings(EMISSION_TURNS);
        if self.since_start == first || self.since_start > first && self.emission.firings >= first {
            let block = core::mem::take(&mut self.emission);
            let at_start = self.since_start == first;
            if !at_start || block.firings >= first / 2 {
                self.full_emission = Some(Full { block, at_start });
            }
        }
    }

    /// A block of 200 turns.
    fn judge_catalyst(&mut self, full: Full, signals: &Signals, report: &mut dyn FnMut(TestResult)) {
        let [rpm, load, flow] = full.block.mean();
        let limit = CATALYST_LIMIT.at(flow);
        self.recent = full.block.shares(&signals.second_bank, signals.bank_count);
        let share = full.block.share();
        let endangers = share > limit;
        CATALYST
            .found(100.0 * share)
            .within(None, Some(100.0 * limit))
            .report(report);
        if endangers {
            self.spoilt = true;
            let in_test_area = rpm <= TEST_AREA.0 && load <= TEST_AREA.1;
            self.report(&full.block, MisfireWindow::Catalyst { in_test_area }, report);
        }
        self.endanger(endangers, report);
        if self.counted {
            self.report_counts(report);
        }
    }

    /// A block of 1000 turns.
    fn judge_emission(&mut self, full: Full, report: &mut dyn FnMut(TestResult)) {
        let share = full.block.share();
        self.counted = true;
        let good = EMISSION.found(100.0 * share);
        good.report(report);
        if !good.passed {
            let window = if full.at_start {
                MisfireWindow::EmissionAtStart
            } else {
                MisfireWindow::EmissionLater
            };
            self.report(&full.block, window, report);
        } else if !self.spoilt {
            CODES.iter().for_each(|&dtc| report(TestResult::Passed(dtc)));
        }
        self.spoilt = false;
        self.report_counts(report);
        self.gate.complete(&RULES, report);
    }

    fn report(&self, block: &Block, window: MisfireWindow, report: &mut dyn FnMut(TestResult)) {
        let dtc = match block.who() {
            Who::One(cylinder) => OF_CYLINDER[cylinder],
            Who::Several => P0300,
        };
        let [rpm, load, _] = block.mean();
        report(TestResult::Misfire {
            dtc,
            window,
            engine_speed: AngularSpeed::from_rpm(rpm),
            load: Ratio::from_fraction(load),
        });
    }

    fn endanger(&mut self, endangers: bool, report: &mut dyn FnMut(TestResult)) {
        if endangers != self.endangers {
            self.endangers = endangers;
            report(TestResult::CatalystMisfire(if endangers {
                CatalystMisfire::Present
            } else {
                CatalystMisfire::Gone
            }));
        }
    }

    fn report_counts(&self, report: &mut dyn FnMut(TestResult)) {
        let rows = ROWS.iter().zip(self.means.iter().zip(self.counts));
        for ([mean_of, count_of], (&mean, count)) in rows {
            mean_of.found(libm::round(mean)).report(report);
            count_of.found(count).report(report);
        }
    }
}

impl Monitor for Misfire {
    gated!(&RULES);

    fn reset(&mut self) {
        *self = Self {
            gate: self.gate,
            means: self.means,
            since_start: self.since_start,
            ..Self::of(self.order)
        };
    }

    #[inline]
    fn fast(&mut self, fast: &Fast<'_>) {
        let segments = &fast.pins.crank_segments;
        if !segments.is_empty() {
            self.segments(segments);
        }
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let step = self.gate.step(&RULES, signals, inhibits);
        let disturbed = self.disturbance(signals);
        self.hold = self.hold.saturating_sub(1).max(disturbed);
        let work = signals.firing_joules.at_least(20.0);
        self.scale = 0.5 * signals.crank_inertia / work;
        self.judges = matches!(step, Step::Begin | Step::Run) && self.hold == 0;
        if self.judges {
            let rpm = signals.engine_speed.rpm();
            let (load, flow) = (signals.load.fraction(), signals.air_metered.grams_per_second());
            self.catalyst.sample(rpm, load, flow);
            self.emission.sample(rpm, load, flow);
        }
        if let Some(full) = self.full_catalyst.take() {
            self.judge_catalyst(full, signals, report);
        }
        if let Some(full) = self.full_emission.take() {
            self.judge_emission(full, report);
        }
    }

    fn engine_started(
        &mut self,
        signals: &Signals,
        _soak: core::time::Duration,
        _report: &mut dyn FnMut(TestResult),
    ) {
        // Each driving cycle weighs a tenth (SAE J1979-DA).
        let mut means = self.means;
        for (mean, count) in means.iter_mut().zip(self.counts) {
            *mean = 0.1 * count + 0.9 * *mean;
        }
        *self = Self {
            means,
            ..Self::of(signals.firing_order)
        };
    }

    fn clear(&mut self) {
        self.reset();
        self.means = [0.0; COUNTS];
        self.gate.clear();
    }

    fn requests(&self) -> Requests {
        Requests {
            open_loop: self.recent.map(|share| self.endangers && share > SPOILS_TRIMS),
            hold_trims: self.recent.map(|share| share > SPOILS_TRIMS),
            ..Requests::default()
        }
    }
}
