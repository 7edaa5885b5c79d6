//! Reduction of one block's readings to cross products.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Structure;
use crate::stats::double_double::DoubleDouble;

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
    /// Empty where the model has no inner slopes.
    pub(crate) sloped: Vec<SlopedUnit>,
    pub(crate) observations: f64,
    pub(crate) unpenalised_levels: f64,
    /// What does not depend on θ: `Σ ln n` of the unpenalised levels, less `Σ ln w` of the readings.
    pub(crate) unpenalised_log: f64,
}

/// A block as it stands in a document.
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
    sloped: Vec<SlopedUnit>,
    observations: f64,
    unpenalised_levels: f64,
    unpenalised_log: f64,
}

impl TryFrom<BlockRead> for Block {
    type Error = String;

    fn try_from(read: BlockRead) -> Result<Self, String> {
        let BlockRead { copies, outer, size, gram, gram_low, scale, classes, effects, sloped, .. } = read;
        let BlockRead { observations, unpenalised_levels, unpenalised_log, .. } = read;
        let block = Self {
            copies,
            outer,
            size,
            gram,
            gram_low,
            scale,
            classes,
            effects,
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
                    && self.effects.windows(2).all(|pair| pair[0] < pair[1]),
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
            && self.effects.last().is_none_or(|last| (*last as usize) < structure.effects())
            && (self.sloped.is_empty() || structure.inner_slope.is_some())
    }

    /// Readings in the block.
    #[must_use]
    pub fn observations(&self) -> usize {
        rounded(self.observations)
    }

    /// Inner levels that are unpenalised (a flat prior).
    #[must_use]
    pub fn unpenalised_levels(&self) -> usize {
        rounded(self.unpenalised_levels)
    }

    /// Columns of the outer effects.
    #[must_use]
    pub fn outer_columns(&self) -> usize {
        self.outer
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
        self.picked(&stays, effects)
    }

    /// The same block with some of its own columns, which have these places in the model.
    fn picked(&self, stays: &[bool], effects: Vec<u32>) -> Block {
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
        let Some(place) = place else { return Block { effects, ..self.clone() } };
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

/// Sums of one inner level; those of its columns stand in [`BlockBuilder::sums`].
#[derive(Debug, Clone)]
struct Level {
    unpenalised: bool,
    n: f64,
    /// Sum of its slope's variable.
    x: f64,
    /// Number of its unit.
    unit: Option<usize>,
}

/// Sums of one unit of levels with the variable of its slope.
#[derive(Debug, Clone)]
struct Unit {
    square: f64,
    sums: Vec<f64>,
}

/// Which slope a reading's inner level has: the number of its unit, and the value of the slope's variable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InnerSlope {
    /// Number of the unit: levels of one unit share a slope.
    pub unit: usize,
    /// Value of the variable.
    pub x: f64,
}

/// Readings that share a row of the model's columns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Readings {
    /// Their number.
    pub count: f64,
    /// Sum of the responses.
    pub sum: f64,
    /// Sum of the squares of the responses.
    pub sum_of_squares: f64,
    /// Weight: each has a variance of `σ²/weight`; above 0.
    pub weight: f64,
}

/// Builds a [`Block`] from groups of readings that share a row of `[Z, X]`.
#[derive(Debug)]
pub struct BlockBuilder {
    copies: Vec<usize>,
    outer: usize,
    size: usize,
    gram: Vec<f64>,
    /// Empty where something is random.
    gram_low: Vec<f64>,
    /// In the order they came in.
    levels: Vec<Level>,
    /// Sums of the columns, one level after the other.
    sums: Vec<f64>,
    /// Place in `levels` of each level's number.
    places: BTreeMap<usize, usize>,
    /// Number and place of the level that was added to last: readings mostly come level by level.
    last: Option<(usize, usize)>,
    units: BTreeMap<usize, Unit>,
    shared: usize,
    observations: f64,
    /// Sum of the logarithms of the readings' weights.
    weight_log: f64,
}

impl BlockBuilder {
    /// An empty block with `copies[t]` copies of outer term `t`.
    #[must_use]
    pub fn new(structure: &Structure, copies: &[usize]) -> Self {
        let outer = structure.outer.iter().zip(copies).map(|(term, n)| term.width * n).sum();
        let size = outer + structure.effects() + 1;
        Self {
            copies: copies.to_vec(),
            outer,
            size,
            gram: vec![0.0; triangle(size)],
            gram_low: vec![0.0; if structure.parameters() == 0 { triangle(size) } else { 0 }],
            levels: Vec::new(),
            sums: Vec::new(),
            places: BTreeMap::new(),
            last: None,
            units: BTreeMap::new(),
            shared: structure.shared_columns(),
            observations: 0.0,
            weight_log: 0.0,
        }
    }

