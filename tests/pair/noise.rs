//! Whatever frames come, in whatever order and at whatever time: no panic, no memory beyond the start's, no frame
//! that breaks the rules, and a clean transfer afterwards.

use std::time::Duration;

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use twotrip_can::{CanId, Frame, address::EcuAddress};
use twotrip_isotp::{
    Channel, Config, Dlc, Duplex, Event, FlowParameters, Frames, Pdu, Profile, StMin, Timers, TxDl,
};
use twotrip_scenario::parse_phrase;
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_units::BusInstant;

/// What happens in one storm, and how long a flood is.
const ROUNDS: usize = 2_000;
const FRAMES: usize = 40_000;

/// Dice for frames, settings and times.
struct Dice(ChaCha8Rng);

impl Dice {
    fn below(&mut self, end: u32) -> u32 {
        self.0.next_u32() % end
    }

    fn byte(&mut self) -> u8 {
        self.0.next_u32().to_le_bytes()[0]
    }

    fn bytes(&mut self, longest: u32) -> Vec<u8> {
        let mut bytes = vec![0; usize::try_from(self.below(longest + 1)).expect("small")];
        self.0.fill_bytes(&mut bytes);
        bytes
    }

    fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        let index = self.below(u32::try_from(choices.len()).expect("few"));
        choices[usize::try_from(index).expect("small")]
    }

    fn config(&mut self) -> Config {
        Config {
            profile: Profile {
                timers: self.one_of(&[Timers::OBD, Timers::GENERIC]),
                pad: self.byte(),
                dlc: self.one_of(&[Dlc::Strict, Dlc::Lenient]),
                frames: self.one_of(&[Frames::Classic, fd(8), fd(12), fd(64)]),
            },
            receive_limit: self.one_of(&[0, 1, 7, 8, 20, 4095, 5000]),
            transmit_limit: self.one_of(&[1, 7, 8, 4095, 5000]),
            block_size: self.one_of(&[0, 1, 2, 255]),
            st_min: StMin::from_byte(self.byte()),
            duplex: self.one_of(&[Duplex::Full, Duplex::Half]),
            flow_parameters: self.one_of(&[FlowParameters::Dynamic, FlowParameters::Static]),
            ..Config::ecu(EcuAddress::ENGINE)
        }
    }

    /// A request of any service, mostly one that there is, with any parameters.
    fn request(&mut self) -> Frame {
        let id = self.one_of(&[0x7DF, 0x7E0]);
        let mut data = vec![1 + self.one_of(&[0, 1, 2, 3, 6])];
        let any = self.byte();
        data.push(self.one_of(&[1, 2, 3, 4, 6, 7, 8, 9, 0x0A, any]));
        data.extend(self.bytes(6));
        Frame::padded(CanId::standard(id).expect("11 bits"), &data, 0xA5)
    }

    /// A frame: mostly one that looks like the protocol, so that the machines get deep into a transfer.
    fn frame(&mut self, next_sn: u8, frames: Frames) -> Frame {
        let id = self.one_of(&[0x7E0, 0x7E0, 0x7E0, 0x7DF, 0x7E8]);
        let id = CanId::standard(id).expect("11 bits");
        let longest = match frames {
            Frames::Classic => 8,
            Frames::Fd { .. } => self.one_of(&[8, 12, 64]),
        };
        let mut data = self.bytes(longest);
        if self.below(4) > 0 {
            data.resize(usize::try_from(longest).expect("small"), 0xA5);
        }
        if let Some(first) = data.first_mut() {
            match self.below(8) {
                0 => *first &= 0x0F,
                1 => *first = 0x10,
                2 | 3 => *first = 0x20 | next_sn,
                4 | 5 => *first = 0x30 | self.one_of(&[0, 0, 0, 1, 2, 3, 15]),
                _ => {}
            }
        }
        match self.below(40) {
            0 => Frame::remote(id, 8),
            1 => Frame::fd(id, &self.bytes(64), false, false),
            2 => Some(Frame::error(self.0.next_u32() & 0x1FFF_FFFF, [0; 8])),
            3 => Frame::new(id, &data[..data.len().min(8)]),
            _ if frames == Frames::Classic => Frame::new(id, &data),
            _ => Frame::fd(id, &data, true, false),
        }
        .expect("lengths are legal")
    }
}

fn fd(tx_dl: u8) -> Frames {
    Frames::Fd {
        tx_dl: TxDl::new(tx_dl).expect("a length of CAN FD"),
        bit_rate_switch: false,
    }
}

/// A frame of the channel is one that the standard knows, of its kind, of eight bytes or what TX_DL allows, on its
/// identifier.
fn check(frame: &Frame, config: &Config) {
    assert_eq!(frame.id(), config.transmit_id);
    match config.profile.frames {
        Frames::Classic => assert!(frame.is_classic_data() && frame.len() == 8, "{frame}"),
        Frames::Fd { tx_dl, .. } => {
            let allowed = 8..=usize::from(tx_dl.bytes());
            assert!(
                !frame.is_classic_data() && allowed.contains(&frame.len()),
                "{frame}"
            );
        }
    }
    assert!(Pdu::parse(frame.data()).is_ok(), "{frame}");
}

