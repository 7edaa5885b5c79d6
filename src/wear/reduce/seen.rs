//! What the readings of a fleet can tell apart.

use rayon::prelude::*;

use crate::wear::Reduction;
use crate::wear::reduce::line_sums::LineSum;
use crate::wear::reduce::reduction::WingReduction;

/// What the line sums of a fleet can tell apart.
pub(crate) struct Seen {
    /// Whether a line was read more than once between two restarts.
    pub(crate) several_per_level: bool,
    /// Whether a wing was read at more than one check.
    pub(crate) several_checks: bool,
    /// By line set and line: whether it was read.
    read: Vec<Vec<bool>>,
}

impl Seen {
    fn none(reduction: &Reduction) -> Self {
        let read = reduction.line_sets.iter().map(|set| vec![false; set.lines().len()]).collect();
        Self { several_per_level: false, several_checks: false, read }
    }

    pub(crate) fn of(reduction: &Reduction) -> Self {
        let add = |mut seen: Self, wing: &WingReduction| {
            let mut before: Option<LineSum> = None;
            for line_sum in wing.line_sums.iter() {
                let same_level = before.is_some_and(|before| before.level == line_sum.level);
                seen.several_per_level |= same_level || line_sum.count > 1;
                seen.several_checks |= before.is_some_and(|before| before.check != line_sum.check);
                if !same_level {
                    let line = wing.levels.at(line_sum.level as usize).line;
                    if let Some(read) = seen.read.get_mut(wing.line_set()).and_then(|read| read.get_mut(line)) {
                        *read = true;
                    }
                }
                before = Some(line_sum);
            }
            seen
        };
        let none = || Self::none(reduction);
        reduction.wings.par_iter().fold(none, add).reduce(none, |seen, other| seen.and(&other))
    }

    fn and(mut self, other: &Self) -> Self {
        self.several_per_level |= other.several_per_level;
        self.several_checks |= other.several_checks;
        for (mine, theirs) in self.read.iter_mut().flatten().zip(other.read.iter().flatten()) {
            *mine |= theirs;
        }
        self
    }

    /// Line sets and lines that were read.
    pub(crate) fn lines(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        let of_set = |(set, read): (usize, &Vec<bool>)| {
            let lines = read.iter().enumerate().filter(|(_, read)| **read).map(|(line, _)| line);
            lines.map(|line| (set, line)).collect::<Vec<_>>()
        };
        self.read.iter().enumerate().flat_map(of_set)
    }
}
