//! What is wrong with a table, and where.

use std::fmt;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::wear::WearError;

/// Faults kept in memory; the rest is counted.
const KEPT: usize = 1000;
/// Faults shown by `Display`; the rest is counted.
const SHOWN: usize = 20;

/// Characters kept of a value: a stray quote can swallow half a file.
const LONGEST: usize = 200;

/// One fault of one table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// Name of the table, such as `readings` (or `readings/part.parquet` for one file of a folder); empty: the folder itself.
    pub table: String,
    /// Row number; the header is row 1, and 0 stands for the table as a whole.
    pub row: usize,
    /// Name of the column (empty: the row or the table as a whole).
    pub column: String,
    /// What stood there (its first 200 characters).
    pub value: String,
    /// What was expected.
    pub expected: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.table.is_empty() { "fleet folder" } else { &self.table })?;
        if self.row > 0 {
            write!(f, ", row {}", self.row)?;
        }
        if !self.column.is_empty() {
            write!(f, ", column {}", self.column)?;
        }
        if self.value.is_empty() {
            write!(f, ": expected {}", self.expected)
        } else {
            write!(f, ": found `{}`, expected {}", self.value, self.expected)
        }
    }
}

/// The faults of a folder, by table and row. The first 1,000 are kept, the first 20 are shown.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct FaultList {
    faults: Vec<Fault>,
    more: usize,
}

impl FaultList {
    /// The faults that are kept, by table and row.
    #[must_use]
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// How many there are beyond those kept.
    #[must_use]
    pub fn more(&self) -> usize {
        self.more
    }

    /// Whether nothing is wrong.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }

    /// Notes a fault; the text of what was expected is made only when the fault is kept.
    pub(crate) fn add(
        &mut self,
        table: &str,
        row: usize,
        column: &str,
        value: impl fmt::Display,
        expected: fmt::Arguments<'_>,
    ) {
        if self.faults.len() < KEPT {
            self.faults.push(Fault {
                table: table.to_owned(),
                row,
                column: column.to_owned(),
                value: value.to_string().chars().take(LONGEST).collect(),
                expected: expected.to_string(),
            });
        } else {
            self.more += 1;
        }
    }

    /// The same list with its faults by table (in the order given) and row.
    pub(crate) fn sorted(mut self, tables: &[&str]) -> Self {
        let place = |fault: &Fault| {
            let name = fault.table.split('/').next().unwrap_or_default();
            tables.iter().position(|table| *table == name).map_or(0, |at| at + 1)
        };
        self.faults.sort_by(|a, b| place(a).cmp(&place(b)).then(a.table.cmp(&b.table)).then(a.row.cmp(&b.row)));
        self
    }
}

impl fmt::Display for FaultList {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let all = self.faults.len() + self.more;
        write!(f, "{all} {} in the tables", if all == 1 { "fault" } else { "faults" })?;
        for fault in self.faults.iter().take(SHOWN) {
            write!(f, "\n  {fault}")?;
        }
        if all > SHOWN {
            write!(f, "\n  and {} more", all - SHOWN)?;
        }
        Ok(())
    }
}

/// Why a fleet folder could not be read.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum FleetReadError {
    /// The tables have faults; all of them are listed.
    #[error("{0}")]
    Faulty(FaultList),
    /// The tables are sound, but do not allow what was asked of them.
    #[error(transparent)]
    Wear(#[from] WearError),
}

impl FleetReadError {
    /// The faults that are kept (the first 1,000), by table and row.
    #[must_use]
    pub fn faults(&self) -> &[Fault] {
        match self {
            FleetReadError::Faulty(list) => list.faults(),
            FleetReadError::Wear(_) => &[],
        }
    }

    /// How many faults there are beyond those kept.
    #[must_use]
    pub fn more(&self) -> usize {
        match self {
            FleetReadError::Faulty(list) => list.more(),
            FleetReadError::Wear(_) => 0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twenty_are_shown_a_thousand_kept_and_the_rest_counted() {
        let mut list = FaultList::default();
        for row in 0..1234 {
            list.add("readings", row, "line", "x", format_args!("a line"));
        }
        assert_eq!((list.faults().len(), list.more()), (1000, 234));
        let shown = list.to_string();
        assert_eq!(shown.lines().count(), 22);
        assert!(shown.ends_with("and 1214 more"), "{shown}");
    }
}
