//! `linedrift plan --all`: every wing's latest check.

use linedrift::fleet::batch::{BatchJob, PlanJob};
use linedrift::plan::{Plan, PlanDocument, plans_table};
use linedrift::report::text;
use serde::Serialize;

use super::args::Tables;
use super::input::Input;
use super::output::{Document, Output};
use super::progress::Progress;
use super::{Failure, parts};

#[derive(Serialize)]
struct AllDocument<'a> {
    schema: &'static str,
    /// Wings with a check.
    wings: usize,
    /// Of the wings that are out of trim or have something to do.
    plans: Vec<PlanDocument>,
    /// Wings of which no line was read outside its tolerance, and nothing is to be done.
    nothing_to_do: Vec<&'a str>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    failed: &'a [String],
}

pub(super) fn run(
    input: &Input,
    job: &PlanJob,
    tables: &Tables,
    progress: Progress,
    json: bool,
) -> Result<Output, Failure> {
    let fleet = &input.fleet;
    let batch = parts::ask(fleet, job, &progress)?;
    tables.write(&job.tables(&batch.answers))?;
    drop(progress);
    let failed: Vec<String> = batch.failures.iter().map(ToString::to_string).collect();
    let is_quiet = |plan: &Plan| plan.before.outside == 0 && plan.actions.is_empty();
    let (quiet, plans): (Vec<Plan>, Vec<Plan>) = batch.answers.into_iter().partition(is_quiet);
    let output = if json {
        let documents = plans.iter().map(|plan| {
            let mut document = plan.document();
            document.demo = fleet.is_demo();
            document
        });
        let document = AllDocument {
            schema: "linedrift.plan-all/1",
            wings: plans.len() + quiet.len() + failed.len(),
            plans: documents.collect(),
            nothing_to_do: quiet.iter().map(|plan| plan.wing.as_str()).collect(),
            failed: &failed,
        };
        Output::json(&Document::new(document, fleet.is_demo()))?
    } else {
        let note = if fleet.is_demo() { text::demo_note() } else { String::new() };
        let rest = format!("{} wing(s) without a line outside: nothing to do.\n", quiet.len());
        Output::text(format!("{}{note}\n{}{rest}", text::cautions(), plans_table(&plans)))
    };
    Ok(output.with_failed(failed))
}
