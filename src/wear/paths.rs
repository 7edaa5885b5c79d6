//! True line paths of one wing, drawn from the fit and the wing's own history.

use ndarray::Array2;

use super::fit::Component;
use super::layout::{Layout, LineRow};
use super::reduction::{LineEpoch, WingReduction, covariate_values};
use super::{DrawNoise, LineKey, PathDraws, WearError, WearFit};
use crate::check::{Fleet, History};
use crate::stats::mixed::{BlockBuilder, BlockPosterior, LevelPrior};
use crate::wing::LineSet;

/// Hours over which a path with renewed segments is matched to one that is linear in the time shape.
const RENEWED_MATCH_H: f64 = 100.0;

/// One line's path as a linear function of a draw of the parameters.
struct LinePath {
    constant_mm: f64,
    /// Standard deviation of what is the line's own, mm.
    own_sd_mm: f64,
    start: Vec<(usize, f64)>,
    slope: Vec<(usize, f64)>,
}

impl WearFit {
    /// Noise of the right size for every wing of a fleet.
    #[must_use]
    pub fn draw_noise(&self, fleet: &Fleet, seed: u64, draws: usize) -> DrawNoise {
        let checks = fleet.histories().iter().map(|history| history.checks.len()).max().unwrap_or(0);
        let lines = fleet.line_sets().iter().map(|set| 2 * set.lines().len()).max().unwrap_or(0);
        let copies = self.layout.copies(checks);
        let outer: usize =
            copies.iter().zip(&self.layout.structure.outer).map(|(copies, term)| copies * term.width).sum();
        DrawNoise::new(seed, draws, self.layout.structure.fixed.len() + outer, lines)
    }

    /// Draws of the true line paths of a wing: from the fleet's estimates and the wing's own checks, or from the fleet's
    /// alone when it has none. Lines adjusted start from what was left. A line that was adjusted and not read since has
    /// its last offset with the intended change and the uncertainty of a line never read.
    ///
    /// # Errors
    /// [`WearError::Covariate`] when the wing lacks a covariate of the model, [`WearError::Noise`] when the noise is too
    /// narrow for it, [`WearError::Fit`] when its cross products break down.
    pub fn path_draws(&self, set: &LineSet, history: &History, noise: &DrawNoise) -> Result<PathDraws, WearError> {
        let covariates = covariate_values(history, &self.spec.covariates)?;
        let wing = WingReduction::new(set, history, covariates);
        let lines: Vec<LineKey> = current_levels(&wing)
            .map(|index| LineKey { side: wing.levels[index].side, line: wing.levels[index].line })
            .collect();
        let draws = noise.draws();
        let mut start_mm = Array2::zeros((draws, lines.len()));
        let mut slope_mm = Array2::zeros((draws, lines.len()));
        let mut shapes = Vec::with_capacity(draws);
        let mut values = Vec::new();
        let mut weight = 0.0;
        for component in &self.components {
            weight += component.weight;
            // draws are independent, so each component takes the next ones, as many as its weight says
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let until = ((weight * draws as f64).round() as usize).min(draws);
            if until <= shapes.len() {
                continue;
            }
            let model = WingModel::new(self, component, set, &wing)?;
            let needed = model.posterior.fixed() + model.posterior.outer();
            if noise.shared < needed || noise.normals.ncols() - noise.shared < lines.len() {
                return Err(WearError::Noise { wing: wing.wing, shared: needed, lines: lines.len() });
            }
            let paths: Vec<LinePath> = current_levels(&wing).map(|index| model.line_path(index)).collect();
            for draw in shapes.len()..until {
                let row = noise.normals.row(draw);
                let (shared, own) = row.as_slice().unwrap_or(&[]).split_at(noise.shared);
                model.posterior.draw(shared, &mut values);
                for (k, path) in paths.iter().enumerate() {
                    start_mm[[draw, k]] = path.constant_mm + path.own_sd_mm * own[k] + combine(&path.start, &values);
                    slope_mm[[draw, k]] = combine(&path.slope, &values);
                }
            }
            shapes.resize(until, component.shape);
        }
        Ok(PathDraws { lines, start_mm, slope_mm, shapes, own_history: !wing.cells.is_empty() })
    }
}

/// One wing under one component of a fit.
struct WingModel<'a> {
    layout: &'a Layout,
    component: &'a Component,
    set: &'a LineSet,
    wing: &'a WingReduction,
    builder: BlockBuilder,
    posterior: BlockPosterior,
}

impl<'a> WingModel<'a> {
    fn new(
        fit: &'a WearFit,
        component: &'a Component,
        set: &'a LineSet,
        wing: &'a WingReduction,
    ) -> Result<Self, WearError> {
        let builder = fit.layout.builder(set, wing, component.shape);
        let posterior = BlockPosterior::new(&component.mixed, &builder.finish())?;
        Ok(Self { layout: &fit.layout, component, set, wing, builder, posterior })
    }

