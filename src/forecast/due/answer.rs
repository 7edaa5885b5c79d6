//! The next check of one wing.

use std::borrow::Cow;

use jiff::civil::Date;

use super::believed::judged;
use super::interval::{DueInterval, EventDue, IntervalSource};
use super::outlook::Outlook;
use super::present::{OverLimit, Present, seed_of};
use super::spec::{DueSpec, LinePaths, WhyNone};
use super::words::{Context, explain};
use crate::check::{Check, History};
use crate::forecast::crossing::pass::CrossingPass;
use crate::forecast::usage::rate::add_months;
use crate::forecast::{
    Basis, CauseShare, CrossingHours, CrossingSpec, DueRow, FirstCrossing, ForecastError, Reason, RiskHours,
    UsageRate, incidence_weights,
};
use crate::trim::TrimState;
use crate::wear::{PathDraws, WingSampler};
use crate::wing::LineSet;

/// The next check of one wing: the row, and what stands behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct WingDue {
    /// The row as reported.
    pub row: DueRow,
    /// What stands behind it.
    pub detail: DueDetail,
}

/// What stands behind one due row.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct DueDetail {
    /// What went into it, in sentences.
    pub explanation: String,
    /// Days by which the check is overdue (`None`: it is not, or is due now whatever the day).
    pub overdue_days: Option<i32>,
    /// One wing in ten is due by this day or sooner, its usage being uncertain.
    pub earliest_date: Option<Date>,
    /// Nine wings in ten are due by this day.
    pub latest_date: Option<Date>,
    /// Hours at which the interval ends, flown since new, h.
    pub interval_hours: f64,
    /// Whose interval it is.
    pub interval_from: IntervalSource,
    /// Hours at which the next full inspection is due, h (`None`: no interval for it on record).
    pub inspection_due_hours: Option<f64>,
    /// The day on which it is due.
    pub inspection_due_date: Option<Date>,
    /// What is over a limit at the last check, by what was measured; the farthest over first.
    pub over: Vec<OverLimit>,
    /// Hours that the wing is expected to have flown today, h.
    pub hours_today: Option<f64>,
    /// Chance that a limit is crossed by today.
    pub risk_today: Option<f64>,
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

/// The due day and its range.
#[derive(Debug, Clone, Copy, Default)]
struct Day {
    date: Option<Date>,
    early: Option<Date>,
    late: Option<Date>,
}

/// When and why.
struct Decided {
    reason: Reason,
    due_h: f64,
    /// The lines, in words, that a second reading is asked of at once.
    again: Option<String>,
}

impl Decided {
    fn at(reason: Reason, due_h: f64) -> Self {
        Self { reason, due_h, again: None }
    }

    /// Whether it is for now, whatever the day.
    fn is_now(&self) -> bool {
        self.reason == Reason::AlreadyOver || self.again.is_some()
    }
}

/// The wing's last check with a reading.
pub(in crate::forecast) fn last_check(history: &History) -> Option<&Check> {
    history.checks.iter().rev().find(|check| !check.readings.is_empty())
}

impl DueSpec {
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

