//! What is known of a wing's row trim, and how readings would add to it.

use crate::check::History;
use crate::forecast::ForecastError;
use crate::wear::{LineKey, PathFunctional, PathPosterior, WearFit};
use crate::wing::{LineSet, Row};

/// Variance of a check's offset where the fit could not tell it, mm²: so large that only differences between lines count.
const UNKNOWN_OFFSET_MM2: f64 = 1e4;

/// Difference of two row means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::forecast) struct Difference {
    pub(in crate::forecast) front: Row,
    pub(in crate::forecast) rear: Row,
}

/// Joint covariance of what may be read at one hour and of the row differences at another, reading by reading conditioned.
///
/// A reading is `z_l + e`, `z_l` the line's true deviation and the check's offset, `e ~ N(0, σ²)`. After reading line `l` a
/// covariance `c(x, y)` becomes `c(x, y) − c(x, z_l) c(z_l, y)/(c(z_l, z_l) + σ²)`.
#[derive(Debug, Clone)]
pub(in crate::forecast) struct Knowledge {
    pub(in crate::forecast) lines: Vec<LineKey>,
    pub(in crate::forecast) differences: Vec<Difference>,
    /// Covariance of the `z`, lines × lines, row-major.
    between: Vec<f64>,
    /// Covariance of each difference with each `z`, differences × lines.
    across: Vec<f64>,
    /// Variance of each difference, mm².
    pub(in crate::forecast) variance_mm2: Vec<f64>,
    reading_mm2: f64,
}

impl Knowledge {
    /// From a wing's posterior: readings at `read_h`, differences of row means at `wanted_h`.
    pub(in crate::forecast) fn new(
        fit: &WearFit,
        set: &LineSet,
        history: &History,
        read_h: f64,
        wanted_h: f64,
    ) -> Result<Self, ForecastError> {
        for (what, value) in [("hours of the check", read_h), ("hours wanted", wanted_h)] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(ForecastError::Hours { what, value });
            }
        }
        let fit = &*fit.parted();
        if !fit.layout.knows(set, &[]) {
            return Err(ForecastError::NotInFit { wing: history.wing.id.clone() });
        }
        let failed = |source| ForecastError::Wear { wing: history.wing.id.clone(), source };
        let posterior: PathPosterior = fit.path_posterior(set, history).map_err(failed)?;
        let lines = posterior.lines().to_vec();
        let n = lines.len();
        let row_of = |key: &LineKey| set.lines().get(key.line).map(|line| line.row);
        let count = |row: Row| lines.iter().filter(|key| row_of(key) == Some(row)).count();
        let rows: Vec<Row> = Row::ALL.into_iter().filter(|row| row.is_trim() && count(*row) > 0).collect();
        let mut differences = Vec::new();
        for (place, &front) in rows.iter().enumerate() {
            differences.extend(rows[place + 1..].iter().map(|&rear| Difference { front, rear }));
        }
        if differences.is_empty() {
            return Err(ForecastError::NoRowTrim { wing: history.wing.id.clone() });
        }
        let mut functionals: Vec<PathFunctional> = differences
            .iter()
            .map(|one| {
                let weight = |key: &LineKey| match row_of(key) {
                    Some(row) if row == one.front => 1.0 / count(row) as f64,
                    Some(row) if row == one.rear => -1.0 / count(row) as f64,
                    _ => 0.0,
                };
                PathFunctional { hours_h: wanted_h, weights: lines.iter().map(weight).collect() }
            })
            .collect();
        functionals.extend((0..n).map(|line| {
            let mut weights = vec![0.0; n];
            weights[line] = 1.0;
            PathFunctional { hours_h: read_h, weights }
        }));
        let moments = posterior.moments(&functionals);
        let m = differences.len();
        let of_check = fit.spread().iter().find(|spread| spread.group == "check").and_then(|spread| spread.sd);
        let offset_mm2 = of_check.map_or(UNKNOWN_OFFSET_MM2, |sd| sd * sd);
        let mut between = Vec::with_capacity(n * n);
        for i in 0..n {
            between.extend((0..n).map(|j| moments.covariance(m + i, m + j) + offset_mm2));
        }
        let mut across = Vec::with_capacity(m * n);
        for difference in 0..m {
            across.extend((0..n).map(|line| moments.covariance(difference, m + line)));
        }
        Ok(Self {
            lines,
            differences,
            between,
            across,
            variance_mm2: (0..m).map(|difference| moments.covariance(difference, difference).max(0.0)).collect(),
            reading_mm2: fit.mixed().sigma().powi(2),
        })
    }

    /// Variance of a difference if one more line were read, mm².
    pub(in crate::forecast) fn variance_with(&self, difference: usize, line: usize) -> f64 {
        let n = self.lines.len();
        let gain = self.across[difference * n + line].powi(2) / (self.between[line * n + line] + self.reading_mm2);
        (self.variance_mm2[difference] - gain).max(0.0)
    }

    /// Takes one reading of a line.
    pub(in crate::forecast) fn read(&mut self, line: usize) {
        let n = self.lines.len();
        let column: Vec<f64> = (0..n).map(|k| self.between[k * n + line]).collect();
        let total = column[line] + self.reading_mm2;
        for (difference, variance) in self.variance_mm2.iter_mut().enumerate() {
            let share = self.across[difference * n + line] / total;
            *variance = (*variance - share * self.across[difference * n + line]).max(0.0);
            let across = &mut self.across[difference * n..(difference + 1) * n];
            across.iter_mut().zip(&column).for_each(|(c, k)| *c -= share * k);
        }
        for (i, row) in self.between.chunks_exact_mut(n).enumerate() {
            let share = column[i] / total;
            row.iter_mut().zip(&column).for_each(|(c, k)| *c -= share * k);
        }
    }

    /// Standard deviation of each difference, mm.
    pub(in crate::forecast) fn sd_mm(&self) -> Vec<f64> {
        self.variance_mm2.iter().map(|variance| variance.sqrt()).collect()
    }
}
