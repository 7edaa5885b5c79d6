//! What is left of the readings at each level of the model.

use serde::{Deserialize, Serialize};

use crate::stats::mixed::LevelPrior;
use crate::wear::fit::wear_fit::Component;
use crate::wear::paths::wing_model::WingModel;
use crate::wear::reduce::reduction::WingReduction;
use crate::wear::{Reduction, WearError, WearFit};
use crate::wing::{LineSet, Row, Side};

/// Level of the model that a residual belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ResidualLevel {
    /// A wing's offset, mm.
    WingOffset,
    /// A wing's rate, mm/m in the first 100 h.
    WingRate,
    /// A row's rate on one wing beside the wing's, mm/m in the first 100 h.
    WingRowRate,
    /// A check's offset, mm.
    Check,
    /// A line's offset as built, mm.
    Line,
    /// A line's own rate, mm/m in the first 100 h.
    LineRate,
    /// The mean of a line's readings at a check about everything else, mm.
    Reading,
}

impl ResidualLevel {
    /// All levels, from the wing to the reading.
    pub const ALL: [ResidualLevel; 7] = [
        ResidualLevel::WingOffset,
        ResidualLevel::WingRate,
        ResidualLevel::WingRowRate,
        ResidualLevel::Check,
        ResidualLevel::Line,
        ResidualLevel::LineRate,
        ResidualLevel::Reading,
    ];

    /// The name used in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            ResidualLevel::WingOffset => "wing_offset",
            ResidualLevel::WingRate => "wing_rate",
            ResidualLevel::WingRowRate => "wing_row_rate",
            ResidualLevel::Check => "check",
            ResidualLevel::Line => "line",
            ResidualLevel::LineRate => "line_rate",
            ResidualLevel::Reading => "reading",
        }
    }
}

/// The estimate of one effect, or what is left of one reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ResidualRow {
    /// Level.
    pub level: ResidualLevel,
    /// The wing.
    pub wing: String,
    /// The check, for checks and readings.
    pub check: Option<String>,
    /// The side, for lines and readings.
    pub side: Option<Side>,
    /// The line, for lines and readings.
    pub line: Option<String>,
    /// The row, for lines, readings and a row's rate.
    pub row: Option<Row>,
    /// Value, in the unit of the level.
    pub value: f64,
    /// The same over the level's standard deviation in the fit (for the mean of n readings over `σ/√n`); effects are drawn
    /// towards zero, so theirs are smaller than the deviations themselves.
    pub in_sd: f64,
}

impl WearFit {
    /// Estimated effects and residuals of all wings, checks, lines and readings, in that order within each wing;
    /// `reduction` is the one that was fitted. A spread that is zero has no rows.
    ///
    /// # Errors
    /// [`WearError`] when the reduction does not belong to the fit, or its cross products break down.
    pub fn residuals(&self, reduction: &Reduction) -> Result<Vec<ResidualRow>, WearError> {
        let reduction = reduction.selecting(&self.spec.covariates)?;
        self.validate(&reduction)?;
        let mut rows = Vec::new();
        for wing in &reduction.wings {
            let set = &reduction.line_sets[wing.line_set()];
            WingResiduals::new(self, &self.components[0], set, wing, None)?.rows(&mut rows);
        }
        Ok(rows)
    }

    /// The largest residuals of each level, at most `most` of each, by their size in standard deviations.
    ///
    /// # Errors
    /// As [`WearFit::residuals`].
    pub fn largest_residuals(&self, reduction: &Reduction, most: usize) -> Result<Vec<ResidualRow>, WearError> {
        let rows = self.residuals(reduction)?;
        let mut out = Vec::new();
        for level in ResidualLevel::ALL {
            let mut of_level: Vec<&ResidualRow> = rows.iter().filter(|row| row.level == level).collect();
            of_level.sort_by(|a, b| b.in_sd.abs().total_cmp(&a.in_sd.abs()));
            out.extend(of_level.into_iter().take(most).cloned());
        }
        Ok(out)
    }
}

/// Effects and residuals of one wing.
pub(crate) struct WingResiduals<'a> {
    fit: &'a WearFit,
    component: &'a Component,
    set: &'a LineSet,
    wing: &'a WingReduction,
    /// By outer column.
    outer: Vec<f64>,
    /// By level.
    lines: Vec<Option<f64>>,
    /// By level: its line's own rate.
    rates: Vec<f64>,
    /// By line sum: mean of its readings less everything else, mm.
    pub(crate) readings_mm: Vec<f64>,
}

