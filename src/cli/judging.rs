//! The checks to judge, and their trim.

use linedrift::check::{Fleet, History};
use linedrift::fleet::batch::{Batch, BatchFailure, BatchJob, ChosenCheck, JudgedCheck, TrimJob};
use linedrift::forecast::{LimitsTable, WingFailure};
use linedrift::trim::{Trim, TrimChange, TrimSpec};

use super::args::Choice;
use super::progress::Progress;
use super::{Failure, parts};

/// Judged checks by wing, and what went wrong with others.
#[derive(Debug, Default)]
pub(super) struct Judged {
    pub(super) trims: Vec<Trim>,
    /// What changed since the check before; of one taken after adjusting, since it was found.
    pub(super) changes: Vec<TrimChange>,
    pub(super) failed: Vec<String>,
}

/// Judges the chosen check, or the latest check with readings of the chosen wing or of each wing.
pub(super) fn judge(
    fleet: &Fleet,
    choice: &Choice,
    spec: &TrimSpec,
    limits: &LimitsTable,
    progress: &Progress,
) -> Result<Judged, Failure> {
    let job = TrimJob::new(spec.clone(), limits.clone());
    let batch = answers(fleet, choice, &job, |one| job.check(fleet, one), progress)?;
    let mut judged = Judged { failed: batch.failures.iter().map(ToString::to_string).collect(), ..Judged::default() };
    for JudgedCheck { trim, change } in batch.answers {
        judged.trims.push(trim);
        judged.changes.extend(change);
    }
    Ok(judged)
}

/// What a job answers for the chosen check or wing, or for every wing.
pub(super) fn answers<J: BatchJob>(
    fleet: &Fleet,
    choice: &Choice,
    job: &J,
    of_check: impl Fn(&ChosenCheck<'_>) -> Result<J::Answer, BatchFailure>,
    progress: &Progress,
) -> Result<Batch<J::Answer>, Failure> {
    if choice.is_all() {
        return parts::ask(fleet, job, progress);
    }
    let mut batch = Batch { answers: Vec::new(), failures: Vec::new(), without: 0 };
    for one in chosen(fleet, choice)? {
        match of_check(&one) {
            Ok(answer) => batch.answers.push(answer),
            Err(failure) => batch.failures.push(failure),
        }
    }
    Ok(batch)
}

/// The chosen check, or the latest check with readings of the chosen wing or of each wing.
pub(super) fn chosen<'a>(fleet: &'a Fleet, choice: &Choice) -> Result<Vec<ChosenCheck<'a>>, Failure> {
    if let Some(id) = &choice.check {
        let found = fleet.histories().iter().find_map(|history| ChosenCheck::named(history, id));
        return found.map(|one| vec![one]).ok_or_else(|| Failure::Call(format!("the fleet has no check `{id}`")));
    }
    if let Some(id) = &choice.wing {
        known_wing(fleet, id)?;
    }
    Ok(fleet
        .histories()
        .iter()
        .filter(|history| choice.wing.as_ref().is_none_or(|id| history.wing.id == *id))
        .filter_map(ChosenCheck::latest)
        .collect())
}

/// The chosen check, or the latest with readings of the chosen wing; without a choice, of the fleet's only wing.
pub(super) fn one_check<'a>(fleet: &'a Fleet, choice: &Choice) -> Result<ChosenCheck<'a>, Failure> {
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
