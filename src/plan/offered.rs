//! Steps that a workshop offers, in place of the usual ones.

use serde::{Deserialize, Serialize};

use crate::check::ActionKind;

/// One kind of step with what it does and costs; what is `None` is as usual.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OfferedStep {
    /// Kind; not `replace`, which no plan proposes.
    pub kind: ActionKind,
    /// Change of length, mm, negative shortens: of one turn, of a lark's head, of one turn taken out, of the small link or
    /// splice (which need it). At most 500 either way. A wing's own measured step goes before it.
    pub change_mm: Option<f64>,
    /// Standard uncertainty of that change, mm, 0 … 100.
    pub standard_mm: Option<f64>,
    /// Price of the action at the riser, in lines off by their tolerance, 0 … 1000.
    pub price: Option<f64>,
    /// Most turns at one place (1 … 10); 1 for the other kinds.
    pub most: Option<u32>,
}

/// A field of an offered step that cannot be so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OfferedFault {
    /// Its name: `action`, `change_mm`, `spread_mm`, `price` or `most`.
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
        Self { kind, change_mm: None, standard_mm: None, price: None, most: None }
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
            (ActionKind::SmallLink | ActionKind::Splice, None) => {
                return fault("change_mm", None, "a length (this step has no usual one)");
            }
            (ActionKind::Turn | ActionKind::LarksHead, Some(change)) if !(-500.0..0.0).contains(&change) => {
                return fault("change_mm", Some(change), "a shortening, below 0 and at least -500");
            }
            (ActionKind::RemoveLoop | ActionKind::SmallLink, Some(change)) if !(change > 0.0 && change <= 500.0) => {
                return fault("change_mm", Some(change), "a lengthening, above 0 and at most 500");
            }
            (ActionKind::Splice, Some(change)) if !(change != 0.0 && change.abs() <= 500.0) => {
                return fault("change_mm", Some(change), "not 0, at most 500 either way");
            }
            _ => {}
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
