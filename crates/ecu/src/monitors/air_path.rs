//! Rationality of air meter, manifold pressure sensor and throttle position: three views of the same air
//! ([`AirEstimates`]), of which two outvote the third.
//!
//! With `e1 = meter / density - 1`, `e2 = throttle / density - 1`, `e3 = meter / throttle - 1`, each over ten seconds
//! of steady, warm running:
//!
//! | apart (18 %) | together (10 %) | verdict |
//! |---|---|---|
//! | e1, e3 | e2 | air meter |
//! | e1, e2 | e3 | manifold pressure sensor |
//! | e2, e3 | e1 | throttle position |
//!
//! Air that leaks in behind the meter moves e1 and e2 as a pressure sensor that reads high would: then closed loop adds
//! fuel, which it does not for a sensor. Exhaust in the manifold at idle looks the same with trims at rest: the verdict
//! on a high pressure is left to what the sensor shows with the engine off, and to speeds above idle.
//! What moves too fast for that, or would stall the engine first, has rules of its own ([`params`]).
//!
//! Model against meter or pressure, steady and by region, is how makers publish these monitors (service information of
//! the model years 2005 to 2009); figures calibrated on this car, whose healthy views stay within 5 %.
//! A sensor found implausible is not used any more until the key is next turned on.

use core::time::Duration;

use twotrip_harness::Circuit;
use twotrip_units::Limit;

use super::{
    AIR_METER_RATIONALITY, Inhibits, MANIFOLD_PRESSURE_RATIONALITY, P0068, P0101, P0106, P0121, Signals,
    THROTTLE_PLAUSIBILITY, THROTTLE_RATIONALITY, TestResult,
    frame::{COOLANT, Condition, ENGINE_SPEED, Gate, Monitor, NO_FUEL_CUT, Rules, STEADY_TIME, Test, gated},
};
use crate::{
    circuits::CircuitSet,
    control::{AirEstimates, Requests},
    memory::MonitorId,
};

pub mod params;
#[cfg(test)]
mod tests;

use params::PARAMS;

/// Length of a step, s.
const STEP_SECONDS: f64 = 0.1;

/// When the pattern is looked at; the quick rules look all the time.
static CONDITIONS: [Condition; 4] = [
    COOLANT.at_least(60.0),
    ENGINE_SPEED.between(550.0, 5000.0),
    NO_FUEL_CUT,
    STEADY_TIME.at_least(3.0),
];
static RULES: Rules = Rules::continuous(
    &[
        AIR_METER_RATIONALITY,
        MANIFOLD_PRESSURE_RATIONALITY,
        THROTTLE_RATIONALITY,
        THROTTLE_PLAUSIBILITY,
    ],
    &CONDITIONS,
);

/// What the verdicts rest on: a view against the mean of the other two, and the quick rules.
static METER: Test = Test::new("air meter against pressure and throttle", "%").of(&[P0101]);
static PRESSURE: Test = Test::new("air by manifold pressure against meter and throttle", "%").of(&[P0106]);
static PRESSURE_OFF: Test = Test::new("manifold pressure against its model", "kPa").of(&[P0106]);
static STANDING: Test = Test::new(
    "manifold pressure against the barometer with the engine off",
    "kPa",
)
.of(&[P0106]);
static PLATE: Test = Test::new("air by throttle against meter and pressure", "%").of(&[P0121]);
static LARGE: Test = Test::new("air meter against throttle at large opening", "%").of(&[P0068]);

/// All of them.
pub(super) const TESTS: &[&Test] = &[&METER, &PRESSURE, &PRESSURE_OFF, &STANDING, &PLATE, &LARGE];

/// A time that a rule has held, s.
#[derive(Clone, Copy, Debug, Default)]
struct Held(f64);

impl Held {
    /// Whether it holds now and has for `seconds`.
    fn for_seconds(&mut self, holds: bool, seconds: f64) -> bool {
        self.0 = if holds { self.0 + STEP_SECONDS } else { 0.0 };
        holds && self.0 > seconds - 0.5 * STEP_SECONDS
    }
}

/// What is said of a sensor in this driving cycle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Verdict {
    #[default]
    Open,
    Passed,
    Failed,
}

