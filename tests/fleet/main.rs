//! What can only be said of many cars: that no monitor accuses a healthy one ([`healthy`]), how large a defect has to be to be
//! found ([`sweep`]), what tells two faults of one code apart ([`pairs`],
//! [`wires`]).

mod ends;
mod healthy;
mod life;
mod pairs;
mod sweep;
mod table;
mod tally;
mod wires;

use std::{iter, time::Duration};

use twotrip_scenario::{Phrase, parse_phrase};
use twotrip_sim::{Event, Outcome, Simulator};

/// Lives through phrases; what came of each.
pub(crate) fn live(car: &mut Simulator, phrases: &[impl AsRef<str>]) -> Vec<(Phrase, Outcome)> {
    for phrase in phrases.iter().map(AsRef::as_ref) {
        car.tell(parse_phrase(phrase).unwrap_or_else(|problem| panic!("{phrase}: {problem}")));
    }
    let mut came = Vec::new();
    while car.is_busy() {
        car.work(Duration::from_secs(3600));
        let events = iter::from_fn(|| car.poll_event());
        came.extend(events.filter_map(|event| match event {
            Event::Finished { phrase, outcome, .. } => Some((phrase, outcome)),
            _ => None,
        }));
    }
    came
}

/// What a phrase that only asks says of a car, and the details.
pub(crate) fn ask(car: &Simulator, phrase: &str) -> Outcome {
    live(&mut car.clone(), &[phrase]).remove(0).1
}

/// Pending and confirmed codes, of all ECUs.
pub(crate) fn stored(car: &Simulator) -> Vec<String> {
    let car = car.car();
    let transmission = car.transmission().map(|transmission| transmission.memory());
    iter::once(car.ecu().memory())
        .chain(transmission)
        .flat_map(|memory| memory.pending().chain(memory.confirmed()))
        .map(|code| code.to_string())
        .collect()
}

/// Splits work over two threads, in order.
pub(crate) fn side_by_side<T: Send, R: Send>(items: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R> {
    let (one, other): (Vec<_>, Vec<_>) = items
        .into_iter()
        .enumerate()
        .partition(|(place, _)| place % 2 == 0);
    let mut done: Vec<(usize, R)> = std::thread::scope(|scope| {
        let work = &work;
        let run = move |items: Vec<(usize, T)>| -> Vec<(usize, R)> {
            items
                .into_iter()
                .map(|(place, item)| (place, work(item)))
                .collect()
        };
        let other = scope.spawn(move || run(other));
        let mut done = run(one);
        done.extend(other.join().expect("the other half is done"));
        done
    });
    done.sort_by_key(|(place, _)| *place);
    done.into_iter().map(|(_, result)| result).collect()
}
