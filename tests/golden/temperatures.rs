//! Coolant, thermostat and intake air: what a drive makes of them, and what their monitors say.

use std::time::Duration;

use twotrip_ecu::{
    memory::MonitorId,
    monitors::{
        CLOSED_LOOP_TEMPERATURE, COOLANT_RATIONALITY, INTAKE_AIR_RATIONALITY, THERMOSTAT,
        frame::{Found, State},
    },
};
use twotrip_units::{Speed, Temperature};
use twotrip_vehicle::{Defect, Leg, Part, Plan, schedule};

use crate::{bench::Bench, evidence_limits::in_row};

/// What a test of service $06 found.
fn found(bench: &Bench, mid: u8, tid: u8) -> Option<Found> {
    bench.ecu.monitors().results().of(in_row(mid, tid)?)
}

/// A car that has stood in this air for days.
fn soaked(celsius: f64) -> Bench {
    let mut bench = Bench::new(7);
    bench.vehicle.set_ambient(Temperature::from_celsius(celsius));
    bench.park(Duration::from_secs(100 * 3600));
    bench
}

fn cruise(kilometres_per_hour: f64, seconds: u64) -> Plan {
    Plan::new(vec![Leg::Cruise {
        speed: Speed::from_kilometres_per_hour(kilometres_per_hour),
        span: Duration::from_secs(seconds),
    }])
}

fn udds() -> Plan {
    Plan::schedule(&schedule::UDDS)
}

/// When this car's coolant passes 40, 60, 70 and 80 °C was computed on a prototype of it, heater off, s. In between the
/// schedule stands still, so temperatures at those moments are held against the computed ones. Tolerance of this regression:
/// 10 K to the warm side: catalyst heating, a rich warm-up, and a fast idle that works against the converter at every halt,
/// none of which the prototype had, burn more (at an even 50 and 80 km/h 3 K are left of it, in town at 0 °C 9 K).
#[test]
fn the_car_warms_as_computed() {
    for (celsius, plan, computed) in [
        (20.0, udds as fn() -> Plan, [133.0, 230.0, 355.0, 453.0]),
        (0.0, udds, [220.0, 408.0, 483.0, 611.0]),
        (20.0, || cruise(50.0, 700), [107.0, 270.0, 357.0, 448.0]),
        (20.0, || cruise(80.0, 500), [59.0, 166.0, 223.0, 283.0]),
        (20.0, || cruise(100.0, 400), [40.0, 125.0, 171.0, 220.0]),
    ] {
        let marks = [40.0, 60.0, 70.0, 80.0];
        let mut found = [f64::NAN; 4];
        soaked(celsius).drive(plan(), |moment| {
            for (found, time) in found.iter_mut().zip(computed) {
                if found.is_nan() && moment.second >= time {
                    *found = moment.bench.vehicle.coolant_temperature().celsius();
                }
            }
        });
        for (found, mark) in found.iter().zip(marks) {
            assert!(
                (-2.0..10.0).contains(&(found - mark)),
                "{celsius} degC: {found:?} at {computed:?} s"
            );
        }
    }
}

