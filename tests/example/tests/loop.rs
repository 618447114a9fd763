//! The tool against cars that fail on cue: read, repair, clear, verify.

mod plug;

use code_reader::{Failure, clear_codes, read_codes};
use twotrip::{Builder, Car, Dtc};

use self::plug::Plug;

#[test]
fn a_loose_cap_is_read_cleared_and_stays_away() {
    let mut plug = Plug::into(Car::shipped("loose-fuel-cap").expect("a shipped scenario"));
    assert_eq!(read_codes(&mut plug), Ok(vec!["P0455".to_owned()]));

    plug.car.tell("tighten fuel-cap").expect("the cap is there");
    assert_eq!(clear_codes(&mut plug), Ok(()));
    assert_eq!(read_codes(&mut plug), Ok(vec![]));

    for phrase in ["soak 9 h", "drive udds", "soak 9 h", "drive udds"] {
        plug.car.tell(phrase).expect("the car drives");
    }
    assert_eq!(read_codes(&mut plug), Ok(vec![]), "the repair held");
    assert!(!plug.car.mil_commanded());
}

/// Two trips, one story: every test begins from a copy of the car.
#[test]
fn a_clear_without_a_repair_brings_the_code_back() {
    let story = Car::shipped("loose-fuel-cap").expect("a shipped scenario");
    let mut plug = Plug::into(story.clone());
    assert_eq!(clear_codes(&mut plug), Ok(()));
    for _ in 0..2 {
        for phrase in ["soak 9 h", "drive udds", "drive hwfet"] {
            plug.car.tell(phrase).expect("the car drives");
        }
    }
    plug.car.tell("stop").expect("it stands");
    assert_eq!(read_codes(&mut plug), Ok(vec!["P0455".to_owned()]));
    assert_eq!(
        story.confirmed().len(),
        1,
        "the copy was cleared, not the story's car"
    );
}

#[test]
fn many_codes_come_in_several_frames() {
    let car = Builder::of_vehicle("compact-2.0").and_then(|car| car.story("key on")?.build());
    let mut car = car.expect("a car");
    let codes = [0x0301, 0x0302, 0x0303, 0x0171, 0x0420].map(Dtc::p);
    car.preload_confirmed(&codes).expect("codes that it has");
    let codes = read_codes(&mut Plug::into(car)).expect("an answer of three frames");
    assert_eq!(codes, ["P0301", "P0302", "P0303", "P0171", "P0420"]);
}

#[test]
fn a_clear_while_the_engine_runs_is_refused() {
    let car = Builder::of_vehicle("compact-2.0").and_then(|car| car.story("start")?.build());
    assert_eq!(
        clear_codes(&mut Plug::into(car.expect("a car"))),
        Err(Failure::Refused(0x22))
    );
}

#[test]
fn a_car_whose_key_is_off_is_silent() {
    let car = Builder::of_vehicle("compact-2.0").and_then(|car| car.build());
    assert_eq!(
        read_codes(&mut Plug::into(car.expect("a car"))),
        Err(Failure::Silence)
    );
}
