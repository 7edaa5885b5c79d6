//! The page's parts on one wing.

use std::fmt::Write as _;

use jiff::civil::Date;

use super::draft::Draft;
use super::table::Cell;
use super::{plan, to_do};
use crate::forecast::{DueRow, Reason};
use crate::report::build::Entry;
use crate::report::escape;
use crate::report::figures::deviation_figures;
use crate::report::figures::forecast_figures;
use crate::report::figures::incidence_figure;
use crate::report::figures::row_figure;
use crate::report::figures::wing_plan_figure;
use crate::report::{ReportError, words};
use crate::trim::{LineVerdict, RowTrim, Trim, Verdict};
use crate::wing::{Row, Side};

/// Id of the section of the wing in that place.
pub(super) fn anchor(place: usize) -> String {
    format!("wing-{place}")
}

/// The state in a sentence.
pub(super) fn state(draft: &mut Draft, entry: &Entry<'_>) {
    let state = entry.trim.map_or_else(|| "No usable check.".to_owned(), words::state);
    let _ = writeln!(draft.html, "<p class=\"lead\">{}</p>", escape(&state));
}

/// One wing of a fleet, folded away under its name and its state.
pub(super) fn folded(
    draft: &mut Draft,
    entry: &Entry<'_>,
    place: usize,
    today: Date,
    pictured: bool,
) -> Result<(), ReportError> {
    let state = entry.trim.map_or_else(|| "No usable check.".to_owned(), words::state);
    let next = entry.due.map_or_else(String::new, |row| format!(" Next check: {}.", words::due(row, today)));
    let _ = writeln!(
        draft.html,
        "<details class=\"wing\" id=\"{}\"><summary><h3>Wing {}</h3> <span class=\"model\">{}</span>\n<p>{}</p></summary>",
        anchor(place),
        escape(entry.wing),
        escape(entry.model),
        escape(&format!("{state}{next}"))
    );
    let level = std::mem::replace(&mut draft.level, 4);
    parts(draft, entry, place, today, pictured)?;
    draft.level = level;
    draft.raw("</details>\n");
    Ok(())
}

/// What to do, trim, incidence, plan, next check, lines.
pub(super) fn parts(
    draft: &mut Draft,
    entry: &Entry<'_>,
    place: usize,
    today: Date,
    pictured: bool,
) -> Result<(), ReportError> {
    draft.heading(&format!("do-{place}"), "What to do");
    draft.raw("<ol class=\"todo\">\n");
    for sentence in to_do::sentences(entry, today) {
        let _ = writeln!(draft.html, "<li>{}</li>", escape(&sentence));
    }
    draft.raw("</ol>\n");
    if let Some(trim) = entry.trim {
        rows(draft, trim, place, pictured)?;
        incidence(draft, trim, place, pictured)?;
    }
    if let Some(planned) = entry.plan {
        plan::part(draft, planned, place, pictured)?;
    }
    due(draft, entry, place, today, pictured)?;
    if let Some(trim) = entry.trim {
        all_lines(draft, trim, entry, place, pictured);
    }
    Ok(())
}

fn due(draft: &mut Draft, entry: &Entry<'_>, place: usize, today: Date, pictured: bool) -> Result<(), ReportError> {
    let Some(row) = entry.due else { return Ok(()) };
    draft.heading(&format!("next-{place}"), "Next check");
    let dates = match entry.detail.map(|detail| (detail.earliest_date, detail.latest_date)) {
        Some((Some(early), Some(late))) if early < late && row.reason != Reason::AlreadyOver => {
            format!(" With its usage uncertain, the day lies between {early} and {late} for eight wings in ten.")
        }
        _ => String::new(),
    };
    let _ = writeln!(
        draft.html,
        "<p><strong>{}</strong> ({}). {}{}{}</p>",
        escape(&capital(&words::due(row, today))),
        words::reason(row.reason),
        escape(entry.explanation.unwrap_or_default()),
        escape(&crossing(row)),
        escape(&dates)
    );
    if let Some(fan) = entry.fan.filter(|_| pictured) {
        draft.panels(
            "How the date came about",
            "Dots: measured, as found, with 95 % interval; rings: as left after adjusting. Fan: where the true value is with 50, \
             80 and 95 % chance. Solid line across: limit. Dashed: the check due. Last panel: the chance that any limit \
             is crossed, which meets the accepted one at the due hours unless the interval comes first.",
            &format!("forecast-{place}"),
            forecast_figures(fan)?,
        );
    }
    Ok(())
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
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
            format!(" One chance in ten that a limit is crossed by {} h.", words::number(early, 0))
        }
        _ => String::new(),
    };
    match row.risk_now {
        _ if row.reason == Reason::AlreadyOver => String::new(),
        Some(risk) => format!(" The chance that a limit is crossed already is {}.{crossing}", words::chance(risk)),
        None => crossing,
    }
}