impl Verdict {
    /// Says it once.
    fn say(
        &mut self,
        verdict: Self,
        monitor: MonitorId,
        test: &'static Test,
        value: f64,
        report: &mut dyn FnMut(TestResult),
    ) {
        if *self == verdict || *self == Self::Failed {
            return;
        }
        *self = verdict;
        test.found(value)
            .with_verdict(verdict == Self::Passed)
            .judge(report);
        report(TestResult::CouldDetect(monitor));
        report(TestResult::Completed(monitor));
    }
}

/// The monitors of the three sensors.
#[derive(Clone, Debug, Default)]
pub struct AirPath {
    gate: Gate,
    /// Errors e1, e2, e3, at idle and above: a leak shows at idle and hardly on the road.
    errors: [[f64; 3]; 2],
    /// What closed loop added meanwhile, at idle and above; open loop counts as much.
    trims: [f64; 2],
    /// Steady seconds in this driving cycle, at idle and above.
    seen: [f64; 2],
    /// A quick rise of pressure was followed.
    rise_seen: bool,
    pressure_before: f64,
    /// How long the engine has stood, s, and what the pressure sensor showed against the barometer then, kPa.
    at_rest: f64,
    standing: Held,
    not_atmosphere: Option<f64>,
    lagging: Held,
    atmosphere: Held,
    pressure_far: Held,
    meter_far: Held,
    large: Held,
    meter: Verdict,
    pressure: Verdict,
    throttle: Verdict,
    limp: Verdict,
    distrusted: CircuitSet,
}

impl Monitor for AirPath {
    gated!(&RULES);

    /// The learned errors go; what was seen with the engine off stays, and what is not trusted.
    fn reset(&mut self) {
        *self = Self {
            gate: self.gate,
            at_rest: self.at_rest,
            not_atmosphere: self.not_atmosphere,
            distrusted: self.distrusted,
            ..Self::default()
        };
    }

    fn clear(&mut self) {
        *self = Self {
            gate: self.gate,
            at_rest: self.at_rest,
            ..Self::default()
        };
        self.gate.clear();
    }

    /// All are trusted again.
    fn key_on(&mut self, _signals: &Signals) {
        self.not_atmosphere = None;
        self.standing = Held::default();
        self.distrusted = CircuitSet::NONE;
        self.limp = Verdict::Open;
    }

    /// With the engine at rest the manifold holds what is outside.
    fn step_off(&mut self, signals: &Signals, _inhibits: Inhibits, _report: &mut dyn FnMut(TestResult)) {
        let judged = signals.engine_speed.rpm() < 20.0 && !out_of_range(signals);
        self.at_rest = if judged { self.at_rest + STEP_SECONDS } else { 0.0 };
        let off = (signals.air.pressure - signals.barometer).kilopascals();
        let settled = self.at_rest > PARAMS.fill_seconds;
        let (most, seconds) = PARAMS.standing;
        if self
            .standing
            .for_seconds(settled && off.abs() > most.kilopascals(), seconds)
        {
            self.not_atmosphere = Some(off);
            self.distrusted.insert(Circuit::ManifoldPressureSensor);
        }
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        self.at_rest = 0.0;
        let runs = self.gate.step(&RULES, signals, inhibits).runs();
        if out_of_range(signals) || signals.circuits.tracks_apart || inhibits.blocks(AIR_METER_RATIONALITY) {
            return;
        }
        // A circuit that leaves its range once the engine pulls a vacuum has a name of its own.
        if let Some(off) = self.not_atmosphere
            && signals.run_time.unwrap_or_default() > PARAMS.standing_said_after
        {
            self.fail_pressure(&STANDING, off, report);
        }
        self.step_fast(signals, report);
        if runs {
            self.step_steady(signals, report);
        }
        self.pass(&signals.air, report);
    }

    fn requests(&self) -> Requests {
        Requests {
            distrust: self.distrusted,
            limp_home: self.limp == Verdict::Failed,
            ..Requests::default()
        }
    }
}

impl AirPath {
    /// The errors e1, e2, e3 as they stand, at idle and above.
    #[must_use]
    pub const fn errors(&self) -> [[f64; 3]; 2] {
        self.errors
    }

