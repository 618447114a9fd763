//! `twotrip replay`: a recording, sent again.
//!
//! `recorded` reads the file, `lanes` says which bus is which; each part has a file of its own: `frames` sends every
//! frame at its time, `tester` asks the requests again and compares the replies, `car` answers a tester,
//! `again` lives through a recorded run once more in this process.

mod again;
mod car;
mod frames;
mod lanes;
mod tester;

use twotrip_host::judge;

use super::recorded::{self, Wanted};
use crate::{
    args::{self, Part},
    exit::Failure,
};

/// Runs the command.
pub(super) async fn run(args: &args::Replay) -> Result<(), Failure> {
    check(args)?;
    if args.again.in_process {
        return again::run(args);
    }
    match args.part {
        Part::Frames => frames::run(args).await,
        Part::Tester => tester::run(args).await,
        Part::Car => car::run(args).await,
    }
}

/// The frames that the command line wants.
fn wanted(args: &args::Replay) -> Wanted {
    let mut selection = args.selection.selection();
    if args.load.is_some() {
        // Requests of then would be answered.
        selection.drop.extend(judge::IDENTIFIERS);
    }
    Wanted::new(selection, args.from, args.to)
}

/// What goes only with one part, or not with it.
fn check(args: &args::Replay) -> Result<(), Failure> {
    if args.part != Part::Tester && args.compare.is_some() {
        return Err(Failure::input(
            "--compare goes with `--as tester`",
            Some("`replay FILE --as tester --bus BUS` asks again and compares what is replied".to_owned()),
        ));
    }
    if args.part != Part::Frames && args.load.is_some() {
        return Err(Failure::input(
            "--load goes with frames alone, not with `--as tester` or `--as car`",
            Some("`replay FILE --bus BUS --load 40 --loop 0` is traffic beside a car".to_owned()),
        ));
    }
    if args.part == Part::Tester && args.bit_rate.is_some() {
        return Err(Failure::input(
            "--bit-rate does not go with `--as tester`: its requests wait for replies",
            Some("`--pace max` asks on as soon as it is answered".to_owned()),
        ));
    }
    let args::RecordedCar {
        after_last,
        addressing,
        broadcasts,
        lasting,
    } = args.car;
    let of_a_car = after_last.is_some() || addressing.is_some() || broadcasts.is_some() || lasting.is_some();
    if args.part != Part::Car && of_a_car {
        return Err(Failure::input(
            "--after-last, --addressing, --broadcasts and --for go with `--as car`",
            Some("`replay FILE --as car --bus BUS` answers a tester from the recording".to_owned()),
        ));
    }
    if args.part == Part::Car
        && (args.pace != args::Pace::Times(1.0) || args.passes != 1 || args.bit_rate.is_some())
    {
        return Err(Failure::input(
            "--pace, --loop and --bit-rate do not go with `--as car`: replies come as late as they did",
            Some("`--after-last anew` begins with the first replies again".to_owned()),
        ));
    }
    Ok(())
}
