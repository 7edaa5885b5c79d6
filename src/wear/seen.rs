//! What the readings of a fleet can tell apart.

use rayon::prelude::*;

use super::Reduction;
use super::cells::Cell;
use super::reduction::WingReduction;

/// What the cells of a fleet can tell apart.
pub(super) struct Seen {
    /// Whether a line was read more than once between two restarts.
    pub(super) several_per_level: bool,
    /// Whether a wing was read at more than one check.
    pub(super) several_checks: bool,
    /// By line set and line: whether it was read.
    read: Vec<Vec<bool>>,
}

impl Seen {
    fn none(reduction: &Reduction) -> Self {
        let read = reduction.line_sets.iter().map(|set| vec![false; set.lines().len()]).collect();
        Self { several_per_level: false, several_checks: false, read }
    }

    pub(super) fn of(reduction: &Reduction) -> Self {
        let add = |mut seen: Self, wing: &WingReduction| {
            let mut before: Option<Cell> = None;
            for cell in wing.cells.iter() {
                let same_level = before.is_some_and(|before| before.level == cell.level);
                seen.several_per_level |= same_level || cell.count > 1;
                seen.several_checks |= before.is_some_and(|before| before.check != cell.check);
                if !same_level {
                    let line = wing.levels.at(cell.level as usize).line;
                    if let Some(read) = seen.read.get_mut(wing.line_set()).and_then(|read| read.get_mut(line)) {
                        *read = true;
                    }
                }
                before = Some(cell);
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
    pub(super) fn lines(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        let of_set = |(set, read): (usize, &Vec<bool>)| {
            let lines = read.iter().enumerate().filter(|(_, read)| **read).map(|(line, _)| line);
            lines.map(|line| (set, line)).collect::<Vec<_>>()
        };
        self.read.iter().enumerate().flat_map(of_set)
    }
}
