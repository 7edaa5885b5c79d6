//! What one block's readings say of its own effects, given the fit.

use super::columns::kept_effects;
use super::relative_covariance::{RelativeCovariance, for_each_copy};
use super::{Block, BlockBuilder, Criterion, MixedError, MixedFit, Objective};
use crate::stats::dense::{solve_lower, solve_lower_transposed};

/// Joint distribution of the fixed effects, a block's outer effects and its inner effects, given θ and σ.
///
/// Draws are made from standard normal numbers that the caller brings: `β = β̂ + σ L_X⁻ᵀ z`, then the outer effects given β,
/// then each inner effect given both, `t ~ N(κ (s_y − s_Z b − s_X β), σ² κ)` with `κ = θ²/(1 + nθ²)` (flat prior: `1/n`).
#[derive(Debug, Clone)]
pub struct BlockPosterior {
    outer: usize,
    fixed: usize,
    sigma: f64,
    inner: f64,
    inner_slope: f64,
    /// Which of the shared and fixed columns are kept.
    kept: Vec<bool>,
    beta: Vec<f64>,
    factor: Vec<f64>,
    /// By shared and fixed effect: its ratio to what it is in the factor.
    ratios: Vec<f64>,
    /// Z with `M = Z Zᵀ`, row-major.
    z: Vec<f64>,
    /// `M C`, row-major `outer × (fixed + 1)`.
    pull: Vec<f64>,
}

impl BlockPosterior {
    /// The posterior of a block that has the structure of the fit (all fixed columns present, dropped ones too).
    ///
    /// # Errors
    /// [`MixedError::Foreign`] when the block has another structure, [`MixedError::Undefined`] when its cross products break
    /// down at the fit's θ.
    pub fn new(fit: &MixedFit, block: &Block) -> Result<Self, MixedError> {
        let undefined = || MixedError::Undefined { theta: fit.theta.clone() };
        let block = block.keeping(&kept_effects(&fit.structure, &fit.kept));
        let blocks = std::slice::from_ref(&block);
        let objective = Objective::new(&fit.structure, blocks, Criterion::Ml);
        let factors: RelativeCovariance = objective.factors(&fit.theta)?;
        let (m, q) = (block.size, block.outer);
        let p = fit.structure.effects();
        let (mut z, mut pull) = (vec![0.0; q * q], vec![0.0; q * (p + 1)]);
        let work = objective.reduced(&block, &factors).ok_or_else(undefined)?;
        for_each_copy(&fit.structure, &block, |term, at| {
            let w = fit.structure.outer[term].width;
            for r in 0..w {
                let row = &mut z[(at + r) * q..(at + r + 1) * q];
                row[at..=at + r].copy_from_slice(&factors.outer[term][r * w..=r * w + r]);
                solve_lower(&work, m, row);
            }
        });
        for i in 0..q {
            for k in 0..m - q {
                let to = block.effects.get(k).map_or(p, |effect| *effect as usize);
                pull[i * (p + 1) + to] = (0..q).map(|t| z[i * q + t] * work[(q + k) * m + t]).sum();
            }
        }
        Ok(Self {
            outer: q,
            fixed: p,
            sigma: fit.sigma(),
            inner: factors.inner,
            inner_slope: factors.inner_slope,
            kept: kept_effects(&fit.structure, &fit.kept),
            beta: fit.beta.clone(),
            factor: fit.factor.clone(),
            ratios: fit.effect_ratios(),
            z,
            pull,
        })
    }

    /// Shared effects and fixed effects kept: length of the first part of a draw.
    #[must_use]
    pub fn fixed(&self) -> usize {
        self.fixed
    }

    /// Outer effects of the block: length of the second part of a draw.
    #[must_use]
    pub fn outer(&self) -> usize {
        self.outer
    }

