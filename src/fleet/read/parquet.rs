//! Parquet files: only the columns that are wanted, text, numbers, days and truth values.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use polars::prelude::{
    ArrowDataType, ChunkApply, Column, DataType, FileMetadata, FileMetadataRef, ParallelStrategy, ParquetReader,
    PolarsResult, SerReader, TimeUnit,
};

use super::csv::FIRST_ROW;
use super::fault::FaultList;
use super::grid::{Cells, Grid, Selection};
use super::guard::guarded;
use super::parquet_checksums::is_as_written;
use super::parquet_pages::{ColumnChunk, judge};
use crate::fleet::schema::TableSchema;

pub(crate) const MS_PER_DAY: i64 = 86_400_000;

/// Reads one Parquet file. `None`: nothing of it can be used; the faults say why.
pub(crate) fn read_parquet(
    path: &Path,
    table: &str,
    schema: TableSchema,
    extra: &[String],
    faults: &mut FaultList,
) -> Option<Grid> {
    ParquetTable::open(path, table, schema, extra, faults)?.whole(faults)
}

/// A Parquet file whose description has been read and judged.
pub(crate) struct ParquetTable {
    path: PathBuf,
    /// Name for faults.
    name: String,
    /// Description of the file without its row groups.
    base: FileMetadata,
    description: FileMetadataRef,
    columns: Vec<String>,
    /// Whether every column that is wanted can be read.
    sound: bool,
    pub(crate) left_out: Vec<String>,
}

/// Runs what may panic on a damaged file, and says so.
fn unbroken<T>(run: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    guarded(run).unwrap_or_else(|| Err("damaged".to_owned()))
}

impl ParquetTable {
    /// Opens a file and judges its columns. `None`: nothing of it can be used; the faults say why.
    pub(crate) fn open(
        path: &Path,
        table: &str,
        schema: TableSchema,
        extra: &[String],
        faults: &mut FaultList,
    ) -> Option<Self> {
        let opened = unbroken(|| Self::described(path, table, schema, extra, faults));
        opened.map_err(|why| unreadable(table, &why, faults)).ok()
    }

    fn described(
        path: &Path,
        table: &str,
        schema: TableSchema,
        extra: &[String],
        faults: &mut FaultList,
    ) -> Result<Self, String> {
        // opening a pipe would wait for someone to write into it
        if !path.metadata().map_err(|error| error.to_string())?.is_file() {
            return Err("not a file".to_owned());
        }
        let file = File::open(path).map_err(|error| error.to_string())?;
        let size = file.metadata().map_err(|error| error.to_string())?.len();
        if !is_as_written(&file).map_err(|error| error.to_string())? {
            return Err("damaged: its checksum does not agree with what it holds".to_owned());
        }
        let mut reader = ParquetReader::new(file);
        // a description that contradicts the file would make the decoder panic
        let description = reader.get_metadata().map_err(|error| error.to_string())?.clone();
        let groups = &description.row_groups;
        let inside = groups.iter().all(|group| group.byte_ranges_iter().all(|range| range.end <= size));
        let sum = groups.iter().try_fold(0_usize, |sum, group| sum.checked_add(group.num_rows()));
        if !inside || sum != Some(description.num_rows) {
            return Err("damaged".to_owned());
        }
        let file_schema = reader.schema().map_err(|error| error.to_string())?;
        let header: Vec<String> = file_schema.iter_names().map(ToString::to_string).collect();
        let mut chosen = Selection::new(table, &header, schema, extra, faults);
        let mut sound = true;
        chosen.wanted.retain(|(_, name)| match file_schema.get(name.as_str()).map(|field| &field.dtype) {
            Some(dtype) if is_readable(dtype) => true,
            Some(dtype) => {
                sound = false;
                let value = type_in_words(dtype);
                faults.add(table, 1, name, value, format_args!("a column of text, numbers, dates or true/false"));
                false
            }
            None => false,
        });
        let mut base = (*description).clone();
        base.row_groups.clear();
        Ok(Self {
            path: path.to_owned(),
            name: table.to_owned(),
            base,
            description,
            columns: chosen.wanted.into_iter().map(|(_, name)| name).collect(),
            sound,
            left_out: chosen.left_out,
        })
    }

    /// How many row groups the file has.
    pub(crate) fn groups(&self) -> usize {
        self.description.row_groups.len()
    }

    /// One row group. `None`: it cannot be read; the fault says why.
    // the type of a row group has no name outside polars
    #[allow(clippy::redundant_closure_for_method_calls)]
    pub(crate) fn group(&self, group: usize, faults: &mut FaultList) -> Option<Grid> {
        let before = self.description.row_groups.iter().take(group);
        let first_row = FIRST_ROW + before.map(|group| group.num_rows()).sum::<usize>();
        let mut only = self.base.clone();
        only.row_groups.extend(self.description.row_groups.get(group).cloned());
        only.num_rows = only.row_groups.iter().map(|group| group.num_rows()).sum();
        // other threads have groups of their own
        self.grid(Arc::new(only), first_row, ParallelStrategy::None, faults)
    }

