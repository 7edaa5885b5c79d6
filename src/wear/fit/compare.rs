//! Likelihood-ratio tests between wear models.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::stats::mixed::Criterion;
use crate::wear::{Reduction, WearError, WearFit, WearSpec};

/// A likelihood-ratio test of a model against a smaller one within it, both by ML.
///
/// `statistic = D(smaller) − D(larger)`, against χ² with as many degrees of freedom as the larger has more parameters; where
/// a single variance is in question, which cannot be negative, against the even mixture of χ² with one degree fewer and χ²
/// with all (Self and Liang, J. Am. Stat. Assoc. 82, 1987, from memory).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LikelihoodRatio {
    /// What the larger model has more.
    pub tested: String,
    /// Deviance of the smaller model by ML.
    pub smaller_deviance: f64,
    /// Deviance of the larger model by ML.
    pub larger_deviance: f64,
    /// Their difference, at least 0.
    pub statistic: f64,
    /// Parameters more.
    pub freedom: usize,
    /// Chance of a statistic as large when the smaller model holds.
    pub p_value: f64,
}

impl WearSpec {
    /// Tests this model against a smaller one within it, on the same readings. Both are fitted by ML whatever their specs
    /// say, under the time shape of the larger one.
    ///
    /// # Errors
    /// [`WearError::NotNested`] when the smaller model is not within the larger, otherwise as [`WearSpec::fit`].
    pub fn likelihood_ratio(&self, smaller: &WearSpec, reduction: &Reduction) -> Result<LikelihoodRatio, WearError> {
        let large = self.clone().criterion(Criterion::Ml).fit_reduced(reduction)?;
        let basis = &large.components[0].basis;
        // where the options leave it open, the smaller has the further random terms of the larger
        let random = smaller.pinned().map_or(large.random, |pinned| pinned.random);
        let fit = |spec: &WearSpec, random| spec.clone().criterion(Criterion::Ml).fit_as(reduction, random, basis);
        let small = fit(smaller, random)?;
        // an average has no likelihood: its heaviest component stands for it
        if large.averaged { fit(self, large.random)?.against(&small) } else { large.against(&small) }
    }

    /// Tests each covariate of this model: the model with all of them against the one without it.
    ///
    /// # Errors
    /// As [`WearSpec::fit`].
    pub fn covariate_tests(&self, reduction: &Reduction) -> Result<Vec<LikelihoodRatio>, WearError> {
        self.covariates
            .iter()
            .map(|name| {
                let rest = self.covariates.iter().filter(|other| *other != name).cloned();
                self.likelihood_ratio(&self.clone().covariates(rest), reduction)
            })
            .collect()
    }
}

impl WearFit {
    fn against(&self, small: &WearFit) -> Result<LikelihoodRatio, WearError> {
        let fixed =
            |fit: &WearFit| -> Vec<String> { fit.mixed().fixed().iter().map(|effect| effect.name.clone()).collect() };
        let outer =
            |fit: &WearFit| -> Vec<String> { fit.mixed().outer().iter().map(|spread| spread.name.clone()).collect() };
        let (large_fixed, small_fixed) = (fixed(self), fixed(small));
        let (large_outer, small_outer) = (outer(self), outer(small));
        // one offset for all lies within offsets by model and row
        let many_offsets = large_fixed.iter().any(|name| name.starts_with("offset:"));
        let known = |name: &String| {
            large_fixed.contains(name) || large_outer.contains(name) || (many_offsets && name == "offset")
        };
        if let Some(term) = small_fixed.iter().chain(&small_outer).find(|name| !known(name)) {
            return Err(WearError::NotNested { term: term.clone() });
        }
        let inner = |fit: &WearFit| fit.random.line_rate;
        let shared = |fit: &WearFit| fit.random.model_rate;
        for (there, larger, name) in
            [(inner(small), inner(self), "line:rate"), (shared(small), shared(self), "model:material:row")]
        {
            if there && !larger {
                return Err(WearError::NotNested { term: name.to_owned() });
            }
        }
        let variances = self.mixed().theta().len().saturating_sub(small.mixed().theta().len());
        let freedom = large_fixed.len().saturating_sub(small_fixed.len()) + variances;
        let tested: Vec<String> = large_fixed
            .iter()
            .filter(|name| !small_fixed.contains(name))
            .cloned()
            .chain(large_outer.iter().filter(|name| !small_outer.contains(name)).map(|name| format!("sd:{name}")))
            .collect();
        let statistic = (small.deviance() - self.deviance()).max(0.0);
        let beyond = |freedom: usize| {
            if freedom == 0 {
                return if statistic > 0.0 { 0.0 } else { 1.0 };
            }
            ChiSquared::new(freedom as f64).map_or(1.0, |chi| chi.sf(statistic))
        };
        let p_value = if variances == 1 && freedom > 0 {
            0.5 * (beyond(freedom - 1) + beyond(freedom))
        } else {
            beyond(freedom)
        };
        Ok(LikelihoodRatio {
            tested: tested.join(", "),
            smaller_deviance: small.deviance(),
            larger_deviance: self.deviance(),
            statistic,
            freedom,
            p_value,
        })
    }
}
