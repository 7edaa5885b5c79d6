//! Reduction of one block's readings to cross products.

use serde::{Deserialize, Serialize};

use super::Structure;

/// Cross products of the inner levels that have `n` readings each.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct InnerClass {
    pub(crate) n: f64,
    pub(crate) levels: f64,
    /// Packed lower triangle of `Σ s sᵀ`.
    pub(crate) moment: Vec<f64>,
}

/// Cross products of one unit of inner levels with the variable of its slope, unpenalised levels already eliminated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct SlopedUnit {
    /// Columns of the block that are not zero in it, ascending.
    pub(crate) columns: Vec<u32>,
    /// `Σ x W` in these columns.
    pub(crate) sums: Vec<f64>,
    /// `Σ x²`.
    pub(crate) square: f64,
    /// Its level that is not unpenalised, if that was read.
    pub(crate) level: Option<SlopedLevel>,
}

/// A unit's level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct SlopedLevel {
    pub(crate) n: f64,
    /// `Σ x`.
    pub(crate) x: f64,
    /// `Σ W` in the unit's columns.
    pub(crate) sums: Vec<f64>,
}

impl SlopedUnit {
    /// What is left of the unit once its level is eliminated with `κ = ratio/(1 + n·ratio)`: `Σ x W` into `pull`, and `Σ x²`.
    pub(crate) fn after_level(&self, ratio: f64, pull: &mut Vec<f64>) -> f64 {
        pull.clear();
        pull.extend_from_slice(&self.sums);
        let Some(level) = &self.level else { return self.square };
        let kappa = ratio / (1.0 + level.n * ratio);
        pull.iter_mut().zip(&level.sums).for_each(|(pull, sum)| *pull -= kappa * level.x * sum);
        (self.square - kappa * level.x * level.x).max(0.0)
    }

    fn keeping(&self, map: &[Option<u32>]) -> Self {
        let places: Vec<(usize, u32)> = self
            .columns
            .iter()
            .enumerate()
            .filter_map(|(k, column)| map.get(*column as usize).copied().flatten().map(|to| (k, to)))
            .collect();
        let pick = |values: &[f64]| places.iter().map(|(k, _)| values[*k]).collect();
        Self {
            columns: places.iter().map(|(_, to)| *to).collect(),
            sums: pick(&self.sums),
            square: self.square,
            level: self.level.as_ref().map(|level| SlopedLevel { sums: pick(&level.sums), ..level.clone() }),
        }
    }

    fn fits(&self, size: usize) -> bool {
        let whole =
            |values: &[f64]| values.len() == self.columns.len() && values.iter().all(|value| value.is_finite());
        self.columns.windows(2).all(|pair| pair[0] < pair[1])
            && self.columns.last().is_none_or(|last| (*last as usize) < size)
            && whole(&self.sums)
            && (0.0..f64::INFINITY).contains(&self.square)
            && self
                .level
                .as_ref()
                .is_none_or(|level| level.n > 0.0 && level.n.is_finite() && level.x.is_finite() && whole(&level.sums))
    }
}

/// One block, reduced: everything that the criterion needs of it.
///
/// Columns are the outer effects (term by term, copy by copy), those of the shared and fixed effects that are not zero in all of
/// the block, the response. A block that comes from a
/// document is refused when its parts do not go together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "BlockRead")]
pub struct Block {
    pub(crate) copies: Vec<usize>,
    pub(crate) outer: usize,
    pub(crate) size: usize,
    /// Packed lower triangle of `WᵀW`, unpenalised levels already eliminated.
    pub(crate) gram: Vec<f64>,
    /// What `gram` loses by rounding, where nothing is random (else empty): regressions cancel most of it.
    pub(crate) gram_low: Vec<f64>,
    /// Diagonal of `WᵀW` before unpenalised levels were eliminated: the scale of each column.
    pub(crate) scale: Vec<f64>,
    pub(crate) classes: Vec<InnerClass>,
    /// Places of its shared and fixed columns among those of the model, ascending.
    pub(crate) effects: Vec<u32>,
    /// Shared and fixed columns of the model.
    pub(crate) model_effects: u32,
    /// Empty where the model has no inner slopes.
    pub(crate) sloped: Vec<SlopedUnit>,
    pub(crate) observations: f64,
    pub(crate) unpenalised_levels: f64,
    /// What does not depend on θ: `Σ ln n` of the unpenalised levels, less `Σ ln w` of the readings.
    pub(crate) unpenalised_log: f64,
}

