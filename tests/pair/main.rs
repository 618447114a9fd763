//! Two ends of a transport on one bus: the conformance cases of ISO 15765-2 and ISO 15765-4 in memory, any payload in
//! both directions, any frames at all.
//!
//! - [`memory`]: the arm that plays the cases of `tests/support` on the in-memory bus against a small ECU.
//! - [`payloads`]: two channels against each other; [`world`]: channels and a bus under one clock.
//! - [`noise`]: whatever a peer sends; [`disturbed`]: what a line with delay, loss and bus errors makes of a transfer.
#![expect(unreachable_pub, reason = "a test binary has no callers outside")]

mod disturbed;
mod memory;
mod noise;
mod payloads;
mod world;

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
    let played: std::collections::BTreeSet<u8> = cases::all().map(|case| case.number).collect();
    assert_eq!(played, (1..=66).collect());
}
