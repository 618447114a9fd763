//! Whether both ends of each grey zone hold: the largest amount that is never found and the smallest that is always found, for
//! a hundred cars each in the long job, for one in every run.
//!
//! An end that does not hold moves outwards, and the grey zone widens. `ends.tsv` keeps what was driven: part, word, end,
//! amount, cars, commit. The rows of cylinders differ in a number only: they share the hundred cars and have the same ends.
//!
//! `TWOTRIP_DEFECT` chooses parts by the beginning of their name. With `TWOTRIP_KEEP` what is done is kept in that folder and
//! not driven again, unless it was chosen.

use std::{
    collections::BTreeSet,
    fs::{self, OpenOptions},
    io::Write as _,
    path::PathBuf,
};

use twotrip_vehicle::{
    Part,
    defect::{Entry, Size, catalogue},
};

use crate::{
    side_by_side,
    sweep::{amounts, codes, first_codes, trips},
    table::{self, Row, rows},
};

const KEPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fleet/ends.tsv");
const HEAD: &str = "# Ends of grey zones that were driven: part, word, end, amount, cars, commit; made by `sh tests/long ends`.\n";

/// Cars at each end in the long job.
const CARS: u64 = 100;
/// Every so many of the cars that should not be found is driven all its trips, the others half of them: what is found at
/// all is pending in the first trip, but for averages.
const WHOLE: u64 = 5;
/// Seed before the first one's: the table was made with others.
const SEEDS: u64 = 1000;

/// The part without the number of its cylinder, and the word. Cylinders 5 and 6 are of another car than the rest.
fn kind(row: &Row) -> (&str, &str) {
    (row.part.trim_end_matches(['1', '2', '3', '4']), &row.kind)
}

/// How a group is called in `ends.tsv`: cylinders by what their names have in common.
fn name(group: &[Row]) -> &str {
    match group {
        [only] => &only.part,
        _ => kind(&group[0]).0,
    }
}

/// Rows that differ in the number of a cylinder only.
fn groups() -> Vec<Vec<Row>> {
    let mut groups: Vec<Vec<Row>> = Vec::new();
    for row in rows() {
        match groups.iter_mut().find(|group| kind(&group[0]) == kind(&row)) {
            Some(group) => group.push(row),
            None => groups.push(vec![row]),
        }
    }
    groups
}

fn entry(row: &Row) -> &'static Entry {
    row.entry()
        .unwrap_or_else(|| panic!("{} {} is no defect", row.part, row.kind))
}

/// What came of the cars at an amount: whether all were as expected, and codes that the rows do not name yet are added.
fn holds(group: &mut [Row], amount: Option<f64>, expected: bool) -> bool {
    for car in 1..=CARS {
        let place = usize::try_from(car).expect("few") % group.len();
        let row = &mut group[place];
        let entry = entry(row);
        let whole = expected || car % WHOLE == 0;
        let trips = if whole {
            trips(entry)
        } else {
            trips(entry).div_ceil(2)
        };
        let found = first_codes(entry.defect(amount).expect("in range"), SEEDS + car, trips);
        if found.is_empty() == expected {
            return false;
        }
        row.codes.extend(found);
    }
    true
}

/// Amounts from the mildest defect to the worst, of the sign that the row has.
fn ladder(row: &Row) -> Vec<f64> {
    let entry = entry(row);
    let known = row.never.or(row.always).unwrap_or_default();
    let mut side = amounts(entry)
        .into_iter()
        .find(|side| side.iter().all(|amount| amount * known >= 0.0))
        .unwrap_or_default();
    let found = |amount: Option<&f64>| {
        let defect = entry.defect(amount.copied()).expect("in range");
        !first_codes(defect, SEEDS, trips(entry)).is_empty()
    };
    let turned = match (row.never, row.always) {
        // Of two sides each begins with nothing.
        _ if amounts(entry).len() > 1 => false,
        (Some(never), Some(always)) => always < never,
        _ => found(side.first()) && !found(side.last()),
    };
    if turned {
        side.reverse();
    }
    side
}

/// The first of these amounts that holds, the table's own first.
fn settle(group: &mut [Row], own: f64, beyond: &[f64], expected: bool) -> Option<f64> {
    let mut tried = std::iter::once(own).chain(beyond.iter().copied());
    tried.find(|amount| holds(group, Some(*amount), expected))
}

