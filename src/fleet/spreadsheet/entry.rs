//! What the rows of a table say, before lengths are lengths.

use super::error::CellFault;
use super::facts::is_label;
use super::grid::{Cell, Grid, column_letter};
use super::heading::{Heading, Key, Kind, When};
use super::line_name::{may_be_name, row_of};
use super::quantity::{Marks, Written};
use super::table::{Block, Column, Mapping, Table, side_letters, tables};
use super::words::folded;
use crate::check::sheet::LengthUnit;
use crate::wing::{Row, Side};

/// One value of one line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Value {
    pub(super) kind: Option<Kind>,
    /// The level of the cascade whose length it is, where it is not the line's.
    pub(super) of: Option<Key>,
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
    pub(super) side: Option<Side>,
    pub(super) main: Option<String>,
    pub(super) middle: Option<String>,
    pub(super) upper: Option<String>,
    pub(super) parent: Option<String>,
    pub(super) material: Option<String>,
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

/// What a sheet holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Sheet {
    pub(super) name: String,
    pub(super) entries: Vec<Entry>,
    pub(super) rows: Vec<RowFact>,
    pub(super) faults: Vec<CellFault>,
    /// Headings of columns with numbers that were not used.
    pub(super) unused: Vec<String>,
    /// Names of rows that are totals.
    pub(super) totals: Vec<String>,
    pub(super) tables: usize,
    /// Cells with numbers that belong to no table.
    pub(super) stray: Vec<String>,
}

/// What titles say of what follows.
#[derive(Debug, Clone, Copy, Default)]
struct Context {
    side: Option<Side>,
    row: Option<Row>,
    kind: Option<Kind>,
    unit: Option<LengthUnit>,
    when: Option<When>,
}

impl Context {
    fn take(&mut self, heading: &Heading) {
        if heading.side.is_some() || heading.kind.is_some() {
            // a title of a new part: what the part before it said of rows is over
            *self = Self {
                side: heading.side.or(self.side),
                kind: heading.kind,
                row: None,
                unit: heading.unit.or(self.unit),
                when: heading.when,
            };
            if heading.kind == Some(Kind::Nominal) && heading.side.is_none() {
                self.side = None;
            }
        }
        self.row = heading.row.or(self.row);
        self.unit = heading.unit.or(self.unit);
    }
}

/// Reads all tables of a sheet.
pub(super) fn read(grid: &Grid, sheet_at: usize, mapping: &Mapping) -> Sheet {
    let mut sheet = Sheet { name: grid.name.clone(), ..Sheet::default() };
    let found = tables(grid, mapping);
    let mut context = Context::default();
    let title = Heading::of(&grid.name);
    if title.is_context() {
        context.take(&title);
    }
    let mut strip = usize::MAX;
    let mut inside = vec![false; grid.rows.len()];
    for (at, table) in found.iter().enumerate() {
        if table.from != strip {
            strip = table.from;
            context = Context::default();
            if title.is_context() {
                context.take(&title);
            }
            // titles above the first table of a strip
            for row in 0..table.top {
                if let Some(heading) = title_in(grid, row, table) {
                    context.take(&heading);
                }
            }
        }
        let mut reader = Reader { grid, sheet: &mut sheet, sheet_at, table_at: at, table };
        reader.read(&mut context);
        inside.iter_mut().take(table.end).skip(table.top).for_each(|row| *row = true);
    }
    sheet.tables = found.len();
    for (row, cells) in grid.rows.iter().enumerate().filter(|(row, _)| !inside[*row]) {
        for (column, cell) in cells.iter().enumerate() {
            let labelled = column > 0 && (0..column).any(|left| grid.cell(row, left).text().is_some());
            if matches!(cell, Cell::Number(_)) && !labelled {
                sheet.stray.push(super::grid::place(row, column));
            }
        }
    }
    sheet
}

/// The title in a row of a table's columns: a single text that says of what follows it is.
fn title_in(grid: &Grid, row: usize, table: &Table) -> Option<Heading> {
    let mut filled = (table.from..table.to).filter(|at| !grid.cell(row, *at).is_empty());
    let only = filled.next()?;
    if filled.next().is_some() {
        return None;
    }
    let heading = Heading::of(grid.cell(row, only).text()?);
    heading.is_context().then_some(heading)
}

struct Reader<'a> {
    grid: &'a Grid,
    sheet: &'a mut Sheet,
    sheet_at: usize,
    table_at: usize,
    table: &'a Table,
}

