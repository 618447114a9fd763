//! The control module's own faults: found at key-on and by questions, with what they do to the car, and what helps.

use twotrip_sim::Timing;

use crate::desk::Desk;

const DRIVE: &[&str] = &["drive idle 10 s, 50 km/h for 60 s, stop"];

/// Confirmed, pending and permanent codes, and the lamp.
fn codes(desk: &mut Desk) -> ([Vec<u16>; 3], bool) {
    let lists = [0x03, 0x07, 0x0A].map(|service| desk.codes(service));
    (lists, desk.pid(0x01)[0] & 0x80 != 0)
}

/// Calibration verification number.
fn number(desk: &mut Desk) -> Vec<u8> {
    desk.ask(&[0x09, 0x06]).expect("it answers")
}

/// A module that cannot trust itself: the lamp in the first driving cycle (13 CCR 1968.2(d)(2.2.3), from memory), the throttle at
/// rest, and a verification number that tells where a memory is torn. The wrong work changes nothing.
#[test]
fn a_module_that_cannot_trust_itself_lights_the_lamp_at_once_and_limps_home() {
    for (defect, code, changes_the_number, wrong, right) in [
        (
            "memory-corrupted",
            0x0601,
            true,
            "replace battery",
            "reprogram engine-controller",
        ),
        (
            "program-corrupted",
            0x0605,
            true,
            "reconnect keep-alive-supply",
            "replace engine-controller",
        ),
        (
            "ram-failing",
            0x0604,
            false,
            "reprogram engine-controller",
            "replace engine-controller",
        ),
        (
            "processor-failing",
            0x0606,
            false,
            "reprogram engine-controller",
            "replace engine-controller",
        ),
    ] {
        let mut desk = Desk::new(3, Timing::FAST);
        desk.tell(&["ambient 20 C", "soak 9 h"]);
        desk.tell(DRIVE);
        let sound = number(&mut desk);
        assert_eq!(codes(&mut desk), ([vec![], vec![], vec![]], false), "{defect}");
        desk.tell(&[
            "key off",
            &format!("defect engine-controller {defect}"),
            "soak 9 h",
        ]);
        desk.tell(DRIVE);
        let lit = ([vec![code], vec![code], vec![code]], true);
        assert_eq!(codes(&mut desk), lit, "{defect}: the first driving cycle");
        let limps = |desk: &Desk| desk.car.car().ecu().signals().limp_home;
        assert!(limps(&desk), "{defect}");
        assert_eq!(number(&mut desk) != sound, changes_the_number, "{defect}");

        desk.tell(&["key off", wrong, "key on"]);
        assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
        desk.tell(&["soak 9 h"]);
        desk.tell(DRIVE);
        assert_eq!(codes(&mut desk).0[0], [code], "{defect}: {wrong}");

        let refused = desk.outcomes(&["start", right]).remove(1);
        assert!(!refused.ok, "{}", refused.text);
        desk.tell(&["key off", right, "soak 9 h"]);
        desk.tell(DRIVE);
        assert_eq!(
            codes(&mut desk),
            ([vec![], vec![], vec![]], false),
            "{defect}: {right}"
        );
        assert!(!limps(&desk), "{defect}: {right}");
        assert_eq!(number(&mut desk), sound, "{defect}: {right}");
        let performance = desk.in_use();
        assert_eq!(
            performance[1], 1,
            "{defect}: counters begin anew (1968.2(d)(5.2), from memory)"
        );
    }
}

/// The permanent supply is interrupted: each night takes what was learned and which monitors have run; codes and counters
/// need no supply. Two driving cycles confirm; the wire mended, the car learns again.
#[test]
fn without_its_permanent_supply_the_module_forgets_overnight() {
    let mut desk = Desk::new(4, Timing::FAST);
    // A leak that there is something to learn of, and that is no fault yet.
    desk.tell(&[
        "ambient 20 C",
        "defect intake leak 1.2 mm2",
        "soak 9 h",
        "drive udds",
        "soak 9 h",
        "key on",
    ]);
    let learned = |desk: &mut Desk| f64::from(desk.pid(0x07)[0]) * 100.0 / 128.0 - 100.0;
    let complete = |desk: &mut Desk| desk.pid(0x01)[3] == 0;
    let before = learned(&mut desk);
    assert!(before > 4.0, "{before} % learned at idle");
    assert!(complete(&mut desk));
    let counters = desk.in_use();

    desk.tell(&["key off", "defect keep-alive-supply open", "soak 9 h", "key on"]);
    assert_eq!(desk.pid(0x07), [128], "forgotten: 0 %");
    assert!(!complete(&mut desk), "readiness is gone");
    assert_eq!(desk.in_use(), counters, "in-use counters need no supply");
    desk.tell(DRIVE);
    assert_eq!(
        codes(&mut desk),
        ([vec![], vec![0x0603], vec![]], false),
        "the first trip"
    );
    desk.tell(&["key off", "replace battery", "soak 9 h"]);
    desk.tell(DRIVE);
    assert_eq!(
        codes(&mut desk),
        ([vec![0x0603], vec![0x0603], vec![0x0603]], true),
        "the second trip; a new battery does not mend a wire"
    );
    desk.tell(&["key off", "reconnect keep-alive-supply", "key on"]);
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    desk.tell(&[
        "soak 9 h",
        "drive udds",
        "soak 9 h",
        "drive idle 10 s, stop",
        "key off",
        "key on",
    ]);
    assert_eq!(codes(&mut desk).0[..2], [vec![], vec![]]);
    let again = learned(&mut desk);
    assert!((again - before).abs() < 2.5, "{again} % after {before} %");
    assert!(complete(&mut desk));
}

/// A wire that is broken and mended while the car stands has been broken all the same.
#[test]
fn a_supply_that_was_missing_while_the_car_stood_was_missing() {
    let mut desk = Desk::new(5, Timing::FAST);
    desk.tell(&["ambient 20 C", "soak 9 h"]);
    desk.tell(DRIVE);
    desk.tell(&[
        "key off",
        "soak 1 h",
        "defect keep-alive-supply open",
        "soak 1 h",
        "reconnect keep-alive-supply",
    ]);
    desk.tell(&["soak 1 h"]);
    desk.tell(DRIVE);
    assert_eq!(codes(&mut desk).0, [vec![], vec![0x0603], vec![]]);
    desk.tell(&["key off", "soak 9 h"]);
    desk.tell(DRIVE);
    desk.tell(&["key off", "key on"]);
    assert_eq!(
        codes(&mut desk).0,
        [vec![], vec![], vec![]],
        "gone with the next driving cycle"
    );
}
