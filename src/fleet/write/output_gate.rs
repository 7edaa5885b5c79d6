//! The gate that everything written passes: nothing is written over that the program did not write itself.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::atomic::{FleetWriteError, write_atomic};
use crate::fleet::batch::Fingerprint;
use crate::fleet::dictionary;
use crate::fleet::schema::{ACTIONS, ORDER, READINGS};

/// Name of the file in an output folder that says which command wrote it, and what.
pub const OUTPUT_LIST: &str = "linedrift-output.json";
/// Name of the page of cautions in an output folder.
pub const CAUTIONS_PAGE: &str = "README.txt";
/// Jobs that are written in parts.
const JOBS: [&str; 4] = ["trim", "vet", "plan", "due"];
/// What that file says it is.
const SCHEMA: &str = "linedrift.output/1";
/// Longest file that is looked at whole, bytes: a page with its figures is some megabytes.
const LONGEST_LOOK: u64 = 64 << 20;
/// A filled sheet, and any CSV of readings, has this column.
const READING: &str = "reading_mm";

/// What may be written over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Overwrite {
    /// What the same command wrote and nobody changed since; of single files what can be made again.
    #[default]
    Own,
    /// Anything but a table of recorded adjustments: the user insists.
    Anything,
}

/// Why nothing may be written to a path.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum RefusedOutput {
    /// A table of a fleet stands there, or would come to.
    #[error("`{}` is, or would be read as, the table `{table}` of a fleet: name another file, or insist by --force", path.display())]
    FleetTable {
        /// The file.
        path: PathBuf,
        /// The table.
        table: String,
    },
    /// Adjustments that somebody recorded stand there; no option writes over them.
    #[error("`{}` holds recorded adjustments, which nothing writes over: move it away first", path.display())]
    Actions {
        /// The file.
        path: PathBuf,
    },
    /// A sheet with readings stands there.
    #[error("`{}` is a sheet with readings in it: name another file, or insist by --force", path.display())]
    FilledSheet {
        /// The file.
        path: PathBuf,
    },
    /// A saved fit stands there.
    #[error("`{}` is a saved fit: name another file, or insist by --force", path.display())]
    SavedFit {
        /// The file.
        path: PathBuf,
    },
    /// Something else stands there.
    #[error("`{}` is there, and this program did not write it: name another file, or insist by --force", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// The folder holds something else.
    #[error(
        "the folder `{}` holds `{what}`, which `linedrift {command}` did not write: name a new or an empty folder, or insist by --force",
        folder.display()
    )]
    ForeignInside {
        /// The folder.
        folder: PathBuf,
        /// One thing in it.
        what: String,
        /// The command that was to write.
        command: String,
    },
    /// The folder holds something that was changed since.
    #[error(
        "`{what}` in the folder `{}` was changed since `linedrift {command}` wrote it: name a new or an empty folder, or insist by --force",
        folder.display()
    )]
    Changed {
        /// The folder.
        folder: PathBuf,
        /// What was changed.
        what: String,
        /// The command.
        command: String,
    },
    /// A file stands where a folder is wanted, or the other way round.
    #[error("`{}` is not {wanted}", path.display())]
    Kind {
        /// The path.
        path: PathBuf,
        /// `a folder` or `a file`.
        wanted: &'static str,
    },
}

/// What a folder says of the command that wrote it: the file [`OUTPUT_LIST`].
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct OutputList {
    schema: String,
    command: String,
    /// False while the command is at work, and for good when it was stopped there.
    complete: bool,
    /// Hash of each file, by its path within the folder.
    files: BTreeMap<String, Fingerprint>,
}

/// The gate for what one command writes.
///
/// Folders carry a list of their files with hashes ([`OUTPUT_LIST`]), so that the same command may write them again for as long
/// as they hold nothing else and nothing was changed. Single files are known by what they hold: a part, a calendar, a page, a
/// blank sheet can be made again; a table of a fleet, a sheet with readings or a saved fit cannot.
#[derive(Debug, Clone)]
pub struct OutputGate {
    command: String,
    overwrite: Overwrite,
}

impl OutputGate {
    /// The gate of a command, by its name.
    #[must_use]
    pub fn new(command: &str) -> Self {
        Self { command: command.to_owned(), overwrite: Overwrite::Own }
    }

