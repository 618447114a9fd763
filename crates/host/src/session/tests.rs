//! A tester with the guard of a bench, on a bus without a wire: the guard is the same on each.

use twotrip_can::{CanId, Frame};
use twotrip_tester::{Target, TesterConfig};

use super::*;
use crate::{bus::Name, test_support::run};

fn frame(id: u16, bytes: &[u8]) -> Frame {
    Frame::padded(CanId::Standard(id), bytes, 0)
}

/// Hosts a bus on which the n-th frame that is heard is answered by the n-th of these.
fn answering(place: &str, answers: Vec<Vec<Frame>>) -> Name {
    let name: Name = format!("local:{place}-{}", std::process::id())
        .parse()
        .expect("a name");
    let mut bus = Bus::host(&name).expect("a bus");
    tokio::task::spawn_local(async move {
        let mut answers = answers.into_iter();
        while let Ok(event) = bus.recv().await {
            if matches!(event, BusEvent::Frame(_)) {
                for frame in answers.next().unwrap_or_default() {
                    assert_eq!(bus.send(&frame).await.expect("sent"), Sent::Handed);
                }
            }
        }
    });
    name
}

async fn join(name: &Name) -> Bus {
    Bus::join(name).await.expect("joined")
}

#[test]
fn on_a_bench_nothing_is_asked_any_more_once_a_stranger_is_heard() {
    run(async {
        // Those that are expected, one of them out of turn, and another tester; then strangers.
        let engine = frame(0x7E8, &[2, 0x43, 0]);
        let gearbox = frame(0x7E9, &[2, 0x47, 0]);
        let strangers = [frame(0x7EA, &[2, 0x43, 0]), frame(0x123, &[1])];
        let known = vec![gearbox, frame(0x7E3, &[1, 0x07]), engine];
        let [first, second] = strangers.map(|stranger| vec![stranger, engine]);
        let name = answering("guarded", vec![known, first, second]);
        let expected = vec![CanId::Standard(0x7E8), CanId::Standard(0x7E9)];
        let open =
            |bus| Session::on_a_bench(bus, TesterConfig::default(), expected.clone()).expect("a session");
        let target = Target::Ecu(EcuNumber::ENGINE);

        let mut session = open(join(&name).await);
        let exchange = session
            .exchange(target, &[0x03])
            .await
            .expect("nobody is foreign");
        assert_eq!(exchange.answers[0].payload, [0x43, 0]);
        assert_eq!(session.take_strays(), [gearbox], "it was not asked");
        for stranger in strangers {
            // A tester of its own each, since an exchange that ends so is not to be gone on with.
            let error = open(join(&name).await)
                .exchange(target, &[0x03])
                .await
                .expect_err("a stranger");
            assert!(
                matches!(error, SessionError::Bench(BenchError::Unexpected { .. })),
                "{error}"
            );
            assert!(error.to_string().contains(&stranger.to_string()), "{error}");
        }
    });
}

/// ISO 15765-2: without flow control in time (N_Bs) a request of several frames is not taken.
#[test]
fn an_ecu_that_takes_no_long_request_is_told_from_a_bus_that_takes_no_frame() {
    run(async {
        let name = answering("refusing", vec![vec![frame(0x7E8, &[0x32, 0, 0])]]);
        let mut session = Session::new(join(&name).await, TesterConfig::default()).expect("a session");
        let target = Target::Ecu(EcuNumber::ENGINE);
        let long = [0x22, 0xF4, 0x0C, 0xF4, 0x0D, 0xF4, 0x05, 0xF4, 0x04];
        let exchange = session.exchange(target, &long).await.expect("it was sent");
        assert_eq!(exchange.refused, Some(NResult::BufferOvflw));
        assert!(matches!(
            session.ask(target, &long).await,
            Err(SessionError::NotTaken {
                result: NResult::TimeoutBs
            })
        ));
    });
}
