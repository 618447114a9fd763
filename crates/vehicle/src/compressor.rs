//! Compressor of the air conditioning, with its clutch and the cold of the evaporator that calls for it.
//!
//! With what blower and clutch take from the alternator the load is at the lower end of what compact cars are said to have
//! at idle, 10 to 15 N m: a logged car of this kind shows some 9 kPa and 1 g/s for it (derived from public logs of real
//! driving). The rest: common practice, no source; calibrated. The condenser has no fan of its own.

use twotrip_units::Table;

use crate::Lag;

/// Compressor and evaporator.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Torque at the crank over the air's temperature, °C, N m: the hotter, the higher the pressure it works against.
    pub(crate) torque: Table<4>,
    /// How soon the clutch takes its load, s.
    pub(crate) clutch: Lag,
    /// The evaporator with the compressor at work comes to so many K below the air ..
    pub(crate) cools_by: f64,
    /// .. over this time, s.
    pub(crate) evaporator_s: f64,
    /// Its thermostat opens below and closes above, °C: it must not ice up.
    pub(crate) thermostat: (f64, f64),
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            torque: Table::new([(5.0, 6.0), (20.0, 8.0), (30.0, 9.0), (40.0, 11.5)]),
            clutch: Lag::new(0.3),
            cools_by: 24.0,
            evaporator_s: 60.0,
            thermostat: (2.0, 5.0),
        }
    }
}

/// The compressor at one instant.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    /// How far its clutch has taken its load, 0..1.
    pub(crate) coupled: f64,
    /// What it takes from the crank with the clutch closed, N m.
    pub(crate) full_torque: f64,
    /// Evaporator, °C.
    pub(crate) evaporator: f64,
    /// The evaporator's thermostat is closed.
    pub(crate) calls: bool,
}

impl State {
    /// Not used for long.
    pub(crate) const fn at_rest(ambient_celsius: f64) -> Self {
        Self {
            coupled: 0.0,
            full_torque: 0.0,
            evaporator: ambient_celsius,
            calls: false,
        }
    }

    /// Torque taken from the crank, N m.
    #[inline]
    pub(crate) const fn torque(&self) -> f64 {
        self.coupled * self.full_torque
    }
}

/// One step of the clutch.
pub(crate) fn step(params: &Params, state: &State, closed: bool, dt: f64) -> State {
    let target = f64::from(u8::from(closed));
    let coupled = state.coupled + (target - state.coupled) * params.clutch.share(dt);
    State {
        coupled: if closed || coupled > 0.01 { coupled } else { 0.0 },
        ..*state
    }
}

/// Evaporator and load, stepped at 1 s or slower.
pub(crate) fn slow_step(params: &Params, state: &State, ambient_celsius: f64, dt: f64) -> State {
    let target = ambient_celsius - params.cools_by * state.coupled;
    let share = dt / (params.evaporator_s + dt);
    let evaporator = state.evaporator + (target - state.evaporator) * share;
    let (opens, closes) = params.thermostat;
    State {
        full_torque: params.torque.at(ambient_celsius),
        evaporator,
        calls: evaporator > if state.calls { opens } else { closes },
        ..*state
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The clutch as its thermostat has it, over ten minutes: seconds closed, and how often it closed.
    fn run(ambient: f64) -> (u32, u32, State) {
        let params = Params::compact_2_0();
        let mut state = State::at_rest(ambient);
        let (mut closed, mut times) = (0, 0);
        for _ in 0..600 {
            let before = state.calls;
            state = slow_step(&params, &state, ambient, 1.0);
            times += u32::from(state.calls && !before);
            closed += u32::from(state.calls);
            for _ in 0..100 {
                state = step(&params, &state, state.calls, 0.01);
            }
        }
        (closed, times, state)
    }

    /// In heat it runs without a pause, in mild air it comes and goes, near freezing not at all.
    #[test]
    fn the_clutch_comes_and_goes_in_mild_air() {
        let (closed, times, state) = run(35.0);
        assert_eq!((closed, times), (600, 1));
        assert!((9.0..12.0).contains(&state.torque()), "{} N m", state.torque());
        let (closed, times, _) = run(18.0);
        assert!(
            (200..500).contains(&closed) && (5..40).contains(&times),
            "{closed} s, {times} times"
        );
        assert_eq!(run(4.0).0, 0);
    }
}
