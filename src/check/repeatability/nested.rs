//! Nested study: repeats within days within runs.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::GaugeError;

/// One day's repeats of one part in one run, as mean and standard deviation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NestedCell {
    /// What was measured.
    pub part: String,
    /// Run.
    pub run: String,
    /// Day, within its run.
    pub day: String,
    /// Mean of the day's repeats, mm.
    pub mean_mm: f64,
    /// Standard deviation of the day's repeats, mm.
    pub sd_mm: f64,
    /// Number of repeats.
    pub repeats: u32,
}

/// One level of a nested study.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NestedLevel {
    /// Pooled standard deviation at this level, mm: of repeats, of daily means, of run means.
    pub sd_mm: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Variance that this level adds to those below, mm² (negative where it adds none).
    pub variance_mm2: f64,
}

/// Result of a nested study.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NestedStudy {
    /// Repeats within a day.
    pub repeats: NestedLevel,
    /// Days within a run.
    pub days: NestedLevel,
    /// Runs.
    pub runs: NestedLevel,
    /// Standard deviation of a single reading over days and runs, mm.
    pub single_reading_sd_mm: f64,
}

/// Sum of squares and degrees of freedom of values about their mean.
#[derive(Default)]
struct Pool {
    squares: f64,
    freedom: f64,
}

impl Pool {
    fn add(&mut self, values: &[f64]) {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        self.squares += values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        self.freedom += n - 1.0;
    }

    fn variance(&self) -> f64 {
        self.squares / self.freedom
    }
}

impl NestedStudy {
    /// Pools standard deviations level by level over the parts: repeats `s₁` within days, daily means `s₂` within runs, run
    /// means `s₃`. Components: `s₂² − s₁²/J` for days and `s₃² − s₂²/K` for runs, J repeats a day and K days a run (their
    /// means where they differ); a single reading varies by `√(s₁² + days + runs)`.
    ///
    /// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 2.4 (second-hand).
    ///
    /// # Errors
    /// [`GaugeError`] when a level has no degrees of freedom or a number is not finite.
    pub fn of(cells: &[NestedCell]) -> Result<Self, GaugeError> {
        let mut within = Pool::default();
        let mut runs: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
        let mut repeats = 0.0;
        for cell in cells {
            if !(cell.mean_mm.is_finite() && cell.sd_mm.is_finite()) {
                let value = if cell.mean_mm.is_finite() { cell.sd_mm } else { cell.mean_mm };
                return Err(GaugeError::NotFinite { part: cell.part.clone(), operator: cell.run.clone(), value });
            }
            let freedom = f64::from(cell.repeats.saturating_sub(1));
            within.squares += freedom * cell.sd_mm * cell.sd_mm;
            within.freedom += freedom;
            repeats += f64::from(cell.repeats);
            runs.entry((&cell.part, &cell.run)).or_default().push(cell.mean_mm);
        }
        let mut days = Pool::default();
        let mut parts: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for ((part, _), means) in &runs {
            days.add(means);
            parts.entry(part).or_default().push(means.iter().sum::<f64>() / means.len() as f64);
        }
        let mut between = Pool::default();
        for means in parts.values() {
            between.add(means);
        }
        for (what, pool) in [("repeats in a day", &within), ("days in a run", &days), ("runs", &between)] {
            if pool.freedom < 1.0 {
                return Err(GaugeError::TooFew { what, got: 1, needed: 2 });
            }
        }
        let per_day = repeats / cells.len() as f64;
        let per_run = cells.len() as f64 / runs.len() as f64;
        let level = |pool: &Pool, variance_mm2: f64| NestedLevel {
            sd_mm: pool.variance().sqrt(),
            degrees_of_freedom: pool.freedom,
            variance_mm2,
        };
        let of_days = days.variance() - within.variance() / per_day;
        let of_runs = between.variance() - days.variance() / per_run;
        Ok(Self {
            repeats: level(&within, within.variance()),
            days: level(&days, of_days),
            runs: level(&between, of_runs),
            single_reading_sd_mm: (within.variance() + of_days.max(0.0) + of_runs.max(0.0)).sqrt(),
        })
    }
}
