//! All pairs: nothing panics, nothing is stuck, and a car that is left alone answers again.

use std::time::Duration;

use twotrip_can::CanId;
use twotrip_scenario::disturbance::Kind;
use twotrip_sim::P2;
use twotrip_units::BusInstant;

use crate::world::{Good, REQUESTS, World};

/// After everything is off: what is on its way may still come, the longest delay of the examples.
const SETTLING: Duration = Duration::from_secs(12);

#[test]
fn no_two_disturbances_stop_the_car() {
    for (place, &one) in Kind::ALL.iter().enumerate() {
        for &other in &Kind::ALL[place..] {
            let mut world = World::new(u64::try_from(place).expect("small"));
            for kind in [one, other] {
                world.tell(kind.row().example);
            }
            world.run(&mut Good::new(&REQUESTS), Duration::from_secs(3));
            world.tell("disturb off");
            world.run(&mut Good::new(&[]), SETTLING);
            answers_at_once(&mut world, &format!("{} and {}", one.name(), other.name()));
        }
    }
}

fn answers_at_once(world: &mut World, case: &str) {
    world.passed.clear();
    let mut tool = Good::new(&[&[0x01, 0x0C]]);
    let asked = world.now;
    world.run(&mut tool, Duration::from_millis(200));
    assert_eq!(tool.answers.len(), 1, "{case}: {:?}", world.passed);
    let answer = world.of(0x7E8)[0].at;
    assert!(
        answer.saturating_since(asked) <= P2,
        "{case}: after {:?}",
        answer.saturating_since(asked)
    );
    assert_eq!(tool.answers[0][..2], [0x41, 0x0C], "{case}");
}

/// Switched on and off at any instant, at random, with a tool at work: the car goes on.
#[test]
fn switching_at_any_instant_stops_nothing() {
    let mut world = World::new(5);
    let mut tool = Good::new(&REQUESTS.repeat(40));
    for turn in 0..400_usize {
        let kind = Kind::ALL[turn * 7 % Kind::ALL.len()];
        match turn % 3 {
            0 | 1 => world.tell(kind.row().example),
            _ => world.tell("disturb off"),
        };
        world.run(
            &mut tool,
            Duration::from_micros(137 * u64::try_from(turn).expect("small")),
        );
    }
    world.tell("disturb off");
    world.run(&mut tool, Duration::from_secs(60));
    answers_at_once(&mut world, "after all of it");
    assert!(tool.answers.len() > 40, "{}", tool.answers.len());
    assert!(world.now > BusInstant::from_secs(60));
    let strange = world
        .passed
        .iter()
        .find(|passed| passed.frame.id() == CanId::Standard(0));
    assert!(strange.is_none());
}
