//! Fitting: rank, start, optimum, signs, and what to say of it.

use serde::{Deserialize, Serialize};

use super::columns::{Independence, kept_blocks, pick};
use super::curvature::Curvature;
use super::objective::{Evaluated, Profile};
use super::relative_covariance::RelativeCovariance;
use super::satterthwaite::Satterthwaite;
use super::search::{evaluated_at, remembering, scaled};
use super::start::{Start, start_point, start_scale};
use super::{Block, BlockBuilder, Criterion, MixedError, Objective, Structure};
use crate::stats::minimise::{Descent, Minimum, Precision, StopReason, minimise, minimise_from};

/// A relative standard deviation below this is tried as an exact zero.
const NEAR_ZERO: f64 = 1e-3;

/// How to fit a mixed model.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `criterion` | REML | spreads without bias |
/// | `evaluation_cap` | 500 | some 20–40 are needed; a cap so that no data makes it hang |
///
/// ```
/// use linedrift::stats::mixed::{BlockBuilder, Covariance, MixedSpec, OuterTerm, Structure};
///
/// // readings of four subjects: a mean, a subject's own departure from it, and the reading's error
/// let structure = Structure {
///     inner: None,
///     outer: vec![OuterTerm { name: "subject".to_owned(), width: 1, covariance: Covariance::Diagonal }],
///     fixed: vec!["mean".to_owned()],
///     ..Structure::default()
/// };
/// let mut blocks = Vec::new();
/// for subject in [[10.1, 10.3, 9.9], [12.0, 12.2, 11.9], [8.8, 9.1, 9.0], [11.2, 11.0, 11.3]] {
///     let mut block = BlockBuilder::new(&structure, &[1]);
///     let row = [(block.outer_column(&structure, 0, 0, 0), 1.0), (block.fixed_column(0), 1.0)];
///     for y in subject {
///         block.add(None, &row, 1.0, y, y * y);
///     }
///     blocks.push(block.finish());
/// }
/// let fit = MixedSpec::default().fit(&structure, &blocks)?;
/// let mean = &fit.fixed()[0];
/// println!("mean {:.2} (se {:.2}), between subjects {:.2}", mean.estimate, mean.se, fit.outer()[0].sd[0]);
/// assert!((mean.estimate - 10.567).abs() < 0.01);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct MixedSpec {
    pub(super) criterion: Criterion,
    pub(super) evaluation_cap: usize,
}

impl Default for MixedSpec {
    fn default() -> Self {
        Self { criterion: Criterion::Reml, evaluation_cap: 500 }
    }
}

/// One estimated fixed effect.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FixedEffect {
    /// Its column's name.
    pub name: String,
    /// Index of its column among the structure's fixed columns.
    pub column: usize,
    /// Estimate, in response units per column unit.
    pub estimate: f64,
    /// Standard error.
    pub se: f64,
    /// Satterthwaite degrees of freedom of the standard error (a million stands for normal).
    pub freedom: f64,
}

/// Covariance of one outer term's effects.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OuterSpread {
    /// The term's name.
    pub name: String,
    /// Standard deviation of each effect, response units per column unit.
    pub sd: Vec<f64>,
    /// Correlations, row-major `width × width`; 0 where a standard deviation is 0.
    pub correlation: Vec<f64>,
}

/// A remark on a fit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum MixedDiagnostic {
    /// A spread is estimated as zero.
    ZeroSpread {
        /// The term.
        term: String,
        /// Which of its effects, from 0.
        effect: usize,
    },
    /// A correlation is at ±1: the effects of the term have fewer dimensions than columns.
    FullCorrelation {
        /// The term.
        term: String,
    },
    /// A fixed column that earlier ones explain is left out.
    Dropped {
        /// Its name.
        column: String,
    },
    /// Earlier fixed columns explain nearly all of one: its estimate and its standard error have few digits.
    BadlyConditioned {
        /// Its name.
        column: String,
        /// Digits left.
        digits: u32,
    },
    /// The optimiser did not converge.
    NotConverged {
        /// Why it stopped.
        stop: StopReason,
    },
}

