//! The car's ECUs as nodes of its bus: who sits at each, by which identifiers it speaks, and its endpoint.
//!
//! Each has a transport, a queue of requests and dice of its own, and hears only flow control that is sent to it. They
//! share one wire: one frame of the car is under way at a time, and of those that wait for it the one with the lowest
//! identifier goes next, as arbitration would have it (ISO 11898-1).

use std::time::Duration;

use twotrip_can::{
    CanId, Frame,
    address::{Addressing, EcuAddress},
};
use twotrip_ecu::{listed::ListedEcu, memory::FaultMemory, server};
use twotrip_isotp::Config;
use twotrip_obd::{Dtc, ResponseBuffer};
use twotrip_scenario::{
    disturbance::Identifier,
    phrase::{CodeList, EcuRef},
    vehicle::ecus::{EcuEntry, Identifiers, Role},
};
use twotrip_units::BusInstant;

use crate::{
    Car, Settings, Timing,
    endpoint::{self, Endpoint, EndpointCounts, Request},
};

/// Purpose of the dice that draw reply delays: a stream of its own, and another for each ECU behind the first.
const REPLY_DICE: u64 = 0x7265_706C;
/// From the stream of one ECU to that of the next.
const NEXT_DICE: u64 = 1 << 32;

/// Who sits at a node.
#[derive(Clone, Debug)]
pub enum Seat {
    /// The engine ECU, which is part of the car.
    Engine,
    /// The transmission ECU, likewise: silent in a car that has none.
    Transmission,
    /// One that says what is listed of it.
    Listed(Box<ListedEcu>),
}

/// An ECU's place on the bus.
#[derive(Clone, Debug)]
pub struct EcuSettings {
    /// Who sits there.
    pub seat: Seat,
    /// Its number with identifiers of 11 bits, 0 to 7: 7E0 and 7E8 are those of number 0.
    pub number: u8,
    /// Its address with identifiers of 29 bits.
    pub address: u8,
    /// Least and greatest delay of its answers, in place of [`Timing::reply`] where that has any.
    pub reply: Option<(Duration, Duration)>,
}

impl EcuSettings {
    /// As a vehicle file has it.
    #[must_use]
    pub fn of(entry: &EcuEntry) -> Self {
        Self {
            seat: match &entry.role {
                Role::Engine => Seat::Engine,
                Role::Transmission => Seat::Transmission,
                Role::Listed(ecu) => Seat::Listed(ecu.clone()),
            },
            number: entry.number,
            address: entry.address,
            reply: entry.reply,
        }
    }

    /// The engine ECU where it sits by recommendation: 7E0, address 10 (from memory).
    pub const ENGINE: Self = Self {
        seat: Seat::Engine,
        number: 0,
        address: 0x10,
        reply: None,
    };

    /// The transmission ECU where it sits by recommendation: 7E1, address 18 (from memory).
    pub const TRANSMISSION: Self = Self {
        seat: Seat::Transmission,
        number: 1,
        address: 0x18,
        reply: None,
    };

    /// Its identifiers.
    #[must_use]
    pub fn identifiers(&self, size: Identifiers) -> EcuAddress {
        match size {
            // More than eight have no place on this bus.
            Identifiers::Bits11 => EcuAddress::standard(self.number % 8).unwrap_or(EcuAddress::ENGINE),
            Identifiers::Bits29 => EcuAddress::extended(self.address),
        }
    }
}

/// One ECU of a car on its bus, for those who look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EcuOnBus {
    name: [u8; NAME],
    /// Whether it is the engine's.
    pub is_engine: bool,
    /// Its identifiers.
    pub address: EcuAddress,
    /// Requests that came to it.
    pub counts: EndpointCounts,
}

/// Bytes of an acronym in an ECU's name (SAE J1979, from memory).
const NAME: usize = 4;

impl EcuOnBus {
    /// What its name begins with: ECM, TCM ...
    #[must_use]
    pub fn acronym(&self) -> &str {
        acronym(&self.name)
    }
}

/// One ECU of a car that has several, where something is told of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EcuName {
    name: [u8; NAME],
    /// By which it answers.
    pub response: CanId,
}