/// Row means less the common offset, left, right and both, in the order of the rows; then the lines along the span.
fn rows(draft: &mut Draft, trim: &Trim, place: usize, pictured: bool) -> Result<(), ReportError> {
    draft.heading(&format!("rows-{place}"), "Trim of the rows");
    draft.text(&match trim.common_mm {
        Some(common_mm) => format!(
            "Each row against the maker\u{2019}s table, less the common offset of {} mm, which does not change the trim.",
            words::signed(common_mm, 1)
        ),
        None => "Each row against the maker\u{2019}s table. No line of A to D was read, so there is no common offset.".to_owned(),
    });
    draft.raw("<div class=\"beside\">");
    if let Some(figure) = row_figure(trim)?.filter(|_| pictured) {
        let key = "Left: dot. Right: ring. Bars: 95 % interval.";
        draft.panels("Mean of each row", key, &format!("rows-figure-{place}"), vec![figure]);
    }
    let common_mm = trim.common_mm.unwrap_or(0.0);
    let table_rows: Vec<Vec<Cell>> = Row::ALL
        .into_iter()
        .filter(|row| trim.rows.iter().any(|known| known.row == *row))
        .map(|row| {
            let find = |side: &str| trim.rows.iter().find(|known| known.row == row && known.side == side);
            let mean = |side: &str| {
                let told = |row: &RowTrim| words::row_interval(row, common_mm);
                Cell::figure(find(side).map_or_else(|| "–".to_owned(), told))
            };
            let both = find("both");
            let weighted = both.and_then(|row| row.effective_mm).map(|mm| mm - common_mm);
            vec![
                Cell::words(row.name()),
                mean("left"),
                mean("right"),
                mean("both"),
                Cell::figure(words::maybe(weighted, 1)),
                Cell::figure(both.map_or_else(|| "–".to_owned(), |row| row.lines.to_string())),
            ]
        })
        .collect();
    draft.table(
        &format!(
            "Row means less the common offset, mm (95 %): check {} at {} h, {}",
            trim.check,
            words::number(trim.hours, 0),
            words::stage(trim.stage)
        ),
        &["Row", "Left", "Right", "Both", "Both, weighted by lift", "Lines"],
        &table_rows,
    );
    draft.raw("</div>\n");
    row_differences(&mut draft.html, trim);
    if pictured {
        draft.panels(
            "Relative deviation from the centre to the tip",
            "Left: dots, solid. Right: rings, dashed. Stroke: 95 % interval. Shaded: narrowest tolerance of the row. Cross: outside \
             tolerance. Ring around: a doubtful reading.",
            &format!("dev-{place}"),
            deviation_figures(trim)?,
        );
    }
    Ok(())
}

