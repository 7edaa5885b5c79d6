//! What is asked of every wing, and what a wing that fails leaves.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::ChosenCheck;
use crate::check::{Fleet, History};
use crate::fleet::Table;
use crate::fleet::tables::listing;

/// A question to every wing of a fleet.
pub trait BatchJob: Sync {
    /// What one wing answers.
    type Answer: Send;

    /// A short name, part of file names: lower-case letters and `_`.
    fn name(&self) -> &'static str;

    /// Every setting that the answers depend on, as text: two jobs with the same text give the same answers.
    fn settings(&self) -> String;

    /// Asks one wing. `None`: the wing has nothing to ask of (no check yet).
    ///
    /// # Errors
    /// [`BatchFailure`] when this wing cannot answer; the others go on.
    fn wing(&self, fleet: &Fleet, history: &History) -> Result<Option<Self::Answer>, BatchFailure>;

    /// Answers as tables: the same tables with the same columns for any answers, none included.
    fn tables(&self, answers: &[Self::Answer]) -> Vec<Table>;
}

/// A question to one check, which a wing answers with its latest one.
pub trait CheckJob: BatchJob {
    /// Asks one check.
    ///
    /// # Errors
    /// [`BatchFailure`] when this check cannot answer.
    fn check(&self, fleet: &Fleet, one: &ChosenCheck<'_>) -> Result<Self::Answer, BatchFailure>;
}

/// A wing that could not answer, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BatchFailure {
    /// Wing id.
    pub wing: String,
    /// Id of the check that was worked on, where it was one.
    pub check: Option<String>,
    /// Why.
    pub message: String,
}

impl BatchFailure {
    /// A check that could not be worked on.
    #[must_use]
    pub fn of_check(one: &ChosenCheck<'_>, error: &impl fmt::Display) -> Self {
        Self { wing: one.history.wing.id.clone(), check: Some(one.check.id.clone()), message: error.to_string() }
    }

    /// A wing that could not be worked on.
    #[must_use]
    pub fn of_wing(wing: &str, error: &impl fmt::Display) -> Self {
        Self { wing: wing.to_owned(), check: None, message: error.to_string() }
    }
}

impl fmt::Display for BatchFailure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "wing `{}`", self.wing)?;
        if let Some(check) = &self.check {
            write!(f, ", check `{check}`")?;
        }
        write!(f, ": {}", self.message)
    }
}

listing! {
    /// Failures as a table, under a name that all jobs share.
    FAILURES = "failures", "wing that failed";
    fn failures[](failures: &[BatchFailure]) for failure in failures;
    text "wing", "", "wing id" => &failure.wing;
    text "check", "", "check id; empty where it was none" => failure.check.as_deref();
    text "message", "", "why" => &failure.message;
}

/// Failures of a job as a table.
pub(super) fn failure_table(job: &str, failed: &[BatchFailure]) -> Table {
    Table { name: format!("{job}_failures"), ..failures(failed) }
}
