//! Which quantity tells two faults apart that share a code: what a tester reads, or a technician measures or sees.
//!
//! Each fault is driven through an examination (hot idle, 2500 rpm, 50 and 100 km/h, coasting), for three seeds.
//! Two faults with a common code must differ in one quantity by three times its scatter: of what a tester reads or a gauge
//! shows, the one that tells most; where none does, the first measurement that tells, by a number or in words; a look at the part
//! last ([`looks`]). `pairs.tsv` keeps it: first of the shipped repair orders, then of all defects and wires ([`causes`]).

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::{Mutex, OnceLock},
    time::Duration,
};

use twotrip_scenario::{Phrase, RepairOrder, Scenario, parse_phrase, shipped};
use twotrip_sim::{Settings, Simulator, Timing};

mod causes;
mod kept;
mod looks;

use looks::Look;

const TABLE: &str = include_str!("pairs.tsv");
const TABLE_PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fleet/pairs.tsv");
/// How many scatters apart is apart.
const APART: f64 = 3.0;

/// Parts of the examination: name, phrase, seconds at its end that are looked at.
const EXAMINATION: &[(&str, &str, u64)] = &[
    ("key on", "wait 3 s", 2),
    ("cold idle", "drive idle 40 s", 20),
    ("idle", "drive 60 km/h for 10 min, stop, idle 2 min", 60),
    ("2500 rpm", "drive rev 2500 rpm for 90 s", 45),
    ("50 km/h", "drive 50 km/h for 90 s", 45),
    ("100 km/h", "drive 100 km/h for 90 s", 45),
    ("full load", "drive stop, full throttle to 110 km/h", 5),
    ("coasting", "drive 90 km/h for 10 s, coast to 45 km/h", 8),
];

