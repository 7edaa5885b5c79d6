//! The criterion and its gradient at any θ.

use rayon::prelude::*;

use super::block::triangle;
use super::gradient::GradientScratch;
use super::relative_covariance::{RelativeCovariance, for_each_copy};
use super::{Block, Criterion, MixedError, Structure};
use crate::stats::dense::{eliminate, inverse_from_factor, solve_lower_transposed};
use crate::stats::double_double::{self, DoubleDouble};

/// Blocks summed in one go; fixed, so that sums do not depend on the number of threads.
const CHUNK: usize = 16;
/// Columns of a block from which on each is summed by itself: there is enough to do in one.
const LARGE: usize = 128;

/// The criterion of a model on its blocks, callable at any θ.
///
/// θ holds the inner effects' standard deviation relative to the reading's, then each outer term's relative covariance
/// factor Λ (lower triangle column by column, or diagonal): the covariance of a term's effects is `σ² Λ Λᵀ`. Where the model has
/// inner slopes, their ratio follows that of the inner effects; those of shared effects come last.
#[derive(Debug, Clone, Copy)]
pub struct Objective<'a> {
    structure: &'a Structure,
    blocks: &'a [Block],
    criterion: Criterion,
    observations: f64,
    unpenalised_levels: f64,
    unpenalised_log: f64,
    /// Blocks summed in one go.
    chunk: usize,
    /// The first block that was built for another structure.
    foreign: Option<usize>,
}

/// What profiling out β and σ² at one θ gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// The criterion, −2 log likelihood.
    pub deviance: f64,
    /// The shared effects, then the fixed ones.
    pub beta: Vec<f64>,
    /// Variance of a reading, σ².
    pub sigma2: f64,
    /// Their covariance in units of σ², row-major: of the fixed effects `(XᵀV⁻¹X)⁻¹`, of a shared effect that of its prediction.
    pub unscaled: Vec<f64>,
    /// Lower Cholesky factor of their precision, row-major, each shared effect taken over its ratio.
    pub(crate) factor: Vec<f64>,
    residual_sum: f64,
    shared: Option<SharedPart>,
}

/// What the gradient needs of the shared effects.
#[derive(Debug, Clone, PartialEq)]
struct SharedPart {
    /// Summed Schur complement before it was scaled, row-major, all of it.
    total: Vec<f64>,
    /// Inverse of the precision over the ratios, row-major.
    inverse: Vec<f64>,
    /// Shared and fixed effects over the ratios.
    beta: Vec<f64>,
}

/// A profile and the criterion's gradient there.
pub(crate) struct Evaluated {
    pub(crate) profile: Profile,
    pub(crate) gradient: Vec<f64>,
}

/// The criterion at θ and σ, and its gradient.
pub(crate) struct AtSigma {
    pub(crate) deviance: f64,
    pub(crate) gradient: Vec<f64>,
    pub(crate) log_sigma_gradient: f64,
}

/// What one block adds to the sums of an evaluation.
pub(crate) struct BlockPart {
    /// Log terms.
    pub(crate) log: f64,
    /// Readings less free offsets.
    pub(crate) observations: f64,
    /// Schur complement of the shared and fixed effects and the response, lower triangle, row-major.
    pub(crate) schur: Vec<f64>,
}

/// What is kept of the first pass of an evaluation for the second.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Keep {
    Nothing,
    Reduced,
}

/// The first pass of an evaluation: β and σ² profiled out; the reduced blocks by chunk, where they were kept: of each block
/// its [`Scratch::base`], then its [`Scratch::work`].
struct Pass {
    profile: Profile,
    reduced: Vec<Vec<f64>>,
}

/// Numbers that reduced blocks may take between the two passes of an evaluation; past that they are made again.
const KEPT_NUMBERS: usize = 16_000_000;

/// Buffers for one block.
#[derive(Default, Clone)]
struct Scratch {
    packed: Vec<f64>,
    /// `G − Σ κ_n M_n`: its lower triangle, and all of its outer rows.
    base: Vec<f64>,
    /// The same scaled by Λ, then eliminated.
    work: Vec<f64>,
}

