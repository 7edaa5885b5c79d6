//! A fitted wear model.

use ndarray::Array2;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::stats::StopReason;
use crate::stats::contrast::t_quantile;
use crate::stats::mixed::{Criterion, MixedDiagnostic, MixedFit};
use crate::wear::fit::scale::{ScaleInterval, ShapeComparison, ShapeComponent, ShapeSearch};
use crate::wear::model::layout::Layout;
use crate::wear::model::random::RandomTerms;
use crate::wear::model::spec::ReducedModel;
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::reduce::counts::Counts;
use crate::wear::{Diagnostic, Reduction, SavedFitError, Shape, SpreadRow, TermRow, WearSpec};
use crate::wing::{LineSet, Row};

/// A fitted wear model: fixed terms with intervals, spreads, and what was found on the way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "UncheckedFit")]
pub struct WearFit {
    pub(crate) spec: WearSpec,
    pub(crate) layout: Layout,
    pub(crate) random: RandomTerms,
    /// The reported fit first; see [`ShapeSearch`].
    pub(crate) components: Vec<Component>,
    /// Whether estimates are the mean over the components; otherwise they are those of the first.
    pub(crate) averaged: bool,
    why: String,
    scale: Option<ScaleInterval>,
    comparison: Vec<ShapeComparison>,
    readings: usize,
    wings: usize,
    checks: usize,
    lines: usize,
    restarted_lines: usize,
    terms: Vec<TermRow>,
    spread: Vec<SpreadRow>,
    diagnostics: Vec<Diagnostic>,
}

/// A fit as a document gives it, before it is checked.
#[derive(Deserialize)]
pub(crate) struct UncheckedFit {
    spec: WearSpec,
    layout: Layout,
    random: RandomTerms,
    components: Vec<Component>,
    averaged: bool,
    why: String,
    scale: Option<ScaleInterval>,
    comparison: Vec<ShapeComparison>,
    readings: usize,
    wings: usize,
    checks: usize,
    lines: usize,
    restarted_lines: usize,
    terms: Vec<TermRow>,
    spread: Vec<SpreadRow>,
    diagnostics: Vec<Diagnostic>,
}

impl TryFrom<UncheckedFit> for WearFit {
    type Error = SavedFitError;

    fn try_from(read: UncheckedFit) -> Result<Self, SavedFitError> {
        let UncheckedFit { random, averaged, ref why, .. } = read;
        let why = why.clone();
        let UncheckedFit { spec, layout, components, scale, comparison, readings, wings, checks, .. } = read;
        let UncheckedFit { lines, restarted_lines, terms, spread, diagnostics, .. } = read;
        let fit = Self {
            spec,
            layout,
            random,
            components,
            averaged,
            why,
            scale,
            comparison,
            readings,
            wings,
            checks,
            lines,
            restarted_lines,
            terms,
            spread,
            diagnostics,
        };
        fit.fault().map_or(Ok(fit), |what| Err(SavedFitError::Damaged { what }))
    }
}

/// A fit under one time shape, and its weight among the shapes that the readings leave open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Component {
    pub(crate) basis: TimeBasis,
    pub(crate) weight: f64,
    pub(crate) mixed: MixedFit,
}

/// Components lighter than this share of the heaviest are left out where a chosen model is fitted again.
const WORTH_FITTING: f64 = 0.2;

impl Component {
    /// Its shape and weight, where a chosen model is fitted to other readings.
    pub(crate) fn beside(&self, heaviest: f64) -> Option<ShapeComponent> {
        (self.weight >= WORTH_FITTING * heaviest)
            .then(|| ShapeComponent { basis: self.basis.clone(), weight: self.weight })
    }
}

/// Which model a fit is: what was chosen or fixed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModelChoice {
    /// Further random terms: `wing:row`, `line:rate`, `model:material:row`.
    pub random: Vec<&'static str>,
    /// Time shapes that the figures are averages over; one where nothing was averaged.
    pub averaged: Vec<AveragedShape>,
    /// Why it is this model, in a sentence.
    pub why: String,
}

/// A time shape and its weight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AveragedShape {
    /// `linear`, `log` or `saturating`; `saturating of uhmwpe` where only that material has it and all else is linear.
    pub shape: String,
    /// Scale, h.
    pub scale_h: Option<f64>,
    /// Weight, all of them adding up to 1.
    pub weight: f64,
}

