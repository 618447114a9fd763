//! The trim fingerprint: what a tester reads of each cause of a wrong mixture at warm idle, at 2500 rpm without load,
//! at 100 km/h and at full load. It tells a split hose from a dirty air meter from a tired pump.
//!
//! Regression: the figures were computed on a prototype of this car from the same equations, the tolerances stand in
//! the rows. One row a cause; whoever adds a defect that moves the mixture adds its row.

use std::time::Duration;

use twotrip_harness::KeyPosition;
use twotrip_units::{Ratio, Speed};
use twotrip_vehicle::{Defect, DriverControls, Leg, Part, Plan, Selector};

use crate::bench::Bench;

/// A range that a figure has to lie in.
type Range = [f64; 2];

/// One cause and what it shows.
struct Row {
    part: Part,
    kind: &'static str,
    amount: Option<f64>,
    /// Short- and long-term trim together at warm idle, at 2500 rpm and at 100 km/h, %.
    trim: [Range; 3],
    /// Lambda in the cylinders at full load.
    full: Range,
    /// Air meter against speed-density at idle, at 2500 rpm, at 100 km/h and at full load.
    meter: [Range; 4],
}

/// A meter that shows what the engine draws.
const EQUAL: Range = [0.95, 1.05];
/// Lambda of full load as it is meant to be.
const RICH: Range = [0.86, 0.90];

const fn near(figure: f64, tolerance: f64) -> Range {
    [figure - tolerance, figure + tolerance]
}

/// What is shown of an engine in one state.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Figures {
    pub(crate) trim: f64,
    pub(crate) lambda: f64,
    pub(crate) meter: f64,
    pub(crate) rpm: f64,
    pub(crate) manifold: f64,
    pub(crate) air: f64,
    pub(crate) throttle: f64,
}

impl Figures {
    /// Takes in one more look; the trims after learning are what the last 20 s show.
    fn add(&mut self, bench: &Bench) {
        let live = bench.ecu.live();
        let views = bench.ecu.control().air_estimates();

        self.trim += ((1.0 + live.short_term_trim[0].fraction()) * (1.0 + live.long_term_trim[0].fraction())
            - 1.0)
            * 100.0;
        self.lambda += bench.vehicle.lambda(0).fraction();
        self.meter += views.metered.grams_per_second() / views.density.grams_per_second().max(0.1);
        self.rpm += live.engine_speed.rpm();
        self.manifold += live.manifold_pressure.kilopascals();
        self.air += live.air_flow.grams_per_second();
        self.throttle += live.throttle_position.percent();
    }

    fn mean(self, looks: f64) -> Self {
        Self {
            trim: self.trim / looks,
            lambda: self.lambda / looks,
            meter: self.meter / looks,
            rpm: self.rpm / looks,
            manifold: self.manifold / looks,
            air: self.air / looks,
            throttle: self.throttle / looks,
        }
    }
}

/// Means over a time of holding on, ten looks a second.
fn look(bench: &mut Bench, seconds: u32, mut controls: impl FnMut(&Bench) -> DriverControls) -> Figures {
    let mut figures = Figures::default();
    let looks = seconds * 10;
    for _ in 0..looks {
        let controls = controls(bench);
        bench.hold(&controls, Duration::from_millis(100));
        figures.add(bench);
    }
    figures.mean(f64::from(looks))
}

fn parked(pedal: f64) -> DriverControls {
    DriverControls {
        key: KeyPosition::On,
        pedal: Ratio::from_fraction(pedal),
        ..DriverControls::default()
    }
}

/// A car driven until it is warm, idling in Park.
pub(crate) fn warm(seed: u64) -> Bench {
    let mut bench = Bench::new(seed);
    let speed = Speed::from_kilometres_per_hour(70.0);
    let cruise = Leg::Cruise {
        speed,
        span: Duration::from_secs(600),
    };
    bench.drive(Plan::new(vec![cruise, Leg::Stop]), |_| {});
    bench.idle(Duration::from_secs(60));
    bench
}

