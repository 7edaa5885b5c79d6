//! What one line contributes to the model's columns.

use super::Layout;
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::reduce::levels::LineEpoch;
use crate::wing::LineSet;

/// What one line contributes per unit of each column, at one value of the time shape.
#[derive(Debug, Clone, Default)]
pub(crate) struct LineRow {
    /// Columns and values of the fixed effects that grow with time.
    pub(crate) fixed: Vec<(usize, f64)>,
    /// Columns and values of the shared effects, which all grow with time.
    pub(crate) shared: Vec<(usize, f64)>,
    /// `L · g`, m.
    pub(crate) length_g_m: f64,
    /// By covariate: `L · g` of the materials that it bears on, m.
    pub(super) covariate_length_g_m: Vec<f64>,
}

impl Layout {
    /// The contributions of one line at one check or forecast hour.
    pub(crate) fn line_row(
        &self,
        set: &LineSet,
        level: LineEpoch<'_>,
        covariates: &[f64],
        basis: &TimeBasis,
        hours_h: f64,
        out: &mut LineRow,
    ) {
        let at = |segment: usize, material: &str| {
            let new_at_h = level.new_at_h.get(segment).copied().unwrap_or(0.0);
            basis.at(material, (hours_h - new_at_h).max(0.0))
        };
        self.line_row_by(set, level.line, covariates, at, out);
    }

    /// The same with the time shape's value given for each segment of the path, canopy down, and its material.
    pub(crate) fn line_row_by(
        &self,
        set: &LineSet,
        line: usize,
        covariates: &[f64],
        g: impl Fn(usize, &str) -> f64,
        out: &mut LineRow,
    ) {
        out.fixed.clear();
        out.shared.clear();
        out.length_g_m = 0.0;
        out.covariate_length_g_m.clear();
        out.covariate_length_g_m.resize(self.centres.len(), 0.0);
        let Some(data) = set.lines().get(line) else { return };
        let row = data.row.index();
        for (place, segment) in set.path(line).enumerate() {
            let value = segment.length_mm / 1000.0 * g(place, &segment.material);
            out.length_g_m += value;
            if let Some(column) = self.rates.get(&segment.material).and_then(|columns| columns[row]) {
                raise(&mut out.fixed, column, value);
            }
            if let Some(column) = self.model_rate(set.model(), &segment.material, row) {
                raise(&mut out.shared, column, value);
            }
            for (length, of) in out.covariate_length_g_m.iter_mut().zip(&self.covariate_materials) {
                *length += if of.as_ref() == Some(&segment.material) { value } else { 0.0 };
            }
        }
        for (length, of) in out.covariate_length_g_m.iter_mut().zip(&self.covariate_materials) {
            if of.is_none() {
                *length = out.length_g_m;
            }
        }
        if let Some(column) = self.spans[row] {
            out.fixed.push((column, (data.span * data.span - 1.0 / 3.0) * out.length_g_m));
        }
        out.fixed.extend(self.covariate_entries(covariates, &out.covariate_length_g_m));
    }

    /// Fixed columns and values of the covariates of a wing for a line.
    pub(super) fn covariate_entries(
        &self,
        covariates: &[f64],
        length_g_m: &[f64],
    ) -> impl Iterator<Item = (usize, f64)> {
        let first = self.first_covariate;
        covariates
            .iter()
            .zip(length_g_m)
            .enumerate()
            .map(move |(k, (value, length))| (first + k, (value - self.centre(k)) * length))
    }

    /// Where a covariate counts from.
    fn centre(&self, covariate: usize) -> f64 {
        self.centres.get(covariate).copied().unwrap_or(0.0)
    }
}

fn raise(values: &mut Vec<(usize, f64)>, column: usize, by: f64) {
    match values.iter_mut().find(|(known, _)| *known == column) {
        Some((_, sum)) => *sum += by,
        None => values.push((column, by)),
    }
}
