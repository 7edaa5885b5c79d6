//! Part by part into files, and going on where an earlier run stopped.

use std::fs;
use std::path::Path;

use super::fingerprint::Fingerprint;
use super::job::failure_table;
use super::manifest::{Manifest, Origin, Part};
use super::run::{Counter, ask};
use super::{BatchError, BatchFailure, BatchJob, BatchSpec, BatchWatch, EarlierParts, part};
use crate::check::{Fleet, History};
use crate::fleet::{FleetWriteError, FolderLock, Table};

/// What a run in parts came to, the parts of earlier runs included.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct PartsWritten {
    /// Wings of the fleet.
    pub wings: usize,
    /// Wings that answered.
    pub answers: usize,
    /// Wings with nothing to ask of.
    pub without: usize,
    /// Wings that failed, in the fleet's order.
    pub failures: Vec<BatchFailure>,
    /// Names of the tables; each is a folder of parts.
    pub tables: Vec<String>,
    /// Parts.
    pub parts: usize,
    /// Of these, parts that an earlier run had written.
    pub resumed: usize,
}

impl BatchSpec {
    /// Asks every wing, part by part, and writes each part's tables into `folder` as Parquet: `TABLE/part-00000.parquet` and
    /// so on, with `JOB_failures` for the wings that failed and the manifest `JOB_parts.json`.
    ///
    /// Every file is whole or not there. A run that was stopped, killed or ran out of disk leaves the parts that were done;
    /// the same call goes on with the next one, and leaves the same files to the byte as a run that was not interrupted. A
    /// part whose file is missing or altered is made again.
    ///
    /// # Errors
    /// [`BatchError::OtherRun`] and [`BatchError::Manifest`] when the folder holds parts that are not of this run and
    /// [`EarlierParts::Resume`] is set, [`BatchError::Stopped`], [`BatchError::Write`] (also while another
    /// process works there), [`BatchError::WingsPerPart`].
    pub fn write<J: BatchJob>(
        &self,
        fleet: &Fleet,
        job: &J,
        folder: &Path,
        watch: &BatchWatch<'_>,
    ) -> Result<PartsWritten, BatchError> {
        if self.wings_per_part == 0 {
            return Err(BatchError::WingsPerPart { got: self.wings_per_part });
        }
        fs::create_dir_all(folder).map_err(|source| FleetWriteError::Io { path: folder.to_owned(), source })?;
        let _lock = FolderLock::take(folder)?;
        let wings = fleet.histories().len();
        let tables: Vec<String> = all_tables(job, &[], &[]).into_iter().map(|table| table.name).collect();
        let origin = Origin {
            fleet: Fingerprint::of(fleet),
            settings: Fingerprint::of(&job.settings()),
            ..Origin::new(job.name(), wings, self.wings_per_part, tables)
        };
        let mut manifest = self.beginning(origin, folder)?;
        manifest.write(folder)?;
        let whole: Vec<bool> =
            manifest.parts.iter().map(|part| part::is_whole(folder, part, &manifest.origin.tables)).collect();
        let standing = manifest.parts.iter().zip(&whole).filter(|(_, whole)| **whole);
        let resumed_wings = standing.map(|(part, _)| part.wings).sum();
        let counter = Counter::new(wings, resumed_wings, watch);
        for (at, histories) in fleet.histories().chunks(self.wings_per_part).enumerate() {
            if whole.get(at) == Some(&true) {
                continue;
            }
            let Some(made) = make(fleet, job, folder, at, histories, &counter)? else {
                let done = manifest.parts.iter().map(|part| part.wings).sum();
                return Err(BatchError::Stopped { done, wings });
            };
            match manifest.parts.get_mut(at) {
                Some(old) => *old = made,
                None => manifest.parts.push(made),
            }
            manifest.write(folder)?;
        }
        Ok(account(manifest, whole.iter().filter(|whole| **whole).count()))
    }

    /// The manifest to go on with: an earlier run's, or an empty one.
    fn beginning(&self, origin: Origin, folder: &Path) -> Result<Manifest, BatchError> {
        part::sweep(folder, &format!(".{}_parts.json.", origin.job))?;
        for table in &origin.tables {
            part::sweep(&folder.join(table), ".part-")?;
        }
        if self.earlier == EarlierParts::Resume {
            if let Some(found) = Manifest::read(folder, &origin.job)? {
                found.must_be_of(&origin, folder)?;
                return Ok(found);
            }
            for table in &origin.tables {
                if let Some(name) = part::standing(folder, table)?.first() {
                    let what = format!("`{table}/{name}` is there without a manifest; the run");
                    return Err(BatchError::OtherRun { folder: folder.to_owned(), what });
                }
            }
        } else {
            // without its manifest first, so that a stop in between leaves nothing that looks whole
            let path = Manifest::path(folder, &origin.job);
            if path.exists() {
                fs::remove_file(&path).map_err(|source| FleetWriteError::Io { path, source })?;
            }
            for table in &origin.tables {
                part::remove(folder, table)?;
            }
        }
        Ok(Manifest { origin, parts: Vec::new() })
    }
}

/// Asks the wings of a part and writes its files. `None`: stopped.
fn make<J: BatchJob>(
    fleet: &Fleet,
    job: &J,
    folder: &Path,
    at: usize,
    histories: &[History],
    counter: &Counter<'_>,
) -> Result<Option<Part>, BatchError> {
    let Some(batch) = ask(fleet, job, histories, counter) else { return Ok(None) };
    let mut files = Vec::new();
    for table in all_tables(job, &batch.answers, &batch.failures) {
        files.push(part::write(folder, &table, at)?);
    }
    let id = |history: Option<&History>| history.map(|history| history.wing.id.clone()).unwrap_or_default();
    Ok(Some(Part {
        number: at,
        first_wing: id(histories.first()),
        last_wing: id(histories.last()),
        wings: histories.len(),
        answers: batch.answers.len(),
        without: batch.without,
        failures: batch.failures,
        files,
    }))
}

fn all_tables<J: BatchJob>(job: &J, answers: &[J::Answer], failures: &[BatchFailure]) -> Vec<Table> {
    let mut tables = job.tables(answers);
    tables.push(failure_table(job.name(), failures));
    tables
}

fn account(manifest: Manifest, resumed: usize) -> PartsWritten {
    let sum = |of: fn(&Part) -> usize| manifest.parts.iter().map(of).sum();
    PartsWritten {
        wings: manifest.origin.wings,
        answers: sum(|part| part.answers),
        without: sum(|part| part.without),
        parts: manifest.parts.len(),
        resumed,
        failures: manifest.parts.into_iter().flat_map(|part| part.failures).collect(),
        tables: manifest.origin.tables,
    }
}
