//! Building the cross products of one block.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::Structure;
use super::block::{Block, InnerClass, SlopedLevel, SlopedUnit, triangle};
use crate::stats::double_double::DoubleDouble;

/// Sums of one inner level; those of its columns are in [`BlockBuilder::sums`].
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
    /// Places of its shared and fixed columns among those of the model, ascending.
    effects: Vec<u32>,
    /// Where it has not all of them: its own column by that of the model.
    own: Option<Vec<usize>>,
    model_effects: u32,
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
        let all = 0..u32::try_from(structure.effects()).unwrap_or(u32::MAX);
        Self::with_effects(structure, copies, all.collect())
    }

    /// The same with only these shared and fixed columns of the model, ascending; entries are given in the model's columns, and
    /// those in others are left out.
    pub(crate) fn narrow(structure: &Structure, copies: &[usize], effects: &[u32]) -> Self {
        let mut builder = Self::with_effects(structure, copies, effects.to_vec());
        let mut own: Vec<usize> = (0..builder.outer).collect();
        own.resize(builder.outer + structure.effects(), usize::MAX);
        for (place, effect) in effects.iter().enumerate() {
            own[builder.outer + *effect as usize] = builder.outer + place;
        }
        builder.own = Some(own);
        builder
    }

    fn with_effects(structure: &Structure, copies: &[usize], effects: Vec<u32>) -> Self {
        let outer = structure.outer.iter().zip(copies).map(|(term, n)| term.width * n).sum();
        let size = outer + effects.len() + 1;
        Self {
            copies: copies.to_vec(),
            outer,
            size,
            effects,
            own: None,
            model_effects: u32::try_from(structure.effects()).unwrap_or(u32::MAX),
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
        let row = &*self.own_entries(row);
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
        let row = &*self.own_entries(row);
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

    /// Entries in its own columns.
    fn own_entries<'r>(&self, row: &'r [(usize, f64)]) -> Cow<'r, [(usize, f64)]> {
        let Some(own) = &self.own else { return Cow::Borrowed(row) };
        let place =
            |(column, value): &(usize, f64)| Some((own.get(*column).copied().filter(|i| *i < usize::MAX)?, *value));
        Cow::Owned(row.iter().filter_map(place).collect())
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
        let block = Block {
            copies: self.copies.clone(),
            outer: self.outer,
            size: self.size,
            gram,
            gram_low: self.gram_low.clone(),
            scale,
            classes: classes.into_values().collect(),
            effects: self.effects.clone(),
            model_effects: self.model_effects,
            sloped: self.sloped_units(),
            observations: self.observations,
            unpenalised_levels,
            unpenalised_log,
        };
        if stays.iter().all(|stays| *stays) {
            return block;
        }
        let effects =
            self.effects.iter().zip(&stays[self.outer..]).filter(|(_, stays)| **stays).map(|(e, _)| *e).collect();
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