impl<'a> WingResiduals<'a> {
    pub(crate) fn new(
        fit: &'a WearFit,
        component: &'a Component,
        set: &'a LineSet,
        wing: &'a WingReduction,
        means_mm: Option<&[f64]>,
    ) -> Result<Self, WearError> {
        let model = WingModel::counting(fit, component, set, wing, means_mm)?;
        let mut draw = Vec::new();
        model.posterior.draw(&[], &mut draw);
        let kept = model.posterior.fixed();
        let mut rates = vec![0.0; wing.levels.len()];
        for index in 0..rates.len() {
            let unit = wing.levels.unit(index);
            rates[index] = if unit < index {
                rates[unit]
            } else {
                model.line_slope(unit).map_or(0.0, |slope| {
                    let pull: f64 = slope.weights.iter().zip(&draw).map(|(weight, value)| weight * value).sum();
                    slope.constant - pull
                })
            };
        }
        let lines: Vec<Option<f64>> = wing
            .levels
            .iter()
            .enumerate()
            .map(|(index, level)| {
                let prior = if level.epoch == 0 { LevelPrior::Random } else { LevelPrior::Unpenalised };
                let inner = model.posterior.inner(&model.builder, index, prior)?;
                let pull: f64 = inner.weights.iter().zip(&draw).map(|(weight, value)| weight * value).sum();
                Some(inner.constant - pull - inner.per_slope * rates[index])
            })
            .collect();
        let mut effects = draw[kept..].to_vec();
        effects.extend_from_slice(component.mixed.shared_effects());
        let fixed = model.builder.fixed_column(0);
        effects.resize(fixed + fit.layout.structure.fixed.len(), 0.0);
        for effect in component.mixed.fixed() {
            effects[fixed + effect.column] = effect.estimate;
        }
        let mut readings_mm = Vec::with_capacity(wing.line_sums.len());
        let mut scratch = fit.layout.empty_block(wing);
        let table = fit.layout.line_table(set);
        fit.layout.for_each_sum(&mut scratch, (set, &table), wing, &component.basis, |_, line_sum, _, row| {
            let level = line_sum.level as usize;
            let expected = row.entries.iter().map(|(column, value)| effects[*column] * value).sum::<f64>()
                + lines[level].unwrap_or(0.0)
                + rates[level] * row.length_g_m;
            readings_mm.push(line_sum.sum_mm() / f64::from(line_sum.count) - expected);
        });
        effects.truncate(fixed);
        Ok(Self { fit, component, set, wing, outer: effects, lines, rates, readings_mm })
    }

    fn rows(&self, out: &mut Vec<ResidualRow>) {
        let Self { fit, component, set, wing, .. } = self;
        let (layout, mixed) = (&fit.layout, &component.mixed);
        let blank = |level, value: f64, sd: f64| {
            (sd > 0.0).then(|| ResidualRow {
                level,
                wing: wing.wing().to_owned(),
                check: None,
                side: None,
                line: None,
                row: None,
                value,
                in_sd: value / sd,
            })
        };
        let spread = |term: usize, effect: usize| {
            mixed.outer().get(term).and_then(|s| s.sd.get(effect).copied()).unwrap_or(0.0)
        };
        let builder = layout.empty_block(wing);
        let column = |term, copy| builder.outer_column(&layout.structure, term, copy, 0);
        if let Some(term) = layout.wing {
            let at = column(term, 0);
            out.extend(blank(ResidualLevel::WingOffset, self.outer[at], spread(term, 0)));
            out.extend(blank(ResidualLevel::WingRate, self.outer[at + 1], spread(term, 1)));
        }
        if let Some(term) = layout.wing_row {
            for row in Row::ALL {
                let found = blank(ResidualLevel::WingRowRate, self.outer[column(term, row.index())], spread(term, 0));
                out.extend(found.map(|found| ResidualRow { row: Some(row), ..found }));
            }
        }
        if let Some(term) = layout.check {
            for (copy, check) in wing.checks().iter().enumerate() {
                let found = blank(ResidualLevel::Check, self.outer[column(term, copy)], spread(term, 0));
                out.extend(found.map(|found| ResidualRow { check: Some(check.id.clone()), ..found }));
            }
        }
        let of_line = |found: ResidualRow, index: usize| {
            let level = wing.levels.at(index);
            let line = &set.lines()[level.line];
            ResidualRow { side: Some(level.side), line: Some(line.name.clone()), row: Some(line.row), ..found }
        };
        for (index, value) in self.lines.iter().enumerate().filter(|(index, _)| wing.levels.at(*index).epoch == 0) {
            let found = value.and_then(|value| blank(ResidualLevel::Line, value, mixed.inner_sd().unwrap_or(0.0)));
            out.extend(found.map(|found| of_line(found, index)));
        }
        for (index, value) in self.rates.iter().enumerate().filter(|(index, _)| wing.levels.at(*index).epoch == 0) {
            let found = blank(ResidualLevel::LineRate, *value, mixed.inner_slope_sd().unwrap_or(0.0));
            out.extend(found.map(|found| of_line(found, index)));
        }
        for (line_sum, value) in wing.line_sums.iter().zip(&self.readings_mm) {
            let sd = mixed.sigma() / f64::from(line_sum.count).sqrt();
            let found = blank(ResidualLevel::Reading, *value, sd);
            let check = wing.checks().get(line_sum.check as usize).map(|check| check.id.clone());
            out.extend(found.map(|found| ResidualRow { check, ..of_line(found, line_sum.level as usize) }));
        }
    }
}
