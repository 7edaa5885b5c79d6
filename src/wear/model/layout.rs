//! Which column of the model is which.

mod line_row;

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::stats::mixed::{Block, BlockBuilder, Covariance, InnerSlope, OuterTerm, Readings, SharedTerm, Structure};
use crate::wear::model::random::RandomTerms;
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::reduce::line_sums::LineSum;
use crate::wear::reduce::reduction::WingReduction;
use crate::wear::reduce::seen::Seen;
use crate::wear::{OffsetOption, Reduction, TermsOption, WearSpec};
use crate::wing::{CovariateName, LineSet, Row};
pub(crate) use line_row::LineRow;

/// Fewest wings for which wing effects are estimated.
const FEWEST_WINGS: usize = 5;
/// Fewest distinct span positions of a row for which it gets a span term.
const FEWEST_SPANS: usize = 8;

/// Columns of the wear model for one fleet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Layout {
    pub(crate) structure: Structure,
    /// Fixed column of the offset of a row of a model, rows by [`Row::index`]; empty when all share column 0.
    offsets: BTreeMap<String, [Option<usize>; 6]>,
    /// Fixed column of the rate of a material in a row; materials by name, rows by [`Row::index`].
    rates: BTreeMap<String, [Option<usize>; 6]>,
    /// Fixed column of the span term of a row.
    spans: [Option<usize>; 6],
    /// Fixed column of the first covariate.
    first_covariate: usize,
    /// Mean of each covariate over the wings read: covariates count from there, so that rates are those of an average wing.
    #[serde(default)]
    centres: Vec<f64>,
    /// The material whose lines alone each covariate bears on (`None`: all lines).
    #[serde(default)]
    covariate_materials: Vec<Option<String>>,
    /// Places of the outer terms in the structure.
    pub(crate) check: Option<usize>,
    pub(crate) wing: Option<usize>,
    pub(crate) wing_row: Option<usize>,
    /// The walks of rows of a wing; in no fit, only where one is looked at for what it has not.
    #[serde(skip)]
    walk: Option<usize>,
    /// Shared column of the rate of a material in a row of a model, rows by [`Row::index`].
    #[serde(default)]
    model_rates: BTreeMap<String, MaterialRows>,
    /// The same for a model that the fit never saw.
    #[serde(default)]
    other_model: MaterialRows,
    pub(crate) few_wings: bool,
    pub(crate) line_not_separable: bool,
    pub(crate) check_not_separable: bool,
}

/// A column for each material and row, rows by [`Row::index`].
type MaterialRows = BTreeMap<String, [Option<usize>; 6]>;

/// One line sum's row of the model.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ModelRow<'a> {
    /// Columns of the block and values.
    pub(crate) entries: &'a [(usize, f64)],
    /// `L · g`, m.
    pub(crate) length_g_m: f64,
}

/// What every line of a set contributes where the time shape is 1, its wing's covariates apart. It serves all wings of the set
/// and all checks: only lines with restarted segments need rows of their own.
#[derive(Debug, Clone)]
pub(crate) struct LineTable {
    /// By line.
    rows: Vec<LineRow>,
    /// By line: columns and weights of its offset.
    offsets: Vec<Vec<(usize, f64)>>,
    /// The shared and fixed columns that any line has, ascending.
    effects: Vec<u32>,
}

