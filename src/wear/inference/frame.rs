//! The model frame: what was fitted, row by row, for whoever wants to fit it elsewhere.

use ndarray::Array2;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, Uniform};
use serde::{Deserialize, Serialize};

use crate::stats::mixed::LevelPrior;
use crate::wear::paths::wing_model::WingModel;
use crate::wear::reduce::reduction::WingReduction;
use crate::wear::{Reduction, Shape, WearError, WearFit};
use crate::wing::{LineSet, Row, Side};

/// The readings of one line at one check, and what the model makes of them. The restricted likelihood of the rows, each counted
/// `readings` times about its mean with the spread `sd_mm`, is that of the readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct FrameRow {
    /// Wing.
    pub wing: String,
    /// Model of the wing.
    pub model: String,
    /// Check.
    pub check: String,
    /// Side.
    pub side: Side,
    /// Line.
    pub line: String,
    /// Row.
    pub row: Row,
    /// 0 as built; each adjustment of the line adds one. A line after a restart has an offset without a penalty.
    pub restart: usize,
    /// Hours flown since new, h.
    pub hours_h: f64,
    /// Time shape at those hours (of a line with renewed segments: see the design).
    pub g: f64,
    /// Length times time shape, summed over the segments of the path, m: what a wing's rate multiplies.
    pub length_g_m: f64,
    /// Readings that the row is the mean of.
    pub readings: usize,
    /// Mean deviation from nominal, corrected for load and temperature, mm.
    pub deviation_mm: f64,
    /// Standard deviation of the readings about it, mm; `None` for one.
    pub sd_mm: Option<f64>,
    /// Fixed part, mm.
    pub fixed_mm: f64,
    /// Fixed part and the effects of wing, check and model, mm.
    pub wing_mm: f64,
    /// The same, and the line's own offset and rate, mm.
    pub fitted_mm: f64,
}

/// One entry of the design of the fixed part that is not zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct DesignEntry {
    /// Row of the frame, from 0.
    pub frame_row: usize,
    /// Place of the term among [`WearFit::terms`], from 0.
    pub term: usize,
    /// Value.
    pub value: f64,
}

/// One random effect given the readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct RandomEffectRow {
    /// Random term: `wing`, `wing:row`, `check`, `line`, …; `restart` for the free offset of an adjusted line.
    pub group: String,
    /// `offset` (mm) or `rate` (mm/m in the first 100 h).
    pub effect: String,
    /// Wing.
    pub wing: String,
    /// Check, row, or side and line that it belongs to; empty for a wing.
    pub level: String,
    /// Conditional mean.
    pub value: f64,
    /// Conditional standard deviation, the fixed effects taken as known.
    pub sd: f64,
}

/// What was fitted, row by row.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct WearFrame {
    rows: Vec<FrameRow>,
    design: Vec<DesignEntry>,
    effects: Vec<RandomEffectRow>,
}

impl WearFrame {
    /// One row per line and check read.
    #[must_use]
    pub fn rows(&self) -> &[FrameRow] {
        &self.rows
    }

    /// Entries of the fixed part's design that are not zero.
    #[must_use]
    pub fn design(&self) -> &[DesignEntry] {
        &self.design
    }

    /// Random effects.
    #[must_use]
    pub fn effects(&self) -> &[RandomEffectRow] {
        &self.effects
    }
}

/// Draws of the fixed effects: normal about the estimates, under the time shapes that the readings leave open.
#[derive(Debug, Clone, PartialEq)]
pub struct TermDraws {
    /// Names of the columns.
    pub terms: Vec<String>,
    /// Draws × terms.
    pub values: Array2<f64>,
    /// Time shape of each draw.
    pub shapes: Vec<Shape>,
}

impl WearFit {
    /// The model frame under the reported time shape; `reduction` is the one that was fitted.
    ///
    /// # Errors
    /// [`WearError`] when the reduction does not belong to the fit, or its cross products break down.
    pub fn frame(&self, reduction: &Reduction) -> Result<WearFrame, WearError> {
        let reduction = reduction.selecting(&self.spec.covariates)?;
        self.validate(&reduction)?;
        let mut frame = WearFrame::default();
        for wing in reduction.wings() {
            frame.add(self, &reduction.line_sets()[wing.line_set()], wing)?;
        }
        Ok(frame)
    }

