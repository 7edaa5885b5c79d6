//! One block's part of the criterion's gradient.

use super::block::{SlopedUnit, triangle};
use super::relative_covariance::{RelativeCovariance, for_each_copy};
use super::{Block, Structure};
use crate::stats::dense::{dot, solve_lower};

/// Rows that are worked on together, so that what they are multiplied with is fetched once for all of them.
const ROWS: usize = 8;

/// Buffers of the gradient of one block.
#[derive(Default)]
pub(super) struct GradientScratch {
    /// `Z`: row i is `L⁻¹` times row i of Λ.
    z: Vec<f64>,
    /// By row of `Z`: the first place that is not zero, that of its copy.
    begin: Vec<usize>,
    j: Vec<f64>,
    jh: Vec<f64>,
    p: Vec<f64>,
    ph: Vec<f64>,
    az: Vec<f64>,
    packed: Vec<f64>,
}

impl GradientScratch {
    /// Adds one block's part of the gradient. With `A`, `C` the outer and the outer–fixed part of the block after the inner
    /// effects, `M = ΛK⁻¹Λᵀ`, `J = MC`, `P = C − AJ`: `dD/dΛ = 2(A − AMA − P H Pᵀ)Λ`, and the derivative with respect to the
    /// block's cross products is `[M + J H Jᵀ, −J H; ·, H]`, which gives the one for `κ_n`.
    /// `base` and `work` are the block before and after its elimination.
    pub(super) fn add(
        &mut self,
        structure: &Structure,
        block: &Block,
        factors: &RelativeCovariance,
        (base, work): (&[f64], &[f64]),
        weight: &[f64],
        sum: &mut [f64],
    ) {
        let (m, q) = (block.size, block.outer);
        let side = m - q;
        let GradientScratch { z, begin, j, jh, p, ph, az, packed } = self;
        zeros(z, q * q);
        begin.clear();
        for_each_copy(structure, block, |term, at| {
            let w = structure.outer[term].width;
            for r in 0..w {
                let row = &mut z[(at + r) * q..(at + r + 1) * q];
                row[at..=at + r].copy_from_slice(&factors.outer[term][r * w..=r * w + r]);
                solve_lower(&work[at * m + at..], m, &mut row[at..]);
                begin.push(at);
            }
        });
        // J = Z (CᵀΛL⁻ᵀ)ᵀ
        zeros(j, q * side);
        for i in 0..q {
            for k in 0..side {
                let from = begin[i];
                j[i * side + k] = dot(&z[i * q + from..(i + 1) * q], &work[(q + k) * m + from..(q + k) * m + q]);
            }
        }
        times(j, weight, side, jh);
        // P = C − A J, and A Z
        zeros(p, q * side);
        zeros(az, q * q);
        for i in 0..q {
            p[i * side..(i + 1) * side].copy_from_slice(&base[i * m + q..i * m + m]);
        }
        for first in (0..q).step_by(ROWS) {
            for t in 0..q {
                let (z, j) = (&z[t * q + begin[t]..(t + 1) * q], &j[t * side..(t + 1) * side]);
                for i in first..q.min(first + ROWS) {
                    let a = base[i * m + t];
                    if a != 0.0 {
                        let p = &mut p[i * side..(i + 1) * side];
                        p.iter_mut().zip(j).for_each(|(p, j)| *p -= a * j);
                        let az = &mut az[i * q + begin[t]..(i + 1) * q];
                        az.iter_mut().zip(z).for_each(|(az, z)| *az += a * z);
                    }
                }
            }
        }
        times(p, weight, side, ph);
        let mut next = structure.first_outer();
        if next > 0 {
            products_derivative(block, (z, begin), (j, jh), weight, packed);
            inner_gradient(block, structure, factors, packed, sum);
        }
        let mut starts = Vec::with_capacity(structure.outer.len());
        for term in &structure.outer {
            starts.push(next);
            next += term.parameters();
        }
        for_each_copy(structure, block, |term, at| {
            let w = structure.outer[term].width;
            let factor = &factors.outer[term];
            let mut g = vec![0.0; w * w];
            for r in 0..w {
                for s in 0..w {
                    let (i, k) = (at + r, at + s);
                    g[r * w + s] = base[i * m + k]
                        - dot(&az[i * q..(i + 1) * q], &az[k * q..(k + 1) * q])
                        - dot(&ph[i * side..(i + 1) * side], &p[k * side..(k + 1) * side]);
                }
            }
            for (place, value) in structure.outer[term].places().zip(&mut sum[starts[term]..]) {
                let (r, c) = (place / w, place % w);
                *value += 2.0 * (0..w).map(|s| g[r * w + s] * factor[s * w + c]).sum::<f64>();
            }
        });
    }
}

