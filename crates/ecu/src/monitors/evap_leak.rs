//! Leak test of the fuel tank with the engine running, and what it learns about purge and vent valve meanwhile
//! (own design, its limits set beside published ones; leak of 0.040 in and larger, 13 CCR 1968.2(e)(4.3.1)).
//!
//! ```text
//! waiting -> zero -> vapour -> vent -> pull -> settle -> decay -> release -> purge -> done
//!             P0451   P0496    P0446    |               P0442     P0446      P0441
//!             P0446                     +-> flow check -> done
//!                                            P0441, P0455 or P0457
//! ```
//! Once a driving cycle, after a cold start only; without one the purge valve alone is looked at. A break of the conditions of up to two seconds is borne; a longer
//! one, sloshing fuel or a noisy signal abort the test without any result, and it begins again when it may.
//! A gross leak is one result that goes by P0457 if fuel was taken on before, by P0455 else; a name that the fault
//! memory already holds is used again.

use core::time::Duration;

use twotrip_harness::Circuit;
use twotrip_obd::Dtc;
use twotrip_units::{Length, Pressure, Ratio};

use super::{
    EVAP_LEAK, Inhibits, P0441, P0442, P0446, P0451, P0455, P0457, P0496, Signals, TANK_PRESSURE, TestResult,
    frame::{Gate, LongMean, Monitor, Rules, Test, gated},
};
use crate::control::Requests;

mod always;
mod conditions;
mod params;
mod purge;
#[cfg(test)]
mod tests;

use always::Always;
use conditions::{COLD_START, CONDITIONS, HOT_FUEL};
pub use params::Params;
use purge::Cause;

/// Steps of 100 ms in a second.
const PER_SECOND: u32 = 10;
/// Level samples that span the slosh window.
const LEVELS: usize = 50;

/// Where the test stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stage {
    /// For its conditions.
    #[default]
    Waiting,
    /// Vent open, purge shut: the sensor's zero.
    Zero,
    /// Sealed: how fast vapour alone raises the pressure.
    Vapour,
    /// Vent open again.
    Vent,
    /// Sealed, gentle purge: down to the target.
    Pull,
    /// The target was not reached: does the purge valve flow at all?
    FlowCheck,
    /// Purge shut, sealed: a moment to settle.
    Settle,
    /// Sealed: how fast the vacuum is lost.
    Decay,
    /// Vent open.
    Release,
    /// The purge valve alone: vent open.
    PurgeVent,
    /// Sealed, purge still shut.
    PurgeShut,
    /// Sealed, purge open.
    PurgeOpen,
    /// After an abort: vent open until the tank is at rest.
    Recover,
    /// Done for this driving cycle.
    Done,
}

impl Stage {
    /// What the test does in it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Zero => "reading the sensor's zero",
            Self::Vapour => "sealed, watching vapour raise the pressure",
            Self::Vent => "vented",
            Self::Pull => "pulling the pressure down",
            Self::FlowCheck => "checking whether the purge valve flows",
            Self::Settle => "sealed, settling",
            Self::Decay => "sealed, watching the vacuum decay",
            Self::Release => "letting the pressure out",
            Self::PurgeVent => "vented, before purging",
            Self::PurgeShut => "sealed, before purging",
            Self::PurgeOpen => "purging the sealed tank",
            Self::Recover => "at rest after breaking off",
            Self::Done => "done",
        }
    }
}

/// Figures of the last test that came to a result.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Figures {
    /// Lowest pressure of the pull, gauge.
    pub lowest: Pressure,
    /// Time of the pull.
    pub pull: Duration,
    /// Rise by vapour alone, a second.
    pub vapour_per_second: Pressure,
    /// Rise over the decay, a second.
    pub rise_per_second: Pressure,
    /// Diameter of a round hole that would leak as much; `None` where the target was not reached.
    pub hole: Option<Length>,
}

/// The test, and what it asks. Closed loop is asked at the beginning only: a fuel cut on the way disturbs neither vent
/// nor tank.
static RULES: Rules = Rules {
    pause: Params::DEFAULT.longest_break,
    ..Rules::once(&[EVAP_LEAK, TANK_PRESSURE], CONDITIONS)
};

