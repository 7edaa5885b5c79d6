//! `linedrift plan` after the work: recorded, compared, learnt from.

use std::fmt::Write as _;

use linedrift::check::{Check, Stage};
use linedrift::fleet::batch::{BatchFailure, ChosenCheck};
use linedrift::fleet::{FolderLock, WingWork, record_work};
use linedrift::plan::{Finding, LearnSpec, LearntFleet, Plan, PlanSpec, RecordedRow, as_left_of, recorded_after};
use linedrift::report::text;
use serde::Serialize;

use super::Failure;
use super::input::Input;
use super::output::{self, Output};
use super::plan::Args;

/// Writes the plan into the fleet folder as done.
pub(super) fn done(
    args: &Args,
    input: &Input,
    one: ChosenCheck<'_>,
    plan: &Plan,
    lock: Option<&FolderLock>,
) -> Result<RecordedRow, Failure> {
    let call = |message: String| Err(Failure::Call(message));
    let as_left = args.named_as_left(one)?;
    if let Some(check) = as_left.filter(|check| check.stage != Stage::AsLeft) {
        return call(format!("check `{}` is not an `as_left` check", check.id));
    }
    let date = args.date.or(as_left.map(|check| check.date)).unwrap_or(one.check.date);
    if date < one.check.date {
        return call(format!("the work of {date} lies before check `{}` of {}", one.check.id, one.check.date));
    }
    let known = recorded_after(one.history, one.check).len();
    if known > 0 && !args.again {
        return call(format!(
            "actions are recorded already after check `{}` of wing `{}` ({known}); --again adds these as well",
            one.check.id, one.history.wing.id
        ));
    }
    let work = WingWork {
        set: input.fleet.line_set(one.history),
        history: one.history,
        actions: plan.actions(date, one.check.hours_h, as_left.map(|check| check.id.as_str())),
        fittings: plan.fittings(one.history),
    };
    let written = record_work(&args.fleet, &[work], held(lock)?)?;
    Ok(RecordedRow {
        date,
        as_left: as_left.map(|check| check.id.clone()),
        actions: written.actions,
        fittings_changed: written.fittings_changed,
        fittings_new: written.fittings_new,
    })
}

/// The lock that was taken before the tables were read.
fn held(lock: Option<&FolderLock>) -> Result<&FolderLock, Failure> {
    lock.ok_or_else(|| Failure::Result("the folder was not there to be locked".to_owned()))
}

/// What was recorded, in a sentence.
pub(super) fn words(recorded: &RecordedRow, check: &Check) -> String {
    if recorded.actions == 0 {
        return "\nNothing was recorded: the plan has no action.\n".to_owned();
    }
    let mut out = format!(
        "\nRecorded: actions of {1} after check {2}: {0}; fittings: {3} changed, {4} new.\n",
        recorded.actions, recorded.date, check.id, recorded.fittings_changed, recorded.fittings_new
    );
    if recorded.as_left.is_none() {
        out.push_str("Measure again, and enter that check as `as_left` at the same hours.\n");
    }
    out
}

/// Compares recorded work with the check taken after it.
pub(super) fn achieved(
    args: &Args,
    input: &Input,
    spec: &PlanSpec,
    one: ChosenCheck<'_>,
    findings: &[Finding],
) -> Result<Output, Failure> {
    let as_left = match args.named_as_left(one)? {
        Some(check) => check,
        None => as_left_of(one.history, one.check).ok_or_else(|| {
            Failure::Result(failed(&one, &"no `as_left` check at the same hours follows it; name one by --as-left"))
        })?,
    };
    let set = input.fleet.line_set(one.history);
    let reached = spec
        .reached(set, one.history, one.check, as_left, findings)
        .map_err(|error| Failure::Result(failed(&one, &error)))?;
    let demo = input.fleet.is_demo();
    if args.common.json {
        return Output::json(&output::of_command("achieved", &reached.achieved, demo));
    }
    let note = if demo { text::demo_note() } else { String::new() };
    Ok(Output::text(format!("{}{note}\n{}", text::cautions(), reached.achieved)))
}

#[derive(Serialize)]
struct LearntDocument<'a> {
    schema: &'static str,
    #[serde(flatten)]
    learnt: &'a LearntFleet,
    fittings_changed: usize,
    fittings_new: usize,
}

/// Learns step sizes and writes them into the folder.
pub(super) fn learn(
    args: &Args,
    input: &Input,
    spec: &PlanSpec,
    lock: Option<&FolderLock>,
) -> Result<Output, Failure> {
    let fleet = &input.fleet;
    let learnt = LearnSpec::default().fit_fleet(spec, fleet)?;
    let works: Vec<WingWork<'_>> = fleet
        .histories()
        .iter()
        .map(|history| {
            let set = fleet.line_set(history);
            WingWork { set, history, actions: Vec::new(), fittings: learnt.fittings(spec, set, history) }
        })
        .collect();
    let written = record_work(&args.fleet, &works, held(lock)?)?;
    if args.common.json {
        let document = LearntDocument {
            schema: "linedrift.learnt/1",
            learnt: &learnt,
            fittings_changed: written.fittings_changed,
            fittings_new: written.fittings_new,
        };
        return Output::json(&output::document(document, fleet.is_demo()));
    }
    let mut out = format!("{learnt}");
    let _ = writeln!(
        out,
        "Written into `fittings`: `step_mm`, places: {} ({} of them new rows).",
        written.fittings_changed + written.fittings_new,
        written.fittings_new
    );
    let note = if fleet.is_demo() { text::demo_note() } else { String::new() };
    Ok(Output::text(format!("{}{note}\n{out}", text::cautions())))
}

/// What went wrong with a check, in words.
fn failed(one: &ChosenCheck<'_>, error: &impl std::fmt::Display) -> String {
    BatchFailure::of_check(one, error).to_string()
}
