//! Invented fleets written as they are drawn.

use std::fs;
use std::path::Path;

use polars::prelude::{Column, DataFrame, ParquetWriter, PolarsError};
use rayon::prelude::*;
use serde::Serialize;

use super::atomic::{FleetWriteError, sync_folder, write_atomic};
use super::folder::{in_new_folder, write_if_said};
use super::rows::{model_tables, readings, wing_tables};
use super::table::{TableFormat, series, stage_frame};
use crate::fleet::read::parquet_checksums::with_checksums;
use crate::fleet::schema::{READINGS, TableSchema};
use crate::simulate::FleetSpec;

/// Wings in one file of readings: some 400,000 readings, which is one row group or two.
const WINGS_PER_FILE: usize = 1000;

/// How much was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct WrittenFleet {
    /// Wings.
    pub wings: usize,
    /// Checks.
    pub checks: usize,
    /// Readings.
    pub readings: usize,
}

/// What `truth.json` holds: the effects of single wings would be longer than the readings.
#[derive(Serialize)]
struct Settings<'a> {
    spec: &'a FleetSpec,
}

/// Rows of a small table, held as columns, which take a third of what a table of cells takes.
struct TableRows {
    name: String,
    frame: DataFrame,
}

/// One file of readings is written; this is what the small tables get of its wings.
struct PartTables {
    tables: Vec<TableRows>,
    checks: usize,
    readings: usize,
}

/// Invents a fleet and writes it, as Parquet, into a folder that is not there yet (or is empty): whole, or not at all.
/// Readings go to `readings/part-00000.parquet` and so on, 1,000 wings a file, and each file is written as soon as its wings
/// are drawn, so that only as many files as there are threads are in memory at a time, and the rows of the other tables. The
/// fleet is that of [`FleetSpec::run`], for any number of threads. `truth.json` holds the settings; what was drawn for
/// single wings is not kept, [`FleetSpec::run_part`] draws it again.
///
/// # Errors
/// [`FleetWriteError`] when the settings are out of range, the folder holds something, or the file system refuses (a disk
/// that is full, say); nothing is left behind then.
pub fn write_simulated(spec: &FleetSpec, folder: &Path) -> Result<WrittenFleet, FleetWriteError> {
    in_new_folder(folder, |folder| write_parts(spec, WINGS_PER_FILE, folder))
}

fn write_parts(spec: &FleetSpec, wings_per_file: usize, folder: &Path) -> Result<WrittenFleet, FleetWriteError> {
    let parts_folder = folder.join(READINGS.name);
    fs::create_dir_all(&parts_folder).map_err(|source| FleetWriteError::Io { path: parts_folder.clone(), source })?;
    for table in model_tables(&spec.run_part(0..0)?.fleet)? {
        write_if_said(table, folder, TableFormat::Parquet)?;
    }
    let wings = spec.wing_count();
    let parts: Vec<usize> = (0..wings.div_ceil(wings_per_file)).collect();
    let mut written = WrittenFleet { wings, checks: 0, readings: 0 };
    let mut tables: Vec<TableRows> = Vec::new();
    for wave in parts.chunks(rayon::current_num_threads().max(1)) {
        let drawn: Vec<Result<PartTables, FleetWriteError>> =
            wave.par_iter().map(|part| write_part(spec, *part, wings_per_file, &parts_folder)).collect();
        for part in drawn {
            let part = part?;
            written.checks += part.checks;
            written.readings += part.readings;
            for table in part.tables {
                match tables.iter_mut().find(|known| known.name == table.name) {
                    Some(known) => {
                        known.frame.vstack_mut(&table.frame).map_err(|error| unwritable(&known.name, &error))?;
                    }
                    None => tables.push(table),
                }
            }
        }
    }
    for TableRows { name, frame } in tables {
        let schema = TableSchema::named(&name);
        let is_required = |name: &str| schema.is_some_and(|schema| schema.required().any(|known| known == name));
        let said = |column: &Column| is_required(column.name()) || column.null_count() < column.len();
        if schema.is_some_and(|schema| schema.is_needed()) || frame.height() > 0 {
            let columns: Vec<Column> = frame.columns().iter().filter(|column| said(column)).cloned().collect();
            stage_frame(&name, columns, folder, TableFormat::Parquet)?.commit()?;
        }
    }
    let path = folder.join("truth.json");
    let truth = serde_json::to_string_pretty(&Settings { spec })
        .map_err(|error| FleetWriteError::Io { path: path.clone(), source: error.into() })?;
    write_atomic(&path, format!("{truth}\n").as_bytes())?;
    sync_folder(&parts_folder);
    Ok(written)
}

