//! What the wing's earlier checks say of each line.

use super::epochs::Epochs;
use super::layout::Layout;
use super::level::{Anchors, Levels};
use super::spec::DoubtSpec;
use super::table::Cells;
use crate::check::History;
use crate::stats::robust::mad_about;
use crate::wing::LineSet;

/// At the checks before, of each side and line.
pub(super) struct Past {
    /// Mean of what it was off from its row's smooth level while it hung as it does now, mm.
    pub(super) off_mm: Vec<f64>,
    /// The same at each of those checks, newest last, whatever it was.
    pub(super) seen_mm: Vec<Vec<f64>>,
    /// Over how many checks the mean runs.
    pub(super) count: Vec<f64>,
    /// Mean difference left minus right of a line (kept at the left's place), mm, over `pairs` checks.
    pub(super) asymmetry_mm: Vec<f64>,
    pub(super) pairs: Vec<f64>,
    /// Squared differences between two checks that follow each other, to tell reading error from line offset.
    pub(super) error_sd_mm: Option<f64>,
    pub(super) anchors: Option<Anchors>,
}

impl Past {
    pub(super) fn new(
        spec: &DoubtSpec,
        layout: &Layout,
        set: &LineSet,
        history: &History,
        epochs: &Epochs,
        check: usize,
    ) -> Self {
        let keys = layout.keys();
        let mut past = Self {
            off_mm: vec![0.0; keys],
            seen_mm: vec![Vec::new(); keys],
            count: vec![0.0; keys],
            asymmetry_mm: vec![0.0; keys],
            pairs: vec![0.0; keys],
            error_sd_mm: None,
            anchors: None,
        };
        let mut differences = Vec::new();
        let mut last: Option<Vec<f64>> = None;
        let first = check.saturating_sub(spec.most_earlier_checks);
        for (index, earlier) in history.checks.iter().enumerate().take(check).skip(first) {
            if earlier.readings.is_empty() {
                continue;
            }
            let cells = Cells::new(set, earlier);
            let anchors = Anchors::new(layout, &cells.deviation_mm, past.anchors.as_ref());
            let levels = Levels::new(spec, layout, &cells.deviation_mm, &anchors);
            let limit = spec.flag_at * levels.scale_mm;
            let good: Vec<f64> =
                levels.off_mm.iter().map(|off| if off.abs() <= limit { *off } else { f64::NAN }).collect();
            for key in 0..keys {
                if !epochs.same(key, index, check) {
                    continue;
                }
                // a reading too far off to tell anything of the level says what it says
                let seen = cells.deviation_mm[key] - levels.mean_mm[key];
                past.seen_mm[key].extend(Some(seen).filter(|seen| seen.is_finite()));
                if good[key].is_finite() {
                    past.off_mm[key] += good[key];
                    past.count[key] += 1.0;
                }
                let mirror = layout.mirror(key);
                if key < layout.lines
                    && epochs.same(mirror, index, check)
                    && good[key].is_finite()
                    && good[mirror].is_finite()
                {
                    past.asymmetry_mm[key] += cells.deviation_mm[key] - cells.deviation_mm[mirror];
                    past.pairs[key] += 1.0;
                }
            }
            if let Some(before) = &last {
                differences.extend(
                    before
                        .iter()
                        .zip(&good)
                        .map(|(a, b)| (b - a) * std::f64::consts::FRAC_1_SQRT_2)
                        .filter(|d| d.is_finite()),
                );
            }
            last = Some(good);
            past.anchors = Some(anchors);
        }
        for key in 0..keys {
            past.off_mm[key] /= past.count[key].max(1.0);
            past.asymmetry_mm[key] /= past.pairs[key].max(1.0);
        }
        if differences.len() >= 30 {
            past.error_sd_mm = mad_about(&differences, 0.0);
        }
        past
    }
}
