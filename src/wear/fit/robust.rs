//! A fit in which a few wrong readings do not move the rates.

use serde::{Deserialize, Serialize};

use crate::check::Fleet;
use crate::stats::Precision;
use crate::wear::fit::wear_fit::Component;
use crate::wear::inference::residuals::WingResiduals;
use crate::wear::{Diagnostic, Reduction, ShapeChoice, WearError, WearFit, WearSpec};
use crate::wing::Side;

/// Most rounds of reweighting for one time shape.
const ROUNDS: usize = 40;
/// Weights that change by less than this have settled.
const SETTLED: f64 = 1e-4;

/// Huber's rule: a reading counts in full while it lies within `tuning` standard deviations of what the model expects of
/// it, and `tuning/|r|` beyond, `r` being its distance in standard deviations. Several readings of one line at one check
/// count as their mean.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `tuning` | 3 | under the model only one reading in 400 counts less, so little is lost on clean data |
///
/// Source: Huber, Ann. Math. Stat. 35, 1964 (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HuberRule {
    tuning: f64,
}

impl Default for HuberRule {
    fn default() -> Self {
        Self { tuning: 3.0 }
    }
}

impl HuberRule {
    /// Distance, in standard deviations, up to which a reading counts in full; at least 1.
    #[must_use]
    pub const fn tuning(mut self, tuning: f64) -> Self {
        self.tuning = tuning;
        self
    }
}

/// A reading (or the mean of several of one line at one check) that counted less than in full.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DownWeighted {
    /// The wing.
    pub wing: String,
    /// The check.
    pub check: String,
    /// The side.
    pub side: Side,
    /// The line.
    pub line: String,
    /// Deviation read less what the model expects, mm.
    pub residual_mm: f64,
    /// Weight it counted with, below 1.
    pub weight: f64,
}

/// A robust fit, and which readings counted less.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RobustWear {
    /// The fit. Its deviance is that of weighted readings and compares with no other fit's.
    pub fit: WearFit,
    /// Readings that counted less than in full, the least first.
    pub down_weighted: Vec<DownWeighted>,
    /// Rounds of reweighting.
    pub rounds: usize,
}

impl WearSpec {
    /// Fits the model with readings weighted by Huber's rule, fitting and weighting in turn until the weights settle.
    ///
    /// # Errors
    /// As [`WearSpec::fit`]; [`WearError::Tuning`] when the rule's tuning is below 1.
    pub fn fit_robust(&self, fleet: &Fleet, rule: HuberRule) -> Result<RobustWear, WearError> {
        self.fit_robust_reduced(&Reduction::new(fleet, &self.covariates)?, rule)
    }

    /// The same on a reduced fleet.
    ///
    /// # Errors
    /// As [`WearSpec::fit_robust`].
    pub fn fit_robust_reduced(&self, reduction: &Reduction, rule: HuberRule) -> Result<RobustWear, WearError> {
        if !(rule.tuning >= 1.0 && rule.tuning.is_finite()) {
            return Err(WearError::Tuning { got: rule.tuning });
        }
        let left_out = reduction.left_out();
        let reduction = reduction.selecting(&self.covariates)?;
        let mut weights: Vec<Vec<f64>> = reduction.wings.iter().map(|wing| vec![1.0; wing.line_sums.len()]).collect();
        let mut fit = self.fit_reduced(&reduction)?;
        let mut rounds = 0;
        let mut settled = false;
        // a model that is chosen, or whose scale is estimated, is looked for again with the weights found
        let searches = if matches!(self.shape, ShapeChoice::Given(_)) { 1 } else { 2 };
        for _ in 0..searches {
            settled = false;
            for _ in 0..ROUNDS {
                rounds += 1;
                let (next, change) = rule.weights(&fit, &reduction, &weights)?;
                weights = next;
                fit = self.fit_again(&reduction, &fit, &weights, Precision::OnTheWay)?;
                if change < SETTLED {
                    settled = true;
                    break;
                }
            }
            fit = if matches!(self.shape, ShapeChoice::Given(_)) {
                self.fit_again(&reduction, &fit, &weights, Precision::Full)?
            } else {
                self.fit_weighted(&reduction, &weights)?
            };
        }
        let residuals = residuals(&fit, &reduction, &weights)?;
        let mut down_weighted = Vec::new();
        for ((wing, weights), residuals) in reduction.wings.iter().zip(&weights).zip(&residuals) {
            let set = &reduction.line_sets[wing.line_set()];
            for ((line_sum, weight), residual_mm) in wing.line_sums.iter().zip(weights).zip(residuals) {
                if *weight < 1.0 {
                    let level = wing.levels.at(line_sum.level as usize);
                    down_weighted.push(DownWeighted {
                        wing: wing.wing().to_owned(),
                        check: wing.checks().get(line_sum.check as usize).map_or_else(String::new, |c| c.id.clone()),
                        side: level.side,
                        line: set.lines()[level.line].name.clone(),
                        residual_mm: *residual_mm,
                        weight: *weight,
                    });
                }
            }
        }
        down_weighted.sort_by(|a, b| a.weight.total_cmp(&b.weight));
        if let Some(left_out) = left_out {
            fit = fit.with_diagnostic(left_out);
        }
        if !down_weighted.is_empty() {
            fit = fit.with_diagnostic(Diagnostic {
                code: "down_weighted".to_owned(),
                message: format!(
                    "Readings that lie further from the model than {} standard deviations counted less: {} of {}. \
                     Measure again the ones named.",
                    rule.tuning,
                    down_weighted.len(),
                    reduction.readings()
                ),
            });
        }
        if !settled {
            fit = fit.with_diagnostic(Diagnostic {
                code: "weights_moving".to_owned(),
                message:
                    "The weights of the readings had not settled when the search ended: take the figures as rough."
                        .to_owned(),
            });
        }
        Ok(RobustWear { fit, down_weighted, rounds })
    }
}

/// By wing and line sum, mm.
fn residuals(fit: &WearFit, reduction: &Reduction, weights: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, WearError> {
    let component: &Component = &fit.components[0];
    reduction
        .wings
        .iter()
        .zip(weights)
        .map(|(wing, weights)| {
            let set = &reduction.line_sets[wing.line_set()];
            Ok(WingResiduals::new(fit, component, set, wing, Some(weights))?.readings_mm)
        })
        .collect()
}

impl HuberRule {
    /// New weights, and the largest change of one.
    fn weights(
        self,
        fit: &WearFit,
        reduction: &Reduction,
        old: &[Vec<f64>],
    ) -> Result<(Vec<Vec<f64>>, f64), WearError> {
        let sigma = fit.mixed().sigma();
        let mut change: f64 = 0.0;
        let mut new = Vec::with_capacity(old.len());
        for ((residuals, wing), old) in residuals(fit, reduction, old)?.iter().zip(&reduction.wings).zip(old) {
            let weights: Vec<f64> = residuals
                .iter()
                .zip(wing.line_sums.iter())
                .map(|(residual, line_sum)| {
                    let distance = (residual * f64::from(line_sum.count).sqrt() / sigma).abs();
                    if distance <= self.tuning { 1.0 } else { self.tuning / distance }
                })
                .collect();
            change = weights.iter().zip(old).map(|(a, b)| (a - b).abs()).fold(change, f64::max);
            new.push(weights);
        }
        Ok((new, change))
    }
}
