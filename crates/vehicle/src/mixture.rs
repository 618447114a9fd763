//! Fuel into the cylinders and the mixture it makes: pump and rail, injectors, wall film, purge vapour.
//!
//! Injector and film values from memory, calibrated; the film is the X-tau model of
//! Hendricks and Sorenson, SAE 900616. Petrol, stoichiometric at 14.7.

use twotrip_harness::{BANKS, PerBank};
use twotrip_units::Limit;

use crate::{
    Divisor, Lag,
    curve::{self, Grid},
    knobs::Knobs,
};

/// Air by fuel at lambda 1.
pub(crate) const STOICHIOMETRIC: f64 = 14.7;

/// Fuel supply.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Rail pressure that the regulator holds, kPa gauge.
    pub(crate) regulated_kpa: f64,
    /// Pump pressure at no flow, with the return open, kPa gauge.
    pub(crate) pump_kpa: f64,
    /// The same with the return pinched: where the pump's relief valve opens, kPa gauge (from memory).
    pub(crate) relief_kpa: f64,
    /// Fall of the pump's pressure with flow, kPa/(g/s).
    pub(crate) pump_fall: f64,
    /// What a pump that is no use has lost of its pressure, kPa, and how much more it loses with flow, kPa/(g/s) (our choice).
    pub(crate) pump_wear: (f64, f64),
    /// Decay with the pump off where the regulator lets the rail run back, s (calibrated: gone within minutes).
    pub(crate) run_back_s: f64,
    /// What the rail gives for each kPa that its pressure falls, g (calibrated).
    pub(crate) rail_g: f64,
    /// Build-up of rail pressure with the pump on, s (calibrated).
    pub(crate) build_up: Lag,
    /// Decay with the pump off: the check valve leaks, s (calibrated).
    pub(crate) decay_s: f64,
    /// Injector flow, g/s at the root of a kilopascal: 3.3 g/s at 421 kPa, rail against manifold at idle.
    pub(crate) injector_flow: f64,
    /// Banks in use, 1 or 2, with equally many cylinders.
    pub(crate) banks: usize,
    /// Cylinders of a bank.
    pub(crate) cylinders_of_bank: f64,
    /// Share of the fuel that lands on the wall, warm and at 0 °C.
    pub(crate) film_share: (f64, f64),
    /// Time in which the film leaves, s, warm and at 0 °C.
    pub(crate) film_s: (f64, f64),
    /// Mixing of purge vapour in the manifold, s (calibrated).
    pub(crate) vapour_lag: Lag,
    /// Injectors give too little when hardly open: share that is lost at most, opening from which on none is, s, and the
    /// range in between (calibrated: a car that coasts on closed throttle with fuel runs 5 to 12 % lean, as logs show).
    pub(crate) short: (f64, f64, Divisor),
}

/// Pump, regulator and injectors as defects leave them. Worked out anew when one comes or goes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Supply {
    regulated_kpa: f64,
    pump_kpa: f64,
    /// Of pump and filter together, and of a blocked filter's share in it, kPa a g/s.
    pump_fall: f64,
    filter_fall: f64,
    decay_s: f64,
    /// What drips from shut injectors of each bank for each kPa of the rail's pressure, g/s, and in all.
    dribble: PerBank<f64>,
    dribbles: f64,
}

impl Supply {
    pub(crate) fn new(params: &Params, knobs: &Knobs) -> Self {
        // A pinched return lets less run back than the regulator would.
        let pinched = knobs.pinched_return > knobs.rail;
        let good_kpa = if pinched {
            params.relief_kpa
        } else {
            params.pump_kpa
        };
        let (wear_kpa, wear_fall) = params.pump_wear;
        Self {
            regulated_kpa: params.regulated_kpa * knobs.rail.at_least(knobs.pinched_return),
            pump_kpa: good_kpa - wear_kpa * knobs.pump_worn,
            pump_fall: params.pump_fall + wear_fall * knobs.pump_worn + knobs.filter_fall,
            filter_fall: knobs.filter_fall,
            decay_s: if knobs.rail < 1.0 {
                params.run_back_s
            } else {
                params.decay_s
            },
            dribble: knobs.dribble.map(|dribble| dribble / params.regulated_kpa),
            dribbles: knobs.dribble.iter().sum::<f64>() / params.regulated_kpa,
        }
    }

    /// Rail pressure that the running pump and the regulator hold at a flow, g/s.
    pub(crate) fn pressure_at(&self, flow: f64) -> f64 {
        self.regulated_kpa
            .at_most(self.pump_kpa - self.pump_fall * flow)
            .at_least(0.0)
    }

