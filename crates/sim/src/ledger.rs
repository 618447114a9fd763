//! What was wrong with the car, and from when to when: kept as phrases break and mend things.

use twotrip_harness::Wire;
use twotrip_scenario::{
    Phrase,
    phrase::{Part, Signal},
};
use twotrip_units::CarInstant;

use crate::{Car, clock};

/// What can be wrong, one thing at a time each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    Part(Part),
    Wire(Wire),
    Signal(Signal),
}

/// One thing that was wrong.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Wrong {
    place: Place,
    /// The phrase that made it so.
    pub(crate) what: String,
    pub(crate) from: CarInstant,
    pub(crate) until: Option<CarInstant>,
}

impl Wrong {
    /// What, and since when.
    pub(crate) fn say(&self) -> String {
        format!("{}, since {}", self.what, clock::stamp(self.from))
    }
}

/// Everything that was ever wrong, as far as there is room.
#[derive(Clone, Debug, Default)]
pub(crate) struct Ledger {
    list: Vec<Wrong>,
}

/// Things kept; of more, the oldest that are mended give way.
const MOST: usize = 500;

impl Ledger {
    /// Takes down what a phrase has just done to the car.
    pub(crate) fn note(&mut self, car: &Car, phrase: &Phrase) {
        let now = car.now();
        match phrase {
            Phrase::Defect(defect) => self.broke(now, Place::Part(defect.part()), phrase),
            Phrase::BreakWire(wire, ..) => self.broke(now, Place::Wire(*wire), phrase),
            Phrase::Hold(signal, _) => self.broke(now, Place::Signal(*signal), phrase),
            Phrase::Swap(one, other) => {
                for wrong in self.list.iter_mut().filter(|wrong| wrong.until.is_none()) {
                    wrong.place = match wrong.place {
                        Place::Part(part) if part == *one => Place::Part(*other),
                        Place::Part(part) if part == *other => Place::Part(*one),
                        place => place,
                    };
                }
            }
            Phrase::Work(..) | Phrase::MendWire(_) | Phrase::Release(_) => {
                let still = |wrong: &Wrong| match wrong.place {
                    Place::Part(part) => car.vehicle.defects().any(|defect| defect.part() == part),
                    Place::Wire(wire) => car.harness.fault(wire).is_some(),
                    Place::Signal(signal) => car.holds.iter().any(|(held, _)| held == signal),
                };
                for wrong in &mut self.list {
                    if wrong.until.is_none() && !still(wrong) {
                        wrong.until = Some(now);
                    }
                }
            }
            _ => {}
        }
    }

    fn broke(&mut self, now: CarInstant, place: Place, phrase: &Phrase) {
        for wrong in &mut self.list {
            if wrong.place == place && wrong.until.is_none() {
                wrong.until = Some(now);
            }
        }
        if self.list.len() == MOST
            && let Some(oldest) = self.list.iter().position(|wrong| wrong.until.is_some())
        {
            self.list.remove(oldest);
        }
        self.list.push(Wrong {
            place,
            what: phrase.to_string(),
            from: now,
            until: None,
        });
    }

    /// What was wrong at an instant.
    pub(crate) fn at(&self, when: CarInstant) -> impl Iterator<Item = &Wrong> + '_ {
        self.list
            .iter()
            .filter(move |wrong| wrong.from <= when && wrong.until.is_none_or(|until| until > when))
    }
}
