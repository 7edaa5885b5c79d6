//! What went into a due row, in sentences.

use jiff::civil::Date;

use super::interval::{DueInterval, EventDue, Inspection};
use super::outlook::Outlook;
use super::present::{OverLimit, Present};
use super::spec::WhyNone;
use crate::forecast::{Basis, Cause, DueRow, Reason, WatchedUnit};
use crate::wing::LineSet;

/// Most kinds of limit named as passed.
const KINDS: usize = 3;

/// What the sentences are made from, beside the row.
pub(super) struct Context<'a> {
    pub(super) risk: f64,
    pub(super) outlook: Option<&'a Outlook>,
    pub(super) present: Option<&'a Present>,
    /// The lines that a second reading is asked of.
    pub(super) again: Option<&'a str>,
    pub(super) interval: &'a DueInterval,
    pub(super) inspection: Inspection,
    pub(super) event: Option<&'a EventDue>,
    /// Whether the wing has a check.
    pub(super) checked: bool,
    pub(super) why_none: Option<WhyNone>,
    /// Day on which the months of the interval end, where usage is unknown.
    pub(super) latest: Option<Date>,
    /// Neither a check nor a first flight is on record.
    pub(super) age_unknown: bool,
    pub(super) overdue_days: Option<i32>,
    pub(super) today: Option<Date>,
    pub(super) seen_until_h: Option<f64>,
}

