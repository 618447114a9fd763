//! Fuel: from air to pulse width, with start and warm-up enrichment, full load, fuel cut and the wall film
//! (figures calibrated).

use core::time::Duration;

use twotrip_harness::{BANKS, PerBank};
use twotrip_units::{AngularSpeed, Interval, Limit, MassFlow, Ratio, Table, Temperature};

use crate::{Calibration, control::measured::Measured};

/// Stoichiometric air/fuel ratio.
pub(crate) const STOICHIOMETRIC: f64 = 14.7;
/// Petrol, g/l.
const FUEL_GRAMS_PER_LITRE: f64 = 745.0;
/// Drop of pressure at which the flow of an injector is told: root of 421 kPa, √kPa.
const ROOT_OF_DROP: f64 = 20.518;
/// Rail pressure that the regulator holds, kPa gauge.
const RAIL: f64 = 350.0;
/// Dead time of the injector over supply, ms.
const DEAD_TIME: Table<6> = Table::new([
    (7.0, 3.2),
    (9.0, 2.0),
    (10.5, 1.56),
    (12.0, 1.2),
    (14.0, 0.85),
    (15.0, 0.74),
]);
/// Openings, dead time left out, below which an injector gives less than its data sheet says, s: nothing is to be learned
/// or judged then (calibrated).
const HARDLY_OPEN_SECONDS: f64 = 1.75e-3;
/// Wall film over coolant, °C: share that lands on the wall, and time constant of its leaving, s.
const FILM_SHARE: Table<3> = Table::new([(-20.0, 0.6), (0.0, 0.5), (80.0, 0.25)]);
const FILM_SECONDS: Table<3> = Table::new([(-20.0, 2.5), (0.0, 2.0), (80.0, 0.3)]);

/// Lambda while the starter turns.
const CRANK_LAMBDA: Table<4> = Table::new([(-30.0, 0.45), (-10.0, 0.55), (20.0, 0.75), (80.0, 0.92)]);
/// Richer for the first seconds after the start, as a share of lambda, decaying with this time constant, s.
const AFTER_START: Table<3> = Table::new([(-10.0, 0.10), (20.0, 0.06), (80.0, 0.02)]);
const AFTER_START_SECONDS: f64 = 4.0;
/// Lambda of the warm-up, leaning to 1 over run time, s.
const WARM_UP_LAMBDA: Table<4> = Table::new([(-30.0, 0.84), (-10.0, 0.90), (20.0, 0.98), (40.0, 1.0)]);
const WARM_UP_SECONDS: f64 = 110.0;
/// Full load: from this share of full-throttle air on the mixture goes rich; lambda there.
const FULL_LOAD_FROM: f64 = 0.86;
const FULL_LOAD_AT: f64 = 0.93;
const FULL_LOAD_LAMBDA: f64 = 0.88;

/// Fuel cut on the overrun: above this speed, resumed below that, after this delay (calibrated: so low
/// that UDDS has its share of fuel cut with this car's open converter too).
const CUT_ABOVE: AngularSpeed = AngularSpeed::from_rpm(1200.0);
const CUT_RESUME: AngularSpeed = AngularSpeed::from_rpm(1000.0);
const CUT_COOLANT: Temperature = Temperature::from_celsius(40.0);
const CUT_DELAY_SECONDS: f64 = 0.5;
/// Speed limiter.
const SPEED_LIMIT: AngularSpeed = AngularSpeed::from_rpm(6500.0);

/// What fuel is asked for.
pub(crate) struct Demand {
    pub(crate) cranking: bool,
    pub(crate) running: bool,
    pub(crate) run_time: Duration,
    pub(crate) pedal_released: bool,
    /// Share of full-throttle air that the driver asks for.
    pub(crate) wanted_load: f64,
    /// Air the meter answers for.
    pub(crate) metered: f64,
    /// Air and fuel with the purge flow, g/s.
    pub(crate) purge_air: f64,
    pub(crate) purge_fuel: f64,
    /// Short- and long-term trim of each bank.
    pub(crate) short_term: PerBank<f64>,
    pub(crate) long_term: PerBank<f64>,
}

