//! Tools that are good and tools that are not, as frames: each row is what passed, and what is said of it at the end.

use alloc::vec::Vec;

use twotrip_can::{CanId, Frame};
use twotrip_units::BusInstant;

use super::{Hit, Judge, Verdict, rules};

/// What happens, at a millisecond.
#[derive(Clone, Copy)]
enum Does {
    /// A frame passes.
    Frame(u16, &'static [u8]),
    /// The disturbance hits a frame with this identifier.
    Hits(u16),
    Ends,
}
/// What happens, each at its millisecond.
type Story = [(u64, Does)];

use Does::{Ends, Frame as Passes, Hits};

fn finding(name: &str, happens: &Story, end: u64) -> (Verdict, alloc::string::String) {
    let mut judge = Judge::new();
    judge.begin(1, name);
    for &(millis, does) in happens {
        let at = BusInstant::from_millis(millis);
        match does {
            Passes(id, data) => judge.on_frame(at, &Frame::padded(CanId::Standard(id), data, 0)),
            Hits(id) => judge.hit(Hit {
                number: 1,
                at,
                id: Some(CanId::Standard(id)),
            }),
            Ends => judge.end(1, at),
        }
    }
    let findings = judge.findings(BusInstant::from_millis(end));
    assert_eq!(findings.len(), 1, "{name}");
    let (number, found) = findings.into_iter().next().expect("one");
    assert_eq!(number, 1);
    assert!(!found.source.is_empty());
    (found.verdict, found.seen)
}

const ASK: Does = Passes(0x7DF, &[1, 0x03]);
const OTHER: Does = Passes(0x7DF, &[1, 0x07]);
const ANSWER: Does = Passes(0x7E8, &[4, 0x43, 1, 0x04, 0x55]);
const FIRST: Does = Passes(0x7E8, &[0x10, 10, 0x43, 4, 1, 1, 1, 2]);
const FLOW: Does = Passes(0x7E0, &[0x30, 0, 0]);
const REST: Does = Passes(0x7E8, &[0x21, 1, 3, 1, 4]);

#[test]
fn who_loses_an_answer_asks_again() {
    use Verdict::{Failed, Held, NotTried};
    let rows: &[(&str, &Story, u64, Verdict)] = &[
        ("nothing was asked", &[], 9000, NotTried),
        ("nothing was hit", &[(0, ASK), (5, ANSWER)], 9000, NotTried),
        ("it may still ask", &[(0, ASK), (5, Hits(0x7E8))], 900, NotTried),
        ("never again", &[(0, ASK), (5, Hits(0x7E8))], 9000, Failed),
        (
            "something else instead",
            &[
                (0, ASK),
                (5, Hits(0x7E8)),
                (200, OTHER),
                (205, Passes(0x7E8, &[2, 0x47, 0])),
            ],
            9000,
            Failed,
        ),
        (
            "again, and answered",
            &[(0, ASK), (5, Hits(0x7E8)), (200, ASK), (205, ANSWER)],
            9000,
            Held,
        ),
        (
            "again, in vain",
            &[(0, ASK), (5, Hits(0x7E8)), (200, ASK), (205, Hits(0x7E8))],
            9000,
            Held,
        ),
        (
            "the question was lost",
            &[(0, ASK), (0, Hits(0x7DF)), (200, ASK), (205, ANSWER)],
            9000,
            Held,
        ),
        (
            "the question was lost, and nobody cared",
            &[(0, ASK), (0, Hits(0x7DF))],
            9000,
            Failed,
        ),
        (
            "late, but awaited",
            &[(0, ASK), (5, Hits(0x7E8)), (80, ANSWER)],
            9000,
            Held,
        ),
        (
            "too late: the next question was asked",
            &[(0, ASK), (5, Hits(0x7E8)), (60, OTHER), (80, ANSWER)],
            9000,
            Failed,
        ),
        (
            "a long one breaks off, and the tool goes on",
            &[(0, ASK), (5, FIRST), (6, FLOW), (7, Hits(0x7E8)), (300, OTHER)],
            9000,
            Failed,
        ),
        (
            "a long one breaks off, and is asked for again",
            &[
                (0, ASK),
                (5, FIRST),
                (6, FLOW),
                (7, Hits(0x7E8)),
                (300, ASK),
                (305, FIRST),
                (306, FLOW),
                (307, REST),
            ],
            9000,
            Held,
        ),
        (
            "one frame too many after the answer",
            &[(0, ASK), (5, ANSWER), (5, Hits(0x7E8)), (6, ANSWER)],
            9000,
            NotTried,
        ),
        (
            "frames of others",
            &[(0, ASK), (5, ANSWER), (6, Hits(0x123))],
            9000,
            NotTried,
        ),
    ];
    for (case, happens, end, expected) in rows {
        let (verdict, seen) = finding("drop", happens, *end);
        assert_eq!(verdict, *expected, "{case}: {seen}");
    }
}

#[test]
fn where_nothing_is_lost_a_tool_goes_on() {
    use Verdict::{Failed, Held, NotTried};
    let rows: &[(&str, &Story, Verdict)] = &[
        ("nothing was asked", &[], NotTried),
        ("asked after it", &[(0, Ends), (1, ASK), (5, ANSWER)], NotTried),
        ("asked and answered", &[(1, ASK), (5, ANSWER)], Held),
        (
            "a long answer",
            &[(1, ASK), (5, FIRST), (6, FLOW), (7, REST)],
            Held,
        ),
        (
            "a long answer without flow control",
            &[
                (1, ASK),
                (5, FIRST),
                (300, OTHER),
                (305, Passes(0x7E8, &[2, 0x47, 0])),
            ],
            Failed,
        ),
    ];
    for (case, happens, expected) in rows {
        let (verdict, seen) = finding("background-load", happens, 9000);
        assert_eq!(verdict, *expected, "{case}: {seen}");
    }
}

#[test]
fn what_asks_for_a_part_of_it_asks_again() {
    let again = [
        (0, Passes(0x7E0, &[4, 0x01, 0x0C, 0x0D, 0x05])),
        (5, Hits(0x7E8)),
        (200, Passes(0x7E0, &[2, 0x01, 0x0D])),
        (205, Passes(0x7E8, &[3, 0x41, 0x0D, 0])),
    ];
    assert_eq!(finding("drop", &again, 9000).0, Verdict::Held);
    let other = [
        (0, Passes(0x7E0, &[3, 0x02, 0x0C, 0])),
        (5, Hits(0x7E8)),
        (200, Passes(0x7E0, &[3, 0x02, 0x0D, 0])),
    ];
    assert_eq!(finding("drop", &other, 9000).0, Verdict::Failed);
}

#[test]
fn memory_is_bounded_whatever_comes() {
    let mut judge = Judge::new();
    for number in 0..10_000_u64 {
        judge.begin(number, "drop");
        let data = number.to_le_bytes();
        let at = BusInstant::from_millis(number);
        let ask = Frame::padded(
            CanId::Standard(0x7DF),
            &[5, 1, data[0], data[1], data[2], data[3]],
            0,
        );
        judge.on_frame(at, &ask);
        judge.hit(Hit {
            number: number % 7,
            at,
            id: Some(CanId::Standard(0x7E8)),
        });
    }
    let findings: Vec<_> = judge.findings(BusInstant::from_secs(100));
    assert_eq!(findings.len(), super::MOST);
    assert!(findings.iter().all(|(_, found)| !found.seen.is_empty()));
    judge.begin(1, "no such disturbance");
    assert!(rules::names().all(|name| rules::of(name).is_some()));
}
