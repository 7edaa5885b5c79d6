//! The columns of a table: what the rows of its header, and the cells below, say of each.

use std::collections::BTreeMap;

use super::grid::{Cell, Grid};
use super::heading::{Heading, Key, Kind, unit_of};
use super::line_name::{may_be_name, row_of};
use super::quantity::{Marks, Written};
use super::table::Table;
use super::words::folded;
use crate::wing::Side;

/// A column of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    pub(super) at: usize,
    pub(super) heading: Heading,
    /// The heading as it stands.
    pub(super) title: String,
    /// Whether the user says what it holds.
    pub(super) is_named: bool,
}

/// Headings of the user's own, folded, by what they hold.
pub(super) type Mapping = BTreeMap<String, String>;

/// The heading in a cell, as the user's mapping has it first.
pub(super) fn heading_of(text: &str, mapping: &Mapping) -> Heading {
    mapped(text, mapping).unwrap_or_else(|| Heading::of(text))
}

fn mapped(text: &str, mapping: &Mapping) -> Option<Heading> {
    let what = mapping.get(&folded(text))?;
    Some(Heading { unit: unit_of(text), ..Heading::of(what) })
}

/// The letters that stand for left and right in a row of headings, alone or behind the same words: `G` and `D` of French
/// where no row of lines is meant.
pub(super) fn side_letters(texts: &[String]) -> Option<(&'static str, &'static str)> {
    let has = |before: &str, letter: &str| {
        texts.iter().any(|text| text.strip_suffix(letter).is_some_and(|rest| rest == before))
    };
    [("g", "d"), ("i", "d"), ("s", "d")].into_iter().find(|(left, right)| {
        texts.iter().any(|text| {
            let Some(before) = text.strip_suffix(left).filter(|before| before.is_empty() || before.ends_with(' '))
            else {
                return false;
            };
            has(before, right) && !["a", "b", "c"].iter().any(|row| has(before, row))
        })
    })
}

/// A heading whose last word is one of two letters for left and right; `None` for any other.
fn with_letter(text: &str, letters: Option<(&str, &str)>, mapping: &Mapping) -> Option<Heading> {
    let (left, right) = letters?;
    let own = folded(text);
    let (before, letter) = own.rsplit_once(' ').unwrap_or(("", &own));
    let side = match letter {
        letter if letter == left => Side::Left,
        letter if letter == right => Side::Right,
        _ => return None,
    };
    let unit = unit_of(text);
    Some(Heading { side: Some(side), unit, ..heading_of(before, mapping) })
}

/// The columns of a table with all that the rows of its header say.
pub(super) fn columns(grid: &Grid, mapping: &Mapping, table: &Table) -> Vec<Column> {
    let own: Vec<String> =
        (table.from..table.to).filter_map(|at| grid.cell(table.header, at).text()).map(folded).collect();
    let letters = side_letters(&own);
    let mut columns = Vec::new();
    for at in table.from..table.to {
        let mut parts: Vec<&str> = Vec::new();
        let mut heading: Option<Heading> = None;
        let mut is_named = false;
        for row in (table.top..=table.header).rev() {
            let Some((text, exact)) = above(grid, row, at, row == table.header, table.from) else { continue };
            let lettered = with_letter(text, letters.filter(|_| row == table.header), mapping);
            let here = mapped(text, mapping).or(lettered).unwrap_or_else(|| Heading::of(text));
            is_named |= exact && mapping.contains_key(&folded(text));
            heading = match heading {
                None if exact => {
                    parts.push(text);
                    Some(here)
                }
                None => None,
                Some(below) => {
                    parts.push(text);
                    Some(below.under(&here))
                }
            };
        }
        parts.reverse();
        parts.dedup();
        let title = parts.join(" ");
        let whole = mapped(&title, mapping);
        is_named |= whole.is_some();
        let mut heading = settled(grid, table, at, whole.or(heading).unwrap_or_default());
        if table.first > table.header + 1 {
            heading.unit = heading
                .unit
                .or_else(|| grid.cell(table.header + 1, at).text().and_then(|text| unit_of(&format!("[{text}]"))));
        }
        let is_empty = (table.first..table.end).all(|row| grid.cell(row, at).is_empty());
        if !(is_empty && parts.is_empty()) {
            columns.push(Column { at, heading, title, is_named });
        }
    }
    settle_indices(&mut columns);
    sizes(&mut columns);
    others_left_out(&mut columns);
    untitled(grid, table, &mut columns);
    columns
}