    /// Draws the fixed effects and then the outer effects into `draw` (lengths [`BlockPosterior::fixed`] and
    /// [`BlockPosterior::outer`], one after the other) from as many standard normal numbers. Zeros give the mean.
    /// Numbers that are missing count as zeros.
    pub fn draw(&self, normals: &[f64], draw: &mut Vec<f64>) {
        let (p, q) = (self.fixed, self.outer);
        draw.clear();
        draw_fixed(&self.factor, &self.ratios, &self.beta, self.sigma, normals, draw);
        for i in 0..q {
            let mut value = self.outer_mean(i);
            for (k, beta) in draw[..p].iter().enumerate() {
                value -= self.outer_pull(i, k) * beta;
            }
            for k in 0..q {
                value += self.outer_root(i, k) * normals.get(p + k).copied().unwrap_or(0.0);
            }
            draw.push(value);
        }
    }

    /// Outer effect `i` is `outer_mean − Σ_k outer_pull(k) β_k + Σ_k outer_root(k) z_k` given the fixed effects.
    pub(crate) fn outer_mean(&self, i: usize) -> f64 {
        self.pull[i * (self.fixed + 1) + self.fixed]
    }

    /// How much outer effect `i` falls per unit of fixed effect `k`.
    pub(crate) fn outer_pull(&self, i: usize, k: usize) -> f64 {
        self.pull[i * (self.fixed + 1) + k]
    }

    /// How much outer effect `i` moves per unit of the `k`-th standard normal number of the outer effects.
    pub(crate) fn outer_root(&self, i: usize, k: usize) -> f64 {
        self.sigma * self.z[i * self.outer + k]
    }

    /// A linear combination of the fixed and outer effects, exactly: its mean, and its root, so that the covariance of two
    /// combinations of one block is the product of their roots. `weights` are (place in a draw, weight); places past the
    /// end are left out.
    ///
    /// With `b = c − P β + σ Z ε` and `Cov(β) = σ² (L_X L_Xᵀ)⁻¹`, the root of `aᵀβ + wᵀb` is `σ (L_X⁻¹(a − Pᵀw), Zᵀw)`.
    #[must_use]
    pub fn combination(&self, weights: &[(usize, f64)]) -> Combination {
        let (p, q) = (self.fixed, self.outer);
        let mut fixed = vec![0.0; p];
        let mut root = vec![0.0; p + q];
        let mut mean = 0.0;
        for &(place, weight) in weights {
            if let Some(sum) = fixed.get_mut(place) {
                *sum += weight;
            } else if let Some(i) = place.checked_sub(p).filter(|i| *i < q) {
                let pull = &self.pull[i * (p + 1)..(i + 1) * (p + 1)];
                mean += weight * pull[p];
                fixed.iter_mut().zip(pull).for_each(|(sum, pull)| *sum -= weight * pull);
                for (sum, z) in root[p..].iter_mut().zip(&self.z[i * q..(i + 1) * q]) {
                    *sum += self.sigma * weight * z;
                }
            }
        }
        mean += fixed.iter().zip(&self.beta).map(|(weight, beta)| weight * beta).sum::<f64>();
        fixed.iter_mut().zip(&self.ratios).for_each(|(weight, ratio)| *weight *= ratio);
        solve_lower(&self.factor, p, &mut fixed);
        for (sum, value) in root.iter_mut().zip(fixed) {
            *sum = self.sigma * value;
        }
        Combination { mean, root }
    }

    /// Mean and standard deviation of an inner effect given a draw and, where the model has inner slopes, that of its unit:
    /// `constant − Σ weights · draw − per_slope · slope`, and `sd`. A level that was never read has its prior; an unpenalised
    /// level never read is `None`, and so is one of a builder for another structure.
    #[must_use]
    pub fn inner(&self, builder: &BlockBuilder, level: usize, prior: LevelPrior) -> Option<InnerPosterior> {
        let (n, sums) = builder.level_sums(level).unwrap_or((0.0, &[]));
        let kappa = match prior {
            LevelPrior::Random => self.inner * self.inner / (1.0 + n * self.inner * self.inner),
            LevelPrior::Unpenalised if n > 0.0 => 1.0 / n,
            LevelPrior::Unpenalised => return None,
        };
        let mut found = self.given_draw(sums, kappa)?;
        found.per_slope = kappa * builder.level_slope(level).unwrap_or(0.0);
        Some(found)
    }

