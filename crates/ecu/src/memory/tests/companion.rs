//! Codes of a maker's own beside the standard's.

use super::*;
use crate::memory::Companion;

const OWN: Dtc = Dtc::p(0x1456);

fn car() -> Car {
    let mut car = Car::new();
    car.memory = car.memory.with_companions(&[
        Companion {
            dtc: OWN,
            with: GROSS_LEAK,
        },
        // Nothing to go with, misfire, and a second of the same name: left out.
        Companion {
            dtc: Dtc::p(0x1999),
            with: Dtc::p(0x0999),
        },
        Companion {
            dtc: Dtc::p(0x1300),
            with: MISFIRE_RANDOM,
        },
        Companion {
            dtc: OWN,
            with: SMALL_LEAK,
        },
    ]);
    car
}

/// Pending, confirmed, permanent, healed and gone with the code that it goes with; the frame is that of the standard's.
#[test]
fn a_code_of_the_makers_own_lives_with_its_standard_one() {
    let mut car = car();
    assert_eq!(car.memory.companions().len(), 1);
    car.play(&[
        (
            &[KeyOn, Start, Fail(GROSS_LEAK), KeyOff],
            "P0455 P1456 | - | - | off | P0455",
        ),
        (
            &[KeyOn, Start, Fail(GROSS_LEAK), KeyOff],
            "P0455 P1456 | P0455 P1456 | P0455 P1456 | on | P0455",
        ),
    ]);
    let mut other = car.clone();
    other.play(&[(
        &[KeyOn, Start, Fail(SMALL_LEAK), Pass(GROSS_LEAK), KeyOff],
        "P0442 | P0455 P1456 | P0455 P1456 | on | P0455",
    )]);
    for _ in 0..3 {
        cycle(&mut car, &[Pass(GROSS_LEAK)]);
    }
    assert_eq!(car.stored(), "- | P0455 P1456 | - | off | P0455");
}

/// It survives a loss of power as what it is, not as a guest that nothing judges.
#[test]
fn it_comes_back_with_the_power() {
    let mut before = car();
    before.play(&[(
        &[KeyOn, Start, Fail(GROSS_LEAK), KeyOff],
        "P0455 P1456 | - | - | off | P0455",
    )]);
    let mut after = car();
    after.memory.restore(&before.memory.store()).unwrap();
    after.play(&[(&[KeyOn, Start, Pass(GROSS_LEAK), KeyOff], "- | - | - | off | -")]);
}
