//! Where the tables of a sheet are: header rows, what is above them, and blocks of columns beside each other.

use super::column::{Column, Mapping, columns, heading_of, side_letters};
use super::grid::{Cell, Grid};
use super::heading::{Key, Level, unit_of};
use super::quantity::{Marks, Written};
use super::words::folded;
use crate::wing::Side;

/// Columns of a table that belong together: one name, and values of that line.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Block {
    pub(super) columns: Vec<Column>,
}

/// One table of a sheet.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Table {
    /// The header's first and last row, the groups above it included.
    pub(super) top: usize,
    pub(super) header: usize,
    /// Its first row of data.
    pub(super) first: usize,
    /// The row behind its last.
    pub(super) end: usize,
    pub(super) blocks: Vec<Block>,
    /// Columns of the sheet that it may take.
    pub(super) from: usize,
    pub(super) to: usize,
}

/// The tables of a sheet, from the top, strip by strip.
pub(super) fn tables(grid: &Grid, mapping: &Mapping) -> Vec<Table> {
    let strips = strips(grid);
    let apart: Vec<Vec<Table>> = strips.iter().map(|(from, to)| in_strip(grid, mapping, *from, *to)).collect();
    let stands_alone = |tables: &Vec<Table>| {
        !tables.is_empty() && tables.iter().all(|table| table.blocks.iter().all(Block::has_names))
    };
    let holds_numbers = |(from, to): &(usize, usize)| {
        grid.rows.iter().any(|cells| cells.iter().take(*to).skip(*from).any(|cell| matches!(cell, Cell::Number(_))))
    };
    let all_alone = strips
        .iter()
        .zip(&apart)
        .all(|(strip, tables)| stands_alone(tables) || (tables.is_empty() && !holds_numbers(strip)));
    if strips.len() > 1 && all_alone {
        return apart.into_iter().flatten().collect();
    }
    in_strip(grid, mapping, 0, grid.width())
}

impl Block {
    pub(super) fn key(&self, wanted: Key) -> Option<&Column> {
        self.columns.iter().find(|column| {
            let heading = &column.heading;
            let of_line = matches!(heading.level, None | Some(Level::Upper));
            heading.key == Some(wanted) && heading.kind.is_none() && of_line
        })
    }

    /// The column with the materials of a storey below the lines.
    pub(super) fn material(&self, level: Level) -> Option<&Column> {
        self.columns
            .iter()
            .find(|column| column.heading.key == Some(Key::Material) && column.heading.level == Some(level))
    }

    /// The column with the names of the lines.
    pub(super) fn names(&self) -> Option<&Column> {
        [Key::Line, Key::Upper, Key::Rank].into_iter().find_map(|key| self.key(key))
    }

    fn has_names(&self) -> bool {
        self.names().is_some()
    }

    /// Columns of values, whatever they are.
    pub(super) fn values(&self) -> impl Iterator<Item = &Column> {
        self.columns.iter().filter(|column| {
            let heading = &column.heading;
            heading.kind.is_some() || (heading.key.is_none() && (heading.side.is_some() || heading.row.is_some()))
        })
    }
}

/// Runs of columns between columns that are empty all the way down.
fn strips(grid: &Grid) -> Vec<(usize, usize)> {
    let mut strips = Vec::new();
    let mut start = None;
    for column in 0..=grid.width() {
        let is_empty = column == grid.width() || (0..grid.rows.len()).all(|row| grid.cell(row, column).is_empty());
        match (is_empty, start) {
            (false, None) => start = Some(column),
            (true, Some(from)) => {
                strips.push((from, column));
                start = None;
            }
            _ => {}
        }
    }
    strips
}

/// What one row of a strip holds.
#[derive(Debug, Clone, Copy, Default)]
struct RowLook {
    texts: usize,
    numbers: usize,
    good: usize,
    telling: usize,
    contexts: usize,
    units: usize,
    rows: u32,
    left: bool,
    right: bool,
}

