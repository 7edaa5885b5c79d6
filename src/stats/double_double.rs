//! Numbers of twice the precision, for cross products that cancel.

/// A number as the unevaluated sum of two, some 32 digits.
///
/// Source: Dekker, Numer. Math. 18, 1971; Knuth, The Art of Computer Programming 2, section 4.2.2 (both from memory).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct DoubleDouble {
    pub(crate) high: f64,
    pub(crate) low: f64,
}

impl DoubleDouble {
    pub(crate) const fn new(high: f64, low: f64) -> Self {
        Self { high, low }
    }

    /// The exact product of two numbers.
    pub(crate) fn product(a: f64, b: f64) -> Self {
        let high = a * b;
        Self { high, low: a.mul_add(b, -high) }
    }

    /// The exact sum of two numbers.
    fn sum(a: f64, b: f64) -> Self {
        let high = a + b;
        let part = high - a;
        Self { high, low: (a - (high - part)) + (b - part) }
    }

    pub(crate) fn add(self, other: Self) -> Self {
        let high = Self::sum(self.high, other.high);
        let low = Self::sum(self.low, other.low);
        let carried = Self::sum(high.high, high.low + low.high);
        Self::sum(carried.high, carried.low + low.low)
    }

    pub(crate) fn times(self, other: Self) -> Self {
        let product = Self::product(self.high, other.high);
        Self::sum(product.high, product.low + (self.high * other.low + self.low * other.high))
    }

    pub(crate) fn minus(self, other: Self) -> Self {
        self.add(Self { high: -other.high, low: -other.low })
    }

    pub(crate) fn over(self, divisor: Self) -> Self {
        let first = self.high / divisor.high;
        let rest = self.minus(divisor.times(Self::new(first, 0.0)));
        let second = rest.high / divisor.high;
        let rest = rest.minus(divisor.times(Self::new(second, 0.0)));
        Self::sum(first, second).add(Self::new(rest.high / divisor.high, 0.0))
    }

    /// Square root of a positive number.
    pub(crate) fn sqrt(self) -> Self {
        let first = self.high.sqrt();
        let rest = self.minus(Self::product(first, first));
        Self::sum(first, rest.high / (2.0 * first))
    }

    pub(crate) fn value(self) -> f64 {
        self.high + self.low
    }
}

/// [`super::dense::eliminate`] in twice the precision.
pub(crate) fn eliminate(matrix: &mut [DoubleDouble], size: usize, lead: usize) -> Option<f64> {
    let mut log_det = 0.0;
    for k in 0..lead {
        let pivot = matrix[k * size + k];
        if !(pivot.high > 0.0 && pivot.high.is_finite()) {
            return None;
        }
        log_det += pivot.value().ln();
        let root = pivot.sqrt();
        matrix[k * size + k] = root;
        for i in k + 1..size {
            matrix[i * size + k] = matrix[i * size + k].over(root);
        }
        for i in k + 1..size {
            let factor = matrix[i * size + k];
            for j in k + 1..=i {
                matrix[i * size + j] = matrix[i * size + j].minus(factor.times(matrix[j * size + k]));
            }
        }
    }
    Some(log_det)
}

/// What an eliminated matrix says of its leading columns: their solution for the row after them, and the inverse of their block,
/// row-major.
pub(crate) fn solution(matrix: &[DoubleDouble], size: usize, lead: usize) -> (Vec<f64>, Vec<f64>) {
    let at = |i: usize, j: usize| matrix[i * size + j];
    let back = |mut x: Vec<DoubleDouble>| -> Vec<f64> {
        for i in (0..lead).rev() {
            let known = (i + 1..lead).fold(x[i], |sum, j| sum.minus(at(j, i).times(x[j])));
            x[i] = known.over(at(i, i));
        }
        x.into_iter().map(DoubleDouble::value).collect()
    };
    let mut inverse = Vec::with_capacity(lead * lead);
    for row in 0..lead {
        let mut unit = vec![DoubleDouble::default(); lead];
        unit[row] = DoubleDouble::new(1.0, 0.0);
        for i in row..lead {
            let known = (row..i).fold(unit[i], |sum, j| sum.minus(at(i, j).times(unit[j])));
            unit[i] = known.over(at(i, i));
        }
        inverse.extend(back(unit));
    }
    (back((0..lead).map(|j| at(lead, j)).collect()), inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_what_a_single_number_loses() {
        let one = DoubleDouble::new(1.0, 0.0);
        let tiny = DoubleDouble::new(1e-20, 0.0);
        assert_eq!(one.add(tiny).minus(one).value(), 1e-20);
        let third = one.over(DoubleDouble::new(3.0, 0.0));
        let back = third.times(DoubleDouble::new(3.0, 0.0)).minus(one).value();
        assert!(back.abs() < 1e-31, "{back}");
        let root = DoubleDouble::new(2.0, 0.0).sqrt();
        let off = root.times(root).minus(DoubleDouble::new(2.0, 0.0)).value();
        assert!(off.abs() < 1e-30, "{off}");
    }

    #[test]
    fn eliminates_a_matrix_that_double_precision_cannot() {
        // 1 + 1e-20 on the diagonal: the Schur complement is 1e-20, zero in double precision
        let one = DoubleDouble::new(1.0, 0.0);
        let mut matrix = vec![one, one, one, one.add(DoubleDouble::new(1e-20, 0.0))];
        assert!(eliminate(&mut matrix, 2, 1).is_some());
        assert!((matrix[3].value() / 1e-20 - 1.0).abs() < 1e-9);
        assert!(eliminate(&mut [DoubleDouble::new(-1.0, 0.0)], 1, 1).is_none());
    }
}