/// Lowest pressure of the pull.
static GROSS: Test = Test::new("lowest tank pressure of the pull", "Pa")
    .at_most(Params::DEFAULT.target.pascals())
    .of(&[P0455, P0457])
    .reported_as(0x39, 0x80, 0xFE);
/// Diameter of the hole.
static HOLE: Test = Test::new("size of the hole", "mm")
    .at_most(Params::DEFAULT.hole_limit.millimetres())
    .of(&[P0442])
    .reported_scaled(0x3B, 0x81, 0x32, 1.0 / 25.4);
/// The rise that this hole gives in 15 s from the target with 30 l of vapour.
static RISE: Test = Test::new("rise of pressure that the hole gives", "Pa").reported_as(0x3B, 0x82, 0xFE);
/// By how much purging moved the pressure of the sealed tank. Where only air or mixture showed that the valve flows, the
/// pressure says nothing, and what stands here stays.
static FLOW: Test = Test::new("change of the tank pressure by purging", "Pa")
    .at_least(Params::DEFAULT.purge_moves.pascals())
    .of(&[P0441])
    .reported_as(0x3D, 0x83, 0xFE);
const AT_THAT_MOMENT: &str = "tank pressure at that moment";
static ZERO: Test = Test::new(AT_THAT_MOMENT, "Pa")
    .at_least(-Params::DEFAULT.offset.pascals())
    .at_most(Params::DEFAULT.offset.pascals())
    .of(&[P0451]);
static VENTED: Test = Test::new(AT_THAT_MOMENT, "Pa")
    .at_least(-Params::DEFAULT.vented.pascals())
    .at_most(Params::DEFAULT.vented.pascals())
    .of(&[P0446]);
static SEALED: Test = Test::new(AT_THAT_MOMENT, "Pa")
    .at_least(Params::DEFAULT.purge_leak.pascals())
    .of(&[P0496]);

/// What the monitor measures.
pub(super) static TESTS: &[&Test] = &[&GROSS, &HOLE, &RISE, &FLOW, &ZERO, &VENTED, &SEALED];

/// Mean of samples.
#[derive(Clone, Copy, Debug, Default)]
struct Mean {
    sum: f64,
    count: f64,
}

impl Mean {
    fn add(&mut self, value: f64) {
        self.sum += value;
        self.count += 1.0;
    }

    fn value(self) -> f64 {
        if self.count > 0.0 {
            self.sum / self.count
        } else {
            0.0
        }
    }
}

fn level_is_lost(signals: &Signals) -> bool {
    signals.circuits.out_of_range().contains(Circuit::FuelLevelSensor)
}

/// What one run of the test has gathered so far.
#[derive(Clone, Copy, Debug, Default)]
struct Run {
    offset: Mean,
    first: Mean,
    last: Mean,
    correction_before: Mean,
    correction_after: Mean,
    behind_before: Mean,
    behind_after: Mean,
    figures: Figures,
    pulled_to: f64,
}

/// The monitor.
#[derive(Clone, Debug)]
pub struct EvapLeak {
    stage: Stage,
    /// Steps in this stage.
    ticks: u32,
    run: Run,
    /// Steps for which the conditions have been broken.
    breach: u32,
    gate: Gate,
    cold_start: bool,
    blocked: bool,
    hot_fuel_pause: u32,
    noise: f64,
    before: [f64; 2],
    levels: [f64; LEVELS],
    level_place: usize,
    level_count: usize,
    key_on_pressure: f64,
    level_at_key_off: Option<Ratio>,
    refuelled: bool,
    figures: Option<Figures>,
    always: Always,
    /// Why the purge valve is looked at, and whether that is over in this driving cycle.
    cause: Cause,
    purge_over: bool,
    /// The leak test has passed: only the purge valve is left to look at.
    leak_over: bool,
    /// Tank pressure as the sensor shows it.
    pressure_now: f64,
    /// Of the sizes found in several driving cycles.
    mean: LongMean,
}

