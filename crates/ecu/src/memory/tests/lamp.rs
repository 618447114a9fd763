//! The lamp and its check: 13 CCR 1968.2(d)(2.1).

use super::*;
use crate::memory::Lamp;

fn lamp(car: &Car) -> Lamp {
    car.memory.lamp(car.now)
}

/// 1968.2(d)(2.1.2): lit 15 to 20 s from key-on before cranking; the status bit does not follow.
#[test]
fn the_bulb_check_lasts_twenty_seconds() {
    let mut car = Car::new();
    assert_eq!(lamp(&car), Lamp::Off);
    car.happen(KeyOn);
    assert_eq!((lamp(&car), car.memory.mil_commanded()), (Lamp::On, false));
    car.happen(Idle(19));
    assert_eq!(lamp(&car), Lamp::On);
    car.happen(Idle(1));
    assert_eq!(lamp(&car), Lamp::Off);
    car.happen_all(&[KeyOn, Idle(1)]);
    assert_eq!(lamp(&car), Lamp::Off, "a repeated fact is no new key-on");
    car.happen_all(&[KeyOff, KeyOn]);
    assert_eq!(lamp(&car), Lamp::On);
}

/// Cranking, or a start without it, cuts the check short; a stall brings no second one: (d)(2.1.2).
#[test]
fn cranking_ends_the_bulb_check() {
    for end in [Crank, Start] {
        let mut car = Car::new();
        car.happen_all(&[KeyOn, Idle(3), end]);
        assert_eq!(lamp(&car), Lamp::Off);
        car.happen_all(&[Start, Idle(2), Stop]);
        assert_eq!(lamp(&car), Lamp::Off);
    }
}

/// 1968.2(d)(2.1.3), (g)(4.1.3) (timing from memory), where the maker wants it: after the check it blinks for 5 to 10 s if
/// a monitor is not complete, else it stays on until cranking. The status bit does not follow.
#[test]
fn after_the_check_the_lamp_may_show_readiness() {
    let mut car = Car::new();
    car.memory = car.memory.showing_readiness(true);
    car.happen_all(&[KeyOn, Idle(19)]);
    assert_eq!(lamp(&car), Lamp::On);
    car.happen(Idle(1));
    assert_eq!((lamp(&car), car.memory.mil_commanded()), (Lamp::Blinking, false));
    car.happen(Idle(9));
    assert_eq!(lamp(&car), Lamp::Blinking);
    car.happen(Idle(1));
    assert_eq!(lamp(&car), Lamp::Off);
    for (codes, monitor) in [
        (&[GROSS_LEAK, SMALL_LEAK][..], LEAK),
        (&[NO_PURGE], PURGE_FLOW),
        (&[CATALYST_WEAK], CATALYST),
    ] {
        let passes: std::vec::Vec<Event> = codes.iter().copied().map(Pass).collect();
        car.happen_all(&[KeyOff, KeyOn, Start]);
        car.happen_all(&passes);
        car.happen_all(&[Done(monitor), KeyOff]);
    }
    car.happen_all(&[KeyOn, Idle(300)]);
    assert_eq!((lamp(&car), car.memory.mil_commanded()), (Lamp::On, false));
    car.happen(Crank);
    assert_eq!(lamp(&car), Lamp::Off);
    // A fault weighs more.
    car.happen_all(&[KeyOff, KeyOn, Clear, Idle(25)]);
    assert_eq!(lamp(&car), Lamp::Blinking);
    car.memory.preload_confirmed(GROSS_LEAK, &car.live).unwrap();
    assert_eq!(lamp(&car), Lamp::On);
}

/// 1968.2(d)(2.1): lit while a confirmed code commands it, at once when confirmed, and dark with the key off.
#[test]
fn a_confirmed_code_lights_the_lamp() {
    let mut car = Car::new();
    cycle(&mut car, &[Fail(GROSS_LEAK)]);
    car.happen_all(&[KeyOn, Crank, Start]);
    assert_eq!(lamp(&car), Lamp::Off);
    car.happen(Fail(GROSS_LEAK));
    assert_eq!(lamp(&car), Lamp::On);
    car.happen(KeyOff);
    assert_eq!((lamp(&car), car.memory.mil_commanded()), (Lamp::Off, true));
    car.happen_all(&[KeyOn, Idle(60)]);
    assert_eq!(lamp(&car), Lamp::On);
    car.happen(Clear);
    assert_eq!(lamp(&car), Lamp::Off);
}