    setters! {
        /// What may be written over.
        overwrite: Overwrite;
    }

    /// Whether a single file may be written here.
    ///
    /// # Errors
    /// [`RefusedOutput`] that names what would be lost.
    pub fn file(&self, path: &Path) -> Result<(), RefusedOutput> {
        let named = path.to_owned();
        if path.is_dir() {
            return Err(RefusedOutput::Kind { path: named, wanted: "a file" });
        }
        let table = table_of(path);
        if table == Some(ACTIONS.name) && path.exists() {
            return Err(RefusedOutput::Actions { path: named });
        }
        if self.overwrite == Overwrite::Anything {
            return Ok(());
        }
        if let Some(table) = table.filter(|_| path.exists() || is_fleet(path.parent())) {
            return Err(RefusedOutput::FleetTable { path: named, table: table.to_owned() });
        }
        if is_readings_part(path) {
            return Err(RefusedOutput::FleetTable { path: named, table: READINGS.name.to_owned() });
        }
        match Content::of(path) {
            Content::Nothing | Content::MadeAgain => Ok(()),
            Content::FilledSheet => Err(RefusedOutput::FilledSheet { path: named }),
            Content::SavedFit => Err(RefusedOutput::SavedFit { path: named }),
            Content::Foreign => Err(RefusedOutput::Foreign { path: named }),
        }
    }

    /// Whether the command may write its files into this folder: one that is not there, is empty, or holds only what the same
    /// command wrote.
    ///
    /// # Errors
    /// [`RefusedOutput`] that names what would be lost.
    pub fn folder(&self, folder: &Path) -> Result<(), RefusedOutput> {
        if folder.exists() && !folder.is_dir() {
            return Err(RefusedOutput::Kind { path: folder.to_owned(), wanted: "a folder" });
        }
        let list = self.list(folder);
        let listed = |file: &str| list.as_ref().is_some_and(|list| list.files.contains_key(file));
        let inside = files_below(folder);
        if let Some(actions) = inside.iter().find(|file| !listed(file) && is_actions(file)) {
            return Err(RefusedOutput::Actions { path: folder.join(actions) });
        }
        if self.overwrite == Overwrite::Anything {
            return Ok(());
        }
        let command = self.command.clone();
        for what in inside {
            let path = folder.join(&what);
            let known = list.as_ref().and_then(|list| list.files.get(&what));
            let interrupted = list.as_ref().is_some_and(|list| !list.complete);
            // parts have manifests and checks of their own, and the commands that write them may share a folder
            if is_part(&what) || what == CAUTIONS_PAGE && is_own(folder, &what) {
                continue;
            }
            let own = match known {
                Some(_) if interrupted => true,
                Some(hash) if fs::read(&path).is_ok_and(|bytes| Fingerprint::of_bytes(&bytes) == *hash) => true,
                Some(_) => return Err(RefusedOutput::Changed { folder: folder.to_owned(), what, command }),
                // a run that was stopped lists nothing of what it wrote; nothing of a user's own is among such files
                None => interrupted && !is_precious(&path, &self.command),
            };
            if !own {
                return Err(RefusedOutput::ForeignInside { folder: folder.to_owned(), what, command });
            }
        }
        Ok(())
    }

    /// Makes the folder and says in it that the command is at work there.
    ///
    /// # Errors
    /// [`FleetWriteError`] when the file system refuses.
    pub fn begin(&self, folder: &Path) -> Result<(), FleetWriteError> {
        fs::create_dir_all(folder).map_err(|source| FleetWriteError::Io { path: folder.to_owned(), source })?;
        let files = self.list(folder).map(|list| list.files).unwrap_or_default();
        self.write_list(folder, &OutputList { complete: false, files, ..self.empty() })
    }

