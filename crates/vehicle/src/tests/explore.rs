extern crate std;
use std::println;
use super::support::{Bench, parked};
use crate::*;
use core::time::Duration;
use twotrip_units::Speed;

fn show(name: &str, b: &Bench) {
    let c = &b.car;
    println!("{name}: rpm {:.0} map {:.1} flow {:.2} plate {:.2} torque {:.1} fuel {:.3} pulse {:.2} lam {:.3} adv {:.0} o2 {:.2}/{:.2} cool {:.1} oil {:.1} iat {:.1} brick {:.0} tip {:.0} V {:.2} A {:.1} gear {} tank {:.0} sat {:.2} rise {:.2} fuelT {:.1} spaceT {:.2}",
        c.engine_speed().rpm(), c.manifold_pressure().kilopascals(), c.cylinder_flow().grams_per_second(), c.throttle_angle().degrees(), c.engine_torque().newton_metres(), c.fuel_flow().grams_per_second(), b.actuators.injection.milliseconds(), c.lambda().fraction(), b.actuators.ignition_advance.degrees(), c.sensors().oxygen_front.volts(), c.sensors().oxygen_rear.volts(),
        c.coolant_temperature().celsius(), c.oil_temperature().celsius(), c.intake_air_temperature().celsius(), c.catalyst_temperature().celsius(), c.state.exhaust.front_tip, c.sensors().supply.volts(), c.state.electrical.alternator_amperes, c.gear(), c.tank_pressure().pascals(), c.state.tank.saturation, c.state.tank.rise_pa_s, c.state.tank.fuel_celsius, c.state.tank.space_celsius);
}

#[test]
#[ignore]
fn explore() {
    let mut b = Bench::new();
    show("koeo", &b);
    b.run(2, &parked());
    show("koeo", &b);
    for i in 0..100 { b.step(&DriverControls{key: KeyPosition::Start, ..parked()}); if i % 5 == 0 { println!("{i}: rpm {:.0} A {:.0} V {:.2} map {:.1} lam {:.2} tq {:.0}", b.car.engine_speed().rpm(), b.car.starter_current().amperes(), b.car.sensors().supply.volts(), b.car.manifold_pressure().kilopascals(), b.car.lambda().fraction(), b.car.engine_torque().newton_metres()); } }
    b.run(15, &parked());
    show("cold idle 15", &b);
    let mut marks = [40.0, 60.0, 70.0, 80.0].into_iter().peekable();
    for s in 16..3000 { b.run(1, &parked()); if marks.peek().is_some_and(|m| b.car.coolant_temperature().celsius() >= *m) { println!("idle reaches {} at {s} (179 451 613 809), brick {:.0}", marks.next().unwrap(), b.car.catalyst_temperature().celsius()); } }
    show("warm idle P", &b);
    b.run(20, &DriverControls{selector: Selector::Drive, brake: Ratio::from_fraction(0.5), ..parked()});
    show("warm idle D", &b);
    for kmh in [50.0, 80.0, 100.0, 120.0] {
        let mut d = Driver::new(Plan::new(alloc::vec![Leg::Cruise{speed: Speed::from_kilometres_per_hour(kmh), span: Duration::from_secs(600)}]));
        for _ in 0..50000 { let c = d.controls(b.car.road_speed()); b.step(&c); }
        show(&std::format!("{kmh} km/h ({:.2}) {:.2} L/100", b.car.road_speed().kilometres_per_hour(), b.car.fuel_flow().grams_per_second()/745.0/(b.car.road_speed().metres_per_second())*1e5), &b);
    }
}

#[test]
#[ignore]
fn warmup() {
    for (name, ambient, table) in [("udds",20.0,"133 230 355 453"),("udds",0.0,"220 408 483 611"),("udds",-20.0,"354 530 657 775"),("50",20.0,"107 270 357 448"),("100",20.0,"40 125 171 220"),("idle",-10.0,"449 735 907 1118")] {
        let mut b = Bench::new();
        b.car = Vehicle::new(VehicleParams::compact_2_0(), 1);
        b.car.set_ambient(Temperature::from_celsius(ambient));
        b.car.rest(Duration::from_secs(100*3600));
        b.start();
        let leg = match name { "udds" => Leg::Schedule(&schedule::UDDS), "idle" => Leg::Idle{span: Duration::from_secs(1400)}, n => Leg::Cruise{speed: Speed::from_kilometres_per_hour(n.parse().unwrap()), span: Duration::from_secs(1300)} };
        let mut d = Driver::new(Plan::new(alloc::vec![leg]));
        let mut marks = [40.0, 60.0, 70.0, 80.0].into_iter().peekable();
        let mut s = 0;
        let mut lit = false;
        while !d.finished() {
            let c = d.controls(b.car.road_speed()); b.step(&c);
            s += 1;
            if !lit && b.car.catalyst_temperature().celsius() > 265.0 { lit = true; println!("  light-off {}", s/100); }
            if marks.peek().is_some_and(|m| b.car.coolant_temperature().celsius() >= *m) { println!("{name} {ambient} reaches {} at {} ({table})", marks.next().unwrap(), s/100); }
        }
        show(name, &b);
    }
}

