//! The files of one part.

use std::fs;
use std::path::{Path, PathBuf};

use super::BatchError;
use super::fingerprint::Fingerprint;
use super::manifest::{Part, PartFile};
use crate::fleet::write::table::{Cells, encode};
use crate::fleet::{FleetWriteError, Table, TableFormat, write_atomic};

/// Where the file of a part of a table stands: `TABLE/part-00000.parquet`.
pub(super) fn place(folder: &Path, table: &str, part: usize) -> PathBuf {
    folder.join(table).join(format!("part-{part:05}.parquet"))
}

fn failed(path: &Path) -> impl FnOnce(std::io::Error) -> BatchError {
    let path = path.to_owned();
    move |source| BatchError::Write(FleetWriteError::Io { path, source })
}

/// Writes one table of a part.
pub(super) fn write(folder: &Path, table: &Table, part: usize) -> Result<PartFile, BatchError> {
    let path = place(folder, &table.name, part);
    if let Some(above) = path.parent() {
        fs::create_dir_all(above).map_err(failed(above))?;
    }
    let bytes = encode(table, TableFormat::Parquet, Cells::Exact)?;
    write_atomic(&path, &bytes)?;
    let rows = table.columns.first().map_or(0, |column| column.data.len());
    Ok(PartFile { table: table.name.clone(), rows, bytes: bytes.len(), hash: Fingerprint::of_bytes(&bytes) })
}

/// Whether every file of a part stands as it was written.
pub(super) fn is_whole(folder: &Path, part: &Part, tables: &[String]) -> bool {
    part.files.iter().map(|file| &file.table).eq(tables)
        && part.files.iter().all(|file| {
            let path = place(folder, &file.table, part.number);
            // the length first: it costs nothing
            fs::metadata(&path).is_ok_and(|about| about.len() == file.bytes as u64)
                && fs::read(&path).is_ok_and(|bytes| Fingerprint::of_bytes(&bytes) == file.hash)
        })
}

/// Removes what an interrupted run left half-written: hidden files of ours that end in `.tmp`.
pub(super) fn sweep(folder: &Path, begins: &str) -> Result<(), BatchError> {
    for name in names(folder)? {
        if name.starts_with(begins) && Path::new(&name).extension().is_some_and(|ending| ending == "tmp") {
            let path = folder.join(name);
            fs::remove_file(&path).map_err(failed(&path))?;
        }
    }
    Ok(())
}

/// Parts of a table that are in the folder, as file names.
pub(super) fn standing(folder: &Path, table: &str) -> Result<Vec<String>, BatchError> {
    let ours = |name: &String| name.starts_with("part-") && name.ends_with(".parquet");
    Ok(names(&folder.join(table))?.into_iter().filter(ours).collect())
}

/// Removes the parts of a table that are in the folder.
pub(super) fn remove(folder: &Path, table: &str) -> Result<(), BatchError> {
    for name in standing(folder, table)? {
        let path = folder.join(table).join(name);
        fs::remove_file(&path).map_err(failed(&path))?;
    }
    Ok(())
}

/// The files of a folder, by name; none where there is no folder.
fn names(folder: &Path) -> Result<Vec<String>, BatchError> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(failed(folder))? {
        names.push(entry.map_err(failed(folder))?.file_name().to_string_lossy().into_owned());
    }
    names.sort();
    Ok(names)
}
