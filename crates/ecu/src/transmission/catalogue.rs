//! Monitors and codes of the transmission ECU as data; meanings after SAE J2012, in our own words.
//!
//! All are of the comprehensive components: circuits and messages watched all the time, rationality and response once a
//! driving cycle. Two driving cycles confirm; one does where the default mode is entered for the rest of the driving
//! cycle by what a circuit shows (1968.2(d)(2.2.3)). A default mode by inference, as from a ratio, is tried anew after each
//! key-off and waits for the second driving cycle (the same paragraph, (A), from memory).

use twotrip_obd::{Dtc, Group};

use crate::memory::{Catalogue, CodeDefinition, Logic, MonitorDefinition, MonitorId};

/// Makes the monitors' numbers, each its place in the list, and the list.
macro_rules! monitors {
    ($($name:ident = $text:literal, $continuous:literal, $disabled_by:expr;)*) => {
        #[allow(non_camel_case_types, clippy::upper_case_acronyms, reason = "the places of constants")]
        #[repr(u8)]
        enum Place { $($name,)* }

        $(pub(super) const $name: MonitorId = MonitorId(Place::$name as u8);)*

        const MONITORS: &[MonitorDefinition] = &[$(MonitorDefinition {
            minimum_ratio: !$continuous,
            continuous: $continuous,
            disabled_by: $disabled_by,
            ..MonitorDefinition::named($text, Group::Components)
        },)*];
    };
}

/// What leaves no ratio of two speeds to judge, or another gear than the commanded one.
const SPEEDS: &[Dtc] = &[P0715, P0717, P0720, P0722, P0753, P0758, P0763, U0100];
/// What leaves the slip of the converter unknown, or its clutch without a command.
const CONVERTER: &[Dtc] = &[
    P0715, P0717, P0720, P0722, P0743, P0753, P0758, P0763, U0100, P0712, P0713,
];

monitors! {
    TURBINE_CIRCUIT = "turbine speed circuit", true, &[];
    TURBINE_SPEED = "turbine speed", true, &[P0715, P0720, P0722];
    OUTPUT_CIRCUIT = "output speed circuit", true, &[];
    OUTPUT_SPEED = "output speed", true, &[P0715, P0717, P0720];
    GEAR_RATIO = "gear ratio", false, SPEEDS;
    SHIFT_VALVES = "shift valves", false, SPEEDS;
    CONVERTER_CLUTCH = "converter clutch", false, CONVERTER;
    SOLENOID_CIRCUITS = "solenoid circuits", true, &[];
    FLUID_CIRCUIT = "fluid temperature circuit", true, &[];
    FLUID_TEMPERATURE = "fluid temperature", false, &[P0712, P0713, U0100];
    ENGINE_MESSAGES = "messages of the engine", true, &[];
}

/// Makes constants of the codes, and the list of them.
macro_rules! codes {
    ($($name:ident $number:literal, $monitor:ident, $logic:ident, $text:literal;)*) => {
        $(
            #[doc = $text]
            pub(super) const $name: Dtc = Dtc::p($number);
        )*

        const CODES: &[CodeDefinition] = &[
            $(CodeDefinition {
                logic: Logic::$logic,
                ..CodeDefinition::standard($name, $monitor, $text)
            },)*
            CodeDefinition::standard(U0100, ENGINE_MESSAGES, "lost communication with the engine ECU"),
        ];
    };
}

/// Lost communication with the engine ECU.
pub(super) const U0100: Dtc = Dtc::from_bytes([0xC1, 0x00]);

codes! {
    P0711 0x0711, FLUID_TEMPERATURE, Standard, "transmission fluid temperature sensor A implausible";
    P0712 0x0712, FLUID_CIRCUIT, Standard, "transmission fluid temperature sensor A: circuit low";
    P0713 0x0713, FLUID_CIRCUIT, Standard, "transmission fluid temperature sensor A: circuit high";
    P0715 0x0715, TURBINE_CIRCUIT, Standard, "turbine speed sensor A: circuit";
    P0717 0x0717, TURBINE_SPEED, Standard, "turbine speed sensor A: no signal";
    P0720 0x0720, OUTPUT_CIRCUIT, OneCycle, "output speed sensor: circuit";
    P0722 0x0722, OUTPUT_SPEED, Standard, "output speed sensor: no signal";
    P0729 0x0729, GEAR_RATIO, Standard, "gear 6: wrong ratio";
    P0730 0x0730, GEAR_RATIO, Standard, "wrong gear ratio";
    P0731 0x0731, GEAR_RATIO, Standard, "gear 1: wrong ratio";
    P0732 0x0732, GEAR_RATIO, Standard, "gear 2: wrong ratio";
    P0733 0x0733, GEAR_RATIO, Standard, "gear 3: wrong ratio";
    P0734 0x0734, GEAR_RATIO, Standard, "gear 4: wrong ratio";
    P0735 0x0735, GEAR_RATIO, Standard, "gear 5: wrong ratio";
    P0741 0x0741, CONVERTER_CLUTCH, Standard, "torque converter clutch: stuck off or slips";
    P0742 0x0742, CONVERTER_CLUTCH, Standard, "torque converter clutch: stuck on";
    P0743 0x0743, SOLENOID_CIRCUITS, Standard, "torque converter clutch: circuit";
    P0751 0x0751, SHIFT_VALVES, Standard, "shift solenoid A: stuck off";
    P0752 0x0752, SHIFT_VALVES, Standard, "shift solenoid A: stuck on";
    P0753 0x0753, SOLENOID_CIRCUITS, OneCycle, "shift solenoid A: circuit";
    P0756 0x0756, SHIFT_VALVES, Standard, "shift solenoid B: stuck off";
    P0757 0x0757, SHIFT_VALVES, Standard, "shift solenoid B: stuck on";
    P0758 0x0758, SOLENOID_CIRCUITS, OneCycle, "shift solenoid B: circuit";
    P0761 0x0761, SHIFT_VALVES, Standard, "shift solenoid C: stuck off";
    P0762 0x0762, SHIFT_VALVES, Standard, "shift solenoid C: stuck on";
    P0763 0x0763, SOLENOID_CIRCUITS, OneCycle, "shift solenoid C: circuit";
}

/// Monitors and codes of the transmission ECU.
pub static CATALOGUE: Catalogue = Catalogue {
    monitors: MONITORS,
    codes: CODES,
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_stands_once_and_means_what_the_standard_says() {
        for code in CODES {
            let same = CODES.iter().filter(|other| other.dtc == code.dtc);
            assert_eq!(same.count(), 1, "{}", code.dtc);
            assert!(
                twotrip_obd::code_text(code.dtc).is_some(),
                "{} has no text",
                code.dtc
            );
        }
        for monitor in MONITORS {
            for dtc in monitor.disabled_by {
                assert!(CATALOGUE.code(*dtc).is_some(), "{dtc}");
            }
        }
    }
}