impl EcuName {
    /// What its name begins with: ECM, TCM ...
    #[must_use]
    pub fn acronym(&self) -> &str {
        acronym(&self.name)
    }
}

/// What an ECU's name begins with.
pub(crate) fn acronym(name: &[u8]) -> &str {
    let name = &name[..name.len().min(NAME)];
    let length = name.iter().position(|&byte| byte == 0).unwrap_or(name.len());
    core::str::from_utf8(&name[..length]).unwrap_or("?")
}

#[derive(Clone, Debug)]
struct Node {
    seat: Seat,
    number: u8,
    address: EcuAddress,
    endpoint: Endpoint,
}

impl Node {
    /// What the name of who sits here begins with.
    fn name(&self, car: &Car) -> [u8; NAME] {
        let name = match (&self.seat, car.transmission()) {
            (Seat::Engine, _) => car.ecu.identity().ecu_name(),
            (Seat::Transmission, Some(ecu)) => ecu.identity().ecu_name(),
            (Seat::Transmission, None) => &[0; 20],
            (Seat::Listed(ecu), _) => &ecu.listing().name,
        };
        let mut acronym = [0; NAME];
        acronym.copy_from_slice(&name[..NAME]);
        acronym
    }
}

/// All of them.
#[derive(Clone, Debug)]
pub(crate) struct Nodes {
    /// In the order in which their answers win arbitration.
    list: Vec<Node>,
}

impl Nodes {
    pub(crate) fn new(settings: &Settings) -> Self {
        let node = |(stream, ecu): (u64, &EcuSettings)| {
            let address = ecu.identifiers(settings.identifiers);
            let transport = Config {
                profile: settings.transport,
                ..Config::ecu(address)
            };
            let timing = Timing {
                reply: settings.timing.reply.map(|usual| ecu.reply.unwrap_or(usual)),
                ..settings.timing.at(settings.bit_rate)
            };
            let dice = endpoint::dice(settings.seed, REPLY_DICE + stream * NEXT_DICE);
            Node {
                seat: ecu.seat.clone(),
                number: ecu.number,
                address,
                endpoint: Endpoint::new(transport, timing, dice),
            }
        };
        let mut list: Vec<Node> = (0..).zip(&settings.ecus).map(node).collect();
        list.sort_by_key(|node| node.address.response.arbitration_key(false));
        Self { list }
    }

    /// Whether any of them has codes from its list.
    pub(crate) fn have_listed_codes(&self) -> bool {
        self.list.iter().any(|node| match &node.seat {
            Seat::Engine | Seat::Transmission => false,
            Seat::Listed(ecu) => ecu.has_codes(),
        })
    }

    /// The listed ECUs whose codes have been cleared, a bit for each by its number.
    pub(crate) fn cleared(&self) -> u8 {
        let cleared = |node: &&Node| matches!(&node.seat, Seat::Listed(ecu) if ecu.is_cleared());
        let bits = self.list.iter().filter(cleared);
        bits.fold(0, |mask, node| mask | 1 << (node.number % 8))
    }

    /// Clears the codes of those listed ECUs, without a tester.
    pub(crate) fn clear(&mut self, cleared: u8) {
        for node in &mut self.list {
            if let Seat::Listed(ecu) = &mut node.seat
                && cleared >> (node.number % 8) & 1 == 1
            {
                ecu.clear();
            }
        }
    }

    pub(crate) fn on_bus(&self, car: &Car) -> impl Iterator<Item = EcuOnBus> {
        self.list.iter().map(|node| EcuOnBus {
            name: node.name(car),
            is_engine: matches!(node.seat, Seat::Engine),
            address: node.address,
            counts: node.endpoint.counts(),
        })
    }

    /// Who sits where a phrase means.
    pub(crate) fn seat(&self, ecu: EcuRef) -> Option<&Seat> {
        let is_meant = |node: &&Node| match ecu {
            EcuRef::Engine => matches!(node.seat, Seat::Engine),
            EcuRef::Transmission => matches!(node.seat, Seat::Transmission),
            EcuRef::Answering(Identifier::Standard(id)) => node.address.response == CanId::Standard(id),
            EcuRef::Answering(Identifier::Extended(id)) => node.address.response == CanId::Extended(id),
        };
        self.list.iter().find(is_meant).map(|node| &node.seat)
    }

