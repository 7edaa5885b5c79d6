//! What is fuzzed of the readers of files: tables as CSV and Parquet, lists of the user's own, journals.
#![allow(clippy::type_complexity, dead_code, clippy::unwrap_used, clippy::missing_panics_doc, missing_docs)]

use std::cell::RefCell;
use std::fs;

use linedrift::fleet::{
    FolderSpec, Journal, TableFormat, read_given, read_materials, read_planform, read_steps, write_folder,
};
use tempfile::TempDir;

use crate::damaged::{SOUND, sound};

thread_local! {
    static CSV: RefCell<TempDir> = RefCell::new(sound());
    static PARQUET: RefCell<TempDir> = RefCell::new({
        let folder = tempfile::tempdir().unwrap();
        let fleet = FolderSpec::default().read(sound().path()).unwrap().fleet;
        write_folder(&fleet, folder.path(), TableFormat::Parquet).unwrap();
        folder
    });
    static OTHER: RefCell<TempDir> = RefCell::new(tempfile::tempdir().unwrap());
}

/// The first byte says which table of a sound folder; the rest is its file.
fn read_with(folder: &TempDir, bytes: &[u8], ending: &str) {
    let Some((first, rest)) = bytes.split_first() else { return };
    let (name, _) = SOUND[usize::from(*first) % SOUND.len()];
    let path = folder.path().join(format!("{name}.{ending}"));
    let before = fs::read(&path).unwrap_or_default();
    fs::write(&path, rest).unwrap();
    match FolderSpec::default().read(folder.path()) {
        Ok(read) => {
            for check in read.fleet.histories().iter().flat_map(|history| &history.checks) {
                assert!(check.hours_h.is_finite() && check.readings.iter().all(|one| one.reading_mm.is_finite()));
            }
        }
        Err(error) => assert!(!error.faults().is_empty()),
    }
    fs::write(&path, before).unwrap();
}

pub fn table(bytes: &[u8]) {
    CSV.with(|folder| read_with(&folder.borrow(), bytes, "csv"));
}

pub fn parquet(bytes: &[u8]) {
    PARQUET.with(|folder| read_with(&folder.borrow(), bytes, "parquet"));
}

pub fn list(bytes: &[u8]) {
    OTHER.with(|folder| {
        let path = folder.borrow().path().join("list.csv");
        fs::write(&path, bytes).unwrap();
        let _ = read_given(&path);
        let _ = read_steps(&path);
        let _ = read_materials(&path);
        let _ = read_planform(&path);
    });
}

pub fn journal(bytes: &[u8]) {
    OTHER.with(|folder| {
        let folder = folder.borrow();
        fs::write(Journal::path_of(folder.path(), "7"), bytes).unwrap();
        if let Ok(Some(open)) = Journal::resume(folder.path(), "7") {
            assert_eq!(open.head.wing, "7");
        }
    });
}

/// Every target by name.
pub const TARGETS: [(&str, fn(&[u8])); 4] =
    [("table", table), ("parquet", parquet), ("list", list), ("journal", journal)];