/// Mean drift of one row of a line set since new, with its 95 % confidence interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RowDrift {
    /// Hours flown, h.
    pub hours_h: f64,
    /// Mean drift of the row's lines, mm.
    pub mean_mm: f64,
    /// Lower end, mm.
    pub lower_mm: f64,
    /// Upper end, mm.
    pub upper_mm: f64,
}

impl WearFit {
    pub(crate) fn new(model: ReducedModel<'_>, fits: Vec<MixedFit>, search: ShapeSearch) -> Self {
        let ReducedModel { spec, layout, reduction, random, .. } = model;
        let counts = reduction.wings.par_iter().map(Counts::of).reduce(Counts::default, Counts::and);
        let components: Vec<Component> = search
            .components
            .into_iter()
            .zip(fits)
            .map(|(known, mixed)| Component { basis: known.basis, weight: known.weight, mixed })
            .collect();
        let mixed = &components[0].mixed;
        let terms = mixed
            .fixed()
            .iter()
            .map(|fixed| {
                let mut weights = EffectWeights::zeros(&layout);
                weights.fixed[fixed.column] = 1.0;
                let found = combination(&components, search.averaged, |_| weights.clone());
                TermRow {
                    term: fixed.name.clone(),
                    estimate: found.estimate,
                    se: found.se,
                    lower: found.estimate - found.half,
                    upper: found.estimate + found.half,
                    df: found.df,
                    p: found.p(),
                }
            })
            .collect();
        let spread = spread_rows(&layout, mixed);
        let mut diagnostics = diagnose(&layout, mixed, reduction);
        diagnostics.extend(search.diagnostics);
        Self {
            readings: counts.readings,
            wings: reduction.wings.len(),
            checks: counts.checks,
            lines: counts.lines,
            restarted_lines: counts.restarted_lines,
            spec: spec.clone(),
            layout,
            random,
            components,
            averaged: search.averaged,
            why: search.why,
            scale: search.interval,
            comparison: search.comparison,
            terms,
            spread,
            diagnostics,
        }
    }