    /// Column of effect `effect` of copy `copy` of outer term `term`.
    #[must_use]
    pub fn outer_column(&self, structure: &Structure, term: usize, copy: usize, effect: usize) -> usize {
        let before: usize = structure.outer.iter().zip(&self.copies).take(term).map(|(t, n)| t.width * n).sum();
        before + copy * structure.outer.get(term).map_or(0, |t| t.width) + effect
    }

    /// Column of fixed effect `fixed`.
    #[must_use]
    pub fn fixed_column(&self, fixed: usize) -> usize {
        self.outer + self.shared + fixed
    }

    /// Column of shared effect `effect`, counted over all shared terms.
    #[must_use]
    pub fn shared_column(&self, effect: usize) -> usize {
        self.outer + effect
    }

    /// Copies of each outer term.
    pub(crate) fn copies(&self) -> &[usize] {
        &self.copies
    }

    /// Marks an inner level as unpenalised (a flat prior).
    pub fn unpenalise(&mut self, level: usize) {
        let (level, _) = self.level(level);
        level.unpenalised = true;
    }

    /// A level and the sums of its columns.
    fn level(&mut self, number: usize) -> (&mut Level, &mut [f64]) {
        let place = match self.last {
            Some((last, place)) if last == number => place,
            _ => *self.places.entry(number).or_insert(self.levels.len()),
        };
        self.last = Some((number, place));
        if place == self.levels.len() {
            self.levels.push(Level { unpenalised: false, n: 0.0, x: 0.0, unit: None });
            self.sums.resize(self.sums.len() + self.size, 0.0);
        }
        (&mut self.levels[place], &mut self.sums[place * self.size..(place + 1) * self.size])
    }

    fn sums_at(&self, place: usize) -> &[f64] {
        &self.sums[place * self.size..(place + 1) * self.size]
    }

    /// Adds `count` readings that share the row with the given `(column, value)` entries, of which `sum` is the sum and
    /// `sum_of_squares` the sum of squares of the responses; on inner level `level`, if any. Entries with columns past the
    /// end are left out.
    pub fn add(&mut self, level: Option<usize>, row: &[(usize, f64)], count: f64, sum: f64, sum_of_squares: f64) {
        self.add_weighted(level, row, 1.0, count, sum, sum_of_squares);
    }

