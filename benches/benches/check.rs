//! Reading and checking scenario files: a thousand that are good, and a thousand with a slip in each.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use twotrip_scenario::{Scenario, shipped};

const FILES: usize = 1000;

/// The shipped scenarios in turn, each file with a seed of its own.
fn files() -> Vec<String> {
    let one = |(number, shipped): (usize, &shipped::Shipped)| {
        shipped
            .text
            .replacen("version = 1\n", &format!("version = 1\nseed = {number}\n"), 1)
    };
    shipped::ALL
        .iter()
        .cycle()
        .take(FILES)
        .enumerate()
        .map(one)
        .collect()
}

fn bench(criterion: &mut Criterion) {
    let good = files();
    let bad: Vec<String> = good.iter().map(|file| file.replace("key on", "kay on")).collect();
    let mut group = criterion.benchmark_group("check");
    group.throughput(Throughput::Elements(FILES.try_into().unwrap_or(0)));
    group.sample_size(20);
    group.bench_function("1000 good files", |bencher| {
        bencher.iter(|| {
            for file in &good {
                let scenario = Scenario::parse(black_box(file.as_bytes()));
                assert!(scenario.is_ok(), "{file}");
                drop(black_box(scenario));
            }
        });
    });
    group.bench_function("1000 files with a slip", |bencher| {
        bencher.iter(|| {
            for file in &bad {
                let problems = Scenario::parse(black_box(file.as_bytes()));
                assert!(problems.is_err(), "{file}");
                drop(black_box(problems));
            }
        });
    });
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