    /// Pressure between pump and filter at a flow, g/s.
    pub(crate) fn before_filter_at(&self, flow: f64) -> f64 {
        self.pressure_at(flow) + self.filter_fall * flow
    }

    /// Rail pressure after `dt` with the pump off and nothing injected, however long it is.
    pub(crate) fn at_rest(&self, params: &Params, rail_kpa: f64, dt: f64) -> f64 {
        rail_kpa / (1.0 + dt * (1.0 / self.decay_s + self.dribbles / params.rail_g))
    }
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            regulated_kpa: 350.0,
            pump_kpa: 600.0,
            relief_kpa: 900.0,
            pump_fall: 12.0,
            pump_wear: (280.0, 48.0),
            build_up: Lag::new(0.15),
            decay_s: 2400.0,
            run_back_s: 90.0,
            rail_g: 0.002,
            injector_flow: 3.3 / curve::pow(421.0, 0.5),
            banks: 1,
            cylinders_of_bank: 4.0,
            film_share: (0.25, 0.5),
            film_s: (0.3, 2.0),
            vapour_lag: Lag::new(0.2),
            short: (0.08, 1.75e-3, Divisor::new(0.3e-3)),
        }
    }

    /// Share of the engine's gas that one bank draws.
    #[inline]
    pub(crate) fn bank_share(&self) -> f64 {
        if self.banks == 1 { 1.0 } else { 0.5 }
    }
}

/// Injector dead time over supply, s: 0.85 ms at 14 V, 1.2 at 12, 2.0 at 9, ends continued.
static DEAD_TIME: Grid<11> = Grid::through([
    (6.0, 4.0e-3),
    (7.0, 3.2e-3),
    (8.0, 2.5e-3),
    (9.0, 2.0e-3),
    (10.0, 1.7e-3),
    (11.0, 1.43e-3),
    (12.0, 1.2e-3),
    (13.0, 1.0e-3),
    (14.0, 0.85e-3),
    (15.0, 0.74e-3),
    (16.0, 0.66e-3),
]);

/// Supply at which no injector opens any more, and from which on all do, V: injection fails near 8 V and above (8 to 9 V from
/// memory; the lower end so low that a start at -28 °C still works).
const WEAK_SUPPLY: [f64; 2] = [7.4, 8.8];

/// What all injectors share.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    /// Rail pressure, kPa gauge.
    pub(crate) rail_kpa: f64,
    /// Fuel through all injectors, g/s.
    pub(crate) injected: f64,
    /// Purge vapour that reaches the cylinders, g/s.
    pub(crate) vapour: f64,
    /// The cylinders of each bank.
    pub(crate) banks: PerBank<Bank>,
}

/// Film and mixture of the cylinders of one bank.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bank {
    /// Fuel on the walls, g.
    pub(crate) film_g: f64,
    /// Fuel that reaches the cylinders, g/s.
    pub(crate) cylinder_fuel: f64,
    /// Fuel by air in the cylinders over the stoichiometric one: 1 / lambda; 0 without fuel.
    pub(crate) equivalence: f64,
}

impl Bank {
    /// Dry walls, no fuel.
    pub(crate) const DRY: Self = Self {
        film_g: 0.0,
        cylinder_fuel: 0.0,
        equivalence: 0.0,
    };
}

impl State {
    /// A parked car with the pressure gone.
    pub(crate) const fn at_rest() -> Self {
        Self {
            rail_kpa: 0.0,
            injected: 0.0,
            vapour: 0.0,
            banks: [Bank::DRY; BANKS],
        }
    }
}

/// What the mixture depends on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    pub(crate) pump_on: bool,
    /// Pulse width for each cylinder and engine cycle, s, by bank.
    pub(crate) pulse_s: PerBank<f64>,
    pub(crate) supply_volts: f64,
    pub(crate) engine_rpm: f64,
    pub(crate) ambient_kpa: f64,
    pub(crate) manifold_kpa: f64,
    pub(crate) coolant_celsius: f64,
    /// Gas into the cylinders, g/s.
    pub(crate) cylinder_flow: f64,
    /// What the cylinders of each bank draw of it against the mean.
    pub(crate) bank_air: PerBank<f64>,
    /// Petrol vapour through the purge valve, g/s.
    pub(crate) purge_vapour: f64,
    /// Whether there is fuel in the tank.
    pub(crate) fuel_in_tank: bool,
    /// What is injected against what was meant ([`crate::scatter`]).
    pub(crate) error: f64,
    /// Mean flow of the injectors of each bank against nominal.
    pub(crate) injectors: PerBank<f64>,
}

