//! What a folder of parts says of itself.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::fingerprint::Fingerprint;
use super::{BatchError, BatchFailure};
use crate::fleet::{FleetWriteError, write_atomic};

const SCHEMA: &str = "linedrift.parts/1";

/// What must be the same for a run to go on with another's parts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Origin {
    pub(super) schema: String,
    /// Version of the program.
    pub(super) version: String,
    pub(super) job: String,
    pub(super) wings: usize,
    pub(super) wings_per_part: usize,
    /// Of everything that the fleet says.
    pub(super) fleet: Fingerprint,
    pub(super) settings: Fingerprint,
    pub(super) tables: Vec<String>,
}

/// One file of a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct PartFile {
    pub(super) table: String,
    pub(super) rows: usize,
    pub(super) bytes: usize,
    pub(super) hash: Fingerprint,
}

/// One part that is written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Part {
    pub(super) number: usize,
    pub(super) first_wing: String,
    pub(super) last_wing: String,
    pub(super) wings: usize,
    pub(super) answers: usize,
    pub(super) without: usize,
    pub(super) failures: Vec<BatchFailure>,
    pub(super) files: Vec<PartFile>,
}

/// The manifest: written anew, whole, after each part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Manifest {
    #[serde(flatten)]
    pub(super) origin: Origin,
    pub(super) parts: Vec<Part>,
}

impl Origin {
    pub(super) fn new(job: &str, wings: usize, wings_per_part: usize, tables: Vec<String>) -> Self {
        Self {
            schema: SCHEMA.to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            job: job.to_owned(),
            wings,
            wings_per_part,
            fleet: Fingerprint::of_bytes(&[]),
            settings: Fingerprint::of_bytes(&[]),
            tables,
        }
    }

    /// What differs, in words.
    fn difference(&self, other: &Self) -> Option<&'static str> {
        [
            (self.schema == other.schema, "the format"),
            (self.version == other.version, "the program's version"),
            (self.job == other.job, "what was asked"),
            (self.wings_per_part == other.wings_per_part, "the number of wings a part"),
            (self.fleet == other.fleet && self.fleet.is_known() && self.wings == other.wings, "the fleet"),
            (self.settings == other.settings, "a setting"),
            (self.tables == other.tables, "the list of tables"),
        ]
        .into_iter()
        .find(|(same, _)| !same)
        .map(|(_, what)| what)
    }
}

impl Manifest {
    pub(super) fn path(folder: &Path, job: &str) -> PathBuf {
        folder.join(format!("{job}_parts.json"))
    }

    /// The manifest of a folder, if it has one.
    pub(super) fn read(folder: &Path, job: &str) -> Result<Option<Self>, BatchError> {
        let path = Self::path(folder, job);
        if !path.exists() {
            return Ok(None);
        }
        let text = fs::read(&path)
            .map_err(|source| BatchError::Write(FleetWriteError::Read { path: path.clone(), source }))?;
        serde_json::from_slice(&text).map(Some).map_err(|error| BatchError::Manifest { path, why: error.to_string() })
    }

    /// Refuses parts of another run.
    pub(super) fn must_be_of(&self, origin: &Origin, folder: &Path) -> Result<(), BatchError> {
        let other = |what: &str| BatchError::OtherRun { folder: folder.to_owned(), what: what.to_owned() };
        match self.origin.difference(origin) {
            Some(what) => Err(other(what)),
            None if self.parts.iter().enumerate().any(|(at, part)| part.number != at) => {
                Err(other("the order of parts"))
            }
            None => Ok(()),
        }
    }

    pub(super) fn write(&self, folder: &Path) -> Result<(), BatchError> {
        let path = Self::path(folder, &self.origin.job);
        let mut text = serde_json::to_string_pretty(self)
            .map_err(|error| FleetWriteError::Table { table: path.display().to_string(), why: error.to_string() })?;
        text.push('\n');
        Ok(write_atomic(&path, text.as_bytes())?)
    }
}
