//! The guard of a bus with a wire: the car goes on it only where nobody else is, and leaves once somebody is.
//!
//! A vehicle with its ignition on is never silent, and its ECUs answer `01 00` (SAE J1979: every emission-related one
//! supports it) or, where they speak SAE J1979-2 alone, `22 F8 10`. So [`look`] listens first, then asks both once with each
//! identifier size, and refuses at any frame of anybody. While the car runs, [`Watch`] lets pass what testers send by ISO 15765-4 and nothing else. Neither can know of a
//! vehicle that sleeps: the user's word, `--on-a-bench`, comes first. Common practice, no source.

use std::{fmt, time::Duration};

use thiserror::Error;
use tokio::time::{Instant, timeout_at};
use twotrip_can::{CanId, Frame, FrameKind, address::EcuAddress};

use crate::bus::{Bus, BusError, BusEvent, Filter, Origin, Received, Sent};

/// How long the bus has to be silent before the car says its first word. Periodic frames of vehicles come at least once a
/// second (common practice, no source).
pub const LISTEN: Duration = Duration::from_secs(2);
/// How long an answer to the probe is waited for: P2 of ISO 15765-4 is 50 ms; gateways may add to it.
pub const ANSWER: Duration = Duration::from_millis(500);

/// Why the car does not go on this bus, or leaves it.
#[derive(Debug, Error)]
pub enum BenchError {
    /// The bus itself.
    #[error(transparent)]
    Bus(#[from] BusError),
    /// Somebody sends.
    #[error(
        "the bus is in use: {heard} while it was listened to; nothing was sent; is a vehicle \
         connected? Take this computer off it; on a bench, start twotrip before anything else sends"
    )]
    Busy {
        /// Who, and what.
        heard: Box<Heard>,
    },
    /// Somebody answers, or sends, after the probe.
    #[error(
        "{heard} after the question `{probe}`: another ECU is on this bus, and nothing else was sent; is a \
         vehicle connected? Take this computer off it; a bench has room for one car"
    )]
    Answered {
        /// Who, and what.
        heard: Box<Heard>,
        /// The question.
        probe: Box<Frame>,
    },
    /// The probe cannot leave.
    #[error(
        "the bus does not take the question `{probe}`; is it wired, and at the right bit rate? `ip -details link show` \
         tells the state of the controller"
    )]
    Stuck {
        /// The question.
        probe: Box<Frame>,
    },
    /// Another ECU answers while the car runs.
    #[error(
        "a second ECU: {heard}, so twotrip has stopped sending; is a vehicle connected? Take this \
         computer off it; a bench has room for one car"
    )]
    SecondResponder {
        /// Who, and what.
        heard: Box<Heard>,
    },
    /// Somebody whom a tester does not expect, while it asks.
    #[error(
        "{heard}, and no ECU that was expected sends this, so nothing more is sent; is a vehicle connected? Take this computer \
         off it; a bench has the ECUs under test and testers, and nothing else"
    )]
    Unexpected {
        /// Who, and what.
        heard: Box<Heard>,
    },
    /// Something that no tester sends.
    #[error(
        "foreign traffic: {heard}, which is no request of a tester, so twotrip has stopped sending; is a \
         vehicle connected? Take this computer off it; a bench has a car and testers, and nothing else"
    )]
    Foreign {
        /// Who, and what.
        heard: Box<Heard>,
    },
}

/// A frame of somebody else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Heard {
    /// Where it was sent.
    pub origin: Origin,
    /// The frame.
    pub frame: Frame,
}

impl From<&Received> for Box<Heard> {
    fn from(received: &Received) -> Self {
        let (origin, frame) = (received.origin, received.frame);
        Self::new(Heard { origin, frame })
    }
}

impl fmt::Display for Heard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let who = match self.origin {
            Origin::Wire => "a node on the wire",
            Origin::ThisComputer => "another program on this computer",
        };
        write!(f, "{who} sent `{}`", self.frame)
    }
}

/// What [`look`] found where it found nobody.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bench {
    /// Whether another node has acknowledged the question; `None` where the interface does not tell.
    pub acknowledged: Option<bool>,
}