/// One step.
#[inline]
pub(crate) fn step(params: &Params, supply: &Supply, state: &State, inputs: &Inputs, dt: f64) -> State {
    let rail_kpa = if inputs.pump_on && inputs.fuel_in_tank {
        let target = supply.pressure_at(state.injected);
        state.rail_kpa + (target - state.rail_kpa) * params.build_up.share(dt)
    } else {
        // Whoever injects without the pump empties the rail.
        (supply.at_rest(params, state.rail_kpa, dt) - state.injected * dt / params.rail_g).at_least(0.0)
    };

    let dead_s = DEAD_TIME.at(inputs.supply_volts);
    let drop_kpa = (rail_kpa + inputs.ambient_kpa - inputs.manifold_kpa).at_least(0.0);
    let injecting = inputs.engine_rpm > 0.0 && rail_kpa > 0.0;
    let mut flow = if injecting {
        params.injector_flow * libm::sqrt(drop_kpa)
    } else {
        0.0
    };
    if inputs.supply_volts < WEAK_SUPPLY[1] {
        let [none, all] = WEAK_SUPPLY;
        flow *= ((inputs.supply_volts - none) / (all - none)).within(0.0, 1.0);
    }
    let cycles_s = inputs.engine_rpm * (1.0 / 120.0);

    let cold = (1.0 - inputs.coolant_celsius * (1.0 / 80.0)).within(0.0, 1.3);
    let share = params.film_share.0 + (params.film_share.1 - params.film_share.0) * cold;
    let film_s = params.film_s.0 + (params.film_s.1 - params.film_s.0) * cold;
    let leaving = 1.0 / film_s;
    let vapour = state.vapour + (inputs.purge_vapour - state.vapour) * params.vapour_lag.share(dt);
    let turning = inputs.cylinder_flow > 1e-3;
    // Each bank draws its part of the gas, and of the vapour in it.
    let part = params.bank_share();
    let (bank_vapour, air) = (
        vapour * part,
        ((inputs.cylinder_flow - vapour) * part).at_least(1e-3),
    );

    let dripping = if turning { rail_kpa } else { 0.0 };

    let mut next = State {
        rail_kpa,
        injected: supply.dribbles * dripping,
        vapour,
        banks: state.banks,
    };
    let pulses = inputs.pulse_s.into_iter().zip(inputs.injectors);
    let banks = next.banks.iter_mut().zip(supply.dribble).zip(inputs.bank_air);
    for (((bank, dribble), drawn), (pulse_s, injectors)) in banks.zip(pulses).take(params.banks) {
        let mut open_s = (pulse_s - dead_s).at_least(0.0);
        let (lost, enough_s, range) = params.short;
        if open_s < enough_s {
            open_s *= 1.0 - lost * ((enough_s - open_s) / range).at_most(1.0);
        }
        // An injector cannot be open for longer than a cycle lasts.
        let mut injected =
            params.cylinders_of_bank * injectors * flow * inputs.error * (open_s * cycles_s).at_most(1.0);
        next.injected += injected;
        injected += dribble * dripping;
        bank.film_g = (bank.film_g + dt * share * injected) / (1.0 + dt * leaving);
        bank.cylinder_fuel = if turning {
            (1.0 - share) * injected + bank.film_g * leaving + bank_vapour * drawn
        } else {
            0.0
        };
        bank.equivalence = if turning {
            (STOICHIOMETRIC * bank.cylinder_fuel / (air * drawn)).at_most(5.0)
        } else {
            0.0
        };
    }
    next
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pressure of the rail at a flow with these knobs, kPa.
    fn rail(flow: f64, knobs: &Knobs) -> f64 {
        Supply::new(&Params::compact_2_0(), knobs).pressure_at(flow)
    }

    /// Whatever else is wrong, a pinched return dams the rail up, and a worn pump gives less into it than a good one.
    #[test]
    fn faults_of_the_fuel_supply_add_up() {
        let pinched = Knobs {
            pinched_return: 800.0 / 350.0,
            ..Knobs::default()
        };
        assert!((rail(0.2, &pinched) - 800.0).abs() < 1e-9);
        let opens_early = Knobs {
            rail: 200.0 / 350.0,
            ..pinched
        };
        assert!((rail(0.2, &opens_early) - 800.0).abs() < 1e-9);
        let worn = Knobs {
            pump_worn: 0.5,
            ..pinched
        };
        assert!((rail(0.0, &worn) - 760.0).abs() < 1e-9);
        assert!(rail(4.0, &worn) < rail(4.0, &pinched));
        let barely_worn = Knobs {
            pump_worn: 0.001,
            ..pinched
        };
        assert!(
            (rail(0.2, &barely_worn) - 800.0).abs() < 1e-9,
            "no jump with the first wear"
        );
    }
}
