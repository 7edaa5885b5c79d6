//! Inputs and results as polars frames, for notebooks, pipelines and queries; and frames back to a fleet.
//!
//! This is the only place where polars types are public: take the same polars version as this crate does. Every column is in
//! [`dictionary`](super::dictionary), with its unit and meaning; a missing value is a null, never a NaN.
//!
//! ```
//! use linedrift::fleet::frames::{FleetFrames, of_table};
//! use linedrift::fleet::{FolderSpec, tables};
//! use linedrift::simulate::FleetSpec;
//! use linedrift::wear::WearSpec;
//!
//! let fleet = FleetSpec::default().wings(6).seed(7).run()?.fleet;
//! let inputs = FleetFrames::of(&fleet)?;
//! assert_eq!(inputs.wings.height(), 6);
//! assert_eq!(inputs.read(&FolderSpec::default())?.fleet, fleet);
//!
//! let fit = WearSpec::default().fit(&fleet)?;
//! let terms = of_table(&tables::terms(fit.terms()))?;
//! assert_eq!(terms.height(), fit.terms().len());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::panic::{AssertUnwindSafe, catch_unwind};

use polars::prelude::{ArrowDataType, CompatLevel, DataFrame};

use super::folder::reading_pieces::ReadingPieces;
use super::folder::{Folder, FolderSpec, LoadedTables, ShortTables};
use super::read::csv::FIRST_ROW;
use super::read::fault::{FaultList, FleetReadError};
use super::read::grid::{Grid, Loaded, Selection};
use super::read::parquet::{cells, is_readable, type_in_words};
use super::read::source::left_out_note;
use super::schema::{
    ACTIONS, CHECKS, EVENTS, FITTINGS, LINES, MODELS, READINGS, RISERS, ROWS, SEGMENTS, TableSchema, WINGS,
};
use super::write::atomic::FleetWriteError;
use super::write::rows::{is_written, readings, short_tables};
use super::write::table::{Table, columns_frame, frame};
use crate::check::Fleet;

/// A result table (see [`tables`](super::tables)) as a frame: text, 64-bit numbers and 64-bit whole numbers.
///
/// # Errors
/// [`FleetWriteError::Table`] when columns differ in length or two have one name.
pub fn of_table(table: &Table) -> Result<DataFrame, FleetWriteError> {
    frame(table)
}

/// What a column of this Arrow type holds, in words, where tables cannot take it: `None` for one that can be read.
#[must_use]
pub fn unreadable_type(dtype: &ArrowDataType) -> Option<&'static str> {
    (!is_readable(dtype)).then(|| type_in_words(dtype))
}

/// A column of a type that no frame of this build can hold; in its frame stands a column of nulls.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnreadColumn {
    /// Name of the table.
    pub table: String,
    /// Name of the column.
    pub column: String,
    /// What it holds, as [`unreadable_type`] says.
    pub holds: &'static str,
}

/// The tables of a fleet as frames; optional ones are there when they have something to say.
#[derive(Debug, Clone, PartialEq)]
pub struct FleetFrames {
    /// One row per line.
    pub lines: DataFrame,
    /// One row per segment of a cascade.
    pub segments: Option<DataFrame>,
    /// One row per row of a model.
    pub rows: Option<DataFrame>,
    /// One row per model.
    pub models: Option<DataFrame>,
    /// One row per wing.
    pub wings: DataFrame,
    /// One row per check.
    pub checks: DataFrame,
    /// One row per reading.
    pub readings: DataFrame,
    /// One row per riser that has something of its own.
    pub risers: Option<DataFrame>,
    /// One row per adjustment.
    pub actions: Option<DataFrame>,
    /// One row per link that has something on it.
    pub fittings: Option<DataFrame>,
    /// One row per event.
    pub events: Option<DataFrame>,
}

impl FleetFrames {
    /// The tables of a fleet, as [`write_folder`](super::write_folder) would write them.
    ///
    /// # Errors
    /// [`FleetWriteError`] when the tables have no place for what the fleet says.
    pub fn of(fleet: &Fleet) -> Result<Self, FleetWriteError> {
        let [lines, segments, rows, models, wings, checks, risers, actions, fittings, events] = short_tables(fleet)?;
        let optional = |table: &Table| is_written(table).then(|| frame(table)).transpose();
        Ok(Self {
            lines: frame(&lines)?,
            segments: optional(&segments)?,
            rows: optional(&rows)?,
            models: optional(&models)?,
            wings: frame(&wings)?,
            checks: frame(&checks)?,
            readings: columns_frame(READINGS.name, readings(fleet))?,
            risers: optional(&risers)?,
            actions: optional(&actions)?,
            fittings: optional(&fittings)?,
            events: optional(&events)?,
        })
    }