impl<'a> Objective<'a> {
    /// The criterion of these blocks.
    #[must_use]
    pub fn new(structure: &'a Structure, blocks: &'a [Block], criterion: Criterion) -> Self {
        Self {
            structure,
            blocks,
            criterion,
            observations: blocks.iter().map(|block| block.observations).sum(),
            unpenalised_levels: blocks.iter().map(|block| block.unpenalised_levels).sum(),
            unpenalised_log: blocks.iter().map(|block| block.unpenalised_log).sum(),
            foreign: blocks.iter().position(|block| !block.belongs(structure)),
            chunk: if blocks.iter().any(|block| block.size >= LARGE) { 1 } else { CHUNK },
        }
    }

    pub(crate) fn structure(&self) -> &Structure {
        self.structure
    }

    pub(crate) fn blocks(&self) -> usize {
        self.blocks.len()
    }

    /// Degrees of freedom that σ² is divided by.
    pub(crate) fn degrees(&self) -> f64 {
        let spent = match self.criterion {
            Criterion::Reml => self.structure.fixed.len() as f64,
            Criterion::Ml => 0.0,
        };
        self.observations - self.unpenalised_levels - spent
    }

    /// The criterion at θ, with β and σ² profiled out.
    ///
    /// # Errors
    /// [`MixedError::Foreign`] when a block was built for another structure, [`MixedError::Theta`] when θ has the wrong
    /// length, [`MixedError::Undefined`] when the fixed effects reproduce the readings or a factor breaks down.
    pub fn profile(&self, theta: &[f64]) -> Result<Profile, MixedError> {
        let factors = self.factors(theta)?;
        let pass = self.profiled(&factors, Keep::Nothing);
        pass.map(|pass| pass.profile).ok_or_else(|| MixedError::Undefined { theta: theta.to_vec() })
    }

    /// The criterion and its gradient with respect to θ.
    ///
    /// # Errors
    /// As [`Objective::profile`].
    pub fn gradient(&self, theta: &[f64]) -> Result<Vec<f64>, MixedError> {
        let factors = self.factors(theta)?;
        let undefined = || MixedError::Undefined { theta: theta.to_vec() };
        let pass = self.profiled(&factors, Keep::Reduced).ok_or_else(undefined)?;
        self.gradient_after(&factors, &pass).ok_or_else(undefined)
    }

    /// The profile and the gradient in one go; `None` where either is not defined.
    pub(crate) fn evaluate(&self, theta: &[f64]) -> Option<Evaluated> {
        let factors = self.factors(theta).ok()?;
        let pass = self.profiled(&factors, Keep::Reduced)?;
        let gradient = self.gradient_after(&factors, &pass)?;
        gradient.iter().all(|g| g.is_finite()).then_some(Evaluated { profile: pass.profile, gradient })
    }

    /// The criterion and its gradient with σ not profiled out: with `s² = r²/ν` the profiled variance it is
    /// `D(θ) + ν (ln(σ²/s²) + s²/σ² − 1)`.
    pub(crate) fn evaluate_at(&self, theta: &[f64], sigma: f64) -> Option<AtSigma> {
        let factors = self.factors(theta).ok()?;
        let pass = self.profiled(&factors, Keep::Reduced)?;
        let ratio = pass.profile.sigma2 / (sigma * sigma);
        let gradient = self.gradient_scaled(&factors, &pass, 1.0 / (sigma * sigma))?;
        let degrees = self.degrees();
        let deviance = pass.profile.deviance + degrees * (ratio - 1.0 - ratio.ln());
        let log_sigma_gradient = 2.0 * degrees * (1.0 - ratio);
        let finite = deviance.is_finite() && log_sigma_gradient.is_finite() && gradient.iter().all(|g| g.is_finite());
        finite.then_some(AtSigma { deviance, gradient, log_sigma_gradient })
    }

