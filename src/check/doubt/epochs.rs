//! Since which check each line hangs as it does now.

use crate::check::{History, Stage};
use crate::wing::LineSet;

/// For each side and line the checks (by index) from which on its offset is a new one: those that first see an action on
/// its path, and `as_left` checks that no action explains, for the lines read in them. The same rule as the wear model's.
pub(super) struct Epochs {
    starts: Vec<Vec<usize>>,
}

impl Epochs {
    pub(super) fn new(set: &LineSet, history: &History) -> Self {
        let lines = set.lines().len();
        let mut starts = vec![Vec::new(); 2 * lines];
        let mut explained = vec![false; history.checks.len()];
        for action in &history.actions {
            let from = action.first_check_after(&history.checks);
            if let Some(seen) = explained.get_mut(from) {
                *seen = true;
            }
            for line in (0..lines).filter(|line| set.has(*line, action.side)) {
                if action.segment.is_none_or(|segment| set.path_indices(line).any(|on| on == segment)) {
                    starts[action.side.index() * lines + line].push(from);
                }
            }
        }
        for (index, check) in history.checks.iter().enumerate() {
            if check.stage == Stage::AsLeft && !explained[index] {
                for reading in check.readings.iter().filter(|reading| reading.line < lines) {
                    starts[reading.side.index() * lines + reading.line].push(index);
                }
            }
        }
        Self { starts }
    }

    /// Whether a line hangs at two checks (the earlier first) as it did.
    pub(super) fn same(&self, key: usize, earlier: usize, later: usize) -> bool {
        !self.starts[key].iter().any(|start| *start > earlier && *start <= later)
    }
}
