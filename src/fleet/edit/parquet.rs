//! A Parquet file changed in few places: columns and rows that are not changed stay as they are.

use std::fs::File;
use std::path::Path;

use polars::prelude::{
    DataFrame, DataType, NamedFrom, ParquetReader, ParquetWriter, PolarsError, PolarsResult, SerReader, Series,
    TimeUnit,
};

use crate::fleet::read::cell::Cell;
use crate::fleet::read::guard::guarded;
use crate::fleet::read::parquet::{MS_PER_DAY, is_readable, type_in_words};
use crate::fleet::read::parquet_checksums::with_checksums;
use crate::fleet::schema::Value;

/// Below this every whole number is a 64-bit number of its own.
const EXACT: f64 = 9_007_199_254_740_992.0;

/// What is to be changed in one column.
#[derive(Debug, Default)]
struct Changes {
    set: Vec<(usize, Value)>,
    /// Value of each new row.
    rows: Vec<Option<Value>>,
}

/// A table read whole, with the changes to come.
#[derive(Debug)]
pub(crate) struct ParquetEdit {
    frame: DataFrame,
    columns: Vec<String>,
    changes: Vec<Changes>,
    rows: usize,
}

impl ParquetEdit {
    /// Reads every column of a file, or says why it cannot be kept.
    pub(crate) fn read(path: &Path) -> Result<Self, String> {
        let read = guarded(|| {
            let file = File::open(path).map_err(|error| error.to_string())?;
            let mut reader = ParquetReader::new(file);
            let schema = reader.schema().map_err(|error| error.to_string())?;
            if let Some((name, field)) = schema.iter().find(|(_, field)| !is_readable(&field.dtype)) {
                return Err(format!(
                    "its column `{name}` cannot be written again without loss: it holds {}",
                    type_in_words(&field.dtype)
                ));
            }
            reader.set_rechunk(true).finish().map_err(|error| error.to_string())
        });
        let frame = read.ok_or_else(|| "the file is damaged".to_owned())??;
        let columns: Vec<String> = frame.get_column_names().iter().map(ToString::to_string).collect();
        let changes = columns.iter().map(|_| Changes::default()).collect();
        Ok(Self { frame, columns, changes, rows: 0 })
    }

    /// A table without columns or rows.
    pub(crate) fn empty() -> Self {
        Self { frame: DataFrame::empty(), columns: Vec::new(), changes: Vec::new(), rows: 0 }
    }

    pub(crate) fn has(&self, name: &str) -> bool {
        self.columns.iter().any(|column| column == name)
    }

    pub(crate) fn column(&mut self, name: &str) -> usize {
        if let Some(known) = self.columns.iter().position(|column| column == name) {
            return known;
        }
        self.columns.push(name.to_owned());
        self.changes.push(Changes { rows: vec![None; self.rows], ..Changes::default() });
        self.columns.len() - 1
    }

    pub(crate) fn set(&mut self, record: usize, column: usize, value: Value) {
        if let Some(changes) = self.changes.get_mut(column) {
            changes.set.push((record, value));
        }
    }

    pub(crate) fn append(&mut self, values: &[(usize, Value)]) {
        for (column, changes) in self.changes.iter_mut().enumerate() {
            changes.rows.push(values.iter().find(|(at, _)| *at == column).map(|(_, value)| value.clone()));
        }
        self.rows += 1;
    }

    /// The changed file.
    pub(crate) fn bytes(&self) -> Result<Vec<u8>, String> {
        let columns: Result<Vec<_>, String> =
            self.columns.iter().zip(&self.changes).map(|(name, changes)| self.changed(name, changes)).collect();
        let mut frame = DataFrame::new_infer_height(columns?.into_iter().map(Into::into).collect())
            .map_err(|error| error.to_string())?;
        let mut bytes = Vec::new();
        ParquetWriter::new(&mut bytes).finish(&mut frame).map_err(|error| error.to_string())?;
        Ok(with_checksums(bytes))
    }

    fn changed(&self, name: &str, changes: &Changes) -> Result<Series, String> {
        let height = self.frame.height();
        let mut old = match self.frame.column(name) {
            Ok(column) => column.as_materialized_series().clone(),
            Err(_) => Series::full_null(name.into(), height, &DataType::Null),
        };
        if !changes.set.is_empty() {
            return Self::with(&old, changes);
        }
        // a long column stays as it is: only new cells are put into its type, or it into theirs
        let said = |error: PolarsError| format!("column `{name}`: {error}");
        let new = Self::with(&old.clear(), changes)?;
        if new.dtype() != old.dtype() {
            let wider = old.strict_cast(new.dtype()).map_err(said)?;
            if old.dtype().is_integer() && !same(&wider.strict_cast(old.dtype()).map_err(said)?, &old) {
                return Err(format!("column `{name}` holds whole numbers too large to become decimal ones"));
            }
            old = wider;
        }
        old.append(&new).map_err(said)?;
        Ok(old)
    }