    /// Readings the fit rests on.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.readings
    }

    /// Wings with readings.
    #[must_use]
    pub fn wings(&self) -> usize {
        self.wings
    }

    /// Checks with readings.
    #[must_use]
    pub fn checks(&self) -> usize {
        self.checks
    }

    /// Lines read, each wing and side its own.
    #[must_use]
    pub fn lines(&self) -> usize {
        self.lines
    }

    /// Line offsets that an adjustment started anew (one per line and restart that was read).
    #[must_use]
    pub fn restarted_lines(&self) -> usize {
        self.restarted_lines
    }

    /// Covariates of a wing that the model asks for.
    #[must_use]
    pub fn covariates(&self) -> &[String] {
        &self.spec.covariates
    }

    /// The likelihood that was maximised.
    #[must_use]
    pub fn criterion(&self) -> Criterion {
        self.mixed().criterion()
    }

    /// The criterion at the optimum, −2 log likelihood.
    #[must_use]
    pub fn deviance(&self) -> f64 {
        self.mixed().deviance()
    }

    /// Evaluations of the criterion.
    #[must_use]
    pub fn evaluations(&self) -> usize {
        self.mixed().minimum().evaluations
    }

    /// Whether the optimiser converged.
    #[must_use]
    pub fn converged(&self) -> bool {
        self.mixed().minimum().stop == StopReason::Converged
    }

    /// Time shape: the one given or found, or the heaviest of those averaged.
    #[must_use]
    pub fn shape(&self) -> Shape {
        self.components[0].basis.shape
    }

    /// Which model this is: further random terms, time shapes averaged over, and why.
    ///
    /// All components share the random terms and the columns. [`WearFit::terms`], [`WearFit::drift`], [`WearFit::row_drift`] and
    /// whatever else is a linear combination average over them: the mean of the estimates, and as variance the mean of the
    /// variances and the variance of the means (the law of total variance), with Student's t on the heaviest component's degrees
    /// of freedom. Draws of paths take as many draws of each component as its weight says, and [`crate::wear::PathPosterior`] is
    /// the mixture; so whoever uses them need not know of the averaging.
    #[must_use]
    pub fn model(&self) -> ModelChoice {
        let averaged = self.components.iter().filter(|component| component.weight > 0.0 && self.averaged);
        let mut averaged: Vec<AveragedShape> = averaged
            .map(|Component { basis, weight, .. }| AveragedShape {
                shape: match &basis.own {
                    Some(own) => format!("{} of {}", own.shape.name(), own.material),
                    None => basis.shape.name().to_owned(),
                },
                scale_h: basis.own.as_ref().map_or(basis.shape, |own| own.shape).scale_h(),
                weight: *weight,
            })
            .collect();
        if averaged.is_empty() {
            let shape = self.shape();
            averaged.push(AveragedShape { shape: shape.name().to_owned(), scale_h: shape.scale_h(), weight: 1.0 });
        }
        let why = if self.why.is_empty() { "As the options fix it.".to_owned() } else { self.why.clone() };
        ModelChoice { random: self.random.names(), averaged, why }
    }

    /// The scale of the time shape with its interval, where it was estimated.
    #[must_use]
    pub fn scale(&self) -> Option<ScaleInterval> {
        self.scale
    }

    /// How the time shapes compare, where the shape was chosen among them.
    #[must_use]
    pub fn comparison(&self) -> &[ShapeComparison] {
        &self.comparison
    }

    /// Fixed terms. Intervals are Wald intervals with Student's t on Satterthwaite degrees of freedom; where the scale of the
    /// time shape was estimated its uncertainty is in the standard errors.
    #[must_use]
    pub fn terms(&self) -> &[TermRow] {
        &self.terms
    }

    /// Covariance of the fixed terms, in the order of [`WearFit::terms`]; with the uncertainty of the time shape's scale where it was
    /// estimated.
    #[must_use]
    pub fn covariance(&self) -> Array2<f64> {
        let n = self.terms.len();
        let mut out = Array2::zeros((n, n));
        let columns: Vec<usize> = self.mixed().fixed().iter().map(|effect| effect.column).collect();
        for component in self.components.iter().filter(|component| component.weight > 0.0) {
            let fixed = component.mixed.fixed();
            let places: Vec<Option<usize>> =
                columns.iter().map(|column| fixed.iter().position(|effect| effect.column == *column)).collect();
            let apart = |k: usize| places[k].map_or(0.0, |at| fixed[at].estimate - self.terms[k].estimate);
            for i in 0..n {
                for j in 0..n {
                    let own = places[i].zip(places[j]).map_or(0.0, |(a, b)| component.mixed.covariance(a, b));
                    out[[i, j]] += component.weight * (own + apart(i) * apart(j));
                }
            }
        }
        out
    }

    /// Spreads and correlations.
    #[must_use]
    pub fn spread(&self) -> &[SpreadRow] {
        &self.spread
    }

    /// Terms that the data cannot tell apart from others.
    #[must_use]
    pub fn dropped_terms(&self) -> &[String] {
        self.mixed().dropped()
    }

    /// Remarks.
    #[must_use]
    pub fn diagnostics(&self) -> &[Diagnostic] {
        &self.diagnostics
    }

    /// The mixed-model fit underneath.
    #[must_use]
    pub fn mixed(&self) -> &MixedFit {
        &self.components[0].mixed
    }

    pub(crate) fn with_diagnostic(mut self, diagnostic: Diagnostic) -> Self {
        self.diagnostics.push(diagnostic);
        self
    }

    /// Standard deviation of a reading about everything else, mm.
    #[must_use]
    pub fn reading_sd_mm(&self) -> f64 {
        self.mixed().sigma()
    }

    /// Standard deviation of the common offset of a check, mm; zero where the data could not tell it from the wing's.
    #[must_use]
    pub fn check_sd_mm(&self) -> f64 {
        let spread = self.layout.check.and_then(|term| self.mixed().outer().get(term));
        spread.and_then(|spread| spread.sd.first().copied()).unwrap_or(0.0)
    }

    /// Mean drift since new of a row's lines in a line set at some hours, covariates at their mean; `None` when the set has no
    /// line of the row or the fit has no term for its materials.
    ///
    /// `Σ_l (Σ_m rate[m,row] L_m + span[row] (η² − 1/3) L) g(h) / lines`, with the variance of that sum of estimates.
    #[must_use]
    pub fn row_drift(&self, set: &LineSet, row: Row, hours_h: f64) -> Option<RowDrift> {
        if !(hours_h >= 0.0 && hours_h.is_finite()) {
            return None;
        }
        let unit = self.row_weights(set, row, None, |_| 1.0);
        if !self.mixed().fixed().iter().any(|effect| unit.fixed[effect.column] != 0.0) {
            return None;
        }
        let drift =
            self.combination(|basis| self.row_weights(set, row, None, |material| basis.at(material, hours_h)));
        Some(RowDrift {
            hours_h,
            mean_mm: drift.estimate,
            lower_mm: drift.estimate - drift.half,
            upper_mm: drift.estimate + drift.half,
        })
    }
}

