//! What an answer costs inside the program, from the frame of the request to the frame of the answer; beside it,
//! in the same run, the least that any program must do: copy the frame and change its identifier.

use std::{hint::black_box, time::Duration};

use criterion::{Criterion, criterion_group, criterion_main};
use twotrip_benches::lived_through;
use twotrip_can::{CanId, Frame};
use twotrip_units::BusInstant;

fn answer(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("answer");
    let request = |bytes: &[u8]| Frame::padded(CanId::Standard(0x7DF), bytes, 0);

    group.bench_function("bare echo of a frame", |bencher| {
        let frame = request(&[2, 1, 0x0C]);
        bencher.iter(|| Frame::padded(CanId::Standard(0x7E8), black_box(&frame).data(), 0));
    });

    let mut car = lived_through("loose-fuel-cap");
    let mut now = BusInstant::ZERO;
    for (name, bytes) in [
        ("$01 engine speed", &[2, 1, 0x0C][..]),
        (
            "$01 six parameters, first frame",
            &[7, 1, 0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x11],
        ),
        ("$03 one code", &[1, 3]),
        ("$09 VIN, first frame", &[2, 9, 2]),
    ] {
        let frame = request(bytes);
        group.bench_function(name, |bencher| {
            bencher.iter(|| {
                // Far enough apart for an unanswered first frame to have timed out (N_Bs).
                now += Duration::from_millis(100);
                car.handle_frame(now, black_box(&frame));
                let answer = car.poll_frame(now);
                assert!(answer.is_some(), "the car did not answer {frame}");
                car.handle_transmitted(now);
                answer
            });
        });
    }
    group.finish();
}

criterion_group!(benches, answer);
criterion_main!(benches);
