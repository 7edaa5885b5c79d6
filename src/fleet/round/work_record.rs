//! Work done on wings, written into their fleet folder.

use std::collections::HashMap;
use std::path::Path;

use crate::check::{Action, Fitting, History};
use crate::fleet::edit::table::{ChangedTable, TableEdit};
use crate::fleet::read::grid::Grid;
use crate::fleet::schema::{ACTIONS, FITTINGS, Value};
use crate::fleet::write::atomic::FleetWriteError;
use crate::fleet::write::lock::FolderLock;
use crate::fleet::write::pending::Pending;
use crate::fleet::write::rows::{action_row, fitting_row, segment_name};
use crate::wing::LineSet;

/// What was done to one wing.
#[derive(Debug, Clone, PartialEq)]
pub struct WingWork<'a> {
    /// The wing's line set.
    pub set: &'a LineSet,
    /// The wing as it was read from the folder.
    pub history: &'a History,
    /// Actions to add.
    pub actions: Vec<Action>,
    /// What hangs on its links now, all of it; what is not in the folder or differs from it is written.
    pub fittings: Vec<Fitting>,
}

/// How much was written.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct WorkRecord {
    /// Rows added to `actions`.
    pub actions: usize,
    /// Rows of `fittings` that were changed.
    pub fittings_changed: usize,
    /// Rows added to `fittings`.
    pub fittings_new: usize,
}

/// Writes work into a fleet folder: its actions at the end of `actions`, and `fittings` kept up to date. Whatever else the
/// two tables hold stays as it is, unknown columns and, in CSV, every byte of the rows that are not changed. A table that
/// is missing is made. The lock of the folder says that nobody else is writing.
///
/// Both files are made ready first, then the file `.linedrift-pending` says so, then they are put in place. Stopped
/// before that file is there, nothing has happened; stopped after it, the folder reads as if all were done, and the next
/// one who takes its lock completes it.
///
/// # Errors
/// [`FleetWriteError`] when a table cannot be read or kept as it is, a segment has no name in the tables, or the file system
/// refuses.
pub fn record_work(folder: &Path, works: &[WingWork<'_>], _lock: &FolderLock) -> Result<WorkRecord, FleetWriteError> {
    let mut record = WorkRecord::default();
    let mut ready = Vec::new();
    if works.iter().any(|work| !work.actions.is_empty()) {
        let mut table = TableEdit::open(folder, ACTIONS)?;
        for work in works {
            for action in &work.actions {
                table.append(action_cells(work, action)?);
                record.actions += 1;
            }
        }
        ready.push(table.finish()?);
    }
    let changed: Vec<(&WingWork<'_>, &Fitting)> = works
        .iter()
        .flat_map(|work| {
            work.fittings.iter().filter(|fitting| !work.history.fittings.contains(fitting)).map(move |f| (work, f))
        })
        .collect();
    if !changed.is_empty() {
        let mut table = TableEdit::open(folder, FITTINGS)?;
        let mut known: HashMap<[String; 3], usize> = HashMap::new();
        for (at, found) in table.grid.iter().flat_map(Grid::records).enumerate() {
            let cell = |name| found.text(name).map(std::borrow::Cow::into_owned).unwrap_or_default();
            // where a place appears twice, the first counts
            known.entry(["wing", "side", "segment"].map(cell)).or_insert(at);
        }
        for (work, fitting) in changed {
            let wing = &work.history.wing.id;
            let segment = named(work.set, fitting.segment)?;
            let side = fitting.side.name();
            let place = known.get(&[wing.clone(), side.to_owned(), segment.clone()]).copied();
            let before = work
                .history
                .fittings
                .iter()
                .find(|before| before.side == fitting.side && before.segment == fitting.segment);
            let now = rounded(fitting);
            let row = fitting_row(wing, Some(segment), &now).cells();
            if let Some(at) = place {
                let there =
                    before.map(|before| fitting_row(wing, None, &rounded(before)).cells()).unwrap_or_default();
                let naming = ["wing", "side", "segment"];
                for (name, value) in row.into_iter().filter(|cell| !naming.contains(&cell.0) && !there.contains(cell))
                {
                    table.set(at, name, value);
                }
                record.fittings_changed += 1;
            } else {
                table.append(row);
                record.fittings_new += 1;
            }
        }
        ready.push(table.finish()?);
    }
    let staged = ready.iter().map(ChangedTable::stage).collect::<Result<Vec<_>, _>>()?;
    Pending::commit(folder, staged, Vec::new())?;
    Ok(record)
}

fn named(set: &LineSet, segment: usize) -> Result<String, FleetWriteError> {
    segment_name(set, segment).ok_or_else(|| FleetWriteError::NotRepresentable {
        table: ACTIONS.name,
        what: format!("segment {segment} of model {}", set.model()),
        why: "it has no name in the tables",
    })
}

fn action_cells(work: &WingWork<'_>, action: &Action) -> Result<Vec<(&'static str, Value)>, FleetWriteError> {
    let segment = action.segment.map(|segment| named(work.set, segment)).transpose()?;
    // the table counts turns; whether they were laid or taken out is in the action
    let action = Action { turns: action.turns.map(f64::abs), ..action.clone() };
    Ok(action_row(&work.history.wing.id, segment, &action).cells())
}

/// To a micrometre, so that no tail of digits gets into a table.
fn rounded(fitting: &Fitting) -> Fitting {
    let round = |value: Option<f64>| value.map(|value| (value * 1000.0).round() / 1000.0);
    Fitting {
        turns: round(fitting.turns),
        spare_mm: round(fitting.spare_mm),
        link_diameter_mm: round(fitting.link_diameter_mm),
        step_mm: round(fitting.step_mm),
        ..*fitting
    }
}
