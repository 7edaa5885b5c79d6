//! Which fixed columns a model can tell apart.

use std::borrow::Cow;

use super::block::triangle;
use super::{Block, MixedDiagnostic, Structure};
use crate::stats::double_double::DoubleDouble;

/// A column whose part that earlier columns do not explain is below this share of its sum of squares is dropped: a thousand times
/// what rounding leaves of nothing in sums of plain numbers, or in sums of twice the precision, where the columns' own rounding counts.
const COLLINEAR: [f64; 2] = [1e-11, 1e-20];
/// Digits of a number.
const DIGITS: f64 = 16.0;
/// A column with fewer digits left is said to be badly conditioned.
const FEWEST_DIGITS: u32 = 9;

/// Which fixed columns are kept, and how well the kept ones can be told apart.
pub(super) struct Independence {
    pub(super) kept: Vec<bool>,
    /// By column: digits that are left of its figures once earlier columns are taken out.
    digits: Vec<u32>,
}

impl Independence {
    /// Orthogonalises the columns in their order (Cholesky of the summed cross products) and drops those of which nothing but
    /// rounding is left, each by its own size.
    pub(super) fn of(structure: &Structure, blocks: &[Block]) -> Self {
        let (shared, p) = (structure.shared_columns(), structure.fixed.len());
        let precise = structure.parameters() == 0 && blocks.iter().all(|block| !block.gram_low.is_empty());
        let mut total = vec![DoubleDouble::default(); p * p];
        let mut size = vec![0.0; p];
        for block in blocks {
            let places = block.effects.iter().enumerate().filter(|(_, effect)| **effect as usize >= shared);
            let places: Vec<(usize, usize)> = places.map(|(k, effect)| (k, *effect as usize - shared)).collect();
            for (at, &(k, i)) in places.iter().enumerate() {
                let row = triangle(block.outer + k) + block.outer;
                for &(other, j) in &places[..=at] {
                    let sum = &mut total[i * p + j];
                    if precise {
                        *sum = sum.add(DoubleDouble::new(block.gram[row + other], block.gram_low[row + other]));
                    } else {
                        sum.high += block.gram[row + other];
                    }
                }
                size[i] += block.scale[block.outer + k];
            }
        }
        let mut out = Self { kept: vec![true; p], digits: vec![0; p] };
        for k in 0..p {
            let left = total[k * p + k].value() / size[k];
            if !(left > COLLINEAR[usize::from(precise)]) {
                out.kept[k] = false;
                continue;
            }
            // sums of squares lose twice as many digits as the columns; sums of double precision can spare them
            let lost = -left.min(1.0).log10() / if precise { 2.0 } else { 1.0 };
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let digits = (DIGITS - lost).max(0.0) as u32;
            out.digits[k] = digits;
            let pivot = total[k * p + k].sqrt();
            for i in k..p {
                total[i * p + k] = total[i * p + k].over(pivot);
            }
            for i in k + 1..p {
                let factor = total[i * p + k];
                for j in k + 1..=i {
                    total[i * p + j] = total[i * p + j].minus(factor.times(total[j * p + k]));
                }
            }
        }
        out
    }

    /// What to say of it.
    pub(super) fn diagnostics(&self, names: &[String]) -> Vec<MixedDiagnostic> {
        let columns = names.iter().zip(&self.kept).zip(&self.digits);
        let said = columns.filter_map(|((name, kept), digits)| match (*kept, *digits) {
            (false, _) => Some(MixedDiagnostic::Dropped { column: name.clone() }),
            (true, digits) if digits < FEWEST_DIGITS => {
                Some(MixedDiagnostic::BadlyConditioned { column: name.clone(), digits })
            }
            _ => None,
        });
        said.collect()
    }
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
