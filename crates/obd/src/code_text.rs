//! What trouble codes mean, in a few words of our own (meanings: SAE J2012-DA as restated in public lists).

use crate::Dtc;

/// Code bytes and meaning, rising. Only codes that the standard defines for all makers; makers' own have no row.
#[rustfmt::skip]
const TEXTS: &[(u16, &str)] = &[
    (0x000A, "intake camshaft A position slow response, bank 1"),
    (0x000C, "intake camshaft A position slow response, bank 2"),
    (0x0010, "intake camshaft position actuator A circuit, bank 1"),
    (0x0011, "intake camshaft A timing more advanced than commanded or sluggish, bank 1"),
    (0x0012, "intake camshaft A timing more retarded than commanded, bank 1"),
    (0x0013, "exhaust camshaft position actuator B circuit, bank 1"),
    (0x0014, "exhaust camshaft B timing more advanced than commanded or sluggish, bank 1"),
    (0x0016, "crankshaft to camshaft correlation wrong, bank 1 sensor A"),
    (0x0020, "intake camshaft position actuator A circuit, bank 2"),
    (0x0021, "intake camshaft A timing more advanced than commanded or sluggish, bank 2"),
    (0x0022, "intake camshaft A timing more retarded than commanded, bank 2"),
    (0x0030, "heated oxygen sensor heater control circuit, bank 1 sensor 1"),
    (0x0031, "oxygen sensor heater control circuit low, bank 1 sensor 1"),
    (0x0032, "oxygen sensor heater control circuit high, bank 1 sensor 1"),
    (0x0036, "heated oxygen sensor heater control circuit, bank 1 sensor 2"),
    (0x0037, "oxygen sensor heater control circuit low, bank 1 sensor 2"),
    (0x0038, "oxygen sensor heater control circuit high, bank 1 sensor 2"),
    (0x0053, "oxygen sensor heater resistance out of limits, bank 1 sensor 1"),
    (0x0068, "air flow or manifold pressure does not match throttle opening"),
    (0x0087, "fuel rail or system pressure too low"),
    (0x0088, "fuel rail or system pressure too high"),
    (0x0100, "mass or volume air flow sensor circuit"),
    (0x0101, "mass or volume air flow sensor implausible or out of range"),
    (0x0102, "mass or volume air flow sensor circuit low"),
    (0x0103, "mass or volume air flow sensor circuit high"),
    (0x0106, "manifold absolute pressure or barometric sensor implausible or out of range"),
    (0x0107, "manifold absolute pressure or barometric sensor circuit low"),
    (0x0108, "manifold absolute pressure or barometric sensor circuit high"),
    (0x0111, "intake air temperature sensor 1 implausible or out of range"),
    (0x0112, "intake air temperature sensor 1 circuit low"),
    (0x0113, "intake air temperature sensor 1 circuit high"),
    (0x0116, "engine coolant temperature sensor 1 implausible or out of range"),
    (0x0117, "engine coolant temperature sensor 1 circuit low"),
    (0x0118, "engine coolant temperature sensor 1 circuit high"),
    (0x0121, "throttle or pedal position sensor A implausible or out of range"),
    (0x0122, "throttle or pedal position sensor A circuit low"),
    (0x0123, "throttle or pedal position sensor A circuit high"),
    (0x0125, "coolant too cold for closed loop fuel control"),
    (0x0128, "coolant stays below the temperature at which the thermostat opens"),
    (0x0130, "oxygen sensor circuit, bank 1 sensor 1"),
    (0x0131, "oxygen sensor circuit low voltage, bank 1 sensor 1"),
    (0x0132, "oxygen sensor circuit high voltage, bank 1 sensor 1"),
    (0x0133, "oxygen sensor circuit slow response, bank 1 sensor 1"),
    (0x0134, "oxygen sensor circuit shows no activity, bank 1 sensor 1"),
    (0x0135, "oxygen sensor heater circuit, bank 1 sensor 1"),
    (0x0136, "oxygen sensor circuit, bank 1 sensor 2"),
    (0x0137, "oxygen sensor circuit low voltage, bank 1 sensor 2"),
    (0x0138, "oxygen sensor circuit high voltage, bank 1 sensor 2"),
    (0x0139, "oxygen sensor circuit slow response, bank 1 sensor 2"),
    (0x0140, "oxygen sensor circuit shows no activity, bank 1 sensor 2"),
    (0x0141, "oxygen sensor heater circuit, bank 1 sensor 2"),
    (0x0150, "oxygen sensor circuit, bank 2 sensor 1"),
    (0x0151, "oxygen sensor circuit low voltage, bank 2 sensor 1"),
    (0x0152, "oxygen sensor circuit high voltage, bank 2 sensor 1"),
    (0x0153, "oxygen sensor circuit slow response, bank 2 sensor 1"),
    (0x0154, "oxygen sensor circuit shows no activity, bank 2 sensor 1"),
    (0x0155, "oxygen sensor heater circuit, bank 2 sensor 1"),
    (0x0156, "oxygen sensor circuit, bank 2 sensor 2"),
    (0x0157, "oxygen sensor circuit low voltage, bank 2 sensor 2"),
    (0x0158, "oxygen sensor circuit high voltage, bank 2 sensor 2"),
    (0x0159, "oxygen sensor circuit slow response, bank 2 sensor 2"),
    (0x0160, "oxygen sensor circuit shows no activity, bank 2 sensor 2"),
    (0x0161, "oxygen sensor heater circuit, bank 2 sensor 2"),
    (0x0171, "fuel system too lean, bank 1"),
    (0x0172, "fuel system too rich, bank 1"),
    (0x0174, "fuel system too lean, bank 2"),
    (0x0175, "fuel system too rich, bank 2"),
    (0x0190, "fuel rail pressure sensor A circuit"),
    (0x0191, "fuel rail pressure sensor A circuit range or performance"),
    (0x0192, "fuel rail pressure sensor A circuit low"),
    (0x0193, "fuel rail pressure sensor A circuit high"),
    (0x0201, "injector circuit, cylinder 1"),
    (0x0202, "injector circuit, cylinder 2"),
    (0x0203, "injector circuit, cylinder 3"),
    (0x0204, "injector circuit, cylinder 4"),
    (0x0217, "engine coolant over temperature"),
    (0x0222, "throttle or pedal position sensor B circuit low"),
    (0x0223, "throttle or pedal position sensor B circuit high"),
    (0x0230, "fuel pump primary circuit"),
    (0x0234, "turbocharger or supercharger overboost"),
    (0x0299, "turbocharger or supercharger underboost"),
    (0x0300, "misfire in more than one cylinder"),
    (0x0301, "misfire, cylinder 1"),
    (0x0302, "misfire, cylinder 2"),
    (0x0303, "misfire, cylinder 3"),
    (0x0304, "misfire, cylinder 4"),
    (0x0305, "misfire, cylinder 5"),
    (0x0306, "misfire, cylinder 6"),
    (0x0307, "misfire, cylinder 7"),
    (0x0308, "misfire, cylinder 8"),
    (0x0313, "misfire with low fuel level"),
    (0x0316, "misfire in the first 1000 revolutions after start"),
    (0x0325, "knock sensor 1 circuit, bank 1 or single sensor"),
    (0x0327, "knock sensor 1 circuit low, bank 1 or single sensor"),
    (0x0328, "knock sensor 1 circuit high, bank 1 or single sensor"),
    (0x0335, "crankshaft position sensor A circuit"),
    (0x0336, "crankshaft position sensor A implausible or out of range"),
    (0x0340, "camshaft position sensor A circuit, bank 1 or single sensor"),
    (0x0341, "camshaft position sensor A implausible or out of range, bank 1 or single sensor"),
    (0x0345, "camshaft position sensor A circuit, bank 2"),
    (0x0351, "ignition coil A primary or secondary circuit"),
    (0x0352, "ignition coil B primary or secondary circuit"),
    (0x0353, "ignition coil C primary or secondary circuit"),
    (0x0354, "ignition coil D primary or secondary circuit"),
    (0x0355, "ignition coil E primary or secondary circuit"),
    (0x0356, "ignition coil F primary or secondary circuit"),
    (0x0400, "EGR flow"),
    (0x0401, "EGR flow insufficient"),
    (0x0402, "EGR flow excessive"),
    (0x0403, "EGR control circuit"),
    (0x0404, "EGR control implausible or out of range"),
    (0x0405, "EGR position sensor A circuit low"),
    (0x0406, "EGR position sensor A circuit high"),
    (0x0410, "secondary air injection system"),
    (0x0411, "secondary air injection flow incorrect"),
    (0x0412, "secondary air injection switching valve A circuit"),
    (0x0420, "catalyst efficiency below its limit, bank 1"),
    (0x0430, "catalyst efficiency below its limit, bank 2"),
    (0x0440, "fuel vapour (evap) system at fault"),
    (0x0441, "evap purge flow wrong"),
    (0x0442, "evap leak, small (about 1 mm)"),
    (0x0443, "evap purge valve, circuit"),
    (0x0444, "evap purge valve, circuit open"),
    (0x0445, "evap purge valve, circuit shorted"),
    (0x0446, "evap vent valve, control"),
    (0x0447, "evap vent valve, control circuit open"),
    (0x0448, "evap vent valve, control circuit shorted"),
    (0x0449, "evap vent valve, circuit of valve or solenoid"),
    (0x0450, "tank pressure sensor, circuit"),
    (0x0451, "tank pressure sensor, implausible"),
    (0x0452, "tank pressure sensor, signal too low"),
    (0x0453, "tank pressure sensor, signal too high"),
    (0x0454, "tank pressure sensor, signal comes and goes"),
    (0x0455, "evap leak, large"),
    (0x0456, "evap leak, very small (about 0.5 mm)"),
    (0x0457, "evap leak, fuel cap loose or missing"),
    (0x0461, "fuel level sensor A implausible or out of range"),
    (0x0462, "fuel level sensor A circuit low"),
    (0x0463, "fuel level sensor A circuit high"),
    (0x0480, "cooling fan 1 control circuit"),
    (0x0496, "evap flow although purge is closed"),
    (0x0497, "evap purge flow too low"),
    (0x0498, "evap vent valve, control circuit low"),
    (0x0499, "evap vent valve, control circuit high"),
    (0x0500, "vehicle speed sensor A"),
    (0x0501, "vehicle speed sensor A implausible or out of range"),
    (0x0505, "idle air control system"),
    (0x0506, "idle speed lower than expected"),
    (0x0507, "idle speed higher than expected"),
    (0x050A, "cold start idle control performance"),
    (0x050B, "cold start ignition timing performance"),
    (0x0560, "system voltage"),
    (0x0562, "system voltage low"),
    (0x0563, "system voltage high"),
    (0x0601, "control module memory checksum error"),
    (0x0603, "control module keep-alive memory error"),
    (0x0604, "control module RAM error"),
    (0x0605, "control module ROM error"),
    (0x0606, "control module processor"),
    (0x0700, "transmission control system asks for the MIL (details in the transmission module)"),
    (0x0705, "transmission range sensor A circuit"),
    (0x0711, "transmission fluid temperature sensor A implausible or out of range"),
    (0x0712, "transmission fluid temperature sensor A circuit low"),
    (0x0713, "transmission fluid temperature sensor A circuit high"),
    (0x0715, "input or turbine speed sensor A circuit"),
    (0x0717, "input or turbine speed sensor A circuit: no signal"),
    (0x0720, "output speed sensor circuit"),
    (0x0722, "output speed sensor circuit: no signal"),
    (0x0729, "gear 6 ratio incorrect"),
    (0x0730, "incorrect gear ratio"),
    (0x0731, "gear 1 ratio incorrect"),
    (0x0732, "gear 2 ratio incorrect"),
    (0x0733, "gear 3 ratio incorrect"),
    (0x0734, "gear 4 ratio incorrect"),
    (0x0735, "gear 5 ratio incorrect"),
    (0x0740, "torque converter clutch circuit"),
    (0x0741, "torque converter clutch performance or stuck off"),
    (0x0742, "torque converter clutch stuck on"),
    (0x0743, "torque converter clutch circuit, electrical"),
    (0x0750, "shift solenoid A"),
    (0x0751, "shift solenoid A performance or stuck off"),
    (0x0752, "shift solenoid A stuck on"),
    (0x0753, "shift solenoid A, electrical"),
    (0x0755, "shift solenoid B"),
    (0x0756, "shift solenoid B performance or stuck off"),
    (0x0757, "shift solenoid B stuck on"),
    (0x0758, "shift solenoid B, electrical"),
    (0x0761, "shift solenoid C performance or stuck off"),
    (0x0762, "shift solenoid C stuck on"),
    (0x0763, "shift solenoid C, electrical"),
    (0x2096, "post-catalyst fuel trim too lean, bank 1"),
    (0x2097, "post-catalyst fuel trim too rich, bank 1"),
    (0x2098, "post-catalyst fuel trim too lean, bank 2"),
    (0x2099, "post-catalyst fuel trim too rich, bank 2"),
    (0x2101, "throttle actuator control motor implausible or out of range"),
    (0x2106, "throttle actuator control: forced limited power"),
    (0x2111, "throttle actuator control stuck open"),
    (0x2112, "throttle actuator control stuck closed"),
    (0x2122, "accelerator pedal position sensor D circuit low"),
    (0x2123, "accelerator pedal position sensor D circuit high"),
    (0x2127, "accelerator pedal position sensor E circuit low"),
    (0x2128, "accelerator pedal position sensor E circuit high"),
    (0x2135, "throttle position sensors A and B disagree"),
    (0x2138, "accelerator pedal position sensors D and E disagree"),
    (0x2187, "fuel system too lean at idle, bank 1"),
    (0x2195, "oxygen sensor signal biased or stuck lean, bank 1 sensor 1"),
    (0x2196, "oxygen sensor signal biased or stuck rich, bank 1 sensor 1"),
    (0x2197, "oxygen sensor signal biased or stuck lean, bank 2 sensor 1"),
    (0x2198, "oxygen sensor signal biased or stuck rich, bank 2 sensor 1"),
    (0x2270, "oxygen sensor signal biased or stuck lean, bank 1 sensor 2"),
    (0x2271, "oxygen sensor signal biased or stuck rich, bank 1 sensor 2"),
    (0x2272, "oxygen sensor signal biased or stuck lean, bank 2 sensor 2"),
    (0x2273, "oxygen sensor signal biased or stuck rich, bank 2 sensor 2"),
    (0xC001, "high speed CAN communication bus"),
    (0xC073, "control module communication bus A off"),
    (0xC100, "lost communication with ECM/PCM A"),
    (0xC101, "lost communication with transmission control module"),
    (0xC121, "lost communication with anti-lock brake control module"),
    (0xC140, "lost communication with body control module"),
    (0xC155, "lost communication with instrument cluster"),
    (0xC401, "invalid data received from ECM/PCM A"),
];

