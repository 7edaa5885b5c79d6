//! Second derivatives of the criterion at an optimum.

use nalgebra::{DMatrix, SymmetricEigen};

use super::Objective;
use super::objective::Evaluated;

/// With as many blocks or more, work is saved where that costs no digit that counts.
pub(super) const MANY_BLOCKS: usize = 96;
/// Step of central differences, in units of the scaled parameters.
const STEP: f64 = 1e-3;
/// Step of one-sided differences: with many blocks half the work is worth a relative error of some 1e-4.
const ONE_SIDED: f64 = 1e-4;
/// Curvature below this share of the largest is rounding.
const FLAT: f64 = 1e-8;

/// The Hessian of the criterion in scaled parameters, and how the fixed effects' covariance moves with each of them.
#[derive(Debug, Clone)]
pub(crate) struct Curvature {
    hessian: DMatrix<f64>,
    /// Per scaled parameter: derivative of the covariance of the fixed effects, row-major.
    pub(crate) covariance_gradients: Vec<Vec<f64>>,
}

impl Curvature {
    /// By differences of the gradient at a point given over `scale`, where the evaluation may be known; `None` where the
    /// criterion is not defined near it.
    pub(crate) fn new(
        objective: &Objective<'_>,
        at: &[f64],
        scale: &[f64],
        known: Option<&Evaluated>,
    ) -> Option<Self> {
        let n = at.len();
        let moved = |k: usize, step: f64| {
            let theta: Vec<f64> = (0..n).map(|i| (at[i] + if i == k { step } else { 0.0 }) * scale[i]).collect();
            objective.evaluate(&theta)
        };
        let made;
        let middle = match known {
            _ if objective.blocks() < MANY_BLOCKS || n == 0 => None,
            Some(known) => Some(known),
            None => {
                made = moved(n, 0.0)?;
                Some(&made)
            }
        };
        let mut hessian = DMatrix::zeros(n, n);
        let mut covariance_gradients = Vec::with_capacity(n);
        for k in 0..n {
            let own;
            let (up, down, apart) = if let Some(middle) = middle {
                (moved(k, ONE_SIDED)?, middle, ONE_SIDED)
            } else {
                own = moved(k, -STEP)?;
                (moved(k, STEP)?, &own, 2.0 * STEP)
            };
            for i in 0..n {
                hessian[(i, k)] = (up.gradient[i] - down.gradient[i]) / apart * scale[i];
            }
            let (up, down) = (&up.profile, &down.profile);
            let pairs = up.unscaled.iter().zip(&down.unscaled);
            covariance_gradients.push(pairs.map(|(a, b)| (a * up.sigma2 - b * down.sigma2) / apart).collect());
        }
        let hessian = (&hessian + hessian.transpose()) * 0.5;
        Some(Self { hessian, covariance_gradients })
    }

    /// Direction of negative curvature; `None` at a minimum.
    pub(crate) fn downhill(&self) -> Option<Vec<f64>> {
        if self.hessian.nrows() == 0 {
            return None;
        }
        let largest = self.hessian.amax();
        let eigen = SymmetricEigen::new(self.hessian.clone());
        let (index, lowest) = eigen.eigenvalues.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1))?;
        (*lowest < -1e-6 * largest).then(|| eigen.eigenvectors.column(index).iter().copied().collect())
    }

    /// `factor · H⁻¹` over the given parameters, row-major; a direction without curvature (a boundary) gets `flat` times
    /// the inverse of the largest curvature, and zero where there is no curvature at all.
    pub(crate) fn inverse(&self, over: &[usize], factor: f64, flat: f64) -> Vec<f64> {
        if over.is_empty() {
            return Vec::new();
        }
        let part = self.hessian.select_rows(over).select_columns(over);
        let largest = part.amax();
        let eigen = SymmetricEigen::new(part);
        let flat = if largest > 0.0 { flat / largest } else { 0.0 };
        let inverse = eigen.eigenvalues.map(|value| if value > FLAT * largest { factor / value } else { flat });
        let whole = &eigen.eigenvectors * DMatrix::from_diagonal(&inverse) * eigen.eigenvectors.transpose();
        whole.iter().copied().collect()
    }
}
