//! Where the tables of a sheet are: header rows, what is above them, and blocks of columns beside each other.

use std::collections::BTreeMap;

use super::grid::{Cell, Grid};
use super::heading::{Heading, Key, Kind};
use super::line_name::{may_be_name, row_of};
use super::quantity::{Marks, Written};
use super::words::folded;
use crate::wing::Side;

/// A column of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    pub(super) at: usize,
    pub(super) heading: Heading,
    /// The heading as it stands.
    pub(super) title: String,
}

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
    /// The row behind its last.
    pub(super) end: usize,
    pub(super) blocks: Vec<Block>,
    /// Columns of the sheet that it may take.
    pub(super) from: usize,
    pub(super) to: usize,
}

/// Words for columns that the user maps to headings of his own.
pub(super) type Mapping = BTreeMap<String, String>;

/// The heading in a cell, as the user's mapping has it first.
pub(super) fn heading_of(text: &str, mapping: &Mapping) -> Heading {
    let own = folded(text);
    match mapping.iter().find(|(_, heading)| folded(heading) == own) {
        Some((what, _)) => Heading { unit: super::heading::unit_of(text), ..Heading::of(what) },
        None => Heading::of(text),
    }
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
        self.columns.iter().find(|column| column.heading.key == Some(wanted) && column.heading.kind.is_none())
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
            look.good += letters.iter().filter(|one| *one == left || *one == right).count();
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
}

/// The letters that stand for left and right in a row of headings: `G` and `D` of French where no row of lines is meant.
pub(super) fn side_letters(texts: &[String]) -> Option<(&'static str, &'static str)> {
    let has = |letter: &str| texts.iter().any(|text| text == letter);
    let of_rows = has("a") || has("b") || has("c");
    [("g", "d"), ("i", "d"), ("s", "d")].into_iter().find(|(left, right)| !of_rows && has(left) && has(right))
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
        tables.push(Table { top, header, end: grid.rows.len(), blocks: Vec::new(), from, to });
        row = header + 1;
    }
    for table in &mut tables {
        let columns = columns(grid, mapping, table);
        table.blocks = blocks(columns);
    }
    tables
}

/// The columns of a table with all that the rows of its header say.
fn columns(grid: &Grid, mapping: &Mapping, table: &Table) -> Vec<Column> {
    let own: Vec<String> =
        (table.from..table.to).filter_map(|at| grid.cell(table.header, at).text()).map(folded).collect();
    let letters = side_letters(&own);
    let mut columns = Vec::new();
    for at in table.from..table.to {
        let mut parts: Vec<&str> = Vec::new();
        let mut heading: Option<Heading> = None;
        for row in (table.top..=table.header).rev() {
            let Some((text, exact)) = above(grid, row, at, row == table.header, table.from) else { continue };
            let mut here = heading_of(text, mapping);
            if row == table.header
                && let Some((left, right)) = letters
            {
                let letter = folded(text);
                if letter == left || letter == right {
                    here = Heading {
                        side: Some(if letter == left { Side::Left } else { Side::Right }),
                        ..Heading::default()
                    };
                }
            }
            heading = match heading {
                None if exact => {
                    parts.push(text);
                    Some(here)
                }
                None => None,
                Some(below) => {
                    parts.push(text);
                    Some(below.under(&here))
                }
            };
        }
        parts.reverse();
        parts.dedup();
        let heading = settled(grid, table, at, heading.unwrap_or_default());
        let is_empty = (table.header + 1..table.end).all(|row| grid.cell(row, at).is_empty());
        if !(is_empty && parts.is_empty()) {
            columns.push(Column { at, heading, title: parts.join(" ") });
        }
    }
    settle_indices(&mut columns);
    columns
}

