//! The shipped vehicles, healthy: they start, idle, drive and are accused of nothing.

use twotrip_ecu::data::FuelSystemStatus;
use twotrip_harness::transfer;
use twotrip_obd::{Group, InUseItem};
use twotrip_scenario::{Scenario, vehicle};
use twotrip_sim::{Settings, Simulator, Timing};

use crate::desk::Desk;

/// A shipped vehicle at a desk.
pub(crate) fn desk(name: &str, seed: u64) -> Desk {
    let text = format!("version = 1\ntitle = \"x\"\nvehicle = \"{name}\"\n");
    let scenario = Scenario::parse(text.as_bytes()).unwrap_or_else(|problems| panic!("{problems:?}"));
    Desk::of(Simulator::new(Settings::of(&scenario, seed, Timing::FAST)))
}

/// Short-term trims of the banks, percent: the mean of ten seconds, for at one instant a limit cycle is anywhere.
fn short_term_trims(desk: &Desk) -> [f64; 2] {
    const SECONDS: u8 = 10;
    let mut desk = desk.clone();
    let mut sums = [0.0; 2];
    for _ in 0..SECONDS {
        desk.tell(&["wait 1 s"]);
        let trims = desk.car.car().ecu().live().short_term_trim;
        for (sum, trim) in sums.iter_mut().zip(trims) {
            *sum += trim.percent();
        }
    }
    sums.map(|sum| sum / f64::from(SECONDS))
}

/// Healthy figures of a warm idle in drive, catalysts and trims of each bank: as for the compact car within the
/// scatter of its limit cycle; a catalyst 400 to 650 degC; a warm one is as warm as its ECU believes.
fn is_healthy(desk: &Desk, when: &str) {
    let car = desk.car.car();
    let (live, truth, memory) = (car.ecu().live(), car.vehicle(), car.ecu().memory());
    assert_eq!(memory.pending().count() + memory.confirmed().count(), 0, "{when}");
    assert!(!memory.mil_commanded(), "{when}");
    let rpm = live.engine_speed.rpm();
    assert!((620.0..680.0).contains(&rpm), "{when}: {rpm} rpm");
    let coolant = live.coolant_temperature.celsius();
    assert!((80.0..100.0).contains(&coolant), "{when}: {coolant} degC");
    let short_terms = short_term_trims(desk);
    for (bank, short) in short_terms.into_iter().enumerate().take(truth.banks()) {
        let long = live.long_term_trim[bank].percent();
        assert!(
            short.abs() < 8.0 && long.abs() < 2.0,
            "{when}: {short} and {long} %"
        );
        let believed = live.catalyst_temperature[bank].celsius();
        let brick = truth.catalyst_temperature(bank).celsius();
        assert!((400.0..650.0).contains(&brick), "{when}: {brick} degC");
        assert!((believed - brick).abs() < 15.0, "{when}: {believed}, not {brick}");
    }
}

#[test]
fn each_drives_both_schedules_and_is_accused_of_nothing() {
    let mut driven = Vec::new();
    for shipped in vehicle::SHIPPED {
        // By what other identifiers or services it is asked, the same car drives no differently.
        let model = vehicle::find(shipped.name).expect("shipped");
        let car = (model.specification().clone(), model.calibration().clone());
        if driven.contains(&car) {
            continue;
        }
        driven.push(car);
        for (seed, weather) in [(1, "ambient 20 C"), (2, "ambient -7 C"), (3, "altitude 1500 m")] {
            let mut desk = desk(shipped.name, seed);
            // The loop has to take back what purge brings once it is let in again at the stop.
            desk.tell(&[weather, "soak 12 h", "drive udds", "wait 20 s"]);
            let when = format!("{}, {weather}, seed {seed}", shipped.name);
            is_healthy(&desk, &when);
            desk.tell(&["drive hwfet", "wait 20 s"]);
            is_healthy(&desk, &when);
            desk.tell(&["stop", "soak 10 h", "start", "drive idle 120 s"]);
            let memory = desk.car.car().ecu().memory();
            assert_eq!(memory.pending().count() + memory.confirmed().count(), 0, "{when}");
        }
    }
}

/// Fuel goes with size, mass and road load: the six-cylinder takes more than the compact car, the smaller one less.
#[test]
fn a_larger_car_takes_more_fuel() {
    let grams = ["hatch-1.8", "compact-2.0", "sedan-v6"].map(|name| {
        let mut desk = desk(name, 1);
        desk.tell(&["drive hwfet"]);
        desk.car.car().vehicle().fuel_used().grams()
    });
    assert!(grams.is_sorted_by(|less, more| less * 1.02 < *more), "{grams:?}");
}

