//! Satterthwaite degrees of freedom.

use serde::{Deserialize, Serialize};

use super::curvature::Curvature;

/// More degrees of freedom than this are normal to every digit that is printed.
const MOST: f64 = 1e6;

/// What the degrees of freedom of a linear combination of fixed effects are made of.
///
/// The variance `v = wᵀ Cov(β) w` depends on θ and σ². With σ² profiled out, θ has covariance `2 H⁻¹` (H the Hessian of the
/// deviance), and `ln σ²` given θ has variance `2/ν`. So `Var(v) ≈ gᵀ (2 H⁻¹) g + 2 v²/ν` with `g` the derivative of `v` along the
/// profile, and the degrees of freedom are `2 v² / Var(v)`. Source: Satterthwaite, Biometrics Bulletin 2, 1946 (from memory).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Satterthwaite {
    /// `2 H⁻¹` over the parameters that are not at a boundary, row-major.
    covariance: Vec<f64>,
    /// Derivative of the fixed effects' covariance for each of those parameters, row-major.
    derivatives: Vec<Vec<f64>>,
    residual: f64,
}

impl Satterthwaite {
    /// From the curvature at the optimum, over the parameters that are `free` (not at a boundary).
    pub(crate) fn new(curvature: Option<&Curvature>, free: &[usize], residual: f64) -> Self {
        let Some(curvature) = curvature.filter(|_| !free.is_empty()) else {
            return Self { covariance: Vec::new(), derivatives: Vec::new(), residual };
        };
        Self {
            // a direction without curvature is a boundary (a correlation of ±1): it moves nothing
            covariance: curvature.inverse(free, 2.0, 0.0),
            derivatives: free.iter().map(|k| curvature.covariance_gradients[*k].clone()).collect(),
            residual,
        }
    }

    /// Whether the parts go together for so many fixed effects.
    pub(crate) fn fits(&self, effects: usize) -> bool {
        let n = self.derivatives.len();
        self.covariance.len() == n * n
            && self.derivatives.iter().all(|matrix| matrix.len() == effects * effects)
            && self.residual > 0.0
    }

    /// Degrees of freedom of a combination with variance `variance`.
    pub(crate) fn of(&self, weights: &[f64], variance: f64) -> f64 {
        let p = weights.len();
        let gradients: Vec<f64> = self
            .derivatives
            .iter()
            .map(|matrix| {
                (0..p).map(|i| (0..p).map(|j| weights[i] * matrix[i * p + j] * weights[j]).sum::<f64>()).sum()
            })
            .collect();
        let n = gradients.len();
        let mut spread = 2.0 * variance * variance / self.residual;
        for i in 0..n {
            for j in 0..n {
                spread += gradients[i] * self.covariance[i * n + j] * gradients[j];
            }
        }
        let freedom = 2.0 * variance * variance / spread;
        if freedom.is_finite() { freedom.clamp(1.0, MOST) } else { MOST }
    }
}
