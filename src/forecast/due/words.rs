//! What went into a due row, in sentences.

use jiff::civil::Date;

use super::spec::{DueInterval, Forecast};
use crate::forecast::{Basis, Cause, DueRow, Reason, WhyNone};
use crate::wing::LineSet;

/// What the sentences are made from, beside the row.
pub(in crate::forecast) struct Context<'a> {
    pub(in crate::forecast) risk: f64,
    pub(in crate::forecast) forecast: Option<&'a Forecast>,
    pub(in crate::forecast) interval: &'a DueInterval,
    /// Whether the wing has a check.
    pub(in crate::forecast) checked: bool,
    pub(in crate::forecast) why_none: Option<WhyNone>,
    /// Day on which the months of the interval end, where usage is unknown.
    pub(in crate::forecast) latest: Option<Date>,
    pub(in crate::forecast) seen_until_h: Option<f64>,
}

/// The sentences.
pub(in crate::forecast) fn explain(row: &DueRow, set: &LineSet, context: &Context<'_>) -> String {
    let mut sentences = vec![when(row, set, context)];
    sentences.push(
        match row.basis {
            Basis::History => "Forecast from the fleet's wear and this wing's own checks.",
            Basis::Fleet => "Forecast from the fleet's wear alone: no check of this wing is in it.",
            Basis::Own => "Forecast from this wing's own points alone.",
            Basis::Interval => match context.why_none {
                Some(WhyNone::NeverMeasured) => {
                    "No forecast could be made: no wing with these materials in these rows has been measured."
                }
                Some(WhyNone::NotInFit) => {
                    "No forecast could be made: the saved fit has no rate for some of its materials in their rows, and this \
                     wing has too few checks."
                }
                Some(WhyNone::FitFewWings) => {
                    "No forecast could be made: the saved fit rests on too few wings, and this wing has too few checks."
                }
                _ => "No forecast could be made: the fleet has too few wings, and this wing too few checks.",
            },
        }
        .to_owned(),
    );
    if let Some(seen_h) = context.seen_until_h.filter(|seen_h| row.due_hours > *seen_h && context.forecast.is_some())
    {
        sentences.push(format!(
            "The wear is known from checks up to {seen_h:.0} h: from there on the forecast extrapolates."
        ));
    }
    if let Some(latest) = context.latest {
        sentences.push(format!(
            "Its usage is unknown, so the hours have no date; the interval of {} months ends on {latest}.",
            figure(context.interval.months)
        ));
    }
    sentences.join(" ")
}

fn when(row: &DueRow, set: &LineSet, context: &Context<'_>) -> String {
    let since = if context.checked { "the last check" } else { "new" };
    let ahead = row.due_hours - row.hours_now;
    let at = format!("Due at {:.0} h, {ahead:.0} h after {since}", row.due_hours);
    let interval = context.interval;
    match (row.reason, context.forecast) {
        (Reason::Interval, forecast) => {
            let by = if interval.months_bind {
                format!("{} months at this wing's usage", figure(interval.months))
            } else {
                format!("{} h", figure(interval.hours))
            };
            let chance = forecast.map_or_else(String::new, |forecast| {
                format!(
                    "; the chance that a limit is crossed by then is {}",
                    percent(forecast.crossing.risk_at(row.due_hours))
                )
            });
            format!("{at}, by the interval of {by}{chance}.")
        }
        (Reason::AlreadyOver, forecast) => format!(
            "Due now: the chance that a limit is already crossed is {}, accepted are {}{}.",
            percent(row.risk_now.unwrap_or(0.0)),
            percent(context.risk),
            forecast.map_or_else(String::new, |forecast| first(forecast, set, row.hours_now)),
        ),
        (_, forecast) => format!(
            "{at}, when the chance that a limit is crossed reaches {}{}; the interval would allow {:.0} h.",
            percent(context.risk),
            forecast.map_or_else(String::new, |forecast| first(forecast, set, row.due_hours)),
            interval.due_h,
        ),
    }
}

fn first(forecast: &Forecast, set: &LineSet, until_h: f64) -> String {
    let shares = forecast.crossing.first_limits(until_h);
    let (Some(share), Some(cause)) = (shares.first(), forecast.crossing.most_often(until_h)) else {
        return String::new();
    };
    let kind = match cause {
        Cause::RowDifference { front, rear } => {
            format!("a difference of rows (mostly {front} against {rear})")
        }
        Cause::Incidence => "the incidence change".to_owned(),
        Cause::Offset => "the common offset".to_owned(),
        Cause::Brake => "the brake row".to_owned(),
        Cause::Line(key) => format!(
            "a single line (most often {} {})",
            set.lines().get(key.line).map_or("?", |line| line.name.as_str()),
            key.side
        ),
    };
    format!(", and {kind} goes first in {} of those draws", percent(share.share))
}

fn percent(share: f64) -> String {
    match 100.0 * share {
        none if none <= 0.0 => "0 %".to_owned(),
        small if small < 1.0 => "under 1 %".to_owned(),
        some => format!("{some:.0} %"),
    }
}

/// A figure without needless zeros.
fn figure(value: f64) -> String {
    format!("{}", (value * 10.0).round() / 10.0)
}
