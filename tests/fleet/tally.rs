//! What a fleet's trips add up to: in-use counters by group, and how far each result of service $06 stays from its
//! limits. As lines of text, so that a long job can be left and taken up again.

use std::{collections::BTreeMap, fmt::Write as _};

use twotrip_ecu::{Ecu, monitors};
use twotrip_obd::InUseItem;

/// Sums of one test's results.
#[derive(Clone, Copy, Debug, Default)]
struct Spread {
    count: f64,
    sum: f64,
    squares: f64,
    least: Option<f64>,
    most: Option<f64>,
    extremes: Option<(f64, f64)>,
}

impl Spread {
    fn add(&mut self, value: f64) {
        self.count += 1.0;
        self.sum += value;
        self.squares += value * value;
        let (low, high) = self.extremes.unwrap_or((value, value));
        self.extremes = Some((low.min(value), high.max(value)));
    }

    fn merge(&mut self, other: &Self) {
        self.count += other.count;
        self.sum += other.sum;
        self.squares += other.squares;
        (self.least, self.most) = (other.least, other.most);
        self.extremes = match (self.extremes, other.extremes) {
            (Some((a, b)), Some((c, d))) => Some((a.min(c), b.max(d))),
            (one, other) => one.or(other),
        };
    }

    fn mean(&self) -> f64 {
        self.sum / self.count
    }

    fn deviation(&self) -> f64 {
        (self.squares / self.count - self.mean() * self.mean())
            .max(0.0)
            .sqrt()
    }

    /// Distance of the mean to the nearer limit, in standard deviations.
    fn margin(&self) -> Option<f64> {
        let sides = [
            self.least.map(|least| self.mean() - least),
            self.most.map(|most| most - self.mean()),
        ];
        sides
            .into_iter()
            .flatten()
            .map(|gap| gap / self.deviation().max(1e-12))
            .reduce(f64::min)
    }
}

/// The sums of one vehicle's fleet.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tally {
    trips: u64,
    in_use: BTreeMap<InUseItem, (u64, u64)>,
    general: (u64, u64),
    tests: BTreeMap<(u8, u8), Spread>,
}

/// What a row of service $06 is about.
fn about(row: (u8, u8)) -> &'static str {
    let mut tests = monitors::tests();
    let test = tests.find(|test| test.reported.is_some_and(|reported| reported.row() == row));
    test.map_or("", |test| test.what)
}

impl Tally {
    /// After a trip: what service $06 holds.
    pub(crate) fn note(&mut self, ecu: &Ecu) {
        self.trips += 1;
        for test in monitors::tests() {
            let Some((row, found)) = test.reported.zip(ecu.monitors().results().of(test)) else {
                continue;
            };
            let spread = self.tests.entry(row.row()).or_default();
            (spread.least, spread.most) = found.limits;
            spread.add(found.value);
        }
    }

    /// At the end of a car's life: its in-use counters.
    pub(crate) fn close(&mut self, ecu: &Ecu) {
        let performance = ecu.memory().in_use();
        self.general.0 += u64::from(performance.counters()[0]);
        self.general.1 += u64::from(performance.counters()[1]);
        for item in InUseItem::ALL {
            let pair = performance.item(item);
            let sums = self.in_use.entry(item).or_default();
            sums.0 += u64::from(pair.0);
            sums.1 += u64::from(pair.1);
        }
    }

    pub(crate) fn merge(&mut self, other: &Self) {
        self.trips += other.trips;
        self.general.0 += other.general.0;
        self.general.1 += other.general.1;
        for (item, (numerator, denominator)) in &other.in_use {
            let sums = self.in_use.entry(*item).or_default();
            sums.0 += numerator;
            sums.1 += denominator;
        }
        for (key, spread) in &other.tests {
            self.tests.entry(*key).or_default().merge(spread);
        }
    }

