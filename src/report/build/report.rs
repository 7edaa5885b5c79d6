//! A whole report worked out from a fleet: every wing judged, planned and forecast.

use std::borrow::Cow;
use std::collections::HashSet;

use jiff::civil::Date;
use rayon::prelude::*;
use thiserror::Error;

use super::{ReportData, WearSummary, WingPlan};
use crate::check::{Fleet, FleetError};
use crate::fleet::batch::{BatchError, BatchFailure, CheckChoice, Judged, PlanJob, TrimJob, Watch};
use crate::fleet::{Table, tables};
use crate::forecast::{Backtest, BacktestSpec, DueSpec, DueTable, ForecastError, ForecastFan, LimitsTable};
use crate::plan::PlanSpec;
use crate::report::{Page, PageSpec, ReportError};
use crate::trim::{Trim, TrimSpec};
use crate::wear::{DriftSeries, WearError, WearFit, WearSpec, expected_drift, measured_drift};

/// Checks of a fleet past which calibration is looked at only when asked for: it fits the wear model several times.
const CALIBRATED_CHECKS: usize = 2_000;
/// Fits of the quick look.
const QUICK_FITS: usize = 8;
/// Draws of the quick look: a tenth of the histogram is then known to one point.
const QUICK_DRAWS: usize = 500;
/// Fewest hidden checks from which calibration says something.
const LEAST_FORECAST: usize = 10;
/// Wings with figures in the page of a fleet.
const PICTURED: usize = 60;

/// How far earlier forecasts are looked back at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Calibration {
    /// A quick look, for a fleet of up to 2,000 checks.
    #[default]
    Quick,
    /// Every wing's last check, with a fit for each day, however large the fleet.
    Whole,
}

/// Works out a report.
///
/// | setting | default | reason |
/// |---|---|---|
/// | `choice` | each wing's latest check | a report of one wing speaks of that wing, with the fleet's wear behind it |
/// | `today` | day of the fleet's last check | results reproduce |
/// | `seed` | 1 | draws reproduce |
/// | `limits` | [`LimitsTable::default`] | |
/// | `wear` | [`WearSpec::default`] | the model that the readings ask for |
/// | `calibration` | [`Calibration::Quick`] | the whole takes a fit for each day |
#[derive(Debug, Clone)]
pub struct ReportSpec {
    choice: CheckChoice,
    today: Option<Date>,
    seed: u64,
    limits: LimitsTable,
    wear: WearSpec,
    calibration: Calibration,
}

impl Default for ReportSpec {
    fn default() -> Self {
        Self {
            choice: CheckChoice::default(),
            today: None,
            seed: 1,
            limits: LimitsTable::default(),
            wear: WearSpec::default(),
            calibration: Calibration::default(),
        }
    }
}

