//! Gauges of the workshop: a vacuum gauge at the manifold, a pressure gauge before the front oxygen sensor.

use twotrip_sim::Timing;

use crate::desk::Desk;

/// The number behind these words.
fn kilopascals(said: &str, behind: &str) -> f64 {
    let rest = said
        .split_once(behind)
        .unwrap_or_else(|| panic!("{behind}: {said}"))
        .1;
    let number = rest.split_whitespace().next().unwrap_or_default();
    number.parse().unwrap_or_else(|_| panic!("{number}: {said}"))
}

#[test]
fn gauges_tell_a_restricted_exhaust_and_a_torn_hose() {
    for (defect, vacuum, back) in [
        (None, 58.0..66.0, 10.0..26.0),
        (Some("defect exhaust restricted 100 kPa"), 58.0..66.0, 80.0..180.0),
        (Some("defect crankcase-hose split 60 mm2"), 0.0..45.0, 10.0..26.0),
    ] {
        let mut desk = Desk::new(5, Timing::FAST);
        desk.tell(&["ambient 20 C", "drive 70 km/h for 10 min, stop"]);
        if let Some(defect) = defect {
            desk.tell(&[defect]);
        }
        let told = desk.outcomes(&[
            "drive full throttle to 120 km/h, stop",
            "drive idle 20 s",
            "measure manifold-vacuum",
            "measure back-pressure",
        ]);
        let [_, _, manifold, exhaust] = told.as_slice() else {
            panic!("four answers")
        };
        let shown = kilopascals(&manifold.text, "shows ");
        assert!(vacuum.contains(&shown), "{defect:?}: {}", manifold.text);
        let highest = kilopascals(&exhaust.text, "drag hand ");
        assert!(back.contains(&highest), "{defect:?}: {}", exhaust.text);
        assert!(
            kilopascals(&exhaust.text, "shows ") < 5.0,
            "at idle: {}",
            exhaust.text
        );
    }
}