impl WearFit {
    /// A linear combination of the rates, averaged over the components where the fit is an average.
    pub(crate) fn combination(&self, weights: impl Fn(&TimeBasis) -> EffectWeights) -> Combination {
        combination(&self.components, self.averaged, weights)
    }
}

/// Weights of a linear combination, by shared and by fixed column of the layout.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct EffectWeights {
    pub(crate) shared: Vec<f64>,
    pub(crate) fixed: Vec<f64>,
}

impl EffectWeights {
    pub(crate) fn zeros(layout: &Layout) -> Self {
        Self { shared: vec![0.0; layout.structure.shared_columns()], fixed: vec![0.0; layout.structure.fixed.len()] }
    }

    /// Adds others, times a factor.
    pub(crate) fn add(&mut self, others: &Self, factor: f64) {
        self.shared.iter_mut().zip(&others.shared).for_each(|(sum, value)| *sum += factor * value);
        self.fixed.iter_mut().zip(&others.fixed).for_each(|(sum, value)| *sum += factor * value);
    }
}

/// A linear combination of the rates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Combination {
    pub(crate) estimate: f64,
    pub(crate) se: f64,
    /// Half-width of its 95 % interval.
    pub(crate) half: f64,
    /// Degrees of freedom of its standard error.
    pub(crate) df: f64,
}

impl Combination {
    /// Two-sided p value of the null hypothesis that it is zero.
    pub(crate) fn p(self) -> f64 {
        if self.se <= 0.0 {
            return if self.estimate == 0.0 { 1.0 } else { 0.0 };
        }
        let t = -(self.estimate / self.se).abs();
        StudentsT::new(0.0, 1.0, self.df).map_or(1.0, |of| (2.0 * of.cdf(t)).clamp(0.0, 1.0))
    }
}

/// `wᵀβ`, its variance that of the estimates and of the time shape together: the mean over the components of
/// `wᵀ Var(β) w + (wᵀβ − m)²`, with `m` the mean over the components where the fit is an average of them, otherwise what the
/// reported one says.
pub(crate) fn combination(
    components: &[Component],
    averaged: bool,
    weights: impl Fn(&TimeBasis) -> EffectWeights,
) -> Combination {
    let parts: Vec<(f64, Part)> =
        components.iter().map(|component| (component.weight, Part::new(component, &weights))).collect();
    let reported = &parts[0].1;
    let estimate =
        if averaged { parts.iter().map(|(weight, part)| weight * part.estimate).sum() } else { reported.estimate };
    let variance: f64 =
        parts.iter().map(|(weight, part)| weight * (part.variance + (part.estimate - estimate).powi(2))).sum();
    let se = variance.sqrt();
    let df = components[0].mixed.effect_freedom(&reported.weights);
    Combination { estimate, se, half: t_quantile(0.95, df) * se, df }
}

/// A linear combination under one component.
struct Part {
    /// By shared and kept fixed effect.
    weights: Vec<f64>,
    estimate: f64,
    variance: f64,
}