    fn whole(&self, faults: &mut FaultList) -> Option<Grid> {
        self.grid(self.description.clone(), FIRST_ROW, ParallelStrategy::Auto, faults)
    }

    fn grid(
        &self,
        part: FileMetadataRef,
        first_row: usize,
        parallel: ParallelStrategy,
        faults: &mut FaultList,
    ) -> Option<Grid> {
        let mut read = unbroken(|| self.decoded(part.clone(), first_row, parallel));
        if read.is_err() && parallel != ParallelStrategy::None {
            // of several faults the first column's is told, whichever thread found one first
            read = unbroken(|| self.decoded(part, first_row, ParallelStrategy::None));
        }
        read.map_err(|why| unreadable(&self.name, &why, faults)).ok()
    }

    fn decoded(&self, part: FileMetadataRef, first_row: usize, parallel: ParallelStrategy) -> Result<Grid, String> {
        let grid = |columns, height| Grid {
            name: self.name.clone(),
            columns,
            height,
            first_row,
            rows: None,
            whole: self.sound && !self.columns.is_empty(),
            left_out: self.left_out.clone(),
        };
        if self.columns.is_empty() {
            return Ok(grid(Vec::new(), 0));
        }
        let file = File::open(&self.path).map_err(|error| error.to_string())?;
        // no page is decoded before the headers of all are found to agree with the description
        for group in &part.row_groups {
            for name in &self.columns {
                for column in group.columns_under_root_iter(name).into_iter().flatten() {
                    let [values, unpacked] = [column.num_values(), column.uncompressed_size()].map(u64::try_from);
                    let (Ok(values), Ok(unpacked)) = (values, unpacked) else { return Err("damaged".to_owned()) };
                    let chunk = ColumnChunk { bytes: column.byte_range(), values, unpacked };
                    if values != group.num_rows() as u64 {
                        return Err("damaged".to_owned());
                    }
                    judge(&file, &chunk).map_err(|fault| fault.to_string())?;
                }
            }
        }
        let height = part.num_rows;
        let mut reader = ParquetReader::new(file)
            .with_columns(Some(self.columns.clone()))
            .read_parallel(parallel)
            .set_rechunk(true);
        reader.set_metadata(part);
        let frame = reader.finish().map_err(|error| error.to_string())?;
        let mut columns = Vec::with_capacity(self.columns.len());
        for name in &self.columns {
            let column = frame.column(name).map_err(|error| error.to_string())?;
            // pages that say another number of values than the description
            if column.len() != height {
                return Err("damaged".to_owned());
            }
            let cells = cells(column).map_err(|_| format!("{name}: a number that is too large for a table"))?;
            columns.push((name.clone(), cells));
        }
        Ok(grid(columns, frame.height()))
    }
}

fn unreadable(table: &str, why: &str, faults: &mut FaultList) {
    faults.add(table, 0, "", why, format_args!("a Parquet file that can be read"));
}

/// Whether a column of this type can be read (types that the polars build lacks would make it panic).
pub(crate) fn is_readable(dtype: &ArrowDataType) -> bool {
    use ArrowDataType as T;
    matches!(
        dtype,
        T::Null
            | T::Boolean
            | T::Int8
            | T::Int16
            | T::Int32
            | T::Int64
            | T::UInt8
            | T::UInt16
            | T::UInt32
            | T::UInt64
            | T::Float32
            | T::Float64
            | T::Utf8
            | T::LargeUtf8
            | T::Utf8View
            | T::Date32
            | T::Timestamp(_, None)
    )
}

/// What a column of a type that is not read holds, in words.
pub(crate) fn type_in_words(dtype: &ArrowDataType) -> &'static str {
    use ArrowDataType as T;
    match dtype {
        T::Dictionary(..) => "encoded categories (write them as text)",
        T::Decimal(..) | T::Decimal32(..) | T::Decimal64(..) | T::Decimal256(..) => {
            "decimals of fixed places (write them as 64-bit numbers)"
        }
        T::Float16 => "16-bit numbers (write them as 64-bit numbers)",
        T::Int128 | T::UInt128 => "128-bit numbers (write them as 64-bit numbers)",
        T::Date64 => "days counted in milliseconds (write them as dates)",
        T::Timestamp(..) => "times with a zone (write them as dates)",
        T::Time32(_) | T::Time64(_) => "times of day",
        T::Duration(_) | T::Interval(_) => "lengths of time",
        T::Binary | T::LargeBinary | T::FixedSizeBinary(_) | T::BinaryView => "bytes (write them as text)",
        T::List(_) | T::LargeList(_) | T::FixedSizeList(..) | T::Struct(_) | T::Map(..) => "nested values",
        _ => "values of a kind that tables do not have",
    }
}

