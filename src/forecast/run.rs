//! The next check of every wing of a fleet.

use rayon::prelude::*;

use super::path_source::{Origin, PathSource, WingPaths};
use super::{DueSpec, DueTable, ForecastError, LinePaths, UsageRate, WhyNone, WingDue, WingFailure};
use crate::check::{Fleet, History};
use crate::wear::{DemoFit, SavedFit, WearFit};

impl DueSpec {
    /// The next check of every wing of a fleet, from a wear fit of that fleet. Wings are worked on in parallel with common
    /// random numbers; the result does not depend on the number of threads.
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
        let seen_h = fleet.histories().iter().flat_map(|history| &history.checks).map(|check| check.hours_h);
        self.clone().seen_until_or(seen_h.fold(0.0, f64::max)).all_wings(fleet, wear, Origin::ThisFleet)
    }

    /// The same for some wings of the fleet: each gets the row that it has among all.
    ///
    /// # Errors
    /// As [`DueSpec::run`], and [`ForecastError::NoWing`] for a wing that the fleet does not have.
    pub fn run_of(&self, fleet: &Fleet, wear: &WearFit, wings: &[&str]) -> Result<DueTable, ForecastError> {
        let no_wing = |wing: &str| ForecastError::NoWing { wing: wing.to_owned(), wings: fleet.histories().len() };
        let histories: Vec<&History> = wings
            .iter()
            .map(|wing| fleet.history(wing).ok_or_else(|| no_wing(wing)))
            .collect::<Result<_, ForecastError>>()?;
        let seen_h = fleet.histories().iter().flat_map(|history| &history.checks).map(|check| check.hours_h);
        let spec = self.clone().seen_until_or(seen_h.fold(0.0, f64::max));
        spec.some_wings(fleet, &histories, wear, Origin::ThisFleet)
    }

    /// The same from a fit made elsewhere and saved. The wings need not have been in it, and one wing is enough.
    ///
    /// A fit that lacks a rate for a material in a row of a wing is not used for that wing, whether it has readings or not,
    /// and neither is a fit on fewer than five wings: such a wing is forecast from its own points where it has been checked
    /// at three or more distinct hours, else it has the interval; its explanation says why. Past the hours that the saved
    /// fit has seen, the explanation says that the forecast extrapolates.
    ///
    /// # Errors
    /// [`ForecastError::Saved`] when the fit was made on the invented demo and the fleet is not the demo (unless `demo`
    /// says that it may serve), others as [`DueSpec::run`].
    pub fn run_saved(&self, fleet: &Fleet, saved: &SavedFit, demo: DemoFit) -> Result<DueTable, ForecastError> {
        let wear = saved.fit_for(fleet, demo)?;
        let [_, until_h] = saved.hours_seen_h();
        let table = self.clone().seen_until_or(until_h).all_wings(fleet, wear, Origin::Saved)?;
        Ok(if saved.is_demo() { table.marked_demo() } else { table })
    }

    fn all_wings(&self, fleet: &Fleet, wear: &WearFit, origin: Origin) -> Result<DueTable, ForecastError> {
        let all: Vec<&History> = fleet.histories().iter().collect();
        self.some_wings(fleet, &all, wear, origin)
    }

    fn some_wings(
        &self,
        fleet: &Fleet,
        histories: &[&History],
        wear: &WearFit,
        origin: Origin,
    ) -> Result<DueTable, ForecastError> {
        self.validate()?;
        let usage = self.usage_spec().fit(fleet)?;
        let source = PathSource::new(wear, origin, fleet, self.draw_seed(), self.draw_count());
        let answers: Vec<Result<WingDue, WingFailure>> = histories
            .par_iter()
            .map(|history| {
                self.one_wing(&source, fleet, history, usage.of(history).as_ref())
                    .map_err(|error| WingFailure { wing: history.wing.id.clone(), message: error.to_string() })
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

    fn one_wing(
        &self,
        source: &PathSource<'_>,
        fleet: &Fleet,
        history: &History,
        usage: Option<&UsageRate>,
    ) -> Result<WingDue, ForecastError> {
        let set = fleet.line_set(history);
        match source.paths(set, history)? {
            WingPaths::Fit(paths) => self.wing(LinePaths::Fit(&paths), history, set, usage),
            WingPaths::Own { paths, why, .. } => {
                let mut due = self.wing(LinePaths::Own(&paths), history, set, usage)?;
                if let Some(sentence) = why_own(why) {
                    due.detail.explanation = format!("{} {sentence}", due.detail.explanation);
                }
                Ok(due)
            }
            WingPaths::None(why) => self.wing(LinePaths::None(why), history, set, usage),
        }
    }
}

/// Why a wing stands by itself, where its row does not say it already.
fn why_own(why: WhyNone) -> Option<&'static str> {
    match why {
        WhyNone::FewWings => None,
        WhyNone::FitFewWings => Some("The saved fit rests on too few wings to speak for others."),
        WhyNone::NeverMeasured | WhyNone::NotInFit => {
            Some("The saved fit has no rate for some of its materials in their rows, so it was not used.")
        }
    }
}
