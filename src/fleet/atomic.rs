//! Files that are written whole or not at all.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use thiserror::Error;

use crate::simulate::SimulateError;

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
    /// An invented fleet could not be made.
    #[error(transparent)]
    Simulate(#[from] SimulateError),
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
/// renamed. On an error the temporary file is removed and an existing file stays as it was. A link is followed; what is
/// no file (a folder, a device) is left alone.
///
/// # Errors
/// [`FleetWriteError::Io`] with the path and what the system said.
pub fn write_atomic(path: &Path, bytes: &[u8]) -> Result<(), FleetWriteError> {
    StagedFile::new(path, bytes)?.commit()
}

/// The same for what is too long to be held: `fill` writes it piece by piece.
///
/// # Errors
/// As [`write_atomic`].
pub fn write_atomic_by(
    path: &Path,
    fill: impl FnOnce(&mut dyn Write) -> std::io::Result<()>,
) -> Result<(), FleetWriteError> {
    StagedFile::filled(path, fill)?.commit()
}

/// A file that is written and flushed under a temporary name beside the one that it is to replace. Dropped without
/// [`StagedFile::commit`], it is removed.
#[derive(Debug)]
pub(super) struct StagedFile {
    path: PathBuf,
    /// The same, through any link: the file that is renamed over.
    target: PathBuf,
    temporary: PathBuf,
    waits: bool,
}

impl StagedFile {
    pub(super) fn new(path: &Path, bytes: &[u8]) -> Result<Self, FleetWriteError> {
        Self::filled(path, |file| file.write_all(bytes))
    }

    fn filled(
        path: &Path,
        write: impl FnOnce(&mut dyn Write) -> std::io::Result<()>,
    ) -> Result<Self, FleetWriteError> {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let failed = |source| FleetWriteError::Io { path: path.to_owned(), source };
        let target = target_of(path).map_err(failed)?;
        let Some(name) = target.file_name() else {
            return Err(failed(std::io::Error::new(std::io::ErrorKind::InvalidInput, "not the name of a file")));
        };
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = format!(".{}.{}-{count}.tmp", name.to_string_lossy(), std::process::id());
        let temporary = target.with_file_name(name);
        let staged = Self { path: path.to_owned(), target, temporary, waits: true };
        fill(&staged.temporary, &staged.target, write).map_err(failed)?;
        Ok(staged)
    }

    /// The file that it is to replace.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Where it stands until then.
    pub(super) fn temporary(&self) -> &Path {
        &self.temporary
    }

    /// Leaves it where it is when this is dropped: something else will put it in its place.
    pub(super) fn keep(&mut self) {
        self.waits = false;
    }

    /// Puts it in its place.
    pub(super) fn commit(mut self) -> Result<(), FleetWriteError> {
        fs::rename(&self.temporary, &self.target)
            .map_err(|source| FleetWriteError::Io { path: self.path.clone(), source })?;
        self.waits = false;
        if let Some(folder) = self.target.parent() {
            sync_folder(folder);
        }
        Ok(())
    }
}

impl Drop for StagedFile {
    fn drop(&mut self) {
        if self.waits {
            // nothing more can be done about a temporary file that cannot be removed
            let _ = fs::remove_file(&self.temporary);
        }
    }
}

/// Flushes the names in a folder to the disk, where the system can; where it cannot, the renaming is still whole.
pub(super) fn sync_folder(folder: &Path) {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    if let Ok(opened) = File::open(folder) {
        let _ = opened.sync_all();
    }
}

/// The file that a path leads to. Renaming over a link would put a file in its place, and over a device take that away.
fn target_of(path: &Path) -> std::io::Result<PathBuf> {
    let target = if path.is_symlink() { fs::canonicalize(path)? } else { path.to_owned() };
    match fs::metadata(&target) {
        Ok(about) if !about.is_file() => Err(std::io::Error::new(std::io::ErrorKind::InvalidInput, "not a file")),
        _ => Ok(target),
    }
}

fn fill(
    temporary: &Path,
    path: &Path,
    write: impl FnOnce(&mut dyn Write) -> std::io::Result<()>,
) -> std::io::Result<()> {
    let mut buffered = BufWriter::new(File::create_new(temporary)?);
    write(&mut buffered)?;
    let file = buffered.into_inner().map_err(std::io::IntoInnerError::into_error)?;
    if let Ok(before) = fs::metadata(path) {
        file.set_permissions(before.permissions())?;
    }
    file.sync_all()
}