fn storm(seed: u64) {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(seed));
    let config = dice.config();
    let mut channel = Channel::new(config);
    let mut now = BusInstant::ZERO;
    let mut next_sn = 0;
    for _ in 0..ROUNDS {
        let passed: u64 = dice.one_of(&[0, 1, 250, 5_000, 80_000, 160_000, 1_100_000]);
        now += Duration::from_micros(passed);
        match dice.below(10) {
            0 => drop(channel.send(now, &dice.bytes(6000))),
            1 => channel.handle_transmitted(now),
            2 => channel.handle_timeout(now),
            _ => {
                next_sn = (next_sn + 1) % 16;
                let frame = dice.frame(next_sn, config.profile.frames);
                if matches!(Pdu::parse(frame.data()), Ok(Pdu::FirstFrame { .. })) {
                    next_sn = 0;
                }
                channel.handle_frame(now, &frame);
            }
        }
        // A peer may answer faster than we look, and we may look late.
        if dice.below(3) > 0 {
            while let Some(frame) = channel.poll_frame(now) {
                check(&frame, &config);
                if dice.below(8) > 0 {
                    channel.handle_transmitted(now);
                }
            }
            while let Some(event) = channel.poll_event() {
                if let Event::Received { addressing } = event {
                    assert!(channel.message(addressing).len() <= config.receive_limit.max(62));
                }
            }
            assert!(
                channel
                    .poll_timeout()
                    .is_none_or(|at| at <= now + Duration::from_secs(2))
            );
        }
    }
    // Whatever it has been through, after the longest timeout it is as new.
    now += Duration::from_secs(3);
    channel.handle_timeout(now);
    now += Duration::from_secs(3);
    while channel.poll_frame(now).is_some() {
        channel.handle_transmitted(now);
        now += Duration::from_secs(3);
        channel.handle_timeout(now);
    }
    while channel.poll_event().is_some() {}
    assert!(
        !channel.is_receiving() && !channel.is_transmitting(),
        "{channel:?}"
    );
    assert_eq!(channel.poll_timeout(), None, "{channel:?}");
    assert!(channel.send(now, &[0x41]).is_ok());
    let answer = channel.poll_frame(now).expect("one frame");
    assert_eq!(&answer.data()[..2], [1, 0x41]);
}

#[test]
fn any_sequence_of_frames_leaves_the_channel_whole() {
    for seed in 0..100 {
        storm(seed);
    }
}

/// Frames and times that keep a transfer open for as long as they can; the memory of the channel is what it was at the
/// start, and what it has to tell is bounded.
#[test]
fn a_flood_takes_no_memory() {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(15_765));
    let config = Config::ecu(EcuAddress::ENGINE);
    let mut channel = Channel::new(config);
    let frames: Vec<Frame> = (0..16)
        .cycle()
        .take(FRAMES)
        .map(|sn| dice.frame(sn, Frames::Classic))
        .collect();
    let mut now = BusInstant::ZERO;
    let used = allocation_counter::measure(|| {
        for frame in &frames {
            now += Duration::from_micros(100);
            channel.handle_frame(now, frame);
            while channel.poll_frame(now).is_some() {
                channel.handle_transmitted(now);
            }
        }
    });
    assert_eq!(used.count_total, 0, "{used:?}");
    assert!(channel.lost_events() > 0, "nobody polled: the ring was full");
    let waiting = std::iter::from_fn(|| channel.poll_event()).count();
    assert!(waiting <= 8, "{waiting}");
}

/// The same to the whole car, with services above the transport: single frames of any content are requests of any kind.
/// It answers in its own frames only, keeps no more requests than it says, and answers the next proper one.
#[test]
fn any_sequence_of_frames_leaves_the_car_whole() {
    let config = Config::ecu(EcuAddress::ENGINE);
    for (seed, timing) in [
        (1, Timing::FAST),
        (2, Timing::REAL),
        (3, Timing::FAST),
        (4, Timing::REAL),
    ] {
        let mut dice = Dice(ChaCha8Rng::seed_from_u64(seed));
        let mut car = Simulator::new(Settings::compact(seed, timing));
        for phrase in ["key on", "preload confirmed P0301 P0302"] {
            car.tell(parse_phrase(phrase).expect("a phrase"));
        }
        while car.is_busy() {
            car.work(Duration::from_secs(60));
            while car.poll_event().is_some() {}
        }
        let mut now = BusInstant::ZERO;
        for round in 0..20_000 {
            now += Duration::from_micros(dice.one_of(&[0, 1, 250, 5_000, 80_000]));
            let frame = if dice.below(2) == 0 {
                dice.request()
            } else {
                dice.frame(u8::try_from(round % 16).expect("below 16"), Frames::Classic)
            };
            car.handle_frame(now, &frame);
            while let Some(frame) = car.poll_frame(now) {
                check(&frame, &config);
                car.handle_transmitted(now);
            }
            while car.poll_event().is_some() {}
        }
        now += Duration::from_secs(3);
        car.handle_timeout(now);
        while car.poll_frame(now).is_some() {
            car.handle_transmitted(now);
            now += Duration::from_secs(3);
            car.handle_timeout(now);
        }
        car.handle_frame(now, &Frame::padded(config.receive_id, &[2, 1, 0], 0));
        car.handle_timeout(now + Duration::from_millis(10));
        let answer = car
            .poll_frame(now + Duration::from_millis(10))
            .expect("an answer");
        assert_eq!(&answer.data()[..3], [6, 0x41, 0], "seed {seed}");
    }
}
