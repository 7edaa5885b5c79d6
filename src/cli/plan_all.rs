//! `linedrift plan --all`: every wing's latest check.

use linedrift::fleet::batch::{BatchJob, PlanJob};
use linedrift::plan::{Plan, PlansDocument, plans_table};
use linedrift::report::text;

use super::args::Tables;
use super::input::Input;
use super::output::Output;
use super::progress::Progress;
use super::{Failure, parts};

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
    let demo = fleet.is_demo();
    let output = if json {
        let document = PlansDocument::new(&batch.answers, &failed);
        Output::json(&if demo { document.marked_demo() } else { document })?
    } else {
        let (quiet, plans): (Vec<Plan>, Vec<Plan>) = batch.answers.into_iter().partition(Plan::has_nothing_to_do);
        let note = if demo { text::demo_note() } else { String::new() };
        let rest = format!("Wings with nothing to do: {}.\n", quiet.len());
        Output::text(format!("{}{note}\n{}{rest}", text::cautions(), plans_table(&plans)))
    };
    Ok(output.with_failed(failed))
}
