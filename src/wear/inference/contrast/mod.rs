//! Questions of a wear fit: does this material drift more than that one, this row more than that one, and by how much.
//!
//! A contrast is a sum of named quantities, each with a factor: terms of the model (`rate:uhmwpe:C`, or short `uhmwpe:C`), a material's
//! mean rate over the rows that all materials named so have (`uhmwpe`), the mean drift of a model's row (`drift:MODEL:C`, over the
//! first 100 h, or `drift:MODEL:C@250`, at 250 h). Estimates are linear in the fixed effects, so standard errors come from their
//! covariance, degrees of freedom after Satterthwaite.

mod quantity;
mod text;

use std::fmt;

use serde::{Deserialize, Serialize};

use self::quantity::Quantity;
use crate::stats::contrast::adjust;
use crate::stats::{ContrastRow, Simultaneous};
use crate::wear::fit::wear_fit::{Component, EffectWeights};
use crate::wear::{Shape, WearError, WearFit};
use crate::wing::{LineSet, Row};

/// Which rates are compared pair by pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Pairs {
    /// Materials with each other, within each row.
    Materials,
    /// Rows with each other, within each material.
    Rows,
    /// All rates with each other.
    Rates,
}

/// What to ask of a wear fit.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `contrast` | none | one question each |
/// | `pairs` | none | all pairs of one kind; their intervals hold together |
/// | `simultaneous` | each by itself | a question asked by itself needs no adjustment; several looked through for the largest do |
/// | `level` | 0.95 | the level of all intervals |
///
/// ```
/// use linedrift::WearSpec;
/// use linedrift::simulate::FleetSpec;
/// use linedrift::wear::{ContrastSpec, Pairs};
///
/// let fleet = FleetSpec::default().wings(12).seed(7).run()?.fleet;
/// let fit = WearSpec::default().fit(&fleet)?;
/// let asked = ContrastSpec::default().contrast("uhmwpe:C - uhmwpe:A").pairs(Pairs::Rows);
/// println!("{}", asked.run(&fit, fleet.line_sets())?);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ContrastSpec {
    contrasts: Vec<String>,
    pairs: Vec<Pairs>,
    simultaneous: bool,
    level: f64,
}

impl Default for ContrastSpec {
    fn default() -> Self {
        Self { contrasts: Vec::new(), pairs: Vec::new(), simultaneous: false, level: 0.95 }
    }
}

/// One answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct WearContrast {
    /// Estimate, standard error, degrees of freedom, interval and p.
    #[serde(flatten)]
    pub row: ContrastRow,
    /// Unit of the estimate: `mm`, `mm/m` (in the first 100 h), or `mm/m per {covariate}`.
    pub unit: String,
}

/// The answers, in the order asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WearContrasts {
    rows: Vec<WearContrast>,
    level: f64,
}

impl WearContrasts {
    /// One row per contrast.
    #[must_use]
    pub fn rows(&self) -> &[WearContrast] {
        &self.rows
    }

    /// Level of the intervals.
    #[must_use]
    pub fn level(&self) -> f64 {
        self.level
    }
}

impl ContrastSpec {
    /// One more question, such as `uhmwpe:C - lcp:C` or `0.5*uhmwpe:C + 0.5*uhmwpe:D - uhmwpe:A`. Signs between quantities
    /// stand between blanks, so that names may hold hyphens.
    #[must_use]
    pub fn contrast(mut self, contrast: impl Into<String>) -> Self {
        self.contrasts.push(contrast.into());
        self
    }

    /// All pairs of one kind.
    #[must_use]
    pub fn pairs(mut self, pairs: Pairs) -> Self {
        self.pairs.push(pairs);
        self
    }

    /// The questions given one by one are to hold together too, as pairs always do.
    #[must_use]
    pub fn simultaneous(mut self) -> Self {
        self.simultaneous = true;
        self
    }

    setters! {
        /// Level of the intervals, above 0 and below 1.
        level: f64;
    }

