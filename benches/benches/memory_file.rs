//! What it costs to keep the ECU's memory: beside each answer, whether the file is up to date; where it is not, writing
//! it, and waiting for the disk.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use twotrip_benches::lived_through;
use twotrip_host::memory_file::{MemoryFile, Options};

fn memory_file(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("memory file");
    let car = lived_through("loose-fuel-cap");
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    for (name, durable) in [("file", false), ("durable", true)] {
        let options = Options {
            durable,
            ..Options::default()
        };
        let (mut file, _) = MemoryFile::open(&folder.path().join(name), options).expect("it is new");
        file.write(&car).expect("it can be written");
        if !durable {
            group.bench_function("nothing has changed", |bencher| {
                bencher.iter(|| assert!(file.is_up_to_date(black_box(&car))));
            });
        }
        let name = if durable {
            "write, waiting for the disk"
        } else {
            "write"
        };
        group.bench_function(name, |bencher| {
            bencher.iter(|| file.write(black_box(&car)).expect("it can be written"));
        });
    }
    group.finish();
}

criterion_group!(benches, memory_file);
criterion_main!(benches);
