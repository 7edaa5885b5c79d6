//! What is known of one check, and what is expected of its lines.

use super::layout::Layout;
use super::level::{Anchors, Levels};
use super::past::Past;
use super::spec::{DoubtSpec, Expectation};
use super::table::Cells;
use crate::check::Check;
use crate::stats::robust::median;
use crate::wing::LineSet;

/// Everything that is known of one check.
pub(super) struct Ground<'a> {
    pub(super) spec: &'a DoubtSpec,
    pub(super) set: &'a LineSet,
    pub(super) check: &'a Check,
    pub(super) layout: Layout,
    pub(super) cells: Cells,
    pub(super) past: Past,
    /// By side and line: whether the line itself was worked on since the check before.
    pub(super) worked_on: Vec<bool>,
    pub(super) expectations: &'a [Expectation],
}

/// What is expected of each side and line at this check.
#[derive(Debug, Clone)]
#[allow(clippy::struct_field_names, reason = "the unit")]
pub(super) struct Expected {
    pub(super) mean_mm: Vec<f64>,
    /// Standard deviation of a right reading about it.
    pub(super) sd_mm: Vec<f64>,
    /// Standard deviation of one reading of a line whose length is known.
    pub(super) error_sd_mm: f64,
    pub(super) scale_mm: f64,
}

impl Expected {
    /// How far a value is from what is expected, in standard deviations.
    pub(super) fn score(&self, heard: &[f64], key: usize) -> f64 {
        (heard[key] - self.mean_mm[key]) / self.sd_mm[key]
    }
}

impl Ground<'_> {
    /// Whether somebody measured a line again and said that it is so.
    pub(super) fn is_confirmed(&self, key: usize) -> bool {
        self.check.is_confirmed(self.layout.side(key), key % self.layout.lines)
    }

    /// What is expected of each line when these deviations are heard (NaN: nothing).
    pub(super) fn expected(&self, heard: &[f64]) -> Expected {
        let anchors = Anchors::new(&self.layout, heard, self.past.anchors.as_ref());
        let levels = Levels::new(self.spec, &self.layout, heard, &anchors);
        let all = levels.scale_mm.powi(2);
        let error = match self.past.error_sd_mm {
            Some(sd) => (sd * sd).clamp(0.1 * all, 0.9 * all),
            None => self.spec.error_share * all,
        }
        .max(self.spec.least_sd_mm.powi(2));
        let own = (all - error).max(0.1 * all);
        let mut out = Expected {
            mean_mm: levels.mean_mm,
            sd_mm: Vec::with_capacity(self.layout.keys()),
            error_sd_mm: error.sqrt(),
            scale_mm: levels.scale_mm,
        };
        for key in 0..self.layout.keys() {
            let count = self.past.count[key];
            let share = count * own / (count * own + error);
            out.mean_mm[key] += share * self.past.off_mm[key];
            out.sd_mm.push((error + own * (1.0 - share) + levels.ratio[key] * all).sqrt());
        }
        self.hear_expectations(heard, error, &mut out);
        out
    }

    /// Takes the caller's expectation in. The two are not independent, so the better one's spread is kept.
    fn hear_expectations(&self, heard: &[f64], error: f64, out: &mut Expected) {
        if self.expectations.is_empty() {
            return;
        }
        let key = |one: &Expectation| one.side.index() * self.layout.lines + one.line;
        let apart: Vec<f64> = self
            .expectations
            .iter()
            .filter(|one| self.layout.is_trim(key(one)))
            .map(|one| heard[key(one)] - one.deviation_mm)
            .collect();
        let offset = median(&apart).unwrap_or(0.0);
        for one in self.expectations {
            let at = key(one);
            let theirs = one.sd_mm.powi(2) + error;
            let ours = out.sd_mm[at].powi(2);
            let share = ours / (ours + theirs);
            out.mean_mm[at] += share * (one.deviation_mm + offset - out.mean_mm[at]);
            out.sd_mm[at] = ours.min(theirs).sqrt();
        }
    }
}
