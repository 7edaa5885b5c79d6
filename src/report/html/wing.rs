//! The page's parts on one wing.

use jiff::civil::Date;
use maud::{Markup, html};

use super::draft::Draft;
use super::{lines, next, plan, to_do, trim};
use crate::report::build::Entry;
use crate::report::figures::wing_plan_figure;
use crate::report::{ReportError, words};
use crate::trim::{Trim, TrimState};

/// Id of the part of the wing in that place.
pub(super) fn anchor(place: usize) -> String {
    format!("wing-{place}")
}

/// The state in a sentence, and what is off.
pub(super) fn state(entry: &Entry<'_>) -> Markup {
    html! {
        p .lead { (sentence(entry)) }
        @if let Some(trim) = entry.trim { (diagnosis(trim)) }
    }
}

fn sentence(entry: &Entry<'_>) -> String {
    words::typeset(entry.trim.map_or("No usable check.", |trim| &trim.summary))
}

/// What is off, less what the sentence above it says already.
fn diagnosis(trim: &Trim) -> Markup {
    // a sentence within another begins with a small letter there
    let tail = |text: &str| text.chars().skip(1).collect::<String>().trim_end_matches('.').to_owned();
    let said = trim.diagnosis.iter().filter(|one| !trim.summary.contains(&tail(&one.text)));
    html! {
        @if said.clone().next().is_some() { ul .diagnosis { @for one in said { li { (words::typeset(&one.text)) } } } }
        p .note { (words::counts(trim)) }
    }
}

/// One wing of a fleet, folded away under its name and its state.
pub(super) fn folded(
    draft: &mut Draft,
    entry: &Entry<'_>,
    place: usize,
    today: Date,
    pictured: bool,
) -> Result<Markup, ReportError> {
    let next = entry.due.map(|row| words::due(row, today));
    draft.deeper = 2;
    let parts = parts(draft, entry, place, today, pictured);
    draft.deeper = 0;
    let parts = parts?;
    Ok(html! {
        details .wing id=(anchor(place)) {
            summary {
                h3 { "Wing " (entry.wing) } " " span .model { (entry.model) }
                p { (sentence(entry)) @if let Some(next) = &next { " Next check: " (next) "." } }
            }
            @if let Some(trim) = entry.trim { (diagnosis(trim)) }
            (parts)
        }
        "\n"
    })
}

/// What to do, when next, lines, trim, incidence, plan, forecast.
pub(super) fn parts(
    draft: &mut Draft,
    entry: &Entry<'_>,
    place: usize,
    today: Date,
    pictured: bool,
) -> Result<Markup, ReportError> {
    let above = entry.trim.filter(|_| pictured).and_then(|trim| wing_plan_figure(trim, entry.set, None));
    let above = draft.figures(
        super::draft::Layout::Whole,
        "Each line\u{2019}s deviation, seen from above",
        "Pointing up: longer. Pointing down: shorter. Dot: level. Colour and size grow with the deviation. Thick edge: outside \
         tolerance. Broken edge: a doubtful reading.",
        &format!("plan-view-{place}"),
        above.into_iter().collect(),
    );
    let lines = match entry.trim {
        Some(trim) if pictured => lines::part(draft, trim, entry, place),
        Some(_) => html! {
            p .note {
                "Figures and lines are left out here to keep the page light. The result tables beside this page hold every line."
            }
        },
        None => Markup::default(),
    };
    let trimmed = match entry.trim {
        // a wing in trim among many shows its lines; the panels are on its own page
        Some(trim) => {
            trim::part(draft, trim, place, pictured && (draft.deeper == 0 || trim.state != TrimState::InTrim))?
        }
        None => Markup::default(),
    };
    let planned = match entry.plan {
        Some(planned) => plan::part(draft, planned, place, pictured)?,
        None => Markup::default(),
    };
    let forecast = next::forecast(draft, entry, place, pictured)?;
    Ok(html! {
        (draft.heading(&format!("do-{place}"), "What to do"))
        div .beside.do { (to_do::part(entry, today)) (above) }
        (lines)
        (trimmed)
        (planned)
        (forecast)
    })
}