/// A block as it is in a document.
#[derive(Deserialize)]
struct BlockRead {
    copies: Vec<usize>,
    outer: usize,
    size: usize,
    gram: Vec<f64>,
    gram_low: Vec<f64>,
    scale: Vec<f64>,
    classes: Vec<InnerClass>,
    effects: Vec<u32>,
    model_effects: u32,
    sloped: Vec<SlopedUnit>,
    observations: f64,
    unpenalised_levels: f64,
    unpenalised_log: f64,
}

impl TryFrom<BlockRead> for Block {
    type Error = String;

    fn try_from(read: BlockRead) -> Result<Self, String> {
        let BlockRead { copies, outer, size, gram, gram_low, scale, classes, effects, sloped, .. } = read;
        let BlockRead { model_effects, observations, unpenalised_levels, unpenalised_log, .. } = read;
        let block = Self {
            copies,
            outer,
            size,
            gram,
            gram_low,
            scale,
            classes,
            effects,
            model_effects,
            sloped,
            observations,
            unpenalised_levels,
            unpenalised_log,
        };
        match block.fault() {
            None => Ok(block),
            Some(what) => Err(format!("a block whose {what} cannot be")),
        }
    }
}

impl Block {
    /// What does not hold together in a block that was not made here: sizes that contradict each other, sums that no
    /// readings have.
    fn fault(&self) -> Option<&'static str> {
        let columns = self.copies.iter().try_fold(0, |sum: usize, copies| sum.checked_add(*copies));
        // by the length of what is there, before any product of sizes
        let sized =
            self.size > self.outer && self.size <= self.gram.len() && columns.is_some_and(|n| n <= self.outer);
        if !sized {
            return Some("number of columns");
        }
        let packed = triangle(self.size);
        let whole = |values: &[f64], len: usize| values.len() == len && values.iter().all(|value| value.is_finite());
        let counted = |count: f64| count.is_finite() && count >= 0.0;
        let checks = [
            (whole(&self.gram, packed), "cross products"),
            (self.gram_low.is_empty() || whole(&self.gram_low, packed), "low parts of the cross products"),
            (whole(&self.scale, self.size) && self.scale.iter().all(|square| *square >= 0.0), "scale"),
            (
                self.classes.iter().all(|class| {
                    whole(&class.moment, packed) && counted(class.levels) && class.n > 0.0 && class.n.is_finite()
                }),
                "inner levels",
            ),
            (
                self.effects.len() + self.outer + 1 == self.size
                    && self.effects.windows(2).all(|pair| pair[0] < pair[1])
                    && self.effects.last().is_none_or(|last| *last < self.model_effects),
                "places of the columns",
            ),
            (self.sloped.iter().all(|unit| unit.fits(self.size)), "inner slopes"),
            (
                counted(self.observations) && counted(self.unpenalised_levels) && self.unpenalised_log.is_finite(),
                "counts",
            ),
        ];
        checks.iter().find(|(right, _)| !right).map(|(_, what)| *what)
    }

    /// Whether its columns are those of a structure.
    pub(crate) fn belongs(&self, structure: &Structure) -> bool {
        // a block's own copies and columns go together; a structure comes from anywhere
        let mut columns: usize = 0;
        for (term, copies) in structure.outer.iter().zip(&self.copies) {
            let Some(sum) = term.width.checked_mul(*copies).and_then(|more| columns.checked_add(more)) else {
                return false;
            };
            columns = sum;
        }
        self.copies.len() == structure.outer.len()
            && columns == self.outer
            && self.size == self.outer + self.effects.len() + 1
            && self.model_effects as usize == structure.effects()
            && (self.sloped.is_empty() || structure.inner_slope.is_some())
    }

    /// Readings in the block.
    #[must_use]
    pub fn observations(&self) -> usize {
        rounded(self.observations)
    }

    /// Inner levels that are unpenalised (a flat prior).
    #[must_use]
    pub(crate) fn unpenalised_levels(&self) -> usize {
        rounded(self.unpenalised_levels)
    }

    /// The same block without some shared or fixed columns (`keep[j]` says whether column j of the model stays).
    pub(crate) fn keeping(&self, keep: &[bool]) -> Block {
        let kept = |effect: u32| keep.get(effect as usize).copied().unwrap_or(false);
        let stays: Vec<bool> = (0..self.size)
            .map(|at| at < self.outer || at == self.size - 1 || kept(self.effects[at - self.outer]))
            .collect();
        let mut before = vec![0u32; keep.len() + 1];
        for (at, keep) in keep.iter().enumerate() {
            before[at + 1] = before[at] + u32::from(*keep);
        }
        let effects = self.effects.iter().filter(|effect| kept(**effect));
        let effects = effects.map(|effect| before[*effect as usize]).collect();
        // a block of another model stays one
        let model_effects = if self.model_effects as usize == keep.len() { before[keep.len()] } else { u32::MAX };
        Block { model_effects, ..self.picked(&stays, effects) }
    }

    /// The same block with some of its own columns, which have these places in the model.
    pub(super) fn picked(&self, stays: &[bool], effects: Vec<u32>) -> Block {
        let map: Vec<usize> = (0..self.size).filter(|at| stays[*at]).collect();
        let pick = |packed: &[f64]| {
            let mut out = Vec::with_capacity(triangle(map.len()));
            for (row, &i) in map.iter().enumerate() {
                out.extend(map[..=row].iter().map(|&j| packed[triangle(i) + j]));
            }
            out
        };
        let moved = renumbered(stays);
        Block {
            size: map.len(),
            gram: pick(&self.gram),
            gram_low: if self.gram_low.is_empty() { Vec::new() } else { pick(&self.gram_low) },
            scale: map.iter().map(|&at| self.scale[at]).collect(),
            classes: self
                .classes
                .iter()
                .map(|class| InnerClass { moment: pick(&class.moment), ..class.clone() })
                .collect(),
            sloped: self.sloped.iter().map(|unit| unit.keeping(&moved)).collect(),
            effects,
            copies: self.copies.clone(),
            ..*self
        }
    }

    /// The same block with one of the model's shared or fixed columns taken out and its effect set to `value`: the response
    /// becomes `y − value · x`.
    pub(crate) fn with_effect_fixed(&self, column: usize, value: f64) -> Block {
        let place = self.effects.iter().position(|effect| *effect as usize == column);
        let effects = self.effects.iter().filter(|effect| **effect as usize != column);
        let effects = effects.map(|effect| effect - u32::from(*effect as usize > column)).collect();
        let model_effects = self.model_effects.saturating_sub(1);
        let Some(place) = place else { return Block { effects, model_effects, ..self.clone() } };
        let (last, at) = (self.size - 1, self.outer + place);
        let entry = |packed: &[f64], i: usize, j: usize| {
            if i >= j { packed[triangle(i) + j] } else { packed[triangle(j) + i] }
        };
        let moved = |packed: &[f64]| {
            let mut out = Vec::with_capacity(triangle(last));
            for i in (0..=last).filter(|i| *i != at) {
                for j in (0..=i).filter(|j| *j != at) {
                    let mut sum = packed[triangle(i) + j];
                    if i == last {
                        sum -= value * entry(packed, at, j);
                        if j == last {
                            sum -= value * entry(packed, last, at) - value * value * entry(packed, at, at);
                        }
                    }
                    out.push(sum);
                }
            }
            out
        };
        let stays: Vec<bool> = (0..self.size).map(|k| k != at).collect();
        let map = renumbered(&stays);
        let unit = |unit: &SlopedUnit| {
            let mut unit = unit.clone();
            let here = unit.columns.iter().position(|k| *k as usize == at);
            let response = unit.columns.iter().position(|k| *k as usize == last);
            if let (Some(here), Some(response)) = (here, response) {
                unit.sums[response] -= value * unit.sums[here];
                if let Some(level) = &mut unit.level {
                    level.sums[response] -= value * level.sums[here];
                }
            }
            unit.keeping(&map)
        };
        Block {
            size: last,
            gram: moved(&self.gram),
            gram_low: Vec::new(),
            scale: (0..self.size).filter(|k| *k != at).map(|k| self.scale[k]).collect(),
            classes: self
                .classes
                .iter()
                .map(|class| InnerClass { moment: moved(&class.moment), ..class.clone() })
                .collect(),
            sloped: self.sloped.iter().map(unit).collect(),
            effects,
            model_effects,
            copies: self.copies.clone(),
            ..*self
        }
    }
}

/// New places of the columns that stay.
fn renumbered(stays: &[bool]) -> Vec<Option<u32>> {
    let mut next = 0;
    stays
        .iter()
        .map(|stays| {
            next += u32::from(*stays);
            stays.then(|| next - 1)
        })
        .collect()
}

/// Entries before row `i` of a packed lower triangle.
pub(crate) const fn triangle(i: usize) -> usize {
    i * (i + 1) / 2
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn rounded(count: f64) -> usize {
    count.round() as usize
}
