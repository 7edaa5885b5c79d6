//! What a fit rests on, counted.

use super::WingReduction;

/// What a fit rests on.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Counts {
    pub(super) readings: usize,
    pub(super) checks: usize,
    pub(super) lines: usize,
    pub(super) restarted_lines: usize,
}

impl Counts {
    pub(super) fn of(wing: &WingReduction) -> Self {
        let mut counts = Self::default();
        let mut checked = vec![false; wing.hours_h.len()];
        let (mut last_level, mut last_line) = (None, None);
        for cell in wing.cells.iter() {
            counts.readings += cell.count as usize;
            checked[cell.check as usize] = true;
            if last_level.replace(cell.level) == Some(cell.level) {
                continue;
            }
            let level = wing.levels.at(cell.level as usize);
            counts.restarted_lines += usize::from(level.epoch > 0);
            counts.lines +=
                usize::from(last_line.replace((level.side, level.line)) != Some((level.side, level.line)));
        }
        counts.checks = checked.into_iter().filter(|checked| *checked).count();
        counts
    }

    pub(super) fn and(self, other: Self) -> Self {
        Self {
            readings: self.readings + other.readings,
            checks: self.checks + other.checks,
            lines: self.lines + other.lines,
            restarted_lines: self.restarted_lines + other.restarted_lines,
        }
    }
}
