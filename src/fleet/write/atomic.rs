//! Files that are written whole or not at all.

use std::fs::{self, File};
use std::io::{BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use thiserror::Error;

use crate::simulate::SimulateError;

/// Temporary names that this process has used.
static COUNT: AtomicU64 = AtomicU64::new(0);
/// Names that are tried before the file system is taken at its word that all are there.
const MOST_TRIES: usize = 10_000;

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
    /// The file system refused to read.
    #[error("could not read {}: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// Adjustments that somebody recorded would be lost.
    #[error("{} holds recorded adjustments that the new tables do not: move it away first", path.display())]
    Actions {
        /// The table.
        path: PathBuf,
    },
    /// A table could not be put into its format.
    #[error("could not write table `{table}`: {why}")]
    Table {
        /// The table.
        table: String,
        /// Why.
        why: String,
    },
    /// Another process is at work in the folder, or on the same round.
    #[error(
        "another process{} is at work here and holds the lock on {}: wait until it is done, or end it there",
        if holder.is_empty() { String::new() } else { format!(" (number {holder})") },
        path.display()
    )]
    Locked {
        /// The file that is locked.
        path: PathBuf,
        /// Number of the process, where known.
        holder: String,
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
pub(crate) struct StagedFile {
    path: PathBuf,
    /// The same, through any link: the file that is renamed over.
    target: PathBuf,
    temporary: PathBuf,
    waits: bool,
}

impl StagedFile {
    pub(crate) fn new(path: &Path, bytes: &[u8]) -> Result<Self, FleetWriteError> {
        Self::filled(path, |file| file.write_all(bytes))
    }

    fn filled(
        path: &Path,
        write: impl FnOnce(&mut dyn Write) -> std::io::Result<()>,
    ) -> Result<Self, FleetWriteError> {
        let failed = |source| FleetWriteError::Io { path: path.to_owned(), source };
        let target = target_of(path).map_err(failed)?;
        let (temporary, file) = made_beside(&target, |temporary| File::create_new(temporary)).map_err(failed)?;
        // from here on it is ours to remove
        let staged = Self { path: path.to_owned(), target, temporary, waits: true };
        fill(file, &staged.target, write).map_err(failed)?;
        Ok(staged)
    }

    /// The file that it is to replace.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// Where it stands until then.
    pub(crate) fn temporary(&self) -> &Path {
        &self.temporary
    }

    /// Leaves it where it is when this is dropped: something else will put it in its place.
    pub(crate) fn keep(&mut self) {
        self.waits = false;
    }

    /// Puts it in its place.
    pub(crate) fn commit(mut self) -> Result<(), FleetWriteError> {
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
pub(crate) fn sync_folder(folder: &Path) {
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
        // renaming would put another in its place, whatever its own rights say
        Ok(about) if about.permissions().readonly() => {
            Err(std::io::Error::new(std::io::ErrorKind::PermissionDenied, "the file is read-only"))
        }
        _ => Ok(target),
    }
}

/// Makes a file or folder under a hidden name beside `target` that nothing bears yet. What is there under such a name, of a
/// process that had the same number and was killed or of one elsewhere on the same disk, is left alone.
pub(crate) fn made_beside<T>(
    target: &Path,
    make: impl Fn(&Path) -> std::io::Result<T>,
) -> std::io::Result<(PathBuf, T)> {
    let Some(name) = target.file_name() else {
        return Err(std::io::Error::new(ErrorKind::InvalidInput, "not the name of a file"));
    };
    let mut tries = 0;
    loop {
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = format!(".{}.{}-{count}.tmp", name.to_string_lossy(), std::process::id());
        let temporary = target.with_file_name(name);
        match make(&temporary) {
            Ok(made) => return Ok((temporary, made)),
            Err(error) if error.kind() == ErrorKind::AlreadyExists && tries < MOST_TRIES => tries += 1,
            Err(error) => return Err(error),
        }
    }
}

fn fill(file: File, path: &Path, write: impl FnOnce(&mut dyn Write) -> std::io::Result<()>) -> std::io::Result<()> {
    let mut buffered = BufWriter::new(file);
    write(&mut buffered)?;
    let file = buffered.into_inner().map_err(std::io::IntoInnerError::into_error)?;
    if let Ok(before) = fs::metadata(path) {
        file.set_permissions(before.permissions())?;
    }
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_temporary_file_of_another_process_is_neither_used_nor_removed() {
        let home = tempfile::tempdir().unwrap();
        let name = |count: u64| format!(".fit.json.{}-{count}.tmp", std::process::id());
        let next = COUNT.load(Ordering::Relaxed);
        // other tests count on meanwhile
        let taken: Vec<PathBuf> = (next..next + 2_000).map(|count| home.path().join(name(count))).collect();
        for path in &taken {
            fs::write(path, "another's").unwrap();
        }
        let target = home.path().join("fit.json");
        write_atomic(&target, b"ours").unwrap();
        assert_eq!(fs::read_to_string(&target).unwrap(), "ours");
        assert!(StagedFile::filled(&target, |_| Err(ErrorKind::StorageFull.into())).is_err());
        let (folder, ()) = made_beside(&target, |path| fs::create_dir(path)).unwrap();
        assert!(folder.is_dir() && !taken.contains(&folder));
        assert!(taken.iter().all(|path| fs::read_to_string(path).is_ok_and(|text| text == "another's")));
        assert_eq!(fs::read_dir(home.path()).unwrap().count(), taken.len() + 2);
    }
}
