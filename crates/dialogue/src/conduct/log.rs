//! What one tester did: requests counted, breaches counted, and the first few of each rule kept.

use alloc::vec::Vec;
use core::fmt;

use twotrip_can::address::TESTER;
use twotrip_units::BusInstant;

use super::Rule;
use crate::{Breach, Role};

/// Breaches of each rule that are kept with time and frame.
pub const EXAMPLES: usize = 5;

/// A tester, as far as its identifiers tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TesterId {
    /// The one with 11-bit identifiers, 7DF and 7E0 to 7E7.
    Standard,
    /// One with 29-bit identifiers, by its address.
    Extended(u8),
}

impl TesterId {
    /// The tester of a request, or of a flow control; nothing for what an ECU sends.
    pub(super) const fn of(role: Role) -> Option<Self> {
        if !role.is_testers() {
            return None;
        }
        Some(if role.is_extended() {
            Self::Extended(TESTER)
        } else {
            Self::Standard
        })
    }
}

impl fmt::Display for TesterId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Standard => f.write_str("tester with 11-bit identifiers"),
            Self::Extended(address) => write!(f, "tester {address:02X} with 29-bit identifiers"),
        }
    }
}

/// A breach with where it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Example {
    /// When.
    pub at: BusInstant,
    /// Number of the frame, as frames were numbered for [`Dialogue::on_frame`](crate::Dialogue::on_frame).
    pub frame: u64,
    /// In which role.
    pub role: Role,
    /// What broke the rule.
    pub breach: Breach,
}

/// Breaches of one rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tally {
    /// Which.
    pub rule: Rule,
    /// How many.
    pub count: u64,
    /// The first ones.
    pub examples: Vec<Example>,
}

impl Tally {
    /// Where the rule stands, or that it stands nowhere.
    #[must_use]
    pub fn source(&self) -> &'static str {
        self.examples.first().map_or("", |first| first.breach.rule())
    }
}

/// What one tester did.
#[derive(Clone, Debug)]
pub struct TesterLog {
    /// Who.
    pub id: TesterId,
    /// Requests to all.
    pub to_all: u64,
    /// Requests to one ECU.
    pub to_one: u64,
    /// When its first request came, and its last.
    pub span: Option<(BusInstant, BusInstant)>,
    /// Requests by service, in the order of first asking.
    pub services: Vec<(u8, u64)>,
    /// Requests that nobody answered.
    pub unanswered: u64,
    /// Rules that were broken, the gravest first.
    pub tallies: Vec<Tally>,
}

impl TesterLog {
    pub(super) const fn new(id: TesterId) -> Self {
        Self {
            id,
            to_all: 0,
            to_one: 0,
            span: None,
            services: Vec::new(),
            unanswered: 0,
            tallies: Vec::new(),
        }
    }

    /// All requests.
    #[must_use]
    pub const fn requests(&self) -> u64 {
        self.to_all.saturating_add(self.to_one)
    }

    #[inline]
    pub(super) fn on_request(&mut self, role: Role, service: u8, at: BusInstant) {
        let count = match role {
            Role::AskAll { .. } => &mut self.to_all,
            Role::Ask(_) | Role::Answer(_) => &mut self.to_one,
        };
        *count += 1;
        let (_, last) = self.span.get_or_insert((at, at));
        *last = at;
        match self.services.iter_mut().find(|(known, _)| *known == service) {
            Some((_, count)) => *count += 1,
            None => self.services.push((service, 1)),
        }
    }

    #[cold]
    pub(super) fn on_breach(&mut self, rule: Rule, example: Example) {
        let order = |rule: Rule| (rule.severity(), rule);
        let place = self
            .tallies
            .binary_search_by_key(&order(rule), |tally| order(tally.rule));
        let place = place.unwrap_or_else(|place| {
            let tally = Tally {
                rule,
                count: 0,
                examples: Vec::new(),
            };
            self.tallies.insert(place, tally);
            place
        });
        let tally = &mut self.tallies[place];
        tally.count = tally.count.saturating_add(1);
        if tally.examples.len() < EXAMPLES {
            tally.examples.push(example);
        }
    }
}
