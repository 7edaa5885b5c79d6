//! The tables of a fleet folder and of files beside it: every column with its name, kind, range, unit and meaning, once.
//!
//! [`tables`] declares them. From a declaration come the row as it is read, the row as it is written, the schema that headers are
//! held against, and the entry of the [dictionary](super::dictionary).

mod field;
mod tables;
mod value;

pub(crate) use field::Field;
pub(crate) use tables::*;
pub(crate) use value::Value;

use super::dictionary::{ColumnEntry, TableEntry};

/// What must be there of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Need {
    /// The column, and a value in every cell.
    Filled,
    /// The column; a cell may be empty.
    Column,
    /// Nothing.
    Nothing,
}

/// One table: its name and its columns.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TableSchema {
    pub(crate) name: &'static str,
    pub(crate) row_is: &'static str,
    pub(crate) columns: &'static [ColumnEntry],
    /// By column.
    pub(crate) needs: &'static [Need],
}

impl TableSchema {
    /// The columns that must be there.
    pub(crate) fn required(&self) -> impl Iterator<Item = &'static str> {
        let columns = self.columns.iter().zip(self.needs);
        columns.filter(|(_, need)| **need != Need::Nothing).map(|(column, _)| column.name)
    }

    pub(crate) fn has(&self, name: &str) -> bool {
        self.columns.iter().any(|column| column.name == name)
    }

    pub(crate) const fn entry(self) -> TableEntry {
        TableEntry { name: self.name, row_is: self.row_is, columns: self.columns }
    }

    /// Whether a fleet folder must have it.
    pub(crate) fn is_needed(&self) -> bool {
        [LINES, WINGS, CHECKS, READINGS].iter().any(|schema| schema.name == self.name)
    }

    /// The table of a fleet folder that has this name.
    pub(crate) fn named(name: &str) -> Option<Self> {
        FOLDER.into_iter().find(|schema| schema.name == name)
    }
}

/// The tables of a fleet folder, in the order of the dictionary.
pub(crate) const FOLDER: [TableSchema; 11] =
    [LINES, SEGMENTS, ROWS, MODELS, WINGS, CHECKS, READINGS, RISERS, ACTIONS, FITTINGS, EVENTS];

/// Their names, which is the order in which faults are listed.
pub(crate) const ORDER: [&str; 11] = {
    let mut names = [""; 11];
    let mut at = 0;
    while at < names.len() {
        names[at] = FOLDER[at].name;
        at += 1;
    }
    names
};
