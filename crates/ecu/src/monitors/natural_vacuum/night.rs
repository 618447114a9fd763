//! One night: the tank breathes with the heat that the drive has left, is shut, and shows by that whether it is tight.
//!
//! ```text
//! vented --> shut, watching for a rise --> vented --> shut, watching for a vacuum
//!              | +370 Pa                                | -250 Pa
//!              +--> tight                               +--> tight        45 min over --> an index from the peaks
//! ```
//! Limits and times after published service information for 2005, 2006 and 2010 model years, chosen for this tank.

/// Limits and times of a night, s and Pa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Params {
    /// The vent is open this long before the tank is shut.
    pub vented: u32,
    /// The end of it is the sensor's zero.
    pub zero: u32,
    /// A tank that rises so far is tight.
    pub rise: f64,
    /// So long without a new peak, and there will be none.
    pub stalled: u32,
    /// A tank that falls so far is tight.
    pub fall: f64,
    /// The longest night.
    pub longest: u32,
    /// A rise within a minute that no warmth explains: fuel that moves, or boils.
    pub surge: f64,
    /// What the level may move, %: else somebody fills the tank.
    pub level: f64,
}

impl Params {
    /// This car's.
    pub(crate) const DEFAULT: Self = Self {
        vented: 60,
        zero: 20,
        rise: 370.0,
        stalled: 120,
        fall: -250.0,
        longest: 45 * 60,
        surge: 1500.0,
        level: 4.0,
    };
}

/// Smoothing of the pressure, s.
const SMOOTH_SECONDS: f64 = 5.0;
/// What counts as a new peak, Pa: less is noise.
const PEAK: f64 = 2.0;

/// What the night does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// Vent open, before the rise.
    First,
    /// Shut: for a rise.
    Rise,
    /// Vent open, before the vacuum.
    Second,
    /// Shut: for a vacuum.
    Fall,
}

impl Phase {
    /// In words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::First | Self::Second => "vented",
            Self::Rise => "sealed, watching for a rise of pressure",
            Self::Fall => "sealed, watching for a vacuum",
        }
    }

    const fn is_shut(self) -> bool {
        matches!(self, Self::Rise | Self::Fall)
    }
}

/// How a night ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum End {
    /// 0 of a tank that reached one of the limits, 1 of one that did not breathe.
    Index(f64),
    /// Without a result: the pressure jumped, or somebody filled the tank.
    Disturbed,
}

/// A night under way.
#[derive(Clone, Copy, Debug)]
pub struct Night {
    phase: Phase,
    /// Seconds in the phase, and in all.
    in_phase: u32,
    total: u32,
    zero: f64,
    smooth: f64,
    high: f64,
    low: f64,
    /// Seconds since the last peak.
    since_peak: u32,
    /// Of the minute that began last.
    minute_from: f64,
    level: f64,
}

impl Night {
    /// It begins, with this much in the tank, %.
    pub(crate) const fn new(level: f64) -> Self {
        Self {
            phase: Phase::First,
            in_phase: 0,
            total: 0,
            zero: 0.0,
            smooth: 0.0,
            high: 0.0,
            low: 0.0,
            since_peak: 0,
            minute_from: 0.0,
            level,
        }
    }

    /// What it does.
    #[must_use]
    pub const fn phase(&self) -> Phase {
        self.phase
    }

    /// Whether the vent is to be shut.
    pub(crate) const fn shuts_vent(&self) -> bool {
        self.phase.is_shut()
    }

    /// Highest and lowest pressure so far, Pa.
    #[must_use]
    pub const fn peaks(&self) -> (f64, f64) {
        (self.high, self.low)
    }

    /// A second more, with this pressure, Pa gauge, and this level, %.
    pub(crate) fn second(&mut self, params: &Params, pressure: f64, level: f64) -> Option<End> {
        self.in_phase += 1;
        self.total += 1;
        if (level - self.level).abs() > params.level {
            return Some(End::Disturbed);
        }
        if self.phase.is_shut() {
            if let Some(end) = self.watch(params, pressure - self.zero) {
                return Some(end);
            }
        } else {
            self.vented(params, pressure);
        }
        (self.total >= params.longest).then(|| {
            let breath = (self.high / params.rise).max(self.low / params.fall);
            End::Index(1.0 - breath.clamp(0.0, 1.0))
        })
    }

