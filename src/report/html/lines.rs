//! The page's table of all lines of a wing.

use maud::{Markup, html};

use super::draft::Draft;
use crate::report::build::Entry;
use crate::report::words;
use crate::trim::{LineVerdict, Trim, Verdict};
use crate::wing::{LineSet, Row, Side};

/// Every line of the wing's model with what was measured on both sides, row by row.
pub(super) fn part(draft: &Draft, trim: &Trim, entry: &Entry<'_>, place: usize) -> Markup {
    let common = trim.common_mm.map_or_else(
        || "There is no common offset: no line of A to D was read.".to_owned(),
        |mm| {
            format!(
                "Off: deviation minus the common offset of {} mm. Tolerances are judged on it.",
                words::signed(mm, 1)
            )
        },
    );
    let riser = if trim.lines.iter().any(|line| line.riser_mm != 0.0) {
        " The deviation holds that of the riser where it was measured."
    } else {
        ""
    };
    html! {
        (draft.heading(&format!("lines-{place}"), &format!("All {} lines", trim.lines.len())))
        p .note {
            "All in mm. Measured: less the datum, at the maker\u{2019}s load and temperature. Dev. (deviation): measured minus the \
             maker\u{2019}s length, plus is longer. " (common) (riser) " Bold: outside tolerance. Dotted: too close to it to be sure. Question mark: a doubtful \
             reading, which nothing rests on."
        }
        @for rows in groups(trim) { div .lines { @for row in rows { (of_row(row, trim, entry.set)) } } }
    }
}

/// Rows whose tables share the width of the page, two columns each: a sheet of paper ends between them.
fn groups(trim: &Trim) -> [Vec<Row>; 3] {
    let has = |row: &Row| trim.lines.iter().any(|line| line.row == *row);
    let of = |rows: &[Row]| rows.iter().copied().filter(has).collect();
    let (front, small) = ([Row::A, Row::B], [Row::Stabilo, Row::Brake]);
    if has(&Row::D) {
        [of(&front), of(&[Row::C, Row::D]), of(&small)]
    } else {
        [of(&front), of(&[Row::C, Row::Stabilo, Row::Brake]), Vec::new()]
    }
}

/// A line's name with what was measured left and right.
struct Named<'a> {
    name: &'a str,
    sides: [Option<&'a LineVerdict>; 2],
}

/// The lines of a row in the order of the maker's table.
fn named<'a>(row: Row, trim: &'a Trim, set: &LineSet) -> Vec<Named<'a>> {
    let mut lines: Vec<Named<'a>> = Vec::new();
    for line in trim.lines.iter().filter(|line| line.row == row) {
        let at = lines.iter().position(|known| known.name == line.line).unwrap_or_else(|| {
            lines.push(Named { name: &line.line, sides: [None, None] });
            lines.len() - 1
        });
        lines[at].sides[line.side.index()] = Some(line);
    }
    let place = |line: &Named<'_>| Side::BOTH.into_iter().find_map(|side| set.find(line.name, side));
    lines.sort_by_key(place);
    lines
}

fn of_row(row: Row, trim: &Trim, set: &LineSet) -> Markup {
    let lines = named(row, trim, set);
    let main = |name: &str| {
        let of = |side| set.find(name, side).and_then(|at| set.lines().get(at)?.main.as_deref());
        Side::BOTH.into_iter().find_map(of).unwrap_or_default()
    };
    let tolerances = || lines.iter().flat_map(|line| line.sides).flatten().map(|line| line.tolerance_mm);
    let uncertainties = || lines.iter().flat_map(|line| line.sides).flatten().map(|line| line.uncertainty_mm);
    let caption = format!(
        "{}, tolerance \u{b1} {} mm, uncertainty \u{b1} {} mm",
        words::row(row),
        words::between(tolerances()),
        words::between(uncertainties())
    );
    html! {
        @if !lines.is_empty() {
            div .wide tabindex="0" role="group" aria-label=(caption) {
                table .sort {
                    caption { span { (caption) } }
                    thead {
                        tr {
                            td colspan="3" {}
                            th scope="colgroup" colspan="3" { "Left" }
                            th scope="colgroup" colspan="3" { "Right" }
                        }
                        tr {
                            th scope="col" { "Line" }
                            th scope="col" { "Main" }
                            th scope="col" { "Maker\u{2019}s" }
                            @for side in ["left", "right"] {
                                th scope="col" aria-label=(format!("measured {side}")) { "Measured" }
                                th scope="col" aria-label=(format!("deviation {side}")) { "Dev." }
                                th scope="col" aria-label=(format!("off {side}")) { "Off" }
                            }
                        }
                    }
                    tbody {
                        @for line in &lines {
                            tr {
                                th scope="row" { (line.name) }
                                td { (main(line.name)) }
                                td { (nominal(set, line)) }
                                @for side in Side::BOTH { (measured(line, side, set)) }
                            }
                        }
                    }
                }
            }
            "\n"
        }
    }
}

/// The maker's length; of a line set that is not symmetric, that of each side.
fn nominal(set: &LineSet, line: &Named<'_>) -> String {
    let of = |side| Some(words::number(nominal_mm(set, line.name, side)?, 0));
    match (of(Side::Left), of(Side::Right)) {
        (Some(left), Some(right)) if left != right => format!("{left} / {right}"),
        (Some(one), _) | (None, Some(one)) => one,
        (None, None) => "\u{2013}".to_owned(),
    }
}

fn nominal_mm(set: &LineSet, name: &str, side: Side) -> Option<f64> {
    Some(set.lines().get(set.find(name, side)?)?.nominal_mm)
}

fn measured(line: &Named<'_>, side: Side, set: &LineSet) -> Markup {
    let Some(read) = line.sides[side.index()] else {
        return html! { td .k colspan="3" { "not read" } };
    };
    let length = nominal_mm(set, line.name, side).map(|mm| words::number(mm + read.deviation_mm - read.riser_mm, 0));
    let verdict = match read.verdict {
        Some(Verdict::Within) => "",
        Some(Verdict::Outside) => "outside",
        Some(Verdict::Undecided) => "undecided",
        None => "doubtful",
    };
    let near = (read.near && !read.doubted)
        .then(|| format!("chance of being outside: {}", words::chance(read.chance_outside)));
    html! {
        td { (length.as_deref().unwrap_or("\u{2013}")) }
        td { (words::signed(read.deviation_mm, 0)) }
        td .mark[read.is_outside()] .doubted[read.doubted] .near[near.is_some()] title=[near] {
            (words::signed(read.relative_mm, 1)) @if read.doubted { "?" }
            @if !verdict.is_empty() { span .sr { " " (verdict) } }
        }
    }
}