/// Fuel control.
#[derive(Clone, Debug)]
pub(crate) struct Fuel {
    banks: usize,
    /// Of the engine's air.
    bank_share: f64,
    /// Of all injectors of a bank: s √kPa/g, for the flow goes with the root of the drop.
    injector_seconds_per_gram: f64,
    film: PerBank<f64>,
    film_share: f64,
    per_film_second: f64,
    per_spray_share: f64,
    dead_time: f64,
    rail_absolute: f64,
    cut: bool,
    released_seconds: f64,
    lambda: f64,
    warm_up_lambda: f64,
    full_load: bool,
    flow: f64,
    flow_filtered: f64,
    correction: f64,
    /// Fuel of a bank that the metered air alone asks for, g/s; how long the injectors open for that or for what they give,
    /// whichever is longer, s: trims may have driven the opening itself anywhere.
    untrimmed: f64,
    opening: f64,
}

impl Fuel {
    /// Fuel control of an engine.
    pub(crate) fn new(calibration: &Calibration) -> Self {
        let bank_share = calibration.bank_share();
        Self {
            banks: calibration.banks(),
            bank_share,
            injector_seconds_per_gram: ROOT_OF_DROP
                / calibration.injector_flow.grams_per_second()
                / (f64::from(calibration.cylinders()) * bank_share),
            film: [0.0; BANKS],
            film_share: 0.25,
            per_film_second: 1.0 / 0.3,
            per_spray_share: 1.0 / 0.75,
            dead_time: 1e-3,
            rail_absolute: RAIL + 101.3,
            cut: false,
            released_seconds: 0.0,
            lambda: 1.0,
            warm_up_lambda: 1.0,
            full_load: false,
            flow: 0.0,
            flow_filtered: 0.0,
            correction: 0.0,
            untrimmed: 0.0,
            opening: 0.0,
        }
    }

    /// Whether the injectors open so shortly that what they give is not what the mixture was meant to get.
    pub(crate) const fn is_hardly_open(&self) -> bool {
        self.opening < HARDLY_OPEN_SECONDS
    }

    /// PID $44.
    pub(crate) const fn commanded_lambda(&self) -> Ratio {
        Ratio::from_fraction(self.lambda)
    }

    /// Whether fuel is cut.
    pub(crate) const fn is_cut(&self) -> bool {
        self.cut
    }

    /// Whether full load asks for a rich mixture.
    pub(crate) const fn is_full_load(&self) -> bool {
        self.full_load
    }

    /// Fuel injected, smoothed for display and for the catalyst model.
    pub(crate) const fn flow(&self) -> MassFlow {
        MassFlow::from_grams_per_second(self.flow_filtered)
    }

    /// PID $5E, l/h.
    pub(crate) const fn litres_per_hour(&self) -> f64 {
        self.flow_filtered / FUEL_GRAMS_PER_LITRE * 3600.0
    }

    /// By how much the injected fuel differs from what the metered air alone asks for: short-term trim and what is
    /// held back for vapour. A real flow of vapour moves it, an estimate that nothing stands behind does not.
    pub(crate) const fn correction(&self) -> f64 {
        self.correction
    }