/// The four states one after another, each held until the trims have learned.
pub(crate) fn states(mut bench: Bench) -> [Figures; 4] {
    bench.idle(Duration::from_secs(150));
    let idle = look(&mut bench, 20, |_| parked(0.0));

    // A foot that holds 2500 rpm.
    let mut pedal = 0.1;
    let mut foot = |bench: &Bench| {
        let error = 2500.0 - bench.vehicle.engine_speed().rpm();
        pedal = (pedal + 2e-6 * error).clamp(0.0, 0.6);
        parked((pedal + 2e-5 * error).clamp(0.0, 0.6))
    };
    for _ in 0..1500 {
        let controls = foot(&bench);
        bench.hold(&controls, Duration::from_millis(100));
    }
    let fast = look(&mut bench, 20, foot);

    let cruise = Leg::Cruise {
        speed: Speed::from_kilometres_per_hour(100.0),
        span: Duration::from_secs(260),
    };
    let mut road = Figures::default();
    let mut looks = 0.0;
    let mut step = 0_u32;
    bench.drive(Plan::new(vec![cruise]), |moment| {
        step += 1;
        if moment.second > 200.0
            && moment.bench.vehicle.road_speed().kilometres_per_hour() > 97.0
            && step.is_multiple_of(10)
        {
            road.add(moment.bench);
            looks += 1.0;
        }
    });
    let road = road.mean(looks);

    let full = DriverControls {
        pedal: Ratio::from_fraction(1.0),
        selector: Selector::Drive,
        ..parked(0.0)
    };
    let mut load = Figures::default();
    let mut looks = 0.0;
    for _ in 0..200 {
        bench.hold(&full, Duration::from_millis(100));
        if bench.vehicle.engine_speed().rpm() > 4000.0
            && bench.ecu.control().air_estimates().plate.degrees() > 60.0
        {
            load.add(&bench);
            looks += 1.0;
        }
    }
    [idle, fast, road, load.mean(looks)]
}

/// What a leak, a hose, dirt, a sensor and a pump make of trims and meter.
const ROWS: &[Row] = &[
    Row {
        part: Part::Intake,
        kind: "leak",
        amount: Some(1.5),
        trim: [near(17.0, 3.5), near(5.0, 3.0), near(2.0, 3.0)],
        full: RICH,
        meter: [near(0.87, 0.03), EQUAL, EQUAL, EQUAL],
    },
    Row {
        part: Part::Intake,
        kind: "leak",
        amount: Some(2.5),
        trim: [near(31.0, 4.0), near(8.0, 3.0), near(3.0, 3.0)],
        full: RICH,
        meter: [near(0.78, 0.03), near(0.93, 0.03), EQUAL, EQUAL],
    },
    // Both trims at their ends, 1.25 by 1.30, and still lean.
    Row {
        part: Part::Intake,
        kind: "leak",
        amount: Some(6.0),
        trim: [near(62.0, 1.5), near(22.0, 4.0), near(9.0, 3.0)],
        full: RICH,
        meter: [near(0.52, 0.05), near(0.83, 0.03), near(0.92, 0.03), EQUAL],
    },
    // The valve gives 2 mm² at idle, more at load: like a leak, but less gone at 100 km/h.
    Row {
        part: Part::CrankcaseHose,
        kind: "off",
        amount: None,
        trim: [near(23.0, 4.0), near(6.0, 3.0), near(4.5, 3.0)],
        full: RICH,
        meter: [near(0.82, 0.03), near(0.94, 0.03), EQUAL, EQUAL],
    },
    // Air beside the meter before the throttle, and a meter that reads low, look the same to a tester.
    Row {
        part: Part::AirDuct,
        kind: "split",
        amount: Some(15.0),
        trim: [near(18.0, 3.5), near(18.0, 3.5), near(18.0, 3.5)],
        full: near(1.04, 0.03),
        meter: [near(0.85, 0.03); 4],
    },
    Row {
        part: Part::AirMeter,
        kind: "bias",
        amount: Some(-15.0),
        trim: [near(18.0, 3.5), near(18.0, 3.5), near(18.0, 3.5)],
        full: near(1.04, 0.03),
        meter: [near(0.85, 0.03); 4],
    },
    // Rich at idle, where part of it passes for vapour from the canister, and lean at load: opposite signs.
    Row {
        part: Part::AirMeter,
        kind: "dirty",
        amount: Some(20.0),
        trim: [near(-2.5, 2.5), near(3.5, 3.0), near(11.0, 3.5)],
        full: near(1.10, 0.03),
        meter: [
            near(1.05, 0.02),
            near(0.96, 0.03),
            near(0.90, 0.03),
            near(0.80, 0.02),
        ],
    },
    // A rail at another pressure shifts all loads alike; the meter agrees with the pressure.
    Row {
        part: Part::PressureRegulator,
        kind: "low",
        amount: Some(250.0),
        trim: [near(15.0, 3.5), near(14.0, 3.5), near(16.0, 3.5)],
        full: near(1.04, 0.03),
        meter: [EQUAL; 4],
    },
    // Rich, -10, -10 and -11 % in all; while purge flows, up to two thirds of it pass for vapour from the canister.
    Row {
        part: Part::FuelReturn,
        kind: "pinched",
        amount: Some(450.0),
        trim: [[-13.5, -3.0], [-13.5, -1.5], [-14.5, -3.5]],
        full: near(0.79, 0.03),
        meter: [EQUAL; 4],
    },
    // A pump that cannot give enough: nothing at idle, more the more fuel flows.
    Row {
        part: Part::FuelPump,
        kind: "weak",
        amount: Some(95.0),
        trim: [near(0.0, 3.5), near(1.0, 4.0), near(13.0, 6.0)],
        full: [1.0, 1.8],
        meter: [EQUAL; 4],
    },
    // -12, -4 and -2 % in all, less what passes for vapour.
    Row {
        part: Part::FuelInjector,
        kind: "leaking",
        amount: Some(0.02),
        trim: [[-16.0, -4.5], [-7.0, 1.0], near(-2.0, 3.0)],
        full: RICH,
        meter: [EQUAL; 4],
    },
    // False lean at idle, gone at speed.
    Row {
        part: Part::ExhaustManifold,
        kind: "leak",
        amount: Some(6.0),
        trim: [[5.0, 15.0], [0.0, 6.0], near(0.0, 3.0)],
        full: RICH,
        meter: [EQUAL; 4],
    },
    // Not the mixture's business: trims at rest.
    Row {
        part: Part::Throttle,
        kind: "dirty",
        amount: Some(40.0),
        trim: [near(0.0, 3.0); 3],
        full: RICH,
        meter: [EQUAL; 4],
    },
    Row {
        part: Part::Exhaust,
        kind: "restricted",
        amount: Some(100.0),
        trim: [near(0.0, 3.0); 3],
        full: RICH,
        meter: [EQUAL, EQUAL, EQUAL, near(0.91, 0.04)],
    },
];

