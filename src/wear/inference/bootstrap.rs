//! The parametric bootstrap.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::stats::Precision;
use crate::stats::mixed::{Block, MixedFit, MixedSpec, Parameter, Readings};
use crate::wear::inference::intervals::{IntervalMethod, IntervalRow};
use crate::wear::reduce::reduction::WingReduction;
use crate::wear::{Reduction, WearError, WearFit};
use crate::wing::LineSet;

/// Simulates readings from a fit, on the design of its fleet, and fits each set of them.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `replicates` | 200 | a 2.5 % point is then known to about a fifth of a standard error |
/// | `seed` | 1 | results reproduce |
///
/// ```
/// use linedrift::WearSpec;
/// use linedrift::simulate::FleetSpec;
/// use linedrift::wear::{BootstrapSpec, Reduction};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let reduction = Reduction::new(&fleet, &[])?;
/// let fit = WearSpec::default().fit_reduced(&reduction)?;
/// // 200 replicates or more for an interval to quote
/// let bootstrap = BootstrapSpec::default().replicates(10).run(&fit, &reduction)?;
/// for row in bootstrap.rows() {
///     println!("{row:?}");
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct BootstrapSpec {
    replicates: usize,
    seed: u64,
}

impl Default for BootstrapSpec {
    fn default() -> Self {
        Self { replicates: 200, seed: 1 }
    }
}

/// Refits to simulated readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bootstrap {
    rows: Vec<IntervalRow>,
    replicates: usize,
    failed: usize,
    values: Vec<Vec<f64>>,
}

impl Bootstrap {
    /// A 95 % percentile interval of every term, spread and correlation.
    #[must_use]
    pub fn rows(&self) -> &[IntervalRow] {
        &self.rows
    }

    /// Refits that the intervals rest on.
    #[must_use]
    pub fn replicates(&self) -> usize {
        self.replicates
    }

    /// Simulated sets that could not be fitted.
    #[must_use]
    pub fn failed(&self) -> usize {
        self.failed
    }

    /// Estimates of all replicates of the parameter in a place of [`Bootstrap::rows`].
    #[must_use]
    pub fn values(&self, row: usize) -> &[f64] {
        self.values.get(row).map_or(&[], Vec::as_slice)
    }
}

impl BootstrapSpec {
    /// How many sets of readings to simulate and fit.
    #[must_use]
    pub const fn replicates(mut self, replicates: usize) -> Self {
        self.replicates = replicates;
        self
    }

    /// Seed of the simulation.
    #[must_use]
    pub const fn seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }

    /// Runs the bootstrap of a fit on the reduction that was fitted. The time shape is held as fitted; an offset that an
    /// adjustment started anew may be anything, and is zero. The result does not depend on the number of threads.
    ///
    /// # Errors
    /// [`WearError`] when the reduction does not belong to the fit, or fewer than half of the sets could be fitted.
    pub fn run(&self, fit: &WearFit, reduction: &Reduction) -> Result<Bootstrap, WearError> {
        let reduction = reduction.selecting(&fit.spec.covariates)?;
        fit.validate(&reduction)?;
        let named = fit.named();
        let mixed = fit.mixed();
        let spec = MixedSpec::default().criterion(fit.criterion());
        let found: Vec<Option<Vec<f64>>> = (0..self.replicates)
            .into_par_iter()
            .map(|replicate| {
                let mut generator = ChaCha8Rng::seed_from_u64(self.seed);
                generator.set_stream(replicate as u64);
                let sd = mixed.shared_sd().first().copied().unwrap_or(0.0);
                let count = fit.layout.structure.shared_columns();
                let shared: Vec<f64> = (0..count)
                    .map(|_| {
                        let normal: f64 = StandardNormal.sample(&mut generator);
                        sd * normal
                    })
                    .collect();
                let blocks: Vec<Block> = reduction
                    .wings
                    .iter()
                    .map(|wing| fit.simulated(&reduction.line_sets[wing.line_set()], wing, &shared, &mut generator))
                    .collect();
                let again =
                    spec.fit_near(&fit.layout.structure, &blocks, &mixed.start(), Precision::OnTheWay).ok()?;
                let values = named.iter().map(|named| value_of(&again, named.parameter, mixed));
                values.collect::<Option<Vec<f64>>>()
            })
            .collect();
        let good: Vec<Vec<f64>> = found.into_iter().flatten().collect();
        let failed = self.replicates - good.len();
        if good.len() < 2 || failed > good.len() {
            return Err(WearError::Bootstrap { fitted: good.len(), replicates: self.replicates });
        }
        let values: Vec<Vec<f64>> =
            (0..named.len()).map(|place| good.iter().map(|row| row[place]).collect()).collect();
        let rows = named
            .iter()
            .zip(&values)
            .map(|(named, values)| {
                let mut sorted = values.clone();
                sorted.sort_by(f64::total_cmp);
                IntervalRow {
                    parameter: named.name.clone(),
                    method: IntervalMethod::Bootstrap,
                    estimate: named.estimate,
                    lower: Some(quantile(&sorted, 0.025)),
                    upper: Some(quantile(&sorted, 0.975)),
                }
            })
            .collect();
        Ok(Bootstrap { rows, replicates: good.len(), failed, values })
    }
}

