//! Reading a fleet folder.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use super::action_table::{OfWing, read_actions, read_fittings};
use super::alike::{Names, notes_on_capitals, report_alike, report_hidden};
use super::atomic::StagedFile;
use super::catalogue::{Catalogue, CatalogueTables};
use super::check_table::Checks;
use super::csv::read_csv;
use super::fault::{FaultList, FleetReadError};
use super::grid::{Grid, Loaded};
use super::parquet::read_parquet;
use super::pending::{Move, PENDING_FILE, Pending};
use super::reading_table::read_readings;
use super::schema::{
    ACTIONS, CHECKS, FITTINGS, LINES, MODELS, ORDER, READINGS, RISERS, ROWS, SEGMENTS, TableSchema, WINGS,
};
use super::wing_table::{WingEntry, Wings};
use crate::check::{Fleet, History};
use crate::wing::Fibre;

/// Columns of text that the program does not hold against a list of its own.
const TEXTS: [&str; 8] = ["model", "line", "main", "material", "table_version", "segment", "wing", "check"];

/// How to read a fleet folder.
///
/// | setting | default | reason |
/// |---|---|---|
/// | `covariates` | none | columns that nobody asked for are left out |
/// | `fibres` | none | the documented materials, see [`crate::wing::fibres`] |
///
/// # Examples
/// ```no_run
/// use linedrift::fleet::FolderSpec;
/// let folder = FolderSpec::default().read("loft".as_ref())?;
/// println!("{} wings", folder.fleet.histories().len());
/// # Ok::<(), linedrift::fleet::FleetReadError>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FolderSpec {
    covariates: Vec<String>,
    fibres: Vec<Fibre>,
}

/// A fleet folder, read.
#[derive(Debug, Clone, PartialEq)]
pub struct Folder {
    /// The fleet.
    pub fleet: Fleet,
    /// What was left out or assumed, as sentences.
    pub notes: Vec<String>,
}

impl FolderSpec {
    /// Columns of `wings` to read as numeric covariates, besides the known ones.
    #[must_use]
    pub fn covariates<I>(mut self, names: I) -> Self
    where
        I: IntoIterator,
        I::Item: Into<String>,
    {
        self.covariates = names.into_iter().map(Into::into).collect();
        self.covariates.sort();
        self.covariates.dedup();
        self
    }

    /// Materials of the user's own, which go before the documented ones of the same name.
    #[must_use]
    pub fn fibres(mut self, fibres: Vec<Fibre>) -> Self {
        self.fibres = fibres;
        self
    }

    /// Reads the tables of a folder: each as `NAME.csv` or `NAME.parquet`, readings also as Parquet files in `readings/`.
    ///
    /// # Errors
    /// [`FleetReadError`] with every fault of every table, in one go.
    pub fn read(&self, folder: &Path) -> Result<Folder, FleetReadError> {
        self.read_with(folder, &[])
    }

    /// Reads a folder as it will be once some staged files are in their places.
    pub(super) fn read_with(&self, folder: &Path, staged: &[StagedFile]) -> Result<Folder, FleetReadError> {
        let mut faults = FaultList::default();
        if !folder.is_dir() {
            faults.add("", 0, "", folder.display(), format_args!("a folder with the tables of a fleet"));
            return Err(FleetReadError::Faulty(faults));
        }
        let (moved, gone) = match Pending::read(folder) {
            Ok(pending) => (pending.moves(folder), pending.removals(folder)),
            Err(error) => {
                faults.add("", 0, PENDING_FILE, error, format_args!("a record of tables about to be put in place"));
                return Err(FleetReadError::Faulty(faults));
            }
        };
        let mut source = Source {
            folder,
            covariates: &self.covariates,
            staged,
            moved,
            gone,
            faults: &mut faults,
            notes: Vec::new(),
        };
        let loaded = LoadedTables {
            catalogue: CatalogueTables {
                lines: source.needed(LINES),
                segments: source.load(SEGMENTS),
                rows: source.load(ROWS),
                models: source.load(MODELS),
            },
            wings: source.needed(WINGS),
            checks: source.needed(CHECKS),
            risers: source.load(RISERS),
            actions: source.load(ACTIONS),
            fittings: source.load(FITTINGS),
            readings: source.needed(READINGS),
        };
        let notes = source.notes;
        self.judge(&loaded, notes, faults)
    }

    pub(super) fn asked_covariates(&self) -> &[String] {
        &self.covariates
    }