    /// `draws` draws of the fixed effects from a seed.
    #[must_use]
    pub fn term_draws(&self, draws: usize, seed: u64) -> TermDraws {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        let terms: Vec<String> = self.mixed().fixed().iter().map(|effect| effect.name.clone()).collect();
        let total: f64 = self.components.iter().map(|component| component.weight).sum();
        let mut values = Array2::zeros((draws, terms.len()));
        let mut shapes = Vec::with_capacity(draws);
        let mut draw = Vec::new();
        for mut row in values.rows_mut() {
            let mut left = Uniform::new(0.0, total.max(f64::MIN_POSITIVE)).map_or(0.0, |u| u.sample(&mut generator));
            let component = self.components.iter().find(|component| {
                left -= component.weight;
                left < 0.0 && component.weight > 0.0
            });
            let component = component.unwrap_or(&self.components[0]);
            let shared = component.mixed.shared_effects().len();
            let count = shared + component.mixed.fixed().len();
            let normals: Vec<f64> = (0..count).map(|_| StandardNormal.sample(&mut generator)).collect();
            draw.clear();
            component.mixed.draw_fixed(&normals, &mut draw);
            for (cell, name) in row.iter_mut().zip(&terms) {
                let at = component.mixed.fixed().iter().position(|effect| effect.name == *name);
                *cell = at.and_then(|at| draw.get(shared + at).copied()).unwrap_or(0.0);
            }
            shapes.push(component.basis.shape);
        }
        TermDraws { terms, values, shapes }
    }
}

impl WearFrame {
    fn add(&mut self, fit: &WearFit, set: &LineSet, wing: &WingReduction) -> Result<(), WearError> {
        let model = WingModel::new(fit, &fit.components[0], set, wing)?;
        let mut draw = Vec::new();
        model.posterior.draw(&[], &mut draw);
        let part = WingPart { fit, set, wing, model, draw };
        part.outer_effects(&mut self.effects);
        let lines = part.line_effects(&mut self.effects);
        part.rows(&lines, &mut self.rows, &mut self.design);
        Ok(())
    }
}

/// What one wing adds to the frame.
struct WingPart<'a> {
    fit: &'a WearFit,
    set: &'a LineSet,
    wing: &'a WingReduction,
    model: WingModel<'a>,
    /// Means of the fixed effects, then of the outer ones.
    draw: Vec<f64>,
}

