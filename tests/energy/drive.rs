//! Drives the published schedules with car and ECU and says, as JSON, what they took: for `compare.py`.

use std::time::Instant;

use serde_json::json;
use twotrip_scenario::parse_phrase;
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_vehicle::{STEP, schedule::Schedule};

fn main() {
    let road = Simulator::new(Settings::compact(1, Timing::FAST))
        .car()
        .vehicle()
        .road();
    let drives: Vec<_> = Schedule::ALL.into_iter().map(drive).collect();
    println!(
        "{}",
        json!({
            "mass_kg": road.mass_kg,
            "rotating_share": road.rotating_share,
            "road_load": road.load,
            "power_watts": 97_000,
            "joules_per_gram": 42_600,
            "drives": drives,
        })
    );
}

/// One schedule from a cold start at 20 °C; the time is that of the drive alone.
fn drive(schedule: &'static Schedule) -> serde_json::Value {
    let mut car = Simulator::new(Settings::compact(1, Timing::FAST));
    for phrase in ["start", &format!("drive {}", schedule.name())] {
        car.tell(parse_phrase(phrase).expect("a phrase"));
    }
    let road = car.car().vehicle().road();
    let begun = Instant::now();
    let mut wheel_joules = 0.0;
    let mut top = 0.0_f64;
    let mut seconds = 0.0;
    while car.is_busy() {
        car.work(STEP);
        let vehicle = car.car().vehicle();
        let speed = vehicle.road_speed().metres_per_second();
        let force = road.force(speed, vehicle.acceleration().metres_per_second_squared());
        wheel_joules += (force * speed).max(0.0) * STEP.as_secs_f64();
        top = top.max(speed);
        seconds += STEP.as_secs_f64();
    }
    json!({
        "schedule": schedule.name(),
        "schedule_seconds": schedule.duration().as_secs_f64(),
        "seconds": seconds,
        "took_seconds": begun.elapsed().as_secs_f64(),
        "metres": car.car().vehicle().distance().metres(),
        "top_metres_per_second": top,
        "wheel_joules": wheel_joules,
        "fuel_grams": car.car().vehicle().fuel_used().grams(),
    })
}
