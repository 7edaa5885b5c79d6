//! Writing a fleet as a folder of tables.

use std::collections::BTreeSet;
use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use polars::prelude::Column;

use super::atomic::{FleetWriteError, StagedFile, made_beside, sync_folder};
use super::confirmed;
use super::lock::FolderLock;
use super::output_gate::is_own;
use super::pending::Pending;
use super::schema::{ACTIONS, CHECKS, EVENTS, FITTINGS, LINES, MODELS, READINGS, RISERS, ROWS, SEGMENTS, WINGS};
use super::table::{Cells, Table, TableFormat, stage, stage_frame};
use crate::check::{Action, Check, Condition, Fitting, Fleet, History};
use crate::wing::{LineSet, ModelData, Side, WingEvent};

/// Writes the tables of a fleet into a folder, which is made where it is missing. Reading the folder back gives an equal
/// fleet, provided that each line set is followed by a wing and that the fleet is not marked as the demo.
///
/// Optional tables are written where there is something to say; an optional table of an earlier fleet in the same
/// folder, and its readings in another format, are removed, so that old and new never mix: all tables are written beside the
/// old ones first, and a process that is stopped while they are put in place is completed by the next reader or writer.
/// The folder is locked meanwhile, as by [`FolderLock::take`].
///
/// # Errors
/// [`FleetWriteError`] when the file system refuses, another process is at work in the folder, the tables have no place for
/// what the fleet says, or the folder holds recorded `actions` and the fleet has none.
pub fn write_folder(fleet: &Fleet, folder: &Path, format: TableFormat) -> Result<(), FleetWriteError> {
    let tables = short_tables(fleet)?;
    if folder.join(READINGS.name).is_dir() {
        return Err(FleetWriteError::Table {
            table: READINGS.name.to_owned(),
            why: "the folder holds readings in parts, in `readings/`; write to another folder".to_owned(),
        });
    }
    fs::create_dir_all(folder).map_err(|source| FleetWriteError::Io { path: folder.to_owned(), source })?;
    let _lock = FolderLock::take(folder)?;
    put_tables(fleet, tables, folder, format)
}

/// Writes the tables of a fleet into a folder that is locked, or that nobody knows of yet.
fn put_tables(fleet: &Fleet, tables: [Table; 10], folder: &Path, format: TableFormat) -> Result<(), FleetWriteError> {
    let (mut staged, mut stale) = (Vec::new(), Vec::new());
    for table in tables {
        let name = table.name.clone();
        let written = stage_if_said(table, folder, format)?;
        let old = stale_files(folder, &name, written.is_some().then_some(format));
        if let Some(kept) = old.iter().find(|file| name == ACTIONS.name && !is_own(folder, file)) {
            return Err(FleetWriteError::Actions { path: folder.join(kept) });
        }
        stale.extend(old);
        staged.extend(written);
    }
    staged.push(stage_frame(READINGS.name, readings(fleet), folder, format)?);
    stale.extend(stale_files(folder, READINGS.name, Some(format)));
    Pending::commit(folder, staged, stale)
}

/// Every table but `readings`, also those with nothing in them.
pub(super) fn short_tables(fleet: &Fleet) -> Result<[Table; 10], FleetWriteError> {
    let [lines, segments, rows, models] = model_tables(fleet)?;
    let [wings, checks, risers, actions, fittings, events] = wing_tables(fleet);
    let all = [lines, segments, rows, models, wings, checks, risers, actions, fittings, events];
    Ok(all.map(|table| {
        let required = required_columns(&table.name);
        table.without_empty(required)
    }))
}

/// The tables that describe models.
pub(super) fn model_tables(fleet: &Fleet) -> Result<[Table; 4], FleetWriteError> {
    let sets = first_of_each_model(fleet)?;
    Ok([lines(fleet)?, segments(&sets), rows(&sets), models(&sets)])
}

/// The tables that say something of wings, without the readings; every optional column is there.
pub(super) fn wing_tables(fleet: &Fleet) -> [Table; 6] {
    [every_wing(fleet), checks(fleet), risers(fleet), actions(fleet), fittings(fleet), events(fleet)]
}

/// Columns of a table that are written even where they are empty.
pub(super) fn required_columns(table: &str) -> &'static [&'static str] {
    let all = [LINES, SEGMENTS, ROWS, MODELS, WINGS, CHECKS, RISERS, ACTIONS, FITTINGS, EVENTS];
    all.iter().find(|schema| schema.name == table).map_or(&[], |schema| schema.required)
}

