//! What is done to a sound folder, and what must come of it.

use std::fs;
use std::path::Path;

use linedrift::fleet::{FolderSpec, TableFormat, write_folder};

/// What is done to the sound folder.
pub enum Damage {
    /// In the named table, the first text is replaced by the second.
    Swap(&'static str, &'static str, &'static str),
    /// The bytes of the named table are changed.
    Bytes(&'static str, fn(Vec<u8>) -> Vec<u8>),
    /// Anything else.
    Do(fn(&Path)),
}

/// What must come of it.
pub enum Outcome {
    /// Exactly these faults: table, row, column, and words of what was expected.
    Faults(&'static [(&'static str, usize, &'static str, &'static str)]),
    /// The folder is read, with a note that holds these words (empty: any or none).
    Reads(&'static str),
}

pub fn path(folder: &Path, name: &str) -> std::path::PathBuf {
    folder.join(name)
}

/// The readings as Parquet instead, from which a part is cut or changed.
pub fn parquet(folder: &Path, change: impl Fn(&mut Vec<u8>)) {
    let fleet = FolderSpec::default().read(folder).unwrap().fleet;
    let other = tempfile::tempdir().unwrap();
    write_folder(&fleet, other.path(), TableFormat::Parquet).unwrap();
    let mut bytes = fs::read(other.path().join("readings.parquet")).unwrap();
    change(&mut bytes);
    fs::remove_file(folder.join("readings.csv")).unwrap();
    fs::write(folder.join("readings.parquet"), bytes).unwrap();
}

#[cfg(unix)]
pub fn link(to: &str, from: std::path::PathBuf) {
    std::os::unix::fs::symlink(to, from).unwrap();
}

pub type Case = (&'static str, Damage, Outcome);