/// So many zeros.
fn zeros(buffer: &mut Vec<f64>, count: usize) {
    buffer.clear();
    buffer.resize(count, 0.0);
}

/// `a · b` for a matrix of rows of `side` numbers and a symmetric `side × side` one.
fn times(a: &[f64], b: &[f64], side: usize, out: &mut Vec<f64>) {
    zeros(out, a.len());
    for (row, sum) in a.chunks_exact(side).zip(out.chunks_exact_mut(side)) {
        for (factor, line) in row.iter().zip(b.chunks_exact(side)) {
            sum.iter_mut().zip(line).for_each(|(sum, value)| *sum += factor * value);
        }
    }
}

/// One block's derivative with respect to its cross products, packed, off-diagonal entries doubled.
fn products_derivative(
    block: &Block,
    (z, begin): (&[f64], &[usize]),
    (j, jh): (&[f64], &[f64]),
    weight: &[f64],
    packed: &mut Vec<f64>,
) {
    let (m, q) = (block.size, block.outer);
    let side = m - q;
    zeros(packed, triangle(m));
    for first in (0..q).step_by(ROWS) {
        for k in 0..q.min(first + ROWS) {
            for i in k.max(first)..q.min(first + ROWS) {
                // a row of Z begins no sooner than those above it
                let from = begin[i];
                let value = dot(&z[i * q + from..(i + 1) * q], &z[k * q + from..(k + 1) * q])
                    + dot(&jh[i * side..(i + 1) * side], &j[k * side..(k + 1) * side]);
                packed[triangle(i) + k] = if i == k { value } else { 2.0 * value };
            }
        }
    }
    for i in q..m {
        for k in 0..=i {
            let value = if k < q { -jh[k * side + i - q] } else { weight[(i - q) * side + k - q] };
            packed[triangle(i) + k] = if i == k { value } else { 2.0 * value };
        }
    }
}

/// Adds one block's derivatives with respect to the ratios of the inner effects and slopes; `packed` is that with respect to its
/// cross products `P`.
///
/// A unit with `Σx² = S` and `Σ x W = V` after its level takes `κ V Vᵀ` from the cross products, `κ = b²/(1 + b² S)`: the
/// derivative with respect to `b²` is `S/(1 + b²S) − VᵀPV/(1 + b²S)²`, and with respect to its level's `κ_n`, which takes
/// `κ_n X s` from `V` and `κ_n X²` from `S`, it is `−κX² − κ²X² VᵀPV + 2κX VᵀPs`.
fn inner_gradient(
    block: &Block,
    structure: &Structure,
    factors: &RelativeCovariance,
    packed: &[f64],
    sum: &mut [f64],
) {
    let ratio = factors.inner * factors.inner;
    if structure.inner.is_some() {
        for class in &block.classes {
            let shrink = 1.0 + class.n * ratio;
            sum[0] += 2.0
                * factors.inner
                * (class.levels * class.n / shrink - dot(packed, &class.moment) / (shrink * shrink));
        }
    }
    let Some(place) = structure.slope_place() else { return };
    let (b, slope) = (factors.inner_slope, factors.inner_slope * factors.inner_slope);
    let mut pull = Vec::new();
    for unit in &block.sloped {
        let left = unit.after_level(ratio, &mut pull);
        let (own, with_level) = quadratics(unit, &pull, packed);
        let grown = 1.0 + slope * left;
        sum[place] += 2.0 * b * (left / grown - own / (grown * grown));
        if let (true, Some(level)) = (place > 0, &unit.level) {
            let kappa = slope / grown;
            let shrink = 1.0 + level.n * ratio;
            let by_kappa = -kappa * level.x * level.x * (1.0 + kappa * own) + 2.0 * kappa * level.x * with_level;
            sum[0] += 2.0 * factors.inner * by_kappa / (shrink * shrink);
        }
    }
}

/// `VᵀPV` and `VᵀPs` of a unit, `P` packed with its off-diagonal entries doubled.
fn quadratics(unit: &SlopedUnit, pull: &[f64], packed: &[f64]) -> (f64, f64) {
    let of_level = unit.level.as_ref().map_or(&[][..], |level| &level.sums);
    let (mut own, mut with_level) = (0.0, 0.0);
    for (k, &i) in unit.columns.iter().enumerate() {
        let row = &packed[triangle(i as usize)..];
        let (mut by_pull, mut by_level) = (0.0, 0.0);
        for (t, &j) in unit.columns[..=k].iter().enumerate() {
            let value = row[j as usize];
            by_pull += value * pull[t];
            by_level += value * of_level.get(t).copied().unwrap_or(0.0);
        }
        own += pull[k] * by_pull;
        with_level += 0.5 * (pull[k] * by_level + of_level.get(k).copied().unwrap_or(0.0) * by_pull);
    }
    (own, with_level)
}