impl Default for EvapLeak {
    fn default() -> Self {
        Self {
            stage: Stage::Waiting,
            ticks: 0,
            run: Run::default(),
            breach: 0,
            gate: Gate::default(),
            cold_start: false,
            blocked: false,
            hot_fuel_pause: 0,
            noise: 0.0,
            before: [0.0; 2],
            levels: [0.0; LEVELS],
            level_place: 0,
            level_count: 0,
            key_on_pressure: 0.0,
            level_at_key_off: None,
            refuelled: false,
            figures: None,
            always: Always::default(),
            cause: Cause::default(),
            purge_over: false,
            leak_over: false,
            pressure_now: 0.0,
            mean: LongMean::default(),
        }
    }
}

impl EvapLeak {
    /// What several driving cycles say, to be kept without power.
    pub(super) const fn mean(&self) -> LongMean {
        self.mean
    }

    /// Puts it back.
    pub(super) const fn take_over(&mut self, mean: LongMean) {
        self.mean = mean;
    }

    /// Limits in use.
    pub const PARAMS: Params = Params::DEFAULT;

    /// Where the test stands.
    #[must_use]
    pub const fn stage(&self) -> Stage {
        self.stage
    }

    /// Figures of the last test that came to a result, since the last clear.
    #[must_use]
    pub const fn figures(&self) -> Option<Figures> {
        self.figures
    }

    /// Whether fuel was taken on and no test has passed since.
    #[must_use]
    pub const fn refuelled(&self) -> bool {
        self.refuelled
    }

    const fn enter(&mut self, stage: Stage) {
        self.stage = stage;
        self.ticks = 0;
        self.breach = 0;
        self.run.first = Mean { sum: 0.0, count: 0.0 };
        self.run.last = Mean { sum: 0.0, count: 0.0 };
        match stage {
            // What is waited for is told in the next step.
            Stage::Waiting => {}
            Stage::Done => self.gate.finish(),
            Stage::Recover => {}
            stage => self.gate.run(stage.name()),
        }
    }

    fn tell_possible(&self, possible: bool, report: &mut dyn FnMut(TestResult)) {
        if self.stage != Stage::Done {
            for monitor in [EVAP_LEAK, TANK_PRESSURE] {
                report(TestResult::Possible(monitor, possible));
            }
        }
    }

    fn zero(&mut self, pressure: f64, report: &mut dyn FnMut(TestResult)) {
        let params = &Self::PARAMS;
        if self.ticks > params.zero - 2 * PER_SECOND {
            self.run.offset.add(pressure);
        }
        if self.ticks < params.zero {
            return;
        }
        let offset = self.run.offset.value();
        let limit = params.offset.pascals();
        if offset < -limit && self.key_on_pressure.abs() <= limit {
            // The sensor was right at key-on: a vacuum that purging has left behind, which the vent does not let out.
            self.fail(P0446, EVAP_LEAK, report);
        } else if offset.abs() > limit {
            self.fail(P0451, TANK_PRESSURE, report);
        } else {
            self.ground(&ZERO, report);
            report(TestResult::Passed(P0451));
            report(TestResult::Completed(TANK_PRESSURE));
            self.enter(Stage::Vapour);
        }
    }

    fn vapour(&mut self, pressure: f64, report: &mut dyn FnMut(TestResult)) {
        let params = &Self::PARAMS;
        let window = 15;
        if self.ticks <= window {
            self.run.first.add(pressure);
        } else if self.ticks > params.vapour - window {
            self.run.last.add(pressure);
        }
        if pressure < params.purge_leak.pascals() {
            self.fail(P0496, EVAP_LEAK, report);
        } else if self.ticks >= params.vapour {
            let span = f64::from(params.vapour - window) / f64::from(PER_SECOND);
            let slope = (self.run.last.value() - self.run.first.value()) / span;
            self.run.figures.vapour_per_second = Pressure::from_pascals(slope);
            if slope > params.vapour_limit.pascals() {
                self.hot_fuel_pause = params.hot_fuel_pause;
                self.enter(Stage::Recover);
                self.gate.abort(HOT_FUEL.with(slope));
            } else {
                self.enter(Stage::Vent);
            }
        }
    }