/// What an engine has nothing for holds no readiness group up and has no row in service $06.
#[test]
fn monitors_are_those_of_what_the_engine_has() {
    for (name, egr) in [("hatch-1.8", false), ("compact-2.0", true)] {
        let mut desk = desk(name, 4);
        desk.tell(&["soak 9 h", "drive udds", "drive hwfet"]);
        let memory = desk.car.car().ecu().memory();
        // The cam's phaser is of the same group, and every engine here has one: it completes with or without the valve.
        assert!(memory.readiness_since_clear().is_complete(Group::Egr), "{name}");
        let told = desk.outcomes(&["monitors"]).remove(0);
        assert_eq!(
            told.details.iter().any(|line| line.starts_with("EGR flow")),
            egr,
            "{name}"
        );
        assert_eq!(desk.ask(&[0x06, 0x31]).is_some(), egr, "{name}");
    }
}

/// A wide-range sensor shows lambda on both sides of 1, within what the loop swings; on the overrun it shows air.
#[test]
fn the_wide_range_sensor_shows_lambda() {
    let mut desk = desk("hatch-1.8", 1);
    desk.tell(&["drive udds"]);
    let lambda = |desk: &Desk| {
        let pin = desk.car.car().ecu().live().wide_range_pin[0];
        transfer::WIDE_RANGE.to_lambda(pin).fraction()
    };
    let mut seen = Vec::new();
    for _ in 0..60 {
        desk.tell(&["wait 0.3 s"]);
        seen.push(lambda(&desk));
        let truth = desk.car.car().vehicle().front_lambda(0).fraction();
        assert!(
            (lambda(&desk) - truth).abs() < 0.04,
            "{} for {truth}",
            lambda(&desk)
        );
    }
    let (leanest, richest) = seen.iter().fold((1.0_f64, 1.0_f64), |(lean, rich), &lambda| {
        (lean.max(lambda), rich.min(lambda))
    });
    assert!(
        (1.005..1.08).contains(&leanest) && (0.90..0.995).contains(&richest),
        "{richest} to {leanest}"
    );
}

/// The banks of the six-cylinder swing each by its own sensor.
#[test]
fn the_banks_swing_apart() {
    let mut desk = desk("sedan-v6", 1);
    desk.tell(&["drive udds"]);
    let mut apart = 0;
    for _ in 0..50 {
        desk.tell(&["wait 0.2 s"]);
        let [first, second] = desk.car.car().ecu().live().oxygen_front.map(|pin| pin.volts());
        apart += usize::from((first > 0.45) != (second > 0.45));
    }
    assert!(apart > 2, "{apart} of 50");
}

/// The maker's own code comes and goes with the standard's that it is set beside; `preload` sets the one that nothing
/// sets.
#[test]
fn a_code_of_the_makers_own_goes_with_its_standard_one() {
    let mut desk = desk("sedan-v6", 1);
    desk.tell(&[
        "ambient 18 C",
        "refuel to 60 %",
        "soak 9 h",
        "defect filler-neck hole 8 mm",
        "drive udds",
        "expect pending P0455",
        "expect pending P1455",
        "soak 9 h",
        "drive udds",
        "expect confirmed P1455",
        "expect mil commanded",
        "soak 1 h",
        "key on",
        "preload pending P1690",
    ]);
    let memory = desk.car.car().ecu().memory();
    let codes = ["P0455", "P1455"].map(|code| code.parse().expect("a code"));
    assert!(memory.confirmed().eq(codes));
    assert!(memory.permanent().eq(codes));
    assert_eq!(memory.pending().count(), 3);
}

