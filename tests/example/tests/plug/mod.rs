//! The tool, plugged into a simulated car.

use std::{collections::VecDeque, time::Duration};

use code_reader::{Frame, Port};
use twotrip::{CanId, Car};

/// What joins the tool to a simulated car: a dozen lines.
pub struct Plug {
    pub car: Car,
    heard: VecDeque<Frame>,
}

impl Plug {
    pub fn into(car: Car) -> Self {
        let heard = VecDeque::new();
        Self { car, heard }
    }
}

impl Port for Plug {
    fn send(&mut self, (id, data): Frame) {
        let frame = twotrip::Frame::new(CanId::Standard(id), &data).expect("eight bytes");
        self.car.send(frame).expect("room on the bus");
    }

    fn receive(&mut self, within: Duration) -> Option<Frame> {
        let mut left = within;
        while self.heard.is_empty() && !left.is_zero() {
            let step = left.min(Duration::from_millis(1));
            left -= step;
            let frames = self.car.advance(step).into_iter().filter(|wired| wired.from_car);
            self.heard
                .extend(frames.filter_map(|wired| match wired.frame.id() {
                    CanId::Standard(id) => Some((id, wired.frame.data().try_into().ok()?)),
                    CanId::Extended(_) => None,
                }));
        }
        self.heard.pop_front()
    }
}
