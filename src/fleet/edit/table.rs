//! One table of a folder, to be changed in few places.

use std::fs;
use std::path::{Path, PathBuf};

use super::csv::CsvEdit;
use super::parquet::ParquetEdit;
use crate::fleet::read::csv::read_csv;
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::Grid;
use crate::fleet::read::parquet::read_parquet;
use crate::fleet::schema::{CHECKS, TableSchema, Value};
use crate::fleet::write::atomic::{FleetWriteError, StagedFile};
use crate::fleet::write::table::{Column, ColumnData, Table};

#[derive(Debug)]
enum Body {
    Csv(CsvEdit),
    Parquet(ParquetEdit),
}

/// A table with the changes to come. Nothing is written before [`ChangedTable::stage`].
#[derive(Debug)]
pub(crate) struct TableEdit {
    schema: TableSchema,
    path: PathBuf,
    body: Body,
    /// What the file said before, where there was one.
    pub(crate) grid: Option<Grid>,
}

impl TableEdit {
    /// Opens a table of a folder, and judges what is in it; one that is not there begins empty.
    pub(crate) fn open(folder: &Path, schema: TableSchema) -> Result<Self, FleetWriteError> {
        let mut edit = Self::unjudged(folder, schema)?;
        let mut faults = FaultList::default();
        if edit.path.exists() {
            edit.grid = match &edit.body {
                Body::Csv(body) => read_csv(body.before(), schema, &[], &mut faults),
                Body::Parquet(_) => read_parquet(&edit.path, schema.name, schema, &[], &mut faults),
            };
        }
        if faults.is_empty() { Ok(edit) } else { Err(refused(schema, faults.to_string())) }
    }

    /// The same for one that is judged once it is changed. A new one is CSV, or Parquet where `checks` is.
    pub(crate) fn unjudged(folder: &Path, schema: TableSchema) -> Result<Self, FleetWriteError> {
        let file = |table: &str, ending: &str| folder.join(format!("{table}.{ending}"));
        let (csv, parquet) = (file(schema.name, "csv"), file(schema.name, "parquet"));
        if csv.exists() {
            let bytes = fs::read(&csv).map_err(|source| FleetWriteError::Read { path: csv.clone(), source })?;
            return Ok(Self { schema, path: csv, body: Body::Csv(CsvEdit::of(bytes)), grid: None });
        }
        if parquet.exists() {
            let body = Body::Parquet(ParquetEdit::read(&parquet).map_err(|why| refused(schema, why))?);
            return Ok(Self { schema, path: parquet, body, grid: None });
        }
        if file(CHECKS.name, "parquet").exists() {
            return Ok(Self::new_parquet(parquet, schema));
        }
        let header = format!("{}\n", schema.required().collect::<Vec<_>>().join(","));
        Ok(Self { schema, path: csv, body: Body::Csv(CsvEdit::of(header.into_bytes())), grid: None })
    }

    /// A Parquet file that is not there yet.
    pub(crate) fn new_parquet(path: PathBuf, schema: TableSchema) -> Self {
        let mut edit = ParquetEdit::empty();
        for name in schema.required() {
            edit.column(name);
        }
        Self { schema, path, body: Body::Parquet(edit), grid: None }
    }

    /// Adds the rows of a table at the end. Columns that say nothing, or no more than an empty cell would, are left out where the
    /// file does not have them.
    pub(crate) fn append_all(&mut self, new: &NewRows) {
        let is_there = |column: &&Column| match &self.body {
            Body::Csv(edit) => edit.has(&column.name),
            Body::Parquet(edit) => edit.has(&column.name),
        };
        let says = |column: &&Column| {
            !new.implied.contains(&column.name.as_str())
                && (0..column.data.len()).any(|row| value(&column.data, row).is_some())
        };
        let columns: Vec<&Column> =
            new.table.columns.iter().filter(|column| is_there(column) || says(column)).collect();
        for row in 0..columns.first().map_or(0, |column| column.data.len()) {
            let cells = columns.iter().filter_map(|column| Some((column.name.as_str(), value(&column.data, row)?)));
            self.append(cells.collect());
        }
    }

    /// Puts a value into a record of the file, counted from 0.
    pub(crate) fn set(&mut self, record: usize, name: &str, value: Value) {
        match &mut self.body {
            Body::Csv(edit) => {
                let column = edit.column(name);
                edit.set(record, column, &value.text());
            }
            Body::Parquet(edit) => {
                let column = edit.column(name);
                edit.set(record, column, value);
            }
        }
    }

    /// Adds a record at the end.
    pub(crate) fn append(&mut self, values: Vec<(&str, Value)>) {
        match &mut self.body {
            Body::Csv(edit) => {
                let cells = values.into_iter().map(|(name, value)| (edit.column(name), value.text())).collect();
                edit.append(cells);
            }
            Body::Parquet(edit) => {
                let cells: Vec<(usize, Value)> =
                    values.into_iter().map(|(name, value)| (edit.column(name), value)).collect();
                edit.append(&cells);
            }
        }
    }

    /// The changed file, not yet written.
    pub(crate) fn finish(self) -> Result<ChangedTable, FleetWriteError> {
        let bytes = match &self.body {
            Body::Csv(edit) => edit.bytes(),
            Body::Parquet(edit) => edit.bytes().map_err(|why| refused(self.schema, why))?,
        };
        Ok(ChangedTable { path: self.path, bytes })
    }
}

/// New rows of one table.
#[derive(Debug, Clone)]
pub(crate) struct NewRows {
    pub(crate) schema: TableSchema,
    pub(crate) table: Table,
    /// Columns that say no more than an empty cell would.
    pub(crate) implied: Vec<&'static str>,
}

impl NewRows {
    pub(crate) fn of(schema: TableSchema, table: Table) -> Self {
        Self { schema, table, implied: Vec::new() }
    }
}

fn refused(schema: TableSchema, why: String) -> FleetWriteError {
    FleetWriteError::Table { table: schema.name.to_owned(), why }
}

/// What a cell says.
fn value(cells: &ColumnData, row: usize) -> Option<Value> {
    match cells {
        ColumnData::Text(cells) => cells.get(row)?.clone().map(Value::Text),
        ColumnData::Number(cells) => cells.get(row)?.filter(|number| number.is_finite()).map(Value::Number),
        ColumnData::Count(cells) => cells.get(row)?.map(Value::Count),
    }
}

/// A changed table, ready to be written.
#[derive(Debug)]
pub(crate) struct ChangedTable {
    path: PathBuf,
    bytes: Vec<u8>,
}

impl ChangedTable {
    /// Writes it under a temporary name beside its own.
    pub(crate) fn stage(&self) -> Result<StagedFile, FleetWriteError> {
        StagedFile::new(&self.path, &self.bytes)
    }
}
