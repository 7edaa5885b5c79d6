//! What is fuzzed of the readers of files: tables as CSV and Parquet, lists of the user's own, journals.
#![allow(clippy::type_complexity, dead_code, clippy::unwrap_used, clippy::missing_panics_doc, missing_docs)]

use std::cell::RefCell;
use std::fs;

use linedrift::fleet::spreadsheet::SpreadsheetSpec;
use linedrift::fleet::{
    FolderSpec, Journal, ScanSpec, TableFormat, read_given, read_materials, read_planform, read_steps, write_folder,
};
use linedrift::wear::Reduction;
use tempfile::TempDir;

use super::fuzzed::{Outcome, finite};
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
fn read_with(folder: &TempDir, bytes: &[u8], ending: &str) -> Outcome {
    let Some((first, rest)) = bytes.split_first() else { return Outcome::Refused };
    let (name, _) = SOUND[usize::from(*first) % SOUND.len()];
    let path = folder.path().join(format!("{name}.{ending}"));
    let before = fs::read(&path).unwrap_or_default();
    fs::write(&path, rest).unwrap();
    let read = FolderSpec::default().read(folder.path());
    // the streaming pass reduces what is read whole, and refuses it for the same faults
    let scan = ScanSpec::default().run(folder.path());
    match (&read, &scan) {
        (Ok(read), Ok(scan)) => {
            finite(&read.fleet);
            assert_eq!(scan.reduction, Reduction::new(&read.fleet, &[]).unwrap());
        }
        (Err(whole), Err(scanned)) => {
            assert!(!whole.faults().is_empty());
            assert_eq!(scanned.to_string(), whole.to_string());
        }
        _ => panic!("read whole: {:?}, in one pass: {:?}", read.is_ok(), scan.is_ok()),
    }
    fs::write(&path, before).unwrap();
    Outcome::of(read.is_ok())
}

pub fn table(bytes: &[u8]) -> Outcome {
    CSV.with(|folder| read_with(&folder.borrow(), bytes, "csv"))
}

pub fn parquet(bytes: &[u8]) -> Outcome {
    PARQUET.with(|folder| read_with(&folder.borrow(), bytes, "parquet"))
}

/// What a reader gave must be finite; whether it gave anything.
fn accepted<T: std::fmt::Debug, E>(read: Result<T, E>) -> bool {
    read.is_ok_and(|read| {
        finite(&read);
        true
    })
}

pub fn list(bytes: &[u8]) -> Outcome {
    OTHER.with(|folder| {
        let path = folder.borrow().path().join("list.csv");
        fs::write(&path, bytes).unwrap();
        let read = [
            accepted(read_given(&path)),
            accepted(read_steps(&path)),
            accepted(read_materials(&path)),
            accepted(read_planform(&path)),
        ];
        Outcome::of(read.contains(&true))
    })
}

pub fn journal(bytes: &[u8]) -> Outcome {
    OTHER.with(|folder| {
        let folder = folder.borrow();
        fs::write(Journal::path_of(folder.path(), "7"), bytes).unwrap();
        let Ok(Some(open)) = Journal::resume(folder.path(), "7") else { return Outcome::Refused };
        assert_eq!(open.head.wing, "7");
        finite(&open.head);
        finite(&open.events);
        Outcome::Accepted
    })
}

/// Every target by name.
/// A spreadsheet of any kind; what is accepted has lines that make a model, and readings of them.
pub fn spreadsheet(bytes: &[u8]) -> Outcome {
    let Ok(read) = SpreadsheetSpec::default().read_bytes("sheet", bytes, None) else { return Outcome::Refused };
    finite(&read);
    let Ok(set) = read.line_set("M") else { return Outcome::Refused };
    assert!(set.lines().iter().all(|line| line.nominal_mm > 0.0 && line.rank > 0));
    let Ok(readings) = read.readings(&set) else { return Outcome::Refused };
    assert_eq!(readings.len(), read.reading_count());
    assert!(readings.iter().all(|one| one.line < set.lines().len() && one.reading_mm > 0.0));
    finite(&read.understood(&set, &readings, 0.0));
    Outcome::Accepted
}

pub const TARGETS: [(&str, fn(&[u8]) -> Outcome); 5] =
    [("table", table), ("parquet", parquet), ("list", list), ("journal", journal), ("spreadsheet", spreadsheet)];
