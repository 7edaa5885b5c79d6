//! True line paths of one wing, drawn from the fit and the wing's own history.

use crate::check::Fleet;
use crate::stats::mixed::{BlockBuilder, BlockPosterior, InnerPosterior, LevelPrior};
use crate::wear::fit::wear_fit::Component;
use crate::wear::model::layout::{Layout, LineRow};
use crate::wear::reduce::levels::LineEpoch;
use crate::wear::reduce::reduction::WingReduction;
use crate::wear::reduce::thinning::MOST_CHECKS;
use crate::wear::{DrawNoise, LineKey, WearError, WearFit};
use crate::wing::LineSet;

/// Hours over which a path with renewed segments is matched to one that is linear in the time shape.
const RENEWED_MATCH_H: f64 = 100.0;

/// One line's path as a linear function of a draw of the parameters.
pub(crate) struct LinePath {
    pub(crate) constant_mm: f64,
    /// Standard deviation of what is the line's own, mm.
    pub(crate) own_sd_mm: f64,
    /// The constant part of the slope, mm.
    pub(crate) slope_constant_mm: f64,
    /// Standard deviation of what the line's own rate brings to start and to slope, the two fully correlated, mm.
    pub(crate) rate_sd_mm: [f64; 2],
    /// Group of lines adjusted together that it shares an uncertainty with, and its size, mm.
    pub(crate) group: usize,
    pub(crate) group_sd_mm: f64,
    pub(crate) start: Vec<(usize, f64)>,
    pub(crate) slope: Vec<(usize, f64)>,
}

impl WearFit {
    /// Noise of the right size for every wing of a fleet.
    #[must_use]
    pub fn draw_noise(&self, fleet: &Fleet, seed: u64, draws: usize) -> DrawNoise {
        let checks = fleet.histories().iter().map(|history| history.checks.len().min(MOST_CHECKS)).max().unwrap_or(0);
        let lines = fleet.line_sets().iter().map(|set| 2 * set.lines().len()).max().unwrap_or(0);
        let layout = self.layout.parted();
        let copies = layout.copies(checks);
        let outer: usize = copies.iter().zip(&layout.structure.outer).map(|(copies, term)| copies * term.width).sum();
        DrawNoise::new(seed, draws, layout.structure.effects() + outer, lines)
    }
}

/// One wing under one component of a fit.
pub(crate) struct WingModel<'a> {
    layout: &'a Layout,
    component: &'a Component,
    set: &'a LineSet,
    wing: &'a WingReduction,
    pub(crate) builder: BlockBuilder,
    pub(crate) posterior: BlockPosterior,
}

impl<'a> WingModel<'a> {
    pub(crate) fn new(
        fit: &'a WearFit,
        component: &'a Component,
        set: &'a LineSet,
        wing: &'a WingReduction,
    ) -> Result<Self, WearError> {
        Self::counting(fit, component, set, wing, None)
    }

    /// The same with a mean per line sum in place of the one read.
    pub(crate) fn counting(
        fit: &'a WearFit,
        component: &'a Component,
        set: &'a LineSet,
        wing: &'a WingReduction,
        means_mm: Option<&[f64]>,
    ) -> Result<Self, WearError> {
        let builder = fit.layout.builder((set, &fit.layout.line_table(set)), wing, &component.basis, means_mm);
        let posterior = BlockPosterior::new(&component.mixed, &builder.finish())?;
        Ok(Self { layout: &fit.layout, component, set, wing, builder, posterior })
    }

    /// The paths of the last epoch of each line and side.
    pub(crate) fn line_paths(&self) -> Vec<LinePath> {
        let levels: Vec<usize> = current_levels(self.wing).collect();
        let mut offsets: Vec<OwnOffset> = levels.iter().map(|&index| self.own_offset(index)).collect();
        // lines that the same adjustment moved, by the place of the first of them
        let together = |a: LineEpoch<'_>, b: LineEpoch<'_>| {
            a.side == b.side && a.epoch > 0 && b.epoch > 0 && !a.adjusted.is_empty() && a.adjusted == b.adjusted
        };
        let group: Vec<usize> = levels
            .iter()
            .enumerate()
            .map(|(k, &index)| {
                let here = self.wing.levels.at(index);
                (0..k).find(|&first| together(self.wing.levels.at(levels[first]), here)).unwrap_or(k)
            })
            .collect();
        if let Some(spread_mm) = self.component.mixed.inner_sd() {
            for first in 0..levels.len() {
                let members: Vec<usize> =
                    (first..levels.len()).filter(|&k| group[k] == first && offsets[k].as_left).collect();
                if members.len() > 1 {
                    draw_together(&mut offsets, &members, spread_mm);
                }
            }
        }
        levels
            .iter()
            .zip(group)
            .zip(offsets)
            .map(|((&index, group), own)| self.line_path(index, group, own))
            .collect()
    }

