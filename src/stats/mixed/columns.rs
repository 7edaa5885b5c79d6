//! Which fixed columns a model can tell apart.

use std::borrow::Cow;

use super::block::triangle;
use super::{Block, Structure};

/// A column whose part that earlier columns do not explain is below this share of its sum of squares is dropped.
const COLLINEAR: f64 = 1e-11;
/// Which fixed columns are kept: Cholesky of the summed cross products, scaled, in the order of the columns; a column
/// whose pivot is rounding is dropped.
pub(super) fn independent_columns(structure: &Structure, blocks: &[Block]) -> Vec<bool> {
    let (shared, p) = (structure.shared_columns(), structure.fixed.len());
    let mut total = vec![0.0; p * p];
    let mut size = vec![0.0; p];
    for block in blocks {
        let places = block.effects.iter().enumerate().filter(|(_, effect)| **effect as usize >= shared);
        let places: Vec<(usize, usize)> = places.map(|(k, effect)| (k, *effect as usize - shared)).collect();
        for (at, &(k, i)) in places.iter().enumerate() {
            let row = triangle(block.outer + k) + block.outer;
            for &(other, j) in &places[..=at] {
                total[i * p + j] += block.gram[row + other];
            }
            size[i] += block.scale[block.outer + k];
        }
    }
    let mut kept = vec![true; p];
    for k in 0..p {
        if !(total[k * p + k] > COLLINEAR * size[k]) {
            kept[k] = false;
            continue;
        }
        let pivot = total[k * p + k].sqrt();
        for i in k..p {
            total[i * p + k] /= pivot;
        }
        for i in k + 1..p {
            for j in k + 1..=i {
                total[i * p + j] -= total[i * p + k] * total[j * p + k];
            }
        }
    }
    kept
}

/// The same for all shared and fixed columns: shared ones stay.
pub(super) fn kept_effects(structure: &Structure, kept: &[bool]) -> Vec<bool> {
    std::iter::repeat_n(true, structure.shared_columns()).chain(kept.iter().copied()).collect()
}

/// Blocks without the columns that were dropped.
pub(super) fn kept_blocks<'b>(structure: &Structure, kept: &[bool], blocks: &'b [Block]) -> Cow<'b, [Block]> {
    if kept.iter().all(|keep| *keep) {
        return Cow::Borrowed(blocks);
    }
    let keep = kept_effects(structure, kept);
    Cow::Owned(blocks.iter().map(|block| block.keeping(&keep)).collect())
}

pub(super) fn pick(names: &[String], kept: &[bool], which: bool) -> Vec<String> {
    names.iter().zip(kept).filter(|(_, keep)| **keep == which).map(|(name, _)| name.clone()).collect()
}