    /// Lists what the folder holds now, as written by the command, and removes what an earlier run of it wrote and this one,
    /// begun by [`OutputGate::begin`], did not. A folder that is not there stays away.
    ///
    /// # Errors
    /// [`FleetWriteError`] when the file system refuses.
    pub fn finish(&self, folder: &Path) -> Result<(), FleetWriteError> {
        if let (Some(list), Some(begun)) = (self.list(folder), modified(&folder.join(OUTPUT_LIST))) {
            for file in list.files.keys().filter(|file| !list.complete && !is_part(file)) {
                let path = folder.join(file);
                if modified(&path).is_some_and(|at| at < begun) {
                    fs::remove_file(&path).map_err(|source| FleetWriteError::Io { path, source })?;
                }
            }
        }
        self.keep(folder)
    }

    /// Lists what the folder holds now, after a command that failed: nothing is removed.
    ///
    /// # Errors
    /// [`FleetWriteError`] when the file system refuses.
    pub fn keep(&self, folder: &Path) -> Result<(), FleetWriteError> {
        let mut files = BTreeMap::new();
        for file in files_below(folder) {
            let path = folder.join(&file);
            let bytes = fs::read(&path).map_err(|source| FleetWriteError::Read { path, source })?;
            files.insert(file, Fingerprint::of_bytes(&bytes));
        }
        if files.is_empty() && !folder.join(OUTPUT_LIST).exists() {
            return Ok(());
        }
        self.write_list(folder, &OutputList { complete: true, files, ..self.empty() })
    }

    /// The list of a folder that the same command wrote.
    fn list(&self, folder: &Path) -> Option<OutputList> {
        let list: OutputList = serde_json::from_slice(&fs::read(folder.join(OUTPUT_LIST)).ok()?).ok()?;
        (list.schema == SCHEMA && list.command == self.command).then_some(list)
    }

    fn empty(&self) -> OutputList {
        OutputList {
            schema: SCHEMA.to_owned(),
            command: self.command.clone(),
            complete: false,
            files: BTreeMap::new(),
        }
    }

    fn write_list(&self, folder: &Path, list: &OutputList) -> Result<(), FleetWriteError> {
        let path = folder.join(OUTPUT_LIST);
        let failed =
            |why: &serde_json::Error| FleetWriteError::Table { table: self.command.clone(), why: why.to_string() };
        let text = serde_json::to_string_pretty(list).map_err(|error| failed(&error))?;
        write_atomic(&path, (text + "\n").as_bytes())
    }
}

/// Whether a command of this program made a file of a folder, and nobody changed it since.
pub(crate) fn is_own(folder: &Path, file: &str) -> bool {
    let list =
        fs::read(folder.join(OUTPUT_LIST)).ok().and_then(|text| serde_json::from_slice::<OutputList>(&text).ok());
    let hash = list.as_ref().and_then(|list| list.files.get(file));
    hash.is_some_and(|hash| fs::read(folder.join(file)).is_ok_and(|bytes| Fingerprint::of_bytes(&bytes) == *hash))
}

fn modified(path: &Path) -> Option<SystemTime> {
    fs::metadata(path).and_then(|about| about.modified()).ok()
}

/// The table of a fleet that a file of this name is.
fn table_of(path: &Path) -> Option<&'static str> {
    let (stem, ending) = (path.file_stem()?, path.extension()?);
    let is_table = ending.eq_ignore_ascii_case("csv") || ending.eq_ignore_ascii_case("parquet");
    ORDER.into_iter().find(|table| is_table && stem.eq_ignore_ascii_case(table))
}

/// Whether a file within a folder is a part of a result table, or the manifest of such parts.
fn is_part(file: &str) -> bool {
    let Some((table, part)) = file.split_once('/') else {
        return JOBS.iter().any(|job| file.strip_suffix("_parts.json") == Some(job));
    };
    let number = part.strip_prefix("part-").and_then(|rest| rest.strip_suffix(".parquet"));
    number.is_some_and(|number| number.bytes().all(|digit| digit.is_ascii_digit()))
        && dictionary::results().iter().any(|entry| entry.name == table)
}

fn is_actions(file: &str) -> bool {
    table_of(Path::new(file)) == Some(ACTIONS.name)
}

/// Whether a folder holds any table of a fleet.
fn is_fleet(folder: Option<&Path>) -> bool {
    let folder = folder.filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let table =
        |table: &&str| ["csv", "parquet"].iter().any(|ending| folder.join(format!("{table}.{ending}")).exists());
    ORDER.iter().any(table)
}

