//! Whom tools are tried on: the engine ECU with identifiers of 11 and of 29 bits, the transmission ECU, and an ECU that speaks
//! SAE J1979-2. What is asked of each has the same part in its table of misbehaviours.

use std::{iter, time::Duration};

use twotrip_can::{CanId, Frame, address::EcuAddress};
use twotrip_scenario::Scenario;
use twotrip_sim::{Settings, Timing};
use twotrip_tester::{EcuNumber, Target, TesterConfig, Topic};

use crate::{
    built_in::Scan,
    world::{Good, World},
};

/// Bytes that no service has: a request of several frames.
const LONGER: &[u8] = &[
    5, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21,
];

pub struct Party {
    pub name: &'static str,
    vehicle: &'static str,
    pub address: EcuAddress,
    /// Addresses of its car's ECUs on 29 bits; none on 11.
    addresses: &'static [u8],
    /// What a scan asks: `long` is what this one reads of those.
    topics: &'static [Topic],
    pub long_topic: Topic,
    pub list: &'static [u8],
    pub pending: &'static [u8],
    /// Answered in three frames, of so many bytes.
    pub long: &'static [u8],
    pub long_length: u8,
    pub live: &'static [u8],
    pub live_answer: &'static [u8],
    /// To all: of a parameter that is not there.
    pub absent: &'static [u8],
    /// To one: of a service that is not there.
    pub unknown: &'static [u8],
    pub clear: &'static [u8],
    /// How an answer with its first mask begins, and what asked for it.
    pub mask: &'static [u8],
    pub mask_request: &'static [u8],
    /// Bytes of the list with its five codes, and of each.
    pub codes: (u8, u8),
}

const CLASSIC: Party = Party {
    name: "engine ECU, 11 bits",
    vehicle: "compact-2.0",
    address: EcuAddress::ENGINE,
    addresses: &[],
    topics: &[Topic::Vin, Topic::Codes, Topic::Pending],
    long_topic: Topic::Vin,
    list: &[0x03],
    pending: &[0x07],
    long: &[0x09, 0x02],
    long_length: 20,
    live: &[0x01, 0x0C],
    live_answer: &[0x41, 0x0C, 0, 0],
    absent: &[0x01, 0xFF],
    unknown: &[0x05],
    clear: &[0x04],
    mask: &[0x41, 0x00],
    mask_request: &[0x01, 0x00],
    codes: (12, 2),
};

/// All of them.
pub fn parties() -> [Party; 4] {
    [
        CLASSIC,
        Party {
            name: "engine ECU, 29 bits",
            vehicle: "sedan-v6-29bit",
            address: EcuAddress::extended(0x10),
            addresses: &[0x10, 0x18, 0x40],
            ..CLASSIC
        },
        Party {
            name: "transmission ECU",
            vehicle: "compact-2.0-transmission",
            address: EcuAddress::standard(1).expect("below eight"),
            topics: &[Topic::Vehicle, Topic::Codes, Topic::Pending],
            long_topic: Topic::Vehicle,
            long: &[0x09, 0x04],
            long_length: 19,
            live: &[0x01, 0x0D],
            live_answer: &[0x41, 0x0D, 0],
            ..CLASSIC
        },
        Party {
            name: "SAE J1979-2",
            vehicle: "compact-on-uds",
            list: &[0x19, 0x42, 0x33, 0x08, 0xFF],
            pending: &[0x19, 0x42, 0x33, 0x04, 0xFF],
            long: &[0x22, 0xF8, 0x02],
            live: &[0x22, 0xF4, 0x0C],
            live_answer: &[0x62, 0xF4, 0x0C, 0, 0],
            absent: &[0x22, 0xF4, 0xFF],
            unknown: &[0x11, 0x01],
            clear: &[0x14, 0xFF, 0xFF, 0x33],
            mask: &[0x62, 0xF4, 0x00],
            mask_request: &[0x22, 0xF4, 0x00],
            codes: (31, 5),
            ..CLASSIC
        },
    ]
}

impl Party {
    /// Its car with the key on and five codes in the ECU.
    pub fn world(&self, seed: u64) -> World {
        let text = format!("version = 1\ntitle = \"x\"\nvehicle = \"{}\"\n", self.vehicle);
        let scenario = Scenario::parse(text.as_bytes()).expect("a shipped vehicle");
        let mut world = World::with(Settings::of(&scenario, seed, Timing::REAL));
        if self.vehicle == "compact-2.0-transmission" {
            world.tell("preload confirmed P0711 P0731 P0741 P0751 P0756 in transmission");
        }
        world
    }

