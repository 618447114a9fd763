//! Misfire: from the firing that fails to counts, code, blinking lamp and catalyst.
//!
//! Regression: figures that the same equations gave on a prototype. Evidence: published limits and behaviour (service
//! information of several makers, 13 CCR 1968.2(e)(3)), named as such.

use std::time::Duration;

use twotrip_ecu::{
    memory::{Effect, Lamp},
    monitors::MISFIRE,
};
use twotrip_obd::Mid;
use twotrip_units::{Length, Ratio, Speed, Temperature};
use twotrip_vehicle::{Defect, Leg, Part, Plan, Surface, schedule};

use crate::bench::Bench;

const NIGHT: Duration = Duration::from_secs(9 * 3600);

fn named(part: Part, kind: &str, amount: Option<f64>) -> Defect {
    Defect::named(part, kind, amount).unwrap()
}

fn cruise(kilometres_per_hour: f64, seconds: u64) -> Plan {
    Plan::new(vec![Leg::Cruise {
        speed: Speed::from_kilometres_per_hour(kilometres_per_hour),
        span: Duration::from_secs(seconds),
    }])
}

/// Counts of the driving cycle: all, then by cylinder.
fn counts(bench: &Bench) -> [f64; 7] {
    *bench.ecu.monitors().misfire().counts()
}

/// Evidence: service $06 of healthy cars shows 0 to 5 counts a driving cycle; here over three schedules in one, up to
/// full throttle and 6000 rpm, in the cold and on a mountain in summer.
#[test]
fn a_healthy_engine_is_never_accused() {
    for (celsius, metres, seed) in [(20.0, 0.0, 1), (-7.0, 0.0, 2), (35.0, 1500.0, 3), (20.0, 0.0, 4)] {
        let mut bench = Bench::new(seed);
        bench.vehicle.set_ambient(Temperature::from_celsius(celsius));
        bench.vehicle.set_altitude(Length::from_metres(metres));
        bench.park(NIGHT);
        for schedule in [&schedule::UDDS, &schedule::HWFET, &schedule::US06] {
            bench.drive(Plan::schedule(schedule), |_| {});
        }
        let [all, ..] = counts(&bench);
        assert!(
            all <= 8.0,
            "{celsius} degC, {metres} m: {all} counts in 110 minutes"
        );
        let stored: Vec<_> = bench
            .pending()
            .into_iter()
            .filter(|code| code.starts_with("P03"))
            .collect();
        assert!(stored.is_empty(), "{celsius} degC, {metres} m: {stored:?}");
    }
}

/// A rough road swings the crank as misfire would; an ECU that is told of it does not judge there, one that is not finds misfire
/// that there is none of. Back on a smooth road misfire is found again.
#[test]
fn a_rough_road_is_no_misfire() {
    for unplugged in [false, true] {
        let mut bench = Bench::new(5);
        bench.park(NIGHT);
        bench.vehicle.set_surface(Surface::Rough);
        bench.body_unplugged = unplugged;
        let mut waits = String::new();
        bench.drive(
            Plan::new(
                [(50.0, 300), (80.0, 300), (110.0, 300)]
                    .map(|(speed, seconds)| Leg::Cruise {
                        speed: Speed::from_kilometres_per_hour(speed),
                        span: Duration::from_secs(seconds),
                    })
                    .to_vec(),
            ),
            |moment| {
                if moment.second > 500.0 && waits.is_empty() {
                    let gate = moment.bench.ecu.monitors().gate(MISFIRE);
                    let missing = gate.and_then(|(_, gate)| gate.missing());
                    waits = missing.map_or_else(|| "runs".to_owned(), |missing| missing.to_string());
                }
            },
        );
        let [all, ..] = counts(&bench);
        if unplugged {
            assert_eq!(waits, "runs");
            assert!(all > 500.0, "{all} counts");
            assert_eq!(bench.pending(), ["P0300"]);
        } else {
            assert_eq!(waits, "rough road, needs a smooth road");
            assert!(all <= 3.0, "{all} counts");
            assert!(bench.pending().is_empty());
            bench.vehicle.set_surface(Surface::Smooth);
            bench
                .vehicle
                .set_defect(named(Part::SparkPlug2, "worn", Some(20.0)));
            bench.drive(cruise(80.0, 400), |_| {});
            assert_eq!(bench.pending(), ["P0302"]);
        }
    }
}