/// The sentences.
pub(super) fn explain(row: &DueRow, set: &LineSet, context: &Context<'_>) -> String {
    let mut sentences = vec![when(row, set, context)];
    if let (Some(days), Some(today)) = (context.overdue_days, context.today) {
        sentences.push(format!("Overdue by {days} {} on {today}.", if days == 1 { "day" } else { "days" }));
    }
    sentences.extend(context.present.filter(|_| context.again.is_none()).and_then(over));
    sentences.push(basis(row, context).to_owned());
    if let Some(seen_h) = context.seen_until_h.filter(|seen_h| row.due_hours > *seen_h && context.outlook.is_some()) {
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
    if context.age_unknown {
        sentences.push(
            "It has no check and no first flight on record: nothing says how old it is, so measure it now."
                .to_owned(),
        );
    }
    if context.interval.longer {
        sentences.push(
            "Caution: this is the wing's own interval, which is longer than the maker's or the workshop's."
                .to_owned(),
        );
    }
    if context.interval.ground_share > 0.0 {
        sentences.push(format!(
            "For each hour flown it is {} h on the ground, which count as hours of the interval.",
            figure(context.interval.ground_share)
        ));
    }
    sentences.extend(inspection(context.inspection));
    sentences.join(" ")
}

fn inspection(next: Inspection) -> Option<String> {
    let hours = next.hours_h.map(|hours| format!("at {hours:.0} h"));
    let date = next.date.map(|date| format!("on {date}"));
    match (hours, date) {
        (None, None) => None,
        (Some(one), None) | (None, Some(one)) => Some(format!("Its next full inspection is due {one}.")),
        (Some(hours), Some(date)) => {
            Some(format!("Its next full inspection is due {hours} or {date}, whichever comes first."))
        }
    }
}

/// What is over a limit by value.
fn over(present: &Present) -> Option<String> {
    let first = present.over.first()?;
    let mut kinds: Vec<&OverLimit> = vec![first];
    for one in &present.over {
        if kinds.len() < KINDS && kinds.iter().all(|known| known.reason != one.reason) {
            kinds.push(one);
        }
    }
    let more = match present.over.len() - kinds.len() {
        0 => String::new(),
        1 => ", and one more limit is passed".to_owned(),
        more => format!(", and {more} more limits are passed"),
    };
    let said: Vec<String> = kinds.into_iter().map(passed).collect();
    Some(format!("Measured at the last check: {}{more}.", said.join(", ")))
}

fn passed(OverLimit { name, value, limit, unit, .. }: &OverLimit) -> String {
    match unit {
        WatchedUnit::Mm => format!("{name} {value:+.1} mm (limit {limit:.1} mm)"),
        WatchedUnit::Deg => format!("{name} {value:+.2}\u{b0} (limit {limit:.2}\u{b0})"),
    }
}

fn basis(row: &DueRow, context: &Context<'_>) -> &'static str {
    match row.basis {
        Basis::History => "Forecast from the fleet's wear and this wing's own checks.",
        Basis::Fleet => "Forecast from the fleet's wear alone: no check of this wing is in it.",
        Basis::Own => "Forecast from this wing's own points alone.",
        Basis::Interval => match context.why_none {
            Some(WhyNone::NeverMeasured) => {
                "No forecast could be made: no wing with these materials in these rows has been measured."
            }
            Some(WhyNone::NotInFit) => {
                "No forecast could be made: the saved fit has no rate for some of its materials in their rows, and this wing \
                 has too few checks."
            }
            Some(WhyNone::NotJudged) => {
                "No state and no forecast are given on such a check: put that right or measure again; until then the interval alone is known."
            }
            Some(WhyNone::NoFit) => {
                "No forecast could be made: the fleet's readings are too few, or too alike, to learn wear from."
            }
            Some(WhyNone::FitFewWings) => {
                "No forecast could be made: the saved fit rests on too few wings, and this wing has too few checks."
            }
            _ => "No forecast could be made: the fleet has too few wings, and this wing too few checks.",
        },
    }
}

fn when(row: &DueRow, set: &LineSet, context: &Context<'_>) -> String {
    let since = if context.checked { "the last check" } else { "new" };
    let ahead = row.due_hours - row.hours_now;
    let at = format!("Due at {:.0} h, {ahead:.0} h after {since}", row.due_hours);
    let interval = context.interval;
    match (row.reason, context.outlook) {
        (Reason::Interval, outlook) => {
            let by = if interval.months_bind {
                format!("{} months at this wing's usage ({})", figure(interval.months), interval.months_from.words())
            } else {
                format!("{} h ({})", figure(interval.hours), interval.hours_from.words())
            };
            let chance = outlook.map_or_else(String::new, |outlook| {
                format!(
                    "; the chance that a limit is crossed by then is {}",
                    percent(outlook.crossing.risk_at(row.due_hours))
                )
            });
            // no forecast, and no line past its limit by value
            let near = context.present.filter(|present| present.in_trim && present.chance >= context.risk);
            let near = near.map_or_else(String::new, |present| {
                format!(
                    " By value no limit was passed at the last check; the chance that one truly was is {}.",
                    percent(present.chance)
                )
            });
            format!("{at}, by the interval of {by}{chance}.{near}")
        }
        (Reason::Line, _) if context.again.is_some() => format!(
            "Due now for a second reading: {}, too near the limit to tell (chance that a limit is crossed {}, the accepted risk is {}). \
             Measure that again.",
            context.again.unwrap_or_default(),
            percent(row.risk_now.unwrap_or(0.0)),
            percent(context.risk),
        ),
        (Reason::AlreadyOver, outlook) => {
            let goes_first = match (outlook, context.present) {
                (Some(outlook), _) => first(outlook, set, row.hours_now),
                (None, Some(Present { shares, most_often: Some(cause), .. })) => {
                    shares.first().map_or_else(String::new, |share| most_often(*cause, share.share, set))
                }
                _ => String::new(),
            };
            let in_trim = context.present.is_some_and(|present| present.in_trim);
            let by_value = if in_trim { "by value its last check was in trim, but so closely that " } else { "" };
            let work = context.present.and_then(|present| present.work.as_ref());
            let work = work.map_or_else(String::new, |work| format!(" Its last check calls for work: {work}"));
            format!(
                "Due now: {by_value}the chance that a limit is already crossed is {}, and the accepted risk is {}.{work}{goes_first}",
                percent(row.risk_now.unwrap_or(0.0)),
                percent(context.risk),
            )
        }
        (Reason::Event, _) => {
            let (what, day) = context
                .event
                .map_or(("an event", String::new()), |event| (event.event.as_str(), event.day.to_string()));
            let soon = if ahead <= 0.0 { "Due before the next flight".to_owned() } else { at };
            format!("{soon}: `{what}` on {day} asks for a check.")
        }
        (_, outlook) => format!(
            "{at}, when the chance that a limit is crossed reaches {}; the interval would allow {:.0} h.{}",
            percent(context.risk),
            interval.due_h,
            outlook.map_or_else(String::new, |outlook| first(outlook, set, row.due_hours)),
        ),
    }
}

fn first(outlook: &Outlook, set: &LineSet, until_h: f64) -> String {
    let shares = outlook.crossing.first_limits(until_h);
    let (Some(share), Some(cause)) = (shares.first(), outlook.crossing.most_often(until_h)) else {
        return String::new();
    };
    most_often(cause, share.share, set)
}

fn most_often(cause: Cause, share: f64, set: &LineSet) -> String {
    let kind = match cause {
        Cause::RowDifference { front, rear } => {
            format!("a row difference, mostly {front} against {rear}")
        }
        Cause::Incidence => "incidence".to_owned(),
        Cause::RowLeftRight(row) => format!("left less right, mostly row {row}"),
        Cause::LeftRight => "left less right, mostly the incidence".to_owned(),
        Cause::Twist => "twist from centre to tips".to_owned(),
        Cause::Offset => "the common offset".to_owned(),
        Cause::Brake => "the brake row".to_owned(),
        Cause::Line(key) => format!(
            "that of a single line, most often {} {}",
            set.lines().get(key.line).map_or("?", |line| line.name.as_str()),
            key.side
        ),
    };
    format!(" In {} of the draws the first limit crossed is {kind}.", percent(share))
}

fn percent(share: f64) -> String {
    match 100.0 * share {
        none if none <= 0.0 => "0 %".to_owned(),
        small if small < 1.0 => "under 1 %".to_owned(),
        large if large > 99.0 && share <= 1.0 => "over 99 %".to_owned(),
        some => format!("{some:.0} %"),
    }
}

/// A figure without needless zeros.
fn figure(value: f64) -> String {
    format!("{}", (value * 10.0).round() / 10.0)
}
