//! The conformance cases of the transport on a bus of the kernel: the same data and the same body as in memory
//! (`tests/support`), the tester a raw socket.
//!
//! `transport-cases INTERFACE PROGRAM SMALL_ECU` plays each case on the program where its car is an ECU as the case needs it,
//! else on the small ECU, and prints a line a case, tab-separated: `program` or `small ecu` or `in memory`, `passed`
//! or `failed` or `left out`, the times it was played, its number, its rule and what went wrong before.
//!
//! The machine is slow and its speed swings, so upper limits of time have a wide margin, and a case is played anew when it
//! failed: the tester may have missed its own time.

mod live;

use std::collections::BTreeMap;
use std::env;
use std::error::Error;
use std::path::PathBuf;
use std::thread::sleep;

use live::{Arm, Ecu};
use twotrip_isotp::{Dlc, Profile, Timers};
use twotrip_tests::cases::{self, Case, Identifiers};
use twotrip_tests::{peer, run};

/// How often a case is played at the most.
const PLAYS: usize = 5;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let mut next = |what| arguments.next().ok_or_else(|| format!("needs {what}"));
    let interface = next("the name of an interface")?;
    let program = PathBuf::from(next("the program")?);
    let small_ecu = PathBuf::from(next("the small ECU")?);

    for (index, case) in cases::all().enumerate() {
        if let Some(reason) = case.only_in_memory() {
            tell("in memory", "left out", 0, case.number, reason);
        } else if !case.is_for_the_program() {
            let mut ecu = Ecu::start(&small_ecu, &[&interface, &index.to_string()])?;
            play(case, "small ecu", &interface, &mut ecu)?;
        }
    }
    // One car for all cases of a profile: a start costs more than a case.
    for (options, cases) in by_options() {
        let control = env::temp_dir().join(format!("transport-cases-{}", std::process::id()));
        let mut command = vec!["run", "codes-on-demand", "--bus", &interface, "--timing", "fast"];
        command.extend(["--pace", "0", "--control"]);
        command.push(
            control
                .to_str()
                .ok_or("the folder for temporary files has no UTF-8")?,
        );
        command.extend(&options);
        let mut ecu = Ecu::start(&program, &command)?;
        for case in cases {
            play(case, "program", &interface, &mut ecu)?;
        }
    }
    Ok(())
}

/// The cases for the program, by the options that it needs for them.
fn by_options() -> BTreeMap<Vec<&'static str>, Vec<&'static Case>> {
    let mut grouped: BTreeMap<_, Vec<_>> = BTreeMap::new();
    for case in cases::all().filter(|case| case.is_for_the_program() && case.only_in_memory().is_none()) {
        let Profile { timers, dlc, .. } = case.live_setup().profile;
        let timers = if timers == Timers::GENERIC {
            "generic"
        } else {
            "obd"
        };
        let dlc = if dlc == Dlc::Lenient { "lenient" } else { "strict" };
        let identifiers = match case.setup.identifiers {
            Identifiers::Standard => "11-bit",
            Identifiers::Extended => "29-bit",
        };
        grouped
            .entry(vec![
                "--timers",
                timers,
                "--dlc",
                dlc,
                "--identifiers",
                identifiers,
            ])
            .or_default()
            .push(case);
    }
    grouped
}

fn play(case: &Case, on: &str, interface: &str, ecu: &mut Ecu) -> Result<(), Box<dyn Error>> {
    let mut problem = String::new();
    for plays in 1..=PLAYS {
        // What the play before has left open runs out.
        sleep(case.live_setup().profile.timers.n_cr + std::time::Duration::from_millis(20));
        let mut arm = Arm::new(interface)?;
        let (request, answer) = peer::question(&case.setup);
        arm.set_question(&request, answer);
        if on == "program" && case.setup.answer.is_some() {
            arm.ask_the_car(&case.setup)?;
        }
        match run::play(case, &mut arm) {
            Ok(()) => {
                tell(
                    on,
                    "passed",
                    plays,
                    case.number,
                    &format!("{}\n{problem}", case.rule),
                );
                return Ok(());
            }
            Err(found) => {
                problem = format!("{problem}{found}\n");
                // A case that takes the interface down may not have come to where it takes it up.
                run::Arm::set_link(&mut arm, true);
            }
        }
        if !ecu.is_running() {
            problem = format!("{problem}the ECU has ended\n");
            break;
        }
    }
    tell(on, "failed", PLAYS, case.number, &problem);
    Ok(())
}

fn tell(on: &str, outcome: &str, plays: usize, number: u8, text: &str) {
    let text = text.trim_end().replace('\\', "\\\\").replace('\n', "\\n");
    println!("{on}\t{outcome}\t{plays}\t{number}\t{text}");
}