    fn vent(&mut self, pressure: f64, report: &mut dyn FnMut(TestResult)) {
        let params = &Self::PARAMS;
        if self.ticks > params.vent - 5 {
            self.run.last.add(pressure);
        }
        if self.ticks >= params.vent {
            if self.run.last.value().abs() > params.vented.pascals() {
                self.fail(P0446, EVAP_LEAK, report);
            } else {
                self.enter(Stage::Pull);
            }
        }
    }

    fn pull(&mut self, pressure: f64, signals: &Signals) {
        let params = &Self::PARAMS;
        // Steps that are left of it.
        let left = params.longest_pull(signals.barometer) - f64::from(self.ticks);
        let figures = &mut self.run.figures;
        figures.lowest = if self.ticks == 1 {
            Pressure::from_pascals(pressure)
        } else {
            figures.lowest.min(Pressure::from_pascals(pressure))
        };
        figures.pull = Duration::from_millis(100) * self.ticks;
        if pressure <= params.target.pascals() {
            self.enter(Stage::Settle);
            return;
        }
        // The end of the pull is what the flow check is compared with.
        if left < f64::from(PER_SECOND) {
            self.run.last.add(pressure);
        }
        if left < f64::from(8 * PER_SECOND) {
            self.run.correction_before.add(signals.fuel_correction.fraction());
            self.run
                .behind_before
                .add(signals.air_behind_meter.grams_per_second());
        }
        if left <= 0.0 {
            self.run.pulled_to = self.run.last.value();
            self.enter(Stage::FlowCheck);
        }
    }

    fn flow_check(
        &mut self,
        pressure: f64,
        signals: &Signals,
        inhibits: Inhibits,
        report: &mut dyn FnMut(TestResult),
    ) {
        let params = &Self::PARAMS;
        if self.ticks > PER_SECOND {
            self.run.correction_after.add(signals.fuel_correction.fraction());
            self.run
                .behind_after
                .add(signals.air_behind_meter.grams_per_second());
        }
        if self.ticks > params.flow_check - PER_SECOND {
            self.run.last.add(pressure);
        }
        // A small tank with a small hole would soon leave the sensor's range: enough is seen.
        let plain = (pressure - self.run.pulled_to).abs() >= params.flow_plain.pascals();
        if plain {
            self.run.last = Mean {
                sum: pressure,
                count: 1.0,
            };
        } else if self.ticks < params.flow_check {
            return;
        }
        let run = &self.run;
        let moved = Pressure::from_pascals((run.last.value() - run.pulled_to).abs());
        let pressure_moved = moved >= params.flow_pressure;
        let mixture_moved = (run.correction_after.value() - run.correction_before.value()).abs()
            >= params.flow_correction.fraction();
        let air_moved =
            run.behind_after.value() - run.behind_before.value() >= params.flow_air.grams_per_second();
        if pressure_moved || mixture_moved || air_moved {
            self.figures = Some(run.figures);
            GROSS
                .found(run.figures.lowest.pascals())
                .with_verdict(false)
                .report(report);
            self.fail(self.gross_leak_name(inhibits), EVAP_LEAK, report);
        } else {
            FLOW.found(moved.pascals()).report(report);
            self.fail(P0441, EVAP_LEAK, report);
        }
    }

    const fn gross_leak_name(&self, inhibits: Inhibits) -> Dtc {
        match inhibits.gross_leak_held {
            Some(name) => name,
            None if self.refuelled => P0457,
            None => P0455,
        }
    }

