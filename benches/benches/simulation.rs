//! How fast the car lives: simulated seconds a second of processor time, and the same for a story up to `ready`.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use twotrip_benches::{CpuTime, car, live, lived_through};

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
