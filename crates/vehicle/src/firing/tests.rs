extern crate std;

use std::vec::Vec;

use super::*;

const DT: f64 = 0.01;
const RPM: f64 = 30.0 / core::f64::consts::PI;

/// A crank whose mean torque is what it is loaded with.
struct Rig {
    params: Params,
    state: State,
    dice: Dice,
    inputs: Inputs,
    /// Every segment, with its place in the firing order.
    segments: Vec<(u8, f64)>,
    unburnt: f64,
    steps: f64,
}

impl Rig {
    fn new(rpm: f64, work_joules: f64, scatter: f64) -> Self {
        let params = Params::compact_2_0();
        let mut state = State::at_rest();
        state.behind = rpm / RPM;
        Self {
            inputs: Inputs {
                omega: rpm / RPM,
                indicated: work_joules / params.segment,
                scatter,
                locked: false,
            },
            params,
            state,
            dice: Dice::new(7),
            segments: Vec::new(),
            unburnt: 0.0,
            steps: 0.0,
        }
    }

    fn crank(&self) -> f64 {
        (self.inputs.omega + self.state.ripple) * RPM
    }

    /// `load`: what more than the mean torque the crank is loaded with, N m.
    fn step(&mut self, load: f64, due: impl FnMut(usize) -> Due) {
        let place =
            |first: u8, offset: usize| (usize::from(first) + offset) % usize::from(self.params.cylinders);
        let output = step(
            &self.params,
            &mut self.state,
            &mut self.dice,
            &self.inputs,
            DT,
            due,
        );
        self.inputs.omega += (output.torque - load) / self.params.inertia * DT;
        for (offset, time) in output.segments.times().iter().enumerate() {
            let place = u8::try_from(place(output.segments.first(), offset)).unwrap();
            self.segments.push((place, time.seconds()));
        }
        self.unburnt += output.unburnt[0];
        self.steps += 1.0;
    }
}

/// Speed dips of one missing firing, worked out by hand as work / (inertia x speed): at idle, 2000 rpm and 2 bar, 2500
/// rpm without load, 100 km/h, full load at 4500 and 6000 rpm (regression: the same equation).
#[test]
fn a_missing_firing_costs_its_work() {
    for (rpm, joules, dip) in [
        (700.0, 102.0, 67.0),
        (2000.0, 184.0, 42.0),
        (2500.0, 108.0, 20.0),
        (2027.0, 298.0, 67.0),
        (4500.0, 649.0, 66.0),
        (6000.0, 599.0, 45.0),
    ] {
        for locked in [false, true] {
            let mut rig = Rig::new(rpm, joules, 0.0);
            rig.inputs.locked = locked;
            for _ in 0..50 {
                rig.step(0.0, |_| Due::EVEN);
            }
            assert!((rig.crank() - rpm).abs() < 1e-9, "even firings turn evenly");
            let mut to_miss = 1;
            let mut lowest = rpm;
            for _ in 0..12 {
                rig.step(0.0, |_| {
                    let misfire = f64::from(core::mem::take(&mut to_miss));
                    Due { work: 1.0, misfire }
                });
                lowest = lowest.min(rig.crank());
            }
            let found = rpm - lowest;
            // Behind a locked clutch the car gives a part of it back before the firing is over.
            let least = if locked { 0.75 } else { 0.97 };
            assert!(
                found > least * dip && found < 1.08 * dip,
                "{rpm} rpm: {found} instead of {dip} rpm"
            );
        }
    }
}

/// Segments add up to the time that passed, and each is the crank's speed over it; the order is 1-3-4-2.
#[test]
fn segments_are_the_time_that_passed() {
    for rpm in [650.0, 2000.0, 6000.0, 9000.0] {
        let mut rig = Rig::new(rpm, 200.0, 0.0);
        let mut asked = Vec::new();
        for _ in 0..1000 {
            rig.step(0.0, |cylinder| {
                asked.push(cylinder);
                Due::EVEN
            });
        }
        let sum: f64 = rig.segments[1..].iter().map(|(_, seconds)| seconds).sum();
        assert!((sum - 10.0).abs() < 0.1, "{rpm} rpm: {sum} s");
        let mean = sum / (rig.segments.len() as f64 - 1.0);
        assert!((mean * rpm / 30.0 - 1.0).abs() < 1e-3);
        let places: Vec<u8> = rig.segments[..4].iter().map(|(place, _)| *place).collect();
        assert_eq!(places, [0, 1, 2, 3]);
        assert_eq!(
            asked[..5],
            [2, 3, 1, 0, 2],
            "cylinders 3, 4, 2, 1 after the first one"
        );
    }
}

/// 0.03 % of error in each segment, and no more where all fire evenly.
#[test]
fn the_teeth_have_their_error() {
    let mut rig = Rig::new(3000.0, 300.0, 0.0);
    for _ in 0..20_000 {
        rig.step(0.0, |_| Due::EVEN);
    }
    let times = &rig.segments[1..];
    let squares: f64 = times
        .iter()
        .map(|(_, seconds)| (seconds / 0.01 - 1.0).powi(2))
        .sum();
    let deviation = (squares / times.len() as f64).sqrt();
    assert!((deviation / 0.0003 - 1.0).abs() < 0.05, "{deviation}");
}

