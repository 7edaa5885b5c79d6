//! Responses drawn from a fit, and refits to them.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::design::copy_of;
use super::{MixedModelFit, ModelError};
use crate::stats::mixed::MixedFit;

/// One parameter over the refits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct BootstrapRow {
    /// A coefficient by its name, `sd:{group}:{effect}`, `correlation:{group}:{effect}:{effect}` or `sd:residual`.
    pub parameter: String,
    /// Estimate of the fit.
    pub estimate: f64,
    /// Mean of the refits less the estimate.
    pub bias: f64,
    /// Standard deviation of the refits.
    pub sd: f64,
    /// 2.5 % point of the refits.
    pub lower: f64,
    /// 97.5 % point of the refits.
    pub upper: f64,
}

/// Refits to responses drawn from a fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelBootstrap {
    rows: Vec<BootstrapRow>,
    replicates: usize,
    failed: usize,
}

impl ModelBootstrap {
    /// One row per parameter.
    #[must_use]
    pub fn rows(&self) -> &[BootstrapRow] {
        &self.rows
    }

    /// Refits that the rows rest on.
    #[must_use]
    pub fn replicates(&self) -> usize {
        self.replicates
    }

    /// Drawn responses that could not be fitted.
    #[must_use]
    pub fn failed(&self) -> usize {
        self.failed
    }
}

impl MixedModelFit {
    /// A response drawn from the fit on its own rows: new effects of every level, new errors. The same seed and stream give the
    /// same response.
    #[must_use]
    pub fn simulate(&self, seed: u64, stream: u64) -> Vec<f64> {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream);
        let mut normal = || StandardNormal.sample(&mut generator);
        let mut response = self.population.clone();
        let zeros = vec![0.0; response.len()];
        for (place, block) in self.design.blocks.iter().enumerate() {
            let builder = self.design.builder(place, &zeros);
            let outer = self.mixed.draw_outer(&builder, &mut normal);
            let inner: Vec<f64> = self.design.inner.map_or_else(Vec::new, |term| {
                let sd = self.mixed.inner_sd().unwrap_or(0.0);
                block.levels[term].iter().map(|_| sd * normal()).collect()
            });
            for &row in &block.rows {
                for (engine, term) in self.design.outer().enumerate() {
                    let group = &self.design.groups[term];
                    let copy = copy_of(&block.levels, term, group.codes[row]);
                    for (effect, values) in group.effects.iter().enumerate() {
                        let at = builder.outer_column(&self.design.structure, engine, copy, effect);
                        response[row] += outer[at] * values[row];
                    }
                }
                if let Some(term) = self.design.inner {
                    response[row] += inner[copy_of(&block.levels, term, self.design.groups[term].codes[row])];
                }
                response[row] += self.sigma() / self.design.weight(row).sqrt() * normal();
            }
        }
        response
    }

    /// Draws responses from the fit and fits each: spread, bias and percentile intervals of all parameters. The result does not
    /// depend on the number of threads.
    ///
    /// # Errors
    /// [`ModelError::Setting`] for fewer than two replicates, [`ModelError::Bootstrap`] when fewer than half could be fitted.
    pub fn bootstrap(&self, replicates: usize, seed: u64) -> Result<ModelBootstrap, ModelError> {
        if replicates < 2 {
            let (what, got) = ("the number of replicates", replicates as f64);
            return Err(ModelError::Setting { what, got, expected: "two or more are needed" });
        }
        let own = self.parameters_of(&self.mixed);
        let found: Vec<Option<Vec<f64>>> = (0..replicates)
            .into_par_iter()
            .map(|replicate| {
                let response = self.simulate(seed, replicate as u64);
                let again = self.refit_engine(&response, self.spec.criterion).ok()?;
                let values = self.parameters_of(&again);
                (values.len() == own.len()).then(|| values.into_iter().map(|(_, value)| value).collect())
            })
            .collect();
        let good: Vec<Vec<f64>> = found.into_iter().flatten().collect();
        let failed = replicates - good.len();
        if good.len() < 2 || failed > good.len() {
            return Err(ModelError::Bootstrap { fitted: good.len(), replicates });
        }
        let n = good.len() as f64;
        let rows = own
            .into_iter()
            .enumerate()
            .map(|(place, (parameter, estimate))| {
                let mut values: Vec<f64> = good.iter().map(|row| row[place]).collect();
                values.sort_by(f64::total_cmp);
                let mean = values.iter().sum::<f64>() / n;
                let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
                BootstrapRow {
                    parameter,
                    estimate,
                    bias: mean - estimate,
                    sd: (squares / (n - 1.0)).sqrt(),
                    lower: point(&values, 0.025),
                    upper: point(&values, 0.975),
                }
            })
            .collect();
        Ok(ModelBootstrap { rows, replicates: good.len(), failed })
    }

    /// All parameters of a fit of this model by name.
    pub(super) fn parameters_of(&self, mixed: &MixedFit) -> Vec<(String, f64)> {
        let mut out: Vec<(String, f64)> =
            mixed.fixed().iter().map(|effect| (effect.name.clone(), effect.estimate)).collect();
        for (engine, term) in self.design.outer().enumerate() {
            let (spread, spec) = (&mixed.outer()[engine], &self.spec.random[term]);
            for (effect, sd) in spec.effects.iter().zip(&spread.sd) {
                out.push((format!("sd:{}:{effect}", spec.group), *sd));
            }
            let w = spec.effects.len();
            for i in (0..w).filter(|_| spec.covariance == crate::stats::mixed::Covariance::Full) {
                for j in 0..i {
                    let name = format!("correlation:{}:{}:{}", spec.group, spec.effects[j], spec.effects[i]);
                    out.push((name, spread.correlation[i * w + j]));
                }
            }
        }
        if let (Some(term), Some(sd)) = (self.design.inner, mixed.inner_sd()) {
            out.push((format!("sd:{}:1", self.spec.random[term].group), sd));
        }
        out.push(("sd:residual".to_owned(), mixed.sigma()));
        out
    }
}

/// A quantile of sorted values, straight lines between them.
fn point(sorted: &[f64], share: f64) -> f64 {
    let at = share * (sorted.len() - 1) as f64;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let low = at.floor() as usize;
    let high = (low + 1).min(sorted.len() - 1);
    sorted[low] + (at - at.floor()) * (sorted[high] - sorted[low])
}
