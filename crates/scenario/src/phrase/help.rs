//! What can be said, for `twotrip list phrases`: worked out from the grammar's own table.

use super::{
    forms::FORMS,
    rule::{Explanation, Rule, Slot},
};

/// One kind of phrase, explained.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Help {
    /// How it is written: capitals stand for what the writer fills in, `|` parts choices, `[ ]` may be left out.
    pub pattern: String,
    /// What it does, one line.
    pub meaning: &'static str,
    /// A phrase that parses.
    pub example: &'static str,
    /// What may stand for the words in capitals.
    pub slots: Vec<Slot>,
}

impl Help {
    /// Of a rule.
    pub(super) fn of<T>(rule: &dyn Rule<Out = T>, meaning: &'static str, example: &'static str) -> Self {
        let mut explanation = Explanation::default();
        rule.explain(&mut explanation);
        Self {
            pattern: explanation.pattern,
            meaning,
            example,
            slots: explanation.slots,
        }
    }
}

/// All kinds of phrases, in the order in which a scenario uses them.
#[must_use]
pub fn help() -> Vec<Help> {
    FORMS
        .iter()
        .map(|form| Help::of(form.rule, form.meaning, form.example))
        .collect()
}
