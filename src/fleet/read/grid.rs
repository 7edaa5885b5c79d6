//! One table in memory, as it was read, and its records.

use std::borrow::Cow;
use std::collections::HashSet;

use polars::prelude::{BooleanChunked, Float64Chunked, Int64Chunked, StringChunked};

use super::cell::{Cell, Limit};
use super::fault::FaultList;
use crate::fleet::schema::{Field, Need, TableSchema};

/// The cells of one column; every array is one chunk.
#[derive(Debug, Clone)]
pub(crate) enum Cells {
    Text(StringChunked),
    Number(Float64Chunked),
    Count(Int64Chunked),
    /// Days since 1970-01-01.
    Day(Int64Chunked),
    Truth(BooleanChunked),
    /// A column without a single value.
    Empty,
}

impl Cells {
    /// What is in a row, counted from 0 without the header (`None`: empty).
    pub(crate) fn get(&self, at: usize) -> Option<Cell<'_>> {
        match self {
            Cells::Text(cells) => cells.get(at).filter(|text| !text.is_empty()).map(Cell::Text),
            Cells::Number(cells) => cells.get(at).map(Cell::Number),
            Cells::Count(cells) => cells.get(at).map(Cell::Count),
            Cells::Day(cells) => cells.get(at).map(Cell::Day),
            Cells::Truth(cells) => cells.get(at).map(Cell::Truth),
            Cells::Empty => None,
        }
    }
}

/// One table (or one file of a table).
#[derive(Debug, Clone)]
pub(crate) struct Grid {
    /// Name for faults.
    pub(crate) name: String,
    pub(crate) columns: Vec<(String, Cells)>,
    pub(crate) height: usize,
    /// Row number of the first record, where they are consecutive: 2, unless this is a later piece of a file.
    pub(crate) first_row: usize,
    /// Row number of each record, where they are not consecutive.
    pub(crate) rows: Option<Vec<usize>>,
    /// Whether every record of the file is here, so that a name that is missing is missing.
    pub(crate) whole: bool,
    /// Columns of the file that nobody asked for.
    pub(crate) left_out: Vec<String>,
}

impl Grid {
    /// The cells of a column, if the table has it.
    pub(crate) fn column(&self, name: &str) -> Option<&Cells> {
        self.columns.iter().find(|(known, _)| known == name).map(|(_, cells)| cells)
    }

    /// Row number of a record, the header being row 1.
    pub(crate) fn row_number(&self, at: usize) -> usize {
        self.rows.as_ref().and_then(|rows| rows.get(at).copied()).unwrap_or(at + self.first_row)
    }

    pub(crate) fn records(&self) -> impl Iterator<Item = Record<'_>> {
        (0..self.height).map(move |at| Record { grid: self, at })
    }
}

/// What became of a table.
#[derive(Debug)]
pub(crate) enum Loaded {
    /// There is no such file.
    Absent,
    /// It could not be read; the fault is noted.
    Broken,
    /// One grid per file.
    Read(Vec<Grid>),
}

impl Loaded {
    /// The grids, if any.
    pub(crate) fn grids(&self) -> &[Grid] {
        match self {
            Loaded::Read(grids) => grids,
            _ => &[],
        }
    }

    /// The records of all grids.
    pub(crate) fn records(&self) -> impl Iterator<Item = Record<'_>> {
        self.grids().iter().flat_map(Grid::records)
    }

    /// Whether every name that should be in these columns can be known from the table.
    pub(crate) fn is_whole(&self, columns: &[&str]) -> bool {
        match self {
            Loaded::Absent => true,
            Loaded::Broken => false,
            Loaded::Read(grids) => grids.iter().all(|grid| {
                grid.whole
                    && columns.iter().all(|name| {
                        grid.column(name).is_some_and(|cells| (0..grid.height).all(|at| cells.get(at).is_some()))
                    })
            }),
        }
    }
}

/// One record of a grid.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Record<'a> {
    pub(crate) grid: &'a Grid,
    pub(crate) at: usize,
}

impl<'a> Record<'a> {
    pub(crate) fn row_number(self) -> usize {
        self.grid.row_number(self.at)
    }

    /// Notes a fault of this record; the value is what is in the column.
    pub(crate) fn fault(self, faults: &mut FaultList, column: &str, expected: std::fmt::Arguments<'_>) {
        let value = self.cell(column).map(Cell::text).unwrap_or_default();
        faults.add(&self.grid.name, self.row_number(), column, value, expected);
    }

    /// Notes a fault of this record with its value told otherwise than it stands.
    pub(crate) fn fault_of(
        self,
        faults: &mut FaultList,
        column: &str,
        value: &str,
        expected: std::fmt::Arguments<'_>,
    ) {
        faults.add(&self.grid.name, self.row_number(), column, value, expected);
    }

    pub(crate) fn cell(self, column: &str) -> Option<Cell<'a>> {
        self.grid.column(column)?.get(self.at)
    }

    /// A cell that must not be empty. A column that is missing altogether has been reported with the header.
    fn needed(self, column: &str, faults: &mut FaultList) -> Option<Cell<'a>> {
        let cell = self.grid.column(column)?.get(self.at);
        if cell.is_none() {
            self.fault(faults, column, format_args!("a value (the cell is empty)"));
        }
        cell
    }

    /// What is in a column; what is wrong with it is noted.
    pub(crate) fn read<T: Field<'a>>(
        self,
        column: &str,
        need: Need,
        limit: Limit,
        faults: &mut FaultList,
    ) -> Option<T> {
        let cell = if need == Need::Filled { self.needed(column, faults) } else { self.cell(column) };
        let read = cell.map(|cell| T::read(cell, limit)).transpose();
        read.unwrap_or_else(|expected| {
            self.fault(faults, column, format_args!("{expected}"));
            None
        })
    }

    pub(crate) fn text(self, column: &str) -> Option<Cow<'a, str>> {
        self.cell(column).map(Cell::text)
    }
}

/// Which columns of a file's header are wanted: their places, with faults for those missing or named twice.
#[derive(Debug)]
pub(crate) struct Selection {
    /// Place in the file and name of each column to read.
    pub(crate) wanted: Vec<(usize, String)>,
    pub(crate) left_out: Vec<String>,
}

impl Selection {
    pub(crate) fn new(
        table: &str,
        header: &[String],
        schema: TableSchema,
        extra: &[String],
        faults: &mut FaultList,
    ) -> Self {
        let mut wanted: Vec<(usize, String)> = Vec::new();
        let mut left_out = Vec::new();
        let mut seen: HashSet<&str> = HashSet::new();
        for (place, name) in header.iter().enumerate() {
            if !seen.insert(name) {
                if !name.is_empty() {
                    faults.add(table, 1, name, name, format_args!("each column once (this one appears twice)"));
                }
            } else if schema.has(name) || extra.contains(name) {
                wanted.push((place, name.clone()));
            } else {
                left_out.push(name.clone());
            }
        }
        let mut needed: Vec<&str> = schema.required().collect();
        needed.extend(extra.iter().map(String::as_str));
        for name in needed.into_iter().filter(|name| !header.iter().any(|known| known == name)) {
            let alike = header.iter().find(|known| known.trim().eq_ignore_ascii_case(name));
            let value = alike.map_or("", String::as_str);
            faults.add(table, 1, name, value, format_args!("a column named `{name}`"));
        }
        Self { wanted, left_out }
    }
}
