//! What is waited for here comes as fast as the computer can; no test depends on how fast that is.

use twotrip::{Builder, CanId, Dtc};

use super::*;

const LONG: Duration = Duration::from_secs(60);

fn parked() -> Car {
    let car = Builder::of_vehicle("compact-2.0").and_then(|car| car.story("key on")?.build());
    car.expect("a car")
}

fn request(bytes: &[u8]) -> Frame {
    Frame::padded(CanId::Standard(0x7DF), bytes, 0)
}

fn threads(count: usize) -> NonZeroUsize {
    NonZeroUsize::new(count).expect("one at least")
}

/// Each car answers for itself, to the tool that is plugged in there, whichever thread it is on.
#[test]
fn many_cars_answer_side_by_side() {
    let codes = [0x0301, 0x0302, 0x0303, 0x0304, 0x0171];
    let cars = codes.map(|code| {
        let mut car = parked();
        car.preload_confirmed(&[Dtc::p(code)])
            .expect("a code that it has");
        car
    });
    let yard = Yard::open(cars, threads(2)).expect("threads");
    let plugs = [yard.plug_into([0, 1, 2]), yard.plug_into([3, 4])];
    for (number, plug) in [0, 0, 0, 1, 1].into_iter().enumerate() {
        plugs[plug]
            .send(number, request(&[1, 0x03]))
            .expect("room on the bus");
    }
    let mut answered: Vec<(usize, u16)> = [0, 0, 0, 1, 1]
        .into_iter()
        .map(|plug| {
            let (number, wired) = plugs[plug].receive(LONG).expect("an answer");
            assert!(wired.from_car && wired.at <= yard.now());
            assert_eq!(wired.frame.data()[..3], [4, 0x43, 1]);
            (
                number,
                u16::from_be_bytes([wired.frame.data()[3], wired.frame.data()[4]]),
            )
        })
        .collect();
    answered.sort_unstable();
    assert_eq!(answered, codes.into_iter().enumerate().collect::<Vec<_>>());
}

/// An answer of several frames, its flow control sent as the tool would.
#[test]
fn flow_control_reaches_the_car() {
    let yard = Yard::open([parked()], threads(1)).expect("threads");
    let plug = yard.plug_into([0]);
    plug.send(0, request(&[2, 0x09, 0x02])).expect("room on the bus");
    let (_, first) = plug.receive(LONG).expect("a first frame");
    assert_eq!(first.frame.data()[0], 0x10);
    let go_on = Frame::padded(CanId::Standard(0x7E0), &[0x30, 0, 0], 0);
    plug.send(0, go_on).expect("room on the bus");
    let rest = [(); 2].map(|()| plug.receive(LONG).expect("a consecutive frame").1.frame.data()[0]);
    assert_eq!(rest, [0x21, 0x22]);
}

/// Time passes by the clock of the yard, from wherever the car was, and what a deed lets pass comes on top.
#[test]
fn a_cars_time_is_the_yards() {
    const EARLIER: Duration = Duration::from_secs(100);
    let mut car = parked();
    car.advance(EARLIER);
    let yard = Yard::open([car], threads(1)).expect("threads");
    let bus_time = || yard.with(0, |car| car.now());
    let (before, told, after) = (yard.now(), bus_time(), yard.now());
    assert!(before + EARLIER <= told && told <= after + EARLIER);
    yard.with(0, |car| car.advance(EARLIER));
    let (before, told) = (yard.now(), bus_time());
    assert!(told >= before + EARLIER, "{told:?}");
    let plug = yard.plug_into([0]);
    plug.send(0, request(&[1, 0x03])).expect("room on the bus");
    let (_, wired) = plug.receive(LONG).expect("an answer");
    assert!(wired.at <= yard.now());
}

/// What a test does to one car and what it finds wrong there is its own affair.
#[test]
fn a_deed_that_panics_leaves_the_car_where_it_is() {
    let yard = Yard::open([parked()], threads(1)).expect("threads");
    let deed = std::panic::AssertUnwindSafe(|| yard.with(0, |_| panic!("found wrong")));
    assert!(std::panic::catch_unwind(deed).is_err());
    let plug = yard.plug_into([0]);
    plug.send(0, request(&[1, 0x03])).expect("room on the bus");
    assert!(plug.receive(LONG).is_some());
}

#[test]
fn a_plug_outlives_its_yard_in_silence() {
    let yard = Yard::open([parked()], threads(1)).expect("threads");
    let plug = yard.plug_into([0]);
    drop(yard.plug_into([0]));
    drop(yard);
    plug.send(0, request(&[1, 0x03])).expect("room on the bus");
    assert_eq!(plug.receive(Duration::ZERO), None);
}
