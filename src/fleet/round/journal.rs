//! The journal of a measuring round: every value on the disk before the next is asked for.

use std::fmt::Write as _;
use std::fs::{self, File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::check::{Check, RoundEvent};
use crate::fleet::write::atomic::{FleetWriteError, sync_folder};
use crate::fleet::write::lock::try_lock;

const FORMAT: &str = "linedrift.journal/1";

/// Why a journal cannot be kept or read.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum JournalError {
    /// Another process is at work on it, or the file system refused.
    #[error(transparent)]
    Write(#[from] FleetWriteError),
    /// A line that is no event of a round.
    #[error("{}, line {line}: {why}", path.display())]
    Damaged {
        /// The journal.
        path: PathBuf,
        /// Its line, from 1.
        line: usize,
        /// What is wrong.
        why: String,
    },
    /// The journal is of another round.
    #[error(
        "{} holds an interrupted round whose {what} is {there}, not {given}: go on with it by the same values, or \
         remove the file to give it up",
        path.display()
    )]
    Differs {
        /// The journal.
        path: PathBuf,
        /// What differs.
        what: &'static str,
        /// What the journal says.
        there: String,
        /// What was given.
        given: String,
    },
}

/// What a round is about: the first line of its journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RoundHead {
    format: String,
    /// The wing.
    pub wing: String,
    /// Its model.
    pub model: String,
    /// The check, with its conditions and without readings.
    pub check: Check,
    /// Who reads.
    pub operator: Option<String>,
}

impl RoundHead {
    /// The head of a round.
    #[must_use]
    pub fn new(wing: &str, model: &str, check: &Check, operator: Option<&str>) -> Self {
        Self {
            format: FORMAT.to_owned(),
            wing: wing.to_owned(),
            model: model.to_owned(),
            check: Check { readings: Vec::new(), ..check.clone() },
            operator: operator.map(str::to_owned),
        }
    }
}

/// The journal of one round, locked for this process while it is open.
///
/// It is the file `record-WING.journal` in the fleet folder (letters, digits, `-` and `_` of the wing's id as they are, other
/// bytes as `%` and two hexadecimal digits): one JSON object per line, first the head, then the events. A last line without
/// its end was being written when the process stopped and is left out.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
}

/// A journal that was there, opened.
#[derive(Debug)]
pub struct OpenJournal {
    /// The journal, to go on with.
    pub journal: Journal,
    /// What the round is about.
    pub head: RoundHead,
    /// What happened in it.
    pub events: Vec<RoundEvent>,
}

/// Longest name of a wing within the name of a file, bytes.
const LONGEST_NAME: usize = 120;

impl Journal {
    /// Where the journal of a wing lies.
    #[must_use]
    pub fn path_of(folder: &Path, wing: &str) -> PathBuf {
        let mut name = String::new();
        for byte in wing.bytes() {
            if byte.is_ascii_alphanumeric() || b"-_".contains(&byte) {
                name.push(char::from(byte));
            } else {
                // writing to a string does not fail
                let _ = write!(name, "%{byte:02X}");
            }
        }
        if name.len() > LONGEST_NAME {
            // file systems take 255 bytes; what is cut off stays told apart by its hash
            name.truncate(LONGEST_NAME);
            let _ = write!(name, "-{:08x}", crc32fast::hash(wing.as_bytes()));
        }
        folder.join(format!("record-{name}.journal"))
    }