impl RowLook {
    fn of(grid: &Grid, row: usize, mapping: &Mapping, from: usize, to: usize) -> Self {
        let mut look = Self::default();
        let mut letters = Vec::new();
        for column in from..to {
            let cell = grid.cell(row, column);
            if cell.is_empty() {
                continue;
            }
            let Some(text) = cell.text() else {
                look.numbers += 1;
                continue;
            };
            if !matches!(Marks::default().read(text, None), Written::Not) {
                look.numbers += 1;
                continue;
            }
            look.texts += 1;
            let heading = heading_of(text, mapping);
            look.units += usize::from(is_unit(text));
            look.good += usize::from(heading.is_good());
            look.telling += usize::from(heading.is_good() && heading.is_telling());
            look.contexts += usize::from(heading.is_context());
            if heading.is_good() && !heading.is_telling() {
                if let Some(row) = heading.row {
                    look.rows |= 1 << row.index();
                }
                look.left |= heading.side == Some(Side::Left);
                look.right |= heading.side == Some(Side::Right);
            }
            letters.push(folded(text));
        }
        if let Some((left, right)) = side_letters(&letters) {
            look.left = true;
            look.right = true;
            look.good += letters
                .iter()
                .filter(|one| [left, right].contains(&one.rsplit(' ').next().unwrap_or_default()))
                .count();
        }
        look
    }

    fn is_header(self) -> bool {
        self.numbers == 0
            && self.good >= 2
            && self.good * 2 >= self.texts
            && (self.telling > 0 || self.rows.count_ones() >= 2 || (self.left && self.right))
    }

    /// Whether it may stand above a header and say what its columns have in common.
    fn is_group(self) -> bool {
        self.numbers == 0 && self.texts > 0 && self.contexts == self.texts
    }

    /// Whether it names the units of the columns, and nothing else.
    fn is_units(self) -> bool {
        self.numbers == 0 && self.units > 0 && self.units == self.texts
    }
}

/// Whether a text is a unit alone: `mm`, `[cm]`.
fn is_unit(text: &str) -> bool {
    unit_of(&format!("[{}]", text.trim().trim_matches(['[', ']', '(', ')']))).is_some()
}

fn in_strip(grid: &Grid, mapping: &Mapping, from: usize, to: usize) -> Vec<Table> {
    let looks: Vec<RowLook> = (0..grid.rows.len()).map(|row| RowLook::of(grid, row, mapping, from, to)).collect();
    let mut tables: Vec<Table> = Vec::new();
    let mut row = 0;
    while row < looks.len() {
        if !looks[row].is_header() {
            row += 1;
            continue;
        }
        // headers that follow each other are one: the last says most, those above it group its columns
        let mut header = row;
        while looks.get(header + 1).is_some_and(|look| look.is_header() || look.is_group() && look.texts > 1) {
            header += 1;
        }
        let mut top = row;
        let floor = tables.last().map_or(0, |table| table.header + 1);
        while top > floor && row - top < 2 && looks[top - 1].is_group() {
            top -= 1;
        }
        if let Some(last) = tables.last_mut() {
            last.end = top;
        }
        let first = header + 1 + usize::from(looks.get(header + 1).is_some_and(|look| look.is_units()));
        tables.push(Table { top, header, first, end: grid.rows.len(), blocks: Vec::new(), from, to });
        row = first;
    }
    for table in &mut tables {
        let columns = columns(grid, mapping, table);
        table.blocks = blocks(columns);
    }
    tables
}

/// Parts columns where one of their keys comes again.
fn blocks(columns: Vec<Column>) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    let mut open = Block::default();
    for column in columns {
        let key = column.heading.key.filter(|_| column.heading.kind.is_none());
        let comes_again = column.heading.level.is_none() && key.is_some_and(|key| open.key(key).is_some());
        if comes_again && open.values().next().is_some() {
            blocks.push(std::mem::take(&mut open));
        }
        open.columns.push(column);
    }
    blocks.push(open);
    blocks.retain(|block| block.values().next().is_some() || block.has_names() || block.key(Key::Row).is_some());
    blocks
}
