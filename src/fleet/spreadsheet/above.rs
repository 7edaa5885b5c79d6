//! What titles and lines further up say of the line that is read.

use super::grid::Grid;
use super::heading::{Heading, Key, Kind, When};
use super::table::Table;
use crate::check::sheet::LengthUnit;
use crate::wing::{Row, Side};

/// What titles say of what follows.
#[derive(Debug, Clone, Default)]
pub(super) struct Context {
    pub(super) side: Option<Side>,
    pub(super) row: Option<Row>,
    pub(super) kind: Option<Kind>,
    pub(super) unit: Option<LengthUnit>,
    pub(super) when: Option<When>,
    pub(super) main: Option<String>,
}

impl Context {
    pub(super) fn take(&mut self, heading: &Heading) {
        self.main = None;
        if heading.side.is_some() || heading.kind.is_some() {
            // a title of a new part: what the part before it said of rows is over
            *self = Self {
                side: heading.side.or(self.side),
                kind: heading.kind,
                row: None,
                unit: heading.unit.or(self.unit),
                when: heading.when,
                main: None,
            };
            if heading.kind == Some(Kind::Nominal) && heading.side.is_none() {
                self.side = None;
            }
        }
        self.row = heading.row.or(self.row);
        self.unit = heading.unit.or(self.unit);
    }
}

/// What the lines above said in a block.
#[derive(Debug, Clone, Default)]
pub(super) struct Above {
    pub(super) name: Option<String>,
    pub(super) once: Vec<Key>,
    pub(super) said: Vec<Said>,
}

/// What a cell said, and in which row of lines.
#[derive(Debug, Clone)]
pub(super) struct Said {
    pub(super) key: Key,
    pub(super) text: String,
    pub(super) row: Option<Row>,
}

impl Above {
    pub(super) fn keep(&mut self, key: Key, text: &str, row: Option<Row>) {
        self.said.retain(|said| said.key != key);
        self.said.push(Said { key, text: text.to_owned(), row });
    }
}

/// Whether a text says: as above.
pub(super) fn is_ditto(text: &str) -> bool {
    matches!(
        text.trim().to_lowercase().as_str(),
        "\"" | "''" | "″" | "〃" | "dto" | "dto." | "do." | "ditto" | "idem" | "id."
    )
}

/// The title in a row of a table's columns: a single text that says of what follows it is.
pub(super) fn title_in(grid: &Grid, row: usize, table: &Table) -> Option<Heading> {
    let mut filled = (table.from..table.to).filter(|at| !grid.cell(row, *at).is_empty());
    let only = filled.next()?;
    if filled.next().is_some() {
        return None;
    }
    let heading = Heading::of(grid.cell(row, only).text()?);
    heading.is_context().then_some(heading)
}