    /// A column with its changes.
    fn with(old: &Series, changes: &Changes) -> Result<Series, String> {
        let name = old.name().as_str();
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
            DataType::String => texts(old, changes).map_err(said),
            // a name that is no number makes names of whole numbers, which say the same
            dtype if (*dtype == DataType::Null && text) || (dtype.is_integer() && given().any(is_name)) => {
                old.cast(&DataType::String).and_then(|old| texts(&old, changes)).map_err(said)
            }
            DataType::Null if given().all(|value| matches!(value, Value::Count(_))) => {
                old.cast(&DataType::Int64).map_err(said).and_then(|old| Self::with(&old, changes))
            }
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
            // a column of whole numbers that gets a part of one becomes one of decimals
            dtype if dtype.is_integer() && !given().any(is_part) => {
                let cells = old.strict_cast(&DataType::Int64).map_err(said)?;
                let cells = cells.i64().map_err(said)?.iter().collect();
                let cells = changes.over(cells, whole).map_err(|value| refuse(&value))?;
                Series::new(name.into(), cells).strict_cast(dtype).map_err(said)
            }
            dtype => {
                let decimals = old.strict_cast(&DataType::Float64).map_err(said)?;
                if dtype.is_integer() && !same(&decimals.strict_cast(dtype).map_err(said)?, old) {
                    return Err(format!("column `{name}` holds whole numbers too large to become decimal ones"));
                }
                let cells = decimals.f64().map_err(said)?.iter().collect();
                let cells = changes.over(cells, decimal).map_err(|value| refuse(&value))?;
                let numbers = Series::new(name.into(), cells);
                let narrow = numbers.strict_cast(dtype).map_err(said);
                // a column of short decimals that gets a longer one becomes one of long ones
                let back = narrow.as_ref().ok().and_then(|narrow| narrow.strict_cast(&DataType::Float64).ok());
                let holds = dtype.is_float() && back.is_some_and(|back| same(&back, &numbers));
                if holds { narrow } else { Ok(numbers) }
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

/// Whether two columns hold the same values and gaps.
fn same(one: &Series, other: &Series) -> bool {
    one.equals_missing(other)
}

/// Whether a value is a number that a column of whole numbers has no place for.
fn is_part(value: &Value) -> bool {
    matches!(value, Value::Number(_)) && whole(value).is_none()
}

/// Whether a value is a name that a column of whole numbers has no place for.
fn is_name(value: &Value) -> bool {
    matches!(value, Value::Text(_)) && whole(value).is_none()
}

/// A value as a whole number, where that says all of it. A name such as `007` is none: it would come back as `7`.
fn whole(value: &Value) -> Option<i64> {
    match value {
        // within these bounds every whole number is one of its own, and the cast is exact
        #[allow(clippy::cast_possible_truncation)]
        Value::Number(number) if number.fract() == 0.0 && number.abs() < EXACT => Some(*number as i64),
        Value::Text(text) => text.parse().ok().filter(|count| Cell::Count(*count).text() == text.as_str()),
        Value::Count(count) => Some(*count),
        Value::Number(_) | Value::Day(_) => None,
    }
}

/// A value as a number, where that says all of it. A name such as `1e3` is none: it would come back as `1000`.
fn decimal(value: &Value) -> Option<f64> {
    match value {
        Value::Number(number) => Some(*number),
        Value::Count(count) => Some(*count as f64),
        Value::Text(text) => {
            let number = text.parse().ok().filter(|number: &f64| number.is_finite());
            number.filter(|number| Cell::Number(*number).text() == text.as_str())
        }
        Value::Day(_) => None,
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
        let names = with(0, Value::Text("17-4L".to_owned())).unwrap();
        assert_eq!(names.str().unwrap().iter().collect::<Vec<_>>(), [Some("1"), Some("17-4L")]);
        assert!(with(1, Value::Number(2.0)).is_err());
    }

    #[test]
    fn whole_numbers_keep_every_digit_and_names_that_look_like_numbers_stay_names() {
        let large = 9_007_199_254_740_993_i64;
        let column = |series: Series, value: Value| {
            let name = series.name().to_string();
            let frame = DataFrame::new_infer_height(vec![series.into()]).unwrap();
            let changes = Changes { set: vec![(1, value)], rows: Vec::new() };
            ParquetEdit { frame, columns: vec![name.clone()], changes: Vec::new(), rows: 0 }.changed(&name, &changes)
        };
        let text = |text: &str| Value::Text(text.to_owned());
        let counts = || Series::new("wing".into(), [large, 2]);
        let kept = column(counts(), text("9007199254740995")).unwrap();
        assert_eq!(kept.i64().unwrap().iter().flatten().collect::<Vec<_>>(), [large, large + 2]);
        let kept = column(counts(), Value::Number(3.0)).unwrap();
        assert_eq!(kept.i64().unwrap().iter().flatten().collect::<Vec<_>>(), [large, 3]);
        assert!(column(counts(), Value::Number(0.5)).unwrap_err().contains("too large"));
        let kept = column(Series::new("turns".into(), [1i32, 2]), Value::Number(0.5)).unwrap();
        assert_eq!(kept.f64().unwrap().iter().flatten().collect::<Vec<_>>(), [1.0, 0.5]);
        for name in ["007", "1e3", "+7", "7.0", "inf"] {
            let names = column(counts(), text(name)).unwrap();
            assert_eq!(names.str().unwrap().iter().flatten().collect::<Vec<_>>(), ["9007199254740993", name]);
            let refused = column(Series::new("wing".into(), [1.0, 2.0]), text(name)).unwrap_err();
            assert!(refused.contains(&format!("does not hold `{name}`")), "{refused}");
        }
        let short = Series::new("step_mm".into(), [0.5f32, 1.0]);
        assert_eq!(column(short.clone(), Value::Number(0.25)).unwrap().dtype(), &DataType::Float32);
        let kept = column(short, Value::Number(0.1)).unwrap();
        assert_eq!(kept.f64().unwrap().iter().flatten().collect::<Vec<_>>(), [0.5, 0.1]);
        let tiny = Series::new("turns".into(), [1i8, 2]);
        assert!(column(tiny, Value::Number(200.0)).is_err());
    }
}