/// Why a report cannot be worked out.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReportRunError {
    /// The checks meant are not there, or the work was stopped.
    #[error(transparent)]
    Batch(#[from] BatchError),
    /// The wear model cannot be fitted.
    #[error(transparent)]
    Wear(#[from] WearError),
    /// The forecasts cannot be made.
    #[error(transparent)]
    Forecast(#[from] ForecastError),
    /// The page cannot be drawn.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// One wing makes no fleet.
    #[error(transparent)]
    Fleet(#[from] FleetError),
}

/// What was worked out for a report.
#[derive(Debug, Clone)]
pub struct Report<'a> {
    fleet: &'a Fleet,
    shown: Cow<'a, Fleet>,
    judged: Judged,
    fit: Option<WearFit>,
    due: Option<DueTable>,
    plans: Vec<WingPlan>,
    fans: Vec<ForecastFan>,
    backtest: Option<Backtest>,
    remarks: Vec<String>,
    failed: Vec<String>,
    today: Date,
    seed: u64,
}

/// Takes a step, unless the watcher stops the work.
fn step(watch: &dyn Watch, fleet: &Fleet, what: &'static str) -> Result<(), BatchError> {
    match watch.step(what) {
        std::ops::ControlFlow::Continue(()) => Ok(()),
        std::ops::ControlFlow::Break(()) => Err(BatchError::Stopped { done: 0, wings: fleet.histories().len() }),
    }
}

impl ReportSpec {
    setters! {
        /// Sets which checks are reported.
        choice: CheckChoice;
        /// Sets the day on which the report is read.
        today: Date => Some;
        /// Sets the seed of the draws.
        seed: u64;
        /// Sets the limits by model.
        limits: LimitsTable;
        /// Sets the wear model to fit.
        wear: WearSpec;
        /// Sets how far earlier forecasts are looked back at.
        calibration: Calibration;
    }

    /// Works it out. A fleet too small for a wear model still gets its report, with a remark; a wing that fails is named in
    /// [`Report::failed`].
    ///
    /// # Errors
    /// [`ReportRunError`].
    pub fn run<'a>(&self, fleet: &'a Fleet, watch: &dyn Watch) -> Result<Report<'a>, ReportRunError> {
        let today = self.today.or_else(|| fleet.last_date()).unwrap_or(Date::ZERO);
        // a name that the fleet does not have is said first
        self.choice.checks(fleet).map_err(BatchError::from)?;
        step(watch, fleet, "fitting the wear model")?;
        let (mut remarks, mut unfitted) = (Vec::new(), None);
        // what the fit takes in memory is free again before the lines of every wing are judged
        let fit = match self.wear.fit(fleet) {
            Ok(fit) => Some(fit),
            Err(error) if error.leaves_no_fit() => {
                remarks.push(format!("No wear and no next check: {error}."));
                None
            }
            Err(error) => {
                unfitted = Some(format!("no wear and no next check: {error}"));
                None
            }
        };
        step(watch, fleet, "drawing forecasts")?;
        let only = self.choice.wing(fleet);
        let spec = DueSpec::default().seed(self.seed).today(today).limits(self.limits.clone());
        let due = match (&fit, only) {
            // wings share their random numbers, so one alone gets what it gets among all
            (Some(fit), Some(wing)) => Some(spec.run_of(fleet, fit, &[wing])?),
            (Some(fit), None) => Some(spec.run(fleet, fit)?),
            (None, _) => None,
        };
        step(watch, fleet, "judging checks")?;
        let judged = TrimJob::new(TrimSpec::default(), self.limits.clone()).judge(fleet, &self.choice, watch)?;
        let mut failed: Vec<String> = judged.failures.iter().map(ToString::to_string).collect();
        failed.extend(unfitted);
        failed.extend(due.iter().flat_map(DueTable::failures).map(ToString::to_string));
        let fans = match (&fit, &due) {
            (Some(fit), Some(due)) => {
                let wings: Vec<&str> = due.rows().iter().map(|row| row.wing.as_str()).take(PICTURED).collect();
                spec.fans(fleet, fit, &wings)?
            }
            _ => Vec::new(),
        };
        step(watch, fleet, "searching for plans")?;
        let plans = self.plans(fleet, &judged, due.as_ref(), &mut failed)?;
        step(watch, fleet, "looking back")?;
        let backtest = if only.is_none() && fit.is_some() { self.backtest(fleet)? } else { None };
        let shown = match only {
            Some(wing) => Cow::Owned(fleet_of(fleet, wing)?),
            None => Cow::Borrowed(fleet),
        };
        Ok(Report { fleet, shown, judged, fit, due, plans, fans, backtest, remarks, failed, today, seed: self.seed })
    }

    /// The plan of each judged check; of the wings that the page shows it comes with its lines and its trade-off.
    fn plans(
        &self,
        fleet: &Fleet,
        judged: &Judged,
        due: Option<&DueTable>,
        failed: &mut Vec<String>,
    ) -> Result<Vec<WingPlan>, BatchError> {
        let data = ReportData { trims: &judged.trims, due, ..ReportData::of(fleet) };
        let shown: HashSet<&str> = match self.choice.wing(fleet) {
            Some(wing) => HashSet::from([wing]),
            None => PageSpec::wings_shown(&data).into_iter().collect(),
        };
        let trimmed: HashSet<&str> = judged.trims.iter().map(|trim| trim.check.as_str()).collect();
        let job = PlanJob::new(PlanSpec::default(), self.limits.clone());
        let made: Vec<Result<WingPlan, BatchFailure>> = self
            .choice
            .checks(fleet)?
            .into_par_iter()
            // a check that could not be judged is named already
            .filter(|one| trimmed.contains(one.check.id.as_str()))
            .map(|one| {
                let findings = PlanJob::findings(fleet, &one)?;
                let mut plan = job.plan(fleet, &one, &findings)?;
                let whole = shown.contains(plan.wing.as_str());
                if !whole {
                    plan.lines = Vec::new();
                }
                // with nothing to do there is nothing to weigh
                let curve = if plan.actions.is_empty() || !whole {
                    Vec::new()
                } else {
                    job.curve(fleet, &one, &findings, &plan)?
                };
                Ok(WingPlan { plan, curve })
            })
            .collect();
        let mut plans = Vec::with_capacity(made.len());
        for one in made {
            match one {
                Ok(plan) => plans.push(plan),
                Err(failure) => failed.push(failure.to_string()),
            }
        }
        Ok(plans)
    }

    /// How good earlier forecasts were; `None` where too little history could tell.
    fn backtest(&self, fleet: &Fleet) -> Result<Option<Backtest>, ForecastError> {
        let checks: usize = fleet.histories().iter().map(|history| history.checks.len()).sum();
        let spec = BacktestSpec::default().seed(self.seed).wear(self.wear.clone());
        let spec = match self.calibration {
            Calibration::Whole => spec,
            Calibration::Quick if checks > CALIBRATED_CHECKS => return Ok(None),
            Calibration::Quick => spec.most_fits(QUICK_FITS).draws(QUICK_DRAWS),
        };
        match spec.run(fleet) {
            Ok(test) if test.checks() >= LEAST_FORECAST => Ok(Some(test)),
            Ok(_) | Err(ForecastError::NothingToForecast { .. }) => Ok(None),
            Err(error) => Err(error),
        }
    }
}

