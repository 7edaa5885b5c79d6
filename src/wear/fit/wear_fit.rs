//! A fitted wear model.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::stats::mixed::{Criterion, MixedDiagnostic, MixedFit};
use crate::stats::{NORMAL_95, StopReason, student_quantile};
use crate::wear::fit::scale::{ScaleInterval, ShapeComparison, ShapeSearch};
use crate::wear::model::layout::Layout;
use crate::wear::model::spec::ReducedModel;
use crate::wear::reduce::counts::Counts;
use crate::wear::{Diagnostic, Reduction, SavedFitError, Shape, SpreadRow, TermRow, WearSpec};
use crate::wing::{LineSet, Row};

/// A fitted wear model: fixed terms with intervals, spreads, and what was found on the way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "UncheckedFit")]
pub struct WearFit {
    pub(crate) spec: WearSpec,
    pub(crate) layout: Layout,
    /// The reported fit first; see [`ShapeSearch`].
    pub(crate) components: Vec<Component>,
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
    components: Vec<Component>,
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
        let UncheckedFit { spec, layout, components, scale, comparison, readings, wings, checks, .. } = read;
        let UncheckedFit { lines, restarted_lines, terms, spread, diagnostics, .. } = read;
        let fit = Self {
            spec,
            layout,
            components,
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
    pub(crate) shape: Shape,
    pub(crate) weight: f64,
    pub(crate) mixed: MixedFit,
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
        let ReducedModel { spec, layout, reduction, .. } = model;
        let counts = reduction.wings.par_iter().map(Counts::of).reduce(Counts::default, Counts::and);
        let components: Vec<Component> = search
            .components
            .into_iter()
            .zip(fits)
            .map(|(known, mixed)| Component { shape: known.shape, weight: known.weight, mixed })
            .collect();
        let mixed = &components[0].mixed;
        let terms = mixed
            .fixed()
            .iter()
            .map(|fixed| {
                let mut weights = vec![0.0; layout.structure.fixed.len()];
                weights[fixed.column] = 1.0;
                let Combination { se, half, .. } = combination(&components, |_| weights.clone());
                TermRow {
                    term: fixed.name.clone(),
                    estimate: fixed.estimate,
                    se,
                    lower: fixed.estimate - half,
                    upper: fixed.estimate + half,
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
            components,
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

    /// Time shape.
    #[must_use]
    pub fn shape(&self) -> Shape {
        self.components[0].shape
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

    /// Mean drift since new of a row's lines in a line set at some hours, covariates at zero; `None` when the set has no
    /// line of the row or the fit has no term for its materials.
    ///
    /// `Σ_l (Σ_m rate[m,row] L_m + span[row] (η² − 1/3) L) g(h) / lines`, with the variance of that sum of estimates.
    #[must_use]
    pub fn row_drift(&self, set: &LineSet, row: Row, hours_h: f64) -> Option<RowDrift> {
        if !(hours_h >= 0.0 && hours_h.is_finite()) {
            return None;
        }
        let unit = self.row_weights(set, row, None);
        if !self.mixed().fixed().iter().any(|effect| unit[effect.column] != 0.0) {
            return None;
        }
        let weights = |shape: Shape| {
            let g = shape.at(hours_h);
            unit.iter().map(|weight| weight * g).collect()
        };
        let drift = combination(&self.components, weights);
        Some(RowDrift {
            hours_h,
            mean_mm: drift.estimate,
            lower_mm: drift.estimate - drift.half,
            upper_mm: drift.estimate + drift.half,
        })
    }
}

/// A linear combination of the fixed effects.
pub(crate) struct Combination {
    pub(crate) estimate: f64,
    pub(crate) se: f64,
    /// Half-width of its 95 % interval.
    pub(crate) half: f64,
}

/// `w(shape)ᵀβ` under the reported shape, its variance that of the estimates and of the shape's scale together: the mean over
/// the components of `wᵀ Var(β) w + (wᵀβ − reported)²`.
pub(crate) fn combination(components: &[Component], weights: impl Fn(Shape) -> Vec<f64>) -> Combination {
    let reported = Part::new(&components[0], &weights);
    let variance: f64 = components
        .iter()
        .filter(|component| component.weight > 0.0)
        .map(|component| {
            let part = Part::new(component, &weights);
            component.weight * (part.variance + (part.estimate - reported.estimate).powi(2))
        })
        .sum();
    let se = variance.sqrt();
    let half = t_quantile(components[0].mixed.freedom(&reported.weights)) * se;
    Combination { estimate: reported.estimate, se, half }
}

/// A linear combination under one component.
struct Part {
    /// By kept fixed effect.
    weights: Vec<f64>,
    estimate: f64,
    variance: f64,
}

impl Part {
    fn new(component: &Component, weights: impl Fn(Shape) -> Vec<f64>) -> Self {
        let by_column = weights(component.shape);
        let fixed = component.mixed.fixed();
        let weights: Vec<f64> = fixed.iter().map(|effect| by_column[effect.column]).collect();
        let estimate = weights.iter().zip(fixed).map(|(w, effect)| w * effect.estimate).sum();
        let mut variance = 0.0;
        for (i, a) in weights.iter().enumerate() {
            for (j, b) in weights.iter().enumerate() {
                variance += a * b * component.mixed.covariance(i, j);
            }
        }
        Self { weights, estimate, variance: f64::max(variance, 0.0) }
    }
}

/// Two-sided 95 % quantile of Student's t.
fn t_quantile(freedom: f64) -> f64 {
    student_quantile(0.975, freedom).unwrap_or(NORMAL_95)
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
    for name in mixed.dropped() {
        say(
            "dropped_term",
            format!(
                "`{name}` is left out: these readings cannot tell it from the terms before it, or never show it."
            ),
        );
    }
    for diagnostic in mixed.diagnostics() {
        match diagnostic {
            MixedDiagnostic::ZeroSpread { term, effect } => {
                let what = if *effect == 1 { "rate" } else { "offset" };
                let what = if term == "wing:row" { "rate" } else { what };
                say(
                    "boundary",
                    format!("The spread of the {what} by {term} is estimated as zero: the data show none."),
                );
            }
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
