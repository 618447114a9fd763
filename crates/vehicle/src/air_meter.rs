//! The air-mass meter: what it shows of the air that passes it.
//!
//! Dirt on its element changes the reading by flow (rich at low flow and lean at high flow is published of dirty ones,
//! service information of the 2013 model year) and slows it. The gain goes with the logarithm of the flow between idle
//! and full load (calibrated on published trims of such cars).

use twotrip_units::Limit;

use crate::{
    Lag,
    curve::{Grid, grid, ln},
    knobs::Knobs,
};

/// The meter.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Lag of a clean one, s (calibrated).
    pub(crate) lag: Lag,
}

impl Params {
    /// That of the 2.0-litre four-cylinder.
    pub(crate) const fn compact_2_0() -> Self {
        Self { lag: Lag::new(0.030) }
    }
}

/// Flow up to which the gain is that of idle, and from which it is that of full flow, g/s.
const IDLE: f64 = 2.5;
const FULL: f64 = 82.0;

/// How far the gain has gone from idle to full flow, over g/s.
static SHARE: Grid<161> = grid!(161, 0.0, 160.0, x => {
    if x <= IDLE {
        0.0
    } else if x >= FULL {
        1.0
    } else {
        ln(x / IDLE) / ln(FULL / IDLE)
    }
});

/// What the meter shows after a step, g/s: it showed `shown`, and `flow` passes it.
#[inline]
pub(crate) fn step(params: &Params, knobs: &Knobs, shown: f64, flow: f64, dt: f64) -> f64 {
    let flow = flow.at_least(0.0);
    let [idle, full] = knobs.meter_gain;
    let gain = idle + (full - idle) * SHARE.at(flow);
    let share = if knobs.meter_lag > 1.0 {
        dt / (knobs.meter_lag * params.lag.seconds + dt)
    } else {
        params.lag.share(dt)
    };
    shown + (flow * gain - shown) * share
}

#[cfg(test)]
mod tests {
    use super::*;

    const METER: Params = Params::compact_2_0();

    fn settled(knobs: &Knobs, flow: f64) -> f64 {
        (0..200).fold(0.0, |shown, _| step(&METER, knobs, shown, flow, 0.01))
    }

    /// +5 % at idle and -20 % at full flow: the trims that are taught of such a meter are -5, +5 and +12 % at idle,
    /// 2500 rpm and 100 km/h (computed elsewhere for this car).
    #[test]
    fn dirt_reads_high_at_idle_and_low_at_load() {
        let dirty = Knobs {
            meter_gain: [1.05, 0.80],
            ..Knobs::default()
        };
        for (flow, trim) in [(2.5, -5.0), (7.8, 5.0), (17.7, 12.0), (82.0, 25.0)] {
            let needed = 100.0 * (flow / settled(&dirty, flow) - 1.0);
            assert!(
                (needed - trim).abs() < 3.0,
                "{flow} g/s wants {needed} %, not {trim}"
            );
        }
        for flow in [0.0, 1.0, 30.0, 130.0] {
            assert!((settled(&Knobs::default(), flow) - flow).abs() < 1e-6);
        }
    }

    #[test]
    fn a_slow_meter_takes_its_lag_times_as_long() {
        let steps_to_63 = |knobs: &Knobs| {
            let mut shown = 0.0;
            let mut steps = 0;
            while shown < 6.32 {
                shown = step(&METER, knobs, shown, 10.0, 0.01);
                steps += 1;
            }
            steps
        };
        let slow = Knobs {
            meter_lag: 4.0,
            ..Knobs::default()
        };
        assert!(steps_to_63(&slow) > 3 * steps_to_63(&Knobs::default()));
    }
}
