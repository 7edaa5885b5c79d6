//! The interval since a wing's last check: the earliest of all that apply.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::service::{OwnInterval, PRACTICE_H, PRACTICE_MONTHS, ServiceInterval, ServiceRules};
use crate::forecast::usage::rate::{add_days, add_months};
use crate::forecast::{ForecastError, UsageRate};
use crate::wing::{LineSet, Wing};

/// Whose interval it is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum IntervalSource {
    /// Common practice, where neither maker nor workshop says.
    #[default]
    Practice,
    /// The maker's, for the model.
    Maker,
    /// The workshop's.
    Workshop,
    /// That of the wing's class of use.
    Use,
    /// The wing's own.
    Wing,
}

impl IntervalSource {
    /// In words, after `the interval of …`.
    pub(super) const fn words(self) -> &'static str {
        match self {
            IntervalSource::Practice => "common practice",
            IntervalSource::Maker => "the maker's",
            IntervalSource::Workshop => "the workshop's",
            IntervalSource::Use => "that of its use",
            IntervalSource::Wing => "the wing's own",
        }
    }
}

/// The interval of one wing since its last check.
#[derive(Debug, Clone, Copy)]
pub(super) struct DueInterval {
    /// Hours flown, ground handling taken off, h.
    pub(super) hours: f64,
    pub(super) months: f64,
    pub(super) hours_from: IntervalSource,
    pub(super) months_from: IntervalSource,
    pub(super) months_bind: bool,
    pub(super) due_h: f64,
    /// Hours on the ground per hour flown.
    pub(super) ground_share: f64,
    /// The wing's own interval was taken although it is longer than another.
    pub(super) longer: bool,
}

/// One figure of an interval.
#[derive(Debug, Clone, Copy)]
struct Figure {
    value: f64,
    from: IntervalSource,
    longer: bool,
}

/// The figures that apply, in the order in which equal ones are named.
struct Figures {
    maker: Option<f64>,
    workshop: Option<f64>,
    of_use: Option<f64>,
    wing: Option<f64>,
    practice: Option<f64>,
}

impl Figures {
    fn earliest(self, rule: OwnInterval) -> Option<Figure> {
        let practice = self.practice.filter(|_| self.maker.is_none() && self.workshop.is_none());
        let others = [
            (self.maker, IntervalSource::Maker),
            (self.workshop, IntervalSource::Workshop),
            (self.of_use, IntervalSource::Use),
            (practice, IntervalSource::Practice),
        ];
        let figure =
            |(value, from): (Option<f64>, IntervalSource)| Some(Figure { value: value?, from, longer: false });
        let others = others.into_iter().filter_map(figure).min_by(|a, b| a.value.total_cmp(&b.value));
        let wing = figure((self.wing, IntervalSource::Wing));
        match (others, wing) {
            (Some(other), Some(wing)) if wing.value > other.value => Some(match rule {
                OwnInterval::NeverLonger => other,
                OwnInterval::MayBeLonger => Figure { longer: true, ..wing },
            }),
            (other, wing) => wing.or(other),
        }
    }
}

/// The given figures of one wing are all finite and above 0.
fn checked(wing: &Wing, what: &'static str, value: Option<f64>) -> Result<Option<f64>, ForecastError> {
    match value {
        Some(value) if !(value.is_finite() && value > 0.0) => {
            Err(ForecastError::Interval { wing: wing.id.clone(), what, value })
        }
        value => Ok(value),
    }
}

impl ServiceRules {
    fn class(&self, wing: &Wing) -> Result<ServiceInterval, ForecastError> {
        let Some(class) = wing.service.class_of_use.as_deref() else {
            return Ok(ServiceInterval::default());
        };
        self.of_use(class).ok_or_else(|| ForecastError::Class {
            wing: wing.id.clone(),
            class: class.to_owned(),
            known: self.uses().collect::<Vec<_>>().join(", "),
        })
    }

    /// The interval of a wing since a check at `hours_now`.
    pub(super) fn interval(
        &self,
        wing: &Wing,
        set: &LineSet,
        hours_now: f64,
        usage: Option<&UsageRate>,
    ) -> Result<DueInterval, ForecastError> {
        let (workshop, class, data) = (self.of_workshop(), self.class(wing)?, set.data());
        let hours = Figures {
            maker: checked(wing, "interval_h", data.interval_h)?,
            workshop: workshop.interval_h,
            of_use: class.interval_h,
            wing: checked(wing, "interval_h", wing.interval_h)?,
            practice: Some(PRACTICE_H),
        };
        let months = Figures {
            maker: checked(wing, "interval_months", data.interval_months)?,
            workshop: workshop.interval_months,
            of_use: class.interval_months,
            wing: checked(wing, "interval_months", wing.interval_months)?,
            practice: Some(PRACTICE_MONTHS),
        };
        let practice = |value| Figure { value, from: IntervalSource::Practice, longer: false };
        let hours = hours.earliest(self.longer()).unwrap_or_else(|| practice(PRACTICE_H));
        let months = months.earliest(self.longer()).unwrap_or_else(|| practice(PRACTICE_MONTHS));
        let ground_share = wing.service.ground_share.filter(|share| share.is_finite() && *share > 0.0).unwrap_or(0.0);
        let flown = hours.value / (1.0 + ground_share);
        let by_months = usage.map(|usage| usage.hours_in_months(months.value)).filter(|by_months| *by_months < flown);
        Ok(DueInterval {
            hours: flown,
            months: months.value,
            hours_from: hours.from,
            months_from: months.from,
            months_bind: by_months.is_some(),
            due_h: hours_now + by_months.unwrap_or(flown),
            ground_share,
            longer: hours.longer || months.longer,
        })
    }

