//! An ECU that misbehaves: what disturbances do where it hears a request, answers it, and sends the answer. Without one
//! there is no line, and each of these is one comparison.

use twotrip_can::Frame;
use twotrip_ecu::server;
use twotrip_units::BusInstant;

use super::Simulator;
use crate::{disturb::ecu::Asked, endpoint::Request};

impl Simulator {
    /// The disturbances of the ECU at this place.
    fn asked(&mut self, now: BusInstant, place: usize) -> Option<Asked<'_>> {
        let disturbances = &mut self.line.as_mut()?.disturbances;
        Some(Asked {
            disturbances,
            now,
            ecu: self.nodes.response_id(place),
        })
    }

    /// What takes the place of serving a request, if anything does.
    #[inline]
    pub(super) fn unserved(
        &mut self,
        now: BusInstant,
        place: usize,
        request: &[u8],
    ) -> Option<server::Answer> {
        let dialect = self.car.ecu.dialect();
        let unserved = self.asked(now, place)?.unserved(dialect, request);
        self.note_disturbances();
        let deviation = server::Deviation {
            unserved,
            ..server::Deviation::default()
        };
        deviation.before(request, &mut self.response)
    }

    /// Falsifies what an ECU has answered.
    #[inline]
    pub(super) fn falsify(
        &mut self,
        now: BusInstant,
        place: usize,
        request: &Request,
        answer: server::Answer,
    ) -> server::Answer {
        let Some(line) = &mut self.line else {
            return answer;
        };
        let (addressing, request) = (request.for_server(), request.bytes());
        let mut asked = Asked {
            disturbances: &mut line.disturbances,
            now,
            ecu: self.nodes.response_id(place),
        };
        let deviation = server::Deviation {
            falsified: asked.falsified(request, answer, &self.response),
            ..server::Deviation::default()
        };
        self.note_disturbances();
        let asked = server::Asked {
            dialect: self.car.ecu.dialect(),
            addressing,
            request,
        };
        deviation.after(asked, answer, &mut self.response)
    }

    /// Sends what an ECU has answered, as it should or otherwise.
    #[inline]
    pub(super) fn send(&mut self, now: BusInstant, place: usize, request: &[u8]) {
        let length = self.response.len();
        let sending = self.asked(now, place).map(|mut asked| asked.sending(length));
        match sending {
            None => self.nodes.reply(place, now, &self.response),
            Some(sending) => {
                self.nodes
                    .endpoint(place)
                    .reply_badly(now, request, &self.response, sending);
                self.note_disturbances();
            }
        }
    }

    /// A frame reaches the car: the flow control that the first one of a longer request will get.
    #[inline]
    pub(super) fn choose_grant(&mut self, now: BusInstant, frame: &Frame) {
        if self.line.is_none() {
            return;
        }
        let Some(place) = self.nodes.begins_a_request(frame) else {
            return;
        };
        if let Some(grant) = self.asked(now, place).map(|mut asked| asked.grant()) {
            self.nodes.endpoint(place).grant(grant);
            self.note_disturbances();
        }
    }
}
