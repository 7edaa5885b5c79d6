//! What the commands of one wing say of a check, in one answer.

use std::fmt::Write as _;

use linedrift::Date;
use linedrift::check::Fleet;
use linedrift::fleet::batch::{
    BatchFailure, BatchJob, CheckJob, ChosenCheck, DueJob, PlanJob, TrimJob, VetJob, WearSource,
};
use linedrift::forecast::{DueSpec, DueTable, LimitsTable};
use linedrift::plan::PlanSpec;
use linedrift::report::text;
use linedrift::trim::TrimSpec;
use linedrift::wear::{DemoFit, WearSpec};

use super::Failure;
use super::progress::Progress;

/// Accepted chance that a limit is passed before the next check, as `due` has it by default.
const RISK: f64 = 0.1;

/// What the commands of one wing say.
pub(super) struct Answer {
    pub(super) doubts: Option<linedrift::check::doubt::Doubts>,
    pub(super) trim: Option<linedrift::fleet::batch::JudgedCheck>,
    pub(super) plan: Option<linedrift::plan::Plan>,
    pub(super) due: Option<DueTable>,
    remarks: Vec<String>,
    pub(super) failed: Vec<String>,
}

/// The check of which everything is asked.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked<'a> {
    pub(super) fleet: &'a Fleet,
    pub(super) wing: &'a str,
    pub(super) check: &'a str,
    pub(super) has_hours: bool,
}

impl Answer {
    pub(super) fn new(asked: Asked<'_>, limits: &LimitsTable, progress: &Progress) -> Result<Self, Failure> {
        let fleet = asked.fleet;
        let one = fleet.history(asked.wing).and_then(|history| ChosenCheck::named(history, asked.check));
        let one = one.ok_or_else(|| Failure::Result("the check is not among the wing's".to_owned()))?;
        let mut failed = Vec::new();
        progress.step("looking for doubtful readings");
        let doubts = kept(VetJob::default().check(fleet, &one), &mut failed);
        progress.step("judging the check");
        let trim = kept(TrimJob::new(TrimSpec::default(), limits.clone()).check(fleet, &one), &mut failed);
        progress.step("searching for the plan");
        let plan = kept(PlanJob::new(PlanSpec::default(), limits.clone()).check(fleet, &one), &mut failed);
        let mut remarks = Vec::new();
        let mut due = None;
        if asked.has_hours {
            progress.step("drawing the forecast");
            let source = WearSource::fit(&WearSpec::default(), fleet)?;
            let spec = DueSpec::default().today(one.check.date).limits(limits.clone());
            let job = DueJob::from_source(&spec, fleet, &source, DemoFit::Refused)?;
            let answer = kept(job.wing(fleet, one.history), &mut failed).flatten();
            due = answer.map(|answer| DueTable::new(RISK, vec![answer]));
        } else {
            remarks.push("no next date without the hours flown: --hours 62.5".to_owned());
        }
        Ok(Self { doubts, trim, plan, due, remarks, failed })
    }

    pub(super) fn words(&self, today: Date) -> String {
        let mut out = format!("\n{}\n", text::cautions());
        if let Some(trim) = &self.trim {
            out.push_str(&text::trims(std::slice::from_ref(&trim.trim)));
            out.push_str(&text::changes(trim.change.as_slice()));
        }
        if let Some(doubts) = &self.doubts {
            let _ = write!(out, "\n{}", text::doubts(std::slice::from_ref(doubts)));
        }
        if let Some(plan) = &self.plan {
            let _ = write!(out, "\n{plan}\n");
        }
        if let Some(due) = &self.due {
            let _ = write!(out, "\n{}", text::due(due, today));
        }
        for remark in &self.remarks {
            let _ = writeln!(out, "\nnote: {remark}");
        }
        out
    }
}

fn kept<T>(answer: Result<T, BatchFailure>, failed: &mut Vec<String>) -> Option<T> {
    match answer {
        Ok(answer) => Some(answer),
        Err(failure) => {
            failed.push(failure.to_string());
            None
        }
    }
}
