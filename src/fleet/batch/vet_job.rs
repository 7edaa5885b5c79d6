//! Every wing's latest check, looked through.

use super::{BatchFailure, BatchJob, CheckJob, ChosenCheck};
use crate::check::doubt::{DoubtSpec, Doubts};
use crate::check::{Fleet, History};
use crate::fleet::{Table, tables};
use crate::trim::TrimSpec;

/// Looks for doubtful readings in each wing's latest check with readings.
#[derive(Debug, Clone, Default)]
pub struct VetJob {
    spec: DoubtSpec,
}

impl VetJob {
    /// With these settings.
    #[must_use]
    pub fn new(spec: DoubtSpec) -> Self {
        Self { spec }
    }
}

impl CheckJob for VetJob {
    /// Looks through one check, and asks about how it was set up.
    fn check(&self, fleet: &Fleet, one: &ChosenCheck<'_>) -> Result<Doubts, BatchFailure> {
        let set = fleet.line_set(one.history);
        let found = self.spec.run(set, one.history, one.at, None);
        let doubts = found.map_err(|error| BatchFailure::of_check(one, &error))?;
        // a check that cannot be judged has its own refusal there
        let model = TrimSpec::default().prepare(set).ok();
        let trim = model.and_then(|model| model.judge_with(one.history, one.at, &doubts).ok());
        let asked = trim.map_or_else(Vec::new, |trim| trim.asked(&doubts));
        Ok(doubts.with_notes_first(asked))
    }
}

impl BatchJob for VetJob {
    type Answer = Doubts;

    fn name(&self) -> &'static str {
        "vet"
    }

    fn settings(&self) -> String {
        format!("{self:?}")
    }

    fn wing(&self, fleet: &Fleet, history: &History) -> Result<Option<Doubts>, BatchFailure> {
        ChosenCheck::latest(history).map(|one| self.check(fleet, &one)).transpose()
    }

    fn tables(&self, answers: &[Doubts]) -> Vec<Table> {
        vec![tables::vet_checks(answers), tables::vet_findings(answers)]
    }
}
