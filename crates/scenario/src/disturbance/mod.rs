//! Disturbances: what goes wrong on cue between a tool and the car, so that the tool can be seen to survive it.
//!
//! Everything that is known of one stands in one row of `table`: its name, what it is done to, what may be said with it,
//! what it does, what a good tool does about it and where that rule stands. Grammar, help, `twotrip list disturbances` and
//! tests read the rows. What a row does to frames and answers is made in `sim`; a row is there once its effect is.

mod table;

use core::fmt::{self, Display, Formatter};

use twotrip_units::Ratio;

pub use table::Kind;

use crate::phrase::{occurrence_text, size_text};

/// Whose misbehaviour it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// Between the nodes: the line, the controllers, a gateway.
    Wire,
    /// An ECU itself.
    Ecu,
}

impl Subject {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Wire => "wire",
            Self::Ecu => "ECU",
        }
    }
}

/// What an identifier behind the name picks out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Picks {
    /// Nothing: none may be given.
    Nothing,
    /// The frames with this identifier, those of the tool too.
    Frames,
    /// The ECU that answers by this identifier.
    AnEcu,
}

/// How much of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// What the number is, for messages: `delay`.
    pub what: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The least and the most, in the unit.
    pub range: [f64; 2],
    /// What it is if none is given; `None`: it has to be given.
    pub usual: Option<f64>,
}

/// When it acts, of all the times at which it could.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Occurrence {
    /// Each time.
    Always,
    /// So many times, then it is over.
    Times(u32),
    /// This share of the times, by dice of its own.
    Chance(Ratio),
}

/// What may be said of when it acts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Often {
    /// `N times`, `once` or `P %`; this if nothing is said.
    Counted(Occurrence),
    /// Nothing: it lasts until it is switched off, or as long as its size says.
    Lasting,
}

/// A row of the table.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// The word for it.
    pub name: &'static str,
    /// What it is done to.
    pub subject: Subject,
    /// What an identifier picks out.
    pub picks: Picks,
    /// The number behind it, if there is one.
    pub size: Option<Size>,
    /// When it acts.
    pub often: Often,
    /// What it does, one line.
    pub meaning: &'static str,
    /// What a good tool does about it, one line.
    pub good_tool: &'static str,
    /// Where that stands.
    pub source: &'static str,
    /// A phrase that parses, to itself.
    pub example: &'static str,
}

/// An identifier of a frame, of 11 or 29 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Identifier {
    /// 11 bits, up to 7FF.
    Standard(u16),
    /// 29 bits, up to 1FFFFFFF.
    Extended(u32),
}

impl Identifier {
    /// Of three or eight hexadecimal digits, as identifiers are written.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        if !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            return None;
        }
        match text.len() {
            3 => u16::from_str_radix(text, 16)
                .ok()
                .filter(|id| *id <= 0x7FF)
                .map(Self::Standard),
            8 => u32::from_str_radix(text, 16)
                .ok()
                .filter(|id| *id <= 0x1FFF_FFFF)
                .map(Self::Extended),
            _ => None,
        }
    }
}

impl Display for Identifier {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Standard(id) => write!(f, "{id:03X}"),
            Self::Extended(id) => write!(f, "{id:08X}"),
        }
    }
}

/// A disturbance as it is asked for. `Display` gives the words behind `disturb`, which parse again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disturbance {
    /// Which.
    pub kind: Kind,
    /// Only these frames, or this ECU.
    pub on: Option<Identifier>,
    /// How much, in the unit of its row; zero where there is nothing to measure.
    pub size: f64,
    /// When.
    pub occurrence: Occurrence,
}

impl Disturbance {
    /// With what its row says of what is left out; of a size that has to be given the least.
    #[must_use]
    pub fn of(kind: Kind) -> Self {
        let row = kind.row();
        Self {
            kind,
            on: None,
            size: row.size.map_or(0.0, |size| size.usual.unwrap_or(size.range[0])),
            occurrence: kind.usual_occurrence(),
        }
    }
}

impl Kind {
    /// The kind of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        let is_it = |kind: &&Self| kind.name().eq_ignore_ascii_case(name);
        Self::ALL.iter().find(is_it).copied()
    }

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.row().name
    }

    /// When it acts if nothing is said.
    #[must_use]
    pub const fn usual_occurrence(self) -> Occurrence {
        match self.row().often {
            Often::Counted(usual) => usual,
            Often::Lasting => Occurrence::Always,
        }
    }
}

impl Display for Disturbance {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        f.write_str(self.kind.name())?;
        if let Some(on) = self.on {
            write!(f, " {on}")?;
        }
        if let Some(size) = self.kind.row().size {
            write!(f, " {}", size_text(size, self.size))?;
        }
        if self.occurrence == self.kind.usual_occurrence() {
            return Ok(());
        }
        match occurrence_text(self.occurrence) {
            Some(words) => write!(f, " {words}"),
            None => Ok(()),
        }
    }
}
