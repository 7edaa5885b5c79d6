//! A reduction that comes from a document, checked before it is one.

use std::collections::HashSet;

use serde::Deserialize;
use thiserror::Error;

use crate::wear::Reduction;
use crate::wear::reduce::reduction::WingReduction;
use crate::wing::LineSet;

/// Why a document is no reduction.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("wing `{wing}`: its {what} do not hold together")]
pub(crate) struct Unsound {
    wing: String,
    what: &'static str,
}

/// A reduction as a document gives it.
#[derive(Deserialize)]
pub(crate) struct ReductionRead {
    line_sets: Vec<LineSet>,
    wings: Vec<WingReduction>,
    unread: Vec<WingReduction>,
    covariates: Vec<String>,
}

impl TryFrom<ReductionRead> for Reduction {
    type Error = Unsound;

    fn try_from(read: ReductionRead) -> Result<Self, Unsound> {
        let ReductionRead { line_sets, wings, unread, covariates } = read;
        let mut seen: HashSet<&str> = HashSet::new();
        for wing in wings.iter().chain(&unread) {
            let unsound = |what| Unsound { wing: wing.wing().to_owned(), what };
            if !seen.insert(wing.wing()) {
                return Err(unsound("entries (it appears twice)"));
            }
            let set = line_sets.get(wing.line_set()).ok_or_else(|| unsound("line sets"))?;
            if let Some(what) = wing.fault(set, covariates.len()) {
                return Err(unsound(what));
            }
        }
        let filled = wings.iter().find(|wing| wing.line_sums.is_empty());
        let empty = unread.iter().find(|wing| !wing.line_sums.is_empty());
        if let Some(wing) = filled.or(empty) {
            return Err(Unsound { wing: wing.wing().to_owned(), what: "readings" });
        }
        let order = [&wings, &unread];
        if let Some(pair) = order.iter().flat_map(|all| all.windows(2)).find(|pair| pair[0].wing() > pair[1].wing()) {
            return Err(Unsound { wing: pair[0].wing().to_owned(), what: "place in the list and id" });
        }
        Ok(Self { line_sets, wings, unread, covariates })
    }
}

impl WingReduction {
    /// What does not hold together in a wing that was not reduced here: what its record and its sums give once more must be
    /// what stands there.
    fn fault(&self, set: &LineSet, covariates: usize) -> Option<&'static str> {
        let (lines, checks) = (set.lines().len(), self.record.checks.len());
        let bounded =
            self.record.actions.iter().all(|action| action.segment.is_none_or(|at| at < set.segments().len()))
                && self.levels.iter().all(|level| level.line < lines)
                && self.line_sums.iter().all(|line_sum| {
                    (line_sum.level as usize) < self.levels.len()
                        && (line_sum.check as usize) < checks
                        && line_sum.count > 0
                });
        if !bounded {
            return Some("indices");
        }
        let finite = self.covariates.iter().chain(&self.hours_h).all(|value| value.is_finite());
        if self.covariates.len() != covariates || self.hours_h.len() != checks || !finite {
            return Some("covariates and hours");
        }
        // (sum of squares)·n can not be below the square of the sum
        let possible = self.line_sums.iter().all(|line_sum| {
            let least = i128::from(line_sum.sum_um) * i128::from(line_sum.sum_um);
            line_sum.squares_um2.checked_mul(i128::from(line_sum.count)).is_none_or(|most| most >= least)
        });
        if !possible {
            return Some("sums");
        }
        let mut record = self.record.clone();
        record.sort();
        if record.checks != self.record.checks || record.actions != self.record.actions {
            return Some("checks and actions");
        }
        let again = Self::from_sums(set, record, self.covariates.clone(), self.sums(set));
        (again != *self).then_some("sums and restarts")
    }
}