    /// Groups whose ratio over the fleet is below the regulated minimum: 0.336, for the evaporative system 0.260
    /// (0.020 in) (13 CCR 1968.2(d)(3.2), from memory).
    pub(crate) fn below_minimum(&self) -> Vec<String> {
        self.in_use
            .iter()
            .filter(|(_, (_, denominator))| *denominator > 20)
            .filter(|(item, (numerator, denominator))| {
                let minimum = if **item == InUseItem::Evap { 0.260 } else { 0.336 };
                (*numerator as f64) < minimum * *denominator as f64
            })
            .map(|(item, (numerator, denominator))| format!("{item:?} {numerator}/{denominator}"))
            .collect()
    }

    /// As lines that [`Self::take_line`] reads.
    pub(crate) fn lines(&self) -> Vec<String> {
        let (denominator, cycles) = self.general;
        let mut lines = vec![format!("trips {} {denominator} {cycles}", self.trips)];
        for (place, item) in InUseItem::ALL.iter().enumerate() {
            if let Some((numerator, denominator)) = self.in_use.get(item) {
                lines.push(format!("in-use {place} {numerator} {denominator}"));
            }
        }
        let limit = |limit: Option<f64>| limit.map_or_else(|| "-".to_owned(), |value| value.to_string());
        for ((mid, tid), spread) in &self.tests {
            let (low, high) = spread.extremes.unwrap_or_default();
            lines.push(format!(
                "test {mid} {tid} {} {} {} {} {} {low} {high}",
                spread.count,
                spread.sum,
                spread.squares,
                limit(spread.least),
                limit(spread.most),
            ));
        }
        lines
    }

    /// Adds what a line says.
    pub(crate) fn take_line(&mut self, line: &str) {
        let cells: Vec<&str> = line.split(' ').collect();
        let whole = |place: usize| -> u64 { cells[place].parse().expect("a whole number") };
        let number = |place: usize| -> f64 { cells[place].parse().expect("a number") };
        let byte = |place: usize| -> u8 { cells[place].parse().expect("a byte") };
        match cells[0] {
            "trips" => {
                self.trips += whole(1);
                self.general.0 += whole(2);
                self.general.1 += whole(3);
            }
            "in-use" => {
                let item = InUseItem::ALL[usize::from(byte(1))];
                let sums = self.in_use.entry(item).or_default();
                sums.0 += whole(2);
                sums.1 += whole(3);
            }
            "test" => {
                let limit = |place: usize| (cells[place] != "-").then(|| number(place));
                let spread = Spread {
                    count: number(3),
                    sum: number(4),
                    squares: number(5),
                    least: limit(6),
                    most: limit(7),
                    extremes: Some((number(8), number(9))),
                };
                self.tests.entry((byte(1), byte(2))).or_default().merge(&spread);
            }
            other => panic!("{other} is no line of a tally"),
        }
    }

    /// Ratios by group.
    pub(crate) fn ratios(&self) -> String {
        let mut text = format!(
            "{} trips; general denominator {}, ignition cycles {}\n",
            self.trips, self.general.0, self.general.1
        );
        for (item, (numerator, denominator)) in &self.in_use {
            if *denominator > 0 {
                let ratio = *numerator as f64 / *denominator as f64;
                let _ = writeln!(text, "{item:?}: {numerator}/{denominator} = {ratio:.3}");
            }
        }
        text
    }

    /// Ratios, and each test's results beside its limits.
    pub(crate) fn report(&self) -> String {
        let mut text = self.ratios();
        let _ = writeln!(
            text,
            "MID TID results mean deviation least..most limits margin(deviations) what"
        );
        for ((mid, tid), spread) in &self.tests {
            let what = about((*mid, *tid));
            let (low, high) = spread.extremes.unwrap_or_default();
            let _ = writeln!(
                text,
                "${mid:02X} ${tid:02X} {} {:.4} {:.4} {low:.4}..{high:.4} {:?}..{:?} {} {what}",
                spread.count,
                spread.mean(),
                spread.deviation(),
                spread.least,
                spread.most,
                spread
                    .margin()
                    .map_or_else(|| "-".to_owned(), |margin| format!("{margin:.1}")),
            );
        }
        text
    }
}
