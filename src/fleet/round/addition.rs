//! One more check in a fleet folder, and the wing and lines it needs where they are new.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use thiserror::Error;

use crate::check::{Check, Fleet, FleetError, History, Reading, Stage};
use crate::fleet::edit::table::{NewRows, TableEdit};
use crate::fleet::edit::wing;
use crate::fleet::folder::{Folder, FolderSpec};
use crate::fleet::read::fault::FleetReadError;
use crate::fleet::schema::{CHECKS, CheckRow, LINES, MODELS, READINGS, ROWS, ReadingRow, SEGMENTS, WINGS};
use crate::fleet::write::atomic::{FleetWriteError, StagedFile};
use crate::fleet::write::lock::FolderLock;
use crate::fleet::write::pending::Pending;
use crate::fleet::write::rows::{check_row, is_written, model_tables, wings};
use crate::wing::{LineSet, Wing};

/// Why nothing was added to a folder. Whatever it is, the folder is as it was.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum AdditionError {
    /// The check is there, with readings.
    #[error("check `{check}` is in the folder already, with {readings} readings: name another by its id")]
    CheckThere {
        /// The check.
        check: String,
        /// How many readings it has.
        readings: usize,
    },
    /// The check is there without readings, and is another one.
    #[error("check `{check}` is in the folder without readings, but its {what} is {there} there and {given} here")]
    CheckDiffers {
        /// The check.
        check: String,
        /// What differs.
        what: &'static str,
        /// What the folder says.
        there: String,
        /// What was given.
        given: String,
    },
    /// A new wing that is there.
    #[error("wing `{wing}` is in the folder already: leave out that it is new")]
    WingThere {
        /// The wing.
        wing: String,
    },
    /// A wing that is not there, and not given as new.
    #[error("the folder has no wing `{wing}`")]
    NoWing {
        /// The wing.
        wing: String,
    },
    /// A model that is there, with the same lines.
    #[error("model `{model}` is in the folder already, with the same lines: nothing was changed")]
    ModelThere {
        /// The model.
        model: String,
    },
    /// A new wing of a model that is there with other lines.
    #[error("model `{model}` is in the folder already, with other lines: {why}")]
    ModelDiffers {
        /// The model.
        model: String,
        /// The first thing that differs.
        why: String,
    },
    /// The wing, its lines and the check do not fit together.
    #[error(transparent)]
    Unfit(#[from] FleetError),
    /// With the new rows the tables would have faults; the rows are numbered as they would stand.
    #[error("{0}")]
    Read(#[from] FleetReadError),
    /// The file system refused, or another process is at work.
    #[error(transparent)]
    Write(#[from] FleetWriteError),
}

/// A check to add to a fleet folder.
///
/// Tables are changed in the order `lines`, `wings`, `checks`, `readings`, each by a file that is written and flushed under a
/// temporary name and then renamed. After each of these steps the folder reads well: stopped before the last one, it has a
/// check without readings, which the same addition completes when it is made again.
///
/// Rows and columns that are there stay, those that this program does not know too.
#[derive(Debug, Clone)]
pub struct Addition {
    wing: String,
    check: Check,
    new_wing: Option<NewWing>,
    /// What is known of a wing that the folder has.
    known: Option<Wing>,
}

#[derive(Debug, Clone)]
struct NewWing {
    wing: Wing,
    set: LineSet,
}

/// An addition that is written beside the tables and judged with them, and not yet one of them. Dropped, it leaves no trace.
#[derive(Debug)]
pub struct StagedAddition {
    home: PathBuf,
    folder: Folder,
    files: Vec<StagedFile>,
}

impl Addition {
    /// A check of a wing that the folder has; the lines of its readings are those of the wing's line set.
    #[must_use]
    pub fn new(wing: &str, check: Check) -> Self {
        Self { wing: wing.to_owned(), check, new_wing: None, known: None }
    }

    /// The same with what is now known of the wing: where the table `wings` says something else, its row is changed.
    #[must_use]
    pub fn with_wing(mut self, wing: Wing) -> Self {
        self.known = Some(wing);
        self
    }

    /// The first check of a wing that the folder does not have. Its lines are added where its model is new.
    #[must_use]
    pub fn of_new_wing(wing: Wing, set: LineSet, check: Check) -> Self {
        Self { wing: wing.id.clone(), check, new_wing: Some(NewWing { wing, set }), known: None }
    }

    /// Writes what is to be added beside the tables of a folder, and reads the folder as it would then be. `fleet` is the
    /// folder as it is, read since the lock was taken.
    ///
    /// # Errors
    /// [`AdditionError`]; among them every fault that the tables would have with the new rows.
    pub fn stage(&self, folder: &Path, fleet: &Fleet, lock: &FolderLock) -> Result<StagedAddition, AdditionError> {
        // the lock is what makes reading, judging and renaming one step
        let _ = lock;
        let known = fleet.history(&self.wing);
        let there = self.check_there(fleet)?;
        let mut rows: Vec<NewRows> = Vec::new();
        let set = match (known, &self.new_wing) {
            (None, None) => return Err(AdditionError::NoWing { wing: self.wing.clone() }),
            (Some(history), None) => fleet.line_set(history).clone(),
            (Some(history), Some(new)) => {
                // the wing and no check: what an addition that was stopped leaves behind
                if history.checks.iter().any(|check| check.id != self.check.id || !check.readings.is_empty()) {
                    return Err(AdditionError::WingThere { wing: self.wing.clone() });
                }
                same_lines(fleet.line_set(history), &new.set)?;
                fleet.line_set(history).clone()
            }
            (None, Some(new)) => {
                let only = Fleet::new(vec![new.set.clone()], vec![history_of(new.wing.clone())])?;
                match Self::model_in(folder, fleet, new.set.model()) {
                    Some(known) => same_lines(&known, &new.set)?,
                    None => rows.extend(model_rows(&only)?),
                }
                rows.push(NewRows::of(WINGS, wings(&only)));
                new.set.clone()
            }
        };
        if !there {
            rows.push(check_rows(&self.wing, &set, &self.check));
        }
        rows.push(reading_rows(&set, &self.check));
        let mut files = Vec::with_capacity(rows.len() + 1);
        if let (Some(history), Some(now)) = (known, &self.known) {
            files.extend(wing::changed(folder, &history.wing, now)?);
        }
        for new in &rows {
            files.push(self.file(folder, new)?);
        }
        let read = FolderSpec::default().read_with(folder, &files)?;
        Ok(StagedAddition { home: folder.to_owned(), folder: read, files })
    }

    /// Whether the check is there, without readings and otherwise the same.
    fn check_there(&self, fleet: &Fleet) -> Result<bool, AdditionError> {
        let all = fleet.histories().iter().flat_map(|history| history.checks.iter().map(move |one| (history, one)));
        let Some((history, there)) = all.into_iter().find(|(_, check)| check.id == self.check.id) else {
            return Ok(false);
        };
        let given = &self.check;
        if !there.readings.is_empty() {
            return Err(AdditionError::CheckThere { check: given.id.clone(), readings: there.readings.len() });
        }
        let number = |value: f64| value.to_string();
        for (what, there, given) in [
            ("wing", history.wing.id.clone(), self.wing.clone()),
            ("date", there.date.to_string(), given.date.to_string()),
            ("hours", number(there.hours_h), number(given.hours_h)),
            ("stage", there.stage.to_string(), given.stage.to_string()),
            ("load_n", number(there.load_n), number(given.load_n)),
            ("datum_mm", number(there.datum_mm), number(given.datum_mm)),
            ("temperature_c", number(there.temperature_c), number(given.temperature_c)),
        ] {
            if there != given {
                return Err(AdditionError::CheckDiffers { check: self.check.id.clone(), what, there, given });
            }
        }
        Ok(true)
    }

    /// The line set of a model that a folder has, whether a wing follows it or not.
    #[must_use]
    pub fn model_in(folder: &Path, fleet: &Fleet, model: &str) -> Option<LineSet> {
        if let Some(known) = fleet.line_sets().iter().find(|known| known.model() == model) {
            return Some(known.clone());
        }
        let enough = 1..=fleet.histories().len() + 1;
        let free = enough.map(|number| format!("new-{number}")).find(|id| fleet.history(id).is_none())?;
        let only = Fleet::new(vec![LineSet::empty()], vec![history_of(Wing::new(&free, model))]).ok()?;
        let asking = Self::new(&free, Check::new("", Date::ZERO, 0.0));
        let wing = [asking.file(folder, &NewRows::of(WINGS, wings(&only))).ok()?];
        let read = FolderSpec::default().read_with(folder, &wing).ok()?;
        read.fleet.history(&free).map(|history| read.fleet.line_set(history).clone())
    }

    /// Adds a model to a folder, without a wing that follows it.
    ///
    /// # Errors
    /// [`AdditionError`]: the model is there with other lines, or the tables would have faults.
    pub fn model(folder: &Path, fleet: &Fleet, set: &LineSet, lock: &FolderLock) -> Result<(), AdditionError> {
        let _ = lock;
        if let Some(known) = Self::model_in(folder, fleet, set.model()) {
            same_lines(&known, set)?;
            return Err(AdditionError::ModelThere { model: set.model().to_owned() });
        }
        let only = Fleet::new(vec![set.clone()], Vec::new())?;
        let adding = Self::new("", Check::new("", Date::ZERO, 0.0));
        let mut files = Vec::new();
        for new in &model_rows(&only)? {
            files.push(adding.file(folder, new)?);
        }
        FolderSpec::default().read_with(folder, &files)?;
        Ok(Pending::commit(folder, files, Vec::new())?)
    }

    fn file(&self, folder: &Path, new: &NewRows) -> Result<StagedFile, AdditionError> {
        let parts = folder.join(READINGS.name);
        let mut edit = if new.schema.name == READINGS.name && parts.is_dir() {
            TableEdit::new_parquet(self.free_part(&parts), READINGS)
        } else {
            TableEdit::unjudged(folder, new.schema)?
        };
        edit.append_all(new);
        Ok(edit.finish()?.stage()?)
    }

    /// A name for the check's own file in `readings/` that nothing bears yet.
    fn free_part(&self, parts: &Path) -> PathBuf {
        let plain = |letter: char| if letter.is_ascii_alphanumeric() || letter == '-' { letter } else { '_' };
        let name: String = self.check.id.chars().map(plain).take(100).collect();
        let mut path = parts.join(format!("{name}.parquet"));
        let mut count = 1;
        while path.exists() {
            count += 1;
            path = parts.join(format!("{name}-{count}.parquet"));
        }
        path
    }
}

impl StagedAddition {
    /// The fleet as it will be.
    #[must_use]
    pub fn fleet(&self) -> &Fleet {
        &self.folder.fleet
    }

    /// Puts the new tables in their places: all of them, or none. A process that is stopped meanwhile leaves a folder that reads as
    /// if all were done, and the next lock completes it. Only where a table is a link that leads out of the folder do they
    /// follow each other: a check may then stand without its readings, and the same addition made again completes it.
    ///
    /// # Errors
    /// [`AdditionError::Write`] when the file system refuses.
    pub fn commit(self) -> Result<(), AdditionError> {
        Ok(Pending::commit(&self.home, self.files, Vec::new())?)
    }
}

/// The rows of a new model in all tables that speak of models.
pub(crate) fn model_rows(only: &Fleet) -> Result<Vec<NewRows>, FleetWriteError> {
    Ok(model_tables(only)?
        .into_iter()
        .zip([LINES, SEGMENTS, ROWS, MODELS])
        .filter(|(table, _)| is_written(table))
        .map(|(table, schema)| NewRows::of(schema, table))
        .collect())
}

fn history_of(wing: Wing) -> History {
    History { wing, line_set: 0, checks: Vec::new(), actions: Vec::new(), fittings: Vec::new() }
}

/// Whether a known line set has the lines of a given one.
fn same_lines(known: &LineSet, given: &LineSet) -> Result<(), AdditionError> {
    let differs = |why: String| AdditionError::ModelDiffers { model: known.model().to_owned(), why };
    if known.model() != given.model() {
        return Err(differs(format!("this wing was given as of model `{}`", given.model())));
    }
    if known.lines().len() != given.lines().len() {
        return Err(differs(format!("{} there, {} here", known.lines().len(), given.lines().len())));
    }
    for line in given.lines() {
        let Some(there) = known.lines().iter().find(|there| there.name == line.name) else {
            return Err(differs(format!("it has no line `{}`", line.name)));
        };
        if there.row != line.row || (there.nominal_mm - line.nominal_mm).abs() > 0.5 {
            return Err(differs(format!(
                "line `{}` is in row {} with {} mm there, in row {} with {} mm here",
                line.name, there.row, there.nominal_mm, line.row, line.nominal_mm
            )));
        }
    }
    Ok(())
}

fn check_rows(wing: &str, set: &LineSet, check: &Check) -> NewRows {
    let usual = Check::new(&check.id, check.date, check.hours_h);
    let mut implied = Vec::new();
    for (name, is_usual) in [
        ("stage", check.stage == Stage::AsFound),
        ("load_n", check.load_n.total_cmp(&usual.load_n).is_eq()),
        ("datum_mm", check.datum_mm == 0.0),
        ("temperature_c", check.temperature_c.total_cmp(&usual.temperature_c).is_eq()),
    ] {
        if is_usual {
            implied.push(name);
        }
    }
    NewRows { schema: CHECKS, table: CheckRow::table(&[check_row(wing, set, check)]), implied }
}

fn reading_rows(set: &LineSet, check: &Check) -> NewRows {
    let all = &check.readings;
    let row = |reading: &'_ Reading| ReadingRow {
        check: Some(check.id.as_str().into()),
        side: Some(reading.side),
        line: set.lines().get(reading.line).map(|line| line.name.as_str().into()),
        reading_mm: Some(reading.reading_mm),
        repeat: Some(reading.repeat),
        operator: reading.operator.clone().map(Into::into),
        ..ReadingRow::default()
    };
    let table = ReadingRow::table(&all.iter().map(row).collect::<Vec<_>>());
    let once = all.iter().all(|reading| reading.repeat == 1);
    NewRows { schema: READINGS, table, implied: if once { vec!["repeat"] } else { Vec::new() } }
}
