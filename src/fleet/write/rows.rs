//! What the tables of a fleet say: of each line, wing, check, … its row.

use std::borrow::Cow;
use std::collections::BTreeSet;

use polars::prelude::Column;

use super::atomic::FleetWriteError;
use super::table::Table;
use crate::check::{Action, Check, Fitting, Fleet, History, RiserReading};
use crate::fleet::round::confirmed;
use crate::fleet::schema::{
    ActionRow, CheckRow, EventRow, FittingRow, LINES, LineRow, ModelRow, RiserRow, RowOfModel, SEGMENTS, SegmentRow,
    TableSchema, WINGS, WingRow,
};
use crate::wing::{LineSet, ModelData, RowData, Service, Wing, WingEvent};

/// Every table but `readings`, also those with nothing in them.
pub(crate) fn short_tables(fleet: &Fleet) -> Result<[Table; 10], FleetWriteError> {
    let [lines, segments, rows, models] = model_tables(fleet)?;
    let [wings, checks, risers, actions, fittings, events] = wing_tables(fleet);
    let all = [lines, segments, rows, models, wings, checks, risers, actions, fittings, events];
    Ok(all.map(Table::without_empty))
}

/// The tables that describe models.
pub(crate) fn model_tables(fleet: &Fleet) -> Result<[Table; 4], FleetWriteError> {
    let sets = first_of_each_model(fleet)?;
    Ok([lines(fleet)?, segments(&sets), rows(&sets), models(&sets)])
}

/// The tables that say something of wings, without the readings; every optional column is there.
pub(crate) fn wing_tables(fleet: &Fleet) -> [Table; 6] {
    [every_wing(fleet), checks(fleet), risers(fleet), actions(fleet), fittings(fleet), events(fleet)]
}

/// Whether a table is needed, or has something to say.
pub(crate) fn is_written(table: &Table) -> bool {
    let is_needed = TableSchema::named(&table.name).is_some_and(|schema| schema.is_needed());
    is_needed || table.columns.iter().any(|column| !column.data.is_empty())
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

fn lines(fleet: &Fleet) -> Result<Table, FleetWriteError> {
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
    let rows: Vec<LineRow<'_>> = all
        .iter()
        .map(|(set, line, top)| LineRow {
            model: text(set.model()),
            line: text(&line.name),
            row: Some(line.row),
            rank: Some(line.rank),
            span: (!line.span_assumed).then_some(line.span),
            chord: line.chord,
            nominal_mm: Some(line.nominal_mm),
            main: line.main.as_deref().map(Into::into),
            material: top.map(|top| top.material.as_str().into()),
            tolerance_mm: line.tolerance_mm,
            side: line.side,
            table_version: set.table_version().map(Into::into),
            ..LineRow::default()
        })
        .collect();
    Ok(LineRow::table(&rows).without_empty())
}

/// A cell of text.
#[allow(clippy::unnecessary_wraps, reason = "cells of rows may be empty")]
fn text(text: &str) -> Option<Cow<'_, str>> {
    Some(text.into())
}

fn segments(sets: &[&LineSet]) -> Table {
    let row = |set: &&'_ LineSet, at: usize| {
        let segment = &set.segments()[at];
        SegmentRow {
            model: Some(set.model().to_owned().into()),
            segment: Some(segment.name.clone().into()),
            parent: segment.parent.and_then(|at| Some(set.segments().get(at)?.name.clone().into())),
            material: Some(segment.material.clone().into()),
            length_mm: Some(segment.length_mm),
            diameter_mm: segment.diameter_mm,
            can_loop: segment.can_loop,
            ..SegmentRow::default()
        }
    };
    let own = sets.iter().filter(|set| set.has_cascade());
    let rows: Vec<_> = own.flat_map(|set| (0..set.segments().len()).map(move |at| row(set, at))).collect();
    SegmentRow::table(&rows).without_empty()
}

fn rows(sets: &[&LineSet]) -> Table {
    let row = |model, row: &RowData| {
        let RowData { row, chord, riser_mm } = *row;
        RowOfModel { model: text(model), row: Some(row), chord, riser_mm, ..RowOfModel::default() }
    };
    let rows: Vec<_> =
        sets.iter().flat_map(|set| set.rows().iter().map(move |data| row(set.model(), data))).collect();
    RowOfModel::table(&rows).without_empty()
}

fn models(sets: &[&LineSet]) -> Table {
    let row = |set: &&&LineSet| {
        let data = set.data();
        ModelRow {
            model: Some(set.model().to_owned().into()),
            span_m: data.span_m,
            area_m2: data.area_m2,
            root_chord_m: data.root_chord_m,
            trim_speed_kmh: data.trim_speed_kmh,
            glide: data.glide,
            interval_h: data.interval_h,
            interval_months: data.interval_months,
            inspection_h: data.inspection_h,
            inspection_months: data.inspection_months,
            ..ModelRow::default()
        }
    };
    let rows: Vec<_> = sets.iter().filter(|set| *set.data() != ModelData::default()).map(|set| row(&set)).collect();
    ModelRow::table(&rows).without_empty()
}

pub(crate) fn wings(fleet: &Fleet) -> Table {
    every_wing(fleet).without_empty()
}

fn every_wing(fleet: &Fleet) -> Table {
    let all: Vec<_> = fleet.histories().iter().map(|history| &history.wing).collect();
    let rows: Vec<WingRow<'_>> = all.iter().map(|wing| wing_row(wing)).collect();
    let mut table = WingRow::table(&rows);
    let names: BTreeSet<&String> = all.iter().flat_map(|wing| wing.covariates.keys()).collect();
    for name in names {
        if !WINGS.has(name) {
            table = table.number(name, all.iter().map(|wing| wing.covariates.get(name).copied()));
        }
    }
    table
}

