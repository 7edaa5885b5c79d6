//! The next check of one wing.

use std::borrow::Cow;

use jiff::civil::Date;

use super::words::explain;
use crate::check::{Check, History};
use crate::forecast::crossing::pass::CrossingPass;
use crate::forecast::error::positive;
use crate::forecast::usage::rate::add_months;
use crate::forecast::{
    Basis, Cause, CauseShare, CrossingHours, CrossingSpec, DueRow, FirstCrossing, ForecastError, LimitsTable, Reason,
    RiskHours, UsageRate, UsageSpec, incidence_weights,
};
use crate::wear::{PathDraws, WingSampler};
use crate::wing::LineSet;

/// Draws of a wing's line paths, and what they rest on.
#[derive(Debug, Clone, Copy)]
pub enum LinePaths<'a> {
    /// From the wear model of the fleet (and the wing's own checks, where the draws say so).
    Fit(&'a PathDraws),
    /// From the wing's own points alone.
    Own(&'a PathDraws),
    /// There are none: only the interval speaks.
    None(WhyNone),
}

/// Why there are no draws of a wing's paths.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyNone {
    /// Too few wings for a fleet's model, and too few checks of this one.
    FewWings,
    /// A new wing with a material in a row that no wing of the fleet has been measured with.
    NeverMeasured,
    /// A saved fit on too few wings, and too few checks of this one.
    FitFewWings,
    /// A material in a row that the saved fit has no rate for, and too few checks of this wing.
    NotInFit,
}

/// Finds when a wing must be checked next.
///
/// | setting | default | why |
/// |---|---|---|
/// | `risk` | 0.10 | our default: the accepted chance that a limit is crossed before the check |
/// | `horizon_h` | 1,000 h ahead | a wing seldom flies longer |
/// | `draws` | 4,000 | a risk of 10 % is then known to ±0.5 points (one standard error) |
/// | `seed` | 1 | results reproduce |
/// | `limits` | [`Limits::default`](crate::forecast::Limits) for every model | see there |
/// | `interval_h`, `interval_months` | 100 h or 24 months, whichever comes first | practice |
/// | `today` | the day of the wing's last check | results reproduce; only dates depend on it |
/// | `seen_until_h` | not known | past the hours of any check, the explanation says that the forecast extrapolates |
///
/// The due hours are the earlier of two: the hours at which the chance that any limit is crossed reaches `risk`, and the
/// interval since the last check. Each figure of the interval is the wing's own where it has one, else the maker's
/// for the model, else the default; months become hours by the wing's usage where it is known, and otherwise bind only the
/// calendar (the explanation names the day).
///
/// ```
/// use linedrift::DueSpec;
/// use linedrift::WearSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let fit = WearSpec::default().fit(&fleet)?;
/// let due = DueSpec::default().risk(0.05).draws(500).run(&fleet, &fit)?;
/// let row = due.wing("W05").ok_or("no such wing")?;
/// println!("due at {:.0} h: {}", row.due_hours, row.reason.name());
/// println!("{}", due.explanation("W05").unwrap_or_default());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct DueSpec {
    risk: f64,
    draws: usize,
    seed: u64,
    crossing: CrossingSpec,
    limits: LimitsTable,
    interval_h: f64,
    interval_months: f64,
    usage: UsageSpec,
    today: Option<Date>,
    seen_until_h: Option<f64>,
}

impl Default for DueSpec {
    fn default() -> Self {
        Self {
            risk: 0.1,
            draws: 4000,
            seed: 1,
            crossing: CrossingSpec::default(),
            limits: LimitsTable::default(),
            interval_h: 100.0,
            interval_months: 24.0,
            usage: UsageSpec::default(),
            today: None,
            seen_until_h: None,
        }
    }
}

impl DueSpec {
    /// Sets the accepted chance that a limit is crossed before the next check, above 0 and below 1.
    #[must_use]
    pub const fn risk(mut self, risk: f64) -> Self {
        self.risk = risk;
        self
    }

    /// Sets how many hours ahead to look, h.
    #[must_use]
    pub const fn horizon_h(mut self, horizon_h: f64) -> Self {
        self.crossing = self.crossing.horizon_h(horizon_h);
        self
    }

    /// Sets the number of draws.
    #[must_use]
    pub const fn draws(mut self, draws: usize) -> Self {
        self.draws = draws;
        self
    }

