//! Air meter, manifold pressure and throttle check one another: faults of each in a car that drives, what looks like
//! them and is none, and healthy cars in all weathers.

use std::time::Duration;

use twotrip_harness::{Circuit, WiringFault};
use twotrip_obd::Dtc;
use twotrip_units::{Length, Resistance, Speed, Temperature, Voltage};
use twotrip_vehicle::{Defect, Leg, Part, Plan, schedule};

use crate::bench::Bench;

const NIGHT: Duration = Duration::from_secs(9 * 3600);

/// The three codes and that of limp-home.
const CODES: [u16; 4] = [0x0068, 0x0101, 0x0106, 0x0121];

fn ours(codes: Vec<String>) -> Vec<String> {
    let known: Vec<String> = CODES.iter().map(|&number| Dtc::p(number).to_string()).collect();
    codes.into_iter().filter(|code| known.contains(code)).collect()
}

fn defect(part: Part, kind: &str, amount: impl Into<Option<f64>>) -> Defect {
    Defect::named(part, kind, amount.into()).expect("in the catalogue")
}

/// After a night: city, highway, and two minutes of motorway where asked for.
fn trip(bench: &mut Bench, motorway: bool) {
    bench.park(NIGHT);
    bench.drive(Plan::schedule(&schedule::UDDS), |_| {});
    if motorway {
        let cruise = Leg::Cruise {
            speed: Speed::from_kilometres_per_hour(120.0),
            span: Duration::from_secs(120),
        };
        bench.drive(Plan::new(vec![cruise, Leg::Stop]), |_| {});
    }
    bench.park(Duration::from_secs(60));
}

/// Healthy views stay within 5 % of one another, and the pressure follows its models: no code, and all four have passed
/// in one cold city drive.
#[test]
fn a_healthy_car_passes_in_one_city_drive() {
    for (seed, celsius, metres) in [
        (1, -7.0, 0.0),
        (2, 20.0, 0.0),
        (3, 35.0, 1500.0),
        (4, 20.0, 2500.0),
    ] {
        let mut bench = Bench::new(seed);
        bench.vehicle.set_ambient(Temperature::from_celsius(celsius));
        bench.vehicle.set_altitude(Length::from_metres(metres));
        bench.park(2 * NIGHT);
        let (mut worst, mut below) = (0.0_f64, 0.0_f64);
        bench.drive(Plan::schedule(&schedule::UDDS), |moment| {
            let errors = moment.bench.ecu.monitors().air_path().errors().concat();
            worst = errors.iter().fold(worst, |worst, error| worst.max(error.abs()));
            let air = moment.bench.ecu.control().air_estimates();
            let model = air.pressure_by_meter.min(air.pressure_by_throttle);
            below = below.max((model - air.pressure).kilopascals());
        });
        assert!(worst < 0.05, "{celsius} degC, {metres} m: {worst}");
        assert!(below < 8.0, "{celsius} degC, {metres} m: {below} kPa");
        assert_eq!(bench.pending(), Vec::<String>::new());
        for number in CODES {
            let passed = bench.ecu.records().last_pass(Dtc::p(number)).is_some();
            assert!(passed, "{celsius} degC, {metres} m: {}", Dtc::p(number));
        }
    }
}

#[test]
fn each_sensor_is_named_in_the_first_trip_and_no_other() {
    for (defect, motorway, code) in [
        (defect(Part::AirMeter, "bias", -25.0), false, "P0101"),
        (defect(Part::AirMeter, "bias", 25.0), false, "P0101"),
        (defect(Part::AirMeter, "dirty", 35.0), true, "P0101"),
        (defect(Part::AirDuct, "split", 25.0), false, "P0101"),
        (defect(Part::AirDuct, "split", 50.0), false, "P0101"),
        (defect(Part::ManifoldPressureHose, "off", None), false, "P0106"),
        (defect(Part::ManifoldPressureHose, "blocked", 3.0), false, "P0106"),
        (
            defect(Part::ManifoldPressureHose, "blocked", 10.0),
            false,
            "P0106",
        ),
        (
            defect(Part::ManifoldPressureSensor, "bias", -12.0),
            false,
            "P0106",
        ),
        (defect(Part::ManifoldPressureSensor, "bias", 12.0), false, "P0106"),
        (defect(Part::ThrottleSensor, "bias", 4.0), false, "P0121"),
        (defect(Part::ThrottleSensor, "bias", -4.0), false, "P0121"),
    ] {
        let mut bench = Bench::new(7);
        bench.vehicle.set_defect(defect);
        trip(&mut bench, motorway);
        assert_eq!(bench.pending(), [code], "{defect}");
        assert_eq!(bench.confirmed(), Vec::<String>::new(), "{defect}: two trips");
    }
}

