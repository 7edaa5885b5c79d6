//! What a doubtful reading most probably is.

use super::finding::{Explanation, FindingKind, OtherLine};
use super::ground::{Expected, Ground};
use super::hypothesis::{Hypothesis, PRIOR_OTHER, density, slips};
use crate::check::Reading;
use crate::stats::robust::median;

/// What is expected of one reading, in what the instrument shows.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hope {
    pub(super) mean_mm: f64,
    pub(super) sd_mm: f64,
}

impl Ground<'_> {
    /// What is expected of one reading: of its line, and of what its other repeats say where they agree with that.
    pub(super) fn hope(&self, reading: usize, repeats: &[usize], expected: &Expected, key: usize) -> Hope {
        let (mean, sd) = (expected.mean_mm[key], expected.sd_mm[key]);
        let others: Vec<f64> = repeats
            .iter()
            .filter(|at| **at != reading)
            .map(|at| self.check.readings[*at].reading_mm * self.cells.unit - self.cells.zero_mm[key])
            .collect();
        let zero = self.cells.zero_mm[key];
        let Some(read) = median(&others).filter(|read| (read - mean).abs() <= self.spec.flag_at * sd) else {
            return Hope { mean_mm: zero + mean, sd_mm: sd };
        };
        let error = expected.error_sd_mm.powi(2);
        let line = (sd * sd - error).max(0.01 * error);
        let share = line / (line + error / others.len() as f64);
        Hope { mean_mm: zero + mean + share * (read - mean), sd_mm: (error + line * (1.0 - share)).sqrt() }
    }

    /// The explanations of a doubtful reading, the likeliest first.
    pub(super) fn explain(&self, reading: &Reading, hope: Hope, expected: &Expected) -> Vec<Explanation> {
        let written = reading.reading_mm;
        let mut all = slips(written, hope.mean_mm, hope.sd_mm);
        let place = &self.set.lines()[reading.line];
        for (at, line) in self.set.lines().iter().enumerate() {
            if at == reading.line || !self.set.has(at, reading.side) {
                continue;
            }
            let apart = line.rank.abs_diff(place.rank);
            let near = match (line.row == place.row, apart) {
                (true, 1) => 0.3,
                (true, 2) => 0.07,
                (false, 0) => 0.05,
                (true, _) => 0.01,
                (false, _) => 0.002,
            };
            let other = reading.side.index() * self.layout.lines + at;
            let away = written - self.cells.zero_mm[other] - expected.mean_mm[other];
            let weight = PRIOR_OTHER * near * density(away, expected.sd_mm[other]);
            // exchanged with that line, its reading is this one's
            let theirs = Some(self.cells.shown_mm(other))
                .filter(|shown| (shown - hope.mean_mm).abs() <= self.spec.flag_at * hope.sd_mm)
                .filter(|_| expected.score(&self.cells.deviation_mm, other).abs() > self.spec.flag_at);
            all.push(Hypothesis {
                kind: Some(FindingKind::OtherLine),
                suggested_mm: Some(theirs.unwrap_or(hope.mean_mm.round())),
                other: Some(other),
                weight,
            });
        }
        let total: f64 = all.iter().map(|one| one.weight).sum::<f64>().max(f64::MIN_POSITIVE);
        all.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        let right = all.iter().find(|one| one.kind.is_none()).map_or(0.0, |one| one.weight);
        let mut explanations: Vec<Explanation> = all
            .iter()
            .filter_map(|one| {
                Some(Explanation {
                    kind: one.kind?,
                    suggested_mm: one.suggested_mm,
                    other: one.other.map(|key| self.name(key)),
                    probability: one.weight / total,
                })
            })
            .collect();
        // far off, but no slip explains it better than chance does: odd
        if explanations.first().is_some_and(|best| best.probability * total < right)
            && let Some(odd) = explanations.iter().position(|one| one.kind == FindingKind::Odd)
        {
            let odd = explanations.remove(odd);
            explanations.insert(0, odd);
        }
        let mut first = true;
        explanations.retain(|one| std::mem::take(&mut first) || one.probability >= 0.01);
        explanations
    }

    /// A line by its name.
    pub(super) fn name(&self, key: usize) -> OtherLine {
        OtherLine { side: self.layout.side(key), line: self.set.lines()[key % self.layout.lines].name.clone() }
    }
}
