//! Crossed gauge study: every operator reads every line, several times each.

use std::fmt;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::anova::{AnovaRow, Crossed, GaugeReading, MeanSquare};
use super::interval::{Term, VarianceInterval, exact, modified_large_sample, value};
use super::repeats::{balanced, gauge_readings};
use super::{GaugeError, LIMIT_FACTOR};
use crate::check::Check;
use crate::wing::LineSet;

/// What to do with the interaction of operators and lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Interaction {
    /// Pool it with repeatability unless its p value is below the limit.
    #[default]
    Auto,
    /// Keep it.
    Keep,
    /// Pool it with repeatability.
    Pool,
}

/// How to analyse a crossed study.
///
/// | setting | default | reason |
/// |---|---|---|
/// | `level` | 0.95 | of the intervals |
/// | `interaction` | auto | kept where it shows |
/// | `pool_above` | 0.25 | p value above which it is pooled (practice in gauge studies) |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GaugeSpec {
    level: f64,
    interaction: Interaction,
    pool_above: f64,
}

impl Default for GaugeSpec {
    fn default() -> Self {
        Self { level: 0.95, interaction: Interaction::Auto, pool_above: 0.25 }
    }
}

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
    parts: usize,
    operators: usize,
    trials: usize,
    mean_mm: f64,
    pooled: bool,
    level: f64,
    anova: Vec<AnovaRow>,
    components: Vec<GaugeComponent>,
    repeatability_freedom: f64,
}

impl GaugeSpec {
    /// Level of the intervals, between 0 and 1.
    #[must_use]
    pub fn level(mut self, level: f64) -> Self {
        self.level = level;
        self
    }

    /// What to do with the interaction.
    #[must_use]
    pub fn interaction(mut self, interaction: Interaction) -> Self {
        self.interaction = interaction;
        self
    }

    /// p value above which the interaction is pooled, 0 to 1.
    #[must_use]
    pub fn pool_above(mut self, p_value: f64) -> Self {
        self.pool_above = p_value;
        self
    }

    /// Analyses a study by the analysis of variance. With `p` lines, `o` operators, `r` readings each and the interaction
    /// kept: `σ²_e = MS_e`, `σ²_po = (MS_po − MS_e)/r`, `σ²_o = (MS_o − MS_po)/(p r)`, `σ²_p = (MS_p − MS_po)/(o r)`; pooled,
    /// `MS_po` and `MS_e` are one. With one reading each the interaction cannot be told from repeatability and is pooled.
    ///
    /// Source: Automotive Industry Action Group, Measurement Systems Analysis, 4th ed., 2010, and Burdick, Borror and
    /// Montgomery 2003 (memory).
    ///
    /// # Errors
    /// [`GaugeError`]: fewer than two lines or operators, cells of unequal numbers, a value that is not finite, a setting
    /// out of its range.
    pub fn run(&self, readings: &[GaugeReading]) -> Result<Gauge, GaugeError> {
        for (what, value) in [("level", self.level), ("pool_above", self.pool_above)] {
            if !(value > 0.0 && value < 1.0) {
                return Err(GaugeError::OutOfRange { what, value, expected: "a number between 0 and 1" });
            }
        }
        let sums = Crossed::new(readings)?;
        let p_interaction = if sums.trials > 1 { sums.interaction.p_value(sums.error) } else { None };
        let pooled = sums.trials < 2
            || match self.interaction {
                Interaction::Auto => p_interaction.is_none_or(|p| p > self.pool_above),
                Interaction::Keep => false,
                Interaction::Pool => true,
            };
        let error = if pooled { sums.error.pooled(sums.interaction) } else { sums.error };
        let against = if pooled { error } else { sums.interaction };
        let mut anova = vec![sums.operator.row("operator", Some(against)), sums.part.row("part", Some(against))];
        if !pooled {
            anova.push(sums.interaction.row("interaction", Some(sums.error)));
        }
        anova.push(error.row("repeatability", None));
        let components = self.components(&sums, error, against, pooled);
        Ok(Gauge {
            parts: sums.parts,
            operators: sums.operators,
            trials: sums.trials,
            mean_mm: sums.mean,
            pooled,
            level: self.level,
            anova,
            components,
            repeatability_freedom: error.freedom,
        })
    }

