//! What every column of every table means: inputs and results.
//!
//! ```
//! use linedrift::fleet::dictionary;
//!
//! let due = dictionary::results().iter().find(|table| table.name == "due").ok_or("no such table")?;
//! assert!(due.columns.iter().any(|column| column.name == "due_h" && column.unit == "h"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::fmt::Write as _;

use super::batch::FAILURES;
use super::schema::FOLDER;
use super::tables::{forecast, holdings, plan, trim, vet, wear, wear_export};

/// What is in a column.
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
    /// What is in it.
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

/// The tables of a fleet folder. Optional columns are there when they have a value.
#[must_use]
pub const fn inputs() -> &'static [TableEntry] {
    const TABLES: [TableEntry; FOLDER.len()] = {
        let mut tables = [FOLDER[0].entry(); FOLDER.len()];
        let mut at = 0;
        while at < tables.len() {
            tables[at] = FOLDER[at].entry();
            at += 1;
        }
        tables
    };
    &TABLES
}

/// What `wear --out` and `power --out` write for others to go on with.
#[must_use]
pub const fn exports() -> &'static [TableEntry] {
    use wear_export as wear;
    &[
        wear::CONTRASTS,
        wear::COMPARED,
        wear::COVARIANCE,
        wear::FRAME,
        wear::DESIGN,
        wear::EFFECTS,
        wear::RESIDUALS,
        wear::INFLUENCE,
        wear::PROFILES,
        wear::POWER,
        wear::DRAWS,
    ]
}

/// The result tables.
#[must_use]
pub const fn results() -> &'static [TableEntry] {
    const fn failures(name: &'static str, row_is: &'static str) -> TableEntry {
        TableEntry { name, row_is, columns: FAILURES.columns }
    }
    const TABLES: &[TableEntry] = &[
        trim::CHECKS,
        trim::TRIM_ROWS,
        trim::TRIM_LINES,
        trim::DIAGNOSIS,
        trim::TWIST,
        vet::VET_CHECKS,
        vet::VET_FINDINGS,
        plan::PLANS,
        plan::PLAN_ACTIONS,
        plan::PLAN_LINES,
        wear::TERMS,
        wear::SPREAD,
        wear::DRIFT,
        wear::PREDICTIONS,
        forecast::DUE,
        forecast::BACKTEST,
        forecast::BACKTEST_COVERAGE,
        forecast::BACKTEST_CRPS,
        holdings::SUMMARY_MODELS,
        holdings::SUMMARY_ROWS,
        failures("trim_failures", "wing that `trim` could not judge, with `--parts`"),
        failures("vet_failures", "wing that `vet` could not look through, with `--parts`"),
        failures("plan_failures", "wing that `plan` found no plan for, with `--parts`"),
        failures("due_failures", "wing without a forecast in `due`, with `--parts`"),
        forecast::POLICIES,
    ];
    TABLES
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