    /// What each block adds at θ.
    pub(crate) fn parts(&self, theta: &[f64]) -> Option<Vec<BlockPart>> {
        let factors = self.factors(theta).ok()?;
        let side = self.structure.effects() + 1;
        self.blocks
            .par_iter()
            .map(|block| {
                let mut scratch = Scratch::default();
                let log = self.reduce(block, &factors, &mut scratch)? + block.unpenalised_log;
                let (m, q) = (block.size, block.outer);
                let mut schur = vec![0.0; side * side];
                add_schur(block, &scratch.work[q * m..], &mut schur, side);
                Some(BlockPart { log, observations: block.observations - block.unpenalised_levels, schur })
            })
            .collect()
    }

    /// An error when a block was built for another structure.
    pub(super) fn check_blocks(&self) -> Result<(), MixedError> {
        self.foreign.map_or(Ok(()), |block| Err(MixedError::Foreign { block, columns: self.blocks[block].size }))
    }

    pub(crate) fn factors(&self, theta: &[f64]) -> Result<RelativeCovariance, MixedError> {
        self.check_blocks()?;
        let expected = self.structure.parameters();
        if theta.len() != expected {
            return Err(MixedError::Theta { got: theta.len(), expected });
        }
        Ok(RelativeCovariance::new(self.structure, theta))
    }

    fn profiled(&self, factors: &RelativeCovariance, keep: Keep) -> Option<Pass> {
        let (shared, p) = (self.structure.shared_columns(), self.structure.effects());
        let side = p + 1;
        let numbers: usize = self.blocks.iter().map(|block| 2 * block.size * block.size).sum();
        let keep = keep == Keep::Reduced && numbers <= KEPT_NUMBERS;
        let parts: Vec<Option<(Vec<f64>, Vec<f64>)>> = self
            .blocks
            .par_chunks(self.chunk)
            .map(|chunk| {
                let mut scratch = Scratch::default();
                let numbers = |block: &Block| 2 * block.size * block.size;
                // of all blocks, or of one at a time
                let mut kept = vec![0.0; if keep { chunk.iter().map(numbers).sum() } else { 0 }];
                let mut rest = kept.as_mut_slice();
                let mut sum = vec![0.0; side * side + 1];
                for block in chunk {
                    let (m, q) = (block.size, block.outer);
                    let work = if keep {
                        let (mine, others) = std::mem::take(&mut rest).split_at_mut(numbers(block));
                        rest = others;
                        let (base, work) = mine.split_at_mut(m * m);
                        sum[side * side] += self.reduce_into(block, factors, &mut scratch.packed, base, work)?;
                        work
                    } else {
                        sum[side * side] += self.reduce(block, factors, &mut scratch)?;
                        scratch.work.as_mut_slice()
                    };
                    add_schur(block, &work[q * m..], &mut sum, side);
                }
                Some((sum, kept))
            })
            .collect();
        let mut total = vec![0.0; side * side + 1];
        let mut reduced = Vec::with_capacity(parts.len());
        for part in parts {
            let (part, kept) = part?;
            for (sum, value) in total.iter_mut().zip(part) {
                *sum += value;
            }
            reduced.push(kept);
        }
        let mut deviance = total.pop()? + self.unpenalised_log;
        let yy = total[p * side + p];
        let whole = if shared > 0 { square(&total, side) } else { Vec::new() };
        for (i, ratio) in factors.shared.iter().enumerate() {
            total[i * side..=i * side + i].iter_mut().for_each(|value| *value *= ratio);
            (i..side).for_each(|k| total[k * side + i] *= ratio);
            total[i * side + i] += 1.0;
        }
        let mut precise = self.precise_total();
        let mut log_fixed = match &mut precise {
            Some(precise) => {
                let log_fixed = double_double::eliminate(precise, side, p)?;
                total.iter_mut().zip(&*precise).for_each(|(value, precise)| *value = precise.value());
                log_fixed
            }
            None => eliminate(&mut total, side, p)?,
        };
        let residual_sum = total[p * side + p];
        // below this the residual is rounding
        if !(residual_sum > 1e-13 * yy) || !residual_sum.is_finite() {
            return None;
        }
        let degrees = self.degrees();
        if degrees <= 0.0 {
            return None;
        }
        let log_shared: f64 = (0..shared).map(|i| 2.0 * total[i * side + i].ln()).sum();
        log_fixed -= log_shared;
        deviance += log_shared;
        if self.criterion == Criterion::Reml {
            deviance += log_fixed;
        }
        let sigma2 = residual_sum / degrees;
        deviance += degrees * (1.0 + (2.0 * std::f64::consts::PI * sigma2).ln());
        let mut factor = vec![0.0; p * p];
        for i in 0..p {
            factor[i * p..=i * p + i].copy_from_slice(&total[i * side..=i * side + i]);
        }
        let (mut beta, mut unscaled) = if let Some(precise) = &precise {
            double_double::solution(precise, side, p)
        } else {
            let mut beta = total[p * side..p * side + p].to_vec();
            solve_lower_transposed(&total, side, &mut beta);
            (beta, inverse_from_factor(&factor, p))
        };
        let part = (shared > 0).then(|| SharedPart { total: whole, inverse: unscaled.clone(), beta: beta.clone() });
        for (i, ratio) in factors.shared.iter().enumerate() {
            beta[i] *= ratio;
            unscaled[i * p..(i + 1) * p].iter_mut().for_each(|value| *value *= ratio);
            (0..p).for_each(|k| unscaled[k * p + i] *= ratio);
        }
        let profile = Profile { deviance, beta, sigma2, unscaled, factor, residual_sum, shared: part };
        deviance.is_finite().then_some(Pass { profile, reduced })
    }

