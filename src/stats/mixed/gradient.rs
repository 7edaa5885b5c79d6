//! One block's part of the criterion's gradient.

use super::block::triangle;
use super::objective::{Factors, for_each_copy};
use super::{Block, Structure};
use crate::stats::dense::{dot, solve_lower};

/// Buffers of the gradient of one block.
#[derive(Default)]
pub(super) struct SlopeScratch {
    /// `Z`: row i is `L⁻¹` times row i of Λ.
    z: Vec<f64>,
    j: Vec<f64>,
    jh: Vec<f64>,
    p: Vec<f64>,
    ph: Vec<f64>,
    az: Vec<f64>,
    packed: Vec<f64>,
}

impl SlopeScratch {
    /// Adds one block's part of the gradient. With `A`, `C` the outer and the outer–fixed part of the block after the inner
    /// effects, `M = ΛK⁻¹Λᵀ`, `J = MC`, `P = C − AJ`: `dD/dΛ = 2(A − AMA − P H Pᵀ)Λ`, and the derivative with respect to the
    /// block's cross products is `[M + J H Jᵀ, −J H; ·, H]`, which gives the one for `κ_n`.
    /// `base` and `work` are the block before and after its elimination.
    pub(super) fn add(
        &mut self,
        structure: &Structure,
        block: &Block,
        factors: &Factors,
        (base, work): (&[f64], &[f64]),
        weight: &[f64],
        sum: &mut [f64],
    ) {
        let (m, q) = (block.size, block.outer);
        let side = m - q;
        let SlopeScratch { z, j, jh, p, ph, az, packed } = self;
        zeros(z, q * q);
        for_each_copy(structure, block, |term, at| {
            let w = structure.outer[term].width;
            for r in 0..w {
                let row = &mut z[(at + r) * q..(at + r + 1) * q];
                row[at..=at + r].copy_from_slice(&factors.outer[term][r * w..=r * w + r]);
                solve_lower(work, m, row);
            }
        });
        // J = Z (CᵀΛL⁻ᵀ)ᵀ
        zeros(j, q * side);
        for i in 0..q {
            for k in 0..side {
                j[i * side + k] = dot(&z[i * q..(i + 1) * q], &work[(q + k) * m..(q + k) * m + q]);
            }
        }
        times(j, weight, side, jh);
        // P = C − A J, and A Z
        zeros(p, q * side);
        zeros(az, q * q);
        for i in 0..q {
            for k in 0..side {
                p[i * side + k] = base[i * m + q + k];
            }
            for t in 0..q {
                let a = base[i * m + t];
                if a != 0.0 {
                    for k in 0..side {
                        p[i * side + k] -= a * j[t * side + k];
                    }
                    for k in 0..q {
                        az[i * q + k] += a * z[t * q + k];
                    }
                }
            }
        }
        times(p, weight, side, ph);
        let mut next = 0;
        if structure.inner.is_some() {
            sum[0] += inner_slope(block, factors.inner, (z, j, jh), weight, packed);
            next = 1;
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

/// So many noughts.
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

/// One block's derivative with respect to the inner ratio.
fn inner_slope(
    block: &Block,
    inner: f64,
    (z, j, jh): (&[f64], &[f64], &[f64]),
    weight: &[f64],
    packed: &mut Vec<f64>,
) -> f64 {
    let (m, q) = (block.size, block.outer);
    let side = m - q;
    let ratio = inner * inner;
    // packed derivative with respect to the cross products, off-diagonal entries doubled
    zeros(packed, triangle(m));
    for i in 0..m {
        for k in 0..=i {
            let value = if i < q {
                dot(&z[i * q..(i + 1) * q], &z[k * q..(k + 1) * q])
                    + dot(&jh[i * side..(i + 1) * side], &j[k * side..(k + 1) * side])
            } else if k < q {
                -jh[k * side + i - q]
            } else {
                weight[(i - q) * side + k - q]
            };
            packed[triangle(i) + k] = if i == k { value } else { 2.0 * value };
        }
    }
    block
        .classes
        .iter()
        .map(|class| {
            let shrink = 1.0 + class.n * ratio;
            2.0 * inner * (class.levels * class.n / shrink - dot(packed, &class.moment) / (shrink * shrink))
        })
        .sum()
}
