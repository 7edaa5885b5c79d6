//! The covariance of the random effects relative to a reading's variance.

use super::{Block, Structure};

/// Λ of every outer term, and the ratios of all else.
pub(crate) struct RelativeCovariance {
    pub(crate) inner: f64,
    pub(crate) inner_slope: f64,
    pub(crate) outer: Vec<Vec<f64>>,
    /// By shared column.
    pub(crate) shared: Vec<f64>,
}

impl RelativeCovariance {
    /// From θ of the right length (otherwise what is missing is zero).
    pub(crate) fn new(structure: &Structure, theta: &[f64]) -> Self {
        let mut rest = theta.iter().copied();
        let mut next = |there: bool| if there { rest.next().unwrap_or(0.0) } else { 0.0 };
        let inner = next(structure.inner.is_some());
        let inner_slope = next(structure.inner_slope.is_some());
        let mut outer = Vec::with_capacity(structure.outer.len());
        for term in &structure.outer {
            let mine: Vec<f64> = rest.by_ref().take(term.parameters()).collect();
            outer.push(term.factor(&mine));
        }
        let mut shared = Vec::with_capacity(structure.shared_columns());
        for term in &structure.shared {
            let ratio = rest.next().unwrap_or(0.0);
            shared.extend(std::iter::repeat_n(ratio, term.levels));
        }
        Self { inner, inner_slope, outer, shared }
    }
}

/// Calls `visit(term, first column)` for every copy of every outer term of a block.
pub(crate) fn for_each_copy(structure: &Structure, block: &Block, mut visit: impl FnMut(usize, usize)) {
    let mut at = 0;
    for (term, (outer, copies)) in structure.outer.iter().zip(&block.copies).enumerate() {
        for _ in 0..*copies {
            visit(term, at);
            at += outer.width;
        }
    }
}
