//! How large a defect has to be to be found: a sweep of each amount, and the table that keeps what came of it.
//!
//! `crates/scenario/src/defects.tsv` is what `list defects` tells of codes. A row: part, word, unit, the largest amount
//! that was never found, the smallest that was always found, the codes that it came to. Between the two lies the grey
//! zone. Each end holds for [`ENDS`] seeds in the long job, for two of them in every run.

use std::collections::BTreeSet;

use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_vehicle::{
    Defect,
    defect::{Entry, Size, catalogue},
};

const TABLE: &str = include_str!("../../crates/scenario/src/defects.tsv");
const TABLE_PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../crates/scenario/src/defects.tsv");

/// One trip that lets every monitor run: cold start, city, highway, coasting, full throttle, hot idle.
const EXAM: &[&str] = &[
    "soak 9 h",
    "drive udds",
    "drive hwfet",
    "drive 90 km/h for 60 s, coast to 40 km/h, 90 km/h for 20 s, coast to 40 km/h, full throttle to 100 km/h, stop, \
     full throttle to 100 km/h, stop, idle 5 min",
    "key off",
    "soak 1 h",
];
/// Trips after which a defect counts as not found: two, and as many nights as the averaged test asks where one hole is in the
/// vapour space.
fn trips(entry: &Entry) -> usize {
    match entry.part.name() {
        "filler-neck" | "vapour-hose" => 6,
        _ => 2,
    }
}

/// The codes that a defect comes to in its trips; none if it is not found.
fn codes(defect: Defect, seed: u64) -> BTreeSet<String> {
    let mut car = Simulator::new(Settings::compact(seed, Timing::FAST));
    super::live(
        &mut car,
        &["ambient 20 C", "refuel to 60 %", &format!("defect {defect}")],
    );
    let mut found = BTreeSet::new();
    for _ in 0..trips(defect.entry()) {
        super::live(&mut car, EXAM);
        found.extend(super::stored(&car));
        if !found.is_empty() {
            break;
        }
    }
    found
}

/// A row of the table.
#[derive(Clone, Debug, PartialEq)]
struct Row {
    part: String,
    kind: String,
    unit: String,
    never: Option<f64>,
    always: Option<f64>,
    codes: BTreeSet<String>,
}

impl Row {
    fn entry(&self) -> Option<&'static Entry> {
        catalogue().find(|entry| entry.part.name() == self.part && entry.kind == self.kind)
    }

    fn text(&self) -> String {
        let number = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value}"));
        let codes = if self.codes.is_empty() {
            "-".to_owned()
        } else {
            self.codes.iter().cloned().collect::<Vec<_>>().join(" ")
        };
        let (never, always) = (number(self.never), number(self.always));
        format!(
            "{}\t{}\t{}\t{never}\t{always}\t{codes}",
            self.part, self.kind, self.unit
        )
    }

    fn parse(line: &str) -> Self {
        let cells: Vec<&str> = line.split('\t').collect();
        assert_eq!(cells.len(), 6, "{line}");
        let number = |text: &str| (text != "-").then(|| text.parse().expect("a number"));
        Self {
            part: cells[0].to_owned(),
            kind: cells[1].to_owned(),
            unit: cells[2].to_owned(),
            never: number(cells[3]),
            always: number(cells[4]),
            codes: cells[5]
                .split(' ')
                .filter(|code| *code != "-")
                .map(str::to_owned)
                .collect(),
        }
    }
}

fn rows() -> Vec<Row> {
    TABLE
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .map(Row::parse)
        .collect()
}

/// Amounts to try, smallest defect first: even steps in ratio where all are of one sign, else from nothing to either end.
fn amounts(entry: &Entry) -> Vec<Vec<f64>> {
    const STEPS: i32 = 5;
    let Size::Amount {
        range: [least, most], ..
    } = entry.size
    else {
        return Vec::new();
    };
    let share = |step: i32| f64::from(step) / f64::from(STEPS);
    let rounded = |value: f64| (value * 1000.0).round() / 1000.0;
    if least < 0.0 && most > 0.0 {
        let side = |end: f64| (1..=STEPS).map(|step| rounded(end * share(step))).collect();
        return vec![side(most), side(least)];
    }
    let low = if least > 0.0 { least } else { most * 0.01 };
    let ascending: Vec<f64> = (0..=STEPS)
        .map(|step| rounded(low * (most / low).powf(share(step))).clamp(least, most))
        .collect();
    vec![ascending]
}