/// 13 CCR 1968.2(e)(3.4.1)(A)(ii): the lamp blinks once a second in the first driving cycle, and goes dark when the
/// misfire is gone; nothing is confirmed yet. The engine runs in open loop meanwhile, and learns nothing.
#[test]
fn a_dead_cylinder_blinks_the_lamp_in_the_first_trip() {
    let mut bench = Bench::new(5);
    bench.park(NIGHT);
    bench.drive(cruise(60.0, 600), |_| {});
    let learned = bench.ecu.live().long_term_trim[0];
    bench
        .vehicle
        .set_defect(named(Part::SparkPlug2, "worn", Some(100.0)));
    bench.drive(cruise(60.0, 120), |_| {});
    assert_eq!(
        (bench.pending(), bench.confirmed()),
        (vec!["P0302".to_owned()], vec![])
    );
    assert_eq!(bench.ecu.memory().lamp(bench.now()), Lamp::Blinking);
    assert!(!bench.ecu.control().is_closed_loop(), "open loop");
    assert!((bench.ecu.live().long_term_trim[0] - learned).abs() < Ratio::from_percent(2.0));
    // Ten seconds of the bulb: half a second each way.
    let mut shone = vec![];
    for _ in 0..1000 {
        bench.idle(Duration::from_millis(10));
        shone.push(bench.actuators().mil);
    }
    let turns = shone.windows(2).filter(|pair| pair[0] != pair[1]).count();
    let lit = shone.iter().filter(|&&lit| lit).count();
    assert!(
        (19..=21).contains(&turns) && (480..=520).contains(&lit),
        "{turns} turns, {lit} lit"
    );
    // All of it in cylinder 2, by service $06.
    let [all, _, second, ..] = counts(&bench);
    assert!(all > 500.0 && second / all > 0.99, "{second} of {all}");
    let rows: Vec<String> = [0xA1, 0xA3]
        .into_iter()
        .flat_map(|mid| bench.ecu.monitors().test_results(Mid::new(mid)))
        .map(|result| result.to_string())
        .collect();
    assert_eq!(rows.len(), 4, "{rows:?}");
    // A new plug: the lamp goes dark within the next 200 turns.
    let _cured = bench
        .vehicle
        .repair(Part::SparkPlugs, twotrip_vehicle::Work::Replace);
    bench.drive(cruise(60.0, 60), |_| {});
    assert_eq!(bench.ecu.memory().lamp(bench.now()), Lamp::Off);
    assert_eq!(bench.pending(), ["P0302"]);
}

/// Regression, at 100 km/h: the brick settles at 675 degC; with 10 % of the firings lost at about 900, with a quarter
/// above 1100 (the model's equations alone say 1200). Evidence: one maker takes 950 degC for its limit of damage.
#[test]
fn unburnt_fuel_heats_the_catalyst() {
    let warm = {
        let mut bench = Bench::new(7);
        bench.drive(cruise(100.0, 700), |_| {});
        bench
    };
    for (defect, low, high) in [
        (None, 620.0, 740.0),
        (Some(named(Part::Fuel, "stale", Some(10.0))), 820.0, 960.0),
        (Some(named(Part::SparkPlug1, "worn", Some(100.0))), 1100.0, 1400.5),
    ] {
        let mut bench = warm.clone();
        if let Some(defect) = defect {
            bench.vehicle.set_defect(defect);
        }
        let mut settled = 0.0;
        bench.drive(cruise(100.0, 300), |moment| {
            if moment.second < 290.0 {
                settled = moment.bench.vehicle.catalyst_temperature(0).celsius();
            }
        });
        assert!((low..high).contains(&settled), "{defect:?}: {settled} degC");
    }
}