/// Whether a table is written even where it has no row.
pub(super) fn is_needed(table: &str) -> bool {
    [LINES, WINGS, CHECKS].into_iter().any(|schema| schema.name == table)
}

/// Whether a table is needed, or has something to say.
pub(super) fn is_written(table: &Table) -> bool {
    is_needed(&table.name) || table.columns.iter().any(|column| !column.data.is_empty())
}

/// Writes a table without its empty optional columns under a temporary name, an optional one only if it has a row.
fn stage_if_said(table: Table, folder: &Path, format: TableFormat) -> Result<Option<StagedFile>, FleetWriteError> {
    if !is_written(&table) {
        return Ok(None);
    }
    let required = required_columns(&table.name);
    stage(&table.without_empty(required), folder, format, Cells::Exact).map(Some)
}

/// The same, put in its place; says whether it was written.
pub(super) fn write_if_said(table: Table, folder: &Path, format: TableFormat) -> Result<bool, FleetWriteError> {
    let staged = stage_if_said(table, folder, format)?;
    let is_written = staged.is_some();
    staged.map_or(Ok(()), StagedFile::commit)?;
    Ok(is_written)
}

/// Writes a fleet into a folder that is not there yet (or is empty): whole, or not at all.
///
/// # Errors
/// [`FleetWriteError`] when the folder holds something, the file system refuses, or the tables have no place for what the
/// fleet says.
pub fn write_new_folder(fleet: &Fleet, folder: &Path, format: TableFormat) -> Result<(), FleetWriteError> {
    let tables = short_tables(fleet)?;
    in_new_folder(folder, |temporary| put_tables(fleet, tables, temporary, format))
}

/// Fills a folder under a temporary name, then gives it its own.
pub(super) fn in_new_folder<T>(
    folder: &Path,
    fill: impl FnOnce(&Path) -> Result<T, FleetWriteError>,
) -> Result<T, FleetWriteError> {
    let failed = |source| FleetWriteError::Io { path: folder.to_owned(), source };
    if folder.file_name().is_none() {
        return Err(failed(ErrorKind::InvalidInput.into()));
    }
    if folder.exists() {
        // only an empty folder can be removed so
        fs::remove_dir(folder).map_err(failed)?;
    }
    let parent = folder.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    fs::create_dir_all(parent).map_err(failed)?;
    // nothing that is there already: it may be another's, or half of what another left
    let (temporary, ()) = made_beside(folder, |path| fs::create_dir(path)).map_err(failed)?;
    let written = fill(&temporary).and_then(|filled| {
        sync_folder(&temporary);
        fs::rename(&temporary, folder).map_err(failed)?;
        Ok(filled)
    });
    if written.is_err() {
        // what is left of it is of no use
        let _ = fs::remove_dir_all(&temporary);
    }
    sync_folder(parent);
    written
}

/// A table's files in other formats than the one that is written.
fn stale_files(folder: &Path, table: &str, written: Option<TableFormat>) -> Vec<String> {
    [TableFormat::Csv, TableFormat::Parquet]
        .into_iter()
        .filter(|format| Some(*format) != written)
        .map(|format| format!("{table}.{}", format.ending()))
        .filter(|name| folder.join(name).exists())
        .collect()
}

/// The first line set of each model; versions of one model share its other tables.
fn first_of_each_model(fleet: &Fleet) -> Result<Vec<&LineSet>, FleetWriteError> {
    let mut first: Vec<&LineSet> = Vec::new();
    for set in fleet.line_sets() {
        let Some(known) = first.iter().find(|known| known.model() == set.model()) else {
            first.push(set);
            continue;
        };
        let cascades =
            known.has_cascade() == set.has_cascade() && (!set.has_cascade() || known.segments() == set.segments());
        let same = cascades && known.rows() == set.rows() && known.data() == set.data();
        if !same || known.table_version() == set.table_version() {
            return Err(FleetWriteError::NotRepresentable {
                table: if same { LINES.name } else { SEGMENTS.name },
                what: set.model().to_owned(),
                why: "two line sets of this model need different versions, and the same segments, rows and data",
            });
        }
    }
    Ok(first)
}