/// A fitted mixed model.
///
/// A fit that comes from a document is refused when its parts do not go together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self")]
pub struct MixedFit {
    pub(crate) structure: Structure,
    pub(crate) kept: Vec<bool>,
    pub(crate) theta: Vec<f64>,
    /// Shared effects, then fixed ones; so with what follows.
    pub(crate) beta: Vec<f64>,
    pub(crate) unscaled: Vec<f64>,
    pub(crate) factor: Vec<f64>,
    freedom: Satterthwaite,
    criterion: Criterion,
    deviance: f64,
    pub(super) sigma: f64,
    fixed: Vec<FixedEffect>,
    dropped: Vec<String>,
    pub(super) outer: Vec<OuterSpread>,
    minimum: Minimum,
    /// Of the criterion's Hessian at the end of the search, over the scale of each effect's column, row-major; empty where it is
    /// not known.
    inverse: Vec<f64>,
    diagnostics: Vec<MixedDiagnostic>,
}

impl MixedSpec {
    setters! {
        /// The likelihood to maximise.
        criterion: Criterion;
        /// The most evaluations of the criterion.
        evaluation_cap: usize;
    }

    /// Fits the model to its blocks.
    ///
    /// Fixed columns that earlier columns explain are dropped and named. θ is optimised unconstrained, so that a boundary
    /// (a spread of zero, a correlation of ±1) is a point like any other; signs are fixed afterwards. With 96 blocks or
    /// more the optimum of every seventh is found first, in the same way, and the search over all starts there, with its
    /// curvature.
    ///
    /// # Errors
    /// [`MixedError::Foreign`], [`MixedError::TooFew`], [`MixedError::NoVariation`], [`MixedError::Undefined`].
    pub fn fit(&self, structure: &Structure, blocks: &[Block]) -> Result<MixedFit, MixedError> {
        self.fit_from(structure, blocks, &[])
    }

    /// The same, from where an earlier fit of a model with the same random part ended ([`Minimum::end`]); from the default
    /// start when the lengths differ.
    ///
    /// # Errors
    /// As [`MixedSpec::fit`].
    pub fn fit_from(&self, structure: &Structure, blocks: &[Block], start: &[f64]) -> Result<MixedFit, MixedError> {
        self.fit_near(structure, blocks, &Start { point: start.to_vec(), inverse: None }, Precision::Full)
    }

    /// The same, with the curvature that is to be expected there. A fit on the way to another has no curvature of its own: its
    /// degrees of freedom are those of the readings.
    pub(crate) fn fit_near(
        &self,
        structure: &Structure,
        blocks: &[Block],
        start: &Start,
        precision: Precision,
    ) -> Result<MixedFit, MixedError> {
        Objective::new(structure, blocks, self.criterion).check_blocks()?;
        let columns = Independence::of(structure, blocks);
        let kept = columns.kept.clone();
        let mut model = structure.clone();
        model.fixed = pick(&structure.fixed, &kept, true);
        let blocks = &*kept_blocks(structure, &kept, blocks);
        let objective = Objective::new(&model, blocks, self.criterion);
        let observations = blocks.iter().map(Block::observations).sum();
        let unpenalised = blocks.iter().map(Block::unpenalised_levels).sum();
        if objective.degrees() < 1.0 {
            return Err(MixedError::TooFew { observations, fixed: model.fixed.len(), unpenalised });
        }
        let scale = start_scale(&model, blocks);
        let from = if start.point.len() == scale.len() {
            start.clone()
        } else {
            Start::coarse(self, &model, blocks, &scale)
                .unwrap_or_else(|| Start { point: start_point(&objective, &scale), inverse: None })
        };
        let Found { minimum, inverse, curvature, at_end } =
            self.optimum(&objective, &scale, (from, precision), observations)?;
        let mut theta: Vec<f64> = minimum.end.iter().zip(&scale).map(|(x, s)| x * s).collect();
        let mut profile = match at_end {
            Some(known) => known.profile,
            None => objective.profile(&theta)?,
        };
        settle_zeros(&objective, &scale, &mut theta, &mut profile);
        let free: Vec<usize> = (0..theta.len()).filter(|k| theta[*k] != 0.0).collect();
        let freedom = Satterthwaite::new(curvature.as_ref(), &free, objective.degrees());
        let all: Vec<usize> = (0..theta.len()).collect();
        let inverse = curvature.map_or(inverse, |curvature| curvature.inverse(&all, 1.0, 1.0));
        model.fix_signs(&mut theta);
        let diagnostics = columns.diagnostics(&structure.fixed);
        let optimum = Optimum { theta, profile, freedom, minimum, inverse, diagnostics };
        Ok(finish(self.criterion, structure, &model, kept, optimum))
    }

