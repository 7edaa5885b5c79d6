//! Intervals by profile likelihood and by parametric bootstrap.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::stats::mixed::{Block, MixedError, Parameter, ProfileInterval, ProfilePoint, Profiler};
use crate::wear::{Reduction, WearError, WearFit};

/// 95 % point of χ² with one degree of freedom.
const CHI2_95: f64 = 3.841_458_820_694_124;
/// 99 % of χ² with one degree of freedom.
const CHI2_99: f64 = 6.634_896_601_021_213;

/// How an interval was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum IntervalMethod {
    /// Estimate ± Student's t (Satterthwaite degrees of freedom) times the standard error.
    Wald,
    /// Values at which the likelihood, maximised over everything else, is not rejected: ML for terms, the fit's own
    /// criterion for spreads.
    Profile,
    /// 2.5 and 97.5 % points of refits to data simulated from the fit.
    Bootstrap,
}

impl IntervalMethod {
    /// `wald`, `profile` or `bootstrap`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            IntervalMethod::Wald => "wald",
            IntervalMethod::Profile => "profile",
            IntervalMethod::Bootstrap => "bootstrap",
        }
    }
}

/// A 95 % interval of one term, spread or correlation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct IntervalRow {
    /// The term, or `sd:{group}:{effect}`, or `correlation:wing`.
    pub parameter: String,
    /// How the interval was made.
    pub method: IntervalMethod,
    /// Estimate of the fit, in its unit (mm, or mm/m in the first 100 h).
    pub estimate: f64,
    /// Lower end (`None`: open).
    pub lower: Option<f64>,
    /// Upper end (`None`: open).
    pub upper: Option<f64>,
}

/// How the criterion rises as one parameter is held away from its estimate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ProfileCurve {
    /// The term, or `sd:{group}:{effect}`, or `correlation:wing`.
    pub parameter: String,
    /// Estimate of the fit.
    pub estimate: f64,
    /// Points from one end to the other.
    pub points: Vec<ProfilePoint>,
}

/// A parameter of the wear model by name.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Named {
    pub(crate) name: String,
    pub(crate) parameter: Parameter,
    pub(crate) estimate: f64,
}

impl WearFit {
    /// 95 % profile-likelihood intervals of every term, spread and correlation; `reduction` is the one that was fitted.
    ///
    /// Where the scale of the time shape was estimated, a term's interval is the union of its intervals at the scales that
    /// the readings leave open, each for the rise that is left there, so that the uncertainty of the scale is in it; those
    /// of spreads hold at the estimated scale.
    ///
    /// # Errors
    /// [`WearError`] when the reduction does not belong to the fit, or a constrained model cannot be fitted.
    pub fn profile_intervals(&self, reduction: &Reduction) -> Result<Vec<IntervalRow>, WearError> {
        let reduction = reduction.selecting(&self.spec.covariates)?;
        self.validate(&reduction)?;
        let blocks: Vec<Vec<Block>> =
            self.components.iter().map(|component| reduction.blocks(&self.layout, &component.basis, &[])).collect();
        let profilers = self
            .components
            .iter()
            .zip(&blocks)
            .map(|(component, blocks)| component.mixed.profiler(blocks))
            .collect::<Result<Vec<Profiler<'_>>, MixedError>>()?;
        let lowest = profilers.iter().map(Profiler::ml_deviance).fold(f64::INFINITY, f64::min);
        self.named()
            .par_iter()
            .map(|named| {
                let over = if let Parameter::Fixed(_) = named.parameter { &profilers[..] } else { &profilers[..1] };
                let mut whole: Option<ProfileInterval> = None;
                for profiler in over {
                    let rise = match named.parameter {
                        Parameter::Fixed(_) => CHI2_95 - (profiler.ml_deviance() - lowest),
                        _ => CHI2_95,
                    };
                    if rise <= 0.0 {
                        continue;
                    }
                    let found = profiler.interval(named.parameter, rise)?;
                    whole = Some(whole.map_or(found, |so_far| union(so_far, found)));
                }
                let whole = whole.unwrap_or(ProfileInterval { lower: None, upper: None });
                Ok(IntervalRow {
                    parameter: named.name.clone(),
                    method: IntervalMethod::Profile,
                    estimate: named.estimate,
                    lower: whole.lower,
                    upper: whole.upper,
                })
            })
            .collect()
    }

