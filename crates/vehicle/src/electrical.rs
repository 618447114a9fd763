//! Battery, alternator, starter and the loads on them.
//!
//! Battery figures from memory, the rest calibrated: resting voltage, resistance and a
//! slow surface charge; the starter is a plain DC motor, so that current and cranking speed follow from the battery.

use twotrip_units::Limit;

use crate::{Divisor, Lag, curve::Grid};

/// Battery, alternator, starter.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Capacity, A s.
    pub(crate) capacity: Divisor,
    /// Share of charge the car starts with.
    pub(crate) initial_charge: f64,
    /// Cables and ground strap that all current passes, Ω.
    pub(crate) cable_ohms: f64,
    /// Harness to the module, Ω, passed by the loads.
    pub(crate) harness_ohms: f64,
    /// Settling of the surface charge, s.
    pub(crate) surface_lag: Lag,
    /// Largest current of the alternator, A.
    pub(crate) alternator_amperes: f64,
    /// Lag of its regulator, s.
    pub(crate) regulator_lag: Lag,
    /// Resistance of the starter, Ω: 500 A from a full battery at standstill.
    pub(crate) starter_ohms: f64,
    /// Back voltage of the starter by crank speed, V/rpm: about 180 A at 195 rpm.
    pub(crate) starter_volts_per_rpm: f64,
    /// Torque at the crank by current, N m/A: two thirds of what its back voltage would give without losses.
    pub(crate) starter_torque: f64,
    /// What its gears, and the cylinders' leaking compression, take of that, N m: the engine is turned by 180 A when warm.
    pub(crate) starter_drag: f64,
    /// Control modules, ignition, instruments with the key on, W.
    pub(crate) key_on_watts: f64,
    /// Parked, W.
    pub(crate) parked_watts: f64,
    /// Fuel pump, W.
    pub(crate) pump_watts: f64,
    /// Radiator fan, W.
    pub(crate) fan_watts: f64,
    /// Blower and heated screen while the engine is cold, W.
    pub(crate) cold_watts: f64,
    /// Headlamps with tail lamps, W.
    pub(crate) lights_watts: f64,
    /// Blower at full speed, W.
    pub(crate) blower_watts: f64,
    /// Heater of the rear screen, W.
    pub(crate) screen_watts: f64,
    /// Blower and clutch of the air conditioning, W.
    pub(crate) air_conditioning_watts: f64,
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            capacity: Divisor::new(60.0 * 3600.0),
            initial_charge: 0.9,
            cable_ohms: 0.0015,
            harness_ohms: 0.006,
            surface_lag: Lag::new(5.0),
            alternator_amperes: 100.0,
            regulator_lag: Lag::new(0.2),
            starter_ohms: 0.0176,
            starter_volts_per_rpm: 0.0413,
            starter_torque: 0.26,
            starter_drag: 24.3,
            key_on_watts: 110.0,
            parked_watts: 0.3,
            pump_watts: 65.0,
            fan_watts: 250.0,
            cold_watts: 150.0,
            lights_watts: 150.0,
            blower_watts: 180.0,
            screen_watts: 200.0,
            air_conditioning_watts: 100.0,
        }
    }
}

/// Resting voltage at 25 °C over the share of charge.
static RESTING: Grid<21> = Grid::through([
    (0.0, 11.89),
    (0.25, 12.06),
    (0.5, 12.24),
    (0.75, 12.45),
    (1.0, 12.65),
]);

/// Resistance over °C, Ω: 6 mΩ at 25, 9 at 0, 14 at -18.
static RESISTANCE: Grid<81> = Grid::through([
    (-35.0, 0.017),
    (-18.0, 0.014),
    (0.0, 0.009),
    (25.0, 0.006),
    (45.0, 0.005),
]);

/// Resistance to charging over the share of charge, Ω: a full battery takes 3 A at 14.2 V, a flat one all there is
/// (calibrated).
static CHARGING: Grid<11> = Grid::through([
    (0.0, 0.04),
    (0.5, 0.042),
    (0.7, 0.067),
    (0.8, 0.117),
    (0.9, 0.238),
    (1.0, 0.50),
]);