    /// Mean and standard deviation of the slope of a unit given a draw; `levels` are all levels of the unit with their priors.
    /// A unit that was never read has its prior; `None` where the model has no inner slopes or the builder is another's.
    #[must_use]
    pub fn inner_slope(
        &self,
        builder: &BlockBuilder,
        unit: usize,
        levels: &[(usize, LevelPrior)],
    ) -> Option<InnerPosterior> {
        let ratio = self.inner_slope * self.inner_slope;
        if ratio <= 0.0 {
            return None;
        }
        let Some((mut square, sums)) = builder.unit_sums(unit) else { return self.given_draw(&[], ratio) };
        let mut sums = sums.to_vec();
        for &(level, prior) in levels {
            let (Some((n, of_level)), Some(x)) = (builder.level_sums(level), builder.level_slope(level)) else {
                continue;
            };
            let kappa = match prior {
                LevelPrior::Random => self.inner * self.inner / (1.0 + n * self.inner * self.inner),
                LevelPrior::Unpenalised if n > 0.0 => 1.0 / n,
                // adjusted, and not read since
                LevelPrior::Unpenalised => continue,
            };
            square -= kappa * x * x;
            sums.iter_mut().zip(of_level).for_each(|(sum, value)| *sum -= kappa * x * value);
        }
        self.given_draw(&sums, ratio / (1.0 + ratio * square.max(0.0)))
    }

    /// `κ (s_y − s · draw)` with the sums of all columns, and `σ √κ`.
    fn given_draw(&self, sums: &[f64], kappa: f64) -> Option<InnerPosterior> {
        if !sums.is_empty() && sums.len() != self.outer + self.kept.len() + 1 {
            return None;
        }
        let mut weights = vec![0.0; self.fixed + self.outer];
        let mut constant = 0.0;
        if let Some(last) = sums.last() {
            constant = kappa * last;
            let kept = self.kept.iter().enumerate().filter(|(_, keep)| **keep).map(|(column, _)| column);
            for (weight, column) in weights.iter_mut().zip(kept) {
                *weight = kappa * sums[self.outer + column];
            }
            for (weight, sum) in weights[self.fixed..].iter_mut().zip(sums) {
                *weight = kappa * sum;
            }
        }
        Some(InnerPosterior { constant, weights, per_slope: 0.0, sd: self.sigma * kappa.sqrt() })
    }
}

/// Appends a draw of the fixed effects, `β̂ + σ L_X⁻ᵀ z`; numbers that are missing count as zeros.
fn draw_fixed(factor: &[f64], ratios: &[f64], beta: &[f64], sigma: f64, normals: &[f64], draw: &mut Vec<f64>) {
    let from = draw.len();
    draw.extend((0..beta.len()).map(|k| normals.get(k).copied().unwrap_or(0.0) * sigma));
    solve_lower_transposed(factor, beta.len(), &mut draw[from..]);
    draw[from..].iter_mut().zip(beta).zip(ratios).for_each(|((x, b), ratio)| *x = *x * ratio + b);
}

impl MixedFit {
    /// Appends a draw of the fixed effects from as many standard normal numbers: the first part of
    /// [`BlockPosterior::draw`], which is the same for every block.
    pub(crate) fn draw_fixed(&self, normals: &[f64], draw: &mut Vec<f64>) {
        draw_fixed(&self.factor, &self.effect_ratios(), &self.beta, self.sigma(), normals, draw);
    }
}

/// A linear combination of effects: mean, and a root whose products are covariances.
#[derive(Debug, Clone, PartialEq)]
pub struct Combination {
    /// Mean, response units.
    pub mean: f64,
    /// Root: `Cov(f, g) = Σ root_f · root_g`.
    pub root: Vec<f64>,
}

/// Prior of an inner level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LevelPrior {
    /// `N(0, θ²σ²)`.
    Random,
    /// A flat prior: a free offset.
    Unpenalised,
}

/// An inner effect given the other effects: mean `constant − Σ weights·draw`, standard deviation `sd`.
#[derive(Debug, Clone, PartialEq)]
pub struct InnerPosterior {
    /// Constant part of the mean, response units.
    pub constant: f64,
    /// Weights of the draw (fixed effects, then outer effects).
    pub weights: Vec<f64>,
    /// How much the mean falls per unit of the slope of the level's unit.
    pub per_slope: f64,
    /// Standard deviation, response units.
    pub sd: f64,
}
