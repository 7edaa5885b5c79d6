//! A Parquet file changed in few places: columns and rows that are not changed stay as they are.

use std::fs::File;
use std::path::Path;

use polars::prelude::{
    DataFrame, DataType, NamedFrom, ParquetReader, ParquetWriter, PolarsError, PolarsResult, SerReader, Series,
    TimeUnit,
};

use super::guard::guarded;
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
        let read = guarded(|| {
            let file = File::open(path).map_err(|error| error.to_string())?;
            let mut reader = ParquetReader::new(file);
            let schema = reader.schema().map_err(|error| error.to_string())?;
            if let Some((name, field)) = schema.iter().find(|(_, field)| !is_readable(&field.dtype)) {
                return Err(format!("column `{name}` is of a type that cannot be written again ({:?})", field.dtype));
            }
            reader.set_rechunk(true).finish().map_err(|error| error.to_string())
        });
        let frame = read.ok_or_else(|| "the file is damaged".to_owned())??;
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
        let columns: Result<Vec<_>, String> =
            self.columns.iter().zip(&self.changes).map(|(name, changes)| self.changed(name, changes)).collect();
        let mut frame = DataFrame::new_infer_height(columns?.into_iter().map(Into::into).collect())
            .map_err(|error| error.to_string())?;
        let mut bytes = Vec::new();
        ParquetWriter::new(&mut bytes).finish(&mut frame).map_err(|error| error.to_string())?;
        Ok(bytes)
    }

    fn changed(&self, name: &str, changes: &Changes) -> Result<Series, String> {
        let height = self.frame.height();
        let old = match self.frame.column(name) {
            Ok(column) => column.as_materialized_series().clone(),
            Err(_) => Series::full_null(name.into(), height, &DataType::Null),
        };
        let given = || changes.set.iter().map(|(_, value)| value).chain(changes.rows.iter().flatten());
        let said = |error: PolarsError| format!("column `{name}`: {error}");
        if given().next().is_none() {
            let mut series = old.clone();
            series.append(&Series::full_null(name.into(), changes.rows.len(), old.dtype())).map_err(said)?;
            return Ok(series);
        }
        let text = given().any(|value| matches!(value, Value::Text(_) | Value::Day(_)));
        let dtype = old.dtype();
        let refuse = |value: &Value| format!("a column `{name}` of type {dtype} does not hold `{}`", value.text());
        match dtype {
            DataType::String => texts(&old, changes).map_err(said),
            DataType::Null if text => old.cast(&DataType::String).and_then(|old| texts(&old, changes)).map_err(said),
            DataType::Boolean => {
                let cells = old.bool().map_err(said)?.iter().collect();
                let truth = |value: &Value| value.text().parse().ok();
                Ok(Series::new(name.into(), changes.over(cells, truth).map_err(|value| refuse(&value))?))
            }
            DataType::Date | DataType::Datetime(_, None) => {
                let per_day = match dtype {
                    DataType::Datetime(TimeUnit::Nanoseconds, _) => MS_PER_DAY * 1_000_000,
                    DataType::Datetime(TimeUnit::Microseconds, _) => MS_PER_DAY * 1_000,
                    DataType::Datetime(TimeUnit::Milliseconds, _) => MS_PER_DAY,
                    _ => 1,
                };
                let cells = old.cast(&DataType::Int64).map_err(said)?;
                let cells = cells.i64().map_err(said)?.iter().collect();
                let days = |value: &Value| value.days().map(|days| days * per_day);
                let cells = changes.over(cells, days).map_err(|value| refuse(&value))?;
                Series::new(name.into(), cells).cast(dtype).map_err(said)
            }
            dtype => {
                let number = |value: &Value| match value {
                    Value::Number(number) => Some(*number),
                    // an id that is written as a number in the file
                    Value::Text(text) => text.parse().ok(),
                    Value::Day(_) => None,
                };
                let cells = old.cast(&DataType::Float64).map_err(said)?;
                let cells: Vec<Option<f64>> = cells.f64().map_err(said)?.iter().collect();
                let cells = changes.over(cells, number).map_err(|value| refuse(&value))?;
                let is_whole = cells.iter().flatten().all(|value| value.fract() == 0.0);
                let numbers = Series::new(name.into(), cells);
                // a column of whole numbers that gets a part of one becomes one of decimals
                if dtype.is_float() || (dtype.is_integer() && is_whole) {
                    numbers.strict_cast(dtype).map_err(said)
                } else {
                    Ok(numbers)
                }
            }
        }
    }
}

impl Changes {
    /// The cells as they will be, or the first value that a cell of this kind cannot hold.
    fn over<T>(&self, mut cells: Vec<Option<T>>, of: impl Fn(&Value) -> Option<T>) -> Result<Vec<Option<T>>, Value> {
        let held = |value: &Value| of(value).ok_or_else(|| value.clone());
        for (record, value) in &self.set {
            if let Some(cell) = cells.get_mut(*record) {
                *cell = Some(held(value)?);
            }
        }
        for value in &self.rows {
            cells.push(value.as_ref().map(held).transpose()?);
        }
        Ok(cells)
    }
}

fn texts(old: &Series, changes: &Changes) -> PolarsResult<Series> {
    let cells = old.str()?.iter().map(|cell| cell.map(str::to_owned)).collect();
    let cells = changes.over(cells, |value| Some(value.text())).unwrap_or_default();
    Ok(Series::new(old.name().clone(), cells))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_that_its_column_cannot_hold_is_refused_not_dropped() {
        let frame = DataFrame::new_infer_height(vec![
            Series::new("wing".into(), [1i64, 2]).into(),
            Series::new("can_loop".into(), [true, false]).into(),
        ])
        .unwrap();
        let with = |place: usize, value: Value| {
            let columns = vec!["wing".to_owned(), "can_loop".to_owned()];
            let mut edit = ParquetEdit {
                frame: frame.clone(),
                columns,
                changes: vec![Changes::default(), Changes::default()],
                rows: 0,
            };
            edit.set(1, place, value);
            edit.changed(&edit.columns[place], &edit.changes[place])
        };
        let kept = with(1, Value::Text("true".to_owned())).unwrap();
        assert_eq!(kept.bool().unwrap().iter().collect::<Vec<_>>(), [Some(true), Some(true)]);
        let kept = with(0, Value::Text("17".to_owned())).unwrap();
        assert_eq!(kept.i64().unwrap().iter().collect::<Vec<_>>(), [Some(1), Some(17)]);
        let refused = with(0, Value::Text("17-4L".to_owned())).unwrap_err();
        assert_eq!(refused, "a column `wing` of type i64 does not hold `17-4L`");
        assert!(with(1, Value::Number(2.0)).is_err());
    }
}
