//! How to fit the wear model.

use serde::{Deserialize, Serialize};

use crate::check::Fleet;
use crate::stats::Precision;
use crate::stats::mixed::{Block, Criterion, MixedError, MixedFit, MixedSpec, Start};
use crate::wear::fit::choice::choose;
use crate::wear::fit::scale::{ShapeChoice, ShapeSearch};
use crate::wear::model::layout::Layout;
use crate::wear::model::random::RandomTerms;
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::{Reduction, Shape, WearError, WearFit};

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
    /// Those that the likelihood asks for, and rates of lines and of models likewise.
    #[default]
    #[serde(rename = "auto")]
    Auto,
    /// One rate deviation per wing, for all its rows.
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
/// | `shape` | auto | linear, logarithmic and saturating averaged by weight; one given fixes the whole model |
/// | `terms` | rate and span | inner and outer lines carry different loads |
/// | `wing_effects` | auto | what the likelihood asks for; one given fixes the whole model |
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
            shape: ShapeChoice::Auto,
            terms: TermsOption::default(),
            wing_effects: WingEffects::default(),
            criterion: Criterion::default(),
            offsets: OffsetOption::default(),
            covariates: Vec::new(),
        }
    }
}

impl WearSpec {
    /// Time shape: one given with its scale (a [`Shape`]), a kind whose scale is to be estimated, or the average of all. Any but
    /// the last fixes the whole model.
    #[must_use]
    pub fn shape(mut self, shape: impl Into<ShapeChoice>) -> Self {
        self.shape = shape.into();
        self
    }

    setters! {
        /// Fixed terms.
        terms: TermsOption;
        /// Which rates differ from wing to wing. Any but `Auto` fixes the whole model.
        wing_effects: WingEffects;
        /// Likelihood to maximise.
        criterion: Criterion;
        /// Which constant deviations lines share.
        offsets: OffsetOption;
    }

    /// Wing covariates that change the rates: each adds a term `covariate:{name}`, mm per metre in the first 100 h and unit
    /// of the covariate.
    #[must_use]
    pub fn covariates(mut self, names: impl IntoIterator<Item = impl Into<String>>) -> Self {
        self.covariates = names.into_iter().map(Into::into).collect();
        self
    }

    /// Fits the model to a fleet. Where neither shape nor wing effects are given the model is chosen: of the further random
    /// terms (rates of rows of a wing, of lines, of models) each that lowers the deviance by more than 2 is kept, and the time
    /// shapes that the readings leave open are averaged by their weight ([`WearFit::model`] says which). A shape or wing effects
    /// given fix the whole model. Everything that needs a wear model fits it here.
    ///
    /// # Errors
    /// [`WearError`]: no readings, a covariate that a wing lacks, a senseless scale, or too little data for the model.
    pub fn fit(&self, fleet: &Fleet) -> Result<WearFit, WearError> {
        self.fit_reduced(&Reduction::new(fleet, &self.covariates)?)
    }

    /// Fits the model to a reduced fleet.
    ///
    /// # Errors
    /// As [`WearSpec::fit`].
    pub fn fit_reduced(&self, reduction: &Reduction) -> Result<WearFit, WearError> {
        self.fit_counting(reduction, &[])
    }

    /// The same with a mean for each line sum of each wing in place of the one read; none where they count as read.
    pub(crate) fn fit_counting(&self, reduction: &Reduction, means_mm: &[Vec<f64>]) -> Result<WearFit, WearError> {
        if let ShapeChoice::Given(shape) = self.shape
            && let Some(scale) = shape.scale_h()
            && !(scale > 0.0 && scale.is_finite())
        {
            return Err(WearError::Scale { got: scale });
        }
        let selected = reduction.selecting(&self.covariates)?;
        let fit = match self.pinned() {
            Some(Pinned { shape, random }) => {
                ReducedModel::new(self, &selected, random)?.counting(means_mm).fit_all(shape)
            }
            None => choose(self, &selected, means_mm),
        }?;
        let tails = if means_mm.is_empty() { fit.heavy_tails(&selected) } else { None };
        Ok([tails, reduction.left_out()].into_iter().flatten().fold(fit, WearFit::with_diagnostic))
    }

    /// Fits one model: no choice, no averaging.
    pub(crate) fn fit_as(
        &self,
        reduction: &Reduction,
        random: RandomTerms,
        basis: &TimeBasis,
    ) -> Result<WearFit, WearError> {
        let selected = reduction.selecting(&self.covariates)?;
        let model = ReducedModel::new(self, &selected, random)?;
        model.with_shapes(ShapeSearch::known(basis.clone()))
    }

