//! Steps that a workshop offers, in place of the usual ones.

use serde::{Deserialize, Serialize};

use crate::check::ActionKind;

/// One kind of step with what it does and costs; what is `None` is as usual.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OfferedStep {
    /// Kind; not `replace`, which no plan proposes.
    pub kind: ActionKind,
    /// Change of length, mm, negative shortens: of one turn, of a lark's head, of one turn taken out, of the link, splice or
    /// adjuster of a riser, and the most of a stretch (which need it); none of `brake_handle` and `replace_line`, which
    /// change by what the lines need. At most 500 either way. A wing's own measured step goes before it.
    pub change_mm: Option<f64>,
    /// Standard uncertainty of that change, mm, 0 … 100.
    pub standard_mm: Option<f64>,
    /// Price of the action at the riser, in lines off by their tolerance, 0 … 1000.
    pub price: Option<f64>,
    /// Row whose riser has the adjuster (`None`: each of A–D); only of `riser`.
    pub row: Option<crate::wing::Row>,
    /// Most turns at one place (1 … 10); 1 for the other kinds.
    pub most: Option<u32>,
}

/// A field of an offered step that cannot be so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OfferedFault {
    /// Its name: `action`, `change_mm`, `spread_mm`, `price`, `row` or `most`.
    pub field: &'static str,
    /// Its value (`None`: missing).
    pub value: Option<f64>,
    /// What would have been right.
    pub expected: &'static str,
}

impl OfferedStep {
    /// A kind of step as usual.
    #[must_use]
    pub fn new(kind: ActionKind) -> Self {
        Self { kind, change_mm: None, standard_mm: None, price: None, row: None, most: None }
    }

    /// A step with the spread and price that the workshop gives.
    pub(super) fn priced(&self, step: super::Step) -> super::Step {
        let standard_mm = self.standard_mm.unwrap_or(step.standard_mm);
        super::Step { standard_mm, price: self.price.or(step.price), ..step }
    }

    /// Whether a workshop may offer several steps of this kind, each with a size of its own.
    #[must_use]
    pub(crate) fn comes_in_sizes(&self) -> bool {
        let Self { kind, .. } = self;
        matches!(kind, ActionKind::SmallLink | ActionKind::LargerLink | ActionKind::Splice | ActionKind::Riser)
    }

    /// The first field that cannot be so.
    #[must_use]
    pub fn fault(&self) -> Option<OfferedFault> {
        let fault = |field, value, expected| Some(OfferedFault { field, value, expected });
        let turns = matches!(self.kind, ActionKind::Turn | ActionKind::RemoveLoop);
        match (self.kind, self.change_mm) {
            (ActionKind::Replace, _) => {
                return fault("action", None, "a step that a plan can propose, not `replace`");
            }
            (ActionKind::SmallLink | ActionKind::LargerLink | ActionKind::Splice | ActionKind::Riser, None) => {
                return fault("change_mm", None, "a length (this step has no usual one)");
            }
            (ActionKind::Turn | ActionKind::LarksHead, Some(change)) if !(-500.0..0.0).contains(&change) => {
                return fault("change_mm", Some(change), "a shortening, below 0 and at least -500");
            }
            (ActionKind::ReplaceLine | ActionKind::BrakeHandle, Some(change)) => {
                return fault("change_mm", Some(change), "nothing: the change is what the lines need");
            }
            (ActionKind::Stretch, None) => return fault("change_mm", None, "the most to stretch, mm"),
            (
                ActionKind::RemoveLoop | ActionKind::SmallLink | ActionKind::LargerLink | ActionKind::Stretch,
                Some(change),
            ) if !(change > 0.0 && change <= 500.0) => {
                return fault("change_mm", Some(change), "a lengthening, above 0 and at most 500");
            }
            (ActionKind::Splice | ActionKind::Riser, Some(change)) if !(change != 0.0 && change.abs() <= 500.0) => {
                return fault("change_mm", Some(change), "not 0, at most 500 either way");
            }
            _ => {}
        }
        if self.row.is_some() && self.kind != ActionKind::Riser {
            return fault("row", None, "nothing: only `riser` is of a row");
        }
        if let Some(spread) = self.standard_mm.filter(|spread| !(0.0..=100.0).contains(spread)) {
            return fault("spread_mm", Some(spread), "0 to 100");
        }
        if let Some(price) = self.price.filter(|price| !(0.0..=1000.0).contains(price)) {
            return fault("price", Some(price), "0 to 1000");
        }
        match self.most {
            Some(most) if turns && !(1..=10).contains(&most) => fault("most", Some(f64::from(most)), "1 to 10"),
            Some(most) if !turns && most != 1 => {
                fault("most", Some(f64::from(most)), "1 (only turns come several at one place)")
            }
            _ => None,
        }
    }
}
