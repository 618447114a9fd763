//! Two ends of a transport on one bus: the conformance cases of ISO 15765-2 and ISO 15765-4 as data, and any
//! payload in both directions.
//!
//! - [`cases`]: the cases, each with its number and source; [`run`]: the one body that plays them.
//! - [`memory`]: the arm that plays them on the in-memory bus against a small ECU.
//! - [`payloads`]: two channels against each other; [`world`]: channels and a bus under one clock.
#![expect(unreachable_pub, reason = "a test binary has no callers outside")]

mod cases;
mod memory;
mod notation;
mod payloads;
mod run;
mod world;

/// Every case holds on the in-memory bus.
#[test]
fn conformance_cases_hold_in_memory() {
    let failures: Vec<String> = cases::all()
        .filter_map(|case| run::play(case, &mut memory::Arm::new(&case.setup)).err())
        .collect();
    assert!(failures.is_empty(), "{}", failures.join("\n\n"));
}

/// The list is what it says: every case that one ECU or several in one process can show.
#[test]
fn every_listed_case_is_played() {
    let played: std::collections::BTreeSet<u8> = cases::all().map(|case| case.number).collect();
    // 59 (full queue) is a matter of the caller and stands beside the channel's code; 63 (interface down) needs
    // an interface.
    let expected = (1..=66).filter(|number| ![59, 63].contains(number)).collect();
    assert_eq!(played, expected);
}