    /// The same for readings with a variance of `σ²/weight`; `weight` is above 0.
    pub fn add_weighted(
        &mut self,
        level: Option<usize>,
        row: &[(usize, f64)],
        weight: f64,
        count: f64,
        sum: f64,
        sum_of_squares: f64,
    ) {
        let last = self.size - 1;
        self.observations += count;
        if (weight - 1.0).abs() > 0.0 {
            self.weight_log += count * weight.ln();
        }
        let (count, sum) = (weight * count, weight * sum);
        if self.gram_low.is_empty() {
            for &(i, vi) in row.iter().filter(|(i, _)| *i < last) {
                for &(j, vj) in row.iter().filter(|(j, _)| *j <= i) {
                    self.gram[triangle(i) + j] += count * vi * vj;
                }
                self.gram[triangle(last) + i] += vi * sum;
            }
            self.gram[triangle(last) + last] += weight * sum_of_squares;
        } else {
            self.add_precisely(row, count, sum);
            // the square of one reading is known better than it was given
            let alone = (weight - 1.0).abs() <= 0.0 && (count - 1.0).abs() <= 0.0;
            let square =
                if alone { DoubleDouble::product(sum, sum) } else { DoubleDouble::new(weight * sum_of_squares, 0.0) };
            self.raise(triangle(last) + last, square);
        }
        if let Some(level) = level {
            let (level, sums) = self.level(level);
            level.n += count;
            for &(i, vi) in row.iter().filter(|(i, _)| *i < last) {
                sums[i] += count * vi;
            }
            sums[last] += sum;
        }
    }

    /// The same on a level whose unit has a slope.
    pub fn add_sloped(&mut self, level: usize, slope: InnerSlope, row: &[(usize, f64)], readings: Readings) {
        let Readings { count, sum, sum_of_squares, weight } = readings;
        self.add_weighted(Some(level), row, weight, count, sum, sum_of_squares);
        let (size, last) = (self.size, self.size - 1);
        let (count, sum) = (weight * count, weight * sum);
        let (level, _) = self.level(level);
        level.x += count * slope.x;
        level.unit = Some(slope.unit);
        let unit = self.units.entry(slope.unit).or_insert_with(|| Unit { square: 0.0, sums: vec![0.0; size] });
        unit.square += count * slope.x * slope.x;
        for &(i, vi) in row.iter().filter(|(i, _)| *i < last) {
            unit.sums[i] += count * slope.x * vi;
        }
        unit.sums[last] += slope.x * sum;
    }

    fn add_precisely(&mut self, row: &[(usize, f64)], count: f64, sum: f64) {
        let last = self.size - 1;
        for &(i, vi) in row.iter().filter(|(i, _)| *i < last) {
            for &(j, vj) in row.iter().filter(|(j, _)| *j <= i) {
                self.raise(triangle(i) + j, DoubleDouble::product(vi, vj).times(DoubleDouble::new(count, 0.0)));
            }
            self.raise(triangle(last) + i, DoubleDouble::product(vi, sum));
        }
    }

    fn raise(&mut self, place: usize, by: DoubleDouble) {
        let sum = DoubleDouble::new(self.gram[place], self.gram_low[place]).add(by);
        (self.gram[place], self.gram_low[place]) = (sum.high, sum.low);
    }

    /// Readings and sums of `[Z, X, y]` of a level.
    #[must_use]
    pub(crate) fn level_sums(&self, level: usize) -> Option<(f64, &[f64])> {
        self.places.get(&level).map(|&place| (self.levels[place].n, self.sums_at(place)))
    }

