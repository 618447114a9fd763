//! A healthy car's life, drawn by dice: where it lives, how it has aged, and trip after trip what is done with it.
//!
//! Spreads: temperatures, heights, levels and volatilities over what the regulation and the trade know; ageing and
//! tolerance within what a maker would still call good (our choice, common practice, no source).

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};
use twotrip_vehicle::{
    Part, Specification, Vehicle,
    defect::{Entry, catalogue},
};

/// Dice with words for what is drawn.
pub(crate) struct Dice(ChaCha8Rng);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Dice for what the driver switches, so that roads and weather fall as they would without.
    fn of_the_driver(&self) -> Self {
        let mut dice = self.0.clone();
        dice.set_stream(1);
        Self(dice)
    }

    /// In 0..1.
    fn share(&mut self) -> f64 {
        f64::from(self.0.next_u32()) / 4_294_967_296.0
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    fn chance(&mut self, of: f64) -> bool {
        self.share() < of
    }

    /// A whole number below this.
    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.0.next_u64() % u64::try_from(end).expect("small")).expect("small")
    }

    fn of<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }
}

/// What a good car may have: part and word, and the amounts that are still good. Sensors within their makers' tolerance,
/// and parts that have aged without being due: half of what would be noticed or less.
const GOOD: &[(&str, f64, f64)] = &[
    ("air-meter bias", -3.0, 3.0),
    ("manifold-pressure-sensor bias", -0.8, 0.8),
    ("coolant-sensor bias", -2.0, 2.0),
    ("intake-air-sensor bias", -2.0, 2.0),
    ("tank-pressure-sensor bias", -60.0, 60.0),
    ("fuel-level-sensor bias", -3.0, 3.0),
    ("filler-neck hole", 0.1, 0.12),
    ("throttle dirty", 5.0, 15.0),
    ("fuel-pump weak", 5.0, 15.0),
    ("fuel-filter blocked", 15.0, 25.0),
    ("injector-2 clogged", 94.0, 95.0),
    ("front-oxygen-sensor lazy", 1.2, 1.4),
    ("front-oxygen-sensor-2 lazy", 1.2, 1.4),
    ("rear-oxygen-sensor lazy", 1.5, 3.0),
    // Only of cars that watch their gearbox.
    ("gearbox-fluid-sensor bias", -3.0, 3.0),
    ("forward-clutch slipping", 55.0, 60.0),
    ("overdrive-clutch slipping", 55.0, 60.0),
];
/// What the catalyst of a good car still stores, of what it stored when it was run in.
const STORE: (f64, f64) = (0.75, 0.83);

fn entry(what: &str) -> &'static Entry {
    let (part, kind) = what.split_once(' ').expect("part and word");
    catalogue()
        .find(|entry| entry.part.name() == part && entry.kind == kind)
        .unwrap_or_else(|| panic!("{what} is in no table of defects"))
}

fn part(what: &str) -> Part {
    entry(what).part
}

/// Units of those amounts, for the phrases.
fn unit(what: &str) -> &'static str {
    entry(what).unit()
}

/// The phrases that make the car what it is.
pub(crate) fn birth(dice: &mut Dice, model: &Specification, vehicle: &Vehicle) -> (Climate, Vec<String>) {
    let climate = Climate {
        mean_celsius: dice.between(-20.0, 40.0),
        height_m: if dice.chance(0.5) {
            dice.between(0.0, 100.0)
        } else {
            dice.between(100.0, 2500.0)
        },
    };
    let mut phrases = vec![
        format!("altitude {:.0} m", climate.height_m),
        format!("ambient {:.1} C", climate.mean_celsius),
        format!("fuel volatility {} kPa", dice.of(&[62, 79, 93])),
    ];
    for (what, low, high) in GOOD {
        if vehicle.has(part(what)) && dice.chance(0.6) {
            let amount = dice.between(*low, *high);
            phrases.push(format!("defect {what} {amount:.3} {}", unit(what)));
        }
    }
    for catalyst in ["catalyst aged", "catalyst-2 aged"] {
        if vehicle.has(part(catalyst)) && dice.chance(0.6) {
            let store = model.oxygen_capacity.grams() * dice.between(STORE.0, STORE.1);
            phrases.push(format!("defect {catalyst} {store:.3} g"));
        }
    }
    (climate, phrases)
}

