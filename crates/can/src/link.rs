//! Disturbances on the line between one node and its bus, as data: delay, loss, bus errors.
//!
//! A [`Link`] holds the rules of one node. The in-memory bus asks it about each frame that the node sends or is about
//! to receive; a live shell can ask it the same way. Without rules there is no link and nothing is asked.
//!
//! There is no rule that falsifies data: on CAN a flipped bit is noticed and becomes an error frame and a repetition
//! (ISO 11898-1); a wrong payload is the fault of a node, and is made there.

use alloc::vec::Vec;
use core::time::Duration;

use rand_chacha::{ChaCha8Rng, rand_core::Rng};
use twotrip_units::Ratio;

use crate::{CanId, Frame};

/// Which way a frame goes, seen from the node at the end of the link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// From the node to the bus.
    Sent,
    /// From the bus to the node.
    Received,
}

/// What a rule does to a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// It comes later, and so do those behind it: a link keeps the order. Sent: it waits before the wire, and the node for
    /// its confirmation. Received: it was on the wire in time, and its sender knows nothing of it.
    Delay(Duration),
    /// It is lost. Sent: it never gets to the wire, though the node is told that it did. Received: the others have it.
    Drop,
    /// It is destroyed on the wire by an error frame, for everybody, and its sender tries again by itself.
    BusError,
}

/// When a rule acts on the frames that fit it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Occurrence {
    /// On all of them.
    Always,
    /// On `count` of them, after `skip` that are let pass.
    Counted {
        /// Frames let pass first.
        skip: u32,
        /// Frames acted on after that.
        count: u32,
    },
    /// On this share of them, by the dice of the link.
    Chance(Ratio),
}

/// One disturbance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkRule {
    /// Which way the frames go.
    pub way: Way,
    /// Only frames with this identifier, or all.
    pub id: Option<CanId>,
    /// What happens to them.
    pub effect: Effect,
    /// When.
    pub occurrence: Occurrence,
}

/// What becomes of a frame on its way over a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[must_use]
pub enum Verdict {
    /// It goes on at once.
    Pass,
    /// It goes on after this time, and not before those ahead of it.
    Delay(Duration),
    /// It is lost.
    Drop,
}

/// The rules of one node, and how far they have got. The first rule that acts on a frame decides.
#[derive(Clone, Debug)]
pub struct Link {
    rules: Vec<Running>,
    dice: ChaCha8Rng,
}

#[derive(Clone, Copy, Debug)]
struct Running {
    rule: LinkRule,
    /// Fitting frames so far; stays at its end.
    seen: u32,
}

impl Link {
    /// A link with these rules, in the order in which they are asked. `dice` belong to it alone: a stream of the run's
    /// seed, so that the same run meets the same losses.
    #[must_use]
    pub fn new(rules: impl IntoIterator<Item = LinkRule>, dice: ChaCha8Rng) -> Self {
        let rules = rules.into_iter().map(|rule| Running { rule, seen: 0 });
        Self {
            rules: rules.collect(),
            dice,
        }
    }

    /// Asks the rules for delay and loss about a frame; to be called once for each frame.
    pub fn on_frame(&mut self, way: Way, frame: &Frame) -> Verdict {
        match self.first(way, frame, |effect| effect != Effect::BusError) {
            Some(Effect::Delay(span)) => Verdict::Delay(span),
            Some(Effect::Drop) => Verdict::Drop,
            Some(Effect::BusError) | None => Verdict::Pass,
        }
    }

    /// Asks the rules for bus errors whether a frame is destroyed this time; to be called for each attempt to send it.
    pub fn on_attempt(&mut self, way: Way, frame: &Frame) -> bool {
        self.first(way, frame, |effect| effect == Effect::BusError)
            .is_some()
    }

    fn first(&mut self, way: Way, frame: &Frame, wanted: impl Fn(Effect) -> bool) -> Option<Effect> {
        let Self { rules, dice } = self;
        let fitting = rules.iter_mut().filter(|running| {
            let LinkRule {
                way: rule_way,
                id,
                effect,
                ..
            } = running.rule;
            rule_way == way && wanted(effect) && id.is_none_or(|id| id == frame.id())
        });
        fitting
            .into_iter()
            .find_map(|running| running.acts(dice).then_some(running.rule.effect))
    }
}

