//! A fit in which a few wrong readings do not move the rates.

use serde::{Deserialize, Serialize};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

use crate::check::Fleet;
use crate::stats::Precision;
use crate::wear::fit::wear_fit::Component;
use crate::wear::inference::residuals::WingResiduals;
use crate::wear::{Diagnostic, Reduction, ShapeChoice, WearError, WearFit, WearSpec};
use crate::wing::Side;

/// Most rounds of fitting and bounding for one time shape.
const ROUNDS: usize = 40;
/// Readings that count as ones moved by less than this share of their standard deviation have settled.
const SETTLED: f64 = 1e-3;

/// Huber's rule: a reading counts as read while it lies within `tuning` standard deviations of what the model expects of it,
/// and beyond as one that lies there. Several readings of one line at one check count as their mean.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `tuning` | 3 | under the model only one reading in 400 counts less, so little is lost on clean data |
///
/// Source: Huber, Ann. Math. Stat. 35, 1964, and his Proposal 2 for the scale (from memory).
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
    /// The bound over its distance from what the model expects, below 1: the share of the distance that counted.
    pub weight: f64,
}

/// A robust fit, and which readings counted less.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RobustWear {
    /// The fit. Its deviance is that of the readings as they counted and compares with no other fit's.
    pub fit: WearFit,
    /// Readings that counted less than in full, the least first.
    pub down_weighted: Vec<DownWeighted>,
    /// Rounds of fitting and bounding.
    pub rounds: usize,
}

impl WearSpec {
    /// Fits the model with readings bounded by Huber's rule, fitting and bounding in turn until the readings settle.
    ///
    /// Each reading counts as what the fit expects plus `ψ(r)/α`, with `r` what it is off by, `ψ` the bound on it and `α` the
    /// share of a normal's readings within the bounds: the estimates are Huber's, the spreads those of his Proposal 2, and
    /// standard errors grow as bounding costs.
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
        let mut counted = Counted::default();
        let mut fit = self.fit_reduced(&reduction)?;
        let mut rounds = 0;
        let mut settled = false;
        // a model that is chosen, or whose scale is estimated, is looked for again with the readings as they count
        let pinned = matches!(self.shape, ShapeChoice::Given(_));
        for _ in 0..if pinned { 1 } else { 2 } {
            settled = false;
            for _ in 0..ROUNDS {
                rounds += 1;
                counted = rule.bounded(&fit, &reduction, &counted.means_mm)?;
                if counted.moved < SETTLED {
                    settled = true;
                    break;
                }
                fit = self.fit_again(&reduction, &fit, &counted.means_mm, Precision::OnTheWay)?;
            }
            fit = if pinned {
                self.fit_again(&reduction, &fit, &counted.means_mm, Precision::Full)?
            } else {
                self.fit_counting(&reduction, &counted.means_mm)?
            };
        }
        let mut down_weighted = Vec::new();
        for ((wing, weights), residuals) in reduction.wings.iter().zip(&counted.weights).zip(&counted.residuals_mm) {
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
                    "What the readings count as had not settled when the search ended: take the figures as rough."
                        .to_owned(),
            });
        }
        Ok(RobustWear { fit, down_weighted, rounds })
    }
}

/// What readings count as under a fit; by wing and line sum.
#[derive(Default)]
struct Counted {
    means_mm: Vec<Vec<f64>>,
    residuals_mm: Vec<Vec<f64>>,
    weights: Vec<Vec<f64>>,
    /// The furthest that one moved, in standard deviations.
    moved: f64,
}

impl HuberRule {
    /// What readings count as under a fit; `before` is what they counted as in it (empty: as read).
    fn bounded(self, fit: &WearFit, reduction: &Reduction, before: &[Vec<f64>]) -> Result<Counted, WearError> {
        let component: &Component = &fit.components[0];
        let k = self.tuning;
        let normal = Normal::standard();
        let beyond = normal.cdf(-k);
        let within = 1.0 - 2.0 * beyond;
        // E ψ² of a normal; what the fit takes for a reading's spread is that of what readings count as
        let square = within - 2.0 * k * normal.pdf(k) + 2.0 * k * k * beyond;
        let sigma = component.mixed.sigma() * within / square.sqrt();
        let mut out = Counted::default();
        for (index, wing) in reduction.wings.iter().enumerate() {
            let set = &reduction.line_sets[wing.line_set()];
            let before = before.get(index).map(Vec::as_slice);
            let residuals_mm = WingResiduals::new(fit, component, set, wing, before)?.readings_mm;
            let (mut means_mm, mut weights) = (Vec::new(), Vec::new());
            for (place, (line_sum, residual_mm)) in wing.line_sums.iter().zip(&residuals_mm).enumerate() {
                let count = f64::from(line_sum.count);
                let (read_mm, bound_mm) = (line_sum.sum_mm() / count, k * sigma / count.sqrt());
                let expected_mm = read_mm - residual_mm;
                let mean_mm = expected_mm + residual_mm.clamp(-bound_mm, bound_mm) / within;
                let was_mm = before.and_then(|before| before.get(place)).copied().unwrap_or(read_mm);
                out.moved = out.moved.max((mean_mm - was_mm).abs() * count.sqrt() / sigma);
                weights.push((bound_mm / residual_mm.abs()).min(1.0));
                means_mm.push(mean_mm);
            }
            out.means_mm.push(means_mm);
            out.residuals_mm.push(residuals_mm);
            out.weights.push(weights);
        }
        Ok(out)
    }
}
