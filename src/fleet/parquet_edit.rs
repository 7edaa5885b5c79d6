//! A Parquet file changed in few places: columns and rows that are not changed stay as they are.

use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use polars::prelude::{
    DataFrame, DataType, NamedFrom, ParquetReader, ParquetWriter, PolarsResult, SerReader, Series, TimeUnit,
};

use super::parquet::{MS_PER_DAY, is_readable};
use super::table_edit::Value;

/// What is to be changed in one column.
#[derive(Debug, Default)]
struct Changes {
    set: Vec<(usize, Value)>,
    /// Value of each new row.
    rows: Vec<Option<Value>>,
}

/// A table read whole, with the changes to come.
#[derive(Debug)]
pub(super) struct ParquetEdit {
    frame: DataFrame,
    columns: Vec<String>,
    changes: Vec<Changes>,
    rows: usize,
}

impl ParquetEdit {
    /// Reads every column of a file, or says why it cannot be kept.
    pub(super) fn read(path: &Path) -> Result<Self, String> {
        let read = catch_unwind(AssertUnwindSafe(|| {
            let file = File::open(path).map_err(|error| error.to_string())?;
            let mut reader = ParquetReader::new(file);
            let schema = reader.schema().map_err(|error| error.to_string())?;
            if let Some((name, field)) = schema.iter().find(|(_, field)| !is_readable(&field.dtype)) {
                return Err(format!("column `{name}` is of a type that cannot be written again ({:?})", field.dtype));
            }
            reader.set_rechunk(true).finish().map_err(|error| error.to_string())
        }));
        let frame = read.map_err(|_| "the file is damaged".to_owned())??;
        let columns: Vec<String> = frame.get_column_names().iter().map(ToString::to_string).collect();
        let changes = columns.iter().map(|_| Changes::default()).collect();
        Ok(Self { frame, columns, changes, rows: 0 })
    }

    /// A table without columns or rows.
    pub(super) fn empty() -> Self {
        Self { frame: DataFrame::empty(), columns: Vec::new(), changes: Vec::new(), rows: 0 }
    }

    pub(super) fn column(&mut self, name: &str) -> usize {
        if let Some(known) = self.columns.iter().position(|column| column == name) {
            return known;
        }
        self.columns.push(name.to_owned());
        self.changes.push(Changes { rows: vec![None; self.rows], ..Changes::default() });
        self.columns.len() - 1
    }

    pub(super) fn set(&mut self, record: usize, column: usize, value: Value) {
        if let Some(changes) = self.changes.get_mut(column) {
            changes.set.push((record, value));
        }
    }

    pub(super) fn append(&mut self, values: &[(usize, Value)]) {
        for (column, changes) in self.changes.iter_mut().enumerate() {
            changes.rows.push(values.iter().find(|(at, _)| *at == column).map(|(_, value)| value.clone()));
        }
        self.rows += 1;
    }

    /// The changed file.
    pub(super) fn bytes(&self) -> Result<Vec<u8>, String> {
        let columns: PolarsResult<Vec<_>> =
            self.columns.iter().zip(&self.changes).map(|(name, changes)| self.changed(name, changes)).collect();
        let mut frame = columns
            .and_then(|series| DataFrame::new_infer_height(series.into_iter().map(Into::into).collect()))
            .map_err(|error| error.to_string())?;
        let mut bytes = Vec::new();
        ParquetWriter::new(&mut bytes).finish(&mut frame).map_err(|error| error.to_string())?;
        Ok(bytes)
    }

    fn changed(&self, name: &str, changes: &Changes) -> PolarsResult<Series> {
        let height = self.frame.height();
        let old = match self.frame.column(name) {
            Ok(column) => column.as_materialized_series().clone(),
            Err(_) => Series::full_null(name.into(), height, &DataType::Null),
        };
        let given = || changes.set.iter().map(|(_, value)| value).chain(changes.rows.iter().flatten());
        if given().next().is_none() {
            let mut series = old.clone();
            series.append(&Series::full_null(name.into(), changes.rows.len(), old.dtype()))?;
            return Ok(series);
        }
        let text = given().any(|value| matches!(value, Value::Text(_) | Value::Day(_)));
        match old.dtype() {
            DataType::String => self.texts(&old, changes),
            DataType::Null if text => self.texts(&old.cast(&DataType::String)?, changes),
            DataType::Date => whole(&old.cast(&DataType::Int64)?, changes, Value::days)?.cast(old.dtype()),
            DataType::Datetime(unit, None) => {
                let per_day = MS_PER_DAY
                    * match unit {
                        TimeUnit::Nanoseconds => 1_000_000,
                        TimeUnit::Microseconds => 1_000,
                        TimeUnit::Milliseconds => 1,
                    };
                let days = |value: &Value| value.days().map(|days| days * per_day);
                whole(&old.cast(&DataType::Int64)?, changes, days)?.cast(old.dtype())
            }
            dtype => {
                let numbers = numbers(&old.cast(&DataType::Float64)?, changes)?;
                let is_whole = numbers.f64()?.iter().flatten().all(|value| value.fract() == 0.0);
                // a column of whole numbers that gets a part of one becomes one of decimals
                if dtype.is_float() || (dtype.is_integer() && is_whole) {
                    numbers.strict_cast(dtype)
                } else {
                    Ok(numbers)
                }
            }
        }
    }

    #[allow(clippy::unused_self, reason = "beside the other kinds of column")]
    fn texts(&self, old: &Series, changes: &Changes) -> PolarsResult<Series> {
        let mut cells: Vec<Option<String>> = old.str()?.iter().map(|cell| cell.map(str::to_owned)).collect();
        for (record, value) in &changes.set {
            if let Some(cell) = cells.get_mut(*record) {
                *cell = Some(value.text());
            }
        }
        cells.extend(changes.rows.iter().map(|value| value.as_ref().map(Value::text)));
        Ok(Series::new(old.name().clone(), cells))
    }
}

fn whole(old: &Series, changes: &Changes, of: impl Fn(&Value) -> Option<i64>) -> PolarsResult<Series> {
    let mut cells: Vec<Option<i64>> = old.i64()?.iter().collect();
    for (record, value) in &changes.set {
        if let Some(cell) = cells.get_mut(*record) {
            *cell = of(value);
        }
    }
    cells.extend(changes.rows.iter().map(|value| value.as_ref().and_then(&of)));
    Ok(Series::new(old.name().clone(), cells))
}

fn numbers(old: &Series, changes: &Changes) -> PolarsResult<Series> {
    let number = |value: &Value| match value {
        Value::Number(number) => Some(*number),
        // an id that is written as a number in the file
        Value::Text(text) => text.parse().ok(),
        Value::Day(_) => None,
    };
    let mut cells: Vec<Option<f64>> = old.f64()?.iter().collect();
    for (record, value) in &changes.set {
        if let Some(cell) = cells.get_mut(*record) {
            *cell = number(value);
        }
    }
    cells.extend(changes.rows.iter().map(|value| value.as_ref().and_then(number)));
    Ok(Series::new(old.name().clone(), cells))
}
