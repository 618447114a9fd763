//! A good tool and a bad one, told apart by what the judge says: each disturbance of the wire.

use std::{collections::BTreeSet, time::Duration};

use twotrip_dialogue::verdict::{self, Verdict};
use twotrip_scenario::disturbance::{Kind, Subject};

use crate::{
    parties::{Party, parties},
    world::{Bad, Good, REQUESTS, Tool, World},
};

/// How each is switched on for this, and whether it is one that loses nothing.
fn phrase(kind: Kind) -> Option<(&'static str, bool)> {
    Some(match kind {
        Kind::Drop => ("disturb drop 7E8 4 times", true),
        Kind::Delay => ("disturb delay 7E8 250 ms 2 times", true),
        Kind::Jitter => ("disturb jitter 7E8 900 ms 4 times", true),
        Kind::Duplicate => ("disturb duplicate 7E8 5 times", true),
        Kind::Reorder => ("disturb reorder 7E8 400 ms 2 times", true),
        Kind::BusError => ("disturb bus-error 7E8 40 times", true),
        Kind::ErrorPassive => ("disturb error-passive", false),
        Kind::BusOff => ("disturb bus-off 400 ms", true),
        Kind::BackgroundLoad => ("disturb background-load 40 %", false),
        Kind::InterfaceDown => ("disturb interface-down 1.2 s", true),
        _ => return None,
    })
}

fn verdict(party: &Party, kind: Kind, seed: u64, tool: &mut dyn Tool) -> (Verdict, String) {
    let (phrase, _) = phrase(kind).expect("a disturbance of the wire");
    let phrase = phrase.replace("7E8", &party.address.response.to_string());
    let mut world = party.world(seed);
    world.tell(&phrase);
    world.run(tool, Duration::from_secs(30));
    let finding = world.finding();
    (
        finding.verdict,
        format!("{}: {phrase}: {}", party.name, finding.seen),
    )
}

#[test]
fn every_disturbance_of_the_wire_tells_a_good_tool_from_a_bad_one() {
    for &kind in Kind::ALL
        .iter()
        .filter(|kind| kind.row().subject == Subject::Wire)
    {
        let (_, loses) = phrase(kind).unwrap_or_else(|| panic!("{}: no test", kind.name()));
        for (place, party) in parties().iter().enumerate() {
            let requests = party.requests();
            // The first by several dice.
            for seed in 0..if place == 0 { 3 } else { 1 } {
                let mut good = party.good(&requests);
                let (found, seen) = verdict(party, kind, seed, &mut good);
                assert_eq!(found, Verdict::Held, "{seen}");
                let services: Vec<u8> = good.answers.iter().map(|answer| answer[0]).collect();
                let asked = requests.map(|request| request[0] + 0x40);
                assert_eq!(services, asked, "{seen}: all is read in the end");
            }
            let mut bad = Bad::of(party.address, &requests, loses);
            let (found, seen) = verdict(party, kind, 1, &mut bad);
            assert_eq!(found, Verdict::Failed, "{seen}");
        }
    }
}

#[test]
fn a_disturbance_that_meets_no_tool_is_not_tried() {
    for &kind in Kind::ALL {
        let mut world = World::new(1);
        world.tell(kind.row().example);
        world.run(&mut Good::new(&[]), Duration::from_secs(1));
        world.tell("disturb off");
        world.run(&mut Good::new(&REQUESTS), Duration::from_secs(9));
        assert_eq!(world.finding().verdict, Verdict::NotTried, "{}", kind.name());
    }
}

/// A row without a rule would have no verdict; a rule without a row is never used.
#[test]
fn every_row_has_a_rule_to_be_judged_by() {
    let rows: BTreeSet<&str> = Kind::ALL.iter().map(|kind| kind.name()).collect();
    let rules: BTreeSet<&str> = verdict::names().collect();
    assert_eq!(rows, rules);
}
