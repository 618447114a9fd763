//! How wiring faults are said: the wire, what is wrong with it, and when, if not all the time.

use twotrip_harness::{Wire, WiringFault};
use twotrip_vehicle::When;

use super::{
    Phrase,
    defect::WHEN,
    fault::Parsed,
    rule::{After, AnyOf, Explanation, Named, Optional, Rule, Word, keyword},
};

/// `defect wiring WIRE open [WHEN]`: one kind of fault on the wires that can have it.
pub(super) struct WireFault {
    /// The wires.
    pub(super) wires: &'static [Wire],
    /// What is wrong, behind the wire.
    pub(super) fault: &'static dyn Rule<Out = WiringFault>,
}

/// When it shows.
pub(super) const PRESENCE: Optional<AnyOf<When>> = Optional(WHEN);

impl WireFault {
    const fn wire(&self) -> After<Word, Named<Wire>> {
        After(
            keyword("wiring"),
            Named {
                slot: "WIRE",
                what: "wire",
                all: self.wires,
                name: Wire::name,
            },
        )
    }
}

impl Rule for WireFault {
    type Out = Phrase;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Phrase> {
        let (rest, wire) = After(keyword("defect"), self.wire()).read(input)?;
        let (rest, fault) = self.fault.read(rest)?;
        let (rest, when) = PRESENCE.read(rest)?;
        Ok((rest, Phrase::BreakWire(wire, fault, when)))
    }

    fn explain(&self, help: &mut Explanation) {
        After(keyword("defect"), self.wire()).explain(help);
        self.fault.explain(help);
        PRESENCE.explain(help);
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        keyword("defect").first_words(each);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let wire = After(keyword("defect"), self.wire()).sample(dice);
        let when = PRESENCE.sample(dice);
        format!("{wire} {} {when}", self.fault.sample(dice))
            .trim_end()
            .to_owned()
    }
}