    /// Works out what depends on temperature and supply only; every 100 ms.
    pub(crate) fn step_slow(&mut self, measured: &Measured, demand: &Demand, seconds: f64) {
        let coolant = measured.coolant.celsius();
        self.film_share = FILM_SHARE.at(coolant);
        self.per_film_second = 1.0 / FILM_SECONDS.at(coolant);
        self.per_spray_share = 1.0 / (1.0 - self.film_share);
        self.dead_time = 1e-3 * DEAD_TIME.at(measured.supply.volts());
        self.rail_absolute = RAIL + measured.barometer.kilopascals();
        self.warm_up_lambda = if demand.running {
            let run = demand.run_time.as_secs_f64();
            let cold = WARM_UP_LAMBDA.at(coolant);
            let share = (run / WARM_UP_SECONDS).at_most(1.0);
            let after_start = if run < 10.0 * AFTER_START_SECONDS {
                AFTER_START.at(coolant) * libm::exp(-run / AFTER_START_SECONDS)
            } else {
                0.0
            };
            (cold + (1.0 - cold) * share) * (1.0 - after_start)
        } else {
            CRANK_LAMBDA.at(coolant)
        };
        let injected = self.flow * self.bank_share;
        self.opening = self.opening_for(measured, self.untrimmed.at_least(injected));
        self.flow_filtered += (self.flow - self.flow_filtered) * (seconds / 0.4).at_most(1.0);
    }

    /// One step: the pulse width for each injector and engine cycle by bank, zero for none.
    pub(crate) fn step(&mut self, measured: &Measured, demand: &Demand, seconds: f64) -> PerBank<Interval> {
        if !demand.running && !demand.cranking {
            self.cut = false;
            self.film = [0.0; BANKS];
            self.flow = 0.0;
            self.lambda = 1.0;
            return [Interval::ZERO; BANKS];
        }
        self.decide_cut(measured, demand, seconds);
        self.full_load = demand.running
            && demand.wanted_load
                > if self.full_load {
                    FULL_LOAD_FROM
                } else {
                    FULL_LOAD_AT
                };
        // What one bank wants before its long-term trim: a quotient of its air, and the vapour taken off.
        let (per_ratio, vapour) = if self.cut {
            self.lambda = 1.0;
            (0.0, 0.0)
        } else {
            self.lambda = if self.full_load {
                self.warm_up_lambda.at_most(FULL_LOAD_LAMBDA)
            } else {
                self.warm_up_lambda
            };
            (
                (demand.metered + demand.purge_air) / (STOICHIOMETRIC * self.lambda) * self.bank_share,
                demand.purge_fuel * self.bank_share,
            )
        };
        let mut pulses = [Interval::ZERO; BANKS];
        self.untrimmed = per_ratio;
        let (mut all_wanted, mut all_injected) = (0.0, 0.0);
        for (bank, pulse) in pulses.iter_mut().enumerate().take(self.banks) {
            let wanted = per_ratio * (1.0 + demand.short_term[bank]) - vapour;
            all_wanted += wanted;
            let fuel = wanted.at_least(0.0) * (1.0 + demand.long_term[bank]);
            // What must leave the injector so that film and spray together bring the wanted fuel.
            let film = &mut self.film[bank];
            let from_film = *film * self.per_film_second;
            let injected = if self.cut {
                0.0
            } else {
                ((fuel - from_film) * self.per_spray_share).at_least(0.0)
            };
            *film += (injected * self.film_share - from_film) * seconds;
            all_injected += injected;
            *pulse = self.pulse(measured, injected);
        }
        self.correction = if self.cut {
            0.0
        } else {
            all_wanted * (STOICHIOMETRIC * self.lambda / demand.metered.at_least(0.3)) - 1.0
        };
        self.flow = all_injected;
        pulses
    }

    /// How long the injectors of a bank open for this flow, s, dead time left out.
    fn opening_for(&self, measured: &Measured, injected: f64) -> f64 {
        let drop = (self.rail_absolute - measured.manifold_kilopascals).at_least(50.0);
        let cycle_seconds = 120.0 / measured.rpm.at_least(20.0);
        injected * cycle_seconds * self.injector_seconds_per_gram / libm::sqrt(drop)
    }