/// What the table `wings` says of a wing, covariates apart.
pub(crate) fn wing_row(wing: &Wing) -> WingRow<'_> {
    let Service { ground_share, inspection_h, inspection_months, inspected, inspected_h, .. } = wing.service;
    WingRow {
        wing: text(&wing.id),
        model: text(&wing.model),
        mass_kg: wing.mass_kg,
        first_flight: wing.first_flight,
        hours_per_year: wing.hours_per_year,
        interval_h: wing.interval_h,
        interval_months: wing.interval_months,
        table_version: wing.table_version.as_deref().map(Into::into),
        class_of_use: wing.service.class_of_use.as_deref().map(Into::into),
        ground_share,
        inspection_h,
        inspection_months,
        inspected,
        inspected_hours: inspected_h,
        serial_number: wing.serial_number.as_deref().map(Into::into),
        owner: wing.owner.as_deref().map(Into::into),
        ..WingRow::default()
    }
}

/// Every check of the fleet beside its history.
fn every_check(fleet: &Fleet) -> Vec<(&History, &Check)> {
    fleet.histories().iter().flat_map(|history| history.checks.iter().map(move |check| (history, check))).collect()
}

fn checks(fleet: &Fleet) -> Table {
    let rows = every_check(fleet).into_iter();
    let rows: Vec<_> =
        rows.map(|(history, check)| check_row(&history.wing.id, fleet.line_set(history), check)).collect();
    CheckRow::table(&rows)
}

/// What the table `checks` says of a check.
pub(crate) fn check_row<'a>(wing: &'a str, set: &LineSet, check: &'a Check) -> CheckRow<'a> {
    CheckRow {
        check: text(&check.id),
        wing: text(wing),
        date: Some(check.date),
        hours: Some(check.hours_h),
        stage: Some(check.stage),
        load_n: Some(check.load_n),
        datum_mm: Some(check.datum_mm),
        temperature_c: Some(check.temperature_c),
        condition: check.condition,
        brake_setting_mm: check.brake_setting_mm,
        confirmed: confirmed::cell(set, &check.confirmed).map(Into::into),
        ..CheckRow::default()
    }
}

/// The readings as columns that borrow their text: it is the only long table.
pub(crate) fn readings(fleet: &Fleet) -> Vec<Column> {
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
    let row = |check, riser: &RiserReading| {
        let RiserReading { side, row, datum_mm, riser_mm } = *riser;
        RiserRow { check: text(check), side: Some(side), row: Some(row), datum_mm, riser_mm, ..RiserRow::default() }
    };
    let all = every_check(fleet).into_iter();
    let rows: Vec<_> = all.flat_map(|(_, check)| check.risers.iter().map(|riser| row(&check.id, riser))).collect();
    RiserRow::table(&rows)
}

/// The name by which tables call a segment: without a cascade, the line's.
pub(crate) fn segment_name(set: &LineSet, at: usize) -> Option<String> {
    if set.has_cascade() {
        return set.segments().get(at).map(|segment| segment.name.clone());
    }
    set.lines().iter().find(|line| line.segment == at).map(|line| line.name.clone())
}

fn actions(fleet: &Fleet) -> Table {
    let mut rows = Vec::new();
    for history in fleet.histories() {
        let set = fleet.line_set(history);
        let segment = |action: &Action| segment_name(set, action.segment?);
        rows.extend(history.actions.iter().map(|action| action_row(&history.wing.id, segment(action), action)));
    }
    ActionRow::table(&rows)
}

/// What the table `actions` says of an action.
pub(crate) fn action_row<'a>(wing: &'a str, segment: Option<String>, action: &'a Action) -> ActionRow<'a> {
    ActionRow {
        wing: text(wing),
        date: Some(action.date),
        hours: Some(action.hours_h),
        side: Some(action.side),
        segment: segment.map(Into::into),
        action: Some(action.kind),
        change_mm: Some(action.change_mm),
        turns: action.turns,
        check: action.check.as_deref().map(Into::into),
        ..ActionRow::default()
    }
}

fn events(fleet: &Fleet) -> Table {
    let row = |wing, event: &'_ WingEvent| EventRow {
        wing: text(wing),
        date: Some(event.date),
        event: Some(event.event.clone().into()),
        hours: event.hours_h,
        ..EventRow::default()
    };
    let wings = fleet.histories().iter().map(|history| &history.wing);
    let rows: Vec<_> = wings.flat_map(|wing| wing.service.events.iter().map(|event| row(&wing.id, event))).collect();
    EventRow::table(&rows)
}

fn fittings(fleet: &Fleet) -> Table {
    let mut rows = Vec::new();
    for history in fleet.histories() {
        let segment = |fitting: &Fitting| segment_name(fleet.line_set(history), fitting.segment);
        rows.extend(history.fittings.iter().map(|one| fitting_row(&history.wing.id, segment(one), one)));
    }
    FittingRow::table(&rows)
}

/// What the table `fittings` says of a fitting.
pub(crate) fn fitting_row<'a>(wing: &'a str, segment: Option<String>, fitting: &Fitting) -> FittingRow<'a> {
    let Fitting { side, turns, spare_mm, can_loop, link_diameter_mm, step_mm, .. } = *fitting;
    let (wing, segment) = (text(wing), segment.map(Into::into));
    let side = Some(side);
    FittingRow { wing, side, segment, turns, spare_mm, can_loop, link_diameter_mm, step_mm, ..FittingRow::default() }
}