    fn line_path(&self, index: usize, group: usize, own: OwnOffset) -> LinePath {
        let Self { layout, component, set, wing, builder, posterior } = self;
        let level = wing.levels.at(index);
        let (basis, shape) = (&component.basis, component.basis.shape);
        let now_h = wing.hours_h.last().copied().unwrap_or(0.0);
        let (g_now, g_later) = (shape.at(now_h), shape.at(now_h + RENEWED_MATCH_H));
        let mut unit = LineRow::default();
        let mut slope;
        let mut start = own.weights;
        // length of line that wears, at zero and per unit of the time shape
        let mut length_m = [0.0, 0.0];
        if level.new_at_h.is_empty() && basis.own.is_none() {
            layout.line_row_by(set, level.line, &wing.covariates, |_, _| 1.0, &mut unit);
            slope = self.places(level, &unit);
            length_m[1] = unit.length_g_m;
        } else {
            let mut later = LineRow::default();
            layout.line_row(set, level, &wing.covariates, basis, now_h, &mut unit);
            layout.line_row(set, level, &wing.covariates, basis, now_h + RENEWED_MATCH_H, &mut later);
            let now = self.places(level, &unit);
            slope = self.places(level, &later);
            let step = g_later - g_now;
            if step > 0.0 {
                add(&mut slope, &now, -1.0);
                slope.iter_mut().for_each(|(_, value)| *value /= step);
                length_m[1] = (later.length_g_m - unit.length_g_m) / step;
            } else {
                slope.clear();
            }
            add(&mut start, &now, 1.0);
            let taken = slope.clone();
            add(&mut start, &taken, -g_now);
            length_m[0] = unit.length_g_m - g_now * length_m[1];
        }
        let (mut constant_mm, mut slope_constant_mm, mut rate_sd_mm) = (own.constant_mm, 0.0, [0.0, 0.0]);
        if let Some(rate) = self.line_slope(wing.levels.unit(index)) {
            let by_rate = [length_m[0] - own.per_slope, length_m[1]];
            constant_mm += by_rate[0] * rate.constant;
            slope_constant_mm += by_rate[1] * rate.constant;
            rate_sd_mm = by_rate.map(|weight| weight * rate.sd);
            let pulls: Vec<(usize, f64)> =
                rate.weights.iter().copied().enumerate().filter(|(_, w)| *w != 0.0).collect();
            add(&mut start, &pulls, -by_rate[0]);
            add(&mut slope, &pulls, -by_rate[1]);
        }
        // the offset of the fleet and of the wing
        if let Some(line) = set.lines().get(level.line) {
            for (column, weight) in layout.offset_columns(set, line.row) {
                if let Some(place) = component.mixed.fixed().iter().position(|effect| effect.column == column) {
                    add(&mut start, &[(layout.structure.shared_columns() + place, weight)], 1.0);
                }
            }
        }
        if let Some(term) = layout.wing {
            let column = builder.outer_column(&layout.structure, term, 0, 0);
            add(&mut start, &[(posterior.fixed() + column, 1.0)], 1.0);
        }
        LinePath {
            constant_mm,
            own_sd_mm: own.sd_mm,
            slope_constant_mm,
            rate_sd_mm,
            group,
            group_sd_mm: own.group_sd_mm,
            start,
            slope,
        }
    }

    /// The contributions of a line row as places in a draw.
    fn places(&self, level: LineEpoch<'_>, row: &LineRow) -> Vec<(usize, f64)> {
        let (fixed, posterior) = (self.component.mixed.fixed(), &self.posterior);
        let shared = self.layout.structure.shared_columns();
        let mut places: Vec<(usize, f64)> = row
            .fixed
            .iter()
            .filter_map(|(column, value)| {
                Some((shared + fixed.iter().position(|effect| effect.column == *column)?, *value))
            })
            .chain(row.shared.iter().copied())
            .collect();
        let outer = |from_end: usize| posterior.fixed() + posterior.outer() - from_end;
        // outer terms come in the order check, wing, wing:row, so the last ones are found from the end
        let by_row = if self.layout.wing_row.is_some() { crate::wing::Row::ALL.len() } else { 0 };
        if self.layout.wing.is_some() {
            places.push((outer(by_row + 1), row.length_g_m));
        }
        if by_row > 0
            && let Some(line) = self.set.lines().get(level.line)
        {
            places.push((outer(by_row) + line.row.index(), row.length_g_m));
        }
        places
    }

    /// What is known of a line's own rate, mm/m, given a draw; the line is that whose first level this is.
    pub(crate) fn line_slope(&self, unit: usize) -> Option<InnerPosterior> {
        let prior = |index: usize| match self.wing.levels.at(index).epoch {
            0 => LevelPrior::Random,
            _ => LevelPrior::Unpenalised,
        };
        let levels: Vec<(usize, LevelPrior)> =
            self.wing.levels.of_unit(unit).map(|index| (index, prior(index))).collect();
        self.posterior.inner_slope(&self.builder, unit, &levels)
    }