    /// Analyses a check by its repeats and operators: the lines that every operator read, each with as many readings as the
    /// fewest of them has. Readings as they stand, without corrections.
    ///
    /// # Errors
    /// As [`GaugeSpec::run`]; [`GaugeError::TooFew`] also when no two lines were read by every operator.
    pub fn run_check(&self, set: &LineSet, check: &Check) -> Result<Gauge, GaugeError> {
        self.run(&balanced(&gauge_readings(set, check), 1))
    }

    fn components(
        &self,
        sums: &Crossed,
        error: MeanSquare,
        against: MeanSquare,
        pooled: bool,
    ) -> Vec<GaugeComponent> {
        let (p, o, r) = (sums.parts as f64, sums.operators as f64, sums.trials as f64);
        let term = |coefficient, square| Term { coefficient, square };
        let of_operator = 1.0 / (p * r);
        let of_part = 1.0 / (o * r);
        let mut sources = vec![
            (GaugeSource::Repeatability, vec![term(1.0, error)]),
            (GaugeSource::Operator, vec![term(of_operator, sums.operator), term(-of_operator, against)]),
        ];
        let mut gauge = vec![term(of_operator, sums.operator)];
        if pooled {
            gauge.push(term(1.0 - of_operator, error));
        } else {
            sources.push((GaugeSource::Interaction, vec![term(1.0 / r, sums.interaction), term(-1.0 / r, error)]));
            gauge.extend([term(1.0 / r - of_operator, sums.interaction), term(1.0 - 1.0 / r, error)]);
        }
        let mut total = gauge.clone();
        total.extend([term(of_part, sums.part), term(-of_part, against)]);
        sources.extend([
            (GaugeSource::Gauge, gauge),
            (GaugeSource::Part, vec![term(of_part, sums.part), term(-of_part, against)]),
            (GaugeSource::Total, merged(&total)),
        ]);
        let mut found: Vec<GaugeComponent> = sources
            .into_iter()
            .map(|(source, terms)| {
                let estimate_mm2 = value(&terms);
                let interval = match source {
                    GaugeSource::Repeatability => exact(error, self.level),
                    _ => modified_large_sample(&terms, self.level),
                };
                GaugeComponent {
                    source,
                    estimate_mm2,
                    sd_mm: estimate_mm2.max(0.0).sqrt(),
                    interval,
                    contribution_pct: 0.0,
                    study_variation_pct: 0.0,
                }
            })
            .collect();
        // where a component came out negative, the sums are of what is left of them
        let sum = |of: &[GaugeSource], found: &[GaugeComponent]| -> f64 {
            found.iter().filter(|one| of.contains(&one.source)).map(|one| one.sd_mm * one.sd_mm).sum()
        };
        let measuring = [GaugeSource::Repeatability, GaugeSource::Operator, GaugeSource::Interaction];
        let gauge_mm2 = sum(&measuring, &found);
        let total_mm2 = gauge_mm2 + sum(&[GaugeSource::Part], &found);
        for one in &mut found {
            match one.source {
                GaugeSource::Gauge => one.sd_mm = gauge_mm2.sqrt(),
                GaugeSource::Total => one.sd_mm = total_mm2.sqrt(),
                _ => {}
            }
            if total_mm2 > 0.0 {
                one.contribution_pct = 100.0 * one.sd_mm * one.sd_mm / total_mm2;
                one.study_variation_pct = 100.0 * one.sd_mm / total_mm2.sqrt();
            }
        }
        found
    }
}

/// Terms of the same mean square put together, so that no term stands with both signs.
fn merged(terms: &[Term]) -> Vec<Term> {
    let mut all: Vec<Term> = Vec::new();
    for term in terms {
        match all.iter_mut().find(|known| known.square == term.square) {
            Some(known) => known.coefficient += term.coefficient,
            None => all.push(*term),
        }
    }
    all
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
    let at = 0.5 * (1.0 + level);
    freedom
        .and_then(|freedom| StudentsT::new(0.0, 1.0, freedom).ok())
        .map(|t| t.inverse_cdf(at))
        .or_else(|| Normal::new(0.0, 1.0).ok().map(|normal| normal.inverse_cdf(at)))
        .unwrap_or(2.0)
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
