//! A study in which not every operator read every line equally often.

use std::collections::BTreeSet;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::anova::GaugeReading;
use super::gauge::GaugeSource;
use super::repeats::{balanced, gauge_readings};
use super::{GaugeError, LIMIT_FACTOR};
use crate::check::Check;
use crate::stats::mixed::{DataTable, MixedModelFit, MixedModelSpec, ModelError};
use crate::wing::LineSet;

/// Variance components of a study of any shape, by REML: `y = μ + operator + line + operator·line + ε`, all random. On a balanced
/// study whose components are all positive they are those of the analysis of variance.
///
/// Source: Searle, Casella, McCulloch, Variance Components, 1992, chapters 3 and 4 (memory).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnbalancedGauge {
    readings: usize,
    parts: usize,
    operators: usize,
    components: Vec<UnbalancedComponent>,
}

/// One component of an unbalanced study.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct UnbalancedComponent {
    /// Source of variance.
    pub source: GaugeSource,
    /// Standard deviation, mm.
    pub sd_mm: f64,
}

impl UnbalancedGauge {
    /// Analyses all readings of a study.
    ///
    /// # Errors
    /// [`GaugeError`] for fewer than two lines or operators, a value that is not finite, or readings in which the components
    /// cannot be told apart.
    pub fn of(readings: &[GaugeReading]) -> Result<Self, GaugeError> {
        let count = |of: fn(&GaugeReading) -> &str| readings.iter().map(of).collect::<BTreeSet<_>>().len();
        let (parts, operators) = (count(|r| &r.part), count(|r| &r.operator));
        for (what, got) in [("lines", parts), ("operators", operators)] {
            if got < 2 {
                return Err(GaugeError::TooFew { what, got, needed: 2 });
            }
        }
        if let Some(bad) = readings.iter().find(|reading| !reading.value_mm.is_finite()) {
            let (part, operator) = (bad.part.clone(), bad.operator.clone());
            return Err(GaugeError::NotFinite { part, operator, value: bad.value_mm });
        }
        let pairs: BTreeSet<(&str, &str)> =
            readings.iter().map(|reading| (reading.part.as_str(), reading.operator.as_str())).collect();
        let repeated = pairs.len() < readings.len();
        let fit = fit(readings, repeated).map_err(|error| GaugeError::NoComponents { reason: error.to_string() })?;
        let sd = |group: &str| {
            let mixed = fit.mixed();
            let outer = mixed.outer().iter().find(|spread| spread.name == group);
            outer.and_then(|spread| spread.sd.first().copied()).or_else(|| {
                // the one with most levels is eliminated first
                mixed.inner_sd().filter(|_| fit.is_inner(group))
            })
        };
        let mut components = vec![
            UnbalancedComponent { source: GaugeSource::Repeatability, sd_mm: fit.sigma() },
            UnbalancedComponent { source: GaugeSource::Operator, sd_mm: sd("operator").unwrap_or(0.0) },
        ];
        if let Some(sd_mm) = sd("part:operator") {
            components.push(UnbalancedComponent { source: GaugeSource::Interaction, sd_mm });
        }
        let gauge = components.iter().map(|one| one.sd_mm * one.sd_mm).sum::<f64>().sqrt();
        components.push(UnbalancedComponent { source: GaugeSource::Gauge, sd_mm: gauge });
        components.push(UnbalancedComponent { source: GaugeSource::Part, sd_mm: sd("part").unwrap_or(0.0) });
        Ok(Self { readings: readings.len(), parts, operators, components })
    }

    /// The study of a check where the analysis of variance would have to leave readings out; `None` where it takes them all, or
    /// fewer than two operators read.
    ///
    /// # Errors
    /// As [`UnbalancedGauge::of`].
    pub fn of_check(set: &LineSet, check: &Check) -> Result<Option<Self>, GaugeError> {
        let all = gauge_readings(set, check);
        let operators: BTreeSet<&str> = all.iter().map(|reading| reading.operator.as_str()).collect();
        if operators.len() < 2 || balanced(&all, 1).len() == all.len() {
            return Ok(None);
        }
        Self::of(&all).map(Some)
    }

    /// Readings analysed: all there are.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.readings
    }

    /// The variance components, a row per source.
    #[must_use]
    pub fn components(&self) -> &[UnbalancedComponent] {
        &self.components
    }

    /// Standard deviation of a source, mm.
    #[must_use]
    pub fn sd_mm(&self, source: GaugeSource) -> Option<f64> {
        self.components.iter().find(|one| one.source == source).map(|one| one.sd_mm)
    }
}

fn fit(readings: &[GaugeReading], repeated: bool) -> Result<MixedModelFit, ModelError> {
    let table = DataTable::default()
        .number("value_mm", readings.iter().map(|reading| reading.value_mm))?
        .text("part", readings.iter().map(|reading| reading.part.as_str()))?
        .text("operator", readings.iter().map(|reading| reading.operator.as_str()))?;
    let spec = MixedModelSpec::new("value_mm").random("operator", ["1"]).random("part", ["1"]);
    if repeated { spec.random("part:operator", ["1"]).fit(&table) } else { spec.fit(&table) }
}

impl fmt::Display for UnbalancedGauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} lines, {} operators, {} readings: not every operator read every line equally often,",
            self.parts, self.operators, self.readings
        )?;
        writeln!(f, "so the components are estimated by REML from all of them")?;
        writeln!(f, "{:<15}{:>9}", "source", "sd mm")?;
        for one in &self.components {
            writeln!(f, "{:<15}{:>9.3}", one.source.name(), one.sd_mm)?;
        }
        let limit = |source| LIMIT_FACTOR * self.sd_mm(source).unwrap_or(0.0);
        writeln!(
            f,
            "repeatability limit {:.2} mm, reproducibility limit {:.2} mm",
            limit(GaugeSource::Repeatability),
            limit(GaugeSource::Gauge)
        )
    }
}
