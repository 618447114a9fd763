//! Fifty healthy cars on fifty different days: no code, and the leak test runs in most of them.

use std::time::Duration;

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use twotrip_ecu::monitors::evap_leak::Stage;
use twotrip_units::{Length, Ratio, Speed, Temperature};
use twotrip_vehicle::{Leg, Plan, schedule};

use crate::bench::Bench;

struct Dice(ChaCha8Rng);

impl Dice {
    /// Evenly between two limits.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * f64::from(self.0.next_u32()) / f64::from(u32::MAX)
    }

    fn seconds(&mut self, low: f64, high: f64) -> Duration {
        Duration::from_secs_f64(self.between(low, high).round())
    }
}

fn plan(dice: &mut Dice) -> Plan {
    let mut legs = Vec::new();
    for _ in 0..3 {
        let kind = dice.between(0.0, 6.0);
        if kind < 2.0 {
            legs.push(Leg::Schedule(&schedule::UDDS));
        } else if kind < 3.0 {
            legs.push(Leg::Schedule(&schedule::HWFET));
        } else if kind < 5.0 {
            let speed = Speed::from_kilometres_per_hour(dice.between(30.0, 110.0));
            legs.push(Leg::Cruise {
                speed,
                span: dice.seconds(60.0, 600.0),
            });
        } else {
            legs.push(Leg::Idle {
                span: dice.seconds(20.0, 180.0),
            });
        }
    }
    legs.push(Leg::Stop);
    Plan::new(legs)
}

#[test]
fn fifty_healthy_days_set_no_code() {
    let mut completed = 0;
    for seed in 0..50 {
        let mut dice = Dice(ChaCha8Rng::seed_from_u64(seed));
        let mut bench = Bench::new(seed);
        let celsius = dice.between(5.0, 33.0);
        let level = dice.between(20.0, 80.0);
        let metres = dice.between(0.0, 1500.0);
        bench.vehicle.set_ambient(Temperature::from_celsius(celsius));
        bench.vehicle.refuel(Ratio::from_percent(level));
        bench.vehicle.set_altitude(Length::from_metres(metres));
        bench.drive(
            Plan::new(vec![
                Leg::Cruise {
                    speed: Speed::from_kilometres_per_hour(60.0),
                    span: Duration::from_secs(300),
                },
                Leg::Stop,
            ]),
            |_| {},
        );
        bench.park(dice.seconds(6.0 * 3600.0, 12.0 * 3600.0));
        bench.effects.clear();
        let plan = plan(&mut dice);
        bench.drive(plan.clone(), |_| {});
        let day = format!("day {seed}: {celsius:.0} degC, {level:.0} %, {metres:.0} m, {plan:?}");
        assert_eq!((bench.pending(), bench.confirmed()), (vec![], vec![]), "{day}");
        let ran = bench.ecu.monitors().evap_leak().stage() == Stage::Done;
        completed += u32::from(ran);
        let trim = bench.ecu.live().long_term_trim[0].percent();
        assert!(trim.abs() < 8.0, "long-term trim {trim:.1} % on {day}");
    }
    assert!(completed >= 30, "the leak test ran on {completed} days of 50");
}