    /// The frames by name, those that are there.
    #[must_use]
    pub fn named(&self) -> Vec<NamedFrame<'_>> {
        [
            (LINES, Some(&self.lines)),
            (SEGMENTS, self.segments.as_ref()),
            (ROWS, self.rows.as_ref()),
            (MODELS, self.models.as_ref()),
            (WINGS, Some(&self.wings)),
            (CHECKS, Some(&self.checks)),
            (READINGS, Some(&self.readings)),
            (RISERS, self.risers.as_ref()),
            (ACTIONS, self.actions.as_ref()),
            (FITTINGS, self.fittings.as_ref()),
            (EVENTS, self.events.as_ref()),
        ]
        .into_iter()
        .filter_map(|(schema, frame)| Some(NamedFrame { name: schema.name, frame: frame? }))
        .collect()
    }

    /// A fleet of these frames, judged as the files of a folder are: the same columns, the same faults with table, row (the
    /// header would be row 1) and column, all in one go.
    ///
    /// # Errors
    /// [`FleetReadError`] with every fault of every frame.
    pub fn read(&self, spec: &FolderSpec) -> Result<Folder, FleetReadError> {
        self.read_with(spec, &[])
    }

    /// The same of frames that came from elsewhere, where some columns could not be taken over.
    ///
    /// # Errors
    /// As [`FleetFrames::read`]; a column that could not be taken over, and is asked for, is a fault.
    pub fn read_with(&self, spec: &FolderSpec, unread: &[UnreadColumn]) -> Result<Folder, FleetReadError> {
        let mut faults = FaultList::default();
        let mut notes = Vec::new();
        // those of the readings are reported where they are read
        let readings = grid(&self.readings, READINGS, &[], unread, &mut faults);
        let mut short = ShortTables::default();
        for NamedFrame { name, frame } in self.named() {
            let Some(schema) = TableSchema::named(name).filter(|schema| schema.name != READINGS.name) else {
                continue;
            };
            let extra = if schema.name == WINGS.name { spec.covariate_columns() } else { &[] };
            let grid = grid(frame, schema, extra, unread, &mut faults);
            notes.extend(left_out_note(schema.name, grid.left_out.iter().collect()));
            short.put(schema, Loaded::Read(vec![grid]));
        }
        let loaded = LoadedTables { short, readings: ReadingPieces::Held(readings), notes };
        spec.judge(loaded, faults)
    }
}

/// A frame and the name of its table.
#[derive(Debug, Clone, Copy)]
pub struct NamedFrame<'a> {
    /// Name of the table.
    pub name: &'static str,
    /// The frame.
    pub frame: &'a DataFrame,
}

/// A frame as a table that was read; a column of a type that cannot be read is a fault.
fn grid(
    frame: &DataFrame,
    schema: TableSchema,
    extra: &[String],
    unread: &[UnreadColumn],
    faults: &mut FaultList,
) -> Grid {
    let header: Vec<String> = frame.get_column_names().into_iter().map(ToString::to_string).collect();
    let chosen = Selection::new(schema.name, &header, schema, extra, faults);
    let mut columns = Vec::with_capacity(chosen.wanted.len());
    let mut whole = true;
    for (_, name) in chosen.wanted {
        let Ok(column) = frame.column(&name) else { continue };
        let left = unread.iter().find(|one| one.table == schema.name && one.column == name).map(|one| one.holds);
        // a type that another build of polars made, and this one lacks, may make it panic
        let read = catch_unwind(AssertUnwindSafe(|| {
            let dtype = column.dtype().to_arrow(CompatLevel::newest());
            left.or_else(|| unreadable_type(&dtype)).map_or_else(|| Ok(cells(column)), Err)
        }));
        let holds = match read {
            Ok(Ok(Ok(cells))) => {
                columns.push((name, cells));
                continue;
            }
            Ok(Ok(Err(_))) => "a number that is too large for a table".to_owned(),
            Ok(Err(holds)) => holds.to_owned(),
            Err(_) => column.dtype().to_string(),
        };
        whole = false;
        faults.add(schema.name, 1, &name, holds, format_args!("a column of text, numbers, dates or true/false"));
    }
    Grid {
        first_row: FIRST_ROW,
        name: schema.name.to_owned(),
        columns,
        height: frame.height(),
        rows: None,
        whole,
        left_out: chosen.left_out,
    }
}
