//! Work that was recorded after a check, and what it reached.

use super::{Achieved, Finding, Plan, PlanError, PlanSpec};
use crate::check::{Action, Check, History, Stage};
use crate::wing::LineSet;

/// The actions recorded as the work that followed a check: not yet seen by it, at its hours or later, and before the hours
/// of the next check that was found without adjusting.
#[must_use]
pub fn recorded_after(history: &History, check: &Check) -> Vec<Action> {
    let Some(at) = history.checks.iter().position(|known| known.id == check.id) else { return Vec::new() };
    let later = history.checks.get(at + 1..).unwrap_or_default();
    let next = later.iter().find(|next| next.stage == Stage::AsFound && next.hours_h > check.hours_h);
    let follows = |action: &&Action| {
        action.hours_h >= check.hours_h
            && action.first_check_after(&history.checks) > at
            && next.is_none_or(|next| action.hours_h < next.hours_h)
    };
    history.actions.iter().filter(follows).cloned().collect()
}

/// The check taken after adjusting what a check had found: the first `as_left` one at its hours.
#[must_use]
pub fn as_left_of<'a>(history: &'a History, check: &Check) -> Option<&'a Check> {
    let at = history.checks.iter().position(|known| known.id == check.id)?;
    history
        .checks
        .get(at + 1..)?
        .iter()
        .find(|later| later.stage == Stage::AsLeft && later.hours_h.total_cmp(&check.hours_h).is_eq())
}

/// Work that was recorded, as a plan, and what the check after it shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Reached {
    /// The recorded actions as a plan for the check before.
    pub plan: Plan,
    /// What they reached.
    pub achieved: Achieved,
}

impl PlanSpec {
    /// Compares the work recorded after a check with the check taken after it. What the work should have left is worked out
    /// from the recorded changes of length, whatever was planned.
    ///
    /// # Errors
    /// [`PlanError::NotComparable`] when no work is recorded or too few lines were read at both checks; otherwise as
    /// [`PlanSpec::what_if`].
    pub fn reached(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        as_left: &Check,
        findings: &[Finding],
    ) -> Result<Reached, PlanError> {
        let actions = recorded_after(history, check);
        if actions.is_empty() {
            let (planned, check) = (check.id.clone(), as_left.id.clone());
            return Err(PlanError::NotComparable { check, planned, shared: 0, actions: 0 });
        }
        let plan = self.what_if(set, history, check, findings, &actions)?;
        let achieved = plan.achieved(self, set, history, as_left)?;
        Ok(Reached { plan, achieved })
    }
}