/// Worn tracks light the lamp in the first trip.
#[test]
fn worn_throttle_tracks_are_named_at_once() {
    for (defect, code) in [
        (defect(Part::ThrottleSensor, "worn", 12.0), "P0122"),
        (defect(Part::ThrottleSensor, "disagreeing", 8.0), "P2135"),
        (defect(Part::ThrottleSensor, "disagreeing", -8.0), "P2135"),
    ] {
        let mut bench = Bench::new(7);
        bench.vehicle.set_defect(defect);
        bench.park(NIGHT);
        let speed = Speed::from_kilometres_per_hour(50.0);
        let cruise = Leg::Cruise {
            speed,
            span: Duration::from_secs(60),
        };
        bench.drive(Plan::new(vec![cruise]), |_| {});
        assert_eq!(bench.confirmed(), [code], "{defect}");
        assert!(
            bench.ecu.control().measured().throttle.degrees() < 11.0,
            "limp-home"
        );
    }
}

/// A terminal with 50 kohm, or a ground that is 2.5 V off: the signal is in range and worth nothing, and yet the engine
/// starts at the first turn of the key.
#[test]
fn an_implausible_signal_lets_the_engine_start() {
    for (circuit, fault, code) in [
        (
            Circuit::ManifoldPressureSensor,
            WiringFault::Resistance(Resistance::from_ohms(50_000.0)),
            "P0106",
        ),
        (
            Circuit::ManifoldPressureSensor,
            WiringFault::Bias(Voltage::from_volts(-2.5)),
            "P0107",
        ),
        (
            Circuit::AirMeter,
            WiringFault::Bias(Voltage::from_volts(-2.5)),
            "P0102",
        ),
    ] {
        let mut bench = Bench::new(7);
        bench.harness.break_wire(circuit, fault);
        bench.park(NIGHT);
        let cranked = bench.start();
        assert!(
            cranked < Duration::from_secs(2),
            "{}: {cranked:?}",
            circuit.name()
        );
        bench.idle(Duration::from_secs(30));
        let rpm = bench.vehicle.engine_speed().rpm();
        assert!(
            (1000.0..1400.0).contains(&rpm),
            "{}: idles at {rpm} rpm",
            circuit.name()
        );
        let lambda = bench.vehicle.lambda(0).fraction();
        assert!(
            (0.85..1.1).contains(&lambda),
            "{}: lambda {lambda}",
            circuit.name()
        );
        assert_eq!(bench.pending(), [code], "{}", circuit.name());
    }
}

/// Air behind the meter, dirt at the plate and a blocked exhaust are no fault of a sensor.
#[test]
fn what_is_no_sensors_fault_is_not_laid_on_one() {
    for defect in [
        defect(Part::Intake, "leak", 1.5),
        defect(Part::Intake, "leak", 6.0),
        defect(Part::Intake, "leak", 12.0),
        defect(Part::CrankcaseHose, "off", None),
        defect(Part::CrankcaseHose, "split", 30.0),
        defect(Part::CrankcaseHose, "split", 60.0),
        defect(Part::AirDuct, "split", 6.0),
        defect(Part::AirMeter, "bias", -6.0),
        defect(Part::ManifoldPressureSensor, "bias", 2.0),
        defect(Part::Throttle, "dirty", 30.0),
        defect(Part::Throttle, "dirty", 60.0),
        defect(Part::ThrottleSensor, "bias", 1.0),
        defect(Part::Exhaust, "restricted", 100.0),
    ] {
        let mut bench = Bench::new(8);
        bench.vehicle.set_defect(defect);
        trip(&mut bench, false);
        bench.drive(Plan::schedule(&schedule::HWFET), |_| {});
        assert_eq!(ours(bench.pending()), Vec::<String>::new(), "{defect}");
    }
}

/// A warm idle after a city drive, in Park, half a minute on: mean speed, and the lowest of each second.
fn idles(defect: Defect) -> (f64, Vec<String>) {
    let mut bench = Bench::new(7);
    bench.vehicle.set_defect(defect);
    bench.drive(Plan::schedule(&schedule::UDDS), |_| {});
    bench.idle(Duration::from_secs(30));
    let mut rpm = 0.0;
    for _ in 0..30 {
        bench.idle(Duration::from_secs(1));
        rpm += bench.vehicle.engine_speed().rpm() / 30.0;
    }
    let idle = |code: &String| code.starts_with("P050");
    (rpm, bench.pending().into_iter().filter(idle).collect())
}

/// Published of such cars: dirt makes the idle low, air behind the meter high once the plate is shut (about 8 to 10 mm²,
/// computed); less of either is made up for by the idle control.
#[test]
fn dirt_lowers_the_idle_and_a_large_leak_lifts_it() {
    for (defect, low, high, code) in [
        (defect(Part::Throttle, "dirty", 20.0), 685.0, 715.0, None),
        (defect(Part::Throttle, "dirty", 35.0), 630.0, 700.0, None),
        (defect(Part::Throttle, "dirty", 55.0), 480.0, 605.0, Some("P0506")),
        (defect(Part::Intake, "leak", 6.0), 685.0, 715.0, None),
        (defect(Part::Intake, "leak", 12.0), 730.0, 900.0, None),
        (defect(Part::Intake, "leak", 20.0), 800.0, 1500.0, Some("P0507")),
    ] {
        let (rpm, codes) = idles(defect);
        assert!((low..high).contains(&rpm), "{defect}: {rpm} rpm");
        let expected: Vec<String> = code.into_iter().map(String::from).collect();
        assert_eq!(codes, expected, "{defect}");
    }
}
