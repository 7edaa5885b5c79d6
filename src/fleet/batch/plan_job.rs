//! The plan for every wing's latest check.

use std::collections::BTreeSet;

use super::{BatchFailure, BatchJob, CheckJob, ChosenCheck, VetJob};
use crate::check::{Fleet, History};
use crate::fleet::{Table, tables};
use crate::forecast::LimitsTable;
use crate::plan::{CurvePoint, Finding, Plan, PlanSpec};

/// Plans what to adjust after each wing's latest check with readings. No plan rests on a doubtful reading.
#[derive(Debug, Clone, Default)]
pub struct PlanJob {
    spec: PlanSpec,
    limits: LimitsTable,
}

impl PlanJob {
    /// With these settings, and limits by model.
    #[must_use]
    pub fn new(spec: PlanSpec, limits: LimitsTable) -> Self {
        Self { spec, limits }
    }

    /// Lines of a check with a doubtful reading, each once.
    ///
    /// # Errors
    /// [`BatchFailure`] when the check cannot be looked through.
    pub fn findings(fleet: &Fleet, one: &ChosenCheck<'_>) -> Result<Vec<Finding>, BatchFailure> {
        let doubts = VetJob::default().check(fleet, one)?;
        // a line read twice may be doubtful twice
        let lines: BTreeSet<_> = doubts.findings().iter().map(|finding| (finding.side, &finding.line)).collect();
        Ok(lines.into_iter().map(|(side, line)| Finding::new(side, line)).collect())
    }

    /// The plan for one check, given its [`PlanJob::findings`].
    ///
    /// # Errors
    /// [`BatchFailure`] when there is none.
    pub fn plan(&self, fleet: &Fleet, one: &ChosenCheck<'_>, findings: &[Finding]) -> Result<Plan, BatchFailure> {
        let plan = self.spec_of(one).run(fleet.line_set(one.history), one.history, one.check, findings);
        plan.map_err(|error| BatchFailure::of_check(one, &error))
    }

    /// The best plans with at most 0, 1, 2, … actions, for what a plan aims at.
    ///
    /// # Errors
    /// [`BatchFailure`] when there are none.
    pub fn curve(
        &self,
        fleet: &Fleet,
        one: &ChosenCheck<'_>,
        findings: &[Finding],
        plan: &Plan,
    ) -> Result<Vec<CurvePoint>, BatchFailure> {
        let spec = self.spec_of(one).aim(plan.aim);
        let curve = spec.curve(fleet.line_set(one.history), one.history, one.check, findings);
        curve.map_err(|error| BatchFailure::of_check(one, &error))
    }

    /// The settings for a wing, by the limits of its model.
    fn spec_of(&self, one: &ChosenCheck<'_>) -> PlanSpec {
        self.limits.of(&one.history.wing.model).planning(self.spec.clone())
    }
}

impl CheckJob for PlanJob {
    fn check(&self, fleet: &Fleet, one: &ChosenCheck<'_>) -> Result<Plan, BatchFailure> {
        self.plan(fleet, one, &Self::findings(fleet, one)?)
    }
}

impl BatchJob for PlanJob {
    type Answer = Plan;

    fn name(&self) -> &'static str {
        "plan"
    }

    fn settings(&self) -> String {
        format!("{self:?}")
    }

    fn wing(&self, fleet: &Fleet, history: &History) -> Result<Option<Plan>, BatchFailure> {
        ChosenCheck::latest(history).map(|one| self.check(fleet, &one)).transpose()
    }

    fn tables(&self, answers: &[Plan]) -> Vec<Table> {
        vec![tables::plans(answers), tables::plan_actions(answers), tables::plan_lines(answers)]
    }
}
