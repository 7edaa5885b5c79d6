//! Exact moments of the true line paths of one wing.

use serde::{Deserialize, Serialize};

use crate::check::History;
use crate::wear::paths::wing_model::{LinePath, WingModel, line_keys};
use crate::wear::reduce::reduction::{WingReduction, covariate_values};
use crate::wear::{LineKey, Shape, WearError, WearFit};
use crate::wing::LineSet;

/// A weighted sum of the true deviations of a wing's lines at some hours.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PathFunctional {
    /// Hours flown, h.
    pub hours_h: f64,
    /// Weight of each line, in the order of [`PathPosterior::lines`]; missing ones count as zero.
    pub weights: Vec<f64>,
}

/// Means and covariances of functionals.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PathMoments {
    /// Mean of each functional, mm.
    pub mean_mm: Vec<f64>,
    /// Covariance, mm², row-major.
    pub covariance_mm2: Vec<f64>,
}

impl PathMoments {
    /// Covariance of two functionals, mm²; 0 past the end.
    #[must_use]
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        let n = self.mean_mm.len();
        if i < n && j < n { self.covariance_mm2[i * n + j] } else { 0.0 }
    }

    /// Standard deviation of a functional, mm; 0 past the end.
    #[must_use]
    pub fn sd_mm(&self, i: usize) -> f64 {
        self.covariance(i, i).max(0.0).sqrt()
    }
}

/// The joint distribution of the true deviations of one wing's lines at any hours: Gaussian given the time shape, a mixture
/// of few Gaussians where its scale was estimated. The same distribution as that of [`crate::wear::PathDraws`], without draws.
#[derive(Debug)]
pub struct PathPosterior {
    lines: Vec<LineKey>,
    own_history: bool,
    parts: Vec<Part>,
}

/// The distribution under one time shape.
#[derive(Debug)]
struct Part {
    shape: Shape,
    weight: f64,
    parameters: usize,
    paths: Vec<PathRoots>,
}

/// One line's mean and root, at `g = 0` and per unit of `g`.
#[derive(Debug)]
struct PathRoots {
    start_mm: f64,
    slope_mm: f64,
    start_root: Vec<f64>,
    slope_root: Vec<f64>,
    own_sd_mm: f64,
    rate_sd_mm: [f64; 2],
    group: usize,
    group_sd_mm: f64,
}

impl WearFit {
    /// The joint distribution of a wing's true line paths, from the fleet's estimates and the wing's own checks, or from
    /// the fleet's alone when it has none. Adjusted lines as in [`WearFit::path_draws`].
    ///
    /// # Errors
    /// [`WearError::Covariate`] when the wing lacks a covariate of the model, [`WearError::Fit`] when its cross products
    /// break down.
    pub fn path_posterior(&self, set: &LineSet, history: &History) -> Result<PathPosterior, WearError> {
        let fit = self.parted();
        let covariates = covariate_values(history, &fit.spec.covariates)?;
        let wing = WingReduction::new(set, history, covariates).thinned();
        let mut parts = Vec::with_capacity(fit.components.len());
        for component in fit.components.iter().filter(|component| component.weight > 0.0) {
            let model = WingModel::new(&fit, component, set, &wing)?;
            let roots = |path: &LinePath| {
                let start = model.posterior.combination(&path.start);
                let slope = model.posterior.combination(&path.slope);
                PathRoots {
                    start_mm: path.constant_mm + start.mean,
                    slope_mm: path.slope_constant_mm + slope.mean,
                    start_root: start.root,
                    slope_root: slope.root,
                    own_sd_mm: path.own_sd_mm,
                    rate_sd_mm: path.rate_sd_mm,
                    group: path.group,
                    group_sd_mm: path.group_sd_mm,
                }
            };
            parts.push(Part {
                shape: component.basis.shape,
                weight: component.weight,
                parameters: model.posterior.fixed() + model.posterior.outer(),
                paths: model.line_paths().iter().map(roots).collect(),
            });
        }
        Ok(PathPosterior { lines: line_keys(&wing), own_history: !wing.line_sums.is_empty(), parts })
    }
}

impl PathPosterior {
    /// Side and index (in the line set) of each line.
    #[must_use]
    pub fn lines(&self) -> &[LineKey] {
        &self.lines
    }

    /// Whether the wing's own checks are in it.
    #[must_use]
    pub fn own_history(&self) -> bool {
        self.own_history
    }

    /// Means and covariances of functionals of the true deviations. Where the time shape's scale was estimated they are
    /// those of the mixture: the mean of the covariances and the covariance of the means.
    #[must_use]
    pub fn moments(&self, functionals: &[PathFunctional]) -> PathMoments {
        let n = functionals.len();
        let mut out = PathMoments { mean_mm: vec![0.0; n], covariance_mm2: vec![0.0; n * n] };
        let total: f64 = self.parts.iter().map(|part| part.weight).sum();
        let means: Vec<Vec<f64>> = self
            .parts
            .iter()
            .map(|part| {
                let share = part.weight / total;
                let sums: Vec<Sum> = functionals.iter().map(|functional| part.sum(functional)).collect();
                for (i, a) in sums.iter().enumerate() {
                    out.mean_mm[i] += share * a.mean_mm;
                    for (j, b) in sums.iter().enumerate() {
                        out.covariance_mm2[i * n + j] += share * dot(&a.root, &b.root);
                    }
                }
                sums.iter().map(|sum| sum.mean_mm).collect()
            })
            .collect();
        for (part, means) in self.parts.iter().zip(&means) {
            let share = part.weight / total;
            let apart: Vec<f64> = means.iter().zip(&out.mean_mm).map(|(mean, centre)| mean - centre).collect();
            for i in 0..n {
                for j in 0..n {
                    out.covariance_mm2[i * n + j] += share * apart[i] * apart[j];
                }
            }
        }
        out
    }
}

/// A functional under one time shape.
struct Sum {
    mean_mm: f64,
    /// Parameters, then one place per group, then two per line: its offset, its rate.
    root: Vec<f64>,
}

impl Part {
    fn sum(&self, functional: &PathFunctional) -> Sum {
        let g = self.shape.at(functional.hours_h);
        let lines = self.paths.len();
        let mut sum = Sum { mean_mm: 0.0, root: vec![0.0; self.parameters + 3 * lines] };
        for (k, (path, weight)) in self.paths.iter().zip(&functional.weights).enumerate() {
            if *weight == 0.0 {
                continue;
            }
            sum.mean_mm += weight * (path.start_mm + g * path.slope_mm);
            for (place, (start, slope)) in path.start_root.iter().zip(&path.slope_root).enumerate() {
                sum.root[place] += weight * (start + g * slope);
            }
            sum.root[self.parameters + path.group] += weight * path.group_sd_mm;
            sum.root[self.parameters + lines + k] += weight * path.own_sd_mm;
            let [start, slope] = path.rate_sd_mm;
            sum.root[self.parameters + 2 * lines + k] += weight * (start + g * slope);
        }
        sum
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
