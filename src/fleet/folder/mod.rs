//! Reading a fleet folder: grids understood, table by table, and put together as a fleet.
//!
//! `lines`, `segments` and `catalogue` have the models, `line_draft` a line set on its way; `wings`, `checks`, `readings`,
//! `actions` and `events` the rest of the folder; `materials`, `planform`, `steps` and `given` are files beside it.

pub(super) mod actions;
pub(super) mod catalogue;
pub(super) mod checks;
pub(super) mod events;
pub(super) mod given;
pub(super) mod line_draft;
pub(super) mod lines;
pub(super) mod materials;
pub(super) mod planform;
pub(super) mod reading_pieces;
pub(super) mod readings;
pub(super) mod segments;
pub(super) mod steps;
pub(super) mod wings;

use std::collections::{BTreeSet, HashMap};
use std::path::Path;

use crate::check::{Fleet, History};
use crate::fleet::read::alike::{Names, notes_on_capitals, report_alike, report_hidden};
use crate::fleet::read::fault::{FaultList, FleetReadError};
use crate::fleet::read::grid::Loaded;
use crate::fleet::read::source::{Source, left_out_note};
use crate::fleet::read::stillness::read_still;
use crate::fleet::schema::{
    ACTIONS, CHECKS, EVENTS, FITTINGS, FOLDER, LINES, MODELS, ORDER, READINGS, RISERS, ROWS, SEGMENTS, TableSchema,
    WINGS,
};
use crate::fleet::write::atomic::StagedFile;
use crate::fleet::write::pending::{PENDING_FILE, Pending};
use crate::wing::{CovariateName, Fibre, LineSet};
use actions::{Fittings, OfWing, read_actions, read_fittings};
use catalogue::Catalogue;
use checks::Checks;
use events::read_events;
use line_draft::LineDraft;
use reading_pieces::ReadingPieces;
use readings::read_readings;
use wings::{WingEntry, Wings};

/// A file of this name in a folder says that its tables are the bundled invented demo.
pub const DEMO_MARK: &str = "DEMO";