/// Moves both ends of a group outwards until they hold. What was driven, and what is wrong.
fn hold(group: &mut [Row]) -> (Vec<String>, Option<String>) {
    let commit = std::env::var("TWOTRIP_COMMIT").unwrap_or_else(|_| "-".to_owned());
    let (part, word) = (name(group).to_owned(), group[0].kind.clone());
    let line = |end: &str, amount: &str| format!("{part}\t{word}\t{end}\t{amount}\t{CARS}\t{commit}");
    if !matches!(entry(&group[0]).size, Size::Amount { .. }) {
        let found = !group[0].codes.is_empty();
        let end = if found { "always" } else { "never" };
        let wrong = (!holds(group, None, found)).then(|| format!("{part} {word}: found at times, not {end}"));
        return (vec![line(end, "-")], wrong);
    }
    let ladder = ladder(&group[0]);
    let place = |amount: f64| {
        let worse = |step: f64| (step - ladder[0]) * (ladder[ladder.len() - 1] - ladder[0]).signum();
        worse(amount)
    };
    let mut lines = Vec::new();
    let never = group.iter().filter_map(|row| row.never);
    if let Some(own) = never.min_by(|a, b| place(*a).total_cmp(&place(*b))) {
        let milder: Vec<f64> = ladder
            .iter()
            .rev()
            .copied()
            .filter(|step| place(*step) < place(own))
            .collect();
        let holds = settle(group, own, &milder, false);
        group.iter_mut().for_each(|row| row.never = holds);
        lines.push(line("never", &table::number(holds)));
    }
    let always = group.iter().filter_map(|row| row.always);
    if let Some(own) = always.max_by(|a, b| place(*a).total_cmp(&place(*b))) {
        let worse: Vec<f64> = ladder
            .iter()
            .copied()
            .filter(|step| place(*step) > place(own))
            .collect();
        let holds = settle(group, own, &worse, true);
        group.iter_mut().for_each(|row| row.always = holds);
        lines.push(line("always", &table::number(holds)));
    }
    (lines, None)
}

/// Where what is done is kept.
fn kept() -> Option<PathBuf> {
    std::env::var_os("TWOTRIP_KEEP").map(|folder| {
        fs::create_dir_all(&folder).expect("a folder that can be written to");
        PathBuf::from(folder).join("ends.tsv")
    })
}

/// Rows of the table and lines of `ends.tsv` as they were kept: the former begin with `row`, the latter with `end`.
fn done(text: &str) -> (Vec<Row>, Vec<String>) {
    let of = |mark: &'static str| text.lines().filter_map(move |line| line.strip_prefix(mark));
    (
        of("row\t").map(Row::parse).collect(),
        of("end\t").map(str::to_owned).collect(),
    )
}

/// Brings the table and `ends.tsv` up to what was driven.
fn take_over(driven: &[Row], ends: &[String]) {
    let mut rows = rows();
    for row in &mut rows {
        if let Some(driven) = driven
            .iter()
            .find(|driven| (&driven.part, &driven.kind) == (&row.part, &row.kind))
        {
            (row.never, row.always) = (driven.never, driven.always);
            row.codes.extend(driven.codes.iter().cloned());
        }
    }
    table::write(&rows);
    let named = |line: &str| line.split('\t').take(2).map(str::to_owned).collect::<Vec<_>>();
    let new: BTreeSet<Vec<String>> = ends.iter().map(|line| named(line)).collect();
    let old = fs::read_to_string(KEPT).unwrap_or_default();
    let old = old
        .lines()
        .filter(|line| !line.starts_with('#') && !new.contains(&named(line)));
    let all: BTreeSet<&str> = old.chain(ends.iter().map(String::as_str)).collect();
    let text: String = all.into_iter().map(|line| format!("{line}\n")).collect();
    fs::write(KEPT, format!("{HEAD}{text}")).expect("the ends are written");
}