/// Work scatters by 6 % at idle, 2 to 3 % at part load, 1.5 % at full load.
#[test]
fn scatter_is_that_of_the_table() {
    for (rpm, load, percent) in [
        (700.0, 18.0, 6.0),
        (2000.0, 35.0, 2.5),
        (2027.0, 44.0, 2.2),
        (4500.0, 92.0, 1.5),
    ] {
        assert!((100.0 * scatter(rpm, load) - percent).abs() < 0.3, "{rpm} rpm");
    }
}

/// The share of what does not burn is that of the firings that fail, and so is the torque that is missing.
#[test]
fn what_does_not_fire_leaves_unburnt() {
    let mut rig = Rig::new(2000.0, 184.0, 0.025);
    // One dead cylinder of four: the load is a quarter less, so that the speed stays.
    for _ in 0..6000 {
        let load = -0.25 * rig.inputs.indicated;
        rig.step(load, |cylinder| Due {
            work: 1.0,
            misfire: if cylinder == 1 { 1.0 } else { 0.0 },
        });
    }
    assert!(
        (rig.unburnt / rig.steps - 0.25).abs() < 0.002,
        "{}",
        rig.unburnt / rig.steps
    );
    assert!((rig.crank() - 2000.0).abs() < 150.0, "{} rpm", rig.crank());
    let mut random = Rig::new(2000.0, 184.0, 0.025);
    for _ in 0..20_000 {
        let load = -0.1 * random.inputs.indicated;
        random.step(load, |_| Due {
            work: 1.0,
            misfire: 0.1,
        });
    }
    let share = random.unburnt / random.steps;
    assert!((share - 0.1).abs() < 0.01, "{share}");
}

/// Mixtures up to lambda 1.25 always fire; from 1.3 at idle and 1.45 at full load on some fail, and at 1.8 nearly all
/// do. A cylinder without fuel is no misfire.
#[test]
fn lean_mixtures_fail() {
    let chance = |lambda: f64, load: f64| lean_chance(1.0 / lambda, lean_limit(load));
    for (lambda, load) in [(1.0, 0.0), (1.25, 18.0), (1.4, 95.0), (5.0, 20.0)] {
        assert!(chance(lambda, load) <= 0.0, "lambda {lambda}, load {load}");
    }
    for (lambda, load, least, most) in [
        (1.35, 18.0, 0.001, 0.1),
        (1.5, 18.0, 0.1, 0.5),
        (1.8, 18.0, 0.9, 1.0),
    ] {
        let found = chance(lambda, load);
        assert!(found > least && found <= most, "lambda {lambda}: {found}");
    }
}

/// An injector that passes 0.7 of the others' fuel leaves its cylinder at lambda 1.32 and the others at 0.925 once the
/// mean is held at 1 (by hand: 3.7 / 4 / 0.7), and on the edge of failing at idle; half compression costs a third of
/// the firings.
#[test]
fn an_uneven_cylinder_burns_what_it_has() {
    let params = Params::compact_2_0();
    let mut knobs = Knobs::default();
    knobs.injector[2] = 0.7;
    assert!((injector_mean(&params, &knobs, 0) - 0.925).abs() < 1e-12);
    let charge = Charge::new(&knobs, 700.0, 18.0);
    let due = |charge: &Charge, knobs: &Knobs, cylinder| charge.due(&params, knobs, cylinder, 1.0, 0.0);
    let (lean, rich) = (due(&charge, &knobs, 2), due(&charge, &knobs, 0));
    assert!(
        (lean.work - 0.757).abs() < 0.01 && lean.misfire < 0.02,
        "{lean:?}"
    );
    assert!((rich.work - 1.03).abs() < 0.01 && rich.misfire <= 0.0, "{rich:?}");
    knobs.injector[2] = 0.5;
    assert!(due(&charge, &knobs, 2).misfire > 0.8);
    let mut knobs = Knobs::default();
    knobs.compression[1] = 0.5;
    let charge = Charge::new(&knobs, 700.0, 18.0);
    let weak = due(&charge, &knobs, 1);
    assert!((0.25..0.4).contains(&weak.misfire) && weak.work < 0.8, "{weak:?}");
    assert_eq!(due(&charge, &knobs, 0), Due::EVEN);
    // Burnt gas in the charge puts out every cylinder alike.
    let charge = Charge::new(&Knobs::default(), 700.0, 18.0);
    assert!((charge.due(&params, &Knobs::default(), 3, 1.0, 0.2).misfire - 0.2).abs() < 1e-12);
}

/// A standing engine times nothing and forgets its ripple.
#[test]
fn a_standing_engine_fires_nothing() {
    let mut rig = Rig::new(700.0, 102.0, 0.06);
    for _ in 0..100 {
        rig.step(0.0, |_| Due::EVEN);
    }
    rig.inputs.omega = 0.0;
    let before = rig.segments.len();
    for _ in 0..100 {
        rig.step(0.0, |_| Due::EVEN);
    }
    assert_eq!(rig.segments.len(), before);
    assert!(rig.state.ripple.abs() < 1e-12);
}