impl Part {
    fn new(component: &Component, weights: impl Fn(&TimeBasis) -> EffectWeights) -> Self {
        let EffectWeights { shared, fixed } = weights(&component.basis);
        let mixed = &component.mixed;
        let kept = mixed.fixed().iter().map(|effect| fixed.get(effect.column).copied().unwrap_or(0.0));
        let weights: Vec<f64> = shared.iter().copied().chain(kept).collect();
        let values = mixed.shared_effects().iter().copied().chain(mixed.fixed().iter().map(|effect| effect.estimate));
        let estimate = weights.iter().zip(values).map(|(w, value)| w * value).sum();
        let there: Vec<usize> = (0..weights.len()).filter(|k| weights[*k] != 0.0).collect();
        let mut variance = 0.0;
        for &i in &there {
            for &j in &there {
                variance += weights[i] * weights[j] * mixed.effect_covariance(i, j);
            }
        }
        Self { weights, estimate, variance: f64::max(variance, 0.0) }
    }
}

fn spread_rows(layout: &Layout, mixed: &MixedFit) -> Vec<SpreadRow> {
    let row = |group: &str, effect: &str, sd: Option<f64>, correlation: Option<f64>| SpreadRow {
        group: group.to_owned(),
        effect: effect.to_owned(),
        sd,
        correlation,
    };
    let mut rows = Vec::new();
    if let Some(spread) = layout.wing.and_then(|term| mixed.outer().get(term)) {
        rows.push(row("wing", "offset", spread.sd.first().copied(), None));
        rows.push(row("wing", "rate", spread.sd.get(1).copied(), None));
        rows.push(row("wing", "offset,rate", None, spread.correlation.get(2).copied()));
    }
    if let Some(spread) = layout.wing_row.and_then(|term| mixed.outer().get(term)) {
        rows.push(row("wing:row", "rate", spread.sd.first().copied(), None));
    }
    if let Some(spread) = layout.check.and_then(|term| mixed.outer().get(term)) {
        rows.push(row("check", "offset", spread.sd.first().copied(), None));
    }
    if let Some(sd) = mixed.inner_sd() {
        rows.push(row("line", "offset", Some(sd), None));
    }
    if let Some(sd) = mixed.inner_slope_sd() {
        rows.push(row("line", "rate", Some(sd), None));
    }
    if let Some(sd) = mixed.shared_sd().first() {
        rows.push(row("model", "rate", Some(*sd), None));
    }
    rows.push(row("reading", "offset", Some(mixed.sigma()), None));
    rows
}

fn diagnose(layout: &Layout, mixed: &MixedFit, reduction: &Reduction) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let mut say = |code: &str, message: String| out.push(Diagnostic { code: code.to_owned(), message });
    if layout.few_wings {
        let wings = reduction.wings.len();
        say(
            "few_wings",
            format!(
                "Wings with readings: {wings}, too few to estimate how wings differ. Wing effects are left out and the rates \
                 hold for these wings only. Five wings or more are needed."
            ),
        );
    }
    if layout.line_not_separable {
        say(
            "not_separable",
            "No line was read twice: the spread of lines and of readings are one figure. Check a wing again, or repeat \
             readings."
                .to_owned(),
        );
    }
    if layout.check_not_separable {
        say(
            "not_separable",
            "No wing was checked twice: the offset of a check cannot be told from that of its wing. A second check of \
             some wings will."
                .to_owned(),
        );
    }
    for diagnostic in mixed.diagnostics() {
        match diagnostic {
            MixedDiagnostic::ZeroSpread { term, effect } => {
                let what = if *effect == 1 { "rate" } else { "offset" };
                let what = if term == "wing:row" || term == "model" { "rate" } else { what };
                say(
                    "boundary",
                    format!("The spread of the {what} by {term} is estimated as zero: the data show none."),
                );
            }
            MixedDiagnostic::Dropped { column } => say(
                "dropped_term",
                format!(
                    "`{column}` is left out: these readings cannot tell it from the terms before it, or never show it."
                ),
            ),
            MixedDiagnostic::BadlyConditioned { column, digits } => say(
                "badly_conditioned",
                format!(
                    "These readings hardly tell `{column}` from the terms before it: its figures are good to {digits} digits \
                     at most. Leave one of them out."
                ),
            ),
            MixedDiagnostic::FullCorrelation { term } => say(
                "boundary",
                format!(
                    "The effects of each {term} are estimated as fully correlated: the data do not separate them. More \
                     wings or longer histories would."
                ),
            ),
            MixedDiagnostic::NotConverged { stop } => say(
                "not_converged",
                format!("The optimiser stopped before it converged ({stop:?}): do not use the figures."),
            ),
        }
    }
    out
}