    /// Opens the journal of a wing's interrupted round; `None` when there is none, or one in which not even the head stands.
    ///
    /// # Errors
    /// [`JournalError`] while another process has it, when it is damaged, or when the file system refuses.
    pub fn resume(folder: &Path, wing: &str) -> Result<Option<OpenJournal>, JournalError> {
        let path = Self::path_of(folder, wing);
        if !path.exists() {
            return Ok(None);
        }
        let mut journal = Self::open(path)?;
        let mut bytes = Vec::new();
        journal.file.read_to_end(&mut bytes).map_err(|source| journal.failed(source))?;
        let whole = bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        bytes.truncate(whole);
        if bytes.is_empty() {
            return Ok(None);
        }
        // what comes next begins a line of its own
        journal.file.set_len(whole as u64).map_err(|source| journal.failed(source))?;
        journal.file.seek(SeekFrom::End(0)).map_err(|source| journal.failed(source))?;
        bytes.truncate(whole - 1);
        let mut lines = bytes.split(|byte| *byte == b'\n').enumerate();
        let damaged = |line: usize, why: String| JournalError::Damaged { path: journal.path.clone(), line, why };
        let parse = |line: Option<(usize, &[u8])>| -> Result<RoundHead, JournalError> {
            let (_, line) = line.unwrap_or_default();
            serde_json::from_slice(line).map_err(|error| damaged(1, error.to_string()))
        };
        let head = parse(lines.next())?;
        if head.format != FORMAT {
            return Err(damaged(1, format!("`{}` is not `{FORMAT}`", head.format)));
        }
        if head.wing != wing {
            let (path, what) = (journal.path.clone(), "wing");
            return Err(JournalError::Differs { path, what, there: head.wing, given: wing.to_owned() });
        }
        let mut events = Vec::new();
        for (at, line) in lines {
            events.push(serde_json::from_slice(line).map_err(|error| damaged(at + 1, error.to_string()))?);
        }
        Ok(Some(OpenJournal { journal, head, events }))
    }

    /// Begins the journal of a round.
    ///
    /// # Errors
    /// [`JournalError`] while another process has it, or when the file system refuses.
    pub fn begin(folder: &Path, head: &RoundHead) -> Result<Self, JournalError> {
        let mut journal = Self::open(Self::path_of(folder, &head.wing))?;
        let there = journal.file.metadata().map_err(|source| journal.failed(source))?.len();
        let mut bytes = Vec::new();
        journal.file.read_to_end(&mut bytes).map_err(|source| journal.failed(source))?;
        if bytes.contains(&b'\n') {
            let why = std::io::Error::new(std::io::ErrorKind::AlreadyExists, "it holds an interrupted round");
            return Err(journal.failed(why).into());
        }
        if there > 0 {
            journal.file.set_len(0).map_err(|source| journal.failed(source))?;
            journal.file.rewind().map_err(|source| journal.failed(source))?;
        }
        journal.write(&line_of(head))?;
        sync_folder(folder);
        Ok(journal)
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes events behind the others, and flushes them to the disk.
    ///
    /// # Errors
    /// [`JournalError`] when the file system refuses.
    pub fn add(&mut self, events: &[RoundEvent]) -> Result<(), JournalError> {
        // in one piece, so that a strike never stands without the value that follows it
        let text: String = events.iter().map(line_of).collect();
        if text.is_empty() { Ok(()) } else { self.write(&text) }
    }

    /// Removes the journal: its check is in the folder.
    ///
    /// # Errors
    /// [`JournalError`] when the file system refuses.
    pub fn remove(self) -> Result<(), JournalError> {
        fs::remove_file(&self.path).map_err(|source| self.failed(source))?;
        self.path.parent().into_iter().for_each(sync_folder);
        Ok(())
    }

    fn open(path: PathBuf) -> Result<Self, JournalError> {
        let opened = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path);
        let file = opened.map_err(|source| FleetWriteError::Io { path: path.clone(), source })?;
        try_lock(&file, &path, String::new)?;
        Ok(Self { path, file })
    }

    fn write(&mut self, text: &str) -> Result<(), JournalError> {
        let written = self.file.write_all(text.as_bytes()).and_then(|()| self.file.sync_data());
        written.map_err(|source| self.failed(source).into())
    }

    fn failed(&self, source: std::io::Error) -> FleetWriteError {
        FleetWriteError::Io { path: self.path.clone(), source }
    }
}

impl Drop for Journal {
    fn drop(&mut self) {
        // said aloud: a process that is just being started holds a copy of the descriptor until it runs
        let _ = self.file.unlock();
    }
}

/// A line of the journal. Numbers are finite and names are text: this does not fail, and if it did the line would be refused
/// on reading.
fn line_of(what: &impl Serialize) -> String {
    serde_json::to_string(what).unwrap_or_default() + "\n"
}
