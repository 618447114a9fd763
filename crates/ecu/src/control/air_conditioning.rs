//! When the compressor of the air conditioning may load the engine: idle gets its air first, full throttle and a hot
//! engine go without (common practice, no source; figures calibrated).

use twotrip_units::{Ratio, Temperature};

use crate::control::measured::Measured;

/// The engine runs this long before it is loaded, s.
const AFTER_START_SECONDS: f64 = 3.0;
/// The clutch waits this long while the idle's air comes, s.
const AIR_FIRST_SECONDS: f64 = 0.4;
/// The idle stays up through the pauses of the evaporator's thermostat, s.
const IDLE_UP_SECONDS: f64 = 40.0;
/// Pedal beyond which all torque is the wheels', and below which it is over; no cut lasts longer than this, s.
const FULL_THROTTLE: [Ratio; 2] = [Ratio::from_fraction(0.75), Ratio::from_fraction(0.90)];
const LONGEST_CUT_SECONDS: f64 = 15.0;
/// Coolant beyond which the condenser must not warm the radiator's air, and below which it may again.
const HOT: [Temperature; 2] = [Temperature::from_celsius(110.0), Temperature::from_celsius(115.0)];

/// The compressor's control.
#[derive(Clone, Debug, Default)]
pub(crate) struct AirConditioning {
    asked_seconds: f64,
    idle_up_seconds: f64,
    cut: bool,
    cut_seconds: f64,
    hot: bool,
    engaged: bool,
}

impl AirConditioning {
    /// Whether the compressor's clutch is to be closed.
    pub(crate) const fn engaged(&self) -> bool {
        self.engaged
    }

    /// Whether the compressor loads the engine, or will in a moment.
    pub(crate) fn loads(&self) -> bool {
        self.engaged || self.asked_seconds > 0.0 && !self.cut && !self.hot
    }

    /// Whether the idle is to be faster for it.
    pub(crate) fn idle_up(&self) -> bool {
        self.idle_up_seconds > 0.0
    }

    /// Decides; every 100 ms. `run_seconds` since the engine's start, none while it does not run.
    pub(crate) fn step_slow(&mut self, measured: &Measured, run_seconds: Option<f64>, seconds: f64) {
        let asked = measured.air_conditioning && run_seconds.is_some_and(|run| run > AFTER_START_SECONDS);
        if !asked && !self.idle_up() {
            *self = Self::default();
            return;
        }
        self.asked_seconds = if asked { self.asked_seconds + seconds } else { 0.0 };
        self.idle_up_seconds = match (asked, run_seconds) {
            (true, _) => IDLE_UP_SECONDS,
            (false, Some(_)) => self.idle_up_seconds - seconds,
            (false, None) => 0.0,
        };
        if measured.pedal > FULL_THROTTLE[1] {
            self.cut |= self.cut_seconds <= 0.0;
        } else if measured.pedal < FULL_THROTTLE[0] {
            self.cut = false;
            self.cut_seconds = 0.0;
        }
        if self.cut {
            self.cut_seconds += seconds;
            self.cut = self.cut_seconds < LONGEST_CUT_SECONDS;
        }
        self.hot = measured.coolant > HOT[usize::from(!self.hot)];
        self.engaged = self.asked_seconds > AIR_FIRST_SECONDS && !self.cut && !self.hot;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(pedal: f64, celsius: f64) -> Measured {
        Measured {
            air_conditioning: true,
            pedal: Ratio::from_fraction(pedal),
            coolant: Temperature::from_celsius(celsius),
            ..Measured::default()
        }
    }

    /// For so many seconds; whether the clutch is closed at the end.
    fn after(control: &mut AirConditioning, measured: &Measured, seconds: u32) -> bool {
        for _ in 0..10 * seconds {
            control.step_slow(measured, Some(60.0), 0.1);
        }
        control.engaged()
    }

    #[test]
    fn full_throttle_and_a_hot_engine_open_the_clutch() {
        let mut control = AirConditioning::default();
        control.step_slow(&asked(0.0, 90.0), Some(60.0), 0.1);
        assert!(!control.engaged() && control.loads() && control.idle_up());
        assert!(after(&mut control, &asked(0.0, 90.0), 1));
        assert!(!after(&mut control, &asked(1.0, 90.0), 1), "full throttle");
        assert!(!after(&mut control, &asked(0.8, 90.0), 1), "not yet over");
        assert!(after(&mut control, &asked(0.5, 90.0), 1));
        assert!(
            after(&mut control, &asked(1.0, 90.0), 20),
            "no cut lasts for ever"
        );
        assert!(
            after(&mut control, &asked(1.0, 90.0), 20),
            "nor comes again at once"
        );
        assert!(after(&mut control, &asked(0.2, 90.0), 1));
        assert!(
            !after(&mut control, &asked(1.0, 90.0), 1),
            "but with the next full throttle"
        );
        assert!(!after(&mut control, &asked(0.2, 116.0), 1), "hot");
        assert!(!after(&mut control, &asked(0.2, 112.0), 1), "still hot");
        assert!(after(&mut control, &asked(0.2, 109.0), 1));
    }

    /// A pause of the evaporator's thermostat leaves the idle where it is; the end of the engine does not.
    #[test]
    fn the_idle_stays_up_through_pauses() {
        let mut control = AirConditioning::default();
        after(&mut control, &asked(0.0, 90.0), 1);
        let pause = Measured {
            air_conditioning: false,
            ..asked(0.0, 90.0)
        };
        assert!(!after(&mut control, &pause, 20) && control.idle_up());
        after(&mut control, &pause, 30);
        assert!(!control.idle_up());
        after(&mut control, &asked(0.0, 90.0), 1);
        control.step_slow(&pause, None, 0.1);
        assert!(!control.idle_up() && !control.engaged());
    }
}