/// Which end of a sweep is the worse car: where little is bad (a blocked line's flow, a worn catalyst's store), the other way round.
fn sweep(entry: &'static Entry, seeds: u64) -> Row {
    let mut row = Row {
        part: entry.part.name().to_owned(),
        kind: entry.kind.to_owned(),
        unit: entry.unit().to_owned(),
        never: None,
        always: None,
        codes: BTreeSet::new(),
    };
    let tried = |amount: Option<f64>| -> Option<(u64, BTreeSet<String>)> {
        let defect = entry.defect(amount)?;
        let all: Vec<BTreeSet<String>> = (1..=seeds).map(|seed| codes(defect, seed)).collect();
        let found = all.iter().filter(|codes| !codes.is_empty()).count();
        Some((
            u64::try_from(found).expect("few"),
            all.into_iter().flatten().collect(),
        ))
    };
    let sides = amounts(entry);
    if sides.is_empty() {
        let (_, codes) = tried(None).expect("no amount is asked for");
        row.codes = codes;
        return row;
    }
    for mut side in sides {
        let first = tried(Some(side[0])).expect("in range");
        let last = tried(Some(side[side.len() - 1])).expect("in range");
        if first.0 > last.0 {
            side.reverse();
        }
        let results: Vec<(f64, u64, BTreeSet<String>)> = side
            .into_iter()
            .filter_map(|amount| tried(Some(amount)).map(|(found, codes)| (amount, found, codes)))
            .collect();
        row.codes
            .extend(results.iter().flat_map(|result| result.2.iter().cloned()));
        let never = results
            .iter()
            .take_while(|result| result.1 == 0)
            .last()
            .map(|result| result.0);
        let always = results
            .iter()
            .rev()
            .take_while(|result| result.1 == seeds)
            .last()
            .map(|result| result.0);
        // Of two sides the positive one stands in the table.
        row.never = row.never.or(never);
        row.always = row.always.or(always);
    }
    row
}

/// Whether the compact car has the part.
fn fitted(entry: &Entry) -> bool {
    let name = entry.part.name();
    !matches!(name, "front-oxygen-sensor-2" | "catalyst-2") && !name.ends_with("-5") && !name.ends_with("-6")
}

/// Writes the table anew: `TWOTRIP_SEEDS` says for how many seeds each amount is tried.
#[test]
#[ignore = "writes the table of sensitivities"]
fn write_the_table() {
    let seeds = std::env::var("TWOTRIP_SEEDS").map_or(3, |text| text.parse().expect("a number"));
    let rows = super::side_by_side(catalogue().filter(|entry| fitted(entry)).collect(), |entry| {
        sweep(entry, seeds)
    });
    let mut text = String::from(
        "# What each defect of the compact car comes to in the exam of tests/fleet/sweep.rs; made by its `write_the_table`.\n\
         # part\tword\tunit\tlargest never found\tsmallest always found\tcodes\n",
    );
    for row in rows {
        text += &row.text();
        text.push('\n');
    }
    std::fs::write(TABLE_PATH, text).expect("the table is written");
}

/// The rows of one part, for whoever changes it: `TWOTRIP_PART=fuel-pump cargo test -p twotrip-tests --test fleet
/// sweep::rows_of_a_part -- --ignored --nocapture` prints them.
#[test]
#[ignore = "wants TWOTRIP_PART"]
fn rows_of_a_part() {
    let part = std::env::var("TWOTRIP_PART").expect("TWOTRIP_PART names one");
    let entries: Vec<_> = catalogue().filter(|entry| entry.part.name() == part).collect();
    for row in super::side_by_side(entries, |entry| sweep(entry, 3)) {
        println!("{}", row.text());
    }
}

/// Seeds at both ends in the long job.
const ENDS: u64 = 100;

fn hold_the_ends(seeds: u64, which: impl Fn(&Row) -> bool) {
    let chosen = rows().into_iter().filter(which).collect();
    let wrong: Vec<String> = super::side_by_side(chosen, |row: Row| {
        let entry = row
            .entry()
            .unwrap_or_else(|| panic!("{} {} is no defect", row.part, row.kind));
        let mut wrong = Vec::new();
        let ends = if entry.unit().is_empty() || matches!(entry.size, Size::Fixed { .. }) {
            vec![(None, !row.codes.is_empty())]
        } else {
            let never = row.never.map(|amount| (Some(amount), false));
            never
                .into_iter()
                .chain(row.always.map(|amount| (Some(amount), true)))
                .collect()
        };
        for (amount, expected) in ends {
            let defect = entry.defect(amount).expect("in range");
            for seed in 1001..=1000 + seeds {
                let found = codes(defect, seed);
                if found.is_empty() == expected || !found.is_subset(&row.codes) {
                    wrong.push(format!("{defect}, seed {seed}: {found:?}, expected {expected}"));
                }
            }
        }
        wrong
    })
    .concat();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_table_holds_every_defect_and_its_ends_for_a_seed() {
    let named: Vec<(String, String)> = rows().into_iter().map(|row| (row.part, row.kind)).collect();
    for entry in catalogue().filter(|entry| fitted(entry)) {
        let name = (entry.part.name().to_owned(), entry.kind.to_owned());
        assert!(
            named.contains(&name),
            "{entry:?} is missing: run `write_the_table`"
        );
    }
    hold_the_ends(1, |row| !matches!(row.part.chars().last(), Some('2' | '3' | '4')));
}

#[test]
#[ignore = "long: about an hour of processor time"]
fn the_ends_hold_for_a_hundred_seeds() {
    hold_the_ends(ENDS, |_| true);
}
