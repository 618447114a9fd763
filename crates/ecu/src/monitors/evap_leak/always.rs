//! What the leak test looks at outside its own run: purge leaking right after a cold start, before purging begins, and
//! a vent that gives no air while the engine purges.
//!
//! Published service information gives for the first -2 kPa for 10 s (2008 model year), for the second -10 inH2O for
//! 30 s (2001) and -1.5 kPa for 15 s (2002).

use super::{EvapLeak, Mean, P0446, P0496, PER_SECOND, SEALED, Stage};
use crate::monitors::{EVAP_LEAK, Signals, TestResult};

/// Steps of 100 ms between which the check may begin, after the start: purging begins at 90 s.
const FROM: u32 = 30 * PER_SECOND;
const UNTIL: u32 = 65 * PER_SECOND;
/// Zero of the sensor, then the tank is shut.
const ZERO: u32 = 2 * PER_SECOND;
const SHUT: u32 = 20 * PER_SECOND;
/// A leaking valve holds the pressure below its limit for so long.
const LOW: u32 = 5 * PER_SECOND;
/// Vacuum with the vent open that no purging makes in a tank that gets air, Pa, and for how long.
const CHOKED: f64 = -2500.0;
const CHOKED_FOR: u32 = 30 * PER_SECOND;

/// Where the check after a cold start stands.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Always {
    /// Steps of the check; 0 before it.
    ticks: u32,
    over: bool,
    zero: Mean,
    low: u32,
    /// Steps of deep vacuum with the vent open.
    choked: u32,
    /// The vent has been called blocked in this driving cycle.
    called: bool,
}

impl Always {
    /// Whether the vent is to be shut.
    pub(super) const fn shuts_vent(&self) -> bool {
        self.ticks > ZERO
    }

    /// Whether the valves are the check's.
    pub(super) const fn runs(&self) -> bool {
        self.ticks > 0
    }
}

impl EvapLeak {
    /// The check after a cold start; `fits` says whether level, barometer and sensors allow it.
    pub(super) fn check_purge_leak(
        &mut self,
        signals: &Signals,
        fits: bool,
        report: &mut dyn FnMut(TestResult),
    ) {
        if self.always.over {
            return;
        }
        let since_start = signals.run_time.unwrap_or_default().as_millis() / 100;
        let begins = (u128::from(FROM)..=u128::from(UNTIL)).contains(&since_start);
        if !fits || self.always.ticks == 0 && since_start > u128::from(UNTIL) {
            self.always.over = true;
            self.always.ticks = 0;
            return;
        }
        if self.always.ticks == 0 && !begins {
            return;
        }
        let check = &mut self.always;
        check.ticks += 1;
        if check.ticks <= ZERO {
            check.zero.add(self.pressure_now);
            return;
        }
        let zero = check.zero.value();
        let params = &Self::PARAMS;
        check.low = if self.pressure_now - zero < params.purge_leak.pascals() {
            check.low + 1
        } else {
            0
        };
        if zero.abs() > params.offset.pascals() {
            // The leak test finds out what is wrong with that.
            check.over = true;
        } else if check.low >= LOW {
            check.over = true;
            self.fail(P0496, EVAP_LEAK, report);
        } else if check.ticks >= ZERO + SHUT {
            check.over = true;
            self.ground(&SEALED, report);
            report(TestResult::Passed(P0496));
        }
        if self.always.over {
            self.always.ticks = 0;
        }
    }

    /// The vent while the engine purges.
    pub(super) fn watch_vent(&mut self, shut: bool, report: &mut dyn FnMut(TestResult)) {
        let choked = !shut && self.pressure_now < CHOKED;
        self.always.choked = if choked { self.always.choked + 1 } else { 0 };
        if self.always.choked < CHOKED_FOR || self.always.called {
            return;
        }
        self.always.called = true;
        if self.stage == Stage::Done {
            report(TestResult::Failed(P0446));
        } else {
            self.fail(P0446, EVAP_LEAK, report);
        }
    }
}