/// The text of a header row above a column: its own, that of merged cells, or in a group row the nearest to the left.
fn above(grid: &Grid, row: usize, at: usize, is_last: bool, from: usize) -> Option<(&str, bool)> {
    if let Some(text) = grid.cell(row, at).text() {
        return Some((text, true));
    }
    if let Some(merge) = grid.merge(row, at) {
        return grid.cell(merge.top, merge.left).text().map(|text| (text, merge.top == row || merge.left == at));
    }
    if is_last {
        return None;
    }
    let has_merges = grid.merges.iter().any(|merge| merge.top == row && merge.right > merge.left);
    if has_merges {
        return None;
    }
    (from..at).rev().find_map(|left| grid.cell(row, left).text()).map(|text| (text, false))
}

/// A heading that its cells have to explain.
fn settled(grid: &Grid, table: &Table, at: usize, mut heading: Heading) -> Heading {
    let cells: Vec<&Cell> =
        (table.header + 1..table.end).map(|row| grid.cell(row, at)).filter(|cell| !cell.is_empty()).collect();
    let share = |is: &dyn Fn(&Cell) -> bool| {
        let count = cells.iter().filter(|cell| is(cell)).count();
        !cells.is_empty() && count * 2 > cells.len()
    };
    let is_name = |cell: &Cell| {
        cell.text().is_some_and(|text| {
            may_be_name(text) && row_of(text).is_some() && text.chars().any(|letter| letter.is_ascii_digit())
        })
    };
    let is_number = |cell: &Cell| match cell {
        Cell::Number(_) => true,
        Cell::Text(text) => matches!(Marks::default().read(text, None), Written::Amount(_)),
        _ => false,
    };
    match heading.key {
        Some(Key::SideOrNominal | Key::LineOrNominal) if share(&is_number) => {
            heading.key = None;
            heading.kind = Some(Kind::Nominal);
        }
        Some(Key::SideOrNominal) => heading.key = Some(Key::Side),
        Some(Key::LineOrNominal) => heading.key = Some(Key::Line),
        Some(Key::Rank | Key::Row) if share(&is_name) => heading.key = Some(Key::Line),
        None if heading.kind.is_none() && share(&is_name) => heading.key = Some(Key::Line),
        None if heading.kind.is_none() && counts_up(&cells) => {
            heading.key = Some(if heading.row.is_some() { Key::Line } else { Key::Rank });
        }
        _ => {}
    }
    heading
}

/// Whether cells are 1, 2, 3, … (a total may follow).
fn counts_up(cells: &[&Cell]) -> bool {
    let numbers: Vec<f64> = cells
        .iter()
        .filter_map(|cell| match cell {
            Cell::Number(value) => Some(*value),
            Cell::Text(text) => text.trim().parse().ok(),
            _ => None,
        })
        .collect();
    let steps = numbers
        .windows(2)
        .filter(|pair| (pair[1] - pair[0] - 1.0).abs() < 1e-9 || (pair[1] - 1.0).abs() < 1e-9)
        .count();
    numbers.len() >= 2
        && (numbers[0] - 1.0).abs() < 1e-9
        && steps + 2 >= numbers.len()
        && numbers.len() * 2 > cells.len()
}

/// A count beside names is only a count.
fn settle_indices(columns: &mut [Column]) {
    let has_line = columns.iter().any(|column| column.heading.key == Some(Key::Line));
    if !has_line {
        return;
    }
    let lines: Vec<usize> =
        columns.iter().filter(|column| column.heading.key == Some(Key::Line)).map(|column| column.at).collect();
    // two columns of names one behind the other: the first is the line
    for pair in lines.windows(2) {
        if pair[1] == pair[0] + 1
            && let Some(second) = columns.iter_mut().find(|column| column.at == pair[1] && column.title.is_empty())
        {
            second.heading.key = None;
        }
    }
}

/// Parts columns where one of their keys comes again.
fn blocks(columns: Vec<Column>) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    let mut open = Block::default();
    for column in columns {
        let key = column.heading.key.filter(|_| column.heading.kind.is_none());
        let comes_again = key.is_some_and(|key| open.key(key).is_some());
        if comes_again && open.values().next().is_some() {
            blocks.push(std::mem::take(&mut open));
        }
        open.columns.push(column);
    }
    blocks.push(open);
    blocks.retain(|block| block.values().next().is_some() || block.has_names());
    blocks
}
