//! Rows of evidence and what each programme makes of them.

extern crate std;
use super::*;
use crate::Group;
use std::{string::ToString, vec};

const CODE: Dtc = Dtc::p(0x0420);

/// A car with nothing against it, and these groups incomplete.
fn evidence(model_year: u16, incomplete: &[Group]) -> Evidence<'static> {
    let readiness = Group::ALL.into_iter().fold(Readiness::NONE, |readiness, group| {
        let fitted = !matches!(group, Group::HeatedCatalyst | Group::SecondaryAir);
        readiness.with(group, fitted, !fitted || !incomplete.contains(&group))
    });
    Evidence {
        model_year,
        readiness,
        mil_commanded: false,
        confirmed: &[],
        permanent: &[],
        warm_ups_since_clear: Some(200),
        distance_since_clear: Some(20_000),
        lamp_key_on: Some(LampSeen::Lit),
        lamp_running: Some(LampSeen::Dark),
    }
}

fn outcomes(evidence: &Evidence<'_>) -> [Outcome; 3] {
    Program::ALL.map(|program| inspect(program, evidence).unwrap().outcome())
}

use Outcome::{Fail, NotReady, Pass};

/// 2 to model year 2000 and 1 after it (guideline of the EPA, New York); California: any one to 1999, from 2000 on evap
/// alone.
#[test]
fn the_number_of_incomplete_monitors_depends_on_year_and_programme() {
    let rows: &[(u16, &[Group], [Outcome; 3])] = &[
        (2012, &[], [Pass, Pass, Pass]),
        (2012, &[Group::Evap], [Pass, Pass, Pass]),
        (2012, &[Group::Catalyst], [Pass, NotReady, Pass]),
        (
            2012,
            &[Group::Catalyst, Group::Evap],
            [NotReady, NotReady, NotReady],
        ),
        (2001, &[Group::Egr, Group::Evap], [NotReady, NotReady, NotReady]),
        (2000, &[Group::Egr, Group::Evap], [Pass, NotReady, Pass]),
        (2000, &[Group::Evap], [Pass, Pass, Pass]),
        (1999, &[Group::Egr], [Pass, Pass, Pass]),
        (1999, &[Group::Egr, Group::Evap], [Pass, NotReady, Pass]),
        (1996, &[Group::Egr, Group::Evap, Group::Catalyst], [NotReady; 3]),
    ];
    for (year, incomplete, expected) in rows {
        assert_eq!(
            outcomes(&evidence(*year, incomplete)),
            *expected,
            "{year} {incomplete:?}"
        );
    }
}

/// The continuous groups are not counted in California; unsupported groups nowhere.
#[test]
fn groups_that_do_not_count() {
    let mut car = evidence(2019, &[Group::Misfire, Group::FuelSystem]);
    assert_eq!(outcomes(&car), [NotReady, Pass, NotReady]);
    car.readiness = Readiness::NONE.with(Group::Catalyst, false, false);
    assert_eq!(outcomes(&car), [Pass; 3]);
}

/// 40 CFR 85.2207(c), 16 CCR 3340.42.2(c)(3): a commanded MIL fails everywhere, and weighs more than readiness.
#[test]
fn a_commanded_mil_fails_everywhere() {
    let car = Evidence {
        mil_commanded: true,
        confirmed: &[CODE],
        ..evidence(2012, &[Group::Catalyst, Group::Egr])
    };
    assert_eq!(outcomes(&car), [Fail; 3]);
    let verdict = inspect(Program::Epa, &car).unwrap();
    assert_eq!(
        verdict.reasons,
        [
            Reason::MilCommanded,
            Reason::NotReady {
                groups: vec!["catalyst", "egr"],
                allowed: 1
            }
        ]
    );
    assert_eq!(
        verdict.reasons[1].to_string(),
        "monitors not complete: catalyst egr (at most 1 such)"
    );
}

/// A confirmed code with the MIL off: California fails "a DTC reported", the federal rule asks for the MIL.
#[test]
fn a_code_with_the_mil_off_fails_in_california_only() {
    let car = Evidence {
        confirmed: &[CODE],
        ..evidence(2012, &[])
    };
    assert_eq!(outcomes(&car), [Pass, Fail, Pass]);
    let verdict = inspect(Program::California, &car).unwrap();
    assert_eq!(verdict.reasons[0].to_string(), "confirmed codes: P0420");
}