/// How much further the terminals fall under a discharge that lasts, over the share of charge, Ω: with 30 A it takes the
/// voltage from 12.3 to 10.5 V in about an hour and lets it collapse at the end (calibrated).
static DISCHARGING: Grid<26> = Grid::through([
    (0.0, 0.36),
    (0.04, 0.085),
    (0.44, 0.042),
    (0.88, 0.009),
    (1.0, 0.004),
]);
/// Beyond this discharge current no more of it builds up, A: a start is too short.
const SLOW_DISCHARGE: f64 = 40.0;

/// How far charging raises a battery above its resting voltage at most, V (calibrated: a full one takes some 10 A at 17 V).
const MOST_SURFACE: f64 = 6.0;

/// What the alternator can give over rpm, as a share: full from 1500 rpm.
static OUTPUT: Grid<23> = Grid::through([(400.0, 0.0), (700.0, 0.55), (1500.0, 1.0)]);

/// The electrical system.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    /// Share of charge.
    pub(crate) charge: f64,
    /// Surface charge, V.
    pub(crate) surface_volts: f64,
    /// Battery terminals, V.
    pub(crate) battery_volts: f64,
    /// Supply of the modules, V.
    pub(crate) supply_volts: f64,
    /// Alternator current, A.
    pub(crate) alternator_amperes: f64,
    /// Current into the battery, A.
    pub(crate) battery_amperes: f64,
    /// Starter torque at the crank, N m.
    pub(crate) starter_torque: f64,
    /// Starter current, A.
    pub(crate) starter_amperes: f64,
    /// What charge and temperature make of the battery; they move slowly.
    pub(crate) battery: Battery,
}

/// The battery at one charge and temperature.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Battery {
    /// Resting voltage, V.
    resting_volts: f64,
    /// Resistance with the cables, Ω.
    ohms: f64,
    /// Resistance to charging, Ω.
    charging_ohms: f64,
    /// Resistance to a discharge that lasts, Ω.
    discharging_ohms: f64,
    /// Share of its capacity that is lost by wear, as a factor on the current that counts.
    wear: f64,
}

/// A worn battery has twice the resistance and half the capacity of a new one (from memory).
const WORN: f64 = 2.0;

impl Battery {
    /// Looks the battery up; once a second is enough.
    pub(crate) fn new(params: &Params, charge: f64, celsius: f64, worn: bool) -> Self {
        let wear = if worn { WORN } else { 1.0 };
        Self {
            resting_volts: RESTING.at(charge),
            ohms: RESISTANCE.at(celsius) * wear + params.cable_ohms,
            charging_ohms: CHARGING.at(charge),
            discharging_ohms: DISCHARGING.at(charge),
            wear,
        }
    }

    /// Resistance without the cables, Ω.
    pub(crate) fn own_ohms(&self, params: &Params) -> f64 {
        self.ohms - params.cable_ohms
    }
}

/// What the driver switches on, besides what comes with the key.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Loads {
    /// Headlamps; they burn with the key off too.
    pub lights: bool,
    /// Heater blower at full speed, with the key on.
    pub blower: bool,
    /// Heater of the rear screen, while the engine turns.
    pub screen: bool,
    /// Air conditioning, with the key on.
    pub air_conditioning: bool,
    /// Heater of the cabin, fully open and with its blower at full speed.
    pub cabin_heater: bool,
    /// Block heater on the mains, while the engine stands.
    pub block_heater: bool,
}

impl Loads {
    /// The blower runs at full speed: by its own switch, or for the cabin's heater.
    pub(crate) const fn blower_runs(self) -> bool {
        self.blower || self.cabin_heater
    }
}

impl State {
    /// A battery at rest.
    pub(crate) fn at_rest(params: &Params, celsius: f64) -> Self {
        let volts = RESTING.at(params.initial_charge);
        Self {
            charge: params.initial_charge,
            surface_volts: 0.0,
            battery_volts: volts,
            supply_volts: volts,
            alternator_amperes: 0.0,
            battery_amperes: 0.0,
            starter_torque: 0.0,
            starter_amperes: 0.0,
            battery: Battery::new(params, params.initial_charge, celsius, false),
        }
    }