#[test]
#[ignore = "long: an hour of processor time; writes the ends of the grey zones"]
fn the_ends_hold_for_a_hundred_cars() {
    let chosen = std::env::var("TWOTRIP_DEFECT").unwrap_or_default();
    let kept = kept();
    let before = kept.as_ref().and_then(|path| fs::read_to_string(path).ok());
    let (mut driven, mut ends) = done(&before.unwrap_or_default());
    if !chosen.is_empty() {
        driven.retain(|row| !row.part.starts_with(&chosen));
        ends.retain(|line| !line.starts_with(&chosen));
    }
    let mut left = groups();
    left.retain(|group| {
        let has = |row: &Row| (&row.part, &row.kind) == (&group[0].part, &group[0].kind);
        group[0].part.starts_with(&chosen) && !driven.iter().any(has)
    });
    // Those that want most trips last.
    left.sort_by_key(|group| {
        (
            trips(entry(&group[0])),
            matches!(entry(&group[0]).size, Size::Amount { .. }),
        )
    });
    let came = side_by_side(left, |mut group| {
        let (lines, wrong) = hold(&mut group);
        let mut text = String::new();
        if wrong.is_none() {
            text.extend(group.iter().map(|row| format!("row\t{}\n", row.text())));
            text.extend(lines.iter().map(|line| format!("end\t{line}\n")));
        }
        println!("{text}{}", wrong.as_deref().unwrap_or_default());
        if let Some(path) = &kept {
            let file = OpenOptions::new().create(true).append(true).open(path);
            let written = file.and_then(|mut file| file.write_all(text.as_bytes()));
            written.expect("what is done is kept");
        }
        (text, wrong)
    });
    let mut wrong = Vec::new();
    for (text, of_group) in came {
        let (rows, lines) = done(&text);
        driven.extend(rows);
        ends.extend(lines);
        wrong.extend(of_group);
    }
    take_over(&driven, &ends);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The table names every defect, and what it says of both ends is so for a car.
#[test]
fn the_table_holds_every_defect_and_its_ends_for_a_car() {
    let rows = rows();
    for entry in catalogue() {
        let named = |row: &Row| row.part == entry.part.name() && row.kind == entry.kind;
        assert!(
            rows.iter().any(named),
            "{entry:?} is missing: run `write_the_table`"
        );
    }
    // Of the cylinders the first of four and the last of six, and all of bank 2.
    let first_of_cylinders = |row: &Row| {
        let cylinder = Part::named(&row.part).and_then(Part::cylinder);
        cylinder.is_none_or(|cylinder| matches!(cylinder, 1 | 6))
    };
    let chosen = rows.into_iter().filter(first_of_cylinders).collect();
    let wrong: Vec<String> = side_by_side(chosen, |row: Row| {
        let ends = if matches!(entry(&row).size, Size::Amount { .. }) {
            let never = row.never.map(|amount| (Some(amount), false));
            let always = row.always.map(|amount| (Some(amount), true));
            never.into_iter().chain(always).collect()
        } else {
            vec![(None, !row.codes.is_empty())]
        };
        let mut wrong = Vec::new();
        for (amount, expected) in ends {
            let defect = entry(&row).defect(amount).expect("in range");
            let found = codes(defect, SEEDS + 1);
            if found.is_empty() == expected || !found.is_subset(&row.codes) {
                wrong.push(format!("{defect}: {found:?}, expected {expected}"));
            }
        }
        wrong
    })
    .concat();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Which ends were never driven by a hundred cars, or have moved since. Told, not forbidden: the run above holds each end.
#[test]
fn ends_that_a_hundred_cars_have_not_driven_are_told() {
    let kept = fs::read_to_string(KEPT).unwrap_or_default();
    for group in groups() {
        let (part, word) = (name(&group), &group[0].kind);
        let row = &group[0];
        let ends = if matches!(entry(row).size, Size::Amount { .. }) {
            let never = row.never.map(|_| ("never", row.never));
            never
                .into_iter()
                .chain(row.always.map(|_| ("always", row.always)))
                .collect()
        } else {
            vec![(if row.codes.is_empty() { "never" } else { "always" }, None)]
        };
        for (end, amount) in ends {
            let amount = table::number(amount);
            let line = format!("{part}\t{word}\t{end}\t{amount}\t");
            if !kept.lines().any(|kept| kept.starts_with(&line)) {
                println!("not driven by a hundred cars: {part} {word}, {end} at {amount}");
            }
        }
    }
}