    /// The reduced block.
    #[must_use]
    pub fn finish(&self) -> Block {
        let mut gram = self.gram.clone();
        let scale = (0..self.size).map(|i| gram[triangle(i) + i]).collect();
        let mut classes: BTreeMap<u64, InnerClass> = BTreeMap::new();
        let (mut unpenalised_levels, mut unpenalised_log) = (0.0, -self.weight_log);
        // by number, so that sums do not depend on the order in which readings came
        let by_number = self.places.values().map(|&place| (&self.levels[place], self.sums_at(place)));
        for (level, sums) in by_number.filter(|(level, _)| level.n > 0.0) {
            if level.unpenalised {
                unpenalised_levels += 1.0;
                unpenalised_log += level.n.ln();
                add_outer_product(&mut gram, sums, -1.0 / level.n);
            } else {
                // positive finite floats sort like their bits
                let class = classes.entry(level.n.to_bits()).or_insert_with(|| InnerClass {
                    n: level.n,
                    levels: 0.0,
                    moment: vec![0.0; triangle(self.size)],
                });
                class.levels += 1.0;
                add_outer_product(&mut class.moment, sums, 1.0);
            }
        }
        let scale: Vec<f64> = scale;
        // shared and fixed columns that are zero throughout need not be carried along
        let stays: Vec<bool> = (0..self.size)
            .map(|at| at < self.outer || at + 1 == self.size || scale[at] > 0.0 || !self.gram_low.is_empty())
            .collect();
        let every = 0u32..u32::try_from(self.size - self.outer - 1).unwrap_or(u32::MAX);
        let block = Block {
            copies: self.copies.clone(),
            outer: self.outer,
            size: self.size,
            gram,
            gram_low: self.gram_low.clone(),
            scale,
            classes: classes.into_values().collect(),
            effects: every.clone().collect(),
            sloped: self.sloped_units(),
            observations: self.observations,
            unpenalised_levels,
            unpenalised_log,
        };
        if stays.iter().all(|stays| *stays) {
            return block;
        }
        let effects =
            every.zip(&stays[self.outer..]).filter(|(_, stays)| **stays).map(|(effect, _)| effect).collect();
        block.picked(&stays, effects)
    }

    /// The units with their unpenalised levels eliminated.
    fn sloped_units(&self) -> Vec<SlopedUnit> {
        let mut levels: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for &place in self.places.values() {
            let level = &self.levels[place];
            if let Some(unit) = level.unit.filter(|_| level.n > 0.0) {
                levels.entry(unit).or_default().push(place);
            }
        }
        let mut out = Vec::with_capacity(self.units.len());
        for (number, unit) in &self.units {
            let (mut sums, mut square) = (unit.sums.clone(), unit.square);
            let mut own: Option<(f64, f64, Vec<f64>)> = None;
            for &place in levels.get(number).into_iter().flatten() {
                let (level, of_level) = (&self.levels[place], self.sums_at(place));
                if level.unpenalised {
                    let share = level.x / level.n;
                    square -= share * level.x;
                    sums.iter_mut().zip(of_level).for_each(|(sum, value)| *sum -= share * value);
                } else {
                    own = Some((level.n, level.x, of_level.to_vec()));
                }
            }
            let in_level = |k: usize| own.as_ref().is_some_and(|(_, _, values)| values[k] != 0.0);
            let columns: Vec<usize> = (0..self.size).filter(|&k| sums[k] != 0.0 || in_level(k)).collect();
            let pick = |values: &[f64]| -> Vec<f64> { columns.iter().map(|k| values[*k]).collect() };
            out.push(SlopedUnit {
                sums: pick(&sums),
                square: square.max(0.0),
                level: own.as_ref().map(|(n, x, values)| SlopedLevel { n: *n, x: *x, sums: pick(values) }),
                columns: columns.iter().map(|k| u32::try_from(*k).unwrap_or(u32::MAX)).collect(),
            });
        }
        out
    }

    /// Number of readings, and sums of the slope's variable, its square and its products with the columns, of a unit.
    pub(crate) fn unit_sums(&self, unit: usize) -> Option<(f64, &[f64])> {
        self.units.get(&unit).map(|unit| (unit.square, unit.sums.as_slice()))
    }

    /// Sum of the slope's variable over a level, and the number of its unit.
    pub(crate) fn level_slope(&self, level: usize) -> Option<f64> {
        self.places.get(&level).map(|&place| self.levels[place].x)
    }
}

/// Adds `factor · v vᵀ` to a packed lower triangle; `v` is mostly zeros.
fn add_outer_product(packed: &mut [f64], v: &[f64], factor: f64) {
    for (i, &vi) in v.iter().enumerate() {
        if vi != 0.0 {
            let start = triangle(i);
            for (entry, &vj) in packed[start..=start + i].iter_mut().zip(v) {
                *entry += factor * vi * vj;
            }
        }
    }
}
