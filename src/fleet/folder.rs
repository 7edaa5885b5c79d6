//! Reading a fleet folder.

use std::path::Path;

use super::action_table::{OfWing, read_actions, read_fittings};
use super::atomic::StagedFile;
use super::catalogue::{Catalogue, CatalogueTables};
use super::check_table::Checks;
use super::fault::{FaultList, FleetReadError};
use super::grid::Loaded;
use super::line_draft::LineDraft;
use super::reading_table::read_readings;
use super::schema::{
    ACTIONS, CHECKS, FITTINGS, LINES, MODELS, ORDER, READINGS, RISERS, ROWS, SEGMENTS, TableSchema, WINGS,
};
use super::source::Source;
use super::wing_table::{WingEntry, Wings};
use crate::check::{Fleet, History};
use crate::wing::{Fibre, LineSet};

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
        fn needed(source: &mut Source<'_>, schema: TableSchema) -> Loaded {
            source.needed(schema)
        }
        let mut faults = FaultList::default();
        let Some(mut tables) = self.tables(folder, staged, &mut faults, needed) else {
            return Err(FleetReadError::Faulty(faults));
        };
        read_readings(&tables.readings, &tables.wings, &mut tables.checks, &mut faults);
        let notes = std::mem::take(&mut tables.notes);
        if faults.is_empty() {
            match tables.assemble(&self.fibres) {
                Ok(fleet) => return Ok(Folder { fleet, notes }),
                Err(Unfit { table, why }) => faults.add(table, 0, "", why, format_args!("tables that fit together")),
            }
        }
        Err(FleetReadError::Faulty(faults.sorted(&ORDER)))
    }

    /// Reads all tables but the readings, for which `readings` says what is to be done. `None`: there is no folder.
    pub(super) fn tables<R>(
        &self,
        folder: &Path,
        staged: &[StagedFile],
        faults: &mut FaultList,
        readings: impl FnOnce(&mut Source<'_>, TableSchema) -> R,
    ) -> Option<FolderTables<R>> {
        if !folder.is_dir() {
            faults.add("", 0, "", folder.display(), format_args!("a folder with the tables of a fleet"));
            return None;
        }
        let mut source = Source { folder, covariates: &self.covariates, staged, faults, notes: Vec::new() };
        let tables = CatalogueTables {
            lines: source.needed(LINES),
            segments: source.load(SEGMENTS),
            rows: source.load(ROWS),
            models: source.load(MODELS),
        };
        let wing_table = source.needed(WINGS);
        let check_table = source.needed(CHECKS);
        let riser_table = source.load(RISERS);
        let action_table = source.load(ACTIONS);
        let fitting_table = source.load(FITTINGS);
        let readings = readings(&mut source, READINGS);
        let mut notes = source.notes;

        let catalogue = Catalogue::read(&tables, faults);
        let wings = Wings::read(&wing_table, &catalogue, &self.covariates, faults);
        let mut checks = Checks::read(&check_table, &wings, faults);
        checks.read_risers(&riser_table, faults);
        let actions = read_actions(&action_table, &wings, &checks, faults);
        let fittings = read_fittings(&fitting_table, &wings, faults);
        for draft in wings.drafts.iter().filter(|draft| draft.assumed_spans() > 0) {
            let version = draft.version.as_ref().map(|version| format!(" ({version})")).unwrap_or_default();
            notes.push(format!(
                "Model `{}`{version}: the span of {} of {} lines is assumed from their rank.",
                draft.model,
                draft.assumed_spans(),
                draft.line_count()
            ));
        }
        Some(FolderTables { wings, checks, actions, fittings, notes, readings })
    }

    /// The user's own materials.
    pub(super) fn own_fibres(&self) -> &[Fibre] {
        &self.fibres
    }
}

/// The tables of a folder; `R` is what became of the readings.
pub(super) struct FolderTables<R> {
    pub(super) wings: Wings,
    pub(super) checks: Checks,
    actions: Vec<OfWing<crate::check::Action>>,
    fittings: Vec<OfWing<crate::check::Fitting>>,
    pub(super) notes: Vec<String>,
    pub(super) readings: R,
}

/// A contradiction that the checks of single tables did not foresee.
pub(super) struct Unfit {
    pub(super) table: &'static str,
    pub(super) why: String,
}

/// Line sets as they were read, finished.
pub(super) fn finish_sets(drafts: Vec<LineDraft>, fibres: &[Fibre]) -> Result<Vec<LineSet>, Unfit> {
    let mut sets = Vec::with_capacity(drafts.len());
    for draft in drafts {
        let set = draft.finish().map_err(|error| Unfit { table: LINES.name, why: error.to_string() })?;
        sets.push(set.with_fibres(fibres.to_vec()));
    }
    Ok(sets)
}

impl<R> FolderTables<R> {
    /// The fleet that the tables make.
    pub(super) fn assemble(self, fibres: &[Fibre]) -> Result<Fleet, Unfit> {
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