pub(super) fn lines(fleet: &Fleet) -> Result<Table, FleetWriteError> {
    let mut all = Vec::new();
    for set in fleet.line_sets() {
        for line in set.lines() {
            let top = set.segments().get(line.segment);
            if set.has_cascade() && top.is_none_or(|top| top.name != line.name) {
                return Err(FleetWriteError::NotRepresentable {
                    table: SEGMENTS.name,
                    what: line.name.clone(),
                    why: "a line's top segment bears the line's name",
                });
            }
            all.push((set, line, top.filter(|_| !set.has_cascade())));
        }
    }
    let table = Table::new(LINES.name)
        .text("model", all.iter().map(|(set, ..)| Some(set.model())))
        .text("line", all.iter().map(|(_, line, _)| Some(line.name.as_str())))
        .text("row", all.iter().map(|(_, line, _)| Some(line.row.name())))
        .count("rank", all.iter().map(|(_, line, _)| Some(i64::from(line.rank))))
        .number("span", all.iter().map(|(_, line, _)| (!line.span_assumed).then_some(line.span)))
        .number("chord", all.iter().map(|(_, line, _)| line.chord))
        .number("nominal_mm", all.iter().map(|(_, line, _)| Some(line.nominal_mm)))
        .text("main", all.iter().map(|(_, line, _)| line.main.as_deref()))
        .text("material", all.iter().map(|(_, _, top)| top.map(|top| top.material.as_str())))
        .number("tolerance_mm", all.iter().map(|(_, line, _)| line.tolerance_mm))
        .text("side", all.iter().map(|(_, line, _)| line.side.map(Side::name)))
        .text("table_version", all.iter().map(|(set, ..)| set.table_version()));
    Ok(table.without_empty(LINES.required))
}

fn segments(sets: &[&LineSet]) -> Table {
    let own = sets.iter().filter(|set| set.has_cascade());
    let all: Vec<_> = own.flat_map(|set| set.segments().iter().map(move |segment| (set, segment))).collect();
    let parent = |set: &LineSet, at: Option<usize>| Some(set.segments().get(at?)?.name.clone());
    Table::new(SEGMENTS.name)
        .text("model", all.iter().map(|(set, _)| Some(set.model())))
        .text("segment", all.iter().map(|(_, segment)| Some(segment.name.as_str())))
        .text("parent", all.iter().map(|(set, segment)| parent(set, segment.parent)))
        .text("material", all.iter().map(|(_, segment)| Some(segment.material.as_str())))
        .number("length_mm", all.iter().map(|(_, segment)| Some(segment.length_mm)))
        .number("diameter_mm", all.iter().map(|(_, segment)| segment.diameter_mm))
        .text("can_loop", all.iter().map(|(_, segment)| segment.can_loop.map(truth)))
        .without_empty(SEGMENTS.required)
}

fn rows(sets: &[&LineSet]) -> Table {
    let all: Vec<_> = sets.iter().flat_map(|set| set.rows().iter().map(move |row| (set, row))).collect();
    Table::new(ROWS.name)
        .text("model", all.iter().map(|(set, _)| Some(set.model())))
        .text("row", all.iter().map(|(_, row)| Some(row.row.name())))
        .number("chord", all.iter().map(|(_, row)| row.chord))
        .number("riser_mm", all.iter().map(|(_, row)| row.riser_mm))
        .without_empty(ROWS.required)
}

fn models(sets: &[&LineSet]) -> Table {
    let all: Vec<&&LineSet> = sets.iter().filter(|set| *set.data() != ModelData::default()).collect();
    Table::new(MODELS.name)
        .text("model", all.iter().map(|set| Some(set.model())))
        .number("span_m", all.iter().map(|set| set.data().span_m))
        .number("area_m2", all.iter().map(|set| set.data().area_m2))
        .number("root_chord_m", all.iter().map(|set| set.data().root_chord_m))
        .number("trim_speed_kmh", all.iter().map(|set| set.data().trim_speed_kmh))
        .number("glide", all.iter().map(|set| set.data().glide))
        .number("interval_h", all.iter().map(|set| set.data().interval_h))
        .number("interval_months", all.iter().map(|set| set.data().interval_months))
        .number("inspection_h", all.iter().map(|set| set.data().inspection_h))
        .number("inspection_months", all.iter().map(|set| set.data().inspection_months))
        .without_empty(MODELS.required)
}

pub(super) fn wings(fleet: &Fleet) -> Table {
    every_wing(fleet).without_empty(WINGS.required)
}

