//! How fast the car lives: simulated seconds a second of processor time, and the same for a story up to `ready`.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use twotrip_benches::{CpuTime, SMALL_DEFECTS, car, live, lived_through};

/// Seconds that the driven schedule has (US EPA).
const UDDS_SECONDS: u64 = 1369;

fn simulation(criterion: &mut Criterion<CpuTime>) {
    let mut group = criterion.benchmark_group("simulation");
    group.sample_size(10);
    group.throughput(Throughput::Elements(UDDS_SECONDS));
    group.bench_function("healthy UDDS, elements are simulated seconds", |bencher| {
        bencher.iter_batched(
            car,
            |mut car| live(&mut car, &["drive udds"]),
            criterion::BatchSize::LargeInput,
        );
    });
    group.finish();

    // As many defects as there are parts, each as small as it can be, so that the car drives as a good one does.
    let mut group = criterion.benchmark_group("simulation with defects");
    group.sample_size(10);
    group.throughput(Throughput::Elements(UDDS_SECONDS));
    for count in [0, 5, 10] {
        group.bench_function(format!("UDDS with {count} active defects"), |bencher| {
            bencher.iter_batched(
                || {
                    let mut car = car();
                    live(&mut car, &SMALL_DEFECTS[..count]);
                    car
                },
                |mut car| live(&mut car, &["drive udds"]),
                criterion::BatchSize::LargeInput,
            );
        });
    }
    group.finish();

    let mut group = criterion.benchmark_group("fork");
    let mut running = car();
    live(&mut running, &["drive 50 km/h for 60 s"]);
    group.bench_function("of a running car", |bencher| bencher.iter(|| running.clone()));
    group.finish();

    let mut group = criterion.benchmark_group("ageing out");
    group.sample_size(10);
    group.bench_function("40 warm-up cycles, each a drive of 20 minutes", |bencher| {
        bencher.iter(|| {
            let mut car = car();
            for _ in 0..40 {
                live(
                    &mut car,
                    &[
                        "soak 6 h",
                        "drive idle 30 s, 50 km/h for 9 min, 80 km/h for 9 min, stop",
                        "key off",
                    ],
                );
            }
            car
        });
    });
    group.finish();

    let mut group = criterion.benchmark_group("story");
    group.sample_size(10);
    group.bench_function(
        "loose-fuel-cap up to ready: two cold trips of UDDS and HWFET",
        |bencher| {
            bencher.iter(|| lived_through("loose-fuel-cap"));
        },
    );
    group.finish();
}

criterion_group! {
    name = benches;
    config = Criterion::default().with_measurement(CpuTime);
    targets = simulation
}
criterion_main!(benches);
