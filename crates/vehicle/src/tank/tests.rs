//! The tank against tables computed on a prototype from the same orifice formula.

use super::*;

const DT: f64 = 0.01;

/// A sealed tank with this much vapour space, at a pressure, without vapour.
fn sealed(space_l: f64, pressure_pa: f64) -> State {
    let params = Params::compact_2_0();
    State {
        fuel_l: params.brim_l + params.lines_l - space_l,
        pressure_pa,
        ..State::at_rest(&params, 0.5, 20.0)
    }
}

fn hole(millimetres: f64) -> f64 {
    core::f64::consts::FRAC_PI_4 * millimetres * millimetres * 1e-6
}

/// Seconds of steps with a hole and a purge flow in L/s.
fn run(mut state: State, millimetres: f64, purge_l_s: f64, seconds: f64, dt: f64) -> State {
    let params = Params::compact_2_0();
    let inputs = Inputs {
        opening: params.hole_flow * hole(millimetres),
        ambient_kpa: 101.325,
        fuel_flow: 0.0,
        purge_flow: purge_l_s * params.air_density.figure,
    };
    let mut at = 0.0;
    while at < seconds - 1e-9 {
        state = step(&params, &state, &inputs, dt);
        at += dt;
    }
    state
}

/// Pressure, Pa gauge, 5, 10, 15, 20 and 30 s after sealing at -2000 Pa.
#[test]
fn a_sealed_tank_leaks_as_in_the_table() {
    for (space_l, millimetres, table) in [
        (15.0, 0.5, [-1769.0, -1552.0, -1349.0, -1160.0, -825.0]),
        (15.0, 1.0, [-1160.0, -547.0, -162.0, -4.0, 0.0]),
        (30.0, 0.0, [-2000.0; 5]),
        (30.0, 0.25, [-1970.0, -1941.0, -1912.0, -1883.0, -1825.0]),
        (30.0, 0.5, [-1883.0, -1769.0, -1658.0, -1552.0, -1349.0]),
        (30.0, 0.75, [-1741.0, -1500.0, -1276.0, -1071.0, -714.0]),
        (30.0, 1.0, [-1552.0, -1160.0, -825.0, -547.0, -162.0]),
        (30.0, 1.5, [-1071.0, -430.0, -76.0, 0.0, 0.0]),
        (30.0, 2.0, [-547.0, -4.0, 0.0, 0.0, 0.0]),
        (45.0, 0.5, [-1921.0, -1844.0, -1769.0, -1695.0, -1552.0]),
        (45.0, 1.0, [-1695.0, -1415.0, -1160.0, -931.0, -547.0]),
    ] {
        for (seconds, pascals) in [5.0, 10.0, 15.0, 20.0, 30.0].into_iter().zip(table) {
            let found = run(sealed(space_l, -2000.0), millimetres, 0.0, seconds, DT).pressure_pa;
            assert!(
                (found - pascals).abs() < 5.0,
                "{space_l} L, {millimetres} mm, {seconds} s: {found} instead of {pascals} Pa"
            );
        }
    }
}

/// The same with 5 Pa/s of vapour at 30 L after 15 s.
#[test]
fn vapour_adds_to_the_leak() {
    for (millimetres, pascals) in [(0.0, -1925.0), (0.5, -1587.0), (1.0, -766.0)] {
        let state = State {
            rise_pa_s: 5.0,
            ..sealed(30.0, -2000.0)
        };
        let found = run(state, millimetres, 0.0, 15.0, DT).pressure_pa;
        assert!(
            (found - pascals).abs() < 6.0,
            "{millimetres} mm: {found} instead of {pascals} Pa"
        );
    }
}

/// Time to -2000 Pa at 0.07 L/s and 30 L.
#[test]
fn small_holes_delay_the_pull_down() {
    for (millimetres, table) in [(0.0, 8.5), (0.5, 9.1), (1.0, 11.8), (1.5, 30.0)] {
        let mut seconds = 0.0;
        let mut state = sealed(30.0, 0.0);
        while state.pressure_pa > -2000.0 && seconds < 60.0 {
            state = run(state, millimetres, 0.07, DT, DT);
            seconds += DT;
        }
        assert!(
            (seconds - table).abs() < 0.03 * table,
            "{millimetres} mm: {seconds} s instead of {table}"
        );
    }
}