/// Where a car lives.
pub(crate) struct Climate {
    mean_celsius: f64,
    height_m: f64,
}

/// A soak and a drive.
pub(crate) fn trip(dice: &mut Dice, climate: &Climate, level_percent: f64) -> Vec<String> {
    let hours = if dice.chance(0.55) {
        dice.between(6.0, 14.0)
    } else {
        dice.between(0.1, 6.0)
    };
    let celsius = (climate.mean_celsius + dice.between(-8.0, 8.0)).clamp(-20.0, 40.0);
    let mut phrases = vec![format!("ambient {celsius:.1} C")];
    if level_percent < 6.0 {
        // Two long drives use as much as that: nobody sets out with less.
        phrases.push(format!("refuel to {:.0} %", dice.between(10.0, 100.0)));
    } else if dice.chance(0.2) {
        let wanted = dice.between(5.0, 100.0);
        if wanted > level_percent + 3.0 {
            phrases.push(format!("refuel to {wanted:.0} %"));
        } else if wanted < level_percent - 3.0 {
            phrases.push(format!("drain to {wanted:.0} %"));
        }
    }
    let [parked, driven] = switches(&mut dice.of_the_driver(), celsius);
    phrases.extend(parked.iter().map(|load| format!("switch {load} on")));
    phrases.push(format!("soak {hours:.2} h"));
    phrases.extend(parked.iter().map(|load| format!("switch {load} off")));
    phrases.extend(driven.iter().map(|load| format!("switch {load} on")));
    phrases.push(format!("drive {}", drive(dice)));
    if dice.chance(0.3) {
        phrases.push(format!("drive {}", drive(dice)));
    }
    phrases.extend(driven.iter().map(|load| format!("switch {load} off")));
    phrases.push("key off".to_owned());
    phrases
}

/// What the driver has on while the car stands, and while it is driven: by the weather, mostly.
fn switches(dice: &mut Dice, celsius: f64) -> [Vec<&'static str>; 2] {
    let mut on = |load, chance| dice.chance(chance).then_some(load);
    let warm = celsius > 20.0;
    let cold = celsius < 14.0;
    let frost = celsius < 2.0;
    let parked = [on("block-heater", if celsius < -5.0 { 0.3 } else { 0.0 })];
    let driven = [
        // Below 20 C it dries the screen.
        on("air-conditioning", if warm { 0.7 } else { 0.15 }),
        on("cabin-heater", if cold { 0.8 } else { 0.05 }),
        on("blower", if warm || cold { 0.8 } else { 0.3 }),
        on("lights", 0.5),
        on("rear-screen", if frost { 0.5 } else { 0.05 }),
    ];
    [
        parked.into_iter().flatten().collect(),
        driven.into_iter().flatten().collect(),
    ]
}

fn drive(dice: &mut Dice) -> String {
    match dice.between(0.0, 100.0) {
        share if share < 35.0 => "udds".to_owned(),
        share if share < 55.0 => "hwfet".to_owned(),
        share if share < 65.0 => "us06".to_owned(),
        _ => plan(dice),
    }
}

fn plan(dice: &mut Dice) -> String {
    let legs = 2 + dice.below(6);
    let mut plan: Vec<String> = (0..legs)
        .map(|_| match dice.between(0.0, 100.0) {
            share if share < 30.0 => format!("idle {:.0} s", dice.between(5.0, 240.0)),
            share if share < 75.0 => {
                format!(
                    "{:.0} km/h for {:.0} s",
                    dice.between(15.0, 125.0),
                    dice.between(20.0, 400.0)
                )
            }
            share if share < 82.0 => format!(
                "rev {:.0} rpm for {:.0} s",
                dice.between(1200.0, 4000.0),
                dice.between(5.0, 60.0)
            ),
            share if share < 88.0 => format!("full throttle to {:.0} km/h", dice.between(60.0, 130.0)),
            share if share < 94.0 => format!("coast to {:.0} km/h", dice.between(10.0, 40.0)),
            _ => "stop".to_owned(),
        })
        .collect();
    plan.push("stop".to_owned());
    plan.join(", ")
}