    fn decay(&mut self, pressure: f64, signals: &Signals, report: &mut dyn FnMut(TestResult)) {
        let params = &Self::PARAMS;
        if self.ticks <= PER_SECOND {
            self.run.first.add(pressure);
        } else if self.ticks > params.decay - PER_SECOND {
            self.run.last.add(pressure);
        }
        if self.ticks < params.decay {
            return;
        }
        let seconds = f64::from(params.decay - PER_SECOND) / f64::from(PER_SECOND);
        let (first, last) = (self.run.first.value(), self.run.last.value());
        let vapour = self.run.figures.vapour_per_second.pascals().max(0.0);
        let hole = params.hole(
            signals.level,
            signals.barometer,
            first,
            last - seconds * vapour,
            seconds,
        );
        self.run.figures.rise_per_second = Pressure::from_pascals((last - first) / seconds);
        self.run.figures.hole = Some(hole);
        self.figures = Some(self.run.figures);

        let judged = self.mean.take(signals.averaging.leak, hole.millimetres());
        let hole = Length::from_millimetres(judged);
        let small_leak = hole >= params.hole_limit;
        let lowest = self.run.figures.lowest;
        GROSS.found(lowest.pascals()).report(report);
        self.ground(&SEALED, report);
        HOLE.found(hole.millimetres())
            .with_verdict(!small_leak)
            .report(report);
        RISE.found(params.rise(hole).pascals())
            .within(None, Some(params.rise(params.hole_limit).pascals()))
            .with_verdict(!small_leak)
            .report(report);
        // A target reached in time proves the purge valve and the absence of a gross leak.
        for dtc in [P0496, P0441, P0455, P0457] {
            report(TestResult::Passed(dtc));
        }
        report(TestResult::verdict(P0442, !small_leak));
        report(TestResult::CouldDetect(EVAP_LEAK));
        self.refuelled &= small_leak;
        self.enter(Stage::Release);
    }

    fn release(&mut self, pressure: f64, report: &mut dyn FnMut(TestResult)) {
        let params = &Self::PARAMS;
        if self.ticks > params.release - 5 {
            self.run.last.add(pressure);
        }
        if self.ticks >= params.release {
            if self.run.last.value().abs() > params.released.pascals() {
                self.fail(P0446, EVAP_LEAK, report);
            } else {
                self.ground(&VENTED, report);
                report(TestResult::Passed(P0446));
                report(TestResult::Completed(EVAP_LEAK));
                self.leak_over = true;
                self.look_at_purge(Cause::Passed);
            }
        }
    }

    /// What stands at the sensor now, as the ground of what is said next.
    fn ground(&self, test: &'static Test, report: &mut dyn FnMut(TestResult)) {
        test.found(self.pressure_now).report(report);
    }

    /// A result that ends the test.
    fn fail(&mut self, dtc: Dtc, monitor: super::MonitorId, report: &mut dyn FnMut(TestResult)) {
        for test in [&ZERO, &VENTED, &SEALED] {
            if test.codes.contains(&dtc) {
                test.found(self.pressure_now).with_verdict(false).report(report);
            }
        }
        report(TestResult::Failed(dtc));
        if monitor == EVAP_LEAK {
            report(TestResult::CouldDetect(monitor));
        }
        report(TestResult::Completed(monitor));
        self.enter(Stage::Done);
    }
}

impl Monitor for EvapLeak {
    gated!(&RULES);

    fn reset(&mut self) {
        self.figures = None;
    }

    /// What the test asks of the valves now.
    fn requests(&self) -> Requests {
        let (purge, shut_vent) = match self.stage {
            Stage::Waiting if self.always.runs() => (Some(Ratio::ZERO), self.always.shuts_vent()),
            Stage::Waiting | Stage::Done => (None, false),
            Stage::Zero | Stage::Vent | Stage::Release | Stage::Recover | Stage::PurgeVent => {
                (Some(Ratio::ZERO), false)
            }
            Stage::Vapour | Stage::Settle | Stage::Decay | Stage::PurgeShut => (Some(Ratio::ZERO), true),
            Stage::Pull => (Some(Self::PARAMS.pull_duty), true),
            Stage::FlowCheck | Stage::PurgeOpen => (Some(Self::PARAMS.flow_duty), true),
        };
        Requests {
            purge,
            shut_vent,
            ..Requests::default()
        }
    }

    fn key_on(&mut self, signals: &Signals) {
        self.key_on_pressure = signals.tank_pressure.pascals();
    }

    /// The level is kept until the next start, whatever the key does in between; a failed circuit tells none.
    fn key_off(&mut self, signals: &Signals) {
        if !level_is_lost(signals) {
            self.level_at_key_off.get_or_insert(signals.level);
        }
    }