/// What every ECU of one of the two dialects answers, as single frames: `01 00` (SAE J1979), `22 F8 10` (SAE J1979-2, from memory).
const PROBES: [&[u8]; 2] = [&[2, 0x01, 0x00], &[3, 0x22, 0xF8, 0x10]];

/// Listens for [`LISTEN`], then asks `01 00` and `22 F8 10` once with each identifier size. Good if nobody sends anything all the
/// while.
///
/// # Errors
/// [`BenchError`] says who is there.
pub async fn look(bus: &mut Bus) -> Result<Bench, BenchError> {
    look_for(bus, &[]).await
}

/// The same before a tester asks: the ECUs that answer by these identifiers, and no other, may be there. They too are
/// silent until they are asked, which the ECUs of a vehicle are not.
///
/// # Errors
/// [`BenchError`] says who is there.
pub async fn look_for(bus: &mut Bus, expected: &[CanId]) -> Result<Bench, BenchError> {
    bus.want_confirmation()?;
    let mut passed = 0;
    if let Some(heard) = hear(bus, LISTEN, &mut passed, &[]).await? {
        return Err(BenchError::Busy { heard });
    }
    let mut tells = false;
    let sizes = [
        EcuAddress::ENGINE.functional,
        EcuAddress::extended(0x10).functional,
    ];
    let probes = sizes
        .into_iter()
        .flat_map(|functional| PROBES.map(|probe| Frame::padded(functional, probe, 0)));
    for probe in probes.map(Box::new) {
        match timeout_at(Instant::now() + ANSWER, bus.send(&probe)).await {
            Ok(sent) => tells |= sent? == Sent::Queued,
            Err(_) => return Err(BenchError::Stuck { probe }),
        }
        if let Some(heard) = hear(bus, ANSWER, &mut passed, expected).await? {
            return Err(BenchError::Answered { heard, probe });
        }
    }
    Ok(Bench {
        acknowledged: tells.then_some(passed > 0),
    })
}

/// Hears for a while; the first frame of anybody who is not expected ends it.
async fn hear(
    bus: &mut Bus,
    span: Duration,
    passed: &mut u32,
    expected: &[CanId],
) -> Result<Option<Box<Heard>>, BenchError> {
    let end = Instant::now() + span;
    while let Ok(event) = timeout_at(end, bus.recv()).await {
        match event? {
            BusEvent::Frame(received) if is_expected(&received.frame, expected) => {}
            BusEvent::Frame(received) if received.frame.kind() != FrameKind::Error => {
                return Ok(Some((&received).into()));
            }
            BusEvent::Passed(_) => *passed += 1,
            // The controller's own reports, and an interface that is set anew: nobody's frames.
            BusEvent::Frame(_) | BusEvent::Down | BusEvent::TurnedAway(_) => {}
        }
    }
    Ok(None)
}

/// A data frame of an ECU that may be there.
fn is_expected(frame: &Frame, expected: &[CanId]) -> bool {
    frame.kind() == FrameKind::Data && expected.contains(&frame.id())
}

/// Tells, while a tester asks the ECUs that answer by these identifiers, whether what is heard belongs on a bench.
///
/// # Errors
/// [`BenchError::Unexpected`] for what is neither theirs nor a tester's.
pub fn check_for_tester(received: &Received, expected: &[CanId]) -> Result<(), BenchError> {
    let frame = &received.frame;
    if frame.kind() == FrameKind::Error || is_of_a_tester(frame) || is_expected(frame, expected) {
        return Ok(());
    }
    let heard = received.into();
    Err(BenchError::Unexpected { heard })
}

/// Tells, while the car runs, whether what is heard belongs on a bench.
#[derive(Clone, Copy, Debug, Default)]
pub struct Watch;

impl Watch {
    /// Looks at a frame of another node.
    ///
    /// # Errors
    /// [`BenchError`] for what no tester sends.
    pub fn check(&self, received: &Received) -> Result<(), BenchError> {
        let heard = || received.into();
        match (received.frame.kind(), received.frame.id()) {
            (FrameKind::Error, _) => Ok(()),
            _ if is_of_a_tester(&received.frame) => Ok(()),
            (FrameKind::Data, id) if is_of_an_ecu(id) => Err(BenchError::SecondResponder { heard: heard() }),
            _ => Err(BenchError::Foreign { heard: heard() }),
        }
    }
}

