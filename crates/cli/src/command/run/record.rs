//! The recording of a run, made beside the car.

use std::path::Path;

use twotrip_can::timing::BitRate;
use twotrip_host::{
    bus::Name,
    recording::{self, Beside, Header, MEMORY_PREFIX},
    run::Run,
};
use twotrip_sim::{Settings, Stored};

use super::{lines::Line, pace};
use crate::{args, command::record, exit::Failure, output};

/// Begins to record the car's bus.
pub(super) async fn begin(
    args: &args::Run,
    run: &mut Run,
    path: &Path,
    name: &Name,
    bit_rate: BitRate,
    header: Vec<String>,
) -> Result<Beside, Failure> {
    let options = recording::Options {
        path: path.to_owned(),
        application: record::application(),
        header,
        ..recording::Options::default()
    };
    // A wire has a bit rate of its own; without one it is the car's.
    let bit_rate = u64::from(bit_rate.kbit_per_second()) * 1000;
    let json = args.json;
    let start = Beside::start(options, name.clone(), Some(bit_rate), move |notice| {
        // Whoever read our output may have gone; the recording goes on.
        let _ = record::trouble(&notice).map_or(Ok(()), |text| {
            if json {
                return output::json(&Line::RecordingTrouble { text });
            }
            anstream::eprintln!("the recording: {}; the car goes on", output::escape(&text));
            Ok(())
        });
    });
    let (beside, tap, found) = run
        .serve_during(start)
        .await
        .map_err(|error| record::failure(&error))?;
    if let Some(found) = found {
        for line in output::fit(&format!("{}: {}", path.display(), record::continued(found)), 0) {
            anstream::eprintln!("{line}");
        }
    }
    run.record(tap);
    Ok(beside)
}

/// What a recording says of the run, for machines; the memory that came from a file is a line of its own.
pub(super) fn header(
    args: &args::Run,
    settings: &Settings,
    content: Option<&Stored>,
    not_physical: bool,
) -> Result<Vec<String>, Failure> {
    let header = Header {
        pace: pace(args.pace).to_string(),
        not_physical,
        memory: content.is_some(),
        ..record::header(&args.scenario, args.vehicle.as_deref())?
    };
    let mut lines = vec![header.with(settings).comment()];
    if let Some(content) = content {
        let json =
            serde_json::to_string(content).map_err(|error| Failure::system(error.to_string(), None))?;
        lines.push(format!("{MEMORY_PREFIX}{json}"));
    }
    Ok(lines)
}
