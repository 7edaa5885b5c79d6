//! How to fit the wear model.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::layout::Layout;
use super::scale::{ShapeChoice, ShapeSearch};
use super::{Reduction, Shape, WearFit};
use crate::check::Fleet;
use crate::stats::mixed::{Block, Criterion, MixedError, MixedFit, MixedSpec};

/// How much lower the deviance must be for one variance more (Akaike's criterion).
const PRICE_OF_A_VARIANCE: f64 = 2.0;

/// Which fixed terms the model has beside the offset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum TermsOption {
    /// A rate per material and row.
    #[serde(rename = "rate")]
    Rate,
    /// The same, and a span term per row that has at least 8 span positions.
    #[default]
    #[serde(rename = "rate+span")]
    RateSpan,
}

/// Which rates differ from wing to wing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum WingEffects {
    /// One rate deviation per wing, for all its rows.
    #[default]
    #[serde(rename = "rate")]
    Rate,
    /// The same, and one per row of the wing, of one common variance.
    #[serde(rename = "rate+row")]
    RateRow,
}

/// Why the wear model could not be fitted.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum WearError {
    /// No wing has a reading.
    #[error("no wing of the fleet has a reading: nothing to fit")]
    NoReadings,
    /// A wing lacks a covariate.
    #[error("wing `{wing}` has no finite value of covariate `{covariate}`")]
    Covariate {
        /// The wing.
        wing: String,
        /// The covariate.
        covariate: String,
    },
    /// A time scale that is not a positive number.
    #[error("the scale of the time shape is {got} h, it must be a positive number")]
    Scale {
        /// The scale given.
        got: f64,
    },
    /// Noise that has fewer columns than a wing's draws need.
    #[error("wing `{wing}` needs noise of {shared} shared columns and {lines} lines: make it with `draw_noise`")]
    Noise {
        /// The wing.
        wing: String,
        /// Shared columns needed.
        shared: usize,
        /// Columns of lines needed.
        lines: usize,
    },
    /// The model cannot be fitted to these readings.
    #[error("the wear model cannot be fitted: {source}")]
    Fit {
        /// Why.
        #[from]
        source: MixedError,
    },
}

/// The wear model to fit.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `shape` | linear | needs no scale; the first thing to try; others have their scale given or estimated by ML |
/// | `terms` | rate and span | inner and outer lines carry different loads |
/// | `wing_effects` | rate | one rate deviation per wing |
/// | `criterion` | REML | spreads without bias |
/// | `covariates` | none | each adds a rate per unit of the covariate |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WearSpec {
    pub(crate) shape: ShapeChoice,
    pub(crate) terms: TermsOption,
    pub(crate) wing_effects: WingEffects,
    pub(crate) criterion: Criterion,
    pub(crate) covariates: Vec<String>,
}

impl Default for WearSpec {
    fn default() -> Self {
        Self {
            shape: ShapeChoice::Given(Shape::LINEAR),
            terms: TermsOption::default(),
            wing_effects: WingEffects::default(),
            criterion: Criterion::default(),
            covariates: Vec::new(),
        }
    }
}

impl WearSpec {
    /// Time shape: one given with its scale (a [`Shape`]), a kind whose scale is to be estimated, or the best of all.
    #[must_use]
    pub fn shape(mut self, shape: impl Into<ShapeChoice>) -> Self {
        self.shape = shape.into();
        self
    }

    /// Fixed terms.
    #[must_use]
    pub fn terms(mut self, terms: TermsOption) -> Self {
        self.terms = terms;
        self
    }

    /// Which rates differ from wing to wing.
    #[must_use]
    pub fn wing_effects(mut self, effects: WingEffects) -> Self {
        self.wing_effects = effects;
        self
    }

    /// Likelihood to maximise.
    #[must_use]
    pub fn criterion(mut self, criterion: Criterion) -> Self {
        self.criterion = criterion;
        self
    }

    /// Wing covariates that change the rates: each adds a term `covariate:{name}`, mm per metre in the first 100 h and unit
    /// of the covariate.
    #[must_use]
    pub fn covariates(mut self, names: impl IntoIterator<Item = impl Into<String>>) -> Self {
        self.covariates = names.into_iter().map(Into::into).collect();
        self
    }

    /// Fits the model to a fleet.
    ///
    /// # Errors
    /// [`WearError`]: no readings, a covariate that a wing lacks, a senseless scale, or too little data for the model.
    pub fn fit(&self, fleet: &Fleet) -> Result<WearFit, WearError> {
        self.fit_reduced(&Reduction::new(fleet, &self.covariates)?)
    }

    /// Fits the model with and without rates that differ by row of a wing, and returns the fit that Akaike's criterion prefers
    /// (both have the same fixed terms, so that their deviances may be compared). Forecasts want this one: without rates by
    /// row, a wing's own history hardly moves the forecast of its trim.
    ///
    /// # Errors
    /// As [`WearSpec::fit`].
    pub fn fit_preferred(&self, fleet: &Fleet) -> Result<WearFit, WearError> {
        let reduction = Reduction::new(fleet, &self.covariates)?;
        let plain = self.clone().wing_effects(WingEffects::Rate).fit_reduced(&reduction)?;
        let by_row = self.clone().wing_effects(WingEffects::RateRow).fit_reduced(&reduction)?;
        Ok(if by_row.deviance() + PRICE_OF_A_VARIANCE < plain.deviance() { by_row } else { plain })
    }

    /// Fits the model to a reduced fleet.
    ///
    /// # Errors
    /// As [`WearSpec::fit`].
    pub fn fit_reduced(&self, reduction: &Reduction) -> Result<WearFit, WearError> {
        if let ShapeChoice::Given(shape) = self.shape
            && let Some(scale) = shape.scale_h()
            && !(scale > 0.0 && scale.is_finite())
        {
            return Err(WearError::Scale { got: scale });
        }
        if reduction.wings.is_empty() {
            return Err(WearError::NoReadings);
        }
        let model = ReducedModel { spec: self, layout: Layout::new(self, reduction), reduction };
        let search = ShapeSearch::run(&model, self.shape)?;
        let mixed = search
            .components
            .iter()
            .map(|component| model.fit(component.shape, self.criterion, &search.start))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(WearFit::new(model, mixed, search))
    }
}

/// A wear model on a reduced fleet, ready to be fitted under any time shape.
pub(crate) struct ReducedModel<'a> {
    pub(crate) spec: &'a WearSpec,
    pub(crate) layout: Layout,
    pub(crate) reduction: &'a Reduction,
}

impl ReducedModel<'_> {
    /// One block per wing under a time shape.
    pub(crate) fn blocks(&self, shape: Shape) -> Vec<Block> {
        let sets = &self.reduction.line_sets;
        self.reduction
            .wings
            .par_iter()
            .map(|wing| self.layout.builder(&sets[wing.line_set()], wing, shape).finish())
            .collect()
    }

    pub(crate) fn fit(&self, shape: Shape, criterion: Criterion, start: &[f64]) -> Result<MixedFit, MixedError> {
        MixedSpec::default().criterion(criterion).fit_from(&self.layout.structure, &self.blocks(shape), start)
    }
}
