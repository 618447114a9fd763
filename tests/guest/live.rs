//! The arm on a bus of the kernel: a raw socket as the tester, an ECU in a process of its own.

use std::collections::VecDeque;
use std::io::{self, BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, SystemTime};

use socketcan::{CanAnyFrame, CanFdSocket, EmbeddedFrame as _, Frame as _, Socket as _, SocketOptions as _};
use twotrip_can::{CanId, Frame, FrameKind};
use twotrip_tests::cases::Setup;
use twotrip_tests::run::{self, Passed, Question};
use twotrip_units::BusInstant;

/// Flags of the identifier word (linux/can.h).
const EXTENDED: u32 = 0x8000_0000;
const REMOTE: u32 = 0x4000_0000;
const ERROR: u32 = 0x2000_0000;

/// What an emulated, shared machine may add to any time.
const SLACK: Duration = Duration::from_secs(2);
/// Flow control for everything at once.
const CONTINUE: [u8; 3] = [0x30, 0, 0];

/// A bus with a tester on it.
pub(crate) struct Arm {
    interface: String,
    socket: CanFdSocket,
    begun: SystemTime,
    /// Frames just sent: a socket does not hear its own.
    own: VecDeque<Passed>,
    question: Option<Question>,
}

impl Arm {
    pub(crate) fn new(interface: &str) -> io::Result<Self> {
        let socket = CanFdSocket::open(interface)?;
        socket.set_recv_timestamp(true)?;
        Ok(Self {
            interface: interface.to_owned(),
            socket,
            begun: SystemTime::now(),
            own: VecDeque::new(),
            question: None,
        })
    }

    /// What the ECU is asked for, and its answer.
    pub(crate) fn set_question(&mut self, request: &[u8], answer: Vec<u8>) {
        let len = u8::try_from(request.len()).unwrap_or(7);
        let data = [&[len], request].concat();
        self.question = Some(Question {
            frame: Frame::padded(CanId::Standard(0x7E0), &data, 0),
            answer,
        });
    }

    /// Asks the car for an answer of the case's length; what it says now it will say again, since its time stands.
    /// Engine off, so that load ($04), speed ($0D) and run time ($1F) are at rest; $13, $1C, $30, $51 never change by themselves.
    pub(crate) fn ask_the_car(&mut self, setup: &Setup) -> Result<(), String> {
        let request: &[u8] = match setup.answer {
            Some(7) => &[0x01, 0x04, 0x0D, 0x1C],
            Some(8) => &[0x01, 0x04, 0x0D, 0x1F],
            Some(13) => &[0x01, 0x04, 0x0D, 0x1C, 0x30, 0x13, 0x51],
            Some(19) => &[0x09, 0x04],
            Some(43) => &[0x09, 0x08],
            other => return Err(format!("no car answers with {other:?} bytes")),
        };
        self.set_question(request, Vec::new());
        let answer = self.whole_answer()?;
        if Some(answer.len()) != setup.answer {
            return Err(format!("{request:02X?} is answered by {answer:02X?}"));
        }
        self.set_question(request, answer);
        Ok(())
    }

    fn whole_answer(&mut self) -> Result<Vec<u8>, String> {
        let question = run::Arm::question(self);
        run::Arm::send(self, question.frame);
        let end = run::Arm::now(self) + SLACK;
        let (mut answer, mut length) = (Vec::new(), 0);
        while let Some(Passed { own, frame, .. }) = run::Arm::next(self, end) {
            let data = frame.data();
            match data {
                _ if own || frame.id() != CanId::Standard(0x7E8) => {}
                [len @ 1..=7, rest @ ..] => return Ok(rest[..usize::from(*len)].to_vec()),
                [high @ 0x10..=0x1F, low, rest @ ..] => {
                    length = usize::from(high & 0x0F) << 8 | usize::from(*low);
                    answer.extend(rest);
                    run::Arm::send(self, Frame::padded(CanId::Standard(0x7E0), &CONTINUE, 0));
                }
                [0x20..=0x2F, rest @ ..] => answer.extend(rest),
                _ => {}
            }
            if length > 0 && answer.len() >= length {
                answer.truncate(length);
                return Ok(answer);
            }
        }
        Err(format!("no whole answer to {}: {answer:02X?}", question.frame))
    }

    /// The next frame, `None` for one that is not to be seen.
    fn read(&self) -> io::Result<Option<Passed>> {
        let (frame, time) = self.socket.read_frame_with_timestamp()?;
        let at = BusInstant::ZERO + time.duration_since(self.begun).unwrap_or_default();
        Ok(from_kernel(&frame).map(|frame| Passed {
            own: false,
            starts: at,
            at,
            frame,
        }))
    }
}