impl Running {
    fn acts(&mut self, dice: &mut ChaCha8Rng) -> bool {
        let before = self.seen;
        self.seen = self.seen.saturating_add(1);
        match self.rule.occurrence {
            Occurrence::Always => true,
            Occurrence::Counted { skip, count } => before >= skip && before - skip < count,
            Occurrence::Chance(share) => f64::from(dice.next_u32()) < share.fraction() * 4_294_967_296.0,
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use rand_chacha::rand_core::SeedableRng;

    fn link(rules: &[LinkRule]) -> Link {
        Link::new(rules.iter().copied(), ChaCha8Rng::seed_from_u64(7))
    }

    const fn rule(way: Way, id: Option<u16>, effect: Effect, occurrence: Occurrence) -> LinkRule {
        let id = match id {
            Some(id) => Some(CanId::Standard(id)),
            None => None,
        };
        LinkRule {
            way,
            id,
            effect,
            occurrence,
        }
    }

    fn frame(id: u16) -> Frame {
        Frame::padded(CanId::Standard(id), &[], 0)
    }

    #[test]
    fn a_rule_acts_on_its_way_and_its_identifier_only() {
        let mut link = link(&[rule(Way::Sent, Some(0x7E8), Effect::Drop, Occurrence::Always)]);
        assert_eq!(link.on_frame(Way::Sent, &frame(0x7E8)), Verdict::Drop);
        assert_eq!(link.on_frame(Way::Received, &frame(0x7E8)), Verdict::Pass);
        assert_eq!(link.on_frame(Way::Sent, &frame(0x7E9)), Verdict::Pass);
        assert!(!link.on_attempt(Way::Sent, &frame(0x7E8)));
        let extended = Frame::padded(CanId::Extended(0x7E8), &[], 0);
        assert_eq!(link.on_frame(Way::Sent, &extended), Verdict::Pass);
    }

    #[test]
    fn the_first_rule_that_acts_decides() {
        let span = Duration::from_millis(5);
        let third = Occurrence::Counted { skip: 2, count: 1 };
        let mut link = link(&[
            rule(Way::Sent, None, Effect::Drop, third),
            rule(Way::Sent, None, Effect::BusError, third),
            rule(Way::Sent, None, Effect::Delay(span), Occurrence::Always),
        ]);
        let verdicts: [_; 4] = core::array::from_fn(|_| link.on_frame(Way::Sent, &frame(1)));
        let late = Verdict::Delay(span);
        assert_eq!(verdicts, [late, late, Verdict::Drop, late]);
        let errors: [_; 4] = core::array::from_fn(|_| link.on_attempt(Way::Sent, &frame(1)));
        assert_eq!(
            errors,
            [false, false, true, false],
            "counted by attempts, not by frames"
        );
    }

    #[test]
    fn a_chance_is_met_and_repeats_with_its_seed() {
        let run = |percent| {
            let occurrence = Occurrence::Chance(Ratio::from_percent(percent));
            let mut link = link(&[rule(Way::Received, None, Effect::Drop, occurrence)]);
            core::array::from_fn::<bool, 10_000, _>(|_| {
                link.on_frame(Way::Received, &frame(1)) == Verdict::Drop
            })
        };
        let lost = |verdicts: &[bool]| verdicts.iter().filter(|lost| **lost).count();
        // 20 % of 10,000: 40 is the standard deviation of the count.
        assert!((1_800..2_200).contains(&lost(&run(20.0))), "{}", lost(&run(20.0)));
        assert_eq!(run(20.0), run(20.0));
        assert_eq!((lost(&run(0.0)), lost(&run(100.0))), (0, 10_000));
        assert_eq!(
            (lost(&run(-5.0)), lost(&run(f64::NAN))),
            (0, 0),
            "nonsense never acts"
        );
    }
}