    pub fn config(&self) -> TesterConfig {
        match self.addresses {
            [] => TesterConfig::default(),
            addresses => TesterConfig::default().extended(addresses),
        }
    }

    pub fn number(&self) -> EcuNumber {
        self.config().ecu_of(self.address.response).expect("its number")
    }

    /// What tools ask it.
    pub fn requests(&self) -> [&'static [u8]; 4] {
        [self.list, self.pending, self.long, self.live]
    }

    pub fn good(&self, requests: &[&'static [u8]]) -> Good {
        Good::of(self.config(), self.number(), requests)
    }

    /// A scan; then an engine or road speed, what is not there, a longer request, and a clear if it is about that.
    pub fn scan(&self, clears: bool) -> Scan {
        let one = Target::Ecu(self.number());
        let more = [
            (one, self.live),
            (Target::Functional, self.absent),
            (one, self.unknown),
            (one, LONGER),
        ];
        let clear = clears.then_some((Target::Functional, self.clear));
        let more: Vec<_> = more.into_iter().chain(clear).collect();
        Scan::new(self.config(), self.topics, &more)
    }

    /// The phrase for this ECU: its identifier behind the name of what picks one out.
    pub fn phrase(&self, words: &str, picks: bool) -> String {
        let (name, rest) = words.split_once(' ').unwrap_or((words, ""));
        let id = self.address.response;
        match picks {
            true => format!("disturb {name} {id} {rest}"),
            false => format!("disturb {words}"),
        }
    }
}

/// What passed, of whom.
pub struct Seen<'a> {
    pub party: &'a Party,
    /// Frames of the car.
    pub frames: &'a [Frame],
    /// Those of a car that is not disturbed.
    pub plain: &'a [Frame],
}

impl Seen<'_> {
    /// Frames of the ECU.
    fn own<'f>(&self, frames: &'f [Frame]) -> impl Iterator<Item = &'f Frame> {
        let id = self.party.address.response;
        frames.iter().filter(move |frame| frame.id() == id)
    }

    pub fn begins(&self, start: &[&[u8]]) -> bool {
        let start = start.concat();
        self.own(self.frames)
            .any(|frame| frame.data().starts_with(&start))
    }

    pub fn count(&self, is_it: impl Fn(&[u8]) -> bool) -> usize {
        self.own(self.frames).filter(|frame| is_it(frame.data())).count()
    }

    pub fn has(&self, is_it: impl Fn(&Frame) -> bool) -> bool {
        self.frames.iter().any(is_it)
    }

    pub fn has_id(&self, id: CanId) -> bool {
        self.has(|frame| frame.id() == id)
    }

    /// How the answer to the long request begins, so many bytes longer or shorter.
    pub fn long_begins(&self, more: i16) -> Vec<u8> {
        let length = u8::try_from(i16::from(self.party.long_length) + more).expect("small");
        let [service, rest @ ..] = self.party.long else {
            unreachable!("a request has a service");
        };
        [&[0x10, length, service + 0x40], rest].concat()
    }

    /// Whether the consecutive frames behind some first frame of the long answer have just these numbers.
    pub fn numbers(&self, expected: &[u8]) -> bool {
        let begins = self.long_begins(0);
        let own: Vec<&[u8]> = self.own(self.frames).map(Frame::data).collect();
        (0..own.len())
            .filter(|&place| own[place].starts_with(&begins))
            .any(|place| {
                let behind = own[place + 1..].iter().map(|data| data[0]);
                let numbers = behind.take_while(|pci| pci >> 4 == 2).map(|pci| pci & 0x0F);
                numbers.eq(expected.iter().copied())
            })
    }

    /// Parameters that the first mask announces, and those of a car that is not disturbed.
    pub fn announced(&self) -> (u32, u32) {
        let head = [&[self.mask_length()], self.party.mask].concat();
        let of = |frames| {
            let mut masks = self.own(frames).filter(|frame| frame.data().starts_with(&head));
            let mask = masks
                .next()
                .map(|frame| &frame.data()[head.len()..head.len() + 4]);
            mask.map_or(0, |mask| mask.iter().map(|byte| byte.count_ones()).sum())
        };
        (of(self.frames), of(self.plain))
    }

    /// Bytes of the answer with the first mask.
    pub fn mask_length(&self) -> u8 {
        u8::try_from(self.party.mask.len() + 4).expect("small")
    }
}

/// Runs until the scan is over, at the most so long, and then as long as a judge is patient.
pub fn run(world: &mut World, scan: &mut Scan) {
    let slices = iter::repeat_n(Duration::from_secs(5), 30);
    for slice in slices {
        world.run(scan, slice);
        if scan.is_over() {
            break;
        }
    }
    world.run(scan, Duration::from_secs(6));
}