impl run::Arm for Arm {
    fn now(&self) -> BusInstant {
        BusInstant::ZERO + self.begun.elapsed().unwrap_or_default()
    }

    fn slack(&self) -> Duration {
        SLACK
    }

    fn question(&mut self) -> Question {
        self.question.clone().expect("the arm was told what to ask")
    }

    fn send(&mut self, frame: Frame) {
        let sent = self.socket.as_raw_socket().write_all(&to_kernel(&frame));
        sent.unwrap_or_else(|error| panic!("{frame} on {}: {error}", self.interface));
        let at = self.now();
        self.own.push_back(Passed {
            own: true,
            starts: at,
            at,
            frame,
        });
    }

    fn next(&mut self, until: BusInstant) -> Option<Passed> {
        if let Some(own) = self.own.pop_front() {
            return Some(own);
        }
        loop {
            let left = until.saturating_since(self.now());
            let left = left.max(Duration::from_millis(1));
            self.socket
                .set_read_timeout(left)
                .expect("a time that is not zero");
            match self.read() {
                Ok(Some(passed)) => return Some(passed),
                Ok(None) => {}
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                // The interface is down: nothing to hear until it is up.
                Err(_) => sleep(Duration::from_millis(1)),
            }
            if self.now() >= until {
                return None;
            }
        }
    }

    fn fill_queue(&mut self, _span: Duration) {
        panic!("a virtual interface refuses no frame");
    }

    fn set_link(&mut self, up: bool) {
        let state = if up { "up" } else { "down" };
        let done = Command::new("ip")
            .args(["link", "set", &self.interface, state])
            .status();
        assert!(
            done.is_ok_and(|status| status.success()),
            "ip link set {} {state}",
            self.interface
        );
    }

    fn delivered(&mut self) -> Option<Vec<Vec<u8>>> {
        None
    }

    fn reported(&mut self) -> Option<Vec<(twotrip_isotp::Direction, twotrip_isotp::NResult)>> {
        None
    }
}

/// `struct can_frame` and `struct canfd_frame` (linux/can.h).
fn to_kernel(frame: &Frame) -> Vec<u8> {
    let (flags, size, fd) = match frame.kind() {
        FrameKind::Data => (0, 16, 0),
        FrameKind::Remote => (REMOTE, 16, 0),
        FrameKind::Error => (ERROR, 16, 0),
        FrameKind::Fd { .. } => (0, 72, 4),
    };
    let extended = if frame.id().is_extended() && frame.kind() != FrameKind::Error {
        EXTENDED
    } else {
        0
    };
    let mut bytes = (frame.id().raw() | flags | extended).to_ne_bytes().to_vec();
    bytes.extend([u8::try_from(frame.len()).expect("up to 64"), fd, 0, 0]);
    bytes.extend(frame.data());
    bytes.resize(size, 0);
    bytes
}

/// A classic data frame; nothing else is an ECU's.
fn from_kernel(frame: &CanAnyFrame) -> Option<Frame> {
    let CanAnyFrame::Normal(frame) = frame else {
        return None;
    };
    let word = frame.id_word();
    let id = if word & EXTENDED != 0 {
        CanId::extended(word & CanId::EXTENDED_MAX)
    } else {
        CanId::standard(u16::try_from(word).ok()?)
    };
    Frame::new(id?, frame.data())
}

/// An ECU in a process of its own, until it is dropped.
pub(crate) struct Ecu {
    process: Child,
    /// Kept open: the ECU may go on talking.
    _said: BufReader<ChildStdout>,
}

impl Ecu {
    /// Starts it and waits for its line that begins with `ready`.
    pub(crate) fn start(program: &Path, arguments: &[&str]) -> io::Result<Self> {
        let mut process = Command::new(program)
            .args(arguments)
            .stdout(Stdio::piped())
            .spawn()?;
        let mut said = BufReader::new(process.stdout.take().expect("it is piped"));
        let mut line = String::new();
        while !line.starts_with("ready") {
            line.clear();
            if said.read_line(&mut line)? == 0 {
                return Err(io::Error::other(format!(
                    "{} {arguments:?} is not ready",
                    program.display()
                )));
            }
        }
        Ok(Self { process, _said: said })
    }

    pub(crate) fn is_running(&mut self) -> bool {
        matches!(self.process.try_wait(), Ok(None))
    }
}

impl Drop for Ecu {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
