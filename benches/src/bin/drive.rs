//! One drive, to be counted by `benches/instructions`: `drive DEFECTS PHRASE BEFORE...` lives PHRASE with so many small
//! defects, after the phrases BEFORE it, which are not counted.
//!
//! All that is to be counted happens in [`counted_drive`]; the seconds that were driven go to the standard output.

use std::process::ExitCode;

use twotrip_benches::{SMALL_DEFECTS, car, live};
use twotrip_sim::Simulator;

/// Its name is what the script looks for.
#[inline(never)]
fn counted_drive(car: &mut Simulator, phrase: &str) {
    live(car, &[phrase]);
}

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1);
    let defects = arguments.next().and_then(|count| count.parse().ok());
    let (Some(defects), Some(phrase)) = (
        defects.and_then(|count: usize| SMALL_DEFECTS.get(..count)),
        arguments.next(),
    ) else {
        eprintln!(
            "usage: drive DEFECTS PHRASE, with at most {} defects",
            SMALL_DEFECTS.len()
        );
        return ExitCode::FAILURE;
    };
    let mut car = car();
    live(&mut car, defects);
    for before in arguments {
        live(&mut car, &[&before]);
    }
    let parked = car.car().now();
    counted_drive(&mut car, &phrase);
    let driven = car.car().now().saturating_since(parked);
    println!("{}", driven.as_secs_f64());
    ExitCode::SUCCESS
}
