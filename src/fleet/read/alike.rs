//! Names that are different to the program and the same to the eye.

use polars::prelude::PlHashMap as HashMap;

use unicode_security::skeleton;

use super::fault::FaultList;
use super::grid::{Cells, Grid, Loaded};
use crate::wing::is_hidden;

/// Where names must differ to the eye.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Names {
    /// The column of the names.
    pub(crate) column: &'static str,
    /// The column within each of whose values they must differ.
    pub(crate) within: Option<&'static str>,
}

/// Notes as faults the names that look like another and are not it: other letters of the same shape (Cyrillic А for A), or
/// another Unicode form of the same letter (é as one character and as two). Names of plain ASCII are taken to be meant as
/// they stand.
pub(crate) fn report_alike(loaded: &Loaded, names: Names, faults: &mut FaultList) {
    let records = || loaded.records();
    if records().all(|record| record.text(names.column).is_none_or(|name| name.is_ascii())) {
        return;
    }
    let mut first: HashMap<(String, String), String> = HashMap::default();
    for record in records() {
        let Some(name) = record.text(names.column) else { continue };
        let scope = names.within.and_then(|within| record.text(within)).unwrap_or_default().into_owned();
        let known = first.entry((scope, skeleton(&name).collect())).or_insert_with(|| name.to_string());
        if *known != name && !(known.is_ascii() && name.is_ascii()) {
            let column = names.column;
            let found = format!("{name} ({})", spelt(&name));
            record.fault_of(
                faults,
                column,
                &found,
                format_args!("`{known}`, which looks the same ({})", spelt(known)),
            );
        }
    }
}

/// Notes as faults the cells with characters that are not seen. Tables whose names must all be known from others are left
/// out by the caller.
pub(crate) fn report_hidden(loaded: &Loaded, columns: &[&str], faults: &mut FaultList) {
    loaded.grids().iter().for_each(|grid| report_hidden_in(grid, columns, faults));
}

/// The same for one grid.
pub(crate) fn report_hidden_in(grid: &Grid, columns: &[&str], faults: &mut FaultList) {
    for (column, cells) in grid.columns.iter().filter(|(name, _)| columns.contains(&name.as_str())) {
        let Cells::Text(cells) = cells else { continue };
        for (at, text) in cells.iter().enumerate() {
            let Some((text, flaw)) = text.and_then(|text| Some((text, flaw(text)?))) else { continue };
            let row = grid.row_number(at);
            match flaw {
                Flaw::Blanks => {
                    faults.add(&grid.name, row, column, text, format_args!("text without blanks around it"));
                }
                Flaw::Hidden(hidden) => {
                    let code = u32::from(hidden);
                    let expected = format_args!("text of characters that can be seen (this has U+{code:04X})");
                    faults.add(&grid.name, row, column, text, expected);
                }
            }
        }
    }
}

/// What is wrong with a text that names something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Flaw {
    /// Blanks before or behind it.
    Blanks,
    /// A character that is not seen.
    Hidden(char),
}

/// What is wrong with a text, if anything is.
pub(crate) fn flaw(text: &str) -> Option<Flaw> {
    if text.trim() != text {
        return Some(Flaw::Blanks);
    }
    text.chars().find(|letter| is_hidden(*letter)).map(Flaw::Hidden)
}

/// A note for every pair of names that differ only in capitals, which is allowed.
pub(crate) fn notes_on_capitals(loaded: &Loaded, column: &str, notes: &mut Vec<String>) {
    let mut first: HashMap<String, String> = HashMap::default();
    for record in loaded.records() {
        let Some(name) = record.text(column) else { continue };
        let known = first.entry(name.to_lowercase()).or_insert_with(|| name.to_string());
        if *known != name {
            notes.push(format!("Table `{}`: `{known}` and `{name}` differ only in capitals.", record.grid.name));
        }
    }
}

/// The characters of a name that are not ASCII, by their numbers.
fn spelt(name: &str) -> String {
    let codes: Vec<String> = name
        .chars()
        .filter(|letter| !letter.is_ascii())
        .take(6)
        .map(|letter| format!("U+{:04X}", u32::from(letter)))
        .collect();
    if codes.is_empty() { "plain ASCII".to_owned() } else { format!("with {}", codes.join(" ")) }
}
