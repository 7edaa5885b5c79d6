//! Crossed gauge study: every operator reads every line, several times each.

use serde::{Deserialize, Serialize};

use super::GaugeError;
use super::anova::{Crossed, GaugeReading, MeanSquare};
use super::gauge::{Gauge, GaugeComponent, GaugeSource};
use super::interval::{Term, exact, modified_large_sample, value};
use super::repeats::{balanced, gauge_readings};
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
///
/// ```
/// use linedrift::check::repeatability::{GaugeReading, GaugeSpec};
///
/// // two operators read three lines twice
/// let reading = |part: &str, operator: &str, value_mm: f64| GaugeReading {
///     part: part.to_owned(),
///     operator: operator.to_owned(),
///     value_mm,
/// };
/// let mut readings = Vec::new();
/// for (part, values) in [("A1", [2.0, 3.0, 2.0, 4.0]), ("A2", [-5.0, -5.0, -6.0, -4.0]), ("A3", [0.0, 1.0, 1.0, 1.0])] {
///     for (operator, pair) in [("one", [values[0], values[1]]), ("two", [values[2], values[3]])] {
///         readings.extend(pair.map(|value_mm| reading(part, operator, value_mm)));
///     }
/// }
/// let gauge = GaugeSpec::default().run(&readings)?;
/// println!("{gauge}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
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

impl GaugeSpec {
    setters! {
        /// Level of the intervals, between 0 and 1.
        level: f64;
        /// What to do with the interaction.
        interaction: Interaction;
        /// p value above which the interaction is pooled, 0 to 1.
        pool_above: f64;
    }

    /// Analyses a study by the analysis of variance. With `p` lines, `o` operators, `r` readings each and the interaction
    /// kept: `σ²_e = MS_e`, `σ²_po = (MS_po − MS_e)/r`, `σ²_o = (MS_o − MS_po)/(p r)`, `σ²_p = (MS_p − MS_po)/(o r)`; pooled,
    /// `MS_po` and `MS_e` are one. With one reading each the interaction cannot be told from repeatability and is pooled.
    ///
    /// Source: Automotive Industry Action Group, Measurement Systems Analysis, 4th ed., 2010, and Burdick, Borror and
    /// Montgomery 2003 (from memory).
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
