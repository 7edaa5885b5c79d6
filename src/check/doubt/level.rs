//! The level of each row at one check, smooth along the span, from the check's own readings.

use super::layout::Layout;
use super::spec::DoubtSpec;
use crate::stats::robust::{mad_about, median, shortest_half_midpoint};
use crate::wing::Row;

/// Huber's constant of the local mean.
const HUBER_K: f64 = 1.345;
/// Least number of readings that give a row a level of its own by their tightest half.
const FEW: usize = 6;
/// What a row's level may differ from the common offset, mm (standard deviation; wear of brakes included).
const ROW_SD_MM: f64 = 15.0;
/// What it may differ from where it stood at the check before.
const ROW_SINCE_SD_MM: f64 = 8.0;
/// Readings further than this from their row's level, mm, tell nothing of it.
const SCREEN_MM: f64 = 60.0;

/// Level of each row, both sides together.
#[derive(Debug, Clone)]
pub(super) struct Anchors {
    pub(super) common_mm: f64,
    /// By row: the level, the spread about it, and how well it is known beforehand.
    pub(super) rows: [Anchor; 6],
}

#[derive(Debug, Clone, Copy)]
#[expect(clippy::struct_field_names, reason = "physical fields carry their unit")]
pub(super) struct Anchor {
    pub(super) level_mm: f64,
    pub(super) spread_mm: f64,
    /// What was expected of the level before looking, and its standard deviation.
    prior_mm: f64,
    prior_sd_mm: f64,
}

impl Anchors {
    /// From a check's deviations and the levels at the check before.
    pub(super) fn new(layout: &Layout, deviation_mm: &[f64], before: Option<&Anchors>) -> Self {
        let finite = |of: &dyn Fn(usize) -> bool| -> Vec<f64> {
            (0..layout.keys())
                .filter(|key| of(*key) && deviation_mm[*key].is_finite())
                .map(|key| deviation_mm[key])
                .collect()
        };
        let trim = finite(&|key| layout.is_trim(key));
        let all = if trim.len() < FEW { finite(&|_| true) } else { trim };
        let common_mm = level(&all, before.map_or(0.0, |known| known.common_mm));
        let rows = Row::ALL.map(|row| {
            let here = finite(&|key| layout.row(key) == row);
            let (prior_mm, prior_sd_mm) = match before {
                Some(known) => (known.rows[row.index()].level_mm - known.common_mm + common_mm, ROW_SINCE_SD_MM),
                None => (common_mm, ROW_SD_MM),
            };
            let level_mm = level(&here, prior_mm);
            let spread_mm = mad_about(&here, level_mm).unwrap_or(0.0);
            Anchor { level_mm, spread_mm, prior_mm, prior_sd_mm }
        });
        Self { common_mm, rows }
    }

    pub(super) fn of(&self, row: Row) -> Anchor {
        self.rows[row.index()]
    }
}

/// The level of some deviations; few of them are held by what was expected.
fn level(values: &[f64], expected: f64) -> f64 {
    if values.len() >= FEW {
        // the tightest half, then the median of what lies about it
        let centre = shortest_half_midpoint(values).unwrap_or(expected);
        let near: Vec<f64> = values.iter().copied().filter(|value| (value - centre).abs() < SCREEN_MM).collect();
        return median(&near).unwrap_or(centre);
    }
    let mut held = values.to_vec();
    held.extend([expected, expected]);
    median(&held).unwrap_or(expected)
}

/// Smooth level at each side and line, from all readings but its own.
pub(super) struct Levels {
    pub(super) mean_mm: Vec<f64>,
    /// Variance of the level over the variance of one line about it.
    pub(super) ratio: Vec<f64>,
    /// Standard deviation of a line about its level, mm.
    pub(super) scale_mm: f64,
    /// What each line is off from its level, mm; NaN where not read or too far to tell.
    pub(super) off_mm: Vec<f64>,
}

impl Levels {
    pub(super) fn new(spec: &DoubtSpec, layout: &Layout, deviation_mm: &[f64], anchors: &Anchors) -> Self {
        let heard: Vec<f64> = (0..layout.keys())
            .map(|key| {
                let value = deviation_mm[key];
                if (value - anchors.of(layout.row(key)).level_mm).abs() < SCREEN_MM { value } else { f64::NAN }
            })
            .collect();
        let mut scale_mm = spec.line_sd_mm;
        let mut levels = Self::at_scale(layout, &heard, anchors, scale_mm);
        for _ in 0..2 {
            let off: Vec<f64> =
                levels.off_mm.iter().zip(&levels.ratio).map(|(off, ratio)| off / (1.0 + ratio).sqrt()).collect();
            let count = off.iter().filter(|value| value.is_finite()).count() as f64;
            let own = mad_about(&off, 0.0).unwrap_or(scale_mm);
            // the default counts as ten lines
            let held = ((10.0 * spec.line_sd_mm.powi(2) + count * own * own) / (10.0 + count)).sqrt();
            scale_mm = held.max(spec.least_sd_mm);
            levels = Self::at_scale(layout, &heard, anchors, scale_mm);
        }
        levels
    }

    fn at_scale(layout: &Layout, heard: &[f64], anchors: &Anchors, scale_mm: f64) -> Self {
        let keys = layout.keys();
        let mut out =
            Self { mean_mm: vec![0.0; keys], ratio: vec![0.0; keys], scale_mm, off_mm: vec![f64::NAN; keys] };
        let mut near: Vec<(f64, f64)> = Vec::with_capacity(32);
        for key in 0..keys {
            let anchor = anchors.of(layout.row(key));
            near.clear();
            let (own, other) = if key < layout.lines { (0, layout.lines) } else { (layout.lines, 0) };
            for next in &layout.neighbours[key % layout.lines] {
                for (value, weight) in [(heard[own + next.line], next.same), (heard[other + next.line], next.other)] {
                    if value.is_finite() && weight > 0.0 {
                        near.push((value, weight));
                    }
                }
            }
            let prior = (scale_mm / anchor.prior_sd_mm).powi(2);
            near.push((anchor.prior_mm, prior));
            near.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
            let total: f64 = near.iter().map(|(_, weight)| weight).sum();
            let mut mean = weighted_median(&near, total);
            let reach = HUBER_K * scale_mm;
            for _ in 0..4 {
                let (mut sum, mut weights) = (0.0, 0.0);
                for (value, weight) in &near {
                    let away = (value - mean).abs();
                    let weight = if away > reach { weight * reach / away } else { *weight };
                    sum += weight * value;
                    weights += weight;
                }
                mean = sum / weights;
            }
            let squares: f64 = near.iter().map(|(_, weight)| weight * weight).sum::<f64>() - prior * prior + prior;
            out.mean_mm[key] = mean;
            out.ratio[key] = squares / (total * total);
            out.off_mm[key] = heard[key] - mean;
        }
        out
    }
}

fn weighted_median(ascending: &[(f64, f64)], total: f64) -> f64 {
    let mut below = 0.0;
    for (value, weight) in ascending {
        below += weight;
        if below >= 0.5 * total {
            return *value;
        }
    }
    ascending.last().map_or(0.0, |(value, _)| *value)
}