fn every_wing(fleet: &Fleet) -> Table {
    let all: Vec<_> = fleet.histories().iter().map(|history| &history.wing).collect();
    let mut table = Table::new(WINGS.name)
        .text("wing", all.iter().map(|wing| Some(wing.id.as_str())))
        .text("model", all.iter().map(|wing| Some(wing.model.as_str())))
        .number("mass_kg", all.iter().map(|wing| wing.mass_kg))
        .text("first_flight", all.iter().map(|wing| wing.first_flight.map(|day| day.to_string())))
        .number("hours_per_year", all.iter().map(|wing| wing.hours_per_year))
        .number("interval_h", all.iter().map(|wing| wing.interval_h))
        .number("interval_months", all.iter().map(|wing| wing.interval_months))
        .text("table_version", all.iter().map(|wing| wing.table_version.as_deref()))
        .text("use", all.iter().map(|wing| wing.service.class_of_use.as_deref()))
        .number("ground_share", all.iter().map(|wing| wing.service.ground_share))
        .number("inspection_h", all.iter().map(|wing| wing.service.inspection_h))
        .number("inspection_months", all.iter().map(|wing| wing.service.inspection_months))
        .text("inspected", all.iter().map(|wing| wing.service.inspected.map(|day| day.to_string())))
        .number("inspected_hours", all.iter().map(|wing| wing.service.inspected_h))
        .text("serial_number", all.iter().map(|wing| wing.serial_number.as_deref()))
        .text("owner", all.iter().map(|wing| wing.owner.as_deref()));
    let names: BTreeSet<&String> = all.iter().flat_map(|wing| wing.covariates.keys()).collect();
    for name in names {
        if !WINGS.required.iter().chain(WINGS.optional).any(|known| known == name) {
            table = table.number(name, all.iter().map(|wing| wing.covariates.get(name).copied()));
        }
    }
    table
}

/// Every check of the fleet beside its history.
fn every_check(fleet: &Fleet) -> Vec<(&History, &Check)> {
    fleet.histories().iter().flat_map(|history| history.checks.iter().map(move |check| (history, check))).collect()
}

fn checks(fleet: &Fleet) -> Table {
    let all = every_check(fleet);
    let table = Table::new(CHECKS.name)
        .text("check", all.iter().map(|(_, check)| Some(check.id.as_str())))
        .text("wing", all.iter().map(|(history, _)| Some(history.wing.id.as_str())))
        .text("date", all.iter().map(|(_, check)| Some(check.date.to_string())))
        .number("hours", all.iter().map(|(_, check)| Some(check.hours_h)))
        .text("stage", all.iter().map(|(_, check)| Some(check.stage.name())))
        .number("load_n", all.iter().map(|(_, check)| Some(check.load_n)))
        .number("datum_mm", all.iter().map(|(_, check)| Some(check.datum_mm)))
        .number("temperature_c", all.iter().map(|(_, check)| Some(check.temperature_c)))
        .text("condition", all.iter().map(|(_, check)| check.condition.map(Condition::name)))
        .number("brake_setting_mm", all.iter().map(|(_, check)| check.brake_setting_mm));
    if all.iter().all(|(_, check)| check.confirmed.is_empty()) {
        return table;
    }
    let cell = |(history, check): &(&History, &Check)| confirmed::cell(fleet.line_set(history), &check.confirmed);
    table.text("confirmed", all.iter().map(cell))
}

/// The readings as columns that borrow their text: it is the only long table.
pub(super) fn readings(fleet: &Fleet) -> Vec<Column> {
    let all = || {
        let each =
            fleet.histories().iter().flat_map(|history| history.checks.iter().map(move |check| (history, check)));
        each.flat_map(|(history, check)| check.readings.iter().map(move |reading| (history, check, reading)))
    };
    let line = |history: &History, at: usize| fleet.line_set(history).lines().get(at).map(|line| line.name.as_str());
    let checks: Vec<&str> = all().map(|(_, check, _)| check.id.as_str()).collect();
    let sides: Vec<&str> = all().map(|(.., reading)| reading.side.name()).collect();
    let lines: Vec<Option<&str>> = all().map(|(history, _, reading)| line(history, reading.line)).collect();
    let values: Vec<f64> = all().map(|(.., reading)| reading.reading_mm).collect();
    let mut columns = vec![
        Column::new("check".into(), checks),
        Column::new("side".into(), sides),
        Column::new("line".into(), lines),
        Column::new("reading_mm".into(), values),
    ];
    if all().any(|(.., reading)| reading.repeat != 1) {
        columns.push(Column::new("repeat".into(), all().map(|(.., reading)| reading.repeat).collect::<Vec<u32>>()));
    }
    if all().any(|(.., reading)| reading.operator.is_some()) {
        let operators: Vec<Option<&str>> = all().map(|(.., reading)| reading.operator.as_deref()).collect();
        columns.push(Column::new("operator".into(), operators));
    }
    columns
}

