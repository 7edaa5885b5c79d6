//! The rows of a model as blocks of the engine.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::coding::Term;
use super::spec::RandomTerm;
use super::{DataTable, MixedModelSpec, ModelError};
use crate::stats::mixed::{Block, BlockBuilder, OuterTerm, Structure};

/// Design of a fitted model: rows, and which block and level each belongs to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Design {
    pub(super) structure: Structure,
    /// Which random term is eliminated first, if any.
    pub(super) inner: Option<usize>,
    pub(super) groups: Vec<Group>,
    /// Fixed columns, each as long as the table.
    pub(super) fixed: Vec<Vec<f64>>,
    /// Which term each fixed column belongs to.
    pub(super) term_of: Vec<usize>,
    pub(super) blocks: Vec<BlockRows>,
    weights: Option<Vec<f64>>,
}

/// Levels of one random term.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Group {
    pub(super) labels: Vec<String>,
    /// By row.
    pub(super) codes: Vec<usize>,
    /// By effect: its values by row.
    pub(super) effects: Vec<Vec<f64>>,
}

/// Rows that depend on each other, and the levels of each random term among them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct BlockRows {
    pub(super) rows: Vec<usize>,
    /// By random term: level codes, in the order of copies.
    pub(super) levels: Vec<Vec<usize>>,
}

impl Group {
    fn new(term: &RandomTerm, table: &DataTable) -> Result<Self, ModelError> {
        let by_row = table.joint_labels(&term.group)?;
        let mut labels = by_row.clone();
        labels.sort();
        labels.dedup();
        let place: BTreeMap<&str, usize> = labels.iter().enumerate().map(|(k, label)| (label.as_str(), k)).collect();
        let codes = by_row.iter().map(|label| place[label.as_str()]).collect();
        Ok(Self { codes, effects: effects(term, table)?, labels })
    }
}

/// Values of a random term's effects by row.
pub(super) fn effects(term: &RandomTerm, table: &DataTable) -> Result<Vec<Vec<f64>>, ModelError> {
    term.effects
        .iter()
        .map(|effect| {
            let mut values = vec![1.0; table.rows()];
            for column in effect.split(':').map(str::trim).filter(|column| *column != "1") {
                values.iter_mut().zip(table.numbers(column)?).for_each(|(value, factor)| *value *= factor);
            }
            Ok(values)
        })
        .collect()
}

impl Design {
    pub(super) fn new(spec: &MixedModelSpec, terms: &[Term], table: &DataTable) -> Result<Self, ModelError> {
        let (mut fixed, mut names, mut term_of) = (Vec::new(), Vec::new(), Vec::new());
        for (place, term) in terms.iter().enumerate() {
            let columns = term.columns(table)?;
            term_of.extend(columns.iter().map(|_| place));
            names.extend(term.names());
            fixed.extend(columns);
        }
        let groups = spec.random.iter().map(|term| Group::new(term, table)).collect::<Result<Vec<_>, _>>()?;
        // the offset with most levels is eliminated first, where others are left
        let offsets = spec.random.iter().zip(&groups).enumerate().filter(|(_, (term, _))| term.effects == ["1"]);
        let inner = offsets.max_by_key(|(_, (_, group))| group.labels.len()).map(|(place, _)| place);
        let inner = inner.filter(|_| groups.len() > 1);
        let outer = spec.random.iter().enumerate().filter(|(place, _)| Some(*place) != inner);
        let structure = Structure {
            inner: inner.map(|place| spec.random[place].group.clone()),
            outer: outer
                .map(|(_, term)| OuterTerm {
                    name: term.group.clone(),
                    width: term.effects.len(),
                    covariance: term.covariance,
                })
                .collect(),
            fixed: names,
            ..Structure::default()
        };
        let weights = spec.weights.as_deref().map(|column| weights(table, column)).transpose()?;
        let blocks = split(table.rows(), &groups);
        Ok(Self { structure, inner, groups, fixed, term_of, blocks, weights })
    }

    pub(super) fn rows(&self) -> usize {
        self.blocks.iter().map(|block| block.rows.len()).sum()
    }

    pub(super) fn weight(&self, row: usize) -> f64 {
        self.weights.as_ref().map_or(1.0, |weights| weights[row])
    }

    /// Random terms that are outer ones of the engine, in its order.
    pub(super) fn outer(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.groups.len()).filter(|term| Some(*term) != self.inner)
    }

    pub(super) fn blocks(&self, response: &[f64]) -> Vec<Block> {
        (0..self.blocks.len()).map(|block| self.builder(block, response).finish()).collect()
    }

    /// A block under construction, with all of its rows.
    pub(super) fn builder(&self, block: usize, response: &[f64]) -> BlockBuilder {
        let BlockRows { rows, levels } = &self.blocks[block];
        let copies: Vec<usize> = self.outer().map(|term| levels[term].len()).collect();
        let mut builder = BlockBuilder::new(&self.structure, &copies);
        let mut entries = Vec::new();
        for &row in rows {
            entries.clear();
            for (place, term) in self.outer().enumerate() {
                let group = &self.groups[term];
                let copy = copy_of(levels, term, group.codes[row]);
                for (effect, values) in group.effects.iter().enumerate() {
                    entries.push((builder.outer_column(&self.structure, place, copy, effect), values[row]));
                }
            }
            for (column, values) in self.fixed.iter().enumerate() {
                entries.push((builder.fixed_column(column), values[row]));
            }
            let level = self.inner.map(|term| self.groups[term].codes[row]);
            let y = response[row];
            builder.add_weighted(level, &entries, self.weight(row), 1.0, y, y * y);
        }
        builder
    }
}

/// Which copy of a term's effects a level has in its block.
pub(super) fn copy_of(levels: &[Vec<usize>], term: usize, code: usize) -> usize {
    levels[term].binary_search(&code).unwrap_or(0)
}

fn weights(table: &DataTable, column: &str) -> Result<Vec<f64>, ModelError> {
    let weights = table.numbers(column)?;
    match weights.iter().find(|weight| **weight <= 0.0) {
        None => Ok(weights.to_vec()),
        Some(got) => Err(ModelError::Setting { what: "a weight", got: *got, expected: "it must be above 0" }),
    }
}

/// Splits rows into sets that share no level of any random term.
fn split(rows: usize, groups: &[Group]) -> Vec<BlockRows> {
    fn root(parent: &mut [usize], mut at: usize) -> usize {
        while parent[at] != at {
            parent[at] = parent[parent[at]];
            at = parent[at];
        }
        at
    }
    let mut parent: Vec<usize> = (0..rows).collect();
    for group in groups {
        let mut first: Vec<Option<usize>> = vec![None; group.labels.len()];
        for (row, code) in group.codes.iter().enumerate() {
            match first[*code] {
                None => first[*code] = Some(row),
                Some(other) => {
                    let (a, b) = (root(&mut parent, row), root(&mut parent, other));
                    parent[a.max(b)] = a.min(b);
                }
            }
        }
    }
    let mut sets: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for row in 0..rows {
        // without random terms all rows are one block
        let key = if groups.is_empty() { 0 } else { root(&mut parent, row) };
        sets.entry(key).or_default().push(row);
    }
    sets.into_values()
        .map(|rows| {
            let levels = groups
                .iter()
                .map(|group| {
                    let mut codes: Vec<usize> = rows.iter().map(|row| group.codes[*row]).collect();
                    codes.sort_unstable();
                    codes.dedup();
                    codes
                })
                .collect();
            BlockRows { rows, levels }
        })
        .collect()
}
