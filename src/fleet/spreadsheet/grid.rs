//! One sheet as a grid of cells.

use jiff::civil::Date;

/// What is in a cell.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Cell {
    Empty,
    Number(f64),
    Text(String),
    Day(Date),
    /// A time span, in hours.
    Hours(f64),
    /// `#REF!` and its like.
    Error(String),
    /// A formula whose value was never worked out.
    Unworked,
}

impl Cell {
    /// As a name: whole numbers without decimals, blanks in front kept.
    pub(super) fn name(&self) -> String {
        match self {
            Self::Text(text) => text.trim_end().to_owned(),
            other => other.shown(),
        }
    }

    /// As it is shown in a message.
    pub(super) fn shown(&self) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Number(value) | Self::Hours(value) => value.to_string(),
            Self::Text(text) => text.trim().to_owned(),
            Self::Day(day) => day.to_string(),
            Self::Error(error) => error.clone(),
            Self::Unworked => "a formula without a value".to_owned(),
        }
    }

    /// The text of a cell that holds some.
    pub(super) fn text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text.trim()).filter(|text| !text.is_empty()),
            _ => None,
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        match self {
            Self::Empty => true,
            Self::Text(text) => text.trim().is_empty(),
            _ => false,
        }
    }
}

/// Cells that are shown as one: the first holds the value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Merge {
    pub(super) top: usize,
    pub(super) left: usize,
    pub(super) bottom: usize,
    pub(super) right: usize,
}

/// One sheet.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grid {
    /// Name of the sheet; empty in a file without sheets.
    pub(super) name: String,
    pub(super) rows: Vec<Vec<Cell>>,
    pub(super) merges: Vec<Merge>,
}

static EMPTY: Cell = Cell::Empty;

impl Grid {
    pub(super) fn new(name: &str) -> Self {
        Self { name: name.to_owned(), rows: Vec::new(), merges: Vec::new() }
    }

    pub(super) fn cell(&self, row: usize, column: usize) -> &Cell {
        self.rows.get(row).and_then(|cells| cells.get(column)).unwrap_or(&EMPTY)
    }

    pub(super) fn put(&mut self, row: usize, column: usize, cell: Cell) {
        if self.rows.len() <= row {
            self.rows.resize(row + 1, Vec::new());
        }
        if let Some(cells) = self.rows.get_mut(row) {
            if cells.len() <= column {
                cells.resize(column + 1, Cell::Empty);
            }
            cells[column] = cell;
        }
    }

    pub(super) fn width(&self) -> usize {
        self.rows.iter().map(Vec::len).max().unwrap_or(0)
    }

    /// The merged cells that a cell is part of.
    pub(super) fn merge(&self, row: usize, column: usize) -> Option<&Merge> {
        self.merges
            .iter()
            .find(|merge| (merge.top..=merge.bottom).contains(&row) && (merge.left..=merge.right).contains(&column))
    }

    /// The same with rows for columns.
    pub(super) fn turned(&self) -> Self {
        let mut out = Self::new(&self.name);
        for (row, cells) in self.rows.iter().enumerate() {
            for (column, cell) in cells.iter().enumerate().filter(|(_, cell)| !cell.is_empty()) {
                out.put(column, row, cell.clone());
            }
        }
        let turn =
            |merge: &Merge| Merge { top: merge.left, left: merge.top, bottom: merge.right, right: merge.bottom };
        out.merges = self.merges.iter().map(turn).collect();
        out
    }

    pub(super) fn is_blank(&self) -> bool {
        self.rows.iter().flatten().all(Cell::is_empty)
    }
}

/// The letter of a column, from 0: `A`, … `Z`, `AA`.
pub(super) fn column_letter(mut column: usize) -> String {
    let mut letters = Vec::new();
    loop {
        letters.push(char::from(b'A' + u8::try_from(column % 26).unwrap_or(0)));
        if column < 26 {
            break;
        }
        column = column / 26 - 1;
    }
    letters.iter().rev().collect()
}

/// A cell's name, such as `B7`.
pub(super) fn place(row: usize, column: usize) -> String {
    format!("{}{}", column_letter(column), row + 1)
}
