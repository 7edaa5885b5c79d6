//! One writer at a time.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Write};
use std::path::Path;

use super::atomic::FleetWriteError;
use super::pending::Pending;

/// Name of the file in a fleet folder that is locked while something is added.
const LOCK_FILE: &str = ".linedrift-lock";

/// The right to add to a fleet folder, until dropped.
///
/// It is a lock of the operating system on the file `.linedrift-lock`, so it ends with the process that holds it, however
/// that ends: a file that is left behind locks nothing. The file stays and holds the number of the last process.
#[derive(Debug)]
pub struct FolderLock {
    file: File,
}

impl FolderLock {
    /// Takes the lock of a fleet folder, and completes what another process was stopped at between two tables.
    ///
    /// # Errors
    /// [`FleetWriteError::Locked`] while another process has it, [`FleetWriteError::Io`] when the file system refuses, and
    /// [`FleetWriteError::Table`] when what the other process left cannot be understood.
    pub fn take(folder: &Path) -> Result<Self, FleetWriteError> {
        let path = folder.join(LOCK_FILE);
        let failed = |source| FleetWriteError::Io { path: path.clone(), source };
        let mut file =
            OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path).map_err(failed)?;
        try_lock(&file, &path, || holder(&path))?;
        file.set_len(0).map_err(failed)?;
        file.write_all(format!("{}\n", std::process::id()).as_bytes()).map_err(failed)?;
        Pending::read(folder)?.complete(folder)?;
        Ok(Self { file })
    }
}

impl Drop for FolderLock {
    fn drop(&mut self) {
        // said aloud: a process that is just being started holds a copy of the descriptor until it runs
        let _ = self.file.unlock();
    }
}

/// The number of the process that holds a lock; empty where it cannot be read.
fn holder(path: &Path) -> String {
    let mut text = String::new();
    let read = File::open(path).and_then(|file| file.take(40).read_to_string(&mut text));
    read.map(|_| text.chars().filter(char::is_ascii_digit).collect()).unwrap_or_default()
}

/// Locks an open file for this process.
pub(crate) fn try_lock(file: &File, path: &Path, holder: impl FnOnce() -> String) -> Result<(), FleetWriteError> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => Err(FleetWriteError::Locked { path: path.to_owned(), holder: holder() }),
        Err(TryLockError::Error(source)) => Err(FleetWriteError::Io { path: path.to_owned(), source }),
    }
}