    fn vented(&mut self, params: &Params, pressure: f64) {
        if self.in_phase > params.vented - params.zero {
            self.zero += pressure / f64::from(params.zero);
        }
        if self.in_phase >= params.vented {
            self.enter(if self.phase == Phase::First {
                Phase::Rise
            } else {
                Phase::Fall
            });
        }
    }

    fn watch(&mut self, params: &Params, pressure: f64) -> Option<End> {
        self.smooth += (pressure - self.smooth) / SMOOTH_SECONDS;
        if self.in_phase % 60 == 1 {
            self.minute_from = self.smooth;
        } else if self.smooth - self.minute_from > params.surge {
            return Some(End::Disturbed);
        }
        self.since_peak += 1;
        if self.smooth > self.high + PEAK {
            self.since_peak = 0;
            self.high = self.smooth;
        }
        self.low = self.low.min(self.smooth);
        if self.high > params.rise || self.low < params.fall {
            return Some(End::Index(0.0));
        }
        if self.phase == Phase::Rise && self.since_peak >= params.stalled {
            self.enter(Phase::Second);
        }
        None
    }

    const fn enter(&mut self, phase: Phase) {
        self.phase = phase;
        self.in_phase = 0;
        self.smooth = 0.0;
        self.since_peak = 0;
        self.minute_from = 0.0;
        if !phase.is_shut() {
            self.zero = 0.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tank that gains and loses at these rates, Pa/s, through a hole whose damping is given, /s at a pascal's root;
    /// the sensor is off by 60 Pa and noisy.
    fn night(rates: [(f64, u32); 2], hole_millimetres: f64) -> End {
        let params = &Params::DEFAULT;
        let mut night = Night::new(50.0);
        let mut pressure = 0.0_f64;
        // 30 L, an orifice: as in the tank's own model.
        let opening = 0.62 * core::f64::consts::FRAC_PI_4 * hole_millimetres * hole_millimetres * 1e-6;
        let damping = 101_325.0 / 0.03 * opening * libm::sqrt(2.0 / 1.19);
        let mut second = 0;
        loop {
            let rate = if second < rates[0].1 {
                rates[0].0
            } else {
                rates[1].0
            };
            pressure = if night.shuts_vent() {
                (pressure + rate) / (1.0 + damping / libm::sqrt(pressure.abs().max(1.0)))
            } else {
                0.0
            };
            let noise = if second % 2 == 0 { 5.0 } else { -5.0 };
            second += 1;
            if let Some(end) = night.second(params, pressure + 60.0 + noise, 50.0) {
                return end;
            }
            assert!(second <= params.longest);
        }
    }

    const GENTLE: [(f64, u32); 2] = [(0.5, 600), (-0.4, 0)];
    const WARM: [(f64, u32); 2] = [(1.5, 400), (-1.0, 0)];

    /// Computed on a prototype, 30 L: on a gentle day the index is 0 for a tight tank, 0.72 with 0.15 mm, 0.96 with
    /// 0.25 mm, 1 with 0.5 mm; after a drive that warmed the fuel a legal 0.15 mm passes.
    #[test]
    fn the_index_tells_a_tight_tank_from_a_small_hole() {
        for (rates, millimetres, index) in [
            (GENTLE, 0.0, 0.0),
            (GENTLE, 0.15, 0.72),
            (GENTLE, 0.25, 0.96),
            (GENTLE, 0.5, 1.0),
            (WARM, 0.0, 0.0),
            (WARM, 0.15, 0.0),
            (WARM, 0.5, 0.98),
        ] {
            let End::Index(found) = night(rates, millimetres) else {
                panic!("{millimetres} mm: disturbed");
            };
            assert!(
                (found - index).abs() < 0.06,
                "{millimetres} mm: {found} instead of {index}"
            );
        }
    }

    #[test]
    fn a_tank_that_is_filled_or_boils_gives_no_result() {
        let params = &Params::DEFAULT;
        let mut filled = Night::new(50.0);
        assert_eq!(filled.second(params, 0.0, 55.0), Some(End::Disturbed));
        let tall = Params { rise: 1e6, ..*params };
        let mut boiling = Night::new(50.0);
        let mut pressure = 0.0;
        let end = loop {
            if boiling.shuts_vent() {
                pressure += 60.0;
            }
            if let Some(end) = boiling.second(&tall, pressure, 50.0) {
                break end;
            }
        };
        assert_eq!(end, End::Disturbed);
    }
}
