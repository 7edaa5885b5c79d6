//! Every wing's latest check, judged.

use super::{BatchError, BatchFailure, BatchJob, BatchSpec, CheckChoice, CheckJob, ChosenCheck, Watch};
use crate::check::{Fleet, History};
use crate::fleet::{Table, tables};
use crate::forecast::LimitsTable;
use crate::trim::{Trim, TrimChange, TrimSpec, compare};

/// Judges each wing's latest check with readings.
#[derive(Debug, Clone, Default)]
pub struct TrimJob {
    spec: TrimSpec,
    limits: LimitsTable,
}

/// A judged check.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedCheck {
    /// The check.
    pub trim: Trim,
    /// What changed since the check before it; of one taken after adjusting, since it was found.
    pub change: Option<TrimChange>,
}

/// Judged checks by wing, and what went wrong with others.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Judged {
    /// The checks.
    pub trims: Vec<Trim>,
    /// What changed since the check before; of one taken after adjusting, since it was found.
    pub changes: Vec<TrimChange>,
    /// Checks that could not be judged.
    pub failures: Vec<BatchFailure>,
}

impl TrimJob {
    /// With these settings, and limits by model.
    #[must_use]
    pub fn new(spec: TrimSpec, limits: LimitsTable) -> Self {
        Self { spec, limits }
    }

    /// Judges the chosen check or wing, or every wing.
    ///
    /// # Errors
    /// As [`BatchSpec::run_of`].
    pub fn judge(&self, fleet: &Fleet, choice: &CheckChoice, watch: &dyn Watch) -> Result<Judged, BatchError> {
        let batch = BatchSpec::default().run_of(fleet, choice, self, watch)?;
        let mut judged = Judged { failures: batch.failures, ..Judged::default() };
        for JudgedCheck { trim, change } in batch.answers {
            judged.trims.push(trim);
            judged.changes.extend(change);
        }
        Ok(judged)
    }
}

impl CheckJob for TrimJob {
    fn check(&self, fleet: &Fleet, one: &ChosenCheck<'_>) -> Result<JudgedCheck, BatchFailure> {
        let set = fleet.line_set(one.history);
        let spec = self.spec.clone().limits(*self.limits.of(&one.history.wing.model));
        let failed = |error| BatchFailure::of_check(one, &error);
        let model = spec.prepare(set).map_err(failed)?;
        let trim = model.judge(one.history, one.at).map_err(failed)?;
        let change = one.before().map(|at| model.judge(one.history, at).and_then(|before| compare(&before, &trim)));
        let change = change.transpose().map_err(failed)?;
        Ok(JudgedCheck { trim, change })
    }
}

impl BatchJob for TrimJob {
    type Answer = JudgedCheck;

    fn name(&self) -> &'static str {
        "trim"
    }

    fn settings(&self) -> String {
        format!("{self:?}")
    }

    fn wing(&self, fleet: &Fleet, history: &History) -> Result<Option<JudgedCheck>, BatchFailure> {
        ChosenCheck::latest(history).map(|one| self.check(fleet, &one)).transpose()
    }

    fn tables(&self, answers: &[JudgedCheck]) -> Vec<Table> {
        let trims: Vec<&Trim> = answers.iter().map(|judged| &judged.trim).collect();
        tables::TRIM.iter().map(|make| make(&trims)).collect()
    }
}