/// A gram drawn off a tank of one volume takes the same pressure at any height (gas law at one temperature), and a hole
/// fills it as the root of the density outside says.
#[test]
fn thin_air_takes_more_room_and_is_quicker_through_a_hole() {
    let params = Params::compact_2_0();
    let after = |ambient_kpa: f64, opening: f64, purge_flow: f64| {
        let inputs = Inputs {
            opening,
            ambient_kpa,
            fuel_flow: 0.0,
            purge_flow,
        };
        let mut state = sealed(30.0, -1000.0);
        for _ in 0..100 {
            state = step(&params, &state, &inputs, DT);
        }
        state.pressure_pa
    };
    let (low, high) = (after(101.325, 0.0, 0.083), after(75.0, 0.0, 0.083));
    assert!((low - high).abs() < 0.5, "{low} {high}");
    let opening = params.hole_flow * hole(1.0);
    let root = |ambient: f64| f64::sqrt(1000.0) - f64::sqrt(-after(ambient, opening, 0.0));
    let ratio = root(75.0) / root(101.325);
    assert!((ratio - f64::sqrt(75.0 / 101.325)).abs() < 0.01, "{ratio}");
}

/// Where the pressure stops; the holes above 4 mm are those on which an explicit step oscillates.
#[test]
fn large_holes_stop_the_pull_down() {
    for (litres_a_second, millimetres, table) in [
        (0.07, 2.0, -770.0),
        (0.07, 3.8, -59.0),
        (0.07, 8.0, -3.0),
        (0.07, 30.0, 0.0),
        (0.25, 3.8, -750.0),
        (0.25, 5.0, -250.0),
        (0.25, 8.0, -38.0),
        (0.25, 12.0, -8.0),
        (0.25, 30.0, 0.0),
        (0.9, 5.0, -3250.0),
        (0.9, 8.0, -500.0),
        (0.9, 12.0, -98.0),
        (0.9, 30.0, -2.5),
    ] {
        let settled = run(sealed(30.0, 0.0), millimetres, litres_a_second, 120.0, DT);
        let found = settled.pressure_pa;
        assert!(
            (found - table).abs() < 1.0 + 0.02 * f64::abs(table),
            "{litres_a_second} L/s, {millimetres} mm: {found} instead of {table} Pa"
        );
        let next = run(settled, millimetres, litres_a_second, DT, DT).pressure_pa;
        assert!(
            (next - found).abs() < 0.01,
            "{millimetres} mm swings: {found}, {next} Pa"
        );
    }
}

#[test]
fn half_the_step_gives_nearly_the_same_pressure() {
    for millimetres in [0.25, 1.0, 3.8, 30.0] {
        let whole = run(sealed(30.0, -2000.0), millimetres, 0.07, 4.0, DT).pressure_pa;
        let half = run(sealed(30.0, -2000.0), millimetres, 0.07, 4.0, DT / 2.0).pressure_pa;
        assert!(
            (whole - half).abs() < 2.0,
            "{millimetres} mm: {whole} and {half} Pa"
        );
    }
}

/// 1.07 g/s while the manifold is below 53 kPa, 1.00 at 70, 0.69 at 90; never backwards.
#[test]
fn purge_flows_by_manifold_pressure_and_duty() {
    let params = Params::compact_2_0();
    let state = sealed(30.0, 0.0);
    let knobs = Knobs::default();
    let flow = |duty, manifold_kpa| purge_flow(&params, &state, &knobs, duty, 101.325, 20.0, manifold_kpa);
    for (manifold_kpa, grams) in [(31.0, 1.07), (53.0, 1.07), (70.0, 1.00), (90.0, 0.69)] {
        assert!(
            (flow(1.0, manifold_kpa) - grams).abs() < 0.02,
            "{manifold_kpa}: {}",
            flow(1.0, manifold_kpa)
        );
    }
    assert!((flow(0.5, 31.0) - flow(1.0, 31.0) / 2.0).abs() < 1e-12);
    assert!(flow(0.0, 31.0) <= 0.0 && flow(1.0, 110.0) <= 0.0);
}

/// At 0.9 L/s the canister's drag holds the vented tank at -0.3 kPa; without purge it is at ambient.
#[test]
fn a_vented_tank_follows_the_drag_of_the_canister() {
    let params = Params::compact_2_0();
    let mut inputs = Inputs {
        opening: params.opening(&Knobs::default(), false),
        ambient_kpa: 101.325,
        fuel_flow: 0.0,
        purge_flow: 0.9 * params.air_density.figure,
    };
    let mut state = sealed(30.0, 0.0);
    for _ in 0..1000 {
        state = step(&params, &state, &inputs, DT);
    }
    assert!(
        (state.pressure_pa + 300.0).abs() < 5.0,
        "{} Pa",
        state.pressure_pa
    );
    inputs.purge_flow = 0.0;
    for _ in 0..500 {
        state = step(&params, &state, &inputs, DT);
    }
    assert!(state.pressure_pa.abs() < 1.0, "{} Pa", state.pressure_pa);
}

