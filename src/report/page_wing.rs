//! The page's part on one wing.

use std::fmt::Write as _;

use jiff::civil::Date;

use super::data::Entry;
use super::deviation_figure::deviation_figures;
use super::figure::Figure;
use super::html::{Cell, escape, table};
use super::incidence_figure::incidence_figure;
use super::page::panels;
use super::wing_plan_figure::wing_plan_figure;
use super::{ReportError, words};
use crate::forecast::{DueRow, Reason};
use crate::trim::{LineVerdict, Trim, Verdict};
use crate::wing::{LineSet, Row, Side};

/// Id of the section of the wing in that place.
pub(super) fn anchor(place: usize) -> String {
    format!("wing-{place}")
}

pub(super) fn section(
    out: &mut String,
    entry: &Entry<'_>,
    place: usize,
    today: Date,
    pictured: bool,
    open: bool,
) -> Result<(), ReportError> {
    let state = entry.trim.map_or_else(|| "No usable check.".to_owned(), words::state);
    let _ = writeln!(
        out,
        "<details id=\"{}\"{}><summary><h3>Wing {}</h3> <span class=\"model\">{}</span>\n<p>{}</p></summary>",
        anchor(place),
        if open { " open" } else { "" },
        escape(entry.wing),
        escape(entry.model),
        escape(&state)
    );
    if let Some(row) = entry.due {
        due(out, row, entry.explanation, today);
    }
    if let Some(trim) = entry.trim {
        trimmed(out, trim, entry.set, place, pictured)?;
    }
    out.push_str("</details>\n");
    Ok(())
}

fn due(out: &mut String, row: &DueRow, explanation: Option<&str>, today: Date) {
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
    let more = match row.risk_now {
        _ if row.reason == Reason::AlreadyOver => String::new(),
        Some(risk) => format!(" The chance that a limit is crossed already is {}.{crossing}", words::chance(risk)),
        None => crossing,
    };
    let _ = writeln!(
        out,
        "<p><strong>Next check: {}</strong> ({}). {}{more}</p>",
        escape(&words::due(row, today)),
        words::reason(row.reason),
        escape(explanation.unwrap_or_default())
    );
}

fn trimmed(out: &mut String, trim: &Trim, set: &LineSet, place: usize, pictured: bool) -> Result<(), ReportError> {
    let measured = [
        ("Common offset", words::maybe(trim.common_mm, 1), "mm"),
        ("Incidence change", words::interval(&trim.incidence_change_deg, 2), "\u{b0}"),
        ("Angle of attack at trim, change", words::interval(&trim.aoa_change_deg, 2), "\u{b0} (band)"),
        ("Trim speed, change", words::interval(&trim.speed_change_pct, 1), "% (band)"),
        ("Left less right, incidence", words::interval(&trim.asymmetry_deg, 2), "\u{b0}"),
    ];
    out.push_str("<dl class=\"facts\">\n");
    for (name, value, unit) in measured {
        let unit = if value == "–" { "" } else { unit };
        let _ = writeln!(out, "<div><dt>{name}</dt><dd>{value} {unit}</dd></div>");
    }
    out.push_str("</dl>\n");
    for note in &trim.notes {
        let _ = writeln!(out, "<p class=\"note\">{}</p>", escape(&note.message));
    }
    rows(out, trim);
    row_differences(out, trim);
    if pictured {
        if let Some(figure) = wing_plan_figure(trim, set, None) {
            whole(
                out,
                "Relative deviation of each line, seen from above",
                PLAN_KEY,
                &format!("plan-{place}"),
                &figure,
            );
        }
        if let Some(figure) = incidence_figure(trim)? {
            let key = "Left: dots, solid. Right: rings, dashed. Shaded: 95 % interval.";
            whole(out, "Incidence change along the span", key, &format!("inc-{place}"), &figure);
        }
        panels(
            out,
            "Relative deviation from the centre to the tip",
            "Left: dots, solid. Right: rings, dashed. Shaded: tolerance. Cross: outside it.",
            &format!("dev-{place}"),
            &deviation_figures(trim)?,
        );
        lines(out, trim);
    } else {
        out.push_str(
            "<p class=\"note\">Figure and table of lines are left out here to keep the page light; the result tables \
                      beside this page hold every line.</p>\n",
        );
    }
    Ok(())
}

const PLAN_KEY: &str = "Pointing up: longer. Pointing down: shorter. Dot: level. Colour and size grow with the deviation. \
                        Thick edge: outside tolerance; broken edge: undecided.";

/// A figure over the whole width, in a wrapper that scrolls by itself on a narrow screen.
fn whole(out: &mut String, caption: &str, key: &str, id: &str, figure: &Figure) {
    let _ = writeln!(
        out,
        "<figure><figcaption>{0}<span class=\"key\">{key}</span></figcaption>\
         <div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"{0}\">{1}</div></figure>",
        escape(caption),
        figure.inline_svg(id)
    );
}

/// Row means, left, right and both, in the order of the rows.
fn rows(out: &mut String, trim: &Trim) {
    let table_rows: Vec<Vec<Cell>> = Row::ALL
        .into_iter()
        .filter(|row| trim.rows.iter().any(|known| known.row == *row))
        .map(|row| {
            let find = |side: &str| trim.rows.iter().find(|known| known.row == row && known.side == side);
            let mean = |side: &str| {
                Cell::figure(find(side).map_or_else(
                    || "–".to_owned(),
                    |row| format!("{} \u{b1} {}", words::signed(row.mean_mm, 1), words::number(row.se_mm, 1)),
                ))
            };
            vec![
                Cell::words(row.name()),
                mean("left"),
                mean("right"),
                mean("both"),
                Cell::figure(words::maybe(find("both").and_then(|row| row.effective_mm), 1)),
                Cell::figure(find("both").map_or_else(|| "–".to_owned(), |row| row.lines.to_string())),
            ]
        })
        .collect();
    out.push_str(&table(
        &format!(
            "Row means of the raw deviation \u{b1} standard error, mm: check {} at {} h, {}",
            trim.check,
            words::number(trim.hours, 0),
            words::stage(trim.stage)
        ),
        &["Row", "Left", "Right", "Both", "Both, weighted by lift", "Lines"],
        &table_rows,
    ));
}

/// Differences of the rows of the whole wing, in which a common offset cancels.
fn row_differences(out: &mut String, trim: &Trim) {
    let differences = words::row_differences(trim);
    if !differences.is_empty() {
        let _ = writeln!(
            out,
            "<p>Differences of rows, mm \u{b1} standard error: {}.</p>",
            escape(&differences.join("; "))
        );
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
    out.push_str(&table(
        "All lines, relative deviation",
        &["Line", "Row", "Left, mm", "Left", "Right, mm", "Right", "Uncertainty \u{b1} mm", "Tolerance \u{b1} mm"],
        &rows,
    ));
}

fn verdict(line: Option<&LineVerdict>) -> Cell {
    match line.map(|line| line.verdict) {
        None => Cell::words("not read"),
        Some(Verdict::Within) => Cell::words("within"),
        Some(Verdict::Outside) => Cell::words("outside").marked(),
        Some(Verdict::Undecided) => Cell::words("undecided").marked(),
    }
}