/// A cold city drive and a highway drive let every group of both banks of the six-cylinder run, count and complete; of a
/// second bank that an engine has not, both counters stay 0 (13 CCR 1968.2(g)(5.2), from memory).
#[test]
fn both_banks_are_watched_and_counted() {
    use InUseItem::{
        CatalystBank1, CatalystBank2, Egr, Evap, PrimarySensorBank1, PrimarySensorBank2, SecondaryAir,
        SecondarySensorBank1, SecondarySensorBank2,
    };
    for (name, banks) in [("sedan-v6", 2), ("compact-2.0", 1)] {
        let mut desk = desk(name, 5);
        desk.tell(&["soak 9 h", "drive udds", "drive hwfet"]);
        let memory = desk.car.car().ecu().memory();
        let counted = |item| memory.in_use().item(item);
        for item in [CatalystBank1, PrimarySensorBank1, SecondarySensorBank1, Evap, Egr] {
            assert_eq!(counted(item).1, 1, "{name}: {item:?}");
        }
        for item in [CatalystBank1, PrimarySensorBank1, SecondarySensorBank1] {
            assert_eq!(counted(item).0, 1, "{name}: {item:?}");
        }
        for (item, like) in [
            (CatalystBank2, CatalystBank1),
            (PrimarySensorBank2, PrimarySensorBank1),
            (SecondarySensorBank2, SecondarySensorBank1),
        ] {
            let expected = if banks == 2 { counted(like) } else { (0, 0) };
            assert_eq!(counted(item), expected, "{name}: {item:?}");
        }
        assert_eq!(counted(SecondaryAir), (0, 0), "{name}: none");
        for group in [Group::Catalyst, Group::ExhaustSensor, Group::SensorHeater] {
            assert!(
                memory.readiness_since_clear().is_complete(group),
                "{name}: {group:?}"
            );
        }
        assert_eq!(
            desk.ask(&[0x06, 0x22]).is_some(),
            banks == 2,
            "{name}: catalyst, bank 2"
        );
    }
}

/// What a car has not cannot break.
#[test]
fn a_part_that_is_not_there_cannot_break() {
    for (name, defect, there) in [
        ("compact-2.0", "defect catalyst-2 aged 0.02 g", false),
        ("sedan-v6", "defect catalyst-2 aged 0.02 g", true),
        ("hatch-1.8", "defect egr-valve leaking 8 mm2", false),
        ("compact-2.0", "defect egr-valve leaking 8 mm2", true),
    ] {
        assert_eq!(desk(name, 1).outcomes(&[defect])[0].ok, there, "{name}: {defect}");
    }
}

/// Groups of in-use pairs and readiness whose monitors of bank 1 and bank 2 are apart.
const OF_BANKS: [[InUseItem; 3]; 2] = [
    [
        InUseItem::CatalystBank1,
        InUseItem::PrimarySensorBank1,
        InUseItem::SecondarySensorBank1,
    ],
    [
        InUseItem::CatalystBank2,
        InUseItem::PrimarySensorBank2,
        InUseItem::SecondarySensorBank2,
    ],
];

/// A six-cylinder with these defects after a cold trip: its pending codes, and how many of the monitors of each bank
/// that are counted in use could have found a fault.
fn trip(defects: &[&str]) -> (Vec<String>, [usize; 2]) {
    let mut desk = desk("sedan-v6", 1);
    desk.tell(&["ambient 18 C", "refuel to 60 %"]);
    desk.tell(defects);
    desk.tell(&[
        "soak 9 h",
        "drive udds",
        "drive hwfet",
        "drive idle 5 min",
        "key off",
    ]);
    let memory = desk.car.car().ecu().memory();
    let counted = OF_BANKS.map(|items| {
        let done = items.iter().filter(|&&item| memory.in_use().item(item).0 > 0);
        done.count()
    });
    (desk.pending(), counted)
}

