//! Small dense symmetric kernels on row-major lower triangles.
//!
//! The blocks of a fleet are some 30 × 30 and there are thousands of them, evaluated dozens of times: they live in flat
//! buffers, without allocation per evaluation.

/// Eliminates the first `lead` columns of a symmetric `size × size` matrix (row-major, lower triangle) in place. Afterwards
/// the leading columns hold the Cholesky factor (and, below it, the rows `C L⁻ᵀ`), the trailing square the Schur
/// complement. Returns `ln det` of the leading block, or `None` when it is not positive definite.
pub(crate) fn eliminate(matrix: &mut [f64], size: usize, lead: usize) -> Option<f64> {
    let mut log_det = 0.0;
    let mut column = Vec::with_capacity(size);
    for k in 0..lead {
        let pivot = matrix[k * size + k];
        if !(pivot > 0.0 && pivot.is_finite()) {
            return None;
        }
        log_det += pivot.ln();
        let root = pivot.sqrt();
        matrix[k * size + k] = root;
        let inverse = 1.0 / root;
        // the column once more in a row of its own: what follows then runs along rows
        column.clear();
        for i in k + 1..size {
            let value = matrix[i * size + k] * inverse;
            matrix[i * size + k] = value;
            column.push(value);
        }
        for (below, &factor) in column.iter().enumerate() {
            if factor != 0.0 {
                let start = (k + 1 + below) * size + k + 1;
                let row = &mut matrix[start..=start + below];
                for (value, other) in row.iter_mut().zip(&column) {
                    *value -= factor * other;
                }
            }
        }
    }
    Some(log_det)
}

/// `Σ a b` in four partial sums, always the same ones: four times as fast as one after the other, and the same on every
/// machine and thread.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len());
    let (a, b) = (&a[..n], &b[..n]);
    let mut sums = [0.0; 4];
    let (mut left, mut right) = (a.chunks_exact(4), b.chunks_exact(4));
    for (x, y) in left.by_ref().zip(right.by_ref()) {
        for lane in 0..4 {
            sums[lane] += x[lane] * y[lane];
        }
    }
    let rest: f64 = left.remainder().iter().zip(right.remainder()).map(|(x, y)| x * y).sum();
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + rest
}

/// `Σ a` in four partial sums, as [`dot`].
pub(crate) fn sum(a: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let mut chunks = a.chunks_exact(4);
    for x in chunks.by_ref() {
        for lane in 0..4 {
            sums[lane] += x[lane];
        }
    }
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + chunks.remainder().iter().sum::<f64>()
}

/// Solves `L x = b` in place for a lower factor held in the leading part of a `stride`-wide row-major matrix.
pub(crate) fn solve_lower(factor: &[f64], stride: usize, x: &mut [f64]) {
    for i in 0..x.len() {
        let sum = x[i] - dot(&factor[i * stride..i * stride + i], &x[..i]);
        x[i] = sum / factor[i * stride + i];
    }
}

/// Solves `Lᵀ x = b` in place for a lower factor held in the leading part of a `stride`-wide row-major matrix.
pub(crate) fn solve_lower_transposed(factor: &[f64], stride: usize, x: &mut [f64]) {
    for i in (0..x.len()).rev() {
        let mut sum = x[i];
        for j in i + 1..x.len() {
            sum -= factor[j * stride + i] * x[j];
        }
        x[i] = sum / factor[i * stride + i];
    }
}

/// Inverse of `L Lᵀ` as a full row-major square, from the lower factor (stride = size).
pub(crate) fn inverse_from_factor(factor: &[f64], size: usize) -> Vec<f64> {
    let mut inverse = vec![0.0; size * size];
    let mut column = vec![0.0; size];
    for j in 0..size {
        column.fill(0.0);
        column[j] = 1.0;
        solve_lower(factor, size, &mut column);
        solve_lower_transposed(factor, size, &mut column);
        for i in 0..size {
            inverse[i * size + j] = column[i];
        }
    }
    // the two halves differ by rounding only; keep one
    for i in 0..size {
        for j in 0..i {
            inverse[j * size + i] = inverse[i * size + j];
        }
    }
    inverse
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn elimination_gives_factor_determinant_and_schur_complement() {
        // [4 2 2; 2 5 3; 2 3 6]
        let mut matrix = vec![4.0, 0.0, 0.0, 2.0, 5.0, 0.0, 2.0, 3.0, 6.0];
        let log_det = eliminate(&mut matrix, 3, 2).unwrap();
        assert!((log_det - 16f64.ln()).abs() < 1e-14);
        assert!((matrix[8] - 4.0).abs() < 1e-14, "{matrix:?}");
        assert!(eliminate(&mut [-1.0], 1, 1).is_none());
        assert!(eliminate(&mut [f64::NAN], 1, 1).is_none());
    }

    #[test]
    fn inverse_times_matrix_is_one() {
        let mut factor = vec![4.0, 0.0, 2.0, 5.0];
        eliminate(&mut factor, 2, 2).unwrap();
        let inverse = inverse_from_factor(&factor, 2);
        assert!((inverse[0] - 5.0 / 16.0).abs() < 1e-15);
        assert!((inverse[1] + 2.0 / 16.0).abs() < 1e-15);
        assert!((inverse[3] - 4.0 / 16.0).abs() < 1e-15);
    }
}
