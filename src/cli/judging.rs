//! The checks to judge, and their trim.

use linedrift::check::{Check, Fleet, History};
use linedrift::forecast::{DueTable, WingDue, WingFailure};
use linedrift::trim::{Trim, TrimSpec};
use rayon::prelude::*;

use super::Failure;
use super::args::Choice;

/// Judged checks by wing, and what went wrong with others.
#[derive(Debug, Default)]
pub(super) struct Judged {
    pub(super) trims: Vec<Trim>,
    pub(super) failed: Vec<String>,
}

/// Judges the chosen check, or the latest check with readings of the chosen wing or of each wing.
pub(super) fn judge(fleet: &Fleet, choice: &Choice) -> Result<Judged, Failure> {
    let spec = TrimSpec::default();
    let outcomes: Vec<Result<Trim, String>> = chosen(fleet, choice)?
        .into_par_iter()
        .map(|(history, check)| {
            spec.run(fleet.line_set(history), &history.wing, check)
                .map_err(|error| format!("wing `{}`, check `{}`: {error}", history.wing.id, check.id))
        })
        .collect();
    let mut judged = Judged::default();
    for outcome in outcomes {
        match outcome {
            Ok(trim) => judged.trims.push(trim),
            Err(failed) => judged.failed.push(failed),
        }
    }
    Ok(judged)
}

fn chosen<'a>(fleet: &'a Fleet, choice: &Choice) -> Result<Vec<(&'a History, &'a Check)>, Failure> {
    if let Some(id) = &choice.check {
        let found = fleet
            .histories()
            .iter()
            .find_map(|history| Some((history, history.checks.iter().find(|check| check.id == *id)?)));
        return found.map(|one| vec![one]).ok_or_else(|| Failure::Call(format!("the fleet has no check `{id}`")));
    }
    if let Some(id) = &choice.wing {
        known_wing(fleet, id)?;
    }
    Ok(fleet
        .histories()
        .iter()
        .filter(|history| choice.wing.as_ref().is_none_or(|id| history.wing.id == *id))
        .filter_map(|history| Some((history, history.checks.iter().rfind(|check| !check.readings.is_empty())?)))
        .collect())
}

/// Refuses a wing that the fleet does not have.
pub(super) fn known_wing<'a>(fleet: &'a Fleet, id: &str) -> Result<&'a History, Failure> {
    fleet.history(id).ok_or_else(|| Failure::Call(format!("the fleet has no wing `{id}`")))
}

/// A wing without a next check, in words.
pub(super) fn failed_due(failure: &WingFailure) -> String {
    format!("wing `{}`: no next check: {}", failure.wing, failure.message)
}

/// The table with one wing left in it.
pub(super) fn only_due(table: &DueTable, wing: &str, demo: bool) -> DueTable {
    let of_wing = table
        .rows()
        .iter()
        .zip(table.details())
        .filter(|(row, _)| row.wing == wing)
        .map(|(row, detail)| WingDue { row: row.clone(), detail: detail.clone() });
    let failures = table.failures().iter().filter(|failure| failure.wing == wing).cloned();
    let one = DueTable::new(table.risk(), of_wing.collect()).with_failures(failures.collect());
    if demo { one.marked_demo() } else { one }
}
