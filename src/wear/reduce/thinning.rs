//! Wings with more checks than a fit takes.

use std::borrow::Cow;

use crate::check::History;
use crate::wear::Diagnostic;
use crate::wear::reduce::line_sums::LineSum;
use crate::wear::reduce::reduction::{Reduction, WingReduction};

/// Most checks of one wing in a fit: the work of one evaluation grows with their cube. A wing that is measured every month has as many
/// after 16 years.
pub(crate) const MOST_CHECKS: usize = 200;
/// Of these, the latest, one after the other: what the wing is like now hangs on them.
const LATEST: usize = 50;

/// Places of the checks that are kept: the latest, and of those before as many as there is room for, spread evenly from the first.
fn kept(checks: usize) -> Vec<usize> {
    let before = checks.saturating_sub(LATEST);
    let room = MOST_CHECKS - LATEST;
    if before <= room {
        return (0..checks).collect();
    }
    (0..room).map(|k| k * before / room).chain(before..checks).collect()
}

impl WingReduction {
    /// The wing with so many of its checks that a fit can hold them; levels stay as all checks and actions made them.
    pub(crate) fn thinned(self) -> Self {
        let checks = self.record.checks.len();
        if checks <= MOST_CHECKS {
            return self;
        }
        let kept = kept(checks);
        let mut place: Vec<Option<u32>> = vec![None; checks];
        for (to, from) in (0..).zip(&kept) {
            place[*from] = Some(to);
        }
        let line_sums: Vec<LineSum> = self
            .line_sums
            .iter()
            .filter_map(|sum| Some(LineSum { check: place.get(sum.check as usize).copied().flatten()?, ..sum }))
            .collect();
        let of = |from: &usize| self.record.checks[*from].clone();
        let record = History { checks: kept.iter().map(of).collect(), ..self.record };
        let hours_h = record.checks.iter().map(|check| check.hours_h).collect();
        Self { record, hours_h, line_sums: line_sums.into(), ..self }
    }

    fn is_long(&self) -> bool {
        self.record.checks.len() > MOST_CHECKS
    }
}

impl Reduction {
    /// The same with so many checks of each wing that a fit can hold them.
    pub(crate) fn thinned(reduction: Cow<'_, Self>) -> Cow<'_, Self> {
        if !reduction.wings.iter().any(WingReduction::is_long) {
            return reduction;
        }
        let mut out = reduction.into_owned();
        out.wings = out.wings.into_iter().map(WingReduction::thinned).collect();
        let (unread, read) = out.wings.into_iter().partition(|wing| wing.line_sums.is_empty());
        out.wings = read;
        out.unread.extend::<Vec<WingReduction>>(unread);
        Cow::Owned(out)
    }

    /// That checks were left out, and of which wings.
    pub(crate) fn left_out(&self) -> Option<Diagnostic> {
        let long: Vec<&WingReduction> = self.wings.iter().filter(|wing| wing.is_long()).collect();
        let first = long.first()?;
        let (wing, checks) = (first.wing(), first.record.checks.len());
        let others = match long.len() - 1 {
            0 => String::new(),
            1 => ", and one more wing has more than that".to_owned(),
            more => format!(", and {more} more wings have more than that"),
        };
        Some(Diagnostic {
            code: "checks_left_out".to_owned(),
            message: format!(
                "wing `{wing}` has {checks} checks{others}: a fit takes {MOST_CHECKS} of a wing, the latest {LATEST} and {} spread \
                 evenly over those before; what the others say of its wear is left out",
                MOST_CHECKS - LATEST
            ),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_latest_checks_are_kept_and_the_others_evenly() {
        assert_eq!(kept(MOST_CHECKS), (0..MOST_CHECKS).collect::<Vec<_>>());
        for checks in [201, 202, 333, 5000] {
            let kept = kept(checks);
            assert_eq!((kept.len(), kept[0], kept[MOST_CHECKS - 1]), (MOST_CHECKS, 0, checks - 1), "{checks}");
            assert!(kept.is_sorted_by(|a, b| a < b), "{checks}");
            assert!(kept[MOST_CHECKS - LATEST..].windows(2).all(|pair| pair[1] == pair[0] + 1));
            let steps = kept[..MOST_CHECKS - LATEST].windows(2).map(|pair| pair[1] - pair[0]);
            let (least, most) = (steps.clone().min().unwrap(), steps.max().unwrap());
            assert!(most - least <= 1, "{checks}: {least} to {most}");
        }
    }
}
