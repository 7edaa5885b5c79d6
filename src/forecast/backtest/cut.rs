//! The fleet as it was known on a day.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::check::{Fleet, FleetError, History};

/// Hidden checks that share one fit.
#[derive(Debug, Clone)]
pub(super) struct Cut {
    /// Nothing dated after this day is known.
    pub(super) date: Date,
    /// The hidden check of each target, by wing: (wing, index of its check).
    pub(super) targets: Vec<(usize, usize)>,
}

/// The cuts of the targets: one per date, or as many as `most`, each of the dates that follow each other.
pub(super) fn cuts(fleet: &Fleet, targets: &[(usize, usize)], most: usize) -> Vec<Cut> {
    let mut by_date: BTreeMap<Date, Vec<(usize, usize)>> = BTreeMap::new();
    for &(wing, check) in targets {
        by_date.entry(fleet.histories()[wing].checks[check].date).or_default().push((wing, check));
    }
    let size = by_date.len().div_ceil(most.max(1)).max(1);
    let dates: Vec<(Date, Vec<(usize, usize)>)> = by_date.into_iter().collect();
    dates
        .chunks(size)
        .filter_map(|block| {
            let (date, _) = block.first()?;
            Some(Cut {
                date: *date,
                targets: block.iter().flat_map(|(_, targets)| targets.iter().copied()).collect(),
            })
        })
        .collect()
}

impl Cut {
    /// The fleet as known on the day: no check or action dated later, and no hidden check, nor what came of it.
    pub(super) fn known(&self, fleet: &Fleet) -> Result<Fleet, FleetError> {
        let histories = fleet
            .histories()
            .iter()
            .enumerate()
            .map(|(wing, history)| {
                let hidden = self.targets.iter().filter(|(of, _)| *of == wing).map(|(_, check)| *check).min();
                let mut known = before(history, hidden.unwrap_or(history.checks.len()));
                known.checks.retain(|check| check.date <= self.date);
                known.actions.retain(|action| action.date <= self.date);
                known
            })
            .collect();
        Fleet::new(fleet.line_sets().to_vec(), histories)
    }
}

/// A wing's history before one of its checks: the earlier checks, and the actions done by then (those that this check or an
/// earlier one is the first to see).
pub(super) fn before(history: &History, check: usize) -> History {
    History {
        checks: history.checks[..check].to_vec(),
        actions: history
            .actions
            .iter()
            .filter(|action| action.first_check_after(&history.checks) <= check)
            .cloned()
            .collect(),
        ..history.clone()
    }
}
