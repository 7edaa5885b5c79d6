//! Result of a crossed study.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::anova::AnovaRow;
use super::interval::VarianceInterval;
use super::{GaugeError, LIMIT_FACTOR};
use crate::stats::student_coverage;

/// Source of variance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum GaugeSource {
    /// Same operator, same line.
    Repeatability,
    /// Operators differ on all lines alike.
    Operator,
    /// Operators differ from line to line.
    Interaction,
    /// All of the measuring: repeatability, operators and interaction.
    Gauge,
    /// Lines truly differ.
    Part,
    /// Everything.
    Total,
}

impl GaugeSource {
    /// The name used in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            GaugeSource::Repeatability => "repeatability",
            GaugeSource::Operator => "operator",
            GaugeSource::Interaction => "interaction",
            GaugeSource::Gauge => "gauge",
            GaugeSource::Part => "part",
            GaugeSource::Total => "total",
        }
    }
}

/// One variance component.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GaugeComponent {
    /// Source of variance.
    pub source: GaugeSource,
    /// The estimate as the method gives it, mm²: may come out negative where there is none.
    pub estimate_mm2: f64,
    /// Standard deviation, mm: 0 where the estimate is negative.
    pub sd_mm: f64,
    /// Interval of the variance, cut at zero; `None` where there are no degrees of freedom.
    pub interval: Option<VarianceInterval>,
    /// Share of the total variance, per cent.
    pub contribution_pct: f64,
    /// Share of the total standard deviation, per cent (these do not add up).
    pub study_variation_pct: f64,
}

/// How many readings a wanted uncertainty needs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ReadingsNeeded {
    /// So many readings of each line, by one operator.
    Readings(u32),
    /// No number will do: what does not average out is this much, mm (standard uncertainty).
    OutOfReach(f64),
}

/// Result of a crossed study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Gauge {
    pub(super) parts: usize,
    pub(super) operators: usize,
    pub(super) trials: usize,
    pub(super) mean_mm: f64,
    pub(super) pooled: bool,
    pub(super) level: f64,
    pub(super) anova: Vec<AnovaRow>,
    pub(super) components: Vec<GaugeComponent>,
    pub(super) repeatability_freedom: f64,
}

impl Gauge {
    /// Lines measured.
    #[must_use]
    pub fn parts(&self) -> usize {
        self.parts
    }

    /// Operators.
    #[must_use]
    pub fn operators(&self) -> usize {
        self.operators
    }

    /// Readings per line and operator.
    #[must_use]
    pub fn trials(&self) -> usize {
        self.trials
    }

    /// Mean of all readings, mm.
    #[must_use]
    pub fn mean_mm(&self) -> f64 {
        self.mean_mm
    }

    /// Whether the interaction was pooled with repeatability.
    #[must_use]
    pub fn is_pooled(&self) -> bool {
        self.pooled
    }

    /// The analysis of variance, a row per source.
    #[must_use]
    pub fn anova(&self) -> &[AnovaRow] {
        &self.anova
    }

    /// The variance components, a row per source.
    #[must_use]
    pub fn components(&self) -> &[GaugeComponent] {
        &self.components
    }

    /// The component of a source; the interaction has none when pooled.
    #[must_use]
    pub fn component(&self, source: GaugeSource) -> Option<&GaugeComponent> {
        self.components.iter().find(|one| one.source == source)
    }

    fn sd_mm(&self, source: GaugeSource) -> f64 {
        self.component(source).map_or(0.0, |one| one.sd_mm)
    }

    /// Repeatability limit, mm: two readings of one line by one operator differ by more in one case of twenty
    /// ([`LIMIT_FACTOR`] times the repeatability).
    #[must_use]
    pub fn repeatability_limit_mm(&self) -> f64 {
        LIMIT_FACTOR * self.sd_mm(GaugeSource::Repeatability)
    }

    /// Reproducibility limit, mm: the same for two readings by two operators.
    #[must_use]
    pub fn reproducibility_limit_mm(&self) -> f64 {
        LIMIT_FACTOR * self.sd_mm(GaugeSource::Gauge)
    }

    /// How many classes of lines the gauge can tell apart, `√2 σ_part/σ_gauge` (not rounded); `None` for a perfect gauge.
    #[must_use]
    pub fn distinct_categories(&self) -> Option<f64> {
        let gauge = self.sd_mm(GaugeSource::Gauge);
        (gauge > 0.0).then(|| std::f64::consts::SQRT_2 * self.sd_mm(GaugeSource::Part) / gauge)
    }

    /// How many readings of each line one operator must take so that the standard uncertainty of their mean is at most
    /// `wanted_mm`: the least n with `σ²_o + σ²_po + σ²_e/n ≤ wanted²`. Operators do not average out by repeating.
    ///
    /// # Errors
    /// [`GaugeError::OutOfRange`] when `wanted_mm` is not a positive number.
    pub fn readings_needed(&self, wanted_mm: f64) -> Result<ReadingsNeeded, GaugeError> {
        let fixed = self.sd_mm(GaugeSource::Operator).powi(2) + self.sd_mm(GaugeSource::Interaction).powi(2);
        needed(fixed, self.sd_mm(GaugeSource::Repeatability), wanted_mm)
    }

    /// Degrees of freedom of the repeatability.
    #[must_use]
    pub fn repeatability_freedom(&self) -> f64 {
        self.repeatability_freedom
    }
}

/// The least number of readings with `fixed + sd²/n ≤ wanted²`.
pub(super) fn needed(fixed_mm2: f64, sd_mm: f64, wanted_mm: f64) -> Result<ReadingsNeeded, GaugeError> {
    if !(wanted_mm > 0.0 && wanted_mm.is_finite()) {
        return Err(GaugeError::OutOfRange { what: "wanted_mm", value: wanted_mm, expected: "a positive number" });
    }
    let room = wanted_mm * wanted_mm - fixed_mm2;
    let count = (sd_mm * sd_mm / room - 1e-9).ceil().max(1.0);
    if room <= 0.0 || count > f64::from(u32::MAX) {
        return Ok(ReadingsNeeded::OutOfReach(fixed_mm2.sqrt()));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and u32::MAX")]
    Ok(ReadingsNeeded::Readings(count as u32))
}

/// Coverage factor for a level: Student's t with so many degrees of freedom, or the normal's without.
pub(super) fn coverage(level: f64, freedom: Option<f64>) -> f64 {
    student_coverage(level, freedom.unwrap_or(f64::INFINITY)).unwrap_or(2.0)
}

impl fmt::Display for Gauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{} lines × {} operators × {} readings", self.parts, self.operators, self.trials)?;
        if self.pooled {
            writeln!(f, "operators and lines do not interact: pooled with repeatability")?;
        }
        writeln!(
            f,
            "{:<15}{:>9}{:>22}{:>12}",
            "source",
            "sd mm",
            format!("{:.0} % interval", 100.0 * self.level),
            "variance %"
        )?;
        for one in &self.components {
            let interval = one.interval.map_or_else(String::new, |interval| {
                format!("{:.2} … {:.2}", interval.lower_sd_mm(), interval.upper_sd_mm())
            });
            writeln!(f, "{:<15}{:>9.3}{interval:>22}{:>12.1}", one.source.name(), one.sd_mm, one.contribution_pct)?;
        }
        writeln!(
            f,
            "repeatability limit {:.2} mm, reproducibility limit {:.2} mm",
            self.repeatability_limit_mm(),
            self.reproducibility_limit_mm()
        )
    }
}
