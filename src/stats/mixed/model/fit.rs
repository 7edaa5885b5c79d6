//! A fitted model of a table.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::coding::Term;
use super::design::Design;
use super::effects::{EffectRow, Effects};
use super::{DataTable, MixedModelSpec, ModelError};
use crate::stats::ContrastRow;
use crate::stats::mixed::{Criterion, MixedFit};

/// A fitted mixed model of a table.
///
/// What it answers, by file: coefficients, likelihood, covariance, fitted values (here); random effects (`effects`); contrasts, joint
/// tests and likelihood ratios (`inference`); predictions (`predict`); simulation and bootstrap (`bootstrap`); the one-screen summary
/// (`summary`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MixedModelFit {
    pub(super) spec: MixedModelSpec,
    pub(super) terms: Vec<Term>,
    pub(super) design: Design,
    pub(super) response: Vec<f64>,
    pub(super) mixed: MixedFit,
    /// Fixed part by row.
    pub(super) population: Vec<f64>,
    /// Fixed and random part by row.
    pub(super) fitted: Vec<f64>,
    pub(super) effects: Vec<EffectRow>,
}

/// One coefficient.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct CoefficientRow {
    /// Its name: `(intercept)`, a column, `column=level`, or a product of such.
    pub name: String,
    /// Estimate.
    pub estimate: f64,
    /// Standard error.
    pub se: f64,
    /// Satterthwaite degrees of freedom (a million stands for normal).
    pub df: f64,
    /// Lower end of the 95 % interval.
    pub lower: f64,
    /// Upper end of the 95 % interval.
    pub upper: f64,
    /// Two-sided p-value of zero.
    pub p: Option<f64>,
}

impl MixedModelFit {
    pub(super) fn new(
        spec: MixedModelSpec,
        terms: Vec<Term>,
        design: Design,
        response: Vec<f64>,
        mixed: MixedFit,
    ) -> Result<Self, ModelError> {
        let population: Vec<f64> = (0..design.rows())
            .map(|row| mixed.fixed().iter().map(|effect| effect.estimate * design.fixed[effect.column][row]).sum())
            .collect();
        let Effects { rows: effects, random_part } = Effects::new(&spec, &design, &response, &mixed)?;
        let fitted = population.iter().zip(random_part).map(|(fixed, random)| fixed + random).collect();
        Ok(Self { spec, terms, design, response, mixed, population, fitted, effects })
    }

    /// The engine's fit: θ, spreads, what the optimiser did, diagnostics.
    #[must_use]
    pub fn mixed(&self) -> &MixedFit {
        &self.mixed
    }

    /// Rows.
    #[must_use]
    pub fn observations(&self) -> usize {
        self.response.len()
    }

    /// The log likelihood at the optimum, restricted where the fit is by REML.
    #[must_use]
    pub fn log_likelihood(&self) -> f64 {
        self.mixed.log_likelihood()
    }

    /// Akaike's criterion, `−2 log L + 2 k`. That of a REML fit compares random parts only.
    #[must_use]
    pub fn aic(&self) -> f64 {
        self.mixed.deviance() + 2.0 * self.mixed.parameters() as f64
    }

    /// Schwarz's criterion, `−2 log L + k ln n`, with the number of rows for n.
    #[must_use]
    pub fn bic(&self) -> f64 {
        self.mixed.deviance() + self.mixed.parameters() as f64 * (self.observations() as f64).ln()
    }

    /// Whether a grouping is the one that the engine eliminates first: its spread is the engine's inner one.
    #[must_use]
    pub(crate) fn is_inner(&self, group: &str) -> bool {
        self.design.inner.is_some_and(|term| self.spec.random[term].group == group)
    }

    /// Standard deviation of a row about everything else.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        self.mixed.sigma()
    }

    /// One row per coefficient that was kept.
    #[must_use]
    pub fn coefficients(&self) -> Vec<CoefficientRow> {
        self.mixed
            .fixed()
            .iter()
            .map(|effect| {
                let name = effect.name.clone();
                let ContrastRow { estimate, se, df, lower, upper, p, .. } =
                    ContrastRow::new(String::new(), effect.estimate, effect.se, effect.freedom, 0.95);
                CoefficientRow { name, estimate, se, df, lower, upper, p }
            })
            .collect()
    }

    /// Covariance of the coefficients, in the order of [`MixedModelFit::coefficients`].
    #[must_use]
    pub fn covariance(&self) -> Array2<f64> {
        let p = self.mixed.fixed().len();
        Array2::from_shape_fn((p, p), |(i, j)| self.mixed.covariance(i, j))
    }

    /// Fixed part of each row: what is expected of a level never seen.
    #[must_use]
    pub fn population(&self) -> &[f64] {
        &self.population
    }

    /// Fixed and random part of each row.
    #[must_use]
    pub fn fitted(&self) -> &[f64] {
        &self.fitted
    }

    /// Response less [`MixedModelFit::fitted`].
    #[must_use]
    pub fn residuals(&self) -> Vec<f64> {
        self.response.iter().zip(&self.fitted).map(|(y, fitted)| y - fitted).collect()
    }

    /// One row per random effect: its value given the readings, and its standard deviation.
    #[must_use]
    pub fn effects(&self) -> &[EffectRow] {
        &self.effects
    }

    /// Fits the same model to another response on the same rows.
    ///
    /// # Errors
    /// [`ModelError::Rows`] for another number of rows, [`ModelError::NotFinite`], or as [`MixedModelSpec::fit`].
    pub fn refit(&self, response: &[f64]) -> Result<MixedModelFit, ModelError> {
        let column = self.spec.response.clone();
        if response.len() != self.response.len() {
            return Err(ModelError::Rows { column, got: response.len(), expected: self.response.len() });
        }
        if let Some(row) = response.iter().position(|value| !value.is_finite()) {
            return Err(ModelError::NotFinite { column, row: row + 1, value: response[row] });
        }
        let mixed = self.refit_engine(response, self.spec.criterion)?;
        Self::new(self.spec.clone(), self.terms.clone(), self.design.clone(), response.to_vec(), mixed)
    }

    /// The same model by another likelihood.
    ///
    /// # Errors
    /// As [`MixedModelSpec::fit`].
    pub fn refit_by(&self, criterion: Criterion) -> Result<MixedModelFit, ModelError> {
        let mixed = self.refit_engine(&self.response, criterion)?;
        let spec = self.spec.clone().criterion(criterion);
        Self::new(spec, self.terms.clone(), self.design.clone(), self.response.clone(), mixed)
    }

    pub(super) fn refit_engine(&self, response: &[f64], criterion: Criterion) -> Result<MixedFit, ModelError> {
        let blocks = self.design.blocks(response);
        let spec = crate::stats::mixed::MixedSpec::default().criterion(criterion);
        Ok(spec.fit_from(&self.design.structure, &blocks, &self.mixed.minimum().end)?)
    }

    /// Whether a table has the columns that the model's fixed part needs.
    pub(super) fn fixed_of(&self, table: &DataTable) -> Result<Vec<Vec<f64>>, ModelError> {
        let mut columns = Vec::new();
        for term in &self.terms {
            columns.extend(term.columns(table)?);
        }
        Ok(columns)
    }
}
