//! The in-memory arm: a small ECU (or up to eight) on a bus paced at 500 kbit/s, with a look inside.

use twotrip_can::{Frame, address::EcuAddress, memory_bus::Pacing, timing::BitRate};
use twotrip_isotp::{Channel, Config, Direction, Event, NResult};
use twotrip_units::BusInstant;

use crate::{
    cases::{Identifiers, Setup},
    run,
    world::{Application, World},
};

/// 4x 00: supported PIDs as a small petrol car has them.
const SUPPORTED: [u8; 6] = [0x41, 0x00, 0xBE, 0x3F, 0xA8, 0x13];
/// 49 02: a made-up vehicle identification number.
const VIN: [u8; 20] = *b"\x49\x02\x01TWTR1P0SIM0000001";

/// A tiny application: it answers, or drops what comes while its answer is unfinished.
#[derive(Default)]
struct SmallEcu {
    counting: Option<usize>,
    delivered: Vec<Vec<u8>>,
    reported: Vec<(Direction, NResult)>,
}

impl Application for SmallEcu {
    fn on_event(&mut self, now: BusInstant, _node: usize, channel: &mut Channel, event: Event) {
        match event {
            Event::Received { addressing } => {
                let message = channel.message(addressing).to_vec();
                let answer = match (self.counting, message.as_slice()) {
                    (Some(len), _) => run::counting(len),
                    (None, [0x01, 0x00]) => SUPPORTED.to_vec(),
                    (None, [0x09, 0x02]) => VIN.to_vec(),
                    (None, _) => Vec::new(),
                };
                self.delivered.push(message);
                if !answer.is_empty() && !channel.is_transmitting() {
                    channel.send(now, &answer).expect("nothing is leaving");
                }
            }
            Event::Failed { direction, result } => self.reported.push((direction, result)),
            Event::Started { .. } | Event::Sent | Event::Ignored { .. } => {}
        }
    }
}

/// The arm.
pub struct Arm {
    world: World,
    ecu: SmallEcu,
}

impl Arm {
    pub fn new(setup: &Setup) -> Self {
        let address = |n| match setup.identifiers {
            Identifiers::Standard => EcuAddress::standard(n).expect("up to eight ECUs"),
            Identifiers::Extended => EcuAddress::extended(0x10 + n),
        };
        let channel = |n| {
            Channel::new(Config {
                timers: setup.timers,
                dlc: setup.dlc,
                receive_limit: setup.receive_limit,
                block_size: setup.block_size,
                duplex: setup.duplex,
                flow_parameters: setup.flow_parameters,
                ..Config::ecu(address(n))
            })
        };
        Self {
            world: World::new(
                Pacing::Rate(BitRate::Kbit500),
                (0..setup.ecus).map(channel).collect(),
            ),
            ecu: SmallEcu {
                counting: setup.counting_answer,
                ..SmallEcu::default()
            },
        }
    }
}

impl run::Arm for Arm {
    fn now(&self) -> BusInstant {
        self.world.now
    }

    fn send(&mut self, frame: Frame) {
        self.world.send_bare(frame);
    }

    fn next(&mut self, until: BusInstant) -> Option<run::Passed> {
        self.world.next(until, &mut self.ecu).map(|passed| run::Passed {
            own: self.world.is_bare(&passed),
            at: passed.at,
            frame: passed.frame,
        })
    }

    fn delivered(&mut self) -> Option<Vec<Vec<u8>>> {
        Some(std::mem::take(&mut self.ecu.delivered))
    }

    fn reported(&mut self) -> Option<Vec<(Direction, NResult)>> {
        Some(std::mem::take(&mut self.ecu.reported))
    }
}
