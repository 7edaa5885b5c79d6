//! The page's part on a wing's next check.

use maud::{Markup, html};

use super::draft::{Draft, Layout};
use crate::forecast::{DueRow, Reason};
use crate::report::build::Entry;
use crate::report::figures::forecast_figures;
use crate::report::{ReportError, words};

/// How the date of the next check came about.
pub(super) fn forecast(
    draft: &mut Draft,
    entry: &Entry<'_>,
    place: usize,
    pictured: bool,
) -> Result<Markup, ReportError> {
    let Some(row) = entry.due else { return Ok(Markup::default()) };
    let dates = match entry.detail.map(|detail| (detail.earliest_date, detail.latest_date)) {
        Some((Some(early), Some(late))) if early < late && row.reason != Reason::AlreadyOver => {
            format!(
                " How much the wing will fly is not known: with 80 % chance the day is between {early} and {late}."
            )
        }
        _ => String::new(),
    };
    let figures = match entry.fan.filter(|_| pictured) {
        Some(fan) => forecast_figures(fan)?,
        None => Vec::new(),
    };
    let figures = draft.figures(
        Layout::Panels,
        "How the date came about",
        "Dots: measured, as found, with 95 % interval. Rings: as left after adjusting. Fan: where the true value lies with 50, 80 and \
         95 % chance. Solid line across: limit. Dashed: next check. Last panel: the chance that any limit is crossed.",
        &format!("forecast-{place}"),
        figures,
    );
    Ok(html! {
        (draft.heading(&format!("next-{place}"), "Forecast"))
        div .beside.next {
            p { (words::typeset(entry.explanation.unwrap_or_default())) (crossing(row)) (dates) }
            (figures)
        }
    })
}

fn crossing(row: &DueRow) -> String {
    let crossing = match (row.crossing_hours.p10, row.crossing_hours.p50, row.crossing_hours.p90) {
        (Some(early), Some(middle), Some(late)) => format!(
            " The first limit is crossed at about {} h (80 % between {} and {} h).",
            words::number(middle, 0),
            words::number(early, 0),
            words::number(late, 0)
        ),
        (Some(early), _, _) => {
            format!(" There is one chance in ten that a limit is crossed by {} h.", words::number(early, 0))
        }
        _ => String::new(),
    };
    match row.risk_now {
        _ if row.reason == Reason::AlreadyOver => String::new(),
        Some(risk) => format!(" The chance that a limit is already crossed is {}.{crossing}", words::chance(risk)),
        None => crossing,
    }
}
