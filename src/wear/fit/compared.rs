//! Wear models beside each other: nested ones by a likelihood-ratio test, any by AIC and BIC.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::stats::mixed::Criterion;
use crate::wear::inference::contrast::p_text;
use crate::wear::{
    LikelihoodRatio, OffsetOption, Reduction, Shape, ShapeChoice, TermsOption, WearError, WearFit, WearSpec,
    WingEffects,
};

/// One model among several fitted to the same readings by ML.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ComparedModel {
    /// How it differs from the first one; empty for the first.
    pub change: String,
    /// Time shape that it was fitted with.
    pub shape: String,
    /// Scale of the time shape, h.
    pub scale_h: Option<f64>,
    /// Parameters: fixed effects, spreads and correlations, the scale of the time shape where it was estimated.
    pub parameters: usize,
    /// −2 log likelihood.
    pub deviance: f64,
    /// Akaike's criterion, `deviance + 2·parameters`.
    pub aic: f64,
    /// Schwarz's criterion, `deviance + parameters · ln(wings)`: wings are what is independent.
    pub bic: f64,
    /// Akaike's weight among the models compared.
    pub weight: f64,
    /// Test against the first model, where one lies within the other and both have the time shape of the larger.
    pub test: Option<LikelihoodRatio>,
}

impl WearSpec {
    /// Fits this model and others to the same readings by ML, whatever their criteria, and sets them beside each other; each
    /// comes with a word on how it differs.
    ///
    /// Whichever of a pair lies within the other is tested against it. Models that do not are compared by AIC and BIC only: a
    /// likelihood-ratio test does not hold for them.
    ///
    /// # Errors
    /// As [`WearSpec::fit`].
    pub fn compare(&self, others: &[Alternative], reduction: &Reduction) -> Result<Vec<ComparedModel>, WearError> {
        let by_ml = |spec: &WearSpec| spec.clone().criterion(Criterion::Ml).fit_reduced(reduction);
        let own = by_ml(self)?;
        let mut out = vec![ComparedModel::new(String::new(), self, &own, None)];
        for Alternative { change, spec } in others {
            let fit = by_ml(spec)?;
            let test = match spec.likelihood_ratio(self, reduction) {
                Err(WearError::NotNested { .. }) => match self.likelihood_ratio(spec, reduction) {
                    Err(WearError::NotNested { .. }) => None,
                    tested => Some(tested?),
                },
                tested => Some(tested?),
            };
            out.push(ComparedModel::new(change.clone(), spec, &fit, test.filter(|test| test.freedom > 0)));
        }
        let least = out.iter().map(|model| model.aic).fold(f64::INFINITY, f64::min);
        let sum: f64 = out.iter().map(|model| (-(model.aic - least) / 2.0).exp()).sum();
        for model in &mut out {
            model.weight = (-(model.aic - least) / 2.0).exp() / sum;
        }
        Ok(out)
    }
}

/// A model to compare another with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alternative {
    /// How it differs, as it is to be named.
    pub change: String,
    /// The model.
    pub spec: WearSpec,
}

impl Alternative {
    /// A model that differs from `base` as a text says: `terms=rate`, `wing-effects=rate+row`, `offsets=model+row`,
    /// `shape=log`, `scale-h=40`, `covariate=NAME` (one more), `no-covariates`; several with commas between.
    ///
    /// # Errors
    /// [`WearError::Change`] for a word that is not among these.
    pub fn parse(base: &WearSpec, text: &str) -> Result<Self, WearError> {
        let refuse = |part: &str| WearError::Change { change: part.to_owned() };
        let mut spec = base.clone();
        let mut scale_h = None;
        for part in text.split(',').map(str::trim) {
            spec = match part.split_once('=').unwrap_or((part, "")) {
                ("terms", "rate") => spec.terms(TermsOption::Rate),
                ("terms", "rate+span") => spec.terms(TermsOption::RateSpan),
                ("wing-effects", "rate") => spec.wing_effects(WingEffects::Rate),
                ("wing-effects", "rate+row") => spec.wing_effects(WingEffects::RateRow),
                ("offsets", "common") => spec.offsets(OffsetOption::Common),
                ("offsets", "model+row") => spec.offsets(OffsetOption::ModelRow),
                ("shape", "linear") => spec.shape(Shape::LINEAR),
                ("shape", "log") => spec.shape(ShapeChoice::Log),
                ("shape", "saturating") => spec.shape(ShapeChoice::Saturating),
                ("shape", "auto") => spec.shape(ShapeChoice::Auto),
                ("scale-h", hours) => {
                    scale_h = Some(hours.parse::<f64>().map_err(|_| refuse(part))?);
                    spec
                }
                ("covariate", name) if !name.is_empty() => {
                    let names: Vec<String> = spec.covariates.iter().cloned().chain([name.to_owned()]).collect();
                    spec.covariates(names)
                }
                ("no-covariates", "") => spec.covariates(Vec::<String>::new()),
                _ => return Err(refuse(part)),
            };
        }
        if let Some(scale_h) = scale_h {
            spec = match spec.shape {
                ShapeChoice::Log => spec.shape(Shape::Log { scale_h }),
                ShapeChoice::Saturating => spec.shape(Shape::Saturating { scale_h }),
                _ => return Err(refuse("scale-h")),
            };
        }
        Ok(Self { change: text.trim().to_owned(), spec })
    }
}

impl ComparedModel {
    fn new(change: String, spec: &WearSpec, fit: &WearFit, test: Option<LikelihoodRatio>) -> Self {
        let estimated = fit.shape().scale_h().is_some() && !matches!(spec.shape, ShapeChoice::Given(_));
        let parameters = fit.mixed().parameters() + usize::from(estimated);
        let p = parameters as f64;
        let deviance = fit.deviance();
        Self {
            change,
            shape: fit.shape().name().to_owned(),
            scale_h: fit.shape().scale_h(),
            parameters,
            deviance,
            aic: deviance + 2.0 * p,
            bic: deviance + p * (fit.wings() as f64).ln(),
            weight: 0.0,
            test,
        }
    }
}

/// The table on one screen; nothing for fewer than two models.
pub(super) fn write_compared(models: &[ComparedModel], f: &mut fmt::Formatter<'_>) -> fmt::Result {
    if models.len() < 2 {
        return Ok(());
    }
    let least = models.iter().map(|model| model.aic).fold(f64::INFINITY, f64::min);
    let lowest = models.iter().map(|model| model.bic).fold(f64::INFINITY, f64::min);
    writeln!(f, "\nModels compared (by ML; AIC and BIC above the lowest, {least:.1} and {lowest:.1})")?;
    writeln!(
        f,
        "{:<22} {:>4} {:>12} {:>8} {:>8}  {:>9} {:>2} {:>7}",
        "", "par", "deviance", "AIC", "BIC", "LR test", "df", "p"
    )?;
    for model in models {
        let name = if model.change.is_empty() { "this model" } else { &model.change };
        write!(
            f,
            "{name:<22.22} {:>4} {:>12.2} {:>8.1} {:>8.1}  ",
            model.parameters,
            model.deviance,
            model.aic - least,
            model.bic - lowest
        )?;
        match &model.test {
            Some(test) => {
                writeln!(f, "{:>9.2} {:>2} {:>7}", test.statistic, test.freedom, p_text(Some(test.p_value)))?;
            }
            None => writeln!(f)?,
        }
    }
    Ok(())
}
