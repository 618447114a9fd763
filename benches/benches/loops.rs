//! The whole read - clear - verify loop through the Rust interface (package `twotrip`), loops a second on one core: with all
//! drives of two repair orders, a long one and a short one, with a story lived through once and copied, and with codes preloaded.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use twotrip::{Builder, Car, Dtc};
use twotrip_benches::CpuTime;

/// Who is there, all three lists, the freeze frame's code, monitors: what is read before anything is done.
const READ: [&[u8]; 6] = [
    &[0x01, 0x00],
    &[0x03],
    &[0x07],
    &[0x0A],
    &[0x02, 0x02, 0x00],
    &[0x01, 0x01],
];

/// Reads everything; how many codes service $03 tells of.
fn read(car: &mut Car) -> u8 {
    let answers = READ.map(|request| car.ask(request).expect("a request"));
    answers[1].first().expect("the car answers")[1]
}

fn clear(car: &mut Car) {
    let answer = car.ask(&[0x04]).expect("a request");
    assert_eq!(answer.first(), Some(&[0x44][..]));
}

fn tell(car: &mut Car, phrases: &[&str]) {
    for phrase in phrases {
        car.tell(phrase).expect("it can be done");
    }
}

fn loops(criterion: &mut Criterion<CpuTime>) {
    let mut group = criterion.benchmark_group("loops");
    group.throughput(Throughput::Elements(1));
    group.sample_size(10);
    // A leak monitor runs once a trip, from cold, and wants a motorway: 9,500 s of the car's time.
    let capless = Builder::shipped("loose-fuel-cap").expect("shipped").at_once();
    group.bench_function(
        "whole, loose-fuel-cap: two trips of UDDS and HWFET, read, repair, clear, two such trips, read",
        |bencher| {
            bencher.iter(|| {
                let mut car = capless.build().expect("its story holds");
                assert_eq!(read(&mut car), 1);
                tell(&mut car, &["tighten fuel-cap"]);
                clear(&mut car);
                let trip = ["soak 9 h", "drive udds", "drive hwfet"];
                tell(&mut car, &trip);
                tell(&mut car, &trip);
                tell(&mut car, &["soak 1 h", "key on"]);
                assert_eq!(read(&mut car), 0);
            });
        },
    );

    // A circuit is watched all the time: a UDDS is a trip of it, and one without a result against it proves the repair.
    let pinned = Builder::shipped("fuel-level-sensor-open")
        .expect("shipped")
        .at_once();
    group.bench_function(
        "whole, fuel-level-sensor-open: two trips of UDDS, read, repair, clear, one such trip, read",
        |bencher| {
            bencher.iter(|| {
                let mut car = pinned.build().expect("its story holds");
                assert_eq!(read(&mut car), 1);
                tell(&mut car, &["mend wiring fuel-level-sensor"]);
                clear(&mut car);
                tell(&mut car, &["soak 9 h", "drive udds", "soak 1 h", "key on"]);
                tell(&mut car, &["expect no pending", "expect no confirmed"]);
                assert_eq!(read(&mut car), 0);
            });
        },
    );

    group.sample_size(50);
    let story = capless.build().expect("its story holds");
    group.bench_function(
        "a copy of the story's car: read, repair, clear, read",
        |bencher| {
            bencher.iter(|| {
                let mut car = story.clone();
                assert_eq!(read(&mut car), 1);
                tell(&mut car, &["tighten fuel-cap"]);
                clear(&mut car);
                assert_eq!(read(&mut car), 0);
            });
        },
    );

    let parked = Builder::of_vehicle("compact-2.0")
        .and_then(|car| car.story("key on"))
        .and_then(|car| car.at_once().build())
        .expect("a car");
    group.bench_function("preloaded: a code, read, clear, read", |bencher| {
        bencher.iter(|| {
            let mut car = parked.clone();
            car.preload_confirmed(&[Dtc::p(0x0301)])
                .expect("a code that it has");
            assert_eq!(read(&mut car), 1);
            clear(&mut car);
            assert_eq!(read(&mut car), 0);
        });
    });
    group.finish();
}

criterion_group! {
    name = benches;
    config = Criterion::default().with_measurement(CpuTime);
    targets = loops
}
criterion_main!(benches);
