//! The transport: frames of any kind at any time, sends and timeouts in between, in any setting.

use std::time::Duration;

use twotrip_can::{CanId, Frame, address::EcuAddress};
use twotrip_isotp::{Channel, Config, Dlc, Duplex, Event, FlowParameters, Profile, StMin, Timers};
use twotrip_units::BusInstant;

use crate::target::Target;

/// Frames polled for one step at the most: a whole message of 4095 bytes.
const FRAMES: usize = 600;

pub(crate) fn target() -> Target {
    let setting = [0, 0, 0, 0];
    // Steps: kind, milliseconds, length, bytes.
    let step = |kind: u8, bytes: &[u8]| {
        let mut step = vec![kind, 1, u8::try_from(bytes.len()).expect("short")];
        step.extend_from_slice(bytes);
        step
    };
    let single = step(0, &[2, 1, 0, 0, 0, 0, 0, 0]);
    let first = step(0, &[0x10, 0x14, 1, 2, 3, 4, 5, 6]);
    let next = step(0, &[0x21, 7, 8, 9, 10, 11, 12, 13]);
    let last = step(0, &[0x22, 14, 15, 16, 17, 18, 19, 20]);
    let send = step(4, &[40]);
    let go = step(0, &[0x30, 2, 10, 0, 0, 0, 0, 0]);
    let wait = step(0, &[0x31, 0, 0, 0, 0, 0, 0, 0]);
    let example = |steps: &[&Vec<u8>]| {
        let mut input = setting.to_vec();
        steps.iter().for_each(|step| input.extend_from_slice(step));
        input
    };
    Target {
        name: "transport",
        inputs: 60_000,
        longest: 2048,
        memory: 64 * 1024,
        examples: vec![
            example(&[&single]),
            example(&[&first, &next, &last]),
            example(&[&send, &go, &go, &go]),
            example(&[&send, &wait, &wait, &go, &first, &next, &go, &last]),
        ],
        feed,
    }
}

fn setting(bytes: [u8; 4]) -> Config {
    let [flags, block_size, st_min, limit] = bytes;
    let one = |bit: u8| flags & bit != 0;
    Config {
        profile: Profile {
            timers: if one(1) { Timers::GENERIC } else { Timers::OBD },
            dlc: if one(2) { Dlc::Lenient } else { Dlc::Strict },
            ..Profile::OBD
        },
        receive_limit: if one(4) { limit.into() } else { 4095 },
        transmit_limit: 4095,
        block_size,
        st_min: StMin::from_byte(st_min),
        duplex: if one(8) { Duplex::Half } else { Duplex::Full },
        flow_parameters: if one(16) {
            FlowParameters::Static
        } else {
            FlowParameters::Dynamic
        },
        ..Config::ecu(EcuAddress::ENGINE)
    }
}

fn feed(input: &[u8]) -> usize {
    let Some((head, mut steps)) = input.split_first_chunk::<4>() else {
        return 0;
    };
    let mut channel = Channel::new(setting(*head));
    let mut now = BusInstant::ZERO;
    let mut depth = 0;
    while let [kind, millis, length, rest @ ..] = steps {
        let (bytes, behind) = rest.split_at(usize::from(*length).min(rest.len()));
        steps = behind;
        now += Duration::from_millis(u64::from(*millis));
        let id = [0x7E0, 0x7DF, 0x7E8, 0x7E1][usize::from(kind & 3)];
        match kind >> 2 & 3 {
            0 => {
                let id = CanId::Standard(id);
                let classic = bytes.get(..bytes.len().min(8)).unwrap_or_default();
                let frame = if kind & 16 == 0 {
                    Frame::new(id, classic)
                } else {
                    Frame::fd(id, bytes, false, false).or_else(|| Frame::remote(id, *millis & 7))
                };
                if let Some(frame) = frame {
                    channel.handle_frame(now, &frame);
                }
            }
            1 => {
                let length = usize::from(bytes.first().copied().unwrap_or(0)) * 16;
                let _ = channel.send(now, &vec![0x5A; length]);
            }
            2 => channel.handle_timeout(now),
            _ => {
                if let Some(due) = channel.poll_timeout() {
                    now = now.max(due);
                    channel.handle_timeout(now);
                }
            }
        }
        let mut frames = 0;
        while let Some(frame) = channel.poll_frame(now) {
            assert!(frame.len() <= 64);
            frames += 1;
            assert!(frames <= FRAMES, "frames without end");
            if kind & 32 == 0 {
                channel.handle_transmitted(now);
            }
        }
        while let Some(event) = channel.poll_event() {
            if let Event::Received { addressing } = event {
                assert!(channel.message(addressing).len() <= 4095);
                depth += channel.message(addressing).len().min(64);
            }
        }
        depth += frames;
    }
    depth.min(4096)
}
