//! What is fuzzed of the readers of files: tables as CSV and Parquet, lists of the user's own, journals, spreadsheets.
#![allow(clippy::type_complexity, dead_code, clippy::unwrap_used, clippy::missing_panics_doc, missing_docs)]

use std::cell::RefCell;
use std::fs;
use std::io::{Cursor, Write};
use std::sync::LazyLock;

use linedrift::check::sheet::SheetSpec;
use linedrift::fleet::spreadsheet::{SpreadsheetSpec, sheet_xlsx};
use linedrift::fleet::{
    FolderSpec, Journal, ScanSpec, TableFormat, read_given, read_materials, read_planform, read_steps, write_folder,
};
use linedrift::wear::Reduction;
use tempfile::TempDir;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::fuzzed::{Outcome, SET, finite};
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

/// The parts of a spreadsheet that the program writes itself.
static PARTS: LazyLock<Vec<(String, Vec<u8>)>> = LazyLock::new(|| {
    let sheet = sheet_xlsx(&SheetSpec::default().run(&SET, None)).unwrap();
    let mut archive = ZipArchive::new(Cursor::new(sheet)).unwrap();
    (0..archive.len())
        .map(|at| {
            let mut part = archive.by_index(at).unwrap();
            let mut bytes = Vec::new();
            std::io::copy(&mut part, &mut bytes).unwrap();
            (part.name().unwrap().into_owned(), bytes)
        })
        .collect()
});

/// A spreadsheet whose sheet is other bytes; an archive has checksums, so that changes to it whole are refused there.
fn with_cells(bytes: &[u8]) -> Vec<u8> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for (name, part) in PARTS.iter() {
        archive.start_file(name.as_str(), stored).unwrap();
        archive.write_all(if name == "xl/worksheets/sheet1.xml" { bytes } else { part }).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

/// The first byte says what the rest is: text, the cells of a sheet, or any file.
pub fn spreadsheet(bytes: &[u8]) -> Outcome {
    let Some((first, rest)) = bytes.split_first() else { return Outcome::Refused };
    let file = if *first == 1 { with_cells(rest) } else { rest.to_vec() };
    let Ok(sheet) = SpreadsheetSpec::default().read_bytes("a file", &file, None) else { return Outcome::Refused };
    finite(&sheet);
    let own = sheet.line_set("Heron");
    let mut accepted = false;
    for set in own.iter().chain([&*SET]) {
        let datum = sheet.datum_of(set);
        finite(&datum);
        if let Ok(readings) = sheet.readings(set) {
            finite(&readings);
            assert!(readings.iter().all(|one| one.line < set.lines().len()));
            finite(&sheet.understood(set, &readings, 0.0));
            accepted |= !readings.is_empty();
        }
    }
    Outcome::of(accepted)
}

/// Every target by name.
pub const TARGETS: [(&str, fn(&[u8]) -> Outcome); 5] =
    [("table", table), ("parquet", parquet), ("list", list), ("journal", journal), ("spreadsheet", spreadsheet)];