    /// Makes a fleet of tables, or lists all their faults.
    pub(super) fn judge(
        &self,
        loaded: &LoadedTables,
        mut notes: Vec<String>,
        mut faults: FaultList,
    ) -> Result<Folder, FleetReadError> {
        loaded.report_names(&mut notes, &mut faults);
        let catalogue = Catalogue::read(&loaded.catalogue, &mut faults);
        let wings = Wings::read(&loaded.wings, &catalogue, &self.covariates, &mut faults);
        let mut checks = Checks::read(&loaded.checks, &wings, &mut faults);
        checks.read_risers(&loaded.risers, &mut faults);
        let actions = read_actions(&loaded.actions, &wings, &checks, &mut faults);
        let fittings = read_fittings(&loaded.fittings, &wings, &mut faults);
        read_readings(&loaded.readings, &wings, &mut checks, &mut faults);
        for draft in wings.drafts.iter().filter(|draft| draft.assumed_spans() > 0) {
            let version = draft.version.as_ref().map(|version| format!(" ({version})")).unwrap_or_default();
            notes.push(format!(
                "Model `{}`{version}: the span of {} of {} lines is assumed from their rank.",
                draft.model,
                draft.assumed_spans(),
                draft.line_count()
            ));
        }
        if faults.is_empty() {
            match assemble(wings, checks, actions, fittings, &self.fibres) {
                Ok(fleet) => return Ok(Folder { fleet, notes }),
                Err(Unfit { table, why }) => faults.add(table, 0, "", why, format_args!("tables that fit together")),
            }
        }
        Err(FleetReadError::Faulty(faults.sorted(&ORDER)))
    }
}

/// The tables of a fleet, as they were read.
pub(super) struct LoadedTables {
    pub(super) catalogue: CatalogueTables,
    pub(super) wings: Loaded,
    pub(super) checks: Loaded,
    pub(super) risers: Loaded,
    pub(super) actions: Loaded,
    pub(super) fittings: Loaded,
    pub(super) readings: Loaded,
}

impl LoadedTables {
    /// Names with characters that are not seen, and names that look alike.
    fn report_names(&self, notes: &mut Vec<String>, faults: &mut FaultList) {
        let tables = &self.catalogue;
        for loaded in [&tables.lines, &tables.segments, &tables.rows, &tables.models, &self.wings, &self.checks] {
            report_hidden(loaded, &TEXTS, faults);
        }
        report_hidden(&self.readings, &["operator"], faults);
        for (loaded, column, within) in [
            (&tables.lines, "model", None),
            (&tables.lines, "line", Some("model")),
            (&tables.lines, "material", None),
            (&tables.segments, "segment", Some("model")),
            (&tables.segments, "material", None),
            (&self.wings, "wing", None),
            (&self.checks, "check", None),
        ] {
            report_alike(loaded, Names { column, within }, faults);
        }
        notes_on_capitals(&tables.segments, "material", notes);
        notes_on_capitals(&self.wings, "wing", notes);
        notes_on_capitals(&self.checks, "check", notes);
    }
}

/// A note that names the columns that were left out.
pub(super) fn left_out_note(name: &str, grids: &[Grid]) -> Option<String> {
    let left_out: BTreeSet<&String> = grids.iter().flat_map(|grid| &grid.left_out).collect();
    if left_out.is_empty() {
        return None;
    }
    let quote = |column: &&String| if column.is_empty() { "(no name)".to_owned() } else { format!("`{column}`") };
    let columns: Vec<String> = left_out.iter().map(quote).collect();
    let word = if columns.len() == 1 { "column" } else { "columns" };
    Some(format!("Table `{name}`: left out the {word} {}.", columns.join(", ")))
}

/// The bytes of a file. What is no file (a folder, a pipe, a device) is refused: reading it may never end.
fn read_file(path: &Path) -> std::io::Result<Vec<u8>> {
    if fs::metadata(path)?.is_file() {
        fs::read(path)
    } else {
        Err(std::io::Error::new(std::io::ErrorKind::InvalidInput, "not a file"))
    }
}

/// A contradiction that the checks of single tables did not foresee.
struct Unfit {
    table: &'static str,
    why: String,
}

fn assemble(
    wings: Wings,
    checks: Checks,
    actions: Vec<OfWing<crate::check::Action>>,
    fittings: Vec<OfWing<crate::check::Fitting>>,
    fibres: &[Fibre],
) -> Result<Fleet, Unfit> {
    let mut sets = Vec::with_capacity(wings.drafts.len());
    for draft in wings.drafts {
        let set = draft.finish().map_err(|error| Unfit { table: LINES.name, why: error.to_string() })?;
        sets.push(set.with_fibres(fibres.to_vec()));
    }
    let history = |entry: WingEntry| {
        let line_set = entry.set.unwrap_or(usize::MAX);
        History { wing: entry.wing, line_set, checks: Vec::new(), actions: Vec::new(), fittings: Vec::new() }
    };
    let mut histories: Vec<History> = wings.entries.into_iter().map(history).collect();
    for mut entry in checks.entries {
        entry.check.readings.shrink_to_fit();
        if let Some(history) = entry.wing.and_then(|wing| histories.get_mut(wing)) {
            history.checks.push(entry.check);
        }
    }
    for OfWing { wing, what } in actions {
        histories.get_mut(wing).into_iter().for_each(|history| history.actions.push(what.clone()));
    }
    for OfWing { wing, what } in fittings {
        histories.get_mut(wing).into_iter().for_each(|history| history.fittings.push(what.clone()));
    }
    Fleet::new(sets, histories).map_err(|error| Unfit { table: WINGS.name, why: error.to_string() })
}

