//! How long a step takes; run by hand: `cargo test --release -p twotrip-vehicle speed -- --ignored --nocapture`.

extern crate std;

use core::time::Duration;
use std::println;

use super::support::Bench;
use crate::{Driver, Plan, Vehicle, VehicleParams, schedule};

/// Processor time of this thread: other work on the machine does not count (Linux, `proc(5)`: schedstat).
fn processor_time() -> Duration {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("Linux counts processor time");
    let nanos = text
        .split_whitespace()
        .next()
        .and_then(|word| word.parse().ok())
        .expect("a number comes first");
    Duration::from_nanos(nanos)
}

#[test]
#[ignore = "a measurement, not a check"]
fn time_of_a_step() {
    let mut bench = Bench::new();
    bench.start();
    let mut driver = Driver::new(Plan::schedule(&schedule::UDDS));
    // Record one drive, then replay its inputs, so that only the car is timed.
    let mut inputs = std::vec::Vec::new();
    let begin = bench.car.clone();
    while !driver.finished() {
        let controls = driver.controls(bench.car.road_speed());
        bench.step(&controls);
        inputs.push((bench.actuators, controls));
    }
    let steps = u32::try_from(inputs.len()).expect("some 137 000");
    for _ in 0..5 {
        let mut car = begin.clone();
        let clock = processor_time();
        for (actuators, controls) in &inputs {
            car.step(actuators, controls);
        }
        let step = processor_time().saturating_sub(clock) / steps;
        let clock = processor_time();
        for _ in 0..100 {
            car.rest(Duration::from_secs(9 * 3600));
        }
        let soak = processor_time().saturating_sub(clock) / 100;
        let mut driver = Driver::new(Plan::schedule(&schedule::UDDS));
        let clock = processor_time();
        for _ in 0..steps {
            core::hint::black_box(driver.controls(car.road_speed()));
        }
        println!(
            "step {step:?}, nine hours {soak:?}, driver {:?}",
            processor_time().saturating_sub(clock) / steps
        );
    }
    let clock = processor_time();
    let mut car = Vehicle::new(VehicleParams::compact_2_0(), 1);
    for _ in 0..100_000 {
        car = core::hint::black_box(car.clone());
    }
    println!("clone {:?}", processor_time().saturating_sub(clock) / 100_000);
}