    /// Sets the seed of the draws.
    #[must_use]
    pub const fn seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }

    /// Sets the limits: one set for all models, or a table with some models' own.
    #[must_use]
    pub fn limits(mut self, limits: impl Into<LimitsTable>) -> Self {
        self.limits = limits.into();
        self
    }

    /// Sets the interval in hours flown for wings and models without their own, h.
    #[must_use]
    pub const fn interval_h(mut self, interval_h: f64) -> Self {
        self.interval_h = interval_h;
        self
    }

    /// Sets the interval in months for wings and models without their own.
    #[must_use]
    pub const fn interval_months(mut self, interval_months: f64) -> Self {
        self.interval_months = interval_months;
        self
    }

    /// Sets how usage is estimated.
    #[must_use]
    pub const fn usage(mut self, usage: UsageSpec) -> Self {
        self.usage = usage;
        self
    }

    /// Sets the day on which a wing that is due now is due. No hours, risks or order depend on it.
    #[must_use]
    pub const fn today(mut self, today: Date) -> Self {
        self.today = Some(today);
        self
    }

    /// Sets the most hours at which any wing of the fleet has been checked, h.
    #[must_use]
    pub const fn seen_until_h(mut self, hours_h: f64) -> Self {
        self.seen_until_h = Some(hours_h);
        self
    }

    /// The limits of a model.
    #[must_use]
    pub fn limits_of(&self, model: &str) -> &crate::forecast::Limits {
        self.limits.of(model)
    }

    /// The accepted risk.
    #[must_use]
    pub const fn accepted_risk(&self) -> f64 {
        self.risk
    }

    /// The number of draws asked for.
    #[must_use]
    pub const fn draw_count(&self) -> usize {
        self.draws
    }

    /// The seed asked for.
    #[must_use]
    pub const fn draw_seed(&self) -> u64 {
        self.seed
    }

    /// How usage is estimated.
    #[must_use]
    pub const fn usage_spec(&self) -> UsageSpec {
        self.usage
    }

    /// The next check of one wing, from draws of its line paths (or none) and its usage (or none).
    ///
    /// # Errors
    /// [`ForecastError`] when a setting, a limit or an interval is out of range, or the draws do not fit the line set.
    pub fn wing(
        &self,
        paths: LinePaths<'_>,
        history: &History,
        set: &LineSet,
        usage: Option<&UsageRate>,
    ) -> Result<WingDue, ForecastError> {
        self.answer(paths, history, set, usage).map(|answer| answer.due)
    }

    /// The same, with the crossings behind it.
    pub(in crate::forecast) fn answer(
        &self,
        paths: LinePaths<'_>,
        history: &History,
        set: &LineSet,
        usage: Option<&UsageRate>,
    ) -> Result<Answer, ForecastError> {
        self.validate()?;
        let hours_now = last_check(history).map_or(0.0, |check| check.hours_h);
        let crossing = |draws: &PathDraws| {
            let weights = incidence_weights(set, &draws.lines);
            self.crossing_of(history).run(draws, set, hours_now, weights.as_deref())
        };
        let ground = match paths {
            LinePaths::Fit(draws) => Ground::fit(draws.own_history, crossing(draws)?),
            LinePaths::Own(draws) => Ground { basis: Basis::Own, crossing: Some(crossing(draws)?), why_none: None },
            LinePaths::None(why) => Ground { basis: Basis::Interval, crossing: None, why_none: Some(why) },
        };
        self.wing_on(ground, history, set, usage)
    }

    /// A pass over the draws of one wing, for [`DueSpec::wing_judged`].
    pub(in crate::forecast) fn pass<'a>(
        &self,
        paths: &WingSampler<'_>,
        history: &History,
        set: &'a LineSet,
    ) -> Result<CrossingPass<'a>, ForecastError> {
        let hours_now = last_check(history).map_or(0.0, |check| check.hours_h);
        let weights = incidence_weights(set, paths.lines()).map(Cow::Owned);
        self.crossing_of(history).pass(Cow::Owned(paths.lines().to_vec()), set, hours_now, weights)
    }

    /// The next check of one wing, from the crossings of its draws.
    pub(in crate::forecast) fn wing_judged(
        &self,
        own_history: bool,
        crossing: FirstCrossing,
        history: &History,
        set: &LineSet,
        usage: Option<&UsageRate>,
    ) -> Result<WingDue, ForecastError> {
        self.wing_on(Ground::fit(own_history, crossing), history, set, usage).map(|answer| answer.due)
    }

    fn crossing_of(&self, history: &History) -> CrossingSpec {
        self.crossing.limits(*self.limits.of(&history.wing.model))
    }

    /// The next check of one wing, from what its forecast stands on.
    fn wing_on(
        &self,
        Ground { basis, crossing, why_none }: Ground,
        history: &History,
        set: &LineSet,
        usage: Option<&UsageRate>,
    ) -> Result<Answer, ForecastError> {
        let last = last_check(history);
        let hours_now = last.map_or(0.0, |check| check.hours_h);
        let interval = self.interval(history, set, hours_now, usage)?;
        let forecast = crossing.map(|crossing| Forecast::new(crossing, self.risk, interval.due_h));
        let (reason, due_hours) = match &forecast {
            Some(forecast) if forecast.risk_now >= self.risk => (Reason::AlreadyOver, hours_now),
            Some(Forecast { at_risk: RiskHours { hours_h: Some(hours_h), .. }, cause: Some(cause), .. })
                if *hours_h < interval.due_h =>
            {
                (cause.reason(), *hours_h)
            }
            _ => (Reason::Interval, interval.due_h),
        };
        let start = last.map(|check| check.date).or(history.wing.first_flight);
        let day = self.day(start, reason, due_hours - hours_now, &interval, usage);
        let row = DueRow {
            wing: history.wing.id.clone(),
            model: history.wing.model.clone(),
            basis,
            hours_now,
            due_hours,
            due_date: day.date,
            reason,
            crossing_hours: forecast
                .as_ref()
                .map_or(CrossingHours { p10: None, p50: None, p90: None }, |forecast| forecast.quantiles),
            risk_now: forecast.as_ref().map(|forecast| forecast.risk_now),
        };
        let explanation = explain(
            &row,
            set,
            &super::words::Context {
                risk: self.risk,
                forecast: forecast.as_ref(),
                interval: &interval,
                checked: last.is_some(),
                why_none,
                latest: start.and_then(|start| add_months(start, interval.months)).filter(|_| usage.is_none()),
                seen_until_h: self.seen_until_h,
            },
        );
        let detail = DueDetail {
            explanation,
            earliest_date: day.early,
            latest_date: day.late,
            interval_hours: interval.due_h,
            risk_hours: forecast.as_ref().and_then(|forecast| forecast.at_risk.hours_h),
            risk_hours_lower: forecast.as_ref().and_then(|forecast| forecast.at_risk.lower_h),
            risk_hours_upper: forecast.as_ref().and_then(|forecast| forecast.at_risk.upper_h),
            risk_at_due: forecast.as_ref().map(|forecast| forecast.crossing.risk_at(due_hours)),
            risk_at_due_se: forecast
                .as_ref()
                .map(|forecast| forecast.crossing.share_se(forecast.crossing.risk_at(due_hours))),
            draws: forecast.as_ref().map(|forecast| forecast.crossing.draws()),
            first_limits: forecast.as_ref().map_or_else(Vec::new, |forecast| forecast.shares.clone()),
        };
        Ok(Answer { due: WingDue { row, detail }, crossing: forecast.map(|forecast| forecast.crossing) })
    }

    /// Checks that every setting and limit is in its range.
    ///
    /// # Errors
    /// [`ForecastError`] with the first that is not.
    pub fn validate(&self) -> Result<(), ForecastError> {
        if !(self.risk > 0.0 && self.risk < 1.0) {
            return Err(ForecastError::Risk { value: self.risk });
        }
        if self.draws == 0 {
            return Err(ForecastError::Draws { what: "draws", got: 0, expected: 1 });
        }
        positive("interval_h", self.interval_h)?;
        positive("interval_months", self.interval_months)?;
        self.limits.validate()?;
        self.crossing.validate()
    }

    /// The same spec, with these hours as the most seen unless it has its own.
    pub(in crate::forecast) fn seen_until_or(mut self, hours_h: f64) -> Self {
        self.seen_until_h = self.seen_until_h.or(Some(hours_h));
        self
    }

    fn interval(
        &self,
        history: &History,
        set: &LineSet,
        hours_now: f64,
        usage: Option<&UsageRate>,
    ) -> Result<DueInterval, ForecastError> {
        let wing = &history.wing;
        let own = |what, of_wing: Option<f64>, of_model: Option<f64>, default| match of_wing.or(of_model) {
            Some(value) if !(value.is_finite() && value > 0.0) => {
                Err(ForecastError::Interval { wing: wing.id.clone(), what, value })
            }
            Some(value) => Ok(value),
            None => Ok(default),
        };
        let hours = own("interval_h", wing.interval_h, set.data().interval_h, self.interval_h)?;
        let months = own("interval_months", wing.interval_months, set.data().interval_months, self.interval_months)?;
        let by_months = usage.map(|usage| usage.hours_in_months(months)).filter(|by_months| *by_months < hours);
        Ok(DueInterval {
            hours,
            months,
            months_bind: by_months.is_some(),
            due_h: hours_now + by_months.unwrap_or(hours),
        })
    }

    fn day(
        &self,
        start: Option<Date>,
        reason: Reason,
        ahead_h: f64,
        interval: &DueInterval,
        usage: Option<&UsageRate>,
    ) -> Day {
        if reason == Reason::AlreadyOver {
            let now = self.today.max(start);
            return Day { date: now, early: now, late: now };
        }
        let (Some(start), Some(usage)) = (start, usage) else {
            return Day::default();
        };
        let calendar = add_months(start, interval.months);
        if reason == Reason::Interval && interval.months_bind {
            let early = usage.day_after(start, interval.hours).map(|day| day.early);
            return Day { date: calendar, early: early.min(calendar), late: calendar };
        }
        let Some(day) = usage.day_after(start, ahead_h) else {
            return Day { date: calendar, early: None, late: calendar };
        };
        let cap = |date: Option<Date>| date.into_iter().chain(calendar).min();
        Day { date: cap(Some(day.date)), early: cap(Some(day.early)), late: cap(day.late) }
    }
}