/// Evidence, logs of real cars as derived figures: 60 to 80 °C takes 110 to 340 s of driving, the first 20 K from cold at most
/// 280 s; warm coolant stays within 80 to 98 °C and moves by at most 6 K in a minute; intake air above 60 km/h is 0 to 13 K
/// above the air outside.
#[test]
fn evidence_temperatures_lie_where_those_of_real_cars_do() {
    for celsius in [-5.0, 10.0, 20.0] {
        let mut bench = soaked(celsius);
        let marks = [celsius + 20.0, 60.0, 80.0];
        let mut times = [f64::NAN; 3];
        let mut intake = (f64::INFINITY, f64::NEG_INFINITY);
        bench.drive(udds(), |moment| {
            let vehicle = &moment.bench.vehicle;
            let coolant = vehicle.coolant_temperature().celsius();
            for (time, mark) in times.iter_mut().zip(marks) {
                if time.is_nan() && coolant >= mark {
                    *time = moment.second;
                }
            }
            let live = moment.bench.ecu.live();
            if live.vehicle_speed.kilometres_per_hour() > 60.0 && moment.second > 200.0 {
                let above = live.intake_air_temperature.celsius() - celsius;
                intake = (intake.0.min(above), intake.1.max(above));
            }
        });
        let climb = times[2] - times[1];
        assert!(
            times[0] < 280.0 && (110.0..340.0).contains(&climb),
            "{celsius} degC: {times:?}"
        );
        assert!(
            intake.0 > 0.0 && intake.1 < 13.0,
            "{celsius} degC: {intake:?} K above"
        );
        // Warm: the highway schedule, minute by minute.
        let mut minutes: Vec<f64> = Vec::new();
        let mut lowest = f64::INFINITY;
        let mut highest = f64::NEG_INFINITY;
        bench.drive(Plan::schedule(&schedule::HWFET), |moment| {
            let coolant = moment.bench.ecu.live().coolant_temperature.celsius();
            lowest = lowest.min(coolant);
            highest = highest.max(coolant);
            if moment.second >= 60.0 * (minutes.len() + 1) as f64 {
                minutes.push(coolant);
            }
        });
        assert!(
            lowest > 80.0 && highest < 98.0,
            "{celsius} degC: {lowest} to {highest}"
        );
        let quickest = minutes
            .windows(2)
            .map(|pair| (pair[1] - pair[0]).abs())
            .fold(0.0, f64::max);
        assert!(quickest < 6.0, "{celsius} degC: {quickest} K in a minute");
    }
}

/// Highest coolant when the ECU's model of the warm-up is warm, and what is said of it. Computed on a prototype of this car,
/// °C; tolerance of this regression: 6 K.
#[test]
fn a_thermostat_that_stays_open_is_told_by_the_model() {
    for (celsius, plan, openings) in [
        (
            20.0,
            udds as fn() -> Plan,
            [(0.0, 84.5), (10.0, 79.4), (50.0, 60.6), (100.0, 50.0)],
        ),
        (
            -7.0,
            udds,
            [(0.0, 85.7), (10.0, 77.1), (50.0, 47.7), (100.0, 31.0)],
        ),
        (
            20.0,
            || cruise(60.0, 600),
            [(0.0, 84.8), (10.0, 78.5), (50.0, 57.2), (100.0, 44.6)],
        ),
        (
            20.0,
            || cruise(100.0, 400),
            [(0.0, 85.0), (10.0, 77.6), (50.0, 55.0), (100.0, 42.5)],
        ),
    ] {
        for (opening, computed) in openings {
            let mut bench = soaked(celsius);
            if opening > 0.0 {
                let open = Defect::named(Part::Thermostat, "stuck-open", Some(opening));
                bench.vehicle.set_defect(open.expect("in the catalogue"));
            }
            bench.drive(plan(), |_| {});
            let found = found(&bench, 0xE1, 0x80).expect("judged");
            let at = format!(
                "{celsius} degC, {opening} %: {} instead of {computed}",
                found.value
            );
            assert!((found.value - computed).abs() < 6.0, "{at}");
            assert_eq!(found.passed, opening < 50.0, "{at}");
            let pending = bench.pending();
            let expected: &[&str] = if opening < 50.0 { &[] } else { &["P0128"] };
            // Wide open in the cold, closed loop comes late as well.
            let known: Vec<&str> = pending
                .iter()
                .map(String::as_str)
                .filter(|&code| code != "P0125")
                .collect();
            assert_eq!(known, expected, "{at}");
        }
    }
}

/// Where the monitors of the warm-up stand after a drive.
fn state(bench: &Bench, monitor: MonitorId) -> State {
    bench.ecu.monitors().gate(monitor).expect("a monitor").1.state()
}

/// When a healthy car has finished: 190 s and the first minute of driving for the coolant sensor, the model for the
/// thermostat.
#[test]
fn a_cold_city_drive_finishes_every_monitor_of_temperatures() {
    let mut bench = soaked(20.0);
    let mut done = [f64::NAN; 4];
    let monitors = [
        COOLANT_RATIONALITY,
        INTAKE_AIR_RATIONALITY,
        CLOSED_LOOP_TEMPERATURE,
        THERMOSTAT,
    ];
    bench.drive(udds(), |moment| {
        for (time, monitor) in done.iter_mut().zip(monitors) {
            if time.is_nan() && state(moment.bench, monitor) == State::Done {
                *time = moment.second;
            }
        }
    });
    for (time, [from, to]) in done
        .iter()
        .zip([[180.0, 200.0], [300.0, 700.0], [0.0, 5.0], [350.0, 560.0]])
    {
        assert!((from..to).contains(time), "{done:?}");
    }
}

