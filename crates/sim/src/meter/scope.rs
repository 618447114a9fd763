//! What a scope, a spark tester and 12 V put on a valve by hand tell beyond a meter's volts (common practice, no source,
//! but for the limit of an oxygen sensor's edge, which published service information gives).

use twotrip_harness::{Circuit, Output, WiringFault};
use twotrip_vehicle::Part;

use crate::Car;

/// What a good plug asks for, and what a good coil can give, kV.
const PLUG_KILOVOLTS: f64 = 11.0;
const COIL_KILOVOLTS: f64 = 34.0;
/// What a plug whose every firing fails asks for beyond that, and how little a coil whose every firing fails gives, kV.
const WORN_PLUG_KILOVOLTS: f64 = 14.0;
const WEAK_COIL_KILOVOLTS: f64 = 8.0;
/// Turn of the cam that is timed, degrees of crank.
const CAM_TURN: f64 = 20.0;
/// Oil pressure ahead of the strainer at warm idle, bar.
const OIL_BAR: f64 = 1.5;
/// Turns of the alternator for one of the crank.
const PULLEYS: f64 = 2.6;

/// An oxygen sensor after a burst of propane at its warm engine's intake.
pub(super) fn oxygen_edge(car: &Car, circuit: Circuit) -> Option<String> {
    let (bank, place) = circuit.oxygen()?;
    if car.ecu.control().calibration().wide_range && place == 0 {
        return None;
    }
    let edge = match car.vehicle.oxygen_sensor_edge(bank, place) {
        None => "no rise from 0.3 to 0.6 V".to_owned(),
        Some([late, rise]) => format!(
            "a rise from 0.3 to 0.6 V in {:.0} ms, {:.0} ms after the gas has come",
            rise.as_secs_f64() * 1e3,
            late.as_secs_f64() * 1e3
        ),
    };
    let good = if place == 0 { 90 } else { 300 };
    Some(format!(
        "warm, with a burst of propane, a scope shows {edge}; good: less than {good} ms, and at once"
    ))
}

/// A coil and its plug, cranked.
pub(super) fn spark(car: &Car, output: Output) -> Option<String> {
    let cylinder = u8::try_from(output.coil()? + 1).ok()?;
    let wired = matches!(
        car.harness.shows(output),
        None | Some(WiringFault::Bias(_) | WiringFault::PulledDown(_))
    );
    let resists = match car.harness.shows(output) {
        Some(WiringFault::Resistance(_)) => car.harness.sparks_lost().get(output.coil()?).copied(),
        _ => None,
    };
    let (mut asked, mut given) = (PLUG_KILOVOLTS, COIL_KILOVOLTS);
    let mut alive = wired || resists.is_some_and(|lost| lost < 1.0);
    given -= resists.unwrap_or(0.0) * (COIL_KILOVOLTS - WEAK_COIL_KILOVOLTS);
    for defect in car.vehicle.defects() {
        let part = defect.part();
        let of_it = part.cylinder() == Some(cylinder);
        let share = 0.01 * defect.amount();
        match defect.entry().kind {
            "worn" if part == Part::SparkPlugs || of_it => asked += WORN_PLUG_KILOVOLTS * (0.3 + 0.7 * share),
            "weak" if of_it => given -= (COIL_KILOVOLTS - WEAK_COIL_KILOVOLTS) * (0.3 + 0.7 * share),
            "open" if of_it => alive = false,
            _ => {}
        }
    }
    let found = if alive {
        format!("cranked, its plug fires at {asked:.0} kV, and a spark tester gets {given:.0} kV out of it")
    } else {
        "cranked, neither plug nor spark tester fires".to_owned()
    };
    Some(format!("{found}; good: 8 to 14 kV, and over 30 kV"))
}

/// The cam of an oil control valve with 12 V on it, and the oil that comes to it.
pub(super) fn cam(car: &Car, output: Output) -> Option<String> {
    let bank = match output {
        Output::CamValve => 0,
        Output::CamValve2 => 1,
        _ => return None,
    };
    let rate = car.vehicle.cam_turns_by_hand(bank);
    let turns = if rate < 0.5 {
        "the cam does not turn".to_owned()
    } else {
        format!("the cam turns by {CAM_TURN:.0} deg in {:.2} s", CAM_TURN / rate)
    };
    let bar = OIL_BAR * car.vehicle.oil_behind_strainer(bank);
    Some(format!(
        "at idle, with 12 V on the valve by hand, {turns}, and a gauge at its port shows {bar:.1} bar; good: 0.3 s at \
         the most in warm oil, and {OIL_BAR:.1} bar"
    ))
}

/// The alternator's pulley in the light of a strobe.
pub(super) fn pulley(car: &Car) -> String {
    let belt = car
        .vehicle
        .defects()
        .find(|defect| defect.part() == Part::DriveBelt);
    // A belt that slips turns it as much slower as the alternator gives less.
    let share = belt.map_or(1.0, |defect| 0.01 * defect.amount());
    format!(
        "a strobe shows its pulley at {:.1} times the speed of the crank; good: {PULLEYS:.1}",
        PULLEYS * share
    )
}
