//! Invented fleets written as they are drawn.

use std::fs;
use std::path::Path;

use polars::prelude::{DataFrame, ParquetWriter};
use rayon::prelude::*;
use serde::Serialize;

use super::atomic::{FleetWriteError, sync_folder, write_atomic};
use super::folder_out::{in_new_folder, model_tables, readings, wing_tables, write_if_said};
use super::schema::READINGS;
use super::table::{Table, TableFormat, refused};
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

/// One file of readings is written; this is what the small tables get of its wings.
struct PartTables {
    tables: Vec<Table>,
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
    in_new_folder(folder, |folder| write_parts(spec, folder))
}

fn write_parts(spec: &FleetSpec, folder: &Path) -> Result<WrittenFleet, FleetWriteError> {
    let parts_folder = folder.join(READINGS.name);
    fs::create_dir_all(&parts_folder).map_err(|source| FleetWriteError::Io { path: parts_folder.clone(), source })?;
    for table in model_tables(&spec.run_part(0..0)?.fleet)? {
        write_if_said(table, folder, TableFormat::Parquet)?;
    }
    let wings = spec.wing_count();
    let parts: Vec<usize> = (0..wings.div_ceil(WINGS_PER_FILE)).collect();
    let mut written = WrittenFleet { wings, checks: 0, readings: 0 };
    let mut tables: Vec<Table> = Vec::new();
    for wave in parts.chunks(rayon::current_num_threads().max(1)) {
        let drawn: Vec<Result<PartTables, FleetWriteError>> =
            wave.par_iter().map(|part| write_part(spec, *part, &parts_folder)).collect();
        for part in drawn {
            let part = part?;
            written.checks += part.checks;
            written.readings += part.readings;
            for table in part.tables {
                match tables.iter_mut().find(|known| known.name == table.name) {
                    Some(known) => known.append(table),
                    None => tables.push(table),
                }
            }
        }
    }
    for table in tables {
        write_if_said(table, folder, TableFormat::Parquet)?;
    }
    let path = folder.join("truth.json");
    let truth = serde_json::to_string_pretty(&Settings { spec })
        .map_err(|error| FleetWriteError::Io { path: path.clone(), source: error.into() })?;
    write_atomic(&path, format!("{truth}\n").as_bytes())?;
    sync_folder(&parts_folder);
    Ok(written)
}

fn write_part(spec: &FleetSpec, part: usize, folder: &Path) -> Result<PartTables, FleetWriteError> {
    let first = part * WINGS_PER_FILE;
    let fleet = spec.run_part(first..first + WINGS_PER_FILE)?.fleet;
    let path = folder.join(format!("part-{part:05}.parquet"));
    let failed = |error| refused(error, READINGS.name, &path);
    let mut frame = DataFrame::new_infer_height(readings(&fleet)).map_err(failed)?;
    let mut bytes = Vec::new();
    // the parts are what runs in parallel
    ParquetWriter::new(&mut bytes).set_parallel(false).finish(&mut frame).map_err(failed)?;
    write_atomic(&path, &bytes)?;
    let checks = || fleet.histories().iter().flat_map(|history| &history.checks);
    Ok(PartTables {
        checks: checks().count(),
        readings: checks().map(|check| check.readings.len()).sum(),
        tables: wing_tables(&fleet),
    })
}
