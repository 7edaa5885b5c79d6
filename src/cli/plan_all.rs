//! `linedrift plan --all`: every wing's latest check.

use linedrift::forecast::LimitsTable;
use linedrift::plan::{Plan, PlanDocument, PlanSpec, plans_table};
use linedrift::report::text;
use rayon::prelude::*;
use serde::Serialize;

use super::args::Choice;
use super::input::Input;
use super::output::{Document, Output};
use super::{Failure, judging, plan};

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

pub(super) fn run(input: &Input, spec: &PlanSpec, limits: &LimitsTable, json: bool) -> Result<Output, Failure> {
    let fleet = &input.fleet;
    let outcomes: Vec<Result<Plan, String>> = judging::chosen(fleet, &Choice::default())?
        .into_par_iter()
        .map(|one| {
            let findings = plan::findings(fleet, one)?;
            let spec = limits.of(&one.history.wing.model).planning(spec.clone());
            let plan = spec.run(fleet.line_set(one.history), one.history, one.check, &findings);
            plan.map_err(|error| one.failed(&error))
        })
        .collect();
    let (mut plans, mut quiet, mut failed) = (Vec::new(), Vec::new(), Vec::new());
    for outcome in outcomes {
        match outcome {
            Ok(plan) if plan.before.outside == 0 && plan.actions.is_empty() => quiet.push(plan),
            Ok(plan) => plans.push(plan),
            Err(message) => failed.push(message),
        }
    }
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