impl Layout {
    pub(crate) fn new(spec: &WearSpec, reduction: &Reduction, random: RandomTerms) -> Self {
        let mut rates: BTreeMap<String, BTreeSet<Row>> = BTreeMap::new();
        let mut by_model: BTreeSet<(&str, String, Row)> = BTreeSet::new();
        let mut positions: BTreeMap<Row, BTreeSet<u64>> = BTreeMap::new();
        let seen = Seen::of(reduction);
        let Seen { several_per_level, several_checks, .. } = seen;
        let mut offset_rows: BTreeSet<(&str, Row)> = BTreeSet::new();
        for (set, line) in seen.lines() {
            let set = &reduction.line_sets[set];
            let data = &set.lines()[line];
            offset_rows.insert((set.model(), data.row));
            for exposure in set.exposure_m(line) {
                rates.entry(exposure.material.to_owned()).or_default().insert(data.row);
                by_model.insert((set.model(), exposure.material.to_owned(), data.row));
            }
            positions.entry(data.row).or_default().insert(data.span.to_bits());
        }
        let mut fixed = Vec::new();
        let mut offsets: BTreeMap<String, [Option<usize>; 6]> = BTreeMap::new();
        match spec.offsets {
            OffsetOption::Common => fixed.push("offset".to_owned()),
            OffsetOption::ModelRow => {
                for (model, row) in offset_rows {
                    offsets.entry(model.to_owned()).or_default()[row.index()] = Some(fixed.len());
                    fixed.push(format!("offset:{model}:{row}"));
                }
            }
        }
        let mut rate_columns = BTreeMap::new();
        for (material, rows) in rates {
            let mut columns = [None; 6];
            for row in rows {
                columns[row.index()] = Some(fixed.len());
                fixed.push(format!("rate:{material}:{row}"));
            }
            rate_columns.insert(material, columns);
        }
        let mut spans = [None; 6];
        if spec.terms == TermsOption::RateSpan {
            for row in positions.iter().filter(|(_, spans)| spans.len() >= FEWEST_SPANS).map(|(row, _)| *row) {
                spans[row.index()] = Some(fixed.len());
                fixed.push(format!("span:{row}"));
            }
        }
        let first_covariate = fixed.len();
        fixed.extend(reduction.covariates.iter().map(|name| format!("covariate:{name}")));
        let few_wings = reduction.wings.len() < FEWEST_WINGS;
        let mut outer = Vec::new();
        let mut push = |name: &str, width| {
            outer.push(OuterTerm { name: name.to_owned(), width, covariance: Covariance::Full });
            Some(outer.len() - 1)
        };
        let check = if several_checks { push("check", 1) } else { None };
        let wing = if few_wings { None } else { push("wing", 2) };
        let wing_row = if random.wing_row && !few_wings { push("wing:row", 1) } else { None };
        let mut model_rates: BTreeMap<String, MaterialRows> = BTreeMap::new();
        let mut other_model = MaterialRows::new();
        let mut levels = 0;
        if random.model_rate && !few_wings {
            let mut next = |columns: &mut MaterialRows, material: &str, row: Row| {
                columns.entry(material.to_owned()).or_default()[row.index()] = Some(levels);
                levels += 1;
            };
            for (model, material, row) in &by_model {
                next(model_rates.entry((*model).to_owned()).or_default(), material, *row);
            }
            for (material, columns) in &rate_columns {
                for row in Row::ALL.into_iter().filter(|row| columns[row.index()].is_some()) {
                    next(&mut other_model, material, row);
                }
            }
        }
        let shared = if levels > 0 { vec![SharedTerm { name: "model".to_owned(), levels }] } else { Vec::new() };
        let inner_slope = (random.line_rate && several_per_level && several_checks).then(|| "line".to_owned());
        Self {
            structure: Structure {
                inner: several_per_level.then(|| "line".to_owned()),
                outer,
                fixed,
                inner_slope,
                shared,
            },
            model_rates,
            other_model,
            offsets,
            rates: rate_columns,
            spans,
            first_covariate,
            centres: centres(reduction),
            covariate_materials: covariate_materials(reduction),
            check,
            wing,
            wing_row,
            walk: None,
            few_wings,
            line_not_separable: !several_per_level,
            check_not_separable: !several_checks,
        }
    }

    /// The same layout with the terms that the readings could not tell apart: lines from readings, checks from wings.
    pub(crate) fn parted(&self) -> Self {
        let mut layout = self.clone();
        if layout.line_not_separable {
            layout.structure.inner = Some("line".to_owned());
            layout.line_not_separable = false;
        }
        if layout.check_not_separable && layout.wing.is_some() {
            let check = OuterTerm { name: "check".to_owned(), width: 1, covariance: Covariance::Full };
            layout.structure.outer.insert(0, check);
            for place in [&mut layout.wing, &mut layout.wing_row].into_iter().flatten() {
                *place += 1;
            }
            layout.check = Some(0);
            layout.check_not_separable = false;
        }
        layout
    }

    /// The same layout with a random walk of each row of a wing, where wings are known to differ and are checked again.
    pub(crate) fn walking(&self) -> Option<Self> {
        let mut layout = self.clone();
        (self.wing.is_some() && self.check.is_some()).then(|| {
            layout.walk = Some(layout.structure.outer.len());
            let walk = OuterTerm { name: "wing:row:walk".to_owned(), width: 1, covariance: Covariance::Full };
            layout.structure.outer.push(walk);
            layout
        })
    }