/// Whether a folder is marked as the bundled invented demo.
#[must_use]
pub fn is_demo_folder(folder: &Path) -> bool {
    folder.join(DEMO_MARK).is_file()
}

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
    /// As wings have them, and their columns.
    covariates: Vec<String>,
    covariate_columns: Vec<String>,
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
    /// Columns of `wings` to read as covariates: `COLUMN` as a number, `COLUMN=LEVEL` as whether the text in it is that level.
    /// A `:MATERIAL` behind it is the model's matter.
    #[must_use]
    pub fn covariates<I>(mut self, names: I) -> Self
    where
        I: IntoIterator,
        I::Item: Into<String>,
    {
        let names: Vec<String> = names.into_iter().map(Into::into).collect();
        let each = |part: for<'a> fn(CovariateName<'a>) -> &'a str| {
            let parts: BTreeSet<&str> = names.iter().map(|name| part(CovariateName::parse(name))).collect();
            parts.into_iter().map(str::to_owned).collect()
        };
        self.covariates = each(|name| name.of_wing);
        self.covariate_columns = each(|name| name.column);
        self
    }

    setters! {
        /// Materials of the user's own, which go before the documented ones of the same name.
        fibres: Vec<Fibre>;
    }

    /// Reads the tables of a folder: each as `NAME.csv` or `NAME.parquet`, readings also as Parquet files in `readings/`.
    ///
    /// # Errors
    /// [`FleetReadError`] with every fault of every table, in one go.
    pub fn read(&self, folder: &Path) -> Result<Folder, FleetReadError> {
        read_still(folder, || self.read_with(folder, &[]))
    }

    /// Reads a folder as it will be once some staged files are in their places.
    pub(crate) fn read_with(&self, folder: &Path, staged: &[StagedFile]) -> Result<Folder, FleetReadError> {
        fn in_pieces(source: &mut Source<'_>, schema: TableSchema) -> ReadingPieces {
            ReadingPieces::Files(source.locate_needed(schema))
        }
        let mut faults = FaultList::default();
        let Some(loaded) = self.load(folder, staged, &mut faults, in_pieces) else {
            return Err(FleetReadError::Faulty(faults));
        };
        self.judge(loaded, faults)
    }

    /// Makes a fleet of tables, or lists all their faults.
    pub(crate) fn judge(
        &self,
        loaded: LoadedTables<ReadingPieces>,
        mut faults: FaultList,
    ) -> Result<Folder, FleetReadError> {
        let mut tables = self.understood(loaded, Fittings::Kept, &mut faults);
        let left_out = read_readings(&tables.readings, &tables.wings, &mut tables.checks, &mut faults);
        let mut notes = Vec::from_iter(left_out_note(READINGS.name, left_out.iter().collect()));
        notes.append(&mut tables.notes);
        if faults.is_empty() {
            match tables.assemble(&self.fibres) {
                Ok(fleet) => return Ok(Folder { fleet, notes }),
                Err(Unfit { table, why }) => faults.add(table, 0, "", why, format_args!("tables that fit together")),
            }
        }
        Err(FleetReadError::Faulty(faults.sorted(&ORDER)))
    }

    /// Reads all tables but the readings, for which `readings` says what is to be done. `None`: there is no folder.
    pub(crate) fn tables<R>(
        &self,
        folder: &Path,
        staged: &[StagedFile],
        faults: &mut FaultList,
        readings: impl FnOnce(&mut Source<'_>, TableSchema) -> R,
    ) -> Option<FolderTables<R>> {
        let loaded = self.load(folder, staged, faults, readings)?;
        // what hangs on the links says nothing of wear: it is judged like every table and left
        Some(self.understood(loaded, Fittings::Judged, faults))
    }

    /// The tables of a folder, not yet understood.
    fn load<R>(
        &self,
        folder: &Path,
        staged: &[StagedFile],
        faults: &mut FaultList,
        readings: impl FnOnce(&mut Source<'_>, TableSchema) -> R,
    ) -> Option<LoadedTables<R>> {
        if !folder.is_dir() {
            faults.add("", 0, "", folder.display(), format_args!("a folder with the tables of a fleet"));
            return None;
        }
        let (moved, gone) = match Pending::read(folder) {
            Ok(pending) => (pending.moves(folder), pending.removals(folder)),
            Err(error) => {
                faults.add("", 0, PENDING_FILE, error, format_args!("a record of tables about to be put in place"));
                return None;
            }
        };
        let covariates = &self.covariate_columns;
        let mut source = Source { folder, covariates, staged, moved, gone, faults, notes: Vec::new() };
        let mut short = ShortTables::default();
        for schema in FOLDER.into_iter().filter(|schema| schema.name != READINGS.name) {
            short.put(schema, if schema.is_needed() { source.needed(schema) } else { source.load(schema) });
        }
        Some(LoadedTables { short, readings: readings(&mut source, READINGS), notes: source.notes })
    }

    fn understood<R>(&self, loaded: LoadedTables<R>, fittings: Fittings, faults: &mut FaultList) -> FolderTables<R> {
        let mut notes = loaded.report_names(faults);
        let short = &loaded.short;
        let catalogue = Catalogue::read(short, faults);
        let mut wings = Wings::read(short.of(WINGS), &catalogue, &self.covariates, faults);
        let mut checks = Checks::read(short.of(CHECKS), &wings, faults);
        notes.append(&mut checks.notes);
        checks.read_risers(short.of(RISERS), faults);
        read_events(short.of(EVENTS), &mut wings, faults);
        let actions = read_actions(short.of(ACTIONS), &wings, &checks, faults);
        let fittings = read_fittings(short.of(FITTINGS), &wings, fittings, faults);
        for draft in wings.drafts.iter().filter(|draft| draft.assumed_spans() > 0) {
            let version = draft.version.as_ref().map(|version| format!(" ({version})")).unwrap_or_default();
            notes.push(format!(
                "Model `{}`{version}: the span of {} of {} lines is assumed from their rank.",
                draft.model,
                draft.assumed_spans(),
                draft.line_count()
            ));
        }
        FolderTables { wings, checks, actions, fittings, notes, readings: loaded.readings }
    }

    pub(crate) fn covariate_columns(&self) -> &[String] {
        &self.covariate_columns
    }

    /// The user's own materials.
    pub(crate) fn own_fibres(&self) -> &[Fibre] {
        &self.fibres
    }
}

/// The tables of a folder; `R` is what became of the readings.
pub(crate) struct FolderTables<R> {
    pub(crate) wings: Wings,
    pub(crate) checks: Checks,
    actions: Vec<OfWing<crate::check::Action>>,
    fittings: Vec<OfWing<crate::check::Fitting>>,
    pub(crate) notes: Vec<String>,
    pub(crate) readings: R,
}

/// The tables of a fleet, as they were read; `R` is what became of the readings.
pub(crate) struct LoadedTables<R> {
    pub(crate) short: ShortTables,
    pub(crate) readings: R,
    pub(crate) notes: Vec<String>,
}

/// The tables of a fleet but the readings, by name.
#[derive(Debug, Default)]
pub(crate) struct ShortTables(HashMap<&'static str, Loaded>);

impl ShortTables {
    pub(crate) fn put(&mut self, schema: TableSchema, loaded: Loaded) {
        self.0.insert(schema.name, loaded);
    }

    pub(crate) fn of(&self, schema: TableSchema) -> &Loaded {
        static ABSENT: Loaded = Loaded::Absent;
        self.0.get(schema.name).unwrap_or(&ABSENT)
    }
}

impl<R> LoadedTables<R> {
    /// Names with characters that are not seen, and names that look alike.
    fn report_names(&self, faults: &mut FaultList) -> Vec<String> {
        let mut notes = self.notes.clone();
        for schema in [LINES, SEGMENTS, ROWS, MODELS, WINGS, CHECKS] {
            report_hidden(self.short.of(schema), &TEXTS, faults);
        }
        for (schema, column, within) in [
            (LINES, "model", None),
            (LINES, "line", Some("model")),
            (LINES, "material", None),
            (SEGMENTS, "segment", Some("model")),
            (SEGMENTS, "material", None),
            (WINGS, "wing", None),
            (CHECKS, "check", None),
        ] {
            report_alike(self.short.of(schema), Names { column, within }, faults);
        }
        for (schema, column) in [(SEGMENTS, "material"), (WINGS, "wing"), (CHECKS, "check")] {
            notes_on_capitals(self.short.of(schema), column, &mut notes);
        }
        notes
    }
}

/// A contradiction that the checks of single tables did not foresee.
pub(crate) struct Unfit {
    pub(crate) table: &'static str,
    pub(crate) why: String,
}

/// Line sets as they were read, finished.
pub(crate) fn finish_sets(drafts: Vec<LineDraft>, fibres: &[Fibre]) -> Result<Vec<LineSet>, Unfit> {
    let mut sets = Vec::with_capacity(drafts.len());
    for draft in drafts {
        let set = draft.finish().map_err(|error| Unfit { table: LINES.name, why: error.to_string() })?;
        sets.push(set.with_fibres(fibres.to_vec()));
    }
    Ok(sets)
}

impl<R> FolderTables<R> {
    /// The fleet that the tables make.
    pub(crate) fn assemble(self, fibres: &[Fibre]) -> Result<Fleet, Unfit> {
        let sets = finish_sets(self.wings.drafts, fibres)?;
        let history = |entry: WingEntry| {
            let line_set = entry.set.unwrap_or(usize::MAX);
            History { wing: entry.wing, line_set, checks: Vec::new(), actions: Vec::new(), fittings: Vec::new() }
        };
        let mut histories: Vec<History> = self.wings.entries.into_iter().map(history).collect();
        for mut entry in self.checks.entries {
            entry.check.readings.shrink_to_fit();
            if let Some(history) = entry.wing.and_then(|wing| histories.get_mut(wing)) {
                history.checks.push(entry.check);
            }
        }
        for OfWing { wing, what } in self.actions {
            histories.get_mut(wing).into_iter().for_each(|history| history.actions.push(what.clone()));
        }
        for OfWing { wing, what } in self.fittings {
            histories.get_mut(wing).into_iter().for_each(|history| history.fittings.push(what.clone()));
        }
        Fleet::new(sets, histories).map_err(|error| Unfit { table: WINGS.name, why: error.to_string() })
    }
}