/// The next check of one wing: the row, and what stands behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct WingDue {
    /// The row as reported.
    pub row: DueRow,
    /// What stands behind it.
    pub detail: DueDetail,
}

/// What stands behind one due row.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct DueDetail {
    /// What went into it, in sentences.
    pub explanation: String,
    /// One wing in ten is due by this day or sooner, its usage being uncertain.
    pub earliest_date: Option<Date>,
    /// Nine wings in ten are due by this day.
    pub latest_date: Option<Date>,
    /// Hours at which the interval ends, flown since new, h.
    pub interval_hours: f64,
    /// Hours at which the chance of a crossing reaches the accepted risk, before the interval caps it, h.
    pub risk_hours: Option<f64>,
    /// Lower end of the 95 % interval of `risk_hours` that is due to the number of draws, h.
    pub risk_hours_lower: Option<f64>,
    /// Upper end of the same, h.
    pub risk_hours_upper: Option<f64>,
    /// Chance that a limit is crossed by the due hours.
    pub risk_at_due: Option<f64>,
    /// Its standard error from the number of draws.
    pub risk_at_due_se: Option<f64>,
    /// Number of draws.
    pub draws: Option<usize>,
    /// How often each kind of limit goes first among the draws that cross by the accepted risk or the interval, whichever
    /// is earlier.
    pub first_limits: Vec<CauseShare>,
}