    fn optimum(
        &self,
        objective: &Objective<'_>,
        scale: &[f64],
        (start, precision): (Start, Precision),
        observations: usize,
    ) -> Result<Found, MixedError> {
        let from = start.point.clone();
        let mut last = None;
        let search = remembering(objective, scale, &mut last);
        let found = minimise_from(&start.point, start.inverse, self.evaluation_cap, precision, search);
        let Some(Descent { mut minimum, inverse }) = found else {
            return Err(MixedError::NoVariation { observations });
        };
        let mut at_end = evaluated_at(last, &minimum.end);
        if precision == Precision::OnTheWay {
            return Ok(Found { minimum, inverse, curvature: None, at_end });
        }
        let mut curvature = Curvature::new(objective, &minimum.end, scale, at_end.as_ref());
        // a stationary point that is a saddle is left along its steepest way down
        for _ in 0..3 {
            let Some(way) = curvature.as_ref().and_then(Curvature::downhill) else { break };
            let mut best: Option<Minimum> = None;
            for sign in [0.05, -0.05] {
                let from: Vec<f64> = minimum.end.iter().zip(&way).map(|(x, d)| x + sign * d).collect();
                if let Some(found) = minimise(&from, self.evaluation_cap, scaled(objective, scale))
                    && best.as_ref().is_none_or(|best| found.value < best.value)
                {
                    best = Some(found);
                }
            }
            match best {
                Some(found) if found.value < minimum.value - 1e-7 => {
                    let evaluations = minimum.evaluations + found.evaluations;
                    minimum = Minimum { start: from.clone(), evaluations, ..found };
                    at_end = None;
                    curvature = Curvature::new(objective, &minimum.end, scale, None);
                }
                _ => break,
            }
        }
        Ok(Found { minimum, inverse: Vec::new(), curvature, at_end })
    }
}

/// An optimum, the curvature there where it was asked for and is defined (else what the search knows of it), and its evaluation
/// where the search ended with it.
struct Found {
    minimum: Minimum,
    inverse: Vec<f64>,
    curvature: Option<Curvature>,
    at_end: Option<Evaluated>,
}

/// Sets near-zero scalars to zero where that does not raise the criterion.
fn settle_zeros(objective: &Objective<'_>, scale: &[f64], theta: &mut Vec<f64>, profile: &mut Profile) {
    for k in 0..theta.len() {
        if theta[k] != 0.0 && (theta[k] / scale[k]).abs() < NEAR_ZERO {
            let mut trial = theta.clone();
            trial[k] = 0.0;
            if let Ok(at_zero) = objective.profile(&trial)
                && at_zero.deviance <= profile.deviance + 1e-9 * (1.0 + 1e-3 * profile.deviance.abs())
            {
                *theta = trial;
                *profile = at_zero;
            }
        }
    }
}

/// What the optimiser found.
struct Optimum {
    theta: Vec<f64>,
    profile: Profile,
    freedom: Satterthwaite,
    minimum: Minimum,
    inverse: Vec<f64>,
    /// Of the columns.
    diagnostics: Vec<MixedDiagnostic>,
}

fn finish(
    criterion: Criterion,
    structure: &Structure,
    model: &Structure,
    kept: Vec<bool>,
    optimum: Optimum,
) -> MixedFit {
    let Optimum { theta, profile, freedom, minimum, inverse, mut diagnostics } = optimum;
    let sigma = profile.sigma2.sqrt();
    let (shared, p) = (model.shared_columns(), model.effects());
    let columns = kept.iter().enumerate().filter(|(_, keep)| **keep).map(|(column, _)| column);
    let fixed = columns
        .zip(&model.fixed)
        .zip(shared..)
        .map(|((column, name), k)| {
            let variance = profile.sigma2 * profile.unscaled[k * p + k].max(0.0);
            let mut weights = vec![0.0; p];
            weights[k] = 1.0;
            FixedEffect {
                name: name.clone(),
                column,
                estimate: profile.beta[k],
                se: variance.sqrt(),
                freedom: freedom.of(&weights, variance),
            }
        })
        .collect();
    if minimum.stop != StopReason::Converged {
        diagnostics.push(MixedDiagnostic::NotConverged { stop: minimum.stop });
    }
    let mut at = 0;
    for (name, effect) in
        model.inner.iter().map(|name| (name, 0)).chain(model.inner_slope.iter().map(|name| (name, 1)))
    {
        if theta[at] == 0.0 {
            diagnostics.push(MixedDiagnostic::ZeroSpread { term: name.clone(), effect });
        }
        at += 1;
    }
    let mut outer = Vec::with_capacity(model.outer.len());
    for term in &model.outer {
        let factor = term.factor(&theta[at..at + term.parameters()]);
        at += term.parameters();
        let spread = spread_of(&term.name, &factor, term.width, sigma);
        for (effect, sd) in spread.sd.iter().enumerate() {
            if *sd == 0.0 {
                diagnostics.push(MixedDiagnostic::ZeroSpread { term: term.name.clone(), effect });
            }
        }
        let w = term.width;
        if (0..w).any(|i| (0..i).any(|j| spread.correlation[i * w + j].abs() > 1.0 - 1e-5)) {
            diagnostics.push(MixedDiagnostic::FullCorrelation { term: term.name.clone() });
        }
        outer.push(spread);
    }
    for (term, ratio) in model.shared.iter().zip(&theta[at..]) {
        if *ratio == 0.0 {
            diagnostics.push(MixedDiagnostic::ZeroSpread { term: term.name.clone(), effect: 0 });
        }
    }
    MixedFit {
        dropped: pick(&structure.fixed, &kept, false),
        structure: model.clone(),
        kept,
        theta,
        beta: profile.beta,
        unscaled: profile.unscaled,
        factor: profile.factor,
        freedom,
        criterion,
        deviance: profile.deviance,
        sigma,
        fixed,
        outer,
        minimum,
        inverse,
        diagnostics,
    }
}