    /// Fits the model and the heaviest time shape of a fit again, to readings that count as others: no choice, no averaging.
    pub(crate) fn fit_again(
        &self,
        reduction: &Reduction,
        fit: &WearFit,
        means_mm: &[Vec<f64>],
        precision: Precision,
    ) -> Result<WearFit, WearError> {
        let selected = reduction.selecting(&self.covariates)?;
        let model = ReducedModel::new(self, &selected, fit.random)?.counting(means_mm);
        let component = &fit.components[0];
        let mixed = model.fit(&component.basis, self.criterion, &component.mixed.start(), precision)?;
        Ok(WearFit::new(model, vec![mixed], ShapeSearch::known(component.basis.clone())))
    }

    /// Fits the model that another fleet's readings chose: its random terms, and its time shapes with their weights, the lightest
    /// left out. Where options fix the model that is the one.
    pub(crate) fn fit_like(&self, fleet: &Fleet, chosen: &WearFit) -> Result<WearFit, WearError> {
        if self.pinned().is_some() {
            return self.fit(fleet);
        }
        let reduction = Reduction::new(fleet, &self.covariates)?;
        let selected = reduction.selecting(&self.covariates)?;
        let model = ReducedModel::new(self, &selected, chosen.random)?;
        let mut search = ShapeSearch::known(Shape::LINEAR);
        let heaviest = chosen.components.iter().map(|component| component.weight).fold(0.0, f64::max);
        search.components = chosen.components.iter().filter_map(|component| component.beside(heaviest)).collect();
        search.averaged = search.components.len() > 1;
        let total: f64 = search.components.iter().map(|component| component.weight).sum();
        search.components.iter_mut().for_each(|component| component.weight /= total);
        search.start = chosen.components[0].mixed.start();
        model.with_shapes(search)
    }

    /// The model where options fix it; a shape or wing effects that were not given are the plain ones then.
    pub(crate) fn pinned(&self) -> Option<Pinned> {
        if self.shape == ShapeChoice::Auto && self.wing_effects == WingEffects::Auto {
            return None;
        }
        let shape = if self.shape == ShapeChoice::Auto { Shape::LINEAR.into() } else { self.shape };
        let wing_row = self.wing_effects == WingEffects::RateRow;
        Some(Pinned { shape, random: RandomTerms { wing_row, ..RandomTerms::NONE } })
    }
}

/// A model that options fix.
pub(crate) struct Pinned {
    pub(crate) shape: ShapeChoice,
    pub(crate) random: RandomTerms,
}

/// A wear model on a reduced fleet, ready to be fitted under any time shape.
pub(crate) struct ReducedModel<'a> {
    pub(crate) spec: &'a WearSpec,
    pub(crate) layout: Layout,
    pub(crate) random: RandomTerms,
    pub(crate) reduction: &'a Reduction,
    /// By wing and line sum: the mean that counts in place of the one read; empty where readings count as read.
    pub(crate) means_mm: &'a [Vec<f64>],
}

impl<'a> ReducedModel<'a> {
    pub(crate) fn new(spec: &'a WearSpec, reduction: &'a Reduction, random: RandomTerms) -> Result<Self, WearError> {
        if reduction.wings.is_empty() {
            return Err(WearError::NoReadings);
        }
        let mut random = random;
        let layout = Layout::new(spec, reduction, random);
        random.wing_row &= layout.wing_row.is_some();
        random.line_rate &= layout.structure.inner_slope.is_some();
        random.model_rate &= !layout.structure.shared.is_empty();
        Ok(Self { spec, layout, random, reduction, means_mm: &[] })
    }

    pub(crate) fn counting(mut self, means_mm: &'a [Vec<f64>]) -> Self {
        self.means_mm = means_mm;
        self
    }
}

impl ReducedModel<'_> {
    /// One block per wing under a time shape.
    pub(crate) fn blocks(&self, basis: &TimeBasis) -> Vec<Block> {
        self.reduction.blocks(&self.layout, basis, self.means_mm)
    }

    pub(crate) fn fit(
        &self,
        basis: &TimeBasis,
        criterion: Criterion,
        start: &Start,
        precision: Precision,
    ) -> Result<MixedFit, MixedError> {
        let spec = MixedSpec::default().criterion(criterion);
        spec.fit_near(&self.layout.structure, &self.blocks(basis), start, precision)
    }

    /// Searches a time shape, and fits what it found.
    pub(crate) fn fit_all(self, shape: ShapeChoice) -> Result<WearFit, WearError> {
        let search = ShapeSearch::run(&self, shape)?;
        self.with_shapes(search)
    }

    /// Fits the model under each of the time shapes found; the first says the degrees of freedom.
    fn with_shapes(self, search: ShapeSearch) -> Result<WearFit, WearError> {
        let mut fits: Vec<MixedFit> = Vec::with_capacity(search.components.len());
        for component in &search.components {
            let precision = if fits.is_empty() { Precision::Full } else { Precision::OnTheWay };
            let start = fits.last().map_or_else(|| search.start.clone(), MixedFit::start);
            fits.push(self.fit(&component.basis, self.spec.criterion, &start, precision)?);
        }
        Ok(WearFit::new(self, fits, search))
    }
}