    /// Profiles of every term, spread and correlation under the reported time shape, each at `points` values over its 99 % range;
    /// `reduction` is the one that was fitted.
    ///
    /// # Errors
    /// As [`WearFit::profile_intervals`].
    pub fn profile_curves(&self, reduction: &Reduction, points: usize) -> Result<Vec<ProfileCurve>, WearError> {
        let reduction = reduction.selecting(&self.spec.covariates)?;
        self.validate(&reduction)?;
        let blocks = reduction.blocks(&self.layout, &self.components[0].basis, &[]);
        let profiler = self.mixed().profiler(&blocks)?;
        self.named()
            .par_iter()
            .map(|named| {
                let points = profiler.curve(named.parameter, CHI2_99, points)?;
                Ok(ProfileCurve { parameter: named.name.clone(), estimate: named.estimate, points })
            })
            .collect()
    }

    /// Every parameter of the model, by name.
    pub(crate) fn named(&self) -> Vec<Named> {
        let mixed = self.mixed();
        let mut out: Vec<Named> = mixed
            .fixed()
            .iter()
            .enumerate()
            .map(|(place, effect)| Named {
                name: effect.name.clone(),
                parameter: Parameter::Fixed(place),
                estimate: effect.estimate,
            })
            .collect();
        let mut add = |name: &str, parameter, estimate: Option<f64>| {
            if let Some(estimate) = estimate {
                out.push(Named { name: name.to_owned(), parameter, estimate });
            }
        };
        let sd = |term: usize, effect: usize| mixed.outer().get(term).and_then(|s| s.sd.get(effect).copied());
        if let Some(term) = self.layout.wing {
            add("sd:wing:offset", Parameter::Outer { term, effect: 0 }, sd(term, 0));
            add("sd:wing:rate", Parameter::Outer { term, effect: 1 }, sd(term, 1));
            let correlation = mixed.outer().get(term).and_then(|spread| spread.correlation.get(2).copied());
            add("correlation:wing", Parameter::Correlation { term }, correlation);
        }
        if let Some(term) = self.layout.wing_row {
            add("sd:wing:row:rate", Parameter::Outer { term, effect: 0 }, sd(term, 0));
        }
        if let Some(term) = self.layout.check {
            add("sd:check:offset", Parameter::Outer { term, effect: 0 }, sd(term, 0));
        }
        add("sd:line:offset", Parameter::Inner, mixed.inner_sd());
        add("sd:line:rate", Parameter::InnerSlope, mixed.inner_slope_sd());
        add("sd:model:rate", Parameter::Shared(0), mixed.shared_sd().first().copied());
        add("sd:reading:offset", Parameter::Reading, Some(mixed.sigma()));
        out
    }

    /// Whether the fit came from a reduction like this one.
    pub(crate) fn validate(&self, reduction: &Reduction) -> Result<(), WearError> {
        let (readings, wings) = (reduction.readings(), reduction.wings.len());
        if (readings, wings) == (self.readings(), self.wings()) {
            return Ok(());
        }
        Err(WearError::OtherReduction {
            readings,
            wings,
            fitted_readings: self.readings(),
            fitted_wings: self.wings(),
        })
    }
}

fn union(a: ProfileInterval, b: ProfileInterval) -> ProfileInterval {
    let ends = |a: Option<f64>, b: Option<f64>, pick: fn(f64, f64) -> f64| a.zip(b).map(|(a, b)| pick(a, b));
    ProfileInterval { lower: ends(a.lower, b.lower, f64::min), upper: ends(a.upper, b.upper, f64::max) }
}
