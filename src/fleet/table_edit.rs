//! One table of a folder, to be changed in few places.

use std::fs;
use std::path::{Path, PathBuf};

use super::atomic::{FleetWriteError, StagedFile};
use super::csv::read_csv;
use super::csv_edit::CsvEdit;
use super::fault::FaultList;
use super::grid::Grid;
use super::parquet::read_parquet;
use super::parquet_edit::ParquetEdit;
use super::schema::{CHECKS, TableSchema};
use super::value::Value;

#[derive(Debug)]
enum Body {
    Csv(CsvEdit),
    Parquet(ParquetEdit),
}

/// A table with the changes to come. Nothing is written before [`ChangedTable::stage`].
#[derive(Debug)]
pub(super) struct TableEdit {
    schema: TableSchema,
    path: PathBuf,
    body: Body,
    /// What the file said before, where there was one.
    pub(super) grid: Option<Grid>,
}

impl TableEdit {
    /// Opens a table of a folder; one that is not there begins empty, as CSV, or as Parquet where `checks` is.
    pub(super) fn open(folder: &Path, schema: TableSchema) -> Result<Self, FleetWriteError> {
        let name = schema.name;
        let refuse = |why: String| FleetWriteError::Table { table: name.to_owned(), why };
        let [csv, parquet] = ["csv", "parquet"].map(|ending| folder.join(format!("{name}.{ending}")));
        let mut faults = FaultList::default();
        if csv.exists() {
            let bytes = fs::read(&csv).map_err(|source| FleetWriteError::Read { path: csv.clone(), source })?;
            let grid = read_csv(&bytes, schema, &[], &mut faults);
            if !faults.is_empty() {
                return Err(refuse(faults.to_string()));
            }
            return Ok(Self { schema, path: csv, body: Body::Csv(CsvEdit::of(&bytes)), grid });
        }
        if parquet.exists() {
            let grid = read_parquet(&parquet, name, schema, &[], &mut faults);
            if !faults.is_empty() {
                return Err(refuse(faults.to_string()));
            }
            let body = Body::Parquet(ParquetEdit::read(&parquet).map_err(refuse)?);
            return Ok(Self { schema, path: parquet, body, grid });
        }
        if folder.join(format!("{}.parquet", CHECKS.name)).exists() {
            let mut edit = ParquetEdit::empty();
            for name in schema.required {
                edit.column(name);
            }
            return Ok(Self { schema, path: parquet, body: Body::Parquet(edit), grid: None });
        }
        let header = format!("{}\n", schema.required.join(","));
        Ok(Self { schema, path: csv, body: Body::Csv(CsvEdit::of(header.as_bytes())), grid: None })
    }

    /// Puts a value into a record of the file, counted from 0.
    pub(super) fn set(&mut self, record: usize, name: &str, value: Value) {
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
    pub(super) fn append(&mut self, values: Vec<(&str, Value)>) {
        match &mut self.body {
            Body::Csv(edit) => {
                let cells: Vec<(usize, String)> =
                    values.into_iter().map(|(name, value)| (edit.column(name), value.text())).collect();
                edit.append(&cells);
            }
            Body::Parquet(edit) => {
                let cells: Vec<(usize, Value)> =
                    values.into_iter().map(|(name, value)| (edit.column(name), value)).collect();
                edit.append(&cells);
            }
        }
    }

    /// The changed file, not yet written.
    pub(super) fn finish(self) -> Result<ChangedTable, FleetWriteError> {
        let refuse = |why| FleetWriteError::Table { table: self.schema.name.to_owned(), why };
        let bytes = match &self.body {
            Body::Csv(edit) => edit.bytes(),
            Body::Parquet(edit) => edit.bytes().map_err(refuse)?,
        };
        Ok(ChangedTable { path: self.path, bytes })
    }
}

/// A changed table, ready to be written.
#[derive(Debug)]
pub(super) struct ChangedTable {
    path: PathBuf,
    bytes: Vec<u8>,
}

impl ChangedTable {
    /// Writes it under a temporary name beside its own.
    pub(super) fn stage(&self) -> Result<StagedFile, FleetWriteError> {
        StagedFile::new(&self.path, &self.bytes)
    }
}
