//! Files that a user names beside a fleet: lists of steps, materials, stations or actions, settings, sheets.

use std::fs::File;
use std::io::{Error, ErrorKind, Read, Result};
use std::path::Path;

use super::csv::read_csv;
use super::fault::{FaultList, FleetReadError};
use super::grid::Grid;
use crate::fleet::schema::TableSchema;

/// Most bytes that are read from what is no file, such as a pipe: a device may have no end.
const MOST_PIPED: u64 = 64 << 20;

/// The bytes of a file, or of a pipe.
///
/// # Errors
/// What the system says, and more than 64 MB from what is no file.
pub fn read_user_file(path: &Path) -> Result<Vec<u8>> {
    let mut file = File::open(path)?;
    let mut bytes = Vec::new();
    if file.metadata()?.is_file() {
        file.read_to_end(&mut bytes)?;
        return Ok(bytes);
    }
    file.take(MOST_PIPED + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > MOST_PIPED {
        return Err(Error::new(ErrorKind::InvalidData, format!("no file, and more than {} MB", MOST_PIPED >> 20)));
    }
    Ok(bytes)
}

/// Reads a list from a CSV file; `read` notes what is wrong with its records.
pub(crate) fn read_list<T>(
    file: &Path,
    schema: TableSchema,
    read: impl FnOnce(&Grid, &mut FaultList) -> T,
) -> std::result::Result<T, FleetReadError> {
    let mut faults = FaultList::default();
    let grid = match read_user_file(file) {
        Ok(bytes) => read_csv(&bytes, schema, &[], &mut faults),
        Err(error) => {
            let found = format!("{}: {error}", file.display());
            faults.add(schema.name, 0, "", found, format_args!("a CSV file that can be read"));
            None
        }
    };
    match grid.map(|grid| read(&grid, &mut faults)) {
        Some(list) if faults.is_empty() => Ok(list),
        _ => Err(FleetReadError::Faulty(faults)),
    }
}
