//! The next check of every wing of a fleet.

use rayon::prelude::*;

use super::{DueSpec, DueTable, ForecastError, LinePaths, UsageRate, WhyNone, WingDue, WingFailure};
use crate::check::{Fleet, History};
use crate::wear::{WearFit, WearSpec};
use crate::wing::LineSet;

/// Checks at distinct hours that a wing needs for a forecast from its own points alone.
const CHECKS_FOR_OWN: usize = 3;

impl DueSpec {
    /// The next check of every wing of a fleet, from a wear fit. Wings are worked on in parallel with common random
    /// numbers; the result does not depend on the number of threads.
    ///
    /// *What a wing's forecast rests on.* The fit and the wing's own checks; the fit alone for a wing without checks,
    /// provided that the fit has a rate for every material in every row of its lines; otherwise the interval. A fit on
    /// fewer than five wings is not taken for a fleet: then a wing with checks at three or more distinct hours is fitted
    /// by itself (one model of wear on that wing alone, with the terms and the shape of `wear`), others have the interval.
    ///
    /// A wing that fails does not stop the others: it stands in [`DueTable::failures`].
    ///
    /// # Errors
    /// [`ForecastError`] when a setting or a limit is out of range.
    pub fn run(&self, fleet: &Fleet, wear: &WearFit) -> Result<DueTable, ForecastError> {
        self.validate()?;
        let usage = self.usage_spec().fit(fleet)?;
        let noise = wear.draw_noise(fleet, self.draw_seed(), self.draw_count());
        let seen_h = fleet.histories().iter().flat_map(|history| &history.checks).map(|check| check.hours_h);
        let spec = self.seen_until_or(seen_h.fold(0.0, f64::max));
        let few_wings = wear.diagnostics().iter().any(|diagnostic| diagnostic.code == "few_wings");
        let answers: Vec<Result<WingDue, WingFailure>> = fleet
            .histories()
            .par_iter()
            .map(|history| {
                let set = fleet.line_set(history);
                let usage = usage.of(history);
                let answer = if few_wings {
                    spec.by_itself(set, history, wear, usage.as_ref())
                } else if history.checks.iter().all(|check| check.readings.is_empty()) && !rates_known(set, wear) {
                    spec.wing(LinePaths::None(WhyNone::NeverMeasured), history, set, usage.as_ref())
                } else {
                    wear.path_draws(set, history, &noise)
                        .map_err(|source| ForecastError::Wear { wing: history.wing.id.clone(), source })
                        .and_then(|paths| spec.wing(LinePaths::Fit(&paths), history, set, usage.as_ref()))
                };
                answer.map_err(|error| WingFailure { wing: history.wing.id.clone(), message: error.to_string() })
            })
            .collect();
        let mut wings = Vec::with_capacity(answers.len());
        let mut failures = Vec::new();
        for answer in answers {
            match answer {
                Ok(wing) => wings.push(wing),
                Err(failure) => failures.push(failure),
            }
        }
        let table = DueTable::new(self.accepted_risk(), wings).with_failures(failures);
        Ok(if fleet.is_demo() { table.marked_demo() } else { table })
    }

    /// A wing of too small a fleet: its own points, where there are enough.
    fn by_itself(
        &self,
        set: &LineSet,
        history: &History,
        wear: &WearFit,
        usage: Option<&UsageRate>,
    ) -> Result<WingDue, ForecastError> {
        let mut hours: Vec<f64> =
            history.checks.iter().filter(|check| !check.readings.is_empty()).map(|check| check.hours_h).collect();
        hours.dedup();
        if hours.len() < CHECKS_FOR_OWN {
            return self.wing(LinePaths::None(WhyNone::FewWings), history, set, usage);
        }
        let failed = |source| ForecastError::Wear { wing: history.wing.id.clone(), source };
        let alone = History { line_set: 0, ..history.clone() };
        let alone = Fleet::new(vec![set.clone()], vec![alone])
            .map_err(|source| ForecastError::Alone { wing: history.wing.id.clone(), source })?;
        // a covariate is the same at all checks of one wing: it cannot be told from the rates
        let spec: WearSpec = wear.spec.clone().covariates(Vec::<String>::new());
        let own = spec.fit(&alone).map_err(failed)?;
        let noise = own.draw_noise(&alone, self.draw_seed(), self.draw_count());
        let paths = own.path_draws(set, history, &noise).map_err(failed)?;
        self.wing(LinePaths::Own(&paths), history, set, usage)
    }
}

/// Whether the fit has a rate for every material in every row of the set.
fn rates_known(set: &LineSet, wear: &WearFit) -> bool {
    set.lines().iter().enumerate().all(|(index, line)| {
        set.exposure_m(index).iter().filter(|exposure| exposure.length_m > 0.0).all(|exposure| {
            let name = format!("rate:{}:{}", exposure.material, line.row);
            wear.terms().iter().any(|term| term.term == name)
        })
    })
}
