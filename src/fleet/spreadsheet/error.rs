//! Why a spreadsheet gives no answer.

use std::fmt::Write as _;

use thiserror::Error;

use super::super::read::fault::Fault;

/// Faults that are listed; the rest are counted.
const LISTED: usize = 20;

/// Why a spreadsheet was not understood.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SpreadsheetError {
    /// The file cannot be opened or is none of the kinds that are read.
    #[error("`{file}` {why}")]
    File {
        /// The file.
        file: String,
        /// What is the matter and what to do.
        why: String,
    },
    /// Two readings of the data are possible, or something needed is not there: the person who knows has to say.
    #[error("`{file}`: {}", asked(question, options))]
    Question {
        /// The file.
        file: String,
        /// What is asked.
        question: String,
        /// The answers there are.
        options: Vec<String>,
    },
    /// Cells that are not what they should be, each with its place.
    #[error("{} in `{file}`\n{}", counted(cells.len()), listed(cells))]
    Cells {
        /// The file.
        file: String,
        /// The cells.
        cells: Vec<CellFault>,
    },
}

/// One cell that is not what it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CellFault {
    /// The sheet, where the file has several.
    pub sheet: String,
    /// Row, from 1.
    pub row: usize,
    /// Column by its letter, such as `C`.
    pub column: String,
    /// What stands there.
    pub value: String,
    /// What would have been right.
    pub expected: String,
}

fn counted(count: usize) -> String {
    if count == 1 { "1 cell is at fault".to_owned() } else { format!("{count} cells are at fault") }
}

fn asked(question: &str, options: &[String]) -> String {
    let mut out = question.to_owned();
    for option in options {
        let _ = write!(out, "\n  - {option}");
    }
    out
}

fn listed(cells: &[CellFault]) -> String {
    // what is wrong in the same way is said once
    let mut alike: Vec<(&CellFault, Vec<String>)> = Vec::new();
    for cell in cells {
        let same = |(known, _): &&mut (&CellFault, Vec<String>)| {
            known.sheet == cell.sheet && known.value == cell.value && known.expected == cell.expected
        };
        let place = format!("{}{}", cell.column, cell.row);
        match alike.iter_mut().find(same) {
            Some((_, places)) => places.push(place),
            None => alike.push((cell, vec![place])),
        }
    }
    let mut lines: Vec<String> = alike
        .iter()
        .take(LISTED)
        .map(|(cell, places)| {
            let sheet = if cell.sheet.is_empty() { String::new() } else { format!("sheet `{}`, ", cell.sheet) };
            let word = if places.len() == 1 { "cell" } else { "cells" };
            format!("  {sheet}{word} {}: found `{}`, expected {}", few(places), cell.value, cell.expected)
        })
        .collect();
    if alike.len() > LISTED {
        lines.push(format!("and {} more", alike.len() - LISTED));
    }
    lines.join("\n")
}

impl SpreadsheetError {
    pub(super) fn file(file: &str, why: impl Into<String>) -> Self {
        Self::File { file: file.to_owned(), why: why.into() }
    }

    pub(super) fn question<I>(file: &str, question: impl Into<String>, options: I) -> Self
    where
        I: IntoIterator,
        I::Item: Into<String>,
    {
        Self::Question {
            file: file.to_owned(),
            question: question.into(),
            options: options.into_iter().map(Into::into).collect(),
        }
    }

    /// The same as faults of a table, for documents.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let of = |file: &str, row: usize, column: &str, value: &str, expected: String| Fault {
            table: file.to_owned(),
            row,
            column: column.to_owned(),
            value: value.to_owned(),
            expected,
        };
        match self {
            Self::File { file, why } => vec![of(file, 0, "", why, "a spreadsheet that can be read".to_owned())],
            Self::Question { file, question, options } => vec![of(file, 0, "", question, options.join("; or "))],
            Self::Cells { file, cells } => cells
                .iter()
                .map(|cell| {
                    let table =
                        if cell.sheet.is_empty() { file.clone() } else { format!("{file}, sheet {}", cell.sheet) };
                    of(&table, cell.row, &cell.column, &cell.value, cell.expected.clone())
                })
                .collect(),
        }
    }
}

/// The first of some names, and how many more there are.
pub(super) fn few(names: &[String]) -> String {
    let shown: Vec<&str> = names.iter().take(6).map(String::as_str).collect();
    match names.len().saturating_sub(6) {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// The option that says what a heading means; commas part headings there, and say nothing within one.
pub(super) fn columns_option(what: &str, title: &str) -> String {
    format!("--columns {what}=\"{}\"", title.replace([',', '"'], " "))
}