    /// When the next full inspection is due, from the last one on record, else from the first flight.
    pub(super) fn inspection(
        &self,
        wing: &Wing,
        set: &LineSet,
        usage: Option<&UsageRate>,
    ) -> Result<Inspection, ForecastError> {
        let (workshop, class, data) = (self.of_workshop(), self.class(wing)?, set.data());
        let service = &wing.service;
        let hours = Figures {
            maker: checked(wing, "inspection_h", data.inspection_h)?,
            workshop: workshop.inspection_h,
            of_use: class.inspection_h,
            wing: checked(wing, "inspection_h", service.inspection_h)?,
            practice: None,
        };
        let months = Figures {
            maker: checked(wing, "inspection_months", data.inspection_months)?,
            workshop: workshop.inspection_months,
            of_use: class.inspection_months,
            wing: checked(wing, "inspection_months", service.inspection_months)?,
            practice: None,
        };
        let (hours, months) = (hours.earliest(self.longer()), months.earliest(self.longer()));
        let start = service.inspected.or(wing.first_flight);
        let start_h = if service.inspected.is_some() { service.inspected_h } else { Some(0.0) };
        let ground = 1.0 + service.ground_share.filter(|share| share.is_finite() && *share > 0.0).unwrap_or(0.0);
        let by_calendar = start.zip(months).and_then(|(start, months)| add_months(start, months.value));
        let flown_h = hours.map(|hours| hours.value / ground);
        let by_hours =
            start.zip(flown_h).zip(usage).and_then(|((start, hours), usage)| add_days(start, usage.days_for(hours)));
        Ok(Inspection {
            hours_h: start_h.zip(flown_h).map(|(start, hours)| start + hours),
            date: by_calendar.into_iter().chain(by_hours).min(),
        })
    }
}

/// The next full inspection.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Inspection {
    /// Hours flown since new, h.
    pub(super) hours_h: Option<f64>,
    pub(super) date: Option<Date>,
}

/// A check that something which happened to the wing asks for.
#[derive(Debug, Clone)]
pub(super) struct EventDue {
    pub(super) event: String,
    pub(super) day: Date,
    pub(super) due_h: f64,
    pub(super) date: Date,
}

impl ServiceRules {
    /// The earliest check that the events since a wing's last check (at `hours_now` on `checked`) ask for.
    ///
    /// The hours count from those of the event, where these are not on record from the last check. Without usage, hours
    /// become days in the proportion of the interval's hours to its months.
    pub(super) fn event(
        &self,
        wing: &Wing,
        hours_now: f64,
        checked: Option<Date>,
        interval: &DueInterval,
        usage: Option<&UsageRate>,
    ) -> Result<Option<EventDue>, ForecastError> {
        let mut first: Option<EventDue> = None;
        for event in wing.service.events.iter().filter(|event| checked.is_none_or(|day| event.date > day)) {
            let Some(rule) = self.of_event(&event.event) else {
                return Err(ForecastError::Event {
                    wing: wing.id.clone(),
                    event: event.event.clone(),
                    known: self.events().collect::<Vec<_>>().join(", "),
                });
            };
            let Some(within_h) = rule.within_h.or_else(|| {
                let months = rule.within_months?;
                Some(usage.map_or(interval.hours * months / interval.months, |usage| usage.hours_in_months(months)))
            }) else {
                continue;
            };
            let within_h = within_h / (1.0 + interval.ground_share);
            let per_day = interval.hours / (interval.months * 365.25 / 12.0);
            let days = usage.map_or(within_h / per_day, |usage| usage.days_for(within_h));
            let by_hours = add_days(event.date, days);
            let by_months = rule.within_months.and_then(|months| add_months(event.date, months));
            let due = EventDue {
                event: event.event.clone(),
                day: event.date,
                due_h: event.hours_h.unwrap_or(hours_now).max(hours_now) + within_h,
                date: by_hours.into_iter().chain(by_months).min().unwrap_or(event.date),
            };
            if first.as_ref().is_none_or(|first| due.date < first.date) {
                first = Some(due);
            }
        }
        Ok(first)
    }
}