    fn engine_started(&mut self, signals: &Signals, soak: Duration, report: &mut dyn FnMut(TestResult)) {
        let params = &Self::PARAMS;
        let apart = (signals.coolant - signals.intake_air).abs();
        let window = params.start_minimum..=params.start_maximum;
        self.cold_start = (soak >= params.soak || apart < params.start_apart)
            && window.contains(&signals.coolant)
            && window.contains(&signals.intake_air);
        if let Some(level) = self.level_at_key_off.take()
            && !level_is_lost(signals)
        {
            self.refuelled |= signals.level_now - level >= params.refuelled;
        }
        self.stage = Stage::Waiting;
        self.gate.begin_cycle();
        self.ticks = 0;
        self.breach = 0;
        self.blocked = false;
        self.hot_fuel_pause = 0;
        self.always = Always::default();
        self.purge_over = false;
        self.leak_over = false;
        self.noise = 0.0;
        self.level_count = 0;
        self.before = [signals.tank_pressure.pascals(); 2];
        self.tell_possible(self.cold_start, report);
        if !self.cold_start {
            self.gate.wait_for(COLD_START.with(0.0));
        }
    }

    fn engine_stopped(&mut self) {
        self.stage = Stage::Waiting;
        self.gate.stop();
    }

    /// Service $04: results, filters and the refuelling flag are gone.
    fn clear(&mut self) {
        self.refuelled = false;
        self.figures = None;
        self.mean.clear();
    }

    /// One step of 100 ms while the engine runs.
    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        self.pressure_now = signals.tank_pressure.pascals();
        self.watch_signals(signals);
        self.watch_vent(self.requests().shut_vent || self.blocked, report);
        if self.stage == Stage::Done {
            return;
        }
        if inhibits.blocks(EVAP_LEAK) && !self.blocked {
            self.blocked = true;
            self.tell_possible(false, report);
        }
        self.hot_fuel_pause = self.hot_fuel_pause.saturating_sub(1);
        if self.stage == Stage::Waiting {
            if self.cold_start {
                let fits = !self.blocked && Self::tank_fits(signals);
                self.check_purge_leak(signals, fits, report);
                if self.stage == Stage::Done {
                    return;
                }
            }
            match self.missing(signals) {
                missing if self.may_look_at_purge(missing, signals, inhibits) => {
                    self.run = Run::default();
                    self.look_at_purge(if self.leak_over {
                        Cause::Passed
                    } else {
                        Cause::Alone
                    });
                }
                None => {
                    self.run = Run::default();
                    self.enter(Stage::Zero);
                }
                Some(_) if self.blocked => self.gate.disable(),
                Some(missing) => self.gate.wait_for(missing),
            }
            return;
        }
        if self.stage != Stage::Recover
            && let Some(missing) = self.must_abort(signals)
        {
            self.enter(Stage::Recover);
            self.gate.abort(missing);
            return;
        }
        if self.lacks_flow(signals) {
            return;
        }
        self.ticks += 1;
        let absolute = signals.tank_pressure.pascals();
        let pressure = absolute - self.run.offset.value();
        match self.stage {
            Stage::Zero => self.zero(absolute, report),
            Stage::Vapour => self.vapour(pressure, report),
            Stage::Vent => self.vent(pressure, report),
            Stage::Pull => self.pull(pressure, signals),
            Stage::FlowCheck => self.flow_check(pressure, signals, inhibits, report),
            Stage::Settle => {
                if self.ticks >= PER_SECOND {
                    self.enter(Stage::Decay);
                }
            }
            Stage::Decay => self.decay(pressure, signals, report),
            Stage::Release => self.release(pressure, report),
            Stage::PurgeVent => {
                if self.ticks >= purge::VENTED {
                    self.enter(Stage::PurgeShut);
                }
            }
            Stage::PurgeShut => self.purge_shut(absolute, signals),
            Stage::PurgeOpen => self.purge_open(absolute, signals, report),
            Stage::Recover => {
                if self.ticks >= Self::PARAMS.recover {
                    self.enter(Stage::Waiting);
                }
            }
            Stage::Waiting | Stage::Done => {}
        }
    }
}
