//! A table of named columns, and writing it.

use std::io;
use std::path::Path;

use polars::prelude as pl;
use polars::prelude::{CsvWriter, DataFrame, NamedFrom, ParquetWriter, PolarsError, SerWriter};

use super::atomic::{FleetWriteError, StagedFile, write_atomic, write_atomic_by};
use crate::fleet::read::parquet_checksums::with_checksums;
use crate::fleet::schema::TableSchema;
use crate::wing::is_formula;

/// File format of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum TableFormat {
    /// Comma-separated text, UTF-8, decimal point.
    #[default]
    Csv,
    /// Apache Parquet.
    Parquet,
}

impl TableFormat {
    /// Ending of the file name, without the dot.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            TableFormat::Csv => "csv",
            TableFormat::Parquet => "parquet",
        }
    }
}

/// The cells of one column; `None` is an empty cell.
#[derive(Debug, Clone, PartialEq)]
pub enum ColumnData {
    /// Text.
    Text(Vec<Option<String>>),
    /// Numbers. One that is not finite is written as an empty cell.
    Number(Vec<Option<f64>>),
    /// Whole numbers.
    Count(Vec<Option<i64>>),
}

impl ColumnData {
    /// How many cells there are.
    #[must_use]
    pub fn len(&self) -> usize {
        match self {
            ColumnData::Text(cells) => cells.len(),
            ColumnData::Number(cells) => cells.len(),
            ColumnData::Count(cells) => cells.len(),
        }
    }

    /// Whether any cell has a value.
    pub(crate) fn says(&self) -> bool {
        match self {
            ColumnData::Text(cells) => cells.iter().any(Option::is_some),
            ColumnData::Number(cells) => cells.iter().any(Option::is_some),
            ColumnData::Count(cells) => cells.iter().any(Option::is_some),
        }
    }

    /// Whether there is no cell.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// One named column; a physical quantity has its unit in the name.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Name.
    pub name: String,
    /// Cells.
    pub data: ColumnData,
}

/// A named table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Name, which becomes the file's.
    pub name: String,
    /// Columns of one length.
    pub columns: Vec<Column>,
}

impl Table {
    /// An empty table.
    #[must_use]
    pub fn new(name: &str) -> Self {
        Self { name: name.to_owned(), columns: Vec::new() }
    }

    /// The same table with a column of text.
    #[must_use]
    pub fn text<T: Into<String>>(self, name: &str, cells: impl IntoIterator<Item = Option<T>>) -> Self {
        let cells = cells.into_iter().map(|cell| cell.map(Into::into)).collect();
        self.with(name, ColumnData::Text(cells))
    }

    /// The same table with a column of numbers.
    #[must_use]
    pub fn number(self, name: &str, cells: impl IntoIterator<Item = Option<f64>>) -> Self {
        self.with(name, ColumnData::Number(cells.into_iter().collect()))
    }

    /// The same table with a column of whole numbers.
    #[must_use]
    pub fn count(self, name: &str, cells: impl IntoIterator<Item = Option<i64>>) -> Self {
        self.with(name, ColumnData::Count(cells.into_iter().collect()))
    }

    fn with(mut self, name: &str, data: ColumnData) -> Self {
        self.columns.push(Column { name: name.to_owned(), data });
        self
    }

    /// A table of a fleet without the optional columns that have no value.
    pub(crate) fn without_empty(mut self) -> Self {
        let schema = TableSchema::named(&self.name);
        let is_required = |name: &str| schema.is_some_and(|schema| schema.required().any(|known| known == name));
        self.columns.retain(|column| is_required(&column.name) || column.data.says());
        self
    }
}

/// Writes a result table as `NAME.csv` or `NAME.parquet` into a folder that exists.
///
/// In CSV a text cell that a spreadsheet would take for a formula (it begins with `=`, `+`, `-`, `@` or a tab) gets an
/// apostrophe in front.
///
/// # Errors
/// [`FleetWriteError`] when the columns differ in length or two have one name, or the file system refuses.
pub fn write_table(table: &Table, folder: &Path, format: TableFormat) -> Result<(), FleetWriteError> {
    write(table, folder, format, Cells::Harmless)
}