/// Driving warms the fuel by 5-12 K in half an hour; the vapour's share stays between none and all.
#[test]
fn driving_warms_the_fuel_and_rest_cools_it() {
    let params = Params::compact_2_0();
    let mut state = State::at_rest(&params, 0.5, 20.0);
    let mut inputs = SlowInputs {
        driving: true,
        speed: 20.0,
        ambient_celsius: 20.0,
        exhaust_celsius: 600.0,
        vent_shut: false,
        ambient_kpa: 101.325,
    };
    for _ in 0..1800 {
        state = slow_step(&params, &state, &inputs, 1.0);
        assert!((0.0..=1.0).contains(&state.saturation(&params)) && state.rise_pa_s < 20.0);
    }
    assert!(
        (5.0..12.0).contains(&(state.fuel_celsius - 20.0)),
        "{} degC",
        state.fuel_celsius
    );
    inputs = SlowInputs {
        driving: false,
        speed: 0.0,
        exhaust_celsius: 20.0,
        ..inputs
    };
    for _ in 0..3 * 8640 {
        state = slow_step(&params, &state, &inputs, 10.0);
    }
    assert!((state.fuel_celsius - 20.0).abs() < 0.1 && state.rise_pa_s.abs() < 0.01);
    assert!(state.saturation(&params) > 0.99);
}

/// A loaded canister gives up to half of the purged mass as petrol, an empty one nothing.
#[test]
fn purge_empties_the_canister() {
    let params = Params::compact_2_0();
    let slow = SlowInputs {
        driving: false,
        speed: 0.0,
        ambient_celsius: 20.0,
        exhaust_celsius: 20.0,
        vent_shut: false,
        ambient_kpa: 101.325,
    };
    let mut state = State {
        canister_g: 100.0,
        ..State::at_rest(&params, 0.5, 20.0)
    };
    state = slow_step(&params, &state, &slow, 1.0);
    assert!((state.purge_share - 0.5).abs() < 1e-6);
    let inputs = Inputs {
        opening: params.opening(&Knobs::default(), false),
        ambient_kpa: 101.325,
        fuel_flow: 0.0,
        purge_flow: 0.5,
    };
    let mut last = 1.0;
    for second in 0..1800 {
        for _ in 0..100 {
            state = step(&params, &state, &inputs, DT);
        }
        state = slow_step(&params, &state, &slow, 1.0);
        assert!(state.purge_share <= last && state.canister_g >= 0.0, "{second} s");
        last = state.purge_share;
    }
    assert!(last < 0.05, "half an hour of purge leaves a share of {last}");
}

/// Extremes of a sealed tank of 30 L that warms, then cools, by hole; slow and quick.
#[test]
fn a_resting_tank_breathes_as_in_the_table() {
    for (rise, fall, table) in [
        (
            (0.5, 600),
            (-0.4, 1800),
            [
                (0.0, 300.0, -420.0),
                (0.15, 88.0, -69.0),
                (0.25, 14.0, -9.0),
                (0.5, 0.9, -0.6),
                (1.0, 0.0, 0.0),
            ]
            .as_slice(),
        ),
        (
            (1.5, 400),
            (-1.0, 1500),
            &[(0.15, 345.0, -358.0), (0.25, 118.0, -56.0), (0.5, 8.0, -4.0)],
        ),
    ] {
        for &(millimetres, highest, lowest) in table {
            let (mut state, mut high, mut low) = (sealed(30.0, 0.0), 0.0_f64, 0.0_f64);
            for (pascals_a_second, seconds) in [rise, fall] {
                state.rise_pa_s = pascals_a_second;
                for _ in 0..seconds {
                    state = run(state, millimetres, 0.0, 1.0, 1.0);
                    high = high.max(state.pressure_pa);
                    low = low.min(state.pressure_pa);
                }
            }
            for (found, expected) in [(high, highest), (low, lowest)] {
                assert!(
                    (found - expected).abs() < 0.5 + 0.02 * f64::abs(expected),
                    "{millimetres} mm, {rise:?}: {found} instead of {expected} Pa"
                );
            }
        }
    }
}