/// What the code means; nothing if the table does not hold it.
#[must_use]
pub fn code_text(code: Dtc) -> Option<&'static str> {
    let number = u16::from_be_bytes(code.to_bytes());
    let place = TEXTS.binary_search_by_key(&number, |(number, _)| *number).ok()?;
    Some(TEXTS[place].1)
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::string::ToString;

    use super::*;

    /// Codes that public lists of SAE J2012-DA give to powertrain monitors of such a car, carried over from the
    /// project's reference table.
    const PUBLISHED: &str = "\
        P000A P0010 P0011 P0012 P0013 P0014 P0016 P0030 P0031 P0032 P0036 P0037 P0038 P0053 P0068 P0087 \
        P0088 P0100 P0101 P0102 P0103 P0106 P0107 P0108 P0111 P0112 P0113 P0116 P0117 P0118 P0121 P0122 \
        P0123 P0125 P0128 P0130 P0131 P0132 P0133 P0134 P0135 P0136 P0137 P0138 P0139 P0140 P0141 P0171 \
        P0172 P0174 P0175 P0190 P0192 P0193 P0201 P0202 P0203 P0204 P0217 P0222 P0223 P0230 P0234 P0299 \
        P0300 P0301 P0302 P0303 P0304 P0313 P0316 P0325 P0327 P0328 P0335 P0336 P0340 P0341 P0351 P0352 \
        P0353 P0354 P0400 P0401 P0402 P0403 P0404 P0405 P0406 P0410 P0411 P0412 P0420 P0430 P0440 P0441 \
        P0442 P0443 P0444 P0445 P0446 P0447 P0448 P0449 P0450 P0451 P0452 P0453 P0454 P0455 P0456 P0457 \
        P0461 P0462 P0463 P0480 P0496 P0497 P0498 P0499 P0500 P0501 P0505 P0506 P0507 P050A P050B P0560 \
        P0562 P0563 P0601 P0603 P0604 P0605 P0606 P0700 P0705 P0711 P0715 P0720 P0730 P0731 P0740 P0741 \
        P0750 P0755 P2096 P2097 P2101 P2106 P2111 P2112 P2122 P2123 P2127 P2128 P2135 P2138 P2187 P2195 \
        P2196 P2270 P2271 U0001 U0073 U0100 U0101 U0121 U0140 U0155 U0401";

    #[test]
    fn every_published_code_has_a_text_and_its_own_bytes() {
        let mut count = 0;
        for text in PUBLISHED.split_whitespace() {
            let code: Dtc = text.parse().unwrap();
            assert_eq!(Dtc::from_bytes(code.to_bytes()).to_string(), text);
            assert!(code_text(code).is_some_and(|meaning| meaning.len() > 4), "{text}");
            count += 1;
        }
        assert_eq!(count, 171);
    }

    #[test]
    fn codes_of_the_evap_system_and_the_usual_ones_have_a_text() {
        assert!(
            TEXTS.windows(2).all(|pair| pair[0].0 < pair[1].0),
            "the table rises"
        );
        for digits in (0x0440..=0x0449)
            .chain(0x0450..=0x0457)
            .chain(0x0300..=0x0308)
            .chain([0x0128, 0x0171, 0x0172, 0x0420, 0x0496])
        {
            assert!(
                code_text(Dtc::p(digits)).is_some_and(|text| text.len() > 8),
                "P{digits:04X}"
            );
        }
        assert_eq!(
            code_text("P0457".parse().unwrap()),
            Some("evap leak, fuel cap loose or missing")
        );
        assert_eq!(
            code_text("U0100".parse().unwrap()),
            Some("lost communication with ECM/PCM A")
        );
        assert_eq!(code_text("P1457".parse().unwrap()), None);
    }
}