fn write_part(
    spec: &FleetSpec,
    part: usize,
    wings_per_file: usize,
    folder: &Path,
) -> Result<PartTables, FleetWriteError> {
    let first = part * wings_per_file;
    let fleet = spec.run_part(first..first + wings_per_file)?.fleet;
    let path = folder.join(format!("part-{part:05}.parquet"));
    let failed = |error: PolarsError| unwritable(READINGS.name, &error);
    let mut frame = DataFrame::new_infer_height(readings(&fleet)).map_err(failed)?;
    let mut bytes = Vec::new();
    // the parts are what runs in parallel
    ParquetWriter::new(&mut bytes).set_parallel(false).finish(&mut frame).map_err(failed)?;
    write_atomic(&path, &with_checksums(bytes))?;
    let checks = || fleet.histories().iter().flat_map(|history| &history.checks);
    Ok(PartTables {
        checks: checks().count(),
        readings: checks().map(|check| check.readings.len()).sum(),
        tables: wing_tables(&fleet)
            .into_iter()
            .map(|table| {
                let columns = table.columns.iter().map(|column| series(column, false)).collect();
                let frame = DataFrame::new_infer_height(columns);
                let frame = frame.map_err(|error| unwritable(&table.name, &error))?;
                Ok(TableRows { name: table.name, frame })
            })
            .collect::<Result<_, FleetWriteError>>()?,
    })
}

fn unwritable(table: &str, error: &PolarsError) -> FleetWriteError {
    FleetWriteError::Table { table: table.to_owned(), why: error.to_string() }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::fleet::FolderSpec;

    /// Every file below a folder.
    fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
        let mut found = BTreeMap::new();
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if path.is_dir() {
                found.extend(files(&path).into_iter().map(|(inner, bytes)| (format!("{name}/{inner}"), bytes)));
            } else {
                found.insert(name, fs::read(&path).unwrap());
            }
        }
        found
    }

    #[test]
    fn the_fleet_in_parts_is_the_fleet_for_any_number_of_threads() {
        let spec = FleetSpec::demo().wings(23).adjusted_share(0.5).repeats(2).seed(11);
        let whole = spec.run().unwrap().fleet;
        let mut first: Option<BTreeMap<String, Vec<u8>>> = None;
        for threads in [1, 2, 4] {
            let folder = tempfile::tempdir().unwrap();
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let written = pool.install(|| write_parts(&spec, 5, folder.path())).unwrap();
            let found = files(folder.path());
            assert_eq!(found.keys().filter(|name| name.starts_with("readings/")).count(), 5);
            assert_eq!(FolderSpec::default().read(folder.path()).unwrap().fleet, whole);
            let readings = whole.histories().iter().flat_map(|history| &history.checks);
            assert_eq!(written.readings, readings.map(|check| check.readings.len()).sum::<usize>());
            match &first {
                Some(first) => assert!(*first == found, "{threads} threads give other bytes"),
                None => first = Some(found),
            }
        }
    }

    #[test]
    fn what_is_there_stays_and_nothing_is_left_of_what_fails() {
        let spec = FleetSpec::default().wings(2);
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("fleet");
        fs::create_dir(&target).unwrap();
        fs::write(target.join("mine.txt"), "mine").unwrap();
        assert!(matches!(write_simulated(&spec, &target), Err(FleetWriteError::Io { .. })));
        assert_eq!(files(folder.path()).into_keys().collect::<Vec<_>>(), ["fleet/mine.txt"]);
        fs::remove_file(target.join("mine.txt")).unwrap();
        let wrong = spec.clone().missing_share(2.0);
        assert!(matches!(write_simulated(&wrong, &target), Err(FleetWriteError::Simulate(_))));
        assert_eq!(files(folder.path()).len(), 0);
        write_simulated(&spec, &target).unwrap();
        assert!(files(folder.path()).contains_key("fleet/readings/part-00000.parquet"));
    }
}
