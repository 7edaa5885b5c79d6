//! The checks to judge, and their trim.

use linedrift::check::doubt::{DoubtError, DoubtSpec, Doubts};
use linedrift::check::{Check, Fleet, History, Stage};
use linedrift::forecast::{DueTable, LimitsTable, WingDue, WingFailure};
use linedrift::trim::{Trim, TrimChange, TrimSpec, compare};
use rayon::prelude::*;

use super::Failure;
use super::args::Choice;

/// Judged checks by wing, and what went wrong with others.
#[derive(Debug, Default)]
pub(super) struct Judged {
    pub(super) trims: Vec<Trim>,
    /// Of each judged check that was taken after adjusting, what changed since it was found.
    pub(super) changes: Vec<TrimChange>,
    pub(super) failed: Vec<String>,
}

/// One check to work on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Chosen<'a> {
    pub(super) history: &'a History,
    /// Index of the check in the history.
    pub(super) at: usize,
    pub(super) check: &'a Check,
}

impl<'a> Chosen<'a> {
    fn latest(history: &'a History) -> Option<Self> {
        let at = history.checks.iter().rposition(|check| !check.readings.is_empty())?;
        Some(Self { history, at, check: history.checks.get(at)? })
    }

    fn named(history: &'a History, id: &str) -> Option<Self> {
        let at = history.checks.iter().position(|check| check.id == id)?;
        Some(Self { history, at, check: history.checks.get(at)? })
    }

    /// The check before adjusting, where this one was taken after it: the last with readings at the same hours.
    fn found(&self) -> Option<&'a Check> {
        let before = self.history.checks.get(..self.at).unwrap_or_default().iter().rev();
        let as_found = |check: &&Check| {
            check.stage == Stage::AsFound
                && check.hours_h.total_cmp(&self.check.hours_h).is_eq()
                && !check.readings.is_empty()
        };
        before.filter(|_| self.check.stage == Stage::AsLeft).find(as_found)
    }

    /// What went wrong with this check, in words.
    pub(super) fn failed(&self, error: &impl std::fmt::Display) -> String {
        format!("wing `{}`, check `{}`: {error}", self.history.wing.id, self.check.id)
    }

    /// Its doubtful readings.
    pub(super) fn doubts(&self, fleet: &Fleet) -> Result<Doubts, DoubtError> {
        DoubtSpec::default().run(fleet.line_set(self.history), self.history, self.at, None)
    }
}

/// Judges the chosen check, or the latest check with readings of the chosen wing or of each wing.
pub(super) fn judge(
    fleet: &Fleet,
    choice: &Choice,
    spec: &TrimSpec,
    limits: &LimitsTable,
) -> Result<Judged, Failure> {
    let outcomes: Vec<Result<(Trim, Option<TrimChange>), String>> = chosen(fleet, choice)?
        .into_par_iter()
        .map(|one| {
            let (set, wing) = (fleet.line_set(one.history), &one.history.wing);
            let spec = limits.of(&wing.model).judging(spec.clone());
            let trim = spec.run(set, wing, one.check).map_err(|error| one.failed(&error))?;
            let found = one.found().map(|found| spec.run(set, wing, found).and_then(|found| compare(&found, &trim)));
            let change = found.transpose().map_err(|error| one.failed(&error))?;
            Ok((trim, change))
        })
        .collect();
    let mut judged = Judged::default();
    for outcome in outcomes {
        match outcome {
            Ok((trim, change)) => {
                judged.trims.push(trim);
                judged.changes.extend(change);
            }
            Err(failed) => judged.failed.push(failed),
        }
    }
    Ok(judged)
}

/// The chosen check, or the latest check with readings of the chosen wing or of each wing.
pub(super) fn chosen<'a>(fleet: &'a Fleet, choice: &Choice) -> Result<Vec<Chosen<'a>>, Failure> {
    if let Some(id) = &choice.check {
        let found = fleet.histories().iter().find_map(|history| Chosen::named(history, id));
        return found.map(|one| vec![one]).ok_or_else(|| Failure::Call(format!("the fleet has no check `{id}`")));
    }
    if let Some(id) = &choice.wing {
        known_wing(fleet, id)?;
    }
    Ok(fleet
        .histories()
        .iter()
        .filter(|history| choice.wing.as_ref().is_none_or(|id| history.wing.id == *id))
        .filter_map(Chosen::latest)
        .collect())
}

/// The chosen check, or the latest with readings of the chosen wing; without a choice, of the fleet's only wing.
pub(super) fn one_check<'a>(fleet: &'a Fleet, choice: &Choice) -> Result<Chosen<'a>, Failure> {
    if choice.check.is_none() && choice.wing.is_none() && fleet.histories().len() > 1 {
        let wings = fleet.histories().len();
        return Err(Failure::Call(format!("the fleet has {wings} wings: name one by --wing, or a check by --check")));
    }
    let no_check = || Failure::Result("no check with readings was found".to_owned());
    chosen(fleet, choice)?.into_iter().next().ok_or_else(no_check)
}

/// The named wing; without a name, the fleet's only one.
pub(super) fn one_wing<'a>(fleet: &'a Fleet, wing: Option<&str>) -> Result<&'a History, Failure> {
    match (wing, fleet.histories()) {
        (Some(id), _) => known_wing(fleet, id),
        (None, [only]) => Ok(only),
        (None, []) => Err(Failure::Result("the fleet has no wing".to_owned())),
        (None, many) => Err(Failure::Call(format!("the fleet has {} wings: name one by --wing", many.len()))),
    }
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
pub(super) fn only_due(table: &DueTable, wing: &str) -> DueTable {
    let of_wing = table
        .rows()
        .iter()
        .zip(table.details())
        .filter(|(row, _)| row.wing == wing)
        .map(|(row, detail)| WingDue { row: row.clone(), detail: detail.clone() });
    let failures = table.failures().iter().filter(|failure| failure.wing == wing).cloned();
    let one = DueTable::new(table.risk(), of_wing.collect()).with_failures(failures.collect());
    if table.is_demo() { one.marked_demo() } else { one }
}