    /// What does not hold together in a layout that was not made here (a file); `covariates` is how many the model has.
    pub(crate) fn fault(&self, covariates: usize) -> Option<&'static str> {
        let columns = self.structure.fixed.len();
        let mut used: Vec<usize> = if self.offsets.is_empty() { vec![0] } else { Vec::new() };
        used.extend(self.offsets.values().flatten().flatten());
        used.extend(self.rates.values().flatten().chain(&self.spans).flatten());
        used.extend((0..covariates).map(|k| self.first_covariate.saturating_add(k)));
        used.sort_unstable();
        let terms = [(self.check, "check", 1), (self.wing, "wing", 2), (self.wing_row, "wing:row", 1)];
        let present: Vec<_> =
            terms.iter().filter_map(|(place, name, width)| place.map(|place| (place, *name, *width))).collect();
        let outer = present.len() == self.structure.outer.len()
            && present.iter().enumerate().all(|(k, (place, name, width))| {
                let term = &self.structure.outer[k];
                *place == k && term.name == *name && term.width == *width && term.covariance == Covariance::Full
            });
        let mut shared: Vec<usize> =
            self.model_rates.values().flat_map(BTreeMap::values).flatten().flatten().copied().collect();
        shared.extend(self.other_model.values().flatten().flatten());
        shared.sort_unstable();
        let one_term = self.structure.shared.len() == usize::from(!shared.is_empty());
        let named = self.rates.iter().all(|(material, columns)| {
            Row::ALL.iter().zip(columns).all(|(row, column)| {
                column.is_none_or(|column| {
                    self.structure.fixed.get(column).is_some_and(|name| *name == format!("rate:{material}:{row}"))
                })
            })
        });
        let checks = [
            (used.iter().copied().eq(0..columns), "columns of the model"),
            (outer, "random terms of the model"),
            (
                self.centres.len() == covariates && self.centres.iter().all(|centre| centre.abs() <= 1e9),
                "centres of the covariates",
            ),
            (self.covariate_materials.len() == covariates, "materials of the covariates"),
            (one_term && shared.iter().copied().eq(0..self.structure.shared_columns()), "rates of models"),
            (named, "names of the rates"),
            (self.few_wings == self.wing.is_none(), "wing effects"),
        ];
        checks.iter().find(|(right, _)| !right).map(|(_, what)| *what)
    }

    /// Whether the fit has seen every material in every row that the set uses.
    pub(crate) fn knows(&self, set: &LineSet, dropped: &[String]) -> bool {
        set.lines().iter().enumerate().all(|(index, line)| {
            set.exposure_m(index).iter().filter(|exposure| exposure.length_m > 0.0).all(|exposure| {
                let column = self.rates.get(exposure.material).and_then(|columns| columns[line.row.index()]);
                let name = column.and_then(|column| self.structure.fixed.get(column));
                name.is_some_and(|name| !dropped.contains(name))
            })
        })
    }

    /// Shared column of the rate of a material in a row of a model: its own, or that of a model never seen.
    fn model_rate(&self, model: &str, material: &str, row: usize) -> Option<usize> {
        let of = |columns: &MaterialRows| columns.get(material).and_then(|columns| columns[row]);
        self.model_rates.get(model).and_then(of).or_else(|| of(&self.other_model))
    }

    /// How many copies of each outer term a wing with so many checks has.
    pub(crate) fn copies(&self, checks: usize) -> Vec<usize> {
        (0..self.structure.outer.len())
            .map(|term| {
                if Some(term) == self.check {
                    checks
                } else if Some(term) == self.wing_row {
                    Row::ALL.len()
                } else if Some(term) == self.walk {
                    Row::ALL.len() * checks
                } else {
                    1
                }
            })
            .collect()
    }

    /// Columns and weights of the offset of a row of a model. A model or row that the fit never saw has the mean of those
    /// of the row in the models seen, or of all.
    pub(crate) fn offset_columns(&self, set: &LineSet, row: Row) -> Vec<(usize, f64)> {
        if self.offsets.is_empty() {
            return vec![(0, 1.0)];
        }
        if let Some(column) = self.offsets.get(set.model()).and_then(|columns| columns[row.index()]) {
            return vec![(column, 1.0)];
        }
        let mut known: Vec<usize> = self.offsets.values().filter_map(|columns| columns[row.index()]).collect();
        if known.is_empty() {
            known = self.offsets.values().flatten().filter_map(|column| *column).collect();
        }
        let share = 1.0 / known.len().max(1) as f64;
        known.into_iter().map(|column| (column, share)).collect()
    }

    /// Fixed column of the rate of a material in a row.
    pub(crate) fn rate(&self, material: &str, row: Row) -> Option<usize> {
        self.rates.get(material).and_then(|columns| columns[row.index()])
    }

    /// Whether a fixed column is the rate of a material in a row.
    pub(crate) fn is_rate(&self, column: usize) -> bool {
        self.rates.values().flatten().flatten().any(|known| *known == column)
    }

    /// Materials in rows that only one model has, where models have rates of their own.
    pub(crate) fn rates_of_one_model(&self) -> Vec<String> {
        let mut out = Vec::new();
        for (material, columns) in &self.rates {
            for row in Row::ALL.into_iter().filter(|row| columns[row.index()].is_some()) {
                let has = |rows: &&MaterialRows| rows.get(material).is_some_and(|of| of[row.index()].is_some());
                if self.model_rates.values().filter(has).count() == 1 {
                    out.push(format!("{material} in {row}"));
                }
            }
        }
        out
    }

    /// Materials that the model has rates for.
    pub(crate) fn materials(&self) -> impl Iterator<Item = &str> {
        self.rates.keys().map(String::as_str)
    }

    /// What the lines of a set contribute.
    pub(crate) fn line_table(&self, set: &LineSet) -> LineTable {
        let row = |line| {
            let mut row = LineRow::default();
            self.line_row_by(set, line, &[], |_, _| 1.0, &mut row);
            row
        };
        let rows: Vec<LineRow> = (0..set.lines().len()).map(row).collect();
        let offsets: Vec<_> = set.lines().iter().map(|line| self.offset_columns(set, line.row)).collect();
        let shared = self.structure.shared_columns();
        let fixed = rows.iter().flat_map(|row| &row.fixed).chain(offsets.iter().flatten()).map(|(column, _)| *column);
        let mut effects: BTreeSet<usize> = fixed.map(|column| shared + column).collect();
        effects.extend(rows.iter().flat_map(|row| &row.shared).map(|(column, _)| *column));
        effects.extend((0..self.centres.len()).map(|k| shared + self.first_covariate + k));
        let effects = effects.into_iter().filter_map(|effect| u32::try_from(effect).ok()).collect();
        LineTable { rows, offsets, effects }
    }

    /// Calls `visit` with every line sum of a wing, its place and its row of the model's columns; `table` is that of `set`.
    pub(crate) fn for_each_sum(
        &self,
        builder: &mut BlockBuilder,
        (set, table): (&LineSet, &LineTable),
        wing: &WingReduction,
        basis: &TimeBasis,
        mut visit: impl FnMut(&mut BlockBuilder, LineSum, usize, ModelRow<'_>),
    ) {
        let structure = &self.structure;
        let wing_column = self.wing.map(|term| builder.outer_column(structure, term, 0, 0));
        let first_check = self.check.map(|term| builder.outer_column(structure, term, 0, 0));
        let first_row = self.wing_row.map(|term| builder.outer_column(structure, term, 0, 0));
        let first_step = self.walk.map(|term| builder.outer_column(structure, term, 0, 0));
        let first_shared = builder.shared_column(0);
        let first_fixed = first_shared + structure.shared_columns();
        let g: Vec<f64> = wing.hours_h.iter().map(|hours_h| basis.shape.at(*hours_h)).collect();
        let mut restarted = LineRow::default();
        // of the level at hand: what is there at any check, and what grows with the time shape, at 1
        let mut constant: Vec<(usize, f64)> = Vec::new();
        let mut growing: Vec<(usize, f64)> = Vec::new();
        let mut entries: Vec<(usize, f64)> = Vec::new();
        let mut current = None;
        let grow = |row: usize, line: &LineRow, covariates: &[f64], growing: &mut Vec<(usize, f64)>| {
            growing.clear();
            growing.extend(wing_column.map(|column| (column + 1, line.length_g_m)));
            growing.extend(first_row.map(|column| (column + row, line.length_g_m)));
            growing.extend(line.shared.iter().map(|(column, value)| (first_shared + column, *value)));
            growing.extend(line.fixed.iter().map(|(column, value)| (first_fixed + column, *value)));
            let of_wing = self.covariate_entries(covariates, &line.covariate_length_g_m);
            growing.extend(of_wing.map(|(column, value)| (first_fixed + column, value)));
        };
        for (index, line_sum) in wing.line_sums.iter().enumerate() {
            let check = line_sum.check as usize;
            let level = wing.levels.at(line_sum.level as usize);
            let row = set.lines()[level.line].row.index();
            if current != Some(line_sum.level) {
                current = Some(line_sum.level);
                constant.clear();
                constant.extend(wing_column.map(|column| (column, 1.0)));
                constant.extend(table.offsets[level.line].iter().map(|(column, w)| (first_fixed + column, *w)));
                grow(row, &table.rows[level.line], &wing.covariates, &mut growing);
            }
            entries.clear();
            entries.extend(first_check.map(|column| (column + check, 1.0)));
            entries.extend_from_slice(&constant);
            let mut length_g_m = table.rows[level.line].length_g_m * g[check];
            if level.new_at_h.is_empty() && basis.own.is_none() {
                entries.extend(growing.iter().map(|(column, value)| (*column, value * g[check])));
            } else {
                self.line_row(set, level, &[], basis, wing.hours_h[check], &mut restarted);
                grow(row, &restarted, &wing.covariates, &mut growing);
                entries.extend_from_slice(&growing);
                length_g_m = restarted.length_g_m;
            }
            if let Some(first) = first_step {
                // by now the row has gone every step up to this check, each as long as the root of its hours
                let from_h = std::iter::once(0.0).chain(wing.hours_h.iter().copied());
                let steps = wing.hours_h.iter().zip(from_h).take(check + 1).enumerate();
                let length_m = table.rows[level.line].length_g_m;
                entries.extend(steps.map(|(step, (to_h, from_h))| {
                    let root = ((to_h - from_h).max(0.0) / 100.0).sqrt();
                    (first + row * wing.hours_h.len() + step, length_m * root)
                }));
            }
            visit(builder, line_sum, index, ModelRow { entries: &entries, length_g_m });
        }
    }

    /// An empty block for a wing, its restarted levels unpenalised.
    pub(crate) fn empty_block(&self, wing: &WingReduction) -> BlockBuilder {
        let mut builder = BlockBuilder::new(&self.structure, &self.copies(wing.hours_h.len()));
        for index in wing.levels.restarted() {
            builder.unpenalise(index);
        }
        builder
    }

    /// One wing's sums as a block, built of the columns that its line set has; `means_mm` by line sum where others than those
    /// read count.
    pub(crate) fn block(
        &self,
        (set, table): (&LineSet, &LineTable),
        wing: &WingReduction,
        basis: &TimeBasis,
        means_mm: Option<&[f64]>,
    ) -> Block {
        let mut builder = BlockBuilder::narrow(&self.structure, &self.copies(wing.hours_h.len()), &table.effects);
        for index in wing.levels.restarted() {
            builder.unpenalise(index);
        }
        self.fill(&mut builder, (set, table), wing, basis, means_mm);
        builder.finish()
    }

    /// One wing's sums as a block under construction; `means_mm` by line sum where others than those read count.
    pub(crate) fn builder(
        &self,
        lines: (&LineSet, &LineTable),
        wing: &WingReduction,
        basis: &TimeBasis,
        means_mm: Option<&[f64]>,
    ) -> BlockBuilder {
        let mut builder = self.empty_block(wing);
        self.fill(&mut builder, lines, wing, basis, means_mm);
        builder
    }

    fn fill(
        &self,
        builder: &mut BlockBuilder,
        lines: (&LineSet, &LineTable),
        wing: &WingReduction,
        basis: &TimeBasis,
        means_mm: Option<&[f64]>,
    ) {
        self.for_each_sum(builder, lines, wing, basis, |builder, line_sum, index, row| {
            let (count, mut sum) = (f64::from(line_sum.count), line_sum.sum_mm());
            let mut sum_of_squares = line_sum.squares_mm2();
            if let Some(mean_mm) = means_mm.and_then(|means_mm| means_mm.get(index)) {
                sum_of_squares += count * mean_mm * mean_mm - sum * sum / count;
                sum = count * mean_mm;
            }
            let readings = Readings { count, sum, sum_of_squares, weight: 1.0 };
            self.add(builder, wing, line_sum.level as usize, row, readings);
        });
    }

    /// Adds the readings of a level to a block under construction.
    pub(crate) fn add(
        &self,
        builder: &mut BlockBuilder,
        wing: &WingReduction,
        level: usize,
        row: ModelRow<'_>,
        readings: Readings,
    ) {
        if self.structure.inner_slope.is_some() {
            let slope = InnerSlope { unit: wing.levels.unit(level), x: row.length_g_m };
            builder.add_sloped(level, slope, row.entries, readings);
        } else {
            let Readings { count, sum, sum_of_squares, weight } = readings;
            builder.add_weighted(Some(level), row.entries, weight, count, sum, sum_of_squares);
        }
    }
}

/// Mean of each covariate over the wings read.
fn centres(reduction: &Reduction) -> Vec<f64> {
    let wings = reduction.wings.len().max(1) as f64;
    (0..reduction.covariates.len())
        .map(|k| reduction.wings.iter().filter_map(|wing| wing.covariates.get(k)).sum::<f64>() / wings)
        .collect()
}

/// The material of each covariate, where it has one.
fn covariate_materials(reduction: &Reduction) -> Vec<Option<String>> {
    let material = |name: &String| CovariateName::parse(name).material.map(str::to_owned);
    reduction.covariates.iter().map(material).collect()
}
