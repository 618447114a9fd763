//! Closed loop on the narrow-band front sensor: jump and ramp, and the slow shift by the rear sensor
//! (figures calibrated).

use twotrip_units::{Limit, Ratio, Voltage};

use super::learned::held;

/// Where the front sensor's voltage turns, and the band that keeps noise from counting.
const SWITCH_VOLTS: f64 = 0.45;
const BAND_VOLTS: f64 = 0.02;
/// Jump at each crossing, and ramp after it.
const JUMP: f64 = 0.022;
const RAMP_PER_SECOND: f64 = 0.03;
/// Limit of the short-term trim.
const LIMIT: f64 = 0.25;
/// Time constant of the mean that long-term learning looks at, s.
const MEAN_SECONDS: f64 = 2.0;
/// A sensor that has been outside this band has woken (calibrated: 0.3 or 0.6 V crossed).
const AWAKE_BELOW_VOLTS: f64 = 0.3;
const AWAKE_ABOVE_VOLTS: f64 = 0.6;

/// Where the rear sensor ought to stand, V, and how fast the loop is shifted towards it.
const REAR_TARGET_VOLTS: f64 = 0.62;
const REAR_RATE_PER_SECOND_VOLT: f64 = 0.06;
/// The longest the jump waits after a crossing, s: shifts the mean mixture by about 1.5 %.
const LONGEST_WAIT_SECONDS: f64 = 0.30;

/// The loop.
#[derive(Clone, Debug, Default)]
pub(crate) struct LambdaControl {
    correction: f64,
    mean: f64,
    rich: bool,
    awake: bool,
    rear_awake: bool,
    closed: bool,
    /// -1 (leaner) .. +1 (richer).
    rear_shift: f64,
    wait_left: f64,
}

impl LambdaControl {
    /// Short-term trim.
    pub(crate) const fn correction(&self) -> f64 {
        self.correction
    }

    /// Its mean over the last seconds.
    pub(crate) const fn mean(&self) -> f64 {
        self.mean
    }

    /// PID $06.
    pub(crate) const fn short_term_trim(&self) -> Ratio {
        Ratio::from_fraction(self.correction)
    }

    /// Whether the loop is closed.
    pub(crate) const fn is_closed(&self) -> bool {
        self.closed
    }

    /// A new engine start: sensors cold, correction none.
    pub(crate) fn restart(&mut self) {
        *self = Self {
            rear_shift: self.rear_shift,
            ..Self::default()
        };
    }

    /// Short-term correction back to zero, as service $04 asks.
    pub(crate) const fn forget(&mut self) {
        self.correction = 0.0;
        self.mean = 0.0;
    }

    /// Learned shift of the loop by the rear sensor, -1 to +1.
    pub(crate) const fn rear_shift(&self) -> f64 {
        self.rear_shift
    }

    /// Puts back the learned shift.
    pub(crate) fn put_back(&mut self, rear_shift: f64) {
        self.rear_shift = held(rear_shift, 1.0);
    }

    /// One step: `wanted` says whether everything but the sensor allows the loop to close; `forced` is a correction that
    /// a monitor wants to see the effect of, in place of the loop's own.
    pub(crate) fn step(&mut self, front: Voltage, wanted: bool, forced: Option<f64>, seconds: f64) {
        let volts = front.volts();
        if !self.awake && !(AWAKE_BELOW_VOLTS..=AWAKE_ABOVE_VOLTS).contains(&volts) {
            self.awake = true;
        }
        let close = wanted && self.awake;
        if !close {
            self.closed = false;
            self.correction = 0.0;
            self.mean = 0.0;
            self.wait_left = 0.0;
            self.rich = volts > SWITCH_VOLTS;
            return;
        }
        self.closed = true;
        if let Some(forced) = forced {
            self.correction = forced.within(-LIMIT, LIMIT);
            self.rich = volts > SWITCH_VOLTS;
            self.wait_left = 0.0;
            return;
        }
        let crossed = if self.rich {
            volts < SWITCH_VOLTS - BAND_VOLTS
        } else {
            volts > SWITCH_VOLTS + BAND_VOLTS
        };
        if crossed {
            self.rich = !self.rich;
            let shift = if self.rich {
                self.rear_shift
            } else {
                -self.rear_shift
            };
            self.wait_left = shift.at_least(0.0) * LONGEST_WAIT_SECONDS;
            if self.wait_left <= 0.0 {
                self.correction += self.jump();
            }
        } else if self.wait_left > 0.0 {
            self.wait_left -= seconds;
            if self.wait_left <= 0.0 {
                self.correction += self.jump();
            }
        } else if self.rich {
            self.correction -= RAMP_PER_SECOND * seconds;
        } else {
            self.correction += RAMP_PER_SECOND * seconds;
        }
        self.correction = self.correction.within(-LIMIT, LIMIT);
        self.mean += (self.correction - self.mean) * (seconds / MEAN_SECONDS);
    }

    const fn jump(&self) -> f64 {
        if self.rich { -JUMP } else { JUMP }
    }

    /// Shifts the loop so that the rear sensor comes to rest near its target; every 100 ms.
    pub(crate) fn step_rear(&mut self, rear: Voltage, catalyst_warm: bool, seconds: f64) {
        let volts = rear.volts();
        self.rear_awake |= !(AWAKE_BELOW_VOLTS..=AWAKE_ABOVE_VOLTS).contains(&volts);
        if self.closed && self.rear_awake && catalyst_warm {
            let step = (REAR_TARGET_VOLTS - volts) * REAR_RATE_PER_SECOND_VOLT * seconds;
            self.rear_shift = (self.rear_shift + step).within(-1.0, 1.0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plant of delay, mixing and sensor lag: the loop must settle around stoichiometry and swing by what jump and ramp
    /// give over the delay (computed on a prototype of this car's model: about ±3 % and a period of 0.65-1.4 s).
    #[test]
    fn the_limit_cycle_has_the_computed_size_and_takes_up_an_error() {
        let mut control = LambdaControl::default();
        let mut past = [0.0; 32];
        let fuel_error = -0.06;
        let (mut mixed, mut volts) = (0.0, 0.45);
        let (mut low, mut high, mut crossings) = (0.0_f64, 0.0_f64, 0);
        let mut rich_before = false;
        for step in 0..6000_usize {
            let mixture = (1.0 + control.correction()) * (1.0 + fuel_error) - 1.0;
            let at_sensor = past[step % 32];
            past[step % 32] = mixture;
            mixed += (at_sensor - mixed) * 0.01 / 0.10;
            volts += (0.45 + 0.42 * libm::tanh(mixed / 0.006) - volts) * 0.01 / 0.05;
            control.step(Voltage::from_volts(volts), true, None, 0.01);
            if step > 3000 {
                low = low.min(mixture);
                high = high.max(mixture);
                crossings += usize::from((volts > 0.45) != rich_before);
            }
            rich_before = volts > 0.45;
        }
        assert!(
            (-0.045..-0.015).contains(&low) && (0.015..0.045).contains(&high),
            "{low}..{high}"
        );
        assert!((30..110).contains(&crossings), "{crossings} crossings in 30 s");
        assert!((control.mean() - 0.064).abs() < 0.02, "mean {}", control.mean());
    }

    #[test]
    fn a_sleeping_sensor_keeps_the_loop_open() {
        let mut control = LambdaControl::default();
        control.step(Voltage::from_volts(0.45), true, None, 0.01);
        assert!(!control.is_closed());
        control.step(Voltage::from_volts(0.2), true, None, 0.01);
        assert!(control.is_closed());
    }
}
