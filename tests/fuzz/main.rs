//! Whatever bytes come from a bus, a file, a person or a program: no panic, no loop without end, no memory beyond a bound.
//!
//! Each target takes bytes and makes of them what it is fed with; a seeded generator breaks good examples in many places at once,
//! and keeps those that got deeper than others of their kind as examples for the next. A number of inputs, not a time: the
//! same inputs on any machine. `TWOTRIP_FUZZ=50` takes fifty times as many (`sh tests/long fuzz`), from another seed each time
//! if `TWOTRIP_FUZZ_SEED` says so. The same targets are fed by a fuzzer that sees which code runs: `guided/`.

mod breaker;
mod capture;
mod control;
mod isotp;
mod obd;
mod scenario;
mod target;

use breaker::Breaker;
use target::Target;

fn run(mut target: Target) {
    let number = |name: &str, otherwise: u64| {
        std::env::var(name).map_or(otherwise, |text| text.parse().expect("a number"))
    };
    let inputs = target.inputs * usize::try_from(number("TWOTRIP_FUZZ", 1)).expect("small");
    let examples = core::mem::take(&mut target.examples);
    let mut breaker = Breaker::new(number("TWOTRIP_FUZZ_SEED", 1), target.longest, examples);
    let (mut fed, mut deepest) = (0, 0);
    while fed < inputs {
        let input = breaker.next();
        let depth = target.withstands(&input);
        breaker.note(input, depth);
        deepest = deepest.max(depth);
        fed += 1;
    }
    println!(
        "{}: {fed} inputs, {} examples, deepest {deepest}",
        target.name,
        breaker.examples()
    );
    assert!(deepest > 0, "nothing got anywhere");
}

#[test]
fn transport() {
    run(isotp::target());
}

#[test]
fn messages() {
    run(obd::target());
}

#[test]
fn scenarios_vehicles_and_phrases() {
    run(scenario::target());
}

#[test]
fn recordings() {
    run(capture::target());
}

#[test]
fn control_protocol() {
    run(control::target());
}
