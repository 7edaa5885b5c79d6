//! What a fit rests on, counted.

use crate::wear::WingReduction;

/// What a fit rests on.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Counts {
    pub(crate) readings: usize,
    pub(crate) checks: usize,
    pub(crate) lines: usize,
    pub(crate) restarted_lines: usize,
}

impl Counts {
    pub(crate) fn of(wing: &WingReduction) -> Self {
        let mut counts = Self::default();
        let mut checked = vec![false; wing.hours_h.len()];
        let (mut last_level, mut last_line) = (None, None);
        for line_sum in wing.line_sums.iter() {
            counts.readings += line_sum.count as usize;
            checked[line_sum.check as usize] = true;
            if last_level.replace(line_sum.level) == Some(line_sum.level) {
                continue;
            }
            let level = wing.levels.at(line_sum.level as usize);
            counts.restarted_lines += usize::from(level.epoch > 0);
            counts.lines +=
                usize::from(last_line.replace((level.side, level.line)) != Some((level.side, level.line)));
        }
        counts.checks = checked.into_iter().filter(|checked| *checked).count();
        counts
    }

    pub(crate) fn and(self, other: Self) -> Self {
        Self {
            readings: self.readings + other.readings,
            checks: self.checks + other.checks,
            lines: self.lines + other.lines,
            restarted_lines: self.restarted_lines + other.restarted_lines,
        }
    }
}
