//! Result tables: one row per line, row, check, action, term, spread, wing or forecast, each column with its unit in its name.
//! [`dictionary`](crate::fleet::dictionary) says what every column means.

mod forecast;
mod holdings;
mod plan;
mod trim;
mod vet;
mod wear;
mod wear_export;

pub use forecast::{backtest, backtest_coverage, backtest_crps, due, policies};
pub use holdings::{summary_models, summary_rows};
pub use plan::{plan_actions, plan_lines, plans};
pub use trim::{TRIM, TrimTable, checks, diagnosis, lines, rows, twist};
pub use vet::{vet_checks, vet_findings};
pub use wear::{drift, predictions, spread, terms};
pub use wear_export::{
    compared, contrasts, covariance, design, draws, effects, frame, influence, power, profiles, residuals,
};

use super::table::Table;
use crate::trim::Interval;

fn interval(table: Table, name: &str, unit: &str, all: impl Iterator<Item = Interval> + Clone) -> Table {
    table
        .number(&format!("{name}_{unit}"), all.clone().map(|interval| interval.value))
        .number(&format!("{name}_lower_{unit}"), all.clone().map(|interval| interval.lower))
        .number(&format!("{name}_upper_{unit}"), all.map(|interval| interval.upper))
}

/// The name that a value has in JSON, so that tables and documents use one word.
fn named<T: serde::Serialize>(value: T) -> Option<String> {
    serde_json::to_value(value).ok()?.as_str().map(str::to_owned)
}

/// A count as a cell.
fn count(count: usize) -> Option<i64> {
    i64::try_from(count).ok()
}
