//! The in-memory arm: a small ECU (or up to eight) on a bus paced at 500 kbit/s, with a look inside.

use std::time::Duration;

use twotrip_can::{Frame, memory_bus::Pacing, timing::BitRate};
use twotrip_isotp::{Channel, Direction, Event, NResult};
use twotrip_tests::{
    cases::Setup,
    peer,
    run::{self, Passed, Question},
};
use twotrip_units::BusInstant;

use crate::world::{Application, World};

const RATE: BitRate = BitRate::Kbit500;

/// A tiny application: it answers, or drops what comes while its answer is unfinished.
struct SmallEcu {
    setup: Setup,
    delivered: Vec<Vec<u8>>,
    reported: Vec<(Direction, NResult)>,
}

impl Application for SmallEcu {
    fn on_event(&mut self, now: BusInstant, _node: usize, channel: &mut Channel, event: Event) {
        match event {
            Event::Received { addressing } => {
                let message = channel.message(addressing).to_vec();
                let answer = peer::answer(&self.setup, addressing, &message);
                self.delivered.push(message);
                if let Some(answer) = answer
                    && !channel.is_transmitting()
                {
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
        Self::with(setup, peer::channels(setup))
    }

    /// With the channels of the setup's ECUs.
    pub fn with(setup: &Setup, channels: Vec<Channel>) -> Self {
        Self {
            world: World::new(Pacing::Rate(RATE), channels),
            ecu: SmallEcu {
                setup: *setup,
                delivered: Vec::new(),
                reported: Vec::new(),
            },
        }
    }
}

impl run::Arm for Arm {
    fn now(&self) -> BusInstant {
        self.world.now
    }

    fn question(&mut self) -> Question {
        let (request, answer) = peer::question(&self.ecu.setup);
        let [a, b] = request;
        let id = self.world.channels[0].config().receive_id;
        Question {
            frame: Frame::padded(id, &[2, a, b], 0),
            answer,
        }
    }

    fn send(&mut self, frame: Frame) {
        self.world.send_bare(frame);
    }

    fn next(&mut self, until: BusInstant) -> Option<Passed> {
        self.world.next(until, &mut self.ecu).map(|passed| Passed {
            own: self.world.is_bare(&passed),
            starts: passed.start,
            at: passed.at,
            frame: passed.frame,
        })
    }

    fn fill_queue(&mut self, span: Duration) {
        self.world.refuse_until(self.world.now + span);
    }

    fn set_link(&mut self, up: bool) {
        self.world.set_link(up);
    }

    fn delivered(&mut self) -> Option<Vec<Vec<u8>>> {
        Some(std::mem::take(&mut self.ecu.delivered))
    }

    fn reported(&mut self) -> Option<Vec<(Direction, NResult)>> {
        Some(std::mem::take(&mut self.ecu.reported))
    }
}
