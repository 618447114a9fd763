//! Moving the longest message of classic ISO-TP between two channels; beside it, in the same run, a plain copy.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use twotrip_can::address::EcuAddress;
use twotrip_isotp::{Channel, Config, Event};
use twotrip_units::BusInstant;

const LONGEST: usize = 4095;

/// Moves one message from the ECU's channel to the tester's.
fn transfer(ecu: &mut Channel, tester: &mut Channel, message: &[u8]) -> usize {
    let now = BusInstant::ZERO;
    ecu.send(now, message).unwrap_or_else(|error| panic!("{error}"));
    loop {
        let mut moved = false;
        while let Some(frame) = ecu.poll_frame(now) {
            ecu.handle_transmitted(now);
            tester.handle_frame(now, &frame);
            moved = true;
        }
        while let Some(frame) = tester.poll_frame(now) {
            tester.handle_transmitted(now);
            ecu.handle_frame(now, &frame);
            moved = true;
        }
        while ecu.poll_event().is_some() {}
        while let Some(event) = tester.poll_event() {
            if let Event::Received { addressing } = event {
                return tester.message(addressing).len();
            }
        }
        assert!(moved, "the transfer is stuck");
    }
}

fn bench(criterion: &mut Criterion) {
    let message: Vec<u8> = (0..LONGEST).map(|i| i.to_le_bytes()[0]).collect();
    let mut group = criterion.benchmark_group("transfer");
    group.throughput(Throughput::Bytes(4095));
    group.bench_function("plain copy of 4095 bytes in pieces of 7", |bencher| {
        let mut target = vec![0; LONGEST];
        bencher.iter(|| {
            for (to, from) in target.chunks_mut(7).zip(black_box(&message).chunks(7)) {
                to.copy_from_slice(from);
            }
            target[LONGEST - 1]
        });
    });
    group.bench_function("4095 bytes, channel to channel", |bencher| {
        let mut ecu = Channel::new(Config::ecu(EcuAddress::ENGINE));
        let mut tester = Channel::new(Config::tester(EcuAddress::ENGINE));
        bencher.iter(|| {
            let received = transfer(&mut ecu, &mut tester, black_box(&message));
            assert_eq!(received, LONGEST);
        });
    });
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
