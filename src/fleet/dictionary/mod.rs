//! What every column of every table means: inputs and results.
//!
//! ```
//! use linedrift::fleet::dictionary;
//!
//! let due = dictionary::results().iter().find(|table| table.name == "due").ok_or("no such table")?;
//! assert!(due.columns.iter().any(|column| column.name == "due_h" && column.unit == "h"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod exports;
mod inputs;
mod results;

use std::fmt::Write as _;

/// What stands in a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ColumnKind {
    /// Text; days as `YYYY-MM-DD`, truth values as `true` and `false`.
    Text,
    /// A 64-bit number.
    Number,
    /// A whole number.
    Count,
}

impl ColumnKind {
    /// `text`, `number` or `whole`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            ColumnKind::Text => "text",
            ColumnKind::Number => "number",
            ColumnKind::Count => "whole",
        }
    }
}

/// One column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ColumnEntry {
    /// Name.
    pub name: &'static str,
    /// What stands in it.
    pub kind: ColumnKind,
    /// Unit or range; empty where there is none.
    pub unit: &'static str,
    /// Meaning.
    pub meaning: &'static str,
}

/// One table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TableEntry {
    /// Name.
    pub name: &'static str,
    /// What one row is.
    pub row_is: &'static str,
    /// Columns in their order.
    pub columns: &'static [ColumnEntry],
}

const fn text(name: &'static str, unit: &'static str, meaning: &'static str) -> ColumnEntry {
    ColumnEntry { name, kind: ColumnKind::Text, unit, meaning }
}

const fn number(name: &'static str, unit: &'static str, meaning: &'static str) -> ColumnEntry {
    ColumnEntry { name, kind: ColumnKind::Number, unit, meaning }
}

const fn whole(name: &'static str, unit: &'static str, meaning: &'static str) -> ColumnEntry {
    ColumnEntry { name, kind: ColumnKind::Count, unit, meaning }
}

/// The tables of a fleet folder. Optional columns are there when they have a value.
#[must_use]
pub const fn inputs() -> &'static [TableEntry] {
    inputs::TABLES
}

/// What `wear --out` and `power --out` write for others to go on with.
#[must_use]
pub const fn exports() -> &'static [TableEntry] {
    exports::TABLES
}

/// The result tables.
#[must_use]
pub const fn results() -> &'static [TableEntry] {
    results::TABLES
}

impl TableEntry {
    /// The table's page as Markdown: a heading, what a row is, and one line per column.
    #[must_use]
    pub fn markdown(&self) -> String {
        let mut out = format!("### `{}`: one row per {}\n\n", self.name, self.row_is);
        out.push_str("| column | kind | unit, range | meaning |\n|---|---|---|---|\n");
        for column in self.columns {
            let _ = writeln!(
                out,
                "| `{}` | {} | {} | {} |",
                column.name,
                column.kind.name(),
                column.unit,
                column.meaning
            );
        }
        out
    }
}

/// The pages of some tables, one after the other.
#[must_use]
pub fn markdown(tables: &[TableEntry]) -> String {
    let pages: Vec<String> = tables.iter().map(TableEntry::markdown).collect();
    pages.join("\n")
}