    /// The ECU at the first of the nodes that is meant; nothing where there is no other to take it for.
    pub(crate) fn named(&self, car: &Car, is_meant: impl Fn(&Seat) -> bool) -> Option<EcuName> {
        let place = self.list.iter().position(|node| is_meant(&node.seat))?;
        self.named_at(car, place)
    }

    /// The same of the ECU at this place.
    pub(crate) fn named_at(&self, car: &Car, place: usize) -> Option<EcuName> {
        let node = self.list.get(place).filter(|_| self.list.len() > 1)?;
        Some(EcuName {
            name: node.name(car),
            response: node.address.response,
        })
    }

    /// Whether the ECU at this place is one that is listed: it has no memory that would tell of its changes.
    pub(crate) fn is_listed(&self, place: usize) -> bool {
        matches!(self.list[place].seat, Seat::Listed(_))
    }

    /// The codes of a list, and whose they are, of all ECUs that the bus reaches.
    pub(crate) fn codes(&self, car: &Car, list: CodeList) -> Vec<(CanId, Dtc)> {
        let of_memory = |memory: &FaultMemory| -> Vec<Dtc> {
            match list {
                CodeList::Confirmed => memory.confirmed().collect(),
                CodeList::Pending => memory.pending().collect(),
                CodeList::Permanent => memory.permanent().collect(),
            }
        };
        let mut codes = Vec::new();
        for node in &self.list {
            let found = match &node.seat {
                Seat::Engine => of_memory(car.ecu.memory()),
                Seat::Transmission => match car.transmission() {
                    Some(ecu) if car.transmission_is_on_bus() => of_memory(ecu.memory()),
                    _ => Vec::new(),
                },
                Seat::Listed(ecu) => match list {
                    CodeList::Confirmed => ecu.listing().confirmed.clone(),
                    CodeList::Pending => ecu.listing().pending.clone(),
                    CodeList::Permanent => ecu.listing().permanent.clone(),
                },
            };
            codes.extend(found.into_iter().map(|code| (node.address.response, code)));
        }
        codes
    }

    /// What all have counted together: a request to all counts with each.
    pub(crate) fn counts(&self) -> EndpointCounts {
        self.list.iter().fold(EndpointCounts::default(), |sum, node| {
            let EndpointCounts { requests, dropped } = node.endpoint.counts();
            EndpointCounts {
                requests: sum.requests + requests,
                dropped: sum.dropped + dropped,
            }
        })
    }

    /// A frame came in. Says whether a request was completed by it.
    pub(crate) fn handle_frame(&mut self, now: BusInstant, frame: &Frame, car: &Car) -> bool {
        let mut completed = false;
        for node in &mut self.list {
            if !matches!(node.seat, Seat::Transmission) || car.transmission_is_on_bus() {
                completed |= node.endpoint.handle_frame(now, frame);
            }
        }
        completed
    }

    /// The transmission ECU has lost its supply or the bus: what it had under way is gone.
    pub(crate) fn lose_transmission(&mut self) {
        for node in &mut self.list {
            if matches!(node.seat, Seat::Transmission) {
                node.endpoint.reset();
            }
        }
    }

    /// The bus took the frame last polled.
    pub(crate) fn handle_transmitted(&mut self, now: BusInstant) {
        let sender = self
            .list
            .iter()
            .position(|node| node.endpoint.has_frame_in_flight());
        if let Some(node) = self.list.get_mut(sender.unwrap_or(0)) {
            node.endpoint.handle_transmitted(now);
        }
    }

    /// Runs the deadlines up to `now`.
    pub(crate) fn handle_timeout(&mut self, now: BusInstant) {
        for node in &mut self.list {
            node.endpoint.handle_timeout(now);
        }
    }

