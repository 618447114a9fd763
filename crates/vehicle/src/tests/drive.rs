//! Schedules driven: speed trace, distance, road-load energy, fuel.

extern crate std;
use std::println;

use super::support::Bench;
use crate::{Driver, Plan, schedule};

struct Driven {
    fuel_g: f64,
    distance_m: f64,
    road_load_mj: f64,
    worst_mph: f64,
}

fn drive(bench: &mut Bench, schedule: &'static schedule::Schedule) -> Driven {
    let mut driver = Driver::new(Plan::schedule(schedule));
    let start = (bench.car.fuel_used().grams(), bench.car.distance().metres());
    let road = bench.car.params.driveline.clone();
    let mut road_load_j = 0.0;
    let mut worst: f64 = 0.0;
    let mut step: u64 = 0;
    let (mut rpm, mut map, mut flow, mut peak) = (0.0, 0.0, 0.0, 0.0_f64);
    while !driver.finished() {
        let controls = driver.controls(bench.car.road_speed());
        bench.step(&controls);
        step += 1;
        let speed = bench.car.road_speed().metres_per_second();
        road_load_j += road.road_load_at(speed) * speed * 0.01;
        let at = core::time::Duration::from_millis(step * 10);
        // Within 2 mph of the trace somewhere within a second.
        let second = core::time::Duration::from_secs(1);
        let (mut low, mut high) = (f64::MAX, f64::MIN);
        for k in 0..=20_u32 {
            let v = schedule
                .speed((at + second / 10 * k).saturating_sub(second))
                .miles_per_hour();
            low = low.min(v);
            high = high.max(v);
        }
        let mph = bench.car.road_speed().miles_per_hour();
        let miss = (mph - high).max(low - mph);
        if miss > worst {
            worst = miss;
            if std::env::var("V").is_ok() {
                println!(
                    "{} s: {miss:.2} mph, gear {} pedal {:.2} rpm {:.0}",
                    step / 100,
                    bench.car.gear(),
                    controls.pedal.fraction(),
                    bench.car.engine_speed().rpm()
                );
            }
        }
        rpm += bench.car.engine_speed().rpm();
        map += bench.car.manifold_pressure().kilopascals();
        let f = bench.car.cylinder_flow().grams_per_second();
        flow += f;
        peak = peak.max(f);
    }
    let n = step as f64;
    println!(
        "{}: mean rpm {:.0} map {:.1} flow {:.2} peak {:.1} cut {:.0} s coolant {:.1} brick {:.0}",
        schedule.name(),
        rpm / n,
        map / n,
        flow / n,
        peak,
        f64::from(bench.fuel_cut_steps) / 100.0,
        bench.car.coolant_temperature().celsius(),
        bench.car.catalyst_temperature().celsius()
    );
    let d = Driven {
        fuel_g: bench.car.fuel_used().grams() - start.0,
        distance_m: bench.car.distance().metres() - start.1,
        road_load_mj: road_load_j * 1e-6,
        worst_mph: worst,
    };
    println!(
        "fuel {:.0} g dist {:.0} road {:.3} MJ worst {:.2} mph",
        d.fuel_g, d.distance_m, d.road_load_mj, d.worst_mph
    );
    d
}

#[test]
fn udds() {
    let mut bench = Bench::new();
    bench.start();
    drive(&mut bench, &schedule::UDDS);
    drive(&mut bench, &schedule::HWFET);
}