    fn pulse(&self, measured: &Measured, injected: f64) -> Interval {
        let rpm = measured.rpm;
        if injected <= 0.0 || rpm < 20.0 {
            return Interval::ZERO;
        }
        // An injector cannot stay open for longer than the cycle lasts.
        let cycle_seconds = 120.0 / rpm;
        let seconds = self.opening_for(measured, injected);
        Interval::from_seconds((seconds + self.dead_time).at_most(cycle_seconds))
    }

    fn decide_cut(&mut self, measured: &Measured, demand: &Demand, seconds: f64) {
        let speed = measured.engine_speed;
        if demand.running && speed > SPEED_LIMIT {
            self.cut = true;
            return;
        }
        if !demand.running || !demand.pedal_released || measured.coolant < CUT_COOLANT {
            self.cut = false;
            self.released_seconds = 0.0;
            return;
        }
        self.released_seconds += seconds;
        if self.cut {
            self.cut = speed > CUT_RESUME;
        } else {
            self.cut = speed > CUT_ABOVE && self.released_seconds > CUT_DELAY_SECONDS;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use twotrip_units::{Pressure, Voltage};

    fn at(rpm: f64, kilopascals: f64) -> Measured {
        Measured {
            engine_speed: AngularSpeed::from_rpm(rpm),
            rpm,
            manifold_kilopascals: kilopascals,
            barometer: Pressure::from_kilopascals(101.3),
            coolant: Temperature::from_celsius(90.0),
            supply: Voltage::from_volts(14.1),
            ..Measured::default()
        }
    }

    fn demand(metered: f64, wanted_load: f64) -> Demand {
        Demand {
            cranking: false,
            running: true,
            run_time: Duration::from_secs(900),
            pedal_released: false,
            wanted_load,
            metered,
            purge_air: 0.0,
            purge_fuel: 0.0,
            short_term: [0.0; BANKS],
            long_term: [0.0; BANKS],
        }
    }

    /// Pulse widths computed on a prototype of this car's model: idle 3.1, 2500 rpm 2.8, 50 km/h 3.7,
    /// 100 km/h 6.4, full load 14.9 ms.
    #[test]
    fn pulse_widths_meet_the_computed_ones() {
        for (rpm, kilopascals, flow, load, milliseconds) in [
            (700.0, 31.0, 2.5, 0.25, 3.1),
            (2500.0, 25.0, 7.8, 0.19, 2.8),
            (1704.0, 34.0, 7.8, 0.29, 3.7),
            (2027.0, 57.0, 17.7, 0.53, 6.4),
            (4500.0, 100.0, 82.0, 1.0, 14.9),
        ] {
            let measured = at(rpm, kilopascals);
            let mut fuel = Fuel::new(&Calibration::compact_2_0());
            let mut pulse = Interval::ZERO;
            for step in 0..400 {
                if step % 10 == 0 {
                    fuel.step_slow(&measured, &demand(flow, load), 0.1);
                }
                pulse = fuel.step(&measured, &demand(flow, load), 0.01)[0];
            }
            let pulse = pulse.milliseconds();
            assert!(
                (pulse / milliseconds - 1.0).abs() < 0.05,
                "{rpm} rpm: {pulse} ms, not {milliseconds}"
            );
        }
    }

    #[test]
    fn fuel_is_cut_on_the_overrun_and_comes_back_in_time() {
        let mut fuel = Fuel::new(&Calibration::compact_2_0());
        let overrun = Demand {
            pedal_released: true,
            ..demand(4.0, 0.1)
        };
        for _ in 0..45 {
            assert!(fuel.step(&at(1800.0, 20.0), &overrun, 0.01)[0] > Interval::ZERO);
        }
        for _ in 0..10 {
            fuel.step(&at(1800.0, 20.0), &overrun, 0.01);
        }
        assert!(fuel.is_cut());
        assert!(fuel.step(&at(1050.0, 20.0), &overrun, 0.01)[0] <= Interval::ZERO);
        assert!(fuel.step(&at(990.0, 20.0), &overrun, 0.01)[0] > Interval::ZERO);
    }
}
