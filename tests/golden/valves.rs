//! Stuck valves by phrases: found in a cold drive, seen by whoever looks, cured by the part itself and by nothing else.

use twotrip_sim::Timing;

use crate::desk::Desk;

#[test]
fn a_stuck_valve_is_found_and_a_new_one_cures_it() {
    for (valve, other, fault, code, seen) in [
        (
            "purge-valve",
            "vent-valve",
            "stuck-shut",
            0x0441,
            "with current on it the purge valve",
        ),
        (
            "purge-valve",
            "vent-valve",
            "leaking",
            0x0496,
            "without current the purge valve",
        ),
        (
            "vent-valve",
            "purge-valve",
            "stuck-open",
            0x0455,
            "still lets air through",
        ),
        (
            "vent-valve",
            "purge-valve",
            "stuck-shut",
            0x0446,
            "without current the vent valve",
        ),
    ] {
        let mut desk = Desk::new(3, Timing::FAST);
        desk.tell(&[
            "ambient 18 C",
            &format!("defect {valve} {fault}"),
            "soak 9 h",
            "drive udds",
        ]);
        assert_eq!(desk.codes(0x07), [code], "{valve} {fault}");

        let looked = desk.outcomes(&[&format!("inspect {valve}"), &format!("inspect {other}")]);
        assert!(looked[0].text.contains(seen), "{looked:?}");
        assert!(looked[1].text.contains("it is good"), "{looked:?}");

        let worked = desk.outcomes(&[
            &format!("replace {other}"),
            &format!("clean {valve}"),
            &format!("tighten {valve}"),
            &format!("replace {valve}"),
        ]);
        let cured: Vec<bool> = worked
            .iter()
            .map(|outcome| outcome.text.contains("cured something"))
            .collect();
        assert_eq!(cured, [false, false, false, true], "{worked:?}");

        desk.tell(&["soak 9 h", "drive udds", "key off", "key on"]);
        let left = desk.codes(0x07);
        assert!(left.is_empty(), "{valve} {fault}: {left:04X?}");
    }
}