/// A parameter's estimate in a refit; fixed effects are found by their column, since another set may drop another one.
fn value_of(fit: &MixedFit, parameter: Parameter, original: &MixedFit) -> Option<f64> {
    match parameter {
        Parameter::Fixed(place) => {
            let column = original.fixed().get(place)?.column;
            fit.fixed().iter().find(|effect| effect.column == column).map(|effect| effect.estimate)
        }
        Parameter::Reading => Some(fit.sigma()),
        Parameter::Inner => fit.inner_sd(),
        Parameter::InnerSlope => fit.inner_slope_sd(),
        Parameter::Shared(term) => fit.shared_sd().get(term).copied(),
        Parameter::Outer { term, effect } => fit.outer().get(term)?.sd.get(effect).copied(),
        Parameter::Correlation { term } => fit.outer().get(term)?.correlation.get(2).copied(),
    }
}

/// Quantile of sorted values, straight lines between them.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let at = share * (sorted.len() - 1) as f64;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let low = at.floor() as usize;
    let high = (low + 1).min(sorted.len() - 1);
    sorted[low] + (at - at.floor()) * (sorted[high] - sorted[low])
}

impl WearFit {
    /// A wing's block with readings drawn from the fit: exactly what single readings would add up to, since the sum of `n`
    /// readings of one line at one check is normal and the squares about their mean are `σ² χ²` with `n − 1` degrees.
    fn simulated(&self, set: &LineSet, wing: &WingReduction, shared: &[f64], generator: &mut ChaCha8Rng) -> Block {
        let mixed = self.mixed();
        let mut builder = self.layout.empty_block(wing);
        let mut effects = mixed.draw_outer(&builder, || StandardNormal.sample(generator));
        let fixed = builder.fixed_column(0);
        effects.extend_from_slice(shared);
        effects.resize(fixed + self.layout.structure.fixed.len(), 0.0);
        for effect in mixed.fixed() {
            effects[fixed + effect.column] = effect.estimate;
        }
        let inner = mixed.inner_sd().unwrap_or(0.0);
        let lines: Vec<f64> = wing
            .levels
            .iter()
            .map(|level| {
                let normal: f64 = StandardNormal.sample(generator);
                if level.epoch == 0 { inner * normal } else { 0.0 }
            })
            .collect();
        // one number for each line, whatever its restarts
        let own = mixed.inner_slope_sd().unwrap_or(0.0);
        let mut rates = vec![0.0; wing.levels.len()];
        if own > 0.0 {
            for index in 0..rates.len() {
                let unit = wing.levels.unit(index);
                let normal: f64 = if unit == index { StandardNormal.sample(generator) } else { 0.0 };
                rates[index] = if unit == index { own * normal } else { rates[unit] };
            }
        }
        let sigma = mixed.sigma();
        let table = self.layout.line_table(set);
        self.layout.for_each_sum(
            &mut builder,
            (set, &table),
            wing,
            &self.components[0].basis,
            |builder, line_sum, _, row| {
                let n = f64::from(line_sum.count);
                let normal: f64 = StandardNormal.sample(generator);
                let level = line_sum.level as usize;
                let mean = row.entries.iter().map(|(column, value)| effects[*column] * value).sum::<f64>()
                    + lines[level]
                    + rates[level] * row.length_g_m
                    + sigma / n.sqrt() * normal;
                let about = ChiSquared::new(n - 1.0).map_or(0.0, |squares| squares.sample(generator));
                let squares = n * mean * mean + sigma * sigma * about;
                let readings = Readings { count: n, sum: n * mean, sum_of_squares: squares, weight: 1.0 };
                self.layout.add(builder, wing, level, row, readings);
            },
        );
        builder.finish()
    }
}
