//! What a check's own repeats and operators tell.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::anova::{GaugeReading, MeanSquare};
use super::gauge::{ReadingsNeeded, coverage, needed};
use super::interval::{VarianceInterval, exact};
use super::{GaugeError, LIMIT_FACTOR};
use crate::check::{Check, reading_deviation_mm};
use crate::wing::LineSet;

/// Repeatability alone: the spread of repeats of one operator on one line, pooled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Repeatability {
    /// Standard deviation, mm.
    pub sd_mm: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// 95 % interval of the variance.
    pub interval: VarianceInterval,
    /// Two readings of one line differ by more in one case of twenty, mm ([`LIMIT_FACTOR`] times the standard deviation).
    pub limit_mm: f64,
    /// Groups (line and operator) with more than one reading.
    pub groups: usize,
}

impl Repeatability {
    /// Pools the variance within groups of equal line and operator, of any sizes: `Σ (x − x̄_group)² / Σ (n_group − 1)`.
    ///
    /// # Errors
    /// [`GaugeError`] when no group has two readings, or a value is not finite.
    pub fn of(readings: &[GaugeReading]) -> Result<Self, GaugeError> {
        let mut groups: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
        for reading in readings {
            if !reading.value_mm.is_finite() {
                return Err(GaugeError::NotFinite {
                    part: reading.part.clone(),
                    operator: reading.operator.clone(),
                    value: reading.value_mm,
                });
            }
            groups.entry((&reading.part, &reading.operator)).or_default().push(reading.value_mm);
        }
        let mut square = MeanSquare { sum: 0.0, freedom: 0.0 };
        let mut used = 0;
        for values in groups.values().filter(|values| values.len() > 1) {
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            square.sum += values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
            square.freedom += n - 1.0;
            used += 1;
        }
        let interval = exact(square, 0.95).filter(|_| square.freedom > 0.0).ok_or(GaugeError::TooFew {
            what: "lines read twice",
            got: 0,
            needed: 1,
        })?;
        let sd_mm = square.mean().sqrt();
        Ok(Self { sd_mm, degrees_of_freedom: square.freedom, interval, limit_mm: LIMIT_FACTOR * sd_mm, groups: used })
    }

    /// How many readings of each line make the standard uncertainty of their mean at most `wanted_mm`, as far as
    /// repeatability goes.
    ///
    /// # Errors
    /// [`GaugeError::OutOfRange`] when `wanted_mm` is not a positive number.
    pub fn readings_needed(&self, wanted_mm: f64) -> Result<ReadingsNeeded, GaugeError> {
        needed(0.0, self.sd_mm, wanted_mm)
    }

    /// Expanded uncertainty of the mean of so many readings at a level between 0 and 1, mm: `t · sd/√n` with this study's
    /// degrees of freedom. `None` for no readings or a level out of its range.
    #[must_use]
    pub fn expanded_mm(&self, readings: u32, level: f64) -> Option<f64> {
        (readings > 0 && level > 0.0 && level < 1.0)
            .then(|| coverage(level, Some(self.degrees_of_freedom)) * self.sd_mm / f64::from(readings).sqrt())
    }
}

/// The readings of a check as a study: a part is a line with its side, its value the deviation (so that parts differ by how
/// lines are off, not by how long they are), an operator that is not named is the empty name. Readings of lines that the set does not have are left out.
#[must_use]
pub fn gauge_readings(set: &LineSet, check: &Check) -> Vec<GaugeReading> {
    check
        .readings
        .iter()
        .filter_map(|reading| {
            let line = set.lines().get(reading.line)?;
            Some(GaugeReading {
                part: format!("{} {}", reading.side, line.name),
                operator: reading.operator.clone().unwrap_or_default(),
                value_mm: reading_deviation_mm(set, check, reading)?,
            })
        })
        .collect()
}

/// The largest balanced part of a study: the lines that every operator read, each with as many readings (the first ones)
/// as the fewest of them has, at least `fewest`. Empty when there is none.
#[must_use]
pub(super) fn balanced(readings: &[GaugeReading], fewest: usize) -> Vec<GaugeReading> {
    let mut cells: BTreeMap<&str, BTreeMap<&str, Vec<f64>>> = BTreeMap::new();
    let mut operators: Vec<&str> = readings.iter().map(|reading| reading.operator.as_str()).collect();
    operators.sort_unstable();
    operators.dedup();
    for reading in readings {
        cells.entry(&reading.part).or_default().entry(&reading.operator).or_default().push(reading.value_mm);
    }
    cells.retain(|_, by| by.len() == operators.len() && by.values().all(|values| values.len() >= fewest.max(1)));
    let trials = cells.values().flat_map(BTreeMap::values).map(Vec::len).min().unwrap_or(0);
    cells
        .iter()
        .flat_map(|(part, by)| {
            by.iter().flat_map(move |(operator, values)| {
                values.iter().take(trials).map(move |value| GaugeReading {
                    part: (*part).to_owned(),
                    operator: (*operator).to_owned(),
                    value_mm: *value,
                })
            })
        })
        .collect()
}
