//! The check of a wing to work on.

use crate::check::{Check, Fleet, History, Stage};

/// One check of one wing.
#[derive(Debug, Clone, Copy)]
pub struct ChosenCheck<'a> {
    /// The wing.
    pub history: &'a History,
    /// Index of the check in the history.
    pub at: usize,
    /// The check.
    pub check: &'a Check,
}

impl<'a> ChosenCheck<'a> {
    /// The wing's latest check with readings.
    #[must_use]
    pub fn latest(history: &'a History) -> Option<Self> {
        let at = history.checks.iter().rposition(|check| !check.readings.is_empty())?;
        Some(Self { history, at, check: history.checks.get(at)? })
    }

    /// The wing's check of this id.
    #[must_use]
    pub fn named(history: &'a History, id: &str) -> Option<Self> {
        let at = history.checks.iter().position(|check| check.id == id)?;
        Some(Self { history, at, check: history.checks.get(at)? })
    }

    /// Index of the check before adjusting, where this one was taken after it: the last with readings at the same hours.
    #[must_use]
    pub fn found(&self) -> Option<usize> {
        let before = self.history.checks.get(..self.at).unwrap_or_default();
        let as_found = |check: &Check| {
            check.stage == Stage::AsFound
                && check.hours_h.total_cmp(&self.check.hours_h).is_eq()
                && !check.readings.is_empty()
        };
        before.iter().rposition(as_found).filter(|_| self.check.stage == Stage::AsLeft)
    }

    /// Index of the check to compare this one with: the one before adjusting, else the last one before with readings.
    #[must_use]
    pub fn before(&self) -> Option<usize> {
        let before = self.history.checks.get(..self.at).unwrap_or_default();
        self.found().or_else(|| before.iter().rposition(|check| !check.readings.is_empty()))
    }
}

/// Each wing's latest check with readings, in the fleet's order; wings without one are left out.
#[must_use]
pub fn latest_checks(fleet: &Fleet) -> Vec<ChosenCheck<'_>> {
    fleet.histories().iter().filter_map(ChosenCheck::latest).collect()
}