/// What is looked at: name with unit, resolution, reading. The last four are a technician's gauges.
type Reading = (&'static str, f64, fn(&Simulator) -> f64);
const READINGS: &[Reading] = &[
    ("short-term trim, %", 0.8, |car| {
        car.car().ecu().live().short_term_trim[0].percent()
    }),
    ("long-term trim, %", 0.8, |car| {
        car.car().ecu().live().long_term_trim[0].percent()
    }),
    ("air flow, g/s", 0.05, |car| {
        car.car().ecu().live().air_flow.grams_per_second()
    }),
    ("manifold pressure, kPa", 1.0, |car| {
        car.car().ecu().live().manifold_pressure.kilopascals()
    }),
    ("engine speed, rpm", 5.0, |car| {
        car.car().ecu().live().engine_speed.rpm()
    }),
    ("calculated load, %", 0.4, |car| {
        car.car().ecu().live().calculated_load.percent()
    }),
    ("coolant, C", 1.0, |car| {
        car.car().ecu().live().coolant_temperature.celsius()
    }),
    ("intake air, C", 1.0, |car| {
        car.car().ecu().live().intake_air_temperature.celsius()
    }),
    ("throttle, %", 0.4, |car| {
        car.car().ecu().live().throttle_position.percent()
    }),
    ("timing, deg", 0.5, |car| {
        car.car().ecu().live().timing_advance.degrees()
    }),
    ("front sensor, V", 0.005, |car| {
        car.car().ecu().live().oxygen_front[0].volts()
    }),
    ("rear sensor, V", 0.005, |car| {
        car.car().ecu().live().oxygen_rear[0].volts()
    }),
    ("short-term trim of bank 2, %", 0.8, |car| {
        car.car().ecu().live().short_term_trim[1].percent()
    }),
    ("long-term trim of bank 2, %", 0.8, |car| {
        car.car().ecu().live().long_term_trim[1].percent()
    }),
    ("front sensor of bank 2, V", 0.005, |car| {
        car.car().ecu().live().oxygen_front[1].volts()
    }),
    ("rear sensor of bank 2, V", 0.005, |car| {
        car.car().ecu().live().oxygen_rear[1].volts()
    }),
    ("catalyst, C", 2.0, |car| {
        car.car().ecu().live().catalyst_temperature[0].celsius()
    }),
    ("tank pressure, Pa", 2.0, |car| {
        car.car().ecu().live().tank_pressure.pascals()
    }),
    ("fuel level, %", 0.4, |car| {
        car.car().ecu().live().fuel_level.percent()
    }),
    ("purge, %", 0.4, |car| {
        car.car().ecu().live().commanded_purge.percent()
    }),
    ("EGR error, %", 0.8, |car| {
        car.car().ecu().live().recirculation_error.percent()
    }),
    ("vehicle speed, km/h", 1.0, |car| {
        car.car().ecu().live().vehicle_speed.kilometres_per_hour()
    }),
    ("module voltage, V", 0.01, |car| {
        car.car().ecu().live().module_voltage.volts()
    }),
    ("rail pressure, kPa", 3.0, |car| {
        car.car().ecu().live().fuel_pressure.kilopascals()
    }),
    ("rail pressure at a gauge, kPa", 2.0, |car| {
        car.car().vehicle().rail_pressure().kilopascals()
    }),
    ("manifold at a gauge, kPa", 0.5, |car| {
        car.car().vehicle().manifold_pressure().kilopascals()
    }),
    ("back pressure at a gauge, kPa", 0.3, |car| {
        car.car().vehicle().back_pressure().kilopascals()
    }),
    ("tank at a gauge, Pa", 2.0, |car| {
        car.car().vehicle().tank_pressure().pascals()
    }),
];

/// Mean and scatter of each reading in each part of the examination.
type Findings = BTreeMap<(&'static str, &'static str), (f64, f64)>;

/// What the examination of a broken car shows.
fn examine(mut car: Simulator) -> BTreeMap<(&'static str, &'static str), f64> {
    let mut means = BTreeMap::new();
    for (part, phrase, last) in EXAMINATION {
        car.tell(parse_phrase(phrase).unwrap_or_else(|problem| panic!("{phrase}: {problem}")));
        let mut samples: Vec<Vec<f64>> = Vec::new();
        while car.is_busy() {
            car.work(Duration::from_secs(1));
            while car.poll_event().is_some() {}
            samples.push(READINGS.iter().map(|(_, _, read)| read(&car)).collect());
        }
        let from = samples
            .len()
            .saturating_sub(usize::try_from(*last).expect("short"));
        for (place, (name, ..)) in READINGS.iter().enumerate() {
            let window: Vec<f64> = samples[from..].iter().map(|sample| sample[place]).collect();
            means.insert((*part, *name), window.iter().sum::<f64>() / window.len() as f64);
        }
    }
    means
}

/// Makes the broken car of a seed, as a technician gets it: key on, engine off.
type Broken = Box<dyn Fn(u64) -> Simulator + Send + Sync>;
/// How many cars with a fault are looked at.
const CARS: u64 = 3;

/// One fault, as the table names it.
struct Fault {
    name: String,
    broken: Broken,
    /// What a technician would do to find it.
    looks: Vec<Look>,
    /// The cars, once they are looked at.
    cars: OnceLock<Vec<Simulator>>,
    /// What was found on them.
    said: Mutex<BTreeMap<Look, Vec<String>>>,
}

impl Fault {
    fn new(name: String, looks: Vec<Look>, broken: Broken) -> Self {
        Self {
            name,
            looks,
            broken,
            cars: OnceLock::new(),
            said: Mutex::default(),
        }
    }

    /// Of a shipped order.
    fn shipped(shipped: &shipped::Shipped) -> Self {
        let scenario = Scenario::parse(shipped.text.as_bytes()).expect("it is shipped");
        let order = scenario.repair_order().expect("it has one");
        let looks = order
            .correction()
            .iter()
            .flat_map(|phrase| match phrase {
                Phrase::Work(_, part) => looks::of_part(*part),
                Phrase::MendWire(wire) => looks::of_bare_wire(wire.name()),
                _ => Vec::new(),
            })
            .collect();
        let broken = move |seed| {
            let mut car = Simulator::new(Settings::of(&scenario, seed, Timing::FAST));
            let story = scenario.story().iter().map(|phrase| &phrase.value);
            let lived = story.filter(|phrase| !matches!(phrase, Phrase::Expect(_)));
            super::live(&mut car, &lived.map(ToString::to_string).collect::<Vec<_>>());
            car
        };
        Self::new(shipped.name.to_owned(), looks, Box::new(broken))
    }

    fn cars(&self) -> &[Simulator] {
        self.cars
            .get_or_init(|| (1..=CARS).map(|seed| (self.broken)(seed)).collect())
    }

    /// What a look finds on each of the cars.
    fn said(&self, look: &Look) -> Vec<String> {
        let mut said = self.said.lock().expect("nobody panics with it");
        let found = said
            .entry(look.clone())
            .or_insert_with(|| self.cars().iter().map(|car| look.say(car)).collect());
        found.clone()
    }

    /// What three cars with it show.
    fn findings(&self) -> Findings {
        let runs: Vec<_> = self.cars().iter().cloned().map(examine).collect();
        let mut findings = Findings::new();
        for (name, resolution, _) in READINGS {
            for (part, ..) in EXAMINATION {
                let values: Vec<f64> = runs.iter().map(|run| run[&(*part, *name)]).collect();
                let mean = values.iter().sum::<f64>() / 3.0;
                let spread = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / 2.0;
                findings.insert((*part, *name), (mean, spread.sqrt().max(*resolution)));
            }
        }
        findings
    }
}

/// What tells two faults apart, and by how many scatters; a look where no number does.
fn difference(one: (&Fault, &Findings), other: (&Fault, &Findings)) -> (String, f64) {
    let best = one
        .1
        .iter()
        .map(|(key, (mean, scatter))| {
            let (other_mean, other_scatter) = other.1[key];
            (key, (mean - other_mean).abs() / scatter.max(other_scatter))
        })
        .max_by(|a, b| a.1.total_cmp(&b.1));
    let ((part, name), apart) = best.expect("there are readings");
    if apart >= APART {
        return (format!("{name} at {part}"), apart);
    }
    let (one, other) = (one.0, other.0);
    let mut looks: Vec<&Look> = one.looks.iter().chain(&other.looks).collect();
    looks.sort();
    looks.dedup();
    let told = looks
        .into_iter()
        .find_map(|look| looks::apart(look, &one.said(look), &other.said(look)).map(|apart| (look, apart)));
    told.map_or_else(
        || ("nothing".to_owned(), apart),
        |(look, apart)| (look.to_string(), apart),
    )
}

/// Pairs of shipped faults with a code that they share: code and both names. The same fault under another regulation is no other
/// fault.
fn shipped_pairs() -> Vec<[String; 3]> {
    let mut faults: Vec<(&str, RepairOrder)> = Vec::new();
    for shipped in shipped::ALL {
        let scenario = Scenario::parse(shipped.text.as_bytes()).expect("it is shipped");
        faults.extend(scenario.repair_order().map(|order| (shipped.name, order.clone())));
    }
    let mut pairs = Vec::new();
    for (place, (one, order)) in faults.iter().enumerate() {
        let others = faults[place + 1..].iter();
        for (other, of_other) in others.filter(|(_, other)| other.cause() != order.cause()) {
            let shared = order
                .codes()
                .iter()
                .filter(|code| of_other.codes().contains(code));
            pairs.extend(shared.map(|code| [code.to_string(), (*one).to_owned(), (*other).to_owned()]));
        }
    }
    pairs
}

/// What the kept table says of each pair.
fn known_rows() -> BTreeMap<[&'static str; 3], &'static str> {
    let row = |line: &'static str| {
        let mut cells = line.split('\t');
        Some(([cells.next()?, cells.next()?, cells.next()?], line))
    };
    TABLE.lines().filter_map(row).collect()
}

fn key([code, one, other]: &[String; 3]) -> [&str; 3] {
    [code, one, other]
}

/// All pairs of the table.
fn pairs() -> Vec<[String; 3]> {
    let mut pairs = shipped_pairs();
    pairs.extend(causes::pairs());
    pairs
}

/// The faults of these names.
fn faults(asked: &BTreeSet<&str>) -> Vec<Fault> {
    let shipped = shipped::ALL.iter().filter(|shipped| asked.contains(shipped.name));
    let causes = causes::all().into_iter().map(causes::Cause::fault);
    shipped
        .map(Fault::shipped)
        .chain(causes.filter(|fault| asked.contains(fault.name.as_str())))
        .collect()
}

/// With `TWOTRIP_PAIRS=new` only pairs that the table does not name are driven; with `TWOTRIP_KEEP` what was driven is kept in
/// that folder and not driven again.
#[test]
#[ignore = "long: drives every fault that shares a code three times; writes the table of pairs"]
fn faults_that_share_a_code_can_be_told_apart() {
    let only_new = std::env::var("TWOTRIP_PAIRS").is_ok_and(|which| which == "new");
    let pairs = pairs();
    let rows = known_rows();
    let known = |pair: &[String; 3]| rows.get(&key(pair)).copied().filter(|_| only_new);
    let asked: BTreeSet<&str> = pairs
        .iter()
        .filter(|pair| known(pair).is_none())
        .flat_map(|[_, one, other]| [one.as_str(), other.as_str()])
        .collect();
    let kept = kept::Kept::open();
    let found: BTreeMap<String, (Fault, Findings)> = super::side_by_side(faults(&asked), |fault| {
        let findings = kept.findings(&fault.name).unwrap_or_else(|| {
            let findings = fault.findings();
            kept.keep(&fault.name, &findings);
            findings
        });
        (fault.name.clone(), (fault, findings))
    })
    .into_iter()
    .collect();
    let mut text = String::from("# code\tone\tother\twhat tells them apart\tscatters\n");
    let mut alike = Vec::new();
    for pair in &pairs {
        let [code, one, other] = pair;
        if let Some(line) = known(pair) {
            text += &format!("{line}\n");
            continue;
        }
        let of = |name: &String| {
            let (fault, findings) = &found[name];
            (fault, findings)
        };
        let (what, apart) = difference(of(one), of(other));
        let scatters = if apart.is_finite() {
            format!("{apart:.0}")
        } else if what.starts_with("inspect") {
            "seen".to_owned()
        } else {
            "words".to_owned()
        };
        text += &format!("{code}\t{one}\t{other}\t{what}\t{scatters}\n");
        if what == "nothing" {
            alike.push(format!("{code}: {one} and {other}"));
        }
    }
    std::fs::write(TABLE_PATH, text).expect("the table is written");
    assert!(alike.is_empty(), "nothing tells these apart: {alike:#?}");
}

/// The kept table names every pair of faults that share a code.
#[test]
fn the_table_of_pairs_is_whole() {
    let rows = known_rows();
    for pair in pairs() {
        let row = rows
            .get(&key(&pair))
            .unwrap_or_else(|| panic!("{pair:?} is not in pairs.tsv: `sh tests/long pairs new`"));
        assert!(!row.contains("\tnothing\t"), "{row}");
    }
}
