//! What names say besides the line: the side, the main; and names that may mean two things.

use super::entry::{Entry, Sheet};
use super::error::{SpreadsheetError, few};
use super::heading::{Heading, Kind};
use super::line::plain;
use super::line_name::{is_piece, row_of, sided, with_brackets};
use crate::wing::Row;

/// Names such as `A1L` and `A1R`: where no column says the side, the names do.
pub(super) fn sides_in_names(sheets: &mut [Sheet], notes: &mut Vec<String>) {
    let no_side = |entry: &Entry| {
        entry.side.is_none()
            && entry
                .values
                .iter()
                .any(|value| value.side.is_none() && matches!(value.kind, Some(Kind::Reading | Kind::Length) | None))
    };
    for sheet in sheets {
        let at: Vec<usize> = (0..sheet.entries.len()).filter(|at| no_side(&sheet.entries[*at])).collect();
        let names: Vec<&str> = at.iter().map(|at| sheet.entries[*at].name.as_str()).collect();
        if names.len() < 4 {
            continue;
        }
        let Some(found) = sided(&names) else { continue };
        let first = (sheet.entries[at[0]].name.clone(), found[0].clone());
        notes.push(format!("the side is in the names: `{}` is {} on the {}", first.0, first.1.name, first.1.side));
        for (at, one) in at.into_iter().zip(found) {
            let entry = &mut sheet.entries[at];
            entry.side = Some(one.side);
            entry.row = entry.row.filter(|_| entry.row_is_said).or_else(|| row_of(&one.name));
            entry.name = one.name;
            for value in &mut entry.values {
                if value.kind.is_none() {
                    value.kind = Some(Kind::Reading);
                }
            }
        }
    }
}

/// Names such as `A1 (AI)`: most of them have their main in brackets.
pub(super) fn mains_in_names(sheets: &mut [Sheet], notes: &mut Vec<String>) {
    for sheet in sheets {
        let is_main = |entry: &Entry| {
            with_brackets(&entry.name).is_some_and(|(_, inner)| {
                row_of(inner).is_some() && row_of(inner) == entry.row && Heading::of(inner).side.is_none()
            })
        };
        let found: Vec<usize> = (0..sheet.entries.len()).filter(|at| is_main(&sheet.entries[*at])).collect();
        if found.len() < 4 || found.len() * 2 < sheet.entries.len() {
            continue;
        }
        for (nth, at) in found.into_iter().enumerate() {
            let entry = &mut sheet.entries[at];
            let Some((name, main)) = with_brackets(&entry.name) else { continue };
            let (name, main) = (name.to_owned(), main.to_owned());
            if nth == 0 {
                notes.push(format!("mains are in brackets after the names: `{}` is {name} on {main}", entry.name));
            }
            entry.name = name;
            entry.main = entry.main.take().or(Some(main));
        }
    }
}

/// Refuses names that may mean two things: `BR1` beside `AR1` and `CR1` is the brake, or row B on the right.
pub(super) fn two_meanings(file: &str, sheets: &[Sheet]) -> Result<(), SpreadsheetError> {
    let entries = || sheets.iter().flat_map(|sheet| &sheet.entries);
    let numbered = |name: &str, letters: &str| {
        plain(name).strip_prefix(letters).is_some_and(|rest| rest.starts_with(|letter: char| letter.is_ascii_digit()))
    };
    let brake =
        entries().find(|entry| !entry.row_is_said && entry.row == Some(Row::Brake) && numbered(&entry.name, "BR"));
    let other = entries().find(|entry| ["AR", "CR", "DR"].iter().any(|letters| numbered(&entry.name, letters)));
    if let (Some(brake), Some(other)) = (brake, other) {
        return Err(SpreadsheetError::question(
            file,
            format!("is `{}` a brake line, or row B on the right like `{}`?", brake.name, other.name),
            [
                "add a column `row` that says it (brake, or B)",
                "name the brakes K1, K2, … or the lines of row B B1, B2, …",
            ],
        ));
    }
    Ok(())
}

/// Refuses mains among whole lines: `AI` beside `A1`, `A2`, where nothing hangs on it.
pub(super) fn mains_among_lines(file: &str, sheets: &[Sheet]) -> Result<(), SpreadsheetError> {
    let entries: Vec<&Entry> = sheets.iter().flat_map(|sheet| &sheet.entries).collect();
    let below: Vec<String> = entries
        .iter()
        .flat_map(|entry| [&entry.main, &entry.middle, &entry.parent])
        .flatten()
        .map(|name| plain(name))
        .collect();
    let is_main =
        |entry: &&&Entry| is_piece(&entry.name) && !entry.values.is_empty() && !below.contains(&plain(&entry.name));
    let mains: Vec<String> = entries.iter().filter(is_main).map(|entry| entry.name.clone()).collect();
    let has_lines = entries.iter().any(|entry| entry.row.is_some_and(Row::is_trim) && !is_piece(&entry.name));
    if mains.is_empty() || !has_lines {
        return Ok(());
    }
    Err(SpreadsheetError::question(
        file,
        format!("are {} mains, pieces below the others, or lines of their own?", few(&mains)),
        [
            "mains: say in a column `main` which lines hang on them, or leave them out",
            "lines: give them names such as A1, A2, …",
        ],
    ))
}