    /// The rules that need no steady running.
    fn step_fast(&mut self, signals: &Signals, report: &mut dyn FnMut(TestResult)) {
        let air = &signals.air;
        let running = signals.run_time.unwrap_or_default() > Duration::from_secs(1);
        let shown = air.pressure.kilopascals();
        let [by_meter, by_throttle] =
            [air.pressure_by_meter, air.pressure_by_throttle].map(|pressure| pressure.kilopascals());
        let barometer = signals.barometer.kilopascals();
        let [metered, density, throttle] = flows(air);

        let (near, far, seconds) = PARAMS.atmosphere;
        let hose_off = shown > near * barometer && by_meter.max(by_throttle) < far * barometer;
        let turns = signals.engine_speed > PARAMS.running_above;
        let hose_off = self.atmosphere.for_seconds(hose_off && turns, seconds);
        let (below, seconds) = PARAMS.lagging;
        let lags = shown < by_meter.min(by_throttle) - below.kilopascals();
        let lags = self.lagging.for_seconds(running && lags, seconds);
        let (low, seconds) = PARAMS.pressure_far;
        let far = density < low * metered && (throttle - metered).abs() < 0.2 * metered && metered > 1.0;
        // While a manifold fills more comes in than goes on, and the pressure is what the models say.
        let far = far && shown < by_throttle - PARAMS.filling.kilopascals();
        let far = self.pressure_far.for_seconds(
            running && far && !air.fuel_cut && self.meter != Verdict::Failed,
            seconds,
        );
        if hose_off || lags || far {
            self.fail_pressure(&PRESSURE_OFF, shown - by_throttle, report);
        }

        // A leak lets throttle and density agree by chance, but not in the pressure that goes with it.
        let agree = (throttle - density).abs() < 0.2 * density
            && (shown - by_throttle).abs() < PARAMS.same_pressure.kilopascals()
            && density > 1.0;
        let (large, most, large_seconds) = PARAMS.large;
        let wide_open = air.plate > large;
        let judged = running && !air.fuel_cut;
        let full = wide_open && !signals.pedal_released && signals.engine_speed > PARAMS.large_above;
        let (low, high, seconds) = if full {
            (1.0 - most, 1.0 + most, large_seconds)
        } else {
            PARAMS.meter_far
        };
        let far = metered < low * density || metered > high * density;
        let tells = full || by_throttle < PARAMS.throttled * barometer;
        let may = judged && tells && self.pressure != Verdict::Failed;
        let may = may && agree && !is_leak(signals);
        if self.meter_far.for_seconds(may && far, seconds) {
            self.fail_meter(100.0 * (metered / density - 1.0), report);
        }

        let error = metered / throttle.at_least(0.1) - 1.0;
        let unfit = judged && full && !agree && self.meter != Verdict::Failed && error.abs() > most;
        if self.large.for_seconds(unfit, large_seconds) {
            self.limp.say(
                Verdict::Failed,
                THROTTLE_PLAUSIBILITY,
                &LARGE,
                100.0 * error,
                report,
            );
        }

        let rise = by_throttle - self.pressure_before;
        self.rise_seen |= rise > below.kilopascals() && running;
        self.pressure_before += rise * STEP_SECONDS;
    }

    /// The pattern of three errors.
    fn step_steady(&mut self, signals: &Signals, report: &mut dyn FnMut(TestResult)) {
        let air = &signals.air;
        let [metered, density, throttle] = flows(air).map(|flow| flow.at_least(0.1));
        let now = [
            metered / density - 1.0,
            throttle / density - 1.0,
            metered / throttle - 1.0,
        ];
        let off_idle = air.plate > PARAMS.off_idle;
        let place = usize::from(off_idle);
        let errors = &mut self.errors[place];
        let share = STEP_SECONDS / PARAMS.filter_seconds;
        for (error, now) in errors.iter_mut().zip(now) {
            *error += (now - *error) * share;
        }
        let trim = &mut self.trims[place];
        *trim += (air.trim.map_or(1.0, |trim| trim.fraction()) - *trim) * share;
        self.seen[place] += STEP_SECONDS;

        let [e1, e2, _] = *errors;
        let apart = errors.map(|error| error.abs() > PARAMS.apart);
        let together = errors.map(|error| error.abs() < PARAMS.together);
        let sealed = off_idle && *trim < PARAMS.trim_at_rest;
        if apart[0] && apart[2] && together[1] && !is_leak(signals) {
            self.fail_meter(100.0 * e1, report);
        } else if apart[0] && apart[1] && together[2] && (e1 > 0.0 || sealed) {
            self.fail_pressure(&PRESSURE, 100.0 * (1.0 / (1.0 + e1).at_least(0.05) - 1.0), report);
        } else if apart[1] && apart[2] && together[0] && off_idle && knows_the_plate(air) {
            self.throttle
                .say(Verdict::Failed, THROTTLE_RATIONALITY, &PLATE, 100.0 * e2, report);
        }
    }