pub(crate) fn cells(column: &Column) -> PolarsResult<Cells> {
    let series = column.as_materialized_series();
    let cast = |dtype: &DataType| series.strict_cast(dtype).map(|series| series.rechunk());
    Ok(match series.dtype() {
        DataType::String => Cells::Text(series.rechunk().str()?.clone()),
        DataType::Boolean => Cells::Truth(series.rechunk().bool()?.clone()),
        DataType::Null => Cells::Empty,
        DataType::Date => Cells::Day(cast(&DataType::Int64)?.i64()?.clone()),
        DataType::Datetime(_, _) => {
            let ms = cast(&DataType::Datetime(TimeUnit::Milliseconds, None))?;
            let ms = ms.strict_cast(&DataType::Int64)?;
            Cells::Day(ms.i64()?.apply_values(|ms| ms.div_euclid(MS_PER_DAY)).rechunk().into_owned())
        }
        dtype if dtype.is_float() => Cells::Number(cast(&DataType::Float64)?.f64()?.clone()),
        _ => Cells::Count(cast(&DataType::Int64)?.i64()?.clone()),
    })
}

#[cfg(test)]
mod tests {
    use polars::prelude::{DataFrame, NamedFrom, ParquetWriter, Series};

    use super::*;
    use crate::fleet::read::cell::{Cell, Limit};
    use crate::fleet::schema::{CHECKS, WINGS};

    fn write(columns: Vec<Series>, path: &Path) {
        let mut frame = DataFrame::new_infer_height(columns.into_iter().map(Column::from).collect()).unwrap();
        ParquetWriter::new(File::create(path).unwrap()).finish(&mut frame).unwrap();
    }

    #[test]
    fn numbers_of_any_width_days_and_truth_values_are_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("checks.parquet");
        let day = Series::new("date".into(), [19_207_i32, 0]).cast(&DataType::Date).unwrap();
        let whole = Series::new("x".into(), [3_i64, 4]);
        for dtype in [
            DataType::Int8,
            DataType::Int16,
            DataType::Int32,
            DataType::Int64,
            DataType::UInt8,
            DataType::UInt16,
            DataType::UInt32,
            DataType::UInt64,
            DataType::Float32,
            DataType::Float64,
            DataType::String,
        ] {
            let of = |name: &str| whole.cast(&dtype).unwrap().with_name(name.into());
            let stamp = |unit| day.cast(&DataType::Datetime(unit, None)).unwrap();
            for date in [day.clone(), stamp(TimeUnit::Milliseconds), stamp(TimeUnit::Nanoseconds)] {
                let empty = Series::new_null("stage".into(), 2);
                let other = Series::new_null("colour".into(), 2);
                write(vec![of("check"), of("wing"), date, of("hours"), empty, other], &path);
                let mut faults = FaultList::default();
                let grid = read_parquet(&path, "checks", CHECKS, &[], &mut faults).unwrap();
                assert!(faults.is_empty(), "{dtype} {faults}");
                assert_eq!(grid.left_out, ["colour"]);
                let cell = |name, at| grid.column(name).unwrap().get(at);
                assert_eq!(cell("check", 0).unwrap().text(), "3", "{dtype}");
                assert_eq!(cell("hours", 1).unwrap().number(Limit::Any), Ok(4.0), "{dtype}");
                assert_eq!(cell("date", 0).unwrap().day().unwrap().to_string(), "2022-08-03", "{dtype}");
                assert_eq!(cell("date", 1).unwrap().day().unwrap().to_string(), "1970-01-01");
                assert_eq!(cell("stage", 0), None);
            }
        }
    }

    #[test]
    fn other_types_are_faults_by_column() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("wings.parquet");
        let odd = Series::new("model".into(), [1_i64, 2]).cast(&DataType::Duration(TimeUnit::Milliseconds)).unwrap();
        let truth = Series::new("mass_kg".into(), [true, false]);
        write(vec![Series::new("wing".into(), ["a", "b"]), odd, truth], &path);
        let mut faults = FaultList::default();
        let grid = read_parquet(&path, "wings", WINGS, &[], &mut faults).unwrap();
        assert_eq!(faults.faults().len(), 1, "{faults}");
        assert_eq!((faults.faults()[0].row, faults.faults()[0].column.as_str()), (1, "model"));
        assert!(!grid.whole);
        assert_eq!(grid.column("mass_kg").unwrap().get(0), Some(Cell::Truth(true)));
        assert!(Cell::Truth(true).number(Limit::Any).is_err());
    }
}
