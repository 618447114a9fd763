//! A car that keeps its memory is killed at 200 random instants, while a tester reads and clears and phrases change its
//! codes: whatever was reported before a kill is there after it.
//!
//! What was asked for and not yet reported when the kill came may be there or not; both are followed up.

use std::{
    io::{BufRead as _, BufReader, Read as _, Result, Write as _},
    os::unix::net::UnixStream,
    path::Path,
    thread,
    time::Duration,
};

use crate::support::{Car, bus, runtime_dir};

const KILLS: usize = 200;
/// The longest that a car lives after it is ready.
const LIFE: Duration = Duration::from_millis(25);
/// Codes without a monitor, fewer than can be held at once.
const CODES: [&str; 12] = [
    "P0301", "P0302", "P0171", "P0335", "P0340", "P0606", "P0700", "P0720", "P1234", "P2096", "U0100",
    "B1000",
];

/// What the ECU holds, as far as testers can see: the codes of services $03, $07, $0A, in no order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Codes {
    confirmed: Vec<[u8; 2]>,
    pending: Vec<[u8; 2]>,
    permanent: Vec<[u8; 2]>,
}

#[derive(Clone, Copy, Debug)]
enum Deed {
    Read(u8),
    Clear,
    Confirm(&'static str),
    Suspect(&'static str),
}

impl Codes {
    fn list(&mut self, service: u8) -> &mut Vec<[u8; 2]> {
        match service {
            0x03 => &mut self.confirmed,
            0x07 => &mut self.pending,
            _ => &mut self.permanent,
        }
    }

    fn after(mut self, deed: Deed) -> Self {
        let mut store = |service, code: &str| {
            let list = self.list(service);
            list.push(bytes(code));
            list.sort_unstable();
            list.dedup();
        };
        match deed {
            Deed::Read(_) => {}
            Deed::Clear => {
                self.confirmed.clear();
                self.pending.clear();
            }
            Deed::Confirm(code) => {
                store(0x03, code);
                store(0x0A, code);
            }
            Deed::Suspect(code) => store(0x07, code),
        }
        self
    }
}

/// The two bytes of a code on the wire (SAE J2012).
fn bytes(code: &str) -> [u8; 2] {
    let letter = u16::try_from("PCBU".find(&code[..1]).expect("a letter of codes")).expect("one of four");
    let digits = u16::from_str_radix(&code[1..], 16).expect("four digits");
    (letter << 14 | digits).to_be_bytes()
}

/// Dice that fall alike in each run of the test; the instants of the kills do not.
struct Dice(u64);

impl Dice {
    /// Below `count`, xorshift64.
    fn roll(&mut self, count: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 >> 33).expect("31 bits") % count
    }

    fn deed(&mut self) -> Deed {
        match self.roll(6) {
            0 => Deed::Clear,
            1 | 2 => Deed::Read([0x03, 0x07, 0x0A][self.roll(3)]),
            3 => Deed::Suspect(CODES[self.roll(CODES.len())]),
            _ => Deed::Confirm(CODES[self.roll(CODES.len())]),
        }
    }
}

/// A tester on the embedded bus and a client of the control socket, by the published formats alone. Everything fails
/// once the car is dead.
struct Outside {
    bus: UnixStream,
    control: BufReader<UnixStream>,
}

impl Outside {
    fn connect(name: &str, control: &Path) -> Result<Self> {
        let mut bus = UnixStream::connect(runtime_dir().join(format!("twotrip/bus-{name}.sock")))?;
        let mut hello = [0; 72];
        hello[..8].copy_from_slice(b"TWOTRIP\x01");
        hello[8..8 + name.len()].copy_from_slice(name.as_bytes());
        bus.write_all(&hello)?;
        bus.read_exact(&mut hello)?;
        let control = BufReader::new(UnixStream::connect(control)?);
        for stream in [&bus, control.get_ref()] {
            stream.set_read_timeout(Some(Duration::from_secs(20)))?;
        }
        Ok(Self { bus, control })
    }

    fn send(&mut self, identifier: u32, data: [u8; 8]) -> Result<()> {
        let mut record = [0; 72];
        record[..4].copy_from_slice(&identifier.to_le_bytes());
        record[4] = 8;
        record[8..16].copy_from_slice(&data);
        self.bus.write_all(&record)
    }

    fn receive(&mut self) -> Result<[u8; 8]> {
        let mut record = [0; 72];
        loop {
            self.bus.read_exact(&mut record)?;
            if record[..4] == 0x7E8_u32.to_le_bytes() {
                return Ok(record[8..16].try_into().expect("eight bytes"));
            }
        }
    }