pub(super) fn spread_of(name: &str, factor: &[f64], w: usize, sigma: f64) -> OuterSpread {
    let covariance = |i: usize, j: usize| -> f64 { (0..w).map(|k| factor[i * w + k] * factor[j * w + k]).sum() };
    let sd: Vec<f64> = (0..w).map(|i| covariance(i, i).sqrt()).collect();
    let mut correlation = vec![0.0; w * w];
    for i in 0..w {
        for j in 0..w {
            let scale = sd[i] * sd[j];
            correlation[i * w + j] = if scale > 0.0 { (covariance(i, j) / scale).clamp(-1.0, 1.0) } else { 0.0 };
        }
    }
    OuterSpread { name: name.to_owned(), sd: sd.iter().map(|s| s * sigma).collect(), correlation }
}

impl MixedFit {
    /// The likelihood that was maximised.
    #[must_use]
    pub fn criterion(&self) -> Criterion {
        self.criterion
    }

    /// The criterion at the optimum, −2 log likelihood.
    #[must_use]
    pub fn deviance(&self) -> f64 {
        self.deviance
    }

    /// The log likelihood at the optimum, restricted where the fit is by REML.
    #[must_use]
    pub fn log_likelihood(&self) -> f64 {
        -self.deviance / 2.0
    }

    /// Parameters estimated: kept fixed effects, spreads and correlations, the reading's own spread.
    #[must_use]
    pub fn parameters(&self) -> usize {
        self.fixed.len() + self.theta.len() + 1
    }

    /// θ at the optimum (see [`Objective`]).
    #[must_use]
    pub fn theta(&self) -> &[f64] {
        &self.theta
    }

    /// The fixed effects that were kept.
    #[must_use]
    pub fn fixed(&self) -> &[FixedEffect] {
        &self.fixed
    }