fn risers(fleet: &Fleet) -> Table {
    let all: Vec<_> = every_check(fleet)
        .into_iter()
        .flat_map(|(_, check)| check.risers.iter().map(move |riser| (check, riser)))
        .collect();
    Table::new(RISERS.name)
        .text("check", all.iter().map(|(check, _)| Some(check.id.as_str())))
        .text("side", all.iter().map(|(_, riser)| Some(riser.side.name())))
        .text("row", all.iter().map(|(_, riser)| Some(riser.row.name())))
        .number("datum_mm", all.iter().map(|(_, riser)| riser.datum_mm))
        .number("riser_mm", all.iter().map(|(_, riser)| riser.riser_mm))
}

/// The name by which tables call a segment: without a cascade, the line's.
pub(super) fn segment_name(set: &LineSet, at: usize) -> Option<String> {
    if set.has_cascade() {
        return set.segments().get(at).map(|segment| segment.name.clone());
    }
    set.lines().iter().find(|line| line.segment == at).map(|line| line.name.clone())
}

fn actions(fleet: &Fleet) -> Table {
    let histories = fleet.histories().iter();
    let all: Vec<(&History, &Action)> =
        histories.flat_map(|history| history.actions.iter().map(move |action| (history, action))).collect();
    let segment = |history: &History, at: Option<usize>| segment_name(fleet.line_set(history), at?);
    Table::new(ACTIONS.name)
        .text("wing", all.iter().map(|(history, _)| Some(history.wing.id.as_str())))
        .text("date", all.iter().map(|(_, action)| Some(action.date.to_string())))
        .number("hours", all.iter().map(|(_, action)| Some(action.hours_h)))
        .text("side", all.iter().map(|(_, action)| Some(action.side.name())))
        .text("segment", all.iter().map(|(history, action)| segment(history, action.segment)))
        .text("action", all.iter().map(|(_, action)| Some(action.kind.name())))
        .number("change_mm", all.iter().map(|(_, action)| Some(action.change_mm)))
        .number("turns", all.iter().map(|(_, action)| action.turns))
        .text("check", all.iter().map(|(_, action)| action.check.as_deref()))
}

fn events(fleet: &Fleet) -> Table {
    let histories = fleet.histories().iter();
    let all: Vec<(&str, &WingEvent)> = histories
        .flat_map(|history| history.wing.service.events.iter().map(|event| (history.wing.id.as_str(), event)))
        .collect();
    Table::new(EVENTS.name)
        .text("wing", all.iter().map(|(wing, _)| Some(*wing)))
        .text("date", all.iter().map(|(_, event)| Some(event.date.to_string())))
        .text("event", all.iter().map(|(_, event)| Some(event.event.as_str())))
        .number("hours", all.iter().map(|(_, event)| event.hours_h))
}

fn fittings(fleet: &Fleet) -> Table {
    let histories = fleet.histories().iter();
    let all: Vec<(&History, &Fitting)> =
        histories.flat_map(|history| history.fittings.iter().map(move |fitting| (history, fitting))).collect();
    Table::new(FITTINGS.name)
        .text("wing", all.iter().map(|(history, _)| Some(history.wing.id.as_str())))
        .text("side", all.iter().map(|(_, fitting)| Some(fitting.side.name())))
        .text("segment", all.iter().map(|(history, fitting)| segment_name(fleet.line_set(history), fitting.segment)))
        .number("turns", all.iter().map(|(_, fitting)| fitting.turns))
        .number("spare_mm", all.iter().map(|(_, fitting)| fitting.spare_mm))
        .text("can_loop", all.iter().map(|(_, fitting)| fitting.can_loop.map(truth)))
        .number("link_diameter_mm", all.iter().map(|(_, fitting)| fitting.link_diameter_mm))
        .number("step_mm", all.iter().map(|(_, fitting)| fitting.step_mm))
}

fn truth(value: bool) -> &'static str {
    if value { "true" } else { "false" }
}