/// The same of a table that is too long to be held: its rows are those of the pieces, one after the other, all with the columns of the
/// first. Without a piece nothing is written.
///
/// # Errors
/// As [`write_table`], and when a piece has other columns.
pub fn write_table_in_pieces(
    pieces: impl IntoIterator<Item = Table>,
    folder: &Path,
    format: TableFormat,
) -> Result<(), FleetWriteError> {
    let mut pieces = pieces.into_iter().peekable();
    let Some(first) = pieces.peek() else { return Ok(()) };
    let name = first.name.clone();
    let names = |table: &Table| -> Vec<String> { table.columns.iter().map(|column| column.name.clone()).collect() };
    let columns = names(first);
    let alike = |piece: &Table| {
        let other = || FleetWriteError::Table { table: name.clone(), why: "a piece has other columns".to_owned() };
        if names(piece) == columns { Ok(()) } else { Err(other()) }
    };
    let path = folder.join(format!("{name}.{}", format.ending()));
    let failed = |error: PolarsError| FleetWriteError::Table { table: name.clone(), why: error.to_string() };
    match format {
        TableFormat::Csv => write_atomic_by(&path, |mut file| {
            for (at, piece) in pieces.enumerate() {
                alike(&piece).map_err(io::Error::other)?;
                let mut frame = framed(&piece, Cells::Harmless, format).map_err(io::Error::other)?;
                CsvWriter::new(&mut file).include_header(at == 0).finish(&mut frame).map_err(io::Error::other)?;
            }
            Ok(())
        }),
        TableFormat::Parquet => {
            let mut bytes = Vec::new();
            let schema = frame(first)?.schema().clone();
            let mut writer = ParquetWriter::new(&mut bytes).batched(&schema).map_err(failed)?;
            for piece in pieces {
                alike(&piece)?;
                writer.write_batch(&frame(&piece)?).map_err(failed)?;
            }
            writer.finish().map_err(failed)?;
            drop(writer);
            write_atomic(&path, &with_checksums(bytes))
        }
    }
}

/// Whether text cells are made harmless for spreadsheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cells {
    /// As they are: the table is read back.
    Exact,
    /// With an apostrophe before what looks like a formula.
    Harmless,
}

fn write(table: &Table, folder: &Path, format: TableFormat, cells: Cells) -> Result<(), FleetWriteError> {
    stage(table, folder, format, cells)?.commit()
}

/// Writes a table under a temporary name.
pub(crate) fn stage(
    table: &Table,
    folder: &Path,
    format: TableFormat,
    cells: Cells,
) -> Result<StagedFile, FleetWriteError> {
    let bytes = encode(table, format, cells)?;
    StagedFile::new(&folder.join(format!("{}.{}", table.name, format.ending())), &bytes)
}

/// Writes polars columns, which cost less memory than a [`Table`], under a temporary name.
pub(crate) fn stage_frame(
    name: &str,
    columns: Vec<pl::Column>,
    folder: &Path,
    format: TableFormat,
) -> Result<StagedFile, FleetWriteError> {
    let bytes = bytes(name, columns_frame(name, columns)?, format)?;
    StagedFile::new(&folder.join(format!("{name}.{}", format.ending())), &bytes)
}

/// The bytes of a table's file.
pub(crate) fn encode(table: &Table, format: TableFormat, cells: Cells) -> Result<Vec<u8>, FleetWriteError> {
    bytes(&table.name, framed(table, cells, format)?, format)
}

/// A table as a polars frame, as a file of a format would hold it.
fn framed(table: &Table, cells: Cells, format: TableFormat) -> Result<DataFrame, FleetWriteError> {
    let harmless = cells == Cells::Harmless && format == TableFormat::Csv;
    columns_frame(&table.name, table.columns.iter().map(|column| series(column, harmless)).collect())
}

/// A table as a polars frame.
pub(crate) fn frame(table: &Table) -> Result<DataFrame, FleetWriteError> {
    framed(table, Cells::Exact, TableFormat::Parquet)
}

/// Columns as a polars frame.
pub(crate) fn columns_frame(name: &str, columns: Vec<pl::Column>) -> Result<DataFrame, FleetWriteError> {
    DataFrame::new_infer_height(columns)
        .map_err(|error| FleetWriteError::Table { table: name.to_owned(), why: error.to_string() })
}

fn bytes(name: &str, mut frame: DataFrame, format: TableFormat) -> Result<Vec<u8>, FleetWriteError> {
    let failed = |error: PolarsError| FleetWriteError::Table { table: name.to_owned(), why: error.to_string() };
    let mut bytes = Vec::new();
    match format {
        TableFormat::Csv => CsvWriter::new(&mut bytes).finish(&mut frame).map_err(failed)?,
        TableFormat::Parquet => {
            ParquetWriter::new(&mut bytes).finish(&mut frame).map_err(failed)?;
            bytes = with_checksums(bytes);
        }
    }
    Ok(bytes)
}

pub(crate) fn series(column: &Column, harmless: bool) -> pl::Column {
    let name = column.name.as_str().into();
    let values = match &column.data {
        ColumnData::Text(cells) if harmless && cells.iter().flatten().any(|text| is_formula(text)) => {
            let defused = |text: &String| if is_formula(text) { format!("'{text}") } else { text.clone() };
            let cells: Vec<Option<String>> = cells.iter().map(|cell| cell.as_ref().map(defused)).collect();
            pl::Series::new(name, cells)
        }
        ColumnData::Text(cells) => pl::Series::new(name, cells),
        ColumnData::Number(cells) => {
            let cells: Vec<Option<f64>> = cells.iter().map(|cell| cell.filter(|value| value.is_finite())).collect();
            pl::Series::new(name, cells)
        }
        ColumnData::Count(cells) => pl::Series::new(name, cells),
    };
    values.into()
}
