//! What a fit expects of rows, with intervals.

use serde::{Deserialize, Serialize};

use super::design::effects;
use super::effects::KnownLevel;
use super::{DataTable, MixedModelFit, ModelError};
use crate::stats::contrast::t_quantile;
use crate::stats::mixed::{BlockBuilder, BlockPosterior, LevelPrior};

/// What is expected of one row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PredictedRow {
    /// Expected value: fixed part, and the effects of the levels that the fit knows.
    pub mean: f64,
    /// Lower end of the interval of the true value; effects of levels never seen are in it with all of their spread.
    pub lower: f64,
    /// Upper end of the same.
    pub upper: f64,
    /// Lower end of the interval of one reading.
    pub reading_lower: f64,
    /// Upper end of the same.
    pub reading_upper: f64,
    /// Fixed part alone.
    pub population: f64,
    /// Random terms whose level the fit has never seen.
    pub unseen_levels: usize,
}

/// A block of the fit, ready to be asked.
struct Known {
    builder: BlockBuilder,
    posterior: BlockPosterior,
}

impl MixedModelFit {
    /// What is expected of the rows of a table (the response need not be in it), with intervals at a level such as 0.95.
    ///
    /// The variance of the true value is exact given the spreads: that of the coefficients, of the known levels' effects given
    /// their readings, their covariance, and the whole spread of levels never seen. Intervals are normal about the mean.
    ///
    /// # Errors
    /// [`ModelError`] for a column that is missing, a level of a categorical fixed term never seen, or a senseless level.
    pub fn predict(&self, table: &DataTable, level: f64) -> Result<Vec<PredictedRow>, ModelError> {
        if !(level > 0.0 && level < 1.0) {
            return Err(ModelError::Setting {
                what: "the level",
                got: level,
                expected: "it must lie between 0 and 1",
            });
        }
        let fixed = self.fixed_of(table)?;
        let terms = &self.spec.random;
        let labels = terms.iter().map(|term| table.joint_labels(&term.group)).collect::<Result<Vec<_>, _>>()?;
        let values = terms.iter().map(|term| effects(term, table)).collect::<Result<Vec<_>, _>>()?;
        let mut known: Vec<Option<Known>> = self.design.blocks.iter().map(|_| None).collect();
        let z = t_quantile(level, 1e6);
        (0..table.rows())
            .map(|row| {
                let levels: Vec<Option<KnownLevel>> = labels
                    .iter()
                    .enumerate()
                    .map(|(term, labels)| self.design.find_level(term, &labels[row]))
                    .collect();
                let by_term: Vec<Vec<f64>> =
                    values.iter().map(|effects| effects.iter().map(|by_row| by_row[row]).collect()).collect();
                let x: Vec<f64> = self.mixed.fixed().iter().map(|effect| fixed[effect.column][row]).collect();
                self.predict_row(&x, &levels, &by_term, &mut known, z)
            })
            .collect()
    }

    fn predict_row(
        &self,
        x: &[f64],
        levels: &[Option<KnownLevel>],
        values: &[Vec<f64>],
        known: &mut [Option<Known>],
        z: f64,
    ) -> Result<PredictedRow, ModelError> {
        let p = x.len();
        let population: f64 = x.iter().zip(self.mixed.fixed()).map(|(x, effect)| x * effect.estimate).sum();
        let mut touched: Vec<usize> = levels.iter().flatten().map(|level| level.block).collect();
        touched.sort_unstable();
        touched.dedup();
        let mut mean = 0.0;
        let mut variance = 0.0;
        // the coefficients' part of the root is shared by all blocks
        let mut shared = vec![0.0; p];
        let mut fixed: Vec<(usize, f64)> = x.iter().copied().enumerate().collect();
        let asked = if touched.is_empty() { vec![0] } else { touched };
        for block in asked {
            let slot = &mut known[block];
            if slot.is_none() {
                let builder = self.design.builder(block, &self.response);
                let posterior = BlockPosterior::new(&self.mixed, &builder.finish())?;
                *slot = Some(Known { builder, posterior });
            }
            let Some(Known { builder, posterior }) = slot else { continue };
            let mut weights = std::mem::take(&mut fixed);
            for (engine, term) in self.design.outer().enumerate() {
                let Some(level) = levels[term].as_ref().filter(|level| level.block == block) else { continue };
                for (effect, value) in values[term].iter().enumerate() {
                    let at = builder.outer_column(&self.design.structure, engine, level.copy, effect);
                    weights.push((p + at, *value));
                }
            }
            let inner = self.design.inner.and_then(|term| levels[term].as_ref().filter(|level| level.block == block));
            if let Some(inner) = inner.and_then(|level| posterior.inner(builder, level.code, LevelPrior::Random)) {
                mean += inner.constant;
                variance += inner.sd * inner.sd;
                weights.extend(inner.weights.iter().enumerate().map(|(place, weight)| (place, -weight)));
            }
            let found = posterior.combination(&weights);
            mean += found.mean;
            shared.iter_mut().zip(&found.root).for_each(|(sum, root)| *sum += root);
            variance += found.root[p..].iter().map(|root| root * root).sum::<f64>();
        }
        variance += shared.iter().map(|root| root * root).sum::<f64>();
        let mut unseen_levels = 0;
        for (term, level) in levels.iter().enumerate().filter(|(_, level)| level.is_none()) {
            debug_assert!(level.is_none());
            unseen_levels += 1;
            variance += self.prior_variance(term, &values[term]);
        }
        let (sd, reading) = (variance.sqrt(), (variance + self.sigma().powi(2)).sqrt());
        Ok(PredictedRow {
            mean,
            lower: mean - z * sd,
            upper: mean + z * sd,
            reading_lower: mean - z * reading,
            reading_upper: mean + z * reading,
            population,
            unseen_levels,
        })
    }

    /// Variance of a combination of a random term's effects over its levels.
    fn prior_variance(&self, term: usize, values: &[f64]) -> f64 {
        if Some(term) == self.design.inner {
            return self.mixed.inner_sd().unwrap_or(0.0).powi(2);
        }
        let Some(engine) = self.design.outer().position(|place| place == term) else { return 0.0 };
        let Some(spread) = self.mixed.outer().get(engine) else { return 0.0 };
        let w = spread.sd.len();
        let mut sum = 0.0;
        for i in 0..w {
            for j in 0..w {
                let correlation = if i == j { 1.0 } else { spread.correlation[i * w + j] };
                sum += values[i] * values[j] * spread.sd[i] * spread.sd[j] * correlation;
            }
        }
        sum.max(0.0)
    }
}
