//! The covariance of the random effects relative to a reading's variance.

use super::{Block, Structure};

/// Λ of every outer term, and the inner ratio.
pub(crate) struct RelativeCovariance {
    pub(crate) inner: f64,
    pub(crate) outer: Vec<Vec<f64>>,
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