/// Random misfires of 8 % read lean on the road (common practice: 5 to 10 % of trim for one firing in ten).
#[test]
fn random_misfire_reads_lean_on_the_road() {
    let mut bench = Bench::new(9);
    bench.drive(cruise(80.0, 700), |_| {});
    let trim = |bench: &Bench| {
        let live = bench.ecu.live();
        let factor = |ratio: Ratio| 1.0 + ratio.fraction();
        100.0 * (factor(live.short_term_trim[0]) * factor(live.long_term_trim[0]) - 1.0)
    };
    let mean = |bench: &mut Bench, plan: Plan| {
        let (mut sum, mut steps) = (0.0, 0.0);
        bench.drive(plan, |moment| {
            if moment.second > 60.0 {
                sum += trim(moment.bench);
                steps += 1.0;
            }
        });
        sum / steps
    };
    let healthy = mean(&mut bench, cruise(100.0, 180));
    bench.vehicle.set_defect(named(Part::Fuel, "stale", Some(8.0)));
    let road = mean(&mut bench, cruise(100.0, 180)) - healthy;
    assert!((3.5..10.0).contains(&road), "{road} % on the road");
}

/// The count follows the part: coils of cylinders 1 and 4 swapped, then the valve that cannot be.
#[test]
fn the_code_follows_the_part_that_is_swapped() {
    let mut bench = Bench::new(11);
    bench.park(NIGHT);
    bench.vehicle.set_defect(named(Part::Coil1, "weak", Some(40.0)));
    bench.drive(cruise(60.0, 240), |_| {});
    assert_eq!(bench.pending(), ["P0301"]);
    assert!(bench.vehicle.swap(Part::Coil1, Part::Coil4));
    assert!(
        !bench.vehicle.swap(Part::SparkPlug1, Part::SparkPlug4),
        "the plugs are good"
    );
    bench.park(NIGHT);
    bench.clear();
    bench.drive(cruise(60.0, 240), |_| {});
    assert_eq!(bench.pending(), ["P0304"]);
}

/// A coil that fails hot: nothing while cold; the freeze frame is of a warm engine under way.
#[test]
fn a_hot_coil_shows_in_its_freeze_frame() {
    use twotrip_vehicle::defect::{Course, When};
    let mut bench = Bench::new(13);
    bench.park(NIGHT);
    let coil = named(Part::Coil3, "weak", Some(40.0)).with_course(Course::When(When::HotterThan(82.0)));
    bench.vehicle.set_defect(coil);
    bench.drive(cruise(90.0, 900), |_| {});
    assert_eq!(bench.pending(), ["P0303"]);
    let (second, _) = bench
        .effects
        .iter()
        .find(|(_, effect)| matches!(effect, Effect::PendingStored(_)))
        .copied()
        .unwrap();
    let started = bench
        .effects
        .iter()
        .find(|(_, effect)| *effect == Effect::DrivingCycleStarted)
        .map(|(second, _)| *second)
        .unwrap();
    assert!(
        second - started > 200.0,
        "only once it is hot: {} s",
        second - started
    );
    let frame = bench.ecu.memory().freeze_frame().expect("stored with the code");
    assert!(frame.data.coolant_temperature.celsius() > 80.0);
    assert!(frame.data.vehicle_speed.kilometres_per_hour() > 60.0);
    assert!(frame.data.calculated_load.percent() > 30.0);
}

/// An open winding is named by its own driver, beside the misfire that it is.
#[test]
fn an_open_coil_is_named_by_its_driver() {
    let mut bench = Bench::new(15);
    bench.park(NIGHT);
    bench.vehicle.set_defect(named(Part::Coil2, "open", None));
    bench.drive(cruise(60.0, 120), |_| {});
    let mut pending = bench.pending();
    pending.sort();
    assert_eq!(pending, ["P0302", "P0352"]);
}
