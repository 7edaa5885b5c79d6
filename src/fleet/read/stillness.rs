//! A folder read while another process writes several of its tables: the old or the new, never some of each.

use std::fs::{self, Metadata};
use std::path::Path;
use std::time::SystemTime;

use super::fault::{FaultList, FleetReadError};
use crate::fleet::schema::{ORDER, READINGS};
use crate::fleet::write::pending::PENDING_FILE;

/// How often a folder that changes is read anew before it is given up.
const MOST_TRIES: usize = 20;

/// What is in a folder: every table with what changes when it is replaced.
#[derive(Debug, PartialEq, Eq)]
struct Standing(Vec<File>);

#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct File {
    name: String,
    length: u64,
    modified: Option<SystemTime>,
    /// Number of the file on its disk, where the system has one: a file that is renamed over another has its own.
    number: u64,
}

impl Standing {
    fn of(folder: &Path) -> Self {
        let mut files = Vec::new();
        let parts = folder.join(READINGS.name);
        for (at, before) in [(folder, ""), (parts.as_path(), "readings/")] {
            for entry in fs::read_dir(at).into_iter().flatten().flatten() {
                let name = entry.file_name().to_string_lossy().into_owned();
                let stem = name.split('.').next().unwrap_or_default();
                if before.is_empty() && !ORDER.contains(&stem) && name != PENDING_FILE {
                    continue;
                }
                // through a link, as the reader goes
                if let Ok(about) = fs::metadata(entry.path()) {
                    let (length, modified, number) = (about.len(), about.modified().ok(), number(&about));
                    files.push(File { name: format!("{before}{name}"), length, modified, number });
                }
            }
        }
        files.sort();
        Self(files)
    }
}

#[cfg(unix)]
fn number(about: &Metadata) -> u64 {
    std::os::unix::fs::MetadataExt::ino(about)
}

#[cfg(not(unix))]
fn number(_: &Metadata) -> u64 {
    0
}

/// Reads a folder, again when a table was put in its place meanwhile.
pub(crate) fn read_still<T>(
    folder: &Path,
    mut read: impl FnMut() -> Result<T, FleetReadError>,
) -> Result<T, FleetReadError> {
    let mut before = Standing::of(folder);
    for _ in 0..MOST_TRIES {
        let done = read();
        let after = Standing::of(folder);
        if before == after {
            return done;
        }
        before = after;
    }
    let mut faults = FaultList::default();
    faults.add("", 0, "", folder.display(), format_args!("a folder that nobody writes to for as long as it is read"));
    Err(FleetReadError::Faulty(faults))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_is_replaced_while_it_is_read_is_read_again() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("wings.csv");
        fs::write(&path, "old").unwrap();
        fs::write(home.path().join("notes.txt"), "mine").unwrap();
        let mut reads = 0;
        let read = read_still(home.path(), || {
            reads += 1;
            let text = fs::read_to_string(&path).unwrap();
            // another's notes are no table
            fs::write(home.path().join("notes.txt"), format!("read {reads} times")).unwrap();
            if reads == 1 {
                fs::write(home.path().join("new"), "new").unwrap();
                fs::rename(home.path().join("new"), &path).unwrap();
            }
            Ok(text)
        });
        assert_eq!((read.unwrap().as_str(), reads), ("new", 2));
        let never = read_still(home.path(), || {
            reads += 1;
            fs::write(&path, "x".repeat(reads)).unwrap();
            Ok(())
        });
        assert!(never.unwrap_err().to_string().contains("nobody writes"));
    }
}