#[test]
#[ignore]
fn lifts() {
    let mut b = Bench::new();
    b.start();
    b.run(10, &parked());
    show("10 s", &b);
    let mut d = Driver::new(Plan::schedule(&schedule::UDDS));
    let (mut decel, mut zero, mut fast, mut warm, mut cut) = (0, 0, 0, 0, 0);
    let (mut idle_f, mut idle_n) = (0.0, 0);
    let mut before = b.fuel_cut_steps;
    let mut i = 0;
    while !d.finished() {
        let c = d.controls(b.car.road_speed()); b.step(&c);
        if b.car.state.driveline.acceleration < -0.3 { decel += 1; if c.pedal.fraction() < 0.01 { zero += 1; if b.car.engine_speed().rpm() > 1300.0 { fast += 1; if b.car.coolant_temperature().celsius() > 40.0 { warm += 1; } } } }
        if b.car.road_speed().metres_per_second() < 0.1 { idle_n += 1; idle_f += b.car.fuel_flow().grams_per_second() * 0.01; }
        if b.fuel_cut_steps != before { cut += 1; before = b.fuel_cut_steps; }
        i += 1;
        if (11300..13000).contains(&i) && i % 50 == 0 { println!("{} s v {:.1} want {:.1} pedal {:.3} brake {:.2} rpm {:.0} gear {} lock {:.1} map {:.0} F {:.0} cut {}", i/100, b.car.road_speed().kilometres_per_hour(), d.target_speed().kilometres_per_hour(), c.pedal.fraction(), c.brake.fraction(), b.car.engine_speed().rpm(), b.car.gear(), b.car.state.driveline.lock_up, b.car.manifold_pressure().kilopascals(), b.car.state.driveline.wheel_force, cut); }
    }
    println!("decel {decel} zero {zero} fast {fast} warm {warm} cut {cut}; idle fuel {idle_f:.0} g in {} s", idle_n / 100);
}

#[test]
#[ignore]
fn budget() {
    let mut b = Bench::warm();
    b.run(300, &parked());
    show("warm", &b);
    let mut d = Driver::new(Plan::schedule(&schedule::UDDS));
    let f0 = b.car.fuel_used().grams();
    let cut0 = b.fuel_cut_steps;
    let (mut wheel, mut brake, mut crank, mut locked, mut n, mut pos) = (0.0, 0.0, 0.0, 0, 0, 0.0);
    let mut gears = [0; 7];
    let mut rpm = 0.0;
    while !d.finished() {
        let c = d.controls(b.car.road_speed()); b.step(&c);
        let s = &b.car.state;
        let f = s.driveline.acceleration * 1417.0 * 1.03 + b.car.params.driveline.road_load_at(s.driveline.speed) + c.brake.fraction() * 10000.0;
        if s.driveline.speed > 0.0 { wheel += f * s.driveline.speed * 0.01; if f > 0.0 { pos += f * s.driveline.speed * 0.01; } brake += c.brake.fraction() * 10000.0 * s.driveline.speed * 0.01; }
        if s.engine.torque > 0.0 { crank += s.engine.torque * s.driveline.omega * 0.01; }
        if s.driveline.lock_up > 0.5 { locked += 1; }
        rpm += s.rpm();
        n += 1; gears[b.car.gear()] += 1;
    }
    println!("fuel {:.0} cut {:.0} wheel {:.2} pos {:.2} brake {:.2} crank {:.2} MJ locked {} rpm {:.0} gears {gears:?}", b.car.fuel_used().grams() - f0, f64::from(b.fuel_cut_steps - cut0)/100.0, wheel*1e-6, pos*1e-6, brake*1e-6, crank*1e-6, locked/100, rpm/n as f64);
    let mut d = Driver::new(Plan::schedule(&schedule::HWFET));
    let f0 = b.car.fuel_used().grams();
    while !d.finished() { let c = d.controls(b.car.road_speed()); b.step(&c); }
    println!("hwfet fuel {:.0}", b.car.fuel_used().grams() - f0);
}