    fn own_offset(&self, index: usize) -> OwnOffset {
        let first = self.wing.levels.at(index).epoch == 0;
        self.offset_with(index, if first { LevelPrior::Random } else { LevelPrior::Unpenalised })
    }

    fn offset_with(&self, index: usize, prior: LevelPrior) -> OwnOffset {
        let level = self.wing.levels.at(index);
        if let Some(own) = self.posterior.inner(&self.builder, index, prior) {
            let weights = own.weights.iter().enumerate().filter(|(_, w)| **w != 0.0).map(|(k, w)| (k, -w)).collect();
            let as_left = prior == LevelPrior::Unpenalised;
            let per_slope = own.per_slope;
            return OwnOffset {
                constant_mm: own.constant,
                sd_mm: own.sd,
                group_sd_mm: 0.0,
                as_left,
                weights,
                per_slope,
            };
        }
        // adjusted and not read since: the epoch before (levels of one line stand one after the other), and the change; the prior
        // is flat there, for a line is adjusted because it is not as lines are
        let mut before = match index.checked_sub(1) {
            Some(before) if level.epoch > 0 => self.offset_with(before, LevelPrior::Unpenalised),
            _ => OwnOffset::default(),
        };
        before.constant_mm += level.change_mm;
        match level.change_sd_mm {
            // one step moves all lines above it alike
            Some(sd_mm) => before.group_sd_mm = before.group_sd_mm.hypot(sd_mm),
            None => before.sd_mm = before.sd_mm.hypot(self.component.mixed.inner_sd().unwrap_or(0.0)),
        }
        before
    }
}

/// What is a line's own, given a draw.
#[derive(Default)]
struct OwnOffset {
    constant_mm: f64,
    sd_mm: f64,
    group_sd_mm: f64,
    /// Known from its readings alone, with a flat prior: those since an adjustment, or, where there are none, those before it.
    as_left: bool,
    weights: Vec<(usize, f64)>,
    /// How much it falls per unit of the line's own rate.
    per_slope: f64,
}

/// Draws offsets that are known from as-left readings alone towards their common mean.
///
/// With `s_l` the variance of what the readings say of line `l` and `τ` the spread of lines as built, the offset is taken as
/// `N(m, τ²)` about a mean `m` with a flat prior: `m = Σ r_l/(τ²+s_l) / Σ 1/(τ²+s_l)`, and given `m` the offset has mean
/// `k r_l + (1−k) m` and variance `k s_l`, `k = τ²/(τ²+s_l)`.
fn draw_together(offsets: &mut [OwnOffset], members: &[usize], spread_mm: f64) {
    let tau2 = spread_mm * spread_mm;
    let precision = |own: &OwnOffset| 1.0 / (tau2 + own.sd_mm * own.sd_mm);
    let total: f64 = members.iter().map(|&k| precision(&offsets[k])).sum();
    if !(total > 0.0 && total.is_finite()) {
        return;
    }
    let (mut mean, mut mean_weights) = (0.0, Vec::new());
    for &k in members {
        let share = precision(&offsets[k]) / total;
        mean += share * offsets[k].constant_mm;
        add(&mut mean_weights, &offsets[k].weights, share);
    }
    for &k in members {
        let own = &mut offsets[k];
        let keep = tau2 * precision(own);
        own.constant_mm = keep * own.constant_mm + (1.0 - keep) * mean;
        // that of the other lines averages out
        own.per_slope *= keep;
        own.weights.iter_mut().for_each(|(_, weight)| *weight *= keep);
        add(&mut own.weights, &mean_weights, 1.0 - keep);
        own.group_sd_mm = own.group_sd_mm.hypot((1.0 - keep) / total.sqrt());
        own.sd_mm *= keep.sqrt();
    }
}

/// Side and line of each path, in their order.
pub(crate) fn line_keys(wing: &WingReduction) -> Vec<LineKey> {
    current_levels(wing)
        .map(|index| wing.levels.at(index))
        .map(|level| LineKey { side: level.side, line: level.line })
        .collect()
}

/// The last epoch of each line and side.
fn current_levels(wing: &WingReduction) -> impl Iterator<Item = usize> {
    let levels = &wing.levels;
    (0..levels.len()).filter(|&index| index + 1 == levels.len() || levels.at(index + 1).epoch == 0)
}

fn add(sum: &mut Vec<(usize, f64)>, terms: &[(usize, f64)], factor: f64) {
    for (place, value) in terms {
        match sum.iter_mut().find(|(known, _)| known == place) {
            Some((_, total)) => *total += factor * value,
            None => sum.push((*place, factor * value)),
        }
    }
}
