//! Every wing's latest check, looked through.

use super::{BatchFailure, BatchJob, CheckJob, ChosenCheck};
use crate::check::doubt::{DoubtSpec, Doubts};
use crate::check::{Fleet, History};
use crate::fleet::{Table, tables};

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
    fn check(&self, fleet: &Fleet, one: &ChosenCheck<'_>) -> Result<Doubts, BatchFailure> {
        let found = self.spec.run(fleet.line_set(one.history), one.history, one.at, None);
        found.map_err(|error| BatchFailure::of_check(one, &error))
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