    /// The summed cross products in twice the precision, where nothing is random; row-major, lower triangle.
    fn precise_total(&self) -> Option<Vec<DoubleDouble>> {
        let side = self.structure.effects() + 1;
        if self.structure.parameters() > 0 || self.blocks.iter().any(|block| block.gram_low.is_empty()) {
            return None;
        }
        let mut total = vec![DoubleDouble::default(); side * side];
        for block in self.blocks {
            for i in 0..side {
                for j in 0..=i {
                    let place = triangle(i) + j;
                    let entry = DoubleDouble::new(block.gram[place], block.gram_low[place]);
                    total[i * side + j] = total[i * side + j].add(entry);
                }
            }
        }
        Some(total)
    }

    /// Fills `scratch` for one block; returns its log terms.
    fn reduce(&self, block: &Block, factors: &RelativeCovariance, scratch: &mut Scratch) -> Option<f64> {
        let Scratch { packed, base, work } = scratch;
        base.clear();
        base.resize(block.size * block.size, 0.0);
        work.resize(block.size * block.size, 0.0);
        self.reduce_into(block, factors, packed, base, work)
    }

    /// Fills `base`, which comes as zeros, and `work` for one block; returns its log terms.
    fn reduce_into(
        &self,
        block: &Block,
        factors: &RelativeCovariance,
        packed: &mut Vec<f64>,
        base: &mut [f64],
        work: &mut [f64],
    ) -> Option<f64> {
        let (m, q) = (block.size, block.outer);
        packed.clone_from(&block.gram);
        let mut log = 0.0;
        let ratio = factors.inner * factors.inner;
        if ratio > 0.0 {
            for class in &block.classes {
                let kappa = ratio / (1.0 + class.n * ratio);
                log += class.levels * (class.n * ratio).ln_1p();
                for (value, moment) in packed.iter_mut().zip(&class.moment) {
                    *value -= kappa * moment;
                }
            }
        }
        let slope = factors.inner_slope * factors.inner_slope;
        if slope > 0.0 {
            let mut pull = Vec::new();
            for unit in &block.sloped {
                let left = unit.after_level(ratio, &mut pull);
                log += (slope * left).ln_1p();
                let kappa = slope / (1.0 + slope * left);
                for (k, (&i, a)) in unit.columns.iter().zip(&pull).enumerate() {
                    let row = &mut packed[triangle(i as usize)..];
                    for (&j, b) in unit.columns[..=k].iter().zip(&pull) {
                        row[j as usize] -= kappa * a * b;
                    }
                }
            }
        }
        for i in 0..m {
            base[i * m..=i * m + i].copy_from_slice(&packed[triangle(i)..=triangle(i) + i]);
            for j in 0..i.min(q) {
                base[j * m + i] = packed[triangle(i) + j];
            }
        }
        work.copy_from_slice(base);
        for_each_copy(self.structure, block, |term, at| {
            let w = self.structure.outer[term].width;
            let factor = &factors.outer[term];
            // rows, then columns: Λᵀ W Λ; of the rows only what lies left of the diagonal or within the copy counts
            if w == 1 {
                work[at * m..=at * m + at].iter_mut().for_each(|value| *value *= factor[0]);
                for k in at..m {
                    work[k * m + at] *= factor[0];
                }
                return;
            }
            for r in 0..w {
                for k in 0..at + w {
                    work[(at + r) * m + k] = (r..w).map(|s| factor[s * w + r] * work[(at + s) * m + k]).sum();
                }
            }
            for k in at..m {
                for r in 0..w {
                    work[k * m + at + r] = (r..w).map(|s| factor[s * w + r] * work[k * m + at + s]).sum();
                }
            }
        });
        for i in 0..q {
            work[i * m + i] += 1.0;
        }
        Some(log + eliminate(work, m, q)?)
    }

