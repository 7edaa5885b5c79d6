//! What each level's own effects come to.

use serde::{Deserialize, Serialize};

use super::design::{Design, copy_of};
use super::{MixedModelSpec, ModelError};
use crate::stats::mixed::{BlockPosterior, LevelPrior, MixedFit};

/// One random effect given the readings and the fit's spreads.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct EffectRow {
    /// Grouping column.
    pub group: String,
    /// Level.
    pub level: String,
    /// `1` for an offset, else the column that it multiplies.
    pub effect: String,
    /// Conditional mean.
    pub value: f64,
    /// Conditional standard deviation, the coefficients taken as known.
    pub sd: f64,
}

/// Effects, and what they add to each row.
pub(super) struct Effects {
    pub(super) rows: Vec<EffectRow>,
    pub(super) random_part: Vec<f64>,
}

impl Effects {
    pub(super) fn new(
        spec: &MixedModelSpec,
        design: &Design,
        response: &[f64],
        mixed: &MixedFit,
    ) -> Result<Self, ModelError> {
        // by term, level and effect
        let mut values: Vec<Vec<Vec<(f64, f64)>>> = spec
            .random
            .iter()
            .zip(&design.groups)
            .map(|(term, group)| vec![vec![(0.0, 0.0); term.effects.len()]; group.labels.len()])
            .collect();
        let mut draw = Vec::new();
        for (place, block) in design.blocks.iter().enumerate() {
            let builder = design.builder(place, response);
            let posterior = BlockPosterior::new(mixed, &builder.finish())?;
            let p = posterior.fixed();
            posterior.draw(&[], &mut draw);
            let root = |i: usize, k: usize| posterior.outer_root(i, k);
            for (engine, term) in design.outer().enumerate() {
                for (copy, code) in block.levels[term].iter().enumerate() {
                    for (effect, value) in values[term][*code].iter_mut().enumerate() {
                        let at = builder.outer_column(&design.structure, engine, copy, effect);
                        let variance: f64 = (0..posterior.outer()).map(|k| root(at, k).powi(2)).sum();
                        *value = (draw[p + at], variance.sqrt());
                    }
                }
            }
            let Some(term) = design.inner else { continue };
            for code in &block.levels[term] {
                let Some(inner) = posterior.inner(&builder, *code, LevelPrior::Random) else { continue };
                let mean = inner.constant - inner.weights.iter().zip(&draw).map(|(w, d)| w * d).sum::<f64>();
                let outer = &inner.weights[p..];
                let variance: f64 = (0..posterior.outer())
                    .map(|k| outer.iter().enumerate().map(|(i, w)| w * root(i, k)).sum::<f64>().powi(2))
                    .sum();
                values[term][*code][0] = (mean, variance.sqrt().hypot(inner.sd));
            }
        }
        let mut random_part = vec![0.0; design.rows()];
        let mut rows = Vec::new();
        for ((term, group), of_term) in spec.random.iter().zip(&design.groups).zip(&values) {
            for (row, sum) in random_part.iter_mut().enumerate() {
                let own = &of_term[group.codes[row]];
                *sum += own.iter().zip(&group.effects).map(|((value, _), by_row)| value * by_row[row]).sum::<f64>();
            }
            for (label, of_level) in group.labels.iter().zip(of_term) {
                for (effect, (value, sd)) in term.effects.iter().zip(of_level) {
                    rows.push(EffectRow {
                        group: term.group.clone(),
                        level: label.clone(),
                        effect: effect.clone(),
                        value: *value,
                        sd: *sd,
                    });
                }
            }
        }
        Ok(Self { rows, random_part })
    }
}

/// Engine columns of a known level's effects in its block, if the level was in the fit.
pub(super) struct KnownLevel {
    pub(super) block: usize,
    pub(super) code: usize,
    pub(super) copy: usize,
}

impl Design {
    /// Where a level of a random term stands.
    pub(super) fn find_level(&self, term: usize, label: &str) -> Option<KnownLevel> {
        let code = self.groups[term].labels.iter().position(|known| known == label)?;
        let block = self.blocks.iter().position(|block| block.levels[term].binary_search(&code).is_ok())?;
        Some(KnownLevel { block, code, copy: copy_of(&self.blocks[block].levels, term, code) })
    }
}