/// California, model year 2010 and later, MIL on or off; disregarded after 15 warm-ups and 322 km since the clear with
/// the MIL off.
#[test]
fn a_permanent_code_fails_in_california_until_long_after_the_clear() {
    let with = |year, warm_ups, kilometres| Evidence {
        permanent: &[CODE],
        warm_ups_since_clear: warm_ups,
        distance_since_clear: kilometres,
        ..evidence(year, &[])
    };
    for (year, warm_ups, kilometres, expected) in [
        (2010, Some(14), Some(322), Fail),
        (2010, Some(15), Some(321), Fail),
        (2010, Some(15), Some(322), Pass),
        (2010, None, Some(322), Fail),
        (2010, Some(15), None, Fail),
        (2009, Some(0), Some(0), Pass),
    ] {
        let car = with(year, warm_ups, kilometres);
        assert_eq!(
            outcomes(&car),
            [Pass, expected, Pass],
            "{year} {warm_ups:?} {kilometres:?}"
        );
    }
    let lit = Evidence {
        mil_commanded: true,
        ..with(2010, Some(15), Some(322))
    };
    let verdict = inspect(Program::California, &lit).unwrap();
    assert!(verdict.reasons.contains(&Reason::Permanent(vec![CODE])));
    let ignored = inspect(Program::California, &with(2010, Some(15), Some(322))).unwrap();
    assert_eq!(ignored.remarks, [Remark::PermanentIgnored]);
}

/// 40 CFR 85.2207(b), 16 CCR 3340.42.2(c)(1) and (2): dark at key-on, lit or blinking with the engine running.
#[test]
fn the_lamp_is_judged_where_somebody_looked() {
    let look = |lamp_key_on, lamp_running| Evidence {
        lamp_key_on,
        lamp_running,
        ..evidence(2012, &[])
    };
    for (key_on, running, expected) in [
        (LampSeen::Lit, LampSeen::Dark, Pass),
        (LampSeen::Dark, LampSeen::Dark, Fail),
        (LampSeen::Lit, LampSeen::Lit, Fail),
        (LampSeen::Lit, LampSeen::Blinking, Fail),
    ] {
        let car = look(Some(key_on), Some(running));
        assert_eq!(outcomes(&car), [expected; 3], "{key_on:?} {running:?}");
    }
    let unseen = inspect(Program::Epa, &look(Some(LampSeen::Lit), None)).unwrap();
    assert_eq!(
        (unseen.outcome(), unseen.remarks.as_slice()),
        (Pass, &[Remark::LampNotSeen][..])
    );
}

/// New York: one extension for a car that lacks nothing but readiness.
#[test]
fn new_york_gives_an_extension_for_readiness_alone() {
    let not_ready = evidence(2012, &[Group::Catalyst, Group::Egr]);
    let remarks = |program, car: &Evidence<'_>| inspect(program, car).unwrap().remarks;
    assert_eq!(remarks(Program::NewYork, &not_ready), [Remark::Extension]);
    assert_eq!(remarks(Program::Epa, &not_ready), []);
    let faulty = Evidence {
        mil_commanded: true,
        ..not_ready
    };
    assert_eq!(remarks(Program::NewYork, &faulty), []);
}

#[test]
fn vehicles_without_a_rule_are_named() {
    let old = inspect(Program::Epa, &evidence(1995, &[]));
    assert_eq!(old, Err(NoRule::BeforeObd(1995)));
    let diesel = diesel(1997, 0);
    assert_eq!(
        inspect(Program::California, &diesel),
        Err(NoRule::DieselBeforeObd(1997))
    );
    assert!(inspect(Program::Epa, &diesel).is_ok());
}

/// A diesel with all groups, these bits of byte D incomplete.
fn diesel(model_year: u16, incomplete: u8) -> Evidence<'static> {
    Evidence {
        readiness: Readiness::from_bytes([0x0F, 0b1110_1011, incomplete]),
        ..evidence(model_year, &[])
    }
}

/// California: none to model year 2006, then particulate filter and NMHC catalyst alone; elsewhere by number.
#[test]
fn diesels_have_rows_of_their_own() {
    const NMHC: u8 = 1;
    const BOOST: u8 = 1 << 3;
    const FILTER: u8 = 1 << 6;
    for (year, incomplete, expected) in [
        (2006, 0, [Pass; 3]),
        (2006, FILTER, [Pass, NotReady, Pass]),
        (2007, FILTER | NMHC, [NotReady, Pass, NotReady]),
        (2007, FILTER, [Pass; 3]),
        (2007, BOOST, [Pass, NotReady, Pass]),
    ] {
        assert_eq!(
            outcomes(&diesel(year, incomplete)),
            expected,
            "{year} {incomplete:#b}"
        );
    }
}