impl Reader<'_> {
    fn read(&mut self, context: &mut Context) {
        let table = self.table;
        let headings = || table.blocks.iter().flat_map(|block| &block.columns).map(|column| &column.heading);
        // what the header says itself goes before titles further up
        if headings().any(|heading| heading.row.is_some()) {
            context.row = None;
        }
        if headings().any(|heading| heading.side.is_some() || heading.key == Some(Key::Side)) {
            context.side = None;
        }
        if headings().any(|heading| matches!(heading.kind, Some(Kind::Nominal | Kind::Reading))) {
            context.kind = None;
        }
        for block in &table.blocks {
            self.name_unused(block);
        }
        let mut last_names: Vec<Option<String>> = vec![None; table.blocks.len()];
        for row in table.header + 1..table.end {
            if let Some(heading) = title_in(self.grid, row, table) {
                context.take(&heading);
                continue;
            }
            for (at, block) in table.blocks.iter().enumerate() {
                self.row(row, block, *context, &mut last_names[at]);
            }
        }
    }

    /// Notes columns with numbers that nothing is known of.
    fn name_unused(&mut self, block: &Block) {
        for column in &block.columns {
            let heading = &column.heading;
            let is_known =
                heading.key.is_some() || heading.kind.is_some() || heading.side.is_some() || heading.row.is_some();
            let is_ignored = matches!(heading.kind, Some(Kind::Ignored));
            let rows = self.table.header + 1..self.table.end;
            let filled = rows.filter(|row| !self.grid.cell(*row, column.at).is_empty()).count();
            if (is_ignored || !is_known) && filled > 0 {
                let title = if column.title.is_empty() {
                    format!("column {}", column_letter(column.at))
                } else {
                    format!("`{}`", column.title)
                };
                if !self.sheet.unused.contains(&title) {
                    self.sheet.unused.push(title);
                }
            }
        }
    }

    fn fault(&mut self, row: usize, column: usize, value: &str, expected: impl Into<String>) {
        self.sheet.faults.push(CellFault {
            sheet: self.sheet.name.clone(),
            row: row + 1,
            column: column_letter(column),
            value: value.to_owned(),
            expected: expected.into(),
        });
    }

    /// A key's cell, that of merged cells included.
    fn key(&self, block: &Block, key: Key, row: usize) -> Option<String> {
        let column = block.key(key)?;
        let own = self.grid.cell(row, column.at);
        let cell = match self.grid.merge(row, column.at) {
            Some(merge) if own.is_empty() => self.grid.cell(merge.top, merge.left),
            _ => own,
        };
        Some(shown_name(cell)).filter(|text| !text.trim().is_empty())
    }

    fn row(&mut self, row: usize, block: &Block, context: Context, last_name: &mut Option<String>) {
        let Some(names) = block.names() else {
            if block.key(Key::Row).is_some() && self.of_row(row, block) {
                return;
            }
            self.matrix(row, block, context, u32::try_from(row - self.table.header).unwrap_or(1), false);
            return;
        };
        let names_key = names.heading.key.unwrap_or(Key::Line);
        let is_matrix = names_key == Key::Rank
            && block.values().any(|column| column.heading.row.is_some() || context.row.is_some());
        let raw = self.key(block, names_key, row).unwrap_or_default();
        let text = raw.trim().to_owned();
        let is_total = (self.table.from..self.table.to)
            .filter_map(|at| self.grid.cell(row, at).text())
            .take(2)
            .any(|text| row_of(text).is_none() && Heading::of(text).is_total);
        if is_total {
            self.sheet.totals.push(if text.is_empty() { format!("row {}", row + 1) } else { text });
            return;
        }
        let filled = block.values().any(|column| self.holds_number(row, column));
        if is_matrix {
            if let Ok(index) = text.parse::<u32>() {
                self.matrix(row, block, context, index, true);
            } else if filled {
                self.fault(row, names.at, &text, "the number of a line, counted from the centre");
            }
            return;
        }
        let name = if text.is_empty() {
            let repeats = block.key(Key::Side).is_some() || block.key(Key::Repeat).is_some();
            match last_name {
                _ if !filled => return,
                Some(name) if repeats => name.clone(),
                _ => {
                    self.fault(
                        row,
                        names.at,
                        "",
                        "a line's name: this row has lengths (remove them if they are of no line)",
                    );
                    return;
                }
            }
        } else if is_label(&text) {
            return;
        } else {
            text
        };
        let row_text = self.key(block, Key::Row, row);
        let said = row_text.as_deref().map(|text| Heading::of(text).row);
        if let (Some(None), Some(text), true) = (said, &row_text, filled) {
            let at = block.key(Key::Row).map_or(names.at, |column| column.at);
            self.fault(row, at, text, "a row of lines: A, B, C, D, stabilo or brake");
            return;
        }
        let said = said.flatten().or_else(|| names.heading.row.filter(|_| row_of(&name).is_none()));
        let of_row = said.or_else(|| row_of(&name)).or(context.row);
        let looks_like_one = may_be_name(&name) || said.is_some();
        if !looks_like_one && !filled {
            // a remark below the table
            return;
        }
        *last_name = Some(name.clone());
        let side = self.side(row, block, context).or(names.heading.side);
        let repeat = self.key(block, Key::Repeat, row).and_then(|text| text.trim().parse().ok());
        let mut entry = Entry {
            sheet: self.sheet_at,
            table: self.table_at,
            grid_row: row,
            indent: raw.len() - raw.trim_start().len(),
            row: of_row,
            side,
            main: self.key(block, Key::Main, row),
            middle: self.key(block, Key::Middle, row),
            upper: self.key(block, Key::Upper, row).filter(|_| names_key != Key::Upper),
            parent: self.key(block, Key::Parent, row),
            material: self.key(block, Key::Material, row),
            operator: self.key(block, Key::Operator, row),
            repeat,
            rank: self.key(block, Key::Rank, row).and_then(|text| text.trim().parse().ok()),
            values: Vec::new(),
            name,
        };
        for column in block.values() {
            if column.heading.row.is_some_and(|row| Some(row) != of_row) && column.heading.kind.is_none() {
                continue;
            }
            if let Some(value) = self.value(row, column, context) {
                entry.values.push(value);
            }
        }
        self.sheet.entries.push(entry);
    }

    /// A row of a table of rows: chord positions, risers.
    fn of_row(&mut self, row: usize, block: &Block) -> bool {
        let Some(of) = self.key(block, Key::Row, row).and_then(|text| Heading::of(&text).row) else { return false };
        for column in block.values() {
            let cell = self.grid.cell(row, column.at);
            if let Some(kind @ (Kind::Chord | Kind::Riser)) = column.heading.kind
                && !cell.is_empty()
            {
                self.sheet.rows.push(RowFact { row: of, kind, unit: column.heading.unit, cell: cell.clone() });
            }
        }
        true
    }

    /// A row of a table with a column for each row of lines.
    fn matrix(&mut self, row: usize, block: &Block, context: Context, index: u32, numbered: bool) {
        for column in block.values() {
            let Some(of_row) = column.heading.row.or(context.row) else { continue };
            if !numbered && !self.holds_number(row, column) {
                continue;
            }
            let Some(value) = self.value(row, column, context) else { continue };
            self.sheet.entries.push(Entry {
                sheet: self.sheet_at,
                table: self.table_at,
                grid_row: row,
                name: index.to_string(),
                row: Some(of_row),
                side: value.side.or(context.side),
                values: vec![value],
                ..Entry::default()
            });
        }
    }

    fn holds_number(&self, row: usize, column: &Column) -> bool {
        if matches!(column.heading.kind, Some(Kind::Ignored)) {
            return false;
        }
        match self.grid.cell(row, column.at) {
            Cell::Empty => false,
            Cell::Text(text) => !matches!(Marks::default().read(text, None), Written::Missing),
            _ => true,
        }
    }

    fn value(&self, row: usize, column: &Column, context: Context) -> Option<Value> {
        let heading = &column.heading;
        let cell = self.grid.cell(row, column.at);
        if cell.is_empty() || heading.kind == Some(Kind::Ignored) {
            return None;
        }
        let side = heading.side.or(context.side);
        let kind = heading.kind.or(context.kind).or(heading.side.or(context.side).map(|_| Kind::Reading));
        Some(Value {
            kind,
            of: heading.key,
            side: if kind == Some(Kind::Nominal) { heading.side } else { side },
            unit: heading.unit.or(context.unit),
            when: heading.when.or(context.when),
            repeat: heading.number,
            cell: cell.clone(),
            column: column.at,
            title: column.title.clone(),
        })
    }

    /// The side that a row's own cell says, else the title above.
    fn side(&mut self, row: usize, block: &Block, context: Context) -> Option<Side> {
        let Some(column) = block.key(Key::Side) else { return context.side };
        let text = self.key(block, Key::Side, row)?;
        if let Some(side) = Heading::of(&text).side {
            return Some(side);
        }
        let all: Vec<String> = (self.table.header + 1..self.table.end)
            .filter_map(|row| self.grid.cell(row, column.at).text())
            .map(folded)
            .collect();
        let letter = folded(&text);
        match side_letters(&all) {
            Some((left, _)) if letter == left => Some(Side::Left),
            Some((_, right)) if letter == right => Some(Side::Right),
            _ => {
                self.fault(row, column.at, &text, "left or right");
                None
            }
        }
    }
}

/// A cell as a name: whole numbers without decimals, blanks in front kept.
fn shown_name(cell: &Cell) -> String {
    match cell {
        Cell::Text(text) => text.trim_end().to_owned(),
        other => other.shown(),
    }
}