    /// What is true of the questions asked one by one, where terms have known values and wear a known time shape.
    ///
    /// # Errors
    /// As [`ContrastSpec::run`].
    pub(crate) fn values(
        &self,
        fit: &WearFit,
        sets: &[LineSet],
        shape: Shape,
        value: &dyn Fn(&str) -> f64,
    ) -> Result<Vec<f64>, WearError> {
        let fixed = &fit.layout.structure.fixed;
        self.contrasts
            .iter()
            .map(|text| {
                let weights = Quantity::parse(fit, sets, text)?.weights(fit, &shape.into());
                Ok(fixed.iter().zip(weights.fixed).map(|(name, weight)| weight * value(name)).sum())
            })
            .collect()
    }

    /// Answers. `sets` are the line sets whose rows drifts are asked of (none needed for terms).
    ///
    /// # Errors
    /// [`WearError::Contrast`] for a name that the fit does not know, a term that was dropped or quantities of different units;
    /// [`WearError::Level`].
    pub fn run(&self, fit: &WearFit, sets: &[LineSet]) -> Result<WearContrasts, WearError> {
        if !(self.level > 0.0 && self.level < 1.0) {
            return Err(WearError::Level { got: self.level });
        }
        let mut rows = Vec::new();
        let asked =
            self.contrasts.iter().map(|text| Quantity::parse(fit, sets, text)).collect::<Result<Vec<_>, _>>()?;
        fit.answer(&asked, self.level, self.simultaneous, &mut rows);
        for kind in &self.pairs {
            let pairs = pairs_of(fit, *kind);
            if pairs.is_empty() {
                let what = "the fit has no two such rates".to_owned();
                return Err(WearError::Contrast { contrast: "all pairs".to_owned(), what });
            }
            fit.answer(&pairs, self.level, true, &mut rows);
        }
        Ok(WearContrasts { rows, level: self.level })
    }
}

/// All pairs of one kind among the rates that were kept.
fn pairs_of(fit: &WearFit, kind: Pairs) -> Vec<Quantity<'static>> {
    let rates: Vec<(&str, Row)> = fit
        .layout
        .materials()
        .flat_map(|material| Row::ALL.into_iter().map(move |row| (material, row)))
        .filter(|(material, row)| fit.has_rate(material, *row))
        .collect();
    let mut out = Vec::new();
    for (place, a) in rates.iter().enumerate() {
        for b in &rates[place + 1..] {
            let wanted = match kind {
                Pairs::Materials => a.1 == b.1,
                Pairs::Rows => a.0 == b.0,
                Pairs::Rates => true,
            };
            if wanted {
                out.extend(Quantity::difference(fit, *a, *b));
            }
        }
    }
    out
}

