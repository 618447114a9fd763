//! A long recording with nothing made up in it: a car drives, and a tester scans it and watches its values, over and
//! over.

use std::time::Duration;

use twotrip_can::{CanId, Frame};
use twotrip_capture::{Direction, write};
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_units::BusInstant;

use crate::{live_through, phrase};

/// What a scan asks, once.
const SCAN: &[&[u8]] = &[
    &[0x01, 0x00],
    &[0x01, 0x20],
    &[0x01, 0x40],
    &[0x01, 0x01],
    &[0x03],
    &[0x07],
    &[0x0A],
    &[0x02, 0x00, 0x00],
    &[0x02, 0x02, 0x00],
    &[0x02, 0x0C, 0x00],
    &[0x06, 0x00],
    &[0x06, 0x01],
    &[0x06, 0x20],
    &[0x06, 0x21],
    &[0x06, 0x3B],
    &[0x09, 0x00],
    &[0x09, 0x02],
    &[0x09, 0x04],
    &[0x09, 0x06],
    &[0x09, 0x08],
    &[0x09, 0x0A],
];

/// What is watched, in turn: by one, and by six at a time.
const WATCH: &[&[u8]] = &[
    &[0x01, 0x0C],
    &[0x01, 0x0D],
    &[0x01, 0x05],
    &[0x01, 0x04],
    &[0x01, 0x10],
    &[0x01, 0x11],
    &[0x01, 0x06],
    &[0x01, 0x14],
    &[0x01, 0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x11],
];

/// Turns of watching between two scans.
const TURNS: usize = 60;

/// From one question to the next, where the answer takes no longer.
const PERIOD: Duration = Duration::from_millis(20);

/// Nanoseconds from 1970 to the beginning of the recording.
const BEGINNING: u64 = 1_764_000_000_000_000_000;

/// The car, the tester and their bus.
struct Bus<F> {
    car: Simulator,
    now: BusInstant,
    frames: u64,
    wanted: u64,
    take: F,
}

impl<F: FnMut(BusInstant, Direction, &Frame)> Bus<F> {
    fn pass(&mut self, direction: Direction, frame: &Frame) {
        if self.frames < self.wanted {
            (self.take)(self.now, direction, frame);
            self.frames += 1;
        }
    }

    /// A question, its answer with flow control, and the time to the next question.
    fn ask(&mut self, bytes: &[u8]) {
        let begun = self.now;
        let length = u8::try_from(bytes.len()).unwrap_or_default();
        let request = Frame::padded(CanId::Standard(0x7DF), &[&[length], bytes].concat(), 0);
        self.pass(Direction::Inbound, &request);
        self.car.handle_frame(self.now, &request);
        while let Some(at) = self.car.poll_timeout().filter(|&at| at < begun + PERIOD * 10) {
            self.now = at.max(self.now);
            self.car.handle_timeout(self.now);
            while let Some(frame) = self.car.poll_frame(self.now) {
                self.pass(Direction::Outbound, &frame);
                self.car.handle_transmitted(self.now);
                if frame.data()[0] >> 4 == 1 {
                    self.now += Duration::from_micros(400);
                    let flow_control = Frame::padded(CanId::Standard(0x7E0), &[0x30, 0, 0], 0);
                    self.pass(Direction::Inbound, &flow_control);
                    self.car.handle_frame(self.now, &flow_control);
                }
            }
        }
        self.now = self.now.max(begun + PERIOD);
        self.drive(self.now.saturating_since(begun));
    }

    fn drive(&mut self, span: Duration) {
        if !self.car.is_busy() {
            self.car.tell(phrase("drive udds"));
        }
        self.car.work(span);
        while self.car.poll_event().is_some() {}
    }
}

/// Hands on so many frames of scans and watched values, the same in every run.
pub fn sessions(frames: u64, take: impl FnMut(BusInstant, Direction, &Frame)) {
    let mut bus = Bus {
        car: live_through(
            "loose-fuel-cap",
            Simulator::new(Settings::compact(1, Timing::REAL)),
        ),
        now: BusInstant::ZERO,
        frames: 0,
        wanted: frames,
        take,
    };
    // The key is on, and the engine runs, from the first second of a drive on.
    bus.drive(Duration::from_secs(5));
    while bus.frames < frames {
        for request in SCAN {
            bus.ask(request);
        }
        for _ in 0..TURNS {
            for request in WATCH {
                bus.ask(request);
            }
        }
    }
}

/// What stands before the frames of a recording.
pub fn header(out: &mut Vec<u8>) {
    write::section(
        out,
        &write::Section {
            application: "twotrip benches",
            ..Default::default()
        },
    );
    write::interface(
        out,
        &write::Interface {
            name: "vcan0",
            ..Default::default()
        },
    );
}

/// One frame of a recording.
pub fn packet(out: &mut Vec<u8>, at: BusInstant, direction: Direction, frame: &Frame) {
    let packet = write::Packet {
        interface: 0,
        at: BEGINNING + at.as_nanos(),
        direction: Some(direction),
        dropped: 0,
        frame,
    };
    write::packet(out, &packet, []);
}