/// What a wing's forecast stands on.
struct Ground {
    basis: Basis,
    crossing: Option<FirstCrossing>,
    why_none: Option<WhyNone>,
}

impl Ground {
    fn fit(own_history: bool, crossing: FirstCrossing) -> Self {
        let basis = if own_history { Basis::History } else { Basis::Fleet };
        Self { basis, crossing: Some(crossing), why_none: None }
    }
}

/// The next check of one wing, with the crossings that it was read from.
pub(in crate::forecast) struct Answer {
    pub(in crate::forecast) due: WingDue,
    pub(in crate::forecast) crossing: Option<FirstCrossing>,
}

/// The interval of one wing since its last check.
#[derive(Debug, Clone, Copy)]
pub(in crate::forecast) struct DueInterval {
    pub(in crate::forecast) hours: f64,
    pub(in crate::forecast) months: f64,
    pub(in crate::forecast) months_bind: bool,
    pub(in crate::forecast) due_h: f64,
}

/// What the draws say.
#[derive(Debug, Clone)]
pub(in crate::forecast) struct Forecast {
    pub(in crate::forecast) crossing: FirstCrossing,
    pub(in crate::forecast) risk_now: f64,
    pub(in crate::forecast) quantiles: CrossingHours,
    pub(in crate::forecast) at_risk: RiskHours,
    pub(in crate::forecast) cause: Option<Cause>,
    pub(in crate::forecast) shares: Vec<CauseShare>,
}

impl Forecast {
    fn new(crossing: FirstCrossing, risk: f64, interval_due_h: f64) -> Self {
        let at_risk = crossing.hours_at_risk(risk);
        let until_h = at_risk.hours_h.unwrap_or(f64::INFINITY).min(interval_due_h);
        Self {
            risk_now: crossing.risk_now(),
            quantiles: crossing.quantiles(),
            at_risk,
            cause: crossing.most_often(until_h),
            shares: crossing.first_limits(until_h),
            crossing,
        }
    }
}

/// The due day and its range.
#[derive(Debug, Clone, Copy, Default)]
struct Day {
    date: Option<Date>,
    early: Option<Date>,
    late: Option<Date>,
}

/// The wing's last check with a reading.
pub(in crate::forecast) fn last_check(history: &History) -> Option<&Check> {
    history.checks.iter().rev().find(|check| !check.readings.is_empty())
}