    /// Electrical output of the alternator, W.
    #[inline]
    pub(crate) fn alternator_watts(&self) -> f64 {
        self.alternator_amperes * self.battery_volts
    }
}

/// What hangs on the battery.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    pub(crate) key_on: bool,
    pub(crate) starter: bool,
    pub(crate) pump: bool,
    /// Current of the oxygen sensor heaters, A.
    pub(crate) heater_amperes: f64,
    pub(crate) fan: bool,
    /// Set point of the regulator, V; zero switches it off.
    pub(crate) set_point_volts: f64,
    pub(crate) engine_rpm: f64,
    pub(crate) coolant_celsius: f64,
    pub(crate) loads: Loads,
    /// What the alternator gives against what is asked for.
    pub(crate) alternator: f64,
    /// What its regulator holds whatever is asked for, V; `None` for a good one.
    pub(crate) regulator_volts: Option<f64>,
    /// Resistance between alternator and battery beyond a good cable's, Ω.
    pub(crate) charging_cable_ohms: f64,
}

/// One step.
#[inline(always)]
pub(crate) fn step(params: &Params, state: &State, inputs: &Inputs, dt: f64) -> State {
    let mut watts = if inputs.key_on {
        params.key_on_watts
    } else {
        params.parked_watts
    };
    if inputs.pump {
        watts += params.pump_watts;
    }
    if inputs.fan {
        watts += params.fan_watts;
    }
    if inputs.engine_rpm > 400.0 && inputs.coolant_celsius < 60.0 {
        watts += params.cold_watts;
    }
    if inputs.loads != Loads::default() && !inputs.starter {
        watts += switched(params, inputs);
    }
    let load_amperes = watts / state.supply_volts.at_least(7.0) + inputs.heater_amperes;

    let Battery {
        resting_volts: resting,
        ohms,
        charging_ohms,
        discharging_ohms,
        wear,
    } = state.battery;
    let starter_amperes = if inputs.starter {
        let behind = resting + state.surface_volts - load_amperes * ohms;
        ((behind - params.starter_volts_per_rpm * inputs.engine_rpm) / (params.starter_ohms + ohms))
            .at_least(0.0)
    } else {
        0.0
    };

    // A regulator that has broken down asks nobody.
    let set_point_volts = inputs.regulator_volts.unwrap_or(inputs.set_point_volts);
    let wanted = if set_point_volts > 0.0 {
        let available = params.alternator_amperes * OUTPUT.at(inputs.engine_rpm);
        // What holds the alternator's own terminals at the set point.
        let above = set_point_volts - resting - state.surface_volts;
        let asked = (above + load_amperes * ohms) / (ohms + inputs.charging_cable_ohms);
        if inputs.alternator < 1.0 {
            // A weak one falls short of the loads, and nothing is left for the battery.
            (load_amperes * inputs.alternator).within(0.0, available)
        } else {
            asked.within(0.0, available)
        }
    } else {
        0.0
    };
    let alternator_amperes =
        state.alternator_amperes + (wanted - state.alternator_amperes) * params.regulator_lag.share(dt);

    let into_battery = alternator_amperes - load_amperes - starter_amperes;
    let settled = if into_battery > 0.0 {
        into_battery * charging_ohms
    } else {
        into_battery.at_least(-SLOW_DISCHARGE) * discharging_ohms
    };
    let surface_volts = state.surface_volts
        + (settled.at_most(MOST_SURFACE) - state.surface_volts) * params.surface_lag.share(dt);
    let battery_volts = (resting + state.surface_volts + into_battery * ohms).within(0.0, 18.0);
    State {
        charge: (state.charge + into_battery * wear * dt / params.capacity).within(0.0, 1.0),
        surface_volts,
        battery_volts,
        supply_volts: (battery_volts - load_amperes * params.harness_ohms).at_least(0.0),
        alternator_amperes,
        battery_amperes: into_battery,
        starter_torque: (params.starter_torque * starter_amperes - params.starter_drag).at_least(0.0),
        starter_amperes,
        battery: state.battery,
    }
}

