//! New rows behind those of a table that is there: what stands in it stays, to the byte in CSV and to the value in Parquet.

use std::fs::{self, File};
use std::path::Path;

use polars::prelude::{
    Column, DataFrame, DataType, IntoColumn, NamedFrom, ParquetReader, ParquetWriter, PolarsResult, SerReader, Series,
};

use super::atomic::FleetWriteError;
use super::csv::{Records, fields};
use super::csv_edit::encoded;
use super::guard::guarded;
use super::parquet::{is_readable, type_in_words};
use super::parquet_checksums::with_checksums;
use super::table::{ColumnData, Table, series};

/// New rows of one table.
#[derive(Debug, Clone)]
pub(super) struct NewRows {
    pub(super) table: Table,
    /// Columns that say no more than an empty cell would: left out where the table does not have them.
    pub(super) implied: Vec<&'static str>,
}

impl NewRows {
    fn height(&self) -> usize {
        self.table.columns.first().map_or(0, |column| column.data.len())
    }

    /// The columns to write into a table with this header: those it has, and those that say something.
    fn missing_from<'a>(&'a self, header: &[String]) -> Vec<&'a super::Column> {
        let says = |column: &super::Column| match &column.data {
            ColumnData::Text(cells) => cells.iter().any(Option::is_some),
            ColumnData::Number(cells) => cells.iter().any(Option::is_some),
            ColumnData::Count(cells) => cells.iter().any(Option::is_some),
        };
        self.table
            .columns
            .iter()
            .filter(|column| !header.contains(&column.name))
            .filter(|column| says(column) && !self.implied.contains(&column.name.as_str()))
            .collect()
    }

    /// The same rows as a new CSV table.
    pub(super) fn csv(&self) -> Vec<u8> {
        let columns = self.missing_from(&[]);
        let names: Vec<String> = columns.iter().map(|column| encoded(&column.name)).collect();
        let mut out = names.join(",") + "\n";
        for row in 0..self.height() {
            let cells: Vec<String> = columns.iter().map(|column| cell(column, row)).collect();
            out += &(cells.join(",") + "\n");
        }
        out.into_bytes()
    }

    /// The same rows as columns of a new Parquet file.
    pub(super) fn parquet(&self) -> Result<Vec<u8>, FleetWriteError> {
        let columns = self.missing_from(&[]).into_iter().map(|column| series(column, false)).collect();
        self.encode(DataFrame::new_infer_height(columns))
    }

    fn encode(&self, frame: PolarsResult<DataFrame>) -> Result<Vec<u8>, FleetWriteError> {
        let mut bytes = Vec::new();
        frame
            .and_then(|mut frame| ParquetWriter::new(&mut bytes).finish(&mut frame))
            .map_err(|error| self.failed(error.to_string()))?;
        Ok(with_checksums(bytes))
    }

    fn failed(&self, why: String) -> FleetWriteError {
        FleetWriteError::Table { table: self.table.name.clone(), why }
    }

    /// The bytes of a CSV table with the new rows behind it. Its own bytes stay; where a column is new, each record gets a
    /// comma.
    pub(super) fn behind_csv(&self, path: &Path) -> Result<Vec<u8>, FleetWriteError> {
        let old = fs::read(path).map_err(|source| FleetWriteError::Read { path: path.to_owned(), source })?;
        let mark: &[u8] = if old.starts_with(b"\xEF\xBB\xBF") { b"\xEF\xBB\xBF" } else { b"" };
        let body = old.get(mark.len()..).unwrap_or_default();
        let mut records = Records::new(body);
        let head = records.next().ok_or_else(|| self.failed("it has no header".to_owned()))?;
        let header = fields(head.line);
        let end: &[u8] = if body.get(head.line.len()) == Some(&b'\r') { b"\r\n" } else { b"\n" };
        let new = self.missing_from(&header);
        let mut out = mark.to_vec();
        let names: Vec<String> = new.iter().map(|column| format!(",{}", encoded(&column.name))).collect();
        let mut start = 0;
        let mut next = Some(head);
        while let Some(piece) = next {
            let blank = piece.fields == 1 && piece.line.trim_ascii().is_empty();
            out.extend_from_slice(piece.line);
            if start == 0 {
                out.extend_from_slice(names.concat().as_bytes());
            } else if !blank {
                out.resize(out.len() + names.len(), b',');
            }
            let after = start + piece.line.len();
            out.extend_from_slice(body.get(after..records.at).unwrap_or_default());
            start = records.at;
            next = records.next();
        }
        if out.last().is_some_and(|byte| *byte != b'\n') {
            out.extend_from_slice(end);
        }
        let places: Vec<Option<&super::Column>> = header
            .iter()
            .map(|name| self.table.columns.iter().find(|column| column.name == *name))
            .chain(new.into_iter().map(Some))
            .collect();
        for row in 0..self.height() {
            let cells: Vec<String> =
                places.iter().map(|column| column.map_or_else(String::new, |column| cell(column, row))).collect();
            out.extend_from_slice(cells.join(",").as_bytes());
            out.extend_from_slice(end);
        }
        Ok(out)
    }

    /// The bytes of a Parquet table with the new rows behind it.
    pub(super) fn behind_parquet(&self, path: &Path) -> Result<Vec<u8>, FleetWriteError> {
        // a column of a kind that this build does not know can make the decoder panic
        match guarded(|| self.joined(path)) {
            Some(Ok(frame)) => self.encode(Ok(frame)),
            Some(Err(why)) => Err(self.failed(why)),
            None => Err(self.failed("its columns cannot be read".to_owned())),
        }
    }

    fn joined(&self, path: &Path) -> Result<DataFrame, String> {
        let file = File::open(path).map_err(|error| error.to_string())?;
        let mut reader = ParquetReader::new(file);
        let schema = reader.schema().map_err(|error| error.to_string())?;
        if let Some((name, field)) = schema.iter().find(|(_, field)| !is_readable(&field.dtype)) {
            return Err(format!(
                "its column `{name}` cannot be written again without loss: it holds {}",
                type_in_words(&field.dtype)
            ));
        }
        let old = reader.set_rechunk(true).finish().map_err(|error| error.to_string())?;
        let header: Vec<String> = old.get_column_names().iter().map(ToString::to_string).collect();
        let mut columns = Vec::new();
        for name in &header {
            let before = old.column(name).map_err(|error| error.to_string())?.as_materialized_series();
            let added = self.table.columns.iter().find(|column| column.name == *name);
            columns.push(self.extended(before, added).map_err(|why| format!("column `{name}`: {why}"))?);
        }
        for column in self.missing_from(&header) {
            let mut whole = Series::full_null(column.name.as_str().into(), old.height(), &DataType::Null);
            let added = series(column, false);
            whole = whole.cast(added.dtype()).map_err(|error| error.to_string())?;
            whole.append(added.as_materialized_series()).map_err(|error| error.to_string())?;
            columns.push(whole.into_column());
        }
        DataFrame::new_infer_height(columns).map_err(|error| error.to_string())
    }

    /// One column with the new cells behind it, in its own type where that holds them, else in a wider one.
    fn extended(&self, before: &Series, added: Option<&super::Column>) -> Result<Column, String> {
        let text = |error: polars::prelude::PolarsError| error.to_string();
        let mut whole = before.clone();
        let Some(added) = added else {
            let none = Series::full_null(before.name().clone(), self.height(), before.dtype());
            whole.append(&none).map_err(text)?;
            return Ok(whole.into_column());
        };
        let new = series(added, false).take_materialized_series();
        if let Ok(fitting) = fits(&new, before.dtype()) {
            whole.append(&fitting).map_err(text)?;
            return Ok(whole.into_column());
        }
        // wider: whole numbers become decimal ones or text, and nothing is lost by it
        let wider = match (before.dtype(), new.dtype()) {
            (DataType::Null, other) => other.clone(),
            (dtype, DataType::Float64) if dtype.is_integer() || dtype.is_float() => DataType::Float64,
            (dtype, DataType::String) if dtype.is_integer() => DataType::String,
            (dtype, _) => return Err(format!("a column of {dtype} does not hold the new values")),
        };
        whole = whole.strict_cast(&wider).map_err(text)?;
        whole.append(&new.strict_cast(&wider).map_err(text)?).map_err(text)?;
        Ok(whole.into_column())
    }
}