impl WearFit {
    /// Estimates of some quantities, together with their covariance.
    fn answer(&self, asked: &[Quantity<'_>], level: f64, together: bool, out: &mut Vec<WearContrast>) {
        let joint = Joint::new(self, asked);
        let n = asked.len();
        let mut rows: Vec<ContrastRow> = asked
            .iter()
            .enumerate()
            .map(|(k, quantity)| {
                let se = joint.covariance[k * n + k].max(0.0).sqrt();
                ContrastRow::new(quantity.name.clone(), joint.estimates[k], se, joint.freedom[k], level)
            })
            .collect();
        if together && n > 1 {
            adjust(&mut rows, &joint.covariance, level);
        }
        out.extend(
            rows.into_iter().zip(asked).map(|(row, quantity)| WearContrast { row, unit: quantity.unit.name() }),
        );
    }
}

/// Several quantities under the reported model, their covariance that of the estimates and of the open time shapes together.
struct Joint {
    estimates: Vec<f64>,
    /// Row-major.
    covariance: Vec<f64>,
    freedom: Vec<f64>,
}

impl Joint {
    fn new(fit: &WearFit, asked: &[Quantity<'_>]) -> Self {
        let n = asked.len();
        let parts: Vec<Part> = fit.components.iter().map(|component| Part::new(fit, component, asked)).collect();
        let reported = parts.first().map_or_else(Vec::new, |part| part.estimates.clone());
        let mut estimates = reported;
        if fit.averaged {
            let mean = |k: usize| parts.iter().map(|part| part.weight * part.estimates[k]).sum();
            estimates = (0..n).map(mean).collect();
        }
        let mut covariance = vec![0.0; n * n];
        for part in parts.iter().filter(|part| part.weight > 0.0) {
            for i in 0..n {
                for j in 0..n {
                    let apart = (part.estimates[i] - estimates[i]) * (part.estimates[j] - estimates[j]);
                    covariance[i * n + j] += part.weight * (part.covariance[i * n + j] + apart);
                }
            }
        }
        let freedom = parts.into_iter().next().map_or_else(Vec::new, |part| part.freedom);
        Self { estimates, covariance, freedom }
    }
}

/// The same under one component.
struct Part {
    weight: f64,
    estimates: Vec<f64>,
    covariance: Vec<f64>,
    freedom: Vec<f64>,
}

impl Part {
    fn new(fit: &WearFit, component: &Component, asked: &[Quantity<'_>]) -> Self {
        let mixed = &component.mixed;
        let kept = |weights: EffectWeights| -> Vec<f64> {
            let fixed = mixed.fixed().iter().map(|effect| weights.fixed.get(effect.column).copied().unwrap_or(0.0));
            weights.shared.iter().copied().chain(fixed).collect()
        };
        let weights: Vec<Vec<f64>> =
            asked.iter().map(|quantity| kept(quantity.weights(fit, &component.basis))).collect();
        let values: Vec<f64> = mixed
            .shared_effects()
            .iter()
            .copied()
            .chain(mixed.fixed().iter().map(|effect| effect.estimate))
            .collect();
        let estimates = weights.iter().map(|w| w.iter().zip(&values).map(|(w, value)| w * value).sum()).collect();
        let covariance =
            weights.iter().flat_map(|a| weights.iter().map(|b| mixed.effects_covariance(a, b))).collect();
        let freedom = weights.iter().map(|weights| mixed.effect_freedom(weights)).collect();
        Self { weight: component.weight, estimates, covariance, freedom }
    }
}

impl fmt::Display for WearContrasts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = 100.0 * self.level;
        writeln!(f, "Contrasts (mm/m: rates in the first 100 h; df after Satterthwaite)")?;
        writeln!(
            f,
            "{:<24} {:>9} {:>8} {:>7}  {:>19} {:>7}",
            "",
            "estimate",
            "se",
            "df",
            format!("{percent:.0} % interval"),
            "p"
        )?;
        for WearContrast { row, unit } in &self.rows {
            let df = df_text(row.df);
            let (lower, upper, p) = row
                .simultaneous
                .map_or((row.lower, row.upper, row.p), |all: Simultaneous| (all.lower, all.upper, all.p));
            let name = format!("{} [{unit}]", row.contrast);
            if name.chars().count() > 24 {
                writeln!(f, "{name}")?;
            }
            let name = if name.chars().count() > 24 { "" } else { &name };
            writeln!(
                f,
                "{name:<24} {:>+9.4} {:>8.4} {df:>7}  {lower:>+9.4} {upper:>+9.4} {:>7}",
                row.estimate,
                row.se,
                p_text(p)
            )?;
        }
        let together = self.rows.iter().filter(|row| row.row.simultaneous.is_some()).count();
        if together > 0 {
            writeln!(
                f,
                "Intervals and p of {together} contrasts hold for all of a family together\n(single step, multivariate t)."
            )?;
        }
        Ok(())
    }
}

/// Degrees of freedom in seven characters.
pub(crate) fn df_text(df: f64) -> String {
    if df < 1e5 { format!("{df:.1}") } else { "normal".to_owned() }
}

/// A p-value in seven characters.
pub(crate) fn p_text(p: Option<f64>) -> String {
    match p {
        None => "-".to_owned(),
        Some(p) if p < 1e-4 => "<0.0001".to_owned(),
        Some(p) => format!("{p:.4}"),
    }
}
