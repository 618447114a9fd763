//! Frames on the in-memory bus, every node sending whenever it may; beside it, in the same run, the count of a frame's bits.
//!
//! Throughput is frames on the wire: each reaches every other node, and comes back to its sender as confirmation.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use twotrip_can::{
    CanId, Frame,
    memory_bus::{MemoryBus, NodeConfig, NodeId, Pacing},
    timing::{BitRate, frame_bits},
};
use twotrip_units::BusInstant;

const FRAMES: u32 = 1000;

/// Passes [`FRAMES`] frames; returns how many were received.
fn pass(bus: &mut MemoryBus, now: &mut BusInstant, nodes: &[NodeId]) -> u64 {
    let mut received = 0;
    for number in 0..FRAMES {
        let bytes = number.to_le_bytes();
        for (&node, id) in nodes.iter().zip(0x7E8..) {
            if bus.has_room(node) {
                let frame = Frame::padded(CanId::Standard(id), &bytes, 0x55);
                bus.send(*now, node, frame)
                    .unwrap_or_else(|error| panic!("{error}"));
            }
        }
        *now = bus.poll_timeout().unwrap_or(*now);
        black_box(bus.advance(*now));
        for &node in nodes {
            while let Some(frame) = bus.receive(node) {
                black_box(frame);
                received += 1;
            }
        }
    }
    received
}

fn bench(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("memory bus");
    group.throughput(Throughput::Elements(1));
    group.bench_function("bits of a frame", |bencher| {
        let frame = Frame::padded(CanId::Standard(0x7DF), &[2, 1, 0], 0);
        bencher.iter(|| frame_bits(black_box(&frame)));
    });
    group.throughput(Throughput::Elements(FRAMES.into()));
    for pacing in [Pacing::Instant, Pacing::Rate(BitRate::Kbit500)] {
        let name = match pacing {
            Pacing::Instant => "instant",
            Pacing::Rate(_) => "500 kbit/s",
        };
        for count in [2, 8] {
            group.bench_function(BenchmarkId::new(name, format!("{count} nodes")), |bencher| {
                let mut bus = MemoryBus::new(pacing);
                let config = NodeConfig {
                    receives_own: true,
                    ..NodeConfig::default()
                };
                let nodes: Vec<_> = (0..count).map(|_| bus.attach(config)).collect();
                let mut now = BusInstant::ZERO;
                bencher.iter(|| {
                    let received = pass(&mut bus, &mut now, &nodes);
                    assert_eq!(received, u64::from(FRAMES) * count);
                });
            });
        }
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