impl WingPart<'_> {
    fn named(&self, group: &str, effect: &str, level: String, value: f64, sd: f64) -> RandomEffectRow {
        RandomEffectRow {
            group: group.to_owned(),
            effect: effect.to_owned(),
            wing: self.wing.wing().to_owned(),
            level,
            value,
            sd,
        }
    }

    fn outer_effects(&self, effects: &mut Vec<RandomEffectRow>) {
        let (builder, posterior) = (&self.model.builder, &self.model.posterior);
        let (layout, p) = (&self.fit.layout, posterior.fixed());
        for (term, (outer, copies)) in layout.structure.outer.iter().zip(builder.copies()).enumerate() {
            for copy in 0..*copies {
                for effect in 0..outer.width {
                    let at = builder.outer_column(&layout.structure, term, copy, effect);
                    let variance: f64 = (0..posterior.outer()).map(|k| posterior.outer_root(at, k).powi(2)).sum();
                    let offset = Some(term) == layout.check || Some(term) == layout.wing && effect == 0;
                    let level = if Some(term) == layout.check {
                        self.wing.checks().get(copy).map_or_else(String::new, |check| check.id.clone())
                    } else if Some(term) == layout.wing_row {
                        Row::ALL.get(copy).map_or_else(String::new, ToString::to_string)
                    } else if *copies > 1 {
                        copy.to_string()
                    } else {
                        String::new()
                    };
                    let effect = if offset { "offset" } else { "rate" };
                    effects.push(self.named(&outer.name, effect, level, self.draw[p + at], variance.sqrt()));
                }
            }
        }
    }

    /// A line's own rate, then its offsets given that; offset and rate by level.
    fn line_effects(&self, effects: &mut Vec<RandomEffectRow>) -> Vec<(f64, f64)> {
        let Self { fit, set, wing, model, draw } = self;
        let (builder, posterior) = (&model.builder, &model.posterior);
        let p = posterior.fixed();
        let along = |weights: &[f64]| weights.iter().zip(draw).map(|(w, d)| w * d).sum::<f64>();
        let spread = |weights: &[f64]| -> f64 {
            let of =
                |k: usize| weights[p..].iter().enumerate().map(|(i, w)| w * posterior.outer_root(i, k)).sum::<f64>();
            (0..posterior.outer()).map(|k| of(k).powi(2)).sum()
        };
        let mut lines: Vec<(f64, f64)> = Vec::with_capacity(wing.levels.len());
        let mut slope = None;
        for (index, level) in wing.levels.iter().enumerate() {
            let unit = wing.levels.unit(index);
            let place = format!("{} {} {}", level.side, set.lines()[level.line].name, level.epoch);
            if unit == index {
                slope = model.line_slope(unit);
                if let Some(slope) = &slope {
                    let sd = spread(&slope.weights).sqrt().hypot(slope.sd);
                    let value = slope.constant - along(&slope.weights);
                    effects.push(self.named("line", "rate", place.clone(), value, sd));
                }
            }
            let rate = slope.as_ref().map_or(0.0, |slope| slope.constant - along(&slope.weights));
            let prior = if level.epoch == 0 { LevelPrior::Random } else { LevelPrior::Unpenalised };
            let Some(mut inner) = posterior.inner(builder, index, prior) else {
                lines.push((0.0, rate));
                continue;
            };
            let mean = inner.constant - along(&inner.weights) - inner.per_slope * rate;
            if let Some(slope) = &slope {
                inner.weights.iter_mut().zip(&slope.weights).for_each(|(w, s)| *w -= inner.per_slope * s);
                inner.sd = inner.sd.hypot(inner.per_slope * slope.sd);
            }
            lines.push((mean, rate));
            let group = if level.epoch == 0 { "line" } else { "restart" };
            if level.epoch > 0 || fit.mixed().inner_sd().is_some() {
                let sd = spread(&inner.weights).sqrt().hypot(inner.sd);
                effects.push(self.named(group, "offset", place, mean, sd));
            }
        }
        lines
    }

    /// `lines` by level: offset and rate.
    fn rows(&self, lines: &[(f64, f64)], rows: &mut Vec<FrameRow>, design: &mut Vec<DesignEntry>) {
        let Self { fit, set, wing, model, draw } = self;
        let (layout, component, p) = (&fit.layout, &fit.components[0], model.posterior.fixed());
        let first_fixed = model.builder.fixed_column(0);
        let (first_shared, shared) = (model.builder.shared_column(0), component.mixed.shared_effects());
        let by_column: Vec<Option<usize>> = (0..layout.structure.fixed.len())
            .map(|column| component.mixed.fixed().iter().position(|effect| effect.column == column))
            .collect();
        let table = layout.line_table(set);
        let mut scratch = layout.empty_block(wing);
        layout.for_each_sum(&mut scratch, (set, &table), wing, &component.basis, |_, sum, _, row| {
            let (mut fixed_mm, mut outer_mm) = (0.0, 0.0);
            let frame_row = rows.len();
            for (column, value) in row.entries {
                if let Some(fixed) = column.checked_sub(first_fixed) {
                    let Some(term) = by_column.get(fixed).copied().flatten() else { continue };
                    fixed_mm += component.mixed.fixed()[term].estimate * value;
                    design.push(DesignEntry { frame_row, term, value: *value });
                } else if let Some(effect) = column.checked_sub(first_shared) {
                    outer_mm += shared.get(effect).copied().unwrap_or(0.0) * value;
                } else {
                    outer_mm += draw[p + column] * value;
                }
            }
            let (level, check) = (wing.levels.at(sum.level as usize), &wing.checks()[sum.check as usize]);
            let n = f64::from(sum.count);
            let deviation_mm = sum.sum_mm() / n;
            let squares = (sum.squares_mm2() - n * deviation_mm * deviation_mm).max(0.0);
            let g = component.basis.shape.at(wing.hours_h[sum.check as usize]);
            let line = &set.lines()[level.line];
            let (offset, rate) = lines[sum.level as usize];
            rows.push(FrameRow {
                wing: wing.wing().to_owned(),
                model: set.model().to_owned(),
                check: check.id.clone(),
                side: level.side,
                line: line.name.clone(),
                row: line.row,
                restart: level.epoch,
                hours_h: wing.hours_h[sum.check as usize],
                g,
                length_g_m: row.length_g_m,
                readings: sum.count as usize,
                deviation_mm,
                sd_mm: (sum.count > 1).then(|| (squares / (n - 1.0)).sqrt()),
                fixed_mm,
                wing_mm: fixed_mm + outer_mm,
                fitted_mm: fixed_mm + outer_mm + offset + rate * row.length_g_m,
            });
        });
    }
}