/// What testers send: functional requests, physical requests and flow control, ISO 15765-4 (from memory).
pub const TESTERS: [Filter; 4] = [
    Filter::exact(EcuAddress::ENGINE.functional),
    Filter::exact(EcuAddress::ENGINE.request).but_for(0x7),
    Filter::exact(EcuAddress::extended(0).functional),
    Filter::exact(EcuAddress::extended(0).request).but_for(0xFF00),
];

fn is_of_a_tester(frame: &Frame) -> bool {
    frame.kind() == FrameKind::Data && TESTERS.iter().any(|filter| filter.passes(frame))
}

/// Answers and flow control of ECUs to the tester, ISO 15765-4 (from memory).
const fn is_of_an_ecu(id: CanId) -> bool {
    match id {
        CanId::Standard(id) => matches!(id, 0x7E8..=0x7EF),
        CanId::Extended(id) => id & 0x1FFF_FF00 == 0x18DA_F100,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn received(frame: Frame) -> Received {
        Received {
            frame,
            origin: Origin::Wire,
        }
    }

    #[test]
    fn a_bench_has_testers_and_nobody_else() {
        let verdict = |id| Watch.check(&received(Frame::padded(id, &[2, 1, 0], 0)));
        for id in [0x7DF, 0x7E0, 0x7E7] {
            assert!(verdict(CanId::Standard(id)).is_ok(), "{id:X}");
        }
        for id in [0x18DB_33F1, 0x18DA_10F1, 0x18DA_FEF1] {
            assert!(verdict(CanId::Extended(id)).is_ok(), "{id:X}");
        }
        for id in [
            CanId::Standard(0x7E8),
            CanId::Standard(0x7EF),
            CanId::Extended(0x18DA_F110),
        ] {
            assert!(
                matches!(verdict(id), Err(BenchError::SecondResponder { .. })),
                "{id}"
            );
        }
        for id in [
            CanId::Standard(0),
            CanId::Standard(0x7DE),
            CanId::Standard(0x7F0),
            CanId::Extended(0x7DF),
            CanId::Extended(0x18DA_10F2),
            CanId::Extended(0x18DB_33F2),
            CanId::Extended(0x18DA_EF10),
        ] {
            assert!(matches!(verdict(id), Err(BenchError::Foreign { .. })), "{id}");
        }
    }

    #[test]
    fn a_tester_hears_the_ecus_that_it_asks_and_nobody_else() {
        let expected = [CanId::Standard(0x7E8), CanId::Extended(0x18DA_F110)];
        let verdict = |frame| check_for_tester(&received(frame), &expected);
        for id in expected
            .into_iter()
            .chain([CanId::Standard(0x7DF), CanId::Standard(0x7E0)])
        {
            assert!(verdict(Frame::padded(id, &[2, 1, 0], 0)).is_ok(), "{id}");
        }
        assert!(verdict(Frame::error(0x40, [0; 8])).is_ok());
        for id in [
            CanId::Standard(0x7E9),
            CanId::Standard(0x123),
            CanId::Extended(0x18DA_F118),
            CanId::Extended(0x7E8),
        ] {
            let error = verdict(Frame::padded(id, &[2, 1, 0], 0)).expect_err("unexpected");
            assert!(matches!(error, BenchError::Unexpected { .. }), "{error}");
        }
        let remote = Frame::remote(CanId::Standard(0x7E8), 8).expect("a remote frame");
        assert!(verdict(remote).is_err());
    }

    #[test]
    fn kinds_of_frames_that_no_tester_sends_are_foreign_on_any_identifier() {
        let id = CanId::Standard(0x7DF);
        let kinds = [Frame::remote(id, 8), Frame::fd(id, &[2, 1, 0], false, false)];
        for frame in kinds.into_iter().flatten() {
            let error = Watch.check(&received(frame)).expect_err("foreign");
            assert!(matches!(error, BenchError::Foreign { .. }), "{error}");
        }
        assert!(Watch.check(&received(Frame::error(0x40, [0; 8]))).is_ok());
    }
}
