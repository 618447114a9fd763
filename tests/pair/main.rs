//! Two ends of a transport on one bus: the conformance cases of ISO 15765-2 and ISO 15765-4 in memory, any payload in
//! both directions, any frames at all.
//!
//! - [`memory`]: the arm that plays the cases of `tests/support` on the in-memory bus against a small ECU.
//! - [`payloads`]: two channels against each other, [`can_fd`]: in longer frames; [`world`]: channels and a bus under one clock.
//! - [`conduct`]: the built-in tester under the judge.
//! - [`ecus`]: several ECUs of a whole car.
//! - [`noise`]: whatever a peer sends; [`deviation`]: what an end does that misbehaves;
//!   [`disturbed`]: what a line with delay, loss and bus errors makes of a transfer.
#![expect(unreachable_pub, reason = "a test binary has no callers outside")]

mod can_fd;
mod conduct;
mod deviation;
mod disturbed;
mod ecus;
mod memory;
mod noise;
mod payloads;
mod world;

use std::collections::BTreeSet;

use twotrip_tests::{cases, run};

/// Every case holds on the in-memory bus.
#[test]
fn conformance_cases_hold_in_memory() {
    let failures: Vec<String> = cases::all()
        .filter_map(|case| run::play(case, &mut memory::Arm::new(&case.setup)).err())
        .collect();
    assert!(failures.is_empty(), "{}", failures.join("\n\n"));
}

/// All 66 are there.
#[test]
fn every_case_is_played() {
    let played: BTreeSet<u8> = cases::all().map(|case| case.number).collect();
    assert_eq!(played, (1..=66).collect());
}

/// The row of README.md says which cases the program itself shows on a vcan: those that need no other ECU than it is.
#[test]
fn the_readme_tells_which_cases_the_program_shows() {
    let all: BTreeSet<u8> = cases::all().map(|case| case.number).collect();
    let program: BTreeSet<u8> = cases::all()
        .filter(|case| case.is_for_the_program() && case.only_in_memory().is_none())
        .map(|case| case.number)
        .collect();
    let others: Vec<String> = all.difference(&program).map(u8::to_string).collect();
    let row = format!(
        "| {} of {} on `twotrip run` and a vcan, all by its transport in memory | {} |",
        program.len(),
        all.len(),
        others.join(", ")
    );
    let readme = include_str!("../../README.md");
    assert!(
        readme.contains(&row),
        "README.md has no row that ends with\n{row}"
    );
}
