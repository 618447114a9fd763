//! Two judges of a tool: what it does about what goes wrong, and whether it keeps the rules of the bus. This project's tool
//! passes; tools with a mistake each are found out.

mod plug;

use std::time::Duration;

use code_reader::{Failure, Frame, Port, clear_codes, read_codes};
use twotrip::{Builder, CanId, Car, Disturbance, DisturbanceKind as Kind, Dtc, Severity, Verdict};

use self::plug::Plug;

/// A car with so many codes that they come in several frames.
fn car_with_codes() -> Car {
    let car = Builder::of_vehicle("compact-2.0").and_then(|car| car.story("key on")?.build());
    let mut car = car.expect("a car");
    let codes = [0x0171, 0x0301, 0x0302, 0x0420].map(Dtc::p);
    car.preload_confirmed(&codes).expect("codes that it has");
    car
}

/// Names and severities of the rules that were broken.
fn broken(car: &Car) -> Vec<(&'static str, Severity)> {
    let conduct = car.conduct().expect("it is watched");
    conduct
        .breaches()
        .map(|breach| (breach.rule, breach.severity))
        .collect()
}

#[test]
fn the_tool_keeps_the_rules_of_the_bus() {
    let mut plug = Plug::into(car_with_codes());
    plug.car.watch();
    assert_eq!(read_codes(&mut plug).map(|codes| codes.len()), Ok(4));
    assert_eq!(clear_codes(&mut plug), Ok(()));
    assert_eq!(read_codes(&mut plug), Ok(vec![]));
    let conduct = plug.car.conduct().expect("it is watched");
    assert!(conduct.is_clean(), "{conduct}");
    assert_eq!(conduct.testers[0].requests, 3);
    assert_eq!(conduct.confirmed_read.len(), 4);
}

#[test]
fn the_tool_survives_what_goes_wrong() {
    let disturbances = [
        Disturbance::of(Kind::Busy).times(2),
        Disturbance::of(Kind::ResponsePending)
            .time(Duration::from_secs(6))
            .times(1),
        Disturbance::of(Kind::LateAnswer).time(Duration::from_millis(30)),
        Disturbance::of(Kind::Padding),
        Disturbance::of(Kind::BackgroundLoad).amount(60.0),
    ];
    let story = car_with_codes();
    for disturbance in disturbances {
        let mut plug = Plug::into(story.clone());
        plug.car.watch();
        plug.car.disturb(disturbance).expect("it can be so");
        assert_eq!(
            read_codes(&mut plug).map(|codes| codes.len()),
            Ok(4),
            "{disturbance}"
        );
        assert_eq!(
            read_codes(&mut plug).map(|codes| codes.len()),
            Ok(4),
            "{disturbance}"
        );
        for judged in plug.car.judged() {
            assert_eq!(judged.verdict, Verdict::Held, "{judged}");
        }
        assert_eq!(plug.car.judged().len(), 1);
        let conduct = plug.car.conduct().expect("it is watched");
        assert!(conduct.is_clean(), "{disturbance}: {conduct}");
    }
}

/// It knows no more than this, and says so: the test that its author has to write next.
#[test]
fn what_the_tool_does_not_survive_is_told() {
    let mut plug = Plug::into(car_with_codes());
    let lost = Disturbance::of(Kind::Drop).on(CanId::Standard(0x7E8)).times(1);
    plug.car.disturb(lost).expect("it can be so");
    assert_eq!(read_codes(&mut plug), Err(Failure::Silence));
    let judged = plug.car.judged();
    assert_eq!((judged.len(), judged[0].verdict), (1, Verdict::Failed));
    assert_eq!(judged[0].disturbance, "drop 7E8 once");
}

/// A tool that clears first, takes no refusal, and pays no flow control.
fn bad_tool(port: &mut impl Port) -> Option<Frame> {
    const CLEAR: Frame = (0x7DF, [1, 0x04, 0, 0, 0, 0, 0, 0]);
    const READ: Frame = (0x7DF, [1, 0x03, 0, 0, 0, 0, 0, 0]);
    port.send(READ);
    let first = port.receive(Duration::from_millis(100));
    port.send(CLEAR);
    while port.receive(Duration::from_millis(100)).is_some() {}
    first
}

#[test]
fn a_bad_tool_is_found_out() {
    let mut plug = Plug::into(car_with_codes());
    plug.car.watch();
    let first = bad_tool(&mut plug).expect("a first frame");
    assert_eq!(first.1[0] >> 4, 1);
    let broken = broken(&plug.car);
    let expected = [
        ("flow-control-missing", Severity::Violation),
        ("patience", Severity::Violation),
        ("cleared-unread", Severity::Unwise),
    ];
    for rule in expected {
        assert!(broken.contains(&rule), "{rule:?} in {broken:?}");
    }
}

#[test]
fn a_tool_that_takes_busy_for_an_answer_is_found_out() {
    let mut plug = Plug::into(car_with_codes());
    plug.car.watch();
    plug.car
        .disturb(Disturbance::of(Kind::Busy).times(1))
        .expect("it can be so");
    let answer = bad_tool(&mut plug).expect("an answer");
    assert_eq!(answer.1[..4], [3, 0x7F, 0x03, 0x21]);
    assert_eq!(plug.car.judged()[0].verdict, Verdict::Failed);
    assert!(
        broken(&plug.car).contains(&("busy-not-retried", Severity::Violation)),
        "{:?}",
        broken(&plug.car)
    );
}

/// The same calls, the same judgement; a copy goes on by itself.
#[test]
fn a_copy_is_judged_by_itself() {
    let mut story = car_with_codes();
    story.watch();
    story
        .disturb(Disturbance::of(Kind::Busy).times(1))
        .expect("it can be so");
    let mut good = Plug::into(story.clone());
    let mut bad = Plug::into(story.clone());
    read_codes(&mut good).expect("it asks again");
    bad_tool(&mut bad);
    let verdicts = [&mut good.car, &mut bad.car, &mut story].map(|car| car.judged()[0].verdict);
    assert_eq!(verdicts, [Verdict::Held, Verdict::Failed, Verdict::NotTried]);
    let mut again = Plug::into(story.clone());
    read_codes(&mut again).expect("it asks again");
    assert_eq!(again.car.conduct(), good.car.conduct());
    assert_eq!(again.car.judged(), good.car.judged());
}

#[test]
fn a_car_that_nobody_watches_says_so() {
    let car = car_with_codes();
    let error = car.conduct().expect_err("nobody watches");
    assert!(error.to_string().contains("`watch`"), "{error}");
}

/// A story's car can be kept in a static and shared by the tests of many threads.
#[test]
fn a_car_is_shared_between_threads() {
    const fn can_be_shared<T: Send + Sync + Clone>() {}
    const { can_be_shared::<Car>() };
}
