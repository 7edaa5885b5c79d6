//! Tables that belong together, put in place together.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::atomic::{FleetWriteError, StagedFile, sync_folder, write_atomic};
use crate::fleet::schema::{ORDER, READINGS};

/// Name of the file that says which tables are about to be put in place.
pub(crate) const PENDING_FILE: &str = ".linedrift-pending";

const FORMAT: &str = "linedrift.pending/1";

/// What a folder is about to become: files that are written and flushed, and the tables that they replace.
#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Pending {
    format: String,
    tables: Vec<Entry>,
    remove: Vec<String>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    from: String,
    to: String,
}

/// One table that has not been put in place yet.
#[derive(Debug)]
pub(crate) struct Move {
    pub(crate) from: PathBuf,
    pub(crate) to: PathBuf,
}

impl Pending {
    /// What a folder is about to become; nothing when no one was stopped there.
    pub(crate) fn read(folder: &Path) -> Result<Self, FleetWriteError> {
        let path = folder.join(PENDING_FILE);
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(source) => return Err(FleetWriteError::Read { path, source }),
        };
        let read: Result<Self, _> = serde_json::from_slice(&bytes);
        let sound = read.ok().filter(Self::is_sound);
        sound.ok_or_else(|| FleetWriteError::Table {
            table: PENDING_FILE.to_owned(),
            why: "it is damaged: tables may be half written; put a copy of the folder in its place, or compare the tables by hand and \
                  then remove this file".to_owned(),
        })
    }

    /// The tables that wait.
    pub(crate) fn moves(&self, folder: &Path) -> Vec<Move> {
        let all = self.tables.iter().map(|entry| Move { from: folder.join(&entry.from), to: folder.join(&entry.to) });
        // one that is not there any more is in its place
        all.filter(|one| one.from.is_file()).collect()
    }

    /// The tables that are to go.
    pub(crate) fn removals(&self, folder: &Path) -> Vec<PathBuf> {
        self.remove.iter().map(|name| folder.join(name)).filter(|path| path.exists()).collect()
    }

    /// Puts every table that waits in its place. The folder is locked by the caller.
    pub(crate) fn complete(&self, folder: &Path) -> Result<(), FleetWriteError> {
        if self.tables.is_empty() && self.remove.is_empty() {
            return Ok(());
        }
        for Move { from, to } in self.moves(folder) {
            fs::rename(from, &to).map_err(|source| FleetWriteError::Io { path: to, source })?;
        }
        for path in self.removals(folder) {
            fs::remove_file(&path).map_err(|source| FleetWriteError::Io { path, source })?;
        }
        if self.tables.iter().any(|entry| entry.to.contains('/')) {
            sync_folder(&folder.join(READINGS.name));
        }
        sync_folder(folder);
        let path = folder.join(PENDING_FILE);
        fs::remove_file(&path).map_err(|source| FleetWriteError::Io { path, source })?;
        sync_folder(folder);
        Ok(())
    }

    /// Puts staged tables in their places: all of them, or none; when the file system refuses one in the middle, the rest
    /// follows with the next lock.
    pub(crate) fn commit(
        folder: &Path,
        mut staged: Vec<StagedFile>,
        remove: Vec<String>,
    ) -> Result<(), FleetWriteError> {
        let readings = folder.join(READINGS.name);
        let inside = |place: Option<&Path>| place == Some(folder) || place == Some(readings.as_path());
        let elsewhere = staged.iter().any(|file| {
            let place = file.temporary().parent();
            place != file.path().parent() || !inside(place)
        });
        if (staged.len() < 2 && remove.is_empty()) || elsewhere {
            // one step, or links that lead out of the folder: one after the other
            staged.into_iter().try_for_each(StagedFile::commit)?;
            let gone = remove.iter().map(|name| folder.join(name)).filter(|path| path.exists());
            return gone
                .into_iter()
                .try_for_each(|path| fs::remove_file(&path).map_err(|source| FleetWriteError::Io { path, source }));
        }
        // names of the folder, those of `readings/` with a slash on every system
        let name = |path: &Path| {
            let file = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if path.parent() == Some(folder) { file } else { format!("{}/{file}", READINGS.name) }
        };
        let entry = |file: &StagedFile| Entry { from: name(file.temporary()), to: name(file.path()) };
        let pending = Self { format: FORMAT.to_owned(), tables: staged.iter().map(entry).collect(), remove };
        let text = serde_json::to_string(&pending)
            .map_err(|error| FleetWriteError::Table { table: PENDING_FILE.to_owned(), why: error.to_string() })?;
        write_atomic(&folder.join(PENDING_FILE), text.as_bytes())?;
        staged.iter_mut().for_each(StagedFile::keep);
        pending.complete(folder)
    }
}

impl Pending {
    /// Whether it moves hidden files of the folder over its tables, and does nothing else.
    fn is_sound(&self) -> bool {
        // a file of `readings/` stands there before and after
        let in_readings =
            |name: &str| name.strip_prefix(READINGS.name).and_then(|rest| rest.strip_prefix('/')).map(str::to_owned);
        let plain = |name: &str| !name.contains(['/', '\\', ':']);
        let is_table = |name: &str| {
            ORDER.iter().any(|table| name.strip_prefix(table).is_some_and(|end| [".csv", ".parquet"].contains(&end)))
        };
        let hidden = |from: &str, to: &str| {
            let rest = from.strip_prefix('.').and_then(|rest| rest.strip_prefix(to));
            plain(from) && rest.is_some_and(|rest| rest.strip_suffix(".tmp").is_some())
        };
        let entry = |entry: &Entry| match (in_readings(&entry.from), in_readings(&entry.to)) {
            (Some(from), Some(to)) => {
                plain(&to) && to.strip_suffix(".parquet").is_some_and(|stem| !stem.is_empty()) && hidden(&from, &to)
            }
            (None, None) => is_table(&entry.to) && hidden(&entry.from, &entry.to),
            _ => false,
        };
        self.format == FORMAT && self.tables.iter().all(entry) && self.remove.iter().all(|name| is_table(name))
    }
}