/// Columns whose headings are the sizes that a model comes in.
fn sizes(columns: &mut [Column]) {
    let is_size = |column: &Column| {
        matches!(folded(&column.title).as_str(), "xxs" | "xs" | "s" | "sm" | "m" | "ml" | "l" | "xl" | "xxl")
    };
    // `S` may be stabilo and `L` left: sizes are those where one between them stands too
    let own = columns.iter().filter(|column| is_size(column));
    let telling = own.clone().any(|column| !matches!(folded(&column.title).as_str(), "s" | "l"));
    if own.count() < 2 || !telling {
        return;
    }
    for column in columns.iter_mut().filter(|column| is_size(column) && !column.is_named) {
        column.heading = Heading { kind: Some(Kind::Size), unit: column.heading.unit, ..Heading::default() };
    }
}

/// Where the user names a column for something, others that would mean the same are left out.
fn others_left_out(columns: &mut [Column]) {
    let named: Vec<Heading> =
        columns.iter().filter(|column| column.is_named).map(|column| column.heading.clone()).collect();
    let reads = |heading: &Heading| {
        heading.key.is_none()
            && matches!(heading.kind, None | Some(Kind::Reading | Kind::Length))
            && heading.level.is_none()
    };
    for column in columns.iter_mut().filter(|column| !column.is_named) {
        let own = &column.heading;
        let is_same = |named: &Heading| match (named.kind, named.key) {
            (Some(Kind::Ignored), _) => false,
            (Some(Kind::Nominal), _) => {
                own.kind == Some(Kind::Size)
                    || own.kind == Some(Kind::Nominal) && own.side == named.side && own.row == named.row
            }
            (None, Some(key)) => own.key == Some(key) && own.kind.is_none() && own.level == named.level,
            _ if reads(named) => reads(own) && named.side.is_some() && own.side == named.side && own.row == named.row,
            (Some(kind), _) => own.kind == Some(kind) && own.side == named.side,
            (None, None) => false,
        };
        if named.iter().any(is_same) {
            column.heading = Heading { kind: Some(Kind::Ignored), ..Heading::default() };
        }
    }
}

/// A column without a heading in front of the lines: their rows, or their mains, each once as over a bracket.
fn untitled(grid: &Grid, table: &Table, columns: &mut [Column]) {
    let Some(lines) = columns.iter().position(|column| column.heading.key == Some(Key::Line)) else { return };
    let names_at = columns[lines].at;
    let has = |key: Key| columns.iter().any(|column| column.heading.key == Some(key));
    let (has_main, has_row) = (has(Key::Main), has(Key::Row));
    let before = columns
        .iter_mut()
        .find(|column| column.at < names_at && column.title.is_empty() && column.heading == Heading::default());
    let Some(column) = before else { return };
    let all = || (table.first..table.end).filter_map(|row| grid.cell(row, column.at).text());
    let is_row = |text: &str| {
        let heading = Heading::of(text);
        heading.row.is_some() && heading.is_strict()
    };
    if !has_row && all().count() >= 2 && all().all(is_row) {
        column.heading.key = Some(Key::Row);
        return;
    }
    if has_main {
        return;
    }
    let mut seen: Vec<&str> = Vec::new();
    let mut lines = 0;
    for row in table.first..table.end {
        let name = grid.cell(row, names_at).text();
        lines += usize::from(name.is_some());
        let Some(text) = grid.cell(row, column.at).text() else { continue };
        if row_of(text).is_none() || row_of(text) != name.and_then(row_of) || seen.contains(&text) {
            return;
        }
        seen.push(text);
    }
    if seen.len() >= 2 && seen.len() < lines {
        column.heading.key = Some(Key::Main);
    }
}

