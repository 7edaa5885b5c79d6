//! Reads the tables of a sheet row by row.

use super::above::{Above, Context, Said, is_ditto, title_in};
use super::column::{Column, Mapping, side_letters};
use super::entry::{Entry, LevelMaterial, RowFact, Sheet, Value};
use super::error::CellFault;
use super::facts::{is_label, unlabelled};
use super::grid::{Cell, Grid, column_letter};
use super::heading::{Heading, Key, Kind, Level};
use super::line_name::{main_in_title, may_be_name, row_of};
use super::quantity::{Marks, Written};
use super::table::{Block, Table, tables};
use super::words::folded;
use crate::wing::{Row, Side};

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
    sheet.stray = unlabelled(grid, &inside);
    sheet
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
        let mut above: Vec<Above> = table.blocks.iter().map(|block| self.above(block)).collect();
        for row in table.first..table.end {
            if let Some(heading) = title_in(self.grid, row, table) {
                context.take(&heading);
                above.iter_mut().for_each(|above| above.said.clear());
                continue;
            }
            if let Some(main) = self.main_title(row) {
                context.main = Some(main);
                continue;
            }
            for (block, above) in table.blocks.iter().zip(&mut above) {
                self.row(row, block, context, above);
            }
        }
    }

    /// The main that a row names which holds nothing else.
    fn main_title(&self, row: usize) -> Option<String> {
        let mut filled =
            (self.table.from..self.table.to).map(|at| self.grid.cell(row, at)).filter(|cell| !cell.is_empty());
        let main = main_in_title(filled.next()?.text()?)?;
        // in an indented list every piece is a row of its own
        let is_indented = |row: usize| {
            let names = self.table.blocks.iter().filter_map(Block::names);
            names.into_iter().any(|column| {
                matches!(self.grid.cell(row, column.at), Cell::Text(text) if text.starts_with(char::is_whitespace))
            })
        };
        let is_alone = filled.next().is_none() && !(self.table.first..self.table.end).any(is_indented);
        is_alone.then_some(main)
    }

    /// The keys of a block that stand at the first of their lines only.
    fn above(&self, block: &Block) -> Above {
        let is_once = |key: &Key| {
            let Some(column) = block.key(*key) else { return false };
            let rows = self.table.first..self.table.end;
            let cells: Vec<&str> = rows.filter_map(|row| self.grid.cell(row, column.at).text()).collect();
            !cells.is_empty() && cells.windows(2).all(|pair| pair[0] != pair[1])
        };
        let once = [Key::Row, Key::Side, Key::Main, Key::Middle].into_iter().filter(is_once).collect();
        Above { once, ..Above::default() }
    }

    /// Notes columns with numbers that nothing is known of.
    fn name_unused(&mut self, block: &Block) {
        for column in &block.columns {
            let heading = &column.heading;
            let is_known =
                heading.key.is_some() || heading.kind.is_some() || heading.side.is_some() || heading.row.is_some();
            let is_ignored = matches!(heading.kind, Some(Kind::Ignored));
            if heading.kind == Some(Kind::Size) && !self.sheet.sizes.contains(&column.title) {
                self.sheet.sizes.push(column.title.clone());
            }
            let rows = self.table.first..self.table.end;
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
        Some(cell.name()).filter(|text| !text.trim().is_empty())
    }

    /// A key's cell, or the one above where it stands at the first of its lines only.
    fn said(&mut self, block: &Block, key: Key, row: usize, of: Option<Row>, above: &mut Above) -> Option<String> {
        let own = self.key(block, key, row);
        match own {
            Some(text) if !is_ditto(&text) => {
                above.keep(key, &text, of);
                Some(text)
            }
            None if !above.once.contains(&key) => None,
            _ => {
                let is_its = |said: &&Said| said.key == key && (of.is_none() || said.row.is_none() || said.row == of);
                let text = above.said.iter().find(is_its)?.text.clone();
                let title = block.key(key).map(|column| column.title.clone()).unwrap_or_default();
                let note = format!("blank cells below `{title}` are read as the cell above");
                if !self.sheet.notes.contains(&note) {
                    self.sheet.notes.push(note);
                }
                Some(text)
            }
        }
    }

    /// Whether a row sums up others.
    fn is_total(&self, row: usize) -> bool {
        (self.table.from..self.table.to).filter_map(|at| self.grid.cell(row, at).text()).take(2).any(|text| {
            Heading::of(text).is_total
                && !(row_of(text).is_some() && text.contains(|letter: char| letter.is_ascii_digit()))
        })
    }

    fn row(&mut self, row: usize, block: &Block, context: &Context, above: &mut Above) {
        let Some(names) = block.names() else {
            if block.key(Key::Row).is_some() && self.of_row(row, block) {
                return;
            }
            self.matrix(row, block, context, u32::try_from(row + 1 - self.table.first).unwrap_or(1), false);
            return;
        };
        let names_key = names.heading.key.unwrap_or(Key::Line);
        let raw = self.key(block, names_key, row).unwrap_or_default();
        let text = raw.trim().to_owned();
        if self.is_total(row) {
            self.sheet.totals.push(if text.is_empty() { format!("row {}", row + 1) } else { text });
            return;
        }
        let filled = block.values().any(|column| self.holds_number(row, column));
        let has_rows = block.values().any(|column| column.heading.row.is_some());
        let is_matrix = names_key == Key::Rank
            && (has_rows || block.values().next().is_some() && context.row.is_some())
            || has_rows && block.key(Key::Row).is_none() && text.parse::<u32>().is_ok();
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
            match &above.name {
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
        // a row that stands at the first of its lines only is that of names which say none
        let row_text = match row_of(&name) {
            Some(_) => self.key(block, Key::Row, row).filter(|text| !is_ditto(text)),
            None => self.said(block, Key::Row, row, None, above),
        };
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
        above.name = Some(name.clone());
        let side = self.side(row, block, context, above).or(names.heading.side);
        let number = |reader: &Self, key: Key| reader.key(block, key, row).and_then(|text| text.trim().parse().ok());
        let own_material = self.key(block, Key::Material, row);
        let below = |level: Level| {
            let column = block.material(level)?;
            self.grid.cell(row, column.at).text().map(str::to_owned)
        };
        let mut entry = Entry {
            sheet: self.sheet_at,
            table: self.table_at,
            grid_row: row,
            indent: raw.len() - raw.trim_start().len(),
            row: of_row,
            row_is_said: said.is_some() || row_of(&name).is_none(),
            side,
            materials: [own_material, below(Level::Middle), below(Level::Main)],
            repeat: number(self, Key::Repeat),
            rank: number(self, Key::Rank),
            operator: self.key(block, Key::Operator, row),
            parent: self.key(block, Key::Parent, row),
            main: self.said(block, Key::Main, row, of_row, above).or_else(|| context.main.clone()),
            middle: self.said(block, Key::Middle, row, of_row, above),
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

    /// A row of a table of rows: chord positions, risers; or of a table of storeys: materials.
    fn of_row(&mut self, row: usize, block: &Block) -> bool {
        let Some(heading) = self.key(block, Key::Row, row).map(|text| Heading::of(&text)) else { return false };
        if let (Some(level), Some(material)) = (Level::of(heading.key), self.key(block, Key::Material, row)) {
            self.sheet.levels.push(LevelMaterial { level: Some(level), material });
            return true;
        }
        let Some(of) = heading.row else { return false };
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
    fn matrix(&mut self, row: usize, block: &Block, context: &Context, index: u32, numbered: bool) {
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
                row_is_said: true,
                side: value.side.or(context.side),
                values: vec![value],
                ..Entry::default()
            });
        }
    }

    fn holds_number(&self, row: usize, column: &Column) -> bool {
        if matches!(column.heading.kind, Some(Kind::Ignored | Kind::Size)) {
            return false;
        }
        match self.grid.cell(row, column.at) {
            Cell::Empty => false,
            Cell::Text(text) => !matches!(Marks::default().read(text, None), Written::Missing),
            _ => true,
        }
    }

    fn value(&self, row: usize, column: &Column, context: &Context) -> Option<Value> {
        let heading = &column.heading;
        let cell = self.grid.cell(row, column.at);
        if cell.is_empty() || matches!(heading.kind, Some(Kind::Ignored | Kind::Size)) {
            return None;
        }
        let side = heading.side.or(context.side);
        let kind = heading.kind.or(context.kind).or(heading.side.or(context.side).map(|_| Kind::Reading));
        Some(Value {
            kind,
            of: heading.level,
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
    fn side(&mut self, row: usize, block: &Block, context: &Context, above: &mut Above) -> Option<Side> {
        let Some(column) = block.key(Key::Side) else { return context.side };
        let text = self.said(block, Key::Side, row, None, above)?;
        if let Some(side) = Heading::of(&text).side {
            return Some(side);
        }
        let all: Vec<String> = (self.table.first..self.table.end)
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