    /// A request whose answer is due, and the place of its ECU in the list.
    pub(crate) fn poll_due(&mut self, now: BusInstant) -> Option<(usize, Request)> {
        let mut nodes = self.list.iter_mut().enumerate();
        nodes.find_map(|(place, node)| Some((place, node.endpoint.poll_due(now)?)))
    }

    /// Lets an ECU answer; where it does, the bytes are in the buffer.
    pub(crate) fn answer(
        &mut self,
        place: usize,
        car: &mut Car,
        request: &Request,
        response: &mut ResponseBuffer,
    ) -> server::Answer {
        let addressing = request.for_server();
        let (now, turn) = (car.now(), car.ecu.engine_or_wheels_turn());
        let request = request.bytes();
        match &mut self.list[place].seat {
            Seat::Engine => car.ecu.answer(now, addressing, request, response),
            Seat::Transmission => match &mut car.transmission {
                Some(ecu) => ecu.answer(now, turn, addressing, request, response),
                None => server::Answer::Silence,
            },
            Seat::Listed(ecu) => ecu.answer(turn, addressing, request, response),
        }
    }

    /// Whether the engine ECU sits at this place.
    pub(crate) fn is_engine(&self, place: usize) -> bool {
        matches!(self.list[place].seat, Seat::Engine)
    }

    /// Whether this one speaks for all of what a tester did: a request to all is one deed, and the engine ECU's.
    pub(crate) fn stands_for(&self, place: usize, addressing: Addressing) -> bool {
        addressing == Addressing::Physical || matches!(self.list[place].seat, Seat::Engine)
    }

    /// Sends an ECU's answer.
    pub(crate) fn reply(&mut self, place: usize, now: BusInstant, answer: &[u8]) {
        self.list[place].endpoint.reply(now, answer);
    }

    /// The endpoint at this place.
    pub(crate) fn endpoint(&mut self, place: usize) -> &mut Endpoint {
        &mut self.list[place].endpoint
    }

    /// By which the ECU at this place answers.
    pub(crate) fn response_id(&self, place: usize) -> CanId {
        self.list[place].address.response
    }

    /// By which all are asked.
    pub(crate) fn functional_id(&self) -> CanId {
        let first = self.list.first().map(|node| node.address);
        first.unwrap_or(EcuAddress::ENGINE).functional
    }

    /// The place of the ECU to which a frame is the first of a longer request.
    pub(crate) fn begins_a_request(&self, frame: &Frame) -> Option<usize> {
        if frame.data().first().is_none_or(|pci| pci >> 4 != 1) {
            return None;
        }
        self.list
            .iter()
            .position(|node| node.address.request == frame.id())
    }

    pub(crate) fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        if self.is_on_the_wire() {
            return None;
        }
        self.list
            .iter_mut()
            .find_map(|node| node.endpoint.poll_frame(now))
    }

    /// Whether the frame last polled still waits for the bus: it is neither acknowledged nor given up.
    pub(crate) fn has_frame_in_flight(&self) -> bool {
        self.list.iter().any(|node| node.endpoint.has_frame_in_flight())
    }

    /// Whether the frame last polled takes the wire, as far as we know.
    pub(crate) fn is_on_the_wire(&self) -> bool {
        self.list.iter().any(|node| node.endpoint.is_on_the_wire())
    }

    pub(crate) fn poll_timeout(&self) -> Option<BusInstant> {
        if let [only] = &self.list[..] {
            return only.endpoint.poll_timeout(None);
        }
        let sender = self.list.iter().position(|node| node.endpoint.is_on_the_wire());
        // What waits for the wire cannot go on before that frame has left it.
        let until = sender.and_then(|place| self.list[place].endpoint.transport_timeout());
        let mut earliest = None;
        for (place, node) in self.list.iter().enumerate() {
            let wire = until.filter(|_| sender != Some(place));
            let next = node.endpoint.poll_timeout(wire);
            earliest = [earliest, next].into_iter().flatten().min();
        }
        earliest
    }

    /// Forgets everything under way: the ECUs have gone to sleep.
    pub(crate) fn reset(&mut self) {
        for node in &mut self.list {
            node.endpoint.reset();
        }
    }
}