    /// Asks for a service without parameters; the answer, put together (ISO 15765-2).
    fn ask(&mut self, service: u8) -> Result<Vec<u8>> {
        self.send(0x7DF, [1, service, 0, 0, 0, 0, 0, 0])?;
        let first = self.receive()?;
        if first[0] & 0xF0 == 0 {
            return Ok(first[1..=usize::from(first[0])].to_vec());
        }
        let length = usize::from(first[0] & 0x0F) << 8 | usize::from(first[1]);
        let mut answer = first[2..].to_vec();
        self.send(0x7E0, [0x30, 0, 0, 0, 0, 0, 0, 0])?;
        while answer.len() < length {
            answer.extend(&self.receive()?[1..]);
        }
        answer.truncate(length);
        Ok(answer)
    }

    fn codes(&mut self, service: u8) -> Result<Vec<[u8; 2]>> {
        let answer = self.ask(service)?;
        assert_eq!(answer[0], service | 0x40, "{answer:02x?}");
        let mut codes: Vec<[u8; 2]> = answer[2..].chunks(2).map(|code| [code[0], code[1]]).collect();
        codes.sort_unstable();
        Ok(codes)
    }

    fn tell(&mut self, phrase: &str) -> Result<()> {
        writeln!(self.control.get_mut(), "{{\"phrase\": \"{phrase}\"}}")?;
        loop {
            let mut line = String::new();
            if self.control.read_line(&mut line)? == 0 {
                return Err(std::io::ErrorKind::UnexpectedEof.into());
            }
            if line.contains("\"outcome\"") && line.ends_with('\n') {
                assert!(line.contains("\"ok\":true"), "{line}");
                return Ok(());
            }
        }
    }

    /// Does it; returns the list that was read, once the outcome has been reported.
    fn act(&mut self, deed: Deed) -> Result<Option<Vec<[u8; 2]>>> {
        match deed {
            Deed::Read(service) => return self.codes(service).map(Some),
            Deed::Clear => assert_eq!(self.ask(0x04)?, [0x44]),
            Deed::Confirm(code) => self.tell(&format!("preload confirmed {code}"))?,
            Deed::Suspect(code) => self.tell(&format!("preload pending {code}"))?,
        }
        Ok(None)
    }
}

/// Holds what was read against what the ECU may hold, and keeps what agrees.
fn compare(may_hold: &mut Vec<Codes>, service: u8, read: &[[u8; 2]], past: &[Deed]) {
    let before = may_hold.clone();
    may_hold.retain_mut(|codes| codes.list(service) == read);
    assert!(
        !may_hold.is_empty(),
        "service {service:02X} reads {read:02x?}; reported before: {before:02x?}; last deeds: {past:?}"
    );
}

#[test]
fn what_was_reported_outlives_the_car() {
    let bus = bus();
    let name = &bus["local:".len()..];
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let (memory, control) = (folder.path().join("car.memory"), folder.path().join("control"));
    let (memory, control_path) = (memory.to_str().expect("UTF-8"), control.to_str().expect("UTF-8"));
    let mut arguments = vec!["run", "codes-on-demand", "--timing", "fast", "--bus", &bus];
    arguments.extend(["--memory", memory, "--control", control_path]);
    let story = [
        Deed::Confirm("P0301"),
        Deed::Confirm("P0302"),
        Deed::Suspect("P0171"),
    ];
    let mut may_hold = vec![story.into_iter().fold(Codes::default(), Codes::after)];
    let mut dice = Dice(0x0455_0457_0442_0171);
    let (mut deeds, mut undecided) = (0, 0);
    for _ in 0..KILLS {
        let mut past = Vec::new();
        let mut car = Car::start(&arguments);
        let mut outside = Outside::connect(name, &control).expect("the car is ready");
        for service in [0x03, 0x07, 0x0A] {
            let read = outside.codes(service).expect("the car answers");
            compare(&mut may_hold, service, &read, &past);
        }
        assert_eq!(may_hold.len(), 1, "the three lists say everything: {may_hold:?}");

        let life = LIFE.mul_f64(f64::from(u16::try_from(dice.roll(1000)).expect("small")) / 1000.0);
        thread::scope(|scope| {
            scope.spawn(move || {
                thread::sleep(life);
                car.kill();
            });
            loop {
                let deed = dice.deed();
                past.push(deed);
                let unchanged = may_hold.clone();
                may_hold.extend(unchanged.into_iter().map(|codes| codes.after(deed)));
                may_hold.dedup();
                match (deed, outside.act(deed)) {
                    (_, Err(_)) => break,
                    (Deed::Read(service), Ok(read)) => {
                        compare(&mut may_hold, service, &read.expect("a list"), &past);
                    }
                    (_, Ok(_)) => {
                        // Reported: now it has to be there.
                        let done = may_hold.pop().expect("the last is the one after the deed");
                        may_hold = vec![done];
                    }
                }
                deeds += 1;
            }
        });
        undecided += usize::from(may_hold.len() > 1);
    }
    println!("{deeds} deeds, {undecided} kills while a change was under way");
    assert!(
        deeds > KILLS && undecided > 0,
        "too little happened: {deeds}, {undecided}"
    );
}
