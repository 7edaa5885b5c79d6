//! Satterthwaite degrees of freedom.

use nalgebra::{DMatrix, SymmetricEigen};
use serde::{Deserialize, Serialize};

use super::Objective;

/// Relative step of differences, in units of the scaled parameters.
const STEP: f64 = 1e-3;
/// More degrees of freedom than this are normal to every digit that is printed.
const MOST: f64 = 1e6;

/// What the degrees of freedom of a linear combination of fixed effects are made of.
///
/// The variance `v = wᵀ Cov(β) w` depends on θ and σ². With σ² profiled out, θ has covariance `2 H⁻¹` (H the Hessian of the
/// deviance), and `ln σ²` given θ has variance `2/ν`. So `Var(v) ≈ gᵀ (2 H⁻¹) g + 2 v²/ν` with `g` the derivative of `v` along the
/// profile, and the degrees of freedom are `2 v² / Var(v)`. Source: Satterthwaite, Biometrics Bulletin 2, 1946 (memory).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Freedom {
    /// `2 H⁻¹` over the parameters that are not at a boundary, row-major.
    covariance: Vec<f64>,
    /// Derivative of the fixed effects' covariance for each of those parameters, row-major.
    derivatives: Vec<Vec<f64>>,
    residual: f64,
}

impl Freedom {
    /// From the objective at its optimum; `scale` is the size of each parameter.
    pub(crate) fn new(objective: &Objective<'_>, theta: &[f64], scale: &[f64]) -> Self {
        let residual = objective.degrees();
        let known = || Self { covariance: Vec::new(), derivatives: Vec::new(), residual };
        let free: Vec<usize> = (0..theta.len()).filter(|k| theta[*k] != 0.0).collect();
        let n = free.len();
        if n == 0 {
            return known();
        }
        let mut hessian = DMatrix::zeros(n, n);
        let mut derivatives = Vec::with_capacity(n);
        for (column, &k) in free.iter().enumerate() {
            let step = STEP * scale[k];
            let at = |sign: f64| {
                let mut moved = theta.to_vec();
                moved[k] += sign * step;
                let profile = objective.profile(&moved).ok()?;
                Some((profile, objective.gradient(&moved).ok()?))
            };
            let (Some((up, up_slope)), Some((down, down_slope))) = (at(1.0), at(-1.0)) else { return known() };
            for (row, &i) in free.iter().enumerate() {
                hessian[(row, column)] = (up_slope[i] - down_slope[i]) / (2.0 * step) * scale[k] * scale[i];
            }
            derivatives.push(
                up.unscaled
                    .iter()
                    .zip(&down.unscaled)
                    .map(|(a, b)| (a * up.sigma2 - b * down.sigma2) / (2.0 * STEP))
                    .collect(),
            );
        }
        let symmetric = (&hessian + hessian.transpose()) * 0.5;
        let largest = symmetric.amax();
        let eigen = SymmetricEigen::new(symmetric);
        // a direction without curvature is a boundary (a correlation of ±1): it moves nothing
        let inverse = eigen.eigenvalues.map(|value| if value > 1e-8 * largest { 2.0 / value } else { 0.0 });
        let covariance = &eigen.eigenvectors * DMatrix::from_diagonal(&inverse) * eigen.eigenvectors.transpose();
        Self { covariance: covariance.iter().copied().collect(), derivatives, residual }
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
        let slopes: Vec<f64> = self
            .derivatives
            .iter()
            .map(|matrix| {
                (0..p).map(|i| (0..p).map(|j| weights[i] * matrix[i * p + j] * weights[j]).sum::<f64>()).sum()
            })
            .collect();
        let n = slopes.len();
        let mut spread = 2.0 * variance * variance / self.residual;
        for i in 0..n {
            for j in 0..n {
                spread += slopes[i] * self.covariance[i * n + j] * slopes[j];
            }
        }
        let freedom = 2.0 * variance * variance / spread;
        if freedom.is_finite() { freedom.clamp(1.0, MOST) } else { MOST }
    }
}