/// One code for one cause: within one drive after a soak, and none of a neighbour.
#[test]
fn a_wrong_sensor_is_named_and_no_other() {
    let defect = |part, kind, amount| Defect::named(part, kind, Some(amount)).expect("in the catalogue");
    for (celsius, defect, codes) in [
        (18.0, defect(Part::CoolantSensor, "bias", -25.0), &["P0116"][..]),
        (18.0, defect(Part::CoolantSensor, "bias", 25.0), &["P0116"]),
        (18.0, defect(Part::CoolantSensor, "bias", -8.0), &[]),
        (18.0, defect(Part::CoolantSensor, "bias", 8.0), &[]),
        (18.0, defect(Part::CoolantSensor, "stuck", 18.0), &["P0116"]),
        (18.0, defect(Part::CoolantSensor, "stuck", 80.0), &["P0116"]),
        (18.0, defect(Part::CoolantSensor, "lazy", 20.0), &[]),
        (18.0, defect(Part::IntakeAirSensor, "bias", 30.0), &["P0111"]),
        (18.0, defect(Part::IntakeAirSensor, "bias", -30.0), &["P0111"]),
        (18.0, defect(Part::IntakeAirSensor, "stuck", 18.0), &["P0111"]),
        (18.0, defect(Part::IntakeAirSensor, "stuck", 60.0), &["P0111"]),
        (2.0, defect(Part::CoolantSensor, "bias", -25.0), &["P0116"]),
    ] {
        let mut bench = soaked(celsius);
        bench.vehicle.set_defect(defect);
        bench.drive(udds(), |_| {});
        let pending = bench.pending();
        assert_eq!(pending, codes, "{defect} in {celsius} degC");
    }
}

/// A healthy car over cold and heat, by the sea and on a mountain: no code, and nothing that says so.
#[test]
fn a_healthy_car_is_not_accused() {
    for (seed, celsius, metres) in [
        (1, -7.0, 0.0),
        (2, 20.0, 1500.0),
        (3, 35.0, 0.0),
        (4, 35.0, 1500.0),
        (5, 5.0, 0.0),
    ] {
        let mut bench = Bench::new(seed);
        bench.vehicle.set_ambient(Temperature::from_celsius(celsius));
        bench
            .vehicle
            .set_altitude(twotrip_units::Length::from_metres(metres));
        for _ in 0..2 {
            bench.park(Duration::from_secs(9 * 3600));
            bench.drive(udds(), |_| {});
            bench.drive(Plan::schedule(&schedule::HWFET), |_| {});
            bench.idle(Duration::from_secs(120));
        }
        let codes = bench.pending();
        assert!(
            codes.is_empty(),
            "seed {seed}, {celsius} degC, {metres} m: {codes:?}"
        );
        for monitor in [
            COOLANT_RATIONALITY,
            INTAKE_AIR_RATIONALITY,
            CLOSED_LOOP_TEMPERATURE,
            THERMOSTAT,
        ] {
            let gate = bench.ecu.monitors().gate(monitor).expect("a monitor").1;
            assert!(
                gate.state() == State::Done || gate.is_ruled_out() && celsius > 30.0,
                "seed {seed}, {celsius} degC: {:?} {gate:?}",
                monitor
            );
        }
        assert!(
            found(&bench, 0xE2, 0x80).is_some_and(|found| found.passed),
            "idle judged"
        );
    }
}

/// The freeze frame shows the state that the fault favours: a long warm drive, and the coolant 10 to 30 K below where the
/// thermostat ought to hold it.
#[test]
fn the_freeze_frame_of_an_open_thermostat_is_too_cold_for_its_run_time() {
    let mut bench = soaked(10.0);
    let open = Defect::named(Part::Thermostat, "stuck-open", Some(40.0));
    bench.vehicle.set_defect(open.expect("in the catalogue"));
    bench.drive(udds(), |_| {});
    let frame = bench.ecu.memory().freeze_frame().expect("a freeze frame");
    let coolant = frame.data.coolant_temperature.celsius();
    assert!((82.0 - 30.0..82.0 - 10.0).contains(&coolant), "{coolant} degC");
    assert!(frame.data.run_time > Duration::from_secs(300));
}