/// The files of a folder.
struct Source<'a> {
    folder: &'a Path,
    covariates: &'a [String],
    staged: &'a [StagedFile],
    /// Tables that were made ready and not yet put in place when a process stopped.
    moved: Vec<Move>,
    /// Tables that were about to be removed then.
    gone: Vec<PathBuf>,
    faults: &'a mut FaultList,
    notes: Vec<String>,
}

impl Source<'_> {
    /// Where the bytes of a file stand.
    fn at<'b>(&'b self, path: &'b Path) -> &'b Path {
        let staged = self.staged.iter().find(|staged| staged.path() == path).map(StagedFile::temporary);
        let moved = || self.moved.iter().find(|moved| moved.to == path).map(|moved| moved.from.as_path());
        staged.or_else(moved).unwrap_or(path)
    }

    /// A table that must be there.
    fn needed(&mut self, schema: TableSchema) -> Loaded {
        let loaded = self.load(schema);
        if matches!(loaded, Loaded::Absent) {
            let name = schema.name;
            self.faults.add(name, 0, "", "", format_args!("a file `{name}.csv` or `{name}.parquet`"));
            return Loaded::Broken;
        }
        loaded
    }

    fn load(&mut self, schema: TableSchema) -> Loaded {
        let name = schema.name;
        let csv = self.folder.join(format!("{name}.csv"));
        let parquet = self.folder.join(format!("{name}.parquet"));
        let parts = self.folder.join(name);
        let in_parts = schema.name == READINGS.name && parts.is_dir();
        // a link that leads nowhere is there, and is no table
        let is_there = |path: &Path| {
            (path.exists() || path.is_symlink() || self.moved.iter().any(|moved| moved.to == path))
                && !self.gone.iter().any(|gone| gone == path)
        };
        let (csv_is_there, parquet_is_there) = (is_there(&csv), is_there(&parquet));
        let there: Vec<String> = [(csv_is_there, ".csv"), (parquet_is_there, ".parquet"), (in_parts, "/")]
            .iter()
            .filter(|(is_there, _)| *is_there)
            .map(|(_, ending)| format!("{name}{ending}"))
            .collect();
        if there.len() > 1 {
            self.faults.add(name, 0, "", there.join(", "), format_args!("one of these, not several"));
            return Loaded::Broken;
        }
        let extra = if name == WINGS.name { self.covariates } else { &[] };
        let grids = if csv_is_there {
            match read_file(self.at(&csv)) {
                Ok(bytes) => vec![read_csv(&bytes, schema, extra, self.faults)],
                Err(error) => {
                    self.faults.add(name, 0, "", error, format_args!("a file that can be read"));
                    vec![None]
                }
            }
        } else if parquet_is_there {
            let path = self.at(&parquet).to_owned();
            vec![read_parquet(&path, name, schema, extra, self.faults)]
        } else if in_parts {
            let files = self.parts(&parts);
            let mut read = Vec::with_capacity(files.len());
            for path in &files {
                let file = path.file_name().unwrap_or_default().to_string_lossy();
                let from = self.at(path).to_owned();
                read.push(read_parquet(&from, &format!("{name}/{file}"), schema, extra, self.faults));
            }
            read
        } else {
            return Loaded::Absent;
        };
        let Some(grids) = grids.into_iter().collect::<Option<Vec<_>>>().filter(|grids| !grids.is_empty()) else {
            return Loaded::Broken;
        };
        self.notes.extend(left_out_note(name, &grids));
        Loaded::Read(grids)
    }

    /// The Parquet files of `readings/`, by name.
    fn parts(&mut self, folder: &Path) -> Vec<PathBuf> {
        let name = READINGS.name;
        let mut files = Vec::new();
        match fs::read_dir(folder) {
            Ok(entries) => {
                let paths = entries.filter_map(Result::ok).map(|entry| entry.path());
                files.extend(paths.filter(|path| path.extension().is_some_and(|ending| ending == "parquet")));
            }
            Err(error) => self.faults.add(name, 0, "", error, format_args!("a folder that can be read")),
        }
        files.extend(
            self.staged
                .iter()
                .map(|staged| staged.path().to_owned())
                .filter(|path| path.parent() == Some(folder) && !files.contains(path))
                .collect::<Vec<_>>(),
        );
        files.sort();
        if files.is_empty() {
            self.faults.add(name, 0, "", "", format_args!("at least one Parquet file in `{name}/`"));
        }
        files
    }
}
