//! Files that are written whole or not at all.

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use thiserror::Error;

/// Why a table or file could not be written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum FleetWriteError {
    /// The file system refused.
    #[error("could not write {}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// A table could not be put into its format.
    #[error("could not write table `{table}`: {why}")]
    Table {
        /// The table.
        table: String,
        /// Why.
        why: String,
    },
    /// The fleet says something that the tables have no place for.
    #[error("table `{table}` cannot hold `{what}`: {why}")]
    NotRepresentable {
        /// The table.
        table: &'static str,
        /// The model, line or segment.
        what: String,
        /// Why.
        why: &'static str,
    },
}

/// Writes a file so that it is there whole or not at all: a temporary file in the same folder, flushed to the disk, then
/// renamed. On an error the temporary file is removed and an existing file stays as it was.
///
/// # Errors
/// [`FleetWriteError::Io`] with the path and what the system said.
pub fn write_atomic(path: &Path, bytes: &[u8]) -> Result<(), FleetWriteError> {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let failed = |source| FleetWriteError::Io { path: path.to_owned(), source };
    let Some(name) = path.file_name() else {
        return Err(failed(std::io::Error::new(std::io::ErrorKind::InvalidInput, "not the name of a file")));
    };
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let name = format!(".{}.{}-{count}.tmp", name.to_string_lossy(), std::process::id());
    let temporary = path.with_file_name(name);
    let written = fill(&temporary, bytes).and_then(|()| fs::rename(&temporary, path));
    written.map_err(|source| {
        // nothing more can be done about a temporary file that cannot be removed
        let _ = fs::remove_file(&temporary);
        failed(source)
    })
}

fn fill(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = File::create_new(path)?;
    file.write_all(bytes)?;
    file.flush()?;
    file.sync_all()
}