fn incidence(draft: &mut Draft, trim: &Trim, place: usize, pictured: bool) -> Result<(), ReportError> {
    draft.heading(&format!("incidence-{place}"), "Incidence");
    let stated = |interval: &crate::trim::Interval, decimals: usize, unit: &str| {
        let told = words::interval(interval, decimals);
        if told == "–" { "not known".to_owned() } else { format!("{told} {unit}") }
    };
    draft.facts(&[
        ("Incidence change (95 %)", stated(&trim.incidence_change_deg, 2, "\u{b0}")),
        ("Left less right (95 %)", stated(&trim.asymmetry_deg, 2, "\u{b0}")),
        ("Angle of attack at trim, change (band)", stated(&trim.aoa_change_deg, 2, "\u{b0}")),
        ("Trim speed, change (band)", stated(&trim.speed_change_pct, 1, "%")),
    ]);
    for note in &trim.notes {
        draft.note(&note.message);
    }
    if let Some(figure) = incidence_figure(trim)?.filter(|_| pictured) {
        let key = "Plus: nose up. Left: dots, solid. Right: rings, dashed. Shaded: 95 % interval.";
        draft.whole("Incidence change along the span", key, &format!("inc-{place}"), figure);
    }
    Ok(())
}

fn all_lines(draft: &mut Draft, trim: &Trim, entry: &Entry<'_>, place: usize, pictured: bool) {
    if !pictured {
        draft.raw(
            "<p class=\"note\">Figures and table of lines are left out here to keep the page light; the result tables \
             beside this page hold every line.</p>\n",
        );
        return;
    }
    let _ = writeln!(
        draft.html,
        "<details class=\"lines\"><summary><h{0} id=\"lines-{1}\">All {2} lines</h{0}></summary>",
        draft.level,
        place,
        trim.lines.len()
    );
    if let Some(figure) = wing_plan_figure(trim, entry.set, None) {
        draft.whole(
            "Relative deviation of each line, seen from above",
            PLAN_KEY,
            &format!("plan-view-{place}"),
            figure,
        );
    }
    lines(&mut draft.html, trim);
    draft.raw("</details>\n");
}

const PLAN_KEY: &str = "Pointing up: longer. Pointing down: shorter. Dot: level. Colour and size grow with the deviation. \
                        Thick edge: outside tolerance; broken edge: a doubtful reading.";

/// Differences of the rows of the whole wing, in which a common offset cancels.
fn row_differences(out: &mut String, trim: &Trim) {
    let differences = words::row_differences(trim);
    if !differences.is_empty() {
        let _ = writeln!(out, "<p>Differences of rows, mm (95 %): {}.</p>", escape(&differences.join("; ")));
    }
}

/// All lines, left and right side by side, in the order of the check.
fn lines(out: &mut String, trim: &Trim) {
    let mut names: Vec<(&str, Row)> = Vec::new();
    for line in &trim.lines {
        if !names.contains(&(line.line.as_str(), line.row)) {
            names.push((&line.line, line.row));
        }
    }
    let rows: Vec<Vec<Cell>> = names
        .into_iter()
        .map(|(name, row)| {
            let find =
                |side| trim.lines.iter().find(|line| line.line == name && line.row == row && line.side == side);
            let (left, right) = (find(Side::Left), find(Side::Right));
            let any = left.or(right);
            let figure = |value: Option<f64>| Cell::figure(words::maybe(value, 1));
            vec![
                Cell::words(name),
                Cell::words(row.name()),
                figure(left.map(|line| line.relative_mm)),
                verdict(left),
                figure(right.map(|line| line.relative_mm)),
                verdict(right),
                Cell::figure(any.map_or_else(|| "–".to_owned(), |line| words::number(line.uncertainty_mm, 1))),
                Cell::figure(any.map_or_else(|| "–".to_owned(), |line| words::number(line.tolerance_mm, 0))),
            ]
        })
        .collect();
    out.push_str(&super::table::table(
        "All lines, relative deviation",
        &["Line", "Row", "Left, mm", "Left", "Right, mm", "Right", "Uncertainty \u{b1} mm", "Tolerance \u{b1} mm"],
        &rows,
    ));
}

fn verdict(line: Option<&LineVerdict>) -> Cell {
    match line.map(|line| line.verdict) {
        None => Cell::words("not read"),
        Some(None) => Cell::words("doubtful").marked(),
        Some(Some(Verdict::Within)) => Cell::words("within"),
        Some(Some(verdict)) => Cell::words(verdict.name()).marked(),
    }
}