    /// One block after scaling and elimination, full square (see [`eliminate`]).
    pub(crate) fn reduced(&self, block: &Block, factors: &RelativeCovariance) -> Option<Vec<f64>> {
        let mut scratch = Scratch::default();
        self.reduce(block, factors, &mut scratch)?;
        Some(scratch.work)
    }

    fn gradient_after(&self, factors: &RelativeCovariance, pass: &Pass) -> Option<Vec<f64>> {
        self.gradient_scaled(factors, pass, self.degrees() / pass.profile.residual_sum)
    }

    /// The gradient where the residual sum counts `per_sum`.
    fn gradient_scaled(&self, factors: &RelativeCovariance, pass: &Pass, per_sum: f64) -> Option<Vec<f64>> {
        let profile = &pass.profile;
        let (shared, p) = (self.structure.shared_columns(), self.structure.effects());
        let side = p + 1;
        // H: what a change of the summed Schur complement does to the criterion
        let weight = match (&profile.shared, self.criterion) {
            (None, Criterion::Ml) => outer_product(&profile.beta, per_sum),
            (_, Criterion::Reml) => {
                let mut weight = outer_product(&profile.beta, per_sum);
                add_corner(&mut weight, side, &profile.unscaled, p);
                weight
            }
            (Some(part), Criterion::Ml) => {
                let mut weight = outer_product(&profile.beta, per_sum);
                let mut inverse = leading_inverse(&profile.factor, p, shared);
                for (i, ratio) in factors.shared.iter().enumerate() {
                    inverse[i * shared..(i + 1) * shared].iter_mut().for_each(|value| *value *= ratio);
                    (0..shared).for_each(|k| inverse[k * shared + i] *= ratio);
                }
                debug_assert_eq!(part.beta.len(), p);
                add_corner(&mut weight, side, &inverse, shared);
                weight
            }
        };
        let parts: Vec<Option<Vec<f64>>> = self
            .blocks
            .par_chunks(self.chunk)
            .zip(&pass.reduced)
            .map(|(chunk, kept)| {
                let (mut scratch, mut gradient) = (Scratch::default(), GradientScratch::default());
                let mut sum = vec![0.0; self.structure.parameters()];
                let mut rest = kept.as_slice();
                for block in chunk {
                    let numbers = block.size * block.size;
                    let (base, work) = if let Some((reduced, others)) = rest.split_at_checked(2 * numbers) {
                        rest = others;
                        reduced.split_at(numbers)
                    } else {
                        self.reduce(block, factors, &mut scratch)?;
                        (scratch.base.as_slice(), scratch.work.as_slice())
                    };
                    let mine;
                    let weight = if block.effects.len() == p {
                        &weight
                    } else {
                        mine = gathered(block, &weight, side);
                        &mine
                    };
                    gradient.add(self.structure, block, factors, (base, work), weight, &mut sum);
                }
                Some(sum)
            })
            .collect();
        let mut total = vec![0.0; self.structure.parameters()];
        for part in parts {
            for (sum, value) in total.iter_mut().zip(part?) {
                *sum += value;
            }
        }
        if let Some(part) = &profile.shared {
            self.add_shared(part, factors, &profile.factor, per_sum, &mut total);
        }
        Some(total)
    }

