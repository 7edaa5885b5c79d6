//! How to fit the wear model.

use serde::{Deserialize, Serialize};

use crate::check::Fleet;
use crate::stats::mixed::{Block, Criterion, MixedError, MixedFit, MixedSpec};
use crate::wear::fit::scale::{ShapeChoice, ShapeSearch};
use crate::wear::model::layout::Layout;
use crate::wear::{Reduction, Shape, WearError, WearFit};

/// Most checks of one wing: the work of one evaluation grows with their cube.
const MOST_CHECKS: usize = 1500;
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

/// Which constant deviations lines share.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum OffsetOption {
    /// One for all lines.
    #[default]
    #[serde(rename = "common")]
    Common,
    /// One per model and row: a maker's table that is off in a row.
    #[serde(rename = "model+row")]
    ModelRow,
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

/// The wear model to fit.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `shape` | linear | needs no scale; the first thing to try; others have their scale given or estimated by ML |
/// | `terms` | rate and span | inner and outer lines carry different loads |
/// | `wing_effects` | rate | one rate deviation per wing |
/// | `criterion` | REML | spreads without bias |
/// | `offsets` | common | tables are taken to be right; `model+row` when a row of a model may be off |
/// | `covariates` | none | each adds a rate per unit of the covariate |
///
/// ```
/// use linedrift::WearSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let fit = WearSpec::default().fit(&fleet)?;
/// for term in fit.terms() {
///     println!("{}: {:+.2} ({:+.2} to {:+.2})", term.term, term.estimate, term.lower, term.upper);
/// }
/// assert!(fit.converged());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WearSpec {
    pub(crate) shape: ShapeChoice,
    pub(crate) terms: TermsOption,
    pub(crate) wing_effects: WingEffects,
    pub(crate) criterion: Criterion,
    #[serde(default)]
    pub(crate) offsets: OffsetOption,
    pub(crate) covariates: Vec<String>,
}

impl Default for WearSpec {
    fn default() -> Self {
        Self {
            shape: ShapeChoice::Given(Shape::LINEAR),
            terms: TermsOption::default(),
            wing_effects: WingEffects::default(),
            criterion: Criterion::default(),
            offsets: OffsetOption::default(),
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

    /// Which constant deviations lines share.
    #[must_use]
    pub fn offsets(mut self, offsets: OffsetOption) -> Self {
        self.offsets = offsets;
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
        self.fit_preferred_reduced(&Reduction::new(fleet, &self.covariates)?)
    }

    /// The same for a reduced fleet.
    ///
    /// # Errors
    /// As [`WearSpec::fit`].
    pub fn fit_preferred_reduced(&self, reduction: &Reduction) -> Result<WearFit, WearError> {
        let plain = self.clone().wing_effects(WingEffects::Rate).fit_reduced(reduction)?;
        let by_row = self.clone().wing_effects(WingEffects::RateRow).fit_reduced(reduction)?;
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
        let selected = reduction.selecting(&self.covariates)?;
        let model = ReducedModel::new(self, &selected)?;
        model.fit_all()
    }
}

/// A wear model on a reduced fleet, ready to be fitted under any time shape.
pub(crate) struct ReducedModel<'a> {
    pub(crate) spec: &'a WearSpec,
    pub(crate) layout: Layout,
    pub(crate) reduction: &'a Reduction,
    /// By wing and line_sum; empty when all readings count alike.
    pub(crate) weights: Vec<Vec<f64>>,
}

impl<'a> ReducedModel<'a> {
    pub(crate) fn new(spec: &'a WearSpec, reduction: &'a Reduction) -> Result<Self, WearError> {
        if reduction.wings.is_empty() {
            return Err(WearError::NoReadings);
        }
        if let Some(wing) = reduction.wings.iter().find(|wing| wing.checks().len() > MOST_CHECKS) {
            let (wing, checks) = (wing.wing().to_owned(), wing.checks().len());
            return Err(WearError::TooManyChecks { wing, checks, most: MOST_CHECKS });
        }
        Ok(Self { spec, layout: Layout::new(spec, reduction), reduction, weights: Vec::new() })
    }
}

impl ReducedModel<'_> {
    /// One block per wing under a time shape.
    pub(crate) fn blocks(&self, shape: Shape) -> Vec<Block> {
        self.reduction.blocks(&self.layout, shape, &self.weights)
    }

    pub(crate) fn fit(&self, shape: Shape, criterion: Criterion, start: &[f64]) -> Result<MixedFit, MixedError> {
        MixedSpec::default().criterion(criterion).fit_from(&self.layout.structure, &self.blocks(shape), start)
    }

    /// Searches the time shape as the spec says, and fits what it found.
    pub(crate) fn fit_all(self) -> Result<WearFit, WearError> {
        let search = ShapeSearch::run(&self, self.spec.shape)?;
        let mixed = search
            .components
            .iter()
            .map(|component| self.fit(component.shape, self.spec.criterion, &search.start))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(WearFit::new(self, mixed, search))
    }
}
