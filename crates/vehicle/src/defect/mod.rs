//! What can be wrong with the car, and what kind of work cures it.
//!
//! A defect moves physical figures, the [`Knobs`]; nothing here knows codes. One table a subject: [`air`], [`breathing`],
//! [`evap`], [`sensor`], [`fuel`], [`exhaust`]. A row says all there is to know of one defect: how it is named, how large it may be, what is seen of it,
//! what cures it and what it makes of the knobs. Sizes: our own choice, within what published service information
//! describes.
//!
//! A part has one defect at a time, the latest.

mod air;
mod breathing;
mod course;
mod electrical;
mod entry;
mod evap;
mod exhaust;
mod fuel;
mod gearbox;
mod heat;
mod ignition;
mod module;
mod part;
mod sensor;
mod work;

use alloc::vec::Vec;
use core::fmt;

use twotrip_units::Limit;

use crate::knobs::Knobs;

pub(crate) use course::{Bumps, Circumstances};
pub use course::{Course, When};
pub use entry::{Entry, Size};
pub use part::Part;
pub use work::{Outcome, Work};

/// The tables.
static TABLES: &[&[Entry]] = &[
    evap::ENTRIES,
    sensor::ENTRIES,
    air::ENTRIES,
    breathing::ENTRIES,
    breathing::CAM,
    breathing::CAM_2,
    heat::ENTRIES,
    fuel::ENTRIES,
    exhaust::ENTRIES,
    electrical::ENTRIES,
    ignition::ENTRIES,
    module::ENTRIES,
    gearbox::ENTRIES,
    gearbox::VALVES,
];

/// Every defect that can be set.
pub fn catalogue() -> impl Iterator<Item = &'static Entry> + Clone {
    TABLES.iter().flat_map(|table| table.iter())
}

/// Something wrong with the car.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Defect {
    entry: &'static Entry,
    amount: f64,
    course: Course,
}

impl Defect {
    /// The defect of this part and word; the amount where the word wants one, in the unit of its entry.
    ///
    /// ```
    /// use twotrip_vehicle::{Defect, Part};
    ///
    /// let hole = Defect::named(Part::FillerNeck, "hole", Some(1.0)).unwrap();
    /// assert_eq!(hole.to_string(), "filler-neck hole 1 mm");
    /// ```
    #[must_use]
    pub fn named(part: Part, kind: &str, amount: Option<f64>) -> Option<Self> {
        catalogue()
            .find(|entry| entry.part == part && entry.kind == kind)?
            .defect(amount)
    }

    /// The same with another course.
    #[must_use]
    pub const fn with_course(mut self, course: Course) -> Self {
        self.course = course;
        self
    }

    /// The catalogue's entry.
    #[must_use]
    pub const fn entry(&self) -> &'static Entry {
        self.entry
    }

    /// The part that carries it.
    #[must_use]
    pub const fn part(&self) -> Part {
        self.entry.part
    }

    /// How much of it there is, in the unit of its entry; when it was set, if it grows.
    #[must_use]
    pub const fn amount(&self) -> f64 {
        self.amount
    }

    /// How it behaves in time.
    #[must_use]
    pub const fn course(&self) -> Course {
        self.course
    }
}

impl fmt::Display for Defect {
    /// As in phrases: `fuel-cap loose`, `filler-neck hole 1 mm growing 0.2 mm every 100 km`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let entry = self.entry;
        write!(f, "{} {}", entry.part.name(), entry.kind)?;
        if let Size::Amount { unit, .. } = entry.size {
            write!(f, " {} {unit}", plain(self.amount))?;
        }
        match self.course {
            Course::Steady => Ok(()),
            Course::Growing(rate) => write!(f, " growing {} {} every 100 km", plain(rate), entry.unit()),
            Course::When(when) => write!(f, " {when}"),
        }
    }
}

/// A number without the dust that changing its unit left on it.
fn plain(number: f64) -> f64 {
    libm::round(number * 1e6) / 1e6 + 0.0
}

/// A defect that the car has.
#[derive(Clone, Copy, Debug)]
struct Active {
    defect: Defect,
    /// Odometer when it began, m.
    since_metres: f64,
    present: bool,
    /// How much of it there is now.
    amount: f64,
}

/// The defects that the car has.
#[derive(Clone, Debug, Default)]
pub(crate) struct Defects {
    list: Vec<Active>,
    /// Whether one of them changes by itself.
    moving: bool,
}

impl Defects {
    /// Adds one; a part has one defect at a time, the latest.
    pub(crate) fn set(&mut self, defect: Defect, metres: f64) {
        self.list.retain(|active| active.defect.part() != defect.part());
        self.list.push(Active {
            defect,
            since_metres: metres,
            present: !matches!(defect.course, Course::When(_)),
            amount: defect.amount,
        });
        self.look_for_movers();
    }

    fn look_for_movers(&mut self) {
        self.moving = self
            .list
            .iter()
            .any(|active| active.defect.course != Course::Steady);
    }

    /// All of them, whether they show at the moment or not.
    pub(crate) fn iter(&self) -> impl Iterator<Item = Defect> + '_ {
        self.list.iter().map(|active| active.defect)
    }

    /// Works on a part.
    pub(crate) fn repair(&mut self, part: Part, work: Work) -> Outcome {
        let cured = |active: &Active| active.defect.entry.cures.contains(&(work, part));
        let Some(place) = self.list.iter().position(cured) else {
            return Outcome::NothingToCure;
        };
        let defect = self.list.remove(place).defect;
        self.look_for_movers();
        Outcome::Cured(defect)
    }

    /// Two like parts change places, each with what is wrong with it; says whether anything was.
    pub(crate) fn swap(&mut self, one: Part, other: Part) -> bool {
        let mut moved = false;
        for active in &mut self.list {
            let part = active.defect.part();
            let to = if part == one {
                other
            } else if part == other {
                one
            } else {
                continue;
            };
            let kind = active.defect.entry.kind;
            if let Some(entry) = catalogue().find(|entry| entry.part == to && entry.kind == kind) {
                active.defect.entry = entry;
                moved = true;
            }
        }
        moved
    }

    /// Whether one of them changes by itself.
    #[inline]
    pub(crate) const fn is_moving(&self) -> bool {
        self.moving
    }

    /// Lets those that change by themselves do so; says whether the knobs have to be worked out anew.
    pub(crate) fn follow(&mut self, now: &Circumstances) -> bool {
        let mut changed = false;
        for active in &mut self.list {
            let (present, amount) = match active.defect.course {
                Course::Steady => continue,
                Course::Growing(rate) => {
                    let grown = active.defect.amount + rate * (now.metres - active.since_metres) / 100_000.0;
                    // A hundredth of what is there makes no difference to anybody.
                    let step = 0.01 * active.amount.abs().at_least(1e-3);
                    let next = grown.at_most(active.defect.entry.most());
                    (
                        true,
                        if (next - active.amount).abs() > step {
                            next
                        } else {
                            active.amount
                        },
                    )
                }
                Course::When(when) => (when.holds(now, active.present), active.amount),
            };
            changed |= present != active.present || amount.to_bits() != active.amount.to_bits();
            active.present = present;
            active.amount = amount;
        }
        changed
    }

    /// What they make of the car.
    pub(crate) fn knobs(&self) -> Knobs {
        let mut knobs = Knobs::default();
        for active in self.list.iter().filter(|active| active.present) {
            (active.defect.entry.apply)(&mut knobs, active.amount);
        }
        knobs
    }
}

#[cfg(test)]
mod tests;
