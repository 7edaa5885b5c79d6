//! Measuring sheets as text: a blank one to fill in, and a filled one read back. Any other spreadsheet is read by
//! [`crate::fleet::spreadsheet`].
//!
//! Pure functions on text: no file is opened here. Everything that is wrong with a text is reported at once, each fault with
//! its row (the header is row 1) and column.

mod blank;
mod delimited;
mod filled;
mod number;

pub use blank::{Sheet, SheetRow, SheetSpec};
pub use filled::{FilledSheet, LineOnSide};
pub use number::{LengthUnit, length_mm};

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// One thing that is wrong with a text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SheetFault {
    /// Row, the header being row 1.
    pub row: usize,
    /// Column name.
    pub column: String,
    /// What stands there.
    pub value: String,
    /// What would have been right.
    pub expected: String,
}

/// Everything that is wrong with a text.
#[derive(Debug, Clone, PartialEq, Eq, Error, Serialize, Deserialize)]
#[error("{}", self.describe())]
pub struct SheetFaults {
    /// The faults, by row.
    pub faults: Vec<SheetFault>,
}

impl SheetFaults {
    fn describe(&self) -> String {
        let first: Vec<String> = self
            .faults
            .iter()
            .take(20)
            .map(|fault| {
                format!(
                    "row {}, column `{}`: `{}`, expected {}",
                    fault.row, fault.column, fault.value, fault.expected
                )
            })
            .collect();
        match self.faults.len().saturating_sub(20) {
            0 => first.join("\n"),
            more => format!("{}\nand {more} more", first.join("\n")),
        }
    }
}

/// Faults as they are found.
#[derive(Debug, Default)]
struct Found {
    faults: Vec<SheetFault>,
}

impl Found {
    fn add(&mut self, row: usize, column: &str, value: &str, expected: impl Into<String>) {
        self.faults.push(SheetFault {
            row,
            column: column.to_owned(),
            value: value.to_owned(),
            expected: expected.into(),
        });
    }

    fn or<T>(mut self, good: T) -> Result<T, SheetFaults> {
        if self.faults.is_empty() {
            return Ok(good);
        }
        self.faults.sort_by_key(|fault| fault.row);
        Err(SheetFaults { faults: self.faults })
    }
}