    /// Covariance of two kept fixed effects, by their place in [`MixedFit::fixed`]; 0 past the end.
    #[must_use]
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        let (shared, p) = (self.structure.shared_columns(), self.fixed.len());
        if i < p && j < p { self.effect_covariance(shared + i, shared + j) } else { 0.0 }
    }

    /// Covariance of two of the shared and fixed effects, by their place among both (shared ones first); 0 past the end.
    pub(crate) fn effect_covariance(&self, i: usize, j: usize) -> f64 {
        let p = self.beta.len();
        if i < p && j < p { self.sigma * self.sigma * self.unscaled[i * p + j] } else { 0.0 }
    }

    /// Satterthwaite degrees of freedom of a linear combination of the shared and fixed effects.
    pub(crate) fn effect_freedom(&self, weights: &[f64]) -> f64 {
        let (p, variance) = (self.beta.len(), self.effects_covariance(weights, weights));
        if weights.len() == p { self.freedom.of(weights, variance) } else { 1.0 }
    }

    /// Ratio of each shared and fixed effect to what it is in the factor of the precision.
    pub(crate) fn effect_ratios(&self) -> Vec<f64> {
        let shared = RelativeCovariance::new(&self.structure, &self.theta).shared;
        shared.into_iter().chain(std::iter::repeat_n(1.0, self.fixed.len())).collect()
    }

    /// Predictions of the shared effects, term by term.
    #[must_use]
    pub fn shared_effects(&self) -> &[f64] {
        &self.beta[..self.structure.shared_columns().min(self.beta.len())]
    }

    /// Standard deviation of each shared term's effects, response units.
    #[must_use]
    pub fn shared_sd(&self) -> Vec<f64> {
        let first = self.theta.len().saturating_sub(self.structure.shared.len());
        self.theta[first..].iter().map(|ratio| ratio * self.sigma).collect()
    }

    /// Standard deviation of the inner slopes, response units per unit of their variable (`None` when the model has none).
    #[must_use]
    pub fn inner_slope_sd(&self) -> Option<f64> {
        self.structure.slope_place().and_then(|place| self.theta.get(place)).map(|ratio| ratio * self.sigma)
    }

    /// Covariance of two linear combinations of the shared and fixed effects.
    pub(crate) fn effects_covariance(&self, a: &[f64], b: &[f64]) -> f64 {
        let mut sum = 0.0;
        for (i, x) in a.iter().enumerate().filter(|(_, x)| **x != 0.0) {
            for (j, y) in b.iter().enumerate().filter(|(_, y)| **y != 0.0) {
                sum += x * y * self.effect_covariance(i, j);
            }
        }
        sum
    }

    /// Satterthwaite degrees of freedom of a linear combination of the kept fixed effects, weights in the order of
    /// [`MixedFit::fixed`]; a million stands for normal.
    #[must_use]
    pub fn freedom(&self, weights: &[f64]) -> f64 {
        let zeros = std::iter::repeat_n(0.0, self.structure.shared_columns());
        let fixed = (0..self.fixed.len()).map(|k| weights.get(k).copied().unwrap_or(0.0));
        self.effect_freedom(&zeros.chain(fixed).collect::<Vec<_>>())
    }

    /// Names of the fixed columns that were dropped because earlier ones explain them.
    #[must_use]
    pub fn dropped(&self) -> &[String] {
        &self.dropped
    }

    /// Standard deviation of a reading about everything else, response units.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        self.sigma
    }

    /// Standard deviation of the inner effects, response units (`None` when the model has none).
    #[must_use]
    pub fn inner_sd(&self) -> Option<f64> {
        self.structure.inner.as_ref().and(self.theta.first()).map(|ratio| ratio * self.sigma)
    }

    /// Draws the outer effects of a block from the fit, column by column, from standard normal numbers.
    pub(crate) fn draw_outer(&self, block: &BlockBuilder, mut normal: impl FnMut() -> f64) -> Vec<f64> {
        let mut theta = &self.theta[self.structure.first_outer()..];
        let mut out = Vec::new();
        for (term, copies) in self.structure.outer.iter().zip(block.copies()) {
            let (mine, rest) = theta.split_at(term.parameters());
            theta = rest;
            let (factor, w) = (term.factor(mine), term.width);
            for _ in 0..*copies {
                let z: Vec<f64> = (0..w).map(|_| normal()).collect();
                out.extend((0..w).map(|r| self.sigma * (0..w).map(|k| factor[r * w + k] * z[k]).sum::<f64>()));
            }
        }
        out
    }

    /// Spreads of the outer terms.
    #[must_use]
    pub fn outer(&self) -> &[OuterSpread] {
        &self.outer
    }

    /// What the optimiser did; its points are θ over the scale of each effect's column.
    #[must_use]
    pub fn minimum(&self) -> &Minimum {
        &self.minimum
    }

    /// Where a search on other readings of the model, or for another time shape, should start.
    pub(crate) fn start(&self) -> Start {
        let n = self.minimum.end.len();
        Start {
            point: self.minimum.end.clone(),
            inverse: Some(self.inverse.clone()).filter(|one| one.len() == n * n),
        }
    }

    pub(crate) fn inverse_fits(&self) -> bool {
        let n = self.minimum.end.len();
        (self.inverse.is_empty() || self.inverse.len() == n * n) && self.inverse.iter().all(|value| value.is_finite())
    }

    pub(crate) fn freedom_fits(&self, effects: usize) -> bool {
        self.freedom.fits(effects)
    }

    /// Remarks.
    #[must_use]
    pub fn diagnostics(&self) -> &[MixedDiagnostic] {
        &self.diagnostics
    }
}
