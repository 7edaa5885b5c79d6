//! What the forecast of one wing may rest on: a fit, its own points, or nothing.

use std::borrow::Cow;

use crate::check::{Fleet, History};
use crate::forecast::{ForecastError, WhyNone};
use crate::wear::{BlockDraws, DrawNoise, FixedDraws, PathDraws, WearFit, WearSpec, WingSampler};
use crate::wing::LineSet;

/// Checks at distinct hours that a wing needs for a forecast from its own points alone.
const CHECKS_FOR_OWN: usize = 3;

/// Where a fit comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::forecast) enum Origin {
    /// From the fleet whose wings are forecast.
    ThisFleet,
    /// From elsewhere: it may know nothing of a wing's materials although the wing has readings.
    Saved,
}

/// A wing's paths and what they rest on.
pub(in crate::forecast) enum WingPaths<'s> {
    /// The fit, with the wing's own checks where it has any: to be drawn.
    Fit(WingSampler<'s>),
    /// The wing's own points alone.
    Own {
        paths: PathDraws,
        /// The fit to these points.
        fit: Box<WearFit>,
        why: WhyNone,
    },
    /// None.
    None(WhyNone),
}

/// A fit, ready to give the paths of any number of wings with common random numbers.
pub(in crate::forecast) struct PathSource<'a> {
    wear: Cow<'a, WearFit>,
    noise: DrawNoise,
    fixed: FixedDraws,
    seed: u64,
    draws: usize,
    origin: Origin,
    few_wings: bool,
}

impl<'a> PathSource<'a> {
    /// Noise is made for the wings of `fleet`.
    pub(in crate::forecast) fn new(
        wear: &'a WearFit,
        origin: Origin,
        fleet: &Fleet,
        seed: u64,
        draws: usize,
    ) -> Self {
        let wear = wear.parted();
        let noise = wear.draw_noise(fleet, seed, draws);
        let fixed = wear.fixed_draws(&noise);
        let few_wings = wear.diagnostics().iter().any(|diagnostic| diagnostic.code == "few_wings");
        Self { wear, noise, fixed, seed, draws, origin, few_wings }
    }

    /// The draws in blocks, for wings whose paths are drawn from the fit.
    pub(in crate::forecast) fn blocks(&self) -> Vec<BlockDraws> {
        self.fixed.blocks()
    }

    /// The paths of one wing.
    pub(in crate::forecast) fn paths(
        &self,
        set: &LineSet,
        history: &History,
    ) -> Result<WingPaths<'_>, ForecastError> {
        let saved = self.origin == Origin::Saved;
        if self.few_wings {
            return self.by_itself(set, history, if saved { WhyNone::FitFewWings } else { WhyNone::FewWings });
        }
        let read = history.checks.iter().any(|check| !check.readings.is_empty());
        if (saved || !read) && !self.wear.knows(set) {
            return self.by_itself(set, history, if saved { WhyNone::NotInFit } else { WhyNone::NeverMeasured });
        }
        let paths = self.wear.wing_sampler(set, history, &self.noise, &self.fixed);
        paths.map(WingPaths::Fit).map_err(|source| ForecastError::Wear { wing: history.wing.id.clone(), source })
    }

    /// The wing's own points, where there are enough.
    fn by_itself(&self, set: &LineSet, history: &History, why: WhyNone) -> Result<WingPaths<'_>, ForecastError> {
        let mut hours: Vec<f64> =
            history.checks.iter().filter(|check| !check.readings.is_empty()).map(|check| check.hours_h).collect();
        hours.dedup();
        if hours.len() < CHECKS_FOR_OWN {
            return Ok(WingPaths::None(why));
        }
        let failed = |source| ForecastError::Wear { wing: history.wing.id.clone(), source };
        let alone = History { line_set: 0, ..history.clone() };
        let alone = Fleet::new(vec![set.clone()], vec![alone])
            .map_err(|source| ForecastError::Alone { wing: history.wing.id.clone(), source })?;
        // a covariate is the same at all checks of one wing: it cannot be told from the rates
        let spec: WearSpec = self.wear.spec.clone().covariates(Vec::<String>::new());
        let own = spec.fit(&alone).map_err(failed)?;
        let noise = own.draw_noise(&alone, self.seed, self.draws);
        let paths = own.path_draws(set, history, &noise).map_err(failed)?;
        Ok(WingPaths::Own { paths, fit: Box::new(own), why })
    }
}