/// A line that is blocked, a valve that does not shut, a vent that is choked or does not shut: areas by the knobs.
#[test]
fn knobs_move_the_valves() {
    let params = Params::compact_2_0();
    let state = sealed(30.0, 0.0);
    let healthy = Knobs::default();
    let flow = |knobs: &Knobs, duty| purge_flow(&params, &state, knobs, duty, 101.325, 20.0, 31.0);
    let open = flow(&healthy, 1.0);
    let blocked = Knobs {
        purge_share: 0.1,
        ..healthy
    };
    assert!((flow(&blocked, 1.0) - 0.1 * open).abs() < 1e-9);
    let leaking = Knobs {
        purge_leak_mm2: 0.5,
        ..healthy
    };
    assert!((flow(&leaking, 0.0) - open * 0.5 / 4.5).abs() < 1e-9);
    assert!((flow(&leaking, 1.0) - open).abs() < 1e-9);
    let wide = Knobs {
        purge_leak_mm2: 4.5,
        ..healthy
    };
    assert!((flow(&wide, 0.0) - open).abs() < 1e-9);

    assert_eq!(params.opening(&healthy, true).to_bits(), 0.0_f64.to_bits());
    let choked = Knobs {
        vent_mm2: Some(0.3),
        ..healthy
    };
    let drag = params.opening(&choked, false) / params.opening(&healthy, false);
    assert!((0.004..0.005).contains(&drag), "0.3 of 65 mm2: {drag}");
    let gap = Knobs {
        vent_hole_mm: 9.0,
        ..healthy
    };
    assert!((params.opening(&gap, true) / (params.hole_flow * hole(9.0)) - 1.0).abs() < 0.02);
    assert!(params.is_shut(&healthy, true) && !params.is_shut(&gap, true) && params.is_shut(&choked, false));
}

/// All petrol is somewhere: in the tank, its vapour space, the canister, burnt, or gone from a canister that was full. Days
/// and nights, driving with purge, refuelling, a canister that runs over.
#[test]
fn no_petrol_comes_from_nothing_or_goes_there() {
    let params = Params::compact_2_0();
    let knobs = Knobs::default();
    let mut state = State::at_rest(&params, 0.5, 10.0);
    state.volatility = 1.5;
    state.vapour_g *= 0.5;
    let total = |state: &State, taken_g: f64| {
        state.fuel_l * params.petrol.figure + state.vapour_g + state.canister_g + state.lost_g + taken_g
    };
    let mut taken_g = 0.0;
    let before = total(&state, taken_g);
    for hour in 0..72_u32 {
        let driving = hour % 8 == 0;
        let slow = SlowInputs {
            driving,
            speed: if driving { 15.0 } else { 0.0 },
            ambient_celsius: if hour % 24 < 12 { 35.0 } else { 8.0 },
            exhaust_celsius: if driving { 500.0 } else { 40.0 },
            vent_shut: hour % 5 == 0,
            ambient_kpa: 101.325,
        };
        let fast = Inputs {
            opening: params.opening(&knobs, slow.vent_shut),
            ambient_kpa: 101.325,
            fuel_flow: if driving { 0.6 } else { 0.0 },
            purge_flow: if driving { 0.3 } else { 0.0 },
        };
        for _ in 0..3600 {
            for _ in 0..10 {
                let canister_g = state.canister_g;
                state = step(&params, &state, &fast, 0.1);
                taken_g += 0.1 * fast.fuel_flow + canister_g - state.canister_g;
            }
            state = slow_step(&params, &state, &slow, 1.0);
        }
        if hour == 40 {
            let fuel_g = state.fuel_l * params.petrol.figure;
            state = refuel(&params, &state, &knobs, 1.0);
            taken_g -= state.fuel_l * params.petrol.figure - fuel_g;
        }
    }
    let lost = before - total(&state, taken_g);
    assert!(lost.abs() < 1e-3, "{lost} g");
    assert!(state.vapour_g > 5.0 && taken_g < 0.0);
}

/// Fuel that evaporates into the space is no longer in the tank: warmed by 20 K, the vapour space of a half-full tank holds
/// 40 g more.
#[test]
fn vapour_in_the_space_is_missing_in_the_tank() {
    let params = Params::compact_2_0();
    let mut state = State::at_rest(&params, 0.5, 20.0);
    let (fuel_l, vapour_g) = (state.fuel_l, state.vapour_g);
    let hot = SlowInputs {
        driving: false,
        speed: 0.0,
        ambient_celsius: 40.0,
        exhaust_celsius: 40.0,
        vent_shut: true,
        ambient_kpa: 101.325,
    };
    for _ in 0..48 * 360 {
        state = slow_step(&params, &state, &hot, 10.0);
    }
    let gained = state.vapour_g - vapour_g;
    let lost = (fuel_l - state.fuel_l) * params.petrol.figure;
    assert!(
        (gained - lost).abs() < 1e-6 && (30.0..50.0).contains(&gained),
        "{gained}, {lost} g"
    );
}
