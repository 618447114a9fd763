//! How physical defects are said: the part, then what is wrong with it.

use super::{
    Defect, Part,
    fault::{Fault, Parsed},
    grammar::{keyword, pick, said},
    measure::HOLE,
};
use crate::problem::Expected;

/// `fuel-cap loose`, `filler-neck hole 1 mm`.
pub(super) fn physical(input: &str) -> Parsed<'_, Defect> {
    let parts = [Part::FuelCap, Part::FillerNeck].map(|part| (part.name(), part));
    let (rest, part) =
        pick("defect", &parts, input).map_err(|error| Fault::also(error, Expected::Word("wiring")))?;
    match part {
        Part::FuelCap => pick(
            "state of the cap",
            &[
                ("loose", Defect::FuelCapLoose),
                ("missing", Defect::FuelCapMissing),
            ],
            rest,
        ),
        _ => said(HOLE.parse(keyword("hole", rest)?.0), Defect::FillerNeckHole),
    }
}