    fn fail_meter(&mut self, value: f64, report: &mut dyn FnMut(TestResult)) {
        self.distrusted.insert(Circuit::AirMeter);
        self.meter
            .say(Verdict::Failed, AIR_METER_RATIONALITY, &METER, value, report);
    }

    fn fail_pressure(&mut self, test: &'static Test, value: f64, report: &mut dyn FnMut(TestResult)) {
        self.distrusted.insert(Circuit::ManifoldPressureSensor);
        self.pressure.say(
            Verdict::Failed,
            MANIFOLD_PRESSURE_RATIONALITY,
            test,
            value,
            report,
        );
    }

    /// A sensor passes once everything was seen that could have shown its fault.
    fn pass(&mut self, air: &AirEstimates, report: &mut dyn FnMut(TestResult)) {
        if self.seen.iter().any(|&seen| seen < PARAMS.pass_seconds) {
            return;
        }
        let [at_idle, [e1, e2, e3]] = self.errors;
        let quiet = [e1, e2, e3].map(|error| error.abs() < PARAMS.apart);
        let quiet_meter = quiet[0] || quiet[2];
        let quiet_meter = quiet_meter && at_idle[0].abs().at_most(at_idle[2].abs()) < PARAMS.apart;
        if quiet_meter {
            self.meter.say(
                Verdict::Passed,
                AIR_METER_RATIONALITY,
                &METER,
                50.0 * (e1 + e3),
                report,
            );
        }
        if (quiet[0] || quiet[1]) && self.rise_seen {
            let value = -50.0 * (e1 + e2);
            self.pressure.say(
                Verdict::Passed,
                MANIFOLD_PRESSURE_RATIONALITY,
                &PRESSURE,
                value,
                report,
            );
        }
        if (quiet[1] || quiet[2]) && knows_the_plate(air) {
            let value = 50.0 * (e2 - e3);
            self.throttle
                .say(Verdict::Passed, THROTTLE_RATIONALITY, &PLATE, value, report);
        }
        self.limp
            .say(Verdict::Passed, THROTTLE_PLAUSIBILITY, &LARGE, 100.0 * e3, report);
    }
}

/// Dirt at the plate is no fault of its sensor: judged once idling has shown it.
fn knows_the_plate(air: &AirEstimates) -> bool {
    air.learned_seconds > PARAMS.pass_seconds
}

/// A leak so large that the throttle's view, which knows none, sides with the pressure: at the pressure that is there
/// the plate passes what the meter shows.
fn is_leak(signals: &Signals) -> bool {
    let air = &signals.air;
    let through = air.throttle_at_pressure.grams_per_second();
    let ratio = air.pressure.kilopascals() / signals.barometer.kilopascals().at_least(40.0);
    ratio < 0.95 && (air.metered.grams_per_second() - through).abs() < PARAMS.same_flow * through
}

/// By meter, by pressure, by throttle, g/s.
fn flows(air: &AirEstimates) -> [f64; 3] {
    [air.metered, air.density, air.throttle].map(|flow| flow.grams_per_second())
}

/// A circuit that has failed gives no view: its own monitor names it.
fn out_of_range(signals: &Signals) -> bool {
    const VIEWS: CircuitSet = CircuitSet::of(&[
        Circuit::AirMeter,
        Circuit::ManifoldPressureSensor,
        Circuit::ThrottleSensorA,
        Circuit::ThrottleSensorB,
    ]);
    signals.circuits.out_of_range().meets(VIEWS)
}
