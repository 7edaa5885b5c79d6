//! The page's parts on the trim of a wing: rows and incidence.

use maud::{Markup, html};

use super::draft::{Draft, Layout, note};
use super::table::{Cell, table};
use crate::report::figures::{deviation_figures, incidence_figure, row_figure};
use crate::report::{ReportError, words};
use crate::trim::{Interval, RowTrim, Trim};
use crate::wing::Row;

/// Rows, then incidence.
pub(super) fn part(draft: &mut Draft, trim: &Trim, place: usize, pictured: bool) -> Result<Markup, ReportError> {
    let rows = rows(draft, trim, place, pictured)?;
    let incidence = incidence(draft, trim, place, pictured)?;
    Ok(html! { (rows) (incidence) })
}

/// Row means less the common offset, left, right and both, in the order of the rows; then the lines along the span.
fn rows(draft: &mut Draft, trim: &Trim, place: usize, pictured: bool) -> Result<Markup, ReportError> {
    let says = match trim.common_mm {
        Some(common_mm) => format!(
            "The mean of each row against the maker\u{2019}s table, less the common offset of {} mm.",
            words::signed(common_mm, 1)
        ),
        None => "The mean of each row against the maker\u{2019}s table. No line of A to D was read, so there is no common offset."
            .to_owned(),
    };
    let figure = row_figure(trim)?.filter(|_| pictured);
    let key = "Left: dot. Right: ring. Bars: 95 % interval.";
    let figure = draft.figures(
        Layout::Panels,
        "Mean of each row",
        key,
        &format!("rows-figure-{place}"),
        figure.into_iter().collect(),
    );
    let differences = words::row_differences(trim);
    let along = if pictured { deviation_figures(trim)? } else { Vec::new() };
    let along = draft.figures(
        Layout::Panels,
        "Row by row from the centre to the tip",
        "Left: dots, solid. Right: rings, dashed. Stroke: 95 % interval. Shaded: narrowest tolerance of the row. Cross: outside \
         tolerance. Ring around: a doubtful reading.",
        &format!("dev-{place}"),
        along,
    );
    Ok(html! {
        (draft.heading(&format!("rows-{place}"), "Trim of the rows"))
        p { (says) }
        div .beside.rows { (figure) (row_table(trim)) }
        @if !differences.is_empty() { p { "Differences between rows, mm (95 %): " (differences.join("; ")) "." } }
        (along)
    })
}

fn row_table(trim: &Trim) -> Markup {
    let common_mm = trim.common_mm.unwrap_or(0.0);
    let rows: Vec<Vec<Cell>> = Row::ALL
        .into_iter()
        .filter(|row| trim.rows.iter().any(|known| known.row == *row))
        .map(|row| {
            let find = |side: &str| trim.rows.iter().find(|known| known.row == row && known.side == side);
            let mean = |side: &str| {
                let says = |row: &RowTrim| words::row_interval(row, common_mm);
                Cell::figure(find(side).map_or_else(|| "\u{2013}".to_owned(), says))
            };
            let both = find("both");
            let weighted = both.and_then(|row| row.effective_mm).map(|mm| mm - common_mm);
            vec![
                Cell::words(row.name()),
                mean("left"),
                mean("right"),
                mean("both"),
                Cell::figure(words::maybe(weighted, 1)),
                Cell::figure(both.map_or_else(|| "\u{2013}".to_owned(), |row| row.lines.to_string())),
            ]
        })
        .collect();
    table(
        "Row means less the common offset, mm (95 %)",
        &["Row", "Left", "Right", "Both", "Both, weighted by lift", "Lines"],
        &rows,
    )
}

fn incidence(draft: &mut Draft, trim: &Trim, place: usize, pictured: bool) -> Result<Markup, ReportError> {
    let says = |interval: &Interval, decimals: usize, unit: &str| {
        let text = words::interval(interval, decimals);
        if text == "\u{2013}" { "not known".to_owned() } else { format!("{text} {unit}") }
    };
    let facts = [
        ("Incidence change (95 %)", says(&trim.incidence_change_deg, 2, "\u{b0}")),
        ("Left minus right (95 %)", says(&trim.asymmetry_deg, 2, "\u{b0}")),
        ("Angle of attack at trim, change (band)", says(&trim.aoa_change_deg, 2, "\u{b0}")),
        ("Trim speed, change (band)", says(&trim.speed_change_pct, 1, "%")),
    ];
    let figure = incidence_figure(trim)?.filter(|_| pictured);
    let figure = draft.figures(
        Layout::Whole,
        "Incidence change along the span",
        "Plus: nose up. Left: dots, solid. Right: rings, dashed. Shaded: 95 % interval.",
        &format!("inc-{place}"),
        figure.into_iter().collect(),
    );
    Ok(html! {
        (draft.heading(&format!("incidence-{place}"), "Incidence"))
        div .beside {
            div {
                dl .facts { @for (name, value) in &facts { div { dt { (name) } dd { (value) } } } }
                @for one in &trim.notes { (note(&one.message)) }
            }
            (figure)
        }
    })
}