/// The text of a header row above a column: its own, that of merged cells, or in a group row the nearest to the left.
fn above(grid: &Grid, row: usize, at: usize, is_last: bool, from: usize) -> Option<(&str, bool)> {
    if let Some(text) = grid.cell(row, at).text() {
        return Some((text, true));
    }
    if let Some(merge) = grid.merge(row, at) {
        return grid.cell(merge.top, merge.left).text().map(|text| (text, merge.top == row || merge.left == at));
    }
    if is_last {
        return None;
    }
    let has_merges = grid.merges.iter().any(|merge| merge.top == row && merge.right > merge.left);
    if has_merges {
        return None;
    }
    (from..at).rev().find_map(|left| grid.cell(row, left).text()).map(|text| (text, false))
}

/// A heading that its cells have to explain.
fn settled(grid: &Grid, table: &Table, at: usize, mut heading: Heading) -> Heading {
    let cells: Vec<&Cell> =
        (table.first..table.end).map(|row| grid.cell(row, at)).filter(|cell| !cell.is_empty()).collect();
    let share = |is: &dyn Fn(&Cell) -> bool| {
        let count = cells.iter().filter(|cell| is(cell)).count();
        !cells.is_empty() && count * 2 > cells.len()
    };
    let is_name = |cell: &Cell| {
        cell.text().is_some_and(|text| {
            may_be_name(text) && row_of(text).is_some() && text.chars().any(|letter| letter.is_ascii_digit())
        })
    };
    let is_number = |cell: &Cell| match cell {
        Cell::Number(_) => true,
        Cell::Text(text) => matches!(Marks::default().read(text, None), Written::Amount(_)),
        _ => false,
    };
    match heading.key {
        Some(Key::SideOrNominal | Key::LineOrNominal) if share(&is_number) => {
            heading.key = None;
            heading.kind = Some(Kind::Nominal);
        }
        Some(Key::SideOrNominal) => heading.key = Some(Key::Side),
        Some(Key::LineOrNominal) => heading.key = Some(Key::Line),
        Some(Key::Rank | Key::Row) if share(&is_name) => heading.key = Some(Key::Line),
        None if heading.kind.is_none() && share(&is_name) => heading.key = Some(Key::Line),
        None if heading.kind.is_none() && counts_up(&cells) => {
            heading.key = Some(if heading.row.is_some() { Key::Line } else { Key::Rank });
        }
        _ => {}
    }
    heading
}

/// Whether cells are 1, 2, 3, … (a total may follow).
fn counts_up(cells: &[&Cell]) -> bool {
    let numbers: Vec<f64> = cells
        .iter()
        .filter_map(|cell| match cell {
            Cell::Number(value) => Some(*value),
            Cell::Text(text) => text.trim().parse().ok(),
            _ => None,
        })
        .collect();
    let steps = numbers
        .windows(2)
        .filter(|pair| (pair[1] - pair[0] - 1.0).abs() < 1e-9 || (pair[1] - 1.0).abs() < 1e-9)
        .count();
    numbers.len() >= 2
        && (numbers[0] - 1.0).abs() < 1e-9
        && steps + 2 >= numbers.len()
        && numbers.len() * 2 > cells.len()
}

/// A count beside names is only a count.
fn settle_indices(columns: &mut [Column]) {
    let has_line = columns.iter().any(|column| column.heading.key == Some(Key::Line));
    if !has_line {
        return;
    }
    let lines: Vec<usize> =
        columns.iter().filter(|column| column.heading.key == Some(Key::Line)).map(|column| column.at).collect();
    // two columns of names one behind the other: the first is the line
    for pair in lines.windows(2) {
        if pair[1] == pair[0] + 1
            && let Some(second) = columns.iter_mut().find(|column| column.at == pair[1] && column.title.is_empty())
        {
            second.heading.key = None;
        }
    }
}
