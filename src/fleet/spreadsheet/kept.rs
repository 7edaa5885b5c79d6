//! Headings of one's own, kept in the fleet folder for the next time.

use std::fs;
use std::path::Path;

use super::error::SpreadsheetError;
use super::heading::Heading;
use super::spec::SpreadsheetSpec;
use super::words::folded;
use crate::fleet::{FleetWriteError, write_atomic};

/// The file in a fleet folder that keeps what headings mean.
pub const COLUMNS_FILE: &str = "spreadsheet-columns.csv";

impl SpreadsheetSpec {
    /// Whether a word may stand before the `=` of a mapping: `line`, `row`, `side`, `nominal`, `left`, `right`, `reading`,
    /// `main`, `middle`, `material`, `tolerance`, `span`, `chord`, `remark` (to leave a column out), ….
    #[must_use]
    pub fn knows(what: &str) -> bool {
        Heading::of(what).is_strict()
    }

    /// The same with what the headings of a fleet folder's spreadsheets were said to mean before. What is set already goes before.
    ///
    /// # Errors
    /// [`SpreadsheetError::File`] when the file is there and is no such table.
    pub fn columns_kept_in(mut self, folder: &Path) -> Result<Self, SpreadsheetError> {
        let path = folder.join(COLUMNS_FILE);
        if !path.is_file() {
            return Ok(self);
        }
        let file = path.display().to_string();
        let named: Vec<String> = self.columns().values().filter(|what| *what != "remark").cloned().collect();
        let wrong = |why: String| SpreadsheetError::file(&file, format!("{why}; remove it, or mend it"));
        let mut reader = csv::Reader::from_path(&path).map_err(|error| wrong(format!("cannot be read: {error}")))?;
        for record in reader.records() {
            let record = record.map_err(|error| wrong(format!("cannot be read: {error}")))?;
            let (Some(what), Some(heading)) = (record.get(0), record.get(1)) else {
                return Err(wrong("needs the columns `what` and `heading`".to_owned()));
            };
            if !Self::knows(what) {
                return Err(wrong(format!("says `{what}`, which is nothing that a column holds")));
            }
            if !named.iter().any(|own| own == what) && !self.columns().contains_key(&folded(heading)) {
                self = self.column(what, heading);
            }
        }
        Ok(self)
    }

    /// Keeps the meanings of headings in a fleet folder for the next time.
    ///
    /// # Errors
    /// [`FleetWriteError`] when the file system refuses.
    pub fn keep_columns(&self, folder: &Path) -> Result<(), FleetWriteError> {
        if self.columns().is_empty() || !folder.is_dir() {
            return Ok(());
        }
        let mut writer = csv::Writer::from_writer(Vec::new());
        let failed = |error: &dyn std::fmt::Display| FleetWriteError::Table {
            table: COLUMNS_FILE.to_owned(),
            why: error.to_string(),
        };
        writer.write_record(["what", "heading"]).map_err(|error| failed(&error))?;
        for (heading, what) in self.columns() {
            writer.write_record([what, heading]).map_err(|error| failed(&error))?;
        }
        let bytes = writer.into_inner().map_err(|error| failed(&error))?;
        let path = folder.join(COLUMNS_FILE);
        if fs::read(&path).is_ok_and(|there| there == bytes) {
            return Ok(());
        }
        write_atomic(&path, &bytes)
    }
}
