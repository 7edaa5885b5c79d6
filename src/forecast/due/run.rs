//! The next check of every wing of a fleet.

use rayon::prelude::*;

use super::believed::Believed;
use super::path_source::{Origin, PathSource, WingPaths};
use crate::check::{Action, Fleet, History};
use crate::forecast::crossing::pass::CrossingPass;
use crate::forecast::{DueSpec, DueTable, FleetUsage, ForecastError, LinePaths, WhyNone, WingDue, WingFailure};
use crate::wear::{BlockDraws, DemoFit, PathDraws, PathScratch, SavedFit, WearFit, WingSampler};

/// Wings that are worked on together, on one thread.
const WINGS_TOGETHER: usize = 8;

impl DueSpec {
    /// The next check of every wing of a fleet, from a wear fit of that fleet. Wings are worked on in parallel with common
    /// random numbers; the result does not depend on the number of threads. A wing takes all the draws asked for unless the first
    /// 512 are all over a limit now, or of the first 1,024 so few cross one before the interval ends (a quarter of the accepted
    /// risk) that it is the interval that decides; [`DueDetail::draws`](crate::forecast::DueDetail::draws) says how many it took.
    ///
    /// *What a wing's forecast rests on.* The fit and the wing's own checks; the fit alone for a wing without checks,
    /// provided that the fit has a rate for every material in every row of its lines; otherwise the interval. A fit on
    /// fewer than five wings is not taken for a fleet: then a wing with checks at three or more distinct hours is fitted
    /// by itself (one model of wear on that wing alone, with the terms and the shape of `wear`), others have the interval.
    ///
    /// A wing that fails does not stop the others: it is in [`DueTable::failures`].
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

    /// The next check of one wing of the fleet once work that is planned has been done, before anyone has measured what it
    /// left: the wing's paths start anew where the actions say, with what the steps may differ from their intended changes
    /// ([`crate::plan::Plan::actions`] gives a plan's actions). `wing` names the wing; the fit and its spreads stay as they are.
    ///
    /// # Errors
    /// [`ForecastError::NoWing`] when the fleet has no such wing, others as [`DueSpec::run`] and [`DueSpec::wing`].
    pub fn run_after(
        &self,
        fleet: &Fleet,
        wear: &WearFit,
        wing: &str,
        actions: &[Action],
    ) -> Result<WingDue, ForecastError> {
        let known = fleet
            .history(wing)
            .ok_or_else(|| ForecastError::NoWing { wing: wing.to_owned(), wings: fleet.histories().len() })?;
        let mut history = known.clone();
        history.actions.extend_from_slice(actions);
        self.prepare(fleet, wear)?.wing(&history)
    }

    /// Makes ready what all wings share, so that wings can be asked for one at a time and in any order.
    ///
    /// # Errors
    /// As [`DueSpec::run`].
    pub fn prepare<'a>(&self, fleet: &'a Fleet, wear: &'a WearFit) -> Result<PreparedDue<'a>, ForecastError> {
        let seen_h = fleet.histories().iter().flat_map(|history| &history.checks).map(|check| check.hours_h);
        self.clone().seen_until_or(seen_h.fold(0.0, f64::max)).prepared(fleet, wear, Origin::ThisFleet)
    }

    /// The same from a fit made elsewhere and saved.
    ///
    /// # Errors
    /// As [`DueSpec::run_saved`].
    pub fn prepare_saved<'a>(
        &self,
        fleet: &'a Fleet,
        saved: &'a SavedFit,
        demo: DemoFit,
    ) -> Result<PreparedDue<'a>, ForecastError> {
        let wear = saved.fit_for(fleet, demo)?;
        let [_, until_h] = saved.hours_seen_h();
        self.clone().seen_until_or(until_h).prepared(fleet, wear, Origin::Saved)
    }

    /// The same where no wear can be fitted to the fleet: every wing has its present state and its interval.
    ///
    /// # Errors
    /// As [`DueSpec::run`].
    pub fn prepare_unfitted<'a>(&self, fleet: &'a Fleet) -> Result<PreparedDue<'a>, ForecastError> {
        self.validate()?;
        let usage = self.usage_spec().fit(fleet)?;
        Ok(PreparedDue { spec: self.clone(), source: None, blocks: Vec::new(), usage, fleet })
    }

    fn prepared<'a>(
        self,
        fleet: &'a Fleet,
        wear: &'a WearFit,
        origin: Origin,
    ) -> Result<PreparedDue<'a>, ForecastError> {
        self.validate()?;
        let usage = self.usage_spec().fit(fleet)?;
        let source = PathSource::new(wear, origin, fleet, self.draw_seed(), self.draw_count());
        let blocks = source.blocks();
        Ok(PreparedDue { spec: self, source: Some(source), blocks, usage, fleet })
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
        let prepared = self.clone().prepared(fleet, wear, origin)?;
        let answers: Vec<Result<WingDue, WingFailure>> = histories
            .par_chunks(WINGS_TOGETHER)
            .flat_map_iter(|histories| {
                let named = |(due, history): (Result<WingDue, ForecastError>, &&History)| {
                    due.map_err(|error| WingFailure { wing: history.wing.id.clone(), message: error.to_string() })
                };
                prepared.wings(histories).into_iter().zip(histories).map(named)
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
}

/// A fleet and its wear fit, made ready for forecasts of single wings: the same answers as [`DueSpec::run`], some at a time.
pub struct PreparedDue<'a> {
    spec: DueSpec,
    /// `None`: there is no fit.
    source: Option<PathSource<'a>>,
    blocks: Vec<BlockDraws>,
    usage: FleetUsage,
    fleet: &'a Fleet,
}