    /// Hours at which the wing's interval ends, flown since new, h.
    pub(in crate::forecast) fn interval_end_h(
        &self,
        history: &History,
        set: &LineSet,
        usage: Option<&UsageRate>,
    ) -> Result<f64, ForecastError> {
        let hours_now_h = last_check(history).map_or(0.0, |check| check.hours_h);
        Ok(self.rules.interval(&history.wing, set, hours_now_h, usage)?.due_h)
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

    pub(super) fn crossing_of(&self, history: &History) -> CrossingSpec {
        self.crossing.limits(*self.limits.of(&history.wing.model))
    }

    /// The state at the wing's last check, as the check is judged. A forecast has the check in it already, and draws a fault
    /// towards what wings are like: beside it only work that is called for counts, and readings to take again. Work done since, and not measured, is in the forecast alone.
    fn present(&self, history: &History, set: &LineSet, forecast: bool) -> Result<Option<Present>, ForecastError> {
        let Some(check) = last_check(history) else { return Ok(None) };
        let worked_on =
            history.actions.iter().any(|action| action.first_check_after(&history.checks) >= history.checks.len());
        let trim = judged(self.limits_of(&history.wing.model), set, history);
        let Some(trim) = trim.filter(|_| !worked_on) else { return Ok(None) };
        match trim.state {
            TrimState::InTrim if forecast => return Ok(Some(Present::in_trim())),
            TrimState::NotJudged if forecast => return Ok(None),
            _ => {}
        }
        let seed = seed_of(self.draw_seed(), &history.wing.id);
        Present::of(&self.crossing_of(history), set, check, &trim, seed).map(Some)
    }

    /// The next check of one wing, from what its forecast stands on.
    fn wing_on(
        &self,
        Ground { basis, crossing, why_none }: Ground,
        history: &History,
        set: &LineSet,
        usage: Option<&UsageRate>,
    ) -> Result<Answer, ForecastError> {
        let wing = &history.wing;
        let last = last_check(history);
        let hours_now = last.map_or(0.0, |check| check.hours_h);
        let interval = self.rules.interval(wing, set, hours_now, usage)?;
        let inspection = self.rules.inspection(wing, set, usage)?;
        let event = self.rules.event(wing, hours_now, last.map(|check| check.date), &interval, usage)?;
        let outlook = crossing.map(|crossing| Outlook::new(crossing, self.risk, interval.due_h));
        let judged = why_none != Some(WhyNone::NotJudged);
        let present = if judged { self.present(history, set, outlook.is_some())? } else { None };
        let work = present.as_ref().is_some_and(|present| present.work.is_some());
        let risk_now = match (outlook.as_ref().map(|outlook| outlook.risk_now), present.as_ref()) {
            (Some(risk), Some(present)) if work => Some(risk.max(present.chance)),
            (Some(risk), _) => Some(risk),
            (None, present) => present.map(|present| present.chance),
        };
        let over = work || outlook.as_ref().is_some_and(|outlook| outlook.risk_now >= self.risk);
        let mut decided = if over {
            Decided::at(Reason::AlreadyOver, hours_now)
        } else {
            Self::decide(outlook.as_ref(), &interval, event.as_ref())
        };
        decided.again = present.as_ref().and_then(|present| present.again.clone());
        if decided.again.is_some() {
            decided.reason = Reason::Line;
            decided.due_h = hours_now;
        }
        let start = last.map(|check| check.date).or(wing.first_flight);
        let day = self.day(start, &decided, hours_now, &interval, event.as_ref(), usage);
        let overdue = |date: Date| {
            let days = date.until(self.today?).ok()?.get_days();
            (days > 0 && !decided.is_now()).then_some(days)
        };
        let flown = |usage: &UsageRate| {
            let days = start?.until(self.today?).ok()?.get_days();
            Some(hours_now + usage.hours_per_day * f64::from(days.max(0)))
        };
        let hours_today = usage.and_then(flown);
        let row = DueRow {
            wing: wing.id.clone(),
            model: wing.model.clone(),
            basis,
            hours_now,
            due_hours: decided.due_h,
            due_date: day.date,
            reason: decided.reason,
            crossing_hours: outlook
                .as_ref()
                .map_or(CrossingHours { p10: None, p50: None, p90: None }, |outlook| outlook.quantiles),
            risk_now,
        };
        let overdue_days = day.date.and_then(overdue);
        let explanation = explain(
            &row,
            set,
            &Context {
                risk: self.risk,
                outlook: outlook.as_ref(),
                present: present.as_ref(),
                again: decided.again.as_deref(),
                interval: &interval,
                inspection,
                event: event.as_ref(),
                checked: last.is_some(),
                why_none,
                latest: start.and_then(|start| add_months(start, interval.months)).filter(|_| usage.is_none()),
                age_unknown: start.is_none(),
                overdue_days,
                today: self.today,
                seen_until_h: self.seen_until_h,
            },
        );
        let risk_at = |hours_h: f64| outlook.as_ref().map(|outlook| outlook.crossing.risk_at(hours_h));
        let detail = DueDetail {
            explanation,
            overdue_days,
            earliest_date: day.early,
            latest_date: day.late,
            interval_hours: interval.due_h,
            interval_from: if interval.months_bind { interval.months_from } else { interval.hours_from },
            inspection_due_hours: inspection.hours_h,
            inspection_due_date: inspection.date,
            over: present.as_ref().map_or_else(Vec::new, |present| present.over.clone()),
            hours_today,
            risk_today: hours_today.and_then(risk_at),
            risk_hours: outlook.as_ref().and_then(|outlook| outlook.at_risk.hours_h),
            risk_hours_lower: outlook.as_ref().and_then(|outlook| outlook.at_risk.lower_h),
            risk_hours_upper: outlook.as_ref().and_then(|outlook| outlook.at_risk.upper_h),
            risk_at_due: risk_at(decided.due_h),
            risk_at_due_se: outlook
                .as_ref()
                .map(|outlook| outlook.crossing.share_se(outlook.crossing.risk_at(decided.due_h))),
            draws: outlook.as_ref().map(|outlook| outlook.crossing.draws()),
            first_limits: outlook.as_ref().map_or_else(Vec::new, |outlook| outlook.shares.clone()),
        };
        Ok(Answer { due: WingDue { row, detail }, crossing: outlook.map(|outlook| outlook.crossing) })
    }

    /// The earliest of what happened, the forecast and the interval.
    fn decide(outlook: Option<&Outlook>, interval: &DueInterval, event: Option<&EventDue>) -> Decided {
        let mut decided = match outlook {
            Some(Outlook { at_risk: RiskHours { hours_h: Some(hours_h), .. }, cause: Some(cause), .. })
                if *hours_h < interval.due_h =>
            {
                Decided::at(cause.reason(), *hours_h)
            }
            _ => Decided::at(Reason::Interval, interval.due_h),
        };
        if let Some(event) = event.filter(|event| event.due_h <= decided.due_h) {
            decided = Decided::at(Reason::Event, event.due_h);
        }
        decided
    }

    fn day(
        &self,
        start: Option<Date>,
        decided: &Decided,
        hours_now: f64,
        interval: &DueInterval,
        event: Option<&EventDue>,
        usage: Option<&UsageRate>,
    ) -> Day {
        let on = |date: Option<Date>| Day { date, early: date, late: date };
        if decided.is_now() {
            return on(self.today.max(start));
        }
        // neither checked nor known when it was new: nothing says that it is not due
        let Some(start) = start else {
            return on(self.today);
        };
        let calendar = add_months(start, interval.months);
        if let Some(event) = event.filter(|_| decided.reason == Reason::Event) {
            return on(Some(event.date).into_iter().chain(calendar).min());
        }
        let Some(usage) = usage else {
            return Day { date: calendar, early: None, late: calendar };
        };
        if decided.reason == Reason::Interval && interval.months_bind {
            let early = usage.day_after(start, interval.hours).map(|day| day.early);
            return Day { date: calendar, early: early.min(calendar), late: calendar };
        }
        let Some(day) = usage.day_after(start, decided.due_h - hours_now) else {
            return Day { date: calendar, early: None, late: calendar };
        };
        let cap = |date: Option<Date>| date.into_iter().chain(calendar).min();
        Day { date: cap(Some(day.date)), early: cap(Some(day.early)), late: cap(day.late) }
    }
}
