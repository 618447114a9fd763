//! What keeps people warm or cool, and what it costs the engine: air conditioning, cabin heater, block heater.

use twotrip_sim::Timing;

use crate::desk::Desk;

/// Means over a minute of idle in drive: rpm, manifold pressure in kPa, air flow in g/s.
fn idle(desk: &mut Desk) -> [f64; 3] {
    let mut sums = [0.0; 3];
    for _ in 0..120 {
        desk.tell(&["wait 0.5 s"]);
        let live = desk.car.car().ecu().live();
        let now = [
            live.engine_speed.rpm(),
            live.manifold_pressure.kilopascals(),
            live.air_flow.grams_per_second(),
        ];
        for (sum, now) in sums.iter_mut().zip(now) {
            *sum += now / 120.0;
        }
    }
    sums
}

/// No code is stored.
fn is_accused_of_nothing(desk: &Desk, when: &str) {
    let none = (Vec::new(), Vec::new());
    assert_eq!((desk.pending(), desk.confirmed()), none, "{when}");
}

/// Standing in drive with a warm engine: 720 rpm and some 4.2 g/s with air conditioning for 650 rpm and 3.1 without
/// (computed on a prototype of this car), and the manifold pressure some 9 kPa higher in a hot climate (one logged car,
/// derived figures).
#[test]
fn air_conditioning_loads_the_idle_and_full_throttle_goes_without() {
    for (seed, celsius, pressure) in [(1, 25.0, 6.0..9.0), (2, 38.0, 8.0..11.0)] {
        let mut desk = Desk::new(seed, Timing::FAST);
        let ambient = format!("ambient {celsius} C");
        desk.tell(&[&ambient, "soak 9 h", "drive udds", "wait 30 s"]);
        let [rpm, without, flow] = idle(&mut desk);
        assert!(
            (rpm - 650.0).abs() < 5.0 && (2.9..3.3).contains(&flow),
            "{rpm} rpm, {flow} g/s"
        );
        desk.tell(&["switch air-conditioning on", "wait 20 s"]);
        let [rpm, with, flow] = idle(&mut desk);
        assert!(
            (rpm - 720.0).abs() < 8.0 && (3.9..4.5).contains(&flow),
            "{rpm} rpm, {flow} g/s"
        );
        assert!(pressure.contains(&(with - without)), "{without} to {with} kPa");
        desk.tell(&["drive hwfet", "soak 9 h", "drive udds", "drive us06", "key off"]);
        is_accused_of_nothing(&desk, &format!("{celsius} degC"));
    }
}

/// A full-throttle run takes as long with air conditioning as without, a climb through the gears at half throttle longer.
#[test]
fn the_compressor_is_off_at_full_throttle() {
    let seconds = |air_conditioning: &str, plan: &str| {
        let mut desk = Desk::new(1, Timing::FAST);
        desk.tell(&[
            "ambient 35 C",
            "drive 80 km/h for 200 s, stop, idle 20 s",
            air_conditioning,
            "wait 5 s",
        ]);
        let before = desk.car.car().vehicle().now();
        desk.tell(&[plan]);
        desk.car
            .car()
            .vehicle()
            .now()
            .saturating_since(before)
            .as_secs_f64()
    };
    let plan = "drive full throttle to 120 km/h, stop";
    let (off, on) = (
        seconds("switch air-conditioning off", plan),
        seconds("switch air-conditioning on", plan),
    );
    assert!((on - off).abs() < 0.5, "{off} s, with air conditioning {on} s");
}

/// An engine that was on the mains in the night starts warm, and neither sensor is accused of it: the coolant that falls
/// after the start gives the heater away. It does not matter whether it was unplugged some time before.
#[test]
fn a_block_heater_accuses_no_sensor() {
    for (seed, celsius, night, least) in [
        (1, -20.0, &["switch block-heater on", "soak 9 h"][..], 30.0),
        (2, 10.0, &["switch block-heater on", "soak 8 h"], 30.0),
        (3, -7.0, &["soak 9 h", "switch block-heater on", "soak 1 h"], 5.0),
        (
            4,
            -10.0,
            &[
                "switch block-heater on",
                "soak 8 h",
                "switch block-heater off",
                "soak 1 h",
            ],
            17.0,
        ),
        (
            5,
            -10.0,
            &[
                "switch block-heater on",
                "soak 8 h",
                "switch block-heater off",
                "soak 2 h",
            ],
            15.0,
        ),
    ] {
        let mut desk = Desk::new(seed, Timing::FAST);
        let ambient = format!("ambient {celsius} C");
        desk.tell(&[&ambient, "drive udds", "key off"]);
        for _ in 0..2 {
            desk.tell(night);
            desk.tell(&["start"]);
            let live = desk.car.car().ecu().live();
            let apart = live.coolant_temperature - live.intake_air_temperature;
            assert!(apart.kelvins() > least, "seed {seed}: {} K", apart.kelvins());
            desk.tell(&["drive udds", "drive hwfet", "key off"]);
            is_accused_of_nothing(&desk, &format!("seed {seed}"));
        }
    }
}

/// What the cabin takes keeps a cold engine cold, and the thermostat is not accused of it.
#[test]
fn the_cabin_heater_takes_warmth_and_accuses_no_thermostat() {
    for (seed, celsius) in [(1, -20.0), (2, -7.0), (3, 15.0)] {
        let coolant = |switch: &str| {
            let mut desk = Desk::new(seed, Timing::FAST);
            let ambient = format!("ambient {celsius} C");
            desk.tell(&[&ambient, switch, "soak 9 h", "drive idle 8 min"]);
            let coolant = desk.car.car().ecu().live().coolant_temperature.celsius();
            desk.tell(&["drive udds", "drive hwfet", "soak 9 h", "drive udds", "key off"]);
            is_accused_of_nothing(&desk, &format!("{switch} at {celsius} degC"));
            coolant
        };
        let (off, on) = (
            coolant("switch cabin-heater off"),
            coolant("switch cabin-heater on"),
        );
        assert!((5.0..40.0).contains(&(off - on)), "{celsius} degC: {off}, {on}");
    }
}
