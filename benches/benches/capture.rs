//! Recordings: blocks read and written, frames read in them, and what was said understood.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use twotrip_can::{CanId, Frame};
use twotrip_capture::{Direction, Item, items, write};
use twotrip_dialogue::{Dialogue, Event, conduct::Conduct};
use twotrip_units::BusInstant;

/// Frames of a recording.
const FRAMES: u32 = 100_000;

/// Requests and answers, flow control among them, over and over.
fn talk() -> Vec<Frame> {
    let say = |id, data: &[u8]| Frame::padded(CanId::Standard(id), data, 0);
    let round = [
        say(0x7DF, &[2, 0x01, 0x0C]),
        say(0x7E8, &[4, 0x41, 0x0C, 0x1A, 0xF8]),
        say(0x7DF, &[1, 0x03]),
        say(0x7E8, &[4, 0x43, 0x01, 0x04, 0x55]),
        say(0x7DF, &[2, 0x09, 0x02]),
        say(0x7E8, &[0x10, 20, 0x49, 2, 1, 0x30, 0x54, 0x57]),
        say(0x7E0, &[0x30, 0, 0]),
        say(0x7E8, &[0x21, 0x30, 0x30, 0x54, 0x52, 0x50, 0x33, 0x41]),
        say(0x7E8, &[0x22, 0x30, 0x30, 0x30, 0x30, 0x30, 0x34, 0x32]),
        say(0x1F0, &[1, 2, 3, 4, 5, 6, 7, 8]),
    ];
    round.into_iter().cycle().take(FRAMES as usize).collect()
}

fn recording(frames: &[Frame], out: &mut Vec<u8>) {
    out.clear();
    write::section(out, &write::Section::default());
    write::interface(out, &write::Interface::default());
    for (at, frame) in (0..).zip(frames) {
        let packet = write::Packet {
            interface: 0,
            at: 1_764_000_000_000_000_000 + at * 7_000_000,
            direction: Some(Direction::Inbound),
            dropped: 0,
            frame,
        };
        write::packet(out, &packet, []);
    }
}

fn capture(criterion: &mut Criterion) {
    let frames = talk();
    let mut file = Vec::new();
    recording(&frames, &mut file);
    let mut group = criterion.benchmark_group("capture");
    group.throughput(Throughput::Elements(u64::from(FRAMES)));
    let mut out = Vec::with_capacity(file.len());
    group.bench_function("write", |bencher| {
        bencher.iter(|| recording(black_box(&frames), &mut out));
    });
    group.bench_function("read blocks", |bencher| {
        bencher.iter(|| {
            let packets = items(black_box(&file)).filter(|item| matches!(item, Ok(Item::Packet(_))));
            assert_eq!(packets.count(), frames.len());
        });
    });
    group.bench_function("read frames", |bencher| {
        bencher.iter(|| {
            let frames = items(black_box(&file)).filter_map(|item| match item {
                Ok(Item::Packet(packet)) => packet.frame().ok(),
                _ => None,
            });
            frames.map(|frame| u64::from(frame.data()[0])).sum::<u64>()
        });
    });
    group.bench_function("understand", |bencher| {
        bencher.iter(|| {
            let mut dialogue = Dialogue::default();
            let mut events = 0;
            for (number, frame) in (0..).zip(&frames) {
                dialogue.on_frame(number, BusInstant::from_millis(number * 7), frame);
                while dialogue.poll_event().is_some() {
                    events += 1;
                }
            }
            events
        });
    });
    // As a run does it: what messages were in is given back.
    for (name, is_judged) in [("understand, given back", false), ("understand and judge", true)] {
        let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
        let mut number = 0;
        group.bench_function(name, |bencher| {
            bencher.iter(|| {
                for frame in &frames {
                    number += 1;
                    dialogue.on_frame(number, BusInstant::from_millis(number * 7), frame);
                    while let Some(event) = dialogue.poll_event() {
                        if is_judged {
                            conduct.on_event(&event);
                        }
                        if let Event::Message(message) = event {
                            dialogue.recycle(message);
                        }
                    }
                }
            });
        });
    }
    group.finish();
}

criterion_group!(benches, capture);
criterion_main!(benches);