    fn line_path(&self, index: usize) -> LinePath {
        let Self { layout, component, set, wing, builder, posterior } = self;
        let level = &wing.levels[index];
        let own = self.own_offset(index);
        let shape = component.shape;
        let now_h = wing.hours_h.last().copied().unwrap_or(0.0);
        let (g_now, g_later) = (shape.at(now_h), shape.at(now_h + RENEWED_MATCH_H));
        let mut unit = LineRow::default();
        let mut slope;
        let mut start = own.weights;
        if level.new_at_h.is_empty() {
            layout.line_row_by(set, level.line, &wing.covariates, |_| 1.0, &mut unit);
            slope = self.places(level, &unit);
        } else {
            let mut later = LineRow::default();
            layout.line_row(set, level, &wing.covariates, shape, now_h, &mut unit);
            layout.line_row(set, level, &wing.covariates, shape, now_h + RENEWED_MATCH_H, &mut later);
            let now = self.places(level, &unit);
            slope = self.places(level, &later);
            let step = g_later - g_now;
            if step > 0.0 {
                add(&mut slope, &now, -1.0);
                slope.iter_mut().for_each(|(_, value)| *value /= step);
            } else {
                slope.clear();
            }
            add(&mut start, &now, 1.0);
            let taken = slope.clone();
            add(&mut start, &taken, -g_now);
        }
        // the offset of the fleet and of the wing
        for (place, name) in component.mixed.fixed().iter().enumerate() {
            if name.column == 0 {
                add(&mut start, &[(place, 1.0)], 1.0);
            }
        }
        if let Some(term) = layout.wing {
            let column = builder.outer_column(&layout.structure, term, 0, 0);
            add(&mut start, &[(posterior.fixed() + column, 1.0)], 1.0);
        }
        LinePath { constant_mm: own.constant_mm, own_sd_mm: own.sd_mm, start, slope }
    }

    /// The contributions of a line row as places in a draw.
    fn places(&self, level: &LineEpoch, row: &LineRow) -> Vec<(usize, f64)> {
        let (fixed, posterior) = (self.component.mixed.fixed(), &self.posterior);
        let mut places: Vec<(usize, f64)> = row
            .fixed
            .iter()
            .filter_map(|(column, value)| Some((fixed.iter().position(|effect| effect.column == *column)?, *value)))
            .collect();
        let outer = |from_end: usize| posterior.fixed() + posterior.outer() - from_end;
        // outer terms stand in the order check, wing, wing:row, so the last ones are found from the end
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

    fn own_offset(&self, index: usize) -> OwnOffset {
        let level = &self.wing.levels[index];
        let prior = if level.epoch == 0 { LevelPrior::Random } else { LevelPrior::Flat };
        if let Some(own) = self.posterior.inner(&self.builder, index, prior) {
            let weights = own.weights.iter().enumerate().filter(|(_, w)| **w != 0.0).map(|(k, w)| (k, -w)).collect();
            return OwnOffset { constant_mm: own.constant, sd_mm: own.sd, weights };
        }
        // adjusted and not read since: the epoch before (levels of one line stand one after the other), and the change
        let mut before = match index.checked_sub(1) {
            Some(before) if level.epoch > 0 => self.own_offset(before),
            _ => OwnOffset { constant_mm: 0.0, sd_mm: 0.0, weights: Vec::new() },
        };
        before.constant_mm += level.change_mm;
        before.sd_mm = before.sd_mm.hypot(self.component.mixed.inner_sd().unwrap_or(0.0));
        before
    }
}

/// What is a line's own, given a draw.
struct OwnOffset {
    constant_mm: f64,
    sd_mm: f64,
    weights: Vec<(usize, f64)>,
}

/// The last epoch of each line and side.
fn current_levels(wing: &WingReduction) -> impl Iterator<Item = usize> {
    let levels = &wing.levels;
    (0..levels.len()).filter(|&index| levels.get(index + 1).is_none_or(|next| next.epoch == 0))
}

fn add(sum: &mut Vec<(usize, f64)>, terms: &[(usize, f64)], factor: f64) {
    for (place, value) in terms {
        match sum.iter_mut().find(|(known, _)| known == place) {
            Some((_, total)) => *total += factor * value,
            None => sum.push((*place, factor * value)),
        }
    }
}

fn combine(terms: &[(usize, f64)], values: &[f64]) -> f64 {
    terms.iter().map(|(place, weight)| weight * values.get(*place).copied().unwrap_or(0.0)).sum()
}
