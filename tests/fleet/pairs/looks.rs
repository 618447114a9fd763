//! What a technician does to find a fault, in the order in which the table prefers it: a meter on the wire with the key on,
//! with the key off, under load, while the loom is moved, warmed, cooled or wetted; instruments on the part; a look at it last.

use std::fmt;

use twotrip_scenario::phrase::Point;
use twotrip_sim::Simulator;
use twotrip_vehicle::Part;

use super::APART;

/// What is done, the preferred first.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Look {
    /// `measure` with the key on.
    On(String),
    /// `measure` with the engine revved.
    Running(String),
    /// `measure` with the key off.
    Off(String),
    /// `inspect`.
    Inspect(String),
}

impl fmt::Display for Look {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::On(phrase) | Self::Inspect(phrase) => f.write_str(phrase),
            Self::Running(phrase) => write!(f, "{phrase}, 2000 rpm"),
            Self::Off(phrase) => write!(f, "{phrase}, key off"),
        }
    }
}

impl Look {
    /// What is found on a car with the key on.
    pub(super) fn say(&self, car: &Simulator) -> String {
        let phrases: Vec<&str> = match self {
            Self::On(phrase) | Self::Inspect(phrase) => vec![phrase.as_str()],
            Self::Running(phrase) => vec!["drive rev 2000 rpm for 20 s", phrase.as_str()],
            Self::Off(phrase) => vec!["key off", phrase.as_str()],
        };
        let told = crate::live(&mut car.clone(), &phrases)
            .pop()
            .expect("it was asked");
        format!("{} {}", told.1.text, told.1.details.join(" "))
    }
}

/// What is done to a part.
pub(super) fn of_part(part: Part) -> Vec<Look> {
    let name = part.name();
    let mut looks: Vec<Look> = twotrip_sim::points(part)
        .iter()
        .flat_map(|point| {
            let kinds: &[fn(String) -> Look] = match point {
                Point::Alternator | Point::ManifoldVacuum => &[Look::Running],
                Point::Wire(_) => &[Look::On, Look::Off],
                _ => &[Look::On],
            };
            kinds
                .iter()
                .map(move |look| look(format!("measure {}", point.name())))
        })
        .collect();
    if part.cylinder().is_some() {
        looks.extend(["compression", "injector-balance"].map(|what| Look::On(format!("measure {what}"))));
    }
    looks.push(Look::Inspect(format!("inspect {name}")));
    looks
}

/// What is done to a wire.
pub(super) fn of_bare_wire(wire: &str) -> Vec<Look> {
    let plain = format!("measure {wire}");
    let while_ = |what: &str| format!("measure {wire} while {what}");
    let mut looks = vec![
        Look::On(plain.clone()),
        Look::Off(plain),
        Look::Off(while_("loaded")),
    ];
    looks.extend(["wiggled", "heated", "chilled", "sprayed"].map(|what| Look::On(while_(what))));
    looks
}

/// What is done to a wire and to the part that hangs on it.
pub(super) fn of_wire(wire: &str, part: &str) -> Vec<Look> {
    let mut looks = of_bare_wire(wire);
    looks.extend(of_part(Part::named(part).expect("a part")));
    looks
}

/// By how many scatters two findings differ, if they are apart: endlessly where they differ in words.
pub(super) fn apart(look: &Look, one: &[String], other: &[String]) -> Option<f64> {
    let (one, other) = (readings(one), readings(other));
    let alike = |cars: &[Reading]| cars.iter().all(|car| car.words == cars[0].words);
    if !alike(&one) || !alike(&other) {
        return None;
    }
    if one[0].words != other[0].words {
        return Some(f64::INFINITY);
    }
    if matches!(look, Look::Inspect(_)) {
        return None;
    }
    let differs = |place: usize| {
        let (mean, scatter) = spread(&one, place);
        let (other_mean, other_scatter) = spread(&other, place);
        (mean - other_mean).abs() / scatter.max(other_scatter)
    };
    let best = (0..one[0].numbers.len()).map(differs).fold(0.0, f64::max);
    (best >= APART).then_some(best)
}

/// Words and numbers of what was said, each number with what its last digit stands for.
struct Reading {
    words: String,
    numbers: Vec<(f64, f64)>,
}

fn readings(said: &[String]) -> Vec<Reading> {
    said.iter().map(|said| read(said)).collect()
}

/// Takes the numbers out of a text; those that belong to a name stay.
fn read(said: &str) -> Reading {
    let mut reading = Reading {
        words: String::new(),
        numbers: Vec::new(),
    };
    for word in said.split(' ') {
        let bare = word.trim_matches([',', ';', ':', '(', ')', '%']);
        match bare.parse::<f64>() {
            Ok(number) => {
                let decimals = bare.split_once('.').map_or(0, |(_, digits)| digits.len());
                let last = 10_f64.powi(-i32::try_from(decimals).expect("few"));
                reading.numbers.push((number, last));
                reading.words.push_str(" #");
            }
            Err(_) => {
                reading.words.push(' ');
                reading.words.push_str(word);
            }
        }
    }
    reading
}

/// Mean and scatter of a number over the cars: a digit or a hundredth of it at the least.
fn spread(cars: &[Reading], place: usize) -> (f64, f64) {
    let numbers = cars.iter().filter_map(|car| car.numbers.get(place));
    let (sum, count, last) = numbers
        .clone()
        .fold((0.0, 0.0, 0.0_f64), |(sum, count, most), (number, last)| {
            (sum + number, count + 1.0, most.max(*last))
        });
    let mean = sum / count;
    let square = numbers.map(|(number, _)| (number - mean).powi(2)).sum::<f64>() / (count - 1.0);
    (mean, square.sqrt().max(last).max(mean.abs() * 0.01))
}

#[test]
fn numbers_tell_by_their_scatter_and_words_by_themselves() {
    let look = Look::On("measure coil-1".to_owned());
    let three = |text: &str| vec![text.to_owned(); 3];
    let cars = |volts: [&str; 3]| volts.map(|volts| format!("sensor-2 {volts} V, fires")).to_vec();
    assert_eq!(apart(&look, &three("a 1.00 V"), &three("a 1.00 V")), None);
    assert_eq!(apart(&look, &three("open"), &three("shut")), Some(f64::INFINITY));
    let (near, far) = (cars(["1.0", "1.4", "1.2"]), cars(["5.0", "5.4", "5.2"]));
    assert!(apart(&look, &near, &far).is_some_and(|apart| (19.0..21.0).contains(&apart)));
    assert_eq!(apart(&look, &near, &cars(["1.5", "1.1", "1.3"])), None);
    let flutters = vec!["a".to_owned(), "b".to_owned(), "a".to_owned()];
    assert_eq!(apart(&look, &flutters, &three("c")), None);
}