/// Whether a file would be read as a part of a fleet's readings.
fn is_readings_part(path: &Path) -> bool {
    let parts = path.parent().filter(|above| above.file_name().is_some_and(|name| name == READINGS.name));
    parts.is_some_and(|parts| is_fleet(parts.parent()))
}

/// Whether a file is something that people make by hand or wait long for. `simulate` writes tables of a fleet itself.
fn is_precious(path: &Path, command: &str) -> bool {
    (command != "simulate" && table_of(path).is_some())
        || matches!(Content::of(path), Content::FilledSheet | Content::SavedFit)
}

/// Files in a folder and below, by their path within it with `/` between, in order; those of the gate itself, the lock of a
/// folder and half-written ones are left out.
fn files_below(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    let mut waiting = vec![(folder.to_owned(), String::new())];
    while let Some((at, before)) = waiting.pop() {
        let Ok(entries) = fs::read_dir(&at) else { continue };
        for entry in entries.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            #[allow(clippy::case_sensitive_file_extension_comparisons, reason = "names that this program gives")]
            let own = before.is_empty() && name == OUTPUT_LIST
                || name.starts_with('.') && (name.ends_with(".tmp") || name == ".linedrift-lock");
            // a link is one thing, wherever it leads
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                waiting.push((entry.path(), format!("{before}{name}/")));
            } else if !own {
                found.push(format!("{before}{name}"));
            }
        }
    }
    found.sort();
    found
}

/// What a single file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Content {
    /// No file, or an empty one.
    Nothing,
    /// A result of this program that the same call makes again.
    MadeAgain,
    FilledSheet,
    SavedFit,
    /// Anything else, and what cannot be read.
    Foreign,
}

impl Content {
    fn of(path: &Path) -> Self {
        let about = match fs::metadata(path) {
            Ok(about) => about,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Self::Nothing,
            Err(_) => return Self::Foreign,
        };
        if !about.is_file() || about.len() > LONGEST_LOOK {
            return Self::Foreign;
        }
        fs::read(path).map_or(Self::Foreign, |bytes| Self::of_bytes(&bytes))
    }

    fn of_bytes(bytes: &[u8]) -> Self {
        if bytes.is_empty() {
            return Self::Nothing;
        }
        if bytes.starts_with(&crate::wear::PART_MAGIC) {
            return Self::MadeAgain;
        }
        let Ok(text) = std::str::from_utf8(bytes) else { return Self::Foreign };
        let head = text.get(..text.len().min(4_000)).unwrap_or(text);
        let page = head.trim_start().to_ascii_lowercase().starts_with("<!doctype html>");
        if page && text.contains("<meta name=\"generator\" content=\"linedrift") {
            return Self::MadeAgain;
        }
        if text.starts_with("BEGIN:VCALENDAR") && text.contains("PRODID:-//linedrift//") {
            return Self::MadeAgain;
        }
        if text.starts_with("date,earliest,latest,wing,model,") {
            return Self::MadeAgain;
        }
        if head.trim_start().starts_with('{') && head.contains("\"linedrift wear fit\"") {
            return Self::SavedFit;
        }
        Self::of_sheet(text)
    }

    /// A sheet has a header with `line` and `reading_mm`; a blank one has nothing in the latter.
    fn of_sheet(text: &str) -> Self {
        let mut reader = csv::ReaderBuilder::new().flexible(true).has_headers(false).from_reader(text.as_bytes());
        let mut at = None;
        for record in reader.records() {
            let Ok(record) = record else { return Self::Foreign };
            match at {
                None => {
                    at = record.iter().position(|cell| cell.trim() == READING);
                    if at.is_none() || !record.iter().any(|cell| cell.trim() == "line") {
                        return Self::Foreign;
                    }
                }
                Some(at) if record.get(at).is_some_and(|cell| !cell.trim().is_empty()) => return Self::FilledSheet,
                // what was written beside the columns, such as a remark
                Some(at) if record.iter().skip(at + 1).any(|cell| !cell.trim().is_empty()) => {
                    return Self::FilledSheet;
                }
                Some(_) => {}
            }
        }
        if at.is_some() { Self::MadeAgain } else { Self::Foreign }
    }
}
