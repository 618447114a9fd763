//! A car on an embedded bus in wall time.

use std::time::Duration;

use twotrip_can::{CanId, Frame};
use twotrip_scenario::parse_phrase;
use twotrip_sim::{Settings, Timing};

use super::*;
use crate::{
    bus::{BusEvent, Name, Sent},
    control::ControlClient,
};

/// A pace beyond what the computer can do costs car time, not the bus: requests are answered within P2 (50 ms, ISO
/// 15765-4) and the tolerance of a busy machine.
#[tokio::test(flavor = "current_thread")]
async fn the_bus_is_served_at_any_pace() {
    let folder = tempfile::tempdir().expect("folder");
    let name: Name = format!("local:pace-{}", std::process::id())
        .parse()
        .expect("a name");
    let mut simulator = Simulator::new(Settings::compact(1, Timing::FAST));
    simulator.tell(parse_phrase("start").expect("a phrase"));
    while simulator.is_busy() {
        simulator.work(SLICE);
    }
    let car_bus = Bus::host(&name).expect("bus");
    let control = ControlServer::bind(&folder.path().join("control")).expect("control socket");
    let mut run = Run::new(simulator, car_bus, control, Pace::Times(1e5)).expect("signals");
    let asked = async {
        let mut tester = Bus::join(&name).await.expect("joined");
        let request = Frame::padded(CanId::Standard(0x7DF), &[2, 0x01, 0x0C], 0);
        let mut slowest = Duration::ZERO;
        for _ in 0..10 {
            tokio::time::sleep(Duration::from_millis(250)).await;
            let begun = Instant::now();
            assert_eq!(tester.send(&request).await.expect("sent"), Sent::Handed);
            loop {
                if let BusEvent::Frame(received) = tester.recv().await.expect("received") {
                    assert_eq!(received.frame.data()[..3], [4, 0x41, 0x0C]);
                    break;
                }
            }
            slowest = slowest.max(begun.elapsed());
        }
        slowest
    };
    let slowest = tokio::select! {
        _ = run.drive(None, |_| {}) => panic!("the run ended"),
        slowest = asked => slowest,
    };
    assert!(slowest < Duration::from_millis(150), "{slowest:?}");
    let passed = run.simulator().car().now();
    assert!(passed.as_secs_f64() > 100.0, "the car's time went on: {passed:?}");
}

/// Requests without end do not keep the car from its phrases: a flood is somebody else's.
#[tokio::test(flavor = "current_thread")]
async fn a_flood_of_requests_does_not_silence_the_control_socket() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("control");
    let name: Name = format!("local:flood-{}", std::process::id())
        .parse()
        .expect("a name");
    let simulator = Simulator::new(Settings::compact(1, Timing::FAST));
    let bus = Bus::host(&name).expect("bus");
    let control = ControlServer::bind(&path).expect("control socket");
    let mut run = Run::new(simulator, bus, control, Pace::Live).expect("signals");
    let flood = async {
        let mut tester = Bus::join(&name).await.expect("joined");
        let request = Frame::padded(CanId::Standard(0x7DF), &[2, 0x01, 0x0C], 0);
        loop {
            let _ = tester.send(&request).await.expect("sent");
        }
    };
    let told = async {
        let mut client = ControlClient::connect(&path).await.expect("connected");
        for phrase in ["key on", "inspect fuel-cap", "key off"] {
            let outcome = client.tell(phrase, |_| {}).await.expect("an answer");
            assert!(outcome.ok, "{outcome:?}");
        }
    };
    tokio::select! {
        _ = run.drive(None, |_| {}) => panic!("the run ended"),
        () = flood => panic!("the flood ended"),
        told = timeout(Duration::from_secs(20), told) => told.expect("a phrase is answered"),
    }
}

/// What was asked before the car was there is not answered when it is (P2 of ISO 15765-4 is long over); what comes
/// after is.
#[tokio::test(flavor = "current_thread")]
async fn requests_from_before_are_let_pass() {
    for lets_pass in [true, false] {
        let folder = tempfile::tempdir().expect("folder");
        let name: Name = format!("local:before-{lets_pass}-{}", std::process::id())
            .parse()
            .expect("a name");
        let mut simulator = Simulator::new(Settings::compact(1, Timing::FAST));
        simulator.tell(parse_phrase("key on").expect("a phrase"));
        while simulator.is_busy() {
            simulator.work(SLICE);
        }
        let bus = Bus::host(&name).expect("bus");
        let control = ControlServer::bind(&folder.path().join("control")).expect("control socket");
        let mut run = Run::new(simulator, bus, control, Pace::Live).expect("signals");
        let letting_in = async {
            loop {
                run.let_pass().await;
            }
        };
        let mut tester = tokio::select! {
            tester = Bus::join(&name) => tester.expect("joined"),
            () = letting_in => unreachable!("it goes on"),
        };
        let ask = |pid| Frame::padded(CanId::Standard(0x7DF), &[2, 0x01, pid], 0);
        assert_eq!(tester.send(&ask(0x0C)).await.expect("sent"), Sent::Handed);
        if lets_pass {
            run.let_pass().await;
        }
        assert_eq!(tester.send(&ask(0x0D)).await.expect("sent"), Sent::Handed);
        let answered = async {
            loop {
                if let BusEvent::Frame(received) = tester.recv().await.expect("received") {
                    return received.frame.data()[2];
                }
            }
        };
        let first = tokio::select! {
            _ = run.drive(None, |_| {}) => panic!("the run ended"),
            first = timeout(Duration::from_secs(20), answered) => first.expect("an answer"),
        };
        assert_eq!(first, if lets_pass { 0x0D } else { 0x0C });
    }
}