/// The fleet with one wing left in it.
fn fleet_of(fleet: &Fleet, wing: &str) -> Result<Fleet, FleetError> {
    let histories = fleet.histories().iter().filter(|history| history.wing.id == wing).cloned().collect();
    let one = Fleet::new(fleet.line_sets().to_vec(), histories)?;
    Ok(if fleet.is_demo() { one.marked_demo() } else { one })
}

impl Report<'_> {
    /// The wings that it is of.
    #[must_use]
    pub fn fleet(&self) -> &Fleet {
        &self.shown
    }

    /// The judged checks.
    #[must_use]
    pub fn judged(&self) -> &Judged {
        &self.judged
    }

    /// The next checks, where the wear model could be fitted.
    #[must_use]
    pub fn due(&self) -> Option<&DueTable> {
        self.due.as_ref()
    }

    /// What the reader must know besides, in sentences.
    #[must_use]
    pub fn remarks(&self) -> &[String] {
        &self.remarks
    }

    /// What could not be done for some wings, in sentences.
    #[must_use]
    pub fn failed(&self) -> &[String] {
        &self.failed
    }

    /// The day on which it is read.
    #[must_use]
    pub fn today(&self) -> Date {
        self.today
    }

    /// The wear fit in short.
    #[must_use]
    pub fn wear(&self) -> Option<WearSummary> {
        self.fit.as_ref().map(WearSummary::from)
    }

    /// Row means against hours, with the wear model's path where there is one.
    ///
    /// # Errors
    /// [`WearError`] when the paths cannot be drawn.
    pub fn drifts(&self) -> Result<Vec<DriftSeries>, WearError> {
        let drifts = measured_drift(self.fleet);
        match &self.fit {
            Some(fit) => expected_drift(drifts, self.fleet, fit, self.seed),
            None => Ok(drifts),
        }
    }

    /// Everything as the page takes it, without wear and drifts.
    #[must_use]
    pub fn data(&self) -> ReportData<'_> {
        ReportData {
            fleet: &self.shown,
            trims: &self.judged.trims,
            due: self.due.as_ref(),
            wear: None,
            drifts: &[],
            plans: &self.plans,
            fans: &self.fans,
            backtest: self.backtest.as_ref(),
            remarks: &self.remarks,
        }
    }

    /// The page, wear and drifts included; `source` says where the tables came from.
    ///
    /// # Errors
    /// [`ReportRunError`] when something cannot be drawn.
    pub fn page(&self, source: &str) -> Result<Page, ReportRunError> {
        let (drifts, wear) = (self.drifts()?, self.wear());
        let data = ReportData { wear: wear.as_ref(), drifts: &drifts, ..self.data() };
        Ok(self.page_spec(source).run(&data)?)
    }

    /// The page of one wing and its check alone.
    ///
    /// # Errors
    /// As [`Report::page`].
    pub fn check_page(&self, source: &str) -> Result<Page, ReportRunError> {
        Ok(PageSpec::default().today(self.today).source(source).run(&self.data())?)
    }

    fn page_spec(&self, source: &str) -> PageSpec {
        PageSpec::default().pictured_wings(PICTURED).today(self.today).source(source)
    }

    /// The result tables.
    #[must_use]
    pub fn tables(&self) -> Vec<Table> {
        let trims: Vec<&Trim> = self.judged.trims.iter().collect();
        tables::TRIM.iter().map(|make| make(&trims)).chain(self.fleet_tables()).collect()
    }

    /// The same without those of the judged checks ([`tables::TRIM`]), which are long for a large fleet.
    #[must_use]
    pub fn fleet_tables(&self) -> Vec<Table> {
        let mut all = Vec::new();
        if let Some(fit) = &self.fit {
            all.extend([tables::terms(fit.terms()), tables::spread(fit.spread())]);
            all.push(tables::drift(&fit.drift(self.fleet.line_sets())));
        }
        all.extend(self.due.as_ref().map(|due| tables::due(due.rows())));
        all
    }
}
