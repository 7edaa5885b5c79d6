//! Rows of tables as entries: a name, what is said of it, and its values, before lengths are lengths.

use super::error::CellFault;
use super::grid::Cell;
use super::heading::{Kind, Level, When};
use crate::check::sheet::LengthUnit;
use crate::wing::{Row, Side};

/// One value of one line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Value {
    pub(super) kind: Option<Kind>,
    /// The level of the cascade whose length it is, where it is not the line's.
    pub(super) of: Option<Level>,
    pub(super) side: Option<Side>,
    pub(super) unit: Option<LengthUnit>,
    pub(super) when: Option<When>,
    pub(super) repeat: Option<u32>,
    pub(super) cell: Cell,
    pub(super) column: usize,
    pub(super) title: String,
}

/// One row of a block: a line, what is said of it, and its values.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Entry {
    /// Sheet and table, for telling tables apart.
    pub(super) sheet: usize,
    pub(super) table: usize,
    pub(super) grid_row: usize,
    pub(super) name: String,
    /// Blanks in front of the name.
    pub(super) indent: usize,
    pub(super) row: Option<Row>,
    /// Whether a column or a title says the row, not only the name.
    pub(super) row_is_said: bool,
    pub(super) side: Option<Side>,
    pub(super) main: Option<String>,
    pub(super) middle: Option<String>,
    pub(super) parent: Option<String>,
    /// Of the line's own piece, the middle and the main.
    pub(super) materials: [Option<String>; 3],
    pub(super) operator: Option<String>,
    pub(super) repeat: Option<u32>,
    pub(super) rank: Option<u32>,
    pub(super) values: Vec<Value>,
}

/// What a table says of one row of lines.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct RowFact {
    pub(super) row: Row,
    pub(super) kind: Kind,
    pub(super) unit: Option<LengthUnit>,
    pub(super) cell: Cell,
}

/// The material of a storey, from a table of storeys.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LevelMaterial {
    /// `None`: all storeys.
    pub(super) level: Option<Level>,
    pub(super) material: String,
}

/// What a sheet holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Sheet {
    pub(super) name: String,
    pub(super) entries: Vec<Entry>,
    pub(super) rows: Vec<RowFact>,
    pub(super) levels: Vec<LevelMaterial>,
    /// What was read into the cells.
    pub(super) notes: Vec<String>,
    /// Headings that are sizes of a model.
    pub(super) sizes: Vec<String>,
    pub(super) faults: Vec<CellFault>,
    /// Headings of columns with numbers that were not used.
    pub(super) unused: Vec<String>,
    /// Names of rows that are totals.
    pub(super) totals: Vec<String>,
    pub(super) tables: usize,
    /// Cells with numbers that belong to no table.
    pub(super) stray: Vec<String>,
}
