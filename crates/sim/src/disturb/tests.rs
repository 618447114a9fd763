//! Counts, shares, numbers: what is on, how often it acts, and what is told of it.

use twotrip_scenario::{Phrase, parse_phrase};

use super::*;

fn disturbance(words: &str) -> Disturbance {
    match parse_phrase(&format!("disturb {words}")) {
        Ok(Phrase::Disturb(what)) => what,
        other => panic!("{words}: {other:?}"),
    }
}

const ENGINE: CanId = CanId::Standard(0x7E8);
const OTHER: CanId = CanId::Standard(0x7E9);

fn acts(disturbances: &mut Disturbances, id: CanId, times: usize) -> usize {
    (0..times)
        .filter(|_| disturbances.acts(BusInstant::ZERO, Kind::Drop, id).is_some())
        .count()
}

#[test]
fn it_acts_as_often_as_it_was_said() {
    for (words, times, least, most) in [
        ("drop", 1000, 1000, 1000),
        ("drop once", 1000, 1, 1),
        ("drop 7 times", 1000, 7, 7),
        ("drop 20 %", 10_000, 1_880, 2_120),
        ("drop 100 %", 1000, 1000, 1000),
        ("drop 7E8 3 times", 10, 3, 3),
        ("drop 7E9 3 times", 10, 0, 0),
        ("drop 18DAF110", 10, 0, 0),
        ("delay 30 ms", 10, 0, 0),
    ] {
        let mut disturbances = Disturbances::new(1);
        assert!(disturbances.start(disturbance(words)));
        let found = acts(&mut disturbances, ENGINE, times);
        assert!((least..=most).contains(&found), "{words}: {found}");
    }
}

#[test]
fn what_is_used_up_is_over_and_told() {
    let mut disturbances = Disturbances::new(1);
    disturbances.start(disturbance("drop 7E8 2 times"));
    assert_eq!(acts(&mut disturbances, ENGINE, 5), 2);
    assert!(!disturbances.is_on(Kind::Drop));
    let changes: Vec<_> = std::iter::from_fn(|| disturbances.poll_change())
        .map(|change| (change.number, change.begins, change.acted))
        .collect();
    assert_eq!(changes, [(1, true, 0), (1, false, 2)]);
    let traces: Vec<_> = std::iter::from_fn(|| disturbances.poll_trace()).collect();
    assert!(
        matches!(
            traces[..],
            [
                Trace::Begins { number: 1, .. },
                Trace::Hit { id: Some(ENGINE), .. },
                Trace::Hit { .. },
                Trace::Ends { number: 1, .. }
            ]
        ),
        "{traces:?}"
    );
}

#[test]
fn one_takes_the_place_of_another_of_its_kind_for_the_same_frames() {
    let mut disturbances = Disturbances::new(1);
    for words in ["drop 7E8", "drop 7E9", "drop 7E8 3 times", "delay 7E8 5 ms"] {
        disturbances.start(disturbance(words));
    }
    let numbers: Vec<u64> = disturbances.running().map(|(number, _)| number).collect();
    assert_eq!(numbers, [2, 3, 4]);
    assert_eq!(disturbances.stop(Some(Kind::Drop)), 2);
    assert_eq!(disturbances.stop(Some(Kind::Drop)), 0);
    assert_eq!(disturbances.stop(None), 1);
    assert_eq!(
        acts(&mut disturbances, ENGINE, 5) + acts(&mut disturbances, OTHER, 5),
        0
    );
}

#[test]
fn there_are_only_so_many() {
    let mut disturbances = Disturbances::new(1);
    for id in 0..1000 {
        let begun = disturbances.start(disturbance(&format!("drop {id:03X}")));
        assert_eq!(begun, id < MOST, "{id}");
    }
    for _ in 0..20_000 {
        disturbances.acts(BusInstant::ZERO, Kind::Drop, CanId::Standard(1));
        disturbances.start(disturbance("drop 001"));
    }
    assert_eq!(disturbances.traces.len(), TRACES);
}