/// What the driver has switched on, W. The ignition switch takes all of it off the battery while it holds the starter
/// (common practice, no source): in the cold nothing is left over for it.
#[cold]
fn switched(params: &Params, inputs: &Inputs) -> f64 {
    let each = [
        (inputs.loads.lights, params.lights_watts),
        (inputs.loads.blower_runs() && inputs.key_on, params.blower_watts),
        (
            inputs.loads.air_conditioning && inputs.key_on,
            params.air_conditioning_watts,
        ),
        (
            inputs.loads.screen && inputs.engine_rpm > 400.0,
            params.screen_watts,
        ),
    ];
    each.into_iter()
        .map(|(on, watts)| if on { watts } else { 0.0 })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const RUNNING: Inputs = Inputs {
        key_on: true,
        starter: false,
        pump: true,
        heater_amperes: 1.8,
        fan: false,
        set_point_volts: 14.3,
        engine_rpm: 1500.0,
        coolant_celsius: 90.0,
        loads: Loads {
            lights: false,
            blower: false,
            screen: false,
            air_conditioning: false,
            cabin_heater: false,
            block_heater: false,
        },
        alternator: 1.0,
        regulator_volts: None,
        charging_cable_ohms: 0.0,
    };

    fn charged(charge: f64, celsius: f64) -> State {
        let params = Params::compact_2_0();
        State {
            charge,
            battery: Battery::new(&params, charge, celsius, false),
            ..State::at_rest(&params, celsius)
        }
    }

    fn run(state: State, inputs: &Inputs, seconds: u32) -> State {
        let params = Params::compact_2_0();
        (0..seconds * 100).fold(state, |state, tick| {
            let mut next = step(&params, &state, inputs, 0.01);
            if tick % 100 == 99 {
                let worn = next.battery.wear > 1.0;
                next.battery = Battery::new(&params, next.charge, 25.0, worn);
            }
            next
        })
    }

    /// A lead-acid battery at rest (from memory): 12.65 V full, 12.45 at 75 %, 12.24 at 50, 12.06 at 25, 11.89 flat.
    #[test]
    fn resting_voltage_tells_the_charge() {
        let parked = Inputs {
            key_on: false,
            pump: false,
            heater_amperes: 0.0,
            engine_rpm: 0.0,
            set_point_volts: 0.0,
            ..RUNNING
        };
        for (charge, volts) in [
            (1.0, 12.65),
            (0.75, 12.45),
            (0.5, 12.24),
            (0.25, 12.06),
            (0.0, 11.89),
        ] {
            let state = run(charged(charge, 25.0), &parked, 60);
            assert!(
                (state.battery_volts - volts).abs() < 0.01,
                "{charge}: {} V",
                state.battery_volts
            );
        }
    }

    /// 6 mΩ at 25 °C, 9 at 0, 14 at -18, and about 500 A through the starter at first, less where it is cold.
    #[test]
    fn cold_costs_cranking_voltage() {
        let params = Params::compact_2_0();
        let mut last = 20.0;
        for (celsius, milliohms) in [(25.0, 6.0), (0.0, 9.0), (-18.0, 14.0)] {
            assert!((RESISTANCE.at(celsius) * 1e3 - milliohms).abs() < 0.1);
            let crank = Inputs {
                starter: true,
                engine_rpm: 0.0,
                set_point_volts: 0.0,
                ..RUNNING
            };
            let state = step(&params, &charged(0.9, celsius), &crank, 0.01);
            assert!(
                (340.0..520.0).contains(&state.starter_amperes),
                "{} A",
                state.starter_amperes
            );
            assert!(state.battery_volts < last);
            last = state.battery_volts;
        }
    }

    /// Running shows 13.8-14.6 V; a full battery takes little, a flat one all the alternator has.
    #[test]
    fn the_alternator_holds_its_set_point_and_charges() {
        let full = run(charged(0.98, 25.0), &RUNNING, 60);
        assert!(
            (full.battery_volts - 14.3).abs() < 0.05,
            "{} V",
            full.battery_volts
        );
        assert!((13.8..14.6).contains(&full.supply_volts));
        assert!(full.alternator_amperes < 30.0, "{} A", full.alternator_amperes);
        let flat = run(charged(0.1, 25.0), &RUNNING, 60);
        assert!(flat.alternator_amperes > 45.0 && flat.charge > 0.1);
        let idle = run(
            charged(0.1, 25.0),
            &Inputs {
                engine_rpm: 500.0,
                ..RUNNING
            },
            60,
        );
        assert!(
            idle.alternator_amperes < flat.alternator_amperes,
            "less at low speed"
        );
    }

    /// A switched load may not throw the voltage about.
    #[test]
    fn a_fan_that_stops_does_not_lift_the_voltage_far() {
        let params = Params::compact_2_0();
        let mut state = run(charged(0.95, 25.0), &Inputs { fan: true, ..RUNNING }, 60);
        let mut highest = 0.0_f64;
        for _ in 0..300 {
            state = step(&params, &state, &RUNNING, 0.01);
            highest = highest.max(state.battery_volts);
        }
        assert!(highest < 14.7, "{highest} V");
    }

    /// What goes in comes out: charge follows the current in the battery.
    #[test]
    fn charge_is_the_sum_of_current() {
        let start = charged(0.5, 25.0);
        let off = Inputs {
            set_point_volts: 0.0,
            ..RUNNING
        };
        let after = run(start, &off, 600);
        let amperes = (110.0 + 65.0 + 25.0) / after.supply_volts;
        let expected = amperes * 600.0 / (60.0 * 3600.0);
        assert!((start.charge - after.charge - expected).abs() < 0.03 * expected);
    }

    /// Regression, of this model's own figures: terminals under a discharge of 30 A for ten minutes, and after a year of
    /// use. Published figures stand in the tests below.
    #[test]
    fn a_discharge_pulls_the_terminals_down_the_more_the_emptier() {
        let thirty = |state: State, seconds| {
            let watts = Inputs {
                set_point_volts: 0.0,
                loads: Loads {
                    lights: true,
                    ..Loads::default()
                },
                ..RUNNING
            };
            run(state, &watts, seconds)
        };
        for (charge, volts) in [(0.95, 12.2), (0.6, 11.0), (0.45, 10.3), (0.2, 9.0)] {
            let state = thirty(charged(charge, 25.0), 60);
            assert!(
                (state.battery_volts - volts).abs() < 0.45,
                "{charge}: {} V at {} A",
                state.battery_volts,
                state.battery_amperes
            );
        }
    }

    /// Evidence (common practice, no source): without alternator the car shows 12.3 V, which falls by 0.1 V in 3 to 5 min
    /// under 25 to 35 A.
    #[test]
    fn a_dead_alternator_leaves_an_hour() {
        let dead = Inputs {
            alternator: 0.0,
            loads: Loads {
                lights: true,
                ..Loads::default()
            },
            ..RUNNING
        };
        let first = run(charged(0.9, 25.0), &dead, 60);
        assert!(
            (12.0..12.5).contains(&first.battery_volts),
            "{}",
            first.battery_volts
        );
        assert!(
            (-36.0..-25.0).contains(&first.battery_amperes),
            "{}",
            first.battery_amperes
        );
        let later = run(first, &dead, 1200);
        let minutes_a_tenth = 20.0 / ((first.battery_volts - later.battery_volts) * 10.0);
        assert!(
            (2.5..5.5).contains(&minutes_a_tenth),
            "{minutes_a_tenth} min for 0.1 V"
        );
        let end = run(later, &dead, 3 * 3600);
        assert!(end.supply_volts < 8.0, "{} V", end.supply_volts);
    }

    /// A start in the cold has the whole battery, whatever is switched on.
    #[test]
    fn the_starter_sheds_what_is_switched_on() {
        let cranking = |loads| {
            let params = Params::compact_2_0();
            let inputs = Inputs {
                starter: true,
                engine_rpm: 110.0,
                set_point_volts: 0.0,
                loads,
                ..RUNNING
            };
            let mut state = State::at_rest(&params, -20.0);
            for _ in 0..200 {
                state = step(&params, &state, &inputs, 0.01);
            }
            let volts = state.supply_volts;
            let key_on = Inputs {
                starter: false,
                engine_rpm: 0.0,
                ..inputs
            };
            (volts, step(&params, &state, &key_on, 0.01).battery_amperes)
        };
        let all = Loads {
            lights: true,
            blower: true,
            screen: true,
            air_conditioning: true,
            ..Loads::default()
        };
        let ((bare_volts, bare), (volts, loaded)) = (cranking(Loads::default()), cranking(all));
        assert!((volts - bare_volts).abs() < 1e-9, "{volts} V, not {bare_volts}");
        assert!(
            loaded < bare - 30.0,
            "{loaded} A: they are back when the starter lets go"
        );
    }

    #[test]
    fn a_weak_alternator_leaves_the_rest_to_the_battery() {
        for share in [0.2, 0.4, 0.6] {
            let weak = Inputs {
                alternator: share,
                ..RUNNING
            };
            let state = run(charged(0.9, 25.0), &weak, 60);
            let load = state.alternator_amperes - state.battery_amperes;
            assert!((state.alternator_amperes / load - share).abs() < 0.02);
            assert!(
                (12.0..12.8).contains(&state.battery_volts),
                "{} V",
                state.battery_volts
            );
        }
    }

    /// The regulator holds the alternator's own terminals, so a bad cable costs the battery its voltage.
    #[test]
    fn a_corroded_cable_drops_voltage_by_the_current() {
        let bad = Inputs {
            charging_cable_ohms: 0.05,
            fan: true,
            ..RUNNING
        };
        let state = run(charged(0.98, 25.0), &bad, 60);
        let dropped = 14.3 - state.battery_volts;
        assert!(
            (dropped / state.alternator_amperes - 0.05).abs() < 0.005,
            "{dropped} V"
        );
    }

    /// A worn battery has twice the resistance: it cranks lower, and empties in half the time.
    #[test]
    fn wear_costs_voltage_and_time() {
        let params = Params::compact_2_0();
        let crank = Inputs {
            starter: true,
            engine_rpm: 195.0,
            set_point_volts: 0.0,
            ..RUNNING
        };
        let new = charged(0.9, -10.0);
        let worn = State {
            battery: Battery::new(&params, 0.9, -10.0, true),
            ..new
        };
        let volts = |state: State| run(state, &crank, 1).battery_volts;
        assert!(
            volts(worn) < volts(new) - 0.6,
            "{} and {}",
            volts(worn),
            volts(new)
        );
        let off = Inputs {
            set_point_volts: 0.0,
            ..RUNNING
        };
        let lost = |state: State| state.charge - run(state, &off, 300).charge;
        assert!((lost(worn) / lost(new) - 2.0).abs() < 0.1);
    }

    #[test]
    fn switches_draw_what_they_should() {
        let draw = |loads: Loads, key_on: bool| {
            let inputs = Inputs {
                loads,
                key_on,
                pump: false,
                engine_rpm: if key_on { 1500.0 } else { 0.0 },
                set_point_volts: 0.0,
                heater_amperes: 0.0,
                ..RUNNING
            };
            let state = run(charged(0.9, 25.0), &inputs, 10);
            -state.battery_amperes * state.supply_volts
        };
        let all = Loads {
            lights: true,
            blower: true,
            screen: true,
            air_conditioning: true,
            cabin_heater: true,
            block_heater: true,
        };
        let none = Loads::default();
        assert!((draw(all, true) - draw(none, true) - 630.0).abs() < 10.0);
        assert!(
            (draw(all, false) - draw(none, false) - 150.0).abs() < 5.0,
            "lights alone"
        );
    }
}
