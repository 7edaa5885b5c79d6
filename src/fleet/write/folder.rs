//! Writing a fleet as a folder of tables.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use super::atomic::{FleetWriteError, StagedFile, made_beside, sync_folder};
use super::lock::FolderLock;
use super::output_gate::is_own;
use super::pending::Pending;
use super::rows::{is_written, readings, short_tables};
use super::table::{Cells, Table, TableFormat, stage, stage_frame};
use crate::check::Fleet;
use crate::fleet::schema::{ACTIONS, READINGS};

/// Writes the tables of a fleet into a folder, which is made where it is missing. Reading the folder back gives an equal
/// fleet, provided that each line set is followed by a wing and that the fleet is not marked as the demo.
///
/// Optional tables are written where there is something to say; an optional table of an earlier fleet in the same
/// folder, and its readings in another format, are removed, so that old and new never mix: all tables are written beside the
/// old ones first, and a process that is stopped while they are put in place is completed by the next reader or writer.
/// The folder is locked meanwhile, as by [`FolderLock::take`].
///
/// # Errors
/// [`FleetWriteError`] when the file system refuses, another process is at work in the folder, the tables have no place for
/// what the fleet says, or the folder holds recorded `actions` and the fleet has none.
pub fn write_folder(fleet: &Fleet, folder: &Path, format: TableFormat) -> Result<(), FleetWriteError> {
    let tables = short_tables(fleet)?;
    if folder.join(READINGS.name).is_dir() {
        return Err(FleetWriteError::Table {
            table: READINGS.name.to_owned(),
            why: "the folder holds readings in parts, in `readings/`; write to another folder".to_owned(),
        });
    }
    fs::create_dir_all(folder).map_err(|source| FleetWriteError::Io { path: folder.to_owned(), source })?;
    let _lock = FolderLock::take(folder)?;
    put_tables(fleet, tables, folder, format)
}

/// Writes the tables of a fleet into a folder that is locked, or that nobody knows of yet.
fn put_tables(fleet: &Fleet, tables: [Table; 10], folder: &Path, format: TableFormat) -> Result<(), FleetWriteError> {
    let (mut staged, mut stale) = (Vec::new(), Vec::new());
    for table in tables {
        let name = table.name.clone();
        let written = stage_if_said(table, folder, format)?;
        let old = stale_files(folder, &name, written.is_some().then_some(format));
        if let Some(kept) = old.iter().find(|file| name == ACTIONS.name && !is_own(folder, file)) {
            return Err(FleetWriteError::Actions { path: folder.join(kept) });
        }
        stale.extend(old);
        staged.extend(written);
    }
    staged.push(stage_frame(READINGS.name, readings(fleet), folder, format)?);
    stale.extend(stale_files(folder, READINGS.name, Some(format)));
    Pending::commit(folder, staged, stale)
}

/// Writes a table without its empty optional columns under a temporary name, an optional one only if it has a row.
fn stage_if_said(table: Table, folder: &Path, format: TableFormat) -> Result<Option<StagedFile>, FleetWriteError> {
    if !is_written(&table) {
        return Ok(None);
    }
    stage(&table.without_empty(), folder, format, Cells::Exact).map(Some)
}

/// The same, put in its place; says whether it was written.
pub(crate) fn write_if_said(table: Table, folder: &Path, format: TableFormat) -> Result<bool, FleetWriteError> {
    let staged = stage_if_said(table, folder, format)?;
    let is_written = staged.is_some();
    staged.map_or(Ok(()), StagedFile::commit)?;
    Ok(is_written)
}

/// Writes a fleet into a folder that is not there yet (or is empty): whole, or not at all.
///
/// # Errors
/// [`FleetWriteError`] when the folder holds something, the file system refuses, or the tables have no place for what the
/// fleet says.
pub fn write_new_folder(fleet: &Fleet, folder: &Path, format: TableFormat) -> Result<(), FleetWriteError> {
    let tables = short_tables(fleet)?;
    in_new_folder(folder, |temporary| put_tables(fleet, tables, temporary, format))
}

/// Fills a folder under a temporary name, then gives it its own.
pub(crate) fn in_new_folder<T>(
    folder: &Path,
    fill: impl FnOnce(&Path) -> Result<T, FleetWriteError>,
) -> Result<T, FleetWriteError> {
    let failed = |source| FleetWriteError::Io { path: folder.to_owned(), source };
    if folder.file_name().is_none() {
        return Err(failed(ErrorKind::InvalidInput.into()));
    }
    if folder.exists() {
        // only an empty folder can be removed so
        fs::remove_dir(folder).map_err(failed)?;
    }
    let parent = folder.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    fs::create_dir_all(parent).map_err(failed)?;
    // nothing that is there already: it may be another's, or half of what another left
    let (temporary, ()) = made_beside(folder, |path| fs::create_dir(path)).map_err(failed)?;
    let written = fill(&temporary).and_then(|filled| {
        sync_folder(&temporary);
        fs::rename(&temporary, folder).map_err(failed)?;
        Ok(filled)
    });
    if written.is_err() {
        // what is left of it is of no use
        let _ = fs::remove_dir_all(&temporary);
    }
    sync_folder(parent);
    written
}

/// A table's files in other formats than the one that is written.
fn stale_files(folder: &Path, table: &str, written: Option<TableFormat>) -> Vec<String> {
    [TableFormat::Csv, TableFormat::Parquet]
        .into_iter()
        .filter(|format| Some(*format) != written)
        .map(|format| format!("{table}.{}", format.ending()))
        .filter(|name| folder.join(name).exists())
        .collect()
}