impl PreparedDue<'_> {
    /// The settings.
    #[must_use]
    pub fn spec(&self) -> &DueSpec {
        &self.spec
    }

    /// The next check of one wing of the fleet, or of such a wing with a history of its own.
    ///
    /// # Errors
    /// [`ForecastError`] when the wing cannot be forecast.
    pub fn wing(&self, history: &History) -> Result<WingDue, ForecastError> {
        let one = self.wings(&[history]).into_iter().next();
        one.unwrap_or_else(|| {
            Err(ForecastError::NoWing { wing: history.wing.id.clone(), wings: self.fleet.histories().len() })
        })
    }

    /// A few wings, block of draws by block: the noise of a block is then read once for all of them.
    pub(in crate::forecast) fn wings(&self, histories: &[&History]) -> Vec<Result<WingDue, ForecastError>> {
        let believed: Vec<Believed<'_>> = histories.iter().map(|history| self.believed(history)).collect();
        let begin = |believed: &Believed<'_>| {
            if believed.not_judged.is_some() {
                return Ok(Begun::None(WhyNone::NotJudged));
            }
            self.begin(&believed.history)
        };
        let mut begun: Vec<Result<Begun<'_>, ForecastError>> = believed.iter().map(begin).collect();
        let mut scratch = PathScratch::default();
        for block in &self.blocks {
            for one in &mut begun {
                if let Ok(Begun::Drawn { sampler, pass, interval_end_h }) = one
                    && !pass.agrees_on_now()
                    && !pass.agrees_on_interval(self.spec.risk, *interval_end_h)
                    && let Err(error) = pass.judge_block(&sampler.block(block, &mut scratch))
                {
                    *one = Err(error);
                }
            }
        }
        let finish = |(begun, believed): (Result<Begun<'_>, ForecastError>, &Believed<'_>)| {
            let mut due = self.finish(begun?, &believed.history)?;
            let words = [believed.not_judged.clone(), Some(due.detail.explanation), believed.left_out.clone()];
            due.detail.explanation = words.into_iter().flatten().collect::<Vec<_>>().join(" ");
            Ok(due)
        };
        begun.into_iter().zip(&believed).map(finish).collect()
    }

    /// The history as far as it is believed.
    fn believed<'h>(&self, history: &'h History) -> Believed<'h> {
        Believed::of(self.spec.limits_of(&history.wing.model), self.fleet.line_set(history), history)
    }

    fn begin(&self, history: &History) -> Result<Begun<'_>, ForecastError> {
        let set = self.fleet.line_set(history);
        let Some(source) = &self.source else { return Ok(Begun::None(WhyNone::NoFit)) };
        Ok(match source.paths(set, history)? {
            WingPaths::Fit(sampler) => {
                let pass = self.spec.pass(&sampler, history, set)?;
                let interval_end_h = self.spec.interval_end_h(history, set, self.usage.of(history).as_ref())?;
                Begun::Drawn { sampler, pass: Box::new(pass), interval_end_h }
            }
            WingPaths::Own { paths, why, .. } => Begun::Own { paths, why },
            WingPaths::None(why) => Begun::None(why),
        })
    }

    fn finish(&self, begun: Begun<'_>, history: &History) -> Result<WingDue, ForecastError> {
        let (spec, set) = (&self.spec, self.fleet.line_set(history));
        let usage = self.usage.of(history);
        let usage = usage.as_ref();
        match begun {
            Begun::Drawn { sampler, pass, .. } => {
                spec.wing_judged(sampler.own_history(), pass.finish(), history, set, usage)
            }
            Begun::Own { paths, why } => {
                let mut due = spec.wing(LinePaths::Own(&paths), history, set, usage)?;
                if let Some(sentence) = why_own(why) {
                    due.detail.explanation = format!("{} {sentence}", due.detail.explanation);
                }
                Ok(due)
            }
            Begun::None(why) => spec.wing(LinePaths::None(why), history, set, usage),
        }
    }
}

/// A wing whose forecast has been begun.
enum Begun<'a> {
    /// From draws of the fit, judged block by block.
    Drawn { sampler: WingSampler<'a>, pass: Box<CrossingPass<'a>>, interval_end_h: f64 },
    /// From its own points.
    Own { paths: PathDraws, why: WhyNone },
    /// From its interval.
    None(WhyNone),
}

/// Why a wing stands by itself, where its row does not say it already.
fn why_own(why: WhyNone) -> Option<&'static str> {
    match why {
        WhyNone::FewWings | WhyNone::NoFit | WhyNone::NotJudged => None,
        WhyNone::FitFewWings => Some("The saved fit rests on too few wings to speak for others."),
        WhyNone::NeverMeasured | WhyNone::NotInFit => {
            Some("The saved fit has no rate for some of its materials in their rows, so it was not used.")
        }
    }
}
