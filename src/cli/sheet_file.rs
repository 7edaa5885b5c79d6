//! Spreadsheets as arguments: which sheet, what headings mean, in what unit.

use std::path::{Path, PathBuf};

use linedrift::check::Stage;
use linedrift::check::sheet::LengthUnit;
use linedrift::fleet::spreadsheet::SpreadsheetSpec;

use super::Failure;

/// How to read a spreadsheet.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "The spreadsheet")]
pub(super) struct SheetFile {
    /// The sheet to read, by its name [default: found by its content]
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// What your own headings mean, such as line=Leine,nominal=Soll; kept in the folder for the next time
    #[arg(long, value_name = "WHAT=HEADING", value_delimiter = ',', value_parser = column)]
    columns: Vec<Column>,
    /// Unit of lengths that name none: mm, cm, m or in [default: judged by size]
    #[arg(long, value_name = "UNIT")]
    pub(super) unit: Option<LengthUnit>,
    /// The file with the maker's lengths, where it is another one
    #[arg(long, value_name = "FILE")]
    nominal: Option<PathBuf>,
}

/// What one heading means.
#[derive(Debug, Clone)]
struct Column {
    what: String,
    heading: String,
}

fn column(text: &str) -> Result<Column, String> {
    let wrong = || format!("`{text}` is not a meaning and a heading, such as nominal=Soll");
    let (what, heading) = text.split_once('=').ok_or_else(wrong)?;
    if heading.trim().is_empty() || !SpreadsheetSpec::knows(what) {
        return Err(format!(
            "{}: a column may be line, row, side, nominal, left, right, reading, main, middle, material, tolerance, span, chord, repeat, operator \
             or remark",
            wrong()
        ));
    }
    Ok(Column { what: what.trim().to_owned(), heading: heading.trim().trim_matches('"').to_owned() })
}

impl SheetFile {
    /// What the call says, and what the folder keeps from earlier calls.
    pub(super) fn spec(&self, stage: Option<Stage>, folder: Option<&Path>) -> Result<SpreadsheetSpec, Failure> {
        let mut spec = SpreadsheetSpec::default();
        if let Some(sheet) = &self.sheet {
            spec = spec.sheet(sheet);
        }
        if let Some(unit) = self.unit {
            spec = spec.unit(unit);
        }
        if let Some(file) = &self.nominal {
            spec = spec.nominal(file);
        }
        if let Some(stage) = stage {
            spec = spec.stage(stage);
        }
        for column in &self.columns {
            spec = spec.column(&column.what, &column.heading);
        }
        Ok(match folder {
            Some(folder) => spec.columns_kept_in(folder)?,
            None => spec,
        })
    }
}