const STATES: [&str; 4] = ["warm idle", "2500 rpm", "100 km/h", "full load"];

/// What of a row is not as it says.
fn wrong(row: &Row, figures: &[Figures; 4]) -> Vec<String> {
    let off = |what: &str, state: usize, found: f64, [low, high]: Range| {
        let is_off = !(low..=high).contains(&found);
        is_off.then(|| {
            format!(
                "{what} {found:.3} at {}, not {low:.3} to {high:.3}",
                STATES[state]
            )
        })
    };
    let trims = (0..3).filter_map(|state| off("trim", state, figures[state].trim, row.trim[state]));
    let meters = (0..4).filter_map(|state| off("meter", state, figures[state].meter, row.meter[state]));
    trims
        .chain(off("lambda", 3, figures[3].lambda, row.full))
        .chain(meters)
        .collect()
}

#[test]
fn a_healthy_car_shows_no_trim() {
    let healthy = Row {
        part: Part::Intake,
        kind: "",
        amount: None,
        trim: [near(0.0, 5.0); 3],
        full: RICH,
        meter: [EQUAL; 4],
    };
    let found = wrong(&healthy, &states(warm(17)));
    assert!(found.is_empty(), "{}", found.join("; "));
}

#[test]
fn each_cause_has_its_fingerprint() {
    let bench = warm(17);
    let mut all = Vec::new();
    for row in ROWS {
        let mut car = bench.clone();
        let defect = Defect::named(row.part, row.kind, row.amount).expect("in the catalogue");
        car.vehicle.set_defect(defect);
        for found in wrong(row, &states(car)) {
            all.push(format!("{defect}: {found}"));
        }
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
}

/// Throttle at idle: 15 % clean, 16 to 17 % dirty; a leak closes it.
#[test]
fn the_idle_plate_tells_dirt_from_a_leak() {
    let bench = warm(17);
    let at_idle = |part, kind, amount| {
        let mut car = bench.clone();
        let defect = Defect::named(part, kind, Some(amount)).expect("in the catalogue");
        car.vehicle.set_defect(defect);
        car.idle(Duration::from_secs(60));
        look(&mut car, 10, |_| parked(0.0)).throttle
    };
    let mut clean = bench.clone();
    let clean = look(&mut clean, 10, |_| parked(0.0)).throttle;
    let (dirty, leaking) = (
        at_idle(Part::Throttle, "dirty", 40.0),
        at_idle(Part::Intake, "leak", 6.0),
    );
    assert!((14.0..15.5).contains(&clean), "{clean} %");
    assert!(dirty > clean + 1.0 && dirty < clean + 3.5, "{dirty} %");
    assert!(leaking < clean - 0.5, "{leaking} %");
}
