//! The same targets, fed by libFuzzer, which sees by the coverage which inputs reach new code (llvm.org/docs/LibFuzzer.html).
//!
//! Built with the compiler's coverage counters, hence for itself: `sh tests/long fuzz`. `TWOTRIP_FUZZ_TARGET` names what is
//! fed; with `TWOTRIP_FUZZ_EXAMPLES=FOLDER` its examples are written there first, for a corpus to begin with.

#![no_main]

#[path = "../capture.rs"]
mod capture;
#[path = "../control.rs"]
mod control;
#[path = "../isotp.rs"]
mod isotp;
#[path = "../obd.rs"]
mod obd;
#[path = "../scenario.rs"]
mod scenario;
#[path = "../target.rs"]
mod target;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use target::Target;

static TARGET: LazyLock<Target> = LazyLock::new(|| {
    let wanted = std::env::var("TWOTRIP_FUZZ_TARGET").unwrap_or_default();
    match wanted.as_str() {
        "transport" => isotp::target(),
        "messages" => obd::target(),
        "scenarios" => scenario::target(),
        "recordings" => capture::target(),
        "control" => control::target(),
        _ => panic!(
            "TWOTRIP_FUZZ_TARGET is transport, messages, scenarios, recordings or control, not `{wanted}`"
        ),
    }
});

fuzz_target!(
    init: {
        if let Some(folder) = std::env::var_os("TWOTRIP_FUZZ_EXAMPLES") {
            for (number, example) in TARGET.examples.iter().enumerate() {
                let path = std::path::Path::new(&folder).join(format!("example-{number}"));
                std::fs::write(path, example).expect("the folder is there");
            }
        }
    },
    |input: &[u8]| {
        // `-max_len` is the caller's; what the target is made for holds anyway.
        TARGET.withstands(&input[..input.len().min(TARGET.longest)]);
    }
);
