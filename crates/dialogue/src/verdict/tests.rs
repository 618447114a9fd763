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

const CLEAR: Does = Passes(0x7DF, &[1, 0x04]);
const BUSY: Does = Passes(0x7E8, &[3, 0x7F, 0x03, 0x21]);
const PENDING: Does = Passes(0x7E8, &[3, 0x7F, 0x03, 0x78]);
const SHORTER: Does = Passes(0x7E8, &[2, 0x43, 0]);
const REFUSED: Does = Passes(0x7E8, &[3, 0x7F, 0x04, 0x22]);
const LONG_FIRST: Does = Passes(0x7E0, &[0x10, 9, 5, 1, 2, 3, 4, 5]);
const LONG_REST: Does = Passes(0x7E0, &[0x21, 6, 7, 8]);
const WAIT: Does = Passes(0x7E8, &[0x31, 0, 0]);
const GO: Does = Passes(0x7E8, &[0x30, 0, 0xF0]);

/// What happens, and what is said of it.
type Case = (&'static str, &'static str, &'static [(u64, Does)], Verdict);

#[test]
fn ecus_that_misbehave_tell_good_tools_from_others() {
    use Verdict::{Failed, Held, NotTried};
    let rows: &[Case] = &[
        (
            "busy",
            "repeated in time",
            &[(0, ASK), (5, Hits(0x7E8)), (5, BUSY), (206, ASK), (210, ANSWER)],
            Held,
        ),
        (
            "busy",
            "repeated too soon",
            &[(0, ASK), (5, Hits(0x7E8)), (5, BUSY), (60, ASK), (65, ANSWER)],
            Failed,
        ),
        (
            "busy",
            "never repeated",
            &[(0, ASK), (5, Hits(0x7E8)), (5, BUSY)],
            Failed,
        ),
        ("busy", "nobody was busy", &[(0, ASK), (5, ANSWER)], NotTried),
        (
            "busy",
            "repeated for ever",
            &[
                (0, ASK),
                (5, BUSY),
                (300, ASK),
                (305, BUSY),
                (600, ASK),
                (605, BUSY),
                (900, ASK),
                (905, BUSY),
                (1200, ASK),
                (1205, BUSY),
                (1500, ASK),
                (1505, BUSY),
                (1800, ASK),
                (1805, BUSY),
                (2100, ASK),
                (2105, BUSY),
            ],
            Failed,
        ),
        (
            "response-pending",
            "waited for",
            &[(0, ASK), (5, PENDING), (4000, PENDING), (8000, ANSWER)],
            Held,
        ),
        (
            "response-pending",
            "asked again",
            &[(0, ASK), (5, PENDING), (1000, ASK)],
            Failed,
        ),
        (
            "response-pending",
            "given up after P2*",
            &[(0, ASK), (5, PENDING), (5100, ASK), (5105, ANSWER)],
            Held,
        ),
        (
            "pending-forever",
            "given up by a limit of its own",
            &[(0, ASK), (5, PENDING), (4005, PENDING), (6000, OTHER)],
            Held,
        ),
        (
            "pending-forever",
            "at once",
            &[(0, ASK), (5, PENDING), (500, OTHER)],
            Failed,
        ),
        (
            "code-left-out",
            "read again",
            &[
                (0, ASK),
                (5, Hits(0x7E8)),
                (5, SHORTER),
                (100, ASK),
                (105, ANSWER),
            ],
            Held,
        ),
        (
            "code-left-out",
            "read once",
            &[(0, ASK), (5, Hits(0x7E8)), (5, SHORTER), (100, OTHER)],
            Failed,
        ),
        (
            "refuse-clear",
            "taken",
            &[(0, CLEAR), (5, REFUSED), (900, ASK), (905, ANSWER)],
            Held,
        ),
        (
            "refuse-clear",
            "repeated at once",
            &[(0, CLEAR), (5, REFUSED), (60, CLEAR)],
            Failed,
        ),
        (
            "flow-wait",
            "waited for",
            &[
                (0, LONG_FIRST),
                (1, Hits(0x7E8)),
                (1, WAIT),
                (50, GO),
                (51, LONG_REST),
            ],
            Held,
        ),
        (
            "flow-wait",
            "sent on",
            &[(0, LONG_FIRST), (1, Hits(0x7E8)), (1, WAIT), (2, LONG_REST)],
            Failed,
        ),
        (
            "no-flow-control",
            "given up",
            &[(0, LONG_FIRST), (1, Hits(0x7E8))],
            Held,
        ),
        (
            "mask-lies",
            "over and over",
            &[
                (0, ASK),
                (1, Hits(0x7E8)),
                (100, ASK),
                (200, ASK),
                (300, ASK),
                (400, ASK),
                (500, ASK),
                (600, ASK),
                (700, ASK),
            ],
            Failed,
        ),
        (
            "mask-lies",
            "a few times",
            &[(0, ASK), (1, Hits(0x7E8)), (100, ASK), (200, OTHER)],
            Held,
        ),
        (
            "second-tester",
            "goes on",
            &[(0, Hits(0x7DF)), (0, OTHER), (1, ASK), (5, ANSWER)],
            Held,
        ),
        (
            "second-tester",
            "only the other asks",
            &[(0, Hits(0x7DF)), (0, OTHER)],
            NotTried,
        ),
    ];
    for (name, case, happens, expected) in rows {
        let (verdict, seen) = finding(name, happens, 20_000);
        assert_eq!(verdict, *expected, "{name}, {case}: {seen}");
    }
}