    /// Adds the gradient with respect to the ratios of the shared effects: with `S̃ = T S T + I` the summed Schur complement over
    /// the ratios and `W` the derivative with respect to it, `2 Σ_i Σ_j t_j S_ij W_ij` over the term's columns i and all j.
    fn add_shared(
        &self,
        part: &SharedPart,
        factors: &RelativeCovariance,
        factor: &[f64],
        per_sum: f64,
        gradient: &mut [f64],
    ) {
        let (shared, p) = (self.structure.shared_columns(), self.structure.effects());
        let side = p + 1;
        let mut weight = outer_product(&part.beta, per_sum);
        match self.criterion {
            Criterion::Reml => add_corner(&mut weight, side, &part.inverse, p),
            Criterion::Ml => add_corner(&mut weight, side, &leading_inverse(factor, p, shared), shared),
        }
        let ratio = |j: usize| factors.shared.get(j).copied().unwrap_or(1.0);
        let first = gradient.len() - self.structure.shared.len();
        let mut at = 0;
        for (term, sum) in self.structure.shared.iter().zip(&mut gradient[first..]) {
            for i in at..at + term.levels {
                for j in 0..side {
                    *sum += 2.0 * ratio(j) * part.total[i * side + j] * weight[i * side + j];
                }
            }
            at += term.levels;
        }
    }
}

/// Adds a block's Schur complement, rows of `block.size` numbers whose first `block.outer` are skipped, to that of the model.
fn add_schur(block: &Block, rows: &[f64], sum: &mut [f64], side: usize) {
    let (m, q) = (block.size, block.outer);
    let place = |k: usize| block.effects.get(k).map_or(side - 1, |effect| *effect as usize);
    for i in 0..m - q {
        let to = place(i) * side;
        for j in 0..=i {
            sum[to + place(j)] += rows[i * m + q + j];
        }
    }
}

/// The whole of a symmetric square of which the lower triangle is given.
fn square(lower: &[f64], side: usize) -> Vec<f64> {
    let entry = |i: usize, j: usize| if i >= j { lower[i * side + j] } else { lower[j * side + i] };
    (0..side * side).map(|k| entry(k / side, k % side)).collect()
}

/// `factor · v vᵀ` with `v = (−β, 1)`.
fn outer_product(beta: &[f64], factor: f64) -> Vec<f64> {
    let signed: Vec<f64> = beta.iter().map(|b| -b).chain([1.0]).collect();
    signed.iter().flat_map(|a| signed.iter().map(move |b| factor * a * b)).collect()
}

fn add_corner(weight: &mut [f64], side: usize, corner: &[f64], size: usize) {
    for (row, values) in weight.chunks_exact_mut(side).zip(corner.chunks_exact(size.max(1))) {
        row.iter_mut().zip(values).for_each(|(sum, value)| *sum += value);
    }
}

/// Inverse of the leading square of the matrix with this factor.
fn leading_inverse(factor: &[f64], p: usize, size: usize) -> Vec<f64> {
    let leading: Vec<f64> = (0..size).flat_map(|i| factor[i * p..i * p + size].iter().copied()).collect();
    inverse_from_factor(&leading, size)
}

/// The part of a symmetric square of the model's effects and the response that a block has.
fn gathered(block: &Block, whole: &[f64], side: usize) -> Vec<f64> {
    let places: Vec<usize> = block.effects.iter().map(|effect| *effect as usize).chain([side - 1]).collect();
    places.iter().flat_map(|i| places.iter().map(move |j| whole[i * side + j])).collect()
}