/// What can be wrong with either bank is named on its own; the monitors of the other bank complete all the same; and with both
/// banks wrong both are named.
#[test]
fn a_fault_of_one_bank_is_named_there_and_leaves_the_other_alone() {
    // Defect of a bank, its code on bank 1, on bank 2.
    const FAULTS: &[(&str, &str, &str)] = &[
        ("front-oxygen-sensor{} lazy 8 x", "P0133", "P0153"),
        ("front-oxygen-sensor{} bias -0.9 V", "P0131", "P0151"),
        ("front-oxygen-sensor{} heater-open", "P0135", "P0155"),
        ("front-oxygen-sensor{} shifted -5 %", "P2097", "P2099"),
        ("rear-oxygen-sensor{} lazy 12 x", "P0139", "P0159"),
        ("rear-oxygen-sensor{} stuck 0 V", "P0137", "P0157"),
        ("rear-oxygen-sensor{} dead", "P0140", "P0160"),
        ("rear-oxygen-sensor{} heater-open", "P0141", "P0161"),
        ("catalyst{} aged 0.02 g", "P0420", "P0430"),
        ("exhaust-manifold{} leak 10 mm", "P0171", "P0174"),
        ("exhaust-joint{} leak 6 mm", "P2096", "P2098"),
        ("fuel-injector{} leaking 0.06 g/s", "P0172", "P0175"),
        ("cam-phaser{} slow 5 deg/s", "P000A", "P000C"),
        ("cam-phaser{} stuck 0 deg", "P0012", "P0022"),
        ("cam-phaser{} stuck 18 deg", "P0011", "P0021"),
        ("oil-strainer{} blocked 80 %", "P000A", "P000C"),
    ];
    let mut wrong = Vec::new();
    for (defect, first, second) in FAULTS {
        let [one, two] = ["", "-2"].map(|bank| format!("defect {}", defect.replace("{}", bank)));
        for (defects, codes, untouched) in [
            (&[one.as_str()][..], vec![*first], Some(1)),
            (&[two.as_str()], vec![*second], Some(0)),
            (&[one.as_str(), two.as_str()], vec![*first, *second], None),
        ] {
            let (mut pending, counted) = trip(defects);
            // The maker's own code beside P0430.
            pending.retain(|code| !code.starts_with("P14"));
            if pending != codes {
                wrong.push(format!("{defects:?}: {pending:?}, not {codes:?}"));
            }
            if let Some(bank) = untouched
                && counted[bank] != 3
            {
                wrong.push(format!(
                    "{defects:?}: of bank {} only {} ran",
                    bank + 1,
                    counted[bank]
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Misfire of a cylinder keeps the monitors of its own bank from running, and no others.
#[test]
fn misfire_blocks_its_own_bank_alone() {
    for (cylinder, bank) in [(1, 0), (2, 1), (5, 0), (6, 1)] {
        let mut desk = desk("sedan-v6", 1);
        desk.tell(&["ambient 18 C", "soak 9 h", "key on", "start"]);
        desk.tell(&[&format!("preload pending P030{cylinder}")]);
        for (name, own) in [("catalyst, bank 1", 0), ("catalyst, bank 2", 1)] {
            let told = desk.outcomes(&["monitors"]).remove(0);
            let line = told.details.iter().find(|line| line.starts_with(name));
            let disabled = line.is_some_and(|line| line.contains("disabled"));
            assert_eq!(disabled, own == bank, "P030{cylinder}, {name}: {line:?}");
        }
    }
}

/// Without its heater a wide-range cell is not gone by once that is found: open loop because of a fault (PID $03, 08), at
/// idle too. A narrow-band sensor is heated by the exhaust, and keeps its loop.
#[test]
fn a_wide_range_sensor_without_its_heater_is_not_gone_by() {
    for (name, status) in [
        ("hatch-1.8", FuelSystemStatus::OpenLoopFault),
        ("compact-2.0", FuelSystemStatus::ClosedLoop),
    ] {
        let mut desk = desk(name, 1);
        desk.tell(&[
            "defect front-oxygen-sensor heater-open",
            "drive 50 km/h for 3 min",
        ]);
        let live = desk.car.car().ecu().live();
        assert_eq!(live.fuel_system[0], status, "{name}");
        desk.tell(&[
            "replace front-oxygen-sensor",
            "key off",
            "drive 50 km/h for 3 min",
        ]);
        let live = desk.car.car().ecu().live();
        assert_eq!(live.fuel_system[0], FuelSystemStatus::ClosedLoop, "{name}");
    }
}

/// A cam of one bank that stands ahead at idle holds more burnt gas in its cylinders: that bank draws less air than the other,
/// gets as much fuel, and its loop takes of it; the other's adds. Both together draw what the meter says.
#[test]
fn the_cam_of_one_bank_sets_the_trims_of_both_apart() {
    let trims = |defect: &str| {
        let mut desk = desk("sedan-v6", 1);
        desk.tell(&[defect, "drive 60 km/h for 10 min, stop, idle 3 min"]);
        let live = desk.car.car().ecu().live();
        [0, 1].map(|bank| live.long_term_trim[bank].percent() + live.short_term_trim[bank].percent())
    };
    let [good, first, second] = [
        "key on",
        "defect cam-phaser stuck 15 deg",
        "defect cam-phaser-2 stuck 15 deg",
    ]
    .map(trims);
    assert!((good[0] - good[1]).abs() < 5.0, "{good:?}");
    assert!(first[1] - first[0] > 8.0, "{first:?}");
    assert!(second[0] - second[1] > 8.0, "{second:?}");
}