/// The new cells in another type, where that loses nothing.
fn fits(new: &Series, dtype: &DataType) -> Result<Series, String> {
    let text = |error: polars::prelude::PolarsError| error.to_string();
    let cast = if new.dtype() == &DataType::String && dtype.is_temporal() {
        let epoch = jiff::civil::date(1970, 1, 1);
        let since = |day: jiff::civil::Date| day.since(epoch).ok().map(|span| span.get_days());
        let days: Option<Vec<i32>> = new.str().map_err(text)?.iter().map(|day| since(day?.parse().ok()?)).collect();
        let days = Series::new(new.name().clone(), days.ok_or_else(|| "not a day".to_owned())?);
        days.strict_cast(&DataType::Date).and_then(|days| days.strict_cast(dtype)).map_err(text)?
    } else {
        if matches!(dtype, DataType::Null | DataType::Boolean) {
            return Err("no".to_owned());
        }
        new.strict_cast(dtype).map_err(text)?
    };
    if dtype.is_temporal() {
        return Ok(cast);
    }
    let back = cast.strict_cast(new.dtype()).map_err(text)?;
    if back.equals_missing(new) { Ok(cast) } else { Err("loses digits".to_owned()) }
}

/// A cell as it stands between commas.
fn cell(column: &super::Column, row: usize) -> String {
    match &column.data {
        ColumnData::Text(cells) => cells.get(row).and_then(Option::as_deref).map(encoded),
        ColumnData::Number(cells) => {
            cells.get(row).copied().flatten().filter(|value| value.is_finite()).map(|value| value.to_string())
        }
        ColumnData::Count(cells) => cells.get(row).copied().flatten().map(|count| count.to_string()),
    }
    .unwrap_or_default()
}
