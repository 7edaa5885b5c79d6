//! What a fit owes to each block.

use serde::{Deserialize, Serialize};

use super::{Block, Criterion, MixedError, MixedFit, Objective};
use crate::stats::dense::{eliminate, solve_lower_transposed};

/// What the fit owes to one block, by subtracting it at the fit's θ.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlockInfluence {
    /// Cook's distance `(β − β₋)ᵀ XᵀV⁻¹X (β − β₋) / (p σ²)`, `β₋` the fixed effects without the block; `None` when the
    /// fixed effects cannot be told without it. Source: Cook, Technometrics 19, 1977 (from memory).
    pub distance: Option<f64>,
    /// Fixed effects without the block, less those with it, in standard errors of the fit; in the order of
    /// [`MixedFit::fixed`]. Empty when the fixed effects cannot be told without it.
    pub shifts: Vec<f64>,
    /// −2 log predictive density of the block's readings given all others, θ and σ held; `None` when the others
    /// do not determine the fixed effects.
    pub deviance: Option<f64>,
}

/// What the fit owes to each block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Influence {
    /// By block, in their order.
    pub blocks: Vec<BlockInfluence>,
}

impl MixedFit {
    /// The influence of each block, by subtraction at the fit's θ: the sums of a fit without a block are the sums of all
    /// less its own, so nothing is fitted again. `blocks` are the ones of the fit.
    ///
    /// The predictive density has the fixed effects integrated out over a flat prior and θ and σ held at the fit's.
    ///
    /// # Errors
    /// [`MixedError::Foreign`] when a block has another structure, [`MixedError::Undefined`] when its cross products break
    /// down.
    pub fn influence(&self, blocks: &[Block]) -> Result<Influence, MixedError> {
        let kept: Vec<Block>;
        let keep = super::columns::kept_effects(&self.structure, &self.kept);
        let blocks = if self.kept.iter().all(|keep| *keep) {
            blocks
        } else {
            kept = blocks.iter().map(|block| block.keeping(&keep)).collect();
            &kept
        };
        let undefined = || MixedError::Undefined { theta: self.theta.clone() };
        let objective = Objective::new(&self.structure, blocks, Criterion::Reml);
        objective.check_blocks()?;
        let parts = objective.parts(&self.theta).ok_or_else(undefined)?;
        let (shared, p) = (self.structure.shared_columns(), self.beta.len());
        let side = p + 1;
        let ratios: Vec<f64> = self.effect_ratios().into_iter().chain([1.0]).collect();
        let mut parts = parts;
        let mut total = vec![0.0; side * side];
        for part in &mut parts {
            for (k, value) in part.schur.iter_mut().enumerate() {
                *value *= ratios[k / side] * ratios[k % side];
            }
            total.iter_mut().zip(&part.schur).for_each(|(sum, value)| *sum += value);
        }
        for i in 0..shared {
            total[i * side + i] += 1.0;
        }
        let all = Sums::new(total.clone(), p).ok_or_else(undefined)?;
        let sigma2 = self.sigma() * self.sigma();
        let blocks = parts
            .iter()
            .map(|part| {
                let rest: Vec<f64> = total.iter().zip(&part.schur).map(|(sum, value)| sum - value).collect();
                let Some(rest) = Sums::new(rest, p) else {
                    return BlockInfluence { distance: None, shifts: Vec::new(), deviance: None };
                };
                let moved: Vec<f64> =
                    rest.beta.iter().zip(&all.beta).skip(shared).map(|(without, with)| without - with).collect();
                // the fixed effects' precision is L Lᵀ of the last rows of the factor
                let fixed = p - shared;
                let row = |k: usize| (k..fixed).map(|i| self.factor[(shared + i) * p + shared + k] * moved[i]).sum();
                let square: f64 = (0..fixed)
                    .map(|k| {
                        let value: f64 = row(k);
                        value * value
                    })
                    .sum();
                let shifts = moved
                    .iter()
                    .zip(self.fixed())
                    .map(|(moved, effect)| if effect.se > 0.0 { moved / effect.se } else { 0.0 })
                    .collect();
                let deviance = part.log + all.log - rest.log
                    + part.observations * (2.0 * std::f64::consts::PI * sigma2).ln()
                    + (all.residual - rest.residual) / sigma2;
                BlockInfluence {
                    distance: Some(square / (fixed.max(1) as f64 * sigma2)),
                    shifts,
                    deviance: deviance.is_finite().then_some(deviance),
                }
            })
            .collect();
        Ok(Influence { blocks })
    }
}

impl Influence {
    /// −2 log predictive density of all blocks, each given the others; `None` when one has none.
    #[must_use]
    pub fn deviance(&self) -> Option<f64> {
        self.blocks.iter().map(|block| block.deviance).sum()
    }
}

/// Fixed effects, log determinant and residual sum of some blocks.
struct Sums {
    beta: Vec<f64>,
    log: f64,
    residual: f64,
}

impl Sums {
    fn new(mut total: Vec<f64>, p: usize) -> Option<Self> {
        let side = p + 1;
        // a pivot that is all but gone is a fixed effect that these blocks do not show
        let scale: Vec<f64> = (0..p).map(|k| total[k * side + k]).collect();
        let log = eliminate(&mut total, side, p)?;
        if (0..p).any(|k| total[k * side + k].powi(2) < 1e-11 * scale[k]) {
            return None;
        }
        let mut beta = total[p * side..p * side + p].to_vec();
        solve_lower_transposed(&total, side, &mut beta);
        Some(Self { beta, log, residual: total[p * side + p] })
    }
}
