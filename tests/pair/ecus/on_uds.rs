//! The same with a car that is asked by SAE J1979-2: engine and transmission ECU of the shipped one, and a listed ECU beside them.

use twotrip_scenario::Scenario;

use super::*;

const CONFIRMED: &[u8] = &[0x19, 0x42, 0x33, 0x08, 0xFF];
const CLEAR: &[u8] = &[0x14, 0xFF, 0xFF, 0x33];
/// P0301, P0753 with the failure types that their texts make, C0102 and so on of the listed one.
const MISFIRE: [u8; 3] = [0x03, 0x01, 0x00];
const SOLENOID: [u8; 3] = [0x07, 0x53, 0x01];
const LISTED: [[u8; 3]; 3] = [[0xC1, 0x02, 0x00], [0xC2, 0x02, 0x00], [0xC3, 0x02, 0x00]];

fn settings(size: Identifiers) -> Settings {
    let text = "version = 1\ntitle = \"x\"\nvehicle = \"compact-on-uds-transmission\"\n";
    let scenario = Scenario::parse(text.as_bytes()).expect("a scenario");
    let mut settings = Settings::of(&scenario, 1, Timing::REAL_ON_PACED_BUS);
    settings.identifiers = size;
    settings.ecus.push(listed_in(Dialect::OnUds, 2, None));
    settings
}

/// The codes that each tells, three bytes each; nothing of one that is silent.
fn codes(bench: &mut Bench, request: &[u8], head: usize, entry: usize) -> Vec<Vec<[u8; 3]>> {
    bench.ask(request);
    let of = |answers: &Vec<Vec<u8>>| {
        let [answer] = &answers[..] else {
            panic!("{request:02X?}: {answers:02X?}")
        };
        let entries = answer[head..].chunks(entry);
        let code = |entry: &[u8]| <[u8; 3]>::try_from(&entry[entry.len() - 4..entry.len() - 1]);
        entries.map(|entry| code(entry).expect("whole entries")).collect()
    };
    bench.answers.iter().map(of).collect()
}

fn confirmed(bench: &mut Bench) -> Vec<Vec<[u8; 3]>> {
    codes(bench, CONFIRMED, 6, 5)
}

/// Each has its own transport: an answer of several frames goes on by the flow control that is sent to its ECU.
#[test]
fn each_reacts_to_its_own_flow_control() {
    for size in Identifiers::ALL {
        let settings = Settings {
            timing: Timing::FAST,
            ..settings(size)
        };
        let mut bench = Bench::new(settings, false);
        let addresses = bench.addresses.clone();
        bench.send(addresses[0].functional, &[3, 0x22, 0xF8, 0x0A]);
        bench.pass(Duration::from_millis(10));
        let first: Vec<(u32, u8)> = addresses.iter().map(|ecu| (ecu.response.raw(), 0x10)).collect();
        assert_eq!(bench.sent(), first, "{size:?}");
        for address in addresses.iter().rev() {
            bench.seen.clear();
            bench.send(address.functional, &[0x30, 0, 0]);
            bench.pass(Duration::from_millis(5));
            assert_eq!(bench.sent(), []);
            bench.send(address.request, &[0x30, 0, 0]);
            bench.pass(Duration::from_millis(5));
            let rest = [0x21, 0x22, 0x23].map(|byte| (address.response.raw(), byte));
            assert_eq!(bench.sent(), rest, "{size:?}");
        }
    }
}

/// Codes of each are read, cleared and kept separately; a clear that goes to all is taken or refused by all.
#[test]
fn each_has_codes_of_its_own() {
    for size in Identifiers::ALL {
        let mut bench = Bench::new(settings(size), true);
        bench.tell("preload confirmed P0301");
        bench.tell("defect wiring shift-solenoid-a open");
        bench.tell("drive 50 km/h for 2 min, stop");
        let all = [vec![MISFIRE], vec![SOLENOID], LISTED.to_vec()];
        assert_eq!(confirmed(&mut bench), all, "{size:?}");
        bench.ask(CLEAR);
        let refused = vec![vec![0x7F, 0x14, 0x22]];
        assert_eq!(bench.answers, [refused.clone(), refused.clone(), refused]);
        bench.tell("stop");
        assert_eq!(confirmed(&mut bench), all, "{size:?}");
        let permanent = codes(&mut bench, &[0x19, 0x55, 0x33], 5, 4);
        assert_eq!(permanent, [vec![MISFIRE], vec![SOLENOID], vec![]]);
        let kept = bench.car.store();
        for (place, left) in [
            (0, [vec![], vec![SOLENOID], LISTED.to_vec()]),
            (2, [vec![], vec![SOLENOID], vec![]]),
        ] {
            bench.ask_at(bench.addresses[place].request, CLEAR);
            assert_eq!(confirmed(&mut bench), left, "{size:?}");
        }
        bench.tell("mend wiring shift-solenoid-a");
        bench.ask(CLEAR);
        assert!(confirmed(&mut bench).iter().all(Vec::is_empty));
        let mut again = Bench::new(settings(size), true);
        again.car.restore(&kept).expect("it is this car's");
        assert_eq!(confirmed(&mut again), all, "{size:?}");
    }
}

/// Asked alone an ECU refuses what it does not have, asked with all it is silent ($11, $12, $31; AUTOSAR SWS_Dcm_00001); a
/// wrong length is refused by all. The services of SAE J1979 are nobody's.
#[test]
fn refusals_go_by_whom_was_asked() {
    let mut bench = Bench::new(settings(Identifiers::Bits29), true);
    let transmission = bench.addresses[1];
    for (request, by_all, alone) in [
        // The VIN is the engine ECU's, tests and a routine likewise; the gear is the transmission ECU's.
        (&[0x22, 0xF8, 0x02][..], [true, false, false], Some(0x31)),
        (&[0x22, 0xF6, 0x00], [true, false, false], Some(0x31)),
        (&[0x22, 0xF4, 0xA4], [false, true, false], None),
        (&[0x31, 0x01, 0xE0, 0x01], [true, false, false], Some(0x11)),
        (&[0x19, 0x02, 0xFF], [false, false, false], Some(0x12)),
        (&[0x11, 0x01], [false, false, false], Some(0x11)),
        (&[0x22, 0xF4], [true, true, true], Some(0x13)),
        (&[0x19, 0x42, 0x33], [true, true, true], Some(0x13)),
        (&[0x3E, 0x80], [false, false, false], None),
    ] {
        bench.ask(request);
        let answered: Vec<bool> = bench.answers.iter().map(|answers| !answers.is_empty()).collect();
        assert_eq!(answered, by_all, "{request:02X?}");
        bench.ask_at(transmission.request, request);
        let refusal = bench.answers[1].iter().find(|answer| answer[0] == 0x7F);
        assert_eq!(refusal.map(|answer| answer[2]), alone, "{request:02X?}");
    }
    for service in 0x01..=0x0A {
        for id in [transmission.functional, transmission.request] {
            bench.ask_at(id, &[service, 0x00]);
            assert_eq!(bench.sent(), [], "{service:02X}");
        }
    }
}
