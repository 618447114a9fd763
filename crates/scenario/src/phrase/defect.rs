//! How physical defects are said, after the catalogue of `vehicle`: the part, the word for what is wrong with it,
//! and its size where the word has none of its own. Faults of wires, after the words of `harness`.

use twotrip_harness::{WiringFault, WiringFaultKind};
use twotrip_vehicle::defect::{CATALOGUE, Defect, Part, Size};

use super::{
    fault::{Fault, Parsed},
    grammar::{named, pick, said},
    measure::{BIAS, HOLE, Measure, RESISTANCE},
};
use crate::problem::{Expected, ProblemKind};

/// `fuel-cap loose`, `filler-neck hole 1 mm`.
pub(super) fn physical(input: &str) -> Parsed<'_, Defect> {
    let breakable = Part::ALL
        .into_iter()
        .filter(|part| CATALOGUE.iter().any(|entry| entry.part == *part));
    let (rest, part) = named("defect", breakable, Part::name, input)
        .map_err(|error| Fault::also(error, Expected::Word("wiring")))?;
    let entries: Vec<_> = CATALOGUE
        .iter()
        .filter(|entry| entry.part == part)
        .map(|entry| (entry.kind, entry))
        .collect();
    let (rest, entry) = pick("kind of defect", &entries, rest)?;
    let (rest, diameter) = match entry.size {
        Size::Fixed(_) => (rest, None),
        Size::Diameter { least, greatest } => {
            let (rest, diameter) = Measure {
                range: [least, greatest],
                ..HOLE
            }
            .parse(rest)?;
            (rest, Some(diameter))
        }
    };
    let defect = entry.defect(diameter).map(|defect| (rest, defect));
    defect.ok_or_else(|| Fault::new(input.trim(), ProblemKind::OutOfRange("defect"), "defect", []))
}

/// `open`, `resistance 500 ohm`.
pub(super) fn wiring(input: &str) -> Parsed<'_, WiringFault> {
    let (rest, kind) = named("wiring fault", WiringFaultKind::ALL, WiringFaultKind::name, input)?;
    match kind {
        WiringFaultKind::Open => Ok((rest, WiringFault::Open)),
        WiringFaultKind::ShortToGround => Ok((rest, WiringFault::ShortToGround)),
        WiringFaultKind::ShortToSupply => Ok((rest, WiringFault::ShortToSupply)),
        WiringFaultKind::Resistance => said(RESISTANCE.parse(rest), WiringFault::Resistance),
        WiringFaultKind::Bias => said(BIAS.parse(rest), WiringFault::Bias),
    }
}
